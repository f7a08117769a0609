"""The look of a solid part, for presentation only: a rounded edge, a belly, and the shadow it stands in.

It takes no part in any figure. The light is a broad lamp at the upper left and an even sky (assumed, as a
photographer would light it).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from layerpreview.film import FILM_INDEX
from layerpreview.surface.hashed_fields import F32
from layerpreview.surface.sample import PixelGrid, Sampler, mm_taps

STEEPEST_DEG = 75.0
"""Tilt at the very edge: beyond it the part's side begins, which a flat face does not show."""

KEY_FROM_DEG, KEY_HEIGHT_DEG = 315.0, 48.0
KEY, SKY, GLEAM = 0.62, 0.38, 0.45
"""Lamp, sky and the broad gleam that a clear coat adds where it mirrors the lamp's surroundings."""
_GLEAM_POWER = 10.0
_DARKEST, _BRIGHTEST = 0.2, 1.5

_BELLY_CELLS = 72
_BELLY_ROUNDS = 220


@dataclass(frozen=True, eq=False)
class FormRows:
    """A strip of a face as a solid body, each float32 (rows, cols)."""

    tilt_deg: F32
    """Of the surface from straight on, 0..80 [deg]."""
    shade: F32
    """Multiplies the face's light; 1 where it lies level."""
    path: F32
    """How much longer the way through the film is than straight on; multiplies the dye's build."""


class Form:
    """A face with a rounded edge and a belly; answers for any strip, the same whatever the strips.

    grid: the picture's pixels. coarse: some `belly_grid(grid)`, and coarse_distance_mm the signed distance to the edges
    on it, positive inside [mm]. edge_mm: radius of the rounding, 0 for a sharp edge [mm]. belly_mm: how much higher
    the middle of the face stands than its edge, 0 for a flat one [mm].
    """

    def __init__(
        self,
        grid: PixelGrid,
        *,
        coarse: PixelGrid,
        coarse_distance_mm: F32,
        edge_mm: float = 6.0,
        belly_mm: float = 11.0,
    ) -> None:
        self.grid, self.edge_mm = grid, edge_mm
        dome = belly_mm * blown_up(coarse_distance_mm > 0)
        slope_y, slope_x = (slope.astype(np.float32) for slope in np.gradient(dome, coarse.pixel_mm))
        rows = mm_taps(
            coarse.n_rows,
            grid.n_rows,
            in_pitch_mm=coarse.pixel_mm,
            out_pitch_mm=grid.pixel_mm,
            offset_mm=grid.top_mm - coarse.top_mm,
        )
        cols = mm_taps(
            coarse.n_cols,
            grid.n_cols,
            in_pitch_mm=coarse.pixel_mm,
            out_pitch_mm=grid.pixel_mm,
            offset_mm=grid.left_mm - coarse.left_mm,
        )
        self._belly_x, self._belly_y = Sampler(slope_x, rows, cols), Sampler(slope_y, rows, cols)

    def halo(self, y0: int, y1: int) -> tuple[int, int]:
        """The rows of the distance that `rows(y0, y1)` asks for: one more on each side, where the picture has it."""
        return max(y0 - 1, 0), min(y1 + 1, self.grid.n_rows)

    def rows(self, y0: int, y1: int, *, distance_mm: F32) -> FormRows:
        """Rows y0 to y1; distance_mm: signed distance to the edges on the rows `halo(y0, y1)`, positive inside [mm].

        Edge: the tilt of a quarter round, sin(tilt) = (1 - distance / edge_mm) sin 75 deg. Where two edges meet the
        direction is not defined and the tilt fades by the length of the distance's gradient.
        """
        first, last = self.halo(y0, y1)
        if distance_mm.shape != (last - first, self.grid.n_cols):
            raise ValueError(f"rows {y0} to {y1} need the distance of rows {first} to {last}")
        high_x, high_y = self._belly_x.rows(y0, y1), self._belly_y.rows(y0, y1)
        if self.edge_mm > 0:
            pixel = np.float32(self.grid.pixel_mm)
            here = distance_mm[y0 - first : y0 - first + y1 - y0]
            steep = self._edge_slope(here)
            for slope, towards in ((high_x, _slope(here, pixel, 1)), (high_y, _slope(distance_mm, pixel, 0))):
                if len(towards) != y1 - y0:
                    towards = towards[y0 - first : y0 - first + y1 - y0]
                slope += steep * towards
        return _lit(high_x, high_y)

    def _edge_slope(self, distance_mm: F32) -> F32:
        sine = np.clip(1 - distance_mm * np.float32(1 / self.edge_mm), 0, 1)
        # eased in: a round-over that is sanded into the face shows no line where it begins
        sine *= sine * (2 - sine)
        sine *= np.float32(math.sin(math.radians(STEEPEST_DEG)))
        return np.asarray(sine / np.sqrt(1 - sine * sine), dtype=np.float32)


