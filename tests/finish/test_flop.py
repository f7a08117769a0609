"""Face to flop: exists for a wrong sign of the aspecular angle, a flop index off its formula, and dye that lightens."""

from __future__ import annotations

import numpy as np
import pytest

from layerpreview.film import MetalBase, body_reflectance
from layerpreview.finish.flop import flop_index, flop_of

from ..literal import lab_of_spectrum

NO_DYE = np.zeros(81)
NEUTRAL = np.ones(81)


@pytest.mark.parametrize(
    ("l_15", "l_45", "l_110", "index"),
    [
        # 2.69 (L15 - L110)^1.11 / L45^0.86, Alman 1987 (ISCC Williamsburg; from memory), worked by hand.
        (130.0, 60.0, 30.0, 13.1990),
        (120.0, 55.0, 35.0, 11.8767),
        (100.0, 50.0, 25.0, 11.2190),
        (140.0, 62.0, 28.0, 14.5522),
        (90.0, 60.0, 40.0, 6.1150),
        (60.0, 60.0, 60.0, 0.0),
    ],
)
def test_flop_index(l_15: float, l_45: float, l_110: float, index: float) -> None:
    assert flop_index(l_15=l_15, l_45=l_45, l_110=l_110) == pytest.approx(index, abs=1e-4)


def test_a_bare_metallic_base_has_the_flop_of_one() -> None:
    """Trade figure: metallic basecoats lie between about 8 and 17, solid colours at 0 (two trade pages, undated)."""
    flop = flop_of(NO_DYE, NEUTRAL, MetalBase(flake_spread=0.3), light="D65")
    lightness = [lab[0] for lab in flop.lab.values()]
    assert lightness == sorted(lightness, reverse=True)
    assert 8.0 < flop.flop_index < 17.0
    assert all(abs(lab[1]) < 0.05 and abs(lab[2]) < 0.05 for lab in flop.lab.values())


def test_dye_darkens_every_angle_and_the_far_one_by_its_longer_path() -> None:
    """Flat absorbance A: reflectance falls by at least 10^(-A * path), path 2.13 at 45 and 2.39 at 110 (Snell).

    By more where light came by several bounces, as at 110 degrees, where no flake mirrors the lamp at once.
    """
    grey = np.full(81, 0.3)
    base = MetalBase(flake_spread=0.2)
    bare, dyed = (flop_of(load, NEUTRAL, base, light="D65") for load in (NO_DYE, grey))

    def luminance(lightness: float) -> float:
        return ((lightness + 16.0) / 116.0) ** 3 if lightness > 8.0 else lightness / 903.3

    ratio = {angle: luminance(dyed.lab[angle][0]) / luminance(bare.lab[angle][0]) for angle in ("45", "110")}
    once_through = {"45": 10.0 ** (-0.3 * 2.133893), "110": 10.0 ** (-0.3 * 2.388868)}
    assert 0.5 * once_through["45"] < ratio["45"] <= 1.002 * once_through["45"]
    assert ratio["110"] <= 1.002 * once_through["110"]


@pytest.mark.parametrize(("light", "observer_deg"), [("D65", 2), ("A", 10)])
def test_every_angle_is_the_solvers_from_there(light: str, observer_deg: int) -> None:
    """15, 25, 45, 75 and 110 degrees from the mirror direction of a lamp at 45 (ASTM E2194 has 15, 45, 110; E2539 the
    others) are views of -30 to 65; the exact solver and the literal sum, over flakes of a warm cast."""
    dye, cast = np.linspace(0.5, 0.05, 81), np.linspace(0.8, 1.1, 81)
    base = MetalBase(flake_spread=0.25)
    flop = flop_of(dye, cast, base, light=light, observer_deg=observer_deg)
    assert flop.light == light
    assert list(flop.lab) == ["15", "25", "45", "75", "110"]
    for name, view_deg in zip(flop.lab, (-30.0, -20.0, 0.0, 30.0, 65.0), strict=True):
        seen = cast * body_reflectance(dye, base, view_deg=view_deg, lamp_deg=45.0)
        assert flop.lab[name] == pytest.approx(
            lab_of_spectrum(seen, light=light, observer_deg=observer_deg), abs=0.15
        ), name
    l_15, l_45, l_110 = (flop.lab[name][0] for name in ("15", "45", "110"))
    assert flop.flop_index == pytest.approx(2.69 * (l_15 - l_110) ** 1.11 / l_45**0.86)


def test_a_surface_that_is_darker_at_its_face_has_no_flop() -> None:
    assert flop_index(l_15=30.0, l_45=50.0, l_110=40.0) == 0.0
    assert np.isfinite(flop_index(l_15=1.0, l_45=0.0, l_110=0.0))
