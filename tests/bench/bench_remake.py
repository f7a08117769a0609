"""The same colour again: 50 simulated jobs, what is left of the colour with today's dyes; prints, judges nothing.

python tests/bench/bench_remake.py            all of it (some minutes)
python tests/bench/bench_remake.py --quick    ten jobs
"""

from __future__ import annotations

import argparse
import time
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from layerpreview.answers.remake import remade, unchanged, worth_adding
from layerpreview.answers.remake_booth import Booth, Recipe
from layerpreview.answers.remake_sure import Doubts, how_sure
from layerpreview.scheme import load_library_dye
from tests.answers.remake_jobs import NAMES, Job, as_told, learnt, random_job

F64 = NDArray[np.float64]
SHELF = ("yellow", "red", "blue", "black")
"""Dyes that a shop has besides."""


def left(recipe: Recipe, booth: Booth) -> F64:
    """CIEDE2000 of all places that count, under all lights, as one row."""
    return recipe.de00[booth.weights > 0.0].ravel()


def best_possible(booth: Booth, recipe: Recipe) -> float:
    """The least root mean square that any strengths leave, found without slopes from several beginnings."""

    def rest(x: F64) -> float:
        return booth.recipe(np.square(x), recipe.coats).joint_de00

    starts = (recipe.strengths + 0.02, booth.as_written, 0.7 * booth.as_written[::-1])
    options = {"maxiter": 3000, "xatol": 1e-4, "fatol": 1e-6}
    return min(float(minimize(rest, np.sqrt(s), method="Nelder-Mead", options=options).fun) for s in starts)


def told(name: str, rows: list[F64]) -> None:
    each, jobs = np.concatenate(rows), np.array([np.sqrt(np.square(row).mean()) for row in rows])
    print(
        f"  {name:<66} {np.median(each):5.2f} {np.percentile(each, 95):6.2f}   "
        f"{np.median(jobs):5.2f} {np.percentile(jobs, 95):6.2f}"
    )


def as_true(job: Job, recipe: Recipe, extra: Booth) -> Recipe:
    """The recipe found with dyes as learnt, sprayed with the dyes as they are."""
    true = replace(job.booth(), extra=extra.extra, more_dyes=extra.more_dyes)
    return true.recipe(recipe.strengths, recipe.coats)


def run(count: int, *, other_base: bool, both: bool) -> None:
    rows: dict[str, list[F64]] = {}
    over, seconds = [], []
    spare = {name: load_library_dye(name) for name in SHELF}
    for seed in range(count):
        rng = np.random.default_rng(1000 + seed)
        job = random_job(rng, other_base=other_base, both=both)
        booth = job.booth()
        start = time.perf_counter()
        found = remade(booth)
        seconds.append(time.perf_counter() - start)
        wider = worth_adding(booth, found, spare) or (booth, found)
        over.append(found.joint_de00 - best_possible(booth, found))
        seen = job.booth(learnt(job.new_dyes, rng)[0])
        guess = remade(seen)
        more = worth_adding(seen, guess, spare) or (seen, guess)
        for name, recipe in (
            ("mixed as before", unchanged(booth)),
            ("(a) dyes known, the two dyes alone", found),
            ("(a) dyes known, with what is offered of four others", wider[1]),
            ("(b) dyes learnt from a card each, the two alone", as_true(job, guess, seen)),
            ("(b) dyes learnt from a card each, with what is offered", as_true(job, more[1], more[0])),
        ):
            rows.setdefault(name, []).append(left(recipe, booth))
    base = "flake spread 0.05 to 0.1 other" if other_base else "the same base"
    print(f"{count} jobs, {base}, {'both dyes' if both else 'one dye'} changed; CIEDE2000")
    print(f"  {'':<66} all places, lights   of a job (rms)")
    print(f"  {'':<66} {'half':>5} {'95 %':>6}   {'half':>5} {'95 %':>6}")
    for name, values in rows.items():
        told(name, values)
    print(
        f"  beyond the best possible: {np.median(over):.3f}, most {max(over):.3f}; a search {np.median(seconds):.2f} s"
    )


def holds(count: int) -> None:
    """Whether what comes out lies where it was foretold: the bottles of both years learnt from a card each."""
    inside, over = 0, []
    for seed in range(count):
        rng = np.random.default_rng(5000 + seed)
        job = random_job(rng, other_base=False)
        job = replace(job, new_spread=job.old.base.flake_spread or 0.0)
        (then, then_doubt), (now, now_doubt) = learnt(job.old_dyes, rng), learnt(job.new_dyes, rng)
        booth = as_told(job.booth(now), job.booth(then))
        found = remade(booth)
        doubts = Doubts(dict(zip(NAMES, now_doubt, strict=True)), dict(zip(NAMES, then_doubt, strict=True)), True, True)
        sure = how_sure(booth, found, doubts).joint_de00
        real = job.booth().recipe(found.strengths, found.coats).joint_de00
        inside += real <= sure.high
        over.append(real / sure.likely)
    told_right = f"{inside} within what nineteen of twenty are to be"
    print(f"{count} jobs, four cards each: {told_right}; what came out over what was likely {np.median(over):.2f}")


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--quick", action="store_true")
    count = 10 if parser.parse_args().quick else 50
    for other_base, both in ((False, False), (False, True), (True, False), (True, True)):
        run(count, other_base=other_base, both=both)
    holds(count)


if __name__ == "__main__":
    main()
