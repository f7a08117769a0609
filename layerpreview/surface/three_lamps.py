"""Slopes and flake brightness of a metallic base from three photos, the lamp at another side in each.

Photometric stereo (Woodham, Optical Engineering 19, 139 (1980), doi 10.1117/12.7972479) with the film's own facet law
in place of Lambert's: flakes send light about the half-vector, so that three numbers can mean several slopes. Hence no
equation is solved but all slopes and brightnesses are weighed by how well they explain the three (`lamp_readings`).
Lamps, their fall-off and the camera's exposure are those under which the photos are likeliest.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import product

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, map_coordinates

from layerpreview.errors import InputError, Problem
from layerpreview.film.bases import SILVERS, MetalBase
from layerpreview.surface.lamp_readings import (
    FLOOR,
    STRAY,
    Readings,
    cell_of,
    cells_per_log,
    expected_log,
    law_of_lamp,
    readings_of,
)
from layerpreview.surface.photos_aligned import OPPOSITE

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]
Inside = NDArray[np.bool_]

SIDES = tuple(OPPOSITE)
HEIGHTS_DEG = (30.0, 37.5, 45.0, 52.5, 60.0)
"""Heights of a lamp over the bench that are tried: 45 give or take 15, as one is asked to hold it."""
STEEPNESSES = (0.05, 0.1, 0.2, 0.3, 0.4)
"""Spreads of the slopes along x and y that are tried; the made reliefs have 0.04 to 0.32."""
EVENS = (0.03, 0.1, 0.2)
"""Shares of the light from all round that are tried: a dark room to a dim one."""
_FULL = 0.98
_SOME = 20_000
_TERMS = 6
_ODD_PX = 3.0


@dataclass(frozen=True, eq=False)
class MeasuredRelief:
    """What three photos tell of a base; arrays are (rows, cols) as the photos, slopes 0 and gain 1 off the face."""

    slope_x: F32
    """dz/dx, x to the right."""
    slope_y: F32
    """dz/dy, y down."""
    gain: F32
    """Brightness of the flakes, of geometric mean about 1."""
    heights_deg: tuple[float, ...]
    """Likeliest height of each lamp over the bench [deg]."""
    odd_share: float
    """Share of the face where one photo contradicts the others and was passed over."""


@dataclass(frozen=True, eq=False)
class _Bench:
    """One guess: lamps, even light, steepness of the base, and the light's surface (3, terms) in each photo."""

    heights_deg: tuple[float, ...]
    even: float
    steepness: float
    surface: F64
    log_likelihood: float = -np.inf


@dataclass(frozen=True, eq=False)
class _Sight:
    """Some pixels of the face: their light (3, n) and their place in terms of second order (n, terms)."""

    light: F64
    terms: F64
    sides: tuple[str, ...]
    silver: MetalBase

    def full(self, surface: F64) -> list[float]:
        """The light at which nearly all of each photo is surely not blown out."""
        return [float(_FULL * np.exp(np.percentile(self.terms @ one, 5))) for one in surface]

    def table(self, bench: _Bench, *, every: int = 1) -> Readings:
        laws = [
            law_of_lamp(self.silver, side=side, height_deg=height, even=bench.even)
            for side, height in zip(self.sides, bench.heights_deg, strict=True)
        ]
        return readings_of(laws, self.full(bench.surface), steepness=bench.steepness, every=every)


