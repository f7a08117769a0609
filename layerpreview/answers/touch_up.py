"""What a repair will look like along its feather, which feather hides it, and where to end it if none does."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

from layerpreview.answers.doubts import parts_of
from layerpreview.answers.fade import Fading
from layerpreview.answers.feather import FEATHERS_MM, MOST_FEATHER_MM, Strays, new_share, shares, strays_of
from layerpreview.answers.natural_edges import NaturalEdge, Piece, natural_edges, piece_round
from layerpreview.colour import JUST_SEEN_DE00, delta_e_2000, spectrum_to_lab, visibility
from layerpreview.film.curves import MetalFilm
from layerpreview.finish.layers import stack_of
from layerpreview.finish.stack import Stack
from layerpreview.finish.view import STRAIGHT_ON, View
from layerpreview.picture.faces import FaceShape
from layerpreview.picture.survey import Survey
from layerpreview.scheme import Base, DyeCoat, Scheme
from layerpreview.spray.passes import HANDS, Hand
from layerpreview.surface.damage import Damage
from layerpreview.units import Range

F64 = NDArray[np.float64]
Depth = Literal["clear", "dye", "base"]
Texture = Literal["again", "flat"]
DEPTHS: tuple[Depth, ...] = get_args(Depth)
TEXTURES: tuple[Texture, ...] = get_args(Texture)

BASE_MARGIN_MM = 10.0
"""How far a base is laid anew beyond the damage before the dye's feather begins: common practice, no source."""
VIEWS: dict[str, View] = {
    "straight on": STRAIGHT_ON,
    "lamp, 25 deg from its mirror image": View(-20.0, 45.0),
    "lamp, 45 deg from it": View(0.0, 45.0),
    "lamp, 75 deg from it": View(30.0, 45.0),
}
"""The lamp stands at 45 degrees; angles are those of multi-angle instruments (ASTM E2194, from memory)."""
_LEVELS, _RAYS = 16, 6
_INSIDE = (0.9, 0.4)
"""Where the inside of the damage is looked at, as shares of its depth."""
_PAIRS = 400


@dataclass(frozen=True)
class Repair:
    """How it is repaired: sanded through to `depth`; the base's `texture` made again or left flat where it is "base".

    `hand` is one of `HANDS`; `feather_mm` [mm, 10..60], None for the smallest that hides it.
    """

    depth: Depth = "dye"
    texture: Texture = "again"
    hand: str = "good"
    feather_mm: float | None = None
    seed: int = 7

    @property
    def core_mm(self) -> float:
        """How far the old coats are taken off wholly beyond the damage [mm]."""
        return BASE_MARGIN_MM if self.depth == "base" else 0.0


@dataclass(frozen=True, eq=False)
class Strip:
    """Places of a face along the feather: `away_mm` (P,) from where old coats are off wholly, `builds` (coats, P) as
    they were sprayed, `at_mm` (P, 2) on the face, `ray` (P,) the number of the line outwards that each lies on."""

    away_mm: F64
    builds: F64
    at_mm: F64
    ray: NDArray[np.intp]


@dataclass(frozen=True)
class Step:
    """How far the repaired place is from the untouched one (CIEDE2000) where it is most, under one light and view.

    `de00`: of a tenth, half and nine tenths of the attempts; `hidden`: the share of attempts of which most would see
    nothing; `away_mm` [mm] from the damage and `at_mm` on the face: the worst place of the usual attempt.
    """

    light: str
    view: str
    de00: Range
    verdict: str
    hidden: float
    away_mm: float
    at_mm: tuple[float, float]


@dataclass(frozen=True)
class Level:
    """One distance [mm] on the line outwards where most shows, first light, straight on.

    What is left of old coats and sprayed again by a perfect hand; L*a*b* of both, and CIEDE2000 of the usual attempt
    and of nine tenths of them.
    """

    away_mm: float
    old_share: float
    new_share: float
    lab_untouched: tuple[float, float, float]
    lab_repaired: tuple[float, float, float]
    de00: float
    de00_high: float


