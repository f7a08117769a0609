"""An open job: exists for a change that is lost, for another's change that is written over, for an undo that does not
give back what was there, and for a file that is half written when the machine goes down."""

from __future__ import annotations

import gc
import os
import random
import stat
import time
import tracemalloc
from pathlib import Path
from typing import Any

import pytest

from layerpreview.desk import jobs, keep
from layerpreview.desk.history import MOST_UNNAMED, History
from layerpreview.desk.jobs import OpenJob
from layerpreview.desk.steps import MOST_SIGNS, MOST_STEPS, Step, Steps, version_of
from layerpreview.errors import InputError, OutputError
from layerpreview.output.locks import take
from layerpreview.scheme import load_scheme
from layerpreview.scheme.edit import read_change

from ..schemes import FULL
from .conftest import coats


def change(job: OpenJob, *asked: dict[str, Any], base: str | None = None, words: str = "a test") -> Any:
    return job.edit(base or job.version, [read_change(one) for one in asked], words)


def on_disk(job: OpenJob) -> int:
    return load_scheme(job.path).coats[0].coats


def test_a_change_is_on_disk_before_it_is_told(job: OpenJob) -> None:
    before = job.version
    assert change(job, coats(5), words="honey: 5 coats") == ()
    assert on_disk(job) == 5
    assert job.version != before
    assert job.undo_words == "honey: 5 coats"
    assert job.read is not None
    assert job.read.scheme.coats[0].coats == 5


def test_undo_and_redo_give_the_bytes_back(job: OpenJob) -> None:
    texts = [job.path.read_bytes()]
    for n in (4, 5, 6):
        change(job, coats(n))
        texts.append(job.path.read_bytes())
    for text in reversed(texts[:-1]):
        assert job.undo(job.version)
        assert job.path.read_bytes() == text
    with pytest.raises(InputError, match="nothing to go back to"):
        job.undo(job.version)
    for text in texts[1:]:
        assert job.redo(job.version)
        assert job.path.read_bytes() == text
    job.undo(job.version)
    change(job, coats(9))
    assert job.redo_words is None


@pytest.mark.parametrize("seed", range(4))
def test_any_row_of_changes_can_be_taken_back_to_the_byte(job: OpenJob, seed: int) -> None:
    rng = random.Random(seed)
    texts = [job.path.read_bytes()]
    while len(texts) < 12:
        index, n = rng.randrange(4), rng.randrange(1, 9)
        asked = rng.choice(
            [
                coats(n, index),
                {"do": "move", "at": ["coat", index], "to": rng.randrange(4)},
                {"do": "remove", "at": ["coat", index]},
                {"do": "add", "at": ["coat"], "to": {"mix": "sea", "coats": n, "film": f"{20 + n} um"}},
                {"do": "set", "at": ["mix", "honey", "dyes", "yellow"], "to": f"{n}.5 mL/L"},
                {"do": "set", "at": ["clear", "finish"], "to": rng.choice(["gloss", "satin", "matt"])},
                {"do": "set", "at": ["coat", 1, "burst", 0, "width"], "to": f"{n} mm"},
            ]
        )
        try:
            change(job, asked)
        except InputError:
            continue
        if job.path.read_bytes() != texts[-1]:
            texts.append(job.path.read_bytes())
        assert load_scheme(job.path).coats == (job.read.scheme.coats if job.read else ())
    for text in reversed(texts[:-1]):
        assert job.undo(job.version)
        assert job.path.read_bytes() == text
    for text in texts[1:]:
        assert job.redo(job.version)
        assert job.path.read_bytes() == text


def test_line_ends_and_byte_order_mark_stay(folder: Path) -> None:
    path = folder / "scheme.toml"
    path.write_bytes(keep.BYTE_ORDER_MARK + FULL.replace("\n", "\r\n").encode())
    job = OpenJob(path)
    change(job, coats(7))
    data = path.read_bytes()
    assert data.startswith(keep.BYTE_ORDER_MARK)
    assert data.count(b"\n") == data.count(b"\r\n")
    job.undo(job.version)
    assert path.read_bytes() == keep.BYTE_ORDER_MARK + FULL.replace("\n", "\r\n").encode()


