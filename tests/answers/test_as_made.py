"""What was poured, read and counted against sums done by hand: exists for a strength that comes out per batch instead
of per litre, drops taken for millilitres, a film that is a sum, and a guess that is called measured."""

from __future__ import annotations

import math
import statistics
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest

from layerpreview.answers.as_made import AsMade, as_made
from layerpreview.job.done import BatchMade, CoatDone, Done, DropsCounted, FilmRead, Poured
from layerpreview.scheme import OpaqueCoat, Scheme, load_scheme
from layerpreview.told import Basis
from tests.schemes import FULL

NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)


@pytest.fixture
def scheme(save_scheme: Callable[..., Path]) -> Scheme:
    """Honey of yellow (40 g/L, 0.9 g/mL, 40 to 60 drops/mL) and blue (25 g/L), then sea, then a rim."""
    return load_scheme(save_scheme(FULL))


def poured(
    *parts: tuple[str, float, str], total_mL: float | None = None, batch: str = "honey", n: int = 1
) -> BatchMade:
    """A batch; each part is a name, an amount and its unit."""
    return BatchMade(
        id=f"b{n}",
        time=NOON,
        batch=batch,
        poured=tuple(Poured(*part, lot=f"lot {part[0]}") for part in parts),  # type: ignore[arg-type]
        total_mL=total_mL,
    )


def mix_of(made: AsMade, name: str = "honey") -> dict[str, float]:
    return {dye: told.likely for dye, told in next(mix for mix in made.mixes if mix.name == name).strengths.items()}


def test_millilitres_of_one_batch_are_scaled_to_a_litre(scheme: Scheme) -> None:
    made = as_made(scheme, Done(batches=(poured(("yellow", 1.5, "mL"), ("blue", 0.3, "mL"), total_mL=120.0),)))
    assert mix_of(made) == pytest.approx({"yellow": 12.5, "blue": 2.5})
    honey, sea = made.mixes
    assert honey.as_made
    assert honey.batches == 1
    assert honey.strengths["yellow"].weakest is Basis.MEASURED
    assert honey.lots == {"yellow": "lot yellow", "blue": "lot blue"}
    assert not sea.as_made
    assert sea.words == ("no batch of it is in the diary",)
    assert mix_of(made, "sea") == pytest.approx({"blue": 30.0})
    # The scheme that colours are worked out from has them, too.
    assert made.scheme.mixes["honey"].strengths["yellow"].amount == pytest.approx(12.5)


def test_several_batches_count_by_their_volume(scheme: Scheme) -> None:
    small = poured(("yellow", 1.0, "mL"), ("blue", 0.1, "mL"), total_mL=50.0)
    large = poured(("Yellow ", 1.0, "mL"), ("blue", 0.5, "mL"), total_mL=150.0, n=2)
    made = as_made(scheme, Done(batches=(small, large)))
    assert mix_of(made) == pytest.approx({"yellow": 10.0, "blue": 3.0})  # 2.0 and 0.6 mL in 200
    assert made.mixes[0].batches == 2


def test_drops_go_through_the_dyes_own_and_keep_their_range(scheme: Scheme) -> None:
    made = as_made(scheme, Done(batches=(poured(("yellow", 60, "drops"), ("blue", 0.2, "mL"), total_mL=100.0),)))
    told = made.mixes[0].strengths["yellow"]
    # 40 to 60 drops a mL, likely 50: 60 drops are 1 to 1.5 mL, likely 1.2.
    assert (told.low, told.likely, told.high) == pytest.approx((10.0, 12.0, 15.0))
    assert told.unit == "mL/L"


def test_drops_counted_on_the_job_come_first(scheme: Scheme) -> None:
    batch = poured(("yellow", 60, "drops"), ("blue", 0.2, "mL"), total_mL=100.0)
    counts = tuple(
        DropsCounted(id=f"c{n}", time=NOON, dye="yellow", drops=drops, volume_mL=mL)
        for n, (drops, mL) in enumerate([(40, 1.0), (96, 2.0), (44, 1.0)])
    )
    told = as_made(scheme, Done(batches=(batch,), drops=counts)).mixes[0].strengths["yellow"]
    # 180 drops in 4 mL are 45 to a mL, from 40 to 48.
    assert (told.low, told.likely, told.high) == pytest.approx((12.5, 600 / 45, 15.0))
    assert "n = 3" in told.basis


def test_grams_of_a_liquid_go_through_its_density(scheme: Scheme) -> None:
    made = as_made(scheme, Done(batches=(poured(("yellow", 0.9, "g"), ("blue", 0.2, "mL"), total_mL=80.0),)))
    assert mix_of(made)["yellow"] == pytest.approx(12.5)  # 0.9 g of 0.9 g/mL are 1 mL in 80


def test_a_batchs_volume_is_the_sum_of_what_was_poured(scheme: Scheme) -> None:
    batch = poured(("yellow", 1.5, "mL"), ("blue", 0.5, "mL"), ("Carrier", 98.0, "mL"))
    assert mix_of(as_made(scheme, Done(batches=(batch,)))) == pytest.approx({"yellow": 15.0, "blue": 5.0})


