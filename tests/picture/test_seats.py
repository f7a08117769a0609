"""Masked seats: against silver where bare wood is, a wood base painted over, dye or a mirror on what was taped off."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from layerpreview import load_scheme
from layerpreview.colour import DISPLAY_WHITE_XYZ, RGB_LIN_TO_XYZ, spectrum_to_lab, srgb_hex_to_rgb_lin, xyz_to_lab
from layerpreview.errors import SchemeError
from layerpreview.finish.layers import colour_spectrum
from layerpreview.finish.view import EVEN_LIGHT
from layerpreview.picture.lifelike import Pose, lifelike_of, looks_of
from layerpreview.picture.render import render
from layerpreview.picture.scene import appearances_of, make_scene
from layerpreview.picture.seats import Seat, seats_of
from layerpreview.scheme import Scheme, describe, warnings_of
from layerpreview.surface.kept import KEPT

from ..schemes import DYES, HEAD, HONEY, MAPLE, MIXES, PANEL, RELIEF, SILVER

Save = Callable[..., Path]
SEAT = (
    '[[face.zone]]\nname = "seat"\nshape = "panel"\nwidth = "12 mm"\nheight = "20 mm"\ncentre = ["40 mm", "20 mm"]\n'
    "masked = true\n"
)
INSIDE, BESIDE = np.s_[15:25, 37:43], np.s_[30:45, 5:30]  # pixels are 1 mm


def _scheme(save: Save, base: str, under: str = "", seat: str = SEAT, coats: str = HONEY) -> Scheme:
    return load_scheme(save(HEAD + PANEL + seat + under + base + DYES + MIXES + coats))


def _seen(scheme: Scheme, **options: object) -> np.ndarray:
    return render(scheme, width_px=64, **options).rgb_lin


def test_a_seat_is_found_by_its_middle(save_scheme: Save) -> None:
    """The middle that the scheme says, on any base; of a ring, whose middle is not on it, a place that is."""
    seat = Seat("seat", "front", 40.0, 20.0)
    assert seats_of(_scheme(save_scheme, SILVER)) == seats_of(_scheme(save_scheme, MAPLE)) == [seat]
    rim = '[[face.zone]]\nname = "rim"\nband = { from = "outline", width = "5 mm" }\nmasked = true\n'
    (found,) = seats_of(_scheme(save_scheme, SILVER, seat=rim))
    assert min(found.x_mm, found.y_mm, 64.0 - found.x_mm, 48.0 - found.y_mm) < 5.0
    assert seats_of(_scheme(save_scheme, SILVER, seat=SEAT.replace("masked = true\n", ""))) == []


@pytest.mark.parametrize("base", [SILVER, RELIEF, MAPLE], ids=["flat", "textured", "wood"])
def test_a_seat_shows_what_it_keeps(save_scheme: Save, base: str) -> None:
    """#6080a0 in sRGB is linear 0.117, 0.216, 0.352 (IEC 61966-2-1); all else is as it was."""
    with_seat, without = (_seen(_scheme(save_scheme, base, under)) for under in ('under = "#6080a0"\n', ""))
    np.testing.assert_allclose(with_seat[INSIDE], np.broadcast_to([0.117, 0.216, 0.352], (10, 6, 3)), atol=2e-3)
    np.testing.assert_array_equal(with_seat[BESIDE], without[BESIDE])


def test_what_is_not_said(save_scheme: Save) -> None:
    """Over metal a primer, and `check` asks; over wood the wood itself, as before."""
    metal, wood = _scheme(save_scheme, RELIEF), _scheme(save_scheme, MAPLE)
    np.testing.assert_allclose(_seen(metal)[20, 40], srgb_hex_to_rgb_lin(KEPT["primer"]), atol=2e-3)
    np.testing.assert_allclose(_seen(wood)[20, 40], srgb_hex_to_rgb_lin("#d9b98a"), atol=5e-3)
    told = [p for p in warnings_of(metal) if "what this seat keeps" in p.rule]
    assert [(p.field, p.value) for p in told] == [("face[1].zone[1]", "seat")]
    assert 'under = "maple"' in told[0].remedy
    assert not [p for p in warnings_of(wood) if "keeps" in p.rule]
    said = _scheme(save_scheme, RELIEF, 'under = "Maple"\n')
    assert not [p for p in warnings_of(said) if "keeps" in p.rule]
    assert "taped off on front, no paint, keeps maple: seat" in "\n".join(describe(said))


