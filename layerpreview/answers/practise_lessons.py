"""What one round of learning the eye tells: how far the guess was off, which way, and something true of this mix over
this base, worked out from its own colours.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from layerpreview.answers.practise import BASES, CHOICES, FACTORS, Round, off_de00, seen_of, seen_over
from layerpreview.colour import JUST_SEEN_DE00, NOT_ACCEPTED_DE00, delta_e_2000

LESS, MORE = 0.75, 1.33
"""A step is told as smaller or larger than another from here on."""
_TURNED_DEG, _CHROMA = 12.0, 12.0
_NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight")


@dataclass(frozen=True)
class Verdict:
    """A guess that was made: how far it is off, in figures and words, a lesson, and
    whether a screen can show both colours."""

    guess: int
    right: int
    de00: float
    words: str
    lesson: str
    on_screen: bool


def verdict(asked: Round, guess: int) -> Verdict:
    """Return what a guess [0..8] of a round comes to. Raises InputError for a guess that is no choice."""
    off = off_de00(asked, guess)
    told = list(_lessons(asked))
    both = seen_of(asked, np.array([asked.loads[guess], asked.loads[asked.right]])).on_screen
    return Verdict(guess, asked.right, off, _words(asked, guess, off), told[asked.number % len(told)], bool(both.all()))


def choice_words(asked: Round, index: int) -> str:
    """One choice as a person says it: "3 coats", or as a multiple of the strength told."""
    if asked.asks == "coats":
        return coats_words(index)
    factor = FACTORS[index]
    named = {0.25: "× 1/4", 0.5: "× 1/2"}
    return named.get(factor) or f"× {factor:.2g}"


def mix_words(asked: Round) -> str:
    """The mix at the strength told: "cherry 12 mL/L", "green 3 mL/L and brown 1 mL/L"."""
    return " and ".join(f"{name} {amount:g} mL/L" for name, amount in asked.mix)


def question_words(asked: Round) -> str:
    """What a round asks."""
    if asked.asks == "coats":
        return "How many coats of it?"
    return f"It has {coats_words(asked.coats)}. How many times as strong is its mix?"


def coats_words(count: int) -> str:
    """A number of coats.

    >>> coats_words(0), coats_words(1), coats_words(3)
    ('no coat', '1 coat', '3 coats')
    """
    return "no coat" if count == 0 else f"{count} coat{'s' if count > 1 else ''}"


def _words(asked: Round, guess: int, off: float) -> str:
    if guess == asked.right:
        return "That is it."
    way = guess < asked.right
    if asked.asks == "coats":
        count = abs(guess - asked.right)
        which = f"It has {_NUMBERS[count]} coat{'s' if count > 1 else ''} {'more' if way else 'fewer'} than you said."
    else:
        factor = FACTORS[asked.right] / FACTORS[guess]
        which = f"Its mix is {'stronger' if way else 'weaker'}: {factor:.2g} times as strong as you said."
    return f"{which} {_who_sees(off)} the difference."


def _who_sees(de00: float) -> str:
    if de00 <= JUST_SEEN_DE00:
        return "Hardly anyone sees"
    return "Some see" if de00 <= NOT_ACCEPTED_DE00 else "Most see"


def _lessons(asked: Round) -> Iterator[str]:
    """What is true of this mix over this base, one thing after another; at least one."""
    for lesson in (_steps_shrink, _strongest, _measured, _turns, _miscount, _over_white, _half_and_twice, _same_dye):
        if said := lesson(asked):
            yield said


def _steps_shrink(asked: Round) -> str | None:
    """Which coat changes how much."""
    lab = seen_of(asked, np.arange(float(CHOICES))).lab
    step = delta_e_2000(lab[1:], lab[:-1])
    first, third, last = (float(step[k]) for k in (0, 2, -1))
    over = f"Over {BASES[asked.base][0]} the first coat of this mix moves the colour by {first:.1f}"
    if third < LESS * first:
        ends = f", the eighth by {last:.1f}" if last < LESS * third else ""
        return f"{over}, the third by {third:.1f}{ends}: the more dye lies there, the less a coat changes."
    if third > MORE * first:
        return f"{over}, the third by {third:.1f}: a weak mix seems to do little at first."
    return f"{over}, the third by {third:.1f}, the eighth by {last:.1f}: with so weak a mix coats go on counting."


def _strongest(asked: Round) -> str | None:
    """From which coat on the colour only gets darker."""
    if asked.asks == "strength":
        return None
    lab = seen_of(asked, np.arange(float(CHOICES))).lab
    chroma = np.hypot(lab[:, 1], lab[:, 2])
    most = int(np.argmax(chroma))
    if not 0 < most < CHOICES - 1 or chroma[most] < _CHROMA or chroma[-1] > 0.9 * chroma[most]:
        return None
    return f"This mix is most colourful after {coats_words(most)}; from there on every coat makes it darker and duller."


def _turns(asked: Round) -> str | None:
    """Whether a deep coat has another hue than a thin one."""
    lab = seen_of(asked, np.array([1.0, 8.0])).lab
    if np.hypot(lab[:, 1], lab[:, 2]).min() < _CHROMA:
        return None
    hue_deg = np.degrees(np.arctan2(lab[:, 2], lab[:, 1]))
    turn_deg = (hue_deg[1] - hue_deg[0] + 180.0) % 360.0 - 180.0
    if abs(turn_deg) < _TURNED_DEG:
        return None
    where = _hue_word(float(hue_deg[1])), _hue_word(float(hue_deg[0]))
    ends = f", towards {where[0]}" if where[0] != where[1] else ""
    return (
        f"From one coat to eight the hue turns by {abs(turn_deg):.0f} degrees{ends}: "
        "a thin sample does not tell the hue of a deep one."
    )


def _hue_word(hue_deg: float) -> str:
    """The name of a hue angle in L*a*b* (0 pink-red, 90 yellow, 180 green, 270 blue; names are ours)."""
    names = ("red", "orange", "yellow", "yellow-green", "green", "turquoise", "blue", "violet", "magenta")
    ends = (45.0, 75.0, 105.0, 130.0, 170.0, 220.0, 290.0, 325.0, 360.0)
    return next(name for name, end in zip(names, ends, strict=True) if hue_deg % 360.0 <= end)


def _measured(asked: Round) -> str | None:
    """What a tenth too much dye in the cup does to the target."""
    load = asked.loads[asked.right]
    off = float(delta_e_2000(*seen_of(asked, np.array([load, 1.1 * load])).lab))
    return f"A tenth too much dye in the cup moves this target by {off:.1f}: {_who_sees(off).lower()} that."


def _miscount(asked: Round) -> str | None:
    """From which coat on one more or less is forgiven."""
    if asked.asks == "strength":
        return None
    lab = seen_of(asked, np.arange(float(CHOICES))).lab
    step = delta_e_2000(lab[1:], lab[:-1])
    if step[-1] > NOT_ACCEPTED_DE00:
        return f"Even the eighth coat of this mix still moves the colour by {step[-1]:.1f}: count your coats."
    first = next(k for k in range(CHOICES - 1) if step[k:].max() <= NOT_ACCEPTED_DE00) + 1
    return f"From coat {first} on each coat moves the colour by {NOT_ACCEPTED_DE00:g} or less: most accept that."


def _over_white(asked: Round) -> str | None:
    """The same coat over white."""
    if asked.base == "white":
        return None
    here, white = (
        float(delta_e_2000(*seen_over(asked, base, np.array([0.0, 1.0])).lab)) for base in (asked.base, "white")
    )
    if not LESS < white / here < MORE:
        way = "more: white sends the light through the dye again and again" if white > here else "less"
        return f"One coat of this mix moves {BASES[asked.base][0]} by {here:.1f} and white by {white:.1f}, {way}."
    return f"One coat of this mix moves {BASES[asked.base][0]} by {here:.1f} and white by {white:.1f}: about as much."


def _half_and_twice(asked: Round) -> str | None:
    """How much a mix at half and at twice the strength differs."""
    if asked.asks == "coats":
        return None
    lab = seen_of(asked, asked.coats * np.array([0.5, 1.0, 2.0])).lab
    half, twice = (float(delta_e_2000(lab[1], lab[k])) for k in (0, 2))
    return f"Half the strength told moves this colour by {half:.1f}, twice the strength by {twice:.1f}."


def _same_dye(asked: Round) -> str | None:
    """That only the dye counts that lies there."""
    if asked.asks == "strength":
        return "Two coats at half the strength lay as much dye as one at full strength: they end at the same colour."
    return None
