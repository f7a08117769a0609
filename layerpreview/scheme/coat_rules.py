"""Rules of coats and bursts that tie them to mixes, faces, openings and zones."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from layerpreview.scheme import part as p
from layerpreview.scheme.fields import did_you_mean, listed
from layerpreview.scheme.part_rules import may_hold_more, opening_names
from layerpreview.scheme.report import Place, Placed, Report, Table, name_of, named, names, table_told, tables

_AT = 'at = ["150 mm", "90 mm"]'


@dataclass(frozen=True)
class _OnFace:
    """What a burst can start from on one face."""

    name: str
    openings: list[str]
    zones: list[str]
    open_end: bool  # the file of its outline may hold more openings


def check_coats(report: Report) -> None:
    """Add every broken rule of the coats."""
    mixes = dict(named(report.raw, "mix"))
    faces = tables(report.raw, "face")
    zones = [zone for place, face in faces for zone in tables(face, "zone", place)]
    masked = names([(place, zone) for place, zone in zones if zone.get("masked") is True])
    starts = [_OnFace(name_of(f) or "", opening_names(f), names(tables(f, "zone")), may_hold_more(f)) for _, f in faces]
    for place, coat in tables(report.raw, "coat"):
        mix = coat.get("mix")
        if isinstance(mix, str) and mix.strip() not in mixes:
            hint = did_you_mean(mix, mixes) or there_are("mixes", list(mixes), f"add {table_told('mix', mix.strip())}")
            report.add((*place, "mix"), "there is no mix of this name", hint)
        _zones(report, place, coat, list(dict.fromkeys([*names(faces), *names(zones)])), masked)
        for inner, burst in _bursts(place, coat):
            _burst(report, inner, burst, starts, masked)
        if "cut_back_seed" in coat and "cut_back" not in coat:
            report.add((*place, "cut_back_seed"), "this belongs to cut_back", 'add cut_back = "30 %" or leave it out')


def there_are(what: str, known: list[str], otherwise: str) -> str:
    """Name what there is to choose from, or say what to do when there is nothing."""
    return f"the {what} are: {', '.join(known)}" if known else otherwise


def _zones(report: Report, place: Place, coat: Table, known: list[str], masked: list[str]) -> None:
    written = coat.get("zone", p.WHOLE_FACE)
    several = isinstance(written, list)
    for number, name in enumerate(written if isinstance(written, list) else [written]):
        where: Place = (*place, "zone", number) if several else (*place, "zone")
        if not isinstance(name, str):
            continue
        name = name.strip()
        if name == p.WHOLE_FACE:
            if isinstance(written, list) and len(written) > 1:
                report.add(where, "this is every face already, whole", 'write zone = "face" alone, or leave it out')
        elif name in masked:
            report.add(where, "this zone is masked, it gets no paint", "name another zone, or take out its masked")
        elif name not in known:
            others = f" or {listed(known)}" if known else ""
            hint = did_you_mean(name, known) or f'write zone = "face"{others}, or leave it out'
            report.add(where, "there is no zone or face of this name", hint)


def _bursts(place: Place, coat: Table) -> Iterator[Placed]:
    bursts = coat.get("burst")
    if isinstance(bursts, dict):
        yield (*place, "burst"), bursts
    else:
        yield from tables(coat, "burst", place)


def _burst(report: Report, place: Place, burst: Table, faces: list[_OnFace], masked: list[str]) -> None:
    source, only = burst.get("from"), burst.get("face")
    if isinstance(only, str):
        there = [face for face in faces if face.name == only.strip()]
        if not there:
            known = [face.name for face in faces]
            hint = did_you_mean(only, known) or there_are("faces", known, "add a [[face]]")
            report.add((*place, "face"), "there is no face of this name", hint)
        faces = there or faces
    if not isinstance(source, str):
        return
    source = source.strip()
    _line_and_centre(report, place, source, burst)
    if source in masked:
        report.add((*place, "from"), "this zone is masked, it gets no paint", "start from another edge")
    elif source not in (p.NEAR_OUTLINE, p.NEAR_LINE, p.NEAR_CENTRE):
        _edge(report, (*place, "from"), source, faces, on_one_face=isinstance(only, str))


def _line_and_centre(report: Report, place: Place, source: str, burst: Table) -> None:
    for key, users, example in (
        ("at", (p.NEAR_LINE, p.NEAR_CENTRE), _AT),
        ("angle", (p.NEAR_LINE,), "angle = 90 (degrees clockwise from the top)"),
    ):
        if source in users and key not in burst:
            report.add((*place, key), f'a burst from "{source}" needs this', f"add {example}")
        if source not in users and key in burst:
            report.add((*place, key), f'only a burst from "{listed(users)}" has this', "leave it out")


def _edge(report: Report, place: Place, source: str, faces: list[_OnFace], *, on_one_face: bool) -> None:
    """Check that a face has an opening or zone of this name."""
    openings = [name for face in faces for name in face.openings]
    zones = [name for face in faces for name in face.zones]
    if source in (*openings, *zones) or any(face.open_end for face in faces):
        return
    whose = "this face has" if on_one_face else "there is"
    if source == p.NEAR_OPENINGS:
        if not openings:
            rule = f"{whose} no opening" if on_one_face else "no face has an opening"
            report.add(place, rule, 'add [[face.opening]], or write from = "outline"')
        return
    known = dict.fromkeys((p.NEAR_OUTLINE, p.NEAR_OPENINGS, *openings, *zones, p.NEAR_LINE, p.NEAR_CENTRE))
    hint = did_you_mean(source, known) or f"write {listed(known)}"
    report.add(place, f"{whose} no edge, opening or zone of this name", hint)
