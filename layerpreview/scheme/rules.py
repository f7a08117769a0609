"""Rules that tie several values of a scheme together.

They look at what is written, so that they hold for the parts that did parse while others did not.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from layerpreview.scheme import model as m
from layerpreview.scheme.base_rules import check_bases
from layerpreview.scheme.coat_rules import check_coats, there_are
from layerpreview.scheme.fields import did_you_mean
from layerpreview.scheme.part_rules import check_faces
from layerpreview.scheme.raw import named, tables
from layerpreview.scheme.report import Place, Report, table_told
from layerpreview.scheme.source import close_by
from layerpreview.scheme.work_rules import check_products
from layerpreview.units import Strength, UnitError, parse_strength

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
