"""Faces, zones, masks, rings, soak and cut back on a whole part: exists for a coat on the wrong face, paint under tape,
areas that do not add up, and presentation that gets into figures."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from layerpreview import load_scheme, render
from layerpreview.errors import InputError
from layerpreview.finish.view import STRAIGHT_ON
from layerpreview.job.figures import figures_of
from layerpreview.picture.bare import bare_of
from layerpreview.picture.faces import bursts_out_of_touch, shape_of, shapes_of
from layerpreview.picture.maps import BuildMaps, pixel_grid
from layerpreview.picture.scene import laid_out, make_scene
from layerpreview.picture.solids import front_of
from layerpreview.picture.survey import Survey
from layerpreview.scheme import Scheme
from layerpreview.workflows.check import check_scheme

from ..schemes import DYES, HEAD, HOLE, MAPLE, MIXES, PANEL, SILVER, WHITE, bare_scheme

FRONT = """\
[[face]]
name = "front"
shape = "panel"
width = "90 mm"
height = "60 mm"
  [[face.zone]]
  name = "left"
  side = { at = ["30 mm", "0 mm"], angle = 180 }
  [[face.zone]]
  name = "right"
  side = { at = ["30 mm", "0 mm"], angle = 0 }
  edge = "10 mm"
  [[face.zone]]
  name = "seat"
  shape = "panel"
  width = "20 mm"
  height = "12 mm"
  centre = ["70 mm", "30 mm"]
  masked = true
"""
BACK = '[[face]]\nname = "back"\nshape = "disc"\ndiameter = "40 mm"\n'


def coat(mix: str, extra: str = "") -> str:
    return f'[[coat]]\nmix = "{mix}"\nfilm = "40 um"\n{extra}'


@pytest.fixture
def scheme(save_scheme: Callable[..., Path]) -> Scheme:
    coats = coat("honey", 'zone = "left"\n') + coat("sea", 'zone = ["right", "back"]\n') + coat("honey")
    return load_scheme(save_scheme(HEAD + FRONT + BACK + WHITE + DYES + MIXES + coats))


def builds_at(scheme: Scheme, face: int, x_mm: float, y_mm: float, *, pixel_mm: float = 1.0) -> list[float]:
    shape = shape_of(scheme.faces[face])
    grid = pixel_grid(shape.outline, pixel_mm)
    row, col = int(y_mm / pixel_mm), int(x_mm / pixel_mm)
    builds, _ = BuildMaps(scheme, shape, grid).rows(row, row + 1)
    return [round(float(value), 3) for value in builds[:, col]]


def test_each_coat_lands_where_it_was_sent(scheme: Scheme) -> None:
    assert builds_at(scheme, 0, 10.5, 40.5) == [1.0, 0.0, 1.0]
    assert builds_at(scheme, 0, 50.5, 50.5) == [0.0, 1.0, 1.0]
    assert builds_at(scheme, 0, 70.5, 30.5) == [0.0, 0.0, 0.0]  # under tape
    assert builds_at(scheme, 1, 20.5, 20.5) == [0.0, 1.0, 1.0]


def test_a_soft_line_goes_by_distance_at_any_size(scheme: Scheme) -> None:
    """10 mm wide, half on either side of x = 30: smoothstep of (d + 5) / 10."""
    for pixel_mm in (1.0, 0.5):
        x = 31.75
        d = (math.floor(x / pixel_mm) + 0.5) * pixel_mm - 30.0
        s = (d + 5.0) / 10.0
        assert builds_at(scheme, 0, x, 50.5, pixel_mm=pixel_mm)[1] == pytest.approx(s * s * (3 - 2 * s), abs=2e-3)


def test_areas_add_up(scheme: Scheme) -> None:
    """90 x 60 less 20 x 12 of tape; left of x = 30 is 30 x 60; the disc is pi 20^2."""
    shapes = shapes_of(scheme)
    front, back = (Survey(scheme, shape).sprayed_m2 for shape in shapes)
    assert front == pytest.approx([1800e-6, 3600e-6 - 240e-6, 5400e-6 - 240e-6], rel=1e-6)
    assert back == pytest.approx([0.0, math.pi * 400e-6, math.pi * 400e-6], rel=3e-4)
    figures = figures_of(scheme, make_scene(scheme, width_px=200))
    assert figures.coats[1].area_m2 == pytest.approx(3360e-6 + math.pi * 400e-6, rel=3e-4)
    assert figures.coats[1].mix_landed_mL.likely == pytest.approx(figures.coats[1].area_m2 * 40, rel=1e-3)
    zones = {zone.name: zone for zone in figures.zones}
    assert zones["left"].area_m2 + zones["right"].area_m2 == pytest.approx(5400e-6)
    assert zones["seat"].masked
    assert zones["seat"].tape_mm == pytest.approx(64.0)
    assert zones["right"].tape_mm == 0.0  # a soft line takes no tape


def test_ridge_of_tape_is_on_the_painted_side(save_scheme: Callable[..., Path]) -> None:
    text = FRONT.replace("angle = 180 }", 'angle = 180 }\n  ridge = "2 mm"')
    scheme = load_scheme(save_scheme(HEAD + text + WHITE + DYES + MIXES + coat("honey", 'zone = "left"\n')))
    inside, outside = (builds_at(scheme, 0, x, 50.5, pixel_mm=0.25)[0] for x in (29.0, 31.0))
    assert inside > 1.3
    assert outside == 0.0


def test_a_burst_from_nothing_here_is_no_coat_here(save_scheme: Callable[..., Path]) -> None:
    """A coat that bursts from the front's zone must not become a whole coat on the back."""
    burst = 'burst = { from = "left", width = "12 mm", fall_off = "linear" }\n'
    scheme = load_scheme(save_scheme(HEAD + FRONT + BACK + WHITE + DYES + MIXES + coat("sea", burst)))
    assert builds_at(scheme, 1, 20.5, 20.5) == [0.0]
    assert builds_at(scheme, 0, 26.5, 40.5)[0] == pytest.approx(1.0 - 3.5 / 12.0, abs=3e-3)


