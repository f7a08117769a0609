"""Words on pictures: exists for a caption that keeps quiet about what a picture shows and no figure knows of."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from PIL import Image

from layerpreview.finish.view import STRAIGHT_ON, View
from layerpreview.scheme import load_scheme
from layerpreview.workflows.choices import coats_in_short
from layerpreview.workflows.render import Shot, caption_lines

from ..schemes import HONEY, SILVER, bare_scheme

Save = Callable[..., Path]
PHOTO = SILVER.replace('colour = "#b9bcc0"', 'picture = "base.png"')


@pytest.mark.parametrize(
    ("base", "view", "said"),
    [
        (PHOTO, View(45.0), True),
        (PHOTO, View(0.0, 45.0), True),
        (PHOTO, STRAIGHT_ON, False),
        (SILVER, View(45.0), False),
    ],
)
def test_a_photo_does_not_turn_and_the_caption_says_so(
    save_scheme: Save, tmp_path: Path, base: str, view: View, said: bool
) -> None:
    Image.new("RGB", (30, 20), (150, 150, 150)).save(tmp_path / "base.png")
    scheme = load_scheme(save_scheme(bare_scheme(base, coats=HONEY)))
    assert ("the base is a photo" in caption_lines(scheme, Shot("D65", view, False))[-1]) == said


def test_a_scheme_without_coats_says_so(save_scheme: Save) -> None:
    assert coats_in_short(load_scheme(save_scheme(bare_scheme(SILVER)))) == "no dye; gloss clear"
    assert coats_in_short(load_scheme(save_scheme(bare_scheme(SILVER, coats=HONEY)))).endswith("honey; gloss clear")
