"""Dyes at the desk: exists for a dye that is listed and cannot be brought in, one learnt that lands elsewhere, and a
colour that is taken from beside the spot."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from layerpreview.desk import beside
from layerpreview.desk.asked import POST as ASKED
from layerpreview.desk.desk import Desk
from layerpreview.errors import InputError
from layerpreview.scheme import load_scheme

from .conftest import settled

OWN = """\
layerpreview_dye = 1
name = "house rust"
kind = "table"
provenance = "read from a sheet"
concentrate = "25 g/L"
absorptivity_L_per_g_cm = [[380, 40.0], [560, 30.0], [640, 3.0], [780, 1.0]]
"""


def told_dyes(desk: Desk) -> dict[str, Any]:
    status, told = beside.GET["dyes"](desk, {})
    assert status == 200
    return dict(told)


def test_own_come_first_and_all_can_be_brought_in(desk: Desk, folder: Path) -> None:
    (folder / "rust.dye.toml").write_text(OWN)
    (folder / "broken.dye.toml").write_text("layerpreview_dye = 1\n")
    told = told_dyes(desk)
    assert [(dye["name"], dye["used"], dye["file"]) for dye in told["own"]] == [
        ("yellow", True, None),
        ("blue", True, None),
        ("house rust", False, "rust.dye.toml"),
    ]
    assert len(told["library"]) == 12
    assert {dye["source"] for dye in told["library"]} == {"library"}
    assert told["own"][2]["strength"] == "32 mL/L"  # 0.8 g/L of pure dye at 25 g/L
    assert [line.partition(":")[0] for line in told["problems"]] == ["broken.dye.toml"]
    changes = [{"do": "set", **dye["add"]} for dye in (told["own"][2], *told["library"])]
    status, _ = ASKED["edit"](desk, {}, {"base": desk.job().version, "changes": changes, "words": "all dyes"})
    assert status == 200
    assert len(load_scheme(folder / "scheme.toml").dyes) == 15
    assert [dye["used"] for dye in told_dyes(desk)["own"]] == [True] * 15


def test_a_photo_is_measured_at_the_spot_alone(desk: Desk) -> None:
    """A square of one colour on another: inside it nothing of the ground, across its edge the mean in light."""
    pixels = np.full((200, 300, 3), (20, 60, 160), dtype=np.uint8)
    pixels[80:120, 140:220] = (200, 138, 58)
    out = io.BytesIO()
    Image.fromarray(pixels).save(out, "PNG")
    upload, _ = desk.uploads.take_photo(out.getvalue(), "../part.png")

    def spot(x: float, y: float, size: float) -> dict[str, Any]:
        return dict(beside.POST["colour-of"](desk, {}, {"photo": upload.id, "x": x, "y": y, "size": size})[1])

    inside = spot(0.6, 0.5, 0.15)
    assert (inside["colour"], inside["spread_de00"], inside["words"]) == ("#c88a3a", 0.0, "one even colour")
    assert (inside["width_px"], inside["height_px"]) == (300, 200)
    assert inside["pixels"] == pytest.approx(np.pi * 15.0**2, rel=0.03)
    assert spot(0.0, 1.0, 0.1)["colour"] == "#143ca0"
    across = spot(140 / 300, 0.5, 0.1)
    assert "a mean of unlike colours" in across["words"]
    mean = np.array([(int(across["colour"][i : i + 2], 16) / 255.0) ** 2.2 for i in (1, 3, 5)])
    ends = (np.array([(200, 138, 58), (20, 60, 160)]) / 255.0) ** 2.2
    assert mean == pytest.approx(ends.mean(axis=0), abs=0.03)
    for wrong in ({"x": 1.5}, {"x": "left"}, {"x": 0.5, "size": 0.0}):
        with pytest.raises(InputError):
            beside.POST["colour-of"](desk, {}, {"photo": upload.id, "y": 0.5, **wrong})


READINGS = "coats,L,a,b\n0,88.0,0.0,1.0\n1,80.0,2.0,28.0\n2,74.0,5.0,45.0\n3,69.0,8.0,56.0\n4,65.0,11.0,63.0\n"


@pytest.mark.slow
def test_a_dye_is_learnt_into_the_job(desk: Desk, folder: Path) -> None:
    upload = desk.uploads.take_card(READINGS.encode(), "C:\\cards\\my card.csv")
    said = {"card": upload.id, "name": "House amber", "strength": "12 mL/L", "film": "medium", "base": "solid"}
    _, begun = beside.POST["fit"](desk, {}, said)
    assert begun["command"].startswith('layerpreview fit "my card.csv" --for')
    task = settled(desk, begun)
    assert task["state"] == "done", task
    found = task["result"]
    assert found["dye_file"] == "house_amber.dye.toml"
    assert (folder / found["dye_file"]).is_file()
    assert "my_card.csv" in (folder / found["dye_file"]).read_text()
    assert found["picture"] == "/files/house_amber_fit.png"
    assert any("House amber" in line for line in found["lines"])
    change = {"do": "set", **found["add"]}
    assert ASKED["edit"](desk, {}, {"base": desk.job().version, "changes": [change], "words": "a dye"})[0] == 200
    again = settled(desk, beside.POST["fit"](desk, {}, said)[1])
    assert again["state"] == "failed"  # a dye that a scheme may name is nobody's to replace


@pytest.mark.parametrize(
    ("said", "refused"),
    [({}, "strength of the sprayed mix is missing"), ({"strength": "12 mL/L", "light": "moon"}, "no such light")],
)
def test_what_is_not_known_of_a_card_is_asked_for(desk: Desk, said: dict[str, str], refused: str) -> None:
    upload = desk.uploads.take_card(READINGS.encode(), "card.csv")
    task = settled(desk, beside.POST["fit"](desk, {}, {"card": upload.id, **said})[1])
    assert task["state"] == "failed"
    assert refused in " ".join(task["problems"])
    assert "/tmp" not in " ".join(task["problems"])
    with pytest.raises(InputError):
        beside.POST["fit"](desk, {}, {"card": upload.id, "name": ["x"]})
    with pytest.raises(InputError, match="no longer kept"):
        beside.POST["fit"](desk, {}, {"card": "gone"})
