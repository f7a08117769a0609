"""The page of the day: exists for a thing that is said twice, at the wrong time, or to another job."""

from __future__ import annotations

import errno
import io
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from layerpreview.desk import day
from layerpreview.desk.desk import Desk, OtherJobError
from layerpreview.desk.photos import shown_photo
from layerpreview.errors import InputError, OutputError


def told(desk: Desk) -> dict[str, Any]:
    status, found = day.GET["day"](desk, {})
    assert status == 200
    return dict(found)


def say(desk: Desk, what: str, values: dict[str, Any], **more: Any) -> dict[str, Any]:
    status, found = day.POST["said"](desk, {}, {"what": what, "values": values, **more})
    assert status == 200
    return dict(found)


def test_what_is_said_again_counts_once_and_has_the_time_it_was_done(desk: Desk) -> None:
    """A phone without a network says it later, and once more because no answer came."""
    coat = {"entry": 1, "number": 1, "id": "abc"}
    before = datetime.now(UTC)
    for ago_s in (600.0, 900.0):
        found = say(desk, "coat-done", coat, ago_s=ago_s)
    (entry,) = found["entries"]
    assert entry["words"] == "coat 1 of honey is on"
    assert 595 <= (before - datetime.fromisoformat(entry["time"])).total_seconds() <= 605
    assert found["units"] == "metric"
    assert found["opening"] == desk.job().opening


def test_a_line_is_withdrawn_by_another(desk: Desk, folder: Path) -> None:
    line = say(desk, "coat-done", {"entry": 1, "number": 1})["entries"][0]["line"]
    held = (folder / "job-log.jsonl").read_bytes()
    status, found = day.POST["withdraw"](desk, {}, {"line": line})
    assert (status, found["coats"], found["entries"][0]["withdrawn"]) == (200, [], True)
    assert (folder / "job-log.jsonl").read_bytes().startswith(held)


@pytest.mark.parametrize(
    "body",
    [
        {"what": "board", "values": {}},
        {"what": "coat-done", "values": [1]},
        {"what": "coat-done", "values": {"what": "board", "entry": 1, "number": 99}},
        {"what": "coat-done", "values": {"entry": 1, "number": 99}},
        {"what": "coat-done", "values": {"entry": 1, "number": 1}, "ago_s": -5},
        {"what": "coat-done", "values": {"entry": 1, "number": 1}, "ago_s": 1e9},
        {"what": "film-read", "values": {"entry": 1, "number": 1, "readings_um": []}},
    ],
)
def test_what_is_no_deed_is_refused_and_writes_nothing(desk: Desk, folder: Path, body: dict[str, Any]) -> None:
    with pytest.raises(InputError):
        day.POST["said"](desk, {}, body)
    assert not (folder / "job-log.jsonl").exists()


def test_what_is_meant_for_another_job_is_refused(desk: Desk) -> None:
    with pytest.raises(OtherJobError):
        day.POST["said"](desk, {}, {"what": "coat-done", "values": {}, "opening": "other"})


def test_batches_are_poured_from_what_the_sheet_says(desk: Desk) -> None:
    status, found = day.GET["batches"](desk, {})
    assert status == 200
    honey = next(one for one in found["batches"] if one["title"] == "honey")
    assert [part["name"] for part in honey["parts"]][:2] == ["yellow", "blue"]
    assert all(part["planned"].endswith(part["unit"]) for part in honey["parts"])


def test_photos_of_another_job_in_the_folder_are_not_shown(desk: Desk, folder: Path) -> None:
    photo(desk)
    log = folder / "job-log.jsonl"
    log.write_text(log.read_text("utf-8").replace('"scheme_from_log": "scheme', '"scheme_from_log": "pale'), "utf-8")
    assert told(desk)["photos"] == []


def test_a_photo_that_cannot_be_written_leaves_no_empty_file(
    desk: Desk, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    data = io.BytesIO()
    Image.new("RGB", (8, 8)).save(data, "PNG")
    monkeypatch.setattr("layerpreview.output.photo_copy.write_photo_copy", full)
    with pytest.raises(OutputError, match="No space left"):
        day.keep_photo(desk, data.getvalue(), {"name": "a.png"}, source="phone")
    assert list((folder / "photos").iterdir()) == []


def photo(desk: Desk, **more: Any) -> dict[str, Any]:
    out = io.BytesIO()
    Image.new("RGB", (400, 300), (120, 30, 30)).save(out, "JPEG")
    status, kept = day.keep_photo(desk, out.getvalue(), {"name": "a.jpg"}, source="phone")
    assert status == 200
    asked = {"file": kept["file"], "card": [0.2, 0.3], "spots": [[0.7, 0.6]], "entry": 1, "number": 1, **more}
    status, found = day.POST["day-photo"](desk, {}, asked)
    assert status == 200
    return dict(found)


def test_a_photo_without_a_white_card_is_kept_and_says_why_it_is_not_judged(desk: Desk) -> None:
    say(desk, "coat-done", {"entry": 1, "number": 1})
    found = photo(desk)
    assert (found["judged"], found["logged"]) == (False, False)
    assert found["lines"][0].startswith("this photo cannot be judged: ")
    assert not any("--" in line for line in found["lines"])
    (shown,) = told(desk)["photos"]
    assert shown["address"] == "/day-photo/photo_1.jpg"


@pytest.mark.parametrize(
    "wrong",
    [
        {"card": [0.2]},
        {"card": [0.2, 1.5]},
        {"spots": []},
        {"spots": [[0.1, "x"]]},
        {"of": "cat"},
        {"entry": 1.5},
        {"file": "photos/none.jpg"},
        {"file": "../scheme.toml"},
        {"white_reflectance": -1},
    ],
)
def test_touches_that_are_none_are_refused(desk: Desk, wrong: dict[str, Any]) -> None:
    say(desk, "coat-done", {"entry": 1, "number": 1})
    with pytest.raises(InputError):
        photo(desk, **wrong)


@pytest.mark.parametrize("name", ["x" * 5000 + ".jpg", "a\0b.jpg", "\ud800.jpg", "../scheme.jpg"])
def test_no_name_is_too_odd_for_there_is_no_such_photo(folder: Path, name: str) -> None:
    assert shown_photo(folder, name) is None
