"""A relief from three photos with the lamp at three sides.

Against: a side or an axis mixed up; a lamp's fall-off or height read as the base; a photo that moved; a cast
shadow that spoils more than its own place; brightness of the flakes mixed with slopes. Photos are rendered with
known slopes by the program's own optics, with noise, blur, fall-off, moved cameras and JPEG: what a real bench
does besides is not in them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

from layerpreview.colour import delta_e_2000, xyz_to_lab
from layerpreview.errors import InputError, PictureError
from layerpreview.film import SILVERS
from layerpreview.film.facet_law import facet_law
from layerpreview.film.slab import Lamp, Light
from layerpreview.surface.photo import srgb_table
from layerpreview.surface.photos_aligned import aligned, held_still
from layerpreview.surface.three_lamps import MeasuredRelief, measured_relief
from tests.surface.lamp_photos import Truth, lamp_photos

SIDES = ("left", "top", "right")
BORDER = slice(24, -24)
FINE: dict[str, Any] = {"step_mm": 0.125, "size_mm": (110.0, 80.0), "exposed": 0.97}
"""Photos of 8 pixels a mm: 12 megapixels over half a metre."""


@lru_cache(maxsize=2)
def _measured(kind: str) -> tuple[Truth, MeasuredRelief]:
    """A base and what is measured of it, for all tests that ask for no more than that."""
    truth = lamp_photos(kind, **FINE)
    return truth, measured_relief(truth.photos, SIDES)


def _off(truth: Truth, found: MeasuredRelief) -> float:
    """Rms error of the slopes against the rms of the slopes, both on the 0.25 mm that a relief is kept at."""
    off = _halved(found.slope_x - truth.slope_x) ** 2 + _halved(found.slope_y - truth.slope_y) ** 2
    there = _halved(truth.slope_x) ** 2 + _halved(truth.slope_y) ** 2
    return float(np.sqrt(off.mean() / there.mean()))


def _alike(truth: Truth, found: MeasuredRelief) -> float:
    """Correlation of the patterns of log brightness, seen through a spot of half a mm."""
    patterns = [gaussian_filter(np.log(gain), 4.0)[BORDER, BORDER].ravel() for gain in (truth.gain, found.gain)]
    return float(np.corrcoef(patterns)[0, 1])


def _halved(values: NDArray[np.float32]) -> NDArray[np.float32]:
    inner = values[BORDER, BORDER]
    rows, cols = (n // 2 for n in inner.shape)
    return np.asarray(inner[: 2 * rows, : 2 * cols].reshape(rows, 2, cols, 2).mean(axis=(1, 3)))


@pytest.mark.parametrize("kind", [pytest.param("lifted", marks=pytest.mark.slow), "hammered"])
def test_slopes_and_brightness_of_the_flakes_come_back(kind: str) -> None:
    truth, found = _measured(kind)
    assert _off(truth, found) < 0.15
    assert _alike(truth, found) > 0.9
    assert found.trust.unknown < 0.01
    assert found.trust.verdict == "good"
    assert found.silver == "medium"


@pytest.mark.slow
def test_the_heights_of_the_lamps_are_found() -> None:
    """Each a different one, in a dim room; neither heights nor room are among those that are tried."""
    truth = lamp_photos("lifted", heights_deg=(35.0, 50.0, 42.0), even=0.15, **FINE)
    found = measured_relief(truth.photos, SIDES)
    np.testing.assert_allclose(found.heights_deg, (35.0, 50.0, 42.0), atol=5.0)
    assert _off(truth, found) < 0.15
    assert _alike(truth, found) > 0.9


@pytest.mark.slow
@pytest.mark.parametrize("name", ["fine", "coarse", "bright"])
def test_the_kind_of_silver_is_found(name: str) -> None:
    truth = lamp_photos("hammered", silver=SILVERS[name], **FINE)
    found = measured_relief(truth.photos, SIDES)
    assert found.silver == name
    assert found.trust.silver_lead > 0.02
    assert _off(truth, found) < 0.15
    assert _alike(truth, found) > 0.9


def test_small_slopes_are_said_to_be_a_guess() -> None:
    """Coarse flakes lean by 0.08: lamps that are a little higher show the same as flakes that lean a little less."""
    truth = lamp_photos("coarse flake", **FINE)
    found = measured_relief(truth.photos, SIDES)
    assert _off(truth, found) < 0.45
    assert found.trust.verdict == "look at it"
    assert "their size is a guess" in "\n".join(found.trust.lines)
    assert "--lamp-heights" in "\n".join(found.trust.lines)


def test_heights_that_are_told_make_small_slopes_surer() -> None:
    """Lamps at three heights, none of them 45: brightness alone hardly tells them from steeper flakes."""
    heights_deg = (35.0, 50.0, 42.0)
    truth = lamp_photos("coarse flake", heights_deg=heights_deg, **FINE)
    found = measured_relief(truth.photos, SIDES, silver="medium", heights_deg=heights_deg)
    assert found.heights_deg == heights_deg
    assert _off(truth, found) < 0.35
    np.testing.assert_allclose(
        np.hypot(*found.trust.slopes), np.hypot(truth.slope_x.std(), truth.slope_y.std()), rtol=0.1
    )
    assert "--lamp-heights" not in "\n".join(found.trust.lines)


@pytest.mark.parametrize("heights_deg", [(45.0,), (4.0, 45.0, 45.0), (45.0, 86.0, 45.0), (45.0, float("nan"), 45.0)])
def test_heights_that_no_lamp_has_are_refused(heights_deg: tuple[float, ...]) -> None:
    with pytest.raises(InputError, match="5 to 85 degrees"):
        measured_relief([np.ones((20, 30), np.float32)] * 3, SIDES, heights_deg=heights_deg)


def test_stripes_finer_than_the_photos_are_named() -> None:
    found = measured_relief(lamp_photos("brushed", **FINE).photos, SIDES, silver="medium")
    assert any("finer than the photos show" in reason for reason in found.trust.against)


def _on_bench(photos: Sequence[NDArray[np.float32]]) -> list[NDArray[np.float32]]:
    return [np.pad(photo, 50, constant_values=0.12) for photo in photos]


@pytest.mark.parametrize("kind", ["brushed", "hammered"])
def test_a_camera_on_a_stand_needs_no_alignment(kind: str) -> None:
    """Stripes cannot be laid on each other; the edge says that nothing moved, or that it did by a pixel or two."""
    truth = lamp_photos(kind, **FINE)
    rows, cols = truth.slope_x.shape
    edge = 49.5 + np.array([[0, 0], [cols, 0], [cols, rows], [0, rows]], dtype=float)
    photos = _on_bench(truth.photos)
    assert held_still(photos, edge)
    assert held_still(photos, edge[::-1])
    assert not held_still([photos[0], np.roll(photos[1], 2, axis=1), photos[2]], edge)
    assert not held_still([photos[0], photos[1], np.roll(photos[2], -1, axis=0)], edge)


@pytest.mark.slow
def test_other_sides_say_the_same() -> None:
    """Bottom in place of top, and in another order: a sign or an axis mixed up would turn the slopes."""
    sides = ("bottom", "right", "left")
    truth = lamp_photos("hammered", sides=sides, **FINE)
    assert _off(truth, measured_relief(truth.photos, sides)) < 0.15


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["lifted", "hammered"])
def test_photos_held_by_hand_are_laid_on_each_other(kind: str) -> None:
    """Shifts of up to 5 pixels and turns of half a degree, which move the corners by 3 pixels more."""
    moved = ((0.0, 0.0, 0.0), (3.3, -2.2, 0.4), (-4.6, 1.7, -0.5))
    truth = lamp_photos(kind, moved=moved, **FINE)
    found = measured_relief(aligned(truth.photos, SIDES), SIDES)
    assert _off(truth, found) < 0.15
    assert _alike(truth, found) > 0.88


@pytest.mark.slow
def test_a_shadow_spoils_no_more_than_its_own_place() -> None:
    """One photo is eight times darker over 3 % of the face; in there two lamps are not enough, and that is said."""
    truth = lamp_photos("lifted", shadow=1, **FINE)
    found = measured_relief(truth.photos, SIDES)
    rows, _ = truth.slope_x.shape
    below = replace(
        found, **{name: getattr(found, name)[rows // 2 :] for name in ("slope_x", "slope_y", "gain", "known")}
    )
    clear = Truth(*(v[rows // 2 :] for v in (truth.slope_x, truth.slope_y, truth.gain)), ())
    assert _off(clear, below) < 0.15
    assert found.trust.unknown > 0.02


@pytest.mark.parametrize("photo", [0, pytest.param(1, marks=pytest.mark.slow)])
def test_a_shadow_over_a_third_is_found_and_said(photo: int) -> None:
    """A hand's shadow, eight times darker: it could be read as fall-off, or as a base that leans away from the lamp."""
    truth = lamp_photos("hammered", third=photo, **FINE)
    found = measured_relief(truth.photos, SIDES)
    rows, cols = truth.slope_x.shape
    shadowed = np.zeros((rows, cols), dtype=bool)
    shadowed[:, : cols // 3] = True
    assert np.mean(found.known == ~shadowed) > 0.95
    assert found.trust.verdict == "look at it"
    assert any("shadow" in reason for reason in found.trust.against)
    if photo == 1:
        assert np.mean(found.one_way == shadowed) > 0.95
        assert any("filled with its texture" in line for line in found.trust.lines)
    else:
        assert not found.one_way.any()
    clear = slice(cols // 3 + 24, None)
    assert _off(_columns(truth, clear), _columns(found, clear)) < 0.16
    assert _off(_columns(truth, slice(0, cols // 3)), _columns(found, slice(0, cols // 3))) < 0.8


def test_a_mirrored_lamp_is_found_and_said() -> None:
    """Over 3 % of one photo, as bright as the brightest facets."""
    truth = lamp_photos("hammered", glare=0, **FINE)
    found = measured_relief(truth.photos, SIDES)
    rows, cols = truth.slope_x.shape
    spot = np.zeros((rows, cols), dtype=bool)
    spot[rows // 2 : 2 * rows // 3, cols // 2 : 2 * cols // 3] = True
    assert np.mean(~found.known[spot]) > 0.6
    assert np.mean(~found.known[~spot]) < 0.02
    assert _off(_columns(truth, slice(0, cols // 2)), _columns(found, slice(0, cols // 2))) < 0.15


@pytest.mark.slow
@pytest.mark.parametrize("view_deg", [0.0, 25.0, 45.0])
def test_the_measured_base_turns_and_glints_as_the_true_one(view_deg: float) -> None:
    """Under another lamp than any of the three, at 0.25 mm: sRGB numbers, CIEDE2000, and where it is brightest."""
    truth, found = _measured("hammered")
    law = facet_law(SILVERS["medium"], Light(0.4, (Lamp(45.0, 120.0, 3.0, 0.6),)), view_deg=view_deg)
    true, seen = (0.5 * _halved(law.at(v.slope_x, v.slope_y)[0] * v.gain) for v in (truth, found))
    numbers = [np.interp(v, srgb_table(256), np.arange(256)).ravel() for v in (true, seen)]
    assert np.corrcoef(numbers[0], numbers[1])[0, 1] > 0.95
    labs = [xyz_to_lab(np.stack([v] * 3, axis=-1), white_xyz=np.ones(3)) for v in (true, seen)]
    assert delta_e_2000(labs[0], labs[1]).mean() < 1.5
    glints = [v > np.quantile(true, 0.98) for v in (true, seen)]
    assert np.mean(glints[1][glints[0]]) > 0.7


def _columns(of: Any, part: slice) -> Any:
    return replace(of, **{name: getattr(of, name)[:, part] for name in ("slope_x", "slope_y", "gain")})


def test_a_photo_of_another_part_is_refused() -> None:
    truth = lamp_photos("hammered", **FINE)
    other = lamp_photos("hammered", seed=6, **FINE)
    with pytest.raises(PictureError, match="photo 3"):
        aligned((*truth.photos[:2], other.photos[2]), SIDES)


@pytest.mark.parametrize(
    ("photos", "sides", "says"),
    [
        (2, ("left", "top"), "three photos"),
        (3, ("left", "left", "top"), "another side"),
        (3, ("left", "top", "front"), "left, top, right, bottom"),
    ],
)
def test_anything_but_three_sides_is_refused(photos: int, sides: tuple[str, ...], says: str) -> None:
    with pytest.raises(InputError, match=says):
        measured_relief([np.ones((20, 30), np.float32)] * photos, sides)


def test_photos_of_two_sizes_are_refused() -> None:
    photos = [np.ones((20, 30), np.float32), np.ones((20, 30), np.float32), np.ones((20, 31), np.float32)]
    with pytest.raises(InputError, match="31 x 20"):
        measured_relief(photos, SIDES)
