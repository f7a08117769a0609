"""Reading photos: exists for pictures on their side, profiles that are dropped, 16 bits cut to 8 unseen, gamma averaged
as if it were light, and files that are no picture."""

from __future__ import annotations

import io
import struct
import sys
import zlib
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageCms

from layerpreview.errors import PictureError
from layerpreview.surface.photo import Photo, balanced, evened_out, photo_sampler, srgb_table
from layerpreview.surface.photo_base import carried_on
from layerpreview.surface.picture_file import PictureData, read_camera_photo, read_picture
from layerpreview.surface.sample import PixelGrid

RNG = np.random.default_rng(5)
PICTURE = RNG.integers(0, 256, (11, 7, 3), dtype=np.uint8)


def _png(width: int, height: int, depth: int, colour: int, body: bytes) -> bytes:
    """A PNG made by hand (ISO/IEC 15948): what Pillow does not write."""

    def chunk(name: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))

    head = struct.pack(">IIBBBBB", width, height, depth, colour, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(body)) + chunk(b"IEND", b"")


def _saved(path: Path, image: Image.Image, **options: object) -> Path:
    image.save(path, **options)  # type: ignore[arg-type]
    return path


@pytest.mark.parametrize("name", ["a.png", "a.tif", "a.bmp"])
def test_numbers_come_back_as_they_are(tmp_path: Path, name: str) -> None:
    got = read_picture(_saved(tmp_path / name, Image.fromarray(PICTURE)))
    assert (got.pixels == PICTURE).all()
    assert got.pixels.dtype == np.uint8
    assert got.alpha is None
    assert (got.width_px, got.height_px) == (7, 11)


@pytest.mark.parametrize("mode", ["1", "L", "LA", "P", "RGBA", "PA"])
def test_other_modes(tmp_path: Path, mode: str) -> None:
    source = Image.fromarray(PICTURE)
    if mode == "PA":
        image = source.convert("P")
        image.info["transparency"] = 3
        path = _saved(tmp_path / "a.png", image, transparency=3)
    else:
        image = source.convert(mode)
        if "A" in mode:
            image.putalpha(Image.fromarray(PICTURE[:, :, 1]))
        path = _saved(tmp_path / "a.png", image)
    got = read_picture(path)
    grey = mode in ("1", "L", "LA")
    assert got.pixels.shape == ((11, 7) if grey else (11, 7, 3))
    wanted = np.asarray(image.convert("L" if grey else "RGB"))
    assert (got.pixels == wanted).all()
    assert (got.alpha is not None) == ("A" in mode)
    if mode in ("LA", "RGBA"):
        assert got.alpha is not None
        assert (got.alpha == PICTURE[:, :, 1]).all()


# Exif 2.3, tag 0x0112: where row 0 and column 0 of the stored picture are seen, as numpy operations from memory.
UPRIGHT = {
    1: lambda a: a,
    2: lambda a: a[:, ::-1],
    3: lambda a: a[::-1, ::-1],
    4: lambda a: a[::-1],
    5: lambda a: a.swapaxes(0, 1),
    6: lambda a: np.rot90(a, -1),  # stored lying on its left: turned clockwise to be seen
    7: lambda a: np.rot90(a, 2).swapaxes(0, 1),
    8: lambda a: np.rot90(a, 1),
}


@pytest.mark.parametrize("orientation", UPRIGHT)
def test_orientation(tmp_path: Path, orientation: int) -> None:
    exif = Image.Exif()
    exif[0x0112] = orientation
    eight = read_picture(_saved(tmp_path / "a.png", Image.fromarray(PICTURE), exif=exif))
    assert (eight.pixels == UPRIGHT[orientation](PICTURE)).all()
    sixteen = tmp_path / "b.tif"
    _write_tiff(sixteen, PICTURE.astype(np.uint16) * 251, extratags=[(0x0112, "H", 1, orientation, True)])
    assert (read_picture(sixteen).pixels == UPRIGHT[orientation](PICTURE.astype(np.uint16) * 251)).all()


def _write_tiff(path: Path, values: np.ndarray, **options: object) -> None:
    import tifffile

    options = {"photometric": "rgb" if values.ndim == 3 else "minisblack", **options}
    tifffile.imwrite(path, values, **options)  # type: ignore[arg-type]