def belly_grid(grid: PixelGrid) -> PixelGrid:
    """A coarse grid over the same face, a cell beyond it on each side, for the belly's shape."""
    wide, high = grid.n_cols * grid.pixel_mm, grid.n_rows * grid.pixel_mm
    step = max(wide, high) / _BELLY_CELLS
    return PixelGrid(
        step, math.ceil(high / step) + 2, math.ceil(wide / step) + 2, grid.left_mm - step, grid.top_mm - step
    )


def _slope(field: F32, step: np.float32, axis: int) -> F32:
    if field.shape[axis] < 2:
        return np.zeros_like(field)
    return np.asarray(np.gradient(field, step, axis=axis), dtype=np.float32)


def blown_up(inside: NDArray[np.bool_]) -> F32:
    """Height 0..1 of a film blown up over the face: smooth everywhere, where the distance has a ridge.

    Laplace(height) = -1 inside, 0 outside, by successive over-relaxation on the two colours of a chessboard.
    """
    high, wide = inside.shape
    padded = np.zeros((high + 2, wide + 2))
    body = padded[1:-1, 1:-1]
    black = np.add.outer(np.arange(high), np.arange(wide)) % 2 == 0
    weight = 2 / (1 + math.sin(math.pi / max(high, wide)))
    for _ in range(_BELLY_ROUNDS):
        for colour in (black, ~black):
            around = padded[:-2, 1:-1] + padded[2:, 1:-1] + padded[1:-1, :-2] + padded[1:-1, 2:]
            body += np.where(colour & inside, weight * ((around + 1) / 4 - body), 0)
    return np.asarray(body / max(float(body.max()), 1e-9), dtype=np.float32)


def _lit(slope_x: F32, slope_y: F32) -> FormRows:
    """Tilt, shade and path of a surface whose height has these slopes (x right, y down)."""
    cosine = 1 / np.sqrt(1 + slope_x * slope_x + slope_y * slope_y)
    np.maximum(cosine, np.float32(math.cos(math.radians(80))), out=cosine)
    turn, height = math.radians(KEY_FROM_DEG), math.radians(KEY_HEIGHT_DEG)
    key = (math.cos(height) * math.sin(turn), -math.cos(height) * math.cos(turn), math.sin(height))
    half = np.array([key[0], key[1], key[2] + 1])
    half /= np.linalg.norm(half)

    def facing(towards: tuple[float, float, float]) -> F32:
        x, y, z = (np.float32(v) for v in towards)
        return np.asarray(np.maximum((z - x * slope_x - y * slope_y) * cosine, 0), dtype=np.float32)

    def gleam(cos_half: F32 | float) -> F32:
        return np.asarray(GLEAM * np.asarray(cos_half, dtype=np.float32) ** np.float32(_GLEAM_POWER), dtype=np.float32)

    level = KEY * key[2] + SKY + float(gleam(float(half[2])))
    shade = facing(key) * np.float32(KEY) + np.float32(SKY / 2) * (1 + cosine)
    shade += gleam(facing((float(half[0]), float(half[1]), float(half[2]))))
    shade *= np.float32(1 / level)
    np.clip(shade, _DARKEST, _BRIGHTEST, out=shade)
    sine2 = (1 - cosine * cosine) / np.float32(FILM_INDEX**2)
    path = 1 / np.sqrt(1 - sine2)
    return FormRows(*(np.asarray(v, dtype=np.float32) for v in (np.degrees(np.arccos(cosine)), shade, path)))


def shifted_grid(grid: PixelGrid, *, right_mm: float, down_mm: float) -> PixelGrid:
    """The grid on which to ask for the distance of a part whose shadow falls so far to the right and down."""
    return replace(grid, left_mm=grid.left_mm - right_mm, top_mm=grid.top_mm - down_mm)


def contact_shadow(
    shifted_mm: F32, near_mm: F32, *, soft_mm: float = 16.0, strength: float = 0.6, contact: float = 0.35
) -> F32:
    """Darkness 0..1 of the ground about a part: multiply the ground's light by 1 - darkness.

    shifted_mm: signed distance to the outer edge, negative outside, on `shifted_grid`; near_mm: the same on the grid
    itself [mm]. soft_mm: over which the shadow fades, half of it on either side of the shifted edge [mm]. strength: of
    the cast shadow; contact: of the narrow dark line where the part meets the ground (both 0..1).
    """
    u = np.clip(shifted_mm * np.float32(1 / soft_mm) + np.float32(0.5), 0, 1)
    cast = u * u * (3 - 2 * u) * np.float32(strength)
    touching = np.exp(np.minimum(near_mm, 0) * np.float32(4 / soft_mm)) * np.float32(contact)
    return np.asarray(1 - (1 - cast) * (1 - touching), dtype=np.float32)
