"""Where results go when nobody says: exists for two schemes that share a folder and each other's pictures, for results
among the samples or where nothing can be written, and for a command that forgot the job's own folder."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from layerpreview.workflows.places import Place, dye_place, results_place
from layerpreview.workflows.samples import SAMPLES, is_sample, sample_text

from ..schemes import FULL
from ..written import names_in

Run = Callable[..., tuple[int, str, str]]
SAMPLE_FOLDER = Path(__file__).parents[2] / "samples"
CARD = SAMPLE_FOLDER / "spray_out.csv"
JOB = FULL.replace("[dye.yellow]\n", "[dye.yellow]\nlight_fastness = 4\n").replace(
    "[dye.blue]\n", "[dye.blue]\nlight_fastness = 5\n"
)
AS_SAMPLE = " (where results of a sample go)"

# Of every command that has a scheme and writes: what to type after the scheme, and what then is in which folder.
MADE = {
    "render": (["--flat", "--width", 64], "pictures", "side_by_side.png"),
    "turn": (["--width", 64, "--frames", 2], "pictures", "turn.webp"),
    "ladder": (["--coats", 2], "ladder", "ladder.json"),
    "reach": (["step 2", "--dyes", "yellow", "--within", 90], "reach", "reach.json"),
    "evenness": (["--width", 64], "evenness", "evenness.png"),
    "tolerance": (["--runs", 200], "tolerance", "tolerance.png"),
    "fade": (["--years-window", 2], "fade", "fade.png"),
    "atlas": (["--coats", 1, "--strengths", "3,9", "--workers", 1], "atlas", "atlas.png"),
    "sheet": (["--form", "html"], "sheet", "mix_sheet.html"),
    "board": (["--width", 64], "board", "board.html"),
}


@pytest.mark.parametrize(
    ("scheme", "folder"),
    [
        ("my-job/scheme.toml", "my-job/pictures"),
        ("scheme.toml", "pictures"),
        ("my-job/Scheme.TOML", "my-job/pictures"),
        ("jobs/pale.toml", "jobs/pale/pictures"),
        ("jobs/deep.toml", "jobs/deep/pictures"),
        ("my-job/scheme.agreed.toml", "my-job/scheme.agreed/pictures"),
        ("octave_mandolin.toml", "octave_mandolin/pictures"),
    ],
)
def test_a_scheme_has_its_own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, scheme: str, folder: str) -> None:
    monkeypatch.chdir(tmp_path)
    Path(scheme).parent.mkdir(exist_ok=True)
    for _ in range(2):  # before it is there, and after
        assert results_place(Path(scheme), "pictures") == Place(Path(folder))
        Path(scheme).write_text(FULL, encoding="utf-8")


@pytest.mark.parametrize("name", SAMPLES)
def test_nothing_is_made_among_the_samples(tmp_path: Path, name: str) -> None:
    """Nor beside a copy as it came, which is what lies in a folder that was fetched; once changed it is one's own."""
    place = Place(Path("out", Path(name).stem, "board"), AS_SAMPLE)
    assert results_place(SAMPLE_FOLDER / name, "board") == place
    copy = tmp_path / name
    copy.write_bytes(sample_text(name).replace("\n", "\r\n").encode())
    assert results_place(copy, "board") == place
    copy.write_text(sample_text(name) + "# mine\n", encoding="utf-8")
    assert results_place(copy, "board") == Place(tmp_path / copy.stem / "board")
    shutil.copy(SAMPLE_FOLDER / name, tmp_path / "scheme.toml")
    assert results_place(tmp_path / "scheme.toml", "board") == Place(tmp_path / "board")
    (tmp_path / "linked.toml").symlink_to(SAMPLE_FOLDER / name)
    assert results_place(tmp_path / "linked.toml", "board") == Place(tmp_path / "linked" / "board")


@pytest.mark.parametrize("data", [b"\xff\xfe", b""])
def test_what_is_no_scheme_is_no_sample(tmp_path: Path, data: bytes) -> None:
    (tmp_path / SAMPLES[0]).write_bytes(data)
    assert not is_sample(tmp_path / SAMPLES[0])
    assert not is_sample(tmp_path / "gone" / SAMPLES[0])


def _locked(monkeypatch: pytest.MonkeyPatch, folder: Path) -> None:
    """As a folder that this user may not write to; a test may be run by one who may write anywhere."""
    allowed = os.access
    monkeypatch.setattr("os.access", lambda path, mode: Path(path) != folder and allowed(path, mode))


