"""The diary as lines of the job's log: exists for a coat that two phones said and that counts twice, one that was said
again after a lost answer, a log torn by a crash, a slip that could not be taken back, and a diary of another scheme."""

from __future__ import annotations

import hashlib
import json
import subprocess
import sys
import threading
from collections.abc import Callable
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import pytest

import layerpreview as lp
from layerpreview.answers.day import Day
from layerpreview.errors import InputError, LayerPreviewError
from layerpreview.job.done import CLEAR_COAT
from layerpreview.output.joblog import LOG_NAME, locked, read_lines
from layerpreview.output.result import Result
from layerpreview.workflows.diary import all_said, diary, said, scheme_and_log, withdraw
from layerpreview.workflows.log import job_log, log_text, withdraw_entry

from ..schemes import DYES, GUN, HEAD, MIXES, PANEL, SILVER

START = datetime(2026, 5, 4, 12, 0, tzinfo=UTC)
TEXT = (
    HEAD
    + PANEL
    + SILVER
    + DYES
    + MIXES.replace('solids = "20 %"\n', 'flash = "5 to 8 min"\n')
    + '[[coat]]\nmix = "honey"\ncoats = 4\nfilm = "40 um"\n[[coat]]\nmix = "sea"\ncoats = 2\nfilm = "30 um"\n'
    + '[clear]\nname = "two-pack"\npot_life = "2 h"\nratio = "2:1 clear:hardener"\n'
    + GUN
)


@pytest.fixture
def job(tmp_path: Path) -> Path:
    (tmp_path / "scheme.toml").write_text(TEXT, "utf-8")
    return tmp_path


def at(minutes: float) -> datetime:
    return START + timedelta(minutes=minutes)


def coat(job: Path, minutes: float, **values: Any) -> Result[Day]:
    return said(job, "coat-done", values, at(minutes), zone=UTC)


def lines(job: Path) -> list[dict[str, Any]]:
    return [json.loads(line) for line in (job / LOG_NAME).read_text("utf-8").splitlines()]


# One line for each deed -----------------------------------------------------------------------------------------------


def test_looking_writes_nothing(job: Path) -> None:
    found = diary(job, now=START, zone=UTC)
    assert found.next_coat.number == 1
    assert "nothing is in the diary yet" in found.text()
    assert not (job / LOG_NAME).exists()


def test_a_deed_is_a_line_and_the_first_begins_the_diary(job: Path) -> None:
    found = coat(job, 0)
    begun, first = lines(job)
    # hashlib stands for any tool that makes SHA-256 sums (FIPS 180-4); this scheme has line ends of one sign.
    assert begun["scheme_sha256"] == hashlib.sha256((job / "scheme.toml").read_bytes()).hexdigest()
    assert (begun["what"], begun["shop"], begun["scheme_from_log"]) == ("day-begun", {}, "scheme.toml")
    assert (first["what"], first["entry"], first["number"], first["about"]) == ("coat-done", 1, 1, "honey")
    assert first["time"] == "2026-05-04T12:00:00+00:00"
    assert [(entry.line, entry.words) for entry in found.entries] == [(2, "coat 1 of honey is on")]
    coat(job, 6)
    assert [line["what"] for line in lines(job)] == ["day-begun", "coat-done", "coat-done"]


