"""Readings of a spray-out card, one row a window: background, coats, and colour or spectrum."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

from layerpreview.errors import MOST_TOLD, InputError, Problem
from layerpreview.learn.read.number_table import TextTable, is_number, matched, number, read_table
from layerpreview.scheme.fields import did_you_mean

Wrong = Callable[..., None]
MOST_ROWS = 5_000
Kind = Literal["lab", "xyz", "srgb", "spectrum"]
KNOWN_REMARKS = (
    *("light", "observer", "strength", "film", "concentrate", "flake spread", "geometry", "sprayed", "name"),
    *("base", "mix"),
)
_BACKGROUNDS = {
    "white": ("white", "w", "card", "paper", "over white"),
    "base": ("base", "b", "silver", "metal", "metallic", "wood", "over base", "over silver"),
}
_BACKGROUND_OF = {word: name for name, words in _BACKGROUNDS.items() for word in words}
_COLUMNS = {
    "background": ("background", "ground", "over", "base"),
    "sample": ("sample_name", "sample", "patch", "sample_id"),
    "coats": ("coats", "coat", "n", "step", "passes"),
    "strength": ("strength", "factor"),
    "l": ("l", "l*", "lab_l", "cie_l"),
    "a": ("a", "a*", "lab_a", "cie_a"),
    "b": ("b", "b*", "lab_b", "cie_b"),
    "x": ("x", "xyz_x"),
    "y": ("y", "xyz_y"),
    "z": ("z", "xyz_z"),
    "srgb": ("srgb", "hex", "colour", "swatch"),
    "red": ("r", "red", "rgb_r"),
    "green": ("g", "green", "rgb_g"),
    "blue": ("blue", "rgb_b"),
}
_SAMPLE = re.compile(r"\W*([A-Za-z ]+?)\W*(\d+(?:[.,]\d+)?)\s*(?:coats?)?\W*")
_COLUMN_OF = {word: name for name, words in _COLUMNS.items() for word in words}


@dataclass(frozen=True)
class Reading:
    """One window. `values`: L*, a*, b*; X, Y, Z with white at 1; sRGB 0..1; or reflectance 0..1 at the wavelengths.

    `strength` is the strength of its mix over that of the others.
    """

    background: str
    coats: float
    values: tuple[float, ...]
    line: int
    strength: float = 1.0


@dataclass(frozen=True)
class Readings:
    """All windows of a file; `remarks` its "key: value" lines, `notes` what was found and put right on reading."""

    file: str
    kind: Kind
    wavelength_nm: tuple[float, ...]
    rows: tuple[Reading, ...]
    remarks: dict[str, str]
    notes: tuple[str, ...]


def load_readings(path: Path) -> Readings:
    """Read a file of readings.

    One row a window: `background` (white or base), `coats` (0 for the bare window), then L, a, b, or X, Y, Z, or a
    colour such as #b9bcc0, or reflectances under their wavelengths. Percent are told from fractions, and files without
    a header are taken to hold L, a, b; both are said in `notes`. Raises InputError with every problem, one line each.
    """
    table = read_table(path)
    header, body, notes = _header(table)
    problems: list[Problem] = []
    kind = _kind(header)
    if kind is None or not {"coats", "sample"} & set(header):
        missing = "the coats" if kind else "a colour"
        raise InputError(
            Problem(
                f"no column for {missing}",
                "name the columns: background, coats, L, a, b (or X, Y, Z, or srgb, or wavelengths)",
                file=table.file,
                line=table.rows[0][0],
            )
        )
    if len(body) > MOST_ROWS:
        rule, remedy = f"{len(body):,} rows; a card's readings are at most {MOST_ROWS:,}", "leave out what is not of it"
        raise InputError(Problem(rule, remedy, table.file, body[MOST_ROWS][0]))
    found = [_row(table, line, cells, header, kind, problems) for line, cells in body]
    rows = [row for row in found if row is not None]
    problems += _remark_problems(table)
    rows, more = _fractions(rows, kind, table, problems)
    if not rows and not problems:
        problems.append(Problem("holds a header but no readings", file=table.file))
    if problems:
        raise InputError(problems)
    remarks = {key: value for key, (_, value) in table.remarks.items()}
    wavelengths = tuple(float(name) for name in header if is_number(name)) if kind == "spectrum" else ()
    if len(set(wavelengths)) < len(wavelengths):
        rule, remedy = "a wavelength stands there twice", "name each column once"
        raise InputError(Problem(rule, remedy, table.file, table.rows[0][0]))
    return Readings(table.file, kind, wavelengths, tuple(rows), remarks, (*table.notes, *notes, *more))


def _header(table: TextTable) -> tuple[list[str], list[tuple[int, tuple[str, ...]]], list[str]]:
    """Column names, the rows below them, and what was said about it."""
    line, first = table.rows[0]
    words = [cell.lower().strip() for cell in first]
    # "base" is both the name of a column and what may stand in it: then a number follows, the coats.
    is_row = words[0] in _BACKGROUND_OF and is_number("".join(words[1:2]))
    if not is_row and not set(words).isdisjoint(_COLUMN_OF):
        names = [_COLUMN_OF.get(word) or _wavelength(word) or word for word in words]
        # "b" is both a colour axis and a short word for blue: beside r and g it is blue.
        if {"red", "green"} <= set(names):
            names = ["blue" if name == "b" else name for name in names]
        return names, list(table.rows[1:]), []
    if len(words) >= 5 and words[0] in _BACKGROUND_OF:
        note = f"line {line}: no header; columns taken as background, coats, L, a, b"
        return ["background", "coats", "l", "a", "b"], list(table.rows), [note]
    if len(words) == 3 and words[0] in _BACKGROUND_OF and words[2].startswith("#"):
        note = f"line {line}: no header; columns taken as background, coats, colour"
        return ["background", "coats", "srgb"], list(table.rows), [note]
    raise InputError(
        Problem(
            "no header, and the first row does not begin with white or base",
            "begin with a line: background,coats,L,a,b",
            file=table.file,
            line=line,
        )
    )


def _wavelength(word: str) -> str:
    """A column head such as 400, "400 nm" or SPECTRAL_NM400 as its number."""
    match = re.fullmatch(r"(?:spectral_nm_?|nm_?|r_?)?(\d{3}(?:[.,]\d+)?)\s*(?:nm)?", word)
    return match[1].replace(",", ".") if match else ""


def _kind(header: list[str]) -> Kind | None:
    if {"l", "a", "b"} <= set(header):
        return "lab"
    if {"x", "y", "z"} <= set(header):
        return "xyz"
    if "srgb" in header or {"red", "green", "blue"} <= set(header):
        return "srgb"
    return "spectrum" if sum(is_number(name) for name in header) >= 5 else None


def _row(
    table: TextTable, line: int, cells: tuple[str, ...], header: list[str], kind: Kind, problems: list[Problem]
) -> Reading | None:
    def wrong(field: str, value: str, rule: str, remedy: str = "") -> None:
        problems.append(Problem(rule, remedy, table.file, line, field, value))

    beyond = [cell for cell in cells[len(header) :] if is_number(cell)]  # words there are somebody's remark
    if len(cells) < len(header) or beyond:
        remedy = "write decimal points, or semicolons between cells" if beyond else "give every column a value"
        wrong("", "", f"has {len(cells)} cells, the header {len(header)}", remedy)
        return None
    count = len(problems)
    row = _with_sample(dict(zip(header, cells, strict=False)))
    word = row.get("background", "base").lower()
    background = _BACKGROUND_OF.get(word, "")
    if not background:
        hint = did_you_mean(word, list(_BACKGROUNDS)) or "write white or base"
        wrong("background", repr(word), "not a background", hint)
    coats = _number(row["coats"], "coats", 0.0, 60.0, wrong)
    strength = _number(row.get("strength", "1"), "strength", 0.01, 100.0, wrong)
    if kind == "srgb" and "srgb" in row:
        values = _hex(row["srgb"], wrong)
    else:
        names = {"lab": ("l", "a", "b"), "xyz": ("x", "y", "z"), "srgb": ("red", "green", "blue")}.get(
            kind, tuple(name for name in header if is_number(name))
        )
        values = tuple(_number(row[name], name, -200.0, 1000.0, wrong) for name in names)
    if len(problems) > count:
        return None
    return Reading(background, coats, values, line, strength)


def _with_sample(row: dict[str, str]) -> dict[str, str]:
    """A sample called "white 3" or "base, 2 coats" tells background and coats."""
    if "sample" not in row or "coats" in row:
        return row
    match = matched(_SAMPLE, row["sample"])
    if match is None:
        return {"background": row["sample"], "coats": "0", **row}
    return {"background": match[1], "coats": match[2], **row}


def _number(cell: str, field: str, low: float, high: float, wrong: Wrong) -> float:
    if not is_number(cell):
        wrong(field, repr(cell), "not a number")
        return math.nan
    value = number(cell)
    if not low <= value <= high:
        wrong(field, cell, f"must lie between {low:g} and {high:g}")
    return value


def _hex(cell: str, wrong: Wrong) -> tuple[float, ...]:
    digits = cell.strip().removeprefix("#")
    if not re.fullmatch(r"[0-9a-fA-F]{6}", digits):
        wrong("srgb", repr(cell), "a colour is # and six digits 0-9 a-f", "for example #b9bcc0")
        return ()
    return tuple(int(digits[i : i + 2], 16) / 255 for i in (0, 2, 4))


def _remark_problems(table: TextTable) -> list[Problem]:
    """A remark that looks like one of ours but is misspelt would be passed over in silence: say so."""
    return [
        Problem("this remark is not known here", hint, table.file, line, key, value)
        for key, (line, value) in table.remarks.items()
        if key not in KNOWN_REMARKS and (hint := did_you_mean(key, list(KNOWN_REMARKS)))
    ]


def _fractions(
    rows: list[Reading], kind: Kind, table: TextTable, problems: list[Problem]
) -> tuple[list[Reading], list[str]]:
    """Bring percent to fractions and 8-bit codes to 0..1, and refuse what fits neither."""
    if not rows:
        return rows, []
    most = max(max(row.values) for row in rows)
    if kind == "lab":
        lightest = max(row.values[0] for row in rows)
        beyond = [row for row in rows if not 0.0 <= row.values[0] <= 105.0]
        for row in beyond[:MOST_TOLD]:
            rule, remedy = "L* must lie between 0 and 100", "check which column is which"
            problems.append(Problem(rule, remedy, table.file, row.line, "L", f"{row.values[0]:g}"))
        if not beyond and lightest <= 1.05:
            remedy = "L* runs from 0 to 100; multiply by 100"
            problems.append(Problem("every L* is 1 or less: fractions?", remedy, table.file, field="L"))
        return rows, []
    if kind == "xyz" and most <= 1.6:
        return rows, ["X, Y, Z taken as fractions (white at 1)"]
    if kind == "xyz":
        return _scaled(rows, 0.01), ["X, Y, Z taken as percent (white at 100)"]
    if kind == "srgb":
        return (_scaled(rows, 1 / 255), ["red, green, blue taken as 0 to 255"]) if most > 1.0 else (rows, [])
    if most > 1.6:
        return _scaled(rows, 0.01), ["reflectances taken as percent"]
    return rows, ["reflectances taken as fractions"]


def _scaled(rows: list[Reading], factor: float) -> list[Reading]:
    return [replace(row, values=tuple(value * factor for value in row.values)) for row in rows]