@pytest.mark.parametrize("options", [{}, {"compression": "zlib"}, {"byteorder": ">"}, {"planarconfig": "separate"}])
def test_sixteen_bit_tiff(tmp_path: Path, options: dict[str, object]) -> None:
    values = RNG.integers(0, 65536, (9, 6, 3), dtype=np.uint16)
    path = tmp_path / "a.tif"
    stored = np.moveaxis(values, -1, 0) if "planarconfig" in options else values
    _write_tiff(path, stored, **options)
    got = read_picture(path)
    assert got.pixels.dtype == np.uint16
    assert (got.pixels == values).all()


def test_sixteen_bit_grey(tmp_path: Path) -> None:
    values = RNG.integers(0, 65536, (9, 6), dtype=np.uint16)
    _write_tiff(tmp_path / "a.tif", values)
    assert (read_picture(tmp_path / "a.tif").pixels == values).all()
    body = b"".join(b"\0" + row.astype(">u2").tobytes() for row in values)
    (tmp_path / "a.png").write_bytes(_png(6, 9, 16, 0, body))
    got = read_picture(tmp_path / "a.png")
    assert got.pixels.dtype == np.uint16
    assert (got.pixels == values).all()


def _other_profile() -> bytes:
    """A profile of our own making: sRGB with its red and blue columns exchanged is still a matrix profile."""
    data = bytearray(ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes())
    count = struct.unpack(">I", data[128:132])[0]
    at = {bytes(data[132 + 12 * k : 136 + 12 * k]): 136 + 12 * k for k in range(count)}
    red, blue = at[b"rXYZ"], at[b"bXYZ"]
    data[red : red + 8], data[blue : blue + 8] = data[blue : blue + 8], data[red : red + 8]
    where, size = struct.unpack(">II", data[at[b"desc"] : at[b"desc"] + 8])
    text = bytes(data[where : where + size]).replace("sRGB".encode("utf-16-be"), "swap".encode("utf-16-be"))
    data[where : where + size] = text.replace(b"sRGB", b"swap")
    return bytes(data)


def test_an_embedded_profile_is_converted(tmp_path: Path) -> None:
    """With red and blue exchanged in the profile, the sRGB numbers must come out exchanged."""
    path = _saved(tmp_path / "a.png", Image.fromarray(PICTURE), icc_profile=_other_profile())
    got = read_picture(path)
    assert np.abs(got.pixels.astype(int) - PICTURE[:, :, ::-1]).max() <= 2
    assert any("profile" in note for note in got.notes)


def test_srgb_round_trip_and_broken_profile(tmp_path: Path) -> None:
    srgb = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    got = read_picture(_saved(tmp_path / "a.png", Image.fromarray(PICTURE), icc_profile=srgb))
    assert (got.pixels == PICTURE).all()
    got = read_picture(_saved(tmp_path / "b.png", Image.fromarray(PICTURE), icc_profile=b"no profile" * 20))
    assert (got.pixels == PICTURE).all()
    assert any("cannot be used" in note for note in got.notes)
    grey = _saved(tmp_path / "c.png", Image.fromarray(PICTURE).convert("L"), icc_profile=srgb)
    assert read_picture(grey).height_px == 11


def test_sixteen_bits_in_another_profile_are_refused(tmp_path: Path) -> None:
    """The colour engine at hand has 8 bits: such a picture is refused, never misread."""
    _write_tiff(
        tmp_path / "a.tif", PICTURE.astype(np.uint16) * 257, extratags=[(34675, "B", None, _other_profile(), True)]
    )
    with pytest.raises(PictureError, match="16-bit picture in the colour profile"):
        read_picture(tmp_path / "a.tif")


def test_frames(tmp_path: Path) -> None:
    frames = [Image.fromarray(PICTURE).convert("P"), Image.fromarray(255 - PICTURE).convert("P")]
    path = _saved(tmp_path / "a.gif", frames[0], save_all=True, append_images=frames[1:])
    got = read_picture(path)
    assert got.pixels.shape == (11, 7, 3)
    assert any("first" in note for note in got.notes)


