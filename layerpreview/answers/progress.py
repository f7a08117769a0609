"""On the day: from a reading after some coats to the build so far, its place on the ladder, and the coats left.

A reading is taken before the clear is on: wet, which looks as under gloss, with no clear's veil over it. Only one that
is said to be read under the scheme's own clear (a card that was cleared) is compared under its satin or matt veil.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import softmax

from layerpreview.colour import JUST_SEEN_DE00, NOT_ACCEPTED_DE00, delta_e_2000, spectrum_to_lab
from layerpreview.errors import InputError, Problem
from layerpreview.finish.layers import End, absorptivity_on_grid, stack_of
from layerpreview.finish.stack import Stack
from layerpreview.picture.spots import Spot, fullest_spot
from layerpreview.scheme import Dye, DyeCoat, Scheme
from layerpreview.units import NINETY, Range

F64 = NDArray[np.float64]

DYE_DOUBT = {"fitted": 0.05, "table": 0.10, "stated": 0.10, "generic": 0.30}
"""How far one coat's absorbance may be off, as a share, where its file does not say: assumed."""
READING_NOISE = (1.2, 0.8, 0.8)
"""Standard deviation of L*, a*, b* of one reading on a textured base: assumed."""
PHOTO_NOISE = (2.4, 1.6, 1.6)
"""The same of a reading from a photo by one white card, whose tone curve is not known: assumed."""
_ENDS: tuple[End, ...] = ("low", "likely", "high")
_STEP = 0.02
_LEAST_TOLD = 0.05  # share of a coat from which a reading of a place says something about it
_FAR_OFF = 4.0  # CIEDE2000 from the ladder beyond which the reading is of something else


@dataclass(frozen=True)
class Rung:
    """The colour after `coats` coats of the entry, and how far it is from the agreed one (CIEDE2000)."""

    coats: float
    lab: tuple[float, float, float]
    to_agreed: float


@dataclass(frozen=True)
class Standing:
    """Where the panel stands, at the place `spot`.

    `build`: coats' worth of dye on it (5 %, likely, 95 %); `coats_done` of `coats_planned`; `ladder`: the colour after
    0, 1, 2 ... coats; `to_agreed`: CIEDE2000 from the reading to the agreed colour; `rung_to_agreed`: from the colour
    computed for the likely build to the agreed one; `off_ladder`: from the reading to that computed colour;
    `coats_left` whole coats, as they have been laid so far, with range; `gone_past`; `advice` in plain words;
    `rests_on` says what it is based on. All colours are as read: wet, or `under_clear`, the scheme's of finish `clear`;
    `agreed_under_clear` is the agreed colour under it, whatever it was read under.
    """

    entry: int
    mix: str
    coats_done: int
    coats_planned: int
    build: Range
    per_coat: Range
    coats_left: Range
    to_agreed: float
    rung_to_agreed: float
    off_ladder: float
    gone_past: bool
    ladder: tuple[Rung, ...]
    advice: tuple[str, ...]
    rests_on: str
    spot: str
    clear: str
    under_clear: bool
    agreed_under_clear: tuple[float, float, float]

    @property
    def believed(self) -> bool:
        """Whether the reading is near enough to the ladder to be about this scheme at all."""
        return self.off_ladder <= _FAR_OFF

    @property
    def misfit(self) -> str:
        """How far a reading that is not believed lies from what it should be, in plain words."""
        coats = f"{self.coats_done} coat" + ("" if self.coats_done == 1 else "s")
        return f"the reading is {self.off_ladder:.1f} CIEDE2000 from what {coats} of {self.mix} should look like"


@dataclass(frozen=True)
class Progress:
    """Where the panel stands, the reading as L*a*b* adapted to D65, its light, and what was said while reading."""

    standing: Standing
    lab: tuple[float, float, float]
    light: str
    notes: tuple[str, ...]


def dye_doubt(dye: Dye) -> float:
    """How far a coat of a dye may be off, as a share (one standard deviation): as learnt, else by its kind."""
    if not dye.learnt_with_doubt:
        return DYE_DOUBT[dye.kind]
    low, best, high = (float(absorptivity_on_grid(dye, end).max()) for end in _ENDS)
    return (high - low) / (2.0 * NINETY * max(best, 1e-9))