def test_a_burst_from_nothing_here_is_no_coat_on_a_zone_here(save_scheme: Callable[..., Path]) -> None:
    """A coat over a zone of each face that bursts from the front's: the back's zone gets none of it, not all."""
    top = '  [[face.zone]]\n  name = "top"\n  side = { at = ["0 mm", "13 mm"], angle = 270 }\n'
    burst = 'zone = ["left", "top"]\nburst = { from = "left", width = "12 mm", fall_off = "linear" }\n'
    scheme = load_scheme(save_scheme(HEAD + FRONT + BACK + top + WHITE + DYES + MIXES + coat("sea", burst)))
    front, back = shapes_of(scheme)
    assert back.zones_of(scheme, scheme.coats[0]) == ()
    assert builds_at(scheme, 1, 20.5, 6.5) == [0.0]
    assert Survey(scheme, back).sprayed_m2 == (0.0,)
    assert front.zones_of(scheme, scheme.coats[0]) == ("left",)
    assert builds_at(scheme, 0, 26.5, 40.5)[0] == pytest.approx(1.0 - 3.5 / 12.0, abs=3e-3)


def test_a_coat_has_no_bursts_where_it_does_not_go(save_scheme: Callable[..., Path]) -> None:
    burst = 'zone = "left"\nburst = { from = "outline", width = "12 mm", fall_off = "linear" }\n'
    scheme = load_scheme(save_scheme(HEAD + FRONT + BACK + WHITE + DYES + MIXES + coat("sea", burst)))
    front, back = shapes_of(scheme)
    assert [each.width_mm for each in front.bursts_of(scheme, scheme.coats[0])] == [12.0]
    assert back.bursts_of(scheme, scheme.coats[0]) == ()


DRAWN = """\
[[face]]
name = "front"
shape = "drawing"
drawing = "front.svg"
  [[face.zone]]
  name = "plate"
  id = "guard"
"""
DRAWING = """\
<svg xmlns="http://www.w3.org/2000/svg" width="200mm" viewBox="0 0 200 100">
<path id="rim" d="M5 6H155V86H5Z"/><rect id="guard" x="25" y="16" width="40" height="22"/>
<circle id="screw" cx="40" cy="27" r="3"/><circle id="hole" cx="110" cy="46" r="12"/></svg>
"""


