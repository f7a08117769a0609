"""PNG files written strip by strip, so that a picture never has to be in memory whole (PNG, ISO/IEC 15948).

Pillow needs the whole picture to save one. Here each strip is filtered and deflated on its own, in whichever thread
made it, and the pieces are joined into one zlib stream: raw deflate blocks that end on a byte may simply follow each
other.
"""

from __future__ import annotations

import struct
import zlib
from contextlib import suppress
from dataclasses import dataclass
from functools import lru_cache
from importlib import import_module, resources
from pathlib import Path
from types import TracebackType
from typing import Any, BinaryIO

import numpy as np
from numpy.typing import NDArray

from layerpreview.colour import NOT_ROLLED, on_screen

U8 = NDArray[np.uint8]
U16 = NDArray[np.uint16]
F32 = NDArray[np.float32]

LEVEL = 2
"""Deflate effort: on a textured picture level 6 saves another 4 % and takes eight times as long."""
WIDE_PX = 6000
"""Width from which ISA-L deflates in zlib's place: at 12300 pixels in a seventh of the time, files 12 to 19 % smaller.
Narrower pictures are as quick either way, and come out up to a fifth larger by ISA-L."""
DARK, BESIDE_PX = 48, 8
"""Dithered is what is dark (all channels below this code, L* 19) and so even that a step would be seen as one: the
brightest channel changes by less than a code from so many pixels to the left to as many to the right. Elsewhere a
dither would add more to the file than to the picture."""
_ORDER = np.array([[0, 13, 6, 11], [7, 10, 1, 12], [9, 4, 15, 2], [14, 3, 8, 5]], dtype=np.uint16)
"""Pandiagonal magic square: rows, columns and all blocks of 2 x 2 have one mean, so that no direction gets lines."""
_UP, _SUB = 2, 1
_ZLIB_HEADER = b"\x78\x5e"


@lru_cache(maxsize=1)
def _fine_codes() -> U16:
    """sRGB code in 256ths of an 8-bit one for each 16-bit step of linear light (IEC 61966-2-1)."""
    v = np.arange(65536) / 65535.0
    code = 255.0 * np.where(v <= 0.0031308, 12.92 * v, 1.055 * v ** (1 / 2.4) - 0.055)
    # Rounded to 8 bits it must give what rounding at once gives.
    nearest = 256.0 * np.rint(code)
    return np.clip(np.rint(256.0 * code), np.maximum(nearest - 128.0, 0.0), nearest + 127.0).astype(np.uint16)


def _fine(rgb_lin: F32) -> U16:
    steps = np.clip(rgb_lin, 0.0, 1.0)
    steps *= np.float32(65535.0)
    steps += np.float32(0.5)
    return _fine_codes()[steps.astype(np.uint16)]


def encode_srgb8(rgb_lin: F32) -> U8:
    """8-bit sRGB codes of linear light of any shape, clipped to 0..1."""
    return ((_fine(rgb_lin) + np.uint16(128)) >> np.uint16(8)).astype(np.uint8)


def screen_srgb8(rgb_lin: F32, *, rolled_from: float = NOT_ROLLED) -> U8:
    """8-bit sRGB codes (..., 3) of linear light (..., 3) as the screen shows it: see `colour.on_screen`."""
    return encode_srgb8(on_screen(rgb_lin, rolled_from=rolled_from))


def dithered_srgb8(rgb_lin: F32, *, rolled_from: float = NOT_ROLLED, first_row: int = 0) -> U8:
    """As `screen_srgb8` for rows of a picture (rows, cols, 3); dark pixels are dithered, so that they show no steps.

    `first_row`: number of the first row in the picture, by which its strips fit together. The dither is ordered: the
    code below or the code above by the pixel's place in a pattern of 4 x 4 whose mean is the light asked for. Only
    where it is dark and even (see `DARK`), so that grounds and writing stay flat; black stays black.
    """
    fine = _fine(on_screen(rgb_lin, rolled_from=rolled_from))
    rows, cols, _ = fine.shape
    red, green, blue = np.moveaxis(fine, 2, 0)
    brightest = np.maximum(np.maximum(red, green), blue)
    beside = np.pad(brightest, ((0, 0), (BESIDE_PX, BESIDE_PX)), mode="edge")
    left, right = beside[:, : -2 * BESIDE_PX], beside[:, 2 * BESIDE_PX :]
    dark = (brightest < 256 * DARK) & (np.maximum(left, right) - np.minimum(left, right) < 256)
    # 128 everywhere to round, and where it is dark what the pattern has more or less (16 bits wrap round)
    pattern = np.tile(16 * _ORDER + 8 - 128, (1, cols // 4 + 1))[:, :cols]
    added = pattern[np.arange(first_row, first_row + rows) % 4]
    added *= dark
    added += np.uint16(128)
    for channel in (red, green, blue):
        channel += added
        channel >>= np.uint16(8)
    return fine.astype(np.uint8)


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
    side_by_side = np.empty((rows, cols, 3), dtype=np.uint8)
    for channel in range(3):  # three times as fast as numpy's own copy where the channels are planes
        side_by_side[:, :, channel] = rgb8[:, :, channel]
    flat = side_by_side.reshape(rows, 3 * cols)
    filtered[:, 0] = _UP
    filtered[0, 0] = _SUB
    filtered[0, 1:4] = flat[0, :3]
    np.subtract(flat[0, 3:], flat[0, :-3], out=filtered[0, 4:])
    np.subtract(flat[1:], flat[:-1], out=filtered[1:, 1:])
    raw = filtered.data
    return PackedStrip(_deflated(raw, cols), wide_zlib().adler32(raw), raw.nbytes)


def _deflated(raw: memoryview, cols: int) -> bytes:
    if cols < WIDE_PX:
        small = zlib.compressobj(LEVEL, zlib.DEFLATED, -15, 9, zlib.Z_FILTERED)
        return small.compress(raw) + small.flush(zlib.Z_FULL_FLUSH)
    quick = wide_zlib().compressobj(LEVEL, zlib.DEFLATED, -15)
    return bytes(quick.compress(raw) + quick.flush(zlib.Z_FULL_FLUSH))


@lru_cache(maxsize=1)
def wide_zlib() -> Any:
    """ISA-L behind zlib's own names; zlib itself on machines that no ISA-L is made for."""
    with suppress(ImportError):
        return import_module("isal.isal_zlib")
    return zlib


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
