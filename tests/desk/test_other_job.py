"""Another job opened at the desk while a page still shows the one before: these tests exist for a change meant for one
job that is written into another, also where both read the same to the byte."""

from __future__ import annotations

import shutil
import threading
from pathlib import Path
from typing import Any

import pytest

from layerpreview.desk import asked, beside
from layerpreview.desk.answers import refused
from layerpreview.desk.desk import Desk, OtherJobError
from layerpreview.desk.tasks import Task
from layerpreview.errors import InputError

from .conftest import coats

SENT: dict[str, dict[str, Any]] = {
    "edit": {"changes": [coats(7)], "words": "7 coats", "force": True},
    "undo": {},
    "redo": {},
    "keep": {"name": "the client's choice"},
    "restore": {"id": "1"},
    "reach": {"target": "#74561f"},
    "take": {"task": "t1", "index": 0, "force": True},
    "twins": {},
    "fit": {"card": "1"},
    "first": {"version": "1", "files": "1", "picture": "data:image/jpeg;base64,"},
    "give": {"what": "sheet", "force": True},
    "stop": {"id": "t1"},
}
"""What a page may send, by name; where nothing of a job is meant: phone (its door), colour-of (a photo alone)."""


@pytest.fixture
def twin(folder: Path) -> Path:
    """A job that reads as the first one does, to the byte."""
    beside_it = folder.parent / "lyre"
    shutil.copytree(folder, beside_it)
    return beside_it


def made_in(folder: Path) -> dict[str, bytes]:
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def test_nothing_meant_for_one_job_is_done_to_another(desk: Desk, folder: Path, twin: Path) -> None:
    seen = asked.get_state(desk, {})[1]
    desk.open(twin / "scheme.toml")
    assert asked.get_state(desk, {})[1]["version"] == seen["version"]
    before = made_in(twin), made_in(folder)
    everything = asked.POST | beside.POST
    assert set(SENT) == set(everything) - {"phone", "colour-of"}
    for name, body in SENT.items():
        about = {"base": seen["version"], "opening": seen["opening"], **body}
        with pytest.raises(OtherJobError, match="another job is open at this desk now, lyre"):
            everything[name](desk, {}, about)
    for name in ("state", "pulse", "spot", "figures", "picture", "history"):
        with pytest.raises(OtherJobError):
            asked.GET[name](desk, {"opening": seen["opening"], "face": "front", "x": "10", "y": "10"})
    assert (made_in(twin), made_in(folder)) == before
    assert desk.tasks.told("") == []


def test_the_page_is_told_which_one(desk: Desk, twin: Path) -> None:
    seen = asked.get_state(desk, {})[1]
    desk.open(twin / "scheme.toml")
    with pytest.raises(OtherJobError) as caught:
        asked.post_edit(desk, {}, {"base": seen["version"], "opening": seen["opening"], **SENT["edit"]})
    answer = refused(desk, caught.value)
    assert answer.status_code == 409
    assert b'"other":"lyre"' in answer.body
    now = asked.get_state(desk, {})[1]
    assert now["opening"] != seen["opening"]
    assert asked.post_edit(desk, {}, {"base": now["version"], "opening": now["opening"], **SENT["edit"]})[0] == 200


def test_what_ran_for_the_job_before_is_stopped_and_forgotten(desk: Desk, twin: Path) -> None:
    desk.job()
    stopped = threading.Event()

    def work(task: Task) -> None:
        task.when_stopped(stopped.set)
        stopped.wait(5.0)

    task = desk.tasks.begin("board", "v1", work)
    desk.open(twin / "scheme.toml")
    assert stopped.wait(1.0)
    with pytest.raises(InputError, match="no longer kept"):
        desk.tasks.get(task.id)
    desk.job()