def test_a_zone_is_a_line_of_the_drawing(save_scheme: Callable[..., Path], tmp_path: Path) -> None:
    """150 x 80 less a hole of 12 mm radius and the screw's of 3 mm, which lies in the zone of 40 x 22."""
    (tmp_path / "front.svg").write_text(DRAWING, encoding="utf-8")
    file = save_scheme(HEAD + DRAWN + WHITE + DYES + MIXES + coat("honey") + coat("sea", 'zone = "plate"\n'))
    scheme = load_scheme(file)
    (front,) = shapes_of(scheme)
    assert sorted(front.outline.openings) == ["hole", "screw"]
    face, plate = 150 * 80 - math.pi * (144 + 9), 40 * 22 - math.pi * 9
    assert front.outline.area_m2 * 1e6 == pytest.approx(face, rel=1e-3)
    assert front.regions["plate"].area_m2 * 1e6 == pytest.approx(plate, rel=1e-3)
    assert front.regions["plate"].tape_length_mm == pytest.approx(124.0)
    assert [area * 1e6 for area in Survey(scheme, front).sprayed_m2] == pytest.approx([face, plate], rel=1e-3)
    assert builds_at(scheme, 0, 25.5, 15.5) == [1.0, 1.0]
    assert builds_at(scheme, 0, 80.5, 15.5) == [1.0, 0.0]
    assert builds_at(scheme, 0, 105.5, 40.5)[1] == 0.0
    assert any("line guard of the drawing" in line for line in check_scheme(file).lines)


def test_a_line_no_zone_claims_stays_an_opening(save_scheme: Callable[..., Path], tmp_path: Path) -> None:
    (tmp_path / "front.svg").write_text(DRAWING, encoding="utf-8")
    scheme = load_scheme(save_scheme(HEAD + DRAWN.partition("  [[face.zone]]")[0] + WHITE))
    (front,) = shapes_of(scheme)
    assert sorted(front.outline.openings) == ["guard", "hole"]


@pytest.mark.parametrize(
    ("source", "distance_mm"),
    [('from = "line", at = ["20 mm", "0 mm"], angle = 0', 15.5), ('from = "centre", at = ["20 mm", "26.5 mm"]', 15.5)],
)
def test_bursts_from_a_line_and_a_centre(save_scheme: Callable[..., Path], source: str, distance_mm: float) -> None:
    burst = f'burst = {{ {source}, width = "40 mm", fall_off = "linear" }}\n'
    scheme = load_scheme(save_scheme(HEAD + FRONT + WHITE + DYES + MIXES + coat("sea", burst)))
    assert builds_at(scheme, 0, 35.5, 26.5)[0] == pytest.approx(1.0 - distance_mm / 40.0, abs=3e-3)


def test_rings_in_one_line_are_the_coats_they_stand_for(save_scheme: Callable[..., Path]) -> None:
    rings = '[[coat]]\nrings = "honey x3 | sea x2 20 mm soft | #140d0e x2 6 mm fan"\nfilm = "40 um"\n'
    long = (
        coat("honey", "coats = 3\n")
        + coat("sea", 'coats = 2\nburst = { from = "outline", width = "20 mm", fall_off = "soft" }\n')
        + '[[coat]]\nopaque = "#140d0e"\nhiding = 1.2\ncoats = 2\nfilm = "40 um"\n'
        + 'burst = { from = "outline", width = "6 mm", fall_off = "fan" }\n'
    )
    head = HEAD + BACK + WHITE + DYES + MIXES
    short_one, long_one = (render(load_scheme(save_scheme(head + text)), width_px=60) for text in (rings, long))
    assert np.array_equal(short_one.rgb_lin, long_one.rgb_lin)


