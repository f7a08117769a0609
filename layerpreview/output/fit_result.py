"""What a card taught as files: the dye file, its pictures, figures and words."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from layerpreview.colour import WAVELENGTHS_NM
from layerpreview.learn.tell.fitted import Fitted, StepPair
from layerpreview.output.changed_words import compared_document
from layerpreview.output.files import file_stem, write_text
from layerpreview.output.fit_picture import fit_picture, found_picture
from layerpreview.output.fit_words import fitted_text, tested_words, worthwhile
from layerpreview.output.pictures import write_picture
from layerpreview.output.result import U8, Paths, Result
from layerpreview.scheme.dyefile import dye_file_text

F64 = NDArray[np.float64]

DYE_ENDING = ".dye.toml"
EVERY = slice(None, None, 2)
"""Dye files hold every second grid wavelength: 10 nm."""
_LEAST_ROOT = 0.001  # of the logarithm: a thousandth


def fit_names(name: str, *, photo: bool) -> tuple[str, ...]:
    """The files of a dye called `name`: itself, its picture, its figures, and the photo as it was read."""
    stem = file_stem(name, otherwise="dye")
    names = (f"{stem}{DYE_ENDING}", f"{stem}_fit.png", f"{stem}_fit.json")
    return (*names, f"{stem}_found.png") if photo else names


def dye_files(names: Iterable[str]) -> tuple[str, ...]:
    """Those of a fit's files that schemes go on to name."""
    return tuple(name for name in names if name.endswith(DYE_ENDING))


def fit_result(fitted: Fitted, *, inputs: tuple[Path, ...]) -> Result[Fitted]:
    """What was learnt with its ways out; the table has a row for every window of the card."""
    names = fit_names(fitted.name, photo=fitted.found is not None)

    def picture() -> U8:
        return picture_of(fitted)

    def write(paths: Paths) -> None:
        write_text(paths[names[0]], dye_file_of(fitted))
        write_picture(picture(), paths[names[1]])
        if fitted.found is not None:
            found = fitted.found
            drawn = found_picture(found.pixels, found.areas, notes=found.notes or ("nothing odd",))
            write_picture(drawn, paths[names[3]])

    mean = fitted.mean_de00
    return Result(
        found=fitted,
        line=f"Fit {fitted.name}, {len(fitted.builds)} steps, {mean:.1f} dE00, to {fitted.tested_to_mg_m2:.0f} mg/m2",
        document=lambda folder: document_of(fitted, names, folder),
        rows=lambda: [row_of(pair) for pair in fitted.steps],
        text=lambda: fitted_text(fitted),
        names=names,
        lasting=dye_files(names),
        write=write,
        json_name=names[2],
        picture=picture,
        inputs=inputs,
    )


def document_of(fitted: Fitted, names: tuple[str, ...], folder: Path | None) -> dict[str, object]:
    """What JSON says of a dye; `names` of its files, which stand in `folder`."""
    where = {} if folder is None else {"folder": folder, "files": names, "dye_file": folder / names[0]}
    told = ("steps", "builds", "misfit", "ambiguous", "flake_spread", "load_per_coat_mg_m2")
    tested = ("tested_from_mg_m2", "tested_to_mg_m2")
    figures = {key: getattr(fitted, key) for key in (*told, *tested, "mirror_share", "notes", "next_windows")}
    # The name and shape that next windows had before their background was chosen, too.
    steps = [
        {"load": best.window.load, "doubt_before": best.doubt_before_de00, "doubt_after": best.doubt_after_de00}
        for best in fitted.next_windows
    ]
    chart = {} if fitted.found is None else {"chart_left_out_de00": fitted.found.chart_left_out_de00}
    return {
        "name": fitted.name,
        **where,
        **figures,
        "next_steps": steps,
        "spectrum": _spectrum_told(fitted),
        **chart,
        **compared_document(fitted),
    }


def _spectrum_told(fitted: Fitted) -> dict[str, object]:
    """Absorptivities [L/(g cm)] with their 90 % range, and the covariance of their natural logarithm."""
    doubt = fitted.fit.roots(fitted.fit.lightest_load)[EVERY]
    return {
        "wavelength_nm": WAVELENGTHS_NM[EVERY],
        "absorptivity_L_per_g_cm": fitted.absorptivity[EVERY],
        "low_L_per_g_cm": fitted.low[EVERY],
        "high_L_per_g_cm": fitted.high[EVERY],
        "covariance_of_ln": doubt @ doubt.T,
    }


def row_of(pair: StepPair) -> dict[str, object]:
    """One window as a row of the table."""
    measured = {f"{axis}_measured": value for axis, value in zip("Lab", pair.measured_lab, strict=True)}
    fitted = {f"{axis}_fitted": value for axis, value in zip("Lab", pair.fitted_lab, strict=True)}
    where = {"card": pair.card} if pair.card else {}
    return {**where, "background": pair.background, "window": pair.words, **measured, **fitted, "de00": pair.de00}


def dye_file_of(fitted: Fitted) -> str:
    """The text of its dye file."""
    return dye_file_text(
        name=fitted.name,
        kind="fitted",
        provenance=fitted.rests_on,
        concentrate_g_per_L=fitted.concentrate_g_per_L,
        wavelength_nm=WAVELENGTHS_NM[EVERY].tolist(),
        best=fitted.absorptivity[EVERY].tolist(),
        interval=(fitted.low[EVERY].tolist(), fitted.high[EVERY].tolist()),
        tested_mg_m2=(fitted.tested_from_mg_m2, fitted.tested_to_mg_m2),
        doubt_of_log=_roots(fitted.fit.doubt[EVERY]).tolist(),
        remarks=fitted.notes,
    )


def _roots(doubt: F64) -> F64:
    """The same covariance by as few roots as it has; those far below any doubt of a colour are dropped."""
    left, size, _ = np.linalg.svd(doubt, full_matrices=False)
    kept = size > _LEAST_ROOT
    return np.asarray(left[:, kept] * size[kept])


def picture_of(fitted: Fitted) -> U8:
    """Its picture: every window, the spectrum with its doubt, and what is to be said."""
    return fit_picture(
        fitted.steps,
        best=fitted.absorptivity,
        low=fitted.low,
        high=fitted.high,
        tested=f"{tested_words(fitted).capitalize()}.",
        title=f"{fitted.name}: measured above, fitted below",
        notes=(
            "dE00: CIEDE2000 between the two halves; below 0.8 at most half of us see a difference.",
            *fitted.notes,
            *(f"next best window: {best.window.words}" for best in worthwhile(fitted)),
        ),
    )
