"""What jobs teach a shop: a mean and a range that few readings make wide, each job once, nothing lost."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from layerpreview.answers import own_values
from layerpreview.answers.job_teaches import Teaching, job_teaches
from layerpreview.answers.own_values import ASSUMED, Spreads, mean_of, own_value
from layerpreview.answers.shop_taught import BY_HAND, taught
from layerpreview.job.done import CLEAR_COAT, BatchMade, CoatDone, Done, DropsCounted, FilmRead, Left, Poured
from layerpreview.picture.faces import shapes_of
from layerpreview.picture.survey import Survey
from layerpreview.scheme import Scheme, scheme_from_text
from layerpreview.scheme.shop_values import JobMean, JobTaught, OwnValue, ShopValues
from layerpreview.units import Range

from ..schemes import DYES, HEAD, MIXES, PANEL, SILVER

NOON = datetime(2026, 5, 4, 12, tzinfo=UTC)
BIG = PANEL.replace("64 mm", "640 mm").replace("48 mm", "480 mm")
SCHEME = HEAD + BIG + SILVER + DYES + MIXES
COATS = '[[coat]]\nmix = "honey"\ncoats = 3\n[[coat]]\nmix = "sea"\ncoats = 2\nfilm = "30 um"\n'


def at(minutes: int) -> dict[str, object]:
    return {"id": f"deed {minutes}", "time": NOON + timedelta(minutes=minutes)}


def scheme_of(coats: str = COATS, gun: str = 'kind = "HVLP"') -> Scheme:
    return scheme_from_text(f"{SCHEME}{coats}[gun]\n{gun}\n", Path("job.toml"), shop=False)


def teaching(scheme: Scheme, done: Done) -> Teaching:
    shapes = shapes_of(scheme)
    return job_teaches(scheme, done, shapes, [Survey(scheme, shape).mean_builds for shape in shapes])


def test_the_range_by_hand() -> None:
    """One job, one batch: with the 4 assumed degrees t is 2.13 (JCGM 100:2008, table G.2, 90 %)."""
    only_jobs = Spreads(0.10, 0.0, 0.0)
    with pytest.MonkeyPatch.context() as patch:
        patch.setitem(own_values.ASSUMED, "transfer", only_jobs)
        found = own_value("transfer", [JobMean(0.5, 1, 1)])
    half = math.exp(2.132 * 0.10 * math.sqrt(2.0))
    assert found.range.high == pytest.approx(0.5 * half, rel=1e-3)
    assert found.range.low == pytest.approx(0.5 / half, rel=1e-3)
    # Four jobs: 3 degrees of their own and the 4 assumed; t of 7 degrees is 1.89 (the same table).
    logs = np.array([-0.2, -0.05, 0.05, 0.2])
    with pytest.MonkeyPatch.context() as patch:
        patch.setitem(own_values.ASSUMED, "film", only_jobs)
        found = own_value("film", [JobMean(40.0 * math.exp(log), 3, 3) for log in logs])
    spread = math.sqrt((4 * 0.01 + float(np.square(logs).sum())) / 7 * (1 + 1 / 4))
    assert found.range.high == pytest.approx(40.0 * math.exp(1.895 * spread), rel=1e-3)
    assert (found.n, found.jobs) == (12, 4)


def test_more_of_it_narrows_the_range_and_scatter_widens_it() -> None:
    def width(*means: JobMean) -> float:
        found = own_value("film", means).range
        return found.high / found.low

    one = JobMean(36.0, 3, 1)
    assert width(one, one) < width(one)
    assert width(*[one] * 8) < width(one, one)
    assert width(replace(one, likely=30.0), replace(one, likely=43.0)) > width(one, one)
    assert width(replace(one, n=9, groups=3)) < width(one)
    assert width(replace(one, unsure=0.3)) > width(one)


def test_nine_jobs_of_ten_fall_into_it(rng: np.random.Generator) -> None:
    """Shops that scatter as is assumed: their next job lies in the range in 9 cases of 10, however few taught it."""
    usual = ASSUMED["film"]
    for count in (1, 2, 5):
        held = 0
        for _ in range(400):
            jobs = rng.normal(0.0, usual.jobs, count + 1)
            coats = [jobs[j] + rng.normal(0.0, usual.groups, 3) for j in range(count)]
            means = [mean_of(np.exp(own[:, None] + rng.normal(0.0, usual.readings, (3, 3))).tolist()) for own in coats]
            found = own_value("film", [replace(mean, likely=40.0 * mean.likely) for mean in means]).range
            held += found.low <= 40.0 * math.exp(jobs[-1]) <= found.high
        assert 0.86 <= held / 400 <= 0.97, count


def test_films_told_in_a_word_teach_it() -> None:
    """A coat counts once, however often its film is read; a film that is stated in um teaches no word."""
    films = [(1, 1, (30.0, 34.0, 38.0)), (1, 2, (40.0,)), (2, 1, (60.0,)), (CLEAR_COAT, 1, (66.0,))]
    reads = tuple(
        FilmRead(**at(i), entry=entry, number=number, readings_um=um)  # type: ignore[arg-type]
        for i, (entry, number, um) in enumerate(films)
    )
    means = teaching(scheme_of(), Done(films=reads)).means
    assert set(means) == {("film", "medium"), ("film", "wet")}
    medium = means["film", "medium"]
    first = (30.0 * 34.0 * 38.0) ** (1 / 3)
    assert medium.likely == pytest.approx(math.sqrt(first * 40.0))
    assert (medium.n, medium.groups) == (4, 2)
    assert means["film", "wet"].likely == pytest.approx(66.0)
    # The second one was asked for as a light one, for the first came out thick: it says nothing of medium coats.
    asked = tuple(CoatDone(**at(n), entry=1, number=n, asked=word) for n, word in ((1, ""), (2, "light")))  # type: ignore[arg-type]
    alone = teaching(scheme_of(), Done(coats=asked, films=reads)).means["film", "medium"]
    assert (alone.likely, alone.groups) == (pytest.approx(first), 1)


def test_of_a_comb_half_a_tooth_is_added() -> None:
    """The last wet tooth is read: the film is half a step more on the average, and the step is doubt that stays."""
    read = FilmRead(**at(1), entry=1, number=1, readings_um=(35.0, 40.0, 35.0))  # type: ignore[arg-type]
    mean = teaching(scheme_of(), Done(films=(read,))).means["film", "medium"]
    assert mean.likely == pytest.approx((37.5 * 42.5 * 37.5) ** (1 / 3))
    assert mean.unsure == pytest.approx(5.0 / math.sqrt(12.0) / mean.likely)


def batch(made: float, left: float, coats: int = 3, um: float = 41.2) -> Done:
    return Done(
        batches=(BatchMade(**at(0), batch="honey", total_mL=made),),  # type: ignore[arg-type]
        coats=tuple(CoatDone(**at(i), entry=1, number=i) for i in range(1, coats + 1)),  # type: ignore[arg-type]
        films=tuple(
            FilmRead(**at(10 + i), entry=1, number=i, readings_um=(um, um))  # type: ignore[arg-type]
            for i in range(1, coats + 1)
        ),
        left=(Left(**at(30), batch="honey", left_mL=left),),  # type: ignore[arg-type]
    )


def test_transfer_is_what_landed_of_what_was_sprayed() -> None:
    """By hand: 0.640 x 0.480 m, 41.2 um, 3 coats are 37.97 mL on the part; past the edges 25 mm all round likely."""
    edge_m2 = 2 * (0.640 + 0.480) * 0.025
    past = edge_m2 * 41.2 * 3
    done = batch(130.0, 38.0)
    found = teaching(scheme_of(), done).means["transfer", "HVLP"]
    assert found.likely == pytest.approx((0.640 * 0.480 * 41.2 * 3 + past) / (130.0 - 38.0), rel=1e-4)
    assert 0.0 < found.unsure < 0.2
    # Two coats laid of the three: what is planned does not count.
    two = teaching(scheme_of(), batch(130.0, 38.0, coats=2)).means["transfer", "HVLP"]
    assert two.likely == pytest.approx(2 / 3 * found.likely, rel=1e-4)
    # Without a reading the film is the scheme's, and less sure.
    unread = replace(batch(130.0, 38.0), films=())
    assert teaching(scheme_of(), unread).means["transfer", "HVLP"].unsure > found.unsure
    # What was made is the sum of what was poured where nobody says it; of what was weighed it is not known.
    parts = (Poured("yellow", 49.0, "drops"), Poured("blue", 2.0, "mL"), Poured("carrier", 127.02, "mL"))
    poured = replace(done.batches[0], total_mL=None, poured=parts)
    summed = teaching(scheme_of(), replace(done, batches=(poured,))).means["transfer", "HVLP"]
    assert summed.likely == pytest.approx(found.likely, rel=1e-6)
    weighed = replace(poured, poured=(*parts, Poured("catalyst", 3.0, "g")))
    assert "how much was made" in " ".join(teaching(scheme_of(), replace(done, batches=(weighed,))).notes)
    other = teaching(scheme_of(gun=""), batch(130.0, 38.0))
    assert set(other.means) == {("transfer", "unknown"), ("film", "medium")}


@pytest.mark.parametrize(
    ("done", "said"),
    [
        (batch(0.0, 38.0), "how much was made is not in the diary"),
        (batch(130.0, 140.0), "nothing was sprayed"),
        (batch(60.0, 50.0), "cannot be right"),
        (replace(batch(130.0, 38.0), coats=()), "no coat of it is in the diary"),
        (Done(left=(Left(**at(1), batch="hony", left_mL=3.0),)), "no batch of this name"),  # type: ignore[arg-type]
        (batch(900.0, 38.0), "far from the usual 25 to 65 %"),
        (Done(drops=(DropsCounted(**at(1), dye="red", drops=40, volume_mL=1.0),)), "no dye of this name"),  # type: ignore[arg-type]
        (Done(drops=(DropsCounted(**at(1), dye="blue", drops=4, volume_mL=9.0),)), "cannot be right"),  # type: ignore[arg-type]
    ],
)
def test_what_cannot_be_used_is_said(done: Done, said: str) -> None:
    found = teaching(scheme_of(), done)
    assert said in " ".join(found.notes)
    assert (("transfer", "HVLP") in found.means) == ("far from" in said)


def test_drops_are_those_counted() -> None:
    counts = tuple(
        DropsCounted(**at(i), dye="blue", drops=drops, volume_mL=mL)  # type: ignore[arg-type]
        for i, (drops, mL) in enumerate([(42, 1.0), (22, 0.5)])
    )
    found = teaching(scheme_of(), Done(drops=counts)).means["drops_per_mL", "blue"]
    assert (found.likely, found.n) == (pytest.approx(math.sqrt(42.0 * 44.0)), 2)


MEAN = JobMean(36.0, 6, 2)


def test_the_same_job_counts_once_and_is_taken_anew() -> None:
    first = taught(ShopValues(), [JobTaught("drum", "a", {("film", "wet"): MEAN})], file=Path("shop.toml"))
    again = taught(first.values, [JobTaught("drum moved", "a", {("film", "wet"): MEAN})], file=Path("shop.toml"))
    assert again.values.film_um == first.values.film_um
    assert not again.changed
    assert [job.name for job in again.values.jobs] == ["drum moved"]
    other = taught(first.values, [JobTaught("lute", "b", {("film", "light"): MEAN})], file=Path("shop.toml"))
    assert set(other.values.film_um) == {"wet", "light"}
    assert [lesson.changed for lesson in other.lessons] == [True, False]
    nothing = taught(first.values, [JobTaught("drum", "a", {})], file=Path("shop.toml"))
    assert nothing.values == first.values


def test_what_was_written_by_hand_counts_as_a_job() -> None:
    hand = ShopValues(film_um={"medium": OwnValue(Range(30.0, 36.0, 43.0), 7, 2)})
    found = taught(hand, [JobTaught("lute", "b", {("film", "medium"): replace(MEAN, likely=40.0)})], file=Path("x"))
    own = found.values.film_um["medium"]
    assert own.range.likely == pytest.approx(math.sqrt(36.0 * 40.0), rel=2e-3)
    assert (own.n, own.jobs) == (13, 2)
    assert {job.name for job in found.values.jobs} == {BY_HAND, "lute"}
    assert found.lessons[0].before == Range(30.0, 36.0, 43.0)
    later = taught(found.values, [], file=Path("x"))
    assert later.values == found.values
