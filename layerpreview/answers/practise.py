"""Learning the eye: twenty rounds from one seed, each a target over a base and a guess of its coats or its strength.

A round is chosen so that the steps to its neighbours can be seen, large ones first and small ones last. Colours are the
mean of the base under even light D65, worked out as everywhere else; approximate.
"""

from __future__ import annotations

import random
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from layerpreview.colour import JUST_SEEN_DE00, delta_e_2000
from layerpreview.errors import InputError, Problem
from layerpreview.finish.layers import absorbance10_per_um, base_film
from layerpreview.finish.patches import Patches
from layerpreview.finish.stack import VEIL
from layerpreview.picture.scene import make_scene
from layerpreview.picture.spots import mean_bare
from layerpreview.scheme import Scheme, library_names, scheme_from_text

F64 = NDArray[np.float64]
Asks = Literal["coats", "strength"]

ROUNDS: Final = 20
CHOICES: Final = 9
FACTORS: Final = tuple(2.0 ** (k / 2 - 2) for k in range(CHOICES))
"""Times the strength told: from a quarter to four times, each the root of two times the one before."""
FILM_UM: Final = 40.0
"""Wet film of one medium coat (common practice, no source)."""
STRENGTHS_ML_L: Final = (2.0, 3.0, 4.0, 6.0, 8.0, 12.0, 16.0, 24.0)
EASY_DE00 = 5.5
HARD_DE00: Final[dict[Asks, float]] = {"coats": 0.7, "strength": 2.0}
"""How far the nearest other choice should be from the right one, in the first round and in the last: strengths are
steps that a person can tell apart."""
LEAST_STEP_DE00: Final = 0.75 * JUST_SEEN_DE00
"""A target whose neighbour is nearer than that is not asked for; a guess that nobody can tell from it counts as it."""
WIDE_MM, HIGH_MM, PICTURE_PX = 56.0, 40.0, 420
"""The panel that is shown, and how many pixels wide."""
SINGLES: Final = 9
"""Rounds of one dye alone; the others are of two."""
_ALIKE, _SCREEN_SLACK, _DARKEST_L = 1.3, 0.01, 15.0

BASES: Final = {
    "white": ("white", 'kind = "solid"\ncolour = "#f4f2ec"'),
    "maple": ("maple", 'kind = "wood"\ngrain = "flame"\n[base.grain_options]\nseed = 3'),
    "bright": (
        "bright silver",
        'kind = "metal"\nrelief = "lifted"\nsilver = "bright"\n[base.relief_options]\nseed = 3',
    ),
    "medium": (
        "medium silver",
        'kind = "metal"\nrelief = "lifted"\nsilver = "medium"\n[base.relief_options]\nseed = 5',
    ),
}
"""The bases by name: what a person calls them, and what the scheme says of them. The silvers are lifted."""

_SCHEME = """\
layerpreview = 1
name = "Learn the eye"
lights = ["D65"]
[[face]]
name = "panel"
shape = "panel"
width = "{wide:g} mm"
height = "{high:g} mm"
[base]
{base}
{dyes}
"""


@dataclass(frozen=True)
class Round:
    """One question: `number` from 1; what it `asks`; the base; mL/L of each dye in the mix at the strength told.

    `coats`: of the target where its strength is asked (else 1); `right`: which of the choices, from 0, it is.
    """

    number: int
    asks: Asks
    base: str
    mix: tuple[tuple[str, float], ...]
    coats: int
    right: int

    @property
    def loads(self) -> tuple[float, ...]:
        """What each choice lays, as a multiple of one coat at the strength told: rising."""
        if self.asks == "coats":
            return tuple(float(n) for n in range(CHOICES))
        return tuple(self.coats * factor for factor in FACTORS)


@dataclass(frozen=True)
class Seen:
    """L*a*b* and linear display RGB of loads, (N, 3)."""

    lab: F64
    rgb_lin: F64

    @property
    def on_screen(self) -> NDArray[np.bool_]:
        """Which of them a screen can show, (N,)."""
        return np.asarray(np.all((self.rgb_lin > -_SCREEN_SLACK) & (self.rgb_lin < 1.0 + _SCREEN_SLACK), axis=1))


def rounds(seed: str) -> tuple[Round, ...]:
    """Return the twenty rounds of a seed: the same for the same text, no two with the same dyes."""
    return tuple(round_of(seed, number) for number in range(1, ROUNDS + 1))


def round_of(seed: str, number: int) -> Round:
    """Return round `number` [1..20] of a seed. Raises InputError for another number."""
    if number not in range(1, ROUNDS + 1):
        raise InputError(Problem(f"a round is a number from 1 to {ROUNDS}", field="round", value=str(number)))
    return _round(seed, number)


