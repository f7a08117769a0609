"""Textures of the live picture: numbers as a graphics chip takes them, named by what they hold."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from layerpreview.held import usable_json
from layerpreview.output.live_kept import Data, in_file, keep, kept, laid_down

F32 = NDArray[np.float32]

_HALF_FORMATS = {1: "R16F", 2: "RG16F", 4: "RGBA16F"}
_WHOLE_FORMATS = {1: "R16UI", 2: "RG16UI"}
_MOST_HALF = float(np.finfo(np.float16).max)


@dataclass(frozen=True, eq=False)
class Texture:
    """`depth` pictures of `height` rows of `width` places, row by row from the top, in a WebGL 2 `format`.

    `data` is little-endian, without gaps; `name` is the same for the same numbers.
    """

    format: str
    width: int
    height: int
    depth: int
    name: str
    data: Data

    def told(self) -> dict[str, Any]:
        """How it is named in the picture's JSON."""
        return {
            "hash": self.name,
            "format": self.format,
            "width": self.width,
            "height": self.height,
            "depth": self.depth,
        }


def half(numbers: F32) -> Texture:
    """Numbers (rows, cols, n) or (depth, rows, cols, n), n of 1, 2 or 4, in half precision."""
    *_, rows, cols, n = numbers.shape
    depth = len(numbers) if numbers.ndim == 4 else 1
    data = np.clip(numbers, -_MOST_HALF, _MOST_HALF).astype("<f2", copy=False).tobytes()
    return _texture(_HALF_FORMATS[n], cols, rows, depth, data)


def shares(numbers: F32) -> Texture:
    """Numbers (rows, cols, n) in [0, 1), n of 1 or 2, as whole ones of 65536: halves are too coarse next to 1."""
    rows, cols, n = numbers.shape
    return _texture(_WHOLE_FORMATS[n], cols, rows, 1, (numbers * np.float32(65536.0)).astype("<u2").tobytes())


def kept_texture(kind: str, depends: object, make: Callable[[], Texture]) -> Texture:
    """A texture that takes long and is the same for many jobs, from one run to the next; it `depends` on what its repr
    tells."""
    with suppress(ValueError, TypeError, KeyError, AttributeError):
        told = usable_json(kept(kind, repr(depends)) or b"")
        whole = told.pop("check") == _check(told)
        if whole and (data := in_file(told["name"], told["size"])) is not None:
            return Texture(told["format"], told["width"], told["height"], told["depth"], told["name"], data)
    made = make()
    told = {**made.told(), "name": made.name, "size": len(made.data)}
    keep(kind, repr(depends), json.dumps({**told, "check": _check(told)}).encode())
    return made


def _check(told: Mapping[str, object]) -> str:
    """By what it shows that what is told of a kept texture is as it was."""
    return hashlib.sha256(json.dumps(told, sort_keys=True).encode()).hexdigest()


def _texture(format_: str, width: int, height: int, depth: int, data: bytes) -> Texture:
    told = f"{format_} {width} {height} {depth} "
    name = hashlib.sha256(told.encode() + data).hexdigest()[:24]
    return Texture(format_, width, height, depth, name, laid_down(name, data))
