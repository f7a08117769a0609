"""How evenly the coats will lie under each hand, the work, and what would stop the stripes showing: which coat entry
matters most, and other coats and overlaps tried on it.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from layerpreview.answers.evenness import Laid, Part, Stripes, lay, means_of, part_of, stripes_of
from layerpreview.answers.gun import GunSet
from layerpreview.answers.uneven import Spraying, UnevenFace, coarse_scene, uneven_faces
from layerpreview.colour import JUST_SEEN_DE00, visibility
from layerpreview.doing import doing, each_of
from layerpreview.picture.scene import Scene
from layerpreview.scheme import DyeCoat, Scheme
from layerpreview.spray.passes import HANDS, Hand, Strokes, best_overlap, fan_profile, overlap_ripple, travel

MOST_COATS = 16
OVERLAPS = (0.6, 2.0 / 3.0, 0.75)
AS_GOOD_DE00 = 0.1
"""Of two ways whose figures differ by no more than this, the one with less work is as good."""


@dataclass(frozen=True)
class Trial:
    """One way to spray the same colour, and the part's stripes with it: `coats` of the entry at `strength` times what
    the scheme says; `overlap` of all entries."""

    coats: int
    strength: float
    overlap: float
    stripes_de00: float
    verdict: str


@dataclass(frozen=True)
class Advice:
    """What to change about the coat entry that matters most, number `order` from 1.

    `now`: the hand's own figure; `even_de00`: what it would be with this entry laid perfectly even. `coats`: the fewest
    coats at this overlap, `overlap`: the least overlap with these coats, `both`: the fewest coats at the closest
    overlap; None where that is not needed or does not get below what is seen. Where none does, `best` is the least work
    that comes as low as any, and `remains` the entry (number and name) that matters most after it. `fan_best_overlap`
    and what fan and overlap alone leave.
    """

    order: int
    what: str
    now: Trial
    coats: Trial | None
    overlap: Trial | None
    both: Trial | None
    fan_best_overlap: float
    fan_ripple_now: float
    fan_ripple_best: float
    even_de00: float
    best: Trial | None
    remains: int | None
    remains_what: str | None


class _Trials:
    """One hand's part with one entry sprayed in other ways; every way is tried once and kept in `done`."""

    def __init__(self, part: Part, how: Spraying, hand: Hand, laid: Laid, entry: int, coats: int) -> None:
        self.part, self.how, self.hand, self.entry, self.coats = part, how, hand, entry, coats
        self._by_overlap = {how.overlap: laid}
        self.done: dict[tuple[int, float], Trial] = {}

    def laid(self, coats: int, overlap: float) -> Laid:
        """The part with `coats` coats of the entry and this overlap of all entries."""
        how = replace(self.how, overlap=overlap)
        if overlap not in self._by_overlap:
            self._by_overlap[overlap] = lay(self.part, how, self.hand)
        laid = self._by_overlap[overlap]
        return laid if coats == self.coats else self._again(laid, how, coats)

    def _again(self, laid: Laid, how: Spraying, coats: int) -> Laid:
        """Only the entry is sprayed again; the others stay as they lie."""
        found = []
        for attempt, faces in enumerate(laid.faces):
            alone = [
                replace(face, places=tuple(p if i == self.entry else None for i, p in enumerate(face.places)))
                for face in faces
            ]
            again, _ = uneven_faces(self.part.scheme, alone, how, self.hand, attempt=attempt, coats={self.entry: coats})
            found.append(tuple(again))
        return Laid(tuple(found), tuple(self.part.de00(faces) for faces in found))

    def trial(self, coats: int, overlap: float) -> Trial:
        """How the stripes come out."""
        key = coats, overlap
        if key not in self.done:
            doing(f"trying {coats} coat{'' if coats == 1 else 's'} with {100 * overlap:.0f} % overlap")
            level = self.laid(coats, overlap).stripes_de00
            self.done[key] = Trial(coats, self.coats / coats, overlap, level, visibility(level))
        return self.done[key]

    def fewest(self, overlap: float, below_de00: float = JUST_SEEN_DE00) -> Trial | None:
        """The fewest coats, more than now, that get below; in growing steps and then by halving the last one, as more
        coats are more even but for chance."""

        def enough(coats: int) -> bool:
            return self.trial(coats, overlap).stripes_de00 < below_de00

        least, more = self.coats + 1, 1
        while least <= MOST_COATS:
            most = min(MOST_COATS, self.coats + more)
            if enough(most):
                return self.trial(least + bisect_left(range(least, most), True, key=enough), overlap)
            least, more = most + 1, 2 * more + 1
        return None


