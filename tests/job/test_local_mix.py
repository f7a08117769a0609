"""What a repair takes: exists for amounts of the whole job told for a small place, for a drop too little to measure,
and for parts that no longer add up once a dye is thinned."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from layerpreview.job.local_mix import SMALL_GUN_RESIDUE_ML, local_work
from layerpreview.job.products import details_of
from layerpreview.picture.faces import shapes_of
from layerpreview.scheme import load_scheme
from layerpreview.told import Basis

from ..schemes import FULL

Save = Callable[..., Path]
CLEAR = '[clear]\nfinish = "gloss"\nname = "two-pack clear"\ncoats = 2\nfilm = "50 um"\nratio = "4:1 clear:hardener"\n'
BASE = 'flake_spread = 0.3\n[base.coat]\nname = "silver"\ncoats = 2\nfilm = "20 um"\n'
JOB = FULL.replace("flake_spread = 0.3\n", BASE) + CLEAR


@pytest.fixture
def save(save_scheme: Save) -> Path:
    return save_scheme(JOB)


def test_what_it_takes_is_known_by_hand(save: Path) -> None:
    scheme = load_scheme(save)
    (shape,) = shapes_of(scheme)
    work = local_work(scheme, details_of(scheme), shape, coats_m2=(0.0010, 0.0, 0.0), base_m2=0.0004, clear_m2=0.0012)
    assert [title for _, title in work.stages] == ["silver", "honey", "two-pack clear"]
    silver, honey, clear = work.mixes
    # 10 cm2 of 3 coats of 40 um are 0.12 mL; half of it lands, and 2 mL stay in a small gun.
    assert honey.needed_mL.likely == pytest.approx(0.0010 * 3 * 40.0 / 0.5 + 2.0)
    assert honey.needed_mL.low == pytest.approx(0.0010 * 3 * 35.0 / 0.6 + SMALL_GUN_RESIDUE_ML.low)
    assert honey.needed_mL.high == pytest.approx(0.0010 * 3 * 45.0 / 0.4 + SMALL_GUN_RESIDUE_ML.high)
    assert silver.needed_mL.likely == pytest.approx(0.0004 * 2 * 20.0 / 0.5 + 2.0)
    assert clear.needed_mL.likely == pytest.approx(0.0012 * 2 * 50.0 / 0.5 + 10.0)  # the scheme's own gun
    assert "residue assumed (small gun)" in honey.needed_mL.basis
    assert honey.needed_mL.weakest is Basis.ASSUMED


def test_the_whole_face_is_cleared(save: Path) -> None:
    scheme = load_scheme(save)
    (shape,) = shapes_of(scheme)
    asked = {"coats_m2": (0.001, 0.0, 0.0), "base_m2": 0.0}
    whole = local_work(scheme, details_of(scheme), shape, **asked, clear_m2=None)  # type: ignore[arg-type]
    assert [mix.title for mix in whole.mixes] == ["honey", "two-pack clear"]
    landed = shape.outline.area_m2 * 2 * 50.0
    assert whole.mixes[1].needed_mL.likely > landed / 0.5 + 10.0  # and what is aimed past its edges


def test_little_dyes_are_thinned_and_all_parts_add_up(save: Path) -> None:
    scheme = load_scheme(save)
    (shape,) = shapes_of(scheme)
    work = local_work(scheme, details_of(scheme), shape, coats_m2=(0.001, 0.0, 0.0), base_m2=0.0, clear_m2=0.001)
    honey = work.mixes[0]
    yellow, blue = honey.dyes
    assert honey.make_mL == 5.0
    # 12 and 2 mL/L of 5 mL: 0.06 and 0.01 mL, of which the syringe has steps of 0.01.
    assert (yellow.thinned, yellow.mL) == (10, 0.6)
    assert (blue.thinned, blue.mL) == (10, 0.1)
    assert yellow.drops is not None
    assert (yellow.drops.low, yellow.drops.high) == pytest.approx((0.6 * 40.0, 0.6 * 60.0))
    assert sum(dye.mL for dye in honey.dyes) + sum(mL for _, mL in honey.others_mL) == pytest.approx(5.0)
    assert not honey.warnings