@dataclass(frozen=True, eq=False)
class TouchUp:
    """The answer. `feather_mm` is the one told of, `smallest_mm` the smallest that hides it, None where none does.

    `steps` by light and view; `causes`: CIEDE2000 that each cause alone leaves; `texture_de00`: how much places of the
    base's own texture differ, None where it is left alone; `edges` the nearest first; `piece`: what to do anew else.
    `area_mm2` that is sprayed, of which each coat entry takes `coats_m2` at full build. `dye_left` by the light, and
    `weakened_de00` that a perfect hand leaves with the new dyes weakened to that; None where nothing has faded.
    """

    scheme: str
    face: str
    repair: Repair
    damage: Damage
    feather_mm: float
    smallest_mm: float | None
    steps: tuple[Step, ...]
    worst_by_feather: dict[float, float]
    causes: dict[str, float]
    profile: tuple[Level, ...]
    per_10_mm: float
    texture_de00: float | None
    edges: tuple[NaturalEdge, ...]
    piece: Piece
    area_mm2: float
    coats_m2: tuple[float, ...]
    dye_left: dict[str, Range]
    weakened_de00: float | None
    fadings: tuple[Fading, ...] = field(repr=False)
    usual: Strays = field(repr=False)

    @property
    def worst(self) -> Step:
        """The step that shows most."""
        return max(self.steps, key=lambda step: step.de00.likely)

    @property
    def hides(self) -> bool:
        """Whether most who look would see nothing, of colour and of texture."""
        return self.worst.de00.likely < JUST_SEEN_DE00 and not self.texture_shows

    @property
    def texture_shows(self) -> bool:
        """Whether a flat spot stands out of the base's texture."""
        return self.repair.texture == "flat" and (self.texture_de00 or 0.0) >= JUST_SEEN_DE00

    @property
    def within_feather(self) -> tuple[NaturalEdge, ...]:
        """Natural edges that the feather would run over."""
        reach = self.feather_mm + self.repair.core_mm
        return tuple(edge for edge in self.edges if edge.away_mm < reach)


@dataclass(frozen=True, eq=False)
class Colours:
    """How builds of a face become L*a*b*: its base, what it shows bare (81,), the lights and views."""

    scheme: Scheme
    base: Base
    bare: F64
    fading: Fading
    views: tuple[str, ...] = tuple(VIEWS)

    @cached_property
    def _seen(self) -> list[tuple[Stack, F64]]:
        straight = stack_of(self.scheme, base=self.base)
        found = []
        for name in self.views:
            view = VIEWS[name]
            whole = straight if view == STRAIGHT_ON else stack_of(self.scheme, view, base=self.base)
            found.append((self.fading.stack(whole), self.bare * _brighter(whole, straight)))
        return found

    def lab(self, builds: F64) -> F64:
        """L*a*b* (lights, views, ..., 3) of builds (..., layers of the fading)."""
        flat = builds.reshape(-1, builds.shape[-1])
        out = np.empty((len(self.scheme.lights), len(self.views), len(flat), 3))
        for v, (stack, bare) in enumerate(self._seen):
            spectra = stack.reflectance(np.broadcast_to(bare, (len(flat), bare.size)), flat)
            for i, light in enumerate(self.scheme.lights):
                out[i, v] = spectrum_to_lab(spectra, light=light, observer_deg=self.scheme.observer_deg)
        return out.reshape(*out.shape[:2], *builds.shape[:-1], 3)


def _brighter(whole: Stack, straight: Stack) -> float:
    """How much more a bare metal sends up than straight on in even light; white and wood look alike from all sides."""
    if isinstance(whole.film, MetalFilm) and isinstance(straight.film, MetalFilm):
        return whole.film.bare / straight.film.bare
    return 1.0


