"""Whether camera raw is worth reading: a chart and dye cards by 24 simulated cameras, as JPEG and as raw.

    python tests/bench/bench_raw.py    (two dyes through each camera: some minutes)

Ways: the phone's JPEG with a grey card; with the chart; raw with the chart, through the same curve and matrix; raw with
the chart and straight lines through its greys, since its numbers are light and flare; raw without a chart, through the
maker's matrices for A and D65 as DNG mixes them (by the reciprocal of the light's temperature). For each: CIEDE2000 of
the chart's patches left out, of a card's windows that the JPEG shows within its scale, and of what the dye fitted to
all windows looks like at loads that were not sprayed. What is beyond sRGB counts as "no more than", in every way.
"""

from __future__ import annotations

import sys
from collections import defaultdict
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

sys.path.insert(0, str(Path(__file__).parents[2]))

from layerpreview.colour import DISPLAY_WHITE_XYZ, RGB_LIN_TO_XYZ, delta_e_2000, xyz_to_lab
from layerpreview.errors import InputError
from layerpreview.learn.card.model import lab_eye, lightness_root, photo_eye
from layerpreview.learn.card.setting import CardSetting, card_of_photo
from layerpreview.learn.fit.one_card import fit_dye, predict
from layerpreview.learn.read.camera import colour_terms
from layerpreview.learn.read.chart import chart_fit
from layerpreview.learn.read.frame import windows
from layerpreview.learn.read.frame_read import PAPER_REFLECTANCE, CardPhoto, Patch
from layerpreview.surface.plane import Placement
from tests.learn.sensors import (
    PAPER,
    Shot,
    chart_spectra,
    every_shot,
    patches_of,
    raw_patches_of,
    sensor_matrix,
)
from tests.learn.simulated import METAL, STEPS, WHITE, each_window, random_truth

F64 = NDArray[np.float64]
Straight = Callable[[F64], F64]

DARKEST = 0.004  # of a channel, linear: below, the edge of sRGB or the flare decides
GREY, GREY_AT = 0.18, 22
KELVIN = {"A": 2856, "D65": 6504, "D50": 5003, "LED-B3": 4103}  # CIE 15:2018
D65 = lab_eye("D65", 2)


def lab(rgb_lin: F64) -> F64:
    return xyz_to_lab(rgb_lin @ RGB_LIN_TO_XYZ.T, white_xyz=DISPLAY_WHITE_XYZ)


def proportional_fit(read: F64, wanted: F64, count: int) -> F64:
    """A matrix (3, count) in L*a*b* from light that needs no curve; the weights are those of CIE94, as in `chart`."""
    terms, aim = colour_terms(read, count=count), lab(wanted)
    chroma = np.hypot(aim[:, 1], aim[:, 2])
    spread = np.stack([np.ones_like(chroma), 1.0 + 0.045 * chroma, 1.0 + 0.03 * chroma], axis=1)
    start = np.linalg.lstsq(terms, wanted, rcond=None)[0].ravel()
    found = least_squares(lambda x: ((lab(terms @ x.reshape(count, 3)) - aim) / spread).ravel(), start, method="lm")
    return np.asarray(found.x.reshape(count, 3).T)


def proportional_left_out(read: F64, wanted: F64, count: int) -> float:
    away = []
    for i in range(len(read)):
        others = np.arange(len(read)) != i
        seen = colour_terms(read[i], count=count) @ proportional_fit(read[others], wanted[others], count).T
        away.append(float(delta_e_2000(lab(seen), lab(wanted[i]))))
    return float(np.mean(away))


def read_of(patches: list[Patch]) -> tuple[F64, NDArray[np.bool_]]:
    sure = np.array([not (each.clipped.any() or each.buried.any()) for each in patches])
    return np.stack([each.rgb_lin for each in patches]), sure


def mixed_matrix(shot: Shot) -> F64:
    cold, warm, here = (1.0 / KELVIN[light] for light in ("D65", "A", shot.light))
    share = float(np.clip((here - cold) / (warm - cold), 0.0, 1.0))
    return share * sensor_matrix(shot.sensor, "A") + (1.0 - share) * sensor_matrix(shot.sensor, "D65")


