"""Templates: exist for burst lines that touch an edge in a point, and for lines where their coat is not sprayed."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path
from types import ModuleType

import pytest
import shapely

from layerpreview.output.sheet_words import Words
from layerpreview.output.template_lines import Line, lines_of
from layerpreview.output.templates_pdf import OVERLAP_MM, Layout, layout_of, template_pdf
from layerpreview.picture.faces import FaceShape, shapes_of
from layerpreview.scheme import Scheme, load_scheme

from ..schemes import DYES, HEAD, HONEY, MIXES, PANEL, WHITE

Save = Callable[..., Path]
WEDGE = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="64mm" height="48mm" viewBox="0 0 64 48">'
    '<path d="M0 0L64 10 0 48z"/></svg>'
)
DRAWN = '[[face]]\nname = "front"\nshape = "drawing"\ndrawing = "wedge.svg"\n'
BACK = '[[face]]\nname = "back"\nshape = "disc"\ndiameter = "50 mm"\n'
KITE = (
    '[[face.zone]]\nname = "kite"\n'
    'points = [["20 mm", "15 mm"], ["40 mm", "30 mm"], ["20 mm", "45 mm"], ["5 mm", "30 mm"]]\n'
)
RIM_15 = 'burst = { from = "outline", width = "15 mm", fall_off = "linear" }\n'  # half its build at 7.5 mm
Lengths = list[tuple[str, float]]


@pytest.fixture
def pdfium() -> ModuleType:
    pytest.importorskip("typst")
    return pytest.importorskip("pypdfium2")


def sea(extra: str) -> str:
    return f'[[coat]]\nmix = "sea"\nfilm = "30 um"\n{extra}'


def made(save: Save, faces: str, coats: str) -> tuple[Scheme, list[FaceShape]]:
    file = save(HEAD + faces + WHITE + DYES + MIXES + coats)
    (file.parent / "wedge.svg").write_text(WEDGE, encoding="utf-8")
    scheme = load_scheme(file)
    return scheme, shapes_of(scheme)


def lengths(scheme: Scheme, part: FaceShape) -> Lengths:
    return [(line.kind, line.shape.length) for line in lines_of(scheme, part, Words("metric"))]


@pytest.mark.parametrize(
    ("face", "burst", "found"),
    [
        # Round a point 15 mm beside a panel of 64 x 48 mm: at 15 mm it only touches the panel's right side.
        (PANEL, 'from = "centre", width = "15 mm", at = ["79 mm", "31 mm"]', []),
        # At 30 mm it cuts off an arc of 30 mm radius, 15 mm of which are beyond, and touches again at half its width;
        # of the arc of 2 x 60 degrees the lower end is off the panel: asin(17/30) = 34.52 degrees are left there.
        (
            PANEL,
            'from = "centre", width = "30 mm", at = ["79 mm", "31 mm"]',
            [("gone", math.radians(60.0 + math.degrees(math.asin(17 / 30))) * 30.0)],
        ),
        # Both sides of a line: one across the wedge 48 - 24 * 48 / 64 = 30 mm long, the other through its tip.
        (
            DRAWN,
            'from = "line", width = "20 mm", at = ["44 mm", "0 mm"], angle = 0',
            [("gone", 30.0), ("half", 48 * 30 / 64 + 48 * 10 / 64)],
        ),
    ],
)
def test_a_burst_may_touch_an_edge(save_scheme: Save, face: str, burst: str, found: Lengths) -> None:
    scheme, (part,) = made(save_scheme, face, sea(f'burst = {{ {burst}, fall_off = "linear" }}\n'))
    lines = lines_of(scheme, part, Words("metric"))
    assert {line.shape.geom_type for line in lines} <= {"MultiLineString"}
    assert lengths(scheme, part)[1:] == [(kind, pytest.approx(length, rel=1e-3)) for kind, length in found]
    pytest.importorskip("typst")
    assert template_pdf(scheme, [part]).startswith(b"%PDF")


def test_a_page_that_a_line_only_touches_is_left_out() -> None:
    def line(*points: tuple[float, float]) -> Line:
        return Line("edge", "solid", shapely.MultiLineString([points]))

    corner = line((0, 400), (0, 0), (250, 0))
    assert [tile.name for tile in layout_of([corner], paper="A4").tiles] == ["A1", "B1", "A2"]
    boxes = {tile.name: tile.box for tile in layout_of([corner], paper="A4").tiles}
    a2, b1 = boxes["A2"], boxes["B1"]
    across = line((b1[0] - 30.0, a2[3] - 50.0), (b1[0], a2[3] - 50.0))  # ends at the left side of B2
    assert [tile.name for tile in layout_of([corner, across], paper="A4").tiles] == ["A1", "B1", "A2"]


def test_lines_stay_within_the_zones_of_their_coat(save_scheme: Save) -> None:
    """The rectangle 15 mm inside the panel crosses the kite for 13 mm down its left side and 21 mm along its lower one,
    and touches its tip; that at 7.5 mm for 5 and 10.5 mm. Uncut they are 104 and 164 mm."""
    scheme, (part,) = made(save_scheme, PANEL + KITE, sea('zone = "kite"\n' + RIM_15) + sea(RIM_15))
    kite = 2 * 25.0 + 2 * math.hypot(15, 15)
    found = [("edge", 224.0), ("tape", kite), ("gone", 34.0), ("half", 15.5), ("gone", 104.0), ("half", 164.0)]
    assert lengths(scheme, part) == [(kind, pytest.approx(length)) for kind, length in found]


def test_no_lines_under_tape(save_scheme: Save) -> None:
    """The same kite taped off: what is inside it before is missing now, whatever zone a coat names."""
    right = '[[face.zone]]\nname = "right"\nside = { at = ["30 mm", "0 mm"], angle = 0 }\n'
    coats = sea(RIM_15) + sea('zone = "right"\n' + RIM_15)
    scheme, (part,) = made(save_scheme, PANEL + KITE + "masked = true\n" + right, coats)
    assert lengths(scheme, part)[3:] == [
        ("gone", pytest.approx(104.0 - 34.0)),
        ("half", pytest.approx(164.0 - 15.5)),
        # right of x = 30: 19 mm above and below and 18 mm between, of which the kite covers x = 30 to 36 below
        ("gone", pytest.approx(19.0 + 18.0 + 19.0 - 6.0)),
        ("half", pytest.approx(26.5 + 33.0 + 26.5)),
    ]


def test_faces_a_coat_does_not_name_have_no_lines_of_it(save_scheme: Save) -> None:
    """Only honey, which is no burst, goes over the back, and no coat needs its zone: there is nothing to trace."""
    flap = '[[face.zone]]\nname = "flap"\nside = { at = ["0 mm", "13 mm"], angle = 270 }\n'
    coats = HONEY + sea('zone = "kite"\n' + RIM_15) + sea('zone = "front"\n' + RIM_15)
    scheme, (front, back) = made(save_scheme, PANEL + KITE + BACK + flap, coats)
    assert [kind for kind, _ in lengths(scheme, front)] == ["edge", "tape", "gone", "half", "gone", "half"]
    assert lengths(scheme, back) == []


def test_a_face_that_is_not_sprayed_has_no_lines(save_scheme: Save) -> None:
    scheme, (front, back) = made(save_scheme, PANEL + BACK, sea('zone = "back"\n' + RIM_15))
    assert lengths(scheme, front) == []
    assert lengths(scheme, back)[1:] == [
        ("gone", pytest.approx(math.pi * 20, rel=1e-3)),
        ("half", pytest.approx(math.pi * 35, rel=1e-3)),
    ]


PAGES = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}  # ISO 216; ANSI/ASME Y14.1 (8 1/2 x 11 in)


def laid(wide: float, high: float, paper: str = "A4") -> Layout:
    return layout_of([Line("gone", "x", shapely.MultiLineString([[(0, 0), (wide, high)]]))], paper=paper)


@pytest.mark.parametrize("paper", PAGES)
def test_one_page_where_one_is_enough(paper: str) -> None:
    """Upright while that does, on its side where that saves a page."""
    width, height = PAGES[paper]
    assert (len(laid(width - 24, 100, paper).tiles), laid(width - 24, 100, paper).flipped) == (1, False)
    assert (len(laid(height - 24, 100, paper).tiles), laid(height - 24, 100, paper).flipped) == (1, True)
    assert len(laid(height - 23, 100, paper).tiles) == 2


def test_pages_meet_by_crosses_and_names() -> None:
    """Of a page and the one beside it the overlap is the same strip of the face, and both name each other."""
    line = Line("gone", "x", shapely.MultiLineString([[(0, 0), (400, 0), (400, 500), (0, 500), (0, 0)]]))
    tiles = {tile.name: tile for tile in layout_of([line], paper="A4").tiles}
    assert set(tiles) > {"A1", "B1", "A2"}
    back = {"left": "right", "right": "left", "up": "down", "down": "up"}
    for name, tile in tiles.items():
        for way, other in tile.beside.items():
            there = tiles[other]
            assert there.beside[back[way]] == name
            x = min(tile.box[2], there.box[2]) - max(tile.box[0], there.box[0])
            y = min(tile.box[3], there.box[3]) - max(tile.box[1], there.box[1])
            assert min(x, y) == pytest.approx(OVERLAP_MM)


def test_a_tube_whose_lines_run_round_it_is_a_gauge(save_scheme: Save) -> None:
    drum = '[[face]]\nname = "shell"\nshape = "drum shell"\ndiameter = "14 in"\ndepth = "6 1/2 in"\n'
    vent = '[[face.opening]]\nname = "vent"\nshape = "disc"\ndiameter = "12 mm"\ncentre = ["200 mm", "80 mm"]\n'
    scheme, (part,) = made(save_scheme, drum + vent, sea(RIM_15))
    assert lengths(scheme, part) == [("edge", 240.0), ("gone", 240.0), ("half", 240.0)]
    assert len(layout_of(lines_of(scheme, part, Words("US")), paper="Letter").tiles) == 1
    ring = sea('burst = { from = "vent", width = "15 mm", fall_off = "linear" }\n')
    scheme, (part,) = made(save_scheme, drum + vent, sea(RIM_15) + ring)
    assert lengths(scheme, part)[0][1] > 2000


def test_nothing_to_trace_is_said(save_scheme: Save, pdfium: ModuleType) -> None:
    scheme, parts = made(save_scheme, PANEL + BACK, HONEY)
    document = pdfium.PdfDocument(template_pdf(scheme, parts))
    assert len(document) == 1
    assert "No coat of this scheme has a line to trace" in document[0].get_textpage().get_text_range()


@pytest.mark.parametrize(
    ("units", "bar", "length"), [("metric", "100 mm long", "15 mm"), ("US", "4 in long", "9/16 in")]
)
def test_every_page_stands_alone(save_scheme: Save, pdfium: ModuleType, units: str, bar: str, length: str) -> None:
    """Its face, its key, the bar and how pages join, on each; only faces with lines have pages; the same bytes."""
    large = PANEL.replace("64 mm", "330 mm").replace("48 mm", "240 mm")
    scheme, parts = made(save_scheme, large + BACK, sea('zone = "front"\n' + RIM_15))
    pdf = template_pdf(scheme, parts, paper="Letter", units=units)
    assert pdf == template_pdf(scheme, parts, paper="Letter", units=units)
    document = pdfium.PdfDocument(pdf)
    assert len(document) == len(layout_of(lines_of(scheme, parts[0], Words(units)), paper="Letter").tiles) > 1
    for number in range(len(document)):
        text = document[number].get_textpage().get_text_range()
        for words in ("front, page ", bar, f"gone at {length}", "lay cross over cross, they overlap by"):
            assert words in text
        assert "back" not in text
