"""Face to flop: exists for a wrong sign of the aspecular angle, a flop index off its formula, and dye that lightens."""

from __future__ import annotations

import numpy as np
import pytest

from layerpreview.film import MetalBase
from layerpreview.finish.flop import flop_index, flop_of

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
