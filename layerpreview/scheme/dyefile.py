"""Dye files (``*.dye.toml``), the user's own and the library's."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import lru_cache
from importlib.resources import as_file, files
from os import PathLike
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, PlainValidator

from layerpreview.errors import InputError, Problem, SchemeError
from layerpreview.scheme import fields as f
from layerpreview.scheme.model import Dye
from layerpreview.scheme.report import Report, as_toml
from layerpreview.scheme.source import open_toml, toml_in, toml_string

DYE_FORMAT_VERSION = 1
_ENDING = ".dye.toml"
GUESS_BEYOND = 1.5
"""Times the heaviest load tested, or below the lightest: there Beer's law is trusted further than any reading went."""
_LONGEST_PROVENANCE = 200


class DyeFile(BaseModel):
    """What a dye file holds."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    layerpreview_dye: Annotated[int, PlainValidator(f.whole(1, DYE_FORMAT_VERSION))] = Field(
        description="Version of this format; always there.", examples=[1]
    )
    name: f.Text = Field(description="What the dye is called.", examples=["house amber"])
    kind: Annotated[Literal["generic", "fitted", "table"], PlainValidator(f.choice("generic", "fitted", "table"))] = (
        Field(description="Where it comes from: our library, a card, or a spectrum's table.", examples=["fitted"])
    )
    provenance: f.Text = Field(
        description="Where its spectrum comes from, in words.", examples=["where the spectrum comes from"]
    )
    concentrate_g_per_L: f.ConcentrationGPerL | None = Field(
        None, alias="concentrate", description="Pure dye in a litre of it as sold.", examples=["40 g/L"]
    )
    density_g_per_mL: f.DensityGPerML | None = Field(
        None, alias="density", description="Density of the dye as sold.", examples=["0.95 g/mL"]
    )
    drops_per_mL: f.DropsPerML | None = Field(
        None, description="Drops in a millilitre, as you counted them.", examples=["44 to 53"]
    )
    absorptivity_L_per_g_cm: f.Spectrum = Field(
        description="Its spectrum: decadic absorptivity of the pure dye.", examples=[[[380, 61.0], [390, 58.2]]]
    )
    low_L_per_g_cm: f.Spectrum | None = Field(
        None, description="The low end of the 90 % range of that.", examples=[[[380, 58.0], [390, 55.1]]]
    )
    high_L_per_g_cm: f.Spectrum | None = Field(
        None, description="The high end of it.", examples=[[[380, 64.0], [390, 61.3]]]
    )
    tested_from_mg_m2: Annotated[float, PlainValidator(f.number(0.0, 1e6))] | None = Field(
        None, description="The lightest load that the card held [mg/m2].", examples=[45.0]
    )
    tested_to_mg_m2: Annotated[float, PlainValidator(f.number(0.0, 1e6))] | None = Field(
        None, description="The heaviest load that it held [mg/m2].", examples=[270.0]
    )
    doubt_of_log: f.Roots | None = Field(
        None,
        description="How its doubt hangs together from wavelength to wavelength.",
        examples=[[[380, 0.05, 0.01], [390, 0.06, -0.02]]],
    )


def load_dye_file(path: str | PathLike[str]) -> DyeFile:
    """Return all that a dye file holds, its interval too. Raises SchemeError with every problem of the file."""
    report = open_toml(path, what="dye")
    if "layerpreview" in report.raw and "layerpreview_dye" not in report.raw:
        raise SchemeError(Problem("this is a scheme, not a dye", "name a file such as amber.dye.toml", str(path)))
    written = report.check(DyeFile, (), report.raw, Path())
    if written is None:
        raise SchemeError(report.problems)
    return written


def load_dye(path: str | PathLike[str]) -> Dye:
    """Return the dye that a dye file describes.

    Raises SchemeError with every problem of the file, each with its line.
    """
    report = open_toml(path, what="dye")
    dye = _dye_of(report)
    if dye is None:
        raise SchemeError(report.problems)
    return dye


def dye_name(asked: str) -> str:
    """Return the name for a dye file as asked for with --name. Raises InputError for one that no dye file may have."""
    try:
        return f.text(asked)
    except f.FieldError as error:
        rule = error.rule if asked.strip() else "a dye needs a name"
        remedy = error.remedy if asked.strip() else 'write for example --name "house amber", or leave it out'
        raise InputError(Problem(rule, remedy, field="--name", value=as_toml(asked))) from None


def dye_file_text(
    *,
    name: str,
    kind: Literal["fitted", "table"],
    provenance: str,
    concentrate_g_per_L: float | None,
    wavelength_nm: Sequence[float],
    best: Sequence[float],
    interval: tuple[Sequence[float], Sequence[float]] | None = None,
    tested_mg_m2: tuple[float, float] | None = None,
    doubt_of_log: Sequence[Sequence[float]] | None = None,
    remarks: Sequence[str] = (),
) -> str:
    """Return the text of a dye file: absorptivities [L/(g cm)], with the ends of their 90 % interval where known.

    `tested_mg_m2` [mg/m2]: the lightest and the heaviest load the card held; `doubt_of_log` (W, K) are roots of the
    covariance of the natural logarithm; `remarks` become comments at its head.
    Raises InputError where `load_dye` would refuse the file.
    """
    lines = [*(f"# {' '.join(remark.split())}" for remark in remarks), f"layerpreview_dye = {DYE_FORMAT_VERSION}"]
    lines += [f"name = {toml_string(name)}", f'kind = "{kind}"']
    lines.append(f"provenance = {toml_string(provenance[:_LONGEST_PROVENANCE])}")
    if concentrate_g_per_L is not None:
        lines.append(f'concentrate = "{concentrate_g_per_L:g} g/L"')
    if tested_mg_m2 is not None:
        lightest, heaviest = tested_mg_m2
        guess = f"below {lightest / GUESS_BEYOND:.3g} and beyond {GUESS_BEYOND * heaviest:.3g} it is a guess"
        lines.append(f"tested_from_mg_m2 = {lightest:.4g}  # the lightest load on the card")
        lines.append(f"tested_to_mg_m2 = {heaviest:.4g}  # the heaviest; {guess}")
    ends = [] if interval is None else [("low", interval[0]), ("high", interval[1])]
    for key, values in (("absorptivity", best), *ends):
        pairs = [f"[{nm:g}, {value:.4g}]" for nm, value in zip(wavelength_nm, values, strict=True)]
        rows = "".join("    " + ", ".join(pairs[k : k + 6]) + ",\n" for k in range(0, len(pairs), 6))
        lines.append(f"{key}_L_per_g_cm = [\n{rows}]")
    if doubt_of_log is not None:
        lines.append(
            "# How its doubt hangs together from wavelength to wavelength: for comparing batches and parting mixes."
        )
        rows = "".join(
            f"    [{nm:g}, {', '.join(f'{value:.4f}' for value in values)}],\n"
            for nm, values in zip(wavelength_nm, doubt_of_log, strict=True)
        )
        lines.append(f"doubt_of_log = [\n{rows}]")
    text = "\n".join(lines) + "\n"
    report = toml_in(text, "the dye file", what="dye")
    if _dye_of(report) is None:
        remedy = "check strength, film, path and concentrate"
        raise InputError(
            Problem(f"it would hold a value that no dye file may: {p.rule}", remedy, report.file, field=p.field)
            for p in report.problems
        )
    return text


def library_names() -> tuple[str, ...]:
    """Return the names of the dyes that come with the package, sorted."""
    folder = files("layerpreview") / "data" / "dyes"
    found = (entry.name for entry in folder.iterdir()) if folder.is_dir() else iter(())
    return tuple(sorted(name.removesuffix(_ENDING) for name in found if name.endswith(_ENDING)))


@lru_cache(maxsize=64)
def load_library_dye(name: str) -> Dye:
    """Return a dye that comes with the package, by one of `library_names`."""
    with as_file(files("layerpreview") / "data" / "dyes" / f"{name}{_ENDING}") as path:
        return load_dye(path)


def library_dye_text(name: str) -> str:
    """Return the text of a dye file that comes with the package, by one of `library_names`."""
    return (files("layerpreview") / "data" / "dyes" / f"{name}{_ENDING}").read_text(encoding="utf-8")


def _dye_of(report: Report) -> Dye | None:
    written = report.check(DyeFile, (), report.raw, Path())
    if written is None:
        return None
    lightest, heaviest = written.tested_from_mg_m2, written.tested_to_mg_m2
    if lightest is not None and heaviest is not None and lightest > heaviest:
        report.add(("tested_from_mg_m2",), "more than tested_to_mg_m2", "give the lightest load on the card")
        return None
    wavelength, absorptivity = zip(*written.absorptivity_L_per_g_cm, strict=True)
    return Dye(
        name=written.name,
        kind=written.kind,
        provenance=written.provenance,
        wavelength_nm=wavelength,
        absorptivity_L_per_g_cm=absorptivity,
        low_L_per_g_cm=_at(wavelength, written.low_L_per_g_cm, absorptivity, min),
        high_L_per_g_cm=_at(wavelength, written.high_L_per_g_cm, absorptivity, max),
        tested_from_mg_m2=written.tested_from_mg_m2,
        tested_to_mg_m2=written.tested_to_mg_m2,
        concentrate_g_per_L=written.concentrate_g_per_L,
        density_g_per_mL=written.density_g_per_mL,
        drops_per_mL=written.drops_per_mL,
    )


def _at(
    wavelength_nm: Sequence[float],
    rows: Sequence[tuple[float, float]] | None,
    best: Sequence[float],
    outer: Callable[[float, float], float],
) -> tuple[float, ...] | None:
    """One end of the interval at the wavelengths of the best values, never on their wrong side."""
    if rows is None:
        return None
    import numpy as np

    at, values = zip(*rows, strict=True)
    found = np.interp(wavelength_nm, at, values)
    return tuple(outer(float(end), value) for end, value in zip(found, best, strict=True))
