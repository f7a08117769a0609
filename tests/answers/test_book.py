"""The shop book's answers over plain jobs: exists for a colour found over the wrong base, sums of two bottles that are
not the same dye, a job called done while it is sprayed, and a figure called measured that is not."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from types import ModuleType

import numpy as np
import pytest

from layerpreview.answers.book import (
    Agreement,
    Book,
    BookCoat,
    BookDye,
    BookJob,
    State,
    Story,
    in_order,
)
from layerpreview.answers.book_find import beside, job_called, nearest, wanted_of, with_dye, with_words
from layerpreview.answers.book_order import order_note, order_of
from layerpreview.answers.book_story import Logged, story_of
from layerpreview.errors import InputError, NoAnswerError
from layerpreview.job import done
from layerpreview.told import Basis, Rest, Told
from layerpreview.units import Range

from .plain_jobs import DROPS, plain_job, plain_need

NOON = datetime(2026, 3, 29, 12, 0, tzinfo=UTC)


def _state(job: BookJob, state: State) -> BookJob:
    return replace(job, story=replace(job.story, state=state))


def test_the_nearest_finish_as_colour_science_has_it(colour_science: ModuleType) -> None:
    """Outside: colour-science's sRGB_to_XYZ, XYZ_to_Lab (D65) and delta_E (CIE 2000)."""
    labs = {"one": (36.0, 30.0, 33.0), "two": (60.0, 10.0, 40.0), "three": (35.0, 32.0, 34.5)}
    wanted = wanted_of("#8a3a1c")
    rgb = np.array([0x8A, 0x3A, 0x1C]) / 255.0
    lab = colour_science.XYZ_to_Lab(colour_science.sRGB_to_XYZ(rgb), np.array([0.3127, 0.3290]))
    np.testing.assert_allclose(wanted.lab, lab, atol=0.05)
    found = nearest([plain_job(name, lab=lab) for name, lab in labs.items()], wanted)
    assert [near.job.place for near in found] == ["three", "one", "two"]
    for near in found:
        outside = colour_science.delta_E(np.array(wanted.lab), np.array(labs[near.job.place]), method="CIE 2000")
        assert near.de00 == pytest.approx(float(outside), abs=0.01)


def test_over_a_base_and_never_the_bare_base() -> None:
    jobs = [plain_job("silver", over="silver metal, lifted relief"), plain_job("maple", over="wood, flame grain")]
    grey = "50,0,0"
    assert {near.job.place for near in nearest(jobs, wanted_of(grey))} == {"silver", "maple"}
    assert all(near.colour.kind == "field" for near in nearest(jobs, wanted_of(grey)))
    assert [near.job.place for near in nearest(jobs, wanted_of(f"{grey} over flame WOOD"))] == ["maple"]
    with pytest.raises(NoAnswerError, match="over gold"):
        nearest(jobs, wanted_of(f"{grey} over gold"))


@pytest.mark.parametrize(
    ("text", "lab", "over"),
    [
        ("42 30 -35", (42.0, 30.0, -35.0), ""),
        ("like 42; 30; −35 on white solid", (42.0, 30.0, -35.0), "white solid"),
        ("#FFF over wood", (100.0, 0.0, 0.0), "wood"),
        (" #000000 ", (0.0, 0.0, 0.0), ""),
        ("like Black on maple", (0.0, 0.0, 0.0), "maple"),
        ("42,5; 30; 1/2", (42.5, 30.0, 0.5), ""),
    ],
)
def test_colours_as_they_are_typed(text: str, lab: tuple[float, ...], over: str) -> None:
    found = wanted_of(text)
    np.testing.assert_allclose(found.lab, lab, atol=0.02)
    assert found.over == over


@pytest.mark.parametrize(
    "text", ["reddish", "#12", "42,30", "#8a3a1c silver", "", "nan,1,2", "1e999 1 1", "\u00b2", "42\n30"]
)
def test_what_is_no_colour_is_one_line(text: str) -> None:
    with pytest.raises(InputError, match=r"--like.*this is no colour; write"):
        wanted_of(text)


def test_by_dye_and_by_words() -> None:
    said = Agreement("2026-05-02", "A honey", ("honey coats 3 to 4",), "Dark edges please")
    one, two = plain_job("one"), plain_job("two", dyes=(BookDye("deep amber", "fitted", "#a06010", 30.0, DROPS),))
    one = replace(one, story=Story(agreed=said))
    assert with_dye([one, two], "Amber") == [one]
    assert with_dye([one, two], "deep") == [two]
    assert with_words([one, two], "edges DARK") == [one]
    assert with_words([one, two], "planned honey") == [one, two]
    assert with_words([one, two], "edges violet") == []