def advice_of(part: Part, how: Spraying, hand: Hand, laid: Laid, stripes: Stripes) -> Advice | None:
    """Try other coats and overlaps for the entry that matters most, the colour kept; None without a coat of dye.

    `laid`, `stripes`: the part under `hand` and its figures, which every trial is measured like.
    """
    entries = _entries(part)
    if not entries:
        return None
    even = {i: _even_level(part, laid, i) for i in entries}
    at = min(even, key=lambda i: even[i])
    coat = part.scheme.coats[at]
    now = Trial(coat.coats, 1.0, how.overlap, stripes.stripes_de00, stripes.verdict)
    trials = _Trials(part, how, hand, laid, at, coat.coats)
    by_coats, by_overlap, both = _below_seen(trials, now, even[at])
    seen = now.stripes_de00 >= JUST_SEEN_DE00
    best = _best(trials, now) if seen and not (by_coats or by_overlap or both) else None
    left = _even_levels_after(trials, best) if best else {}
    remains = min(left, key=lambda i: left[i], default=None)
    evenest = best_overlap(how.gun.beta)
    return Advice(
        order=at + 1,
        what=_name(part, at),
        now=now,
        coats=by_coats,
        overlap=by_overlap,
        both=both,
        fan_best_overlap=evenest,
        fan_ripple_now=_ripple(how, how.overlap),
        fan_ripple_best=_ripple(how, evenest),
        even_de00=even[at],
        best=best,
        remains=None if remains is None else remains + 1,
        remains_what=None if remains is None else _name(part, remains),
    )


def _below_seen(trials: _Trials, now: Trial, even_de00: float) -> tuple[Trial | None, Trial | None, Trial | None]:
    """By coats, by overlap and by both, where that gets below what is seen."""
    if now.stripes_de00 < JUST_SEEN_DE00:
        return None, None, None
    overlaps = _overlaps(trials.how)
    # Endless coats of one entry lie no better than perfectly even.
    by_coats = trials.fewest(now.overlap) if even_de00 < JUST_SEEN_DE00 else None
    tried = (trials.trial(now.coats, overlap) for overlap in overlaps)
    by_overlap = next((t for t in tried if t.stripes_de00 < JUST_SEEN_DE00), None)
    both = None
    if overlaps and by_overlap is None and (by_coats is None or by_coats.coats > now.coats + 1):
        both = trials.fewest(overlaps[-1])
    return by_coats, by_overlap, both


def _best(trials: _Trials, now: Trial) -> Trial | None:
    """The least work that comes as low as any way that may be tried; None where there is none."""
    overlaps = _overlaps(trials.how)
    with_coats = (now.overlap, *overlaps[-1:])
    tried = [trials.trial(now.coats, overlap) for overlap in overlaps]
    if now.coats < MOST_COATS:
        tried += [trials.trial(MOST_COATS, overlap) for overlap in with_coats]
    if not tried:
        return None
    goal = min(t.stripes_de00 for t in tried) + AS_GOOD_DE00
    tried += [t for overlap in with_coats if (t := trials.fewest(overlap, goal))]
    return min((t for t in tried if t.stripes_de00 <= goal), key=lambda t: (t.coats, t.overlap))


def _overlaps(how: Spraying) -> list[float]:
    """Other overlaps worth trying, rising: those at which fan and overlap alone leave no more than now, to a thousandth
    of the build; no nearer to now than a hundredth."""
    some = sorted({round(o, 3) for o in (*OVERLAPS, best_overlap(how.gun.beta)) if abs(o - how.overlap) > 0.01})
    return [o for o in some if _ripple(how, o) <= _ripple(how, how.overlap) + 1e-3]


