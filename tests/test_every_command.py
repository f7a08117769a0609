"""Every command from the shell's side, in process: exists for a command that no test runs, that mixes words into its
JSON, that writes nothing it says, or ends without saying what to do next."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from fnmatch import fnmatch
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

import layerpreview
from layerpreview.cli import app
from layerpreview.cli.groups import ORDER
from layerpreview.output.board_code import Choice

from .schemes import FULL
from .written import names_in

Run = Callable[..., tuple[int, str, str]]
Save = Callable[..., Path]

JOB = FULL.replace("[dye.yellow]\n", "[dye.yellow]\nlight_fastness = 4\n").replace(
    "[dye.blue]\n", '[dye.blue]\nlight_fastness = "5 to 6"\n'
)
SPECTRUM = "nm,absorbance\n" + "".join(f"{nm},{0.8 - 0.7 * (nm > 500)}\n" for nm in range(380, 790, 10))
# A card of a dye over white and silver, read as L*a*b* (invented): coats 0, 1, 2, 4.
CARD = """\
# strength: 12 mL/L
# film: 40 um
background,coats,L,a,b
white,0,95,0,1
white,1,88,2,30
white,2,83,5,50
white,4,76,10,72
base,0,70,0,0
base,1,66,1,18
base,2,62,3,30
base,4,56,6,45
"""


@pytest.fixture
def job(save_scheme: Save) -> Path:
    """A scheme with everything in it, and beside it what the commands need to read."""
    scheme = save_scheme(JOB)
    for name, text in (("cell.csv", SPECTRUM), ("card.csv", CARD)):
        save_scheme(text, name)
    return scheme


# What to type after the command; "job.toml" and the files above stand in the folder. None: it has no --json.
WITHOUT_JSON = {
    "demo": ["-o", "made"],
    "start": ["made"],
    "card": ["-o", "made"],
    "completion": ["bash"],
}
# Goes on until it is closed: tests/desk.
SERVING = ["desk", "practise"]
ANSWERING = {
    "check": ["job.toml"],
    "render": ["job.toml", "--width", "64", "-o", "made"],
    "turn": ["job.toml", "--width", "64", "--frames", "2", "-o", "made"],
    "figures": ["job.toml"],
    "fit": ["card.csv", "--name", "my yellow", "-o", "made"],
    "fit-mix": ["card.csv", "--dye", "one.dye.toml=6 mL/L", "--dye", "two.dye.toml=3 mL/L"],
    "import": ["cell.csv", "--strength", "0.02 g/L", "-o", "made"],
    "progress": ["job.toml", "--mix", "honey", "--coats-done", "2", "--lab", "71,-13,34.5"],
    "log": ["."],
    "choose": ["job.toml", "--width", "64", "-o", "made"],
    "ladder": ["job.toml", "--coats", "3", "-o", "made"],
    "reach": ["job.toml", "step 2", "-o", "made"],
    "evenness": ["job.toml", "--width", "64", "-o", "made"],
    "tolerance": ["job.toml", "--runs", "200", "-o", "made"],
    "fade": ["job.toml", "--years-window", "2", "-o", "made"],
    "touch-up": ["job.toml", "--damage", "38,14 46,16 44,24 mm", "--feather", "10 mm", "--width", "64", "-o", "made"],
    "atlas": ["job.toml", "--coats", "1", "--strengths", "2,9", "--workers", "1", "-o", "made"],
    "render-all": [".", "--width", "64", "--no-board", "--workers", "1"],
    "sheet": ["job.toml"],
    "board": ["job.toml", "--width", "64", "-o", "made"],
    "agree": ["CODE"],
    "record": ["job.toml", "--width", "64", "-o", "made"],
    "check-record": ["record_v1.record.zip"],
    "diary": ["job.toml"],
    "teach": ["."],
    "book": ["."],
    "remake": ["record_v1.record.zip", "-o", "made", "--force"],
}


def test_every_command_is_tried_here() -> None:
    assert sorted([*WITHOUT_JSON, *SERVING, *ANSWERING]) == sorted(ORDER)


def _prepare(run: Run, command: str, tmp_path: Path) -> list[str]:
    """What a command needs to have been done before, and its arguments."""
    arguments = ANSWERING[command]
    if command == "atlas":
        pytest.importorskip("pyarrow")
    if command == "fit-mix":
        for name, scale in (("one", 1.0), ("two", 0.4)):
            text = "nm,absorbance\n" + "".join(
                f"{nm},{scale * np.exp(-(((nm - (430 if name == 'one' else 610)) / 60) ** 2)):.4f}\n"
                for nm in range(380, 790, 10)
            )
            (tmp_path / f"{name}.csv").write_text(text)
            made = run(
                "import", f"{name}.csv", "--strength", "0.02 g/L", "--concentrate", "40 g/L", "--name", name, "-o", "."
            )
            assert made[0] == 0, made
    if command in ("check-record", "remake"):
        kept = Path(__file__).parent / "reference" / "record_v1.record.zip"
        (tmp_path / kept.name).write_bytes(kept.read_bytes())
    if command in ("agree", "log"):
        code, out, err = run("board", "job.toml", "--width", 64, "-o", "board", "--json")
        assert code == 0, err
        coats = json.loads((tmp_path / "job-log.jsonl").read_text("utf-8"))["options"][0]["coats"]
        choice = Choice(json.loads(out)["board"], "A", tuple(coat["proposed"] for coat in coats), (100, 100))
        arguments = [choice.code if argument == "CODE" else argument for argument in arguments]
    return arguments


def _help_names_what_is_written(command: str, folder: Path, arguments: list[str]) -> None:
    """Each file in `folder` is one that the command's help names; words in capitals there stand for any."""
    if command == "choose" or not folder.is_dir():  # it writes what others do, each into its own folder
        return
    told = re.findall(r"[\w.]+\.\w+", CliRunner().invoke(app, [command, "--help"]).output)
    patterns = [re.sub("[A-Z]{3,}", "*", name) for name in told]
    for name in names_in(folder):
        asked_for = any(argument.endswith(f"/{name}") for argument in arguments)
        assert asked_for or any(fnmatch(name, pattern) for pattern in patterns), (command, name)


