"""Rules that tie several values of a scheme together.

They look at what is written, so that they hold for the parts that did parse while others did not.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from layerpreview.scheme import model as m
from layerpreview.scheme.fields import did_you_mean, listed
from layerpreview.scheme.report import Place, Report
from layerpreview.scheme.source import close_by
from layerpreview.units import Strength, UnitError, parse_strength

_ALL_SIZES = ("width", "height", "diameter", "depth", "length", "picture", "drawing")
Dyes = Mapping[str, m.Dye | None]


def check_rules(report: Report, folder: Path, dyes: Dyes) -> None:
    """Add every broken rule to the report; a dye that did not parse is None."""
    raw = report.raw
    faces = list(_tables(raw, "face"))
    _unique_names(report, faces, "face")
    for place, face in faces:
        openings = [((*place, "opening", i), o) for i, o in enumerate(_list(face.get("opening")))]
        _sizes(report, place, face)
        _unique_names(report, openings, "opening of this face")
        for inner, opening in openings:
            _sizes(report, inner, opening)
            _reserved_name(report, inner, opening)
    _base(report, raw.get("base"))
    _coats(report, [name for _, face in faces for name in _names(_list(face.get("opening")))])
    for name, mix in _named(raw, "mix"):
        _mix(report, name, mix, dyes)
    for place, value in _files(raw):
        _file_exists(report, place, folder, value)


def _list(value: object) -> list[dict[str, Any]]:
    return [item for item in value if isinstance(item, dict)] if isinstance(value, list) else []


def _tables(raw: Mapping[str, Any], key: str) -> Iterator[tuple[Place, dict[str, Any]]]:
    value = raw.get(key)
    for number, item in enumerate(value if isinstance(value, list) else ()):
        if isinstance(item, dict):
            yield (key, number), item


def _named(raw: Mapping[str, Any], key: str) -> Iterator[tuple[str, dict[str, Any]]]:
    value = raw.get(key)
    for name, item in (value if isinstance(value, dict) else {}).items():
        if isinstance(item, dict):
            yield name, item


def _word(table: Mapping[str, Any], key: str) -> str:
    value = table.get(key)
    return value.strip().lower() if isinstance(value, str) else ""


def _names(tables: Sequence[Mapping[str, Any]]) -> list[str]:
    return [table["name"].strip() for table in tables if isinstance(table.get("name"), str)]


def _unique_names(report: Report, tables: Sequence[tuple[Place, Mapping[str, Any]]], what: str) -> None:
    seen: set[str] = set()
    for place, table in tables:
        for name in _names([table]):
            if name in seen:
                report.add((*place, "name"), f"another {what} has this name already", "give each its own name")
            seen.add(name)


def _reserved_name(report: Report, place: Place, opening: Mapping[str, Any]) -> None:
    if opening.get("name") in (m.NEAR_OUTLINE, m.NEAR_OPENINGS):
        report.add(
            (*place, "name"), "outline and openings have a meaning of their own in burst.from", "choose another name"
        )


def _sizes(report: Report, place: Place, table: Mapping[str, Any]) -> None:
    """Check that a face or opening has the sizes of its shape and no others."""
    shape = _word(table, "shape")
    given = [key for key in _ALL_SIZES if key in table]
    if shape in ("picture", "drawing"):
        if shape not in given:
            report.add(place, f'the shape "{shape}" names its file', f'add {shape} = "{_FILE_EXAMPLE[shape]}"')
        sizes = [key for key in ("width", "height") if key in given]
        if shape == "picture" and len(sizes) != 1:
            report.add(
                place,
                "the true width or height of the whole picture is wanted, one of them",
                'write exactly one, for example width = "420 mm"',
            )
        if shape == "drawing" and len(sizes) == 2:
            report.add(
                (*place, "height"), "the outline's width or height fixes the scale, not both", "leave one of them out"
            )
        wrong = [key for key in given if key not in (shape, "width", "height")]
    else:
        wanted = m.SIZES_OF_SHAPE.get(shape)
        if wanted is None:
            return
        for key in wanted:
            if key not in given:
                report.add(
                    place,
                    f'the shape "{shape}" has a {key}, it is missing',
                    f'add {key} = "300 mm", with the true size',
                )
        wrong = [key for key in given if key not in wanted]
    for key in wrong:
        takes = {"picture": "picture and width or height", "drawing": "drawing and width"}.get(shape)
        takes = takes or " and ".join(m.SIZES_OF_SHAPE[shape])
        report.add((*place, key), f'the shape "{shape}" has no {key}', f"it takes {takes}")


_FILE_EXAMPLE = {"picture": "mask.png", "drawing": "front.svg"}


def _base(report: Report, base: object) -> None:
    if not isinstance(base, dict):
        return
    place: Place = ("base",)
    given = [key for key in ("relief", "picture", "colour") if key in base]
    if len(given) != 1:
        found = " and ".join(given) + " are here" if given else "none is here"
        report.add(
            place, f"a base has exactly one of relief, picture and colour; {found}", 'for example relief = "lifted"'
        )
    for source in ("relief", "picture"):
        options = f"{source}_options"
        if options in base and source not in given:
            report.add(
                (*place, options), f"these belong to a base with {source} = ...", f"add {source} or leave them out"
            )
    if _word(base, "kind") in ("solid", "wood"):
        for key in ("flake_spread", "relief"):
            if key in base:
                report.add((*place, key), "only a metal base has this", 'leave it out, or write kind = "metal"')
    picture = base.get("picture_options")
    if isinstance(picture, dict) and picture.get("tile") is True and "width" not in picture:
        report.add(
            (*place, "picture_options", "tile"), "repeating needs the picture's true width", 'add width = "420 mm"'
        )


def _coats(report: Report, openings: Sequence[str]) -> None:
    mixes = dict(_named(report.raw, "mix"))
    for place, coat in _tables(report.raw, "coat"):
        mix = coat.get("mix")
        if isinstance(mix, str) and mix.strip() not in mixes:
            hint = did_you_mean(mix, mixes) or _there_are("mixes", mixes, f"add [mix.{mix.strip()}]")
            report.add((*place, "mix"), "there is no mix of this name", hint)
        zone = coat.get("zone", m.WHOLE_FACE)
        if isinstance(zone, str) and zone.strip() != m.WHOLE_FACE:
            report.add((*place, "zone"), "there is no zone of this name", 'write zone = "face", or leave it out')
        bursts = coat.get("burst", [])
        for number, burst in enumerate([bursts] if isinstance(bursts, dict) else _list(bursts)):
            inner: Place = (*place, "burst") if isinstance(bursts, dict) else (*place, "burst", number)
            _burst(report, (*inner, "from"), burst.get("from"), openings)


def _burst(report: Report, place: Place, source: object, openings: Sequence[str]) -> None:
    if not isinstance(source, str) or source.strip() in (m.NEAR_OUTLINE, *openings):
        return
    if source.strip() == m.NEAR_OPENINGS:
        if not openings:
            report.add(place, "no face has an opening", 'add [[face.opening]], or write from = "outline"')
        return
    known = dict.fromkeys((m.NEAR_OUTLINE, m.NEAR_OPENINGS, *openings))
    hint = did_you_mean(source, known) or f"write {listed(known)}"
    report.add(place, "there is no edge or opening of this name", hint)


def _there_are(what: str, names: Mapping[str, object], otherwise: str) -> str:
    return f"the {what} are: {', '.join(names)}" if names else otherwise


def _mix(report: Report, name: str, mix: Mapping[str, Any], dyes: Dyes) -> None:
    place: Place = ("mix", name, "dyes")
    written = mix.get("dyes")
    if not isinstance(written, dict):
        return
    if not written:
        report.add(place, "a mix has at least one dye", 'write for example dyes = { amber = "12 mL/L" }')
    in_a_litre_mL = 0.0
    for dye_name, text in written.items():
        if dye_name not in dyes:
            hint = did_you_mean(dye_name, dyes) or _there_are("dyes", dyes, f"add [dye.{dye_name}]")
            report.add((*place, dye_name), "there is no dye of this name", hint)
        try:
            strength = parse_strength(text) if isinstance(text, str) else None
        except UnitError:
            continue
        if strength is None:
            continue
        in_a_litre_mL += strength.amount if strength.unit == "mL/L" else 0.0
        dye = dyes.get(dye_name)
        if dye is not None:
            for owner, line, why in _missing_for(strength, dye, dye_name, name, "density" in mix):
                report.add((*place, dye_name), why, f"add {line} below [{owner}]")
    if in_a_litre_mL > 1000 and len(written) > 1:
        report.add(place, f"the dyes together are {in_a_litre_mL:g} mL in a litre, more than it can hold", "lower them")


def _missing_for(
    strength: Strength, dye: m.Dye, dye_name: str, mix_name: str, mix_has_density: bool
) -> Iterator[tuple[str, str, str]]:
    """Yield each line that a strength needs and that is not there: in which table, the line, and why."""
    liquid = dye.concentrate_g_per_L is not None
    weighed = strength.unit in ("g/L", "% by weight")
    if not weighed and not liquid:
        yield (
            f"dye.{dye_name}",
            'concentrate = "40 g/L"',
            "a dye measured by volume or in drops needs the grams of pure dye in a litre of it as sold",
        )
    if weighed and liquid and dye.density_g_per_mL is None:
        yield f"dye.{dye_name}", 'density = "0.95 g/mL"', "a liquid dye that is weighed needs its density"
    if strength.unit == "% by weight" and not mix_has_density:
        yield f"mix.{mix_name}", 'density = "0.95 g/mL"', "a strength by weight needs the density of the mix"


def _files(raw: Mapping[str, Any]) -> Iterator[tuple[Place, object]]:
    for place, face in _tables(raw, "face"):
        outlines = [(place, face), *(((*place, "opening", i), o) for i, o in enumerate(_list(face.get("opening"))))]
        for owner, table in outlines:
            for key in ("picture", "drawing"):
                yield (*owner, key), table.get(key)
    if isinstance(raw.get("base"), dict):
        yield ("base", "picture"), raw["base"].get("picture")
    for name, dye in _named(raw, "dye"):
        yield ("dye", name, "file"), dye.get("file")


def _file_exists(report: Report, place: Place, folder: Path, value: object) -> None:
    if not isinstance(value, str) or not value.strip() or not value.isprintable():
        return
    path = folder / value.strip().replace("\\", "/")
    try:
        if path.is_file():
            return
        rule = "this is a folder, a file is wanted" if path.is_dir() else "there is no such file"
    except (OSError, ValueError):
        rule = "this cannot be the name of a file"
    report.add(place, rule, close_by(path))
