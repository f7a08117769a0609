"""What remains to be laid of an entry whose wet film was read: how many coats, how wet, and where that ends."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from layerpreview.answers.films import FilmMeasured, film_told
from layerpreview.answers.ladder import beneath
from layerpreview.answers.landing import HARDLY_ANY
from layerpreview.colour import JUST_SEEN_DE00, delta_e_2000
from layerpreview.finish.layers import absorbance10_per_um
from layerpreview.job.booth import Step
from layerpreview.picture.spots import Spot, fullest_spot
from layerpreview.scheme import DyeCoat, Scheme
from layerpreview.scheme.fields import FILM_WORDS_UM, film_of_word
from layerpreview.spray.budget import Burial
from layerpreview.told import Told
from layerpreview.units import Range

F64 = NDArray[np.float64]
MOST_COATS = 60
_AS_GOOD_DE00 = 0.1  # plans that end as near as that are one as good as the other: the one more like the plan is told
_LITTLE = 0.15
"""Share of a coat of paint or clear that nobody misses: assumed."""
_COUNTS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")


@dataclass(frozen=True)
class Remaining:
    """The plan for what remains of one entry, from its readings.

    `laid_um` and `planned_um`: wet film on so far and at the end, of all its coats [um]. `proposed_coats` more, laid
    `proposed_film_word` (light, medium, wet), of `proposed_um` each as this hand lays them. CIEDE2000 from the agreed
    colour, under the scheme's first light: `ends_de00` likely, `at_most_de00` within what the readings leave open,
    `as_planned_de00` with the planned number of coats laid as those that were read; None for an entry without dye, of
    which the film alone is told.
    """

    entry: int
    name: str
    planned: int
    done: int
    laid_um: Told
    planned_um: Told
    proposed_coats: int
    proposed_film_word: str
    proposed_um: Range
    ends_de00: float | None
    at_most_de00: float | None
    as_planned_de00: float | None
    gone_past: bool
    words: str
    also_in_json: ClassVar = ("changed",)

    @property
    def changed(self) -> bool:
        """Whether it is another plan than the scheme's."""
        return self.proposed_coats != max(0, self.planned - self.done) or self.gone_past


@dataclass(frozen=True)
class _Plan:
    """Some more coats: how many, how wet, what each leaves [um], and where that likely ends (CIEDE2000)."""

    coats: int
    word: str
    each_um: float
    ends_de00: float = 0.0


def remaining_film(
    step: Step,
    film: FilmMeasured,
    numbers: Sequence[int],
    *,
    closed: bool = False,
    bury: Burial | None = None,
    units: str = "metric",
) -> Remaining:
    """What remains of a step by its film alone: whole coats as they were laid so far, up to the planned film.

    Base, paint and clear have to hide or to bury: where more than a little of a coat is missing, one more is told.

    `closed`: later coats are on already, so that none of it will follow. `bury`: what such coats of clear do to the
    base's relief, where there is one. `units`: of the shop, for the words.
    """
    laid, planned = film.laid_um(numbers), step.film_um.scaled(step.coats)
    missing = (planned.likely - laid.likely) / film.film_um.likely
    coats = 0 if closed else max(0, math.ceil(missing - _LITTLE))
    word = word_of(step.film_um)
    words = _on(laid, planned, units)
    if coats:
        words += f": {_coats(coats, 'more')} as laid so far"
    elif not closed:
        words += ": the planned film is there"
    if bury is not None:
        words += "; " + _buried(bury, units)
    past = laid.likely > planned.likely + 0.5 * film.film_um.likely
    return _remaining(step, numbers, laid, planned, _Plan(coats, word, film.film_um.likely), film, past, words)


