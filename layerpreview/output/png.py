"""PNG files written strip by strip, so that a picture never has to be in memory whole (PNG, ISO/IEC 15948).

Pillow needs the whole picture to save one. Here each strip is filtered and deflated on its own, in whichever thread
made it, and the pieces are joined into one zlib stream: raw deflate blocks that end on a byte may simply follow each
other.
"""

from __future__ import annotations

import struct
import zlib
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from pathlib import Path
from types import TracebackType
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from layerpreview.colour import NOT_ROLLED, on_screen

U8 = NDArray[np.uint8]
F32 = NDArray[np.float32]

LEVEL = 2
"""Deflate effort: on a textured picture level 6 saves another 4 % and takes eight times as long."""
_UP, _SUB = 2, 1
_ZLIB_HEADER = b"\x78\x5e"


@lru_cache(maxsize=1)
def _srgb_codes() -> U8:
    """8-bit sRGB code for each 16-bit step of linear light (IEC 61966-2-1)."""
    v = np.arange(65536) / 65535.0
    encoded = np.where(v <= 0.0031308, 12.92 * v, 1.055 * v ** (1 / 2.4) - 0.055)
    return np.rint(255.0 * encoded).astype(np.uint8)


def encode_srgb8(rgb_lin: F32) -> U8:
    """8-bit sRGB codes of linear light of any shape, clipped to 0..1."""
    return _srgb_codes()[(np.clip(rgb_lin, 0.0, 1.0) * np.float32(65535.0) + np.float32(0.5)).astype(np.uint16)]


def screen_srgb8(rgb_lin: F32, *, rolled_from: float = NOT_ROLLED) -> U8:
    """8-bit sRGB codes (..., 3) of linear light (..., 3) as the screen shows it: see `colour.on_screen`."""
    return encode_srgb8(on_screen(rgb_lin, rolled_from=rolled_from))


@dataclass(frozen=True)
class PackedStrip:
    """Some rows, filtered and deflated: `data` ends on a byte, `adler` and `size` are of the filtered bytes."""

    data: bytes
    adler: int
    size: int


def pack_strip(rgb8: U8) -> PackedStrip:
    """Filter and deflate rows (rows, cols, 3); the first row is coded without looking at the strip above."""
    rows, cols, _ = rgb8.shape
    filtered = np.empty((rows, 1 + 3 * cols), dtype=np.uint8)
    flat = rgb8.reshape(rows, 3 * cols)
    filtered[:, 0] = _UP
    filtered[0, 0] = _SUB
    filtered[0, 1:4] = flat[0, :3]
    np.subtract(flat[0, 3:], flat[0, :-3], out=filtered[0, 4:])
    np.subtract(flat[1:], flat[:-1], out=filtered[1:, 1:])
    raw = filtered.tobytes()
    deflate = zlib.compressobj(LEVEL, zlib.DEFLATED, -15, 9, zlib.Z_FILTERED)
    return PackedStrip(deflate.compress(raw) + deflate.flush(zlib.Z_FULL_FLUSH), zlib.adler32(raw), len(raw))


def _joined_adler(first: int, second: int, second_size: int) -> int:
    """Adler-32 of two byte strings in a row, from their own (as zlib's adler32_combine)."""
    base = 65521
    low = (first & 0xFFFF) + (second & 0xFFFF) - 1
    high = (first >> 16) + (second >> 16) + second_size * ((first & 0xFFFF) - 1)
    return (high % base) << 16 | (low % base)


class PngFile:
    """An 8-bit RGB PNG with the sRGB profile embedded; a context manager that leaves no half-written file's end out.

    `pixel_mm` [mm] is stored as the physical size, so that the picture prints to scale.
    """

    def __init__(self, path: Path, *, width_px: int, height_px: int, pixel_mm: float | None = None) -> None:
        self._file: BinaryIO = path.open("wb")
        self._adler = 1
        self._file.write(b"\x89PNG\r\n\x1a\n")
        self._chunk(b"IHDR", struct.pack(">IIBBBBB", width_px, height_px, 8, 2, 0, 0, 0))
        self._chunk(b"iCCP", b"sRGB\0\0" + zlib.compress(srgb_profile(), 9))
        if pixel_mm is not None:
            per_metre = round(1000.0 / pixel_mm)
            self._chunk(b"pHYs", struct.pack(">IIB", per_metre, per_metre, 1))
        self._chunk(b"IDAT", _ZLIB_HEADER)

    def write(self, strip: PackedStrip) -> None:
        """Append the next rows."""
        self._chunk(b"IDAT", strip.data)
        self._adler = _joined_adler(self._adler, strip.adler, strip.size)

    def close(self) -> None:
        """End the deflate stream and the file."""
        # An empty final block (static Huffman, end of block), then the checksum of all rows.
        self._chunk(b"IDAT", b"\x03\x00" + struct.pack(">I", self._adler))
        self._chunk(b"IEND", b"")
        self._file.close()

    def _chunk(self, kind: bytes, data: bytes) -> None:
        self._file.write(struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data)))

    def __enter__(self) -> PngFile:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if error is None:
            self.close()
        else:
            self._file.close()


@lru_cache(maxsize=1)
def srgb_profile() -> bytes:
    """The sRGB ICC profile that ships with the package."""
    return (resources.files("layerpreview") / "data" / "srgb.icc").read_bytes()
