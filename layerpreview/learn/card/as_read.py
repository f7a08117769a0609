"""Readings of a file as the fit's numbers, a mirror image that was read with them taken off."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from layerpreview.colour import RGB_LIN_TO_XYZ, WAVELENGTHS_NM, decode_srgb, lab_to_xyz, white_xyz, xyz_to_lab
from layerpreview.errors import InputError, Problem
from layerpreview.learn.card.model import Eye, lab_eye, lightness_root, photo_eye, spectrum_eye
from layerpreview.learn.read.readings import Reading, Readings

F64 = NDArray[np.float64]
Mask = NDArray[np.bool_]

_GRID_NM = float(WAVELENGTHS_NM[1] - WAVELENGTHS_NM[0])
_HALF_CODE = 0.5 / 255.0
_MOST_OF_IT_NM = (440.0, 650.0)  # with less of the visible a fit would be of the usual shapes of dyes alone; assumed
_BOUNDS = {"lab": (-180.0, 180.0), "xyz": (-0.02, 2.0), "spectrum": (-0.02, 2.0)}
"""What a surface can send back. Optimal colours, the most vivid there could be, stay within 171 in a* and b* under the
lights known here; of light, a dark reading's offset below nothing and a glint of twice a white are allowed: assumed."""


def eye_of(readings: Readings, *, light: str, observer_deg: int) -> Eye:
    """What a file's readings are compared as: L*a*b*, screen colours, or spectra at the wavelengths read.

    Raises InputError for spectra that leave much of the visible out.
    """
    if readings.kind == "spectrum":
        at_nm = _read_at_nm(readings)
        if at_nm.size < 2 or at_nm[0] > _MOST_OF_IT_NM[0] or at_nm[-1] < _MOST_OF_IT_NM[1]:
            told = f"spectra from {min(readings.wavelength_nm):g} to {max(readings.wavelength_nm):g} nm"
            rule = f"{told} do not tell how the dye looks"
            raise InputError(Problem(rule, "give them from 400 to 700 nm, as colours if need be", readings.file))
        return spectrum_eye(at_nm)
    if readings.kind == "srgb":
        return replace(photo_eye(light), words=f"screen colours under {light}")
    return lab_eye(light, observer_deg)


def numbers_of(
    row: Reading, readings: Readings, *, light: str, observer_deg: int, mirror: float
) -> tuple[F64, Mask, Mask]:
    """One reading less the share `mirror` of the light: its numbers (m,), which were read (m,), which are a limit (m,).

    A screen shows nothing below 0 or above 255: there the true number is that or lower, or was not read. Raises
    InputError where less light than the mirror image was read, or what no surface sends back.
    """
    values = np.array(row.values)
    _check(values, row, readings)
    if readings.kind == "spectrum":
        order = np.argsort(readings.wavelength_nm)
        seen = np.interp(_read_at_nm(readings), np.array(readings.wavelength_nm)[order], values[order])
        return _told(116.0 * lightness_root(seen - mirror), float(seen.mean()) - mirror, row, readings)
    if readings.kind == "srgb":
        rgb = decode_srgb(np.maximum(values, _HALF_CODE))
        read, _, _ = _told(116.0 * lightness_root(rgb - mirror), (RGB_LIN_TO_XYZ @ rgb)[1] - mirror, row, readings)
        return read, values < 1.0 - _HALF_CODE, values < _HALF_CODE
    white = white_xyz(light, observer_deg=observer_deg)
    xyz = values if readings.kind == "xyz" else lab_to_xyz(values, white_xyz=white)
    return _told(xyz_to_lab(xyz - mirror * white, white_xyz=white), xyz[1] - mirror, row, readings)


def _check(values: F64, row: Reading, readings: Readings) -> None:
    low, high = _BOUNDS.get(readings.kind, (-np.inf, np.inf))
    off = np.flatnonzero((values < low) | (values > high))
    if off.size:
        names = {"lab": ("L", "a", "b"), "xyz": ("X", "Y", "Z")}
        name = names.get(readings.kind, [f"{nm:g} nm" for nm in readings.wavelength_nm])[int(off[0])]
        of_white = "" if readings.kind == "lab" else " of a white"
        rule = f"no surface has less than {low:g} or more than {high:g}{of_white}"
        raise InputError(Problem(rule, "check the cell", readings.file, row.line, name, f"{values[off[0]]:g}"))


def _told(read: F64, left: float, row: Reading, readings: Readings) -> tuple[F64, Mask, Mask]:
    """Numbers that were all read, where `left` of the light is not less than nothing."""
    if left < -0.01:
        rule = "darker than its own mirror reflection: was the mirror included?"
        raise InputError(Problem(rule, "set geometry to d/8 excluded", readings.file, row.line))
    return np.asarray(read), np.ones(read.shape, dtype=bool), np.zeros(read.shape, dtype=bool)


def _read_at_nm(readings: Readings) -> F64:
    """Where spectra are compared [nm]: where they were read, or on the film model's grid where they are finer."""
    nm = np.sort(readings.wavelength_nm)
    known = nm if np.diff(nm).mean() >= _GRID_NM else WAVELENGTHS_NM
    first, last = max(nm[0], WAVELENGTHS_NM[0]), min(nm[-1], WAVELENGTHS_NM[-1])
    return np.asarray(known[(known >= first) & (known <= last)])
