"""Rounds of learning the eye: exists for a set that is another tomorrow, a question nobody can answer, a target that is
shown beside itself, and a lesson that is not true."""

from __future__ import annotations

import re
from types import ModuleType

import numpy as np
import pytest

from layerpreview.answers import practise, practise_lessons
from layerpreview.answers.practise import (
    BASES,
    CHOICES,
    FACTORS,
    LEAST_STEP_DE00,
    ROUNDS,
    Round,
    bare_of,
    off_de00,
    round_of,
    rounds,
    scheme_of,
    seen_of,
    seen_over,
    wanted_de00,
)
from layerpreview.answers.practise_lessons import choice_words, mix_words, question_words, verdict
from layerpreview.colour import JUST_SEEN_DE00, delta_e_2000
from layerpreview.errors import InputError
from layerpreview.finish.layers import stack_of

SEEDS = ("2026-03-01", "2026-03-01 2")


@pytest.fixture(scope="module")
def sets() -> dict[str, tuple[Round, ...]]:
    return {seed: rounds(seed) for seed in SEEDS}


@pytest.fixture(scope="module")
def every(sets: dict[str, tuple[Round, ...]]) -> list[Round]:
    return [one for found in sets.values() for one in found]


def _labs(asked: Round) -> np.ndarray:
    return seen_of(asked, np.array(asked.loads)).lab


def _nearest(asked: Round) -> float:
    lab = _labs(asked)
    step = delta_e_2000(lab[1:], lab[:-1])
    return float(min(step[max(asked.right - 1, 0) : asked.right + 1]))


def test_the_same_seed_has_the_same_rounds(sets: dict[str, tuple[Round, ...]]) -> None:
    """Worked out anew, not remembered, and in any order."""
    assert sets[SEEDS[0]] != sets[SEEDS[1]]
    practise._round.cache_clear()
    practise._plan.cache_clear()
    for number in (20, 5, 4, 1):
        assert round_of(SEEDS[0], number) == sets[SEEDS[0]][number - 1]


