"""A scheme's files as they go into a record: exists for a folder of somebody's computer that travels along, a photo
with its camera's notes, a height map that loses its steps, a library dye that another version has otherwise."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from layerpreview.errors import PictureError, SchemeError
from layerpreview.output.joblog import JobLog, LogEntry, read_lines
from layerpreview.output.record_scheme import log_lines, scheme_files, staged, told_of_own
from layerpreview.picture.faces import shapes_of
from layerpreview.scheme import Scheme, library_names, load_scheme
from layerpreview.surface.picture_file import read_picture
from tests.schemes import HEAD, MIXES

DRAWING = """\
<?xml version="1.0"?>
<!-- made by somebody -->
<svg xmlns="http://www.w3.org/2000/svg" xmlns:inkscape="http://www.inkscape.org/namespaces/inkscape"
 xmlns:sodipodi="http://sodipodi.sourceforge.net/DTD/sodipodi-0.dtd" width="60mm" viewBox="0 0 60 40"
 sodipodi:docname="/home/somebody/front.svg" inkscape:export-filename="/home/somebody/front.png">
<metadata>somebody</metadata><sodipodi:namedview pagecolor="#ffffff"/>
<path id="body" d="M0 0 H60 V40 H0 Z" inkscape:label="front of somebody"/></svg>
"""
SCHEME = """\
[[face]]
name = "front"
shape = "drawing"
drawing = "drawn/front.svg"
[base]
kind = "metal"
height_picture = "maps/foil.tif"   # measured
[base.height_options]
width = "9 mm"
depth = "1 mm"
[base_of.front]
kind = "solid"
picture = "{photo}"
[dye.yellow]
file = "dyes/mine.dye.toml"
[dye.blue]
library = "blue"
concentrate = "25 g/L"
"""
DYE = """\
layerpreview_dye = 1
name = "mine"
kind = "fitted"
provenance = "fitted to {folder}/card.csv"
concentrate = "40 g/L"
absorptivity_L_per_g_cm = [[400, 50.0], [700, 2.0]]
"""


@pytest.fixture
def scheme(tmp_path: Path) -> Scheme:
    """A scheme with a file of every kind, beside it and elsewhere."""
    job = tmp_path / "jobs of somebody" / "one"
    for folder in ("drawn", "maps", "dyes"):
        (job / folder).mkdir(parents=True)
    (job / "drawn" / "front.svg").write_text(DRAWING)
    heights = (np.arange(40 * 50, dtype=np.uint16) * 13 + 7).reshape(40, 50)
    Image.fromarray(heights).save(job / "maps" / "foil.tif")
    (job / "dyes" / "mine.dye.toml").write_text(DYE.format(folder=job.resolve().as_posix()))
    notes = Image.Exif()
    notes[0x010F], notes[0x0112] = "somebody's camera", 6
    photo = tmp_path / "elsewhere" / "Silver, in the sun.JPG"
    photo.parent.mkdir()
    Image.effect_noise((48, 32), 40).convert("RGB").save(photo, exif=notes, format="JPEG")
    (job / "scheme.toml").write_text(HEAD + SCHEME.format(photo=photo.as_posix()) + MIXES)
    return load_scheme(job / "scheme.toml")


def test_every_file_under_a_plain_name_and_the_same_job(scheme: Scheme, tmp_path: Path) -> None:
    files = scheme_files(scheme)
    names = {"scheme.toml", "shop.toml", "front.svg", "foil.png", "silver_in_the_sun.jpg", "mine.dye.toml"}
    assert set(files) == {*names, "blue.dye.toml"}
    assert b"# measured" in files["scheme.toml"]
    new = tmp_path / "new"
    new.mkdir()
    again = load_scheme(staged(files, new))
    assert all(path.parent == new for path in again.inputs)
    for name in ("yellow", "blue"):
        keep = {"provenance"} if name == "yellow" else set()
        assert again.dyes[name].model_dump(exclude=keep) == scheme.dyes[name].model_dump(exclude=keep)
    ((old,), (found,)) = shapes_of(scheme), shapes_of(again)
    assert (found.outline.width_mm, found.outline.height_mm) == (old.outline.width_mm, old.outline.height_mm)
    # The height map keeps all its steps, and the photo stands upright.
    before, after = (read_picture(folder) for folder in (scheme.folder / "maps" / "foil.tif", new / "foil.png"))
    assert after.pixels.dtype == np.uint16
    assert np.array_equal(before.pixels, after.pixels)
    assert read_picture(new / "silver_in_the_sun.jpg").width_px == 32


def test_nothing_says_whose_they_are(scheme: Scheme) -> None:
    for name, data in scheme_files(scheme).items():
        for secret in (b"somebody", str(scheme.folder.resolve()).encode(), b"inkscape", b"elsewhere"):
            assert secret not in data, (name, secret)


def test_two_files_of_one_name(tmp_path: Path) -> None:
    for folder, colour in (("a", "red"), ("b", "blue")):
        (tmp_path / folder).mkdir()
        Image.new("RGB", (20, 20), colour).save(tmp_path / folder / "base.png")
    text = '[[face]]\nname = "{0}"\nshape = "panel"\nwidth = "9 mm"\nheight = "9 mm"\n'
    bases = '[base]\nkind = "solid"\npicture = "a/base.png"\n[base_of.back]\npicture = "b/base.png"\n'
    path = tmp_path / "scheme.toml"
    path.write_text(HEAD + text.format("front") + text.format("back") + bases)
    files = scheme_files(load_scheme(path))
    assert {"base.png", "base_2.png"} < set(files)
    assert files["base.png"] != files["base_2.png"]


def test_every_library_dye_is_taken_along(tmp_path: Path) -> None:
    dyes = "".join(f'[dye.{name}]\nlibrary = "{name}"\n' for name in library_names())
    inline = 'dye = { again = { library = "amber", density = "0.9 g/mL" } }\n'
    panel = '[[face]]\nname = "front"\nshape = "panel"\nwidth = "9 mm"\nheight = "9 mm"\n'
    base = '[base]\nkind = "solid"\ncolour = "#ffffff"\n'
    for n, text in enumerate((HEAD + panel + base + dyes, HEAD + inline + panel + base)):
        path = tmp_path / f"{n}.toml"
        path.write_text(text)
        scheme = load_scheme(path)
        files = scheme_files(scheme)
        assert b"library" not in files["scheme.toml"]
        folder = tmp_path / f"new-{n}"
        folder.mkdir()
        again = load_scheme(staged(files, folder))
        assert again.dyes == scheme.dyes


def test_the_shops_own_values_are_those_of_the_job(tmp_path: Path, scheme: Scheme) -> None:
    assert scheme_files(scheme)["shop.toml"].endswith(b"layerpreview_shop = 1\n")
    above = scheme.folder.parent / "shop.toml"
    values = '[film.medium]\num = [30, 36.5, 43]\nn = 7\n[drops_per_mL."house amber"]\ndrops = [41, 43, 46]\n'
    above.write_text(f'layerpreview_shop = 1\n{values}[[job]]\nname = "for another"\nkey = "1"\n')
    held = scheme_files(scheme)["shop.toml"].decode()
    assert "another" not in held
    assert tomllib.loads(held) == tomllib.loads(f"layerpreview_shop = 1\n{values}")
    (scheme.folder / "shop.toml").write_text("layerpreview_shop = 1\n[film.wet]\num = [50, 55, 60]\n")
    assert b"film.wet" in scheme_files(scheme)["shop.toml"]


def test_a_picture_that_went_is_told(scheme: Scheme) -> None:
    (scheme.folder / "maps" / "foil.tif").write_bytes(b"no picture")
    with pytest.raises(PictureError, match=r"foil\.tif"):
        scheme_files(scheme)


def test_what_is_wrong_with_a_copy_is_told_of_the_file_it_was_made_from(scheme: Scheme, tmp_path: Path) -> None:
    """As where an editor saves a dye file while the record is made."""
    dye, folder = scheme.folder / "dyes" / "mine.dye.toml", tmp_path / "copies"
    folder.mkdir()
    dye.write_text("layerpreview_dye = 1\n", encoding="utf-8")
    with pytest.raises(SchemeError) as caught, told_of_own(scheme, folder):
        load_scheme(staged(scheme_files(scheme), folder))
    assert {problem.file for problem in caught.value.problems} == {str(dye)}


def test_a_log_without_places(tmp_path: Path) -> None:
    folder = tmp_path / "somebody"
    remarks = "# C:\\Users\\somebody else\\x, /Users/somebody/y and mL/L\n"
    offered = f'name = "x"\n[base]\npicture = "{(folder / "p.jpg").as_posix()}"\n# see {folder.as_posix()}/x\n{remarks}'
    entries = (
        {"what": "board", "options": [{"scheme": "C:\\Users\\somebody\\pale.toml", "text": offered}]},
        {
            "what": "agreed",
            "note": "/ or perhaps a little paler",
            "scheme": "/srv/somebody/pale.toml",
            "scheme_from_log": "../somebody/pale.toml",
        },
        {"what": "photo", "file": "p.jpg", "share": "\\\\server\\somebody\\x.jpg", "number": 3},
    )
    half_a_sign = LogEntry(5, {"what": "agreed", "note": "\ud83d"})  # what a program that cuts texts may leave
    lines = (LogEntry(line, values) for line, values in zip((1, 3, 4), entries, strict=True))
    log = JobLog((*lines, half_a_sign), (2,))
    made = log_lines(log, folder, {"p.jpg": "photos/p.jpg"})
    assert b"somebody" not in made
    first, torn, second, third, fourth = (json.loads(line) if line else None for line in made.decode().splitlines())
    assert torn is None
    assert first["options"][0]["scheme"] == "pale.toml"
    assert "# ~\\x, ~/y and mL/L" in first["options"][0]["text"]
    assert 'picture = "p.jpg"' in first["options"][0]["text"]
    assert second == {
        "what": "agreed",
        "note": "/ or perhaps a little paler",
        "scheme": "pale.toml",
        "scheme_from_log": "pale.toml",
    }
    assert (third["file"], third["share"], third["number"]) == ("photos/p.jpg", "x.jpg", 3)
    assert fourth["note"] == "?"
    (tmp_path / "log.jsonl").write_bytes(made)
    assert [entry.line for entry in read_lines(tmp_path / "log.jsonl").entries] == [1, 3, 4, 5]
