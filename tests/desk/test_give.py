"""Giving away: exists for files that land outside the job, a stop that leaves half of them, work that goes on once the
desk is closed, and a page of the job that reaches the desk itself."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

import pytest

from layerpreview.desk import beside
from layerpreview.desk.desk import Desk
from layerpreview.errors import InputError

from ..written import names_in
from .conftest import Running, Start, settled

LARGE = {"what": "pictures", "width_px": 8000}


def give(desk: Desk, what: str, **asked: Any) -> dict[str, Any]:
    status, task = beside.POST["give"](desk, {}, {"what": what, **asked})
    assert status == 202
    return settled(desk, task)


def test_the_sheet_lands_in_the_job_and_is_served(start: Start, folder: Path) -> None:
    running = start(folder)
    with running.browser() as client:
        task = client.post(
            "/api/give", json={"what": "sheet", "forms": ["pdf", "html", "json"], "paper": "Letter"}
        ).json()
        while task["state"] in ("waiting", "running"):
            time.sleep(0.05)
            task = client.get("/api/task", params={"id": task["id"]}).json()
        assert task["state"] == "done", task
        assert task["command"].endswith("scheme.toml --form pdf --form html --form json --paper Letter")
        made = task["result"]
        assert made["folder"] == "sheet"
        assert sorted(f["name"] for f in made["files"]) == names_in(folder / "sheet")
        types = {"pdf": "application/pdf", "html": "text/html; charset=utf-8", "json": "application/octet-stream"}
        for file in made["files"]:
            got, ending = client.get(file["address"]), file["name"].rpartition(".")[2]
            assert got.content == (folder / "sheet" / file["name"]).read_bytes()
            assert len(got.content) == file["size_bytes"]
            assert got.headers["content-type"] == types[ending]
            assert (
                ("attachment" in got.headers.get("content-disposition", "")) is (ending == "json") is not file["shown"]
            )
            alone = got.headers["content-security-policy"].startswith("sandbox allow-scripts")
            assert alone is (ending == "html")
            assert "allow-same-origin" not in got.headers["content-security-policy"]
        pulse = client.get("/api/pulse").json()["tasks"][0]
        assert (pulse["id"], pulse["kind"], pulse["state"]) == (task["id"], "sheet", "done")
        assert "result" not in pulse


def test_a_page_of_the_job_is_answered_nothing(start: Start, folder: Path) -> None:
    """What a browser sends for a page of no origin (Origin null, by the Fetch standard) is refused, cookie or not."""
    running = start(folder)
    with running.browser() as client:
        refused = client.post("/api/give", json={"what": "sheet"}, headers={"origin": "null"})
        assert refused.status_code == 403


@pytest.mark.slow
def test_each_of_them(desk: Desk, folder: Path) -> None:
    made = {
        "board": give(desk, "board", width_px=200, title="For Ann"),
        "pictures": give(desk, "pictures", width_px=120, lights=["A"]),
        "turn": give(desk, "turn", width_px=80),
        "templates": give(desk, "templates"),
        "record": give(desk, "record", width_px=120),
    }
    assert {name: task["state"] for name, task in made.items()} == dict.fromkeys(made, "done")
    told = {name: task["result"]["folder"] for name, task in made.items()}
    assert told == {name: name for name in made} | {"turn": "pictures", "templates": "sheet"}
    assert "templates.pdf" in names_in(folder / "sheet")
    assert {"finish_A.png", "turn.webp"} <= set(names_in(folder / "pictures"))
    assert [Path(name).suffix for name in names_in(folder / "record")] == [".zip"]
    assert "For Ann" in (folder / "board" / "board.html").read_text("utf-8")
    assert made["board"]["command"].endswith('scheme.toml --title "For Ann" --width 200')


def test_what_was_made_before_is_replaced_and_what_a_person_changed_is_not(desk: Desk, folder: Path) -> None:
    assert give(desk, "sheet", forms=["text"])["state"] == "done"
    assert give(desk, "sheet", forms=["text"])["state"] == "done"
    own = folder / "sheet" / "mix_sheet.txt"
    own.write_text("notes of mine")
    refused = give(desk, "sheet", forms=["text"])
    assert refused["state"] == "failed"
    assert "changed since" in refused["problems"][0]
    assert str(folder) not in " ".join(refused["problems"])
    assert own.read_text() == "notes of mine"
    assert give(desk, "sheet", forms=["text"], force=True)["state"] == "done"
    assert own.read_text() != "notes of mine"


def test_stopped_it_leaves_nothing(desk: Desk, folder: Path) -> None:
    """At any moment of it, at once (0.3 s where nothing else runs), and no folder or file is left of it."""
    for wait_s in (0.05, 0.9, 2.4):
        _, task = beside.POST["give"](desk, {}, LARGE)
        time.sleep(wait_s)
        begun = time.monotonic()
        _, told = beside.POST["stop"](desk, {}, {"id": task["id"]})
        took = time.monotonic() - begun
        assert told["state"] == "stopped", told
        assert took < 1.0
        until = time.monotonic() + 3.0
        while (left := _left(folder)) and time.monotonic() < until:
            time.sleep(0.01)
        assert left == []


def _left(folder: Path) -> list[Path]:
    return list((folder / "pictures").glob("*"))  # also while the folder itself goes


def children(of: int) -> list[int]:
    """The processes that this one started (Linux)."""
    return [int(n) for n in Path(f"/proc/{of}/task/{of}/children").read_text(encoding="utf-8").split()] + [
        int(n) for task in Path(f"/proc/{of}/task").iterdir() for n in (task / "children").read_text().split()
    ]


@pytest.mark.parametrize("how", ["end", "kill"])
def test_it_ends_with_the_desk(start: Start, folder: Path, how: str) -> None:
    running: Running = start(folder)
    with running.browser() as client:
        assert client.post("/api/give", json=LARGE).status_code == 202
        until = time.monotonic() + 20.0
        while not (made := children(running.process.pid)) and time.monotonic() < until:
            time.sleep(0.02)
        time.sleep(1.0)
    running.process.kill() if how == "kill" else running.end()
    running.process.wait(10.0)
    until = time.monotonic() + 5.0
    while any(_runs(one) for one in made) and time.monotonic() < until:
        time.sleep(0.05)
    assert not any(_runs(one) for one in made)


def _runs(number: int) -> bool:
    try:
        return Path(f"/proc/{number}/stat").read_text(encoding="utf-8").rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False


@pytest.mark.parametrize(
    "asked",
    [
        {"what": "everything"},
        {"what": ["board"]},
        {"what": "board", "title": "two\nlines"},
        {"what": "board", "width_px": 1e9},
        {"what": "board", "allow": "honey coats 1 to 5"},
        {"what": "board", "pdf": "yes"},
    ],
)
def test_what_cannot_be_made(desk: Desk, asked: dict[str, Any]) -> None:
    with pytest.raises(InputError):
        beside.POST["give"](desk, {}, asked)


def test_what_the_workflow_refuses_is_one_line(desk: Desk, folder: Path) -> None:
    refused = give(desk, "sheet", paper="papyrus")
    assert refused["problems"] == ["--paper: no such paper: use A4 or Letter"] or "A4" in refused["problems"][0]
    assert not (folder / "sheet").exists()
