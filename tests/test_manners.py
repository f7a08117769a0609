"""How the command line talks: exists for a list of thirty commands, progress in a pipe, a line that stays on the
terminal, words after `--quiet`, and an option that only counts in one place."""

from __future__ import annotations

import io
import json
import os
import re
import shutil
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
import typer

from layerpreview import cli
from layerpreview.cli import common, complete, shown
from layerpreview.cli.groups import FINER, GROUPS, ORDER
from layerpreview.doing import doing, each_of, told_to

from .schemes import FULL, HEAD, PANEL, SILVER

Run = Callable[..., tuple[int, str, str]]
Save = Callable[..., Path]


class Terminal(io.StringIO):
    """What a terminal is sent."""

    def isatty(self) -> bool:
        return True


@pytest.fixture
def terminal(monkeypatch: pytest.MonkeyPatch) -> Terminal:
    """A terminal on which a line comes at once; `_looked_at` puts it in place (a fixture comes before capturing)."""
    monkeypatch.setattr(shown, "AFTER_S", 0.0)
    monkeypatch.setenv("TERM", "xterm")
    for name in ("NO_COLOR", "CI", "FORCE_COLOR", "COLUMNS"):
        monkeypatch.delenv(name, raising=False)
    return Terminal()


@contextmanager
def _looked_at(terminal: io.StringIO, wanted: bool = True) -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sys, "stderr", terminal)
        with shown.shown(lambda: wanted):
            yield


def _worked(terminal: Terminal, until: str) -> None:
    """Work until the terminal shows it."""
    end = time.monotonic() + 10.0
    while until not in terminal.getvalue() and time.monotonic() < end:
        doing("drawing\x1b[2J the front", 0.5)
        time.sleep(0.02)


def test_every_command_has_its_place() -> None:
    group = typer.main.get_command(cli.app)
    names = set(group.commands)  # type: ignore[attr-defined]
    assert names == set(ORDER)
    assert len(ORDER) == len(set(ORDER))
    hidden = {name for name in names if group.commands[name].hidden}  # type: ignore[attr-defined]
    assert hidden == set(FINER)


def test_help_is_one_screen_by_what_one_does(run: Run) -> None:
    code, out, _ = run("--help")
    assert code == 0
    lines = out.splitlines()
    assert max(map(len, lines)) <= 80
    assert len(lines) < 60
    for title, names in GROUPS:
        at = lines.index(f"{title}:")
        listed = [line.split()[0] for line in lines[at + 1 : at + 1 + len(names)]]
        assert listed == list(names)
    assert "..." not in out.partition("Begin")[2]


@pytest.mark.parametrize("typed", [("-h",), ("help",), ("--help",)])
def test_ways_to_the_help(run: Run, typed: tuple[str, ...]) -> None:
    assert run(*typed)[:2] == run("--help")[:2]


@pytest.mark.parametrize("typed", [("help", "ladder"), ("ladder", "-h"), ("ladder", "--help")])
def test_ways_to_a_command_s_help(run: Run, typed: tuple[str, ...]) -> None:
    code, out, _ = run(*typed)
    assert code == 0
    assert out.startswith("Usage: layerpreview ladder ")
    assert "--quiet" in out


def test_help_for_what_is_not_there_says_what_it_is_like(run: Run) -> None:
    assert run("help", "rendr")[::2] == (2, 'error: rendr: there is no such command; did you mean "render"?\n')


@pytest.mark.parametrize(
    "typed",
    [
        ("check", "job.toml", "--json"),
        ("check", "--json", "job.toml"),
        ("--json", "check", "job.toml"),
        ("check", ".", "--json"),
        ("-q", "check", ".", "--json"),
    ],
)
def test_an_option_stands_where_one_likes_and_a_folder_means_its_scheme(
    run: Run, save_scheme: Save, typed: tuple[str, ...]
) -> None:
    save_scheme(FULL)
    code, out, err = run(*typed)
    assert code == 0, err
    assert json.loads(out)


def test_a_folder_of_several_schemes_is_asked_about(run: Run, save_scheme: Save, tmp_path: Path) -> None:
    for name in ("pale.toml", "deep.toml"):
        save_scheme(FULL, name)
    for command in ("check", "figures", "render", "sheet", "choose", "board", "touch-up"):
        code, out, err = run(command, tmp_path)
        assert (code, out, err.count("\n")) == (2, "", 1)
        assert "name one: deep.toml, pale.toml" in err


def test_quiet_leaves_results_and_errors(run: Run, save_scheme: Save) -> None:
    save_scheme(FULL)
    quiet = "--quiet"
    loud, hushed = run("check", "job.toml"), run("check", "job.toml", quiet)
    assert hushed[:2] == loud[:2]
    assert "Next: " in loud[2]
    assert "Next: " not in hushed[2]
    assert run(quiet, "check", "job.toml") == hushed
    assert run("check", "nothing.toml", quiet) == run("check", "nothing.toml")
    assert run("check", "job.toml") == loud  # and is not remembered


def test_progress_goes_to_a_terminal_and_away(terminal: Terminal) -> None:
    with _looked_at(terminal):
        _worked(terminal, "50%")
        common.say("Wrote it")
    sent = terminal.getvalue()
    assert "drawing?[2J the front" in sent  # what a file is called cannot steer the terminal
    # ECMA-48: EL with 2 erases the line that the cursor is on.
    assert sent.index("\x1b[2K", sent.rindex("drawing")) < sent.index("Wrote it")
    assert sent.endswith("Wrote it\n")
    assert sent.rindex("\x1b[?25h") > sent.rfind("\x1b[?25l")  # DECTCEM: the cursor is there


