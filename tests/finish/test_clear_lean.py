"""What is left of the relief in the clear: exists for a clear that mirrors as if it were the base, or as glass."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from layerpreview.errors import SchemeError
from layerpreview.finish.texture import clear_lean, texture_sample
from layerpreview.finish.view import SURROUNDINGS
from layerpreview.picture.lifelike import Pose, lifelike_of, looks_of
from layerpreview.scheme import load_scheme
from tests.schemes import HONEY, RELIEF, WHITE, bare_scheme

Save = Callable[..., Path]
HIGH = RELIEF + 'relief_height = "60 um"\n'


def _lean(save: Save, base: str, more: str) -> float:
    scheme = load_scheme(save(bare_scheme(base, coats=HONEY) + more))
    return clear_lean(scheme, scheme.base)


def test_a_stated_height_is_the_height_of_the_clears_face(save_scheme: Save) -> None:
    """Times its slopes, the pattern of the relief has 7 um from peak to valley."""
    scheme = load_scheme(save_scheme(bare_scheme(RELIEF, coats=HONEY) + '[clear]\nleft_over = "7 um"\n'))
    height_mm = clear_lean(scheme, scheme.base) * texture_sample(scheme.base).height
    assert np.subtract(*np.percentile(height_mm, [99, 1])) == pytest.approx(0.007, rel=1e-3)


@pytest.mark.parametrize(
    ("base", "more", "um"),
    [
        (HIGH, '[clear]\nleft_over = "none"\n', 0.0),
        (HIGH, '[sanding]\ngrits = ["P800", "P2000"]\n', 0.0),
        (HIGH, '[clear]\ncoats = 2\nsolids = "50 %"\n', 0.5 * (60.0 + 60.0 * 0.5**2)),  # half level, half do not
        (RELIEF, "", 0.0),  # how high the relief is nobody knows
        (WHITE, '[clear]\nleft_over = "9 um"\n', 0.0),
    ],
)
def test_what_is_left_over_without_a_word(save_scheme: Save, base: str, more: str, um: float) -> None:
    one_um = _lean(save_scheme, HIGH, '[clear]\nleft_over = "1 um"\n')
    assert _lean(save_scheme, base, more) == pytest.approx(um * one_um, rel=1e-6)


def test_what_is_no_height(save_scheme: Save) -> None:
    with pytest.raises(SchemeError) as caught:
        _lean(save_scheme, HIGH, '[clear]\nleft_over = "a little"\n')
    assert caught.value.problems[0].field == "clear.left_over"


@pytest.mark.slow
def test_a_rough_clear_breaks_up_what_it_mirrors(save_scheme: Save) -> None:
    """Black under clear, turned so that it mirrors the window's edge: its unrest grows with what is left over."""
    black = '[[coat]]\nopaque = "#000000"\nhiding = 9\nfilm = "60 um"\n'
    unrest = []
    for left in ("none", "8 um", "40 um"):
        text = bare_scheme(HIGH, coats=HONEY + black) + f'[clear]\nleft_over = "{left}"\n'
        scheme = load_scheme(save_scheme(text))
        scene = lifelike_of(scheme, SURROUNDINGS["window"], width_px=200, pose=Pose(-15.0, -9.0))
        picture = scene.render_strip([looks_of(scheme, scene, "D65")], 0, scene.height_px)[0][0]
        middle = picture[scene.height_px // 3 : scene.height_px // 2, 70:130, 1]
        unrest.append(float(np.abs(np.diff(middle, n=2, axis=1)).mean()))
    assert 2.0 * unrest[0] < unrest[1] < unrest[2]