def test_a_job_is_called_by_folder_or_name() -> None:
    book = Book("jobs", (plain_job("shells/tom"), plain_job("2026-04 mandolin"), plain_job("red mandolin")))
    for name in ("tom", "./shells/tom/", "SHELLS", "The shells/tom"):
        assert job_called(book, name).place == "shells/tom"
    with pytest.raises(InputError, match="several jobs are called so; use one of 2026-04 mandolin, red mandolin"):
        job_called(book, "mandolin")
    with pytest.raises(InputError, match="no such job"):
        job_called(book, "scheme.toml")


def test_two_beside_each_other_say_what_differs() -> None:
    one, two = plain_job("one"), plain_job("two", finish="matt", lab=(52.0, 5.0, 34.0))
    lines = beside(one, two)
    assert {line.what for line in lines if line.differs and "colour" not in line.what} == {"clear"}
    assert lines[0].what.startswith("first colour, ")
    same = [line.differs for line in lines[1:]]
    assert same == sorted(same, reverse=True)


def test_sums_by_hand_and_two_strengths_are_two_bottles() -> None:
    """Outside: sums done by hand; 1.5 + 4 = 5.5 mL likely, halves and threefold at the ends."""
    strong = plain_need(bottle="80 g/L", likely=7.0)
    jobs = [
        _state(plain_job("one", needs=(plain_need(likely=1.5), strong)), State.PLANNED),
        _state(plain_job("two", needs=(plain_need(likely=4.0),)), State.AGREED),
        _state(plain_job("three", needs=(plain_need(likely=100.0),)), State.DONE),
        _state(plain_job("four", needs=(plain_need(likely=100.0),)), State.UNKNOWN),
    ]
    weak, other = order_of(jobs)
    assert (weak.bottle, other.bottle) == ("40 g/L", "80 g/L")
    assert weak.needed.range == Range(2.75, 5.5, 16.5)
    assert weak.make == pytest.approx(6.875)
    assert weak.jobs == ("one", "two")
    assert weak.basis == "transfer assumed"
    assert other.needed.likely == 7.0
    assert order_note(jobs).endswith("Left out, since their logs cannot be read: four.")


def test_parts_of_one_name_of_two_products_stay_apart() -> None:
    hardener = plain_need("hardener", "", 20.0, kind="catalyst", of="two-pack clear", of_kind="clear", isocyanate=True)
    other = plain_need("hardener", "", 5.0, kind="catalyst", of="rim paint", of_kind="opaque")
    ready = plain_need("satin clear, ready to spray", "", 60.0, kind="carrier", of="satin clear", of_kind="clear")
    lines = order_of([plain_job("one", needs=(hardener, other, ready, plain_need()))])
    told = ["amber (40 g/L)", "satin clear, ready to spray", "hardener of rim paint", "hardener of two-pack clear"]
    assert [line.words for line in lines] == told
    assert [line.isocyanate for line in lines] == [False, False, False, True]


def _coat(entry: int, number: int, hours: float = 0.0) -> done.CoatDone:
    return done.CoatDone(id=f"{entry}-{number}", time=NOON + timedelta(hours=hours), entry=entry, number=number)


CLEARS = tuple(_coat(-1, number) for number in (1, 2, 3))


@pytest.mark.parametrize(
    ("logged", "state"),
    [
        (Logged(), State.PLANNED),
        (Logged(days=("2026-03-01",)), State.PLANNED),
        (Logged(agreed=Agreement("2026-03-01", "A")), State.AGREED),
        (Logged(done.Done(coats=(_coat(1, 1),)), Agreement("2026-03-01", "A")), State.SPRAYED),
        (Logged(done.Done(batches=(done.BatchMade(id="a", time=NOON, batch="honey"),))), State.SPRAYED),
        (Logged(read_coats={"honey": 2}), State.SPRAYED),
        (Logged(read_coats={"honey": 0}), State.PLANNED),
        (Logged(done.Done(drops=(done.DropsCounted(id="a", time=NOON, dye="amber", drops=43, volume_mL=1),))),
         State.PLANNED),
        (Logged(done.Done(coats=CLEARS[:2])), State.SPRAYED),
        (Logged(done.Done(coats=CLEARS)), State.DONE),
        (Logged(done.Done(coats=CLEARS[:1], left=(done.Left(id="l", time=NOON, batch="clear", left_mL=3.0),))),
         State.DONE),
    ],
)  # fmt: skip
def test_how_far_a_job_has_come(logged: Logged, state: State) -> None:
    assert story_of(plain_job("one").worked, logged).state is state


