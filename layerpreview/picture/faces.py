"""The scheme's faces as shapes: outline, openings and zones in millimetres, and where each coat goes on them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from layerpreview.errors import InputError, PictureError, Problem
from layerpreview.scheme import Burst, Coat, Face, Opening, Scheme, Zone
from layerpreview.scheme.part import SIDE
from layerpreview.surface.distance import rings_of
from layerpreview.surface.outline import (
    Outline,
    built_in_outline,
    built_in_ring,
    make_outline,
    mirrored,
    placed,
    with_openings,
)
from layerpreview.surface.picture_file import read_picture
from layerpreview.surface.zones import Region, painted_area_m2, region_of_band, region_of_ring, region_of_side

Points = NDArray[np.float64]
_TOUCH_SHARE = 1e-6  # of the area of a coat: less is two zones side by side


@dataclass(frozen=True, eq=False)
class FaceShape:
    """One face in millimetres: its outline with openings, and its zones by name.

    `beside`: of a side or a mirrored face with the same base, the outline of the face it goes round or mirrors.
    """

    face: Face
    outline: Outline
    regions: Mapping[str, Region]
    beside: Outline | None = None

    @property
    def masked(self) -> tuple[str, ...]:
        """Names of the zones that get no paint."""
        return tuple(zone.name for zone in self.face.zones if zone.masked)

    def zones_of(self, scheme: Scheme, coat: Coat) -> tuple[str, ...] | None:
        """Names of the zones a coat goes over here: None for the whole face, () for nowhere on it."""
        if coat.bursts and not self.bursts_of(scheme, coat):
            return ()  # all of it is bursts, and none of them starts here
        zones = scheme.zones_of(coat, self.face)
        return None if zones is None else tuple(zone.name for zone in zones)

    def bursts_of(self, scheme: Scheme, coat: Coat) -> tuple[Burst, ...]:
        """The bursts of a coat that start at something this face has; none where the coat goes nowhere on it."""
        return scheme.bursts_on(coat, self.face, self.outline.openings)

    def painted_m2(self, scheme: Scheme, coat: Coat) -> float:
        """Area a coat goes over, masked zones and openings left out [m2]."""
        names = self.zones_of(scheme, coat)
        zones = None if names is None else [self.regions[name] for name in names]
        return painted_area_m2(self.outline, zones, masked=[self.regions[name] for name in self.masked])


def shape_of(face: Face, *, file: str = "", others: Mapping[str, FaceShape] | None = None) -> FaceShape:
    """Make a face's outline, openings and zones; `file` is the scheme's name for messages.

    `others`: the faces made already, by name; a side goes round the outer edge of one of them, a mirrored face mirrors
    one.

    Raises PictureError for a mask or drawing that cannot be used and InputError for openings or zones that do not fit,
    all of them at once.
    """
    if face.of is None:
        outline, drawn = _outer(face)
    else:
        other = (others or {})[face.of].outline
        outline, drawn = (_side(face, other) if face.side_of else _mirrored(face, other, file)), {}
    rings = {
        opening.name: placed(_ring(opening), centre_mm=opening.centre_mm, turn_deg=opening.turn_deg)
        for opening in face.openings
    }
    outline = with_openings(outline, rings, file=file) if rings else outline
    regions: dict[str, Region] = {}
    problems: list[Problem] = []
    for zone in face.zones:
        try:
            regions[zone.name] = _region(face, outline, zone, drawn, file)
        except InputError as error:
            problems.extend(error.problems)
    if problems:
        raise InputError(problems)
    return FaceShape(face, outline, regions)


MOST_ASPECT = 1000
"""A side of a part is some sixty times as long as it is deep (common practice, no source)."""


def shapes_of(scheme: Scheme) -> list[FaceShape]:
    """Every face's shape. Raises what `shape_of` raises, with the problems of all faces at once."""
    found: list[FaceShape] = []
    problems: list[Problem] = []
    for face in scheme.faces:
        made = {shape.face.name: shape for shape in found}
        if face.of is not None and face.of not in made:
            continue  # what is wrong with the face it goes round or mirrors is told already
        try:
            shape = shape_of(face, file=scheme.shown_file, others=made)
        except InputError as error:
            problems.extend(_with_face(problem, face) for problem in error.problems)
            continue
        if face.of is not None and scheme.base_for(face.name) == scheme.base_for(face.of):
            shape = replace(shape, beside=made[face.of].outline)
        problems.extend(_too_thin(shape, scheme.shown_file))
        found.append(shape)
    if problems:
        raise InputError(problems)
    return found