@pytest.mark.parametrize(
    ("batch", "why"),
    [
        (poured(("yellow", 1.5, "mL"), ("blue", 0.3, "mL")), "how much it came to"),
        (poured(("yellow", 1.5, "mL"), ("blue", 0.3, "mL"), ("carrier", 90.0, "g")), "how much it came to"),
        (poured(total_mL=100.0), "what was poured"),
        (poured(("yellow", 1.5, "mL"), total_mL=100.0), "does not name blue"),
        (poured(("yellow", 1.5, "mL"), ("blue", 2.0, "g"), total_mL=100.0), "2 g of blue"),
    ],
)
def test_what_cannot_be_worked_out_stays_as_planned_and_is_said(scheme: Scheme, batch: BatchMade, why: str) -> None:
    made = as_made(scheme, Done(batches=(batch,)))
    assert not made.mixes[0].as_made
    assert why in made.mixes[0].words[0]
    assert mix_of(made) == pytest.approx({"yellow": 12.0, "blue": 2.0})


def test_a_dye_that_the_scheme_does_not_know_is_told(scheme: Scheme) -> None:
    batch = poured(("yellow", 1.2, "mL"), ("blue", 0.2, "mL"), ("violet", 3, "drops"), total_mL=100.0)
    made = as_made(scheme, Done(batches=(batch,)))
    assert made.mixes[0].as_made
    assert "violet" in made.mixes[0].words[0]


def test_films_are_the_mean_of_the_coats_that_are_on(scheme: Scheme) -> None:
    """Range: Student's t of a table (5 %, one side, 4 degrees: 2.132) by s / sqrt(n), and the gauge's step."""
    films = tuple(
        FilmRead(id=f"f{n}", time=NOON, entry=1, number=number, readings_um=readings)
        for n, (number, readings) in enumerate([(1, (30.0, 34.0)), (2, (40.0, 41.0, 46.0))])
    )
    first, second, _ = as_made(scheme, Done(films=films)).coats
    # Three coats are on, of 32, 42.333 and, not read, the mean of these two.
    assert first.film_um.likely == pytest.approx((32.0 + 127.0 / 3.0) / 2.0)
    half = math.hypot(2.132 * statistics.stdev([30, 34, 40, 41, 46]) / math.sqrt(5.0), 1.0)
    assert first.film_um.high / first.film_um.likely - 1.0 == pytest.approx(half / 38.2, rel=1e-3)
    assert first.film_um.basis == "measured (n = 5)"
    assert second.film_um.basis == "stated"


def test_a_comb_reads_half_a_tooth_too_little(scheme: Scheme) -> None:
    film = FilmRead(id="f", time=NOON, entry=1, number=1, readings_um=(35.0, 40.0, 45.0))
    assert as_made(scheme, Done(films=(film,))).coats[0].film_um.likely == pytest.approx(42.5)


def test_coats_are_counted_once_the_diary_counts_any(scheme: Scheme) -> None:
    assert [(coat.planned, coat.done, coat.said) for coat in as_made(scheme, Done()).coats] == [
        (3, 3, False),
        (2, 2, False),
        (2, 2, False),
    ]
    coats = tuple(CoatDone(id=f"c{n}", time=NOON, entry=entry, number=n) for n, entry in [(1, 1), (2, 1), (1, 0)])
    made = as_made(scheme, Done(coats=coats))
    assert [(coat.planned, coat.done, coat.said) for coat in made.coats] == [(3, 2, True), (2, 0, True), (2, 0, True)]
    assert [coat.coats for coat in made.scheme.coats] == [2, 0, 0]


def test_the_base_coat_is_there_where_dye_is_and_the_clear_once_it_is_counted(save_scheme: Callable[..., Path]) -> None:
    scheme = load_scheme(save_scheme(FULL + "[base.coat]\ncoats = 4\n[clear]\ncoats = 2\n"))
    first = CoatDone(id="c", time=NOON, entry=1, number=1)
    base, clear = as_made(scheme, Done(coats=(first,))).plain
    assert (base.entry, base.planned, base.done, base.said) == (0, 4, 4, False)
    assert (clear.entry, clear.planned, clear.done, clear.said) == (-1, 2, 0, True)
    (clear,) = as_made(load_scheme(save_scheme(FULL)), Done()).plain
    assert (clear.planned, clear.done, clear.said) == (3, 3, False)


def test_an_opaque_coat_hides_in_proportion_to_its_film(scheme: Scheme) -> None:
    """The rim: hiding 0.9 at 20 um; read at 15 um it is 0.675."""
    film = FilmRead(id="f", time=NOON, entry=3, number=1, readings_um=(14.0, 15.0, 16.0))
    rim = as_made(scheme, Done(films=(film,))).scheme.coats[2]
    assert isinstance(rim, OpaqueCoat)
    assert rim.hiding == pytest.approx(0.675)
