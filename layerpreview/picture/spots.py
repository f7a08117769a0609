"""Single places of a finish, where they lie and what lands there: base, open field, zones, edges, bursts."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from layerpreview.colour import rgb_basis
from layerpreview.finish.view import STRAIGHT_ON, View
from layerpreview.picture.scene import PlacedFace, Scene, make_scene
from layerpreview.picture.survey import Survey
from layerpreview.scheme import Base, Burst, Coat, DyeCoat, OpaqueCoat, Scheme
from layerpreview.surface.distance import coverage

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]
Flags = NDArray[np.bool_]

INSIDE_EDGE_MM = 1.0
"""How far inside its edge an edge is looked at: a pixel of a usual picture lies wholly on the part there."""
FIGURES_WIDTH_PX = 400
"""Width of the scene that colours are taken from where no picture is made [px]."""
HARDLY_HIDDEN, MOSTLY_HIDDEN = 0.02, 0.5
"""Shares that opaque coats may hide of a place told for its dye, and from which an edge no longer stands for it."""
MEAN_ROWS = 48
AS_FULL = 0.02
"""Build by which one place may have less of a coat than another and still count as having as much."""


class SpotKind(StrEnum):
    """What a place stands for."""

    BASE = "base"
    """The face's base with nothing on it, at the place of its field."""
    FIELD = "field"
    """The open face, as far from edges and from painted or taped zones as it goes."""
    ZONE = "zone"
    """The middle of a zone."""
    EDGE = "edge"
    """Just inside an edge, or at a line or point, that bursts start from."""
    BURST = "burst"
    """Where the dye of a burst shows most, if opaque coats hide it at the edge."""


@dataclass(frozen=True, eq=False)
class Spot:
    """One place to give the colour of.

    `place` is its name without the face's. `at_mm`: across and down from the top left corner of its
    face's box [mm]; `bare` (81,) the base's mean spectrum; `build` (layers,) what the picture has there of every coat,
    `laid` (layers,) what of it lay there before it was cut back.
    """

    name: str
    place: str
    kind: SpotKind
    face: str
    at_mm: tuple[float, float]
    base: Base
    bare: F64
    build: F64
    laid: F64


def spots_of(scheme: Scheme, scene: Scene, surveys: Sequence[Survey] | None = None) -> list[Spot]:
    """The places of every face, in the order of `SpotKind`; with one face the names carry no face.

    A face that painted zones cover wholly has no open field. `surveys`: of the faces, where they were made already.
    """
    surveys = surveys or [Survey(scheme, face.picture.shape) for face in scene.faces]
    spots: list[Spot] = []
    taken: set[str] = set()
    for face, survey in zip(scene.faces, surveys, strict=True):
        bare, before = mean_bare(face), "" if len(scene.faces) == 1 else f"{face.name}, "
        x, y = survey.grid.x_mm(), survey.grid.y_mm()
        for kind, name, at in _places(survey):
            name = _unlike(name, kind, before, taken)
            taken.add(before + name)
            row, column = divmod(at, survey.grid.n_cols)
            build, laid = (builds[:, at].astype(np.float64) for builds in (survey.builds, survey.laid))
            spots.append(
                Spot(
                    name=before + name,
                    place=name,
                    kind=kind,
                    face=face.name,
                    at_mm=(float(x[column]), float(y[row])),
                    base=scheme.base_for(face.name),
                    bare=bare,
                    build=np.zeros_like(build) if kind is SpotKind.BASE else build,
                    laid=np.zeros_like(laid) if kind is SpotKind.BASE else laid,
                )
            )
    return spots


def _unlike(name: str, kind: SpotKind, before: str, taken: Collection[str]) -> str:
    """A name that, with what stands `before` it, no other place has: a zone may be called what is an edge elsewhere."""
    if kind is SpotKind.ZONE and name in set(SpotKind):
        name = f"zone {name}"
    numbered = (f"{name} {n}" for n in range(2, len(taken) + 3))
    return next(free for free in (name, *numbered) if before + free not in taken)


def main_spot(spots: Sequence[Spot]) -> Spot:
    """The place that stands for the whole finish: the first open field, else the first zone, else the first base."""
    for kind in (SpotKind.FIELD, SpotKind.ZONE):
        found = next((spot for spot in spots if spot.kind is kind), None)
        if found is not None:
            return found
    return spots[0]


