"""What to judge by: exists for maps that lie beside the part, twins that are not those of `tolerance`, and a figure
that is another than the command's."""

from __future__ import annotations

import base64
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from layerpreview.answers.twins import twins_of
from layerpreview.colour import delta_e_2000
from layerpreview.desk import beside, picture
from layerpreview.desk.desk import Desk
from layerpreview.desk.judge import coded
from layerpreview.errors import InputError
from layerpreview.finish.layers import stack_of
from layerpreview.job.colours import spot_lab
from layerpreview.picture.scene import make_scene
from layerpreview.picture.spots import main_spot, spots_of
from layerpreview.scheme import load_scheme
from layerpreview.workflows.evenness import evenness as evenness_by_command

from ..schemes import HEAD, PANEL, SILVER
from .conftest import settled


def evenness(desk: Desk, hand: str) -> dict[str, Any]:
    status, told = beside.GET["evenness"](desk, {"hand": hand})
    assert status == 200
    return dict(told)


def test_the_figure_is_that_of_the_command(desk: Desk) -> None:
    assert desk.path is not None
    by_command = evenness_by_command(
        load_scheme(desk.path), hands=("flat", "hurried"), advise_hand="flat", width_px=640
    )
    for stripes in by_command.found.stripes:
        told = evenness(desk, stripes.hand)
        assert told["stripes_de00"] == pytest.approx(stripes.stripes_de00, abs=0.02)
        assert told["verdict"] == stripes.verdict
        assert told["words"].endswith(f"({stripes.verdict})")


def test_the_maps_lie_on_the_part(desk: Desk) -> None:
    """Nothing of them in the opening or beside the face; steady they are flat, hurried they are not."""
    maps = {}
    for hand in ("flat", "hurried"):
        (face,) = evenness(desk, hand)["faces"]
        shape = face["rows"], face["cols"]
        film, shown = (
            np.frombuffer(base64.b64decode(face[name]), np.uint8).reshape(shape) for name in ("film", "shown")
        )
        x, y = np.meshgrid(*((np.arange(n) + 0.5) * face["pixel_mm"] for n in (shape[1], shape[0])))
        hole = np.hypot(x + face["at_mm"][0] - 20.0, y + face["at_mm"][1] - 24.0) < 7.0
        assert hole.any()
        assert not film[hole].any()
        assert film[(x > 34.0) & (x < 58.0) & (y > 8.0) & (y < 40.0)].all()
        assert shape[1] * face["pixel_mm"] == pytest.approx(64.0, abs=face["pixel_mm"])
        maps[hand] = film[film > 0].astype(float), shown
    assert maps["flat"][0].std() < 0.5 * maps["hurried"][0].std()
    assert maps["hurried"][1].max() > maps["flat"][1].max()


def test_it_is_made_anew_only_where_what_it_rests_on_changed(desk: Desk, folder: Path) -> None:
    """Not for a remark or a price; for a coat's number, and then with another sign."""
    first = evenness(desk, "good")
    file = folder / "scheme.toml"
    file.write_text(file.read_text().replace('transfer = "40 to 60 %"', 'transfer = "40 to 60 %" # as ever', 1))
    again = beside.GET["evenness"](desk, {"hand": "good", "known": first["sign"]})[1]
    assert again == {"hand": "good", "sign": first["sign"], "same": True}
    file.write_text(file.read_text().replace("coats = 2", "coats = 3", 1))
    other = beside.GET["evenness"](desk, {"hand": "good", "known": first["sign"]})[1]
    assert other["same"] is False
    assert other["sign"] != first["sign"]
    assert [step["words"] for step in other["steps"]] == ["not visible", "may be seen", "visible"]


def test_what_is_laid_over_the_picture_is_what_the_maps_tell(desk: Desk) -> None:
    """Coat by coat beside the difference, to the bytes' own steps; beside the part nothing but its nearest place."""
    (face,) = evenness(desk, "hurried")["faces"]
    laid = face["laid"]
    size = laid["texture"]["depth"], laid["texture"]["height"], laid["texture"]["width"]
    data = picture.textures.get(laid["texture"]["hash"])
    assert data is not None
    numbers = np.moveaxis(np.frombuffer(data, "<f2").reshape(*size, 4), 3, 1).reshape(-1, *size[1:]).astype(float)
    factor, de00, judged = numbers[: laid["layers"]], numbers[laid["layers"]], numbers[laid["layers"] + 1]
    codes = np.frombuffer(base64.b64decode(face["shown"]), np.uint8).reshape(size[1:])
    here = codes > 0
    assert laid["layers"] == 3
    assert np.abs(1.0 + 254.0 * np.clip(de00 / 3.6, 0.0, 1.0) - codes)[here].max() < 1.1
    assert set(np.unique(judged)) <= {0.0, 1.0}
    assert (judged[here] == 1.0).all()
    assert 0.5 < factor.min() < 0.98
    assert factor.max() < 2.0