@pytest.mark.parametrize("seed", SEEDS)
def test_twenty_and_never_two_alike(sets: dict[str, tuple[Round, ...]], seed: str) -> None:
    found = sets[seed]
    assert [one.number for one in found] == list(range(1, ROUNDS + 1))
    assert len({frozenset(name for name, _ in one.mix) for one in found}) == ROUNDS
    assert sorted(one.base for one in found) == sorted([*BASES] * (ROUNDS // len(BASES)))
    assert {one.asks for one in found} == {"coats", "strength"}
    assert [one.asks for one in found[:3]] == ["coats"] * 3


@pytest.mark.parametrize("seed", SEEDS)
def test_it_gets_harder(sets: dict[str, tuple[Round, ...]], seed: str) -> None:
    near = [_nearest(one) for one in sets[seed]]
    assert np.mean(near[:5]) > 1.5 * np.mean(near[-5:])
    assert min(near) >= LEAST_STEP_DE00
    for asks in ("coats", "strength"):
        wanted = [wanted_de00(number, asks) for number in range(1, ROUNDS + 1)]
        assert wanted == sorted(wanted, reverse=True)


def test_laws_of_a_round(every: list[Round]) -> None:
    """More dye is darker and never brighter, the right one is off by nothing, what is shown is not asked."""
    for asked in every:
        loads, lab = asked.loads, _labs(asked)
        assert len(loads) == CHOICES == len(set(loads))
        assert list(loads) == sorted(loads)
        assert np.all(np.diff(lab[:, 0]) < 0.0)
        off = delta_e_2000(lab, lab[asked.right])
        assert off_de00(asked, asked.right) == 0.0
        assert off_de00(asked, 0) == pytest.approx(off[0], abs=1e-6)
        assert loads[asked.right] not in (0.0, 1.0)
        # The further a guess is from the right one, the more it is off, on either side.
        assert np.all(np.diff(off[asked.right :]) > 0.0)
        assert np.all(np.diff(off[: asked.right + 1]) < 0.0)
        if asked.asks == "strength":  # steps that a person can tell apart
            assert min(delta_e_2000(lab[1:], lab[:-1])) >= JUST_SEEN_DE00


def test_two_coats_at_half_are_one(every: list[Round]) -> None:
    """What a lesson says: n coats of d are one of n d."""
    asked = next(one for one in every if one.asks == "strength" and one.coats == 2)
    once = Round(asked.number, "strength", asked.base, asked.mix, 1, asked.right)
    np.testing.assert_allclose(once.loads[2:], asked.loads[:-2])


@pytest.mark.parametrize("base", BASES)
def test_colours_against_another_package(every: list[Round], base: str, colour_science: ModuleType) -> None:
    """L*a*b* and CIEDE2000 against colour-science (its CIE 1931 2 degree observer, D65, and CIE 2000 difference), from
    the slow and literal reflectance of the stack."""
    asked = next(one for one in every if one.base == base)
    stack = stack_of(scheme_of(asked))
    loads = np.array(asked.loads)
    reflected = stack.reflectance(np.tile(bare_of(base), (CHOICES, 1)), loads[:, None])
    shape = colour_science.SpectralShape(380, 780, 5)
    observer = colour_science.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(shape).values
    light = colour_science.SDS_ILLUMINANTS["D65"].copy().align(shape).values
    weights = observer * light[:, None] / (observer[:, 1] @ light)  # CIE 15: tristimulus values as sums
    white_xy = colour_science.XYZ_to_xy(weights.sum(axis=0))
    theirs = colour_science.XYZ_to_Lab(reflected @ weights, white_xy)
    np.testing.assert_allclose(_labs(asked), theirs, atol=0.1)
    off = [off_de00(asked, k) for k in range(CHOICES)]
    np.testing.assert_allclose(
        off, colour_science.delta_E(_labs(asked), _labs(asked)[asked.right], "CIE 2000"), atol=1e-9
    )
    np.testing.assert_allclose(off, colour_science.delta_E(theirs, theirs[asked.right], "CIE 2000"), atol=0.1)


def test_the_words_of_a_guess() -> None:
    asked = Round(4, "coats", "white", (("cherry", 8.0),), 1, 3)
    assert verdict(asked, 3).words == "That is it."
    assert verdict(asked, 3).on_screen
    assert not verdict(Round(4, "coats", "white", (("blue", 8.0),), 1, 3), 8).on_screen  # no red at all would do
    assert verdict(asked, 2).words == "It has one coat more than you said. Most see the difference."
    assert verdict(asked, 5).words == "It has two coats fewer than you said. Most see the difference."
    strong = Round(4, "strength", "bright", (("brown", 6.0), ("orange", 2.0)), 2, 6)
    assert verdict(strong, 4).words == "Its mix is stronger: 2 times as strong as you said. Most see the difference."
    assert verdict(strong, 8).words.startswith("Its mix is weaker: 0.5 times as strong")
    assert (question_words(strong), mix_words(strong)) == (
        "It has 2 coats. How many times as strong is its mix?",
        "brown 6 mL/L and orange 2 mL/L",
    )
    assert [choice_words(strong, k) for k in (0, 1, 4, 8)] == ["× 1/4", "× 0.35", "× 1", "× 4"]
    assert FACTORS[4] == 1.0


def test_a_guess_needs_no_exact_hit() -> None:
    """Of a mix so weak that a coat is hardly seen."""
    asked = Round(4, "coats", "bright", (("yellow", 0.05),), 1, 4)
    told = verdict(asked, 5)
    assert 0.0 < told.de00 < JUST_SEEN_DE00
    assert told.words == "It has one coat fewer than you said. Hardly anyone sees the difference."


def test_lessons_hold_in_the_colours(every: list[Round]) -> None:
    """Every figure of a lesson is found again in colours worked out here."""
    for asked in every:
        told = list(practise_lessons._lessons(asked))
        assert verdict(asked, 0).lesson in told
        lab = seen_of(asked, np.arange(9.0)).lab
        step = delta_e_2000(lab[1:], lab[:-1])
        chroma = np.hypot(lab[:, 1], lab[:, 2])
        for lesson in told:
            assert lesson.endswith(".")
            assert len(lesson) < 170
            if lesson.startswith("Over "):
                figures = [float(found) for found in re.findall(r"by (\d+\.\d)", lesson)]
                assert figures[:2] == pytest.approx([step[0], step[2]], abs=0.051)
                assert ("the less a coat changes" in lesson) == (step[2] < 0.75 * step[0])
            elif "most colourful" in lesson:
                at = int(re.findall(r"after (\d)", lesson)[0])
                assert chroma[at] == chroma.max()
                assert chroma[-1] < chroma[at]
            elif "hue turns" in lesson:
                thin, deep = (complex(*lab[k, 1:]) for k in (1, 8))
                turned = abs(np.degrees(np.angle(deep / thin)))
                assert turned == pytest.approx(float(re.findall(r"by (\d+) degrees", lesson)[0]), abs=0.51)
            elif lesson.startswith("From coat "):
                first = int(lesson.split()[2])
                assert np.all(step[first - 1 :] <= 1.8)
            elif "and white by" in lesson:
                over = seen_over(asked, "white", np.array([0.0, 1.0])).lab
                assert float(re.findall(r"white by (\d+\.\d)", lesson)[0]) == pytest.approx(
                    delta_e_2000(*over), abs=0.051
                )


@pytest.mark.parametrize("number", [0, 21, -1])
def test_no_such_round(number: int) -> None:
    with pytest.raises(InputError, match="a number from 1 to 20"):
        round_of("2026-03-01", number)


@pytest.mark.parametrize("guess", [-1, 9])
def test_no_such_choice(guess: int) -> None:
    with pytest.raises(InputError, match="from 0 to 8"):
        verdict(Round(4, "coats", "white", (("cherry", 8.0),), 1, 3), guess)
