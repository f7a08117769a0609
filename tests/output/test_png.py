"""PNG files written in pieces: exists for a seam between strips, a checksum that only our own reader would accept, a
size or profile that gets lost, and bytes that change from run to run."""

from __future__ import annotations

import io
import zlib
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageCms

from layerpreview.colour import encode_srgb
from layerpreview.output.png import (
    DARK,
    WIDE_PX,
    PngFile,
    _joined_adler,
    dithered_srgb8,
    encode_srgb8,
    pack_strip,
    srgb_profile,
)

RNG = np.random.default_rng(31)
PIXELS = RNG.integers(0, 256, (23, 17, 3), dtype=np.uint8)
PIXELS[5:15] //= 16  # something that deflates as well


def _write(path: Path, pixels: np.ndarray, cuts: list[int], *, pixel_mm: float | None = None) -> bytes:
    bounds = [0, *sorted(set(cuts)), len(pixels)]
    with PngFile(path, width_px=pixels.shape[1], height_px=pixels.shape[0], pixel_mm=pixel_mm) as file:
        for first, last in pairwise(bounds):
            file.write(pack_strip(pixels[first:last]))
    return path.read_bytes()


@pytest.mark.parametrize("cuts", [[], [1], [22], [4, 5, 11], list(range(1, 23))])
def test_another_reader_sees_the_same_pixels(tmp_path: Path, cuts: list[int]) -> None:
    _write(tmp_path / "a.png", PIXELS, cuts)
    with Image.open(tmp_path / "a.png") as picture:
        picture.load()
        assert picture.mode == "RGB"
        assert np.array_equal(np.asarray(picture), PIXELS)


@settings(max_examples=30)
@given(
    size=st.tuples(st.integers(1, 9), st.integers(1, 9)),
    cuts=st.lists(st.integers(1, 8), max_size=4),
    seed=st.integers(0, 9),
)
def test_any_size_any_cut(
    tmp_path_factory: pytest.TempPathFactory, size: tuple[int, int], cuts: list[int], seed: int
) -> None:
    pixels = np.random.default_rng(seed).integers(0, 256, (*size, 3), dtype=np.uint8)
    data = _write(tmp_path_factory.getbasetemp() / "any.png", pixels, [cut for cut in cuts if cut < size[0]])
    with Image.open(io.BytesIO(data)) as picture:
        assert np.array_equal(np.asarray(picture), pixels)


def test_the_stream_is_one_whole_zlib_stream(tmp_path: Path) -> None:
    """Chunk by chunk as the standard has it (ISO/IEC 15948): every CRC right, IDATs together one zlib stream whose
    Adler-32 Python's zlib accepts, and nothing after IEND."""
    data = _write(tmp_path / "a.png", PIXELS, [3, 9], pixel_mm=0.25)
    assert data[:8] == b"\x89PNG\r\n\x1a\n"
    at, kinds, stream = 8, [], b""
    while at < len(data):
        size, kind = int.from_bytes(data[at : at + 4], "big"), data[at + 4 : at + 8]
        body = data[at + 8 : at + 8 + size]
        assert int.from_bytes(data[at + 8 + size : at + 12 + size], "big") == zlib.crc32(kind + body)
        kinds.append(kind)
        stream += body if kind == b"IDAT" else b""
        at += 12 + size
    assert kinds[:3] == [b"IHDR", b"iCCP", b"pHYs"]
    assert set(kinds[3:-1]) == {b"IDAT"}
    assert kinds[-1] == b"IEND"
    inflate = zlib.decompressobj()
    assert len(inflate.decompress(stream)) == 23 * (1 + 3 * 17)
    assert inflate.eof
    assert inflate.unused_data == b""


