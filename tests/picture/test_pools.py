"""Dye in the hollows of a relief: against loads that it changes, figures that it moves, pools that move with the
picture's size, and later coats that pool as if nothing had filled the relief."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from layerpreview import load_scheme
from layerpreview.colour import DISPLAY_WHITE_XYZ, RGB_LIN_TO_XYZ, delta_e_2000, xyz_to_lab
from layerpreview.errors import SchemeError
from layerpreview.finish.texture import height_um_of, step_mm, texture_of, texture_sample
from layerpreview.picture.faces import shape_of
from layerpreview.picture.maps import BuildMaps, pixel_grid
from layerpreview.picture.pools import pools_of, wet_coats_of
from layerpreview.picture.render import render
from layerpreview.picture.survey import Survey
from layerpreview.scheme import Scheme
from layerpreview.scheme.describe import describe
from layerpreview.told import Basis

from ..schemes import DYES, HEAD, HOLE, HONEY, MIXES, PANEL, RELIEF, RIM, SEA_BURST, WHITE

Save = Callable[..., Path]
DISC = '[[face]]\nname = "front"\nshape = "disc"\ndiameter = "90 mm"\n'
HIGH = RELIEF + 'relief_height = "50 um"\n'
FULL = HIGH + 'levelling = "100 %"\n'


def _scheme(save: Save, base: str, coats: str = HONEY, face: str = DISC) -> Scheme:
    return load_scheme(save(HEAD + face + base + DYES + MIXES + coats))


def _maps(scheme: Scheme, pixel_mm: float) -> BuildMaps:
    shape = shape_of(scheme.faces[0])
    return BuildMaps(scheme, shape, pixel_grid(shape.outline, pixel_mm))


@pytest.mark.parametrize(("base", "least"), [(HIGH, 0.4), (FULL, 0.15)], ids=["some", "full"])
def test_the_load_stays_at_every_size(save_scheme: Save, base: str, least: float) -> None:
    """At 30 % the build follows the height; full levelling would lay bare the peaks of the first coat."""
    scheme = _scheme(save_scheme, base)
    for pixel_mm in (0.13, step_mm(90, 90), 0.7):
        maps = _maps(scheme, pixel_mm)
        builds, cover = maps.rows(0, maps.grid.n_rows)
        assert np.average(builds[0], weights=cover) == pytest.approx(1.0, abs=1e-3)
        assert builds[0][cover > 0].min() > least
    maps = _maps(scheme, step_mm(90, 90))
    builds, cover = maps.rows(0, maps.grid.n_rows)
    assert np.average(builds[0].astype(np.float64), weights=cover) == pytest.approx(1.0, abs=3e-6)


def test_hollows_hold_more_by_as_much_as_is_said(save_scheme: Save) -> None:
    """50 um from 1 to 99 % of the area, a share of 0.3 into 40 um; three coats of 20 % solids meet 1, 0.94 and 0.94^2
    of it: 0.3 / 40 * 0.941 = 0.00706 for each um."""
    scheme = _scheme(save_scheme, HIGH)
    maps = _maps(scheme, step_mm(90, 90))
    built = maps.rows(0, maps.grid.n_rows)[0][0]
    height = height_um_of(scheme.base, 90, 90)
    assert height is not None
    slope, _ = np.polyfit(height.ravel().astype(np.float64), built, 1)
    assert slope == pytest.approx(-0.3 / 40.0 * (1 + 0.94 + 0.94**2) / 3, rel=1e-3)
    low, high = np.percentile(texture_sample(scheme.base).height, [1, 99])
    scale = height / texture_of(scheme.base, 90, 90).height
    assert float(np.median(scale)) * (high - low) == pytest.approx(50.0, rel=1e-4)


def test_any_strip_and_any_size_show_the_same_pools(save_scheme: Save) -> None:
    scheme = _scheme(save_scheme, FULL)
    maps = _maps(scheme, 0.5)
    whole = maps.rows(0, maps.grid.n_rows)[0]
    parts = [maps.rows(a, b)[0] for a, b in ((0, 1), (1, 77), (77, maps.grid.n_rows))]
    np.testing.assert_array_equal(np.concatenate(parts, axis=1), whole)
    fine = _maps(scheme, 0.25)
    small = fine.rows(0, fine.grid.n_rows)[0].reshape(180, 2, 180, 2).mean(axis=(1, 3))
    inner = np.s_[40:140, 40:140]
    away = np.abs(small - whole.reshape(180, 180))[inner]
    assert float(away.mean()) < 0.02


def test_figures_are_of_the_mean_build(save_scheme: Save) -> None:
    scheme = _scheme(save_scheme, FULL, HONEY + SEA_BURST, PANEL + HOLE)
    level = _scheme(save_scheme, RELIEF, HONEY + SEA_BURST, PANEL + HOLE)
    found, expected = (Survey(each, shape_of(each.faces[0])) for each in (scheme, level))
    np.testing.assert_array_equal(found.builds, expected.builds)
    assert found.sprayed_m2 == expected.sprayed_m2


@pytest.mark.parametrize(
    "base", [RELIEF, RELIEF + 'levelling = "40 %"\n', HIGH + 'levelling = "0 %"\n'], ids=["unknown", "stated", "none"]
)
def test_nothing_pools_where_no_height_is_known_or_nothing_levels(save_scheme: Save, base: str) -> None:
    maps = _maps(_scheme(save_scheme, base), 0.7)
    builds, _ = maps.rows(0, maps.grid.n_rows)
    np.testing.assert_array_equal(builds, 1.0)


def test_later_entries_meet_what_is_left(save_scheme: Save) -> None:
    """Three coats of honey (20 % solids) at full levelling leave 0.8^3; the burst puts 0.1 of its build in the
    middle; the rim (20 % assumed) none."""
    scheme = _scheme(save_scheme, FULL, HONEY + SEA_BURST + RIM + HONEY, PANEL + HOLE)
    honey, sea, rim, again = wet_coats_of(scheme, shape_of(scheme.faces[0]))
    assert honey is not None
    assert sea is not None
    assert rim is not None
    assert again is not None
    assert (honey.left, sea.left) == (1.0, pytest.approx(0.8**3))
    assert rim.left == again.left == pytest.approx(0.8**3 * (1 - 0.1 * 0.2) ** 2)
    assert (rim.wet_um, rim.coats, rim.solids) == (20.0, 2, 0.2)
    pools = pools_of(scheme, shape_of(scheme.faces[0]), pixel_grid(shape_of(scheme.faces[0]).outline, 1.0))
    assert pools is not None
    assert all(pool is not None for pool in pools.of_coat)  # opaque ones too


def test_a_coat_of_one_zone_leaves_the_rest_as_it_is(save_scheme: Save) -> None:
    zone = '[[face.zone]]\nname = "left"\nside = { at = ["30 mm", "0 mm"], angle = 180 }\n'
    coats = HONEY + 'zone = "left"\n' + HONEY + HONEY + 'zone = "left"\n'
    scheme = _scheme(save_scheme, FULL, coats, PANEL + zone)
    left = [wet.left for wet in wet_coats_of(scheme, shape_of(scheme.faces[0])) if wet is not None]
    assert left == pytest.approx([1.0, 1.0, 0.8**6])


def test_a_height_map_has_its_own_depth(save_scheme: Save, tmp_path: Path) -> None:
    """0.09 mm from black to white: a ramp over 90 mm; a stated relief_height overrules it."""
    ramp = np.broadcast_to(np.linspace(0, 65535, 360), (360, 360)).astype(np.uint16)
    Image.fromarray(ramp).save(tmp_path / "own.png")
    own = '[base]\nkind = "metal"\nheight_picture = "own.png"\n'
    own += 'height_options = { width = "90 mm", depth = "0.09 mm" }\n'
    told = height_um_of(_scheme(save_scheme, own).base, 90, 90)
    assert told is not None
    assert float(np.ptp(told)) == pytest.approx(90.0, rel=0.01)
    stated = height_um_of(_scheme(save_scheme, own + 'relief_height = "20 to 30 um"\n').base, 90, 90)
    assert stated is not None
    low, high = np.percentile(stated, [1, 99])
    assert 10.0 < high - low < 30.0


def test_levelling_is_told_and_belongs_to_metal(save_scheme: Save) -> None:
    scheme = _scheme(save_scheme, HIGH + 'levelling = "20 to 45 %"\n')
    told = scheme.base.levelling
    assert (told.low, told.likely, told.high, told.basis) == (0.2, pytest.approx(0.325), 0.45, "stated")
    assert "texture 50 um high (stated), wet coats level 20 to 45 % of it (stated)" in "\n".join(describe(scheme))
    unsaid = _scheme(save_scheme, HIGH).base.levelling
    assert (unsaid.low, unsaid.likely, unsaid.high) == (0.0, 0.3, 1.0)
    assert unsaid.weakest is Basis.ASSUMED
    with pytest.raises(SchemeError, match="only a metal base has this"):
        _scheme(save_scheme, WHITE + 'levelling = "40 %"\n')


@pytest.mark.slow
def test_the_mean_colour_hardly_moves(save_scheme: Save) -> None:
    """Honey over 50 um at 30 %: the figures, of the mean build, stand for the pooled face."""
    pooled, level = (render(_scheme(save_scheme, base), width_px=360) for base in (HIGH, RELIEF))
    inside = pooled.cover > 0.999
    means = [p.rgb_lin[inside].mean(axis=0) for p in (pooled, level)]
    one, other = (xyz_to_lab(mean @ RGB_LIN_TO_XYZ.T, white_xyz=DISPLAY_WHITE_XYZ) for mean in means)
    assert float(delta_e_2000(one, other)) < 0.3
    spread = np.abs(pooled.rgb_lin - level.rgb_lin)[inside].max()
    assert spread > 0.02
