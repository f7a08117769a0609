"""What a fit learns about its own doubt: exists for an interval and a tested load that end in the dye file, so that
figures look surer than the card was and nobody is told where it guesses."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from layerpreview.answers.doubts import LEARNT, parts_of
from layerpreview.answers.progress import dye_doubt
from layerpreview.answers.tolerance import drawn, spread_of
from layerpreview.errors import SchemeError
from layerpreview.finish.layers import absorptivity_on_grid, stack_of
from layerpreview.job.colours import spot_lab
from layerpreview.job.figures import figures_of
from layerpreview.picture.scene import make_scene
from layerpreview.picture.spots import main_spot, spots_of
from layerpreview.scheme import Scheme, load_scheme
from layerpreview.scheme.dyefile import dye_file_text, load_dye
from layerpreview.units import NINETY
from layerpreview.workflows.check import check_scheme
from layerpreview.workflows.render import render_files

from ..schemes import HEAD, PANEL, SILVER

Save = Callable[..., Path]
NM = np.arange(380.0, 781.0, 10.0)
BEST = 20.0 + 60.0 * np.exp(-(((NM - 450.0) / 50.0) ** 2))
TESTED_MG_M2 = 60.0
MIX = '[dye.amber]\nfile = "amber.dye.toml"\n[mix.honey]\ndyes = { amber = "12 mL/L" }\n'
# 12 mL/L of 40 g/L is 0.48 g/L; a coat of 40 um holds 19.2 mg/m2.
COAT = '[[coat]]\nmix = "honey"\ncoats = 3\nfilm = "40 um"\n'


def _scheme(save: Save, *, coats: int = 3, interval: bool = True) -> Scheme:
    text = dye_file_text(
        name="amber",
        kind="fitted",
        provenance="a card, invented",
        concentrate_g_per_L=40.0,
        wavelength_nm=NM.tolist(),
        best=BEST.tolist(),
        interval=((0.8 * BEST).tolist(), (1.3 * BEST).tolist()) if interval else None,
        tested_mg_m2=(0.4 * TESTED_MG_M2, TESTED_MG_M2) if interval else None,
    )
    save(text, "amber.dye.toml")
    return load_scheme(save(HEAD + PANEL + SILVER + MIX + COAT.replace("coats = 3", f"coats = {coats}")))


def test_the_dye_keeps_what_its_file_says(save_scheme: Save, tmp_path: Path) -> None:
    scheme = _scheme(save_scheme)
    for dye in (load_dye(tmp_path / "amber.dye.toml"), scheme.dyes["amber"]):
        assert dye.tested_to_mg_m2 == TESTED_MG_M2
        assert np.array(dye.low_L_per_g_cm) == pytest.approx(0.8 * BEST, rel=1e-3)
        assert np.array(dye.high_L_per_g_cm) == pytest.approx(1.3 * BEST, rel=1e-3)
    assert absorptivity_on_grid(scheme.dyes["amber"], "high") == pytest.approx(
        1.3 * absorptivity_on_grid(scheme.dyes["amber"]), rel=1e-3
    )


def test_figures_carry_its_range(save_scheme: Save) -> None:
    """The film is one figure: all the range of the absorbance is the dye's, 0.8 to 1.3 times the likely one."""
    figures = figures_of(scheme := _scheme(save_scheme), make_scene(scheme, width_px=64))
    peak = figures.coats[0].peak_absorbance10
    assert peak is not None
    assert (peak.low / peak.likely, peak.high / peak.likely) == pytest.approx((0.8, 1.3), rel=1e-3)
    assert "fitted, with its range" in peak.basis
    field = next(colour for colour in figures.colours if colour.kind == "field")
    assert field.thin_de00 > 0.5
    assert field.full_de00 > 0.5
    plain = figures_of(scheme := _scheme(save_scheme, interval=False), make_scene(scheme, width_px=64))
    bare_peak = plain.coats[0].peak_absorbance10
    assert bare_peak is not None
    assert bare_peak.low == bare_peak.likely == bare_peak.high


def test_tolerance_has_a_source_of_its_own(save_scheme: Save) -> None:
    scheme = _scheme(save_scheme)
    parts = parts_of(scheme)
    (learnt,) = [source for source in parts.sources if source.kind == "learnt"]
    assert learnt.name == "amber as learnt"
    assert learnt.factor.range == LEARNT
    assert "measured (fitted, 90 % range)" in learnt.basis
    # A normal of which nine in ten lie within the range.
    draws = drawn([learnt], runs=40_000, seed=5)[:, 0]
    assert float((np.abs(draws - 1.0) <= 1.0).mean()) == pytest.approx(0.90, abs=0.01)
    assert float(draws.std()) == pytest.approx(1.0 / NINETY, rel=0.02)
    # The ends of the factor are the ends of the file's range.
    field, whole = main_spot(spots_of(scheme, make_scene(scheme, width_px=64))), stack_of(scheme)
    at = parts.sources.index(learnt)
    for factor, end in ((0.0, "low"), (2.0, "high")):
        draw = np.ones(len(parts.sources))
        draw[at] = factor
        by_draw = spot_lab(parts.stack(whole, draw), field.bare, field.build, light="D65", observer_deg=2)
        by_end = spot_lab(stack_of(scheme, end=end), field.bare, field.build, light="D65", observer_deg=2)
        assert by_draw == pytest.approx(by_end, abs=1e-6)
    doubtful = spread_of(scheme, field, parts, within_de00=1.8, runs=800, seed=7)
    sure = _scheme(save_scheme, interval=False)
    surer = spread_of(sure, field, parts_of(sure), within_de00=1.8, runs=800, seed=7)
    assert doubtful.p90_de00 > 1.15 * surer.p90_de00
    assert "amber as learnt" in [share.source.name for share in doubtful.shares]


