"""Where a 24-patch chart lies in a photo, whichever way up: 4 x 6 flat squares on a grid, told by their colours."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product
from typing import Any

import numpy as np
from numpy.typing import NDArray

from layerpreview.errors import PictureError, Problem
from layerpreview.learn.read.chart import COLUMNS, ROWS, chart_boxes
from layerpreview.learn.read.chart_values import chart_rgb_lin
from layerpreview.learn.read.frame_read import patch_means
from layerpreview.surface.marks import CORNERS_MM
from layerpreview.surface.picture_file import PictureData
from layerpreview.surface.plane import Placement, placement_through

F64 = NDArray[np.float64]
Place = tuple[int, int]

BOXES = chart_boxes(0.0, 0.0, COLUMNS, ROWS)
"""The patches of a chart that was found, in steps of its own grid."""

_LOOK_PX = 1000
_STEEP = 5.0  # of 255 a pixel: the edge of a patch
_LEAST_SQUARES = 12  # of 24 that must be seen as squares of their own; the grid tells where the others are
_MOST_SQUARES = 150  # the largest ones: a tiled table would keep the search for minutes
_LIKE = 0.85  # correlation of the logarithms of light with those of the chart: assumed


@dataclass(frozen=True)
class _Square:
    """A flat square in the photo: its middle [px] and area [px2]."""

    middle: complex
    area: float


def find_chart(picture: PictureData, *, card: Placement) -> Placement:
    """Find a chart outside of the frame at `card`: its placement takes steps of its grid, 6 x 4 from the brown patch's
    outer corner, to pixels. Raises PictureError with one line where there is none.
    """
    step = max(1, max(picture.height_px, picture.width_px) // _LOOK_PX)
    squares = [each for each in _squares(picture, step) if not _inside(card.to_px(CORNERS_MM), each.middle)]
    grid = max((_grid(first, squares) for first in squares), key=len, default={})
    placed = [(_likeness(picture, each), each) for each in _placements(grid)]
    likeness, best = max(placed, key=lambda each: each[0], default=(0.0, card))
    if likeness < _LIKE:
        rule = f"no 24-patch chart was found beside the frame ({len(grid)} squares of a grid were seen)"
        remedy = "lay it flat, clear of the frame and not in a shadow's edge; or give --chart x,y,width,height"
        raise PictureError(Problem(rule, remedy, picture.file))
    return best


def _squares(picture: PictureData, step: int) -> list[_Square]:
    from scipy.ndimage import gaussian_gradient_magnitude
    from skimage.measure import label, regionprops

    codes = picture.pixels.astype(np.float64) * (255.0 / np.iinfo(picture.pixels.dtype).max)
    codes = np.repeat(codes[:, :, None], 3, axis=2) if codes.ndim == 2 else codes
    high, wide = codes.shape[0] // step, codes.shape[1] // step
    small = codes[: high * step, : wide * step].reshape(high, step, wide, step, 3).mean(axis=(1, 3))
    steep = np.max([gaussian_gradient_magnitude(small[..., c], 1.0) for c in range(3)], axis=0)
    found = []
    for region in regionprops(label(steep < _STEEP, connectivity=1)):
        if _is_square(region, high * wide):
            y, x = region.centroid
            found.append(_Square(step * complex(x + 0.5, y + 0.5), step**2 * float(region.area_filled)))
    return sorted(found, key=lambda square: -square.area)[:_MOST_SQUARES]


def _is_square(region: Any, pixels: int) -> bool:
    return bool(
        max(30, 5e-5 * pixels) < region.area_filled < 0.02 * pixels
        and region.area_filled > 0.88 * region.area_convex
        and region.axis_minor_length > 0.6 * region.axis_major_length
    )


def _inside(corners: F64, point: complex) -> bool:
    """Whether a point lies in a convex shape (4, 2)."""
    away = corners[:, 0] + 1j * corners[:, 1] - point
    turns = (away.conj() * np.roll(away, -1)).imag
    return bool((turns > 0).all() or (turns < 0).all())


def _grid(first: _Square, squares: list[_Square]) -> dict[Place, _Square]:
    """Squares of like size that lie on a grid with `first`, by column and row, as far as it goes on."""
    alike = [each for each in squares if 0.5 < each.area / first.area < 2.0 and each is not first]
    near = sorted(alike, key=lambda each: abs(each.middle - first.middle))[:4]
    if len(near) < 2 or abs(near[0].middle - first.middle) > 2.5 * np.sqrt(first.area):
        return {}
    right = near[0].middle - first.middle
    # Right and down by a quarter turn clockwise, in pixels: a picture of it is never a mirror image.
    steps: dict[Place, complex] = {(1, 0): right, (0, 1): 1j * right, (-1, 0): -right, (0, -1): -1j * right}
    found: dict[Place, _Square] = {(0, 0): first}
    open_ = [((0, 0), steps)]
    while open_:
        (column, row), about = open_.pop(0)
        for (dx, dy), way in about.items():
            place = (column + dx, row + dy)
            aim = found[column, row].middle + way
            nearest = min(alike, key=lambda each: abs(each.middle - aim))
            if place in found or nearest in found.values() or abs(nearest.middle - aim) > 0.3 * abs(way):
                continue
            found[place] = nearest
            met = nearest.middle - found[column, row].middle  # perspective: the next step is like this one
            open_.append((place, {**about, (dx, dy): met, (-dx, -dy): -met}))
    return found


def _placements(grid: dict[Place, _Square]) -> Iterator[Placement]:
    """Every way a chart can lie on the squares of a grid: four turns, and which edge is not seen."""
    if len(grid) < _LEAST_SQUARES:
        return
    places = np.array(list(grid), dtype=np.float64)
    middles = np.array([[each.middle.real, each.middle.imag] for each in grid.values()])
    for turn in range(4):
        turned = places @ np.linalg.matrix_power(np.array([[0.0, 1.0], [-1.0, 0.0]]), turn)
        low = turned.min(axis=0)
        room = np.array([COLUMNS, ROWS]) - 1 - (turned.max(axis=0) - low)
        if (room >= 0).all():
            for shift in product(range(int(room[0]) + 1), range(int(room[1]) + 1)):
                yield placement_through(turned - low + shift + 0.5, middles)


def _likeness(picture: PictureData, placed: Placement) -> float:
    """Correlation of the patches' light with the chart's, contrast by contrast in each channel."""
    read = np.stack([patch.rgb_lin for patch in patch_means(picture, BOXES, placement=placed)])
    logs = [np.log(np.maximum(light, 0.003)) for light in (read, chart_rgb_lin(light="D65"))]
    read, known = (each - each.mean(axis=0) for each in logs)
    return float((read * known).sum() / np.sqrt((read**2).sum() * (known**2).sum() + 1e-12))