def test_every_kind_of_deed_and_the_day_as_json(job: Path) -> None:
    deeds: list[tuple[str, dict[str, Any]]] = [
        ("batch", {"batch": "Honey", "poured": [{"name": "yellow", "amount": 1.4, "unit": "mL", "lot": "B12"}]}),
        ("drops", {"dye": "yellow", "drops": 43, "volume_mL": 1.0}),
        ("conditions", {"temperature_C": 21.5, "humidity": 0.45, "gun": "1.3 mm"}),
        ("coat-done", {}),
        ("film-read", {"readings_um": [38.0, 45.0, 41.0], "note": "left side thinner"}),
        ("photo", {"file": "photos/1.jpg", "of": "card"}),
        ("left", {"left_mL": 22.0}),
    ]
    found = all_said(job, deeds, now=START, zone=UTC)
    document = json.loads(found.json())
    assert [entry["words"] for entry in document["entries"]] == [
        "made honey: yellow 1.4 mL (bottle B12)",
        "43 drops of yellow made 1 mL",
        "21.5 °C, 45 % humidity, gun 1.3 mm",
        "coat 1 of honey is on",
        "wet film of coat 1 of honey: 38, 45, 41 um; note: left side thinner",
        "photo of a witness card after coat 1 of honey, photos/1.jpg: not read yet",
        "22 mL of honey left",
    ]
    assert document["now"] == "2026-05-04T12:00:00+00:00"
    assert document["timers"][0]["earliest"] == "2026-05-04T12:05:00+00:00"
    assert document["next_words"].startswith(
        "next coat from 12:05 (in 5 min), to be sure from 12:08: coat 2 of 4 of honey"
    )
    assert document["films"][0]["measured_um"]["basis"] == "measured (n = 3)"
    assert document["remaining"][0]["proposed_coats"] == 3
    assert {may["what"] for may in document["may_say"]} >= {"coat-done", "conditions", "drops"}
    assert all(caution["text"] for caution in document["cautions"])
    # The log tells the same words.
    told = log_text(job_log(job), UTC).splitlines()
    assert told[0] == "   1  2026-05-04 12:00  diary of scheme.toml begun"
    assert [line[24:] for line in told[1:]] == [e["words"] for e in document["entries"]]
    assert found.table()["line"].tolist() == [2, 3, 4, 5, 6, 7, 8]  # type: ignore[union-attr]


def test_all_of_a_row_of_deeds_or_nothing(job: Path) -> None:
    with pytest.raises(InputError, match="no such dye"):
        all_said(job, [("coat-done", {}), ("drops", {"dye": "yelow", "drops": 3, "volume_mL": 1.0})], now=START)
    assert not (job / LOG_NAME).exists()
    coat(job, 0)
    before = (job / LOG_NAME).read_bytes()
    with pytest.raises(InputError, match="no wet film of one sprayed coat"):
        all_said(job, [("coat-done", {"number": 2, "entry": 1}), ("film-read", {"readings_um": [900.0]})], now=at(9))
    assert (job / LOG_NAME).read_bytes() == before


def test_from_a_notebook(job: Path) -> None:
    coat(job, 0)
    assert lp.diary(str(job)).coats[0].name == "honey"


@pytest.mark.parametrize(
    ("what", "values", "told"),
    [
        ("polished", {}, "the diary has no such entry"),
        ("film-read", {"readings_um": [40.0]}, "say the coat first"),
        ("film-read", {"readings_um": [40.0], "entry": 1, "number": 1}, "is not in the diary"),
        ("coat-done", {"entry": 7}, r"no coats of this number; there are 1 \(honey\), 2 \(sea\), -1 \(two-pack\)"),
        ("coat-done", {"entry": 1, "number": "2"}, "number"),
        ("batch", {"batch": "hony"}, 'did you mean "honey"'),
        ("batch", {"batch": "honey", "poured": [{"name": "rad", "amount": 1.0, "unit": "mL"}]}, "part of this mix"),
        ("left", {"left_mL": 3.0}, "no batch is in use"),
        ("drops", {"dye": "red", "drops": 43, "volume_mL": 1.0}, "no such dye"),
        ("conditions", {"humidity": 45.0}, "1 or less"),
        ("coat-done", {"time": "2026-05-04T14:00"}, "zone.*say it again"),
        ("coat-done", {"note": "a\x1b[2J"}, "control signs"),
    ],
)
def test_what_cannot_be_is_refused_and_not_written(job: Path, what: str, values: dict[str, Any], told: str) -> None:
    with pytest.raises(InputError, match=told):
        said(job, what, values, START)
    assert not (job / LOG_NAME).exists()


# Said twice -----------------------------------------------------------------------------------------------------------


def test_a_known_id_changes_nothing(job: Path) -> None:
    first = coat(job, 0, id="phone-1")
    before = (job / LOG_NAME).read_bytes()
    again = coat(job, 9, id="phone-1")
    assert (job / LOG_NAME).read_bytes() == before
    assert again.coats == first.coats
    withdraw(job, now=at(10))
    assert coat(job, 11, id="phone-1").coats == ()  # what was taken back is not brought back by a late retry


def test_the_same_coat_of_another_phone_is_refused_unless_it_is_another(job: Path) -> None:
    coat(job, 5, entry=1, number=1)
    with pytest.raises(InputError, match=r'in the diary already, at 12:05; if this is another one, say "honey 2"'):
        coat(job, 7, entry=1, number=1)
    assert len(coat(job, 7, entry=1, number=2).coats) == 2