@pytest.mark.parametrize(
    ("asked", "told"),
    [
        (coats(99), "a whole number from 1 to 60 is wanted"),
        ({"do": "set", "at": ["coat", 0, "mix"], "to": "tar"}, "there is no mix of this name"),
        ({"do": "set", "at": ["coat", 0, "colour"], "to": "red"}, "this key is not known here"),
        ({"do": "set", "at": ["face", 0, "opening", 0, "centre"], "to": ["900 mm", "24 mm"]}, "hole"),
    ],
)
def test_what_the_reader_refuses_changes_nothing(job: OpenJob, asked: dict[str, Any], told: str) -> None:
    before, version = job.path.read_bytes(), job.version
    with pytest.raises(InputError, match=told):
        change(job, coats(2), asked)
    assert job.path.read_bytes() == before
    assert (job.version, job.undo_words) == (version, None)


def test_rights_and_links_stay(folder: Path) -> None:
    real = folder / "real.toml"
    (folder / "scheme.toml").rename(real)
    (folder / "scheme.toml").symlink_to("real.toml")
    real.chmod(0o640)
    change(OpenJob(folder / "scheme.toml"), coats(7))
    assert (folder / "scheme.toml").is_symlink()
    assert load_scheme(real).coats[0].coats == 7
    assert stat.S_IMODE(real.stat().st_mode) == 0o640


def test_what_a_killed_desk_left_is_cleared_away(folder: Path) -> None:
    """Not what another desk writes at this moment."""
    for name, age_s in (("dead", 100.0), ("atwork", 0.0)):
        left = folder / f".layerpreview-{name}.tmp"
        left.write_text("half", encoding="ascii")
        os.utime(left, (time.time() - age_s, time.time() - age_s))
    with (folder / ".layerpreview-atwork.tmp").open("r+b", buffering=0) as held:
        assert take(held, Path(held.name))
        job = OpenJob(folder / "scheme.toml")
        change(job, coats(2))
    assert sorted(path.name for path in folder.iterdir()) == [".layerpreview-atwork.tmp", "history", "scheme.toml"]


def test_a_change_from_outside_is_taken_in(job: OpenJob) -> None:
    job.path.write_text(job.text.replace("coats = 3", "coats = 8", 1))
    job.look()
    assert job.outside
    assert job.read is not None
    assert job.read.scheme.coats[0].coats == 8
    assert job.undo_words == "a change made outside the desk"
    change(job, coats(4, 1))
    assert job.outside is None
    assert [coat.coats for coat in load_scheme(job.path).coats] == [8, 4, 2]


def test_an_editor_that_is_writing_is_waited_for(job: OpenJob, monkeypatch: pytest.MonkeyPatch) -> None:
    whole = job.text.replace("coats = 3", "coats = 8", 1)
    job.path.write_text("")
    monkeypatch.setattr(jobs.time, "sleep", lambda _: job.path.write_text(whole))
    job.look()
    assert not job.problems
    assert job.undo(job.version)
    assert on_disk(job) == 3
    assert job.undo_words is None


def test_two_changes_at_two_places_are_merged(job: OpenJob) -> None:
    seen = job.version
    job.path.write_text(job.text.replace("coats = 3", "coats = 8", 1))
    assert change(job, coats(4, 1, was=2), base=seen) == ()
    assert [coat.coats for coat in load_scheme(job.path).coats] == [8, 4, 2]


def test_two_changes_at_one_place_are_asked_about(job: OpenJob) -> None:
    seen = job.version
    job.path.write_text(job.text.replace("coats = 3", "coats = 8", 1))
    (asked,) = change(job, coats(5, was=3), base=seen)
    assert (asked.at, asked.theirs, asked.yours) == (("coat", 0, "coats"), 8, 5)
    assert on_disk(job) == 8
    assert job.edit(seen, [read_change(coats(5))], "mine", force=True) == ()
    assert on_disk(job) == 5


