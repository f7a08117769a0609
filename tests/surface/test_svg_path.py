"""Path data, and what else of a drawing is text: exists for patterns that try every way to read a faulty line, so that
a path of 81 characters took for ever, and for arcs that lack a number."""

from __future__ import annotations

import re
import signal
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest
import shapely
import svgelements
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from layerpreview.errors import PictureError
from layerpreview.surface.drawing import read_drawing
from layerpreview.surface.svg import check_drawing
from layerpreview.surface.svg_curves import Arc, Cubic, Lines, Subpath, chords
from layerpreview.surface.svg_numbers import UNMOVED
from layerpreview.surface.svg_path import path_fault, read_path, read_points

SVG = '<svg xmlns="http://www.w3.org/2000/svg" {root}>{body}</svg>'
ROOT = 'width="200mm" viewBox="0 0 200 100"'
PANEL = '<rect id="panel" width="90" height="60"/>'
MEGABYTE = 1_000_000
LIMIT_S = 10.0
"""A megabyte takes well below a second; what grows with the square of it, hours."""

Draw = Callable[..., Path]


@pytest.fixture
def draw(tmp_path: Path) -> Draw:
    def write(body: str, root: str = ROOT) -> Path:
        path = tmp_path / "front.svg"
        path.write_text(SVG.format(root=root, body=body), encoding="utf-8")
        return path

    return write


@contextmanager
def in_time() -> Iterator[None]:
    """Fail what takes longer; where there is such an alarm, without waiting for its end."""

    def ring(*_: object) -> None:
        raise AssertionError(f"not done after {LIMIT_S} s")

    if not hasattr(signal, "setitimer"):
        start = time.perf_counter()
        yield
        assert time.perf_counter() - start < LIMIT_S
        return
    before = signal.signal(signal.SIGALRM, ring)
    signal.setitimer(signal.ITIMER_REAL, LIMIT_S)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0.0)
        signal.signal(signal.SIGALRM, before)


def pieces(line: Subpath) -> int:
    return sum(len(piece.places) if isinstance(piece, Lines) else 1 for piece in line.pieces)


ARC = "a1 1 0 0 1 1 1"
HUNG = "M0 0A" + "100 100 0 1 1 10 10 " * 3 + "100 100 0 1 1 1%"  # 81 characters