def test_codes_of_a_map() -> None:
    values = np.array([0.5, 0.85, 1.0, 1.15, 9.0, 1.0], dtype=np.float32)
    where = np.array([True, True, True, True, True, False])
    assert list(base64.b64decode(coded(values, low=0.85, high=1.15, where=where))) == [1, 1, 128, 255, 255, 0]


def test_twins(desk: Desk) -> None:
    """Pale is lighter, deep is darker; the colour that their factors give, on the stack itself, is nearly theirs."""
    _, begun = beside.POST["twins"](desk, {}, {})
    task = settled(desk, begun)
    found = task["result"]
    assert found["pale"]["lab"][0] > found["likely"]["lab"][0] > found["deep"]["lab"][0]
    assert found["likely"]["factors"] == [1.0, 1.0, 1.0]
    assert (found["likely"]["de00"], found["within_de00"]) == (0.0, 1.8)
    assert sum(one["share"] for one in found["matters"]) == pytest.approx(1.0, abs=0.25)
    assert desk.path is not None
    scheme = load_scheme(desk.path)
    (spot,) = [s for s in spots_of(scheme, make_scene(scheme, width_px=400)) if s.name == found["place"]]
    for name in ("pale", "likely", "deep"):
        build = spot.build * found[name]["factors"]
        lab = spot_lab(stack_of(scheme, base=spot.base), spot.bare, build, light="D65", observer_deg=2)
        assert float(delta_e_2000(lab, np.array(found[name]["lab"]))) < 0.6
    assert task["command"] == f"layerpreview tolerance {desk.path}"


def test_twins_are_the_runs_of_tolerance(desk: Desk) -> None:
    """One run in twenty is lighter than the pale one, one in twenty darker than the deep one."""
    assert desk.path is not None
    scheme = load_scheme(desk.path)
    spot = main_spot(spots_of(scheme, make_scene(scheme, width_px=200)))
    found = twins_of(scheme, spot, within_de00=1.8, runs=2000, seed=5)
    assert (found.spread.lab[:, 0] > found.pale.lab[0]).mean() == pytest.approx(0.05, abs=0.002)
    assert (found.spread.lab[:, 0] < found.deep.lab[0]).mean() == pytest.approx(0.05, abs=0.002)


def test_there_are_no_twins_without_dye(desk: Desk, folder: Path) -> None:
    (folder / "scheme.toml").write_text(HEAD + PANEL + SILVER)
    _, begun = beside.POST["twins"](desk, {}, {})
    told = settled(desk, begun)
    assert told["state"] == "failed"
    assert "no dye shows" in told["problems"][0]


def test_what_a_screen_cannot_show(desk: Desk, folder: Path) -> None:
    """A yellow without blue light is outside sRGB; a grey is not."""
    (folder / "scheme.toml").write_text(HEAD + PANEL + SILVER)
    assert beside.GET["gamut"](desk, {})[1]["share"] == 0.0
    yellow = '[dye.y]\nabsorptivity = [[380, 60.0], [505, 60.0], [520, 0.0], [780, 0.0]]\nconcentrate = "40 g/L"\n'
    coat = '[mix.m]\ndyes = { y = "30 mL/L" }\n[[coat]]\nmix = "m"\ncoats = 4\n'
    (folder / "scheme.toml").write_text(HEAD + PANEL + SILVER + yellow + coat)
    told = beside.GET["gamut"](desk, {"light": "D65"})[1]
    assert told["share"] == pytest.approx(1.0, abs=0.01)
    assert "100.0 % of the part" in told["words"]


@pytest.mark.parametrize(("name", "words"), [("evenness", {"hand": "shaky"}), ("gamut", {"light": "moon"})])
def test_what_there_is_not(desk: Desk, name: str, words: dict[str, str]) -> None:
    with pytest.raises(InputError, match="no such"):
        beside.GET[name](desk, words)