def _too_thin(shape: FaceShape, file: str) -> list[Problem]:
    """A slip in a unit, most likely: no picture shows both ways of such a face, and no place on it can be told."""
    wide, high = shape.outline.width_mm, shape.outline.height_mm
    if max(wide, high) <= MOST_ASPECT * min(wide, high):
        return []
    rule = f"a face of {wide:g} x {high:g} mm is over {MOST_ASPECT} times as long as it is wide"
    return [Problem(rule, "check the sizes and their units", file, field=f'face "{shape.face.name}"')]


def bursts_out_of_touch(scheme: Scheme, shapes: Sequence[FaceShape]) -> tuple[Problem, ...]:
    """A caution for each burst that fades nowhere its coat goes.

    A burst from a zone's border goes into that zone, and outside it the coat lies in full; one from an edge ends where
    it is as far in as it is wide.
    """
    found = []
    for index, coat in enumerate(scheme.coats):
        for number, burst in enumerate(coat.bursts, start=1):
            acting = [shape for shape in shapes if burst in shape.bursts_of(scheme, coat)]
            told = {_out_of_touch(shape, scheme, coat, burst) for shape in acting}
            if len(told) == 1 and (rule := told.pop()):
                field = f"{scheme.place_of(index)}.burst" + (f"[{number}]" if len(coat.bursts) > 1 else "")
                remedy = "start it from an edge of the coat's own zone, or name the right zone"
                found.append(Problem(rule, remedy, str(scheme.file), field=f"{field}.from", value=burst.source))
    return tuple(found)


def _out_of_touch(shape: FaceShape, scheme: Scheme, coat: Coat, burst: Burst) -> str:
    """What is wrong where a burst fades nowhere on a face; empty where it does."""
    names = shape.zones_of(scheme, coat)
    area: Any = shapely.union_all([shape.regions[n].shape for n in names]) if names else shape.outline.polygon
    if burst.source in ("line", "centre"):
        return ""
    if burst.source in shape.regions:
        source: Any = shape.regions[burst.source].whole
        if source.intersection(area).area <= _TOUCH_SHARE * area.area:
            return f"it fades only inside {burst.source}, where this coat does not go: elsewhere the coat lies in full"
        away_mm = source.boundary.distance(area)
    elif shape.outline.wraps:
        return ""  # edges of a tube are no closed lines
    else:
        outer = [shape.outline.outer]
        rings = outer if burst.source == "outline" else rings_of(shape.outline, burst.source)
        away_mm = min(shapely.LinearRing(ring).distance(area) for ring in rings)
    return "it ends before it reaches where this coat goes" if away_mm >= burst.width_mm else ""


def _with_face(problem: Problem, face: Face) -> Problem:
    """The problem with the name of the face, where it is one of an opening or zone that two faces may have."""
    if not problem.field.startswith(("opening", "zone", "through")):
        return problem
    return replace(problem, field=f"face {face.name!r}, {problem.field}")


def _side(face: Face, around: Outline) -> Outline:
    """The side of a body: as long as the outer edge of the face it goes round, closed where it began."""
    assert face.depth_mm is not None
    closed = np.concatenate([around.outer, around.outer[:1]])
    length_mm = float(np.hypot(*np.diff(closed, axis=0).T).sum())
    return make_outline(built_in_ring("panel", width_mm=length_mm, height_mm=face.depth_mm), wraps=True)


def plain_side(front: FaceShape, depth_mm: float) -> FaceShape:
    """The side of a body whose scheme describes none, `depth_mm` deep [mm]: of the front's base, for pictures only."""
    face = Face.model_construct(name=f"side of {front.face.name}", shape=SIDE, of=front.face.name, depth_mm=depth_mm)
    return FaceShape(face, _side(face, front.outline), {}, front.outline)


def _mirrored(face: Face, other: Outline, file: str) -> Outline:
    """The outline of a face as it is seen from behind, with the openings that go through."""
    missing = [name for name in face.through if name not in other.openings]
    if missing:
        known = ", ".join(other.openings) or "none"
        rule = f"face {face.of!r} has no opening of this name"
        raise InputError([Problem(rule, f"its openings are: {known}", file, field="through", value=n) for n in missing])
    outer, *rings = (
        mirrored(ring, width_mm=other.width_mm)
        for ring in (other.outer, *(other.openings[name] for name in face.through))
    )
    return with_openings(make_outline(outer, file=file), dict(zip(face.through, rings, strict=True)), file=file)


