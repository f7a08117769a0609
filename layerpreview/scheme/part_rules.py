"""Rules of faces, openings and zones that tie several of their values together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from layerpreview.scheme import part as p
from layerpreview.scheme.fields import did_you_mean, listed
from layerpreview.scheme.report import Place, Placed, Report, Table, given_in, name_of, names, tables, word
from layerpreview.surface.outline import UNROLLED_SHAPES

_ALL_SIZES = ("width", "height", "diameter", "depth", "length", "picture", "drawing")
_FILE_EXAMPLE = {"picture": "mask.png", "drawing": "front.svg"}
_TAKES = {
    "picture": ("picture", "width", "height", "part_width", "part_height", "inside"),
    "drawing": ("drawing", "width", "height", "outline_id"),
}
_AIDS = ("part_width", "part_height", "inside", "outline_id")  # of a face that comes from a file
_EDGE_WORDS = (p.NEAR_OUTLINE, p.NEAR_OPENINGS, p.NEAR_LINE, p.NEAR_CENTRE)


def check_faces(report: Report) -> None:
    """Add every broken rule of the faces, their openings and their zones."""
    faces = tables(report.raw, "face")
    unique_names(report, faces, "face")
    taken = {p.WHOLE_FACE: "means every face"} | dict.fromkeys(_EDGE_WORDS, "has a meaning of its own in burst.from")
    taken |= dict.fromkeys(names(faces), "is the name of a face")
    before: list[Table] = []
    for place, face in faces:
        openings = tables(face, "opening", place)
        unique_names(report, openings, "opening of this face")
        taken |= dict.fromkeys(names(openings), "is the name of an opening")
        if len(faces) > 1 and name_of(face) == p.WHOLE_FACE:
            report.add((*place, "name"), 'zone = "face" means every face', "choose another name")
        _sizes(report, place, face, _AIDS)
        _of(report, place, face, before)
        before.append(face)
        for inner, opening in openings:
            _sizes(report, inner, opening, spared=("depth",))
            if name_of(opening) in _EDGE_WORDS:
                rule = f"{listed(_EDGE_WORDS).replace(' or ', ' and ')} have a meaning of their own in burst.from"
                report.add((*inner, "name"), rule, "choose another name")
    for place, face in faces:
        for inner, zone in tables(face, "zone", place):
            _zone_name(report, inner, zone, taken)
            _zone(report, inner, zone, face)


def opening_names(face: Table) -> list[str]:
    """The names of the openings a face says it has, for a mirrored one with those that go through."""
    through = face.get("through", [])
    several = through if isinstance(through, list) else [through]
    return [*names(tables(face, "opening")), *(name.strip() for name in several if isinstance(name, str))]


def _of(report: Report, place: Place, face: Table, before: Sequence[Table]) -> None:
    """Check that a side and a mirrored face name a face that stands before them, and that nothing else does."""
    shape = word(face, "shape")
    if shape not in (p.SIDE, p.MIRRORED):
        if "of" in face:
            rule = f'only the shape "{p.SIDE}" has this, and "{p.MIRRORED}"'
            report.add((*place, "of"), rule, f'leave it out, or write shape = "{p.SIDE}" or "{p.MIRRORED}"')
    else:
        _face_named(report, place, face, before, side=shape == p.SIDE)
        _through(report, place, face, before)
    if "through" in face and shape != p.MIRRORED:
        rule = f'only the shape "{p.MIRRORED}" has this'
        report.add((*place, "through"), rule, "leave it out: an opening of a face is told as [[face.opening]]")


def _face_named(report: Report, place: Place, face: Table, before: Sequence[Table], *, side: bool) -> None:
    """Check what a side goes round or a mirrored face mirrors: a face with an outline of its own, which has a back."""
    unfit = (p.SIDE, p.MIRRORED) if side else (p.SIDE, p.MIRRORED, *UNROLLED_SHAPES)
    shapes = {name: word(other, "shape") for other in before if (name := name_of(other))}
    known = [name for name, shape in shapes.items() if shape not in unfit]
    what, whose = ("a side goes round a face", "side") if side else ("this mirrors a face", "mirror image")
    source = face.get("of")
    if not isinstance(source, str):
        report.add(place, f"{what}, which is not named", f'add of = "{known[0] if known else "front"}"')
        return
    source = source.strip()
    if source in known:
        return
    hint = did_you_mean(source, known) or (f"write {listed(known)}" if known else f"put the face before its {whose}")
    rule = f"no face of this name stands before its {whose}"
    if source == name_of(face):
        rule = "this is the face itself"
    elif (shape := shapes.get(source)) in UNROLLED_SHAPES and not side:
        rule, hint = f"a {shape} is one face all round, it has no back", "describe the other part as a face of its own"
    elif source in shapes:
        rule = f"this face is {'a side' if shapes[source] == p.SIDE else 'mirrored'} itself"
    report.add((*place, "of"), rule, hint)


def _through(report: Report, place: Place, face: Table, before: Sequence[Table]) -> None:
    """Check that the openings that go through are those of the mirrored face; a file may hold more than are named."""
    source = name_of({"name": face.get("of")})
    mirrored = next((other for other in before if source is not None and name_of(other) == source), None)
    if mirrored is None or may_hold_more(mirrored):
        return
    known = names(tables(mirrored, "opening"))
    for name in opening_names({"through": face.get("through", [])}):
        if name not in known:
            hint = did_you_mean(name, known) or (f"write {listed(known)}" if known else "leave it out: it has none")
            report.add((*place, "through"), "the mirrored face has no opening of this name", hint)


def unique_names(report: Report, found: Sequence[Placed], what: str) -> None:
    """Add a problem for each name that stands here a second time."""
    seen: set[str] = set()
    for place, table in found:
        name = name_of(table)
        if name in seen:
            report.add((*place, "name"), f"another {what} has this name already", "give each its own name")
        if name is not None:
            seen.add(name)


def may_hold_more(face: Table) -> bool:
    """Whether the outline comes from a file, which can hold openings that are not named in the scheme."""
    return word(face, "shape") in ("picture", "drawing")


def _zone_name(report: Report, place: Place, zone: Table, taken: dict[str, str]) -> None:
    name = name_of(zone)
    if name is None:
        return
    if name in taken:
        report.add((*place, "name"), f"this {taken[name]}", "choose another name")
    taken.setdefault(name, "is the name of another zone")


def _zone(report: Report, place: Place, zone: Table, face: Table) -> None:
    given, found = given_in(zone, p.REGIONS)
    if len(given) != 1:
        report.add(
            place,
            f"a zone is told in exactly one way: {listed(p.REGIONS)}; {found}",
            'for example side = { at = ["150 mm", "90 mm"], angle = 90 }',
        )
    if "shape" in zone:
        _sizes(report, place, zone)
        if "centre" not in zone:
            report.add(place, "a zone with a shape has its centre", 'add centre = ["150 mm", "90 mm"]')
    else:
        for key in (*_ALL_SIZES, "centre", "turn"):
            if key in zone:
                report.add((*place, key), "only a zone with a shape has this", 'leave it out, or write shape = "panel"')
    if "id" in zone and word(face, "shape") not in ("drawing", ""):
        report.add((*place, "id"), "only the lines of a drawing have an id", 'this face has no shape = "drawing"')
    band = zone.get("band")
    if isinstance(band, Mapping):
        _edge_of_face(report, (*place, "band", "from"), band.get("from"), face)
    if "ridge" in zone and word(zone, "edge") not in ("", "hard"):
        report.add((*place, "ridge"), "only a hard tape line leaves a ridge", "leave out ridge, or the soft edge")
    if "under" in zone and zone.get("masked", False) is False:
        report.add((*place, "under"), "only a masked zone keeps what is under it", "add masked = true, or leave it out")


def _edge_of_face(report: Report, place: Place, source: object, face: Table) -> None:
    if not isinstance(source, str) or may_hold_more(face):
        return
    openings = opening_names(face)
    known = [p.NEAR_OUTLINE, *([p.NEAR_OPENINGS] if openings else []), *openings]
    if source.strip() not in known:
        hint = did_you_mean(source, known) or f"write {listed(known)}"
        report.add(place, "this face has no edge or opening of this name", hint)


def _sizes(report: Report, place: Place, table: Table, aids: Sequence[str] = (), *, spared: Sequence[str] = ()) -> None:
    """Check that a face, opening or zone has the sizes of its shape and no others; the `spared` mean something else."""
    shape = word(table, "shape")
    given = [key for key in (*_ALL_SIZES, *aids) if key in table and key not in spared]
    if shape in _TAKES:
        wanted = tuple(key for key in _TAKES[shape] if key in (*_ALL_SIZES, *aids))
        if shape not in given:
            report.add(place, f'the shape "{shape}" names its file', f'add {shape} = "{_FILE_EXAMPLE[shape]}"')
        _scale(report, place, shape, given, aids)
    else:
        if shape not in p.SIZES_OF_SHAPE:
            return
        wanted = p.SIZES_OF_SHAPE[shape]
        for key in wanted:
            if key not in given:
                report.add(
                    place,
                    f'the shape "{shape}" has a {key}, it is missing',
                    f'add {key} = "300 mm", with the true size',
                )
    for key in given:
        if key not in wanted:
            remedy = f"it takes {listed(wanted)}" if wanted else 'leave it out: "of" says all of it'
            report.add((*place, key), f'the shape "{shape}" has no {key}', remedy)


def _scale(report: Report, place: Place, shape: str, given: Sequence[str], aids: Sequence[str]) -> None:
    """Check that an outline from a file has its scale once."""
    if shape == "drawing":
        if "width" in given and "height" in given:
            rule = "the outline's width or height fixes the scale, not both"
            report.add((*place, "height"), rule, "leave one of them out")
        return
    sizes = [key for key in ("width", "height", "part_width", "part_height") if key in given]
    if len(sizes) == 1:
        return
    part = ", or part_width or part_height of the part in it" if "part_width" in aids else ""
    report.add(
        place,
        f"the true width or height of the whole picture{part} is wanted, one of them",
        'write exactly one, for example width = "420 mm"',
    )