def entry_to_judge(
    scheme: Scheme, mix: str | None = None, *, number: int | None = None, place: F64 | None = None
) -> int:
    """Which entry (from 0) a reading is about: coat `number` as the figures count them (from 1), if it is given.

    Else the last entry of `mix`, or of any dye, that goes to the place read, with `place` (layers,) of each coat there;
    where none does, or without a place, the last one. Raises InputError where there is none.
    """
    entries = [i for i, coat in enumerate(scheme.coats) if isinstance(coat, DyeCoat) and mix in (None, coat.mix)]
    if number is not None and number - 1 not in entries:
        raise InputError(_no_such_coat(scheme, number, entries))
    if not entries:
        names = ", ".join(dict.fromkeys(coat.mix for coat in scheme.coats if isinstance(coat, DyeCoat))) or "none"
        rule = "no coat is sprayed with this mix"
        raise InputError(Problem(rule, f"the scheme's mixes are: {names}", field="--mix", value=str(mix)))
    if number is not None:
        return number - 1
    there = [i for i in entries if place is not None and place[i] >= _LEAST_TOLD]
    return (there or entries)[-1]


def _no_such_coat(scheme: Scheme, number: int, entries: list[int]) -> Problem:
    coats = scheme.coats
    if not 1 <= number <= len(coats):
        rule = "there is no coat of this number"
    elif isinstance(coat := coats[number - 1], DyeCoat):
        rule = f"this coat is sprayed with {coat.mix}"
    else:
        rule = f"this coat is {coat.label}, an opaque one: there is no dye to judge"
    known = ", ".join(f"{i + 1} ({coats[i].label})" for i in entries) or "none"
    return Problem(rule, f"as numbered in the figures there are: {known}", field="--coat", value=str(number))


def standing(
    scheme: Scheme,
    spot: Spot,
    lab: F64,
    *,
    entry: int,
    coats_done: int,
    light: str | None = None,
    witness: bool = False,
    under_clear: bool = False,
    noise: tuple[float, float, float] = READING_NOISE,
) -> Standing:
    """Judge a reading `lab` (3,) after `coats_done` coats of entry number `entry` (from 0), all entries before it done.

    `spot`: where it was read: its base, what that shows bare, and the share of each coat that goes there; the coat
    judged is not cut back yet. A `witness` card got it in full, and under it what the part has at `spot`, where the
    coat is fullest. `noise`: standard deviation of L*, a* and b* of the reading. Read wet, or `under_clear` under the
    scheme's own. The build is found by comparing the reading with the computed ladder, in steps of 0.02 coats, with
    what the coats' film range allows beforehand.
    """
    coat = scheme.coats[entry]
    assert isinstance(coat, DyeCoat)
    light = light or scheme.lights[0]
    cleared = stack_of(scheme, base=spot.base)
    stack = cleared if under_clear else replace(cleared, veil=0.0)
    bare, place = spot.bare, _lies_there(spot, entry, coat, witness=witness)
    coats = np.arange(0.0, 2.5 * max(coat.coats, coats_done) + 2.0, _STEP)
    colours = _ladder(stack, bare, place, entry, coats / coat.coats, light=light, observer_deg=scheme.observer_deg)
    agreed = colours[int(np.argmin(np.abs(coats - coat.coats)))]
    rungs_to_agreed = delta_e_2000(colours, agreed)
    doubt = max((dye_doubt(scheme.dyes[name]) for name in scheme.mix_of(coat).strengths), default=DYE_DOUBT["generic"])
    film = coat.film_um
    before = np.hypot(np.log(film.high / film.low) / 3.3, 0.06) if coats_done else 0.05
    belief = _belief(colours, lab, coats, coats_done=coats_done, spread=float(np.hypot(before, 0.05)), noise=noise)
    build = _range(coats, belief, widen=doubt)
    likely = int(np.argmin(np.abs(coats - build.likely)))
    off = float(delta_e_2000(colours[likely], lab))
    per_coat = build.scaled(1.0 / coats_done) if coats_done else Range.point(1.0)
    left = _left(coats, rungs_to_agreed, build, per_coat, coat.coats)
    believed = off <= _FAR_OFF
    if not believed:
        left = Range(0.0, left.likely, float(max(coat.coats, left.high)))
    past = build.low > coat.coats or (build.likely > coat.coats and float(rungs_to_agreed[likely]) > JUST_SEEN_DE00)
    found = Standing(
        entry=entry,
        mix=coat.mix,
        coats_done=coats_done,
        coats_planned=coat.coats,
        build=build,
        per_coat=per_coat,
        coats_left=left,
        to_agreed=float(delta_e_2000(lab, agreed)),
        rung_to_agreed=float(rungs_to_agreed[likely]),
        off_ladder=off,
        gone_past=past and believed,
        ladder=_rungs(coats, colours, rungs_to_agreed, max(coat.coats, coats_done) + 2),
        advice=(),
        rests_on=_rests_on(scheme, coat, doubt),
        spot=spot.name,
        clear=scheme.clear.finish,
        under_clear=under_clear,
        agreed_under_clear=_agreed(cleared, bare, place, entry, light=light, observer_deg=scheme.observer_deg),
    )
    advice = _advice(found, scheme, stack, bare, place, light)
    return replace(found, advice=tuple(advice))


