"""The client's choice and the job's log: exists for a copied job whose agreement went back into the old folder, two
agreements at once, a page that nobody could redeem, a log edited by hand, and an agreed scheme that does not read."""

from __future__ import annotations

import hashlib
import json
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from layerpreview.errors import InputError, LayerPreviewError, OutputError
from layerpreview.output import joblog
from layerpreview.output.board_code import Choice
from layerpreview.output.joblog import LOG_NAME, read_lines
from layerpreview.scheme import load_scheme
from layerpreview.workflows import board as board_module
from layerpreview.workflows.agree import agree
from layerpreview.workflows.board import BoardMade, board_file
from layerpreview.workflows.log import job_log

from ..schemes import FULL

ROOT = Path(__file__).parents[2]
COATS, STRENGTHS = (4, 2, 2), (110, 100)
Save = Callable[..., Path]


@pytest.fixture
def job(tmp_path: Path) -> Path:
    """A job's folder with a scheme, a board and so a log."""
    folder = tmp_path / "job"
    folder.mkdir()
    (folder / "scheme.toml").write_text(FULL, encoding="utf-8")
    board(folder)
    return folder


def board(job: Path, *more: Path, **how: Any) -> BoardMade:
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
    monkeypatch.setattr(board_module, "write_picture", lambda *_: _full(0))
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


@pytest.mark.slow
def test_a_scheme_in_another_folder_is_found_from_the_log(job: Path, tmp_path: Path) -> None:
    """Two schemes of one name, as `start` gives it: the second option goes beside the second, moved or not."""
    shutil.copytree(job, tmp_path / "shop" / "one", ignore=shutil.ignore_patterns(LOG_NAME, "board"))
    shutil.copytree(tmp_path / "shop" / "one", tmp_path / "shop" / "two")
    made = board(tmp_path / "shop" / "one", tmp_path / "shop" / "two" / "scheme.toml")
    code = Choice(made.board, "B", COATS, STRENGTHS).code
    (first,) = read_lines(made.log).entries
    assert [option["scheme_from_log"] for option in first.values["options"]] == ["scheme.toml", "../two/scheme.toml"]
    agree(code, job=tmp_path / "shop" / "one")
    assert (tmp_path / "shop" / "two" / "scheme.agreed.toml").is_file()
    shutil.copytree(tmp_path / "shop", tmp_path / "moved", ignore=shutil.ignore_patterns("*.agreed.toml"))
    agree(code, job=tmp_path / "moved" / "one")
    assert (tmp_path / "moved" / "two" / "scheme.agreed.toml").is_file()
    # the same from a log that did not yet say the way from the log
    edited(tmp_path / "moved" / "one", lambda entry: [option.pop("scheme_from_log") for option in entry["options"]])
    (tmp_path / "moved" / "two" / "scheme.agreed.toml").unlink()
    agree(code, job=tmp_path / "moved" / "one")
    assert (tmp_path / "moved" / "two" / "scheme.agreed.toml").is_file()
    assert not (tmp_path / "moved" / "one" / "scheme.agreed.toml").exists()


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
    assert agree(code, job=tmp_path / "logs" / "mandolin.jsonl").scheme == job / "scheme.agreed.toml"


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
        with pytest.raises(InputError, match="there is no log here; name the job's folder") as caught:
            agree(code, job=gone)
        assert len(str(caught.value).splitlines()) == 1
    with pytest.raises(OutputError, match="there is no folder"):
        board(job, log=tmp_path / "gone" / LOG_NAME, force=True)
    assert tree(tmp_path) == before


@pytest.mark.slow
def test_what_keeps_the_agreed_scheme_from_reading_is_told(job: Path, tmp_path: Path) -> None:
    """Here a photo that was not moved along. It is written all the same."""
    Image.new("RGB", (40, 30), "silver").save(job / "base.png")
    old = '[base]\nkind = "metal"\ncolour = "#b9bcc0"\n'
    assert FULL.count(old) == 1
    text = FULL.replace(old, '[base]\nkind = "metal"\npicture = "base.png"\n')
    (job / "scheme.toml").write_text(text, encoding="utf-8")
    made = board(job, force=True)
    new = tmp_path / "new"
    new.mkdir()
    for name in ("scheme.toml", LOG_NAME):
        shutil.copy(job / name, new / name)
    agreed = agree(Choice(made.board, "A", COATS, STRENGTHS).code, job=new)
    (caution,) = agreed.cautions
    assert "scheme.agreed.toml" in caution
    assert "base.png: there is no such file" in caution.replace('"', "")
    assert len(caution.splitlines()) == 1
    assert agreed.scheme.is_file()
    assert tree(new) == {"scheme.toml", "scheme.agreed.toml", LOG_NAME}


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
