"""From a card to a dye file to a preview: every command of the page "make it your own", and bad cards in one line."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from layerpreview.colour import WAVELENGTHS_NM, decode_srgb, encode_srgb, resample_to_grid
from layerpreview.errors import InputError, OutputError
from layerpreview.learn.card.model import photo_eye
from layerpreview.learn.tell.fitted import Fitted
from layerpreview.output.result import Result
from layerpreview.scheme import load_dye, load_scheme
from layerpreview.scheme.dyefile import GUESS_BEYOND
from layerpreview.workflows.fit import fit_files
from layerpreview.workflows.fit_mix import mix_of_card
from layerpreview.workflows.fit_options import FitOptions
from layerpreview.workflows.render import render_files

from ..learn.card_pictures import frame_photo
from ..learn.sensors import chart_spectra
from ..learn.simulated import Truth, each_window, lab_card, random_truth

HEAD = "# light: D65\n# strength: 12 mL/L\n# film: 40 um\n# concentrate: 50 g/L\n# flake spread: 0.3\n"
LOAD_MG_M2 = 12 / 1000 * 50 * 40  # 12 mL of 50 g/L in a litre, 40 um wet


def truth_of(seed: int = 21) -> Truth:
    return random_truth(np.random.default_rng(seed))


def card_csv(folder: Path, *, head: str = HEAD, seed: int = 21, separator: str = ",", skip: int = 0) -> Path:
    card = lab_card(truth_of(seed), np.random.default_rng(seed + 1))
    rows = [f"{w.ground},{w.load:g}," + ",".join(f"{v:.2f}" for v in w.read) for w in card.windows]
    text = head + "\n".join([*(["background,coats,L,a,b"] if not skip else []), *rows]) + "\n"
    if separator == ";":
        lines = text.splitlines()
        text = "\n".join(line if line.startswith("#") else line.replace(",", ";").replace(".", ",") for line in lines)
    path = folder / "card.csv"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def fitted(tmp_path_factory: pytest.TempPathFactory) -> Result[Fitted]:
    folder = tmp_path_factory.mktemp("fit")
    return fit_files(card_csv(folder), out=folder / "out", options=FitOptions(name="House amber"))


@pytest.mark.slow
def test_the_dye_file_can_be_read_and_is_the_dye(fitted: Result[Fitted]) -> None:
    dye = load_dye(fitted.folder / fitted.files[0])
    assert dye.name == "House amber"
    assert dye.kind == "fitted"
    assert "card.csv" in dye.provenance
    assert dye.concentrate_g_per_L == 50
    true = truth_of().absorbance10 / (1e-4 * LOAD_MG_M2)
    found = resample_to_grid(dye.wavelength_nm, dye.absorptivity_L_per_g_cm)
    # Below 420 nm the eye hardly sees, so no reading of colours tells.
    matters = (true > 0.2 * true.max()) & (WAVELENGTHS_NM > 420)
    np.testing.assert_allclose(found[matters], true[matters], rtol=0.35)


def test_what_is_written_tells_the_whole_story(fitted: Result[Fitted]) -> None:
    assert fitted.files == ("house_amber.dye.toml", "house_amber_fit.png", "house_amber_fit.json")
    assert fitted.load_per_coat_mg_m2 == pytest.approx(LOAD_MG_M2)
    assert fitted.tested_to_mg_m2 == pytest.approx(6 * LOAD_MG_M2)
    told = json.loads((fitted.folder / fitted.files[2]).read_text(encoding="utf-8"))
    assert len(told["steps"]) == 14
    assert max(step["de00"] for step in told["steps"]) < 3.0
    assert [set(told["next_windows"][n]) for n in (0, 1)] == 2 * [{"window", "doubt_before_de00", "doubt_after_de00"}]
    text = (fitted.folder / fitted.files[0]).read_text(encoding="utf-8")
    assert "low_L_per_g_cm" in text
    assert "tested_to_mg_m2" in text
    with Image.open(fitted.folder / fitted.files[1]) as picture:
        assert picture.width >= 900


def test_from_the_card_to_a_new_preview(fitted: Result[Fitted], tmp_path: Path) -> None:
    # The dye on a wood it was never sprayed on, at another strength, under a warm lamp.
    scheme = tmp_path / "scheme.toml"
    scheme.write_text(
        'layerpreview = 1\nname = "Back"\nlights = ["D65", "A"]\n'
        '[[face]]\nname = "back"\nshape = "panel"\nwidth = "90 mm"\nheight = "60 mm"\n'
        '[base]\nkind = "wood"\ncolour = "#d9b98a"\n'
        f'[dye.amber]\nfile = "{(fitted.folder / fitted.files[0]).as_posix()}"\n'
        '[mix.amber]\ndyes = { amber = "7 mL/L" }\n[[coat]]\nmix = "amber"\ncoats = 2\nfilm = "35 um"\n',
        encoding="utf-8",
    )
    assert load_scheme(scheme).dyes["amber"].kind == "fitted"
    rendered = render_files(scheme, out=tmp_path / "out", width_px=128)
    assert "finish_A.png" in rendered.files
    assert any(dye.kind == "fitted" for coat in rendered.figures.coats for dye in coat.dyes)


@pytest.mark.slow
def test_a_photo_taken_upside_down_is_enough(tmp_path: Path) -> None:
    truth = truth_of(33)
    eye = photo_eye("D50")
    colours = {(name, coats): eye.take @ spectrum for name, coats, spectrum in each_window(truth)}
    picture = frame_photo(colours, np.random.default_rng(2), power=1.06)
    Image.fromarray(picture.pixels).rotate(180).save(tmp_path / "card.jpg", quality=92)
    options = FitOptions(name="amber", strength="12 mL/L", film="40 um", light="D50", grey=0.18, flake_spread="0.3")
    found = fit_files(tmp_path / "card.jpg", out=tmp_path / "out", options=options)
    assert "the card lies upside down: put upright" in found.notes
    assert found.files[-1] == "amber_found.png"
    dye = load_dye(found.folder / found.files[0])
    peak = np.asarray(dye.wavelength_nm)[int(np.argmax(dye.absorptivity_L_per_g_cm))]
    true_peak = 380 + 5 * int(np.argmax(truth.absorbance10))
    assert peak == pytest.approx(true_peak, abs=40)


def photo_with_chart(truth: Truth) -> Image.Image:
    """A card and, right of it and upside down, a chart, by a camera of an S-curve (see sensors.py) and cross-talk."""
    eye = photo_eye("D50")
    colours = {(name, coats): eye.take @ spectrum for name, coats, spectrum in each_window(truth)}
    card = frame_photo(colours, np.random.default_rng(2), size_px=(1700, 860), grey=None, vignette=0.1, quality=None)
    light = decode_srgb(card.pixels / 255)
    patches = 0.75 * (chart_spectra() @ eye.take.T).reshape(4, 6, 3)
    light[300:580, 1250:1670] = patches[::-1, ::-1].repeat(70, axis=0).repeat(70, axis=1)
    mixing = np.array([[0.86, 0.10, 0.04], [0.05, 0.90, 0.05], [0.02, 0.13, 0.85]])
    code = encode_srgb(np.clip(light @ mixing.T, 0.0, 1.0))
    code = code - 0.5 * np.sin(2 * np.pi * code) / (2 * np.pi)
    return Image.fromarray(np.rint(255 * code).astype(np.uint8))


@pytest.mark.slow
def test_a_chart_in_the_photo_undoes_the_camera_and_says_how_well(tmp_path: Path) -> None:
    truth = truth_of(34)  # no window of it lies outside of sRGB, where the simulated card would clip it
    photo_with_chart(truth).save(tmp_path / "card.jpg", quality=92)
    options = FitOptions(name="amber", strength="12 mL/L", film="40 um", light="D50", flake_spread="0.3")
    charted = replace(options, chart=(1250.0, 300.0, 420.0, 280.0))
    with_chart, without = (
        fit_files(tmp_path / "card.jpg", out=tmp_path / name, options=each)
        for name, each in (("with", charted), ("without", options))
    )
    true = truth.absorbance10 / (1e-4 * with_chart.load_per_coat_mg_m2)
    matters = (true > 0.2 * true.max()) & (WAVELENGTHS_NM > 420)
    told = json.loads((with_chart.folder / with_chart.files[2]).read_text(encoding="utf-8"))
    assert 0.2 < told["chart_left_out_de00"] < 2.0
    assert f"the chart: {told['chart_left_out_de00']:.1f} CIEDE2000 with each patch left out" in with_chart.text()
    plain = json.loads((without.folder / without.files[2]).read_text(encoding="utf-8"))
    assert plain["chart_left_out_de00"] is None
    away = [np.abs(np.log(found.absorptivity / true))[matters].mean() for found in (with_chart, without)]
    assert away[0] < 0.7 * away[1]
    looked_for = fit_files(tmp_path / "card.jpg", out=tmp_path / "found", options=replace(options, chart="find"))
    told_again = json.loads((looked_for.folder / looked_for.files[2]).read_text(encoding="utf-8"))
    assert told_again["chart_left_out_de00"] == pytest.approx(told["chart_left_out_de00"], abs=0.1)
    held = (with_chart.low < true) & (true < with_chart.high)
    assert held[matters].mean() > 0.85


def test_a_chart_by_an_unknown_table_is_told_in_one_line() -> None:
    with pytest.raises(InputError, match=r'--chart-values = .*; did you mean "BabelColor Average"\?$') as caught:
        FitOptions(strength="12 mL/L", chart=(1250.0, 300.0, 420.0, 280.0), chart_values="BabelColour Average")
    assert "\n" not in str(caught.value)


@pytest.mark.slow
def test_semicolons_and_a_missing_header_change_nothing_but_the_notes(tmp_path: Path) -> None:
    results = []
    for n, how in enumerate(({}, {"separator": ";"}, {"skip": 1})):
        folder = tmp_path / str(n)
        folder.mkdir()
        found = fit_files(card_csv(folder, **how), out=folder / "out", options=FitOptions(name="a"))  # type: ignore[arg-type]
        results.append((load_dye(found.folder / found.files[0]).absorptivity_L_per_g_cm, found.notes))
    assert results[0][0] == results[1][0] == results[2][0]
    assert "numbers have decimal commas" in results[1][1]
    assert any("no header" in note for note in results[2][1])


@pytest.mark.slow
def test_the_same_card_writes_the_same_bytes(tmp_path: Path) -> None:
    card = card_csv(tmp_path)
    made = [fit_files(card, out=tmp_path / name, options=FitOptions(name="a")) for name in ("one", "two")]
    for name in made[0].files[:2]:
        assert (tmp_path / "one" / name).read_bytes() == (tmp_path / "two" / name).read_bytes()


def test_the_dye_file_says_as_the_fit_does_where_guessing_begins(fitted: Result[Fitted]) -> None:
    lines = (fitted.folder / fitted.files[0]).read_text("utf-8").splitlines()
    (line,) = (line for line in lines if line.startswith("tested_to_mg_m2"))
    low, high = fitted.tested_from_mg_m2 / GUESS_BEYOND, fitted.tested_to_mg_m2 * GUESS_BEYOND
    assert line.endswith(f"# the heaviest; below {low:.3g} and beyond {high:.3g} it is a guess")
    assert f"below {low:.3g} and beyond {high:.3g} it is a guess" in fitted.text()


def test_the_figures_hold_the_spectrum_and_its_covariance(fitted: Result[Fitted]) -> None:
    """The 90 % range is 1.645 standard deviations of the logarithm, and wavelengths err together."""
    told = json.loads(fitted.json())["spectrum"]
    best, low, high, covariance = (
        np.array(told[key])
        for key in ("absorptivity_L_per_g_cm", "low_L_per_g_cm", "high_L_per_g_cm", "covariance_of_ln")
    )
    assert told["wavelength_nm"] == list(range(380, 781, 10))
    assert covariance.shape == (41, 41)
    assert np.linalg.eigvalsh(covariance).min() > -1e-9
    half = 1.645 * np.sqrt(np.diag(covariance))
    np.testing.assert_allclose(np.log(high / best), half, rtol=2e-3)
    np.testing.assert_allclose(np.log(low / best), -half, rtol=2e-3)
    assert covariance[10, 11] > 0.7 * np.sqrt(covariance[10, 10] * covariance[11, 11])


@pytest.mark.parametrize("name", ["", "x" * 300, "two\nlines"])
def test_a_name_that_no_dye_file_may_have_is_refused_first(tmp_path: Path, name: str) -> None:
    with pytest.raises(InputError, match="--name = ") as caught:
        fit_files(tmp_path / "no such card.csv", out=tmp_path / "out", options=FitOptions(name=name))
    assert len(str(caught.value).splitlines()) == 1


def test_nothing_is_overwritten_unasked(fitted: Result[Fitted]) -> None:
    with pytest.raises(OutputError, match="already there"):
        fit_files(card_csv(fitted.folder.parent), out=fitted.folder, options=FitOptions(name="House amber"))


@pytest.mark.parametrize(
    ("head", "options", "said"),
    [
        ("", FitOptions(), "strength of the sprayed mix is missing"),
        (HEAD.replace("12 mL/L", "12 oz"), FitOptions(), "bare"),
        (HEAD.replace("D65", "noon"), FitOptions(), "no such light"),
        (HEAD.replace("spread: 0.3", "spread: 3"), FitOptions(), "from 0.05 to 0.5"),
        (HEAD, FitOptions(geometry="0/180"), "45/0"),
        (HEAD, FitOptions(sprayed="twice"), "one by one"),
        (HEAD, FitOptions(base="glass"), "metal, solid or wood"),
        (HEAD, FitOptions(observer="5"), "10 deg observers"),
        (HEAD, FitOptions(film="thick"), "film"),
    ],
)
def test_bad_options_are_told_in_one_line(tmp_path: Path, head: str, options: FitOptions, said: str) -> None:
    with pytest.raises(InputError) as caught:
        fit_files(card_csv(tmp_path, head=head), out=tmp_path / "out", options=options)
    assert len(caught.value.problems) == 1
    assert said in str(caught.value)
    assert not (tmp_path / "out").exists()


@pytest.mark.slow
def test_two_dyes_of_one_mix_are_told_apart(tmp_path: Path) -> None:
    files = {}
    for seed, name in ((21, "one"), (47, "other")):
        (tmp_path / name).mkdir()
        made = fit_files(card_csv(tmp_path / name, seed=seed), out=tmp_path / name, options=FitOptions(name=name))
        files[name] = made.folder / made.files[0]
    one, other = truth_of(21), truth_of(47)
    # The mix was meant to hold 6 and 6 mL/L; it holds 7.2 and 4.2.
    truth = Truth(0.6 * one.absorbance10 + 0.35 * other.absorbance10, one.white, one.metal, one.builds)
    card = lab_card(truth, np.random.default_rng(5))
    rows = [f"{w.ground},{w.load:g}," + ",".join(f"{v:.2f}" for v in w.read) for w in card.windows]
    path = tmp_path / "mix.csv"
    path.write_text(HEAD + "\n".join(["background,coats,L,a,b", *rows]) + "\n", encoding="utf-8")
    told = mix_of_card(path, {files["one"]: "6 mL/L", files["other"]: "6 mL/L"}, options=FitOptions())
    assert told.share["one"].likely == pytest.approx(1.2, rel=0.2)
    assert told.share["other"].likely == pytest.approx(0.7, rel=0.25)
    assert told.meant == {"one": "6 mL/L", "other": "6 mL/L"}
    with pytest.raises(InputError, match="two dyes"):
        mix_of_card(path, {files["one"]: "6 mL/L"}, options=FitOptions())