@dataclass(frozen=True)
class State:
    """A state of a finish that a colour is like: so many coats of `entry` (from 0) on, CIEDE2000 away from it."""

    entry: int
    coats: float
    away_de00: float


def nearest_state(
    scheme: Scheme, spots: Sequence[Spot], lab: F64, *, light: str | None = None, witness: bool = False
) -> State | None:
    """The state of the whole ladder, whichever coat, that a colour `lab` (3,) read wet is nearest to.

    From the bare base through every entry of dye, up to twice its coats, at each of `spots` that it goes to. None where
    the scheme has no dye.
    """
    found: list[State] = []
    for entry, coat in enumerate(scheme.coats):
        if not isinstance(coat, DyeCoat):
            continue
        coats = np.arange(0.0, 2.0 * coat.coats + 1.0, 5.0 * _STEP)
        for spot in [fullest_spot(spots, entry)] if witness else spots:
            if spot.laid[entry] < _LEAST_TOLD and not witness:
                continue
            stack = replace(stack_of(scheme, base=spot.base), veil=0.0)
            place = _lies_there(spot, entry, coat, witness=witness)
            colours = _ladder(
                stack,
                spot.bare,
                place,
                entry,
                coats / coat.coats,
                light=light or scheme.lights[0],
                observer_deg=scheme.observer_deg,
            )
            away = delta_e_2000(colours, lab)
            at = int(np.argmin(away))
            found.append(State(entry, float(coats[at]), float(away[at])))
    return min(found, key=lambda state: state.away_de00, default=None)


def _lies_there(spot: Spot, entry: int, coat: DyeCoat, *, witness: bool) -> F64:
    """Share (layers,) of each coat where it is read, that of `entry` before it is cut back.

    Raises InputError where next to nothing of that goes.
    """
    place = spot.build.copy()
    place[entry] = 1.0 if witness else spot.laid[entry]
    if place[entry] >= _LEAST_TOLD:
        return place
    much = f"only {100 * place[entry]:.1g} %" if place[entry] > 0.0 else "nothing"
    rule = f"{much} of coat {entry + 1}, {coat.mix}, goes to the place that is read ({spot.name})"
    remedy = "read a card that was sprayed along where it is fullest, and add --witness; --coat N names another coat"
    raise InputError(Problem(rule, remedy))


def _ladder(
    stack: Stack,
    bare: F64,
    place: F64,
    entry: int,
    share: F64,
    *,
    light: str,
    observer_deg: int,
    after: F64 | None = None,
) -> F64:
    """L*a*b* (G, 3) with everything before `entry` whole, `share` (G,) of it, and `after` (layers,) of what follows."""
    build = np.zeros((share.size, place.size))
    build[:, :entry] = 1.0
    build[:, entry] = share
    if after is not None:
        build[:, entry + 1 :] = after[entry + 1 :]
    seen = stack.reflectance(np.repeat(bare[None, :], share.size, axis=0), build * place)
    return spectrum_to_lab(seen, light=light, observer_deg=observer_deg)


def _agreed(
    stack: Stack, bare: F64, place: F64, entry: int, *, light: str, observer_deg: int
) -> tuple[float, float, float]:
    lab = _ladder(stack, bare, place, entry, np.ones(1), light=light, observer_deg=observer_deg)[0]
    return float(lab[0]), float(lab[1]), float(lab[2])


def _belief(
    colours: F64, lab: F64, coats: F64, *, coats_done: int, spread: float, noise: tuple[float, float, float]
) -> F64:
    """Probability of each build: the reading's distance from the ladder, and the film range beforehand."""
    away = (colours - lab) / np.array(noise)
    chance = -0.5 * np.square(away).sum(axis=1)
    # A reading that is off the ladder altogether still has a nearest rung, but a blunt one.
    chance /= max(1.0, float(-2.0 * chance.max()) / 3.0)
    if coats_done:
        chance -= 0.5 * np.square(np.log(np.maximum(coats, 1e-6) / coats_done) / spread)
    else:
        chance -= 0.5 * np.square(coats / spread)
    return np.asarray(softmax(chance))


