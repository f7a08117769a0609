"""A touch on a white card and touches on paint: exists for a wrong colour read without a word, and for a good photo
refused. What is read is what was put before the camera, as well as the mean of a texture is known."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest

from layerpreview.errors import PictureError
from layerpreview.surface.picture_file import PictureData
from layerpreview.surface.touched_photo import TouchedPhoto, touched_photo

from .touched_scenes import CARD, PAINT, Photographed, read

Touches = Sequence[tuple[float, float]]


def touched(
    scene: Photographed, *, card: tuple[float, float] = CARD, spots: Touches = (PAINT,)
) -> tuple[TouchedPhoto, np.ndarray]:
    """What was read, and the reflectance of the spots together."""
    found = touched_photo(read(scene), card=card, spots=spots)
    return found, 0.9 * np.mean([spot.rgb_lin for spot in found.spots], axis=0) / found.card.rgb_lin


@pytest.mark.parametrize(
    ("scene", "within"),
    [
        (Photographed(), 0.07),
        (Photographed(texture=0.5, seed=3), 0.15),
        (Photographed(width_px=300, seed=4), 0.10),
        (Photographed(width_px=1000, texture=0.4, seed=5), 0.10),
        (Photographed(light=(0.3, 0.3, 0.3)), 0.07),
        (Photographed(light=(0.95, 0.75, 0.5)), 0.07),
        (Photographed(card=(0.18, 0.18, 0.18), light=(0.9, 0.9, 0.9)), 0.07),
        (Photographed(rgb=(0.03, 0.006, 0.004)), 0.10),
        (Photographed(blur_px=0.8), 0.07),
        (Photographed(table=(0.85, 0.85, 0.85)), 0.07),
    ],
)
def test_what_was_there_is_read(scene: Photographed, within: float) -> None:
    found, rgb = touched(scene)
    rgb = rgb * scene.card[0] / 0.9
    assert rgb == pytest.approx(scene.rgb, rel=within, abs=0.001)
    (spot,) = found.spots
    left, top, width, height = spot.box
    assert left < PAINT[0] < left + width
    assert top < PAINT[1] < top + height
    assert 0.02 < width < 0.2


def test_the_card_is_found_whole(rng: np.random.Generator) -> None:
    """Wherever on it it is touched: its box lies on it, and is most of its shorter side."""
    scene = Photographed()
    left, top, width, height = scene.card_box
    for _ in range(3):
        at = (left + width * rng.uniform(0.15, 0.85), top + height * rng.uniform(0.15, 0.85))
        found, _ = touched(scene, card=at)
        x, y, wide, high = found.card.box
        assert left <= x < x + wide <= left + width
        assert top <= y < y + high <= top + height
        assert wide > 0.85 * width
        assert found.card.rgb_lin == pytest.approx(0.72, rel=0.01)


REFUSED = [
    (Photographed(light=(1.3, 1.3, 1.3)), {}, "the card is overexposed"),
    (Photographed(light=(1.13, 1.13, 1.13)), {}, "the card is overexposed"),
    (Photographed(light=(0.02, 0.02, 0.02)), {}, "too dark"),
    (Photographed(), {"card": PAINT}, "coloured, no white or grey card"),
    (Photographed(card=(0.9, 0.8, 0.3)), {}, "coloured, no white or grey card"),
    (Photographed(card_box=(0.14, 0.25, 0.025, 0.035)), {}, "too small"),
    (Photographed(rgb=(0.5, 0.5, 0.5), texture=0.6), {"card": PAINT}, "no even card"),
    (Photographed(print_on_card=True), {}, "no even card"),
    (Photographed(falls=3.0), {}, "one side of the card has"),
    (Photographed(falls=0.9), {}, "from the card to the paint"),
    (Photographed(blur_px=5.0), {}, "not sharp"),
    (Photographed(), {"spots": (CARD,)}, "touched on the same thing"),
    (Photographed(), {"spots": ((0.16, 0.3),)}, "touched on the same thing"),
    (Photographed(), {"spots": ((0.999, 0.5),)}, "at the very edge"),
    (Photographed(rgb=(1.6, 1.5, 1.4)), {}, "the paint is overexposed"),
    (Photographed(), {"card": (0.1, 0.8)}, "the paint is brighter than the card"),
    (Photographed(), {"spots": ()}, "no painted spot is touched"),
    (Photographed(), {"spots": ((1.2, 0.5),)}, "a touch at 1.2, 0.5 is not in the picture"),
    (Photographed(), {"card": (float("nan"), 0.5)}, "is not in the picture"),
]


@pytest.mark.parametrize(("scene", "touches", "said"), REFUSED)
def test_what_cannot_be_judged_says_why(scene: Photographed, touches: dict[str, object], said: str) -> None:
    if "brighter" in said:
        scene = Photographed(rgb=(0.7, 0.65, 0.6), table=(0.2, 0.2, 0.2))
    with pytest.raises(PictureError) as refused:
        touched(scene, **touches)  # type: ignore[arg-type]
    (problem,) = refused.value.problems
    assert said in problem.rule
    assert problem.remedy
    assert "px" not in str(problem)


def test_what_makes_it_less_sure_is_said() -> None:
    assert touched(Photographed())[0].notes == ()
    (tint,) = touched(Photographed(light=(0.95, 0.75, 0.5)))[0].notes
    assert "the light is coloured (the card reads 127, 100, 66 % of its green)" in tint
    (fall,) = touched(Photographed(falls=0.35))[0].notes
    assert "from the card to the paint" in fall
    found, _ = touched(Photographed(), spots=(PAINT, (PAINT[0] + 0.004, PAINT[1]), (0.7, 0.6)))
    assert found.notes == ("a spot was touched twice: it counts once",)
    assert len(found.spots) == 2


def test_a_spot_stops_at_an_edge() -> None:
    """Touched near the rim of the part, it stays small and on it."""
    found, rgb = touched(Photographed(texture=0.1), spots=((0.345, 0.5),))
    (spot,) = found.spots
    assert spot.box[0] > 0.29
    assert spot.box[2] < 0.11
    assert rgb == pytest.approx((0.4, 0.2, 0.05), rel=0.06)


def test_grey_pictures_are_read_too() -> None:
    pixels = read(Photographed(rgb=(0.3, 0.3, 0.3))).pixels[..., 1]
    found = touched_photo(PictureData(pixels, None, "grey.jpg"), card=CARD, spots=[PAINT])
    assert 0.9 * found.spots[0].rgb_lin / found.card.rgb_lin == pytest.approx(0.3, rel=0.04)


@pytest.mark.parametrize("size", [(1, 1), (19, 19), (1, 20_000), (20_000, 2)])
def test_a_picture_of_a_few_pixels_is_no_photo(size: tuple[int, int]) -> None:
    picture = PictureData(np.full((*size, 3), 120, np.uint8))
    with pytest.raises(PictureError, match="too few to judge by"):
        touched_photo(picture, card=(0.1, 0.1), spots=[(0.6, 0.6)])