def test_each_face_has_its_own_base(save_scheme: Callable[..., Path]) -> None:
    text = HEAD + FRONT + BACK + WHITE + '[base_of.back]\nkind = "wood"\ncolour = "#804020"\n'
    scheme = load_scheme(save_scheme(text))
    shown = render(scheme, width_px=300).srgb8
    assert [int(v) for v in shown[shown.shape[0] // 2, 40]] == [0xF2, 0xF0, 0xEC]
    assert [int(v) for v in shown[shown.shape[0] // 2, 250]] == [0x80, 0x40, 0x20]


def test_open_grain_takes_more(save_scheme: Callable[..., Path]) -> None:
    grain = '[base]\nkind = "wood"\ngrain = "plain"\nsoak = {soak}\n'
    spread = []
    for soak in ("0", "1"):
        scheme = load_scheme(save_scheme(HEAD + BACK + grain.replace("{soak}", soak) + DYES + MIXES + coat("honey")))
        scene = make_scene(scheme, width_px=160)
        strip = scene.faces[0].picture.rows(0, 160)
        inside = strip.builds[0][strip.cover == 1.0]
        spread.append(float(inside.std()))
        assert inside.mean() == pytest.approx(1.0, abs=0.12)
    assert spread[0] == 0.0
    assert spread[1] > 0.1


def test_cut_back_leaves_what_it_says_and_the_edge_least(save_scheme: Callable[..., Path]) -> None:
    scheme = load_scheme(
        save_scheme(HEAD + FRONT + MAPLE + DYES + MIXES + coat("honey", 'cut_back = "30 %"\ncut_back_seed = 4\n'))
    )
    shape = shape_of(scheme.faces[0])
    maps = BuildMaps(scheme, shape, pixel_grid(shape.outline, 0.5))
    builds, cover = maps.rows(0, maps.grid.n_rows)
    painted = maps.sprayed(0, maps.grid.n_rows)[0] == 1.0
    left = builds[0].reshape(120, 180)
    assert builds[0][painted & (cover > 0)].mean() == pytest.approx(0.70, abs=0.03)
    assert left[:2].mean() < left[50:70, 80:110].mean() - 0.2
    # What is sprayed, and so what must be mixed, knows nothing of the sanding.
    assert Survey(scheme, shape).sprayed_m2[0] == pytest.approx(shape.painted_m2(scheme, scheme.coats[0]))


def test_a_zone_off_its_face_is_told_with_the_others(save_scheme: Callable[..., Path]) -> None:
    text = HEAD + FRONT.replace('["70 mm", "30 mm"]', '["170 mm", "30 mm"]').replace(
        'at = ["30 mm", "0 mm"], angle = 0 }', 'at = ["130 mm", "0 mm"], angle = 0 }'
    )
    scheme = load_scheme(save_scheme(text + WHITE))
    with pytest.raises(InputError) as caught:
        shapes_of(scheme)
    assert len(caught.value.problems) == 2
    assert all(problem.file for problem in caught.value.problems)


@pytest.mark.parametrize(
    "sizes", [[(300.0, 400.0)], [(320.0, 400.0), (320.0, 400.0), (90.0, 190.0)], [(1100.0, 165.0)] * 4]
)
def test_layout_keeps_faces_apart_and_inside(sizes: list[tuple[float, float]]) -> None:
    layout = laid_out(sizes, margin=0.05)
    boxes = [(x, y, x + w, y + h) for (x, y), (w, h) in zip(layout.corners_mm, sizes, strict=True)]
    for i, a in enumerate(boxes):
        assert a[0] >= layout.border_mm - 1e-9
        assert a[2] <= layout.width_mm - layout.border_mm + 1e-9
        for b in boxes[:i]:
            assert a[0] >= b[2] or b[0] >= a[2] or a[1] >= b[3] or b[1] >= a[3]


def test_problems_of_openings_name_their_face(save_scheme: Callable[..., Path]) -> None:
    """Both faces have a hole of the same name, and only the second's lies outside."""
    back = PANEL.replace('"front"', '"back"') + HOLE.replace('"20 mm"', '"60 mm"')
    scheme = load_scheme(save_scheme(bare_scheme(WHITE, face=PANEL + HOLE + back)))
    with pytest.raises(InputError, match="face 'back', opening 'hole'"):
        shapes_of(scheme)


SIDE = '[[face]]\nname = "side"\nshape = "side"\nof = "{of}"\ndepth = "25 mm"\n'


def test_a_side_is_as_long_as_the_edge_it_goes_round(save_scheme: Callable[..., Path]) -> None:
    """Round a disc of 40 mm: pi x 40 mm long, 25 mm deep, no seam: a burst from its edge starts at top and bottom."""
    burst = 'zone = "side"\nburst = { from = "outline", width = "10 mm", fall_off = "linear" }\n'
    text = HEAD + BACK + SIDE.replace("{of}", "back") + WHITE + DYES + MIXES + coat("sea", burst)
    scheme = load_scheme(save_scheme(text))
    _, side = shapes_of(scheme)
    assert side.outline.width_mm == pytest.approx(math.pi * 40.0, rel=1e-4)
    assert side.outline.area_m2 == pytest.approx(math.pi * 40e-3 * 25e-3, rel=1e-4)
    grid = pixel_grid(side.outline, 1.0)
    builds, _ = BuildMaps(scheme, side, grid).rows(0, 25)
    column = builds.reshape(25, grid.n_cols)[:, 0]
    assert column[0] == pytest.approx(0.95, abs=0.01)
    assert column[12] == 0.0
    assert figures_of(scheme, make_scene(scheme, width_px=200)).coats[0].mix_landed_mL.likely > 0.0


@pytest.mark.parametrize(
    ("face", "told"),
    [
        (SIDE.replace("{of}", "bakc"), 'did you mean "back"'),
        (SIDE.replace('of = "{of}"\n', ""), "a side goes round a face"),
        (BACK.replace('"back"', '"lid"') + 'of = "back"\n', 'only the shape "side" has this'),
    ],
)
def test_a_side_of_nothing(save_scheme: Callable[..., Path], face: str, told: str) -> None:
    with pytest.raises(InputError) as caught:
        load_scheme(save_scheme(HEAD + BACK + face + WHITE))
    assert told in str(caught.value)


def test_a_side_of_a_face_that_cannot_be_made(save_scheme: Callable[..., Path]) -> None:
    """Only the face's own problem is told."""
    hole = '[[face.opening]]\nname = "hole"\nshape = "disc"\ndiameter = "16 mm"\ncentre = ["90 mm", "24 mm"]\n'
    scheme = load_scheme(save_scheme(HEAD + BACK + hole + SIDE.replace("{of}", "back") + WHITE))
    with pytest.raises(InputError) as caught:
        shapes_of(scheme)
    assert len(caught.value.problems) == 1


ZONES = (
    '[[face.zone]]\nname = "left"\nside = { at = ["32 mm", "0 mm"], angle = 180 }\n'
    '[[face.zone]]\nname = "right"\nside = { at = ["32 mm", "0 mm"], angle = 0 }\n'
    '[[face.zone]]\nname = "disc"\nshape = "disc"\ndiameter = "10 mm"\ncentre = ["50 mm", "24 mm"]\n'
)


@pytest.mark.parametrize(
    ("zone", "source", "width", "told"),
    [
        ("left", "disc", "3 mm", "it fades only inside disc, where this coat does not go"),
        ("left", "right", "3 mm", "it fades only inside right, where this coat does not go"),
        ("right", "disc", "3 mm", ""),
        ("disc", "right", "3 mm", "it ends before it reaches where this coat goes"),
        ("disc", "right", "20 mm", ""),
        ("left", "left", "3 mm", ""),
        ("left", "outline", "3 mm", ""),
        ("disc", "outline", "3 mm", "it ends before it reaches where this coat goes"),
        ("disc", "outline", "12 mm", ""),
        ("disc", "hole", "9 mm", "it ends before it reaches where this coat goes"),
        ("face", "disc", "3 mm", ""),
    ],
)
def test_a_burst_that_fades_nowhere_its_coat_goes_is_told(
    save_scheme: Callable[..., Path], zone: str, source: str, width: str, told: str
) -> None:
    coat = f'[[coat]]\nmix = "honey"\nzone = "{zone}"\nburst = {{ from = "{source}", width = "{width}" }}\n'
    scheme = load_scheme(save_scheme(HEAD + PANEL + HOLE + ZONES + SILVER + DYES + MIXES + coat))
    found = bursts_out_of_touch(scheme, shapes_of(scheme))
    assert [problem.field for problem in found] == (["coat[1].burst.from"] if told else [])
    assert told in "".join(map(str, found))


MIRRORED = '[[face]]\nname = "rear"\nshape = "mirrored"\nof = "{of}"\n'
TEARDROP = '[[face]]\nname = "drop"\nshape = "teardrop"\nwidth = "60 mm"\nheight = "90 mm"\n'


def _mirrored(of: str, more: str = "") -> str:
    return MIRRORED.replace("{of}", of) + more


@pytest.mark.parametrize(("through", "holes"), [("", ()), ('through = "hole"\n', ("hole",))])
def test_a_mirrored_face_is_seen_from_behind(save_scheme: Callable[..., Path], through: str, holes: tuple[str]) -> None:
    """A hole 20 mm from the left of a front 64 mm wide is 44 mm from the left of its back, and there only if it goes
    through; the back's amounts are those of its own area: 64 x 48 mm, less pi 8^2 mm2 where the hole is."""
    text = HEAD + PANEL + HOLE + _mirrored("front", through) + WHITE + DYES + MIXES + coat("sea", 'zone = "rear"\n')
    scheme = load_scheme(save_scheme(text))
    front, rear = shapes_of(scheme)
    assert tuple(rear.outline.openings) == holes
    assert [ring[:, 0].mean() for ring in rear.outline.openings.values()] == pytest.approx([44.0] * len(holes))
    assert rear.outline.area_m2 * 1e6 == pytest.approx(64 * 48 - len(holes) * math.pi * 64, rel=1e-4)
    assert front.outline.polygon.centroid.x == pytest.approx(32.0 + math.pi * 64 * 12 / (64 * 48 - math.pi * 64), 1e-3)
    assert figures_of(scheme, make_scene(scheme, width_px=200)).coats[0].area_m2 == pytest.approx(
        rear.outline.area_m2, rel=1e-6
    )


def test_a_mirrored_drawing_and_its_side(save_scheme: Callable[..., Path], tmp_path: Path) -> None:
    """A triangle with its right angle at the lower left has it at the lower right from behind."""
    (tmp_path / "front.svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="40mm" viewBox="0 0 60 40">'
        '<path d="M0 0 L60 40 L0 40 Z"/></svg>'
    )
    face = '[[face]]\nname = "front"\nshape = "drawing"\ndrawing = "front.svg"\nwidth = "60 mm"\n'
    text = HEAD + face + _mirrored("front") + SIDE.replace("{of}", "front") + WHITE
    front, rear, side = shapes_of(load_scheme(save_scheme(text)))
    assert front.outline.polygon.centroid.x == pytest.approx(20.0)
    assert rear.outline.polygon.centroid.x == pytest.approx(40.0)
    assert rear.outline.polygon.exterior.is_ccw == front.outline.polygon.exterior.is_ccw
    assert side.outline.width_mm == pytest.approx(100.0 + math.hypot(60.0, 40.0))
    assert front_of(rear, [front, rear, side]) == "front"


@pytest.mark.parametrize(
    ("faces", "told"),
    [
        (TEARDROP + _mirrored("dorp"), 'did you mean "drop"'),
        (TEARDROP + _mirrored("rear"), "this is the face itself"),
        (TEARDROP + _mirrored("drop") + _mirrored("rear").replace('"rear"', '"third"', 1), "is mirrored itself"),
        (TEARDROP + SIDE.replace("{of}", "drop") + _mirrored("side"), "this face is a side itself"),
        (TEARDROP + _mirrored("drop") + SIDE.replace("{of}", "rear"), "this face is mirrored itself; write drop"),
        (TEARDROP + MIRRORED.replace('of = "{of}"\n', ""), 'this mirrors a face, which is not named; add of = "drop"'),
        (_mirrored("drop") + TEARDROP, "no face of this name stands before its mirror image"),
        (TEARDROP + _mirrored("drop", 'width = "60 mm"\n'), 'the shape "mirrored" has no width; leave it out'),
        (TEARDROP + _mirrored("drop", 'through = "hole"\n'), "the mirrored face has no opening of this name"),
        (PANEL + HOLE + _mirrored("front", 'through = ["hoel"]\n'), 'did you mean "hole"'),
        (PANEL + HOLE + _mirrored("front", 'through = ["hole", "hole"]\n'), "an opening is listed twice"),
        (TEARDROP + 'through = ["hole"]\n', 'only the shape "mirrored" has this'),
        (
            '[[face]]\nname = "shell"\nshape = "tube"\ndiameter = "90 mm"\nlength = "70 mm"\n' + _mirrored("shell"),
            "a tube is one face all round, it has no back",
        ),
    ],
)
def test_a_mirror_image_of_nothing(save_scheme: Callable[..., Path], faces: str, told: str) -> None:
    with pytest.raises(InputError) as caught:
        load_scheme(save_scheme(HEAD + faces + WHITE))
    assert told in str(caught.value)
    assert len(caught.value.problems) == 1


def test_an_opening_that_a_drawing_does_not_have(save_scheme: Callable[..., Path], tmp_path: Path) -> None:
    (tmp_path / "front.svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="40mm"><path d="M0 0 H60 V40 H0 Z"/></svg>'
    )
    face = '[[face]]\nname = "front"\nshape = "drawing"\ndrawing = "front.svg"\nwidth = "60 mm"\n'
    scheme = load_scheme(save_scheme(HEAD + face + _mirrored("front", 'through = ["cavity"]\n') + WHITE))
    with pytest.raises(InputError, match=r"face 'rear', through = cavity: face 'front' has no opening of this name"):
        shapes_of(scheme)


PHOTO = (
    '[base]\nkind = "metal"\nsilver = "fine"\nrelief_height = "50 um"\npicture = "front.png"\n'
    '[base.picture_options]\nwidth = "64 mm"\ncrop = [0, 0, 64, 48]\n'
)


def test_a_face_has_a_photo_of_its_own(save_scheme: Callable[..., Path], tmp_path: Path) -> None:
    """All else is as in the base; how the other photo is cropped and how wide it is means nothing here."""
    for name, size in (("front.png", (64, 48)), ("back.png", (40, 30))):
        Image.new("RGB", size, (90, 100, 110)).save(tmp_path / name)
    own = '[base_of.rear]\npicture = "back.png"\n[base_of.rear.picture_options]\nwidth = "66 mm"\n'
    scheme = load_scheme(save_scheme(HEAD + PANEL + _mirrored("front") + PHOTO + own))
    front, rear = scheme.base_for("front"), scheme.base_for("rear")
    assert rear.picture == tmp_path / "back.png"
    assert (rear.picture_options.width_mm, rear.picture_options.crop_px) == (66.0, None)
    assert (rear.silver, rear.kind, rear.relief_um) == ("fine", "metal", front.relief_um)
    assert tmp_path / "back.png" in scheme.inputs
    coarse = load_scheme(save_scheme(HEAD + PANEL + _mirrored("front") + PHOTO + '[base_of.rear]\nsilver = "coarse"\n'))
    rear = coarse.base_for("rear")
    assert (rear.silver, rear.picture, rear.picture_options) == ("coarse", front.picture, front.picture_options)


@pytest.mark.parametrize(
    ("own", "told"),
    [
        ('picture = "back.png"\nrelief = "lifted"\n', "exactly one of"),
        ('[base_of.rear.picture_options]\nwidth = "66 mm"\n', "these belong to a base with picture = ..."),
        ('grain = "flame"\n', 'only a wood base has this; leave it out, or write kind = "wood"'),
        ('height_picture = "back.png"\n', "a relief picture needs its true width"),
    ],
)
def test_a_base_of_its_own_that_says_no_kind(
    save_scheme: Callable[..., Path], tmp_path: Path, own: str, told: str
) -> None:
    for name in ("front.png", "back.png"):
        Image.new("RGB", (64, 48), (90, 100, 110)).save(tmp_path / name)
    with pytest.raises(InputError) as caught:
        load_scheme(save_scheme(HEAD + PANEL + _mirrored("front") + PHOTO + "[base_of.rear]\n" + own))
    assert told in str(caught.value)


def test_the_photo_of_a_front_on_its_back_and_round_its_side(save_scheme: Callable[..., Path], tmp_path: Path) -> None:
    """The front is dark at its left: so is its back at its right, and neither is stretched; the side, 2 (64 + 48) mm
    long, needs no tile."""
    across = np.linspace(40, 200, 64)[None, :, None].repeat(48, axis=0).repeat(3, axis=2)
    Image.fromarray(across.astype(np.uint8)).save(tmp_path / "front.png")
    text = HEAD + PANEL + _mirrored("front") + SIDE.replace("{of}", "front") + PHOTO
    scheme = load_scheme(save_scheme(text))
    front, rear, side = (
        bare_of(scheme.base_for(shape.face.name), shape, grid, STRAIGHT_ON).lit(0, grid.n_rows)[0]
        for shape in shapes_of(scheme)
        for grid in [pixel_grid(shape.outline, 1.0)]
    )
    assert rear == pytest.approx(front[:, ::-1], abs=1e-5)
    assert front[:, 3].mean() < 0.5 * front[:, 60].mean()
    assert side.shape[:2] == (25, 224)
    assert front.min() - 0.01 <= side.min() <= side.max() <= front.max() + 0.01