def test_numbers_that_mean_another_coat_now_are_asked_about(job: OpenJob) -> None:
    """A coat went meanwhile: what was number 1 is number 0, and happens to have the value that was seen."""
    seen = job.version
    change(job, coats(2, 0), {"do": "remove", "at": ["coat", 0]})
    assert change(job, coats(6, 1, was=2), base=seen)
    assert change(job, {"do": "move", "at": ["coat", 1], "to": 0}, base=seen)
    assert change(job, {"do": "add", "at": ["coat"], "to": {"mix": "honey"}}, base=seen)
    assert change(job, coats(6, 0, was=2), base="00000000")


def test_two_coats_of_one_mix_are_told_apart(job: OpenJob) -> None:
    """They changed places meanwhile, and have as many coats."""
    change(job, {"do": "add", "at": ["coat"], "index": 1, "to": {"mix": "honey", "coats": 3, "zone": "front"}})
    seen = job.version
    change(job, {"do": "move", "at": ["coat", 1], "to": 0})
    assert change(job, coats(6, 1, was=3), base=seen)


@pytest.mark.parametrize("data", [b"not = [toml", b"", b"\xff\xfe", b"\0", b"x" * 1_100_000, b"layerpreview = 1\n"])
def test_a_file_that_went_wrong_leaves_the_last_good_one(job: OpenJob, data: bytes) -> None:
    good, bytes_before = job.read, job.path.read_bytes()
    job.path.write_bytes(data)
    job.look()
    assert job.read is good
    assert job.problems
    assert all("\n" not in str(problem) for problem in job.problems)
    with pytest.raises(InputError, match="cannot be read as it stands"):
        change(job, coats(5))
    assert job.path.read_bytes() == data
    if job.undo_words:
        job.undo(job.version)
        assert job.path.read_bytes() == bytes_before
    else:
        job.path.write_bytes(bytes_before)
        job.look()
    assert not job.problems
    change(job, coats(5))
    assert on_disk(job) == 5


def test_a_change_may_mend_what_went_wrong_outside(job: OpenJob) -> None:
    job.path.write_text(job.text.replace("coats = 3", "coats = 300", 1))
    job.look()
    assert job.problems
    with pytest.raises(InputError, match="cannot be read as it stands") as refused:
        change(job, coats(4, 1))
    assert "a whole number from 1 to 60" in str(refused.value.problems[1])
    change(job, coats(6))
    assert not job.problems
    assert on_disk(job) == 6


def test_a_dye_file_that_changes_is_read_again(folder: Path) -> None:
    library = Path(__file__).parents[2] / "layerpreview" / "data" / "dyes"
    for name in ("amber", "blue"):
        (folder / f"{name}.toml").write_bytes((library / f"{name}.dye.toml").read_bytes())
    text = FULL.partition("[dye.yellow]")[0] + '[dye.yellow]\nfile = "amber.toml"\n' + FULL[FULL.index("[dye.blue]") :]
    (folder / "scheme.toml").write_text(text)
    job = OpenJob(folder / "scheme.toml")
    assert job.read is not None
    before = job.read
    job.look()
    assert job.read is before
    (folder / "amber.toml").write_bytes((folder / "blue.toml").read_bytes())
    job.look()
    assert job.read.version == before.version
    assert job.read.files != before.files
    assert job.read.scheme.dyes["yellow"] != before.scheme.dyes["yellow"]
    (folder / "amber.toml").unlink()
    job.look()
    assert "there is no such file" in str(job.problems[0])
    assert job.read.files != before.files


def test_a_file_that_is_gone_is_written_again(job: OpenJob) -> None:
    job.path.unlink()
    job.look()
    assert "no longer there" in str(job.problems[0])
    change(job, coats(5))
    assert on_disk(job) == 5
    assert not job.problems


