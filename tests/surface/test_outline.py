"""Exact geometry of outlines: exists for areas taken from the bounding box, radius for diameter, a drum shell without
pi, angles turned the wrong way, and openings that nobody noticed lie outside the part."""

from __future__ import annotations

import math

import numpy as np
import pytest

from layerpreview.errors import InputError, PictureError
from layerpreview.surface import shapes
from layerpreview.surface.outline import (
    SHAPES,
    Outline,
    built_in_outline,
    built_in_ring,
    make_outline,
    placed,
    with_openings,
)

SIZES: dict[str, dict[str, float]] = {
    "panel": {"width_mm": 317.0, "height_mm": 211.0},
    "ellipse": {"width_mm": 300.0, "height_mm": 380.0},
    "disc": {"diameter_mm": 254.0},
    "teardrop": {"width_mm": 240.0, "height_mm": 350.0},
    "double bout": {"width_mm": 360.0, "height_mm": 480.0},
    "drum shell": {"diameter_mm": 355.6, "depth_mm": 139.7},
    "tube": {"diameter_mm": 31.8, "length_mm": 560.0},
}
# Textbook plane geometry.
EXACT_AREA_MM2 = {
    "panel": 317.0 * 211.0,
    "ellipse": math.pi * 150.0 * 190.0,
    "disc": math.pi * 127.0**2,
    "drum shell": math.pi * 355.6 * 139.7,
    "tube": math.pi * 31.8 * 560.0,
}


def test_every_built_in_shape_is_here() -> None:
    assert set(SIZES) == set(SHAPES)


@pytest.mark.parametrize("shape", EXACT_AREA_MM2)
def test_area_against_exact(shape: str) -> None:
    area_mm2 = built_in_outline(shape, **SIZES[shape]).area_m2 * 1e6
    assert area_mm2 == pytest.approx(EXACT_AREA_MM2[shape], rel=1e-4)


@pytest.mark.parametrize("shape", SHAPES)
def test_bounding_box_starts_at_zero_and_has_the_size_asked_for(shape: str) -> None:
    outline = built_in_outline(shape, **SIZES[shape])
    sizes = SIZES[shape]
    wide = sizes.get("width_mm") or sizes["diameter_mm"] * (math.pi if outline.wraps else 1)
    high = sizes.get("height_mm") or sizes.get("depth_mm") or sizes.get("length_mm") or sizes["diameter_mm"]
    assert outline.outer.min(axis=0) == pytest.approx([0, 0], abs=1e-9)
    assert (outline.width_mm, outline.height_mm) == pytest.approx((wide, high))


def test_chord_error_of_the_ellipse() -> None:
    """Each chord's middle against the true ellipse, along the normal (distance = |F| / |grad F|)."""
    ring = shapes.ellipse(width_mm=300.0, height_mm=380.0) - np.array([150.0, 190.0])
    middle = (ring + np.roll(ring, -1, axis=0)) / 2
    implicit = (middle[:, 0] / 150) ** 2 + (middle[:, 1] / 190) ** 2 - 1
    slope = 2 * np.hypot(middle[:, 0] / 150**2, middle[:, 1] / 190**2)
    assert np.abs(implicit / slope).max() < shapes.CHORD_ERROR_MM


@pytest.mark.parametrize("shape", ["teardrop", "double bout"])
def test_curved_forms_are_symmetric_and_smooth(shape: str) -> None:
    outline = built_in_outline(shape, **SIZES[shape])
    steps = np.roll(outline.outer, -1, axis=0) - outline.outer
    heading = np.unwrap(np.arctan2(steps[:, 1], steps[:, 0]))
    assert np.abs(np.diff(heading)).max() < math.radians(3)  # no corner anywhere
    centre = outline.polygon.centroid.x
    assert centre == pytest.approx(outline.width_mm / 2, abs=1e-6)


def test_waist_and_lobes() -> None:
    ring = built_in_ring("double bout", width_mm=360.0, height_mm=480.0)
    half = ring[ring[:, 0] > 180]
    width_at = {y: 2 * (float(np.interp(y, half[:, 1], half[:, 0])) - 180) for y in (120.0, 220.0, 360.0)}
    assert width_at[220.0] < width_at[120.0] < width_at[360.0]
    pear = built_in_ring("teardrop", width_mm=240.0, height_mm=350.0)
    assert pear[np.argmax(pear[:, 0]), 1] > 175  # widest in its lower half


