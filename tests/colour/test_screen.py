"""The last step to the screen: exists for hues that turn at the gamut's edge, and colours changed without need."""

from __future__ import annotations

import warnings

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from layerpreview.colour import LIFELIKE, on_screen, rgb_lin_to_hex, srgb_hex_to_rgb_lin
from layerpreview.colour.screen import oklab_to_rgb_lin, rgb_lin_to_oklab

INSIDE = st.floats(0.0, 1.0, width=32)


def _hue_and_chroma(rgb_lin: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    _, a, b = np.moveaxis(rgb_lin_to_oklab(rgb_lin.astype(np.float64)), -1, 0)
    return np.degrees(np.arctan2(b, a)), np.hypot(a, b)


def _turned(one: np.ndarray, other: np.ndarray) -> np.ndarray:
    return np.abs((one - other + 180.0) % 360.0 - 180.0)


def test_oklab_is_that_of_colour_science(rng: np.random.Generator) -> None:
    """Ottosson's matrices for linear sRGB against colour-science's Oklab by way of XYZ (its sRGB white is rounded)."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour
    rgb_lin = rng.uniform(0.0, 1.0, (50, 3))
    theirs = colour.XYZ_to_Oklab(colour.RGB_to_XYZ(rgb_lin, "sRGB"))
    np.testing.assert_allclose(rgb_lin_to_oklab(rgb_lin), theirs, atol=2e-4)
    np.testing.assert_allclose(oklab_to_rgb_lin(rgb_lin_to_oklab(rgb_lin - 0.3)), rgb_lin - 0.3, atol=1e-9)


@given(st.tuples(INSIDE, INSIDE, INSIDE))
def test_what_the_display_has_is_not_touched(colour: tuple[float, float, float]) -> None:
    rgb_lin = np.array([colour], dtype=np.float32)
    np.testing.assert_array_equal(on_screen(rgb_lin), rgb_lin)


@pytest.mark.parametrize("rolled_from", [1.0, LIFELIKE])
def test_hues_stay(rng: np.random.Generator, rolled_from: float) -> None:
    """Up to 40 % outside: cut channel by channel they turn by tens of degrees, here by 1.6 at most (see SLACK)."""
    rgb_lin = rng.uniform(-0.4, 1.4, (20_000, 3)).astype(np.float32)
    rgb_lin = rgb_lin[rgb_lin_to_oklab(rgb_lin.astype(np.float64))[:, 0] > 0.15]
    shown = on_screen(rgb_lin, rolled_from=rolled_from)
    assert shown.min() >= 0.0
    assert shown.max() <= 1.0
    before, _ = _hue_and_chroma(rgb_lin)
    after, chroma = _hue_and_chroma(shown)
    cut, cut_chroma = _hue_and_chroma(np.clip(rgb_lin, 0.0, 1.0))
    assert _turned(before, after)[chroma > 0.05].max() < 1.8
    assert np.quantile(_turned(before, cut)[cut_chroma > 0.05], 0.95) > 20.0


def test_a_deep_turquoise_stays_one() -> None:
    """The pictures once turned turquoises by up to 21 degrees."""
    rgb_lin = np.array([[-0.3, 0.35, 0.6]], dtype=np.float32)
    (before,), (after,), (cut,) = (
        _hue_and_chroma(rgb)[0] for rgb in (rgb_lin, on_screen(rgb_lin), np.clip(rgb_lin, 0.0, 1.0))
    )
    assert _turned(before, after) < 1.0
    assert _turned(before, cut) > 20.0


@pytest.mark.parametrize(
    "edge", ["#0000ff", "#ff0000", "#00ff00", "#ffff00", "#00ffff", "#ff00ff", "#200060", "#d08020"]
)
def test_there_is_no_step_at_the_edge_of_the_gamut(edge: str) -> None:
    """A hair more chroma than the display has is shown as the colour itself, within two codes."""
    own = srgb_hex_to_rgb_lin(edge)
    oklab = rgb_lin_to_oklab(own)
    oklab[1:] *= 1.003
    shown = rgb_lin_to_hex(oklab_to_rgb_lin(oklab))
    codes = [np.frombuffer(bytes.fromhex(text[1:]), dtype=np.uint8).astype(int) for text in (edge, shown)]
    assert np.abs(codes[0] - codes[1]).max() <= 2


def test_bright_greys_end_in_white_and_keep_their_order() -> None:
    """As it is up to white; in a room's picture a lamp's image still differs from a white card."""
    grey = np.linspace(0.0, 6.0, 601, dtype=np.float32)[:, None].repeat(3, axis=1)
    plain, rolled = on_screen(grey)[:, 0], on_screen(grey, rolled_from=LIFELIKE)[:, 0]
    np.testing.assert_array_equal(plain[:101], grey[:101, 0])
    assert np.all(plain[101:] == pytest.approx(1.0, abs=1e-4))
    assert np.all(np.diff(rolled) > 0.0)
    np.testing.assert_array_equal(rolled[:73], grey[:73, 0])  # 0.9 cubed is 0.729
    assert rolled[100] == pytest.approx(0.894, abs=0.002)
    assert 0.995 < rolled[600] <= 1.0
    assert np.abs(np.diff(rolled)).max() < 0.0101  # no step where it begins to bend


def test_an_amber_highlight_pales_and_darkens_half_and_half() -> None:
    """By hand: (1.44, 0.6, 0.1) is dimmed by the root of 1.44 to (1.2, 0.5, 0.083); what is left over goes to white."""
    shown = on_screen(np.array([[1.44, 0.6, 0.1]], dtype=np.float32))[0]
    light = rgb_lin_to_oklab(shown.astype(np.float64))[0]
    assert light == pytest.approx(rgb_lin_to_oklab(np.array([1.2, 0.5, 0.1 / 1.2]))[0], abs=2e-3)
    assert shown[0] == pytest.approx(1.0, abs=0.01)
    assert shown[1] > 0.5
    assert shown[2] > 0.1


def test_pictures_of_any_shape() -> None:
    picture = np.full((4, 5, 3), 0.3, dtype=np.float32)
    picture[1, 2] = (1.5, -0.2, 0.4)
    shown = on_screen(picture)
    assert shown.shape == picture.shape
    np.testing.assert_array_equal(
        np.delete(shown.reshape(-1, 3), 7, axis=0), np.delete(picture.reshape(-1, 3), 7, axis=0)
    )
    np.testing.assert_array_equal(shown[1, 2], on_screen(picture[1, 2][None])[0])
