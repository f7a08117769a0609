"""The client's choice and the job's log: exists for a copied job whose agreement went back into the old folder, two
agreements at once, a page that nobody could redeem, a log edited by hand, and an agreed scheme that does not read."""

from __future__ import annotations

import hashlib
import json
import re
import shutil
import subprocess
import sys
from collections.abc import Callable
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from layerpreview.errors import InputError, LayerPreviewError, OutputError
from layerpreview.output import board_result, joblog
from layerpreview.output.agreement import how_agreed_beside
from layerpreview.output.board_code import Choice
from layerpreview.output.board_result import Board
from layerpreview.output.joblog import LOG_NAME, read_lines
from layerpreview.output.result import Result
from layerpreview.scheme import load_scheme
from layerpreview.workflows import board as board_module
from layerpreview.workflows.agree import agree
from layerpreview.workflows.board import board_file
from layerpreview.workflows.log import job_log

from ..schemes import FULL

pytestmark = pytest.mark.usefixtures("quick_pages")
ROOT = Path(__file__).parents[2]
COATS, STRENGTHS = (4, 2, 2), (110, 100)
Save = Callable[..., Path]


@pytest.fixture
def job(tmp_path: Path, quick_pages: None) -> Path:
    """A job's folder with a scheme, a board and so a log."""
    folder = tmp_path / "job"
    folder.mkdir()
    (folder / "scheme.toml").write_text(FULL, encoding="utf-8")
    board(folder)
    return folder


def board(job: Path, *more: Path, **how: Any) -> Result[Board]:
    return board_file([job / "scheme.toml", *more], out=job / "board", width_px=64, **how)


def code_of(job: Path, option: str = "A", coats: tuple[int, ...] = COATS) -> str:
    (entry, *_) = read_lines(job / LOG_NAME).entries
    return Choice(str(entry.values["board"]), option, coats, STRENGTHS).code


def edited(job: Path, change: Callable[[dict[str, Any]], object]) -> None:
    """Change the log's first entry, as a hand or an earlier version would have written it."""
    log = job / LOG_NAME
    first, *rest = log.read_text(encoding="utf-8").splitlines()
    entry = json.loads(first)
    change(entry)
    log.write_text("\n".join([json.dumps(entry), *rest, ""]), encoding="utf-8")


def tree(folder: Path) -> set[str]:
    return {path.relative_to(folder).as_posix() for path in folder.rglob("*")}


# Together or not at all -----------------------------------------------------------------------------------------------