def remaining_dye(
    scheme: Scheme,
    spots: Sequence[Spot],
    step: Step,
    film: FilmMeasured,
    numbers: Sequence[int],
    *,
    laid_shares: Mapping[int, float],
    closed: bool = False,
) -> Remaining:
    """What remains of a dye step that ends nearest to the agreed colour, told where its coat is fullest among `spots`.

    `numbers`: its coats that are on; `laid_shares`: of entries before it, the share of their planned film that was
    measured. The plan stands where it ends so near that nobody sees it (`JUST_SEEN_DE00`). `closed`: later coats are on
    already, so that none of it will follow.
    """
    laid, planned = film.laid_um(numbers), step.film_um.scaled(step.coats)
    colours = FromAgreed(scheme, spots, step.entry - 1, laid_shares)
    each, left = film.film_um.likely, max(0, step.coats - len(numbers))
    as_planned = _Plan(left, word_of(step.film_um), each)
    plans = [as_planned, *_others(step, each, planned.likely - laid.likely, MOST_COATS - len(numbers))]
    ends = colours.away_de00(np.array([laid.likely + plan.coats * plan.each_um for plan in plans]) / planned.likely)
    plans = [replace(plan, ends_de00=float(end)) for plan, end in zip(plans, ends, strict=True)]
    as_planned, chosen = plans[0], _nearest(plans)
    if closed:
        chosen = next(plan for plan in plans if plan.coats == 0)
    share = Range(laid.low / laid.likely, 1.0, laid.high / laid.likely)
    total = laid.likely + chosen.coats * chosen.each_um
    at_most = float(colours.away_de00(total / planned.likely * np.array([share.low, 1.0, share.high])).max())
    over = laid.likely / step.film_um.likely - step.coats
    now_de00 = float(colours.away_de00(np.array([laid.likely / planned.likely]))[0])
    past = chosen.coats == 0 and over > 0.0 and now_de00 > JUST_SEEN_DE00
    units = scheme.shop.units
    words = _words(chosen, as_planned, at_most, units)
    if closed:
        words = f"{_on(laid, planned, units)}: {now_de00:.1f} CIEDE2000 from the planned colour"
    elif past:
        words = (
            f"gone past by {over:.1f} coats: {now_de00:.1f} CIEDE2000 from the planned colour; no further coat of it, "
            "more dye never lightens"
        )
    found = _remaining(step, numbers, laid, planned, chosen, film, past, words)
    return replace(
        found, ends_de00=chosen.ends_de00, at_most_de00=at_most, as_planned_de00=as_planned.ends_de00
    )  # fmt: skip


def _on(laid: Range, planned: Range, units: str) -> str:
    """How much of the planned film is on: "118 of 160 um on"."""
    return f"{film_told(laid.likely, units).split()[0]} of {film_told(planned.likely, units)} on"


def _buried(bury: Burial, units: str) -> str:
    """How many coats as measured bury the relief, by the rules of the mix sheet."""
    low, high = bury.coats_low, bury.coats_high
    if low is None:
        return "coats as these do not bury the relief"
    span = f"{low}" if high == low else f"{low} or more" if high is None else f"{low} to {high}"
    keep = f"to bury the relief with {film_told(bury.keep_um, units)} over its peaks"
    return f"{keep} it takes {span} such coats in all, as far as the relief is known"


def word_of(film_um: Range) -> str:
    """The word for a wet film: light, medium or wet, whichever is nearest in proportion."""
    return min(FILM_WORDS_UM, key=lambda word: abs(math.log(FILM_WORDS_UM[word].likely / max(film_um.likely, 1e-6))))


class FromAgreed:
    """How far the colour is from the agreed one with any share of an entry's planned film on."""

    def __init__(self, scheme: Scheme, spots: Sequence[Spot], at: int, laid_shares: Mapping[int, float]) -> None:
        coat, spot = scheme.coats[at], fullest_spot(spots, at)
        assert isinstance(coat, DyeCoat)
        share = float(spot.build[at]) if spot.build[at] > HARDLY_ANY else 1.0
        per_um = absorbance10_per_um(scheme, scheme.mix_of(coat))
        whole10 = per_um * (share * coat.coats * coat.film_um.likely)
        shares = np.array([laid_shares.get(i + 1, 1.0) for i in range(spot.build.size)])
        as_laid = beneath(scheme, replace(spot, build=spot.build * shares), at)
        self._patches = as_laid.patches(scheme, whole10[None, :])
        agreed = beneath(scheme, spot, at).patches(scheme, whole10[None, :])
        self._agreed = agreed.lab(np.ones((1, 1)))[0, 0]

    def away_de00(self, shares: F64) -> F64:
        """CIEDE2000 from the planned colour at `shares` (n,) of the planned film."""
        return np.asarray(delta_e_2000(self._patches.lab(shares[:, None])[:, 0], self._agreed))