@pytest.mark.parametrize("cols", [WIDE_PX - 1, WIDE_PX])
def test_either_deflate_gives_a_stream_that_goes_on(cols: int) -> None:
    """Strips of any sort in a row, as if one had been written: zlib reads them all, and the same bytes come twice."""
    pixels = np.random.default_rng(8).integers(0, 9, (7, cols, 3), dtype=np.uint8)
    strips = [pack_strip(pixels[first:last]) for first, last in ((0, 3), (3, 4), (4, 7))]
    inflate = zlib.decompressobj(-15)
    raw = inflate.decompress(b"".join(strip.data for strip in strips))
    assert len(raw) == sum(strip.size for strip in strips) == 7 * (1 + 3 * cols)
    filtered = np.frombuffer(raw, dtype=np.uint8).reshape(7, 1 + 3 * cols)
    assert filtered[:, 0].tolist() == [1, 2, 2, 1, 1, 2, 2]
    assert np.array_equal(filtered[1, 1:], (pixels[1] - pixels[0]).ravel())
    start = 0
    for strip in strips:
        assert strip.adler == zlib.adler32(raw[start : start + strip.size])
        start += strip.size
    assert pack_strip(pixels[3:4]) == strips[1]


def test_profile_and_size_are_in_the_file(tmp_path: Path) -> None:
    """A quarter of a millimetre a pixel is 4000 pixels a metre, 101.6 dpi."""
    _write(tmp_path / "a.png", PIXELS, [], pixel_mm=0.25)
    with Image.open(tmp_path / "a.png") as picture:
        assert picture.info["dpi"] == pytest.approx((101.6, 101.6), abs=0.01)
        assert picture.info["icc_profile"] == srgb_profile()
    profile = ImageCms.ImageCmsProfile(io.BytesIO(srgb_profile()))
    assert "srgb" in ImageCms.getProfileDescription(profile).lower()
    assert profile.profile.xcolor_space.strip() == "RGB"


def test_the_same_bytes_twice(tmp_path: Path) -> None:
    one, other = (_write(tmp_path / f"{i}.png", PIXELS, [7], pixel_mm=0.3) for i in range(2))
    assert one == other


@given(first=st.binary(max_size=300), second=st.binary(max_size=70_000))
@settings(max_examples=40)
def test_joined_checksum(first: bytes, second: bytes) -> None:
    joined = _joined_adler(zlib.adler32(first), zlib.adler32(second), len(second))
    assert joined == zlib.adler32(first + second)


def test_joined_checksum_of_long_white_strips() -> None:
    """Sums that pass the modulus many times over."""
    white = b"\xff" * 1_000_003
    assert _joined_adler(zlib.adler32(white), zlib.adler32(white), len(white)) == zlib.adler32(white + white)


def test_srgb_codes() -> None:
    """IEC 61966-2-1: .18 is code 118, .5 is 188; codes 1, 127 and 128 stand at .00030353, .2122308 and .2158605."""
    linear = np.array([-0.2, 0.0, 0.00030353, 0.18, 0.2122308, 0.2158605, 0.5, 1.0, 7.0], dtype=np.float32)
    assert encode_srgb8(linear).tolist() == [0, 0, 1, 118, 127, 128, 188, 255, 255]


def test_every_code_comes_back() -> None:
    codes = np.arange(256)
    v = codes / 255
    linear = np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)
    assert np.array_equal(encode_srgb8(linear.astype(np.float32)), codes)


def _light(code: np.ndarray | float) -> np.ndarray:
    """Linear light of 8-bit codes, whole or not (IEC 61966-2-1)."""
    s = np.asarray(code) / 255.0
    return np.where(s <= 0.04045, s / 12.92, ((s + 0.055) / 1.055) ** 2.4).astype(np.float32)


def _means(codes: np.ndarray, size: int) -> np.ndarray:
    """Means over `size` neighbours along the rows."""
    sums = np.cumsum(np.pad(codes.astype(np.float64), ((0, 0), (1, 0))), axis=1)
    return (sums[:, size:] - sums[:, :-size]) / size


def test_a_dark_slow_ramp_shows_no_steps() -> None:
    """Codes 3 to 19 over 600 pixels, each 37 pixels wide: averaged over 9 pixels, plain rounding keeps its steps."""
    ramp = np.geomspace(0.001, 0.0065, 600, dtype=np.float32)
    picture = np.repeat(np.tile(ramp, (12, 1))[:, :, None], 3, axis=2) * np.array([1.0, 0.83, 0.61], dtype=np.float32)
    exact = 255.0 * encode_srgb(picture.astype(np.float64))
    for channel in range(3):
        true = _means(exact[:, :, channel], 9)
        plain, dithered = (
            codes[:, :, channel] for codes in (encode_srgb8(picture), dithered_srgb8(picture, first_row=3))
        )
        assert np.abs(_means(plain, 9) - true).max() > 0.4
        assert np.abs(_means(dithered, 9) - true).max() < 0.3
        assert np.abs((_means(dithered, 9) - true)[:8].mean(axis=0)).max() < 0.1
        assert dithered.mean() == pytest.approx(exact[:, :, channel].mean(), abs=0.02)


