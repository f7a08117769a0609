"""The choosing questions beside their targets: prints a table, judges nothing (timings wander on shared machines).

python tests/bench/bench_choose.py            all of it (some minutes)
python tests/bench/bench_choose.py --quick    a tenth of the colours
"""

from __future__ import annotations

import argparse
import tempfile
import time
from itertools import combinations
from pathlib import Path

import numpy as np

from layerpreview.answers.reach import Limits, Reach, units_of
from layerpreview.answers.recipes import alternatives
from layerpreview.colour import delta_e_2000, rgb_basis
from layerpreview.film import Film, MetalBase, diffuse_film, metal_film
from layerpreview.finish.patches import Patches, per_mg_m2
from layerpreview.scheme import library_names, load_library_dye
from layerpreview.workflows.evenness import evenness_files
from layerpreview.workflows.ladder import ladder_files
from layerpreview.workflows.tolerance import tolerance_files

SAMPLE = Path(__file__).parents[2] / "samples" / "octave_mandolin.toml"
# A 2 MP face of eight coats, two of them bursts and one opaque.
FACE = """\
layerpreview = 1
name = "Bench"
[[face]]
name = "front"
shape = "double bout"
width = "360 mm"
height = "480 mm"
[base]
kind = "metal"
relief = "lifted"
[dye.amber]
library = "amber"
[dye.red]
library = "red"
[mix.honey]
dyes = { amber = "10 mL/L", red = "1 mL/L" }
[mix.red]
dyes = { red = "15 mL/L" }
[[coat]]
mix = "honey"
coats = 4
[[coat]]
mix = "red"
coats = 3
burst = { from = "outline", width = "70 mm" }
[[coat]]
opaque = "#120d0b"
hiding = 1.5
burst = { from = "outline", width = "14 mm", fall_off = "fan" }
"""


def reach_of(names: tuple[str, ...], film: Film, level: float) -> Reach:
    dyes = [load_library_dye(name) for name in names]
    patches = Patches(film, np.full(3, level) @ rgb_basis(), per_mg_m2(dyes))
    return Reach(patches, units_of([dye.concentrate_g_per_L for dye in dyes]), Limits())


def recovery(count: int) -> None:
    """Random recipes of one to three of the twelve dyes, whole coats: how close the best listed answer comes."""
    rng = np.random.default_rng(1)
    away, seconds, of_the_search = [], [], []
    silver, white = metal_film(MetalBase(flake_spread=0.3)), diffuse_film()
    reaches = [reach_of(library_names(), film, level) for film, level in ((silver, 0.5), (white, 0.8))]
    names, powders = list(library_names()), [False] * 12
    for i in range(count):
        reach = reaches[i % 2]
        dyes = int(rng.integers(1, 4))
        strength = np.zeros(12)
        strength[rng.choice(12, dyes, replace=False)] = np.exp(rng.uniform(np.log(0.5), np.log(13.0), dyes))
        film = float(rng.choice(reach.limits.films_um))
        coats = int(rng.integers(1, reach.limits.coats_of(film) + 1))
        target = reach.patches.lab((strength * reach.unit * film * coats)[None])[0]
        start = time.perf_counter()
        near = reach.nearest(target)
        found = alternatives(reach, near, target, names=names, powders=powders, ripple_cv=0.1)
        seconds.append(time.perf_counter() - start)
        away.append(min(a.worst_de00 for a in found))
        of_the_search.append(near.de00[0])
    print(f"recovery of {count} recipes, strengths rounded to a drop in a litre (target 0.3 and 1.0, 1 s)")
    print(f"  dE00 median {np.median(away):.3f}, 99 % {np.percentile(away, 99):.3f}, most {max(away):.3f}")
    print(f"  before rounding: 99 % {np.percentile(of_the_search, 99):.1e}, most {max(of_the_search):.1e}")
    print(f"  seconds each: median {np.median(seconds):.3f}, most {max(seconds):.3f}")


def out_of_reach(count: int) -> None:
    """Colours that four dyes cannot make: ours against the best of some 700,000 recipes."""
    names = ("amber", "red", "violet", "turquoise")
    excess = []
    for film, level in ((metal_film(MetalBase(flake_spread=0.3)), 0.6), (diffuse_film(), 0.75)):
        reach = reach_of(names, film, level)
        steps = np.concatenate([[0.0], np.geomspace(1e-3, 1.0, 45)])
        tried = []
        for chosen in combinations(range(4), 3):
            share = np.stack(np.meshgrid(steps, steps, steps, indexing="ij"), axis=-1).reshape(-1, 3)[1:]
            for some in (share[share.sum(axis=1) <= 1.0], share / share.sum(axis=1, keepdims=True)):
                spread = np.zeros((len(some), 4))
                spread[:, chosen] = some
                tried.append(spread)
        lab = reach.patches.lab(np.concatenate(tried) * reach.full)[:, 0]
        rng, left = np.random.default_rng(3), count // 2
        while left:
            target = np.array([rng.uniform(5.0, 95.0), rng.uniform(-80.0, 80.0), rng.uniform(-80.0, 80.0)])
            best = float(delta_e_2000(lab, target).min())
            if best >= 2.0:
                excess.append(float(reach.nearest(target).de00[0]) - best)
                left -= 1
    print(f"{len(excess)} colours out of reach, against {len(lab)} recipes over each of two bases (target +0.1)")
    print(f"  worse by at most {max(excess):.4f}, better by up to {-min(excess):.3f}")


def timed(name: str, work: object) -> None:
    times = []
    for _ in range(3):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    print(f"{name:<66} {min(times):6.2f} s (first {times[0]:.2f})")


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--quick", action="store_true")
    quick = parser.parse_args().quick
    recovery(100 if quick else 1000)
    out_of_reach(10 if quick else 50)
    with tempfile.TemporaryDirectory() as folder:
        out, face = Path(folder), Path(folder, "face.toml")
        face.write_text(FACE, encoding="utf-8")
        strengths = [0.25 * k for k in range(1, 13)]
        timed(
            "12 x 12 textured cells of 150 px, files and all (target 2 s)",
            lambda: ladder_files(SAMPLE, out=out, force=True, strengths=strengths, most_coats=12, lights=["D65"]),
        )
        timed(
            "evenness of a 2 MP face, 8 coats, one hand, files and all (3 s)",
            lambda: evenness_files(face, out=out, force=True, hands=("good",), width_px=1225),
        )
        timed(
            "tolerance, 4000 runs of every spot of the sample, files and all",
            lambda: tolerance_files(SAMPLE, out=out, force=True),
        )


if __name__ == "__main__":
    main()
