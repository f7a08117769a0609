"""What a fit says to a painter: exists for jargon without a verdict, loads without coats, commands that do not run."""

from __future__ import annotations

import shlex
from pathlib import Path

import pytest
from typer.testing import CliRunner

import layerpreview.cli.learn  # noqa: F401  (adds its commands)
from layerpreview.cli import app
from layerpreview.learn.tell.changed import Changed, ColourLeft
from layerpreview.output import changed_words
from layerpreview.units import Range

CARD = Path(__file__).parents[2] / "samples" / "spray_out.csv"


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str, str]:
    """A folder, and what `fit` of the sample card printed and said."""
    folder = tmp_path_factory.mktemp("fit")
    run = CliRunner().invoke(app, ["fit", str(CARD), "--name", "house amber", "-o", str(folder)])
    assert run.exit_code == 0, run.output
    return folder, run.stdout, run.stderr


def test_differences_say_whether_they_show_and_loads_how_many_coats(told: tuple[Path, str, str]) -> None:
    """12 mL/L of 42 g/L in 40 um is 20.16 mg/m2 a coat; the card holds one to six."""
    words = told[1]
    assert "fitted to 0.3 CIEDE2000 on average (not visible)" in words
    assert "tested from 20.2 to 121 mg/m2 of pure dye (1 to 6 coats of this mix); below 13.4 and beyond 181" in words
    assert "dE00" not in words


def test_a_further_card_is_fitted_with_the_command_that_is_said(told: tuple[Path, str, str]) -> None:
    folder, _, said = told
    (line,) = [line for line in said.splitlines() if line.startswith("A further card is fitted with this one")]
    program, *words = shlex.split(line[line.index("layerpreview fit") :])
    assert program == "layerpreview"
    new = folder / "new.csv"
    new.write_text(
        CARD.read_text(encoding="utf-8").replace("white,1,79.25", "white,1,79.35") + "white,7,53.9,29.2,68.4\n",
        encoding="utf-8",
    )
    run = CliRunner().invoke(app, [str(new) if word == "NEW.csv" else word for word in words])
    assert run.exit_code == 0, run.output
    assert "2 cards fitted together" in run.stdout
    assert "scatter" in run.stdout
    assert (folder / "surer" / "house_amber.dye.toml").exists()


def test_with_an_earlier_dye_no_command_is_said_that_would_be_refused(told: tuple[Path, str, str]) -> None:
    folder = told[0]
    words = ["fit", str(CARD), "--earlier", str(folder / "house_amber.dye.toml"), "-o", str(folder / "may")]
    run = CliRunner().invoke(app, words)
    assert run.exit_code == 0, run.output
    assert "A further card" not in run.stderr
    assert "within the doubt (no difference; 90 % range " in run.stdout


def test_no_difference_is_no_percent_weaker() -> None:
    assert changed_words._by(Range(0.93, 0.998, 1.06)) == "no difference; 90 % range 7 % weaker to 6 % stronger"
    assert changed_words._by(Range(1.05, 1.08, 1.11)) == "8 % stronger (5 to 11 %)"


@pytest.mark.parametrize(("de00", "so"), [(0.3, "too little to be seen"), (2.4, "strength cannot mend that")])
def test_a_hue_surely_other_says_whether_it_shows(de00: float, so: str) -> None:
    """Half of observers see 0.8 CIEDE2000, side by side."""
    colour = ColourLeft("base", 6.0, (60.0, 12.0, 50.0), (60.0, 11.0, 50.0), de00)
    changed = Changed(Range(0.9, 1.0, 1.1), 0.2, 0.98, (colour,), ("greener",))
    words = changed_words._hue(changed, "strength cannot mend that")
    assert words == (
        f"greener, 98 % sure: {de00:.1f} CIEDE2000 left at equal strength, at most {de00:.1f}, 6 coats over base; {so}"
    )


def test_a_card_that_tells_next_to_nothing_is_not_passed_over(tmp_path: Path) -> None:
    """White paper, and windows blown out or of pure yellow and red: a screen's edge, so that each number is a limit."""
    card = tmp_path / "blown.csv"
    rows = ["white,0,#ffffff", "white,1,#ffff00", "white,2,#ffff00", "white,3,#ff0000"]
    card.write_text("# strength: 12 mL/L\n" + "\n".join(["background,coats,srgb", *rows]) + "\n", encoding="utf-8")
    run = CliRunner().invoke(app, ["fit", str(card), "-o", str(tmp_path / "out")])
    assert run.exit_code == 0, run.output
    assert "look again: this tells next to nothing of the dye" in run.stdout