@pytest.mark.parametrize("code", [0.3, 7.5, 18.71, 30.9])
def test_a_dithered_flat_keeps_its_mean_in_every_row_and_column(code: float) -> None:
    """Four neighbours along a row or a column are right to an eighth of a code, sixteen to a thirty-second."""
    codes = dithered_srgb8(np.full((8, 12, 3), _light(code)))[..., 1].astype(np.float64)
    assert codes.mean() == pytest.approx(code, abs=1 / 32 + 0.03)  # linear light is rounded too, to .05 of a code
    for along in (0, 1):
        assert codes.mean(axis=along) == pytest.approx(np.full(codes.shape[1 - along], code), abs=1 / 4 + 0.03)
    assert set(np.unique(codes)) <= {np.floor(code), np.ceil(code)}


def test_what_is_bright_or_black_is_not_dithered() -> None:
    """One channel at the limit is enough; a ground, pure black and white stay flat."""
    light = RNG.uniform(0.0, 1.0, (9, 14, 3)).astype(np.float32)
    light[:, :, 1] = 0.0298  # code 48.1
    assert np.array_equal(dithered_srgb8(light), encode_srgb8(light))
    assert encode_srgb8(light)[:, :, 1].min() >= DARK
    for flat in (0.0, 0.1842, 1.0):
        assert np.unique(dithered_srgb8(np.full((5, 6, 3), flat, dtype=np.float32))).size == 1


def test_what_is_busy_is_not_dithered() -> None:
    """A step of a code in 14 pixels is no band; a line is drawn as it is, and so is what has it just beside."""
    busy = np.tile(_light(np.linspace(8.0, 44.0, 504))[None, :, None], (4, 1, 3))
    assert np.array_equal(dithered_srgb8(busy)[:, 8:-8], encode_srgb8(busy)[:, 8:-8])
    line = np.full((4, 60, 3), _light(20.5))
    line[:, 30] = _light(60.0)
    differs = (dithered_srgb8(line) != encode_srgb8(line)).any(axis=(0, 2))
    assert np.flatnonzero(~differs).tolist() == [22, 30, 38]


def test_strips_of_a_dither_fit_together() -> None:
    light = np.linspace(0.004, 0.006, 690, dtype=np.float32).reshape(23, 10, 3)
    whole = dithered_srgb8(light, first_row=5)
    parts = [dithered_srgb8(light[a:b], first_row=5 + a) for a, b in ((0, 3), (3, 10), (10, 23))]
    assert np.array_equal(np.concatenate(parts), whole)
    assert not np.array_equal(whole, dithered_srgb8(light, first_row=6))


def _fail_half_way(path: Path) -> None:
    with PngFile(path, width_px=17, height_px=23) as file:
        file.write(pack_strip(PIXELS[:4]))
        raise RuntimeError("no more")


def test_a_failure_inside_closes_the_file(tmp_path: Path) -> None:
    path = tmp_path / "a.png"
    with pytest.raises(RuntimeError, match="no more"):
        _fail_half_way(path)
    path.unlink()  # fails on some systems while the file is open


def test_without_the_quick_deflate_wide_pictures_are_the_same(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """On machines that it is not made for zlib does the work."""
    rng = np.random.default_rng(8)
    pixels = np.repeat(rng.integers(0, 255, (7, 1, 3), dtype=np.uint8), WIDE_PX + 5, axis=1)
    monkeypatch.setattr("layerpreview.output.png.wide_zlib", lambda: zlib)
    with PngFile(tmp_path / "wide.png", width_px=pixels.shape[1], height_px=7) as file:
        file.write(pack_strip(pixels))
    with Image.open(tmp_path / "wide.png") as picture:
        assert np.array_equal(np.asarray(picture), pixels)
