"""One law of light: pictures against the solver and the figures; exists for a shading of the pictures' own."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from layerpreview import load_scheme, render
from layerpreview.colour import DISPLAY_WHITE_XYZ, RGB_LIN_TO_XYZ, delta_e_2000, xyz_to_lab
from layerpreview.film import SILVERS, MetalBase, body_reflectance
from layerpreview.finish.flop import flop_of
from layerpreview.finish.view import View
from layerpreview.job.figures import figures_of
from layerpreview.picture.render import Preview
from layerpreview.picture.scene import make_scene
from layerpreview.picture.spots import SpotKind
from layerpreview.workflows.render import render_files
from tests.schemes import HONEY, bare_scheme

Save = Callable[..., Path]
FLAT = '[base]\nkind = "metal"\ncolour = "#b9bcc0"\nflake_spread = 0.15\n'
LIFTED = '[base]\nkind = "metal"\nrelief = "lifted"\nsilver = "bright"\n'


def _mean_lab(shown: Preview) -> np.ndarray:
    rgb_lin = shown.rgb_lin[shown.cover == 1.0].astype(np.float64).mean(axis=0)
    return xyz_to_lab(rgb_lin @ RGB_LIN_TO_XYZ.T, white_xyz=DISPLAY_WHITE_XYZ)


def _level(shown: Preview) -> float:
    return float(shown.rgb_lin[shown.cover == 1.0].astype(np.float64).mean())


@pytest.mark.slow
@pytest.mark.parametrize("coats", ["", HONEY], ids=["bare", "honey"])
def test_the_even_picture_means_what_the_figures_say(save_scheme: Save, coats: str) -> None:
    """The aim is 0.3 CIEDE2000 for the mean over all facets."""
    scheme = load_scheme(save_scheme(bare_scheme(LIFTED, coats=coats)))
    told = figures_of(scheme, make_scene(scheme, width_px=200)).colours
    field = next(c for c in told if c.light == "D65" and c.kind is SpotKind.FIELD)
    assert delta_e_2000(np.array(field.lab), _mean_lab(render(scheme, width_px=400))) < 0.3


@pytest.mark.slow
@pytest.mark.parametrize("around", ["even", "window"])
def test_size_changes_resolution_and_not_the_finish(save_scheme: Save, around: str) -> None:
    """From pixels of many facets to facets of many pixels."""
    scheme = load_scheme(save_scheme(bare_scheme(LIFTED, coats=HONEY)))
    small, large = (_mean_lab(render(scheme, width_px=width, around=around)) for width in (60, 900))
    assert delta_e_2000(small, large) < 0.3


@pytest.mark.slow
def test_figures_are_of_even_light_whatever_is_shown(save_scheme: Save, tmp_path: Path) -> None:
    path = save_scheme(bare_scheme(LIFTED, coats=HONEY))
    plain = render_files(path, out=tmp_path / "even", width_px=80)
    for name, asked in {"sun": {"around": "sun"}, "side": {"views": [View(50.0, 45.0), View()]}}.items():
        other = render_files(path, out=tmp_path / name, width_px=80, **asked)
        assert other.figures.colours == plain.figures.colours
        assert other.figures.flop == plain.figures.flop


@pytest.mark.parametrize("view_deg", [-60.0, -45.0, 30.0])
def test_a_flat_metal_turns_as_the_solver_says(save_scheme: Save, view_deg: float) -> None:
    """A lamp at 45 deg: the flake brightens towards its mirror side, where the pictures once darkened."""
    scheme = load_scheme(save_scheme(bare_scheme(FLAT)))
    silver = MetalBase(flake_spread=0.15)
    level = body_reflectance(0.0, silver)
    lit = body_reflectance(0.0, silver, view_deg=view_deg, lamp_deg=45.0, lamp_half_angle_deg=5.0)
    straight, turned = (
        render(scheme, width_px=32, **asked) for asked in ({}, {"view_deg": view_deg, "lamp_deg": 45.0})
    )
    assert _level(turned) / _level(straight) == pytest.approx(float(lit / level), rel=2e-3)


@pytest.mark.slow
def test_the_fine_flake_by_a_lamp_is_brighter_from_the_mirror_side(save_scheme: Save) -> None:
    """Path traced for the same facets: 2.5 times the level view at -60 deg; the pictures' own shading gave 1.0."""
    base = '[base]\nkind = "metal"\nrelief = "fine flake"\nflake_spread = 0.3\n'
    scheme = load_scheme(save_scheme(bare_scheme(base)))
    level, mirror = (_level(render(scheme, width_px=200, view_deg=view, lamp_deg=45.0)) for view in (0.0, -60.0))
    assert mirror / level == pytest.approx(2.5, abs=0.25)


@pytest.mark.slow
@pytest.mark.parametrize("base", [FLAT, LIFTED], ids=["flat", "lifted"])
def test_no_dye_gives_the_base_back(save_scheme: Save, base: str) -> None:
    nothing = HONEY.replace("coats = 3", "coats = 1").replace('film = "35 to 45 um"', 'film = "1 um"')
    assert nothing != HONEY
    weak = load_scheme(save_scheme(bare_scheme(base, coats=nothing).replace("12 mL/L", "0.0001 mL/L")))
    bare = load_scheme(save_scheme(bare_scheme(base), "bare.toml"))
    for around in ("even", "sun"):
        shown, below = (render(s, width_px=80, around=around).rgb_lin for s in (weak, bare))
        np.testing.assert_allclose(shown, below, atol=2e-3, rtol=2e-3)


@pytest.mark.parametrize(
    ("silver", "measured", "within"),
    [("medium", (92.8, 64.6, 36.5, 24.1, 21.5), 2.2), ("coarse", (109.1, 72.9, 30.6, 13.8, 11.4), 2.8)],
)
def test_silvers_are_those_that_were_measured(silver: str, measured: tuple[float, ...], within: float) -> None:
    """L* of silver paints at 15, 25, 45, 75 and 110 deg from the mirror, lamp at 45, white 100: from the neural fits
    (Sztrajman et al. 2021) of the MERL measurements (Matusik et al. 2003), good to a few L*."""
    flop = flop_of(np.zeros(81), np.ones(81), SILVERS[silver], light="D65")
    lightness = np.array([flop.lab[angle][0] for angle in ("15", "25", "45", "75", "110")])
    assert np.sqrt(np.mean((lightness - np.array(measured)) ** 2)) < within
    assert 12.0 < flop_of(np.zeros(81), np.ones(81), SILVERS["medium"], light="D65").flop_index < 24.0