@pytest.mark.parametrize("name", ["NO_COLOR", "CI"])
def test_no_colours_where_none_are_wanted(terminal: Terminal, monkeypatch: pytest.MonkeyPatch, name: str) -> None:
    monkeypatch.setenv(name, "1")
    with _looked_at(terminal):
        _worked(terminal, "50%")
    assert "drawing" in terminal.getvalue()
    assert not re.search(r"\x1b\[[0-9;]*m", terminal.getvalue())  # ECMA-48: SGR


def test_no_progress_in_pipes_or_where_words_are_not_wanted(
    terminal: Terminal, monkeypatch: pytest.MonkeyPatch
) -> None:
    told: list[str] = []
    monkeypatch.setattr(shown.Line, "told", lambda _, words, __: told.append(words))
    with _looked_at(terminal):
        doing("seen")
    with _looked_at(terminal, wanted=False):
        doing("not wanted")
    with _looked_at(io.StringIO()):
        doing("in a pipe")
    monkeypatch.setenv("TERM", "dumb")
    with _looked_at(terminal):
        doing("where no line can be taken back")
    assert told == ["seen"]


def test_what_is_soon_done_shows_nothing(terminal: Terminal, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(shown, "AFTER_S", 30.0)
    with _looked_at(terminal):
        doing("drawing", 0.5)
    assert terminal.getvalue() == ""


def test_other_threads_say_nothing() -> None:
    heard: list[str] = []
    with told_to(lambda words, _: heard.append(words)):
        thread = threading.Thread(target=doing, args=("beside",))
        thread.start()
        thread.join()
        doing("here")
    doing("after")
    assert heard == ["here"]


def test_a_loop_that_is_left_is_forgotten() -> None:
    heard: list[tuple[str, float | None]] = []
    with told_to(lambda words, share: heard.append((words, share))):
        for _ in each_of("outer", range(2), 2):
            next(iter(each_of("inner", range(4), 4)))
        doing("then")
    assert heard[-1] == ("then", None)
    assert [share for words, share in heard if words == "outer"] == [0.0, 0.5, 1.0]


@pytest.mark.skipif(shutil.which("bash") is None, reason="needs bash")
def test_bash_completes_commands(run: Run, tmp_path: Path) -> None:
    code, script, _ = run("completion", "bash")
    assert code == 0
    (tmp_path / "layerpreview").write_text(f'#!/bin/sh\nexec "{sys.executable}" -m layerpreview "$@"\n')
    (tmp_path / "layerpreview").chmod(0o755)
    asked = 'COMP_WORDS=(layerpreview ev); COMP_CWORD=1; _layerpreview_completion layerpreview; echo "${COMPREPLY[@]}"'
    asked += '; COMP_WORDS=(layerpreview re); _layerpreview_completion layerpreview; echo "${COMPREPLY[@]}"'
    path = f"{tmp_path}{os.pathsep}{os.environ['PATH']}"
    home = Path(cli.__file__).parents[2]
    done = subprocess.run(
        [str(shutil.which("bash")), "-c", f"{script}\n{asked}"],
        env={**os.environ, "PATH": path, "PYTHONPATH": str(home)},
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stderr == ""
    assert done.stdout.splitlines() == ["", "render record remake"]  # commands that are not listed are not offered


def test_other_shells(run: Run) -> None:
    for shell in complete.SHELLS:
        code, out, err = run("completion", shell)
        assert code == 0
        assert "_LAYERPREVIEW_COMPLETE" in out
        assert err.startswith("Next: ")
    code, _, err = run("completion", "tcsh")
    assert code == 2
    assert "use one of bash, zsh, fish" in err


def test_nothing_to_choose_without_dye(run: Run, save_scheme: Save) -> None:
    save_scheme(HEAD + PANEL + SILVER)
    code, out, err = run("choose", "job.toml", "--json")
    assert (code, err) == (1, f"error: {json.loads(out)['reason']}\n")


def test_what_cannot_be_chosen(run: Run, save_scheme: Save) -> None:
    save_scheme(FULL)
    code, _, err = run("choose", "job.toml", "--what", "evn", "--what", "colour")
    assert (code, len(err.splitlines())) == (2, 2)
    assert "use one of steps, even, sure, colour" in err


def test_choose_is_one_screen(run: Run, save_scheme: Save, tmp_path: Path) -> None:
    save_scheme(FULL)
    code, out, err = run("choose", ".", "--what", "steps", "--colour", "#ff00ff", "-o", "made")
    assert code == 1
    assert err.splitlines()[-1].startswith("error: The screen colour #ff00ff")
    assert "more:    layerpreview ladder job.toml" in out
    assert 'more:    layerpreview reach job.toml "#ff00ff"' in out
    assert len(out.splitlines()) < 24
    for line in out.splitlines():
        if line.startswith("  picture: "):
            assert (tmp_path / line.removeprefix("  picture: ")).is_file()


def test_a_record_in_place_of_a_job_is_checked(run: Run) -> None:
    kept = Path(__file__).parent / "reference" / "record_v1.record.zip"
    found = run("record", kept)
    assert found == run("check-record", kept)
    assert found[0] == 0
    assert found[2].startswith("Next: unpack it")
