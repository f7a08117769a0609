"""Other systems: exists for a line end, an encoding, a separator or a signal of the one system this was written on.

What only another system can show is run there (.github/workflows/tests.yml); here stands what can be proved anywhere.
"""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path, PureWindowsPath

import pytest

import layerpreview
from layerpreview.errors import InputError, OutputError
from layerpreview.learn.read.readings import load_readings
from layerpreview.learn.read.spectra import load_spectra
from layerpreview.output.files import utf8, write_text, written_together
from layerpreview.output.joblog import read_lines, recorded
from layerpreview.output.plain_json import json_line, plain_json
from layerpreview.scheme import load_scheme

from .schemes import FULL

PACKAGE = Path(layerpreview.__file__).parent
HABITS = {"fcntl", "multiprocessing", "pwd", "grp", "resource", "termios", "tty", "pty", "crypt", "syslog"}
"""Modules that one common system lacks, and processes that are copied on one system and begun anew on others."""
CALLS = {"fork", "forkpty", "getuid", "geteuid", "setsid", "killpg", "mkfifo", "chown"}
SIGNALS = {"SIGINT", "SIG_DFL", "SIG_IGN"}
CARD = "# strength: 12 mL/L\n# film: 40 um\nbackground,coats,L,a,b\n"
CARD += "white,0,95,0,1\nwhite,2,83,5,50\nbase,0,70,0,0\nbase,2,62,3,30\n"
SPECTRUM = "nm,absorbance\n" + "".join(f"{nm},{0.8 - 0.7 * (nm > 500)}\n" for nm in range(380, 790, 10))


def test_no_habit_of_one_system() -> None:
    """`fcntl` stands behind a question for the system in one module, and signals are asked for by name."""
    found = []
    for path in PACKAGE.rglob("*.py"):
        text = path.read_text(encoding="utf-8")
        found += [(path.name, word) for word in re.findall(r"^ *(?:import|from) (\w+)", text, re.M) if word in HABITS]
        found += [(path.name, word) for word in re.findall(r"\bos\.(\w+)\(", text) if word in CALLS]
        found += [(path.name, word) for word in re.findall(r"\bsignal\.(SIG\w+)", text) if word not in SIGNALS]
    assert found == [("locks.py", "fcntl")]


def test_a_host_runs_what_the_readme_says() -> None:
    top = PACKAGE.parent
    workflow = (top / ".github/workflows/tests.yml").read_text(encoding="utf-8")
    readme = (top / "README.md").read_text(encoding="utf-8")
    ours = next(line for line in readme.splitlines() if line.startswith("python3") and "pytest" in line)
    windows = next(line for line in readme.splitlines() if line.startswith("py -m venv") and "pytest" in line)
    assert f"run: {ours}\n" in workflow
    assert f"run: {windows.replace('py -m', 'python -m', 1)}\n" in workflow
    assert "system: [ubuntu-latest, macos-latest, windows-latest]" in workflow


def test_json_has_the_same_paths_everywhere() -> None:
    assert json.loads(plain_json({"file": PureWindowsPath(r"C:\jobs\Günters Trommel\scheme.toml")})) == {
        "file": "C:/jobs/Günters Trommel/scheme.toml"
    }
    assert json.loads(json_line(PureWindowsPath(r"\\shelf\jobs\a.toml"))) == "//shelf/jobs/a.toml"


def _scheme(path: Path) -> object:
    scheme = load_scheme(path)
    return scheme.text, scheme.coats, scheme.mixes, scheme.faces


def _readings(path: Path) -> object:
    found = load_readings(path)
    return found.rows, found.remarks


def _spectra(path: Path) -> object:
    return [(one.name, tuple(one.wavelength_nm), tuple(one.values)) for one in load_spectra(path)]