def test_a_folder_that_cannot_be_written_to(job: OpenJob, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    before = job.path.read_bytes()
    with monkeypatch.context() as patch:
        patch.setattr(keep.tempfile, "mkstemp", refuse)
        with pytest.raises(OutputError, match=r"^scheme\.toml: cannot be written \(Permission denied\); nothing was"):
            change(job, coats(5))
        with pytest.raises(OutputError):
            job.keep("a name")
    assert job.path.read_bytes() == before
    assert job.undo_words is None
    change(job, coats(5))
    assert on_disk(job) == 5


@pytest.mark.parametrize("step", ["fsync", "replace"])
def test_a_disk_that_is_full_leaves_the_old_file(job: OpenJob, monkeypatch: pytest.MonkeyPatch, step: str) -> None:
    def fail(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    before = job.path.read_bytes()
    monkeypatch.setattr(keep.os, step, fail)
    with pytest.raises(OutputError, match="No space left"):
        change(job, coats(5))
    monkeypatch.undo()
    assert job.path.read_bytes() == before
    assert not list(job.folder.glob("*.tmp")) + list(job.folder.glob(".*"))


def test_history(job: OpenJob) -> None:
    assert [version.words for version in job.history.versions()] == ["as it was opened"]
    change(job, coats(5), words="honey: 5 coats")
    kept = job.keep("../../<b>client's choice</b>\n" + "x" * 99)
    assert kept.name.startswith("../../<b>client's choice</b> xx")
    assert len(kept.name) == 60
    assert {path.parent for path in job.folder.rglob("*.toml")} == {job.folder, job.folder / "history"}
    change(job, coats(6))
    job.restore(kept.id)
    assert on_disk(job) == 5
    job.undo(job.version)
    assert on_disk(job) == 6
    assert job.read_of(kept.id).scheme.coats[0].coats == 5
    for name in ("../scheme", "nothing", "", "20260101-000000-000", "/etc/passwd"):
        with pytest.raises(InputError, match="no longer kept"):
            job.restore(name)
    with pytest.raises(InputError, match="has a name"):
        job.keep("  ")


def test_history_keeps_to_its_own_scheme_and_to_a_size(folder: Path) -> None:
    one, two = History(folder / "one.toml"), History(folder / "two.toml")
    two.keep("other", name="mine")
    (folder / "history" / "20260101-000000-000.toml").write_text("no version of ours")
    named = one.keep("text\r\nas it is", name="to stay")
    for n in range(MOST_UNNAMED + 20):
        one.keep(f"text {n}")
    versions = one.versions()
    assert len(versions) == MOST_UNNAMED + 1
    assert one.text(named.id) == "text\r\nas it is"
    assert [version.name for version in two.versions()] == ["mine"]
    assert (folder / "history" / "20260101-000000-000.toml").exists()


def test_opening_twice_keeps_one_version(folder: Path) -> None:
    for _ in range(3):
        job = OpenJob(folder / "scheme.toml")
    assert len(job.history.versions()) == 1


def test_steps_do_not_grow_without_bound() -> None:
    steps = Steps()
    for n in range(3 * MOST_STEPS):
        steps.push(Step(f"{n:05d}" * 2000, f"{n}"))
    assert steps.words() == f"{3 * MOST_STEPS - 1}"
    held = 0
    while steps.words() is not None:
        held += len(steps.pop().text)
    assert held <= MOST_SIGNS


@pytest.mark.slow
def test_200_changes_take_little_memory(job: OpenJob) -> None:
    for n in range(20):
        change(job, coats(n % 9 + 1))
    tracemalloc.start()
    try:
        for n in range(200):
            change(job, coats(n % 9 + 1))
        gc.collect()
        held, _ = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert held < 1_000_000  # 200 texts of some 1.6 kB, and one scheme


def test_a_scheme_that_never_was_right(folder: Path) -> None:
    (folder / "scheme.toml").write_text("layerpreview = 1\n")
    job = OpenJob(folder / "scheme.toml")
    assert job.read is None
    assert job.problems
    assert not (folder / "history").exists()
    (folder / "scheme.toml").write_text(FULL)
    job.look()
    assert job.read is not None
    assert not job.problems


def test_versions_tell_texts_apart() -> None:
    assert version_of("a") != version_of("b")
    assert len(version_of("")) == 8