def test_where_the_card_held_no_such_load_the_range_is_wider(save_scheme: Save) -> None:
    """Tested from 24 to 60 mg/m2. 3 coats are 57.6: the file's own range. 9 are 172.8, 1.058 factors e more, 1 coat
    0.223 fewer: 3 % of each is added to the logarithm's standard deviation, as in a sum of squares."""
    for coats, beyond in ((3, 0.0), (9, np.log(172.8 / 60.0)), (1, np.log(24.0 / 19.2))):
        scheme = _scheme(save_scheme, coats=coats)
        best = stack_of(scheme).layers[0].absorbance10
        for end, share in (("low", 0.8), ("high", 1.3)):
            found = np.log(stack_of(scheme, end=end).layers[0].absorbance10 / best)
            away = np.hypot(np.log(share), NINETY * 0.03 * beyond)
            assert np.abs(found) == pytest.approx(np.full(81, away), rel=2e-3)
        learnt = next(s for s in parts_of(scheme).sources if s.kind == "learnt")
        assert learnt.factor.range == LEARNT


@pytest.mark.parametrize(("film_um", "told", "guess"), [(40, True, False), (30, True, True), (51, False, False)])
def test_paler_than_the_lightest_step(save_scheme: Save, film_um: int, told: bool, guess: bool) -> None:
    """One coat of 40 um is 19.2 mg/m2, tested from 24; below 16 it is a guess."""
    _scheme(save_scheme)
    coat = COAT.replace("coats = 3", "coats = 1").replace("40 um", f"{film_um} um")
    scheme = load_scheme(save_scheme(HEAD + PANEL + SILVER + MIX + coat))
    warned = [str(w) for w in check_scheme(scheme.file).warnings if "was tested from 24 mg/m2 on" in str(w)]
    assert bool(warned) == told
    if told:
        assert f"there are {film_um * 0.48:.3g}: paler than the card's lightest step" in warned[0]
        assert ("a guess" in warned[0]) == guess


def test_a_dye_file_whose_loads_are_the_wrong_way_round_is_told(save_scheme: Save, tmp_path: Path) -> None:
    _scheme(save_scheme)
    file = tmp_path / "amber.dye.toml"
    file.write_text(file.read_text("utf-8").replace("tested_from_mg_m2 = 24", "tested_from_mg_m2 = 61"), "utf-8")
    with pytest.raises(SchemeError, match=r"tested_from_mg_m2 = 61.*more than tested_to_mg_m2") as caught:
        load_dye(file)
    assert len(caught.value.problems) == 1


def test_a_dye_file_from_before_the_lightest_load_was_kept(save_scheme: Save, tmp_path: Path) -> None:
    _scheme(save_scheme)
    file = tmp_path / "amber.dye.toml"
    lines = [line for line in file.read_text("utf-8").splitlines() if "tested_from" not in line]
    file.write_text("\n".join(lines), "utf-8")
    scheme = load_scheme(save_scheme(HEAD + PANEL + SILVER + MIX + COAT.replace("coats = 3", "coats = 1")))
    assert scheme.dyes["amber"].tested_from_mg_m2 is None
    assert not [w for w in check_scheme(scheme.file).warnings if "tested" in str(w)]
    low = stack_of(scheme, end="low").layers[0].absorbance10 / stack_of(scheme).layers[0].absorbance10
    assert low == pytest.approx(np.full(81, 0.8), rel=1e-3)


@pytest.mark.slow
@pytest.mark.parametrize(("coats", "told"), [(3, False), (4, True), (6, True)])
def test_beyond_the_tested_load(save_scheme: Save, tmp_path: Path, coats: int, told: bool) -> None:
    """3 coats are 57.6 mg/m2, tested to 60; 4 are 76.8; 6 are 115.2, nearly twice as much."""
    scheme = _scheme(save_scheme, coats=coats)
    warned = [str(w) for w in check_scheme(scheme.file).warnings if "was tested up to 60 mg/m2" in str(w)]
    rendered = render_files(scheme.file, out=tmp_path / "out", width_px=64)
    assert [bool(warned), bool(rendered.cautions)] == [told, told]
    if told:
        load = f"there are {coats * 19.2:.0f}"
        assert load in warned[0]
        assert load in rendered.cautions[0]
        assert ("a guess" in warned[0]) == (coats == 6)


def test_progress_counts_with_it(save_scheme: Save) -> None:
    """From 0.8 to 1.3 times the best is a standard deviation of 0.5 / (2 x 1.645); without it 5 % are assumed."""
    assert dye_doubt(_scheme(save_scheme).dyes["amber"]) == pytest.approx(0.5 / (2 * 1.645), rel=1e-3)
    assert dye_doubt(_scheme(save_scheme, interval=False).dyes["amber"]) == 0.05
