"""Sparkle as it is written: exists for a word that does nothing, and light that a sparkle adds to a picture."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from layerpreview.errors import SchemeError
from layerpreview.finish.texture import glints_of
from layerpreview.scheme import load_scheme, warnings_of
from tests.schemes import RELIEF, SILVER, bare_scheme

Save = Callable[..., Path]
SIZE = 90.0, 70.0


def _light(save: Save, said: str, *, even: float = 0.3, phase: float = 0.0) -> np.ndarray | None:
    return glints_of(load_scheme(save(bare_scheme(RELIEF + said))).base, *SIZE, even=even, phase=phase)


def test_even_light_and_none_do_not_sparkle(save_scheme: Save) -> None:
    assert _light(save_scheme, 'sparkle = "coarse"\nadditive = "flake, 0.3 mm, 5 %"\n', even=1.0) is None
    assert _light(save_scheme, 'sparkle = "none"\n') is None


@pytest.mark.parametrize(
    "said",
    ["", *(f'sparkle = "{word}"\n' for word in ("fine", "medium", "coarse")), 'additive = "flake, 0.2 mm, 3 %"\n'],
)
def test_the_mean_does_not_move(save_scheme: Save, said: str) -> None:
    light = _light(save_scheme, said, phase=0.7)
    assert light is not None
    assert light.mean(dtype=np.float64) == pytest.approx(1.0, abs=1e-4)


def test_coarser_flakes_flash_more_and_in_larger_places(save_scheme: Save) -> None:
    """Over pixels of 2 mm, too, since fewer flakes share one."""
    fine, medium, coarse = (_light(save_scheme, f'sparkle = "{word}"\n') for word in ("fine", "medium", "coarse"))
    assert fine is not None
    assert medium is not None
    assert coarse is not None
    assert fine.std() < medium.std() < coarse.std()
    wide = [v[:280, :360].reshape(35, 8, 45, 8).mean(axis=(1, 3)).std() for v in (fine, medium, coarse)]
    assert wide == sorted(wide)
    assert wide[0] < 0.3 * fine.std()


def test_a_glitter_is_strewn_on_the_flakes(save_scheme: Save) -> None:
    plain = _light(save_scheme, 'sparkle = "fine"\n')
    strewn = _light(save_scheme, 'sparkle = "fine"\nadditive = "flake, 0.5 mm, 2 %"\n')
    assert plain is not None
    assert strewn is not None
    changed = np.abs(strewn / plain - 1.0) > 0.05
    assert float(changed.mean()) == pytest.approx(0.02, rel=0.25)
    assert strewn.max() > 2.0 * plain.max()


@pytest.mark.parametrize(
    "said", ["flake", "0.2 mm, 3 %", "flake, 3 %, 0.2 mm", "pearl, 0.2 mm, 3 %", "flake, 9 mm, 3 %"]
)
def test_what_is_no_additive(save_scheme: Save, said: str) -> None:
    with pytest.raises(SchemeError) as caught:
        load_scheme(save_scheme(bare_scheme(RELIEF + f'additive = "{said}"\n')))
    (problem,) = caught.value.problems
    assert problem.field == "base.additive"


def test_a_flat_colour_does_not_sparkle_and_check_says_so(save_scheme: Save) -> None:
    scheme = load_scheme(save_scheme(bare_scheme(SILVER + 'sparkle = "coarse"\n')))
    assert any("over a relief alone" in problem.rule for problem in warnings_of(scheme))
