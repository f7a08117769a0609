"""Evenness as files and words: exists for pictures that show another hand than their caption says, figures that differ
from the picture's, and a gun that is not the one asked for."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from layerpreview.choose.uneven import Spraying
from layerpreview.errors import InputError
from layerpreview.spray.passes import GUNS
from layerpreview.workflows.evenness import evenness_files, plan_words, spraying_from

from ..schemes import FULL

Save = Callable[..., Path]


def test_files_figures_and_words(save_scheme: Save, tmp_path: Path) -> None:
    out = tmp_path / "out"
    found = evenness_files(save_scheme(FULL), out=out, width_px=240)
    assert sorted(p.name for p in out.iterdir()) == sorted(found.files)
    assert [s.hand for s in found.stripes] == ["flat", "good", "hurried"]
    told = json.loads((out / "evenness.json").read_text("utf-8"))
    assert [s["stripes_de00"] for s in told["stripes"]] == [s.stripes_de00 for s in found.stripes]
    assert told["spraying"]["gun"]["width_mm"] == GUNS["full"].width_mm
    assert [p.order for p in found.passes] == [1, 2, 3]
    assert found.passes[0].metres > 0.0
    words = "\n".join(found.lines)
    for said in ("A practised hand", "assumed", "flat samples", "honey: "):
        assert said in words


def test_hands_differ_in_their_pictures(save_scheme: Save, tmp_path: Path) -> None:
    out = tmp_path / "out"
    evenness_files(save_scheme(FULL), out=out, width_px=240)
    flat, hurried = (
        np.asarray(Image.open(out / f"uneven_{hand}.png").convert("RGB"), dtype=float)[:150]
        for hand in ("flat", "hurried")
    )
    assert np.abs(flat - hurried).max() > 4.0


def test_the_same_seed_the_same_bytes(save_scheme: Save, tmp_path: Path) -> None:
    written = []
    for name in ("one", "two"):
        evenness_files(save_scheme(FULL), out=tmp_path / name, width_px=160, hands=("hurried",))
        written.append([p.read_bytes() for p in sorted((tmp_path / name).iterdir())])
    assert written[0] == written[1]


def test_guns() -> None:
    how = spraying_from(gun="small", overlap=0.6, directions_deg=(0.0, 90.0), pattern="random", seed=4)
    assert how == Spraying(gun=GUNS["small"], overlap=0.6, directions_deg=(0.0, 90.0), pattern="random", seed=4)
    own = spraying_from(fan_mm=160.0, beta=2.0)
    assert (own.gun.width_mm, own.gun.beta, own.gun.distance_mm) == (160.0, 2.0, GUNS["full"].distance_mm)
    assert "fan 160 mm" in plan_words(own)


def test_every_wrong_value_is_told() -> None:
    with pytest.raises(InputError) as caught:
        spraying_from(gun="huge", fan_mm=0.5, beta=40.0, overlap=1.2, pattern="woven")
    told = str(caught.value)
    for said in ("--gun = huge", "--fan = 0.5", "--beta = 40", "--overlap = 1.2", "--lines = woven"):
        assert said in told
