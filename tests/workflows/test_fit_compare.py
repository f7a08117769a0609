"""A new bottle beside an earlier one, and a card before and after its clear, as a person asks for them: exists for
units that are mixed up between two labels, and for words that say the opposite of the figures."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from layerpreview.cli import app
from layerpreview.errors import InputError, OutputError, SchemeError
from layerpreview.learn.card.setting import CardSetting
from layerpreview.learn.tell.fitted import Fitted
from layerpreview.output.result import Result
from layerpreview.workflows.fit import fit, fit_files
from layerpreview.workflows.fit_compare import beside_before
from layerpreview.workflows.fit_options import FitOptions

from ..learn.simulated import Truth, lab_card, random_dye, random_truth, readings_of

KNOWN = "# film: 40 um\n# flake spread: 0.3\n"
TRUTH = random_truth(np.random.default_rng(21))
Write = Callable[..., Path]


@pytest.fixture(scope="module")
def write(tmp_path_factory: pytest.TempPathFactory) -> Write:
    folder = tmp_path_factory.mktemp("cards")

    def written(name: str, truth: Truth = TRUTH, *, head: str = KNOWN, seed: int = 1) -> Path:
        card = lab_card(truth, np.random.default_rng(seed))
        rows = [f"{w.ground},{w.load:g}," + ",".join(f"{v:.2f}" for v in w.read) for w in card.windows]
        path = folder / f"{name}.csv"
        path.write_text(head + "\n".join(["background,coats,L,a,b", *rows]) + "\n", encoding="utf-8")
        return path

    return written


@pytest.fixture(scope="module")
def earlier(write: Write, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The dye file of a bottle of 50 g/L, sprayed at 12 mL/L."""
    options = FitOptions(name="Old amber", strength="12 mL/L", concentrate="50 g/L")
    found = fit_files(write("old"), out=tmp_path_factory.mktemp("old"), options=options)
    return found.folder / "old_amber.dye.toml"


def beside(card: Path, earlier: Path, **said: str) -> Result[Fitted]:
    return fit(card, earlier=earlier, name="New", **said)


def sprayed(times: float, *, seed: int = 9) -> Truth:
    builds = np.cumsum(1.0 + 0.05 * np.random.default_rng(seed).standard_normal(6))
    return replace(TRUTH, absorbance10=times * TRUTH.absorbance10, builds=builds)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("strength", "concentrate", "times"),
    [
        # The same bottle, the same mix.
        ("12 mL/L", None, 1.0),
        # A label of 40 g/L: mL by mL the bottles are alike, whatever they say.
        ("12 mL/L", "40 g/L", 1.0),
        # 15 mL/L makes the colour that 12 made: as sold it is 12/15 as strong.
        ("15 mL/L", None, 12 / 15),
        ("15 mL/L", "80 g/L", 12 / 15),
        # A powder: 0.5 g/L of it make what 12 mL/L of 50 g/L, 0.6 g/L, made.
        ("0.5 g/L", None, 0.6 / 0.5),
    ],
)
def test_bottles_are_compared_as_sold(
    write: Write, earlier: Path, strength: str, concentrate: str | None, times: float
) -> None:
    said = {"strength": strength} if concentrate is None else {"strength": strength, "concentrate": concentrate}
    found = beside(write("again"), earlier, **said)
    changed = found.drift.changed
    assert changed.strength.likely == pytest.approx(times, rel=0.01)
    assert not changed.other_hue
    amount, unit = strength.split()
    assert (found.drift.used, found.drift.unit) == (float(amount), unit)
    assert found.drift.use.likely == pytest.approx(float(amount) / times, rel=0.01)
    if strength.endswith("mL/L"):
        assert found.concentrate_g_per_L == (50.0 if concentrate is None else float(concentrate.split()[0]))
    if times != 1.0:
        assert changed.stronger_or_weaker


@pytest.mark.slow
def test_words_of_a_weaker_bottle(write: Write, earlier: Path) -> None:
    found = beside(write("weak", sprayed(0.85), seed=2), earlier, strength="12 mL/L")
    low, likely, high = (getattr(found.drift.changed.strength, end) for end in ("low", "likely", "high"))
    assert low < 0.85 < high
    words = f"this bottle is {100 * (1 - likely):.0f} % weaker ({100 * (1 - high):.0f} to {100 * (1 - low):.0f} %)"
    assert words in found.text()
    assert f"use {12 / likely:.3g} mL/L ({12 / high:.3g} to {12 / low:.3g}) where you used 12" in found.text()
    assert "the same hue within the doubt" in found.text()
    told = found.to_dict()["earlier"]
    assert told["dye"] == "Old amber (old_amber.dye.toml)"
    assert told["strength"]["likely"] == pytest.approx(likely)
    assert (told["strength_differs"], told["hue_differs"]) == (True, False)


@pytest.mark.slow
def test_words_of_another_hue(write: Write, earlier: Path) -> None:
    other = replace(TRUTH, absorbance10=TRUTH.absorbance10 + 0.08 * random_dye(np.random.default_rng(3)))
    found = beside(write("other", other, seed=4), earlier, strength="12 mL/L")
    assert found.drift.changed.other_hue
    assert found.drift.changed.hue_words[0] in found.text()
    assert "strength cannot mend that" in found.text()


