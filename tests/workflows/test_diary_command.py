"""The diary as it is typed: exists for an amount read in another unit, half of a line written, a bell that rings
twice or never, and a refusal that does not say what to write instead."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from layerpreview.cli import watch
from layerpreview.errors import InputError
from layerpreview.job.booth import Booth
from layerpreview.output.joblog import LOG_NAME
from layerpreview.units import UnitError
from layerpreview.workflows.diary import booth_for, said
from layerpreview.workflows.diary_said import (
    Typed,
    coat_typed,
    deeds_typed,
    drops_typed,
    line_typed,
    poured_typed,
    temperature_typed,
    wet_typed,
)

from ..schemes import DYES, GUN, HEAD, HONEY, MIXES, PANEL, SILVER

Run = Callable[..., tuple[int, str, str]]
START = datetime(2026, 5, 4, 12, 0, tzinfo=UTC)
SEA = '[[coat]]\nmix = "sea"\ncoats = 2\nfilm = "30 um"\n'
BASE = SILVER + '[base.coat]\nname = "silver"\ncoats = 2\n'
TEXT = (
    HEAD
    + PANEL
    + BASE
    + DYES
    + MIXES.replace('solids = "20 %"\n', 'flash = "5 to 8 min"\n')
    + HONEY
    + SEA
    + SEA
    + '[clear]\nname = "two-pack"\npot_life = "2 h"\nratio = "2:1 clear:hardener"\n'
    + GUN
)


@pytest.fixture
def job(tmp_path: Path) -> Path:
    (tmp_path / "scheme.toml").write_text(TEXT, "utf-8")
    return tmp_path


@pytest.fixture(scope="module")
def booth(tmp_path_factory: pytest.TempPathFactory) -> Booth:
    path = tmp_path_factory.mktemp("job") / "scheme.toml"
    path.write_text(TEXT, "utf-8")
    return booth_for(path)


# What is typed --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "readings_um"),
    [
        ("38, 45, 41 um", [38.0, 45.0, 41.0]),
        ("38 45 41 µm", [38.0, 45.0, 41.0]),
        ("38um;45um", [38.0, 45.0]),
        # 1 mil is a thousandth of an inch, 25.4 mm exactly (NIST SP 811, appendix B).
        ("1.5, 2 mil", [38.1, 50.8]),
        ("1,5; 2 mil", [38.1, 50.8]),
        ("2 mil, 50 um", [50.8, 50.0]),
        ("40 microns", [40.0]),
    ],
)
def test_gauge_readings(text: str, readings_um: list[float]) -> None:
    assert wet_typed(text) == pytest.approx(readings_um)


@pytest.mark.parametrize("text", ["38, 45", "", "wet", "38, -45 um", "38 mL", "38,45,41 um"])
def test_gauge_readings_that_are_none(text: str) -> None:
    with pytest.raises((InputError, UnitError)):
        wet_typed(text)


def test_poured() -> None:
    found = poured_typed("amber 1,4 mL, red 12 20 drops; Powder Blue 0.3 g, carrier 2 fl oz", {"amber": "B12"})
    assert found == [
        {"name": "amber", "amount": 1.4, "unit": "mL", "lot": "B12"},
        {"name": "red 12", "amount": 20.0, "unit": "drops", "lot": ""},
        {"name": "Powder Blue", "amount": 0.3, "unit": "g", "lot": ""},
        # US fluid ounce, 29.57353 mL (NIST SP 811, appendix B)
        {"name": "carrier", "amount": pytest.approx(59.14706), "unit": "mL", "lot": ""},
    ]


@pytest.mark.parametrize("text", ["amber", "amber 1.4", "1.4 mL", "amber 3 oz", "amber 2 mm", ""])
def test_poured_that_is_no_amount(text: str) -> None:
    with pytest.raises((InputError, UnitError)):
        poured_typed(text)


def test_a_bottle_that_was_not_poured() -> None:
    with pytest.raises(InputError, match="was not poured"):
        poured_typed("amber 1 mL", {"red": "B1"})


def test_drops() -> None:
    assert drops_typed("deep red: 43 drops = 1 mL") == {"dye": "deep red", "drops": 43, "volume_mL": 1.0}
    assert drops_typed("amber 1 drop 0,02 mL")["volume_mL"] == 0.02
    for text in ("amber 43 = 1 mL", "43 drops = 1 mL", "amber 43 drops"):
        with pytest.raises(InputError):
            drops_typed(text)


def test_temperatures() -> None:
    """The fixed points of both scales: water freezes at 32 F and boils at 212 F (by their definition)."""
    assert [temperature_typed(text) for text in ("32 F", "212°F", "70 f")] == pytest.approx([0.0, 100.0, 21.11])
    assert [temperature_typed(text) for text in ("21 C", "21,5 °C", "-3 deg C")] == [21.0, 21.5, -3.0]
    for text in ("21", "21 K", "warm"):
        with pytest.raises(InputError, match="temperature with its unit"):
            temperature_typed(text)


@pytest.mark.parametrize(
    ("text", "values"),
    [
        ("next", {}),
        ("Honey", {"entry": 1}),
        ("honey 2", {"entry": 1, "number": 2}),
        ("honey coat 2", {"entry": 1, "number": 2}),
        ("sea (no. 3)", {"entry": 3}),
        ("sea (no. 3) 2", {"entry": 3, "number": 2}),
        ("3", {"entry": 3}),
        ("no. 3 2", {"entry": 3, "number": 2}),
        ("base 1", {"entry": 0, "number": 1}),
        ("silver", {"entry": 0}),
        ("clear", {"entry": -1}),
        ("two-pack 3", {"entry": -1, "number": 3}),
    ],
)
def test_which_coat(booth: Booth, text: str, values: dict[str, int]) -> None:
    assert coat_typed(text, booth) == values


@pytest.mark.parametrize("text", ["sea", "hony", "7", "honey two"])
def test_a_coat_that_is_not_there_or_could_be_two(booth: Booth, text: str) -> None:
    with pytest.raises(InputError, match=r'no such coat.*"honey", "sea \(no. 2\)", "sea \(no. 3\)"'):
        coat_typed(text, booth)


def test_a_line() -> None:
    assert (line_typed("last"), line_typed(" 12 ")) == (None, 12)
    with pytest.raises(InputError, match="a line's number or last"):
        line_typed("the first")


def deeds(booth: Booth, **typed: Any) -> list[Any]:
    return deeds_typed(Typed(**typed), booth, now=START, zone=UTC)


def test_deeds_in_the_order_they_are_done(booth: Booth) -> None:
    found = deeds(
        booth, batch="honey", poured="yellow 1 mL", lot=("yellow B12",), coat="honey 1", wet="40 um", gun="1.3 mm",
        drops="yellow 43 drops = 1 mL", at="11:50", note="warm",
    )  # fmt: skip
    assert [what for what, _ in found] == ["batch", "drops", "conditions", "coat-done", "film-read"]
    assert {values["time"] for _, values in found} == {"2026-05-04T11:50:00+00:00"}
    assert {values["note"] for _, values in found} == {"warm"}
    assert found[0][1]["poured"][0]["lot"] == "B12"
    assert (found[4][1]["entry"], found[4][1]["number"]) == (1, 1)


def test_a_batch_that_is_named_for_what_is_left_is_not_made_again(booth: Booth) -> None:
    ((what, values),) = deeds(booth, batch="honey", left="22 mL")
    assert (what, values["batch"], values["left_mL"]) == ("left", "honey", 22.0)


def test_a_remark_alone_is_kept(booth: Booth) -> None:
    ((what, values),) = deeds(booth, note="dusty")
    assert (what, values["note"]) == ("conditions", "dusty")


def test_all_that_is_wrong_is_told_at_once(booth: Booth) -> None:
    with pytest.raises(InputError) as caught:
        deeds(booth, coat="hony", wet="40", temperature="21", humidity="45", at="25:00", lot=("B12",), card="a.csv")
    fields = [problem.field for problem in caught.value.problems]
    assert fields == ["--at", "--lot", "--temperature", "--humidity", "--coat", "--wet", "--lot", "--card"]


# The command ----------------------------------------------------------------------------------------------------------


def test_a_day_from_the_shell_s_side(run: Run, job: Path) -> None:
    code, out, err = run("diary", job)
    assert (code, err) == (0, f"Next: when it is made: layerpreview diary {job} --batch silver\n")
    assert "NEXT COAT: coat 1 of 2 of silver, medium" in out
    assert "safety data sheet" in out
    code, out, err = run("diary", job, "--coat", "honey", "--wet", "60, 62, 61 um", "--note", "first")
    assert code == 0, err
    assert err.splitlines()[:2] == [
        "Wrote line 2: coat 1 of honey is on; note: first",
        "Wrote line 3: wet film of coat 1 of honey: 60, 62, 61 um; note: first",
    ]
    assert re.search(r"NEXT COAT from (\d{4}-\d{2}-\d{2} )?\d{2}:\d{2}.* \(in 5 min\)", out)
    assert "wet film of honey: 61 um a coat" in out
    assert "n = 3), 1 coat), planned 40 um" in out
    code, out, err = run("diary", job, "--withdraw", "last", "--json")
    assert code == 0
    assert json.loads(out)["films"] == []
    assert err.startswith("Withdrew line 3 of the diary\nNext: ")
    code, out, err = run("log", job)
    assert "coat 1 of honey is on; note: first" in out


def test_what_is_wrong_is_one_line_each_and_nothing_is_written(run: Run, job: Path) -> None:
    code, out, err = run("diary", job, "--coat", "honey", "--wet", "60")
    assert (code, out) == (2, "")
    assert err.startswith("error: --wet = 60: readings with their unit are wanted; write for example")
    assert not (job / LOG_NAME).exists()
    assert run("diary", job, "--coat", "honey")[0] == 0
    code, out, err = run("diary", job, "--coat", "honey 1")
    assert (code, out) == (2, "")
    assert "is in the diary already" in err
    before = (job / LOG_NAME).read_bytes()
    code, _, err = run("diary", job, "--withdraw", "last", "--coat", "honey 2")
    assert (code, err.startswith("error: --withdraw = last: one thing at a time")) == (2, True)
    assert (job / LOG_NAME).read_bytes() == before


def test_watching_is_asked_for(run: Run, job: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    watched: list[Path] = []
    monkeypatch.setattr(watch, "watch_job", watched.append)
    assert run("diary", job, "--watch")[0] == 0
    assert watched == [job]


class Hours:
    """A clock that goes on by so much with every sleep, and is interrupted in the end, as by Ctrl-C."""

    def __init__(self, step: timedelta, ticks: int, at: dict[int, Callable[[], object]] | None = None) -> None:
        self.now, self.step, self.left, self.at, self.tick = START, step, ticks, at or {}, 0

    def clock(self) -> datetime:
        return self.now

    def sleep(self, _: float) -> None:
        if self.left == 0:
            raise KeyboardInterrupt
        self.left, self.tick, self.now = self.left - 1, self.tick + 1, self.now + self.step
        if self.tick in self.at:
            self.at[self.tick]()


def rung(err: str) -> list[str]:
    return [line.removeprefix("\a") for line in err.splitlines() if line.startswith("\a")]


def test_the_bell_rings_once_for_each_time(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    said(job, "coat-done", {"entry": 1, "number": 1}, START)
    said(job, "batch", {"batch": "two-pack"}, START)
    hours = Hours(timedelta(seconds=30), ticks=300)
    watch.watch_job(job, clock=hours.clock, sleep=hours.sleep)
    out, err = capsys.readouterr()
    assert rung(err) == [
        "flash time of coat 1 of honey is over",
        "for sure now: flash time of coat 1 of honey is over",
        "three quarters of the pot life of two-pack are gone",
        "the pot life of two-pack is over: do not spray it any more unless its sheet says so",
    ]
    assert out.count("POT LIFE OVER: two-pack") == 1
    assert err.rstrip().endswith("No longer watching; the diary stands as it was written")


def test_the_countdown_is_written_over_where_somebody_looks(
    job: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    said(job, "coat-done", {"entry": 1, "number": 1}, START)
    monkeypatch.setattr("sys.stderr.isatty", lambda: True)
    hours = Hours(timedelta(seconds=100), ticks=3)
    watch.watch_job(job, clock=hours.clock, sleep=hours.sleep)
    shown = [line.split("  ")[0] for line in capsys.readouterr().err.split("\r")[1:]]
    assert shown[:3] == ["5:00", "3:20", "1:40"]
    assert shown[3].startswith("NEXT COAT")


def test_what_another_phone_says_is_shown_and_rings(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    hours = Hours(timedelta(minutes=1), ticks=20)
    hours.at = {2: lambda: said(job, "coat-done", {"entry": 1, "number": 1}, hours.now)}
    watch.watch_job(job, clock=hours.clock, sleep=hours.sleep)
    out, err = capsys.readouterr()
    assert "coat 1 of honey is on" in out
    assert len(rung(err)) == 2


def test_times_that_were_over_before_do_not_ring(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    said(job, "coat-done", {"entry": 1, "number": 1}, START - timedelta(hours=1))
    hours = Hours(timedelta(minutes=1), ticks=3)
    hours.at = {2: lambda: said(job, "batch", {"batch": "two-pack"}, START - timedelta(hours=9))}
    watch.watch_job(job, clock=hours.clock, sleep=hours.sleep)
    assert rung(capsys.readouterr().err) == []
