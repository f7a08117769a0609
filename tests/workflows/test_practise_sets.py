"""Progress in learning the eye: exists for a day that is lost, a broken line that hides the rest, a set that counts
twice, and something kept where nobody said so."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from layerpreview.answers.practise import ROUNDS, off_de00, rounds
from layerpreview.errors import InputError
from layerpreview.output.practise_pictures import CHIP_PX, pictures
from layerpreview.workflows import practise

from ..written import names_in

Run = Callable[..., tuple[int, str, str]]
DAY = datetime(2026, 3, 1, 9, 30)


@pytest.fixture
def kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A user's data folder of this test alone, not made yet."""
    folder = tmp_path / "data" / "layerpreview"
    monkeypatch.setattr("platformdirs.user_data_path", lambda *_, **__: folder)
    return folder / practise.PROGRESS


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """Guesses that are off by their own number, without any optics."""
    monkeypatch.setattr(practise, "rounds", lambda seed: ("a round",) * ROUNDS)
    monkeypatch.setattr(practise, "off_de00", lambda asked, guess: float(guess))
    monkeypatch.setattr(practise, "round_of", lambda seed, number: "a round")


def _guesses(most: int = 8) -> list[int]:
    return [k % (most + 1) for k in range(ROUNDS)]


def test_one_line_a_finished_set(kept: Path, quick: None) -> None:
    assert practise.kept_sets() == ()
    assert practise.next_set(now=DAY) == "2026-03-01"
    assert not kept.parent.exists()  # asking leaves nothing behind
    first = practise.finish("2026-03-01", _guesses(), now=DAY)
    assert (first.done.median_de00, first.trouble, len(first.all_done)) == (3.5, "", 1)
    assert practise.next_set(now=DAY) == "2026-03-01 2"
    second = practise.finish("2026-03-01 2", _guesses(2), now=DAY)
    assert [one.median_de00 for one in second.all_done] == [3.5, 1.0]
    lines = kept.read_text("utf-8").splitlines()
    assert [json.loads(line)["set"] for line in lines] == ["2026-03-01", "2026-03-01 2"]
    assert json.loads(lines[0])["guesses"] == _guesses()
    assert practise.next_set(now=DAY) == "2026-03-01 3"
    assert practise.next_set(now=DAY.replace(day=2)) == "2026-03-02"
    assert practise.kept_sets() == second.all_done


def test_a_set_counts_once(kept: Path, quick: None) -> None:
    practise.finish("2026-03-01", _guesses(), now=DAY)
    again = practise.finish("2026-03-01", [0] * ROUNDS, now=DAY)
    assert again.done.guesses == tuple(_guesses())
    assert len(kept.read_bytes().splitlines()) == 1


_KEPT = {"layerpreview_practise": 1, "set": "2026-02-01", "when": "2026-02-01T09:30:00Z"}
ODD = [
    json.dumps({**_KEPT, "guesses": [guess] * ROUNDS, "off_de00": [off] * ROUNDS}).encode() + b"\n"
    for guess, off in ((9, 1.0), (-1, 1.0), (1, float("nan")), (1, float("inf")), (1, 1e308), (1, -1.0))
]
"""What no page can show: a choice that there is not, a distance that no answer can carry."""


@pytest.mark.parametrize(
    "broken", [b"{\n", b'{"set": "2026-02-01"', b"\xff\xfe\n", b"[]\n\n", b'{"set": 1e999}\n', *ODD]
)
def test_a_line_that_cannot_be_read_is_passed_over(kept: Path, quick: None, broken: bytes) -> None:
    practise.finish("2026-03-01", _guesses(), now=DAY)
    before = kept.read_bytes()
    kept.write_bytes(broken + (b"" if broken.endswith(b"\n") else b"\n") + before + broken)
    assert [one.set for one in practise.kept_sets()] == ["2026-03-01"]
    practise.finish("2026-03-02", _guesses(), now=DAY)  # nor does it swallow the next
    assert [one.set for one in practise.kept_sets()] == ["2026-03-01", "2026-03-02"]
    assert kept.read_bytes().count(broken.strip()) >= 2  # only ever added to


def test_forgetting(kept: Path, quick: None) -> None:
    practise.forget()
    practise.finish("2026-03-01", _guesses(), now=DAY)
    practise.forget()
    assert not kept.exists()
    assert practise.next_set(now=DAY) == "2026-03-01"


def test_where_nothing_can_be_kept_the_answer_is_given(kept: Path, quick: None) -> None:
    kept.parent.parent.mkdir()
    kept.parent.write_text("a file where the folder would be")
    found = practise.finish("2026-03-01", _guesses(), now=DAY)
    assert found.done.median_de00 == 3.5
    assert "cannot be written to" in found.trouble
    assert "this time is not kept" in found.trouble


@pytest.mark.parametrize(
    ("seed", "guesses", "told"),
    [
        ("../../x", [0] * ROUNDS, "a set is called by a day"),
        (7, [0] * ROUNDS, "a set is called by a day"),
        ("2026-03-01 1000", [0] * ROUNDS, "a set is called by a day"),
        ("2026-03-01", [0] * 19, "a set has 20 guesses"),
        ("2026-03-01", [0.0] * ROUNDS, "a set has 20 guesses"),
        ("2026-03-01", [True] * ROUNDS, "a set has 20 guesses"),
        ("2026-03-01", "0" * ROUNDS, "a set has 20 guesses"),
    ],
)
def test_nothing_else_is_a_set(kept: Path, quick: None, seed: Any, guesses: Any, told: str) -> None:
    with pytest.raises(InputError, match=told):
        practise.finish(seed, guesses)
    assert not kept.exists()


def test_a_set_with_its_optics(kept: Path) -> None:
    """All right but the first, which is one coat off."""
    asked = rounds("2026-03-01")
    guesses = [one.right for one in asked]
    guesses[0] += 1
    found = practise.finish("2026-03-01", guesses, now=DAY)
    assert found.done.off_de00[0] == pytest.approx(off_de00(asked[0], guesses[0]), abs=0.006)
    assert found.done.off_de00[1:] == (0.0,) * 19
    with pytest.raises(InputError, match="from 0 to 8"):
        practise.finish("2026-03-02", [9] * ROUNDS)


def test_pictures_of_the_command(run: Run, tmp_path: Path, kept: Path) -> None:
    code, out, err = run("practise", "--show", 2, "-o", "made")
    assert (code, out) == (0, "")
    assert err.splitlines()[-1].startswith("Next: ")
    assert set(names_in(tmp_path / "made")) == {"practise_02.png", "practise_02_answer.png"}
    with Image.open(tmp_path / "made" / "practise_02_answer.png") as picture:
        assert picture.width > 3 * 420
    assert not kept.exists()
    code, _, err = run("practise", "--show", 21)
    assert code == 2
    assert err.startswith("error: --show = 21: a whole number from 1 to 20 is wanted")


def test_the_target_is_the_picture_of_the_right_choice() -> None:
    """And the mean of what is shown gets darker with every choice."""
    asked = rounds("2026-03-01")[1]
    shown = pictures(asked, [*asked.loads, asked.loads[asked.right]])
    assert (shown[-1] == shown[asked.right]).all()
    assert shown.shape[1:] == (300, 420, 3)
    means = shown[:-1].reshape(9, -1).mean(axis=1)
    assert list(means) == sorted(means, reverse=True)
    assert 420 % CHIP_PX == 0