@pytest.mark.slow
def test_an_older_file_holds_its_range_alone(write: Write, earlier: Path, tmp_path: Path) -> None:
    old = tmp_path / "older.dye.toml"
    old.write_text(earlier.read_text(encoding="utf-8").split("# How its doubt")[0], encoding="utf-8")
    card = write("weak", sprayed(0.85), seed=2)
    now, then = (beside(card, path, strength="12 mL/L").drift for path in (earlier, old))
    assert then.changed.strength.likely == pytest.approx(now.changed.strength.likely, rel=1e-3)
    assert then.changed.strength.high / then.changed.strength.low > now.changed.strength.high / now.changed.strength.low
    assert any("only large differences can be told" in note for note in then.notes)
    assert not any("only large differences" in note for note in now.notes)


@pytest.mark.slow
def test_before_and_after_the_clear(write: Write, tmp_path: Path) -> None:
    """10 % of the dye gone into a yellowish clear; the second table says nothing of the card, the first all."""
    clear = np.linspace(0.93, 1.0, 81)
    bled = replace(TRUTH, absorbance10=0.9 * TRUTH.absorbance10, white=TRUTH.white * clear, metal=TRUTH.metal * clear)
    before = write("before", head=f"# strength: 12 mL/L\n{KNOWN}", seed=5)
    after = write("after", bled, head="", seed=6)
    run = CliRunner().invoke(app, ["fit", str(before), "--after-clear", str(after), "--json", "-o", str(tmp_path)])
    assert run.exit_code == 0, run.output
    told = json.loads(run.stdout)
    found = told["after_clear"]
    assert found["strength"]["low"] < 0.9 < found["strength"]["high"] < 1.0
    assert (found["differs"], found["strength_differs"]) == (True, True)
    assert {row["background"] for row in found["bare"]} == {"white", "base"}
    # What is learnt is the dye under the clear.
    alone = fit(after, strength="12 mL/L", film="40 um", flake_spread="0.3")
    assert told["misfit"] == pytest.approx(alone.misfit)
    words = fit(before, after_clear=after).text()
    assert "% weaker" in words
    assert "bleeding" in words
    assert "the dye file is of the readings after the clear" in words


@pytest.mark.slow
def test_unchanged_under_the_clear(write: Write) -> None:
    before, after = write("before", head=f"# strength: 12 mL/L\n{KNOWN}", seed=5), write("clear", seed=7)
    found = fit(before, after_clear=after)
    assert not found.read_again.differs
    assert "as strong as before, within the doubt" in found.text()
    assert "bleeding" not in found.text()


@pytest.mark.slow
def test_a_coat_that_was_matt_is_not_taken_for_another_dye() -> None:
    """Before the clear every spectrum holds 3 % of white light from the face besides: found there, and taken off."""
    rng = np.random.default_rng(31)
    matt, after = readings_of(TRUTH, rng, "spectrum", step_nm=20), readings_of(TRUTH, rng, "spectrum", step_nm=20)
    rows = tuple(replace(row, values=tuple(value + 0.03 for value in row.values)) for row in matt.rows)
    said = {"strength": "12 mL/L", "film": "40 um", "flake_spread": "0.3"}
    setting = CardSetting(flake_spread=0.3)
    found = beside_before(fit(after, **said).found, replace(matt, rows=rows), setting)
    assert found.read_again is not None
    assert not found.read_again.differs
    assert any("before the clear: your readings seem to hold" in note for note in found.notes)
    assert "before the clear: your readings" not in " ".join(fit(after, **said).notes)


def test_what_cannot_be_compared_is_told_in_one_line(write: Write, earlier: Path, tmp_path: Path) -> None:
    card = write("old")
    with pytest.raises(SchemeError):
        beside(card, card, strength="12 mL/L")
    with pytest.raises(InputError, match="strength of the sprayed mix is missing"):
        beside(card, earlier)
    with pytest.raises(InputError, match="before and after the clear"):
        fit(card, after_clear=tmp_path / "card.jpg", strength="12 mL/L")
    with pytest.raises(InputError, match="before and after the clear"):
        fit(tmp_path / "card.jpg", after_clear=card, strength="12 mL/L")
    pale = tmp_path / "pale.csv"
    pale.write_text("\n".join(card.read_text(encoding="utf-8").splitlines()[:5]) + "\n", encoding="utf-8")
    with pytest.raises(InputError, match="fewer than two steps"):
        fit(card, after_clear=pale, strength="12 mL/L")


def test_the_earlier_file_is_never_written_over(write: Write, earlier: Path) -> None:
    options = FitOptions(name="Old amber", strength="12 mL/L", earlier=earlier)
    before = earlier.read_bytes()
    with pytest.raises(OutputError, match="is read for the result"):
        fit_files(write("old"), out=earlier.parent, options=options, force=True)
    assert earlier.read_bytes() == before