def fullest_spot(spots: Sequence[Spot], index: int) -> Spot:
    """The place with most of the coat at `index`; of those that have as much the first, an open field before an edge.

    Where the coat lands at no place that is told it is the main one.
    """
    most = max(float(spot.build[index]) for spot in spots)
    full = [spot for spot in spots if spot.build[index] >= most - AS_FULL]
    return full[0] if most > AS_FULL else main_spot(spots)


def _places(survey: Survey) -> Iterator[tuple[SpotKind, str, int]]:
    """Kind, short name and pixel of every place of a face."""
    scheme, shape = survey.scheme, survey.shape
    used = {name for coat in scheme.coats for name in shape.zones_of(scheme, coat) or ()}
    field = _calmest(survey, survey.depth_mm(outside=sorted(used | set(shape.masked))))
    bare = field if field is not None else int(np.argmax(survey.edge_mm))
    yield SpotKind.BASE, "base", bare
    if field is not None:
        yield SpotKind.FIELD, "field", field
    for name in shape.regions:
        if name not in shape.masked:
            others = sorted((used | set(shape.masked)) - {name})
            depths = [survey.depth_mm(within=name, outside=outside) for outside in (others, shape.masked)]
            place = next((at for depth in depths if (at := _calmest(survey, depth)) is not None), None)
            if place is not None:
                yield SpotKind.ZONE, name, place
    yield from _edges(survey)


def _calmest(survey: Survey, depth_mm: F32, *, least_share: float = 0.8) -> int | None:
    """Of the deepest places the one that is most like them and where the build changes least; None where there is none.

    Deep enough is `least_share` of the deepest. With even coats that is the deepest place itself; with bursts it lies
    beside the crease where they meet.
    """
    most = float(depth_mm.max(initial=0.0))
    if most < survey.grid.pixel_mm:
        return None
    here = depth_mm >= least_share * most
    deep = np.flatnonzero(here & ~survey.creased) if (here & ~survey.creased).any() else np.flatnonzero(here)
    off = np.zeros(deep.size)
    for layer, unrest in zip(survey.builds, survey.unrest, strict=True):
        off = np.maximum(off, np.abs(layer[deep] - np.median(layer[deep])) + unrest[deep])
    return int(deep[np.lexsort((-depth_mm[deep], np.round(off, 3)))[0]])


def _edges(survey: Survey) -> Iterator[tuple[SpotKind, str, int]]:
    """Each edge, line or point that bursts of this face start from, and the dye inside it where the edge is hidden."""
    scheme, shape = survey.scheme, survey.shape
    groups: dict[tuple[object, ...], list[tuple[int, Burst]]] = {}
    for i, coat in enumerate(scheme.coats):
        if shape.zones_of(scheme, coat) != ():
            for burst in shape.bursts_of(scheme, coat):
                groups.setdefault((burst.source, burst.at_mm, burst.angle_deg), []).append((i, burst))
    away = {key: survey.away_mm(bursts[0][1]) for key, bursts in groups.items()}
    for key in sorted(groups, key=lambda key: key[0] != "outline"):
        source = groups[key][0][1].source
        at = _edge_place(survey, key, groups[key], away)
        if at is not None:
            yield SpotKind.EDGE, "edge" if source == "outline" else f"{source} edge", at
        inside = None if at is None else _burst_place(survey, groups[key], away[key], at)
        if inside is not None:
            yield SpotKind.BURST, "burst" if source == "outline" else f"{source} burst", inside


def _edge_place(
    survey: Survey,
    key: tuple[object, ...],
    bursts: Sequence[tuple[int, Burst]],
    away: Mapping[tuple[object, ...], F32],
) -> int | None:
    """Just inside an edge that bursts start from, clear of other edges and zones; None where there is no such place."""
    scheme, shape, pixel_mm = survey.scheme, survey.shape, survey.grid.pixel_mm
    inset = min(INSIDE_EDGE_MM, 0.1 * min(shape.outline.width_mm, shape.outline.height_mm))
    painted = np.zeros(survey.edge_mm.size, dtype=bool)
    for i, _ in bursts:
        painted |= _reached(survey, scheme.coats[i])
    open_here = painted & (survey.edge_mm >= inset) & (away[key] >= 0.0)
    if not open_here.any():
        return None
    nearest = float(away[key][open_here].min())
    if nearest > 0.5 * max(burst.width_mm for _, burst in bursts):
        return None
    here = open_here & (away[key] <= nearest + 1.5 * pixel_mm) & ~survey.creased
    own = {name for i, _ in bursts for name in shape.zones_of(scheme, scheme.coats[i]) or ()}
    borders = [mm for name, mm in survey.zone_mm.items() if name not in own and name != bursts[0][1].source]
    # All else being equal the middle of an edge is looked at, not its corner or the seam.
    across = np.tile(survey.grid.x_mm().astype(np.float32), survey.grid.n_rows)
    clear = 2.0 * shape.outline.width_mm - np.abs(across - 0.5 * shape.outline.width_mm)
    for mm in (*borders, *(mm for other, mm in away.items() if other != key)):
        clear = np.minimum(clear, np.abs(mm))
    return _calmest(survey, np.where(here, np.maximum(clear, 2.0 * pixel_mm), 0.0), least_share=0.5)


