"""How well a dye is learnt, and whether its ranges hold: prints figures, judges nothing.

    python tests/bench/bench_fit.py readings 200 measured
    python tests/bench/bench_fit.py spectra 200    (400 to 700 nm every 10 nm)
    python tests/bench/bench_fit.py photo 200      (a grey card in the picture; another light than D65)
    python tests/bench/bench_fit.py guessed 200    (no grey card: the tone curve is guessed)
    python tests/bench/bench_fit.py scale 200      (L*a*b* of five amounts over white alone, each known to 1.5 %)

Dyes are made up, unlike the prior's; with `measured` real ones of public packages (see tests/learn/measured.py). Each
card: six steps over white and metal, coats that scatter by 5 %, 1 % noise. Asked of each dye: strengths that were not
sprayed, over the same metal and white; another flake spread and a golden base; a mix with the dye before it; and how
often the 90 % range of a colour holds, light by light, within the loads sprayed and outside them.
"""

from __future__ import annotations

import sys
import time
from collections import defaultdict
from dataclasses import replace
from pathlib import Path

import numpy as np
from scipy.stats import chi2

sys.path.insert(0, str(Path(__file__).parents[2]))

from layerpreview.colour import delta_e_2000, rgb_basis
from layerpreview.film import MetalBase, metal_film
from layerpreview.learn.card.model import Card, Eye, lab_eye, lightness_root
from layerpreview.learn.card.setting import CardSetting, card_of_readings
from layerpreview.learn.fit.one_card import NINETY, DyeFit, fit_dye, predict
from tests.learn.measured import measured_dyes
from tests.learn.simulated import METAL, WHITE, Truth, lab_card, photo_card, random_truth, readings_of

LIGHTS = {name: lab_eye(name, 2) for name in ("D65", "D50", "LED-B3", "FL11", "A")}
COARSE = metal_film(MetalBase(flake_spread=0.45))
GOLD = np.array([0.7, 0.5, 0.25]) @ rgb_basis()
INSIDE, OUTSIDE = (1.4, 2.5, 3.4, 4.6), (0.3, 0.6, 8.0, 11.0)
FIRST_SEED = 1000


def card_of(kind: str, truth: Truth, rng: np.random.Generator) -> Card:
    if kind == "spectra":
        return card_of_readings(readings_of(truth, rng, "spectrum"), CardSetting())
    if kind == "scale":
        found = readings_of(truth, rng, "lab")
        rows = tuple(row for row in found.rows if row.background == "white" and row.coats <= 5)
        return card_of_readings(replace(found, rows=rows), CardSetting(masked=False))
    return lab_card(truth, rng) if kind == "readings" else photo_card(truth, rng, grey=kind == "photo")


def asked(fit: DyeFit, truth: Truth, eye: Eye, load: float, ground: str) -> tuple[float, list[bool]]:
    """CIEDE2000 of one prediction, and which of L*, a*, b*, all three, and the three as one ellipsoid hold."""
    film, bare = (METAL, truth.metal) if ground == "base" else (WHITE, truth.white)
    guess = predict(fit, film=film, bare=bare, load=load, eye=eye)
    right = eye.mix @ lightness_root(eye.take @ film.reflectance(load * truth.absorbance10, bare))
    away = guess.read - right
    each = np.abs(away) < NINETY * np.sqrt(np.diag(guess.covariance))
    joint = float(away @ np.linalg.solve(guess.covariance + 1e-9 * np.eye(3), away)) < chi2.ppf(0.9, 3)
    return float(delta_e_2000(guess.read, right)), [*each, bool(each.all()), joint]


def main() -> None:
    kind = sys.argv[1] if len(sys.argv) > 1 else "readings"
    count = int(sys.argv[2]) if len(sys.argv) > 2 else 200
    dyes = list(measured_dyes().values()) if "measured" in sys.argv else []
    errors: dict[str, list[float]] = defaultdict(list)
    seeds: dict[str, list[int]] = defaultdict(list)
    held: dict[tuple[str, str], list[list[bool]]] = defaultdict(list)
    spectrum_inside, seconds, misfits = [], [], []
    before = None
    for seed in range(FIRST_SEED, FIRST_SEED + count):
        rng = np.random.default_rng(seed)
        truth = random_truth(rng, dye=dyes[seed % len(dyes)] if dyes else None)
        if kind == "scale":
            truth = replace(truth, builds=np.arange(1, 7) * (1.0 + 0.015 * rng.standard_normal(6)))
        start = time.perf_counter()
        fit = fit_dye(card_of(kind, truth, rng))
        seconds.append(time.perf_counter() - start)
        misfits.append(fit.misfit)

        def kept(name: str, error: float, seed: int = seed) -> None:
            errors[name].append(error)
            seeds[name].append(seed)

        grounds = ("white",) if kind == "scale" else ("white", "base")
        for light, eye in LIGHTS.items():
            for where, loads in (("inside", INSIDE), ("outside", OUTSIDE)):
                for ground in grounds:
                    for load in loads:
                        error, holds = asked(fit, truth, eye, load, ground)
                        kept(f"{where} under {light}", error)
                        held[where, light].append(holds)
        for film, bare in ((COARSE, truth.metal), (WHITE, GOLD)):
            dyed = [film.reflectance(2.5 * dye, bare) for dye in (fit.absorbance10, truth.absorbance10)]
            kept("other base, D65", _apart(*dyed))
        if before is not None:
            pairs = ((fit.absorbance10, before[0]), (truth.absorbance10, before[1]))
            kept("mix, D65", _apart(*(METAL.reflectance(1.6 * dye + 1.2 * other, truth.metal) for dye, other in pairs)))
        matters = truth.absorbance10 > 0.05 * truth.absorbance10.max()
        inside = (truth.absorbance10 > fit.low) & (truth.absorbance10 < fit.high)
        spectrum_inside.append(float(inside[matters].mean()))
        before = (fit.absorbance10, truth.absorbance10)
    print(f"{count} dyes{', measured' if dyes else ''}, {kind}; CIEDE2000")
    for name, values in sorted(errors.items()):
        worst = int(np.argmax(values))
        print(
            f"  {name:<28} median {np.median(values):5.2f}   95 % {np.percentile(values, 95):5.2f}   "
            f"worst {values[worst]:5.2f} (seed {seeds[name][worst]})"
        )
    print("  within the 90 % range, %:  L*   a*   b*   all three   the three as one ellipsoid")
    for (where, light), rows in sorted(held.items()):
        each = "  ".join(f"{100 * share:3.0f}" for share in np.mean(rows, axis=0))
        print(f"    {where + ' under ' + light:<24}{each}")
    print(f"  absorptivity {100 * np.mean(spectrum_inside):.0f} %; misfit {np.median(misfits):.2f}")
    print(f"  a fit: median {np.median(seconds):.2f} s, slowest {max(seconds):.2f} s")


def _apart(one: np.ndarray, other: np.ndarray) -> float:
    eye = LIGHTS["D65"]
    labs = [eye.mix @ lightness_root(eye.take @ seen) for seen in (one, other)]
    return float(delta_e_2000(*labs))


if __name__ == "__main__":
    main()
