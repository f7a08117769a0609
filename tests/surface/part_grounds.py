"""What parts lie on in the photos of parts, in reflectance over a plane in mm. All figures are assumed, by eye."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from .part_shapes import F32, F64


@dataclass(frozen=True)
class Plane:
    """A lattice on the bench: its first point at (x_mm, y_mm), `step_mm` apart, rows down and cols to the right."""

    x_mm: float
    y_mm: float
    step_mm: float
    rows: int
    cols: int

    @classmethod
    def about(cls, low_mm: F64, high_mm: F64, step_mm: float) -> Plane:
        """The plane from one corner to the other, both (x, y) [mm]."""
        cols, rows = np.ceil((high_mm - low_mm) / step_mm).astype(int) + 1
        return cls(float(low_mm[0]), float(low_mm[1]), step_mm, int(rows), int(cols))

    @property
    def x(self) -> F32:
        """(1, cols) [mm]."""
        return (self.x_mm + self.step_mm * np.arange(self.cols, dtype=np.float32))[None, :]

    @property
    def y(self) -> F32:
        """(rows, 1) [mm]."""
        return (self.y_mm + self.step_mm * np.arange(self.rows, dtype=np.float32))[:, None]

    def to_index(self, points_mm: F64) -> F64:
        """Lattice indices (col, row) of points [mm]."""
        return (points_mm - np.array([self.x_mm, self.y_mm])) / self.step_mm

    def blotches(self, rng: np.random.Generator, wide_mm: float, high_mm: float | None = None) -> F32:
        """Smooth noise of mean 0 and spread 1 whose blotches are about as large as stated."""
        cell = np.maximum(np.array([high_mm or wide_mm, wide_mm]) / self.step_mm, 1.0)
        small = rng.standard_normal((int(self.rows / cell[0]) + 4, int(self.cols / cell[1]) + 4)).astype(np.float32)
        across = [np.arange(n, dtype=np.float32) / c + 1 for n, c in zip((self.rows, self.cols), cell, strict=True)]
        for axis, at in enumerate(across):
            small = _between(small, at, axis)
        return np.asarray(small / small.std(), dtype=np.float32)


def _between(numbers: F32, at: F32, axis: int) -> F32:
    """Linear interpolation along one axis."""
    first = at.astype(int)
    share = (at - first)[:, None] if axis == 0 else (at - first)[None, :]
    low, high = np.take(numbers, first, axis), np.take(numbers, first + 1, axis)
    return np.asarray(low + share * (high - low), dtype=np.float32)


def _tinted(colour: tuple[float, float, float], shade: F32) -> F32:
    return np.asarray(np.maximum(shade, 0.02)[:, :, None] * np.array(colour, np.float32))


def _line(plane: Plane, rng: np.random.Generator, wide_mm: float) -> F32:
    """A straight line somewhere over the plane, 0..1, as a profile of about `wide_mm`; signed distance in `wide_mm`."""
    turn, x, y = rng.uniform(0, np.pi), rng.uniform(-180, 180), rng.uniform(-130, 130)
    return np.asarray(((plane.x - x) * np.sin(turn) - (plane.y - y) * np.cos(turn)) / wide_mm, dtype=np.float32)


def paper(plane: Plane, rng: np.random.Generator) -> F32:
    """A white sheet: fibres, slightly wavy, two creases that catch the light on one side."""
    shade = 1 + 0.012 * plane.blotches(rng, 0.8, 2.0) + 0.012 * plane.blotches(rng, 90)
    for _ in range(2):
        away = _line(plane, rng, 3.0)
        shade += 0.07 * away * np.exp(-np.square(away))
    return _tinted((0.79, 0.78, 0.75), shade)


def kraft(plane: Plane, rng: np.random.Generator) -> F32:
    """Brown wrapping paper: fibres along, a fold."""
    shade = 1 + 0.03 * plane.blotches(rng, 9.0, 1.0) + 0.02 * plane.blotches(rng, 50)
    return _tinted((0.40, 0.27, 0.15), shade * (1 - 0.2 * np.exp(-np.square(_line(plane, rng, 1.2)))))


def grey(plane: Plane, rng: np.random.Generator) -> F32:
    """A grey table top: speckled laminate with a seam."""
    shade = 1 + 0.05 * plane.blotches(rng, 0.9) + 0.02 * plane.blotches(rng, 40)
    return _tinted((0.30, 0.30, 0.295), shade * (1 - 0.6 * np.exp(-np.square(_line(plane, rng, 0.7)))))


def _felt(colour: tuple[float, float, float]) -> Callable[[Plane, np.random.Generator], F32]:
    """Felt or a heavy cloth: fibres, folds, lint."""

    def ground(plane: Plane, rng: np.random.Generator) -> F32:
        shade = 1 + 0.10 * plane.blotches(rng, 0.9) + 0.05 * plane.blotches(rng, 4) + 0.05 * plane.blotches(rng, 70)
        away = _line(plane, rng, 9.0)
        shade += 0.12 * away * np.exp(-np.square(away))
        lint = plane.blotches(rng, 1.2, 3.0) > 3.9
        return np.where(lint[:, :, None], np.float32(0.35), _tinted(colour, shade))

    return ground


def mdf(plane: Plane, rng: np.random.Generator) -> F32:
    """Fibre board: brown, with darker and lighter specks and an old ring of a cup."""
    specks = plane.blotches(rng, 1.0, 2.0)
    shade = 1 + 0.04 * specks - 0.18 * (specks > 2.2) + 0.03 * plane.blotches(rng, 60)
    ring = np.abs(np.hypot(plane.x - 190, plane.y + 120) - 41) / 1.5
    return _tinted((0.42, 0.30, 0.19), shade * (1 - 0.2 * np.exp(-np.square(ring))))


def concrete(plane: Plane, rng: np.random.Generator) -> F32:
    """A floor: clouds of many sizes, pits, a crack."""
    shade = 1 + sum(a * plane.blotches(rng, mm) for a, mm in ((0.05, 1.0), (0.05, 5.0), (0.06, 25.0), (0.05, 110.0)))
    shade -= 0.45 * (plane.blotches(rng, 2.2) > 2.9)
    crack = _line(plane, rng, 0.6) + 5 * plane.blotches(rng, 30)
    return _tinted((0.33, 0.32, 0.30), shade * (1 - 0.5 * np.exp(-np.square(crack))))


def checked(plane: Plane, rng: np.random.Generator) -> F32:
    """Checked cloth: white and red threads by turns, 24 mm."""
    x, y = plane.x + 4 * plane.blotches(rng, 120), plane.y + 4 * plane.blotches(rng, 120)
    red = ((np.floor(x / 24) % 2) + (np.floor(y / 24) % 2))[:, :, None] / 2
    colour = (1 - red) * np.array((0.75, 0.74, 0.70)) + red * np.array((0.42, 0.05, 0.06))
    return np.asarray(colour * (1 + 0.08 * plane.blotches(rng, 0.8))[:, :, None], dtype=np.float32)


def newspaper(plane: Plane, rng: np.random.Generator) -> F32:
    """Newsprint: columns of lines of grey words, headlines, a picture."""
    column = (plane.x % 62) < 57
    words = (plane.blotches(rng, 2.4, 0.9) > -0.4) & ((plane.y % 3.6) < 1.9) & column
    heads = (plane.blotches(rng, 5.0, 3.0) > -0.5) & ((plane.y % 118) < 13) & ((plane.y % 118) > 2) & column
    text = np.where((plane.y % 118) < 16, heads, words)
    shade = (1 - 0.72 * text) * (1 + 0.02 * plane.blotches(rng, 1.0))
    photo = (np.abs(plane.x - 140) < 55) & (np.abs(plane.y - 60) < 70)
    shade = np.where(photo, np.clip(0.4 + 0.22 * plane.blotches(rng, 22), 0.08, 0.9), shade)
    return _tinted((0.60, 0.58, 0.52), shade.astype(np.float32))


def boards(plane: Plane, rng: np.random.Generator) -> F32:
    """A workbench: planks 90 mm wide of different tone with gaps, grain, stains and drips of paint."""
    plank = np.floor((plane.y + 37) / 90).astype(int)
    tones = rng.uniform(0.7, 1.25, plank.max() - plank.min() + 1).astype(np.float32)[plank - plank.min()]
    shade = tones * (1 + 0.10 * plane.blotches(rng, 70, 1.6) + 0.08 * plane.blotches(rng, 140, 8))
    gap = np.abs((plane.y + 37) % 90 - 45) > 44
    stains = 1 - 0.3 * (plane.blotches(rng, 35) > 1.7)
    made = _tinted((0.40, 0.27, 0.16), (shade * stains * np.where(gap, 0.15, 1)).astype(np.float32))
    drips = ndimage.gaussian_filter((plane.blotches(rng, 7) > 3.1).astype(np.float32), 1)[:, :, None]
    return np.asarray(made * (1 - drips) + drips * np.array((0.5, 0.06, 0.05)), dtype=np.float32)


GROUNDS: dict[str, Callable[[Plane, np.random.Generator], F32]] = {
    "white": paper,
    "grey": grey,
    "black": _felt((0.030, 0.030, 0.033)),
    "green": _felt((0.10, 0.26, 0.13)),
    "blue": _felt((0.09, 0.15, 0.38)),
    "red": _felt((0.33, 0.05, 0.06)),
    "kraft": kraft,
    "mdf": mdf,
    "concrete": concrete,
    "checked": checked,
    "newspaper": newspaper,
    "boards": boards,
}
"""Linear sRGB reflectance (rows, cols, 3) over a plane."""
