"""A rough outline in green on a copy of a photo: exists for lines not found, not closed, or left in the outline."""

from __future__ import annotations

import io
from collections.abc import Callable

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from layerpreview.errors import PictureError
from layerpreview.surface.drawn import drawn_outline
from layerpreview.surface.part import trace_part
from layerpreview.surface.picture_file import PictureData

from .part_photos import PartPhoto, take
from .part_truth import Scene

BOARDS = Scene("wood on boards", "lobed 2", "wood", "boards", seed=316, lamp_mm=(310.0, -330.0, 540.0), mp=1.0)
PLAIN = Scene("dark on kraft", "cutaway", "dark", "kraft", seed=17, hole=True, mp=1.0)


def _drawn(photo: PartPhoto, *, off_mm: float, wide_px: int, gap: float = 0.0, jpeg: int = 85) -> PictureData:
    """A copy with a green line off_mm outside of the truth, `gap` of it left out, saved again as a JPEG."""
    image = Image.fromarray(photo.picture.pixels)
    mm = float(np.ptp(photo.truth.rings_px[0][:, 0]) / np.ptp(photo.truth.rings_mm[0][:, 0]))
    line = shapely.Polygon(photo.truth.rings_px[0]).buffer(off_mm * mm).exterior
    points = [(x, y) for x, y in shapely.get_coordinates(shapely.segmentize(line, 2.0))]
    big = Image.new("L", (2 * image.width, 2 * image.height))
    pen = ImageDraw.Draw(big)
    for x, y in points[round(gap * len(points)) :]:
        pen.circle((2 * x, 2 * y), wide_px, fill=255)
    image.paste((10, 250, 20), mask=big.resize(image.size, Image.Resampling.BOX))  # anti-aliased
    saved = io.BytesIO()
    image.save(saved, "JPEG", quality=jpeg)
    return PictureData(np.asarray(Image.open(saved)), file="drawn.jpg")


def _off_mm(photo: PartPhoto, found_px: NDArray[np.float64]) -> float:
    truth = photo.truth.rings_px[0]
    mm = float(np.ptp(photo.truth.rings_mm[0][:, 0]) / np.ptp(truth[:, 0]))
    away = shapely.distance(shapely.points(found_px), shapely.LinearRing(truth))
    return float(np.sqrt(np.mean(away**2))) * mm


@pytest.mark.parametrize(("scene", "wide_px"), [(PLAIN, 8), (BOARDS, 8)])
def test_from_a_line_5_mm_off_the_edge_is_found_within_1_mm(scene: Scene, wide_px: int) -> None:
    """Only the painted copy is given, saved as JPEG 85; the plain ground's opening is kept."""
    photo = take(scene)
    drawn = _drawn(photo, off_mm=5.0, wide_px=wide_px)
    rough, paint = drawn_outline(drawn)
    assert _off_mm(photo, rough) == pytest.approx(5.0, abs=0.6)
    wide = float(np.ptp(photo.truth.rings_mm[0][:, 0]))
    traced = trace_part(drawn, part_width_mm=wide, rough=rough, paint=paint).traced
    assert _off_mm(photo, traced.outline.outer / traced.pixel_mm + np.array(traced.corner_px)) < 1.0
    assert len(traced.outline.openings) == len(photo.truth.rings_px) - 1


@pytest.mark.parametrize("wide_px", [3, 40])
def test_thin_and_thick_lines(wide_px: int) -> None:
    photo = take(PLAIN)
    rough, paint = drawn_outline(_drawn(photo, off_mm=15.0, wide_px=wide_px))
    assert _off_mm(photo, rough) == pytest.approx(15.0, abs=1.0)
    assert paint.mean() < 0.2


def test_a_small_gap_is_closed_and_a_larger_one_told() -> None:
    photo = take(PLAIN)
    drawn_outline(_drawn(photo, off_mm=5.0, wide_px=8, gap=0.003))
    with pytest.raises(PictureError, match="not closed: a gap is left in it"):
        drawn_outline(_drawn(photo, off_mm=5.0, wide_px=8, gap=0.01))
    with pytest.raises(PictureError, match="not closed"):
        drawn_outline(_drawn(photo, off_mm=5.0, wide_px=8, gap=0.3))


@pytest.mark.parametrize("made", [lambda pixels: pixels, lambda pixels: pixels[:, :, 0]])
def test_no_line_is_one_clear_line(made: Callable[[NDArray[np.uint8]], NDArray[np.uint8]]) -> None:
    """A part on green felt holds no green line, nor does a grey picture."""
    pixels = take(Scene("silver on green", ground="green", seed=5, mp=0.3)).picture.pixels
    with pytest.raises(PictureError, match="green line"):
        drawn_outline(PictureData(made(pixels), file="drawn.png"))
