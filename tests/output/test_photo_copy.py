"""A person's photo in a result: exists for a place or a serial number that travels along, and a picture left on its
side. EXIF 2.3: GPSInfo is tag 0x8825, BodySerialNumber 0xA431, Orientation 0x0112."""

from __future__ import annotations

import base64
import re
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, PngImagePlugin

from layerpreview.output.photo_copy import write_photo_copy
from layerpreview.surface.picture_file import read_picture
from layerpreview.workflows.board import board_file
from layerpreview.workflows.render import render_files
from layerpreview.workflows.start import start_job

EMBEDDED = rb"base64,([A-Za-z0-9+/]+=*)"
SERIAL, MAKER, REMARK = "SN-4711-0815", "Makername", "taken at home"


def _photo(path: Path, *, orientation: int = 6) -> Path:
    """A dark disc beside a light corner on white, as a phone would write it: on its side, with place and serial."""
    y, x = np.mgrid[:120, :160]
    rng = np.random.default_rng(2)
    codes = np.full((120, 160, 3), 235, np.uint8)
    disc = np.hypot(x - 80, y - 62) < 48
    codes[disc] = rng.integers(50, 90, (int(disc.sum()), 3))
    codes[:6, :6] = (200, 40, 40)
    exif = Image.Exif()
    exif[0x0112] = orientation
    exif[0x010F] = MAKER
    exif.get_ifd(0x8769)[0xA431] = SERIAL
    gps = exif.get_ifd(0x8825)
    gps.update({1: "N", 2: (52.0, 30.0, 59.123), 3: "E", 4: (13.0, 22.0, 39.5), 29: "2026:01:02"})
    image, extra = Image.fromarray(codes), {}
    if path.suffix == ".png":
        info = PngImagePlugin.PngInfo()
        info.add_text("Comment", REMARK)
        extra["pnginfo"] = info
    elif path.suffix == ".jpg":
        extra["comment"] = REMARK.encode()
    image.save(path, exif=exif.tobytes() if path.suffix != ".tif" else exif, **extra)
    return path


def _tells_nothing(path: Path) -> None:
    data = path.read_bytes()
    held = [data]
    if path.suffix == ".html":  # pictures within it, as bytes: four letters meet by chance in so long a text
        held = [re.sub(EMBEDDED, b"", data), *(base64.b64decode(found) for found in re.findall(EMBEDDED, data))]
    for part in held:
        for told in (SERIAL, MAKER, REMARK, "2026:01:02"):
            assert told.encode() not in part, path.name
        for marker in (b"Exif\0\0", b"eXIf", b"tEXt", b"http://ns.adobe.com"):
            assert marker not in part, path.name


@pytest.mark.parametrize("name", ["a.jpg", "a.png", "a.tif"])
def test_a_copy_is_upright_and_tells_nothing(tmp_path: Path, name: str) -> None:
    photo = _photo(tmp_path / name)
    with pytest.raises(AssertionError):
        _tells_nothing(photo)
    copy = tmp_path / ("copy.jpg" if photo.suffix == ".jpg" else "copy.png")
    shown = read_picture(photo)
    write_photo_copy(shown, copy)
    _tells_nothing(copy)
    with Image.open(copy) as image:
        assert not image.getexif()
        assert image.size == (120, 160)  # upright: it was 160 wide on its side
    again = read_picture(copy).pixels.astype(int)
    assert np.abs(again - shown.pixels).mean() < (3 if name == "a.jpg" else 1e-9)
    assert copy.suffix == (".jpg" if name == "a.jpg" else ".png")


@pytest.mark.parametrize("mode", ["L", "LA", "RGBA"])
def test_grey_and_transparency_are_kept(tmp_path: Path, mode: str) -> None:
    rng = np.random.default_rng(8)
    Image.fromarray(rng.integers(0, 256, (9, 14, 4), dtype=np.uint8), "RGBA").convert(mode).save(tmp_path / "a.png")
    shown = read_picture(tmp_path / "a.png")
    write_photo_copy(shown, tmp_path / "b.png")
    again = read_picture(tmp_path / "b.png")
    assert (again.pixels == shown.pixels).all()
    assert (again.alpha is None) == (mode == "L")
    if again.alpha is not None:
        assert (again.alpha == shown.alpha).all()


def test_no_file_of_a_job_from_a_photo_tells_where_it_was_taken(tmp_path: Path) -> None:
    """The job's copy, what is rendered with the photo as its base, and the board."""
    photo = _photo(tmp_path / "phone.jpg", orientation=8)
    job = start_job(tmp_path / "job", photo=photo, part_width="200 mm")
    text = job.scheme.read_text(encoding="utf-8")
    head, _, rest = text.partition("[base]")
    _, _, rest = rest.partition("\n[")
    base = '[base]\nkind = "metal"\npicture = "../phone.jpg"\npicture_options = { even_out = true }\n\n['
    (job.folder / "own.toml").write_text(head + base + rest, encoding="utf-8")
    render_files(job.folder / "own.toml", out=tmp_path / "pictures", width_px=120)
    board_file([job.folder / "own.toml"], out=tmp_path / "board.html")
    files = [path for path in tmp_path.rglob("*") if path.is_file() and path != photo]
    assert len(files) > 6
    for path in files:
        _tells_nothing(path)
