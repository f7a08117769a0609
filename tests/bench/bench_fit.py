"""How well a dye is learnt, over 200 random dyes: python tests/bench/bench_fit.py [count]. Judges nothing."""

from __future__ import annotations

import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "choose"))

import numpy as np
from simulated import METAL, WHITE, lab_card, random_truth

from layerpreview.choose.fit import fit_dye, predict
from layerpreview.choose.fit_model import lab_eye
from layerpreview.colour import delta_e_2000, rgb_basis
from layerpreview.film import MetalBase, diffuse_film, metal_film


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    d65, lamp = lab_eye("D65", 2), lab_eye("A", 2)
    coarse = metal_film(MetalBase(flake_spread=0.45))
    gold = np.array([0.7, 0.5, 0.25]) @ rgb_basis()
    errors: dict[str, list[float]] = {}
    inside, inside_spec, times = [], [], []
    previous = None
    for i in range(count):
        rng = np.random.default_rng(1000 + i)
        truth = random_truth(rng)
        card = lab_card(truth, rng)
        start = time.perf_counter()
        fit = fit_dye(card)
        times.append(time.perf_counter() - start)
        spots = [
            ("unseen strength", METAL, truth.metal, 3.4, d65),
            ("unseen strength", METAL, truth.metal, 1.3, d65),
            ("unseen strength", WHITE, truth.white, 0.45, d65),
            ("other base", coarse, truth.metal, 2.5, d65),
            ("other base", WHITE, gold, 2.5, d65),
            ("A", METAL, truth.metal, 3.4, lamp),
            ("A", METAL, truth.metal, 1.3, lamp),
            ("A", coarse, truth.metal, 2.5, lamp),
        ]
        for name, film, bare, load, eye in spots:
            guess = predict(fit, film=film, bare=bare, load=load, eye=eye)
            right = predict_true(film, bare, load * truth.absorbance10, eye)
            errors.setdefault(name, []).append(float(delta_e_2000(guess.read, right)))
            sd = np.sqrt(np.diag(guess.covariance))
            inside.append(np.abs(guess.read - right) < 1.645 * sd)
        if previous is not None:
            mix = 1.6 * fit.absorbance10 + 1.2 * previous[0].absorbance10
            mix_true = 1.6 * truth.absorbance10 + 1.2 * previous[1].absorbance10
            errors.setdefault("mix", []).append(
                float(delta_e_2000(predict_true(METAL, truth.metal, mix, d65), predict_true(METAL, truth.metal, mix_true, d65)))
            )
        matters = truth.absorbance10 > 0.05 * truth.absorbance10.max()
        inside_spec.append(float(((truth.absorbance10 > fit.low) & (truth.absorbance10 < fit.high))[matters].mean()))
        previous = (fit, truth)
        if "-v" in sys.argv:
            print(i, fit.misfit, [round(v[-1], 2) for v in errors.values()], round(times[-1], 2))
    for name, values in errors.items():
        print(f"{name:<18} median {np.median(values):.2f}  95 % {np.percentile(values, 95):.2f}  max {max(values):.2f} at {int(np.argmax(values))}")
    print("colour within its 90 % interval", np.mean(inside, axis=0), np.mean(inside))
    print("spectrum within", np.mean(inside_spec))
    print(f"fit {np.median(times):.2f} s, slowest {max(times):.2f} s")


def predict_true(film, bare, absorbance10, eye):  # type: ignore[no-untyped-def]
    from layerpreview.choose.fit_model import lightness_root

    return eye.mix @ lightness_root(eye.take @ film.reflectance(absorbance10, bare))


if __name__ == "__main__":
    main()