def repaired_builds(strip: Strip, strays: Strays, fading: Fading, *, feather_mm: float) -> F64:
    """Builds (T, P, layers) of every attempt: what is left of old coats, as faded as they are, and new ones over it.

    Layers are summed entry by entry: that in the overlap a new coat lies on an old one of a later entry is left out.
    """
    old, new = shares(strip.away_mm, strays, feather_mm=feather_mm)
    faded, fresh = untouched_builds(strip, fading), strip.builds[fading.of_coat].T
    again = np.swapaxes(new[:, fading.of_coat], 1, 2) * strays.dye[:, None, :]
    return np.asarray(old[:, :, None] * faded + again * fresh)


def untouched_builds(strip: Strip, fading: Fading) -> F64:
    """Builds (P, layers) of the old coats as the light has left them."""
    return fading.builds(strip.builds).astype(np.float64).T


def strip_along(survey: Survey, away_mm: F64, damage: Damage, *, core_mm: float, feather_mm: float) -> Strip:
    """Places at even steps of the distance, along a few lines outwards; `away_mm` (P,) of the survey's pixels.

    Distances are the steps themselves; builds are those of the nearest pixels. Steps that the face has no room for are
    left out, and lines that see what the first one sees.
    """
    grid, on_face = survey.grid, survey.edge_mm > 0.0
    inside = -damage.depth_mm * np.array(_INSIDE) - core_mm
    steps = np.concatenate([inside, feather_mm * np.linspace(0.0, 1.1, _LEVELS)])
    x, y = (v.ravel() for v in np.meshgrid(grid.x_mm(), grid.y_mm()))
    middle = damage.middle_mm
    turn = np.arctan2(y - middle[1], x - middle[0])
    rays: list[list[tuple[float, int]]] = [[] for _ in range(_RAYS)]
    for step in steps:
        near = np.flatnonzero(on_face & (np.abs(away_mm - core_mm - step) <= grid.pixel_mm))
        for k, ray in enumerate(rays):
            off = np.abs((turn[near] - 2.0 * np.pi * k / _RAYS + np.pi) % (2.0 * np.pi) - np.pi)
            if near.size and float(off.min()) <= np.pi / _RAYS:
                ray.append((float(step), int(near[np.argmin(off)])))
    seen: dict[tuple[object, ...], int] = {}
    for k, ray in enumerate(rays):
        seen.setdefault(tuple((step, survey.builds[:, at].round(4).tobytes()) for step, at in ray), k)
    kept = [(k, *place) for k in sorted(seen.values()) for place in rays[k]]
    at = np.array([place[2] for place in kept], dtype=np.intp)
    return Strip(
        away_mm=np.array([place[1] for place in kept]),
        builds=survey.builds[:, at].astype(np.float64),
        at_mm=np.stack([x[at], y[at]], axis=1),
        ray=np.array([place[0] for place in kept], dtype=np.intp),
    )


