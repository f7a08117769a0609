"""Rules that tie several values of a scheme together.

They look at what is written, so that they hold for the parts that did parse while others did not.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from layerpreview.scheme import model as m
from layerpreview.scheme.base import BASE_SOURCES, OPTIONS_OF
from layerpreview.scheme.coat_rules import check_coats, there_are
from layerpreview.scheme.fields import did_you_mean, listed
from layerpreview.scheme.part_rules import check_faces
from layerpreview.scheme.report import Place, Placed, Report, Table, given_in, named, names, table_told, tables, word
from layerpreview.scheme.source import close_by, toml_string
from layerpreview.scheme.work import PARTS
from layerpreview.scheme.work_fields import parse_ratio
from layerpreview.spray.ingredients import Ratio
from layerpreview.units import Strength, UnitError, parse_strength

_ONLY_OF = {
    "levelling": "metal",
    **dict.fromkeys(("silver", "flake_spread", "broad_spread", "broad_share", "brightness"), "metal"),
    **dict.fromkeys(("sparkle", "additive"), "metal"),
    "relief": "metal",
    "height_picture": "metal",
    "grain": "wood",
    "soak": "wood",
}


def check_bases(report: Report) -> None:
    """Add every broken rule of the base and of the bases of single faces."""
    raw = report.raw
    if isinstance(raw.get("base"), dict):
        _base(report, ("base",), raw["base"])
    faces = names(tables(raw, "face"))
    for name, base in named(raw, "base_of"):
        if name not in faces:
            hint = did_you_mean(name, faces) or (f"the faces are: {', '.join(faces)}" if faces else "add a [[face]]")
            report.add(("base_of", name), "there is no face of this name", hint)
        _base(report, ("base_of", name), with_kind(base, raw.get("base")), all_else="kind" not in base)


def with_kind(base: Table, of_all: object) -> dict[str, object]:
    """Return the base of a face with its kind: one that says none is as the base of all but for what it says."""
    kind = of_all.get("kind") if isinstance(of_all, Mapping) else None
    return dict(base) if kind is None else {"kind": kind, **base}


def _base(report: Report, place: Place, base: Table, *, all_else: bool = False) -> None:
    """Check one base; with `all_else` what it does not say is as in another, which may say what it is made of."""
    given, found = given_in(base, BASE_SOURCES)
    if len(given) > 1 or not (given or all_else):
        sources = listed(BASE_SOURCES).replace(" or ", " and ")
        report.add(place, f"a base has exactly one of {sources}; {found}", 'for example relief = "lifted"')
    for options, source in OPTIONS_OF.items():
        if options in base and source not in given:
            report.add(
                (*place, options), f"these belong to a base with {source} = ...", f"add {source} or leave them out"
            )
    kind = word(base, "kind")
    for key, owner in _ONLY_OF.items():
        if key in base and kind in ("metal", "solid", "wood") and kind != owner:
            report.add((*place, key), f"only a {owner} base has this", f'leave it out, or write kind = "{owner}"')
    picture = base.get("picture_options")
    if isinstance(picture, dict) and picture.get("tile") is True and "width" not in picture:
        report.add(
            (*place, "picture_options", "tile"), "repeating needs the picture's true width", 'add width = "420 mm"'
        )
    if isinstance(picture, dict) and "crop" in picture and "corners" in picture:
        rule = "corners say already which part is used"
        report.add((*place, "picture_options", "crop"), rule, "leave out crop or corners")
    if isinstance(picture, dict) and "neutral_patch" in picture and "neutral_colour" in picture:
        rule = "the photo is balanced by one of neutral_patch and neutral_colour"
        report.add((*place, "picture_options", "neutral_colour"), rule, "leave out one of them")
    if isinstance(picture, dict) and "taken" in picture and kind == "metal":
        rule = "only a photo of a solid or wood base says this"
        report.add((*place, "picture_options", "taken"), rule, "leave it out: flake hardly changes under clear")
    if "height_picture" in base:
        _height(report, (*place, "height_options"), base.get("height_options", {}))


def _height(report: Report, place: Place, options: Any) -> None:
    if not isinstance(options, dict):
        return
    if "width" not in options:
        report.add((*place, "width"), "a relief picture needs its true width", 'add height_options.width = "120 mm"')
    slopes = word(options, "kind") == "normal"
    if slopes and "depth" in options:
        report.add((*place, "depth"), "a normal map holds slopes, it has no depth", "leave it out")
    if not slopes and "depth" not in options:
        report.add(
            (*place, "depth"),
            "a height map needs the height from its black to its white",
            'add height_options.depth = "0.4 mm", or kind = "normal" for a normal map',
        )


def check_products(report: Report) -> None:
    """Add every broken rule of the mixes, paints, base coats and clear coats."""
    for place, product in _products(report.raw):
        written = product.get("ratio")
        try:
            ratio = parse_ratio(written) if isinstance(written, str) else None
        except UnitError:
            continue  # the field says so
        if ratio is not None or written is None:
            _parts(report, place, product, ratio)
    opaque = [(place, coat) for place, coat in tables(report.raw, "coat") if "opaque" in coat]
    known = list(dict.fromkeys(names(opaque)))
    for name, _ in named(report.raw, "paint"):
        if name not in known:
            otherwise = f"add name = {toml_string(name)} to an opaque coat"
            hint = did_you_mean(name, known) or there_are("named opaque coats", known, otherwise)
            report.add(("paint", name), "there is no opaque coat of this name", hint)


def _products(raw: Any) -> Iterator[Placed]:
    for key in ("mix", "paint"):
        for name, product in named(raw, key):
            yield (key, name), product
    if isinstance(raw.get("clear"), dict):
        yield ("clear",), raw["clear"]
    if isinstance(raw.get("base"), dict) and isinstance(raw["base"].get("coat"), dict):
        yield ("base", "coat"), raw["base"]["coat"]
    for name, base in named(raw, "base_of"):
        if isinstance(base.get("coat"), dict):
            yield ("base_of", name, "coat"), base["coat"]


def _parts(report: Report, place: tuple[str | int, ...], product: dict[str, Any], ratio: Ratio | None) -> None:
    there = {part for part, _ in ratio.parts} if ratio else {"carrier"}
    for part in PARTS:
        density, price = f"{part}_density", f"{part}_price"
        if part not in there:
            for key in (density, price):
                if key in product:
                    remedy = "leave this out, or name it in ratio"
                    report.add((*place, key), f"the ratio has no {part}" if ratio else "there is no ratio", remedy)
        elif ratio and ratio.by == "weight" and density not in product:
            rule = f"a ratio by weight needs the density of the {part}"
            remedy = f'add {density} = "0.95 g/mL" (the product\'s sheet has it), or give the ratio by volume'
            report.add((*place, density), rule, remedy)
    if "pot_life" in product and "catalyst" not in there:
        remedy = 'name the catalyst: ratio = "4:1:1 clear:hardener:reducer"'
        report.add((*place, "pot_life"), "only a mix with a catalyst has a pot life", remedy)


Dyes = Mapping[str, m.Dye | None]


def check_rules(report: Report, folder: Path, dyes: Dyes) -> None:
    """Add every broken rule to the report; a dye that did not parse is None."""
    check_faces(report)
    check_bases(report)
    check_coats(report)
    check_products(report)
    for name, mix in named(report.raw, "mix"):
        _mix(report, name, mix, dyes)
    for place, value in _files(report.raw):
        _file_exists(report, place, folder, value)


def files_named(raw: Mapping[str, Any], folder: Path) -> list[Path]:
    """Return every picture, drawing and dye file that a scheme names, seen from its folder."""
    return [_in_folder(folder, value) for _, value in _files(raw) if isinstance(value, str)]


def file_places(raw: Mapping[str, Any]) -> list[tuple[Place, str]]:
    """Return each place where a scheme names a file, with what is written there."""
    return [(place, value) for place, value in _files(raw) if isinstance(value, str)]


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
            hint = did_you_mean(dye_name, dyes) or there_are("dyes", list(dyes), f"add {table_told('dye', dye_name)}")
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
                report.add((*place, dye_name), why, f"add {line} below {table_told(*owner)}")
    if in_a_litre_mL > 1000 and len(written) > 1:
        report.add(place, f"the dyes together are {in_a_litre_mL:g} mL in a litre, more than it can hold", "lower them")


def _missing_for(
    strength: Strength, dye: m.Dye, dye_name: str, mix_name: str, mix_has_density: bool
) -> Iterator[tuple[tuple[str, str], str, str]]:
    """Yield each line that a strength needs and that is not there: in which table, the line, and why."""
    liquid = dye.concentrate_g_per_L is not None
    weighed = strength.unit in ("g/L", "% by weight")
    if not weighed and not liquid:
        yield (
            ("dye", dye_name),
            'concentrate = "40 g/L"',
            "a dye measured by volume or in drops needs the grams of pure dye in a litre of it as sold",
        )
    if weighed and liquid and dye.density_g_per_mL is None:
        yield ("dye", dye_name), 'density = "0.95 g/mL"', "a liquid dye that is weighed needs its density"
    if strength.unit == "% by weight" and not mix_has_density:
        yield ("mix", mix_name), 'density = "0.95 g/mL"', "a strength by weight needs the density of the mix"


def _files(raw: Mapping[str, Any]) -> Iterator[tuple[Place, object]]:
    for place, face in tables(raw, "face"):
        for owner, table in [(place, face), *tables(face, "opening", place), *tables(face, "zone", place)]:
            for key in ("picture", "drawing"):
                yield (*owner, key), table.get(key)
    bases: list[tuple[Place, dict[str, Any]]] = [(("base_of", name), base) for name, base in named(raw, "base_of")]
    if isinstance(raw.get("base"), dict):
        bases.insert(0, (("base",), raw["base"]))
    for owner, base in bases:
        for key in ("picture", "height_picture"):
            yield (*owner, key), base.get(key)
        if isinstance(options := base.get("height_options"), dict):
            yield (*owner, "height_options", "brightness"), options.get("brightness")
    for name, dye in named(raw, "dye"):
        yield ("dye", name, "file"), dye.get("file")


def _in_folder(folder: Path, value: str) -> Path:
    return folder / value.strip().replace("\\", "/")


def _file_exists(report: Report, place: Place, folder: Path, value: object) -> None:
    if not isinstance(value, str) or not value.strip() or not value.isprintable():
        return
    path = _in_folder(folder, value)
    try:
        if path.is_file():
            return
        rule = "this is a folder, a file is wanted" if path.is_dir() else "there is no such file"
    except (OSError, ValueError):
        rule = "this cannot be the name of a file"
    report.add(place, rule, close_by(path))