def _ripple(how: Spraying, overlap: float) -> float:
    return overlap_ripple(lambda u: fan_profile(u, beta=how.gun.beta), overlap=overlap).cv


def _entries(part: Part) -> list[int]:
    """The coats of dye that land somewhere on the part."""
    coats = enumerate(part.scheme.coats)
    return [i for i, c in coats if isinstance(c, DyeCoat) and any(face.places[i] is not None for face in part.faces)]


def _even_level(part: Part, laid: Laid, entry: int) -> float:
    """The figure if one entry lay perfectly even, at its mean on each face."""
    seen = [part.de00([_evened(face, entry) for face in faces]) for faces in laid.faces]
    return Laid(laid.faces, tuple(seen)).stripes_de00


def _evened(face: UnevenFace, entry: int) -> UnevenFace:
    factor = face.factor.copy()
    here = face.inside
    factor[entry] = means_of(face.intended[:, here], face.factor[:, here])[entry]
    return replace(face, factor=factor)


def _even_levels_after(trials: _Trials, best: Trial) -> dict[int, float]:
    laid = trials.laid(best.coats, best.overlap)
    return {i: _even_level(trials.part, laid, i) for i in _entries(trials.part)}


def _name(part: Part, entry: int) -> str:
    return part.scheme.coats[entry].label


@dataclass(frozen=True)
class Pass:
    """What one coat entry asks of the hand: strokes, metres and minutes for one coat and in all, drying apart."""

    order: int
    what: str
    coats: int
    strokes: int
    metres: float
    minutes: float
    fan_mm: float
    spacing_mm: float


@dataclass(frozen=True, eq=False)
class Evenness:
    """The figures by hand, the work by coat entry, and what would stop the stripes showing.

    `advised_hand`: whose figures the advice is for. `gun`: how the gun is set and where that comes from. `part` as it
    is meant, and `usual` by hand: its faces as the attempt leaves them that comes nearest to the hand's figure.
    """

    light: str
    stripes: tuple[Stripes, ...]
    passes: tuple[Pass, ...]
    advice: Advice | None
    advised_hand: str
    gun: GunSet
    part: Part = field(repr=False)
    usual: Mapping[str, list[UnevenFace]] = field(repr=False)


def evenness_of(scheme: Scheme, scene: Scene, gun: GunSet, *, hands: Sequence[str], advised_hand: str) -> Evenness:
    """Let each of `hands` lay the scheme's coats on the part in `scene`, and try what would help one of them.

    The passes are those of the last hand.
    """
    whole = part_of(scheme, coarse_scene(scheme, gun.how, width_mm=scene.width_px * scene.pixel_mm))
    part = whole.sample()
    each = list(dict.fromkeys((*hands, advised_hand)))
    laid = {hand: lay(part, gun.how, HANDS[hand]) for hand in each_of("laying the coats by hand", each, len(each))}
    figures = {hand: stripes_of(scheme, laid[hand], hand) for hand in laid}
    usual = {
        hand: uneven_faces(scheme, whole.faces, gun.how, HANDS[hand], attempt=laid[hand].usual)
        for hand in each_of("laying the coats as drawn", hands, len(hands))
    }
    return Evenness(
        light=scheme.lights[0],
        stripes=tuple(figures[hand] for hand in hands),
        passes=tuple(_passes(scheme, usual[hands[-1]][1])),
        advice=advice_of(part, gun.how, HANDS[advised_hand], laid[advised_hand], figures[advised_hand]),
        advised_hand=advised_hand,
        gun=gun,
        part=whole,
        usual={hand: faces for hand, (faces, _) in usual.items()},
    )


def _passes(scheme: Scheme, strokes: list[list[Strokes]]) -> list[Pass]:
    out = []
    for i, laid in enumerate(strokes):
        if laid:
            coat, way, fan, spacing = scheme.coats[i], travel(laid), laid[0].fan, laid[0].spacing_mm
            minutes = way.seconds / 60.0
            out.append(Pass(i + 1, coat.label, coat.coats, way.strokes, way.metres, minutes, fan.width_mm, spacing))
    return out
