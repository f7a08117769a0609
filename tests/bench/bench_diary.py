"""Jobs laid by hands that are off, followed as the diary proposes and as it was planned: where the colour ends.

    python tests/bench/bench_diary.py samples/octave_mandolin.toml 1 60

The second word is the entry of coats, the third how many jobs. A hand lays all coats thicker or thinner by a share
(20 %, one standard deviation) and each by 6 % more; a comb with teeth every 5 um reads three spots that vary by 10 %.
All of that is assumed, no source.
"""

from __future__ import annotations

import sys
from datetime import UTC, datetime, timedelta

import numpy as np

from layerpreview.answers.day import day_of
from layerpreview.answers.remaining import FromAgreed, Remaining, word_of
from layerpreview.job.booth import Step, booth_of
from layerpreview.job.done import CoatDone, Done, FilmRead
from layerpreview.picture.spots import places_of
from layerpreview.scheme import load_scheme
from layerpreview.scheme.fields import film_of_word

START = datetime(2026, 5, 4, 12, tzinfo=UTC)
HAND, COAT, SPOT, TOOTH_UM, SPOTS, MOST = 0.20, 0.06, 0.10, 5.0, 3, 30


def main(path: str, entry: str, jobs: str) -> None:
    """Print median and 95 % of the distances from the agreed colour."""
    scheme = load_scheme(path)
    booth, spots = booth_of(scheme), places_of(scheme)
    step = booth.step(int(entry))
    assert step is not None

    def proposed(films: list[FilmRead]) -> Remaining:
        coats = tuple(
            CoatDone(id=film.id, time=film.time, line=film.number, entry=step.entry, number=film.number)
            for film in films
        )
        done = Done(coats=coats, films=tuple(films))
        day = day_of(scheme, done, now=START + timedelta(days=1), booth=booth, spots=lambda: spots)
        return next(found for found in day.remaining if found.entry == step.entry)

    rng = np.random.default_rng(20261)
    shares = np.array([followed(step, proposed, rng) for _ in range(int(jobs))])
    ends = FromAgreed(scheme, spots, step.entry - 1, {}).away_de00(shares.ravel()).reshape(shares.shape)
    for name, column in zip(("as the diary proposes", "as planned"), ends.T, strict=True):
        print(f"{step.name}, {name}: median {np.median(column):.2f}, 95 % {np.percentile(column, 95):.2f} CIEDE2000")


def followed(step: Step, proposed, rng: np.random.Generator) -> tuple[float, float]:  # type: ignore[no-untyped-def]
    """Shares of the planned film that a job ends with: as proposed coat by coat, and with all planned coats."""
    hand = float(np.exp(rng.normal(0.0, HAND)))
    laid, aim_um, films = 0.0, step.film_um.likely, []
    for number in range(1, MOST):
        film = aim_um * hand * float(np.exp(rng.normal(0.0, COAT)))
        laid += film
        teeth = TOOTH_UM * np.maximum(1.0, np.floor(film * np.exp(rng.normal(0.0, SPOT, SPOTS)) / TOOTH_UM))
        read = tuple(float(um) for um in teeth)
        films.append(FilmRead(id=f"{number}", time=START, entry=step.entry, number=number, readings_um=read))
        plan = proposed(films)
        if plan.proposed_coats == 0:
            break
        word = plan.proposed_film_word
        aim_um = (step.film_um if word == word_of(step.film_um) else film_of_word(word)).likely
    whole = step.coats * step.film_um.likely
    return laid / whole, hand


if __name__ == "__main__":
    main(*sys.argv[1:])