def test_what_became_measured_says_what_it_was() -> None:
    """Outside: (34 + 38 + 45) / 3 = 39 um; (43 + 88) / 3 mL = 43.67 drops/mL; 100 + 50 - 22 = 128 mL, by hand."""
    deeds = done.Done(
        batches=(
            done.BatchMade(id="b1", time=NOON, batch="honey", total_mL=100.0),
            done.BatchMade(id="b2", time=NOON, batch="honey", total_mL=50.0),
            done.BatchMade(id="b3", time=NOON, batch="rim"),
        ),
        films=(
            done.FilmRead(id="f1", time=NOON, entry=1, number=1, readings_um=(34.0, 38.0)),
            done.FilmRead(id="f2", time=NOON, entry=1, number=2, readings_um=(45.0,), note="gun turned down"),
        ),
        drops=(
            done.DropsCounted(id="d1", time=NOON, dye="amber", drops=43, volume_mL=1.0),
            done.DropsCounted(id="d2", time=NOON, dye="amber", drops=88, volume_mL=2.0),
        ),
        left=(
            done.Left(id="l1", time=NOON, batch="honey", left_mL=22.0),
            done.Left(id="l2", time=NOON, batch="rim", left_mL=2.0),
        ),
    )
    story = story_of(plain_job("one").worked, Logged(deeds))
    told = {one.about: one for one in story.learnt}
    assert set(told) == {"wet film of honey", "drops of amber", "honey used"}  # of rim nobody said how much was made
    assert told["wet film of honey"].found == "40.5 (30.7 to 50.3) um, measured (n = 3)"  # as in the diary
    assert told["wet film of honey"].was == "40 (28 to 55) um, assumed (medium)"
    assert told["drops of amber"].found == "43.7 (43 to 44) drops/mL, measured (n = 2)"
    assert told["honey used"].found.startswith("128 mL")
    assert (story.begun, story.last, story.notes) == ("2026-03-29", "2026-03-29", ("gun turned down",))


def test_a_colour_that_was_read_under_the_clear_comes_before_those_worked_out(colour_science: ModuleType) -> None:
    """Outside: colour-science's Lab_to_XYZ and XYZ_to_sRGB give the same swatch."""

    def photo(number: int, of: str, entry: int, lab: tuple[float, float, float] | None) -> done.PhotoRead:
        time = NOON + timedelta(hours=number)
        return done.PhotoRead(id=f"p{number}", time=time, file="a.jpg", of=of, entry=entry, number=1, lab=lab)  # type: ignore[arg-type]

    lab = (45.0, 20.0, 30.0)
    photos = (photo(1, "part", -1, (9.0, 9.0, 9.0)), photo(2, "part", -1, lab), photo(3, "part", -1, None))
    others = (photo(4, "card", -1, (8.0, 8.0, 8.0)), photo(5, "part", 1, (7.0, 7.0, 7.0)))
    job = plain_job("one")
    job = replace(job, story=story_of(job.worked, Logged(done.Done(photos=photos + others))))
    first = job.colours[0]
    assert (first.kind, first.lab, len(job.colours)) == ("read", lab, 2)
    white = np.array([0.3127, 0.3290])
    rgb = colour_science.XYZ_to_sRGB(colour_science.Lab_to_XYZ(np.array(lab), white), white)
    assert first.srgb == "#" + "".join(f"{round(float(255 * value)):02x}" for value in rgb)
    assert nearest([job], wanted_of("45,20,30 over silver"))[0].de00 == 0.0


def test_what_the_shop_measured_and_cards_taught_is_told() -> None:
    shop = Told.of(Range(30.0, 36.0, 43.0), "um", Rest(Basis.MEASURED, "this shop's, n = 7"))
    dye = BookDye("amber", "fitted", "#d08a1a", 40.0, DROPS)
    job = plain_job("one", coats=(BookCoat(1, "honey", 3, shop),), dyes=(dye,))
    told = [one.words for one in story_of(job.worked, Logged()).learnt]
    film = "wet film of honey: 36 (30 to 43) um, measured (this shop's, n = 7)"
    assert told == ["dye amber: learnt from a card", film]


def test_what_is_sprayed_now_comes_first_and_the_latest_of_each() -> None:
    jobs = [
        replace(plain_job(place), story=Story(state=state, last=last))
        for place, state, last in (
            ("a", State.DONE, "2026-05-01"),
            ("b", State.PLANNED, ""),
            ("c", State.SPRAYED, "2026-04-01"),
            ("d", State.SPRAYED, "2026-04-03"),
        )
    ]
    assert [job.place for job in in_order(jobs)] == ["d", "c", "b", "a"]
