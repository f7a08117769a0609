"""The day at the booth: exists for a next coat told too soon, a coat too many after thick ones, a pot life that
runs out unsaid, and clocks that were set back or forward."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from layerpreview.answers.day import Day, day_of
from layerpreview.colour import delta_e_2000
from layerpreview.finish.layers import stack_of
from layerpreview.job.booth import Booth, booth_of
from layerpreview.job.done import BatchMade, CoatDone, Conditions, Done, FilmRead, Left
from layerpreview.job.products import LEVEL_GRITS
from layerpreview.picture.spots import Spot, fullest_spot, places_of
from layerpreview.scheme import Scheme, load_scheme
from layerpreview.spray.budget import KEEP_OVER_PEAKS_UM as KEEP
from layerpreview.spray.budget import coats_to_bury, removed_by_um
from layerpreview.told import Basis
from layerpreview.units import Range

from ..literal import lab_of_spectrum
from ..schemes import DYES, GUN, HEAD, MIXES, PANEL, RIM, SILVER

START = datetime(2026, 3, 29, 0, 10, tzinfo=UTC)
HONEY = '[[coat]]\nmix = "honey"\ncoats = 4\nfilm = "medium"\n'
SEA = '[[coat]]\nmix = "sea"\ncoats = 2\nfilm = "30 um"\n'
TIMED = (
    HEAD
    + PANEL
    + SILVER
    + DYES
    + MIXES.replace('solids = "20 %"\n', 'flash = "6 to 10 min"\ndry = "40 min to 1 h"\n')
    + HONEY
    + SEA
    + RIM
    + '[clear]\nname = "two-pack"\ncoats = 3\npot_life = "2 to 3 h"\nratio = "2:1 clear:hardener"\nflash = "15 min"\n'
    + GUN
)
Looked = Callable[..., Day]


@pytest.fixture(scope="module")
def scheme(tmp_path_factory: pytest.TempPathFactory) -> Scheme:
    path = tmp_path_factory.mktemp("job") / "job.toml"
    path.write_text(TIMED, "utf-8")
    return load_scheme(path)


@pytest.fixture(scope="module")
def booth(scheme: Scheme) -> Booth:
    return booth_of(scheme)


@pytest.fixture(scope="module")
def spots(scheme: Scheme) -> list[Spot]:
    return places_of(scheme)


@pytest.fixture(scope="module")
def look(scheme: Scheme, booth: Booth, spots: list[Spot]) -> Looked:
    def day(done: Done, minutes: float = 0.0) -> Day:
        return day_of(scheme, done, now=at(minutes), booth=booth, spots=lambda: spots)

    return day


def at(minutes: float) -> datetime:
    return START + timedelta(minutes=minutes)


def coats(entry: int, *minutes: float, line: int = 1) -> tuple[CoatDone, ...]:
    """Coats 1, 2 ... of an entry at these minutes, on lines that follow each other."""
    return tuple(
        CoatDone(id=f"{entry}.{n}", time=at(when), line=line + n, entry=entry, number=n)
        for n, when in enumerate(minutes, 1)
    )


def film(entry: int, number: int, *readings_um: float) -> FilmRead:
    return FilmRead(id=f"f{entry}.{number}", time=at(0), entry=entry, number=number, readings_um=readings_um)


def made(batch: str, minutes: float) -> BatchMade:
    return BatchMade(id=f"{batch}{minutes}", time=at(minutes), batch=batch)


# The stages and their times -------------------------------------------------------------------------------------------


def test_an_empty_diary_begins_with_the_first_batch(look: Looked) -> None:
    day = look(Done())
    assert (day.stage.kind, day.stage.entry) == ("prepare", 1)
    assert day.next_coat is not None
    assert (day.next_coat.entry, day.next_coat.number, day.next_coat.of, day.next_coat.film_word) == (1, 1, 4, "medium")
    assert day.next_coat.wait is None
    assert day.timers == ()
    assert [may.what for may in day.may_say][:2] == ["batch", "coat-done"]
    assert look(Done(batches=(made("honey", 0),))).stage.kind == "spray"


def test_the_next_coat_waits_for_the_flash_time(look: Looked) -> None:
    done = Done(coats=coats(1, 0, 12))
    waiting = look(done, 15)
    assert waiting.next_coat is not None
    timer = waiting.next_coat.wait
    assert timer is not None
    assert (timer.kind, timer.from_, timer.earliest, timer.latest) == ("flash", at(12), at(18), at(22))
    assert (waiting.stage.kind, waiting.stage.words) == ("wait", "coat 2 of honey flashes off")
    assert (waiting.next_coat.number, waiting.next_coat.of) == (3, 4)
    assert look(done, 18).stage.kind == "spray"
    assert look(done, 18).timers == (timer,)


def test_the_next_stage_waits_until_it_is_dry(look: Looked) -> None:
    day = look(Done(coats=coats(1, 0, 12, 24, 36), batches=(made("sea", 40),)), 50)
    assert day.next_coat is not None
    assert day.next_coat.wait is not None
    assert (day.next_coat.entry, day.next_coat.number, day.next_coat.wait.kind) == (2, 1, "dry")
    assert (day.next_coat.wait.earliest, day.next_coat.wait.latest) == (at(76), at(96))
    assert day.stage.words == "coat 4 of honey dries"


def test_what_the_scheme_does_not_say_has_no_time(look: Looked) -> None:
    """Sea has no flash and no dry time."""
    day = look(Done(coats=(*coats(1, 0, 12, 24, 36), *coats(2, 100, line=5))), 101)
    assert day.next_coat is not None
    assert (day.next_coat.wait, day.next_coat.words) == (None, "flash time: as the product's sheet says")
    assert day.timers == ()
    day = look(Done(coats=(*coats(1, 0, 12, 24, 36), *coats(2, 100, 110, line=5))), 111)
    assert day.next_coat is not None
    assert day.next_coat.words == "dry time: as the product's sheet says"


def test_after_the_last_clear_coat_nothing_is_sprayed(look: Looked) -> None:
    day = look(Done(coats=(*coats(1, 0), *coats(-1, 200, 220, 240, line=5))), 241)
    assert day.next_coat is None
    assert (day.stage.kind, day.stage.words) == ("finish", "level, sand and polish")
    assert {caution.title for caution in day.cautions} >= {"Dust", "Waste and rags"}
    assert "no coat of sea is in the diary, though later ones are" in day.notes


def test_the_furthest_stage_goes_on_and_gaps_are_told(look: Looked) -> None:
    later = (*coats(1, 0), CoatDone(id="x", time=at(90), line=9, entry=3, number=2))
    day = look(Done(coats=later), 91)
    assert day.next_coat is not None
    assert (day.next_coat.entry, day.next_coat.number) == (-1, 1)
    assert any("not in the diary: coat 1 of opaque" in note for note in day.notes)


# Pot life -------------------------------------------------------------------------------------------------------------


def test_pot_life_warns_at_three_quarters_and_at_the_end(look: Looked) -> None:
    day = look(Done(batches=(made("two-pack", 30),)), 31)
    assert [(t.kind, t.about, t.earliest, t.latest) for t in day.timers] == [
        ("pot life soon", "two-pack", at(30 + 90), at(30 + 135)),
        ("pot life", "two-pack", at(30 + 120), at(30 + 180)),
    ]


def test_pot_life_is_the_last_batch_s_and_ends_with_what_is_left(look: Looked) -> None:
    twice = (made("two-pack", 0), made("two-pack", 100))
    assert {t.from_ for t in look(Done(batches=twice)).timers} == {at(100)}
    left = Left(id="l", time=at(130), batch="two-pack", left_mL=8.0)
    assert look(Done(batches=twice, left=(left,))).timers == ()
    early = replace(left, time=at(90))
    assert look(Done(batches=twice, left=(early,))).timers != ()
    assert look(Done(batches=(made("honey", 0), made("not in the scheme", 0)))).timers == ()


def test_a_batch_that_went_off_is_made_anew_before_the_next_coat(look: Looked) -> None:
    on = (*coats(1, 0), *coats(-1, 60, line=5))
    day = look(Done(coats=on, batches=(made("two-pack", 50),)), 240)
    assert (day.stage.kind, day.stage.words) == (
        "mix",
        "make two-pack anew for coat 2 of 3 of two-pack: its pot life is over",
    )
    assert ("batch", {"batch": "two-pack"}) in [(may.what, may.values) for may in day.may_say]
    assert "Catalysed left-overs get hot" in " ".join(caution.text for caution in day.cautions)
    assert look(Done(coats=on, batches=(made("two-pack", 50), made("two-pack", 239))), 240).stage.kind == "spray"


# Clocks ---------------------------------------------------------------------------------------------------------------


def test_the_night_the_clock_goes_forward_takes_no_hour(look: Looked) -> None:
    """A coat ten minutes before the change, the next one six minutes after the last: instants, not wall clocks."""
    day = look(Done(coats=coats(1, 45)), 52)  # 00:55 UTC, five minutes before the clocks of Europe change
    assert day.next_coat is not None
    assert day.next_coat.wait is not None
    assert day.next_coat.wait.earliest - day.coats[0].time == timedelta(minutes=6)
    assert day.stage.kind == "spray"


def test_a_clock_set_back_puts_no_coat_before_another(look: Looked) -> None:
    day = look(Done(coats=coats(1, 60, 72, 5)), 6)  # the third is told an hour early
    assert [coat.number for coat in day.coats] == [1, 2, 3]
    assert any("line 4 has an earlier time" in note for note in day.notes)
    assert any("clock is behind" in note for note in day.notes)
    assert day.next_coat is not None
    assert day.next_coat.wait is not None
    assert (day.next_coat.number, day.next_coat.wait.earliest) == (4, at(11))
    assert (day.next_coat.wait.earliest - day.now).total_seconds() > 0


def test_a_coat_that_is_told_late_is_no_clock_set_back(look: Looked) -> None:
    told = (
        CoatDone(id="b", time=at(12), line=2, entry=1, number=2),
        CoatDone(id="a", time=at(0), line=3, entry=1, number=1),
    )
    day = look(Done(coats=told), 13)
    assert [coat.number for coat in day.coats] == [1, 2]
    assert day.notes == ()
    assert day.next_coat is not None
    assert day.next_coat.wait is not None
    assert day.next_coat.wait.from_ == at(12)


# Films and what remains -----------------------------------------------------------------------------------------------


def away(scheme: Scheme, spots: list[Spot], share: float) -> float:
    """CIEDE2000 between the agreed honey and a share of it, by the stack and textbook colour sums."""
    spot = fullest_spot(spots, 0)
    stack = stack_of(scheme, base=spot.base)
    builds = np.zeros((2, len(scheme.coats)))
    builds[:, 0] = share, 1.0
    one, other = stack.reflectance(np.repeat(spot.bare[None], 2, axis=0), builds)
    return float(delta_e_2000(lab_of_spectrum(one), lab_of_spectrum(other)))


def test_a_reading_makes_the_film_measured_at_once(look: Looked) -> None:
    day = look(Done(coats=coats(1, 0), films=(film(1, 1, 38.0, 45.0, 41.0),)), 1)
    (told,) = day.films
    assert (told.planned_um.weakest, told.measured_um.weakest) == (Basis.ASSUMED, Basis.MEASURED)
    assert told.measured_um.likely == pytest.approx(124 / 3)
    assert told.measured_um.low < 38.0
    (left,) = day.remaining
    assert (left.proposed_coats, left.proposed_film_word, left.changed) == (3, "medium", False)
    assert left.words.startswith("as planned, three medium coats more: ends")


def test_thick_coats_leave_fewer_to_lay(look: Looked, scheme: Scheme, spots: list[Spot]) -> None:
    """Two coats of 66 um of the 160 planned: 28 um remain, which no third coat of 66 leaves."""
    day = look(Done(coats=coats(1, 0, 12), films=(film(1, 1, 66.0, 64.0, 68.0), film(1, 2, 66.0, 66.0))), 13)
    (left,) = day.remaining
    assert left.laid_um.likely == pytest.approx(132.0)
    assert (left.proposed_coats, left.proposed_film_word) == (1, "light")
    assert left.ends_de00 == pytest.approx(away(scheme, spots, (132 + 20 * 1.65) / 160), abs=0.02)
    assert left.as_planned_de00 == pytest.approx(away(scheme, spots, 4 * 66 / 160), abs=0.02)
    assert left.at_most_de00 is not None
    assert left.at_most_de00 > left.ends_de00
    assert left.words.startswith("one light coat (about 33 um) instead of two medium ones: ends ")
    assert f"(as planned, {left.as_planned_de00:.1f})" in left.words
    assert day.next_coat is not None
    assert (day.next_coat.number, day.next_coat.of, day.next_coat.film_word) == (3, 3, "light")


def test_thin_coats_are_made_up_for(look: Looked) -> None:
    day = look(Done(coats=coats(1, 0, 12, 24, 36), films=(film(1, 1, 24.0, 25.0, 23.0),)), 37)
    (left,) = day.remaining
    assert left.proposed_coats >= 1
    assert "though all that were planned are on" in left.words
    assert day.next_coat is not None
    assert (day.next_coat.entry, day.next_coat.number) == (1, 5)


def test_past_it_no_coat_is_proposed(look: Looked, scheme: Scheme, spots: list[Spot]) -> None:
    day = look(Done(coats=coats(1, 0, 12, 24), films=(film(1, 1, 80.0, 82.0, 78.0),)), 25)
    (left,) = day.remaining
    assert (left.proposed_coats, left.gone_past) == (0, True)
    assert left.words.startswith("gone past by 2.0 coats: ")
    assert f"{away(scheme, spots, 1.5):.1f} CIEDE2000" in left.words
    assert day.next_coat is not None
    assert day.next_coat.entry == 2


@pytest.mark.parametrize("um", [13.0, 22.0, 31.0, 37.0, 42.0, 48.0, 59.0, 77.0, 111.0])
def test_no_plan_ends_further_off_than_the_scheme_s(look: Looked, um: float) -> None:
    for on in (1, 2, 3):
        minutes = [12.0 * n for n in range(on)]
        (left,) = look(Done(coats=coats(1, *minutes), films=(film(1, 1, um, um + 1, um - 1),)), 99).remaining
        assert left.ends_de00 is not None
        assert left.as_planned_de00 is not None
        assert left.proposed_coats >= 0
        assert left.ends_de00 <= left.as_planned_de00
        if left.as_planned_de00 <= 0.8:  # nobody sees it (JUST_SEEN_DE00): the plan stands
            assert (left.proposed_coats, left.proposed_film_word) == (4 - on, "medium")


def test_coats_that_were_left_out_count_below_what_follows(look: Looked) -> None:
    """Two of four coats of honey, not read: sea over them ends as far off as over half of the honey that was read."""
    on = (*coats(1, 0, 12), *coats(2, 90, line=5))
    unread = look(Done(coats=on, films=(film(2, 1, 30.0, 31.0, 29.0),)), 91).remaining[-1]
    read = look(Done(coats=on, films=(film(1, 1, 39.0, 40.0, 41.0), film(2, 1, 30.0, 31.0, 29.0))), 91).remaining[-1]
    assert unread.ends_de00 == pytest.approx(read.ends_de00)


def test_a_stage_that_is_left_proposes_nothing_more(look: Looked) -> None:
    on = (*coats(1, 0, 12), *coats(2, 90, line=5))
    left = look(Done(coats=on, films=(film(1, 1, 40.0, 41.0, 39.0), film(2, 1, 30.0, 31.0, 29.0))), 91).remaining
    assert [(found.entry, found.proposed_coats) for found in left] == [(1, 0), (2, 1)]
    assert left[0].words.startswith("80 of 160 um on: ")
    # Half of the honey lies below: the sea cannot end at the agreed colour, whatever is done.
    assert left[1].ends_de00 is not None
    assert left[1].ends_de00 > 1.0


def test_what_hides_and_the_clear_are_told_by_film_alone(look: Looked) -> None:
    day = look(Done(coats=coats(-1, 0, 20), films=(film(-1, 1, 90.0, 91.0, 92.0),)), 21)
    (left,) = day.remaining
    assert (left.ends_de00, left.as_planned_de00) == (None, None)
    assert left.proposed_coats == 0
    assert "182 of 195 um on" in left.words


@pytest.mark.parametrize(("read_um", "more"), [(58.0, 3), (66.0, 2), (82.1, 2), (103.1, 1), (190.2, 0)])
def test_a_film_that_has_to_bury_is_not_left_short(look: Looked, read_um: float, more: int) -> None:
    """Of 195 um in three coats one is on: one more than goes into the rest, but for less than a seventh of a coat."""
    day = look(Done(coats=coats(-1, 0), films=(film(-1, 1, read_um),)), 21)
    assert day.remaining[0].proposed_coats == more


def test_a_clear_is_told_by_what_it_buries_too(tmp_path: Path) -> None:
    """Against the budget's own sum for the film that was measured."""
    path = tmp_path / "job.toml"
    relief = '[base]\nkind = "metal"\nrelief = "lifted"\nrelief_height = "90 um"\n'
    path.write_text(HEAD + PANEL + relief + '[clear]\ncoats = 4\nsolids = "45 %"\nfilm = "55 um"\n', "utf-8")
    found = day_of(load_scheme(path), Done(coats=coats(-1, 0), films=(film(-1, 1, 59.0, 60.0, 61.0),)), now=at(1))
    (left,) = found.remaining
    assert left.proposed_coats == 3
    removed = removed_by_um(LEVEL_GRITS).likely
    counts = [
        coats_to_bury(relief_um=90, dry_um_per_coat=27, solids=0.45, levels=levels, removed_um=removed, keep_um=KEEP)
        for levels in (True, False)
    ]
    assert left.words.startswith("60 of 220 um on: three more coats as laid so far; to bury the relief with ")
    assert f"it takes {counts[0]} to {counts[1]} such coats in all" in left.words


