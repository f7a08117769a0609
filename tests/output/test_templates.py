"""Templates: exist for burst lines that touch an edge in a point, and for lines where their coat is not sprayed."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import pytest
import shapely

from layerpreview.output.sheet_words import Words
from layerpreview.output.templates_pdf import Line, lines_of, template_pdf, tiles_of
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
    assert {line.shape.geom_type for line in lines} == {"MultiLineString"}
    assert lengths(scheme, part)[1:] == [(kind, pytest.approx(length, rel=1e-3)) for kind, length in found]
    pytest.importorskip("typst")
    assert template_pdf(scheme, [part]).startswith(b"%PDF")


def test_a_page_that_a_line_only_touches_is_left_out() -> None:
    def line(*points: tuple[float, float]) -> Line:
        return Line("edge", "solid", shapely.MultiLineString([points]))

    corner = line((0, 400), (0, 0), (250, 0))
    assert [name for name, _ in tiles_of([corner], paper="A4")] == ["A1", "B1", "A2"]
    a2, b1 = (dict(tiles_of([corner], paper="A4"))[name] for name in ("A2", "B1"))
    across = line((b1[0] - 30.0, a2[3] - 50.0), (b1[0], a2[3] - 50.0))  # ends at the left side of B2
    assert [name for name, _ in tiles_of([corner, across], paper="A4")] == ["A1", "B1", "A2"]


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
    """Only honey, which is no burst, goes over the back; its edge and its tape line stay."""
    flap = '[[face.zone]]\nname = "flap"\nside = { at = ["0 mm", "13 mm"], angle = 270 }\n'
    coats = HONEY + sea('zone = "kite"\n' + RIM_15) + sea('zone = "front"\n' + RIM_15)
    scheme, (front, back) = made(save_scheme, PANEL + KITE + BACK + flap, coats)
    assert [kind for kind, _ in lengths(scheme, front)] == ["edge", "tape", "gone", "half", "gone", "half"]
    chord = 2 * math.sqrt(25**2 - 12**2)
    assert lengths(scheme, back) == [
        ("edge", pytest.approx(math.pi * 50, rel=1e-3)),
        ("tape", pytest.approx(chord, rel=1e-3)),
    ]


def test_a_face_that_is_not_sprayed_keeps_its_edge(save_scheme: Save) -> None:
    scheme, (front, back) = made(save_scheme, PANEL + BACK, sea('zone = "back"\n' + RIM_15))
    assert [kind for kind, _ in lengths(scheme, front)] == ["edge"]
    assert lengths(scheme, back)[1:] == [
        ("gone", pytest.approx(math.pi * 20, rel=1e-3)),
        ("half", pytest.approx(math.pi * 35, rel=1e-3)),
    ]