def _others(step: Step, each_um: float, left_um: float, most: int) -> list[_Plan]:
    """Every count of coats in each of the words, up to one coat more than the planned film; none wetter than wet is."""
    hand = each_um / step.film_um.likely
    own, plans = word_of(step.film_um), []
    for word in FILM_WORDS_UM:
        # One hand lays every word thicker or thinner by the same share, as far as is known.
        um = each_um if word == own else film_of_word(word).likely * hand
        if word != own and um > FILM_WORDS_UM["wet"].high:  # it would run
            continue
        enough = math.ceil(max(0.0, left_um) / um) + 1
        plans += [_Plan(coats, word, um) for coats in range(min(enough, most) + 1)]
    return plans


def _nearest(plans: Sequence[_Plan]) -> _Plan:
    """The plan as it was where nobody sees the difference, else the nearest; of those as good the one most like it."""
    as_planned = plans[0]
    if as_planned.ends_de00 <= JUST_SEEN_DE00:
        return as_planned
    best = min(plan.ends_de00 for plan in plans)
    good = [plan for plan in plans if plan.ends_de00 <= best + _AS_GOOD_DE00]
    return min(good, key=lambda plan: (plan.word != as_planned.word, plan.coats * plan.each_um))


def _words(chosen: _Plan, as_planned: _Plan, at_most: float, units: str) -> str:
    ends = f"ends {chosen.ends_de00:.1f} CIEDE2000 from the planned colour, within the readings at most {at_most:.1f}"
    if (chosen.coats, chosen.word) == (as_planned.coats, as_planned.word):
        if chosen.coats == 0:
            return f"all on: {ends}"
        return f"as planned, {_coats(chosen.coats, chosen.word)} more: {ends}"
    other = f"as planned, {as_planned.ends_de00:.1f}"
    if chosen.coats == 0:
        return f"no further coat instead of {_coats(as_planned.coats, as_planned.word)}: {ends} ({other})"
    each = f"about {film_told(chosen.each_um, units)}" + (" each" if chosen.coats > 1 else "")
    same = chosen.word == as_planned.word
    more = (
        f"{_coats(chosen.coats, '')} as laid so far ({each})"
        if same
        else f"{_coats(chosen.coats, chosen.word)} ({each})"
    )
    if as_planned.coats == 0:
        return f"{more} though all that were planned are on: {ends} ({other})"
    instead = _count(as_planned.coats)
    if not same:
        instead += f" {as_planned.word} one" + ("" if as_planned.coats == 1 else "s")
    return f"{more} instead of {instead}: {ends} ({other})"


def _count(coats: int) -> str:
    return _COUNTS[coats] if coats < len(_COUNTS) else str(coats)


def _coats(coats: int, word: str) -> str:
    return " ".join(filter(None, (_count(coats), word, "coat" if coats == 1 else "coats")))


def _remaining(
    step: Step,
    numbers: Sequence[int],
    laid: Told,
    planned: Told,
    plan: _Plan,
    film: FilmMeasured,
    past: bool,
    words: str,
) -> Remaining:
    hand = plan.each_um / film.film_um.likely
    return Remaining(
        entry=step.entry,
        name=step.name,
        planned=step.coats,
        done=len(numbers),
        laid_um=laid,
        planned_um=planned,
        proposed_coats=plan.coats,
        proposed_film_word=plan.word,
        proposed_um=film.film_um.range.scaled(hand),
        ends_de00=None,
        at_most_de00=None,
        as_planned_de00=None,
        gone_past=past,
        words=words,
    )