def test_a_film_of_no_coat_is_told(look: Looked) -> None:
    day = look(Done(films=(replace(film(1, 1, 41.0), line=3),)))
    assert day.remaining == ()
    assert any(note.startswith("line 3 reads the film of a coat") for note in day.notes)


# Cautions -------------------------------------------------------------------------------------------------------------


def test_cautions_stand_where_their_stages_start(look: Looked) -> None:
    titles = [caution.title for caution in look(Done()).cautions]
    assert titles[:2] == ["Solvent vapour and fire", "Skin and eyes"]
    clear = look(Done(coats=(*coats(1, 0), *coats(3, 10, 20, line=5)), batches=(made("two-pack", 60),)), 61)
    assert clear.stage.kind == "spray"
    assert [caution.title for caution in clear.cautions][:2] == ["Isocyanates", "Solvent vapour and fire"]
    later = look(Done(coats=(*coats(1, 0), *coats(-1, 70, line=5))), 95)
    assert [caution.title for caution in later.cautions][:2] == ["Isocyanates", "Vapour and fire"]
    for day in (look(Done()), clear, later):
        assert "safety data sheet" in day.cautions[-1].text
        assert "licensed practice" in day.cautions[-1].text


def test_booth_and_gun_are_kept_beside_it(look: Looked) -> None:
    day = look(Done(conditions=(Conditions(id="c", time=at(0), temperature_C=21.0),)))
    assert day.stage.kind == "prepare"


def test_base_coats_of_several_faces_are_one_step(tmp_path: Path) -> None:
    path = tmp_path / "job.toml"
    own = '[base_of.head]\nkind = "wood"\ncolour = "#d9b98a"\n[base_of.head.coat]\ncoats = 3\nflash = "20 min"\n'
    head = PANEL.replace('"front"', '"head"')
    base = SILVER + '[base.coat]\nname = "silver"\ncoats = 2\nflash = "10 to 12 min"\n'
    path.write_text(HEAD + PANEL + head + base + own + DYES + MIXES + HONEY, "utf-8")
    first, *_, last = booth_of(load_scheme(path)).steps
    assert (first.entry, first.name, first.coats, first.flash_min) == (0, "base coat", 3, Range(20.0, 20.0, 20.0))
    assert len(first.batches) == 2
    assert last.entry == -1