def touch_up_of(
    scheme: Scheme,
    survey: Survey,
    bare: F64,
    gains: F64,
    damage: Damage,
    repair: Repair,
    fadings: Sequence[Fading],
    *,
    feathers_mm: Sequence[float] = FEATHERS_MM,
) -> TouchUp:
    """What a repair of `damage` on the surveyed face looks like; `bare` (81,) its base, `gains` (N,) places of it
    against its mean. `fadings`: what light has left of the old coats, the gentlest first; a single one that fades
    nothing for a new part."""
    shape = survey.shape
    away_mm = damage.away_rows(survey.grid, 0, survey.grid.n_rows).ravel().astype(np.float64)
    base = scheme.base_for(shape.face.name)
    strays = _strays(scheme, HANDS[repair.hand], fadings[0], repair.seed, dyes=True)
    colours = Colours(scheme, base, bare, fadings[0])

    def tried(feather_mm: float, some: Sequence[Fading]) -> tuple[Strip, F64]:
        strip = strip_along(survey, away_mm, damage, core_mm=repair.core_mm, feather_mm=feather_mm)
        return strip, _differences(colours, strip, strays, some, feather_mm, touched=repair.depth != "clear")

    worst: dict[float, float] = {}
    smallest: float | None = None
    for feather_mm in feathers_mm:
        worst[feather_mm] = _worst(tried(feather_mm, [usual_fading(fadings)])[1])
        if worst[feather_mm] < JUST_SEEN_DE00:
            smallest = feather_mm
            break
    chosen = repair.feather_mm or smallest or MOST_FEATHER_MM
    strip, away_de00 = tried(chosen, fadings)
    of_usual = np.split(away_de00, len(fadings), axis=2)[len(fadings) // 2]
    worst[chosen] = _worst(of_usual)
    usual = _usual(of_usual[0, 0])
    area_mm2, coats_m2 = _sprayed(survey, away_mm, repair, chosen)
    profile, per_10_mm = _profile(colours, strip, strays, fadings, chosen, usual, away_de00[0, 0], repair)
    return TouchUp(
        scheme=scheme.name,
        face=shape.face.name,
        repair=repair,
        damage=damage,
        feather_mm=chosen,
        smallest_mm=smallest,
        steps=_steps(scheme, strip, away_de00, of_usual, repair),
        worst_by_feather=dict(sorted(worst.items())),
        causes=_causes(colours, strip, fadings, chosen, repair),
        profile=profile,
        per_10_mm=per_10_mm,
        texture_de00=_texture(colours, strip, gains, repair, shape),
        edges=natural_edges(shape, damage.shape),
        piece=piece_round(shape, damage.shape),
        area_mm2=area_mm2,
        coats_m2=coats_m2,
        dye_left=_dye_left(strip, fadings),
        weakened_de00=_weakened(colours, strip, fadings, chosen) if repair.depth != "clear" else None,
        fadings=tuple(fadings),
        usual=_one(strays, usual),
    )


def dye_doubts(scheme: Scheme) -> list[Range]:
    """How strong each dye of each coat entry, mixed once more, may come out against the first time; 1 for paint."""
    parts, found = parts_of(scheme), list[Range]()
    for i, coat in enumerate(scheme.coats):
        dyed = [parts.sources[part.measured].factor.range for part in parts.dyes[i]]
        found += dyed if isinstance(coat, DyeCoat) else [Range.point(1.0)]
    return found


def _strays(scheme: Scheme, hand: Hand, fading: Fading, seed: int, *, dyes: bool) -> Strays:
    doubts = dye_doubts(scheme) if dyes else [Range.point(1.0)] * len(fading.layers)
    return strays_of(hand, coats=[coat.coats for coat in scheme.coats], dyes=doubts, seed=seed)


def _one(strays: Strays, attempt: int) -> Strays:
    row = slice(attempt, attempt + 1)
    return Strays(strays.sanded_mm[row], strays.laid_mm[row], strays.level[row], strays.dye[row])


def _differences(
    colours: Colours, strip: Strip, strays: Strays, fadings: Sequence[Fading], feather_mm: float, *, touched: bool
) -> F64:
    """CIEDE2000 (lights, views, attempts under each fading, P) of repaired and untouched places."""
    found = []
    for fading in fadings:
        seen = replace(colours, fading=fading)
        before = seen.lab(untouched_builds(strip, fading))[:, :, None]
        if touched:
            after = seen.lab(repaired_builds(strip, strays, fading, feather_mm=feather_mm))
        else:
            after = np.repeat(before, len(strays.sanded_mm), axis=2)
        found.append(delta_e_2000(before, after))
    return np.concatenate(found, axis=2)


def _worst(away_de00: F64) -> float:
    """Of the usual attempt, under the light and view where it shows most."""
    return float(np.median(away_de00.max(axis=3), axis=2).max())


def _usual(away_de00: F64) -> int:
    """The attempt that comes nearest to the median, of (attempts, P)."""
    most = away_de00.max(axis=1)
    return int(np.argmin(np.abs(most - np.median(most))))


def _steps(scheme: Scheme, strip: Strip, away_de00: F64, of_usual: F64, repair: Repair) -> tuple[Step, ...]:
    """What shows by light and view: the likely figure under the usual fading, its range and `hidden` under all."""
    found = []
    for i, light in enumerate(scheme.lights):
        for v, view in enumerate(VIEWS):
            most, likely = away_de00[i, v].max(axis=1), float(np.median(of_usual[i, v].max(axis=1)))
            low, high = (float(np.percentile(most, share)) for share in (10.0, 90.0))
            at = int(np.argmax(of_usual[i, v][_usual(of_usual[i, v])]))
            found.append(
                Step(
                    light=light,
                    view=view,
                    de00=Range(min(low, likely), likely, max(likely, high)),
                    verdict=visibility(likely),
                    hidden=float(np.mean(most < JUST_SEEN_DE00)),
                    away_mm=float(strip.away_mm[at]) + repair.core_mm,
                    at_mm=(float(strip.at_mm[at, 0]), float(strip.at_mm[at, 1])),
                )
            )
    return tuple(found)


def _causes(
    colours: Colours, strip: Strip, fadings: Sequence[Fading], feather_mm: float, repair: Repair
) -> dict[str, float]:
    """The worst step that the hand, the dye mixed once more and the light of years leave, each alone."""
    scheme, perfect = colours.scheme, HANDS["flat"]
    if repair.depth == "clear":
        return {}
    new = (replace(fadings[0], k_h=np.zeros_like(fadings[0].k_h)),)
    alone: dict[str, tuple[Strays, Sequence[Fading]]] = {
        "the hand": (_strays(scheme, HANDS[repair.hand], fadings[0], repair.seed, dyes=False), new),
        "the dye mixed once more": (_strays(scheme, perfect, fadings[0], repair.seed, dyes=True), new),
    }
    if any(fading.k_h.any() for fading in fadings):
        unlike = [usual_fading(fadings)]
        alone["the light of the years"] = (_strays(scheme, perfect, fadings[0], repair.seed, dyes=False), unlike)
    return {
        name: _worst(_differences(colours, strip, strays, some, feather_mm, touched=True))
        for name, (strays, some) in alone.items()
    }


def _profile(
    colours: Colours,
    strip: Strip,
    strays: Strays,
    fadings: Sequence[Fading],
    feather_mm: float,
    usual: int,
    away_de00: F64,
    repair: Repair,
) -> tuple[tuple[Level, ...], float]:
    """What is seen step by step, and the most that it changes over 10 mm (CIEDE2000)."""
    fading = usual_fading(fadings)
    seen = replace(colours, fading=fading, views=("straight on",))
    before = seen.lab(untouched_builds(strip, fading))[0, 0]
    after = before
    if repair.depth != "clear":
        builds = repaired_builds(strip, _one(strays, usual), fading, feather_mm=feather_mm)
        after = seen.lab(builds)[0, 0, 0]
    off = delta_e_2000(before, after)
    levels = []
    for at in np.flatnonzero(strip.ray == strip.ray[int(np.argmax(off))]):
        new = 0.0 if repair.depth == "clear" else float(new_share(strip.away_mm[at], feather_mm=feather_mm))
        levels.append(
            Level(
                away_mm=float(strip.away_mm[at]) + repair.core_mm,
                old_share=1.0 - new,
                new_share=new,
                lab_untouched=_triple(before[at]),
                lab_repaired=_triple(after[at]),
                de00=float(off[at]),
                de00_high=float(np.percentile(away_de00[:, at], 90.0)),
            )
        )
    shift = np.array([np.subtract(level.lab_repaired, level.lab_untouched) for level in levels])
    place = np.array([level.lab_untouched for level in levels])
    wide = np.diff([level.away_mm for level in levels])
    turns = delta_e_2000(place[:-1] + shift[:-1], place[:-1] + shift[1:]) * 10.0 / np.maximum(wide, 0.1)
    return tuple(levels), float(turns.max(initial=0.0))


def usual_fading(fadings: Sequence[Fading]) -> Fading:
    """The middle one, from the gentlest to the harshest."""
    return fadings[len(fadings) // 2]


def _triple(values: F64) -> tuple[float, float, float]:
    return float(values[0]), float(values[1]), float(values[2])


def _sprayed(survey: Survey, away_mm: F64, repair: Repair, feather_mm: float) -> tuple[float, tuple[float, ...]]:
    """Area [mm2] that is sprayed again, and of each coat its area at full build [m2]."""
    pixel_mm2 = survey.grid.pixel_mm**2
    new = new_share(away_mm - repair.core_mm, feather_mm=feather_mm) * (survey.edge_mm > 0.0)
    if repair.depth == "clear":
        return float((new > 0.0).sum()) * pixel_mm2, (0.0,) * len(survey.builds)
    full = (survey.laid @ new) * pixel_mm2 * 1e-6
    return float((new > 0.0).sum()) * pixel_mm2, tuple(float(area) for area in full)


def _dye_left(strip: Strip, fadings: Sequence[Fading]) -> dict[str, Range]:
    """Share of each fading dye that is left beside the repair, harsh to gentle."""
    beside = strip.builds[:, int(np.argmax(strip.away_mm))][:, None]
    left = np.stack([fading.left(beside).ravel() for fading in fadings])
    there = {fadings[0].names[d] for d in fadings[0].of_dye[beside[fadings[0].of_coat, 0] > 0.0] if d >= 0}
    return {
        name: Range(float(left[:, d].min()), float(np.median(left[:, d])), float(left[:, d].max()))
        for d, name in enumerate(fadings[0].names)
        if name in there and float(left[:, d].min()) < 1.0 - 1e-6
    }


def _weakened(colours: Colours, strip: Strip, fadings: Sequence[Fading], feather_mm: float) -> float | None:
    """The worst step of a perfect hand with every dye weakened to what the light has left of it beside the repair."""
    fading = usual_fading(fadings)
    if not fading.k_h.any():
        return None
    perfect = _strays(colours.scheme, HANDS["flat"], fading, 0, dyes=False)
    left = np.append(fading.left(strip.builds[:, int(np.argmax(strip.away_mm))][:, None]).ravel(), 1.0)
    matched = replace(_one(perfect, 0), dye=left[None, fading.of_dye])
    return _worst(_differences(colours, strip, matched, [fading], feather_mm, touched=True))


def _texture(colours: Colours, strip: Strip, gains: F64, repair: Repair, shape: FaceShape) -> float | None:
    """How much two places of the base's texture differ under the finish, or one from a flat spot; half of them less.

    Nothing where the base is not made anew, or is wood, whose grain stays.
    """
    if repair.depth != "base" or colours.base.kind == "wood" or float(gains.std()) < 1e-3:
        return None
    rng = np.random.default_rng([repair.seed, len(shape.face.name)])
    picked = rng.choice(gains, (2, _PAIRS))
    if repair.texture == "flat":
        picked[1] = 1.0
    whole = colours.fading.stack(stack_of(colours.scheme, base=colours.base))
    build = untouched_builds(strip, colours.fading)[int(np.argmax(strip.away_mm))]
    builds = np.broadcast_to(build, (_PAIRS, build.size))
    one, other = (
        spectrum_to_lab(
            whole.reflectance(gain[:, None] * colours.bare, builds),
            light=colours.scheme.lights[0],
            observer_deg=colours.scheme.observer_deg,
        )
        for gain in picked
    )
    return float(np.median(delta_e_2000(one, other)))