@pytest.mark.slow
@pytest.mark.parametrize("command", ANSWERING)
def test_answers_in_words_and_as_json(run: Run, job: Path, tmp_path: Path, command: str) -> None:
    arguments = _prepare(run, command, tmp_path)
    code, words, err = run(command, *arguments)
    assert code == 0, err
    assert "error" not in err
    assert (words + err).strip()
    assert err.splitlines()[-1].startswith("Next: ")
    _help_names_what_is_written(command, tmp_path / "made", arguments)
    # What is made anew takes its own place unasked; what a person goes on with is theirs.
    for path in (*tmp_path.glob("made/*.dye.toml"), tmp_path / "job.agreed.toml"):
        path.unlink(missing_ok=True)
    code, out, err = run(command, *arguments, "--json")
    assert code == 0, err
    assert isinstance(json.loads(out), dict)
    assert out.endswith("}\n")
    assert "error" not in err
    for path in tmp_path.glob("made/*.json"):
        json.loads(path.read_text("utf-8"))


@pytest.mark.slow
@pytest.mark.parametrize("command", ["start", "card"])
def test_what_only_writes(run: Run, tmp_path: Path, command: str) -> None:
    code, out, err = run(command, *WITHOUT_JSON[command])
    assert (code, out) == (0, ""), err
    assert err.splitlines()[-1].startswith("Next: ")
    assert list((tmp_path / "made").iterdir())


def test_version(run: Run) -> None:
    assert run("--version")[:2] == (0, f"layerpreview {layerpreview.__version__}\n")


def test_help_tells_of_debug(run: Run) -> None:
    code, out, _ = run("--help")
    assert code == 0
    assert "--debug" in out
    assert "--version" in out


@pytest.mark.slow
def test_no_answer_is_1(run: Run, job: Path) -> None:
    code, _, err = run("reach", job, "#ff00ff", "--dyes", "yellow", "-o", "made")
    assert code == 1
    assert "cannot be reached" in err
