"""What tests of several workflows share."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from layerpreview.output import board_print
from layerpreview.output.board import BoardPage
from layerpreview.output.board_data import Option
from layerpreview.scheme import load_scheme
from layerpreview.workflows import board as board_module

from ..schemes import FULL


@pytest.fixture(scope="session")
def drawn_option(tmp_path_factory: pytest.TempPathFactory) -> Option:
    """One option of a board, really drawn."""
    path = tmp_path_factory.mktemp("drawn") / "scheme.toml"
    path.write_text(FULL, encoding="utf-8")
    (option,) = board_module.board([load_scheme(path)], width_px=64).found.drawn
    return option


@pytest.fixture
def quick_pages(drawn_option: Option, monkeypatch: pytest.MonkeyPatch) -> None:
    """Boards whose options all look alike: for tests of what is written down about them."""

    def option(*_: Any, **__: Any) -> Option:
        return drawn_option

    def page(*_: Any, **__: Any) -> BoardPage:
        return BoardPage("<!doctype html><title>Board</title>", 100)

    monkeypatch.setattr(board_module, "make_option", option)
    monkeypatch.setattr(board_module, "board_page", page)
    monkeypatch.setattr(board_print, "sheet_of", lambda _: np.zeros((8, 8, 3), dtype=np.uint8))