def _outer(item: Face | Opening | Zone) -> tuple[Outline, Mapping[str, Points]]:
    """The outline of a shape, and the other closed lines of its drawing by id."""
    # Tracing and drawings bring libraries of their own: loaded only where a scheme uses them.
    if item.picture is not None:
        from layerpreview.surface.trace import trace_mask

        face = item if isinstance(item, Face) else None
        if face is not None and face.inside == "object":
            return _photographed(face), {}
        traced = trace_mask(
            read_picture(item.picture),
            width_mm=item.width_mm,
            height_mm=item.height_mm,
            part_width_mm=face.part_width_mm if face else None,
            part_height_mm=face.part_height_mm if face else None,
            inside=(face.inside if face else None) or "auto",
        )
        return traced.outline, {}
    if item.drawing is not None:
        from layerpreview.surface.drawing import read_drawing

        chosen = item.outline_id if isinstance(item, Face) else None
        zones = item.zones if isinstance(item, Face) else ()
        drawn = read_drawing(
            item.drawing,
            width_mm=item.width_mm,
            height_mm=item.height_mm,
            outline_id=chosen,
            zone_ids=[zone.drawn_id for zone in zones if zone.drawn_id is not None],
        )
        return drawn.outline, drawn.rings
    assert item.shape is not None
    return built_in_outline(item.shape, **_sizes(item)), {}


def _photographed(face: Face) -> Outline:
    """The outline of a part in a photo, as it is traced when a job is begun from one; at its written size."""
    from layerpreview.surface.part import trace_part
    from layerpreview.surface.trace import trace_mask

    assert face.picture is not None
    picture = read_picture(face.picture)
    whole = (face.width_mm, picture.width_px), (face.height_mm, picture.height_px)
    sizes = [size_mm / size_px for size_mm, size_px in whole if size_mm is not None]
    guess = face.part_height_mm and face.part_height_mm / picture.height_px
    try:
        scale = sizes[0] if sizes else None if face.part_width_mm else guess
        found = trace_part(picture, part_width_mm=None if scale else face.part_width_mm, mm_per_px=scale)
    except PictureError:  # what an earlier version traced is traced as it was then
        return trace_mask(
            picture,
            width_mm=face.width_mm,
            height_mm=face.height_mm,
            part_width_mm=face.part_width_mm,
            part_height_mm=face.part_height_mm,
            inside="object",
        ).outline
    outline = found.traced.outline
    if sizes or face.part_width_mm is not None or face.part_height_mm is None:
        return outline
    share = face.part_height_mm / outline.height_mm
    openings = {name: ring * share for name, ring in outline.openings.items()}
    return with_openings(make_outline(outline.outer * share), openings)


def _sizes(item: Face | Opening | Zone) -> dict[str, float]:
    names = ("width_mm", "height_mm", "diameter_mm", "depth_mm", "length_mm")
    return {name: value for name in names if (value := getattr(item, name, None)) is not None}


def _ring(item: Opening | Zone) -> Points:
    if item.picture is not None or item.drawing is not None:
        return _outer(item)[0].outer
    assert item.shape is not None
    return built_in_ring(item.shape, **_sizes(item))


def _region(face: Face, outline: Outline, zone: Zone, drawn: Mapping[str, Points], file: str) -> Region:
    if zone.side is not None:
        return region_of_side(outline, at_mm=zone.side.at_mm, angle_deg=zone.side.angle_deg, name=zone.name, file=file)
    if zone.band is not None:
        return region_of_band(outline, edges=zone.band.source, width_mm=zone.band.width_mm, name=zone.name, file=file)
    if zone.points_mm is not None:
        return region_of_ring(outline, np.asarray(zone.points_mm, dtype=np.float64), name=zone.name, file=file)
    if zone.drawn_id is not None:
        if zone.drawn_id not in drawn:
            known = ", ".join(sorted(drawn)) or "none"
            raise InputError(
                Problem(
                    file=file,
                    field=f"zone {zone.name!r}",
                    value=zone.drawn_id,
                    rule=f"the drawing of face {face.name!r} has no closed line of this id",
                    remedy=f"its closed lines are: {known}",
                )
            )
        return region_of_ring(outline, drawn[zone.drawn_id], name=zone.name, file=file)
    assert zone.centre_mm is not None
    ring = placed(_ring(zone), centre_mm=zone.centre_mm, turn_deg=zone.turn_deg)
    return region_of_ring(outline, ring, name=zone.name, file=file)
