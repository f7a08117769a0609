"""A chart must teach real cameras, not only those that are a power and a matrix: simulated sensors, see sensors.py.

Outside: spectra of the chart (ISO 17321-1) and sensitivities of two cameras (NPL), by way of colour-science; dyes that
neither chart nor prior knows. How near is near enough is our own choice: what is measured now, and a third more.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from layerpreview.colour import DISPLAY_WHITE_XYZ, RGB_LIN_TO_XYZ, delta_e_2000, xyz_to_lab
from layerpreview.errors import InputError
from layerpreview.learn.card.model import photo_eye
from layerpreview.learn.read.chart import chart_fit

from .sensors import PAPER, SENSORS, Shot, chart_spectra, dye_spectra, patches_of

F64 = NDArray[np.float64]


def de00(rgb: F64, wanted: F64) -> F64:
    labs = [xyz_to_lab(each @ RGB_LIN_TO_XYZ.T, white_xyz=DISPLAY_WHITE_XYZ) for each in (rgb, wanted)]
    return np.asarray(delta_e_2000(*labs))


@pytest.mark.slow
@pytest.mark.parametrize("light", ["D50", "LED-B3"])
@pytest.mark.parametrize("sensor", SENSORS)
def test_dyes_that_the_chart_does_not_hold_are_told_through_a_real_camera(sensor: str, light: str) -> None:
    """S-curve, cross-talk, vignette, 8-bit JPEG. The figure that is printed is about what dyes are off on average."""
    shot, rng = Shot(sensor, light), np.random.default_rng(7)
    found = chart_fit(patches_of(chart_spectra(), shot, rng), light=light)
    assert found.left_out_de00 < 2.0
    dyes = dye_spectra(rng)
    taken = patches_of(dyes, replace(shot, vignette=0.0), rng)
    sure = np.array([not (each.clipped.any() or each.buried.any()) for each in taken])
    straight = found.straight(np.stack([each.rgb_lin for each in taken]))
    seen = found.colours(0.86 * straight / straight[PAPER])
    away = de00(seen, dyes @ photo_eye(light).take.T)[sure]
    assert away.mean() < 2.5
    assert 0.4 < away.mean() / found.left_out_de00 < 2.0


def test_clipped_patches_do_not_spoil_the_others() -> None:
    """White blown out: it and others are not used, and those that are left fit as before."""
    rng = np.random.default_rng(3)
    bright, usual = (
        chart_fit(patches_of(chart_spectra(), Shot(SENSORS[0], "D50", exposure=exposure), rng), light="D50")
        for exposure in (1.25, 0.9)
    )
    assert bright.used < usual.used
    assert bright.left_out_de00 < 2.0


def test_another_light_than_was_named_shows_in_the_figure() -> None:
    """Photographed under fluorescent tubes, named as daylight: the patches tell each other worse."""
    patches = patches_of(chart_spectra(), Shot(SENSORS[0], "FL11"), np.random.default_rng(3))
    assert chart_fit(patches, light="D65").left_out_de00 > chart_fit(patches, light="FL11").left_out_de00


def test_glare_over_half_of_the_chart_is_refused() -> None:
    patches = patches_of(chart_spectra(), Shot(SENSORS[0], "D50", contrast=0.2), np.random.default_rng(3))
    glared = [
        replace(each, rgb_lin=each.rgb_lin + 0.25) if i % 6 < 3 and i < 18 else each for i, each in enumerate(patches)
    ]
    with pytest.raises(InputError, match="CIEDE2000 off the chart's colours") as caught:
        chart_fit(glared, light="D50")
    assert str(caught.value).count("\n") == 0