def test_it_is_seen_through_each_light(save_scheme: Save) -> None:
    """Its spectrum summed under light A, adapted as all colours are; the same on the bare base."""
    scheme = _scheme(save_scheme, RELIEF, 'under = "mahogany"\n')
    expected = spectrum_to_lab(colour_spectrum(KEPT["mahogany"])[None], light="A", observer_deg=2)[0]
    scene = make_scene(scheme, width_px=64)
    looks = [*appearances_of(scheme, scene, ["A"]), *appearances_of(scheme, scene, ["A"], bare=True)]
    for picture in scene.render_strip(looks, 0, scene.height_px)[0]:
        xyz = picture[20, 40].astype(np.float64) @ RGB_LIN_TO_XYZ.T
        np.testing.assert_allclose(xyz_to_lab(xyz, white_xyz=DISPLAY_WHITE_XYZ), expected, atol=0.02)


def test_a_soft_or_hard_edge_blends_by_its_share(save_scheme: Save) -> None:
    """The seat ends at 46 mm; a soft edge of 6 mm leaves half of it there and none at 50 mm."""
    soft = SEAT + 'edge = "6 mm"\n'
    black, white = (
        _seen(_scheme(save_scheme, SILVER, f'under = "{colour}"\n', soft)) for colour in ("#000000", "#ffffff")
    )
    share = (white - black)[20, :, 1]
    assert share[45:47].mean() == pytest.approx(0.5, abs=0.02)
    assert share[40] == pytest.approx(1.0, abs=1e-3)
    assert share[50] == pytest.approx(0.0, abs=1e-3)


def test_a_seat_of_a_solid_body_is_shaded_as_the_body_is(save_scheme: Save) -> None:
    """Level under an even sky it is the flat picture's, without the clear's mirror image, since no clear is on it."""
    scheme = _scheme(save_scheme, SILVER, 'under = "#808080"\n')
    solid = lifelike_of(scheme, EVEN_LIGHT, width_px=120, pose=Pose())
    picture = solid.render_strip([looks_of(scheme, solid, "D65")], 0, solid.height_px)[0][0]
    at = (int(v / solid.pixel_mm) for v in (solid.solids[0].y_mm - 4.0, solid.solids[0].x_mm + 8.0))
    flat = make_scene(scheme, width_px=64)
    seen = flat.render_strip(appearances_of(scheme, flat, ["D65"]), 0, flat.height_px)[0][0]
    np.testing.assert_allclose(picture[tuple(at)], seen[20, 40], rtol=5e-3)


@pytest.mark.parametrize(
    ("text", "rule"),
    [
        (SEAT.replace("masked = true\n", ""), "only a masked zone keeps what is under it"),
        (SEAT.replace("masked = true", "masked = false"), "only a masked zone keeps what is under it"),
    ],
)
def test_only_a_masked_zone_keeps_something(save_scheme: Save, text: str, rule: str) -> None:
    with pytest.raises(SchemeError, match=rule) as caught:
        _scheme(save_scheme, SILVER, 'under = "maple"\n', text)
    assert len(caught.value.problems) == 1


@pytest.mark.parametrize("word", ["mapel", "#12345", "teak"])
def test_a_word_that_is_not_known_is_told_in_one_line(save_scheme: Save, word: str) -> None:
    with pytest.raises(SchemeError) as caught:
        _scheme(save_scheme, SILVER, f'under = "{word}"\n')
    (problem,) = caught.value.problems
    assert len(str(problem).splitlines()) == 1
    assert problem.remedy