@pytest.mark.slow
def test_the_entry_is_on_disk_before_the_scheme_has_its_name(job: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    seen = []
    real = joblog.HeldLog._append

    def append(self: joblog.HeldLog, *given: Any) -> None:
        real(self, *given)
        seen.append((job / "scheme.agreed.toml").exists())

    monkeypatch.setattr(joblog.HeldLog, "_append", append)
    agree(code_of(job), job=job)
    assert seen == [False]
    assert (job / "scheme.agreed.toml").exists()


@pytest.mark.slow
def test_a_line_left_alone_by_a_kill_gets_its_scheme(job: Path) -> None:
    """The same choice once more: one line all the same."""
    agree(code_of(job), job=job)
    written, log = (job / "scheme.agreed.toml").read_bytes(), (job / LOG_NAME).read_bytes()
    (job / "scheme.agreed.toml").unlink()
    agree(code_of(job), job=job)
    assert (job / "scheme.agreed.toml").read_bytes() == written
    assert (job / LOG_NAME).read_bytes() == log


@pytest.mark.slow
def test_an_agreed_scheme_that_cannot_be_written_is_not_recorded(job: Path) -> None:
    (job / "scheme.agreed.toml").mkdir()
    before = (job / LOG_NAME).read_bytes()
    with pytest.raises(OutputError):
        agree(code_of(job), job=job, force=True)
    assert (job / LOG_NAME).read_bytes() == before


@pytest.mark.slow
def test_a_log_that_cannot_be_written_leaves_no_agreed_scheme(job: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before = tree(job)
    monkeypatch.setattr(joblog.os, "fsync", _full)
    with pytest.raises(OutputError, match="the log cannot be written"):
        agree(code_of(job), job=job)
    assert tree(job) == before


def _full(_: int) -> None:
    raise OSError(28, "No space left on device")


def _folder(job: Path) -> str:
    (job / LOG_NAME).mkdir()
    return "the log cannot be written"


def _scheme(job: Path) -> str:
    shutil.copy(job / "scheme.toml", job / LOG_NAME)
    return f"{LOG_NAME}:1: this is no line of a job's log"


@pytest.mark.parametrize("spoil", [_folder, _scheme])
def test_no_page_without_its_line_in_the_log(tmp_path: Path, spoil: Callable[[Path], str]) -> None:
    (tmp_path / "scheme.toml").write_text(FULL, encoding="utf-8")
    told = spoil(tmp_path)
    before = tree(tmp_path)
    with pytest.raises(LayerPreviewError, match=told) as caught:
        board(tmp_path)
    assert len(str(caught.value).splitlines()) == 1
    assert tree(tmp_path) == before


def test_a_scheme_given_as_log_stays_a_scheme(tmp_path: Path) -> None:
    scheme = tmp_path / "scheme.toml"
    scheme.write_text(FULL, encoding="utf-8")
    with pytest.raises(InputError, match=r"scheme\.toml:1: this is no line of a job's log"):
        board(tmp_path, log=scheme)
    with pytest.raises(InputError, match=r"scheme\.toml:1: this is no line of a job's log"):
        agree(Choice("00000", "A", COATS, STRENGTHS).code, job=scheme)
    assert scheme.read_text(encoding="utf-8") == FULL
    assert tree(tmp_path) == {"scheme.toml"}


def test_a_folder_that_may_not_be_written_gets_no_page(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The log's folder, that is: the page would go to another. (A superuser may write anywhere, so it is played.)"""
    job, out = tmp_path / "job", tmp_path / "out"
    job.mkdir()
    (job / "scheme.toml").write_text(FULL, encoding="utf-8")
    real = Path.open

    def refused(path: Path, mode: str = "r", *given: Any, **how: Any) -> Any:
        if "a" in mode:
            raise PermissionError(13, "Permission denied")
        return real(path, mode, *given, **how)

    monkeypatch.setattr(Path, "open", refused)
    with pytest.raises(OutputError, match=r"job-log\.jsonl: .*Permission denied.*nothing was recorded"):
        board_file([job / "scheme.toml"], out=out, width_px=64)
    assert tree(tmp_path) == {"job", "job/scheme.toml"}


def test_a_log_on_a_full_disk_leaves_no_page(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "scheme.toml").write_text(FULL, encoding="utf-8")
    monkeypatch.setattr(joblog.os, "fsync", _full)
    with pytest.raises(OutputError, match="the log cannot be written"):
        board(tmp_path)
    assert tree(tmp_path) == {"scheme.toml"}


@pytest.mark.slow
def test_a_page_that_fails_is_not_recorded(job: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Also when it fails as the files get their names, after the line was written."""
    before = (job / LOG_NAME).read_bytes()
    (job / "board" / "board.png").unlink()
    (job / "board" / "board.png").mkdir()
    with pytest.raises(OutputError):
        board(job, force=True)
    assert (job / LOG_NAME).read_bytes() == before
    monkeypatch.setattr(board_result, "write_picture", lambda *_: _full(0))
    with pytest.raises(OutputError):
        board_file([job / "scheme.toml"], out=job / "other", width_px=64)
    assert (job / LOG_NAME).read_bytes() == before
    assert not (job / "other").exists()


AT_ONCE = """
import sys, time
from pathlib import Path
from layerpreview.errors import OutputError
from layerpreview.workflows.agree import agree
folder, number = Path(sys.argv[1]), sys.argv[2]
code, force = (folder / f"code{number}").read_text(), sys.argv[3] == "force"
(folder / f"ready{number}").touch()
for job in sorted(folder.glob("job[0-9]*")):
    while not (job / "go").exists():
        time.sleep(0.001)
    try:
        agree(code, job=job, force=force)
    except OutputError as error:
        assert "already there" in str(error), error
    (job / f"done{number}").touch()
"""


@pytest.mark.slow
@pytest.mark.parametrize("force", ["keep", "force"])
def test_three_who_agree_at_once_never_mix(job: Path, tmp_path: Path, force: str) -> None:
    """Real processes, let go together, again and again: one agreed scheme, and the log's last word is about that."""
    many = tmp_path / "many"
    many.mkdir()
    codes = [code_of(job, coats=(n, 2, 2)) for n in (2, 4, 5)]
    for number, code in enumerate(codes):
        (many / f"code{number}").write_text(code)
    jobs = [many / f"job{number}" for number in range(8)]
    for copy in jobs:
        shutil.copytree(job, copy)
    running = [
        subprocess.Popen([sys.executable, "-c", AT_ONCE, str(many), str(number), force], cwd=ROOT)
        for number in range(3)
    ]
    _wait(lambda: all((many / f"ready{number}").exists() for number in range(3)), running)
    for copy in jobs:
        (copy / "go").touch()
        _wait(lambda copy=copy: all((copy / f"done{number}").exists() for number in range(3)), running)
        found = read_lines(copy / LOG_NAME)
        agreed = [entry.values["code"] for entry in found.entries if entry.what == "agreed"]
        assert found.torn_lines == ()
        assert len(agreed) == (3 if force == "force" else 1)
        text = (copy / "scheme.agreed.toml").read_text(encoding="utf-8")
        assert text.splitlines()[0].endswith(f"code {agreed[-1]}")
        coats = [coat.coats for coat in load_scheme(copy / "scheme.agreed.toml").coats]
        assert f"-A-{coats[0]}.2.2-" in agreed[-1]
        assert not list(copy.glob(".layerpreview-*"))
    assert [process.wait(timeout=60) for process in running] == [0, 0, 0]


def _wait(until: Callable[[], bool], running: list[subprocess.Popen[bytes]]) -> None:
    import time

    end = time.monotonic() + 120
    while not until():
        assert all(process.poll() in (None, 0) for process in running)
        assert time.monotonic() < end
        time.sleep(0.005)


# Where the scheme stands now ------------------------------------------------------------------------------------------


@pytest.mark.slow
@pytest.mark.parametrize("copied", [True, False], ids=["copied", "moved"])
def test_it_is_written_beside_the_log_it_was_given(job: Path, tmp_path: Path, copied: bool) -> None:
    code = code_of(job)
    new = tmp_path / "new place"
    (shutil.copytree if copied else shutil.move)(job, new)
    before = tree(job) if copied else set()
    agreed = agree(code, job=new)
    assert agreed.scheme == new / "scheme.agreed.toml"
    assert agreed.cautions == ()
    load_scheme(agreed.scheme)
    assert (tree(job) == before) if copied else not job.exists()
    entry = read_lines(new / LOG_NAME).entries[-1].values
    assert entry["scheme"] == str(new.resolve() / "scheme.agreed.toml")
    assert entry["scheme_from_log"] == "scheme.agreed.toml"


PHOTO_BASE = FULL.replace('colour = "#b9bcc0"\n', 'picture = "base.png"\n', 1)


@pytest.fixture
def shop(tmp_path: Path, quick_pages: None) -> Path:
    """Two jobs of one name, as `start` gives it, each with a photo of its base, and a board of both in the first."""
    for name, colour in (("one", "silver"), ("two", "gold")):
        (tmp_path / "shop" / name).mkdir(parents=True)
        (tmp_path / "shop" / name / "scheme.toml").write_text(PHOTO_BASE.replace("Test part", name), encoding="utf-8")
        Image.new("RGB", (40, 30), colour).save(tmp_path / "shop" / name / "base.png")
    board(tmp_path / "shop" / "one", tmp_path / "shop" / "two" / "scheme.toml")
    return tmp_path / "shop"


@pytest.mark.slow
def test_every_option_goes_beside_the_log_under_a_name_of_its_own(shop: Path) -> None:
    (first,) = read_lines(shop / "one" / LOG_NAME).entries
    assert [option["scheme_from_log"] for option in first.values["options"]] == ["scheme.toml", "../two/scheme.toml"]
    before = tree(shop / "two")
    agreed = {option: agree(code_of(shop / "one", option), job=shop / "one") for option in "AB"}
    assert [one.scheme.name for one in agreed.values()] == [
        "scheme.option-A.agreed.toml",
        "scheme.option-B.agreed.toml",
    ]
    assert {one.scheme.parent for one in agreed.values()} == {shop / "one"}
    assert all(one.cautions == () for one in agreed.values())
    assert tree(shop / "two") == before
    # the photo is that of the second, seen from where the scheme is now
    assert load_scheme(agreed["B"].scheme).base.picture == shop / "one" / "../two/base.png"


@pytest.mark.slow
def test_a_copied_log_writes_nothing_into_the_jobs_it_was_copied_from(shop: Path) -> None:
    """The copy stands beside the jobs, so that the way from the log to the second still leads to the second."""
    shutil.copytree(shop / "one", shop / "backup")
    before = tree(shop) - tree(shop / "backup")
    agreed = agree(code_of(shop / "backup", "B"), job=shop / "backup", force=True)
    assert agreed.scheme == shop / "backup" / "scheme.option-B.agreed.toml"
    assert tree(shop) - before == {"backup/scheme.option-B.agreed.toml"}
    # elsewhere the first has its name beside the log, but is not the one that was agreed on
    shutil.copytree(shop / "one", shop / "deep" / "er")
    (shop / "deep" / "er" / "scheme.toml").write_text("changed", encoding="utf-8")
    assert agree(code_of(shop / "backup", "B"), job=shop / "deep" / "er").cautions == ()


@pytest.mark.slow
def test_the_same_from_a_log_that_did_not_say_the_way_from_the_log(shop: Path) -> None:
    code = code_of(shop / "one", "B")
    edited(shop / "one", lambda entry: [option.pop("scheme_from_log") for option in entry["options"]])
    agreed = agree(code, job=shop / "one")
    assert agreed.scheme == shop / "one" / "scheme.option-B.agreed.toml"
    assert agreed.cautions == ()
    shutil.copytree(shop / "one", shop / "deep" / "er")
    (shop / "deep" / "er" / "scheme.toml").write_text("changed", encoding="utf-8")
    assert agree(code, job=shop / "deep" / "er", force=True).cautions == ()


@pytest.mark.slow
def test_what_was_agreed_can_be_offered_and_agreed_on_again(job: Path) -> None:
    """Each time under the next number, and never over a scheme that another option of the board is."""
    agree(code_of(job), job=job)
    for number in (2, 3):
        made = board_file([job / "scheme.agreed.toml"], out=job / f"board{number}", width_px=64)
        agreed = agree(Choice(made.board, "A", COATS, (100, 100)).code, job=job)
        assert agreed.scheme.name == f"scheme.agreed-{number}.toml"
        text = load_scheme(agreed.scheme).text
        assert how_agreed_beside(agreed.scheme, text=text).is_agreed
        assert how_agreed_beside(job / "scheme.agreed.toml", text=text).instead == agreed.scheme.name


@pytest.mark.slow
def test_commands_in_the_remarks_name_the_agreed_scheme(job: Path) -> None:
    remark = "#     layerpreview check scheme.toml      says what this file asks for"
    (job / "scheme.toml").write_text(f"{remark}\n{FULL}", encoding="utf-8")
    made = board(job, force=True)
    agreed = agree(Choice(made.board, "A", COATS, STRENGTHS).code, job=job)
    assert "layerpreview check scheme.agreed.toml      says" in agreed.scheme.read_text(encoding="utf-8")


PAINT = '[paint."dark rim"]  # how it is mixed\nratio = "1:1 base:reducer"\n# the gun\n'
INLINE = '[paint]\n"dark rim" = { ratio = "1:1 base:reducer" }\n'


@pytest.mark.slow
@pytest.mark.parametrize("paint", [PAINT, INLINE])
def test_a_coat_taken_out_takes_its_paint_along(job: Path, paint: str) -> None:
    text = FULL.replace("opaque =", 'name = "dark rim"\nopaque =').replace("[gun]", f"{paint}[gun]")
    (job / "scheme.toml").write_text(text, encoding="utf-8")
    made = board(job, force=True, allow=["dark rim coats 0 to 4"])
    kept, gone = (
        agree(Choice(made.board, "A", (3, 2, rims), (100, 100)).code, job=job, force=True).scheme.read_text("utf-8")
        for rims in (1, 0)
    )
    assert list(load_scheme(job / "scheme.agreed.toml").paints) == []
    assert ("# the gun" in gone) == ("# the gun" in text)
    assert ('# [paint."dark rim"]  # how it is mixed\n# ratio' in gone) == (paint == PAINT)
    assert paint in kept


@pytest.mark.slow
def test_paint_of_a_coat_that_was_told_twice_stays(job: Path) -> None:
    rim = 'name = "dark rim"\nopaque ='
    text = FULL.replace("opaque =", rim).replace("[gun]", f'[[coat]]\n{rim} "#221814"\nhiding = 1.0\n{PAINT}[gun]')
    (job / "scheme.toml").write_text(text, encoding="utf-8")
    made = board(job, force=True, allow=["coat 3 coats 0 to 4"])
    agreed = agree(Choice(made.board, "A", (3, 2, 0, 1), (100, 100)).code, job=job)
    assert list(load_scheme(agreed.scheme).paints) == ["dark rim"]


def _old(path: str) -> Callable[[dict[str, Any]], object]:
    """An entry as it was when only the full path was recorded."""
    return lambda entry: [(option.pop("scheme_from_log"), option.update(scheme=path)) for option in entry["options"]]


@pytest.mark.slow
@pytest.mark.parametrize(
    "recorded", ["C:\\Jobs\\Mandolin\\scheme.toml", "\\\\shop\\jobs\\scheme.toml", "/gone/scheme.toml", "scheme.toml"]
)
def test_a_log_that_knows_only_a_full_path(
    job: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, recorded: str
) -> None:
    """From another machine too. Nothing may be written where the command happens to run."""
    (tmp_path / "elsewhere").mkdir()
    monkeypatch.chdir(tmp_path / "elsewhere")
    code = code_of(job)
    edited(job, _old(recorded))
    agreed = agree(code, job=job)
    assert agreed.scheme == job / "scheme.agreed.toml"
    assert agreed.cautions == ()
    assert tree(tmp_path / "elsewhere") == set()
    assert not Path("/gone").exists()


@pytest.mark.slow
def test_a_log_kept_elsewhere_that_knows_only_a_full_path(job: Path, tmp_path: Path) -> None:
    code = code_of(job)
    edited(job, _old(str(job / "scheme.toml")))
    (tmp_path / "logs").mkdir()
    shutil.move(job / LOG_NAME, tmp_path / "logs" / "mandolin.jsonl")
    agreed = agree(code, job=tmp_path / "logs" / "mandolin.jsonl")
    assert agreed.scheme == tmp_path / "logs" / "scheme.agreed.toml"
    assert agreed.cautions == ()


@pytest.mark.slow
def test_a_log_moved_alone_gets_the_scheme_beside_it(job: Path, tmp_path: Path) -> None:
    code = code_of(job)
    edited(job, _old("/gone/far/scheme.toml"))
    (tmp_path / "alone").mkdir()
    shutil.move(job / LOG_NAME, tmp_path / "alone" / LOG_NAME)
    agreed = agree(code, job=tmp_path / "alone")
    assert agreed.scheme == tmp_path / "alone" / "scheme.agreed.toml"
    assert "no longer there" in agreed.cautions[0]
    assert not Path("/gone").exists()


@pytest.mark.slow
def test_no_folder_is_made_for_a_job_that_is_not_there(job: Path, tmp_path: Path) -> None:
    code = code_of(job)
    before = tree(tmp_path)
    for gone in (tmp_path / "gone", tmp_path / "gone" / LOG_NAME):
        with pytest.raises(InputError, match=r"there is no log here; board .* is known in .*job: add --job") as caught:
            agree(code, job=gone)
        assert len(str(caught.value).splitlines()) == 1
    with pytest.raises(OutputError, match="there is no folder"):
        board(job, log=tmp_path / "gone" / LOG_NAME, force=True)
    assert tree(tmp_path) == before


@pytest.mark.slow
def test_an_agreed_scheme_that_could_not_be_used_is_not_written(job: Path, tmp_path: Path) -> None:
    """Here for a photo that was not moved along."""
    Image.new("RGB", (40, 30), "silver").save(job / "base.png")
    (job / "scheme.toml").write_text(PHOTO_BASE, encoding="utf-8")
    made = board(job, force=True)
    new = tmp_path / "new"
    new.mkdir()
    for name in ("scheme.toml", LOG_NAME):
        shutil.copy(job / name, new / name)
    log = (new / LOG_NAME).read_bytes()
    with pytest.raises(InputError) as caught:
        agree(Choice(made.board, "A", COATS, STRENGTHS).code, job=new)
    whole, why = str(caught.value).splitlines()
    assert "scheme.agreed.toml: the agreed scheme could not be used; nothing was written or recorded" in whole
    assert why.startswith('base.picture = "base.png": there is no such file')
    assert tree(new) == {"scheme.toml", LOG_NAME}
    assert (new / LOG_NAME).read_bytes() == log


# The text that was loaded ---------------------------------------------------------------------------------------------


@pytest.mark.slow
def test_the_log_keeps_the_text_that_the_board_shows(job: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A scheme saved anew while the board is being made is not what the client sees."""
    real = board_module.load_scheme

    def load(path: Path) -> Any:
        scheme = real(path)
        path.write_text(FULL.replace("coats = 3", "coats = 9"), encoding="utf-8")
        return scheme

    monkeypatch.setattr(board_module, "load_scheme", load)
    made = board(job, force=True)
    offer = read_lines(job / LOG_NAME).entries[-1].values["options"][0]
    assert offer["text"] == FULL
    assert offer["sha256"] == hashlib.sha256(FULL.encode()).hexdigest()
    agreed = agree(Choice(made.board, "A", COATS, STRENGTHS).code, job=job)
    assert "changed since" in agreed.cautions[0]


def test_a_scheme_knows_the_text_it_was_read_from(save_scheme: Save) -> None:
    scheme = load_scheme(save_scheme("\ufeff" + FULL.replace("\n", "\r\n")))
    assert scheme.text == FULL
    assert "layerpreview = 1" not in repr(scheme)


@pytest.mark.slow
@pytest.mark.parametrize("ends", ["\r\n", "\r", "\n"])
def test_other_line_ends_are_no_change(job: Path, ends: str) -> None:
    """Neither in the scheme since, nor in the text of an earlier log."""
    code = code_of(job)
    (job / "scheme.toml").write_bytes(b"\xef\xbb\xbf" + FULL.replace("\n", ends).encode())
    assert agree(code, job=job).cautions == ()
    (job / "scheme.toml").write_text(FULL, encoding="utf-8")
    edited(job, lambda entry: entry["options"][0].update(text=FULL.replace("\n", ends)))
    agreed = agree(code, job=job, force=True)
    assert agreed.cautions == ()
    assert b"\r" not in agreed.scheme.read_bytes()


# Edited by hand -------------------------------------------------------------------------------------------------------


def _set(*path: Any, to: Any) -> Callable[[dict[str, Any]], None]:
    def change(entry: Any) -> None:
        for step in path[:-1]:
            entry = entry[step]
        entry[path[-1]] = to

    return change


def _drop(*path: Any) -> Callable[[dict[str, Any]], None]:
    def change(entry: Any) -> None:
        for step in path[:-1]:
            entry = entry[step]
        del entry[path[-1]]

    return change


OPTION = ("options", 0)
SPOILT = {
    "options": (_drop("options"), "options: this is missing"),
    "options as text": (_set("options", to="A"), "options = "),
    "an option as text": (_set("options", to=["A"]), "options[1] = "),
    "scheme": (_drop(*OPTION, "scheme"), "options[1].scheme: this is missing"),
    "scheme as number": (_set(*OPTION, "scheme", to=3), "options[1].scheme = 3: a text is wanted"),
    "no scheme": (_set(*OPTION, "scheme", to=""), "options[1].scheme = "),
    "name": (_drop(*OPTION, "name"), "options[1].name: this is missing"),
    "text": (_drop(*OPTION, "text"), "options[1].text: this is missing"),
    "text that is no scheme": (_set(*OPTION, "text", to="so {"), "options[1]: its text is no scheme"),
    "text without coats": (_set(*OPTION, "text", to="a = 1"), "options[1]: its text has no coat number 1"),
    "one coat as text": (_set(*OPTION, "text", to="coat = [1, 2, 3]"), "its text has no coat number 1"),
    "coats": (_drop(*OPTION, "coats"), "options[1].coats: this is missing"),
    "proposed": (_drop(*OPTION, "coats", 1, "proposed"), "options[1].coats[2].proposed: this is missing"),
    "from": (_set(*OPTION, "coats", 1, "from", to="two"), "options[1].coats[2].from = "),
    "to": (_set(*OPTION, "coats", 2, "to", to=None), "options[1].coats[3].to = null: a whole number is wanted"),
    "entry": (_set(*OPTION, "coats", 0, "entry", to=7), "options[1]: its text has no coat number 8"),
    "entry before the first": (_set(*OPTION, "coats", 0, "entry", to=-1), "options[1].coats[1].entry = -1"),
    "mix": (_drop(*OPTION, "mixes", 0, "mix"), "options[1].mixes[1].mix: this is missing"),
    "another mix": (_set(*OPTION, "mixes", 0, "mix", to="plum"), "options[1]: its text has no mix plum"),
    "another text": (_set(*OPTION, "text", to=f"{FULL}# more\n"), "options[1]: its text is not the one that the board"),
    "other coats": (_set(*OPTION, "coats", 0, "proposed", to=4), "options[1]: its text has not the 4 coats"),
    "a list as mix": (_set(*OPTION, "mixes", to={"mix": "honey"}), "options[1].mixes: a list is wanted"),
}


@pytest.mark.slow
@pytest.mark.parametrize("name", SPOILT)
def test_an_entry_spoilt_by_hand_is_told_in_one_line(job: Path, name: str) -> None:
    change, told = SPOILT[name]
    code = code_of(job)
    edited(job, change)
    before = (job / LOG_NAME).read_bytes()
    with pytest.raises(InputError) as caught:
        agree(code, job=job)
    assert str(caught.value).startswith(f"{job / LOG_NAME}:1: ")
    assert told in str(caught.value)
    assert len(str(caught.value).splitlines()) == 1
    assert (job / LOG_NAME).read_bytes() == before
    assert not (job / "scheme.agreed.toml").exists()
    (entry,) = job_log(job).entries
    assert entry.words.startswith("board: cannot be read (")


@pytest.mark.slow
def test_what_a_later_version_adds_is_let_be(job: Path) -> None:
    code = code_of(job)
    edited(job, lambda entry: (entry.update(seal="x"), entry["options"][0]["coats"][0].update(note="y")))
    assert agree(code, job=job).cautions == ()


# Withdrawn ------------------------------------------------------------------------------------------------------------


@pytest.mark.slow
def test_a_withdrawn_board_is_no_longer_agreed_on(job: Path) -> None:
    code = code_of(job)
    job_log(job, withdraw=True)
    before = (job / LOG_NAME).read_bytes()
    with pytest.raises(InputError, match=rf"{LOG_NAME}:1: .*board {code[3:8]} was withdrawn; make the board again"):
        agree(code, job=job)
    assert (job / LOG_NAME).read_bytes() == before
    board(job, force=True)  # made again it stands again
    assert agree(code, job=job).option == "A"


# What is told ---------------------------------------------------------------------------------------------------------


def test_it_says_what_was_agreed_when_and_what_comes_next(job: Path, run: Callable[..., tuple[int, str, str]]) -> None:
    code = Choice(str(read_lines(job / LOG_NAME).entries[0].values["board"]), "A", (4, 0, 2), (110, 100))
    # read out on the telephone and typed with blanks: a shell takes it apart
    status, out, err = run("agree", *code.grouped.replace("\u00b7", "").lower().split(), "--job", job)
    assert status == 0
    first, *lines = out.splitlines()
    assert re.fullmatch(r"Agreed on \d{4}-\d\d-\d\d \d\d:\d\d: option A, Test part", first)
    assert lines == [
        "  honey, all over: 4 coats (3 proposed)",
        "  sea, fades out over 15 mm from the edge (10 % of it stays further in): no coats (2 proposed)",
        "  opaque #221814, on the rim, 6 mm wide: 2 coats",
        "  strength of honey: 110 % of proposed",
        "  strength of sea: as proposed",
    ]
    assert err.splitlines() == [
        f"Wrote {job / 'scheme.agreed.toml'}, recorded in {job / LOG_NAME}",
        f"Next: what to mix for it: layerpreview sheet {job / 'scheme.agreed.toml'}",
    ]


def test_the_time_is_that_of_the_log(job: Path) -> None:
    agreed = agree(code_of(job), job=job, now=datetime(2026, 5, 4, 23, 30, 1, 5, tzinfo=timezone(timedelta(hours=2))))
    assert read_lines(job / LOG_NAME).entries[-1].values["time"] == "2026-05-04T21:30:01+00:00"
    assert agreed.time == datetime(2026, 5, 4, 21, 30, 1, tzinfo=UTC)


def test_only_what_there_is_is_named(job: Path) -> None:
    with pytest.raises(InputError, match=r"has no option C; it has A; ask the client again"):
        agree(code_of(job, "C"), job=job)
    with pytest.raises(InputError, match="no code of a board is in it"):
        agree("option B please", job=job)


def test_a_text_that_was_changed_tells_its_code(job: Path, tmp_path: Path) -> None:
    mail = tmp_path / "mail.txt"
    code = code_of(job)
    mail.write_text(
        f"layerpreview agreement 1\nA board\nhoney: 9 coats\nNote: -\nCode: {code}\nCheck: 0000000\n", "utf-8"
    )
    with pytest.raises(InputError, match=f"or go by the code alone, which is whole: {code}"):
        agree(str(mail), job=job)


def test_the_same_choice_a_second_time_is_told(job: Path) -> None:
    agree(code_of(job), job=job, now=datetime(2026, 5, 4, 12, tzinfo=UTC))
    before = tree(job), (job / LOG_NAME).read_bytes()
    with pytest.raises(
        InputError, match=r"this was agreed on already, on 2026-05-04; .* go on with scheme\.agreed\.toml"
    ):
        agree(code_of(job), job=job)
    assert (tree(job), (job / LOG_NAME).read_bytes()) == before
    agree(code_of(job), job=job, force=True)


def test_a_job_nearby_that_knows_the_board_is_named(job: Path) -> None:
    code = code_of(job)
    for place in (job.parent, job / "board"):
        with pytest.raises(InputError, match=f"board {code[3:8]} is known in .*job: add --job ") as caught:
            agree(code, job=place)
        assert "there is no log here" in str(caught.value)
    (job.parent / LOG_NAME).write_text('{"what": "agreed", "time": ""}\n', encoding="utf-8")
    with pytest.raises(InputError, match=r"knows no board .* \(it knows: none\); board .* is known in"):
        agree(code, job=job.parent)
    with pytest.raises(InputError, match="name the job's folder, or its log, with --job"):
        agree(
            code.replace(code[3:8], "00000")[:-7] + Choice("00000", "A", COATS, STRENGTHS).code[-7:], job=job / "board"
        )
