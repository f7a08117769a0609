"""The README's page "make it your own", command by command: from a card to a fitted dye to a new preview."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

import layerpreview.cli.learn  # noqa: F401  (adds its commands)
from layerpreview.cli import app

CARD = Path(__file__).parents[2] / "samples" / "spray_out.csv"


def run(*words: str | Path) -> str:
    result = CliRunner().invoke(app, [str(word) for word in words], catch_exceptions=False)
    assert result.exit_code == 0, result.output
    return result.stdout


@pytest.mark.slow
def test_from_the_card_to_the_day(tmp_path: Path) -> None:
    job = tmp_path / "my-job"
    run("start", job)
    told = run("fit", CARD, "--name", "house amber", "-o", job)
    assert "6 steps" in told
    assert "next best window" in told
    scheme = job / "scheme.toml"
    text = scheme.read_text(encoding="utf-8")
    assert text.count('library = "orange"') == 1
    scheme.write_text(text.replace('library = "orange"', 'file = "house_amber.dye.toml"'), encoding="utf-8")
    run("render", scheme, "--width", "160", "-o", tmp_path / "out")
    assert (tmp_path / "out" / "side_by_side.png").exists()
    told = run("progress", scheme, "--coats-done", "1", "--mix", "orange", "--lab", "44,3,25", "--json")
    found = json.loads(told)
    assert found["standing"]["coats_done"] == 1
    assert (job / "job-log.jsonl").read_text(encoding="utf-8").count("\n") == 1


def test_the_frame(tmp_path: Path) -> None:
    pytest.importorskip("typst")
    run("card", "--coats", "0,1,2,4", "--paper", "Letter", "-o", tmp_path)
    assert (tmp_path / "spray_out_frame.pdf").read_bytes().startswith(b"%PDF")


def test_a_spectrum(tmp_path: Path) -> None:
    path = tmp_path / "red.csv"
    path.write_text("nm;absorbance\n400;0,3\n500;0,9\n600;0,1\n700;0\n", encoding="utf-8")
    run("import", path, "--strength", "0.02 g/L", "--name", "red", "-o", tmp_path / "out")
    assert (tmp_path / "out" / "red.dye.toml").exists()


@pytest.mark.slow
def test_a_mix_told_apart(tmp_path: Path) -> None:
    run("fit", CARD, "--name", "one", "-o", tmp_path)
    dye = tmp_path / "one.dye.toml"
    other = tmp_path / "other.dye.toml"
    other.write_text(
        'layerpreview_dye = 1\nname = "other"\nkind = "table"\nprovenance = "made up"\nconcentrate = "40 g/L"\n'
        "absorptivity_L_per_g_cm = [[380, 2.0], [560, 4.0], [620, 60.0], [700, 20.0], [780, 1.0]]\n",
        encoding="utf-8",
    )
    told = run("fit-mix", CARD, "--dye", f"{dye}=12 mL/L", "--dye", f"{other}=2 mL/L")
    first, second = told.splitlines()
    assert 85 < float(first.split()[1]) < 115  # the card holds the one dye, as meant
    assert float(second.split()[1]) < 40  # and next to nothing of the other


@pytest.mark.parametrize("bad", [("--corners", "1,2,3"), ("--chart", "a,b"), ("--coats", "one")])
def test_lists_of_numbers_are_checked(bad: tuple[str, str]) -> None:
    result = CliRunner().invoke(app, ["fit", str(CARD), *bad])
    assert "numbers with commas" in str(result.exception)