def _jpeg(mode: str = "RGB") -> bytes:
    file = io.BytesIO()
    Image.fromarray(np.kron(PICTURE, np.ones((20, 20, 1), np.uint8))).convert(mode).save(file, "JPEG")
    return file.getvalue()


@pytest.mark.parametrize(
    ("name", "data", "said"),
    [
        ("a.png", b"this is text, not a picture", "not a picture"),
        ("a.png", b"", "the file is empty"),
        ("a.jpg", _jpeg()[:900], "broken or cut short"),
        ("a.jpg", _jpeg()[:30], "."),
        ("a.jpg", _jpeg("CMYK"), "CMYK"),
        ("a.png", _png(7, 1, 16, 2, b"\0" + bytes(42)), "16-bit PNG"),
        ("a.png", _png(7, 1, 16, 6, b"\0" + bytes(56)), "16-bit PNG"),
        ("a.png", _png(20_000, 20_000, 8, 2, b""), "megapixels"),
        ("a.png", _png(12_500, 12_500, 8, 2, b""), "12500 x 12500 is 156 megapixels"),
        ("a.png", _png(60_000, 1, 8, 2, b""), "60000 x 1: a side may have at most 50,000 pixels"),
        ("a.png", _png(9, 9, 8, 2, b"\0\0"), "broken or cut short"),
        ("a.png", _png(9, 9, 8, 2, b"\0" * 300)[:-30], "."),
        ("a.png", _png(0, 9, 8, 2, b""), "."),
        ("a.heic", b"\0\0\0\x18ftypheic", "."),
        ("a.tif", b"II*\0\x08\0\0\0\0\0", "."),
    ],
)
def test_files_that_cannot_be_used(tmp_path: Path, name: str, data: bytes, said: str) -> None:
    path = tmp_path / name
    path.write_bytes(data)
    with pytest.raises(PictureError, match=said) as caught:
        read_picture(path)
    lines = str(caught.value).splitlines()
    assert len(lines) == 1
    assert lines[0].startswith(f"{path}: ")
    assert "; " in lines[0]


@pytest.mark.parametrize("size", [(3, 5000), (900, 1), (23, 23), (30, 601)])
def test_a_strip_is_no_photo_to_find_anything_in(tmp_path: Path, size: tuple[int, int]) -> None:
    Image.new("RGB", size).save(tmp_path / "a.png")
    with pytest.raises(PictureError, match=rf"{size[0]} x {size[1]} pixels .*; take one with 24 pixels a side"):
        read_camera_photo(tmp_path / "a.png")
    assert read_picture(tmp_path / "a.png").width_px == size[0]


def test_a_float_tiff_is_refused(tmp_path: Path) -> None:
    _write_tiff(tmp_path / "a.tif", np.zeros((4, 5, 3), np.float32))
    with pytest.raises(PictureError, match=r"a\.tif"):
        read_picture(tmp_path / "a.tif")


def test_missing_and_folder(tmp_path: Path) -> None:
    with pytest.raises(PictureError, match="no such file"):
        read_picture(tmp_path / "none.jpg")
    with pytest.raises(PictureError, match="is a folder"):
        read_picture(tmp_path)
    with pytest.raises(PictureError):
        read_picture(str(tmp_path / "bad\0name.png"))


def test_phone_pictures_name_the_extra(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "pi_heif", None)
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    (tmp_path / "a.HEIC").write_bytes(b"\0\0\0\x18ftypheic")
    with pytest.raises(PictureError, match=r'pip install "layerpreview\[phone\]"'):
        read_picture(tmp_path / "a.HEIC")


def test_srgb_table() -> None:
    """IEC 61966-2-1: 0 -> 0, the number 10 of 255 on its straight part 0.0030353, 128 -> 0.21586, 255 -> 1."""
    table = srgb_table(256)
    assert table[[0, 10, 128, 255]] == pytest.approx([0.0, 0.0030353, 0.2158605, 1.0], abs=1e-6)
    assert (np.diff(srgb_table(65536)) > 0).all()
    assert srgb_table(65536)[128 * 257] == pytest.approx(0.2158605, abs=1e-6)


