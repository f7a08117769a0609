"""How well a dye is learnt, over random dyes unlike the prior's: prints figures, judges nothing.

    python tests/bench/bench_fit.py readings 200
    python tests/bench/bench_fit.py spectra 200    (400 to 700 nm every 10 nm)
    python tests/bench/bench_fit.py photo 200      (a grey card in the picture; another light than D65)
    python tests/bench/bench_fit.py guessed 200    (no grey card: the tone curve is guessed)
    python tests/bench/bench_fit.py readings 200 measured    (colorants of tests/learn/measured.py in turn, not made up)

Each card: six steps over white and metal, coats that scatter by 5 %, 1 % noise. Asked of each dye: strengths that were
not sprayed, over the same metal and white; another flake spread and a golden base; a mix with the dye before it; and
all over metal under illuminant A.
"""

from __future__ import annotations

import sys
import time
from collections import defaultdict
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from layerpreview.colour import delta_e_2000, rgb_basis
from layerpreview.film import MetalBase, metal_film
from layerpreview.learn.card import CardSetting, card_of_readings
from layerpreview.learn.fit import NINETY, fit_dye, predict
from layerpreview.learn.model import lab_eye, lightness_root
from tests.learn.measured import measured_dyes
from tests.learn.simulated import METAL, WHITE, lab_card, photo_card, random_truth, readings_of

D65, LAMP = lab_eye("D65", 2), lab_eye("A", 2)
COARSE = metal_film(MetalBase(flake_spread=0.45))
GOLD = np.array([0.7, 0.5, 0.25]) @ rgb_basis()
FIRST_SEED = 1000


def main() -> None:
    kind = sys.argv[1] if len(sys.argv) > 1 else "readings"
    count = int(sys.argv[2]) if len(sys.argv) > 2 else 200
    dyes = list(measured_dyes().values()) if sys.argv[3:] == ["measured"] else [None]
    errors: dict[str, list[float]] = defaultdict(list)
    seeds: dict[str, list[int]] = defaultdict(list)
    colour_inside, spectrum_inside, seconds = [], [], []
    before = None
    for seed in range(FIRST_SEED, FIRST_SEED + count):
        rng = np.random.default_rng(seed)
        truth = random_truth(rng, dye=dyes[seed % len(dyes)])
        if kind == "spectra":
            card = card_of_readings(readings_of(truth, rng, "spectrum"), CardSetting())
        else:
            card = lab_card(truth, rng) if kind == "readings" else photo_card(truth, rng, grey=kind == "photo")
        start = time.perf_counter()
        fit = fit_dye(card)
        seconds.append(time.perf_counter() - start)
        spots = [
            ("unseen strength", METAL, truth.metal, 3.4, D65),
            ("unseen strength", METAL, truth.metal, 1.3, D65),
            ("unseen strength", WHITE, truth.white, 0.45, D65),
            ("other base", COARSE, truth.metal, 2.5, D65),
            ("other base", WHITE, GOLD, 2.5, D65),
            ("under A", METAL, truth.metal, 3.4, LAMP),
            ("under A", METAL, truth.metal, 1.3, LAMP),
            ("under A", COARSE, truth.metal, 2.5, LAMP),
        ]
        for name, film, bare, load, eye in spots:
            guess = predict(fit, film=film, bare=bare, load=load, eye=eye)
            right = eye.mix @ lightness_root(eye.take @ film.reflectance(load * truth.absorbance10, bare))
            error = float(delta_e_2000(guess.read, right))
            for kept in (name, *([] if eye is LAMP else ["all under D65", card.eye.words])):
                errors[kept].append(error)
                seeds[kept].append(seed)
            colour_inside.append(np.abs(guess.read - right) < NINETY * np.sqrt(np.diag(guess.covariance)))
        if before is not None:
            guess, right = (
                METAL.reflectance(1.6 * dye + 1.2 * other, truth.metal)
                for dye, other in ((fit.absorbance10, before[0]), (truth.absorbance10, before[1]))
            )
            labs = [D65.mix @ lightness_root(D65.take @ seen) for seen in (guess, right)]
            for kept in ("mix", "all under D65"):
                errors[kept].append(float(delta_e_2000(*labs)))
                seeds[kept].append(seed)
        matters = truth.absorbance10 > 0.05 * truth.absorbance10.max()
        spectrum_inside.append(
            float(((truth.absorbance10 > fit.low) & (truth.absorbance10 < fit.high))[matters].mean())
        )
        before = (fit.absorbance10, truth.absorbance10)
    print(f"{count} dyes, {kind}; CIEDE2000")
    for name, values in sorted(errors.items()):
        worst = int(np.argmax(values))
        print(
            f"  {name:<28} median {np.median(values):5.2f}   95 % {np.percentile(values, 95):5.2f}   "
            f"worst {values[worst]:5.2f} (seed {seeds[name][worst]})"
        )
    l_a_b = ", ".join(f"{100 * share:.0f} %" for share in np.mean(colour_inside, axis=0))
    print(f"  within the 90 % interval: L*, a*, b* {l_a_b}; absorptivity {100 * np.mean(spectrum_inside):.0f} %")
    print(f"  a fit: median {np.median(seconds):.2f} s, slowest {max(seconds):.2f} s")


if __name__ == "__main__":
    main()