def test_the_next_coat_said_at_once_again_is_taken_for_the_same(job: Path) -> None:
    coat(job, 0)
    with pytest.raises(InputError, match=r'coat 1 of honey is in the diary at 12:00, too near.*"honey 2"'):
        coat(job, 4)  # its flash time is five minutes
    assert len(coat(job, 5).coats) == 2
    for minutes in (12, 19):
        coat(job, minutes)
    assert coat(job, 60).coats[-1].name == "sea"
    with pytest.raises(InputError, match="too near"):
        coat(job, 62)
    assert coat(job, 64).coats[-1].number == 2


def test_a_coat_told_late_says_which_it_was(job: Path) -> None:
    coat(job, 20)
    with pytest.raises(InputError, match=r"in the diary after that, at 12:20; say which coat"):
        coat(job, 30, time=at(2).isoformat())
    coat(job, 30, entry=1, number=2)
    withdraw(job, 2, now=at(31))
    late = coat(job, 32, entry=1, number=1, time=at(2).isoformat())
    assert [(c.number, c.time) for c in late.coats] == [(1, at(2)), (2, at(30))]
    assert late.notes == ()


def race(work: Callable[[int], object], count: int) -> list[object]:
    """What each of some threads came to that begin together: a result, or what was refused."""
    gate, found = threading.Barrier(count), [object()] * count

    def go(i: int) -> None:
        gate.wait()
        try:
            found[i] = work(i)
        except LayerPreviewError as error:
            found[i] = error

    threads = [threading.Thread(target=go, args=(i,)) for i in range(count)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return found


@pytest.mark.parametrize("values", [{}, {"entry": 1, "number": 1}])
def test_of_two_phones_at_the_same_moment_one_is_heard(job: Path, values: dict[str, Any]) -> None:
    found = race(lambda i: coat(job, 0.1 * i, **values), 4)
    assert sum(isinstance(one, Result) for one in found) == 1
    assert sum(isinstance(one, InputError) for one in found) == 3
    assert [line["what"] for line in lines(job)] == ["day-begun", "coat-done"]


def test_different_deeds_at_the_same_moment_are_all_heard(job: Path) -> None:
    coat(job, 0)
    found = race(lambda i: said(job, "film-read", {"readings_um": [40.0 + i]}, at(1)), 5)
    assert all(isinstance(one, Result) for one in found)
    assert sorted(line["readings_um"][0] for line in lines(job)[2:]) == [40.0, 41.0, 42.0, 43.0, 44.0]


def test_one_deed_sent_by_many_at_once_is_one_line(job: Path) -> None:
    found = race(lambda _: coat(job, 0, id="phone-1"), 5)
    assert all(isinstance(one, Result) for one in found)
    assert [line["what"] for line in lines(job)] == ["day-begun", "coat-done"]


ANOTHER = """
import sys
from datetime import datetime
from pathlib import Path
from layerpreview.errors import InputError
from layerpreview.workflows.diary import said
sys.stdin.readline()
try:
    said(Path(sys.argv[1]), "coat-done", {"entry": 1, "number": 1}, datetime.fromisoformat("2026-05-04T12:01:00+00:00"))
    print("written")
except InputError as error:
    print("refused", error)
"""


def test_another_process_waits_and_sees_what_was_written(job: Path) -> None:
    with subprocess.Popen(
        [sys.executable, "-c", ANOTHER, str(job)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as other:
        with locked(job / LOG_NAME) as held:
            assert other.stdin is not None
            other.stdin.write("go\n")
            other.stdin.flush()
            entry = {"what": "coat-done", "id": "x", "time": at(0).isoformat(), "entry": 1, "number": 1}
            with held.recorded(entry):
                pass
        out = other.communicate(timeout=60)[0]
    assert out.startswith("refused")
    assert [line["what"] for line in lines(job)] == ["coat-done"]


# Torn, withdrawn, changed ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("torn", [b'{"what": "coat-done", "entry": 1, "num', b'{"what": "coat-d\0\0\0\0', b'{"'])
def test_a_line_torn_by_a_crash_spoils_nothing(job: Path, torn: bytes) -> None:
    coat(job, 0)
    with (job / LOG_NAME).open("ab") as file:
        file.write(torn)
    assert any("line 3 of the log is torn" in note for note in diary(job, now=at(1)).notes)
    found = coat(job, 6)
    assert [(c.number, c.line) for c in found.coats] == [(1, 2), (2, 4)]
    assert read_lines(job / LOG_NAME).torn_lines == (3,)


def test_a_spoilt_line_is_told_with_its_number(job: Path) -> None:
    coat(job, 0)
    with (job / LOG_NAME).open("ab") as file:
        file.write(b'{"what": "coat-done", "id": "x", "time": "noon", "entry": 1, "number": 2}\n')
    with pytest.raises(InputError, match=":3: time = "):
        diary(job, now=at(1))


def test_a_slip_is_withdrawn_by_a_further_line(job: Path) -> None:
    for minutes in (0, 6):
        coat(job, minutes)
    said(job, "film-read", {"readings_um": [90.0]}, at(7))
    before = (job / LOG_NAME).read_bytes()
    gone, day = withdraw(job, now=at(8), zone=UTC)
    assert (gone, day.films) == (4, ())
    assert (job / LOG_NAME).read_bytes().startswith(before)
    assert lines(job)[-1] == {"what": "withdrawn", "line": 4, "time": "2026-05-04T12:08:00+00:00"}
    assert "withdrawn: wet film of coat 2 of honey" in day.text()
    assert [entry.withdrawn for entry in day.entries] == [False, False, True]
    gone, day = withdraw(job, 3, now=at(9))
    assert (gone, [c.number for c in day.coats]) == (3, [1])
    for line, told in ((3, "withdrawn already"), (1, "no entry of this number"), (5, "no entry"), (40, "no entry")):
        with pytest.raises(InputError, match=told):
            withdraw(job, line, now=at(9))
    assert coat(job, 10, entry=1, number=2).coats[-1].time == at(10)


def test_only_the_diary_s_own_lines_are_withdrawn_here(job: Path) -> None:
    coat(job, 0)
    with (job / LOG_NAME).open("ab") as file:
        file.write(b'{"what": "agreed", "time": "2026-05-04T12:03:00+00:00"}\n')
    assert withdraw(job, now=at(5))[0] == 2
    with pytest.raises(InputError, match="no entry is left"):
        withdraw(job, now=at(5))


def test_nothing_is_withdrawn_from_a_log_that_cannot_be_told(job: Path) -> None:
    coat(job, 0)
    with (job / LOG_NAME).open("ab") as file:
        file.write(b'{"what": "coat-done", "id": "x", "time": "2026-05-04T12:03:00+00:00", "entry": 1, "number": 0}\n')
    before = (job / LOG_NAME).read_bytes()
    with pytest.raises(InputError, match="mend this line of the log"):
        withdraw(job, 2, now=at(5))
    assert (job / LOG_NAME).read_bytes() == before


def test_a_scheme_that_was_changed_is_told(job: Path) -> None:
    assert not any("was changed" in note for note in coat(job, 0).notes)
    scheme = job / "scheme.toml"
    scheme.write_text(TEXT.replace("coats = 4", "coats = 5"), "utf-8")
    found = diary(job, now=at(1))
    assert any("scheme.toml was changed since this diary was begun" in note for note in found.notes)
    assert found.next_coat.of == 5
    (job / "scheme.agreed.toml").write_text(TEXT, "utf-8")
    assert any("scheme.agreed.toml" in note for note in diary(job, now=at(1)).notes)


def test_a_diary_may_be_begun_anew(job: Path) -> None:
    """After a scheme was changed on purpose: its first line is withdrawn, and the next deed begins it again."""
    coat(job, 0)
    (job / "scheme.toml").write_text(TEXT.replace("coats = 4", "coats = 5"), "utf-8")
    withdraw_entry(job / LOG_NAME, 1, now=at(1))
    assert not any("was changed" in note for note in coat(job, 6).notes)
    assert [line["what"] for line in lines(job)] == ["day-begun", "coat-done", "withdrawn", "day-begun", "coat-done"]


def test_parts_go_by_their_names_on_the_mix_sheet(job: Path) -> None:
    """The sheet says "clear basecoat" and "reducer": so does whoever poured them, and a reducer is no red."""
    path = job / "scheme.toml"
    named = 'carrier = "clear basecoat"\nratio = "1:1 base:reducer"\n'
    path.write_text(TEXT.replace("[mix.sea]", f"{named}[mix.sea]", 1), "utf-8")
    names = ("yellow", "Clear basecoat", "reducer")
    parts = [{"name": name, "amount": mL, "unit": "mL"} for name, mL in zip(names, (1.2, 49.4, 49.4), strict=True)]
    said(job, "batch", {"batch": "honey", "poured": parts}, at(0))
    with pytest.raises(InputError, match="no such dye or part") as found:
        said(job, "batch", {"batch": "honey", "poured": [{"name": "water", "amount": 1.0, "unit": "mL"}]}, at(1))
    assert "clear basecoat, base, reducer, carrier" in str(found.value)


def test_a_coat_that_is_to_be_laid_otherwise_says_so(job: Path) -> None:
    """A thick first coat: the next ones are asked for in another film, which the log keeps for whoever learns of it."""
    (job / "scheme.toml").write_text(TEXT.replace('"40 um"', '"medium"'), "utf-8")
    coat(job, 0)
    said(job, "film-read", {"readings_um": [60.0, 61.0, 62.0]}, at(1))
    asked = diary(job, now=at(7)).next_coat.film_word
    assert "of honey, light, about 30 um" in diary(job, now=at(7)).text()
    assert asked == "light"  # a wet one of this hand, 99 um, would end nearest, and run
    found = coat(job, 10, entry=1, number=2)
    assert [line.get("asked") for line in lines(job) if line["what"] == "coat-done"] == [None, asked]
    assert found.entries[-1].words == f"coat 2 of honey is on, asked for as a {asked} one"


def test_a_shop_in_inches_reads_its_own_units(job: Path) -> None:
    """Mil, degrees Fahrenheit and fluid ounces; factors of NIST Handbook 44, appendix C."""
    (job / "scheme.toml").write_text(f'{TEXT}[shop]\nunits = "US"\n', "utf-8")
    said(job, "batch", {"batch": "honey"}, at(0))
    said(job, "conditions", {"temperature_C": 21.11}, at(0))
    coat(job, 1)
    said(job, "film-read", {"readings_um": [2.5 * 25.4, 63.5, 60.96]}, at(1))
    told = said(job, "left", {"batch": "honey", "left_mL": 29.5735}, at(2), zone=UTC).text()
    for words in ("2.5, 2.5, 2.4 mil", "70 °F", "1 fl oz = 29.6 mL of honey left", "planned 1.6 mil", " mil each)"):
        assert words in told
    assert "2.5, 2.5, 2.4 mil" in log_text(job_log(job))
    assert " um" not in told
    assert "°C" not in told


def test_when_the_last_coat_is_dry(job: Path) -> None:
    text = TEXT.replace('ratio = "2:1 clear:hardener"', 'ratio = "2:1 clear:hardener"\ncoats = 1\ndry = "12 to 24 h"')
    (job / "scheme.toml").write_text(text, "utf-8")
    coat(job, 0, entry=CLEAR_COAT)
    found = diary(job, now=at(5), zone=UTC)
    assert "from 2026-05-05 00:00, to be sure from 2026-05-05 12:00" in found.text()
    assert "is dry since 12:00 by its sheet" in diary(job, now=at(25 * 60), zone=UTC).text()


def test_what_is_left_is_of_the_batch_in_use(job: Path) -> None:
    said(job, "batch", {"batch": "honey"}, at(0))
    said(job, "left", {"left_mL": 5.0}, at(30))
    with pytest.raises(InputError, match="no batch is in use"):
        said(job, "left", {"left_mL": 4.0}, at(31))
    said(job, "batch", {"batch": "honey"}, at(40))
    assert said(job, "left", {"left_mL": 4.0}, at(70)).entries[-1].words == "4 mL of honey left"
    said(job, "batch", {"batch": "honey"}, at(80))
    said(job, "batch", {"batch": "sea"}, at(81))
    with pytest.raises(InputError, match="several batches are in use; say which: honey, sea"):
        said(job, "left", {"left_mL": 4.0}, at(90))


def test_line_ends_of_another_system_are_no_change(job: Path) -> None:
    coat(job, 0)
    (job / "scheme.toml").write_bytes(TEXT.replace("\n", "\r\n").encode())
    assert not any("was changed" in note for note in diary(job, now=at(1)).notes)


# Which job ------------------------------------------------------------------------------------------------------------


def test_two_schemes_share_a_log_and_not_a_diary(job: Path) -> None:
    (job / "pale.toml").write_text(TEXT, "utf-8")
    coat(job, 0)
    other = said(job / "pale.toml", "coat-done", {}, at(1), zone=UTC)
    assert [c.number for c in other.coats] == [1]
    assert [e.line for e in other.entries] == [4]
    assert [e.line for e in diary(job, now=at(1)).entries] == [2]
    assert withdraw(job, now=at(2))[0] == 2


def test_a_job_that_was_moved_keeps_its_diary(job: Path, tmp_path: Path) -> None:
    coat(job, 0)
    moved = tmp_path / "moved"
    moved.mkdir()
    for name in ("scheme.toml", LOG_NAME):
        (job / name).rename(moved / name)
    assert len(diary(moved, now=at(1)).coats) == 1


def test_a_folder_with_one_scheme_of_any_name(tmp_path: Path) -> None:
    (tmp_path / "shell.toml").write_text(TEXT, "utf-8")
    (tmp_path / "amber.dye.toml").write_text("layerpreview_dye = 1\n", "utf-8")
    (tmp_path / "shop.toml").write_text("layerpreview_shop = 1\n", "utf-8")
    scheme, log, held = scheme_and_log(tmp_path)
    assert (scheme.file.name, log, held.entries) == ("shell.toml", tmp_path / LOG_NAME, ())
    (tmp_path / "other.toml").write_text(TEXT, "utf-8")
    with pytest.raises(InputError, match=r"several schemes.*other\.toml, shell\.toml"):
        scheme_and_log(tmp_path)


def test_no_scheme_and_no_job(tmp_path: Path, job: Path) -> None:
    (tmp_path / "empty").mkdir()
    with pytest.raises(InputError, match="no scheme is in this folder"):
        diary(tmp_path / "empty")
    with pytest.raises(InputError):
        diary(tmp_path / "nowhere")
    coat(job, 0)
    with pytest.raises(InputError, match="this is a log"):
        diary(job / LOG_NAME)


# Clocks ---------------------------------------------------------------------------------------------------------------


def test_phones_of_two_zones_tell_one_time(job: Path) -> None:
    east = timezone(timedelta(hours=9))
    coat(job, 0, time="2026-05-04T21:00:00+09:00")
    found = diary(job, now=at(2).astimezone(east), zone=east)
    assert found.coats[0].time == START
    assert "next coat from 21:05 (in 3 min)" in found.line
    assert lines(job)[1]["time"] == "2026-05-04T12:00:00+00:00"


def test_the_night_the_clocks_change(job: Path) -> None:
    """The last coat before and the first after 01:00 UTC on 29 March 2026 (Directive 2000/84/EC): 1:50 and 3:10."""
    try:
        zone = ZoneInfo("Europe/Berlin")
    except ZoneInfoNotFoundError:
        pytest.skip("no time zones on this machine")
    change = datetime(2026, 3, 29, 1, 0, tzinfo=UTC)
    said(job, "coat-done", {}, change - timedelta(minutes=10))
    before = diary(job, now=change - timedelta(minutes=9), zone=zone)
    assert "next coat from 01:55 (in 4 min), to be sure from 01:58" in before.line
    found = said(job, "coat-done", {}, change + timedelta(minutes=10), zone=zone)
    assert "01:50 (+01:00)  coat 1 of honey is on" in found.text()
    assert "03:10 (+02:00)  coat 2 of honey is on" in found.text()
    assert "next coat from 03:15 (+02:00) (in 5 min)" in found.line
    assert found.coats[1].time - found.coats[0].time == timedelta(minutes=20)


def test_a_clock_set_back_an_hour(job: Path) -> None:
    for minutes in (0, 6, 12):
        coat(job, minutes)
    found = coat(job, -42)  # eighteen minutes past eleven, by a clock that was set back
    assert [c.number for c in found.coats] == [1, 2, 3, 4]
    assert any("was a clock set back" in note for note in found.notes)
    # The next stage waits for nothing that is stated, and no time is told from the wrong clock.
    assert found.next_coat.entry == 2
    assert found.stage.kind == "mix"