def test_a_white_card_becomes_neutral_at_its_reflectance() -> None:
    pixels = np.full((40, 60, 3), (30, 60, 90), np.uint8)
    pixels[10:20, 30:50] = (210, 190, 140)
    photo = balanced(Photo(PictureData(pixels)), patch_px=(31, 11, 18, 8), reflectance=0.85)
    grid = PixelGrid(pixel_mm=1.0, n_rows=40, n_cols=60)
    rows = photo_sampler(photo, grid, face_width_mm=60.0, face_height_mm=40.0).rows(0, 40)
    assert rows[15, 40] == pytest.approx([0.85] * 3, rel=1e-5)
    light = srgb_table(256)[[30, 60, 90]] * 0.85 / srgb_table(256)[[210, 190, 140]]
    assert rows[0, 0] == pytest.approx(light, rel=1e-5)


def test_the_mean_of_a_patch_is_taken_in_light() -> None:
    """Half black, half white: the mean light is 0.5, so the gain at reflectance 0.4 is 0.8."""
    pixels = np.zeros((2, 200), np.uint8)
    pixels[:, ::2] = 254
    photo = balanced(Photo(PictureData(pixels)), patch_px=(0, 0, 200, 2), reflectance=0.4)
    assert photo.gain_rgb == pytest.approx([0.8 / float(srgb_table(256)[254])] * 3, rel=1e-5)


@pytest.mark.parametrize(
    ("patch", "reflectance", "said"),
    [
        ((50, 0, 20, 5), 0.9, "not inside the picture"),
        ((-1, 0, 20, 5), 0.9, "not inside the picture"),
        ((0, 0, 0, 5), 0.9, "not inside the picture"),
        ((0, 0, 5, 5), 0.9, "blown out"),
        ((20, 20, 5, 5), 0.9, "too dark"),
        ((40, 20, 5, 5), 1.5, "0.02 to 1"),
    ],
)
def test_patches_that_cannot_balance(patch: tuple[int, int, int, int], reflectance: float, said: str) -> None:
    pixels = np.full((40, 60, 3), 128, np.uint8)
    pixels[:10, :10] = 255
    pixels[20:30, 20:30] = (90, 90, 20)
    with pytest.raises(PictureError, match=said) as caught:
        balanced(Photo(PictureData(pixels, file="base.jpg")), patch_px=patch, reflectance=reflectance)
    assert str(caught.value).startswith("base.jpg: neutral_")


def _even_rows(photo: Photo) -> np.ndarray:
    picture = photo.picture
    grid = PixelGrid(1.0, picture.height_px, picture.width_px)
    size = {"face_width_mm": float(picture.width_px), "face_height_mm": float(picture.height_px)}
    return photo_sampler(photo, grid, **size).rows(0, picture.height_px)


def test_evening_out_removes_a_slow_slope_and_keeps_texture_and_mean() -> None:
    y, x = np.mgrid[:300, :400]
    texture = 1 + 0.15 * np.sin(x / 3.0) * np.cos(y / 4.0)
    lamp = np.exp(-0.9 * x / 400 + 0.5 * (y / 300) ** 2)
    light = np.clip(0.5 * texture * lamp, 0, 1)
    number = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    photo = Photo(PictureData(np.round(65535 * number).astype(np.uint16)))
    before, after = _even_rows(photo)[:, :, 0], _even_rows(evened_out(photo))[:, :, 0]
    assert after.mean() == pytest.approx(before.mean(), rel=0.01)
    blocks = after.reshape(6, 50, 8, 50).mean(axis=(1, 3))
    assert blocks.std() / blocks.mean() < 0.03
    assert before.reshape(6, 50, 8, 50).mean(axis=(1, 3)).std() / before.mean() > 0.25
    assert (after / after.mean()).std() == pytest.approx((texture / texture.mean()).std(), rel=0.05)


def test_evening_out_leaves_an_even_photo_alone_and_takes_tiny_ones() -> None:
    photo = evened_out(Photo(PictureData(np.full((50, 70, 3), 120, np.uint8))))
    assert photo.even is not None
    assert photo.even == pytest.approx(np.ones_like(photo.even), abs=1e-4)
    assert evened_out(Photo(PictureData(np.zeros((1, 1, 3), np.uint8)))).even is not None


