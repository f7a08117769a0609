"""The mistakes these tests exist for: doubt counted twice or not at all, a card that is told to help and does not, what
both jobs have in common taken for a difference between them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from layerpreview.answers.remake import remade
from layerpreview.answers.remake_booth import Booth, Recipe
from layerpreview.answers.remake_sure import (
    PART_BASE,
    WHITE_CARD,
    Doubts,
    base_doubt_de00,
    first_card,
    how_sure,
    plain_roots,
)
from layerpreview.colour import delta_e_2000

from .remake_jobs import Job, random_job

NOTHING = plain_roots(0.0)


@pytest.fixture(scope="module")
def job() -> Job:
    return random_job(np.random.default_rng(5))


@pytest.fixture(scope="module")
def booth(job: Job) -> Booth:
    return replace(job, new_spread=job.old.base.flake_spread).booth(np.array([[1.1], [0.95]]) * job.old_dyes)


@pytest.fixture(scope="module")
def found(booth: Booth) -> Recipe:
    return remade(booth)


def doubts(amber: float = 0.0, plum: float = 0.0, **more: object) -> Doubts:
    return Doubts({"amber": plain_roots(amber), "plum": plain_roots(plum)}, **more)  # type: ignore[arg-type]


def test_a_doubt_of_strength_is_that_of_as_much_more_dye(booth: Booth, found: Recipe) -> None:
    """One factor on all of amber, 20 % (one sigma): the same as drawing amber's strength from it, run by run."""
    sure = how_sure(booth, found, doubts(amber=0.2, same_films=True, same_base=True), runs=1500)
    rng = np.random.default_rng(3)
    amber = np.array([part.dye == "amber" for part in booth.parts])
    far = []
    for _ in range(400):
        measured = rng.triangular(0.95, 1.0, 1.05, 4)  # every dye of every mix is measured out to 5 %
        film = rng.triangular(0.85, 1.0, 1.15, 2)  # a film wanders by 15 %
        factor = np.where(amber, np.exp(0.2 * rng.standard_normal()), 1.0) * measured * film[[0, 0, 1, 1]]
        far.append(delta_e_2000(booth.lab(found.strengths * factor, found.coats), booth.target_lab)[1, 0])
    low, likely, high = np.percentile(far, [5.0, 50.0, 95.0])
    told = sure.places[1][0]
    assert told.low == pytest.approx(low, rel=0.35)
    assert told.likely == pytest.approx(likely, rel=0.2)
    assert told.high == pytest.approx(high, rel=0.2)


def test_less_is_surer(booth: Booth, found: Recipe) -> None:
    """What both jobs share parts them less; a doubted dye of then parts them as one of today; none is least."""
    common = {"same_films": True, "same_base": True}
    none = how_sure(booth, found, doubts(**common)).joint_de00
    today = how_sure(booth, found, doubts(amber=0.1, **common)).joint_de00
    then = how_sure(booth, found, doubts(then={"amber": plain_roots(0.1)}, **common)).joint_de00
    other_base = how_sure(booth, found, doubts(same_films=True)).joint_de00
    assert none.likely < today.likely
    assert then.likely == pytest.approx(today.likely, rel=0.1)
    assert other_base.high > none.high
    both = how_sure(booth, found, doubts(amber=0.1, then={"amber": plain_roots(0.1)}, **common)).joint_de00
    assert both.likely > today.likely


def test_the_same_question_has_the_same_answer(booth: Booth, found: Recipe) -> None:
    asked = doubts(amber=0.1, plum=0.2)
    assert how_sure(booth, found, asked).joint_de00 == how_sure(booth, found, asked).joint_de00
    assert first_card(booth, found, asked) == first_card(booth, found, asked)


def test_the_card_is_of_the_mix_that_holds_what_is_doubted(booth: Booth, found: Recipe) -> None:
    """Amber makes the first mix, which has most coats: it is on the card where it is doubted, and loses its doubt."""
    for name, mixes in (("amber", {"first"}), ("plum", {"first", "second"})):
        asked = doubts(**{name: 0.3}, same_films=True, same_base=True)  # type: ignore[arg-type]
        card = first_card(booth, found, asked)
        assert card is not None
        assert card.mix in mixes
        assert card.over in (PART_BASE, WHITE_CARD)
        assert card.after_de00 < 0.6 * card.before_de00
        assert len(card.others) == 3
        assert all(left >= card.after_de00 / 1.05 - 1e-9 for *_, left in card.others)
        assert card.coats >= 2


def test_no_card_tells_of_the_dye_that_was(booth: Booth, found: Recipe) -> None:
    """A card of today says nothing of a bottle that is gone: its doubt stays."""
    common = {"same_films": True, "same_base": True}
    then = first_card(booth, found, doubts(then={"amber": plain_roots(0.3)}, **common))
    today = first_card(booth, found, doubts(amber=0.3, **common))
    assert then is not None
    assert today is not None
    assert then.before_de00 == pytest.approx(today.before_de00, rel=1e-6)
    assert then.after_de00 > 0.9 * then.before_de00


def test_a_card_tells_what_linear_theory_says(booth: Booth, found: Recipe) -> None:
    """With next to nothing unknown but one factor of variance s^2 read with noise, s^2 r / (s^2 + r) is left: more is
    left of a small doubt, in proportion, than of a large one."""
    common = {"same_films": True, "same_base": True}
    shares = []
    for size in (0.05, 0.2, 0.8):
        card = first_card(booth, found, doubts(amber=size, **common))
        assert card is not None
        shares.append(card.after_de00 / card.before_de00)
    assert shares[0] > shares[1] > shares[2]


def test_a_base_told_alike_may_be_off(job: Job) -> None:
    """Flake spread in figures may be 10 % off: the furthest end of it, and nothing over a white."""
    booth = job.booth()
    found = booth.recipe(booth.as_written, booth.coats)
    doubt = base_doubt_de00(booth, found)
    assert doubt > 0.05
    metal = booth.scheme.base
    wider = metal.model_copy(update={"flake_spread": 1.1 * (metal.flake_spread or 0.0)})
    places = tuple(replace(w, spot=replace(w.spot, base=wider)) for w in booth.wanted)
    moved = Booth(booth.scheme.model_copy(update={"base": wider}), places)
    far = delta_e_2000(moved.lab(found.strengths, found.coats), found.lab)
    assert doubt == pytest.approx(float(np.sqrt(np.square(far).mean())), rel=0.3)
