"""Numbers on lattices in few bytes: waves over blocks of 8 x 8 places (DCT, type II), rounded, deflated.

`data/board/unpack.js` reads them. Any numbers will do, of any range: a picture file would round them to 256 steps, and
browsers change what a page reads from one.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

F32 = NDArray[np.float32]
I32 = NDArray[np.int32]

BLOCK = 8
_WAVES = 64
_DEAD = 0.15
"""A wave that is this much of a step below the half of one is left out: it costs more bytes than it shows."""


def _matrix() -> F32:
    k, x = np.arange(BLOCK)[:, None], np.arange(BLOCK)[None, :]
    waves = np.cos(np.pi * (2 * x + 1) * k / (2 * BLOCK)) * np.sqrt(2.0 / BLOCK)
    waves[0] /= np.sqrt(2.0)
    return np.asarray(waves, dtype=np.float32)


def _order() -> list[int]:
    """The waves of a block, row by row, from the longest to the shortest."""
    places = [(i, j) for i in range(BLOCK) for j in range(BLOCK)]
    return [BLOCK * i + j for i, j in sorted(places, key=lambda p: (p[0] + p[1], p))]


_DCT, ORDER = _matrix(), _order()


@dataclass(frozen=True)
class Waves:
    """`data`, and what `told` says of it: `n` lattices of `rows` x `cols`, the `step` of the rounding, and how many of
    each block's waves (`ORDER`) there are."""

    data: bytes
    n: int
    rows: int
    cols: int
    step: float
    waves: int

    def told(self) -> dict[str, Any]:
        """As the page is told, without the bytes."""
        return {"n": self.n, "rows": self.rows, "cols": self.cols, "step": self.step, "waves": self.waves}


def deflated(data: bytes) -> bytes:
    """Raw deflate (RFC 1951), which browsers undo."""
    packer = zlib.compressobj(6, zlib.DEFLATED, -15, 9)
    return packer.compress(data) + packer.flush()


def inflated(data: bytes) -> bytes:
    """Undo `deflated`."""
    return zlib.decompress(data, -15)


def as_waves(values: F32, *, step: float) -> Waves:
    """Numbers (n, rows, cols) or (rows, cols) as waves; each number comes back to about a third of `step`."""
    values = values if values.ndim == 3 else values[None]
    n, rows, cols = values.shape
    full = np.pad(values, ((0, 0), (0, -rows % BLOCK), (0, -cols % BLOCK)), mode="edge")
    down, across = full.shape[1] // BLOCK, full.shape[2] // BLOCK
    made = (_DCT @ full.reshape(n * down, BLOCK, -1)).reshape(n, down, BLOCK, across, BLOCK) @ _DCT.T
    scaled = made * np.float32(1.0 / step)
    steps = np.sign(scaled) * np.floor(np.maximum(np.abs(scaled) + np.float32(0.5 - _DEAD), 0.0))
    steps[:, :, 0, :, 0] = np.rint(scaled[:, :, 0, :, 0])
    whole = np.moveaxis(steps.astype(np.int32), (2, 4), (0, 1)).reshape(_WAVES, n, down, across)[ORDER]
    mean = whole[0].copy()
    whole[0, :, :, 1:] -= mean[:, :, :-1]
    whole[0, :, 1:, 0] -= mean[:, :-1, 0]
    used = np.flatnonzero(whole.any(axis=(1, 2, 3)))
    count = int(used[-1]) + 1 if used.size else 1
    return Waves(deflated(_split(whole[:count])), n, rows, cols, float(f"{step:.6g}"), count)


def of_waves(made: Waves) -> F32:
    """The numbers (n, rows, cols), as the page unpacks them."""
    down, across = -(-made.rows // BLOCK), -(-made.cols // BLOCK)
    whole = np.zeros((_WAVES, made.n, down, across), dtype=np.int32)
    whole[: made.waves] = _joined(inflated(made.data)).reshape(made.waves, made.n, down, across)
    whole[0, :, :, 0] = np.cumsum(whole[0, :, :, 0], axis=1)
    whole[0] = np.cumsum(whole[0], axis=2)
    steps = np.empty_like(whole)
    steps[ORDER] = whole
    blocks = np.moveaxis(steps.reshape(BLOCK, BLOCK, made.n, down, across), (0, 1), (2, 4)).astype(np.float32)
    lines = blocks * np.float32(made.step) @ _DCT
    full = (_DCT.T @ lines.reshape(made.n * down, BLOCK, -1)).reshape(made.n, down * BLOCK, across * BLOCK)
    return np.ascontiguousarray(full[:, : made.rows, : made.cols])


def _split(whole: I32) -> bytes:
    """Whole numbers (0, -1, 1, -2, ... as 0, 1, 2, 3, ...) as three bytes each, the low ones of all first."""
    turned = ((whole << 1) ^ (whole >> 31)).ravel()
    return b"".join((turned >> 8 * byte & 255).astype(np.uint8).tobytes() for byte in range(3))


def _joined(data: bytes) -> I32:
    low, middle, high = np.frombuffer(data, dtype=np.uint8).reshape(3, -1).astype(np.int32)
    turned = low | middle << 8 | high << 16
    return np.asarray((turned >> 1) ^ -(turned & 1), dtype=np.int32)
