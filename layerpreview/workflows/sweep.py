"""A sweep of recipes to a table: ranges in a small file, rows to CSV or Parquet."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path

import numpy as np

from layerpreview.answers.ladder import ground_for
from layerpreview.answers.reach import units_of
from layerpreview.answers.sweep import Ranges, Swept, sweep
from layerpreview.doing import doing
from layerpreview.errors import InputError, Problem, SchemeError
from layerpreview.finish.patches import per_mg_m2
from layerpreview.output.csv_table import csv_rows
from layerpreview.output.files import write_text, written_together
from layerpreview.picture.spots import places_of
from layerpreview.scheme import Scheme, load_scheme
from layerpreview.scheme.report import Report
from layerpreview.scheme.source import open_toml
from layerpreview.units import UnitError, parse_range, parse_strength
from layerpreview.workflows.reach import dyes_from

KEYS = ("layerpreview_sweep", "runs", "seed", "coats", "film", "strength")
MOST_RUNS = 5_000_000


@dataclass(frozen=True)
class SweptFile:
    """The table that was written and its size."""

    file: Path
    runs: int
    columns: tuple[str, ...]


def sweep_file(
    scheme_path: Path, ranges_path: Path, *, out: Path, force: bool = False, part: tuple[int, int] = (1, 1)
) -> SweptFile:
    """Compute the recipes of a ranges file over the base (see `ground_for`); write them to `out` (.csv or .parquet).

    `part` (i, n): one of n parts, for several machines. Raises SchemeError for either file, InputError, OutputError.
    """
    scheme = load_scheme(scheme_path)
    ranges, powders = read_ranges(ranges_path, scheme)
    if out.suffix not in (".csv", ".parquet"):
        raise InputError(
            Problem(
                "the table's name ends in .csv or .parquet",
                "write for example -o out/sweep.csv",
                field="--out",
                value=out.name,
            )
        )
    if not 1 <= part[0] <= part[1]:
        raise InputError(
            Problem("there is no such part", "write 1/4 ... 4/4", field="--part", value=f"{part[0]}/{part[1]}")
        )
    dyes = dyes_from(list(ranges.strengths), scheme)
    ground = ground_for(scheme, places_of(scheme))
    patches = ground.patches(scheme, per_mg_m2(list(dyes.values())))
    units = units_of([dye.concentrate_g_per_L for dye in dyes.values()])
    doing("working out the recipes")
    table = columns_of(sweep(patches, units, ranges, part=part[0], parts=part[1]), ranges, powders, scheme.lights)
    spared = [*scheme.inputs, ranges_path]
    with written_together(
        out.parent, [out.name], force=force, inputs=spared, elsewhere="name another file with -o"
    ) as paths:
        doing("writing the table")
        _write(table, paths[out.name])
    return SweptFile(out, len(table["run"]), tuple(table))


def part_from(text: str) -> tuple[int, int]:
    """Which part of how many, as typed. Raises InputError for what is none.

    >>> part_from("2/4")
    (2, 4)
    """
    found = re.fullmatch(r"\s*([0-9]{1,6})\s*/\s*([0-9]{1,6})\s*", text)
    if found and 1 <= int(found[1]) <= int(found[2]):
        return int(found[1]), int(found[2])
    rule = "which part of how many is wanted, the first number no larger than the second"
    raise InputError(Problem(rule, "write for example 1/4", field="--part", value=text))


def read_ranges(path: Path, scheme: Scheme) -> tuple[Ranges, dict[str, bool]]:
    """The ranges of a file, and which of its dyes are powders. Raises SchemeError with every problem and its line.

    layerpreview_sweep = 1; runs, seed: whole numbers; coats = "1 to 8"; film = "20 to 65 um"; [strength] by dye of the
    scheme or library: amber = "2 to 20 mL/L".
    """
    report = open_toml(path, what="ranges")
    raw = report.raw
    for key in raw:
        if key not in KEYS:
            report.unknown_key((key,), KEYS)
    if raw.get("layerpreview_sweep") != 1:
        report.add(("layerpreview_sweep",), "the version of this format is wanted", "write layerpreview_sweep = 1")
    runs = _whole(report, "runs", 10_000, 1, MOST_RUNS)
    seed = _whole(report, "seed", 7, 0, 2**32 - 1)
    coats = _coats(report)
    film = (20.0, 65.0)
    try:
        wanted = parse_range(str(raw.get("film", "")), "film")
        film = (wanted.low, wanted.high)
    except UnitError as error:
        report.add(("film",), error.rule, 'write film = "20 to 65 um"')
    strengths: dict[str, tuple[float, float]] = {}
    powders: dict[str, bool] = {}
    table = raw.get("strength")
    if not isinstance(table, Mapping) or not table:
        report.add(("strength",), "a table of dyes is wanted", 'write [strength] and below it amber = "2 to 20 mL/L"')
        table = {}
    for name, text in table.items():
        found = _strengths(report, name, text, scheme)
        if found:
            strengths[name], powders[name] = found
    if report.problems:
        raise SchemeError(report.problems)
    return Ranges(strengths, coats, film, runs, seed), powders


def _whole(report: Report, key: str, usual: int, low: int, high: int) -> int:
    value = report.raw.get(key, usual)
    if isinstance(value, int) and not isinstance(value, bool) and low <= value <= high:
        return value
    report.add((key,), f"a whole number from {low} to {high} is wanted")
    return usual


def _coats(report: Report) -> tuple[int, int]:
    match = re.fullmatch(r"\s*(\d{1,2})(?:\s*(?:to|-)\s*(\d{1,2}))?\s*", str(report.raw.get("coats", "")))
    low, high = (int(match[1]), int(match[2] or match[1])) if match else (0, 0)
    if not 1 <= low <= high <= 60:
        report.add(("coats",), "whole coats from 1 to 60 are wanted", 'write coats = "1 to 8"')
    return low, high


def _strengths(report: Report, name: str, text: object, scheme: Scheme) -> tuple[tuple[float, float], bool] | None:
    """Both ends in the unit the dye is sold in, and whether it is a powder."""
    place = ("strength", name)
    try:
        dye = dyes_from([name], scheme).get(name)
    except InputError as error:
        report.add(place, error.problems[0].rule, error.problems[0].remedy)
        return None
    if dye is None:
        report.add(place, "one dye is wanted here", 'name it, for example amber = "2 to 20 mL/L"')
        return None
    powder = dye.concentrate_g_per_L is None
    unit = "g/L" if powder else "mL/L"
    example = f'write {name} = "2 to 20 {unit}"'
    match = re.fullmatch(r"\s*(.+?)\s+to\s+([\d.,]+)\s*(\D.*)", str(text))
    try:
        ends = [
            parse_strength(f"{end} {match[3]}" if match else str(text))
            for end in (match.groups()[:2] if match else ("",))
        ]
    except UnitError as error:
        report.add(place, error.rule, error.remedy or example)
        return None
    if any(end.unit != unit for end in ends) or ends[0].amount > ends[-1].amount:
        report.add(place, f"a rising range in {unit} is wanted", example)
        return None
    return (ends[0].amount, ends[-1].amount), powder


def columns_of(
    swept: Swept, ranges: Ranges, powders: Mapping[str, bool], lights: tuple[str, ...]
) -> dict[str, np.ndarray]:
    """The table by column: run, recipe, loads, L*a*b* by light, and the screen's swatch under the first."""
    table: dict[str, np.ndarray] = {"run": np.arange(swept.first_run, swept.first_run + len(swept.coats))}
    for i, name in enumerate(ranges.strengths):
        table[f"{name}_{'g' if powders[name] else 'mL'}_per_L"] = swept.strength[:, i].round(4)
    table |= {"coats": swept.coats, "film_um": swept.film_um.round(2)}
    for i, name in enumerate(ranges.strengths):
        table[f"{name}_mg_m2"] = swept.load_mg_m2[:, i].round(3)
    for k, light in enumerate(lights):
        for c, letter in enumerate("Lab"):
            table[f"{letter}_{light}"] = swept.lab[:, k, c].round(3)
    codes = swept.srgb.astype(np.uint32)
    table["srgb"] = np.array([f"#{code:06x}" for code in (codes[:, 0] << 16) + (codes[:, 1] << 8) + codes[:, 2]])
    return table


def _write(table: dict[str, np.ndarray], path: Path) -> None:
    if path.suffix == ".csv":
        rows = zip(*(column.tolist() for column in table.values()), strict=True)
        write_text(path, csv_rows(list(table), rows, line_end="\n"))
        return
    try:
        arrow, parquet = import_module("pyarrow"), import_module("pyarrow.parquet")
    except ImportError:
        raise InputError(
            Problem(
                "Parquet needs one more package", "pip install pyarrow, or write .csv", field="--out", value=path.name
            )
        ) from None
    parquet.write_table(arrow.table(table), path)
