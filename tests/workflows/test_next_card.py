"""The next card from end to end: what `fit` says last is typed as it stands, and the frame has those windows alone."""

from __future__ import annotations

import json
import shlex
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner, Result

import layerpreview.cli.learn  # noqa: F401  (adds its commands)
from layerpreview.cli import app
from layerpreview.errors import InputError
from layerpreview.learn.read.columns import read_columns
from layerpreview.learn.read.frame import find_card, windows
from layerpreview.surface.marks import CORNERS_MM, placement_of
from layerpreview.surface.picture_file import PictureData

CARD = Path(__file__).parents[2] / "samples" / "spray_out.csv"
SCHEME = """layerpreview = 1
name = "Back"
lights = ["D65"]
[[face]]
name = "back"
shape = "panel"
width = "90 mm"
height = "60 mm"
[base]
kind = "wood"
colour = "#d9b98a"
[dye.amber]
library = "amber"
concentrate = "42 g/L"
[mix.amber]
dyes = { amber = "AMOUNT" }
[[coat]]
mix = "amber"
coats = 1
film = "40 um"
"""


def run(*words: str | Path, code: int = 0) -> Result:
    result = CliRunner().invoke(app, [str(word) for word in words])
    assert result.exit_code == code, result.output
    return result


def scheme_with(folder: Path, amount: str, scheme: str = SCHEME) -> Path:
    path = folder / "scheme.toml"
    path.write_text(scheme.replace("AMOUNT", amount), encoding="utf-8")
    return path


def outlined(pdf: Path) -> set[tuple[str, int]]:
    """Windows of the frame whose left line is printed."""
    pixels = np.asarray(pytest.importorskip("pypdfium2").PdfDocument(pdf)[0].render(scale=3.0).to_pil().convert("RGB"))
    placement = placement_of(find_card(PictureData(pixels, file="page")).to_px(CORNERS_MM).tolist())
    found = set()
    for box in windows():
        line = np.column_stack([np.full(80, box.left), np.linspace(box.top + 2, box.top + 28, 80)])
        x, y = np.rint(placement.to_px(line) - 0.5).astype(int).T
        dark = min(pixels[y, x + shift].mean() for shift in (-1, 0, 1))
        if dark < 225:
            found.add((box.what, box.column))
    return found


@pytest.mark.slow
def test_what_the_fit_says_last_can_be_typed(tmp_path: Path) -> None:
    pytest.importorskip("typst")
    told = run("fit", CARD, "--name", "amber", "-o", tmp_path / "next card")
    assert told.stdout.count("next best window: ") == 2
    line = next(line for line in told.stderr.splitlines() if "layerpreview card" in line)
    program, *words = shlex.split(line[line.index("layerpreview card") :])
    assert program == "layerpreview"
    assert 'layerpreview fit PHOTO --strength "12 mL/L" --grey 0.18 --coats' in run(*words).stderr
    columns = read_columns(words[words.index("--coats") + 1])
    wanted = {(what, i) for i, column in enumerate(columns) for what in ("white", "base") if column.over(what)}
    assert len(wanted) == 4  # the two bare ones and the two told
    assert outlined(tmp_path / "next card" / "spray_out_frame.pdf") == wanted
    held = json.loads((tmp_path / "next card" / "amber_fit.json").read_text(encoding="utf-8"))["next_windows"]
    typed = {f"{w['coats']:g} {w['strength']:g} {w['background']}" for w in (one["window"] for one in held)}
    assert typed == {f"{c.coats:g} {c.strength:g} {c.background}" for c in columns[1:]}


@pytest.mark.slow
def test_a_scheme_that_asks_little_needs_no_further_card(tmp_path: Path) -> None:
    """A light coat over wood, well within the card: its doubt is nothing beside that of the card's own range."""
    scheme = scheme_with(tmp_path, "3 mL/L")
    told = run("fit", CARD, "--name", "amber", "-o", tmp_path / "out", "--for", scheme)
    assert "no further card is needed: it could narrow 0." in told.stdout
    assert "layerpreview card" not in told.stderr
    assert scheme.read_text(encoding="utf-8") == SCHEME.replace("AMOUNT", "3 mL/L")


@pytest.mark.slow
def test_a_scheme_beyond_the_card_asks_for_heavy_windows(tmp_path: Path) -> None:
    """Twelve times the dye of a coat: it is the heavy windows that tell."""
    scheme = scheme_with(tmp_path, "144 mL/L")
    run("fit", CARD, "--name", "amber", "-o", tmp_path / "out", "--for", scheme)
    held = json.loads((tmp_path / "out" / "amber_fit.json").read_text(encoding="utf-8"))["next_windows"]
    assert max(one["window"]["coats"] * one["window"]["strength"] for one in held) >= 8


def test_a_scheme_without_dye_is_refused_in_a_line(tmp_path: Path) -> None:
    scheme = scheme_with(tmp_path, "", SCHEME.split("[dye.amber]")[0])
    result = run("fit", CARD, "-o", tmp_path / "out", "--for", scheme, code=1)
    assert isinstance(result.exception, InputError)
    assert "no place of this scheme shows a dye" in str(result.exception)
    assert not (tmp_path / "out").exists() or not list((tmp_path / "out").iterdir())


@pytest.mark.slow
def test_a_learnt_dye_may_be_learnt_anew_for_its_own_scheme(tmp_path: Path) -> None:
    """The scheme's dye is the file that the fit replaces: of the scheme only its loads are used."""
    run("fit", CARD, "--name", "amber", "-o", tmp_path)
    scheme = scheme_with(tmp_path, "12 mL/L", SCHEME.replace('library = "amber"', 'file = "amber.dye.toml"'))
    run("fit", CARD, "--name", "amber", "-o", tmp_path, "--for", scheme, "--force")
