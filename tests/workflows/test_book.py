"""The shop book over folders of jobs: exists for one broken job that hides the others, a book that writes into jobs,
an index that tells of yesterday, and a client's words that become part of the page."""

from __future__ import annotations

import base64
import csv
import hashlib
import io
import json
import os
import re
import shutil
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

import layerpreview as lp
from layerpreview.answers import book_job
from layerpreview.answers.book import Book, State
from layerpreview.errors import InputError
from layerpreview.job import done
from layerpreview.job.sheet import make_sheet
from layerpreview.job.time_and_cost import poured
from layerpreview.output import book_index, book_picture
from layerpreview.output.caption import caption
from layerpreview.output.diary_entries import entry_of
from layerpreview.output.joblog import LOG_NAME, recorded
from layerpreview.output.result import Result
from layerpreview.workflows import book_find
from layerpreview.workflows.book import ask_book, book_files
from layerpreview.workflows.places import book_place

from ..schemes import DYES, FULL, GUN, HEAD, HONEY, MAPLE, MIXES, PANEL, SILVER, WHITE

Run = Callable[..., tuple[int, str, str]]

NOON = datetime(2026, 3, 29, 12, 0, tzinfo=UTC)
NASTY = '</script><script>alert(1)</script>=HYPERLINK("x") \'"&'
SMALL_PX = 96
OVER_MAPLE = FULL.replace(SILVER, MAPLE)  # the law of a metal takes seconds to solve
OVER_WHITE = HEAD.replace("Test part", "Pale tom") + PANEL + WHITE + DYES + MIXES + HONEY + GUN
AGREED = {
    "what": "agreed",
    "time": "2026-03-01T09:00:00+00:00",
    "board": "ABCDE",
    "option": "A",
    "name": "Test part",
    "code": "LP",
    "changes": ["honey coats 3 to 4"],
    "note": NASTY,
    "scheme_from_log": "scheme.agreed.toml",
}
CLEAR_ON = [done.CoatDone(id=f"c{n}", time=NOON + timedelta(hours=n), entry=-1, number=n) for n in (1, 2, 3)]


def _log(folder: Path, *lines: dict[str, object]) -> None:
    for line in lines:
        with recorded(folder / LOG_NAME, line):
            pass


def _save(folder: Path, text: str, name: str = "scheme.toml") -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    (folder / name).write_text(text, encoding="utf-8")
    return folder


@pytest.fixture(scope="module", autouse=True)
def _small_pictures() -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(book_picture, "SIDE_PX", SMALL_PX)
        yield