def ways(shot: Shot, rng: np.random.Generator, jpeg: list[Patch]) -> dict[str, tuple[bool, float, Straight, Straight]]:
    """By name: raw or not, the figure of patches left out, what makes light of numbers, what makes colours of light."""
    spectra, light = chart_spectra(), shot.light
    wanted = spectra @ photo_eye(light).take.T
    read = jpeg[GREY_AT].rgb_lin / jpeg[PAPER].rgb_lin
    power = float(np.log(read.mean()) / np.log(GREY / PAPER_REFLECTANCE))
    found = {
        "JPEG, grey card": (False, np.nan, lambda rgb: rgb ** (1.0 / power), lambda light: light),
        "raw, maker's matrix": (True, np.nan, lambda rgb: rgb, lambda light: light @ mixed_matrix(shot).T),
    }
    for name, raw, take in (("JPEG, chart", False, patches_of), ("raw, chart", True, raw_patches_of)):
        fit = chart_fit(take(spectra, shot, rng), light=light)
        found[name] = (raw, fit.left_out_de00, fit.straight, fit.colours)
    numbers, sure = read_of(raw_patches_of(spectra, shot, rng))
    gain, flare = lines_through_greys(numbers, wanted, sure)
    numbers = gain * (numbers - flare)
    left = {count: proportional_left_out(numbers[sure], wanted[sure], count) for count in (3, 6)}
    count = min(left, key=lambda each: left[each])
    matrix = proportional_fit(numbers[sure], wanted[sure], count)
    colours = lambda light: colour_terms(light, count=count) @ matrix.T  # noqa: E731
    found["raw, chart, straight"] = (True, left[count], lambda rgb: gain * (rgb - flare), colours)
    return found


def lines_through_greys(read: F64, wanted: F64, sure: NDArray[np.bool_]) -> tuple[F64, F64]:
    """Gain and flare (3,) of each channel: numbers that are proportional to light, but for what the lens scatters."""
    greys = np.flatnonzero(sure[18:]) + 18
    lines = [np.polyfit(wanted[greys, c], read[greys, c], 1, w=1.0 / read[greys, c]) for c in range(3)]
    slope, flare = np.array(lines).T
    return 1.0 / slope, flare


def card_photo(patches: list[Patch], straight: Straight, colours: Straight, left_out: float) -> CardPhoto:
    """Windows 0..13 of the picture as those of the frame, balanced on its paper."""
    boxes = {(box.what, box.column): box for box in windows()}
    paper = straight(patches[PAPER].rgb_lin)
    read = []
    for i, patch in enumerate(patches[:14]):
        rgb = np.asarray(colours(PAPER_REFLECTANCE * straight(patch.rgb_lin) / paper))
        box, buried = boxes["white" if i < 7 else "base", i % 7], patch.buried | (rgb < DARKEST)
        read.append(Patch(box, np.maximum(rgb, DARKEST), buried, patch.clipped))
    known = None if np.isnan(left_out) else left_out
    return CardPhoto(tuple(read), Placement(np.eye(3)), 1.0, True, (), known)


def main() -> None:
    figures: dict[str, dict[str, list[float]]] = defaultdict(lambda: defaultdict(list))
    for seed, shot in enumerate(every_shot() * 2):
        rng = np.random.default_rng(seed)
        truth = random_truth(rng)
        spectra = np.full((24, 81), PAPER_REFLECTANCE)
        spectra[:14] = [spectrum for _, _, spectrum in each_window(truth)]
        spectra[GREY_AT] = GREY
        even = replace(shot, vignette=0.0)
        taken = {False: patches_of(spectra, even, rng), True: raw_patches_of(spectra, even, rng)}
        wanted = spectra @ photo_eye(shot.light).take.T
        sure = read_of(taken[False])[1][:14] & (wanted[:14] > DARKEST).all(axis=1)
        try:
            tried = ways(shot, rng, taken[False])
        except InputError as error:
            print(f"left out for all: {shot.sensor}, {shot.light}, exposure {shot.exposure:g}: {error}")
            continue
        for name, (raw, left_out, straight, colours) in tried.items():
            photo = card_photo(taken[raw], straight, colours, left_out)
            seen = np.stack([each.rgb_lin for each in photo.windows])
            figures[name]["left out"].append(left_out)
            figures[name]["windows"] += delta_e_2000(lab(seen), lab(wanted[:14]))[sure].tolist()
            fit = fit_dye(card_of_photo(photo, CardSetting(light=shot.light), (0, *STEPS)))
            for film, bare, load in (
                (METAL, truth.metal, 1.3),
                (METAL, truth.metal, 3.4),
                (WHITE, truth.white, 0.45),
                (WHITE, truth.white, 2.5),
            ):
                guess = predict(fit, film=film, bare=bare, load=load, eye=D65)
                right = D65.mix @ lightness_root(D65.take @ film.reflectance(load * truth.absorbance10, bare))
                figures[name]["dye"].append(float(delta_e_2000(guess.read, right)))
    for name, each in figures.items():
        told = [f"{what} {np.median(v):.2f} / {np.percentile(v, 95):.2f}" for what, v in each.items()]
        print(f"{name:<22} CIEDE2000, median / 95 %: {', '.join(told)}")


if __name__ == "__main__":
    main()
