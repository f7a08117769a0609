"""Outlines from SVG: exists for drawings that come out 96/72 too large, viewBoxes that are ignored, broken paths taken
for short ones, and drawings that hang or pull in other files."""

from __future__ import annotations

import math
import re
import time
from pathlib import Path

import numpy as np
import pytest

from layerpreview.errors import PictureError
from layerpreview.surface.drawing import read_drawing
from layerpreview.surface.svg_path import path_fault

SVG = '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"'


@pytest.fixture
def draw(tmp_path: Path):  # type: ignore[no-untyped-def]
    def write(root: str, body: str, head: str = "") -> Path:
        path = tmp_path / "front.svg"
        path.write_text(f"{head}{SVG} {root}>{body}</svg>", encoding="utf-8")
        return path

    return write


# Lengths: CSS Values 3, 6.2 (1 in = 96 px = 25.4 mm); viewBox: SVG 2, 8.6.
@pytest.mark.parametrize(
    ("root", "body", "size"),
    [
        ('width="200mm" height="100mm"', '<rect x="7mm" y="3mm" width="90mm" height="60mm"/>', (90, 60)),
        ('width="8in" height="4in"', '<rect x="1in" y="0.5in" width="3.5in" height="2in"/>', (88.9, 50.8)),
        ('width="200mm" height="100mm"', '<rect x="30" y="9" width="96" height="48"/>', (25.4, 12.7)),
        ('width="200mm" height="100mm" viewBox="0 0 200 100"', '<rect x="5" y="6" width="90" height="60"/>', (90, 60)),
        ('width="20cm" height="10cm" viewBox="-40 -30 400 200"', '<rect width="180" height="120"/>', (90, 60)),
        ('width="200mm" viewBox="0 0 1000 500"', '<rect x="9" width="450" height="300"/>', (90, 60)),
        ('height="100mm" viewBox="0 0 1000 500"', '<rect x="9" width="450" height="300"/>', (90, 60)),
        # the viewBox is squarer than the page: it keeps its proportions and the smaller scale counts
        ('width="300mm" height="100mm" viewBox="0 0 100 100"', '<rect width="90" height="60"/>', (90, 60)),
        (
            'width="300mm" height="100mm" viewBox="0 0 100 100" preserveAspectRatio="none"',
            '<rect width="30" height="60"/>',
            (90, 60),
        ),
        ('width="283.4646pt" height="100pt" viewBox="0 0 100 34"', '<rect width="90" height="30"/>', (90, 30)),
        (
            'width="200mm" height="100mm" viewBox="0 0 200 100"',
            '<g transform="translate(20 10) scale(2)"><rect transform="rotate(90)" width="30" height="45"/></g>',
            (90, 60),
        ),
        ('width="200mm" viewBox="0 0 200 100"', '<path d="m5 6h90v60h-90z"/>', (90, 60)),
        ('width="200mm" viewBox="0 0 200 100"', '<polygon points="5,6 95,6 95,66 5,66"/>', (90, 60)),
        ('width="200mm" viewBox="0 0 200 100"', '<polyline points="5,6 95,6 95,66 5,66 5,6"/>', (90, 60)),
        (
            'width="200mm" viewBox="0 0 200 100"',
            '<defs><rect id="r" width="45" height="30"/></defs><use href="#r" transform="scale(2)"/>',
            (90, 60),
        ),
        ('width="200mm" viewBox="0 0 200 100"', '<rect width="45%" height="60%"/>', (90, 60)),
    ],
)
def test_rectangles(draw, root: str, body: str, size: tuple[float, float]) -> None:  # type: ignore[no-untyped-def]
    outline = read_drawing(draw(root, body)).outline
    assert (outline.width_mm, outline.height_mm) == pytest.approx(size, rel=1e-5)
    assert outline.area_m2 * 1e6 == pytest.approx(size[0] * size[1], rel=1e-5)
    assert outline.outer.min(axis=0) == pytest.approx([0, 0], abs=1e-9)


@pytest.mark.parametrize(
    ("body", "area"),
    [
        ('<circle cx="60" cy="50" r="45"/>', math.pi * 45**2),
        ('<ellipse cx="60" cy="50" rx="50" ry="31"/>', math.pi * 50 * 31),
        ('<path d="M15,50a45 45 0 1090 0a45 45 0 10-90 0z"/>', math.pi * 45**2),
        # under a parabola of height 30 and base 90, as a quadratic: 2/3 of the box (Archimedes)
        ('<path d="M10 40 Q55 -20 100 40 Z"/>', 2 / 3 * 90 * 30),
        # between a cubic with P0 (0,0), P1 (0,40), P2 (90,40), P3 (90,0) and its chord: 3/5 h w for this symmetric case
        ('<path d="M10 10 C10 50 100 50 100 10 Z"/>', 0.6 * 40 * 90),
    ],
)
def test_curves(draw, body: str, area: float) -> None:  # type: ignore[no-untyped-def]
    outline = read_drawing(draw('width="200mm" viewBox="0 0 200 100"', body)).outline
    assert outline.area_m2 * 1e6 == pytest.approx(area, rel=3e-4)


