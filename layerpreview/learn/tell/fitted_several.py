"""What several cards tell of their dyes: one dye each, how each card stands to the others, and which is odd."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from layerpreview.learn.card.setting import CardSetting
from layerpreview.learn.fit.best_setting import FLAKE_SPREADS, Asked, CardOf, best_setting
from layerpreview.learn.fit.joint import SharedCard
from layerpreview.learn.fit.several import CardFit, TogetherFit, cost_of, fit_together
from layerpreview.learn.tell.fitted import CardFound, Ends, Fitted, StepPair, look_again, pairs_of, unread, unsure
from layerpreview.learn.tell.next_step import Aim, card_aims, next_windows

F64 = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class GivenCard:
    """One card handed in: `holds` says what one coat of it holds of each dye [mg/m2]; the rest as for one card alone.

    `concentrates_g_per_L`: what each dye is sold as; None: as powder.
    """

    name: str
    card_of: CardOf
    asked: Asked
    holds: Mapping[str, float]
    concentrates_g_per_L: Mapping[str, float | None]
    notes: tuple[str, ...]
    found: CardFound | None = None


@dataclass(frozen=True)
class CardTold:
    """One card among several.

    `strength` of each dye: what its coats hold over what is stated (5 %, likely, 95 %); `misfit`: residuals over the
    stated noise; `steps`: their numbers among all; `left_out_de00`: its windows from the other cards' dyes, mean
    CIEDE2000; `chance` [0..1] of a card that agrees to be as far off; `odd`: it disagrees.
    """

    name: str
    strength: dict[str, Ends]
    misfit: float
    steps: tuple[int, ...]
    flake_spread: float
    mirror_share: float
    left_out_de00: float | None
    chance: float
    odd: bool


@dataclass(frozen=True, eq=False)
class FittedSeveral:
    """What was learnt of each dye, how each card did, what was found in photos by card, and what is to be said."""

    dyes: tuple[Fitted, ...]
    cards: tuple[CardTold, ...]
    found: dict[str, CardFound]
    notes: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class _Settled:
    """A card as it is by itself: its setting, how rough it is over what is stated, and what was said of it."""

    given: GivenCard
    setting: CardSetting
    rough: float
    notes: tuple[str, ...]

    @property
    def spread_open(self) -> bool:
        return not self.given.asked.spread_known and self.setting.base_kind == "metal"


AimsFor = Callable[[str, float], Sequence[Aim]]


def fitted_several(
    given: Sequence[GivenCard], names: Sequence[str], *, aims_for: AimsFor = lambda _name, _load: ()
) -> FittedSeveral:
    """Fit the dyes `names` on all cards at once. Raises InputError or NoAnswerError as `fit_together`.

    `aims_for`: the colours that a next card is to serve, by the dye's name and the load of its coat [mg/m2].
    """
    own = [_settled(one) for one in given]
    spread, fit = _with_flake_spread(own, names)
    cards = tuple(_card_told(one, card, names, spread) for one, card in zip(own, fit.cards, strict=True))
    notes = _notes(own, fit, names)
    if any(one.spread_open for one in own):
        notes.append(f"flake spread {spread:g} where a card does not state it: one silver is taken for all cards")
    loads = _reference(_held(own, names))
    dyes = tuple(
        _fitted(name, d, float(loads[d]), own, fit, cards, notes, aims_for(name, float(loads[d])))
        for d, name in enumerate(names)
    )
    found = {one.given.name: one.given.found for one in own if one.given.found is not None}
    return FittedSeveral(dyes, cards, found, tuple(notes))


def _settled(given: GivenCard) -> _Settled:
    card = given.card_of(given.asked.setting)
    if len({window.load for window in card.windows if window.load}) < 2:
        return _Settled(given, given.asked.setting, 1.0, (*given.notes, *card.notes))
    setting, fit, words = best_setting(given.card_of, given.asked)
    return _Settled(given, setting, fit.noise_used / fit.card.noise, (*given.notes, *fit.card.notes, *words))


def _with_flake_spread(own: Sequence[_Settled], names: Sequence[str]) -> tuple[float, TogetherFit]:
    """The flake spread of the silver of all cards that do not state it, as explains them best; and the fit."""
    still = [one.setting.flake_spread for one in own if one.spread_open]
    spread = min(FLAKE_SPREADS, key=lambda tried: abs(tried - float(np.median(still or [0.3]))))
    fit = fit_together(_cards(own, names, spread), names)
    grounds = {ground.name for card in fit.cards for ground in card.shared.card.grounds}
    if not still or grounds != {"white", "base"}:
        return spread, fit
    costs = {tried: cost_of(_cards(own, names, tried), fit) for tried in FLAKE_SPREADS}
    best = min(costs, key=lambda tried: costs[tried])
    return best, fit if best == spread else fit_together(_cards(own, names, best), names)


def _cards(own: Sequence[_Settled], names: Sequence[str], spread: float) -> list[SharedCard]:
    """The cards with their steps numbered through, and what each holds of every dye over the dye's reference card."""
    held, out, first = _held(own, names), [], 0
    for one, amounts in zip(own, held / _reference(held), strict=True):
        setting = replace(one.setting, flake_spread=spread) if one.spread_open else one.setting
        card = one.given.card_of(setting)
        windows = tuple(replace(w, step=w.step + first) if w.load else w for w in card.windows)
        first = max((window.step for window in windows if window.load), default=first)
        out.append(SharedCard(one.given.name, replace(card, windows=windows), amounts).rougher(one.rough))
    return out