@pytest.mark.parametrize("end", ["\r\n", "\r"], ids=["CR LF", "CR"])
@pytest.mark.parametrize(
    ("name", "text", "read"),
    [
        ("job.toml", FULL, _scheme),
        ("card.csv", CARD, _readings),
        ("cell.csv", SPECTRUM, _spectra),
    ],
    ids=["scheme", "readings", "spectrum"],
)
def test_line_ends_of_every_system(
    name: str, text: str, read: Callable[[Path], object], end: str, tmp_path: Path
) -> None:
    ours, theirs = tmp_path / name, tmp_path / "ümlaut's 🎨" / name
    theirs.parent.mkdir()
    ours.write_bytes(text.encode("utf-8"))
    theirs.write_bytes(b"\xef\xbb\xbf" + text.replace("\n", end).encode("utf-8"))
    assert read(theirs) == read(ours)


def test_a_log_that_went_through_another_editor(tmp_path: Path) -> None:
    log = tmp_path / "job-log.jsonl"
    log.write_bytes(b'\xef\xbb\xbf{"what": "board"}\r\n{"what": "agreed"}\r\n')
    assert [entry.what for entry in read_lines(log).entries] == ["board", "agreed"]


def test_a_name_that_is_no_text_is_never_logged(tmp_path: Path) -> None:
    log = tmp_path / "job-log.jsonl"
    with pytest.raises(OutputError, match="no text can hold"), recorded(log, {"what": "board", "title": "a\udcff"}):
        pass
    assert not log.exists()
    with recorded(log, {"what": "board", "title": r"a\udcff, as a person types it"}):
        pass
    assert read_lines(log).entries[0].values["title"] == r"a\udcff, as a person types it"


@pytest.mark.skipif(sys.platform != "linux", reason="other systems have no file names that are no text")
def test_a_file_whose_name_is_no_text(tmp_path: Path) -> None:
    path = tmp_path / os.fsdecode(b"j\xfe.toml")
    path.write_bytes(FULL.encode("utf-8"))
    with pytest.raises(InputError, match="its name cannot be used"):
        load_scheme(path)
    folder = tmp_path / os.fsdecode(b"f\xfe")
    folder.mkdir()
    path.rename(folder / "job.toml")
    scheme = load_scheme(folder / "job.toml")
    write_text(tmp_path / "told.json", plain_json({"file": scheme.file}))
    assert Path(json.loads((tmp_path / "told.json").read_text("utf-8"))["file"]) == scheme.file
    assert utf8(str(scheme.file)).endswith(b"f?/job.toml")


def test_a_way_that_is_too_long_is_told(tmp_path: Path) -> None:
    folder = tmp_path.joinpath(*["f" * 200] * 30)  # 6000 signs: beyond what any common system takes
    with (
        pytest.raises(OutputError, match="nothing was written") as told,
        written_together(folder, ["a.png"], force=False, inputs=()),
    ):
        pass
    assert "\n" not in str(told.value)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("surroundings", "encoding"),
    [
        ({"PYTHONIOENCODING": "cp437"}, "cp437"),
        ({"PYTHONIOENCODING": "utf-16-le"}, "utf-16-le"),
        ({"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0", "PYTHONIOENCODING": ""}, "utf-8"),
    ],
    ids=["an old console", "a wide console", "no locale"],
)
def test_a_console_without_a_sign(surroundings: dict[str, str], encoding: str, tmp_path: Path) -> None:
    """A name with signs that the console lacks is shown by their numbers; nothing stops."""
    folder = tmp_path / "werk"
    folder.mkdir()
    (folder / "job.toml").write_bytes(FULL.replace("Test part", "Größe 漆 🎨").encode("utf-8"))
    told = subprocess.run(
        [sys.executable, "-W", "error", "-m", "layerpreview", "check", "job.toml"],
        cwd=folder,
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1", **surroundings},
        capture_output=True,
        check=False,
    )
    assert told.returncode == 0, told.stderr
    said = told.stdout.decode(encoding)
    assert ("漆" if encoding.startswith("utf") else r"\u6f06") in said