def test_where_nothing_can_be_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    job = tmp_path / "my-job"
    job.mkdir()
    _locked(monkeypatch, job)
    aside = f" ({job} cannot be written to)"
    assert results_place(job / "scheme.toml", "pictures") == Place(Path("out/my-job/pictures"), aside)
    assert results_place(job / "pale.toml", "pictures") == Place(Path("out/pale/pictures"), aside)
    assert dye_place(Path("card.csv"), job / "scheme.toml") == Place(Path("out/card"), aside)
    (job / "pictures").mkdir()  # made before, by one who may
    assert results_place(job / "scheme.toml", "pictures") == Place(job / "pictures")


def test_a_scheme_that_cannot_be_is_told_of_in_one_line(run: Run, tmp_path: Path) -> None:
    """Where it would go is asked before it is read."""
    (tmp_path / "loop").symlink_to("loop")
    (tmp_path / "file").write_text("")
    for scheme in ("x" * 300 + ".toml", "loop/scheme.toml", "file/scheme.toml", "gone/scheme.toml", "."):
        code, _, err = run("sheet", scheme)
        assert (code, len(err.splitlines())) == (2, 1), err


def test_a_dye_belongs_beside_the_scheme_it_is_for(tmp_path: Path) -> None:
    card = Path("cards/monday.csv")
    assert dye_place(card, None) == Place(Path("out/monday"))
    assert dye_place(card, tmp_path / "scheme.toml") == Place(tmp_path)
    assert dye_place(card, SAMPLE_FOLDER / SAMPLES[0]) == Place(Path("out/monday"), AS_SAMPLE)


def test_it_is_said_why_results_are_elsewhere(run: Run) -> None:
    code, _, err = run("sheet", SAMPLE_FOLDER / "drum_shell.toml", "--form", "html")
    assert code == 0
    folder = Path("out", "drum_shell", "sheet")
    assert f"Wrote mix_sheet.html to {folder}{AS_SAMPLE}\n" in err


@pytest.mark.slow
@pytest.mark.parametrize("command", MADE)
def test_every_command_finds_the_jobs_folder_and_runs_again(run: Run, tmp_path: Path, command: str) -> None:
    if command == "atlas":
        pytest.importorskip("pyarrow")
    more, folder, name = MADE[command]
    job = tmp_path / "my-job"
    job.mkdir()
    (job / "scheme.toml").write_text(JOB, encoding="utf-8")
    for _ in range(2):
        code, _, err = run(command, Path("my-job", "scheme.toml"), *more)
        assert code == 0, err
        assert str(Path("my-job", folder)) in err
    assert name in names_in(job / folder)
    assert [path.name for path in job.iterdir() if path.is_dir()] == [folder]
    (job / folder / name).write_text("a stroke of my own")
    code, _, err = run(command, Path("my-job", "scheme.toml"), *more)
    assert code == 2
    assert f"already there and changed since it was made here: {name}; nothing was written" in err
    assert (job / folder / name).read_text() == "a stroke of my own"


@pytest.mark.slow
def test_commands_that_share_a_folder_leave_each_other_be(run: Run, tmp_path: Path) -> None:
    (tmp_path / "scheme.toml").write_text(JOB, encoding="utf-8")
    for _ in range(2):
        for command in ("render", "turn"):
            assert run(command, "scheme.toml", *MADE[command][0])[0] == 0
    assert {"turn.webp", "side_by_side.png", "figures.json"} < set(names_in(tmp_path / "pictures"))


@pytest.mark.slow
def test_a_dye_file_is_replaced_only_when_asked(run: Run, tmp_path: Path) -> None:
    """Untouched or not: a scheme may name it, and what is learnt anew would change that finish unasked."""
    (tmp_path / "scheme.toml").write_text(FULL, encoding="utf-8")
    fit = ("fit", CARD, "--name", "house amber", "--for", "scheme.toml")
    code, _, err = run(*fit)
    assert code == 0, err
    assert "and write in scheme.toml:" in err
    learnt = (tmp_path / "house_amber.dye.toml").read_bytes()
    code, _, err = run(*fit)
    assert code == 2
    assert "already there: house_amber.dye.toml; nothing was written" in err
    assert (tmp_path / "house_amber.dye.toml").read_bytes() == learnt
    assert run(*fit, "--force")[0] == 0


@pytest.mark.slow
def test_the_demo_runs_again(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from layerpreview.cli import see
    from layerpreview.workflows import start

    whole = start.render_files
    monkeypatch.setattr(see, "DEMO_BOARD_PX", 64)
    monkeypatch.setattr(start, "render_files", lambda scheme, **options: whole(scheme, **options, width_px=96))
    for _ in range(2):
        code, _, err = run("demo")
        assert code == 0, err
    assert names_in(tmp_path / "out" / "demo") == ["board", "job-log.jsonl", "pictures", "scheme.toml"]
