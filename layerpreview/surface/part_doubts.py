"""What speaks against a part found: a piece of its own colour that hangs at its edge, a spot taken for an opening."""

from __future__ import annotations

import numpy as np
import shapely
from scipy import ndimage

from layerpreview.surface.ground import Grid, Ground
from layerpreview.surface.outline import Points

_ROUNDS = (0.03, 0.05, 0.07)  # radii of what is rolled inside the part, as shares of the root of its area
_LEAST_PIECE = 0.003  # of the part's area: what the rolled disc does not reach
_NECK = 1.2  # times as wide as where it hangs: a part's own tips are widest there, a thing that touches is not
_TOUCHES = 0.02  # of the radius
_GRAIN_PX = 1.5  # standard deviation: what is finer is grain


def opening_texture(ln_rgb: Grid, ground: Ground, openings: tuple[Points, ...]) -> float:
    """Return the least texture of any opening against the ground's, 1 where they are as rough or there is none.

    A painted disc may have the ground's tone, but hardly its grain. Texture is the median of what a Gaussian leaves of
    log light; a shadow's edge within an opening only adds to it.
    """
    from skimage.draw import polygon

    light = (ln_rgb - ground.ln_rgb).mean(axis=2)
    fine = np.abs(light - ndimage.gaussian_filter(light, _GRAIN_PX))
    ratios = [1.0]
    for ring in openings:
        spot = np.zeros(light.shape, dtype=np.bool_)
        spot[polygon(ring[:, 1] - 0.5, ring[:, 0] - 0.5, light.shape)] = True
        core = ndimage.binary_erosion(spot, iterations=3)
        if core.any():
            ratios.append(float(np.median(fine[core]) / np.median(fine[ground.seen])))
    return min(ratios)


def hung_at(ring: Points) -> tuple[float, float] | None:
    """Return the middle (x, y) of the largest piece that hangs at a ring (n, 2) by a neck, in the ring's unit; or None.

    A disc is rolled about inside the ring (a morphological opening): corners, horns and tips that it does not reach are
    widest where they begin. A piece that is wider further out touches the part only.
    """
    part = shapely.make_valid(shapely.Polygon(ring))
    found: list[tuple[float, Points]] = []
    for share in _ROUNDS:
        radius = share * float(np.sqrt(part.area))
        rolled = part.buffer(-radius).buffer(radius * (1 + _TOUCHES))
        for piece in shapely.get_parts(part.difference(rolled)):
            neck = shapely.get_coordinates(piece.boundary.intersection(rolled.buffer(_TOUCHES * radius)))
            if piece.area > _LEAST_PIECE * part.area and len(neck) > 1 and _wider_than(piece, neck):
                found.append((float(piece.area), shapely.get_coordinates(piece.centroid)[0]))
    if not found:
        return None
    x, y = max(found, key=lambda pair: pair[0])[1]
    return float(x), float(y)


def _wider_than(piece: shapely.Polygon, neck: Points) -> bool:
    """Whether a piece reaches further along the line of its neck than the neck does."""
    along = np.linalg.svd(neck - neck.mean(axis=0))[2][0]
    return bool(np.ptp(shapely.get_coordinates(piece) @ along) > _NECK * np.ptp(neck @ along))
