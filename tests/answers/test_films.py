"""Wet-film readings as one film: exists for a mean told surer than its readings are, and for a coat that was not read
and counts as nothing."""

from __future__ import annotations

import math
from datetime import UTC, datetime

import numpy as np
import pytest
from scipy import stats

from layerpreview.answers.films import WHEEL_UM, films_measured, mean_film_um, tooth_um
from layerpreview.job.done import FilmRead
from layerpreview.told import Basis

NOON = datetime(2026, 5, 4, 12, tzinfo=UTC)


def test_range_is_student_s_for_the_mean_and_half_a_step() -> None:
    """Against scipy.stats.t, which is not what the room uses, on seven readings."""
    readings = [38.0, 45.0, 41.0, 36.0, 44.0, 40.0, 43.0]
    found = mean_film_um(readings)
    low, high = stats.t.interval(0.9, len(readings) - 1, loc=stats.tmean(readings), scale=stats.sem(readings))
    half = math.hypot((high - low) / 2, WHEEL_UM / 2)
    assert found.likely == pytest.approx(stats.tmean(readings))
    assert (found.low, found.high) == pytest.approx((found.likely - half, found.likely + half))
    assert found.weakest is Basis.MEASURED
    assert found.basis == "measured (n = 7)"


def test_a_comb_is_read_at_its_last_wet_tooth(rng: np.random.Generator) -> None:
    """Films of all thicknesses, each read as a comb is: the mean of what is told is the mean of the films."""
    films = rng.normal(42.0, 6.0, 400)
    readings = 5.0 * np.floor(films / 5.0)
    found = mean_film_um(readings.tolist(), comb_um=tooth_um(readings.tolist()))
    assert found.likely == pytest.approx(films.mean(), abs=0.5)
    assert found.low < films.mean() < found.high
    assert found.high - found.low > 5.0  # no number of readings is finer than the comb
    assert found.basis == "measured (n = 400, half a tooth added)"


@pytest.mark.parametrize(
    ("readings", "step"),
    [([40.0], 5.0), ([25.4, 38.1], 12.7), ([50.8, 50.0], None), ([42.5, 40.0], None), ([38.1, 45.0], None)],
)
def test_which_gauge_it_was(readings: list[float], step: float | None) -> None:
    assert tooth_um(readings) == step


@pytest.mark.parametrize("readings", [[41.0], [40.0, 41.0]])
def test_few_readings_are_not_told_as_sure(readings: list[float]) -> None:
    found = mean_film_um(readings)
    assert found.high - found.low > 2 * 1.645 * 0.14 * found.likely / math.sqrt(len(readings))
    assert "spread assumed" in found.basis


def test_two_that_differ_widely_are_believed_to() -> None:
    apart = mean_film_um([20.0, 60.0])
    assert apart.high - apart.low > mean_film_um([39.0, 41.0]).high - mean_film_um([39.0, 41.0]).low


def test_none_is_refused() -> None:
    with pytest.raises(ValueError, match="at least one"):
        mean_film_um([])


def film(number: int, *readings_um: float, entry: int = 1) -> FilmRead:
    return FilmRead(id=f"{entry}{number}{readings_um}", time=NOON, entry=entry, number=number, readings_um=readings_um)


def test_coats_that_were_read_stand_for_the_others() -> None:
    found = films_measured([film(1, 50.0, 54.0), film(3, 40.0), film(1, 52.0), film(1, 31.0, entry=2)])
    assert list(found) == [1, 2]
    honey = found[1]
    assert (honey.n, honey.coats, dict(honey.by_coat)) == (4, 2, {1: 52.0, 3: 40.0})
    assert honey.film_um.likely == pytest.approx((52.0 + 40.0) / 2.0)  # a coat that was read often counts once
    assert honey.laid_um([1, 3]).likely == pytest.approx(2.0 * honey.film_um.likely)  # as a reader checks it
    laid = honey.laid_um([1, 2, 3])
    assert laid.likely == pytest.approx(52.0 + 46.0 + 40.0)
    assert laid.high / laid.likely == pytest.approx(honey.film_um.high / honey.film_um.likely)
    assert honey.laid_um([]).likely == 0.0


def test_one_comb_reads_all_of_a_job() -> None:
    found = films_measured([film(1, 40.0, 45.0), film(1, 30.0, entry=2)])
    assert [measured.film_um.likely for measured in found.values()] == [45.0, 32.5]
    assert dict(found[1].by_coat) == {1: 45.0}
