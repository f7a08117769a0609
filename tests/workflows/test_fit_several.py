"""Several cards in one command: exists for strengths that are not put in relation, a file's own word that an option
overrules, a mix that is misread in silence, and cards whose files write over one another.
"""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

import layerpreview as lp
from layerpreview.colour import WAVELENGTHS_NM
from layerpreview.errors import InputError
from layerpreview.learn.card.model import photo_eye
from layerpreview.learn.read.readings import load_readings
from layerpreview.learn.tell.fitted_several import FittedSeveral
from layerpreview.output.result import Result
from layerpreview.scheme import load_dye
from layerpreview.workflows.fit_options import FitOptions
from layerpreview.workflows.fit_several import fit_several_files, mix_of

from ..learn.card_pictures import frame_photo
from ..learn.simulated import F64, STEPS, each_window, lab_card, random_truth

HEAD = "# light: D65\n# film: 40 um\n# flake spread: 0.3\n"
OPTIONS = FitOptions(name="house amber", concentrate="50 g/L", light="A", strength="99 mL/L")  # light: each file's own
AMBER, BROWN = (random_truth(np.random.default_rng(seed)).absorbance10 for seed in (21, 47))


def card_csv(path: Path, said: str, absorbance10: F64, seed: int, coats: tuple[int, ...] = STEPS) -> Path:
    rng = np.random.default_rng(seed)
    card = lab_card(replace(random_truth(rng), absorbance10=absorbance10), rng)
    windows = [w for w in card.windows if not w.load or w.load in coats]
    rows = [f"{w.ground},{w.load:g}," + ",".join(f"{v:.2f}" for v in w.read) for w in windows]
    path.write_text(f"{HEAD}{said}" + "\n".join(["background,coats,L,a,b", *rows]) + "\n", encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Amber of 12 and of 8 mL/L on two days, of the latter only two steps."""
    made = tmp_path_factory.mktemp("cards")
    card_csv(made / "monday.csv", "# strength: 12 mL/L\n", AMBER, 1)
    card_csv(made / "tuesday.csv", "# strength: 8 mL/L\n# name: tuesday\n", 8 / 12 * AMBER, 2, coats=(2, 5))
    return made


@pytest.fixture(scope="module")
def several(folder: Path) -> Result[FittedSeveral]:
    return fit_several_files([folder / "monday.csv", folder / "tuesday.csv"], out=folder / "out", options=OPTIONS)


def test_one_dye_is_learnt_in_the_strengths_that_the_files_say(several: Result[FittedSeveral]) -> None:
    assert several.files == ("house_amber.dye.toml", "house_amber_fit.png", "house_amber_fit.json")
    dye = load_dye(several.folder / several.files[0])
    (fitted,) = several.dyes
    true = AMBER / (1e-4 * 12 / 1000 * 50 * 40)  # 24 mg/m2 of dye in a coat of the reference
    matters = (true > 0.2 * true.max()) & (WAVELENGTHS_NM > 420)
    np.testing.assert_allclose(fitted.absorptivity[matters], true[matters], rtol=0.35)
    assert fitted.load_per_coat_mg_m2 == pytest.approx(24.0)
    assert fitted.tested_to_mg_m2 == pytest.approx(144.0)
    assert dye.tested_to_mg_m2 == pytest.approx(144.0)
    assert sorted(fitted.builds) == [*range(1, 9)]
    assert [card.steps for card in several.cards] == [(1, 2, 3, 4, 5, 6), (7, 8)]
    assert not any(card.odd for card in several.cards)
    for card in several.cards:
        low, likely, high = card.strength["house amber"]
        assert low < likely < high
        assert low < 1.0 < high


def test_every_way_out_says_which_card(several: Result[FittedSeveral]) -> None:
    told = json.loads((several.folder / several.files[2]).read_text(encoding="utf-8"))
    assert [card["name"] for card in told["cards"]] == ["monday.csv", "tuesday.csv"]
    assert {"steps", "builds", "misfit", "tested_to_mg_m2", "mirror_share", "notes"} < set(told)
    assert [step["card"] for step in told["steps"]] == ["monday.csv"] * 14 + ["tuesday.csv"] * 6
    assert several.table()["card"][-1] == "tuesday.csv"
    text = several.text()
    assert text.startswith("2 cards fitted together:\n  monday.csv: 6 steps")
    assert "disagrees" not in text
    with Image.open(several.folder / several.files[1]) as picture:
        assert picture.height > 4 * 140  # a row for each background of each card


def test_the_library_takes_a_list_of_files_and_readings(folder: Path, several: Result[FittedSeveral]) -> None:
    cards: list[Any] = [str(folder / "monday.csv"), load_readings(folder / "tuesday.csv")]
    again = lp.fit(cards, options=OPTIONS)
    np.testing.assert_array_equal(again.dyes[0].absorptivity, several.dyes[0].absorptivity)
    assert "2 cards" in repr(again)


def test_a_list_of_one_and_a_card_twice_are_refused(folder: Path) -> None:
    one = folder / "monday.csv"
    for cards, said in (([one], "two cards are wanted"), ([one, one], "the same card twice"), ([], "two cards")):
        with pytest.raises(InputError, match=said):
            lp.fit(cards, options=OPTIONS)


@pytest.mark.parametrize("mix", ["amber", "amber=", "=6 mL/L", "amber=6 mL/L, amber=3 mL/L", "amber=6 mL/L,"])
def test_a_mix_that_is_not_clear_is_refused(mix: str) -> None:
    with pytest.raises(InputError, match="each dye once with its strength") as caught:
        mix_of(mix, "card.csv")
    assert len(str(caught.value).splitlines()) == 1


def test_a_mix_says_each_dye_with_its_strength() -> None:
    assert mix_of("house amber = 6 mL/L,dark brown=2.5 g/L", "") == {"house amber": "6 mL/L", "dark brown": "2.5 g/L"}


def test_a_mix_by_itself_says_what_it_needs(folder: Path) -> None:
    path = card_csv(folder / "alone.csv", "# mix: amber=6 mL/L, brown=3 mL/L\n", AMBER, 3)
    with pytest.raises(InputError, match="give the cards of its dyes with this card of a mix, or use fit-mix"):
        lp.fit(path, options=replace(OPTIONS, strength=None))


def test_a_strength_or_base_that_cannot_be_is_told_with_its_file(folder: Path) -> None:
    for said, wrong in (("# mix: amber=6 oz, brown=3 mL/L\n", "bare"), ("# base: glass\n", "metal, solid or wood")):
        card_csv(folder / "wrong.csv", said, AMBER, 3)
        with pytest.raises(InputError, match=wrong) as caught:
            lp.fit([folder / "monday.csv", folder / "wrong.csv"], options=OPTIONS)
        assert "wrong.csv" in str(caught.value)


@pytest.mark.slow
def test_mixes_give_a_file_for_every_dye(folder: Path, run: Any) -> None:
    amber = card_csv(folder / "amber.csv", "# strength: 12 mL/L\n# name: amber\n# concentrate: 50 g/L\n", AMBER, 4)
    thin = card_csv(folder / "thin.csv", "# mix: amber=6 mL/L, brown=3 mL/L\n", 0.5 * AMBER + 0.5 * BROWN, 5)
    dark = card_csv(folder / "dark.csv", "# mix: amber=3 mL/L, brown=6 mL/L\n", 0.25 * AMBER + BROWN, 6)
    code, out, err = run("fit", amber, thin, dark, "--json", "-o", folder / "mixed")
    assert code == 0, err
    told = json.loads(out)
    assert [dye["name"] for dye in told["dyes"]] == ["amber", "brown"]
    assert {"amber.dye.toml", "brown.dye.toml", "brown_fit.png"} < set(told["files"])
    assert set(told["cards"][1]["strength"]) == {"amber", "brown"}
    brown = load_dye(folder / "mixed" / "brown.dye.toml")
    at, found = np.array(brown.wavelength_nm), np.array(brown.absorptivity_L_per_g_cm)
    true = BROWN / (1e-4 * 6 / 1000 * 40 * 40)  # the concentrate of brown is nowhere stated: 40 g/L is put down
    right = np.interp(at, WAVELENGTHS_NM, true)
    matters = (right > 0.3 * right.max()) & (at > 420)
    assert np.median(np.abs(np.log(found / right)[matters])) < 0.2


@pytest.mark.slow
def test_an_odd_card_is_said_first(folder: Path, run: Any) -> None:
    strong = card_csv(folder / "strong.csv", "# strength: 12 mL/L\n", 1.5 * AMBER, 7)
    again = card_csv(folder / "again.csv", "# strength: 12 mL/L\n", AMBER, 8)
    code, out, _ = run("fit", folder / "monday.csv", again, strong, "--concentrate", "50 g/L", "-o", folder / "odd")
    assert code == 0
    (line,) = (line for line in out.splitlines() if "disagrees" in line)
    assert line.startswith("note: strong.csv disagrees with the other cards: its coats hold ")
    assert "% more dye (" in line
    assert line.endswith("read it again, or fit without it")
    assert "Traceback" not in out


@pytest.mark.slow
def test_a_photo_and_readings_teach_one_dye(folder: Path) -> None:
    """The photo says nothing of itself: options hold for it, in other light than the readings state."""
    rng = np.random.default_rng(9)
    truth, eye = replace(random_truth(rng), absorbance10=AMBER), photo_eye("D50")
    colours = {(name, coats): eye.take @ spectrum for name, coats, spectrum in each_window(truth)}
    Image.fromarray(frame_photo(colours, rng, power=1.06).pixels).save(folder / "card.jpg", quality=92)
    options = replace(OPTIONS, strength="12 mL/L", film="40 um", light="D50", grey=0.18)
    found = fit_several_files([folder / "monday.csv", folder / "card.jpg"], out=folder / "both", options=options)
    assert found.files[-1] == "card_found.png"
    assert [card.odd for card in found.cards] == [False, False]
    assert any(note.startswith("card.jpg: ") for note in found.notes)
    (fitted,) = found.dyes
    true = AMBER / (1e-4 * 24.0)
    matters = (true > 0.3 * true.max()) & (WAVELENGTHS_NM > 420)
    np.testing.assert_allclose(fitted.absorptivity[matters], true[matters], rtol=0.35)