def measured_relief(
    photos: Sequence[F32],
    sides: Sequence[str],
    *,
    silver: MetalBase = SILVERS["medium"],
    inside: Inside | None = None,
) -> MeasuredRelief:
    """Return slopes and flake brightness of one level face under clear from three photos of it.

    photos: linear light (rows, cols) each, 1 where the camera is full, one lying on the other. sides: of SIDES, where
    the lamp was in each, no two alike. silver: the flakes. inside: the pixels of the face, all where not given. Slow
    changes of brightness over a photo (up to second order) count as light, not as base. Raises
    InputError for anything but three photos of one size and three sides.
    """
    _check(photos, sides)
    rows, cols = photos[0].shape
    face = np.ones((rows, cols), dtype=bool) if inside is None else inside
    some = np.flatnonzero(face)[:: max(1, int(face.sum()) // _SOME)]
    light = np.stack([photo.ravel()[some] for photo in photos]).astype(np.float64)
    sight = _Sight(light, _terms(*np.divmod(some, cols), rows, cols), tuple(sides), silver)
    bench = _likeliest(sight)
    table, full = sight.table(bench), sight.full(bench.surface)
    y, x = np.divmod(np.arange(rows * cols), cols)
    terms = _terms(y, x, rows, cols)
    seen = (photo.ravel() * np.exp(terms @ one) for photo, one in zip(photos, bench.surface, strict=True))
    cells = np.stack([cell_of(np.minimum(v, most)) for v, most in zip(seen, full, strict=True)])
    means, odd = _explained(table, cells, (rows, cols))
    slope_x, slope_y, log_gain = (np.where(face, v.reshape(rows, cols), 0.0).astype(np.float32) for v in means)
    return MeasuredRelief(slope_x, slope_y, np.exp(log_gain), bench.heights_deg, float(odd[face.ravel()].mean()))


def check_sides(sides: Sequence[str], *, photos: int) -> int:
    """Return which photo the others are laid on: the first that has its opposite among them.

    Raises InputError for anything but three photos with the lamp at three of SIDES.
    """
    problems = []
    if photos != 3 or len(sides) != 3:
        rule, remedy = "three photos and a side for each are needed", "as --lamp-sides left,top,right"
        problems.append(Problem(rule, remedy, field="--photo and --lamp-sides", value=f"{photos} and {len(sides)}"))
    if len(set(sides)) != len(sides) or not set(sides) <= set(SIDES):
        rule, remedy = "the lamp must stand at another side in each", f"name three of {', '.join(SIDES)}"
        problems.append(Problem(rule, remedy, field="--lamp-sides", value=",".join(sides)))
    if problems:
        raise InputError(problems)
    return next(k for k, side in enumerate(sides) if OPPOSITE[side] in sides)


def _check(photos: Sequence[F32], sides: Sequence[str]) -> None:
    check_sides(sides, photos=len(photos))
    sizes = {photo.shape for photo in photos}
    if len(sizes) > 1:
        value = ", ".join(f"{wide} x {high}" for high, wide in sorted(sizes))
        raise InputError(Problem("the photos must be of one size", "crop them alike", field="--photo", value=value))


def _terms(y: NDArray[np.intp], x: NDArray[np.intp], rows: int, cols: int) -> F64:
    across, down = 2.0 * x / cols - 1.0, 2.0 * y / rows - 1.0
    return np.stack([np.ones_like(across), across, down, across**2, across * down, down**2], axis=-1)


def _likeliest(sight: _Sight) -> _Bench:
    """The bench under which the photos are likeliest, one of its numbers after the other."""
    bench = _first(sight)
    bench = _best(sight, [replace(bench, steepness=steepness) for steepness in STEEPNESSES])
    bench = _best(
        sight, [replace(bench, heights_deg=(deg,) * 3, even=even) for deg, even in product(HEIGHTS_DEG, EVENS)]
    )
    for k in range(3):
        others = ((*bench.heights_deg[:k], height, *bench.heights_deg[k + 1 :]) for height in HEIGHTS_DEG)
        bench = _best(sight, [bench, *(replace(bench, heights_deg=heights) for heights in others)])
    bench = _best(sight, [replace(bench, even=bench.even * factor) for factor in (0.75, 1.0, 1.4)])
    bench = _best(sight, [replace(bench, steepness=bench.steepness * factor) for factor in (0.8, 1.0, 1.25)])
    return _settled(sight, _settled(sight, bench, steps=8), steps=8)


def _first(sight: _Sight) -> _Bench:
    """Lamps at 45 degrees, and the light's surface that brings each photo's log brightness to what is expected."""
    heights_deg, even, steepness = (45.0,) * 3, 0.1, 0.3
    surface = np.zeros((3, _TERMS))
    for one, light, side in zip(surface, sight.light, sight.sides, strict=True):
        law = law_of_lamp(sight.silver, side=side, height_deg=45.0, even=even)
        one[:] = -np.linalg.lstsq(sight.terms, np.log(light + 1e-3), rcond=None)[0]
        for _ in range(8):
            off = np.log(light * np.exp(sight.terms @ one) + FLOOR).mean()
            one[0] += expected_log(law, steepness) - off
    return _Bench(heights_deg, even, steepness, surface)


def _best(sight: _Sight, benches: Sequence[_Bench]) -> _Bench:
    return max((_settled(sight, bench, steps=4, every=2) for bench in benches), key=lambda bench: bench.log_likelihood)


def _settled(sight: _Sight, bench: _Bench, *, steps: int, every: int = 1) -> _Bench:
    """The bench with the light's surfaces that make the photos likeliest.

    Newton's steps with the outer products of the slopes in place of the curvature (Berndt, Hall, Hall and Hausman,
    Annals of Economic and Social Measurement 3, 653 (1974)), halved when they go too far.
    """
    table, full = sight.table(bench, every=every), np.array(sight.full(bench.surface))[:, None]
    gradient = table.log_gradient()
    best, step, share, surface = (
        replace(bench, log_likelihood=-np.inf),
        np.zeros_like(bench.surface),
        1.0,
        bench.surface,
    )
    for _ in range(steps):
        light = sight.light * np.exp(surface @ sight.terms.T)
        cells = cell_of(np.minimum(light, full))
        likelihood = float(np.log(table.often(cells)).mean())
        if likelihood > best.log_likelihood:
            best = replace(best, surface=surface, log_likelihood=likelihood)
            pull = np.stack([map_coordinates(g, cells, order=1, mode="nearest") for g in gradient])
            pull *= cells_per_log(light) * (light < full)
            slopes = (pull[:, None, :] * sight.terms.T).reshape(3 * _TERMS, -1)
            curvature = slopes @ slopes.T
            curvature += 1e-3 * np.trace(curvature) / len(curvature) * np.eye(len(curvature))
            step = np.linalg.solve(curvature, slopes.sum(axis=1)).reshape(3, _TERMS)
        else:
            share *= 0.5
        surface = best.surface + np.clip(share * step, -0.3, 0.3)
    return best


def _explained(table: Readings, cells: F64, shape: tuple[int, int]) -> tuple[F64, NDArray[np.bool_]]:
    """Slopes and log gain (3, pixels), and where one photo was passed over.

    Whether a photo is odd is asked of a neighbourhood: shadows and mirrored lamps are wider than a pixel.
    """
    means, best = table.means(cells), np.log(table.often(cells))
    odd = np.zeros(best.shape, dtype=bool)
    straying = best
    for photo in range(3):
        others = table.without(photo)
        chance = np.log(others.often(cells)) + np.log(STRAY / 3.0)
        gained = gaussian_filter((chance - best).reshape(shape), _ODD_PX).ravel() * (2.0 * np.pi * _ODD_PX**2) ** 0.5
        better = (gained > 0.0) & (chance > straying)
        straying = np.where(better, chance, straying)
        odd |= better
        means[:, better] = others.means(cells[:, better])
    return means, odd
