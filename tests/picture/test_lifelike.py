"""The part as a solid: exists for a picture that is not the film's answer, faces put together wrongly, and light that
changes with the picture's size."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from layerpreview.colour import RGB_LIN_TO_XYZ, delta_e_2000, srgb_hex_to_rgb_lin, xyz_to_lab
from layerpreview.finish.view import EVEN_LIGHT, SURROUNDINGS, SoftLamp, Surroundings, View
from layerpreview.picture.faces import shapes_of
from layerpreview.picture.lifelike import Lifelike, Pose, lifelike_of, looks_of, posed
from layerpreview.picture.scene import appearances_of, make_scene
from layerpreview.picture.solids import faces_together
from layerpreview.scheme import Scheme, load_scheme
from tests.schemes import HEAD, HONEY, MAPLE, PANEL, RELIEF, SILVER, WHITE, bare_scheme

Save = Callable[..., Path]
FLAT_FORM = '[form]\nedge_radius = "1 mm"\nbelly = "0 mm"\n'
BACK = PANEL.replace('"front"', '"back"')
SIDE = '[[face]]\nname = "side"\nshape = "side"\nof = "front"\ndepth = "22 mm"\n'
LEVEL = Pose(0.0, 0.0)


def _picture(scheme: Scheme, scene: Lifelike) -> tuple[np.ndarray, np.ndarray]:
    looks = looks_of(scheme, scene, "D65")
    parts = [scene.render_strip([looks], *strip) for strip in scene.strips()]
    return np.concatenate([part[0][0] for part in parts]), np.concatenate([part[1] for part in parts])


def _lab(rgb_lin: np.ndarray) -> np.ndarray:
    return xyz_to_lab(rgb_lin @ RGB_LIN_TO_XYZ.T, white_xyz=RGB_LIN_TO_XYZ.sum(axis=1))


def _middle(picture: np.ndarray, cover: np.ndarray) -> np.ndarray:
    """Mean light of the middle of the part, clear of its edges."""
    rows, cols = (np.flatnonzero((cover > 0.99).any(axis=axis)) for axis in (1, 0))
    quarter = (rows[-1] - rows[0]) // 4, (cols[-1] - cols[0]) // 4
    part = picture[rows[0] + quarter[0] : rows[-1] - quarter[0], cols[0] + quarter[1] : cols[-1] - quarter[1]]
    return np.asarray(part.reshape(-1, 3).mean(axis=0))


@pytest.mark.parametrize(
    ("base", "around"),
    [(WHITE, "window"), (MAPLE, "stage"), (SILVER, "even"), pytest.param(RELIEF, "window", marks=pytest.mark.slow)],
    ids=["white", "wood", "flat silver", "lifted silver"],
)
def test_a_level_solid_is_the_flat_picture_and_its_mirror_image(save_scheme: Save, base: str, around: str) -> None:
    """Seen straight on, without arch: the same law as the flat picture in the same surroundings, within 0.4 dE00, when
    what the clear mirrors is taken off."""
    scheme = load_scheme(save_scheme(bare_scheme(base, coats=HONEY) + FLAT_FORM))
    room = SURROUNDINGS[around]
    solid = lifelike_of(scheme, room, width_px=150, pose=LEVEL)
    ours = _middle(*_picture(scheme, solid))
    ours -= solid.mirror.at(np.float32([[0.0], [0.0], [1.0]]), np.zeros(1, np.float32))[0]
    view = View(0.0, None, room)
    flat = make_scene(scheme, width_px=150, margin=0.1, view=view)
    (picture,), cover = flat.render_strip(appearances_of(scheme, flat, ["D65"], view=view), 0, flat.height_px)
    assert delta_e_2000(_lab(ours), _lab(_middle(picture, cover))) < 0.4


@pytest.mark.slow
def test_without_dye_the_photo_comes_back(save_scheme: Save, tmp_path: Path) -> None:
    """Of a level part in even light, with the four hundredths that a clear face mirrors."""
    Image.new("RGB", (64, 48), (150, 120, 90)).save(tmp_path / "base.png")
    base = '[base]\nkind = "metal"\npicture = "base.png"\n'
    scheme = load_scheme(save_scheme(bare_scheme(base) + FLAT_FORM))
    seen = _middle(*_picture(scheme, lifelike_of(scheme, EVEN_LIGHT, width_px=90, pose=LEVEL)))
    np.testing.assert_allclose(seen, srgb_hex_to_rgb_lin("#96785a") + 0.04, atol=2e-3)


def test_rays_start_before_an_arch_however_high(save_scheme: Save) -> None:
    """Else one looks into the solid."""
    scheme = load_scheme(save_scheme(bare_scheme(WHITE) + '[form]\nbelly = "400 mm"\nthickness = "20 mm"\n'))
    scene = lifelike_of(scheme, EVEN_LIGHT, width_px=80)
    _, start = scene._rays(scene.solids[0], 0, scene.height_px)
    assert scene.solids[0].solid.body.away_mm(start).min() > 0.0


def test_a_tube_is_a_picture_of_usual_shape(save_scheme: Save) -> None:
    """Not twenty times as high as wide: it stands in the middle, whole."""
    tube = '[[face]]\nname = "tube"\nshape = "tube"\ndiameter = "20 mm"\nlength = "400 mm"\n'
    scene = lifelike_of(load_scheme(save_scheme(bare_scheme(WHITE, face=tube))), EVEN_LIGHT, width_px=100)
    assert scene.height_px == 2 * scene.width_px
    cover = scene.cover()
    _, cols = np.nonzero(cover > 0.5)
    assert cols.mean() == pytest.approx(49.5, abs=0.6)
    assert cover.sum() * scene.pixel_mm**2 == pytest.approx((20.0 + scene.pixel_mm) * 400.0, rel=0.03)
    assert not cover[[0, -1]].any()


@pytest.mark.parametrize("form", ['thickness = "150 mm"', 'thickness = "20 mm"\nbelly = "65 mm"'])
def test_a_deep_part_stays_within_the_picture_when_it_turns(save_scheme: Save, form: str) -> None:
    """64 x 48 mm and 150 mm through: from the side it is the wider for it, and nothing is cut off."""
    scheme = load_scheme(save_scheme(bare_scheme(WHITE) + f"[form]\n{form}\n"))
    cover = posed(lifelike_of(scheme, EVEN_LIGHT, width_px=90), 90.0).cover()
    assert cover[:, 20:70].max() == 1.0
    assert not cover[:, [0, -1]].any()


def test_even_light_has_no_side(save_scheme: Save) -> None:
    scheme = load_scheme(save_scheme(bare_scheme(WHITE, coats=HONEY)))
    seen = [
        _middle(*_picture(scheme, lifelike_of(scheme, EVEN_LIGHT, width_px=90, pose=Pose(yaw, 0.0))))
        for yaw in (-20, 20)
    ]
    np.testing.assert_allclose(seen[0], seen[1], rtol=2e-3)


def test_a_part_turned_to_the_lamp_is_brighter(save_scheme: Save) -> None:
    """The lamp stands on the right; a right side that comes forward turns away from it."""
    room = Surroundings("right", 0.2, (SoftLamp(90.0, 45.0, 10.0, 0.8),))
    scheme = load_scheme(save_scheme(bare_scheme(WHITE, coats=HONEY) + FLAT_FORM))
    scenes = [lifelike_of(scheme, room, width_px=90, pose=Pose(yaw)) for yaw in (20, -20)]
    towards, away = (_middle(*_picture(scheme, scene)) for scene in scenes)
    assert (towards > 1.3 * away).all()


def test_front_back_and_side_are_one_solid(save_scheme: Save) -> None:
    scheme = load_scheme(save_scheme(HEAD + PANEL + BACK + SIDE + PANEL.replace('"front"', '"head"') + WHITE))
    body, head = faces_together(shapes_of(scheme))
    assert (body.front.face.name, head.front.face.name) == ("front", "head")
    assert body.back is not None
    assert body.side is not None
    assert head.back is None
    solid = lifelike_of(scheme, EVEN_LIGHT, width_px=120).solids[0].solid
    assert solid.body.depth_mm == pytest.approx(22.0)
    assert solid.all_round


def test_a_back_of_another_outline_is_a_solid_of_its_own(save_scheme: Save) -> None:
    other = BACK.replace('"48 mm"', '"57 mm"')
    scheme = load_scheme(save_scheme(HEAD + PANEL + other + WHITE))
    assert len(faces_together(shapes_of(scheme))) == 2


def test_a_part_turned_round_shows_its_back(save_scheme: Save) -> None:
    """The back is black, the front white."""
    black = '[base_of.back]\nkind = "solid"\ncolour = "#101010"\n'
    scheme = load_scheme(save_scheme(HEAD + PANEL + BACK + WHITE + black))
    scene = lifelike_of(scheme, EVEN_LIGHT, width_px=90, pose=LEVEL)
    front = _middle(*_picture(scheme, scene))
    back = _middle(*_picture(scheme, posed(scene, 180.0)))
    assert front.mean() > 0.7
    assert back.mean() < 0.1


@pytest.mark.slow
def test_another_size_shows_the_same_light(save_scheme: Save) -> None:
    scheme = load_scheme(save_scheme(bare_scheme(RELIEF, coats=HONEY) + FLAT_FORM))
    room = SURROUNDINGS["window"]
    seen = [_middle(*_picture(scheme, lifelike_of(scheme, room, width_px=width, pose=LEVEL))) for width in (70, 700)]
    assert delta_e_2000(*(_lab(light) for light in seen)) < 0.5


def test_the_same_in_any_strips(save_scheme: Save) -> None:
    scheme = load_scheme(save_scheme(bare_scheme(MAPLE, coats=HONEY)))
    scene = lifelike_of(scheme, SURROUNDINGS["window"], width_px=100)
    looks = looks_of(scheme, scene, "D65")
    whole = scene.render_strip([looks], 0, scene.height_px)[0][0]
    cut = [scene.render_strip([looks], y, min(y + 7, scene.height_px))[0][0] for y in range(0, scene.height_px, 7)]
    np.testing.assert_allclose(np.concatenate(cut), whole, atol=2e-5)


def test_a_shell_stands_upright_and_is_dark_inside(save_scheme: Save) -> None:
    face = '[[face]]\nname = "shell"\nshape = "drum shell"\ndiameter = "200 mm"\ndepth = "120 mm"\n'
    scheme = load_scheme(save_scheme(bare_scheme(MAPLE, face=face, coats=HONEY)))
    scene = lifelike_of(scheme, SURROUNDINGS["window"], width_px=140)
    picture, cover = _picture(scheme, scene)
    column = picture[:, scene.width_px // 2].mean(axis=1)[cover[:, scene.width_px // 2] > 0.99]
    assert column[: len(column) // 8].min() < 0.2 * column[len(column) // 2]


def test_a_large_part_throws_the_shadow_of_a_small_one(save_scheme: Save) -> None:
    """Forty times the size: the picture is the same but for what is in mm (edges, here 0)."""
    small = bare_scheme(WHITE) + '[form]\nedge_radius = "0 mm"\nbelly = "0 mm"\nthickness = "6 mm"\n'
    large = small.replace('"64 mm"', '"2560 mm"').replace('"48 mm"', '"1920 mm"').replace('"6 mm"', '"240 mm"')
    seen = []
    for text in (small, large):
        scheme = load_scheme(save_scheme(text))
        picture, cover = _picture(scheme, lifelike_of(scheme, EVEN_LIGHT, width_px=120, pose=LEVEL))
        seen.append(picture[cover == 0.0].reshape(-1, 3).mean())
    assert seen[0] == pytest.approx(seen[1], rel=0.01)


def test_its_shadow_lies_to_the_lower_right(save_scheme: Save) -> None:
    scheme = load_scheme(save_scheme(bare_scheme(WHITE)))
    scene = lifelike_of(scheme, SURROUNDINGS["window"], width_px=120, pose=LEVEL)
    picture, cover = _picture(scheme, scene)
    rows, cols = (np.flatnonzero(cover.max(axis=axis) > 0.5) for axis in (1, 0))
    middle = rows.mean().astype(int), cols.mean().astype(int)
    assert picture[middle[0], cols[-1] + 4].mean() < picture[middle[0], cols[0] - 4].mean()
    assert picture[rows[-1] + 4, middle[1]].mean() < picture[rows[0] - 4, middle[1]].mean()
