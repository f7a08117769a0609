"""What a person says of a photo of a part, read and checked, all faults at once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields
from pathlib import Path
from typing import TypeVar

from layerpreview.errors import InputError, Problem
from layerpreview.surface.part_mask import Holes
from layerpreview.surface.square import Paper
from layerpreview.units import UnitError, parse_quantity
from layerpreview.workflows.typed import place_typed

Share = tuple[float, float]
Read = TypeVar("Read")

PAPERS: tuple[Paper, ...] = ("auto", "A4", "Letter", "frame")
HOLES: tuple[Holes, ...] = ("auto", "keep", "close")
KINDS = ("metal", "solid", "wood")
MIRRORED = "mirrored"


@dataclass(frozen=True)
class PhotoOptions:
    """As typed: `part_width`, `paper` or `marks` give the scale; `at`, `background`, `holes` and `drawn` (a copy with
    a green line) help the outline; `turn_deg` clockwise; `kind` what the base is; `depth` of a side; `back`: a photo,
    or "mirrored"."""

    part_width: str | None = None
    paper: str | None = None
    marks: str | None = None
    at: str | None = None
    background: str | None = None
    holes: str = "auto"
    drawn: Path | None = None
    turn_deg: float = 0.0
    kind: str = "metal"
    depth: str | None = None
    back: str | None = None

    def told(self) -> dict[str, str]:
        """What was said, by the name of its option."""
        return {
            "--" + field.name.removesuffix("_deg").replace("_", "-"): str(value)
            for field in fields(self)
            if (value := getattr(self, field.name)) != field.default
        }


@dataclass(frozen=True)
class Wanted:
    """The same, read: lengths in mm, points as shares 0..1 of the picture's width and height."""

    part_width_mm: float | None
    paper: Paper | None
    marks: str | None
    at: Share | None
    background: Share | None
    holes: Holes
    drawn: Path | None
    turn_deg: float
    kind: str
    depth_mm: float | None
    back: str | None


def read_options(options: PhotoOptions) -> Wanted:
    """Return the options read. Raises InputError with every fault."""
    problems: list[Problem] = []

    def read(parse: Callable[[str, str], Read], field: str, value: str | None) -> Read | None:
        try:
            return None if value is None else parse(field, value)
        except InputError as error:
            problems.extend(error.problems)
            return None

    wanted = Wanted(
        part_width_mm=read(length_mm, "--part-width", options.part_width),
        paper=read(_one_of(PAPERS), "--paper", options.paper),
        marks=options.marks,
        at=read(share, "--at", options.at),
        background=read(share, "--background", options.background),
        holes=read(_one_of(HOLES), "--holes", options.holes) or "auto",
        drawn=options.drawn,
        turn_deg=options.turn_deg,
        kind=read(_one_of(KINDS), "--kind", options.kind) or "metal",
        depth_mm=read(length_mm, "--depth", options.depth),
        back=options.back,
    )
    if options.paper is not None and options.marks is not None:
        rule = "paper and marks both set the scale"
        problems.append(Problem(rule, "leave out one of them", field="--marks", value=options.marks))
    files = {"--drawn": options.drawn, "--back": Path(options.back) if options.back not in (None, MIRRORED) else None}
    for field, path in files.items():
        if path is not None and not path.is_file():
            remedy = "check its name" + (f", or write the word {MIRRORED}" if field == "--back" else "")
            problems.append(Problem("no such file", remedy, field=field, value=str(path)))
    if problems:
        raise InputError(problems)
    return wanted


def length_mm(field: str, value: str) -> float:
    """A length of a part [mm], 1 mm to 20 m. Raises InputError."""
    try:
        found = parse_quantity(value, "length")
    except UnitError as error:
        raise InputError(Problem(error.rule, error.remedy, field=field, value=value)) from error
    if not 1.0 <= found <= 20_000.0:
        rule, remedy = "this must be from 1 mm to 20000 mm", "check the number and its unit"
        raise InputError(Problem(rule, remedy, field=field, value=value))
    return found


def share(field: str, value: str) -> Share:
    """A point of a picture from "40%,55%", across and down, as shares 0..1. Raises InputError."""
    return place_typed(value, field)


def _one_of(names: tuple[Read, ...]) -> Callable[[str, str], Read]:
    def parse(field: str, value: str) -> Read:
        for name in names:
            if str(name).lower() == value.strip().lower():
                return name
        raise InputError(
            Problem("no such choice", f"use one of {', '.join(map(str, names))}", field=field, value=value)
        )

    return parse
