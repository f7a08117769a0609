"""Make observers.csv, lights.csv and rgb_basis.csv from colour-science, srgb.icc by Pillow: run by hand, results are
committed.

    python layerpreview/data/make_tables.py

Everything stays on the 5 nm grid the CIE tables have: finer FL and LED lights would have other white points.
"""

from __future__ import annotations

import struct
from pathlib import Path

import colour
import numpy as np
from numpy.typing import NDArray
from PIL import ImageCms

Array = NDArray[np.float64]

HERE = Path(__file__).parent
WAVELENGTHS_NM = np.arange(380.0, 781.0, 5.0)
LIGHTS = ("A", "C", "D50", "D55", "D65", "D75", "FL2", "FL7", "FL11", "LED-B1", "LED-B3", "LED-B5")
OBSERVERS = {2: "CIE 1931 2 Degree Standard Observer", 10: "CIE 1964 10 Degree Standard Observer"}


def write_csv(name: str, columns: dict[str, Array]) -> None:
    """One line per wavelength; repr of a float is the shortest text that reads back the same."""
    lines = [",".join(["wavelength_nm", *columns])]
    for row, wavelength in enumerate(WAVELENGTHS_NM):
        lines.append(",".join([f"{wavelength:.0f}", *(repr(float(column[row])) for column in columns.values())]))
    (HERE / name).write_text("\n".join(lines) + "\n", encoding="ascii", newline="\n")


def on_grid(spectra: Array, wavelengths_nm: Array) -> Array:
    """The rows of a table that fall on the grid: picked, never interpolated."""
    rows = [int(np.flatnonzero(wavelengths_nm == wavelength)[0]) for wavelength in WAVELENGTHS_NM]
    return np.array(spectra[rows], dtype=np.float64)


def display_matrix(cmf: Array, spd: Array) -> Array:
    """Spectrum under D65 to linear sRGB, written out apart from the package: the two check each other."""
    weights = (cmf * spd[:, None] / (cmf[:, 1] @ spd)).T
    xy = np.array([[0.64, 0.33], [0.30, 0.60], [0.15, 0.06], [0.3127, 0.3290]])
    red, green, blue, white = (np.array([x / y, 1.0, (1.0 - x - y) / y]) for x, y in xy)
    primaries = np.stack([red, green, blue], axis=1)
    to_xyz = primaries * np.linalg.solve(primaries, white)
    cone = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])
    adapt = np.linalg.inv(cone) @ np.diag((cone @ white) / (cone @ weights.sum(axis=1))) @ cone
    matrix: Array = np.linalg.inv(to_xyz) @ adapt @ weights
    return matrix


def nearest_exact_basis(basis: Array, matrix: Array) -> Array:
    """The least change to three spectra (3, 81) that makes them sum to one and give red, green, blue back
    exactly.

    Both wishes are straight conditions, so the nearest point is one projection. It stays within 0..1 by
    itself, since the published spectra keep clear of both ends; were that ever to change, the check here
    stops the script.
    """
    count = matrix.shape[1]
    straight = np.vstack([np.kron(np.eye(3), matrix), np.tile(np.eye(count), 3)])
    wanted = np.concatenate([np.eye(3).ravel(), np.ones(count)])
    # 3 of the 9 + 81 conditions follow from the others: hence the pseudo-inverse.
    point: Array = basis.ravel() - np.linalg.pinv(straight) @ (straight @ basis.ravel() - wanted)
    if point.min() < 0.0 or point.max() > 1.0:
        raise SystemExit("the corrected spectra leave 0..1: a box-constrained least change is needed")
    return point.reshape(basis.shape)


def main() -> None:
    cmf = {}
    for degrees, name in OBSERVERS.items():
        table = colour.MSDS_CMFS[name]
        cmf[degrees] = on_grid(table.values, table.wavelengths)
    write_csv(
        "observers.csv",
        {f"{axis}_{degrees}deg": cmf[degrees][:, k] for degrees in OBSERVERS for k, axis in enumerate("xyz")},
    )
    lights = {
        name: on_grid(colour.SDS_ILLUMINANTS[name].values, colour.SDS_ILLUMINANTS[name].wavelengths) for name in LIGHTS
    }
    write_csv("lights.csv", lights)

    table = colour.recovery.MSDS_BASIS_FUNCTIONS_sRGB_MALLETT2019
    basis = on_grid(table.values, table.wavelengths).T
    matrix = display_matrix(cmf[2], lights["D65"])
    exact = nearest_exact_basis(basis, matrix)
    (HERE / "srgb.icc").write_bytes(srgb_profile())
    write_csv("rgb_basis.csv", dict(zip(("red", "green", "blue"), exact, strict=True)))
    print(
        "way back before:",
        np.abs(basis @ matrix.T - np.eye(3)).max(),
        "after:",
        np.abs(exact @ matrix.T - np.eye(3)).max(),
    )
    print("sum to one:", np.abs(exact.sum(axis=0) - 1).max(), "range:", exact.min(), exact.max())
    print("largest change:", np.abs(exact - basis).max())


def srgb_profile() -> bytes:
    """The sRGB ICC profile that littleCMS makes, with the clock taken out of it: same bytes on every day."""
    profile = bytearray(ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes())
    profile[24:36] = struct.pack(">6H", 2000, 1, 1, 0, 0, 0)  # date of creation
    profile[84:100] = bytes(16)  # profile ID: not computed
    return bytes(profile)


if __name__ == "__main__":
    main()
