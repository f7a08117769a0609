"""What a repair will look like along its feather, which feather hides it, and where to end it if none does."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

from layerpreview.answers.along_feather import (
    VIEWS,
    Colours,
    Strip,
    differences,
    repaired_builds,
    strip_along,
    untouched_builds,
    usual_fading,
)
from layerpreview.answers.fade import Fading
from layerpreview.answers.feather import FEATHERS_MM, MOST_FEATHER_MM, Strays, new_share
from layerpreview.answers.natural_edges import NaturalEdge, Piece, natural_edges, piece_round
from layerpreview.answers.touch_up_causes import (
    dye_left,
    each_alone,
    hand_strays,
    one_attempt,
    texture_de00,
    weakened_de00,
    worst_of,
)
from layerpreview.colour import JUST_SEEN_DE00, delta_e_2000, visibility
from layerpreview.picture.survey import Survey
from layerpreview.scheme import Scheme
from layerpreview.spray.passes import HANDS
from layerpreview.surface.damage import Damage
from layerpreview.units import Range

F64 = NDArray[np.float64]
Depth = Literal["clear", "dye", "base"]
Texture = Literal["again", "flat"]
DEPTHS: tuple[Depth, ...] = get_args(Depth)
TEXTURES: tuple[Texture, ...] = get_args(Texture)

BASE_MARGIN_MM = 10.0
"""How far a base is laid anew beyond the damage before the dye's feather begins: common practice, no source."""


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
    strays = hand_strays(scheme, HANDS[repair.hand], fadings[0], repair.seed, dyes=True)
    colours = Colours(scheme, base, bare, fadings[0])

    def tried(feather_mm: float, some: Sequence[Fading]) -> tuple[Strip, F64]:
        strip = strip_along(survey, away_mm, damage, core_mm=repair.core_mm, feather_mm=feather_mm)
        return strip, differences(colours, strip, strays, some, feather_mm, touched=repair.depth != "clear")

    worst = _searched(lambda feather_mm: worst_of(tried(feather_mm, [usual_fading(fadings)])[1]), feathers_mm)
    smallest = next((feather_mm for feather_mm, de00 in worst.items() if de00 < JUST_SEEN_DE00), None)
    chosen = repair.feather_mm or smallest or MOST_FEATHER_MM
    strip, away_de00 = tried(chosen, fadings)
    of_usual = np.split(away_de00, len(fadings), axis=2)[len(fadings) // 2]
    worst[chosen] = worst_of(of_usual)
    usual = _usual(of_usual[0, 0])
    area_mm2, coats_m2 = _sprayed(survey, away_mm, repair, chosen)
    profile, per_10_mm = _profile(colours, strip, strays, fadings, chosen, usual, away_de00[0, 0], repair)
    hand, seed = HANDS[repair.hand], repair.seed
    touched, flat, anew = repair.depth != "clear", repair.texture == "flat", repair.depth == "base"
    alone = each_alone(colours, strip, fadings, chosen, hand=hand, seed=seed) if touched else {}
    weakened = weakened_de00(colours, strip, fadings, chosen) if touched else None
    return TouchUp(
        scheme=scheme.name,
        face=shape.face.name,
        repair=repair,
        damage=damage,
        feather_mm=chosen,
        smallest_mm=smallest,
        steps=_steps(scheme, strip, away_de00, of_usual, repair),
        worst_by_feather=dict(sorted(worst.items())),
        causes=alone,
        profile=profile,
        per_10_mm=per_10_mm,
        texture_de00=texture_de00(colours, strip, gains, flat=flat, seed=seed) if anew else None,
        edges=natural_edges(shape, damage.shape),
        piece=piece_round(shape, damage.shape),
        area_mm2=area_mm2,
        coats_m2=coats_m2,
        dye_left=dye_left(strip, fadings),
        weakened_de00=weakened,
        fadings=tuple(fadings),
        usual=one_attempt(strays, usual),
    )


def _searched(worst: Callable[[float], float], feathers_mm: Sequence[float]) -> dict[float, float]:
    """The worst step by feather, up to the first that hides it."""
    found: dict[float, float] = {}
    for feather_mm in feathers_mm:
        found[feather_mm] = worst(feather_mm)
        if found[feather_mm] < JUST_SEEN_DE00:
            break
    return found


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
        builds = repaired_builds(strip, one_attempt(strays, usual), fading, feather_mm=feather_mm)
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