def _columns(width_px: int, height_px: int) -> Photo:
    """Each column has its own brightness, in 16 bits: where a pixel came from can be read off."""
    number = np.linspace(4000, 60000, width_px).astype(np.uint16)
    return Photo(PictureData(np.tile(number, (height_px, 1)), file="base.tif"))


def test_a_photo_is_stretched_to_cover_and_cropped_in_the_middle() -> None:
    """A photo 400 x 100 on a face of 100 x 50 mm: half a mm a pixel, so its middle 200 columns are seen."""
    photo = _columns(400, 100)
    rows = photo_sampler(photo, PixelGrid(0.5, 100, 200), face_width_mm=100.0, face_height_mm=50.0).rows(0, 100)
    assert (rows[:, :, 0] == srgb_table(65536)[photo.picture.pixels[:, 100:300]]).all()


def test_true_width_keeps_its_scale() -> None:
    """400 px are 800 mm, so 2 mm a pixel; the face shows the middle 100 mm: columns 175 to 225."""
    photo = _columns(400, 100)
    grid = PixelGrid(2.0, 20, 50)
    rows = photo_sampler(photo, grid, face_width_mm=100.0, face_height_mm=40.0, width_mm=800.0).rows(0, 20)
    assert (rows[0, :, 2] == srgb_table(65536)[photo.picture.pixels[0, 175:225]]).all()


def test_a_photo_smaller_than_its_face() -> None:
    photo = _columns(40, 30)
    grid = PixelGrid(1.0, 60, 100)
    with pytest.raises(PictureError, match=r"smaller than the face.*tile = true"):
        photo_sampler(photo, grid, face_width_mm=100.0, face_height_mm=60.0, width_mm=40.0)
    whole, width_mm = carried_on(photo, width_mm=40.0, face_width_mm=100.0, face_height_mm=60.0)
    rows = photo_sampler(whole, grid, face_width_mm=100.0, face_height_mm=60.0, width_mm=width_mm).rows(0, 60)
    light = srgb_table(65536)[photo.picture.pixels[0]]
    assert width_mm == 100.0
    assert (rows[20:40, 40:60, 0] == light[10:30]).all()  # the photo's inner part lies in the middle of the face
    assert light.min() <= rows.min()
    assert rows.max() <= light.max()
    with pytest.raises(PictureError, match="above zero"):
        photo_sampler(photo, grid, face_width_mm=100.0, face_height_mm=60.0, width_mm=-40.0)


@settings(deadline=None, max_examples=25)
@given(st.lists(st.integers(0, 37), max_size=5), st.booleans(), st.floats(20.0, 300.0))
def test_rows_do_not_depend_on_the_strips(cuts: list[int], tile: bool, width_mm: float) -> None:
    photo = evened_out(Photo(PictureData(PICTURE), gain_rgb=(1.1, 0.9, 1.3)))
    grid = PixelGrid(1.7, 37, 23, left_mm=-2.0, top_mm=-3.0)
    face, wide = {"face_width_mm": 36.0, "face_height_mm": 58.0}, None
    if tile:
        photo, wide = carried_on(photo, width_mm=width_mm, **face)
    rows = photo_sampler(photo, grid, **face, width_mm=wide)
    whole = rows.rows(0, 37)
    assert whole.min() >= 0
    assert whole.shape == (37, 23, 3)
    bounds = [0, *sorted(cuts), 37]
    assert np.concatenate([rows.rows(a, b) for a, b in pairwise(bounds)]).tobytes() == whole.tobytes()


def test_the_picture_means_the_same_at_another_size() -> None:
    """Rendered at 2 and at 0.5 mm a pixel, each large pixel has the mean light of the sixteen small ones."""
    smooth = np.asarray(Image.fromarray(PICTURE).resize((70, 110), Image.Resampling.BICUBIC))
    photo = Photo(PictureData(smooth))
    face = {"face_width_mm": 70.0, "face_height_mm": 110.0}
    small = photo_sampler(photo, PixelGrid(2.0, 55, 35), **face).rows(0, 55)
    large = photo_sampler(photo, PixelGrid(0.5, 220, 140), **face).rows(0, 220)
    mean = large.reshape(55, 4, 35, 4, 3).mean(axis=(1, 3))
    assert np.abs(small - mean)[2:-2, 2:-2].max() < 0.04
