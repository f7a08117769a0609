"""Every scheme below a folder: exists for one faulty scheme that stops the others, for work that is done twice, and for
results that depend on who made them."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest

from layerpreview.errors import InputError
from layerpreview.processes import worker_pool
from layerpreview.workflows.render_all import AllDone, render_all_files
from layerpreview.workflows.workers import Workers

from ..schemes import DYES, HEAD, HONEY, MIXES, PANEL, SILVER

Run = Callable[..., tuple[int, str, str]]
PLAIN = HEAD + PANEL + SILVER + DYES + MIXES + HONEY
NOW = datetime(2026, 5, 4, 9, 30, tzinfo=UTC)
HERE = Workers(lambda: worker_pool(1), 1)


def shop(folder: Path) -> Path:
    """Two jobs, two schemes that share a folder, one of them faulty, and what is none."""
    for name, text in (
        ("one/scheme.toml", PLAIN),
        ("two/pale.toml", PLAIN.replace("coats = 3", "coats = 1")),
        ("two/faulty.toml", PLAIN.replace("coats = 3", 'coats = "some"')),
        ("two/notes.toml", "mine = 1\n"),
    ):
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text(text, encoding="utf-8")
    return folder


def made(folder: Path, *, board: bool = False, workers: Workers = HERE) -> AllDone:
    return render_all_files(folder, width_px=64, board=board, workers=workers, now=NOW)


def results_in(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file() and path.suffix not in (".toml", ".jsonl")
    }


@pytest.fixture(scope="module")
def jobs(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, AllDone]:
    folder = shop(tmp_path_factory.mktemp("jobs"))
    return folder, made(folder)


def test_one_that_is_faulty_stops_no_other(jobs: tuple[Path, AllDone]) -> None:
    folder, done = jobs
    assert [job.scheme.relative_to(folder).as_posix() for job in done.jobs] == [
        *("one/scheme.toml", "two/faulty.toml", "two/pale.toml")
    ]
    assert (done.made, done.left, done.faulty) == (2, 0, 1)
    (line,) = done.jobs[1].problems
    assert "faulty.toml:" in line
    assert (folder / "one/pictures/figures.json").is_file()
    assert (folder / "two/pale/pictures/finish_D65.png").is_file()
    assert not (folder / "two/faulty").exists()


def test_what_is_up_to_date_is_left(jobs: tuple[Path, AllDone], tmp_path: Path) -> None:
    """Made again is what lacks a file, has another one, or whose scheme changed since; nothing else is touched."""
    folder, _ = jobs
    before = results_in(folder)
    again = made(folder)
    assert (again.made, again.left, again.faulty) == (0, 2, 1)
    (folder / "two/pale/pictures/bare.png").unlink()
    again = made(folder)
    assert (again.made, again.left) == (1, 1)
    assert results_in(folder) == before
    (folder / "one/scheme.toml").write_text(PLAIN.replace("coats = 3", "coats = 2"), encoding="utf-8")
    again = made(folder)
    assert [job.left for job in again.jobs if not job.problems] == [False, True]
    assert results_in(folder)["one/pictures/figures.json"] != before["one/pictures/figures.json"]
    (folder / "one/scheme.toml").write_text(PLAIN, encoding="utf-8")
    made(folder)
    assert results_in(folder) == before


def test_what_was_changed_by_hand_is_not_replaced(tmp_path: Path) -> None:
    (tmp_path / "scheme.toml").write_text(PLAIN, encoding="utf-8")
    made(tmp_path)
    (tmp_path / "pictures/bare.png").write_bytes(b"a stroke of my own")
    (job,) = made(tmp_path).jobs
    assert "already there and changed since it was made here: bare.png; nothing was written" in job.problems[0]
    assert (tmp_path / "pictures/bare.png").read_bytes() == b"a stroke of my own"


@pytest.mark.slow
def test_the_same_bytes_by_two_workers(jobs: tuple[Path, AllDone], tmp_path: Path) -> None:
    folder = shop(tmp_path)
    assert made(folder, workers=Workers(lambda: worker_pool(2), 4)).made == 2
    assert results_in(folder) == results_in(jobs[0])


@pytest.mark.slow
def test_boards_are_made_and_recorded_once(tmp_path: Path) -> None:
    (tmp_path / "scheme.toml").write_text(PLAIN, encoding="utf-8")
    for left in (0, 1):
        assert made(tmp_path, board=True).left == left
    known = json.loads((tmp_path / "pictures/made_from.json").read_text("utf-8"))
    assert set(known["files"]) >= {"board/board.html", "pictures/figures.json"}
    entries = [json.loads(line) for line in (tmp_path / "job-log.jsonl").read_text("utf-8").splitlines()]
    assert [(entry["what"], entry["time"]) for entry in entries] == [("board", "2026-05-04T09:30:00+00:00")]


def test_folders_without_a_scheme(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no scheme lies below this folder"):
        made(tmp_path)
    with pytest.raises(InputError, match="there is no such folder"):
        made(tmp_path / "gone")


def test_at_the_command_line(run: Run, tmp_path: Path) -> None:
    shop(tmp_path / "jobs")
    code, out, err = run("render-all", "jobs", "--width", 64, "--no-board", "--workers", 1)
    assert (code, out) == (2, "")
    lines = err.splitlines()
    assert lines[0].startswith(f"error: {Path('jobs', 'two', 'faulty.toml')}:")
    assert "figures of 2 schemes" in lines[-2]
    assert lines[-1].startswith("Next: mend the 1 named above")
