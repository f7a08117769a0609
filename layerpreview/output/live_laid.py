"""How a hand lays the part, as textures for the live picture: what it makes of every coat, and where that shows.

One texture a face, four numbers a place and layer of the texture: the factor of each coat entry by number, then the
CIEDE2000 to the mean colour, then 1 where that is judged and 0 where it is not.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt

from layerpreview.answers.uneven import UnevenFace
from layerpreview.output.live_textures import Texture, half

F32 = NDArray[np.float32]


def laid_face(face: UnevenFace, de00: F32, judged: NDArray[np.bool_]) -> tuple[dict[str, Any], Texture]:
    """A face as a hand leaves it, as JSON values that name the texture, and the texture.

    `de00` (P,): CIEDE2000 of every point to the mean colour; `judged` (P,): where that is told. Beside the part each
    place has what the nearest of the part has, so that nothing else shines in at the edge.
    """
    grid, inside = face.grid, face.inside
    numbers = np.concatenate([face.factor, de00[None], judged[None].astype(np.float32)])
    channels = numbers.reshape(len(numbers), grid.n_rows, grid.n_cols)
    if inside.any():
        beside = ~inside.reshape(channels.shape[1:])
        nearest = distance_transform_edt(beside, return_distances=False, return_indices=True)
        channels = channels[:, nearest[0], nearest[1]]
    quads = max(2, -(-len(channels) // 4))  # one picture alone would be no array of pictures
    out = np.zeros((quads, grid.n_rows, grid.n_cols, 4), dtype=np.float32)
    for i, channel in enumerate(channels):
        out[i // 4, ..., i % 4] = channel
    made = half(out)
    told = {
        "name": face.name,
        "layers": len(face.factor),
        "texture": made.told(),
        "left_mm": grid.left_mm,
        "top_mm": grid.top_mm,
        "pixel_mm": grid.pixel_mm,
    }
    return told, made
