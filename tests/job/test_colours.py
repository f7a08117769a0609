"""Colours of single places: exists for a coat that is shown before it is sprayed, and for a dye's chip that is another
dye's."""

from __future__ import annotations

import numpy as np
import pytest

from layerpreview.colour import srgb_hex_to_rgb_lin
from layerpreview.finish.layers import stack_of
from layerpreview.job.colours import built_up, dye_swatch, spot_lab
from layerpreview.scheme import load_library_dye, scheme_from_text

from ..schemes import DYES, HEAD, HONEY, MIXES, PANEL, RIM, SEA_BURST, SILVER


def test_every_stage_is_the_finish_without_what_comes_later() -> None:
    scheme = scheme_from_text(HEAD + PANEL + SILVER + DYES + MIXES + HONEY + SEA_BURST + RIM, "job.toml")
    stack, bare = stack_of(scheme), np.linspace(0.5, 0.8, 81)
    build = np.array([0.9, 0.4, 0.2])
    stages = built_up(stack, bare, build, light="A", observer_deg=2)
    assert len(stages) == 4
    for done, (swatch, lab) in enumerate(stages):
        until = np.where(np.arange(3) < done, build, 0.0)
        assert lab == pytest.approx(spot_lab(stack, bare, until, light="A", observer_deg=2))
        assert len(swatch) == 7
    lightness = [lab[0] for _, lab in stages]
    assert lightness == sorted(lightness, reverse=True)  # more dye is never brighter, nor is a dark rim


def test_nothing_sprayed_is_the_bare_base() -> None:
    scheme = scheme_from_text(HEAD + PANEL + SILVER, "job.toml")
    bare = np.full(81, 0.6)
    ((swatch, lab),) = built_up(stack_of(scheme), bare, np.zeros(0), light="D65", observer_deg=2)
    assert lab == pytest.approx((81.84, 0.0, 0.0), abs=0.01)  # L* of Y = 0.6: 116 * 0.6^(1/3) - 16
    assert swatch == "#cbcbcb"  # sRGB of 0.6


@pytest.mark.parametrize(("name", "darkest"), [("amber", 2), ("blue", 0), ("red", 1)])
def test_a_dye_s_chip_lacks_what_the_dye_takes(name: str, darkest: int) -> None:
    rgb = srgb_hex_to_rgb_lin(dye_swatch(load_library_dye(name)))
    assert int(np.argmin(rgb)) == darkest
    assert rgb.max() > 2.0 * rgb.min()
