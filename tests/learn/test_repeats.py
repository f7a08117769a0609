"""Repeated readings become one window; nothing that they say of the dye or of their own noise is lost."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from layerpreview.errors import InputError
from layerpreview.learn.card import repeats, setting
from layerpreview.learn.fit.one_card import DyeFit, dye_of, fit_dye
from layerpreview.learn.fit.problem import CardProblem
from layerpreview.learn.read.readings import load_readings

CARD = Path(__file__).parents[2] / "samples" / "spray_out.csv"
TIMES = 4


def table(folder: Path, *, scatter: float) -> Path:
    """The sample's card, each window read TIMES times."""
    noise = np.random.default_rng(3)
    lines = []
    for line in CARD.read_text(encoding="utf-8").splitlines():
        ground, *numbers = line.split(",")
        if ground not in ("white", "base"):
            lines.append(line)
            continue
        coats, *lab = (float(number) for number in numbers)
        for _ in range(TIMES):
            lines.append(",".join([ground, f"{coats:g}", *(f"{x + noise.normal(0, scatter):.3f}" for x in lab)]))
    path = folder / f"card_{scatter:g}.csv"
    path.write_text("\n".join(lines), encoding="utf-8")
    return path


def fits(path: Path, monkeypatch: pytest.MonkeyPatch) -> tuple[DyeFit, DyeFit]:
    """With repeats made one, and with every reading a window of its own, from where the first came to."""
    readings = load_readings(path)
    one = fit_dye(setting.card_of_readings(readings, setting.CardSetting()))
    monkeypatch.setattr(setting, "averaged", lambda windows, file: list(windows))
    every = setting.card_of_readings(readings, setting.CardSetting())
    few, many = CardProblem(one.card, dye_of(one.card)), CardProblem(every, dye_of(every))
    begin = np.zeros(many.size)
    begin[: many.first_local] = one.state[: few.first_local]
    begin[many.first_gain :] = one.state[few.first_gain :]
    return one, fit_dye(every, near=DyeFit(**{**vars(one), "state": begin}))


@pytest.mark.parametrize("scatter", [0.3, 2.0])
def test_the_mean_of_repeats_tells_what_all_of_them_do(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, scatter: float
) -> None:
    """Sufficient statistics of a normal sample: its mean and what lies between (any textbook of statistics)."""
    one, every = fits(table(tmp_path, scatter=scatter), monkeypatch)
    assert len(every.card.windows) == TIMES * len(one.card.windows)
    assert one.misfit == pytest.approx(every.misfit, rel=0.05)
    assert one.noise_used == pytest.approx(every.noise_used, rel=0.05)
    within = np.log(every.high / every.low)
    assert np.abs(np.log(one.absorbance10 / every.absorbance10)).max() < 0.1 * within.max()
    assert np.log(one.high / one.low) == pytest.approx(within, rel=0.1, abs=0.05)


def test_readings_that_scatter_more_make_the_noise_larger(tmp_path: Path) -> None:
    wide = load_readings(table(tmp_path, scatter=2.0))
    assert fit_dye(setting.card_of_readings(wide, setting.CardSetting())).misfit > 3.0


def test_too_many_windows_are_told_before_the_fit(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(repeats, "MOST_WINDOWS", 10)
    with pytest.raises(InputError, match="14 windows that are not alike; one card may have 10") as told:
        setting.card_of_readings(load_readings(CARD), setting.CardSetting())
    assert told.value.problems[0].line == 18