def _burst_place(survey: Survey, bursts: Sequence[tuple[int, Burst]], away_mm: F32, edge: int) -> int | None:
    """Where most dye of these bursts shows, if opaque coats above hide more of it at the edge; else None."""
    coats, builds = survey.scheme.coats, survey.builds
    best: tuple[float, int] | None = None
    for i, burst in bursts:
        if not isinstance(coats[i], DyeCoat):
            continue
        hidden = hidden_above(coats, builds, i)
        if hidden[edge] <= MOSTLY_HIDDEN:
            continue
        reach = (hidden <= HARDLY_HIDDEN) & (survey.depth_mm(outside=survey.shape.masked) >= survey.grid.pixel_mm)
        reach &= ~survey.creased
        shown = np.where(reach & (away_mm <= burst.width_mm) & _reached(survey, coats[i]), builds[i], 0.0)
        at = int(np.argmax(shown))
        if shown[at] > 0.0 and (best is None or shown[at] > best[0]):
            best = float(shown[at]), at
    return None if best is None else best[1]


def hidden_above(coats: Sequence[Coat], builds: NDArray[np.floating], index: int) -> F64:
    """Share (P,) that opaque coats sprayed after the coat at `index` hide of it; `builds` (layers, P)."""
    density10 = np.zeros(builds.shape[1])
    for over, build in zip(coats[index + 1 :], builds[index + 1 :], strict=True):
        if isinstance(over, OpaqueCoat):
            density10 += over.hiding * over.coats * build
    return np.asarray(1.0 - np.power(10.0, -density10))


def dye_shows(scheme: Scheme, spot: Spot) -> bool:
    """Whether any dye lies at a place where opaque coats do not hide it."""
    builds = spot.build[:, None]
    dyed = [i for i, coat in enumerate(scheme.coats) if isinstance(coat, DyeCoat) and spot.build[i] > 0.0]
    return any(float(hidden_above(scheme.coats, builds, i)[0]) < 1.0 - HARDLY_HIDDEN for i in dyed)


def _reached(survey: Survey, coat: Coat) -> Flags:
    """Where a coat goes: on its zones, off masked ones, a pixel away from their borders."""
    shape, pixel_mm = survey.shape, survey.grid.pixel_mm
    names = shape.zones_of(survey.scheme, coat)
    reached = np.full(survey.edge_mm.size, names is None)
    for name in names or ():
        reached |= survey.zone_mm[name] >= pixel_mm
    for name in shape.masked:
        reached &= survey.zone_mm[name] <= -pixel_mm
    return reached


def places_of(scheme: Scheme, view: View = STRAIGHT_ON) -> list[Spot]:
    """All places of a scheme, what their bases show seen from `view`."""
    return spots_of(scheme, make_scene(scheme, width_px=FIGURES_WIDTH_PX, view=view))


def mean_bare(face: PlacedFace) -> F64:
    """Mean spectrum of a face's base over the painted area, from some two hundred to four hundred rows all over it."""
    total, weight = np.zeros(3), 0.0
    picture = face.picture
    tint, count = picture.bare.tint_rgb, picture.grid.n_rows
    step = max(1, count // 200)
    # Of a small picture every row counts: strips of them cost a tenth of one row after another.
    for y in range(step // 2, count, step) if step > 1 else range(0, count, MEAN_ROWS):
        rows = (y, y + 1) if step > 1 else (y, min(y + MEAN_ROWS, count))
        light = np.maximum(picture.bare.source.rows(*rows), 0.0)
        light = light.reshape(-1, *light.shape[2:])
        cover = coverage(picture.maps.edge.rows(*rows), picture.grid.pixel_mm).ravel()
        total += cover @ light if tint is None else float(cover @ light) * np.asarray(tint)
        weight += float(cover.sum())
    return np.asarray((total / max(weight, 1e-9)) @ rgb_basis())