def test_unrolled_edges_leave_the_seam_out() -> None:
    shell = built_in_outline("drum shell", diameter_mm=355.6, depth_mm=139.7)
    assert shell.wraps
    assert shell.edge_length_mm == pytest.approx(2 * math.pi * 355.6)
    assert built_in_outline("panel", width_mm=30.0, height_mm=70.0).edge_length_mm == pytest.approx(200.0)


def test_openings_are_taken_out_of_the_area_and_add_edge() -> None:
    plain = built_in_outline("panel", width_mm=300.0, height_mm=200.0)
    hole = placed(built_in_ring("disc", diameter_mm=80.0), centre_mm=(110.0, 90.0))
    holed = with_openings(plain, {"sound hole": hole})
    assert holed.area_m2 * 1e6 == pytest.approx(300 * 200 - math.pi * 40**2, rel=1e-5)
    assert holed.edge_length_mm == pytest.approx(1000 + math.pi * 80, rel=1e-5)
    assert plain.openings == {}


def test_turning_is_clockwise_on_a_picture() -> None:
    """A bar pointing right, turned 90 degrees clockwise with y down, points down."""
    pointer = np.array([[0.0, 0.0], [30.0, 4.0], [0.0, 8.0]])  # its tip is to the right
    turned = placed(pointer, centre_mm=(100.0, 50.0), turn_deg=90.0)
    assert turned[1] == pytest.approx([100.0, 65.0])


@pytest.mark.parametrize(
    ("centre", "said"),
    [((20.0, 100.0), "not wholly inside"), ((900.0, 100.0), "not wholly inside"), ((140.0, 100.0), "overlaps")],
)
def test_misplaced_openings(centre: tuple[float, float], said: str) -> None:
    face = built_in_outline("panel", width_mm=300.0, height_mm=200.0)
    face = with_openings(face, {"first": placed(built_in_ring("disc", diameter_mm=60.0), centre_mm=(150.0, 100.0))})
    with pytest.raises(PictureError, match=said) as caught:
        with_openings(face, {"second": placed(built_in_ring("disc", diameter_mm=60.0), centre_mm=centre)})
    assert len(caught.value.problems) == 1
    assert "second" in str(caught.value)


def test_all_problems_at_once() -> None:
    face = built_in_outline("disc", diameter_mm=100.0)
    far = placed(built_in_ring("disc", diameter_mm=10.0), centre_mm=(300.0, 0.0))
    with pytest.raises(PictureError) as caught:
        with_openings(face, {"a": far, "b": np.array([[0.0, 0.0], [1.0, 1.0]])})
    assert len(caught.value.problems) == 2
    with pytest.raises(InputError) as sizes:
        built_in_ring("panel", width_mm=-3.0, height_mm=math.nan)
    assert len(sizes.value.problems) == 2
    with pytest.raises(InputError) as names:
        built_in_ring("disc", width_mm=30.0)
    assert [problem.field for problem in names.value.problems] == ["diameter", "width"]
    with pytest.raises(InputError, match="use one of panel, ellipse"):
        built_in_ring("star", width_mm=30.0)


@pytest.mark.parametrize(
    ("ring", "said"),
    [
        (np.array([[0.0, 0.0], [10.0, 10.0], [10.0, 0.0], [0.0, 12.0]]), "crosses or touches itself near"),
        (np.array([[0.0, 0.0], [10.0, 10.0], [20.0, 20.0]]), "encloses no area"),
        (np.array([[0.0, 0.0], [10.0, 10.0]]), "encloses no area"),
        (np.array([[0.0, 0.0], [10.0, math.nan], [3.0, 20.0]]), "encloses no area"),
    ],
)
def test_bad_rings(ring: np.ndarray, said: str) -> None:
    with pytest.raises(PictureError, match=said) as caught:
        make_outline(ring, file="front.svg")
    assert str(caught.value).startswith("front.svg: outline: ")
    assert "\n" not in str(caught.value)


def test_a_repeated_first_point_is_dropped() -> None:
    outline = make_outline(np.array([[5.0, 7.0], [25.0, 7.0], [25.0, 17.0], [5.0, 7.0]]))
    assert isinstance(outline, Outline)
    assert len(outline.outer) == 3
    assert outline.area_m2 * 1e6 == pytest.approx(100.0)