BODY = (
    '<path id="face" d="M10 10h150v80h-150z M60 40h20v10h-20z"/>'
    '<circle id="hole" cx="120" cy="50" r="12"/><circle cx="120" cy="50" r="5"/>'
    '<line x1="0" y1="0" x2="30" y2="3"/><path d="M0 0L200 100"/>'
    '<rect id="patch" x="150" y="70" width="40" height="20"/>'
)


def test_openings_are_the_closed_lines_inside(draw) -> None:  # type: ignore[no-untyped-def]
    face = read_drawing(draw('width="200mm" viewBox="0 0 200 100"', BODY))
    assert sorted(face.outline.openings) == ["face part 2", "hole"]
    hole = face.outline.openings["hole"]
    assert (hole.min(axis=0) + hole.max(axis=0)) / 2 == pytest.approx([110, 40])  # from the outline's own corner
    assert face.outline.area_m2 * 1e6 == pytest.approx(150 * 80 - 200 - math.pi * 144, rel=1e-4)
    assert "patch" in face.rings
    assert face.rings["patch"].min(axis=0) == pytest.approx([140, 60])


def test_selection_by_id(draw) -> None:  # type: ignore[no-untyped-def]
    path = draw('width="200mm" viewBox="0 0 200 100"', BODY)
    assert read_drawing(path, outline_id="patch").outline.area_m2 * 1e6 == pytest.approx(800)
    assert list(read_drawing(path, opening_ids=["hole"]).outline.openings) == ["hole"]
    assert read_drawing(path, opening_ids=[]).outline.openings == {}
    with pytest.raises(PictureError, match="not wholly inside"):
        read_drawing(path, opening_ids=["patch"])
    with pytest.raises(PictureError, match="there is 'face'") as caught:
        read_drawing(path, outline_id="back", opening_ids=["f-hole"])
    assert len(caught.value.problems) == 2


def test_the_line_of_a_zone_is_no_opening(draw) -> None:  # type: ignore[no-untyped-def]
    """What is drawn inside it is one as anywhere: a circle in the hole of this drawing."""
    path = draw('width="200mm" viewBox="0 0 200 100"', BODY.replace('cy="50" r="5"', 'id="ring" cy="50" r="5"'))
    face = read_drawing(path, zone_ids=["hole"])
    assert sorted(face.outline.openings) == ["face part 2", "ring"]
    assert face.outline.area_m2 * 1e6 == pytest.approx(150 * 80 - 200 - math.pi * 25, rel=1e-4)
    assert sorted(read_drawing(path, zone_ids=["hole", "ring"]).outline.openings) == ["face part 2"]
    assert sorted(read_drawing(path, zone_ids=["patch"]).outline.openings) == ["face part 2", "hole"]


@pytest.mark.slow
def test_thousands_of_holes_do_not_take_long(draw) -> None:  # type: ignore[no-untyped-def]
    """Each with a smaller line inside: a second; compared pair by pair they took half a minute."""
    places = [(5 + 3 * i, 4 + 2 * k) for i in range(50) for k in range(20)]
    body = '<rect width="160" height="90"/>' + "".join(
        f'<rect x="{x}" y="{y}" width="2" height="1.5"/><rect x="{x + 0.5}" y="{y + 0.5}" width="1" height="0.5"/>'
        for x, y in places
    )
    start = time.perf_counter()
    outline = read_drawing(draw('width="200mm" viewBox="0 0 200 100"', body)).outline
    assert time.perf_counter() - start < 10.0
    assert len(outline.openings) == 1000
    assert outline.area_m2 * 1e6 == pytest.approx(160 * 90 - 1000 * 3, rel=1e-5)


def test_pixels_only_asks_for_one_true_dimension(draw) -> None:  # type: ignore[no-untyped-def]
    path = draw('width="400" height="300px" viewBox="0 0 400 300"', '<rect x="30" width="200" height="130"/>')
    with pytest.raises(PictureError, match="give one true dimension"):
        read_drawing(path)
    wide = read_drawing(path, width_mm=300.0).outline
    assert (wide.width_mm, wide.height_mm) == pytest.approx((300, 195))
    high = read_drawing(path, height_mm=65.0).outline
    assert (high.width_mm, high.height_mm) == pytest.approx((100, 65))
    both = read_drawing(path, width_mm=300.0, height_mm=200.0).outline
    assert (both.width_mm, both.height_mm) == pytest.approx((300, 200))
    with pytest.raises(PictureError, match="above zero"):
        read_drawing(path, width_mm=-300.0)


@pytest.mark.slow
def test_ten_thousand_points_are_thinned(draw) -> None:  # type: ignore[no-untyped-def]
    t = np.linspace(0, 2 * np.pi, 12_000, endpoint=False)
    points = " ".join(f"{100 + 80 * np.cos(a):.5f},{50 + 45 * np.sin(a):.5f}" for a in t)
    outline = read_drawing(draw('width="200mm" viewBox="0 0 200 100"', f'<polygon points="{points}"/>')).outline
    assert len(outline.outer) < 2_500
    assert outline.area_m2 * 1e6 == pytest.approx(math.pi * 80 * 45, rel=1e-4)


