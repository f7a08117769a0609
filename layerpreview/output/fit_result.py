"""What a card taught as files: the dye file, pictures of the fit and of the card as it was found, figures and words."""

from __future__ import annotations

from pathlib import Path

from layerpreview.colour import WAVELENGTHS_NM
from layerpreview.learn.spray_out import Fitted, StepPair
from layerpreview.output.files import file_stem, write_text
from layerpreview.output.fit_picture import fit_picture, found_picture
from layerpreview.output.pictures import write_picture
from layerpreview.output.result import U8, Paths, Result
from layerpreview.scheme.dyefile import GUESS_BEYOND, dye_file_text

EVERY = slice(None, None, 2)
"""Dye files hold every second grid wavelength: 10 nm."""


def fit_names(name: str, *, photo: bool) -> tuple[str, ...]:
    """The files of a dye called `name`: itself, its picture, its figures, and the photo as it was read."""
    stem = file_stem(name, otherwise="dye")
    names = (f"{stem}.dye.toml", f"{stem}_fit.png", f"{stem}_fit.json")
    return (*names, f"{stem}_found.png") if photo else names


def fit_result(fitted: Fitted, *, inputs: tuple[Path, ...]) -> Result[Fitted]:
    """What was learnt with its ways out; the table has a row for every window of the card."""
    names = fit_names(fitted.name, photo=fitted.found is not None)

    def picture() -> U8:
        return _picture(fitted)

    def write(paths: Paths) -> None:
        write_text(paths[names[0]], _dye_file(fitted))
        write_picture(picture(), paths[names[1]])
        if fitted.found is not None:
            found = fitted.found
            drawn = found_picture(found.pixels, found.areas, notes=found.notes or ("nothing odd",))
            write_picture(drawn, paths[names[3]])

    mean = sum(pair.de00 for pair in fitted.steps) / len(fitted.steps)
    return Result(
        found=fitted,
        line=f"Fit {fitted.name}, {len(fitted.builds)} steps, {mean:.1f} dE00, to {fitted.tested_to_mg_m2:.0f} mg/m2",
        document=lambda folder: _document(fitted, names, folder),
        rows=lambda: [_row(pair) for pair in fitted.steps],
        text=lambda: fitted_text(fitted),
        names=names,
        write=write,
        json_name=names[2],
        picture=picture,
        inputs=inputs,
    )


def _document(fitted: Fitted, names: tuple[str, ...], folder: Path | None) -> dict[str, object]:
    where = {} if folder is None else {"folder": folder, "files": names, "dye_file": folder / names[0]}
    told = ("steps", "builds", "misfit", "ambiguous", "flake_spread", "load_per_coat_mg_m2", "tested_to_mg_m2")
    figures = {key: getattr(fitted, key) for key in (*told, "notes", "next_steps")}
    return {"name": fitted.name, **where, **figures}


def _row(pair: StepPair) -> dict[str, object]:
    measured = {f"{axis}_measured": value for axis, value in zip("Lab", pair.measured_lab, strict=True)}
    fitted = {f"{axis}_fitted": value for axis, value in zip("Lab", pair.fitted_lab, strict=True)}
    return {"background": pair.background, "window": pair.words, **measured, **fitted, "de00": pair.de00}


def _dye_file(fitted: Fitted) -> str:
    return dye_file_text(
        name=fitted.name,
        kind="fitted",
        provenance=fitted.rests_on,
        concentrate_g_per_L=fitted.concentrate_g_per_L,
        wavelength_nm=WAVELENGTHS_NM[EVERY].tolist(),
        best=fitted.absorptivity[EVERY].tolist(),
        interval=(fitted.low[EVERY].tolist(), fitted.high[EVERY].tolist()),
        tested_to_mg_m2=fitted.tested_to_mg_m2,
        remarks=fitted.notes,
    )


def _picture(fitted: Fitted) -> U8:
    tested = fitted.tested_to_mg_m2
    return fit_picture(
        fitted.steps,
        best=fitted.absorptivity,
        low=fitted.low,
        high=fitted.high,
        tested=f"Tested up to {tested:.0f} mg/m2 ({fitted.heaviest_coats:g} coats); "
        f"beyond {GUESS_BEYOND * tested:.0f} mg/m2 it is a guess.",
        title=f"{fitted.name}: measured over fitted",
        notes=(*fitted.notes, *(f"next best step: {step.words}" for step in fitted.next_steps[:1])),
    )


def fitted_text(fitted: Fitted) -> str:
    """What to show a person: misfit of each step, builds, how far to trust it, what to spray next."""
    worst = max(fitted.steps, key=lambda pair: pair.de00)
    mean = sum(pair.de00 for pair in fitted.steps) / len(fitted.steps)
    lines = [
        f"{fitted.name}: {len(fitted.builds)} steps, fitted to {mean:.1f} CIEDE2000 on average",
        f"  worst: {worst.words} over {worst.background}, {worst.de00:.1f}",
        f"  tested up to {fitted.tested_to_mg_m2:.0f} mg/m2; "
        f"beyond {GUESS_BEYOND * fitted.tested_to_mg_m2:.0f} it is a guess",
        "  coats as they really came out (90 % range):",
    ]
    for step, (low, likely, high) in fitted.builds.items():
        lines.append(f"    step {step}: {likely:.2f} ({low:.2f} to {high:.2f})")
    lines += [f"  note: {note}" for note in fitted.notes]
    for wanted in fitted.next_steps:
        doubt = f"{wanted.doubt_before:.1f} -> {wanted.doubt_after:.1f}"
        lines.append(f"  next best step: {wanted.words} (doubt {doubt} in L*a*b*)")
    return "\n".join([*lines, ""])