@pytest.mark.slow
@pytest.mark.parametrize(
    ("d", "said"),
    [
        (HUNG, "neither a number nor a command at '%', character 81"),
        ("M0 0a" + "111 111 0 0 1 11 11" * 4 + "%", "nor a command at '%'"),
        ("M0 0" + ARC * 4 + "%", "nor a command at '%', character 61"),
        ("M0 0" + ARC * (MEGABYTE // 14) + "%", "nor a command at '%', character 999"),
        ("M0 0A" + "1 1 0 0 1 1 1 " * (MEGABYTE // 14) + "%", "nor a command at '%', character 999"),
        ("M0 0" + "A" * MEGABYTE, "0 numbers where A takes 7"),
        ("M0 0A" + "0" * MEGABYTE, "1 numbers where A takes 7"),
        ("M0 0A" + "0 " * (MEGABYTE // 2) + "%", "flag at '%', character 1000006, after 500000 numbers"),
        ("M0 0L" + "1" * MEGABYTE, "a number larger than 1,000,000,000 at '111111111111111111111111', character 6"),
        ("M0 0L1e" + "1" * MEGABYTE, "a number larger than"),
        ("M0 0L0." + "1" * MEGABYTE + " 5%", "nor a command at '%'"),
        ("M0 0L" + "." * MEGABYTE, "nor a command at '...."),
        ("M0 0L" + "-" * MEGABYTE, "nor a command at '----"),
        ("M0 0L" + "1e" * (MEGABYTE // 2), "nor a command at 'e1e1"),
        ("M0 0" + " " * MEGABYTE + "%", "nor a command at '%', character 1000005"),
        ("M0 0" + "," * MEGABYTE + "%", "nor a command at '%', character 1000005"),
        (" " * MEGABYTE, ""),
        ("M0 0" + "h1" * (MEGABYTE // 2), "more than 200,000 points"),
        ("M" + "0 1 " * (MEGABYTE // 4), "more than 200,000 points"),
        ("M" + "0 1 " * (MEGABYTE // 6), ""),
    ],
    ids=lambda text: text[:18] if text else "whole",
)
def test_time_grows_with_length_alone(d: str, said: str) -> None:
    with in_time():
        fault = path_fault(d)
    assert said in fault
    assert bool(fault) == bool(said)


# SVG 2, 9.3.9 (the grammar and what is said below it) and 9.3.8 (elliptical arcs).
@pytest.mark.parametrize(
    ("d", "points"),
    [
        ("M 0.6.5", 1),  # 0.6, then .5
        ("M 100-200", 1),
        ("M 100 200 L 200 100 -100 -200", 3),
        ("m0 0a25,25 -30 0,1 50,-25", 2),
        ("M0 0a1 1 0 01 10 10", 2),
        ("M0 0a1,1 0 0110,10", 2),
        ("M0 0a1 1 0 00.5.5", 2),
        ("M0 0A5 5 0 10-1-2 7 8 9 0 1 11 12z", 4),
        ("\n\tM\r1\f2\nH3e1V-4E-2z m5 6", 5),
    ],
)
def test_what_the_standard_allows(d: str, points: int) -> None:
    assert path_fault(d) == ""
    assert sum(pieces(line) + 1 for line in read_path(d)) + d.lower().count("z") == points


@pytest.mark.parametrize(
    ("d", "said"),
    [
        ("M3 4A5 6 7 0 1 8z", "6 numbers where A takes 7 at a time, at 'A5 6 7 0 1 8z', character 5"),
        ("M3 4a5 6 7 0 18z", "6 numbers where a takes 7"),  # the flags 0 and 1, then 8
        ("M3 4a5 6 7 0 1 8 9 5 6 7 1 0 8L2 3", "13 numbers where a takes 7"),
        ("M3 4a5 6 7 0 1 8 5 6 7 0 1 8", "flag at '8', character 28, after 11 numbers of the arc at 'a5 6 7"),
        ("M3 4a5 6 7 0.5 1 8 9", "neither 0 nor 1 for a flag at '.5 1 8 9', character 13, after 4 numbers"),
        ("M3 4L1. 2", "at '. 2', character 7"),  # SVG 2 wants a digit after the point
        ("M3 4L٣ 5", "neither a number nor a command at '٣ 5'"),
        ("M3 4L NaN 5", "neither a number nor a command at 'NaN 5', character 7"),
        ("M3 4L -inf 5", "neither a number nor a command at '-inf 5'"),
        ("M3 4L Infinity 5", "neither a number nor a command at 'Infinity 5'"),
        ("M3 4L 7 1e999", "a number larger than 1,000,000,000 at '1e999', character 9"),
        ("M3 4L 7 -2e9", "a number larger than 1,000,000,000 at '-2e9'"),
    ],
)
def test_place_and_count_are_told(d: str, said: str) -> None:
    assert said in path_fault(d)


_NUMBERS = st.floats(-1e6, 1e6, allow_nan=False).map(lambda x: f"{x:.3f}")
_FLAGS = st.sampled_from("01")
_GAPS = st.sampled_from([" ", ",", " , ", "\n"])


@st.composite
def _paths(choose: st.DrawFn) -> tuple[str, int]:
    """Path data with gaps between all numbers but after flags, and how many commands it stands for."""
    d, count = "M1 2", 1
    for command in choose(st.lists(st.sampled_from("MmLlHhVvCcSsQqTtAaZz"), max_size=6)):
        takes = {"h": 1, "v": 1, "c": 6, "s": 4, "q": 4, "a": 7, "z": 0}.get(command.lower(), 2)
        times = choose(st.integers(1, 3)) if takes else 1
        d += command
        for k in range(takes * times):
            flag = takes == 7 and k % 7 in (3, 4)
            d += choose(_FLAGS if flag else _NUMBERS) + (choose(st.sampled_from(["", " "])) if flag else choose(_GAPS))
        count += times
    return d, count


@pytest.mark.slow
@given(_paths())
def test_paths_go_where_another_reader_goes(path: tuple[str, int]) -> None:
    """Against svgelements 1.9.6, which makes one segment of each set of numbers: places along all of them."""
    d, count = path
    parsed = svgelements.Path()
    parsed.parse(d)
    assert len(parsed) == count
    theirs = [[segment.end.x, segment.end.y] for segment in parsed if not isinstance(segment, svgelements.Close)]
    ours = [end for line in read_path(d) for end in [line.start, *_ends(line)]]
    fresh = [k for k, segment in enumerate(parsed) if isinstance(segment, svgelements.Close)]
    if not any(k + 1 < len(parsed) and not isinstance(parsed[k + 1], svgelements.Move) for k in fresh):
        assert np.array([[end.real, end.imag] for end in ours]) == pytest.approx(np.array(theirs), rel=1e-9, abs=1e-6)


def _ends(line: Subpath) -> list[complex]:
    return [end for piece in line.pieces for end in (piece.places if isinstance(piece, Lines) else [chords_end(piece)])]


def chords_end(piece: Cubic | Arc) -> complex:
    return piece.end if isinstance(piece, Arc) else piece.places[3]


@pytest.mark.slow
@given(_paths())
def test_curves_lie_where_another_reader_lays_them(path: tuple[str, int]) -> None:
    """Against svgelements 1.9.6: every place along one of its curves is near a chord of ours, and the other way."""
    d, _ = path
    if re.search(r"[CcSs][^A-Za-z]*[Tt]|[QqTt][^A-Za-z]*[Ss]", d):
        return  # that reader goes on smoothly from a curve of the other kind; SVG 2, 9.3.6 and 9.3.7, does not
    segments = [segment for segment in svgelements.Path(d) if hasattr(segment, "npoint")]
    size = max(1.0, *(abs(v) for line in read_path(d) for place in line.places() for v in (place.real, place.imag)))
    lines = [chords(line, UNMOVED, size * 1e-4, most=10_000) for line in read_path(d)]
    ours = shapely.MultiLineString([np.concatenate([line, line[:1]]) for line in lines])
    for segment in segments:
        along = np.asarray(segment.npoint(np.linspace(0, 1, 9)), dtype=np.float64)
        assert shapely.distance(shapely.points(along), ours).max() < size * 3e-4


@given(st.text(st.sampled_from("Mm Aa0123.-,+eEzL%\n"), max_size=60))
def test_any_text_is_whole_or_told(text: str) -> None:
    fault = path_fault("M0 0" + text)
    if not fault:
        svgelements.Path().parse("M0 0" + text)  # and is no surprise to another reader
    assert "\n" not in fault


def test_points() -> None:
    assert read_points(" 1,2 3-4\n5e-1.5 ") == [(1, 2), (3, -4), (0.5, 0.5)]
    for text, said in [("1 2 3", "3 numbers"), ("1 2 x", "not a number at 'x', character 5"), ("1 1e10", "larger")]:
        with pytest.raises(ValueError, match=said):
            read_points(text)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("body", "root", "said"),
    [
        (f'{PANEL}<polygon points="{"1" * MEGABYTE}"/>', ROOT, "polygon 1: broken: a number larger than"),
        (f'{PANEL}<polyline id="rim" points="0,0 0.{"1" * MEGABYTE}"/>', ROOT, "polyline rim: broken: 3 numbers"),
        (f'<g transform="{"translate(" * (MEGABYTE // 10)}">{PANEL}</g>', ROOT, "g 1: broken: its transform cannot"),
        (f'<g transform="{"a" * MEGABYTE}">{PANEL}</g>', ROOT, "g 1: broken: its transform cannot be read at 'aaa"),
        (f'<g transform="rotate{" " * MEGABYTE}">{PANEL}</g>', ROOT, "g 1: broken: its transform cannot be read"),
        (f'<g transform="{"rotate(0)" * (MEGABYTE // 90)}">{PANEL}</g>', ROOT, ""),
        (f'<g fill="rgb({"1" * MEGABYTE}">{PANEL}</g>', ROOT, ""),
        (f"<style>{'a' * MEGABYTE}</style>{PANEL}", ROOT, ""),
        (f"<style>a{' ' * MEGABYTE}b</style>{PANEL}", ROOT, ""),
        (f"<style>{'/*' * (MEGABYTE // 2)}</style>{PANEL}", ROOT, ""),
        (f"<style>{'{' * MEGABYTE}</style>{PANEL}", ROOT, ""),
        (f'<text font="{"normal " * (MEGABYTE // 7)}">x</text>{PANEL}', ROOT, ""),
        (f'<rect id="panel" width="90" height="60{"x" * MEGABYTE}"/>', ROOT, "its height: '60xxxxxx.* no fixed length"),
        (f'<rect id="panel" width="90" height="60{" " * MEGABYTE}x"/>', ROOT, "its height: '60   .* no fixed length"),
        (PANEL, f'width="{"1" * MEGABYTE}" viewBox="0 0 200 100"', "a drawing in pixels"),
        (PANEL, f'width="1{" " * MEGABYTE}%" viewBox="0 0 200 100"', "a drawing in pixels"),
        (PANEL, f'width="200mm" viewBox="0 0 200 {"1" * MEGABYTE}"', "viewBox has a number too large"),
    ],
    ids=lambda text: text[:40],
)
def test_no_other_text_of_a_drawing_takes_for_ever(draw: Draw, body: str, root: str, said: str) -> None:
    path = draw(body, root)
    with in_time():
        if not said:
            size = read_drawing(path).outline
            assert (size.width_mm, size.height_mm) == pytest.approx((90, 60))
            return
        with pytest.raises(PictureError, match=said) as caught:
            read_drawing(path)
    assert len(str(caught.value).splitlines()) == 1


@pytest.mark.slow
def test_what_multiplies_is_refused_at_once(draw: Draw) -> None:
    """A line used often, and one of many points that is nowhere drawn; a hidden one does not count."""
    line = '<path id="a" d="M0 0' + "l1 2 3 1" * 1000 + 'z"/>'
    often = f"<defs>{line}</defs>" + '<use href="#a"/>' * 2000
    with in_time():
        with pytest.raises(PictureError, match="svg:1: more than 200,000 points"):
            read_drawing(draw(often + PANEL))
        with pytest.raises(PictureError, match="more than 100,000 elements"):
            read_drawing(draw("<g/>" * 100_000 + PANEL))
    hidden = f"<defs>{line}</defs>" + '<g style="display:none">' + '<use href="#a"/>' * 2000 + "</g>"
    assert len(check_drawing(draw(hidden + PANEL)).shapes) == 1


@pytest.mark.parametrize(
    "body",
    [
        '<path id="rim" d="M0 0L1e999 0 5 5z"/>',
        '<path id="rim" d="M0 0LNaN 0 5 5z"/>',
        '<path id="rim" d="M0 0L-Infinity 0 5 5z"/>',
        '<path id="rim" d="M0 0C1 2 3 4 1e400 6z"/>',
        '<polygon points="0,0 1e999,0 5,5"/>',
        '<polygon points="0,0 nan,0 5,5"/>',
        '<circle r="1e999"/>',
        '<rect x="1e999" width="5" height="7"/>',
        '<rect width="1e999" height="7"/>',
        '<g transform="scale(1e300)"><rect transform="scale(1e300)" width="90" height="60"/></g>',
        '<g transform="scale(1e300)"><path transform="scale(1e300)" d="M1 1C1 2 3 4 5 6z"/></g>',
        '<path d="M0 0A1e-320 1e-320 0 0 1 50 20z"/>',
    ],
)
@pytest.mark.parametrize("width_mm", [None, 90.0])
def test_numbers_that_are_none_are_told_in_one_line(draw: Draw, body: str, width_mm: float | None) -> None:
    root = ROOT if width_mm is None else 'width="200" viewBox="0 0 200 100"'
    with pytest.raises(PictureError) as caught:
        read_drawing(draw(body, root), width_mm=width_mm)
    (line,) = str(caught.value).splitlines()
    assert "; " in line


def test_styles_count_only_where_they_bear_on_outlines(draw: Draw) -> None:
    """CSS Cascade 4, 6 and SVG 2, 6.6: an element's own style goes before the sheet's, and both before attributes."""
    sheet = (
        "<style>/* .big{display:inline} */ .x, .big { fill: red; display : none } rect.turned{transform:rotate(90)}"
        "@media print { #panel { display: none } } #panel { width: 80px }</style>"
    )
    big = '<path class="a big" d="M0 0H190V95H0z"/>'
    shown = '<circle class="big" style="display:inline" cx="20" cy="-25" r="4"/>'
    face = read_drawing(draw(sheet + big + shown + '<rect id="panel" class="turned" x="-50" width="9" height="50"/>'))
    assert sorted(face.rings) == ["line 1", "panel"]
    assert (face.outline.width_mm, face.outline.height_mm) == pytest.approx((50, 80))


def test_a_group_says_nothing_for_its_shapes(draw: Draw) -> None:
    """SVG 2, 7 and 9.3.2: x, d and the like are not inherited; a path without `d` is not drawn."""
    body = '<g x="7" d="M0 0H190V95H0z" points="0,0 190,0 190,95" width="4"><path/><polygon/>' + PANEL + "</g>"
    face = read_drawing(draw(body))
    assert list(face.rings) == ["panel"]
    assert np.ptp(face.outline.outer, axis=0) == pytest.approx([90, 60])


_ODD = [
    "nan",
    "-inf",
    "0",
    "-0.0",
    "1e309",
    "5e-324",
    "1e-160",
    "1e9",
    "1" * 400,
    ".",
    "1e",
    "%",
    "50%",
    "3vw",
    "²",
    "",
]
_WHOLE = (
    '<g transform="translate(10 5) scale(1.5) rotate(12 30 20)"><rect x="1" y="2" width="90" height="60" rx="5"/>'
    '<ellipse cx="30" cy="30" rx="12" ry="7" transform="matrix(1 0.1 -0.1 1 3 2)"/></g>'
    '<path d="M5 6C10 0 60 -5 90 6S120 50 90 66Q50 90 5 66T5 40A20 30 15 0 1 5 6ZM20 20h20v10h-20z"/>'
    '<svg x="5" width="100" height="80" viewBox="0 0 50 40"><polygon points="3,4 8,9 5,12"/></svg>'
)


@settings(
    max_examples=120, derandomize=True, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(st.data())
def test_a_drawing_with_anything_changed_is_read_or_told(draw: Draw, data: st.DataObject) -> None:
    """A number for another, or a sign left out or put in: an outline of finite points, or lines that say what to do."""
    text = _WHOLE
    if data.draw(st.booleans()):
        number = data.draw(st.sampled_from(list(re.finditer(r"-?\d+\.?\d*", text))))
        text = text[: number.start()] + data.draw(st.sampled_from(_ODD)) + text[number.end() :]
    else:
        at = data.draw(st.integers(0, len(text) - 1))
        text = text[:at] + data.draw(st.sampled_from(list('MmAaZz19.-e %()<>&"\n\x01'))) + text[at + 1 :]
    try:
        face = read_drawing(draw(text), width_mm=data.draw(st.sampled_from([None, 300.0])))
    except PictureError as told:
        for line in str(told).splitlines():
            assert re.search(r"front\.svg(:\d+)?: .*; ", line)
            assert line.isprintable()
            assert len(line) <= 400
    else:
        assert all(np.isfinite(ring).all() for ring in face.rings.values())
        assert 0 < face.outline.area_m2 < 1e4


def test_a_heap_of_openings_is_told_opening_by_opening(draw: Draw) -> None:
    """Each that overlaps is told once, however many it overlaps: pair by pair 300 of them took a minute."""
    body = '<rect width="150" height="90"/>' + "".join(
        f'<circle cx="70" cy="40" r="{20 + k % 2}"/>' for k in range(300)
    )
    with in_time(), pytest.raises(PictureError, match="overlaps opening") as caught:
        read_drawing(draw(body))
    assert len(caught.value.problems) < 300
    many = '<rect width="190" height="90"/>' + "".join(
        f'<rect x="{1 + 2 * (k % 80)}" y="{1 + 2 * (k // 80)}" width="1" height="1"/>' for k in range(1001)
    )
    with pytest.raises(PictureError, match="a face has at most 1,000 openings, here are 1,001"):
        read_drawing(draw(many))


@pytest.mark.parametrize(
    ("encoding", "head"),
    [("utf-8-sig", "UTF-8"), ("utf-16", "UTF-16"), ("latin-1", "ISO-8859-1"), ("cp1252", "windows-1252")],
)
def test_encodings(tmp_path: Path, encoding: str, head: str) -> None:
    """XML 1.0, 4.3.3: a byte order mark or what the first line says; CRLF is one line's end (2.11)."""
    text = f'<?xml version="1.0" encoding="{head}"?>\r\n' + SVG.format(root=ROOT, body=PANEL.replace("panel", "Fläche"))
    (tmp_path / "front.svg").write_bytes(text.encode(encoding))
    assert list(read_drawing(tmp_path / "front.svg").rings) == ["Fläche"]


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b'<?xml version="1.0" encoding="none-such"?><svg/>', "its encoding is not known here"),
        (b'<?xml version="1.0" encoding="shift_jis"?><svg/>', "its encoding is not known here|no closed outline"),
        (b"<svg>\n<rect\x00/></svg>", "svg:2: not a whole SVG file"),
        (b"<svg>\n\n<rect></svg>", "svg:3: not a whole SVG file: it is broken here; save"),
        (b'<!DOCTYPE svg [\n<!ENTITY a "b">]><svg/>', "svg:2: it declares an entity"),
    ],
)
def test_bytes_that_are_no_drawing(tmp_path: Path, data: bytes, said: str) -> None:
    (tmp_path / "front.svg").write_bytes(data)
    with pytest.raises(PictureError, match=said) as caught:
        read_drawing(tmp_path / "front.svg")
    assert len(str(caught.value).splitlines()) == 1
