"""How well a chart teaches a camera, over 24 simulated photos: prints figures, judges nothing.

    python tests/bench/bench_chart.py

For each photo: CIEDE2000 of the chart's patches as fitted, of each patch left out, and of 23 dyed windows that the same
camera takes, balanced on paper; beside it one power and a matrix fitted in linear light, as a plain way. `noise` is
what the windows really are off in the numbers that the fit of a dye compares (L* steps, root mean square).
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).parents[2]))

from layerpreview.colour import DISPLAY_WHITE_XYZ, RGB_LIN_TO_XYZ, delta_e_2000, xyz_to_lab
from layerpreview.errors import InputError
from layerpreview.learn.card.model import lightness_root, photo_eye
from layerpreview.learn.read.camera import ChartFit
from layerpreview.learn.read.chart import chart_fit
from layerpreview.learn.read.frame_read import Patch
from tests.learn.sensors import PAPER, chart_spectra, dye_spectra, every_shot, patches_of

F64 = NDArray[np.float64]


def off(rgb: F64, wanted: F64) -> F64:
    return np.asarray(
        delta_e_2000(*(xyz_to_lab(each @ RGB_LIN_TO_XYZ.T, white_xyz=DISPLAY_WHITE_XYZ) for each in (rgb, wanted)))
    )


def plain_fit(read: F64, wanted: F64, good: NDArray[np.bool_]) -> ChartFit:
    """One power from the greys and a matrix in linear light."""
    greys = np.flatnonzero(good[18:]) + 18
    power = float(np.median([np.polyfit(np.log(wanted[greys, c]), np.log(read[greys, c]), 1)[0] for c in range(3)]))
    share = (read / read[greys[0]]) ** (1.0 / power) * wanted[greys[0]]
    matrix = np.linalg.lstsq(share[good], wanted[good], rcond=None)[0].T
    return ChartFit(power, matrix, float(off(share[good] @ matrix.T, wanted[good]).mean()))


def plain_left_out(read: F64, wanted: F64, good: NDArray[np.bool_]) -> float:
    away = []
    for i in np.flatnonzero(good):
        others = good.copy()
        others[i] = False
        found = plain_fit(read, wanted, others)
        first = np.flatnonzero(others[18:])[0] + 18
        share = (read[i] / read[first]) ** (1.0 / found.power) * wanted[first]
        away.append(float(off(found.matrix @ share, wanted[i])))
    return float(np.mean(away))


def windows(found: ChartFit, dyes: list[Patch], wanted: F64) -> tuple[float, float]:
    """Mean CIEDE2000 of the dyed windows, and root mean square of what the fit compares [L* steps]."""
    read = np.stack([each.rgb_lin for each in dyes])
    sure = np.array([not (each.clipped.any() or each.buried.any()) for each in dyes])
    light = found.straight(read)
    seen = found.colours(0.86 * light / light[PAPER])[sure]
    steps = 116.0 * (lightness_root(seen) - lightness_root(wanted[sure]))
    return float(off(seen, wanted[sure]).mean()), float(np.sqrt(np.square(steps).mean()))


def main() -> None:
    rows = []
    print("sensor, light, contrast, exposure | plain: fitted, left out, dyes | fitted, left out, dyes, noise, terms")
    for seed, shot in enumerate(every_shot()):
        rng = np.random.default_rng(seed)
        take = photo_eye(shot.light).take
        chart, dyes = chart_spectra(), dye_spectra(rng)
        patches = patches_of(chart, shot, rng)
        taken = patches_of(dyes, replace(shot, vignette=0.0), rng)
        name = f"{shot.sensor}, {shot.light}, {shot.contrast:g}, {shot.exposure:g}"
        try:
            found = chart_fit(patches, light=shot.light)
        except InputError as error:
            print(f"{name} | {error}")
            continue
        read = np.stack([each.rgb_lin for each in patches])
        good = np.array([not (each.clipped.any() or each.buried.any()) for each in patches])
        wanted = chart @ take.T
        plain = plain_fit(read, wanted, good)
        before = (plain.error_de00, plain_left_out(read, wanted, good), windows(plain, taken, dyes @ take.T)[0])
        after = (found.error_de00, found.left_out_de00, *windows(found, taken, dyes @ take.T))
        rows.append((*before, *after))
        told = [" ".join(f"{value:.2f}" for value in each) for each in (before, after)]
        print(f"{name} | {told[0]} | {told[1]}  {found.matrix.shape[1]}")
    print("mean", np.mean(rows, axis=0).round(2), "worst", np.max(rows, axis=0).round(2))


if __name__ == "__main__":
    main()