@pytest.fixture(scope="module")
def shelf(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three jobs that can be read, of which one is agreed and one done, and around them all that is none."""
    top = tmp_path_factory.mktemp("shop") / "jobs"
    mandolin = _save(top / "mandolin", OVER_MAPLE)
    _save(mandolin, OVER_MAPLE.replace("coats = 3", "coats = 4", 1), "scheme.agreed.toml")
    _save(mandolin / "history", FULL)
    _log(mandolin, AGREED, {"what": "later kind", "time": "2026-03-02T09:00:00+00:00"})
    tom = _save(top / "shells" / "tom", OVER_WHITE, "pale.toml")
    _save(tom, 'layerpreview_dye = 1\nname = "x"\n', "own.dye.toml")
    _log(tom, *map(entry_of, CLEAR_ON))
    (tom / "photos").mkdir()
    Image.new("RGB", (900, 600), (20, 120, 60)).save(tom / "photos" / "last.jpg")
    Image.new("RGB", (90, 60), (200, 0, 0)).save(top.parent / "outside.jpg")
    for n, file in enumerate(("photos/last.jpg", "../../../outside.jpg")):
        photo = done.PhotoRead(id=f"p{n}", time=NOON, file=file, of="part", entry=-1, number=3)
        _log(tom, entry_of(photo))
    _save(top / "plain", OVER_MAPLE.replace("Test part", "<b>plain</b> & simple"))
    _save(top / "slip", FULL.replace("coats = 3", 'coats = "three"', 1))
    torn = _save(top / "torn log", OVER_WHITE)
    (torn / LOG_NAME).write_text("this is a diary\n")
    _save(top / ".hidden", FULL)
    _save(top.parent / "elsewhere", FULL)
    os.symlink(top.parent / "elsewhere", top / "link")
    (top / "notes").mkdir()
    (top / "notes" / "numbers.toml").write_text("x = 1\n")
    return top


@pytest.fixture(scope="module")
def book(shelf: Path) -> Result[Book]:
    return lp.book(shelf)


def _bytes_below(folder: Path) -> dict[str, str]:
    files = [path for path in folder.rglob("*") if path.is_file() and not path.is_symlink()]
    return {str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest() for path in files}


def test_every_job_is_there_and_what_cannot_be_read_is_told_with_its_line(book: Result[Book]) -> None:
    found = {job.place: (job.story.state, job.scheme) for job in book.found.jobs}
    assert found == {
        "mandolin": (State.AGREED, "mandolin/scheme.agreed.toml"),
        "plain": (State.PLANNED, "plain/scheme.toml"),
        "shells/tom": (State.DONE, "shells/tom/pale.toml"),
        "torn log": (State.UNKNOWN, "torn log/scheme.toml"),
    }
    faulty = {one.place: one.words for one in book.found.faulty}
    assert set(faulty) == {"slip", "torn log"}
    line = FULL.split("\n").index("coats = 3") + 1
    assert faulty["slip"].startswith(f'slip/scheme.toml:{line}: coat[1].coats = "three": a whole number')
    assert faulty["torn log"].startswith(f"torn log/{LOG_NAME}:1: this is no line of a job's log")


def test_figures_are_those_of_the_mix_sheet(shelf: Path, book: Result[Book]) -> None:
    job = next(one for one in book.found.jobs if one.place == "mandolin")
    scheme = lp.load(shelf / job.scheme)
    sheet = make_sheet(scheme)
    assert job.worked.coats[0].coats == 4  # as agreed
    hands_on = sum(time.minutes.likely for time in sheet.times if time.hands_on and time.minutes) / 60.0
    assert job.worked.hands_on_h.likely == pytest.approx(hands_on)
    colours = {(one.spot, one.lab) for one in lp.figures(scheme).found.colours}
    rounded = {(spot, tuple(round(value, 2) for value in lab)) for spot, lab in colours}
    assert {(one.place, one.lab) for one in job.worked.colours} == rounded
    made = [part for mix in sheet.mixes for part in poured(mix) if part.name == "blue"]
    needs = [need for need in job.worked.needs if need.name == "blue"]
    assert sum(need.make for need in needs) == pytest.approx(float(sum(part.mL for part in made)), abs=1e-3)
    # 12 mL/L of what honey takes; drops as the figures have them (40 to 60 to the mL).
    honey = next(mix for mix in sheet.mixes if mix.title == "honey")
    yellow = next(need for need in job.worked.needs if need.name == "yellow")
    assert yellow.needed.likely == pytest.approx(0.012 * honey.needed_mL.likely)
    assert yellow.drops is not None
    assert yellow.drops.high == pytest.approx(60.0 * yellow.needed.high)


def test_jobs_are_only_read_and_the_second_time_nothing_is_worked_out(
    shelf: Path, book: Result[Book], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = _bytes_below(shelf)
    monkeypatch.setattr(book_job, "worked_of", lambda _: pytest.fail("it stands in the index"))
    told: list[str] = []
    one = book_files(shelf, out=tmp_path / "one", tell=told.append)
    book_files(shelf, out=tmp_path / "two")
    assert told == []
    assert _bytes_below(shelf) == before
    assert one.found == book.found
    book.save(tmp_path / "first")
    for name in one.files:
        assert (tmp_path / "one" / name).read_bytes() == (tmp_path / "first" / name).read_bytes()
        assert (tmp_path / "one" / name).read_bytes() == (tmp_path / "two" / name).read_bytes()


def test_the_page_holds_everything_and_no_words_from_outside_as_code(book: Result[Book], tmp_path: Path) -> None:
    book.save(tmp_path)
    page = (tmp_path / "book.html").read_text(encoding="utf-8")
    assert NASTY not in page
    assert "<b>plain</b>" not in page
    assert page.count("</script>") == 2
    assert {link[:6] for link in re.findall(r"""(?:src|href)=["']?([^"'>]*)""", page)} == {"data:i", "#fault"}
    assert re.search(r"""content="default-src &#39;none&#39;; img-src data:""", page)
    data = json.loads(re.search(r'id="jobs">(.*?)</script>', page, re.DOTALL)[1])  # type: ignore[index]
    assert [each["name"] for each in data] == [job.worked.name for job in book.found.jobs]
    assert NASTY.casefold() in data[0]["words"]
    assert page.count("<img ") == len(book.found.jobs)


def test_the_tables(book: Result[Book], tmp_path: Path) -> None:
    book.save(tmp_path)
    rows = list(csv.DictReader(io.StringIO((tmp_path / "book.csv").read_text("utf-8-sig"), newline="")))
    assert [row["place"] for row in rows] == [*(job.place for job in book.found.jobs), "torn log", "slip"]
    assert rows[0]["client_words"] == NASTY
    assert float(rows[0]["L"]) == book.found.jobs[0].worked.main[0].lab[0]
    order = list(csv.DictReader(io.StringIO((tmp_path / "order.csv").read_text("utf-8-sig"), newline="")))
    blue = next(row for row in order if row["name"] == "blue")
    assert blue["jobs"] == "mandolin, plain"  # neither the one that is done nor the one of which that is not known
    needs = [need for job in book.found.jobs[:2] for need in job.worked.needs if need.name == "blue"]
    assert float(blue["jobs_take"]) == pytest.approx(sum(need.needed.likely for need in needs), abs=0.01)


def _picture(result: Result[Book], folder: Path, place: str) -> tuple[str, np.ndarray]:
    """What the picture of a job is of, and its pixels, as the page has them."""
    result.save(folder)
    page = (folder / "book.html").read_text(encoding="utf-8")
    (card,) = [one for one in page.split("<article")[1:] if f'<span class="faint">{place}' in one]
    (found,) = re.findall(r'src="data:image/jpeg;base64,([^"]+)".*?alt="([^"]+)"', card, re.DOTALL)
    return found[1], np.asarray(Image.open(io.BytesIO(base64.b64decode(found[0]))))


def test_a_done_job_is_shown_by_its_photo_and_never_by_one_from_outside(book: Result[Book], tmp_path: Path) -> None:
    words, pixels = _picture(book, tmp_path, "shells/tom")
    assert words == "Pale tom: photo of the part, 2026-03-29"
    assert pixels.shape[:2] == (64, SMALL_PX)
    np.testing.assert_allclose(pixels.reshape(-1, 3).mean(axis=0), (20, 120, 60), atol=3)


@pytest.fixture
def one_job(tmp_path: Path) -> Path:
    _save(tmp_path / "shop" / "job", OVER_WHITE)
    return tmp_path / "shop"


def test_a_picture_that_was_made_is_taken_without_its_caption_while_it_is_newer(one_job: Path, tmp_path: Path) -> None:
    strip = caption(["Test", "more"], width_px=400, pixel_mm=0.5)
    top = np.full((300, 400, 3), (60, 90, 160), dtype=np.uint8)
    file = one_job / "job" / "pictures" / "lifelike_window.png"
    file.parent.mkdir()
    Image.fromarray(np.concatenate([top, strip])).save(file)
    later = time.time() + 10.0
    os.utime(file, (later, later))
    words, pixels = _picture(lp.book(one_job), tmp_path / "out", "job")
    assert words.endswith("as worked out, by a window")
    assert pixels.shape == (72, SMALL_PX, 3)
    os.utime(file, (1.0, 1.0))
    _, pixels = _picture(lp.book(one_job), tmp_path / "out", "job")
    assert pixels.shape != (72, SMALL_PX, 3)


def _index_of(folder: Path) -> list[Path]:
    from platformdirs import user_cache_path

    name = hashlib.sha256(os.path.realpath(folder).encode()).hexdigest()[:24]
    return sorted((Path(user_cache_path("layerpreview")) / f"book-{name}").iterdir())


def test_the_index_is_a_copy_of_nothing_but_what_stands(one_job: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    told: list[str] = []
    first = lp.book(one_job, tell=told.append)
    (kept,) = _index_of(one_job)
    whole = kept.read_bytes()
    held = json.loads(whole)
    for spoilt in (whole[:-40], b"", b"[]", b"{}", json.dumps({**held, "worked": {"name": 3}}).encode(), b"\xff" * 9):
        kept.write_bytes(spoilt)
        assert lp.book(one_job, tell=told.append).found == first.found
        assert kept.read_bytes() == whole
    assert told == ["1 of 1: job"] * 7
    # Deleted at any time, with its folder.
    shutil.rmtree(kept.parent)
    assert lp.book(one_job).found == first.found
    # Another scheme, another answer; the same size and time do not hide it.
    scheme = one_job / "job" / "scheme.toml"
    state = scheme.stat()
    scheme.write_text(OVER_WHITE.replace("coats = 3", "coats = 5"))
    os.utime(scheme, ns=(state.st_atime_ns, state.st_mtime_ns))
    assert lp.book(one_job).found.jobs[0].worked.coats[0].coats == 5
    # The shop's own values may come to stand beside the jobs: then everything is worked out anew.
    seen: list[Path] = []
    whole_work = book_job.worked_of
    monkeypatch.setattr(book_job, "worked_of", lambda scheme: seen.append(scheme.file) or whole_work(scheme))
    lp.book(one_job)
    assert seen == []
    (one_job / "shop.toml").write_text("layerpreview_shop = 1\n")
    lp.book(one_job)
    assert len(seen) == 1
    # A job that is gone is forgotten.
    (one_job / "job").rename(one_job / "other")
    lp.book(one_job)
    assert len(_index_of(one_job)) == 1


def test_where_nothing_can_be_kept_the_book_is_the_same(one_job: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    first = lp.book(one_job)
    monkeypatch.setattr(book_index, "_home", lambda _: None)
    assert lp.book(one_job).found == first.found


def test_schemes_that_share_a_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each is a job until one is agreed on; then the others that the board offered are none."""
    for name in ("pale", "deep", "other"):
        _save(tmp_path / "jobs", OVER_WHITE, f"{name}.toml")
    (tmp_path / "jobs" / "made_from.toml").write_text("layerpreview_made_from = 1\n")
    (tmp_path / "jobs" / "bad.toml").write_text("layerpreview = 1\nname = oops\n")
    found, faulty, notes = book_find.jobs_below(tmp_path / "jobs")
    assert [one.place for one in found] == ["bad", "deep", "other", "pale"]
    assert (faulty, notes) == ([], [])
    offered = [
        {"option": letter, "scheme": f"/far/away/{name}.toml"} for letter, name in (("A", "pale"), ("B", "deep"))
    ]
    _log(tmp_path / "jobs", {"what": "board", "time": "2026-01-01T00:00:00+00:00", "options": offered})
    _save(tmp_path / "jobs", OVER_WHITE, "pale.agreed.toml")
    _log(tmp_path / "jobs", {**AGREED, "scheme_from_log": "pale.agreed.toml"})
    found, _, _ = book_find.jobs_below(tmp_path / "jobs")
    assert [one.place for one in found] == ["pale.agreed", "bad", "other"]
    assert book_find.logged_of(found[0]).agreed is not None
    assert book_find.logged_of(found[2]).agreed is None


def test_it_keeps_within_bounds(shelf: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    deep = tmp_path.joinpath("jobs", *"abcdefgh")
    _save(deep, OVER_WHITE)
    found, _, notes = book_find.jobs_below(tmp_path / "jobs")
    assert found == []
    assert notes == ["a/b/c/d/e/f: folders deeper than 6 were not looked into"]
    monkeypatch.setattr(book_find, "MOST_JOBS", 2)
    found, _, notes = book_find.jobs_below(shelf)
    assert (len(found), notes) == (2, ["more than 2 jobs: the others are left out"])
    monkeypatch.setattr(book_find, "MOST_FOLDERS", 2)
    assert book_find.jobs_below(shelf)[2] == ["more than 2 folders: the others were not looked into"]


def test_questions(run: Run, shelf: Path, book: Result[Book]) -> None:
    code, out, err = run("book", shelf, "--like", "#ffffff over white")
    assert (code, out.splitlines()[2].split()[3:5]) == (0, ["shells/tom", "honey:"]), err
    assert err.splitlines()[-1].startswith("Next: ")
    code, out, _ = run("book", shelf, "--words", "alert plain", "--dye", "blue")
    assert code == 1
    code, out, _ = run("book", shelf, "--words", "alert", "--json")
    assert [each["place"] for each in json.loads(out)["jobs"]] == ["mandolin"]
    code, out, _ = run("book", shelf, "--beside", "mandolin", "tom")
    assert code == 0
    assert "* mixes" not in out  # the same mixes in both
    assert "* base" in out
    code, out, _ = run("book", shelf, "--order", "--json")
    assert {line["name"] for line in json.loads(out)["order"]} >= {"yellow", "blue", "carrier"}


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["nowhere"], "there is no such folder; name the folder that your jobs lie in"),
        (["empty"], "there is no job below this folder"),
        (["empty", "--order"], "there is no job below this folder"),
        (["empty", "--like", "warm"], "--like = warm: this is no colour"),
    ],
)
def test_what_cannot_be_asked(run: Run, tmp_path: Path, arguments: list[str], told: str) -> None:
    (tmp_path / "empty").mkdir()
    code, out, err = run("book", *arguments)
    assert (code, out) == (2, "")
    assert told in err
    assert len(err.splitlines()) == 1
    assert list((tmp_path / "empty").iterdir()) == []


def test_where_the_book_goes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert book_place(tmp_path).folder == tmp_path / "book"
    monkeypatch.setattr(os, "access", lambda *_: False)
    place = book_place(tmp_path)
    assert place.folder == Path("out", tmp_path.name, "book")
    assert "cannot be written to" in place.aside


def test_one_job_is_no_pair(shelf: Path, book: Result[Book]) -> None:
    with pytest.raises(InputError, match="this is one job twice"):
        ask_book(shelf, pair=("tom", "shells/tom"))
