"""What tests of several workflows share."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest
from PIL import Image

from layerpreview.job.figures import figures_of
from layerpreview.output import board_result
from layerpreview.output.board import BoardPage
from layerpreview.output.board_data import Picture, Stills, Told
from layerpreview.picture.scene import make_scene
from layerpreview.scheme import Scheme
from layerpreview.workflows import board as board_module


@pytest.fixture
def quick_pages(monkeypatch: pytest.MonkeyPatch) -> None:
    """Boards without pictures of the part: for tests of what is written down about them."""
    grey = io.BytesIO()
    Image.new("RGB", (64, 48), "grey").save(grey, "JPEG")
    picture = Picture("Finished", grey.getvalue(), 64, 48)

    def stills(_: Scheme, __: int, *, lights: Sequence[str], **___: Any) -> Stills:
        return Stills(dict.fromkeys(lights, picture), picture)

    def told(scheme: Scheme, **_: Any) -> Told:
        return Told(figures_of(scheme, make_scene(scheme, width_px=64)), {})

    def page(*_: Any, **__: Any) -> BoardPage:
        return BoardPage("<!doctype html><title>Board</title>", 100)

    monkeypatch.setattr(board_module, "stills_of", stills)
    monkeypatch.setattr(board_module, "told_of", told)
    monkeypatch.setattr(board_module, "live_packed", lambda *_, **__: None)
    monkeypatch.setattr(board_module, "board_page", page)
    monkeypatch.setattr(board_result, "sheet_of", lambda _: np.zeros((8, 8, 3), dtype=np.uint8))
