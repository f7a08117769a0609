"""The ladder's files: exist for cells that do not print to size, a mark on the wrong cell, and names that are promised
and not written."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from layerpreview.errors import InputError, OutputError
from layerpreview.output.swatches import MARK, base_cell, swatch_grid
from layerpreview.scheme import load_scheme
from layerpreview.workflows.ladder import agreed_from, ladder_files, strengths_from

from ..schemes import DYES, FULL, HEAD, HONEY, MIXES, PANEL, RELIEF, WHITE
from ..written import names_in

Save = Callable[..., Path]
LIFTED = HEAD + PANEL + RELIEF + DYES + MIXES + HONEY


def _marked(path: Path) -> np.ndarray:
    pixels = np.asarray(Image.open(path).convert("RGB"))
    return np.argwhere((pixels == MARK).all(axis=2))


def test_files_numbers_and_size(save_scheme: Save, tmp_path: Path) -> None:
    out = tmp_path / "out"
    made = ladder_files(
        save_scheme(LIFTED),
        out=out,
        strengths=(0.5, 1.0),
        most_coats=3,
        lights=["D65", "FL2"],
        cell_mm=20.0,
        cell_px=60,
    )
    assert made.files == ("ladder_D65.png", "ladder_FL2.png", "ladder.json")
    assert names_in(out) == sorted(made.files)
    with Image.open(out / "ladder_D65.png") as picture:
        # 60 px for 20 mm: 3 px a millimetre, stored per metre and read as dots per inch.
        assert picture.info["dpi"][0] == pytest.approx(3 * 25.4, abs=0.1)
    figures = json.loads((out / "ladder.json").read_text("utf-8"))
    assert [len(row) for row in figures["rows"]] == [3, 3]
    assert figures["rows"][1][2]["coats"] == 3
    assert set(figures["rows"][0][0]["lab"]) == {"D65", "FL2"}


def test_the_swatches_lie_over_the_primer_too(save_scheme: Save, tmp_path: Path) -> None:
    """On a flat base a cell is of one colour: that of its figures."""
    primer = '[[coat]]\nname = "primer"\nopaque = "#eeeeee"\nhiding = 0.6\ncoats = 2\n'
    path = save_scheme(HEAD + PANEL + WHITE.replace("#f2f0ec", "#404040") + DYES + MIXES + primer + HONEY)
    made = ladder_files(path, out=tmp_path / "out", most_coats=2, cell_px=60)
    pixels = np.asarray(Image.open(tmp_path / "out" / "ladder_D65.png").convert("RGB")).reshape(-1, 3).astype(int)
    for rung in made.found.rows[0]:
        colour = [int(rung.srgb[i : i + 2], 16) for i in (1, 3, 5)]
        assert (np.abs(pixels - colour).max(axis=1) <= 1).sum() >= 3600


@pytest.mark.slow
def test_the_agreed_cell_is_marked(save_scheme: Save, tmp_path: Path) -> None:
    places = []
    for agreed in ((0.5, 1), (1.0, 3)):
        out = tmp_path / f"{agreed[1]}"
        ladder_files(save_scheme(LIFTED), out=out, strengths=(0.5, 1.0), most_coats=3, cell_px=60, agreed=agreed)
        places.append(_marked(out / "ladder_D65.png").mean(axis=0))
    assert np.all(places[1] > places[0] + 60)
    assert not _marked_without(save_scheme, tmp_path).size


def _marked_without(save_scheme: Save, tmp_path: Path) -> np.ndarray:
    ladder_files(save_scheme(LIFTED), out=tmp_path / "plain", most_coats=2, cell_px=60)
    return _marked(tmp_path / "plain" / "ladder_D65.png")


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"mix": "plum"}, r"--mix = 'plum'.*honey"),
        ({"agreed": (0.7, 2)}, r"--agreed = 0.7 x 2: the agreed cell is not on this grid"),
        ({"agreed": (1.0, 9)}, r"--agreed = 1 x 9"),
        ({"lights": ["moon"]}, r"--light = moon"),
    ],
)
def test_what_is_not_there(save_scheme: Save, tmp_path: Path, asked: dict[str, object], said: str) -> None:
    with pytest.raises(InputError, match=said):
        ladder_files(save_scheme(FULL), out=tmp_path / "out", most_coats=2, cell_px=40, **asked)
    assert not (tmp_path / "out").exists()


@pytest.mark.slow
def test_nothing_is_overwritten_that_was_changed(save_scheme: Save, tmp_path: Path) -> None:
    scheme = save_scheme(FULL)
    for force in (False, False, True):
        made = ladder_files(scheme, out=tmp_path / "out", most_coats=2, cell_px=40, force=force)
    (tmp_path / "out" / made.files[0]).write_text("a client's own")
    with pytest.raises(OutputError, match="already there"):
        ladder_files(scheme, out=tmp_path / "out", most_coats=2, cell_px=40)


def test_a_cell_is_the_part_at_true_scale(save_scheme: Save) -> None:
    """A cell twice as wide at twice the pixels shows the same millimetres a pixel: its middle is the smaller cell."""
    scheme = load_scheme(save_scheme(LIFTED))
    small, large = base_cell(scheme, cell_mm=12.0, cell_px=48), base_cell(scheme, cell_mm=24.0, cell_px=96)
    assert small.tint_rgb is not None
    assert small.path is not None
    assert large.path is not None
    for whole, part in ((large.bare[0], small.bare[0]), (large.path[1], small.path[1])):
        assert np.corrcoef(whole.reshape(96, 96)[24:72, 24:72].ravel(), part.ravel())[0, 1] > 0.99


def test_a_cell_larger_than_the_face_goes_on_mirrored(save_scheme: Save) -> None:
    cell = base_cell(load_scheme(save_scheme(LIFTED)), cell_mm=100.0, cell_px=50)
    assert cell.path is not None
    for square in (cell.bare.reshape(50, 50), cell.path[0].reshape(50, 50)):
        assert square[23] == pytest.approx(square[24])  # the face is 48 mm high


def test_a_cell_of_a_side(save_scheme: Save) -> None:
    """Cut from the strip round the face: 25 mm deep."""
    side = '[[face]]\nname = "edge"\nshape = "side"\nof = "front"\ndepth = "25 mm"\n'
    scheme = load_scheme(save_scheme(LIFTED.replace("[base]", side + "[base]", 1)))
    cell = base_cell(scheme, cell_mm=20.0, cell_px=40, face="edge")
    assert cell.bare.shape == (1, 1600)
    assert float(cell.bare.std()) > 0.0


def test_text_is_never_cut(save_scheme: Save) -> None:
    """A long label widens the columns; the picture grows with it."""
    cell = np.zeros((40, 40, 3), dtype=np.uint8)
    widths = [
        swatch_grid([[cell, cell, cell]], [[["a" * count]] * 3], title="t", notes=["n"]).shape[1] for count in (4, 60)
    ]
    assert widths[1] > widths[0] + 600


@pytest.mark.parametrize("text", ["", "a,b", "0", "1,99", ",".join(["1"] * 25)])
def test_strengths_that_are_none(text: str) -> None:
    with pytest.raises(InputError, match="--strengths"):
        strengths_from(text)


@pytest.mark.parametrize("text", ["", "3", "x3", "1x", "1x2.5"])
def test_agreed_cells_that_are_none(text: str) -> None:
    with pytest.raises(InputError, match="--agreed"):
        agreed_from(text)