def _range(coats: F64, belief: F64, *, widen: float) -> Range:
    """5 %, mean and 95 % of the build; the dye's own doubt widens both ends."""
    total = np.cumsum(belief)
    low, high = (float(np.interp(q, total, coats)) for q in (0.05, 0.95))
    likely = float(belief @ coats)
    share = 1.645 * widen * likely
    return Range(
        max(0.0, likely - float(np.hypot(likely - low, share))), likely, likely + float(np.hypot(high - likely, share))
    )


def _left(coats: F64, to_agreed: F64, build: Range, per_coat: Range, planned: int) -> Range:
    """Whole coats to the agreed colour, for the likely build and for both ends of its range."""

    def whole(at: float, each: float) -> float:
        if at >= planned or each <= 0:
            return 0.0
        exactly = (planned - at) / each
        counts = np.array([np.floor(exactly), np.ceil(exactly)])
        return float(counts[np.argmin(np.interp(at + counts * each, coats, to_agreed))])

    likely = whole(build.likely, per_coat.likely)
    return Range(min(whole(build.high, per_coat.high), likely), likely, max(whole(build.low, per_coat.low), likely))


def _rungs(coats: F64, colours: F64, to_agreed: F64, count: int) -> tuple[Rung, ...]:
    out = []
    for whole in range(count + 1):
        i = int(np.argmin(np.abs(coats - whole)))
        lab = colours[i]
        out.append(Rung(float(whole), (float(lab[0]), float(lab[1]), float(lab[2])), float(to_agreed[i])))
    return tuple(out)


def _rests_on(scheme: Scheme, coat: DyeCoat, doubt: float) -> str:
    kinds = sorted({scheme.dyes[name].kind for name in scheme.mix_of(coat).strengths})
    dyes = f"the dye ({' and '.join(kinds)}: a coat to {100 * doubt:.0f} %)"
    return f"one reading (measured), {dyes}, film {coat.film_um.basis}"


def _advice(found: Standing, scheme: Scheme, stack: Stack, bare: F64, place: F64, light: str) -> list[str]:
    if not found.believed:
        return [f"{found.misfit}: check the light, the base and the dye before trusting any of this"]
    if found.gone_past:
        return _past(found, scheme, stack, bare, place, light)
    left = found.coats_left
    if left.likely == 0:
        return [
            f"stop here: {found.to_agreed:.1f} CIEDE2000 from the planned colour, and another coat leads away from it"
        ]
    coats = "coat" if left.likely == 1 else "coats"
    span = f" ({left.low:.0f} to {left.high:.0f})" if left.high > left.low else ""
    lines = [f"{left.likely:.0f} more {coats}{span} as laid so far; read again before the last one"]
    if left.low == 0:
        lines.append("it may be there already: look at it beside the panel it is to match before the next coat")
    return lines


def _past(found: Standing, scheme: Scheme, stack: Stack, bare: F64, place: F64, light: str) -> list[str]:
    over = found.build.likely - found.coats_planned
    lines = [
        f"gone past by {over:.1f} coats: {found.to_agreed:.1f} CIEDE2000 from the planned colour",
        "more dye never lightens",
    ]
    later = [i for i in range(found.entry + 1, len(scheme.coats)) if isinstance(scheme.coats[i], DyeCoat)]
    if later:
        lines.append(_with_less_later(found, scheme, stack, bare, place, light, later))
    if found.to_agreed < JUST_SEEN_DE00:
        lines.append("leave it: side by side half of those who look see nothing")
    elif found.to_agreed <= NOT_ACCEPTED_DE00:
        lines.append(f"it may be seen side by side: bring every other face to the same {found.build.likely:.1f} coats")
    else:
        lines.append("agree on the deeper colour and bring every face to it, or strip and begin again")
    return lines


def _with_less_later(
    found: Standing, scheme: Scheme, stack: Stack, bare: F64, place: F64, light: str, later: list[int]
) -> str:
    """How near to the agreed finish the later dye coats could still come, if there were fewer of them."""
    observer = scheme.observer_deg

    def colour(share: float, factor: float) -> F64:
        after = np.ones(place.size)
        after[later] = factor
        part = np.array([share])
        row = _ladder(stack, bare, place, found.entry, part, light=light, observer_deg=observer, after=after)
        return np.asarray(row[0])

    agreed = colour(1.0, 1.0)
    factors = np.linspace(0.0, 1.0, 21)
    now = found.build.likely / found.coats_planned
    apart = [float(delta_e_2000(colour(now, float(factor)), agreed)) for factor in factors]
    best = int(np.argmin(apart))
    return (
        f"with {100 * factors[best]:.0f} % of the later dye coats the finish ends {apart[best]:.1f} CIEDE2000 from the "
        f"planned one (with all of them {apart[-1]:.1f})"
    )