def _held(own: Sequence[_Settled], names: Sequence[str]) -> F64:
    """What one coat of each card holds of each dye (K, D) [mg/m2]."""
    return np.array([[one.given.holds.get(name, 0.0) for name in names] for one in own])


def _reference(held: F64) -> F64:
    """What one coat of each dye's reference holds (D,): the first card of it alone, else the first that holds it."""
    alone = (held > 0.0).sum(axis=1) == 1
    return np.array([next(iter([*column[alone & (column > 0)], *column[column > 0]])) for column in held.T])


def _card_told(one: _Settled, card: CardFit, names: Sequence[str], spread: float) -> CardTold:
    ranges = zip(names, card.strengths, strict=True)
    return CardTold(
        name=one.given.name,
        strength={name: (r.low, r.likely, r.high) for name, r in ranges if r is not None},
        misfit=card.misfit * one.rough,
        steps=tuple(sorted(card.builds)),
        flake_spread=spread if one.spread_open else one.setting.flake_spread,
        mirror_share=one.setting.mirror if one.given.found is None else 0.0,
        left_out_de00=card.standing.left_out_de00,
        chance=card.standing.chance,
        odd=card.standing.odd,
    )


def _notes(own: Sequence[_Settled], fit: TogetherFit, names: Sequence[str]) -> list[str]:
    """What is to be said of the cards: a word of all of them once, of one of them with its name; the odd one first."""
    said = [
        (*one.notes, *one.given.asked.notes, *look_again(card.strained))
        for one, card in zip(own, fit.cards, strict=True)
    ]
    of_all = set(said[0]).intersection(*said[1:])
    notes = [
        line if line in of_all else f"{one.given.name}: {line}"
        for one, lines in zip(own, said, strict=True)
        for line in lines
    ]
    return list(dict.fromkeys([*odd_words(fit.cards, names), *notes]))


def odd_words(cards: Sequence[CardFit], names: Sequence[str]) -> list[str]:
    """One line on the card that disagrees most with the others, by what, and what to do; none where all agree."""
    odd = min(cards, key=lambda card: card.standing.chance)
    if not odd.standing.odd:
        return []
    stood = odd.standing
    more = f"{abs(100 * stood.strength_off):.0f} % {'more' if stood.strength_off > 0 else 'less'}"
    of = f" {names[stood.strength_of]}" if len(names) > 1 else " dye"
    words = [f"its coats hold {more}{of} ({abs(stood.deviations):.1f} standard deviations)"]
    if stood.left_out_de00 is not None:
        words.append(f"its windows are {stood.left_out_de00:.1f} CIEDE2000 from what the others' dye gives")
    which = "; with two cards it may as well be the other" if len(cards) == 2 else ""
    remedy = "another batch, light, base or geometry? read it again, or fit without it"
    return [f"{odd.shared.name} disagrees with the other cards: {'; '.join(words)}{which}; {remedy}"]


def _fitted(
    name: str,
    d: int,
    load_mg_m2: float,
    own: Sequence[_Settled],
    fit: TogetherFit,
    cards: Sequence[CardTold],
    notes: Sequence[str],
    aims: Sequence[Aim],
) -> Fitted:
    """One dye as it is told: every card that holds it is among its steps."""
    dye = fit.dyes[d]
    holding = [(one, card) for one, card in zip(own, fit.cards, strict=True) if card.shared.shares[d]]
    first = cards[own.index(holding[0][0])]
    return Fitted(
        name=name,
        steps=tuple(pair for one, card in holding for pair in _pairs(one, card)),
        builds={n: (b.low, b.likely, b.high) for _, card in holding for n, b in card.builds.items()},
        flake_spread=first.flake_spread,
        load_per_coat_mg_m2=load_mg_m2,
        notes=(*notes, *unsure(dye, card="the cards", then="")),
        next_windows=next_windows(dye, aims=aims or card_aims(dye), elsewhere=unread(dye, holding[0][0].setting)),
        concentrate_g_per_L=holding[0][0].given.concentrates_g_per_L[name],
        rests_on=_rests_on(holding, dye.misfit),
        fit=dye,
        mirror_share=first.mirror_share,
    )


def _pairs(one: _Settled, card: CardFit) -> list[StepPair]:
    return pairs_of(card.shared.card, card.fitted, name=one.given.name)


def _rests_on(holding: Sequence[tuple[_Settled, CardFit]], misfit: float) -> str:
    steps = sum(len(card.builds) for _, card in holding)
    grounds = dict.fromkeys(ground.name for _, card in holding for ground in card.shared.card.grounds)
    names = ", ".join(one.given.name[:24] for one, _ in holding)
    return f"fitted to {len(holding)} cards: {steps} steps over {' and '.join(grounds)}; misfit {misfit:.1f}; {names}"
