"""Heights: against ones that do not go with their slopes, hills that only a random walk of slopes makes, and a surface
that another size or the other kind of picture changes."""

from __future__ import annotations

import numpy as np
import pytest

from layerpreview.surface.height_picture import relief_from_picture
from layerpreview.surface.heights import height_of_slopes
from layerpreview.surface.picture_file import PictureData
from layerpreview.surface.relief import RELIEF_KINDS, make_relief


def test_a_wave_comes_back_less_what_a_wide_one_loses() -> None:
    """Of cos(px) cos(qy) the least squares leave k^2 / (k^2 + 1 / reach^2), k^2 = p^2 + q^2: by hand, from its
    Euler-Lagrange equation. 3 half waves over 60 mm and 2 over 40 mm, k = 0.222 per mm."""
    step_mm, p, q = 0.1, 3 * np.pi / 60.0, 2 * np.pi / 40.0
    x, y = (np.arange(600) + 0.5) * step_mm, ((np.arange(400) + 0.5) * step_mm)[:, None]
    slope_x = (-0.7 * p * np.sin(p * x) * np.cos(q * y)).astype(np.float32)
    slope_y = (-0.7 * q * np.cos(p * x) * np.sin(q * y)).astype(np.float32)
    wave = 0.7 * np.cos(p * x) * np.cos(q * y)
    for reach_mm in (5.0, 400.0):
        kept = (p**2 + q**2) / (p**2 + q**2 + reach_mm**-2)
        found = height_of_slopes(slope_x, slope_y, step_mm=step_mm, reach_mm=reach_mm)
        np.testing.assert_allclose(found, kept * wave, atol=2e-3)
    assert found.dtype == np.float32


# What random leans allow, measured: half of them are the slopes of no surface (0.7 at best); waves fine against the
# step lose some by it.
@pytest.mark.parametrize(
    ("kind", "least"),
    [("lifted", 0.72), ("fine flake", 0.99), ("coarse flake", 0.66), ("brushed", 0.97), ("hammered", 0.97)],
)
def test_heights_go_with_the_slopes(kind: str, least: float) -> None:
    relief = make_relief(kind, width_mm=70, height_mm=50, seed=3, step_mm=0.1)
    down, across = np.gradient(relief.height.astype(np.float64), 0.1)
    found, slopes = np.stack([across, down]), np.stack([relief.slope_x, relief.slope_y])
    assert np.corrcoef(found.ravel(), slopes.ravel())[0, 1] > least


@pytest.mark.parametrize("kind", RELIEF_KINDS)
def test_a_larger_panel_continues_the_heights(kind: str) -> None:
    """Away from where the smaller one ends: four reaches leave exp(-4), 2 %."""
    small, large = (make_relief(kind, width_mm=w, height_mm=h, seed=3).height for w, h in ((90, 70), (130, 110)))
    inner = slice(0, small.shape[0] - 80), slice(0, small.shape[1] - 80)
    assert np.abs(small[inner] - large[inner]).max() < 0.05 * np.ptp(small)


def _waves(pixels: int) -> tuple[PictureData, PictureData]:
    """The same waves over 30 mm, 1.2 mm deep in all, as heights and as directions."""
    turn = (np.arange(pixels) + 0.5) / pixels * 2 * np.pi
    high = 0.5 + 0.3 * np.sin(3 * turn)[None, :] * np.cos(2 * turn)[:, None]
    per_mm = 1.2 * 2 * np.pi / 30.0
    slope_x = 0.9 * per_mm * np.cos(3 * turn)[None, :] * np.cos(2 * turn)[:, None]
    slope_y = -0.6 * per_mm * np.sin(3 * turn)[None, :] * np.sin(2 * turn)[:, None]
    normal = np.stack([-slope_x, slope_y, np.ones_like(slope_x)], axis=2)
    normal /= np.linalg.norm(normal, axis=2, keepdims=True)
    as_height = PictureData(np.rint(high * 65535).astype(np.uint16))
    return as_height, PictureData(np.rint((normal + 1) * 32767.5).astype(np.uint16))


def test_directions_have_the_heights_of_the_height_map() -> None:
    heights, directions = _waves(240)
    laid = {"face_width_mm": 60.0, "face_height_mm": 45.0, "width_mm": 30.0, "tile": True}
    told = relief_from_picture(heights, depth_mm=1.2, **laid).height
    found = relief_from_picture(directions, **laid).height
    assert float(np.ptp(told)) == pytest.approx(0.6 * 1.2, rel=0.02)
    # k^2 = (6 pi / 30)^2 + (4 pi / 30)^2 = 0.57 per mm2: of such waves a reach of 5 mm keeps 0.57 / 0.61
    inner = np.s_[30:-30, 30:-30]  # mirrored at the edges, waves are bent there
    np.testing.assert_allclose(found[inner], 0.934 * (told - told.mean())[inner], atol=0.01)
