"""Earlier work at the desk: exists for a record that is taken unchecked, a remake that lands on another job, and a book
that is not of this folder."""

from __future__ import annotations

import shutil
import time
from pathlib import Path
from typing import Any

import pytest

from layerpreview.desk import asked_shelf as shelf
from layerpreview.desk.asked_begin import take_upload
from layerpreview.desk.desk import Desk
from layerpreview.errors import InputError
from layerpreview.output.record_file import open_record
from layerpreview.scheme import load_scheme

from ..schemes import HONEY, WHITE, bare_scheme

RECORD = Path(__file__).parents[1] / "reference" / "record_v1.record.zip"
SLOW_S = 60.0


@pytest.fixture
def empty_desk(tmp_path: Path) -> Any:
    """A desk without a job, in a folder of its own."""
    found = Desk(None, tmp_path)
    yield found
    found.close()


def given(desk: Desk, what: str, name: str, data: bytes) -> str:
    status, told = take_upload(desk, what, {"name": name}, data)
    assert status == 200
    return str(told["id"])


def ended(desk: Desk, task: dict[str, Any]) -> dict[str, Any]:
    until = time.monotonic() + SLOW_S
    while task["state"] in ("waiting", "running"):
        assert time.monotonic() < until
        time.sleep(0.02)
        task = shelf.GET["task"](desk, {"id": task["id"]})[1]
    return task


def test_a_colour_is_made_again_as_a_job_of_its_own(empty_desk: Desk, tmp_path: Path) -> None:
    record = given(empty_desk, "record", "panel.record.zip", RECORD.read_bytes())
    status, told = shelf.POST["record"](empty_desk, {}, {"record": record})
    held = open_record(RECORD)
    assert (status, told["name"]) == (200, held.name)
    assert told["dyes"] == list(dict.fromkeys(dye for mix in held.mixes for dye in mix.strengths_as_made))
    (tmp_path / "panel_again").mkdir()
    status, task = shelf.POST["remake"](empty_desk, {}, {"record": record, "dyes": {}})
    assert status == 202
    task = ended(empty_desk, task)
    assert task["state"] == "done", task["problems"]
    made = task["result"]
    assert made["folder"] == "panel_again_2"
    assert made["same"] is True
    assert load_scheme(tmp_path / made["folder"] / "scheme.toml").name
    assert not any("--" in line for line in made["lines"])
    picture = shelf.remade_picture(empty_desk, made["folder"])
    assert picture is not None
    assert picture.startswith(b"\xff\xd8")


def test_a_record_that_is_not_whole_is_told_before_anything_is_worked_out(empty_desk: Desk) -> None:
    data = bytearray(RECORD.read_bytes())
    data[len(data) // 3] ^= 0x55
    with pytest.raises(InputError):
        shelf.POST["record"](empty_desk, {}, {"record": given(empty_desk, "record", "a.record.zip", bytes(data))})
    with pytest.raises(InputError):
        shelf.POST["record"](empty_desk, {}, {"record": "../../etc/passwd"})


@pytest.mark.parametrize(
    "body", [{"dyes": []}, {"dyes": {"amber": "none"}}, {"dyes": {}, "more": "x"}, {"dyes": {}, "today": "../x"}]
)
def test_what_is_no_question_is_refused(empty_desk: Desk, body: dict[str, Any]) -> None:
    record = given(empty_desk, "record", "panel.record.zip", RECORD.read_bytes())
    with pytest.raises(InputError):
        shelf.POST["remake"](empty_desk, {}, {"record": record, **body})


def test_the_book_is_of_the_jobs_of_this_folder(desk: Desk, folder: Path) -> None:
    desk.home = folder.parent
    (folder / "scheme.toml").write_text(bare_scheme(WHITE, coats=HONEY), encoding="utf-8")
    shutil.copytree(folder, folder.parent / "fiddle")
    assert shelf.shown_book(desk) is None
    task = ended(desk, shelf.POST["book"](desk, {}, {})[1])
    assert task["state"] == "done", task["problems"]
    assert task["result"]["jobs"] == 2
    book = shelf.shown_book(desk)
    assert book is not None
    assert "fiddle" in book.read_text("utf-8")