@lru_cache(maxsize=64)
def _round(seed: str, number: int) -> Round:
    base, asks, dyes = _plan(seed)[number - 1]
    chance = random.Random(f"{seed} {number}")
    parts = (1.0,) if len(dyes) == 1 else chance.choice(((0.5, 0.5), (0.75, 0.25), (0.25, 0.75)))
    coats = chance.choice((2, 3)) if asks == "strength" and number > ROUNDS // 2 else 1
    found = []
    for strength in STRENGTHS_ML_L:
        mix = tuple((dye, part * strength) for dye, part in zip(dyes, parts, strict=True))
        asked = Round(number, asks, base, mix, coats, 0)
        seen = seen_of(asked, np.array(asked.loads))
        step = delta_e_2000(seen.lab[1:], seen.lab[:-1])
        # What a screen cannot show, or hardly, is no target while there is another.
        shown = seen.on_screen & (seen.lab[:, 0] > _DARKEST_L)
        for right in range(CHOICES):
            if asked.loads[right] in (0.0, 1.0):  # what is shown beside it is no question
                continue
            near = float(min(step[max(right - 1, 0) : right + 1]))
            fit = abs(np.log(near / wanted_de00(number, asks))) + (0.0 if shown[right] else 1.0)
            blurred = near < LEAST_STEP_DE00 or (asks == "strength" and float(min(step)) < JUST_SEEN_DE00)
            found.append((blurred, float(fit), Round(number, asks, base, mix, coats, right)))
    found.sort(key=lambda one: one[:2])
    good = [one for one in found if not one[0] and one[1] <= np.log(_ALIKE)]
    return chance.choice(good)[2] if good else found[0][2]


def wanted_de00(number: int, asks: Asks) -> float:
    """How far the nearest other choice should be from the right one in round `number`: falling [CIEDE2000]."""
    return float(EASY_DE00 * (HARD_DE00[asks] / EASY_DE00) ** ((number - 1) / (ROUNDS - 1)))


@lru_cache(maxsize=8)
def _plan(seed: str) -> tuple[tuple[str, Asks, tuple[str, ...]], ...]:
    """Base, question and dyes of every round: one dye first and coats first, each base as often as the others."""
    chance = random.Random(seed)
    dyes = list(library_names())
    alone = chance.sample([dye for dye in dyes if dye != "black"], SINGLES)  # a grey alone teaches little
    pairs = [(one, other) for i, one in enumerate(dyes) for other in dyes[i + 1 :]]
    mixes = [*((dye,) for dye in alone), *chance.sample(pairs, ROUNDS - SINGLES)]
    bases = list(BASES)  # first as they stand: the silvers take a moment to be solved
    for _ in range(ROUNDS // len(BASES) - 1):
        bases += chance.sample(list(BASES), len(BASES))
    asks: list[Asks] = ["coats"] * 3
    while len(asks) < ROUNDS:
        asks += chance.sample(("strength", "coats"), 2)
    return tuple(zip(bases, asks[:ROUNDS], mixes, strict=True))


@lru_cache(maxsize=256)
def _scheme(base: str, mix: tuple[tuple[str, float], ...]) -> Scheme:
    dyes = [f'[dye.{name}]\nlibrary = "{name}"' for name, _ in mix]
    amounts = ", ".join(f'{name} = "{amount:g} mL/L"' for name, amount in mix)
    dyes += [f'[mix.one]\ndyes = {{ {amounts} }}\n[[coat]]\nmix = "one"\nfilm = "{FILM_UM:g} um"'] if mix else []
    text = _SCHEME.format(wide=WIDE_MM, high=HIGH_MM, base=BASES[base][1], dyes="\n".join(dyes))
    return scheme_from_text(text, Path("learn-the-eye.toml"))


def scheme_of(asked: Round) -> Scheme:
    """The scheme of one coat of a round at the strength told."""
    return _scheme(asked.base, asked.mix)


def base_scheme(base: str) -> Scheme:
    """The scheme of a base with no dye."""
    return _scheme(base, ())


def per_coat10(asked: Round) -> F64:
    """Decadic absorbance (81,) of a straight pass through one coat of a round's mix at the strength told."""
    scheme = scheme_of(asked)
    return absorbance10_per_um(scheme, scheme.mixes["one"]) * FILM_UM


@lru_cache(maxsize=len(BASES))
def bare_of(base: str) -> F64:
    """Mean spectrum (81,) of a base with no dye."""
    return mean_bare(make_scene(base_scheme(base), width_px=200).faces[0])


def seen_of(asked: Round, loads: F64) -> Seen:
    """The colours of `loads` (N,) [coats at the strength told, >= 0] of a round's mix over its base."""
    return seen_over(asked, asked.base, loads)


def seen_over(asked: Round, base: str, loads: F64) -> Seen:
    """The colours of loads of a round's mix over another base."""
    scheme = _scheme(base, asked.mix)
    film, veil = base_film(scheme.base), VEIL[scheme.clear.finish]
    patches = Patches(film, bare_of(base), per_coat10(asked)[None, :], scheme.lights, veil=veil)
    wanted = np.asarray(loads, dtype=np.float64)[:, None]
    return Seen(patches.lab(wanted)[:, 0], patches.rgb_lin(wanted))


def off_de00(asked: Round, guess: int) -> float:
    """How far the colour of a guess [0..8] is from the right one [CIEDE2000]. Raises InputError for no such choice."""
    if guess not in range(CHOICES):
        raise InputError(Problem(f"a guess is a whole number from 0 to {CHOICES - 1}", field="guess", value=str(guess)))
    lab = seen_of(asked, np.array([asked.loads[guess], asked.loads[asked.right]])).lab
    return float(delta_e_2000(lab[0], lab[1]))
