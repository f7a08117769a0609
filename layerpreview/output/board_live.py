"""The live picture of an option as a board holds it: the desk's own data, its textures packed into few bytes.

`data/board/unpack.js` makes of them what the shader takes. Files are named by what they hold, so that options share them.
"""

from __future__ import annotations

import base64
import hashlib
import zlib
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from layerpreview.finish.view import Surroundings
from layerpreview.output.live import live_picture
from layerpreview.output.live_kept import Data
from layerpreview.scheme import Scheme

LONGEST_PX = 1200
"""The longer side of the picture that the maps of a board are made for."""


@dataclass
class PackedFiles:
    """The packed files of a board by name: what two options share is there once."""

    files: dict[str, bytes] = field(default_factory=dict)

    def add(self, data: bytes) -> str:
        """Keep a file and return its name."""
        name = hashlib.sha256(data).hexdigest()[:12]
        self.files.setdefault(name, data)
        return name

    def texts(self) -> dict[str, str]:
        """The files as a page holds them, base64."""
        return {name: base64.b64encode(data).decode("ascii") for name, data in self.files.items()}


def packed_picture(
    scheme: Scheme,
    around: Surroundings,
    *,
    files: PackedFiles,
    lights: Sequence[str] | None = None,
    most: Sequence[float] | None = None,
    longest_px: int = LONGEST_PX,
) -> dict[str, Any]:
    """`live_picture` as JSON values; its `packed` tells by a texture's hash how it is packed, and `files` holds the bytes.

    `lights`, `most`, `longest_px`: as for `live_picture`. Raises InputError and PictureError.
    """
    made = live_picture(scheme, around, lights=lights, longest_px=longest_px, most=most)
    packed = {name: {"file": files.add(_plain(data)), "as": "plain"} for name, data in made.textures.items()}
    return {**made.data, "packed": packed}


def _plain(data: Data) -> bytes:
    """Sixteen-bit numbers as their low bytes and then their high ones, deflated."""
    halves = np.frombuffer(data[:], dtype=np.uint8).reshape(-1, 2)
    return _deflated(halves.T.tobytes())


def _deflated(data: bytes) -> bytes:
    packer = zlib.compressobj(9, zlib.DEFLATED, -15)
    return packer.compress(data) + packer.flush()