DEEP = "<g>" * 5000 + "</g>" * 5000
BOMB = '<defs><rect id="a0" width="1" height="1"/>' + "".join(
    f'<g id="a{k}">' + f'<use href="#a{k - 1}"/>' * 10 + "</g>" for k in range(1, 9)
)
BOMB += '</defs><use href="#a8"/>'


@pytest.mark.parametrize(
    ("body", "said"),
    [
        ('<path id="rim" d="M0 0 L10 0 L10"/>', "path rim: broken: 3 numbers|path rim: broken: 1 numbers"),
        ('<path d="M0 0 L10 zero 5 5z"/>', "broken"),
        ('<path d="L0 0 10 10 5 5z"/>', "starts with"),
        ('<path d="M0 0 L100 0 L100 50"/>', "no closed outline"),
        ("<text>front</text>", "no closed outline in it .nothing"),
        ('<path d="M0 0 L100 80 L100 0 L0 90 Z"/>', "crosses or touches itself"),
        ('<g id="g"><use href="#g"/></g>', "reaches itself"),
        ('<g id="g"><use href="#h"/></g><g id="h"><use xlink:href="#g"/></g>', "reaches itself"),
        ('<use href="other.svg#g"/>', "refers to another file"),
        (BOMB, "more than 100,000 elements"),
        (DEEP, "svg:1: a drawing nested too deeply: more than 200 groups"),
        ('<path d="M0 0 L100 0 L50 0 Z"/>', "encloses no area"),
        ('<rect width="wide" height="9"/>', "rect 1: broken: its width: 'wide' is not a length"),
        ('\n<rect id="rim" width="9em" height="9"/>', "svg:2: rect rim: .* unit that is no fixed length"),
        (
            '<g id="all" transform="turn(9)"><rect width="9" height="9"/></g>',
            r"g all: .* cannot be read at 'turn\(9\)'",
        ),
        ('<rect width="9" height="-9"/>', "its height is below zero"),
        ('<polygon points="1,2 3"/>', "."),
        ('<rect transform="rotate(x)" width="10" height="9"', "not a whole SVG"),
    ],
)
def test_drawings_that_cannot_be_used(draw, body: str, said: str) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(PictureError, match=said) as caught:
        read_drawing(draw('width="200mm" viewBox="0 0 200 100"', body))
    lines = str(caught.value).splitlines()
    assert len(lines) == 1
    assert re.search(r"front\.svg(:\d+)?: ", lines[0])
    assert "; " in lines[0]  # a remedy


def test_entities_are_refused_and_a_plain_doctype_is_not(draw) -> None:  # type: ignore[no-untyped-def]
    body, root = '<rect width="90" height="60"/>', 'width="200mm" viewBox="0 0 200 100"'
    entity = '<!DOCTYPE svg [<!ENTITY x SYSTEM "file:///etc/hostname">]>'
    with pytest.raises(PictureError, match="entity"):
        read_drawing(draw(root, body + "&x;", entity))
    plain = '<?xml version="1.0"?><!DOCTYPE svg PUBLIC "-//W3C//DTD SVG 1.1//EN" "http://www.w3.org/svg11.dtd">'
    assert read_drawing(draw(root, body, plain)).outline.width_mm == pytest.approx(90)


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "empty"),
        (b"hello", "not a whole SVG file"),
        (b"<html></html>", "not an SVG drawing"),
        (b"\x1f\x8b\x08\x00", "compressed"),
        (b"<svg>" + b" " * 20_000_001, "larger than 20 MB"),
        (b"\xff\xfe\x00\x01", "not a whole SVG file"),
    ],
)
def test_files_that_are_no_drawing(tmp_path: Path, data: bytes, said: str) -> None:
    path = tmp_path / "x.svg"
    path.write_bytes(data)
    with pytest.raises(PictureError, match=said) as caught:
        read_drawing(path)
    assert len(str(caught.value).splitlines()) == 1


def test_missing_file_and_folder(tmp_path: Path) -> None:
    with pytest.raises(PictureError, match="no such file"):
        read_drawing(tmp_path / "none.svg")
    with pytest.raises(PictureError, match="is a folder"):
        read_drawing(tmp_path)


@pytest.mark.parametrize(
    "d",
    [
        "",
        "M0,0",
        "m1-2.5.5e-3 4",
        "M0 0A5 5 0 01 10 10",
        "M0 0a5,5,0,0,110,10z",
        "M1,2L3,4 5,6H7V8C1 2 3 4 5 6S1 2 3 4Q1 2 3 4T5 6Z",
    ],
)
def test_path_data_that_is_whole(d: str) -> None:
    assert path_fault(d) == ""


@pytest.mark.parametrize(
    "d", ["M", "M1", "M1 2 L3", "M1 2 X3 4", "M1 2 z 5", "M1 2 A5 5 0 2 1 9 9", "1 2", "M1 2 L3 #"]
)
def test_path_data_that_is_broken(d: str) -> None:
    assert path_fault(d)
