"""What a body's film sends to an eye in front of it, whichever way the body turns there: the law of solid pictures.

The eye stands at z, lamps where they are; the film's own normal leans with the body, and under the film the facet leans
once more. One table over both serves every edge, belly and turn. Directions are places on a disc whose areas are those
of the sphere (Lambert's projection). Light enters and leaves a tilted film bent, so the facet that mirrors a lamp moves
by about a third of the film's tilt (1 - 1/n): facets are counted from there, and what is left changes slowly enough to
be interpolated between few films.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from layerpreview.film.bases import MetalBase
from layerpreview.film.curves import as_fraction, sent_up
from layerpreview.film.facet_light import (
    FIT_AT,
    LEAST,
    EyeTable,
    Fineness,
    common_knees,
    eye_table,
    facets_seen,
    fitted_path,
)
from layerpreview.film.facets import direction
from layerpreview.film.slab import FILM_INDEX, Lamp, Light, lamp_disc
from layerpreview.threads import passing, thread_pool

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]

FILMS, FACETS = 11, 96
"""Places along each side of the table's two discs: of the film's normal, and of the facet's."""
FILMS_REACH, FACETS_REACH = 1.3, 1.25
"""How far the discs go: a film that leans 81 degrees, a facet 77 from where it is counted (sqrt(2) is 90)."""
FINENESS = Fineness(leans=9, turns=16, grid=(6, 16), lobe=1.2)
_ZENITHS_DEG = np.array([0.0, 15.0, 30.0, 45.0, 60.0, 75.0, 84.0])
_LEAST_FACING, _LEAST_SEEN = 0.2, -0.1
"""Cosines to the film's normal and to the eye below which a facet is left dark."""


@dataclass(frozen=True, eq=False)
class FaceLaw:
    """C of `curves.DiffuseFilm` for every film: `numbers` (films, 4) hold start, and start times n0, n1 and n2, so that
    sums of them are sums of light; the films row by row. `denominator` is common."""

    numbers: F32
    denominator: tuple[float, float]

    def at(self, film: F32) -> F32:
        """The four numbers (4, P) of films of unit normals (3, P)."""
        corners, shares = _corners(on_disc(film), FILMS, FILMS_REACH)
        total = np.zeros((film.shape[1], 4), dtype=np.float32)
        for corner, share in zip(corners, shares, strict=True):
            total += np.take(self.numbers, corner, axis=0) * share[:, None]
        return total.T


@dataclass(frozen=True, eq=False)
class BodyLaw:
    """A `PathCurve` for every film and facet: `numbers` (films, facets, 4) as those of `FaceLaw`, the facets of a film
    row by row."""

    numbers: F32
    denominator: tuple[float, float]

    def at(self, film: F32, facet: F32) -> F32:
        """The four numbers (4, P) of facets with unit normals (3, P) under films of unit normals (3, P)."""
        corners, shares = _corners(on_disc(film), FILMS, FILMS_REACH)
        within, parts = _corners(on_disc(_counted(facet, film)), FACETS, FACETS_REACH)
        flat = self.numbers.reshape(-1, 4)
        total = np.zeros((facet.shape[1], 4), dtype=np.float32)
        for corner, share in zip(corners, shares, strict=True):
            if not share.any():
                continue
            first = corner * (FACETS * FACETS)
            for place, part in zip(within, parts, strict=True):
                found = np.take(flat, first + place, axis=0)
                found *= (share * part)[:, None]
                total += found
        return total.T


def on_disc(normal: F32) -> F32:
    """Where directions (3, P) lie on the disc, (2, P)."""
    return np.asarray(normal[:2] * np.sqrt(np.float32(2.0) / np.maximum(1.0 + normal[2], np.float32(1e-3))))


def from_disc(place: F64) -> F64:
    """Unit vectors (P, 3) of places (P, 2) on the disc."""
    squared = (place**2).sum(axis=-1, keepdims=True)
    return np.concatenate([place * np.sqrt(np.maximum(1.0 - 0.25 * squared, 0.0)), 1.0 - 0.5 * squared], axis=-1)


def _corners(place: F32, count: int, reach: float) -> tuple[list[NDArray[np.intp]], list[F32]]:
    """The four table places (row by row) round each place on a disc, and their shares."""
    scaled = (np.clip(place, -reach, reach) + np.float32(reach)) * np.float32((count - 1) / (2.0 * reach))
    low = np.minimum(scaled.astype(np.int32), count - 2)
    x, y = scaled - low
    first = (low[1] * count + low[0]).astype(np.intp)
    return (
        [first, first + 1, first + count, first + count + 1],
        [(1 - x) * (1 - y), x * (1 - y), (1 - x) * y, x * y],
    )


def _counted(facet: F32, film: F32) -> F32:
    """Facets (3, P) as seen from a third of the way from the eye to their films' normals: that way turned upright."""
    axis = _third_of_the_way(film)
    both = axis.copy()
    both[2] += 1.0
    out = facet - both * ((both * facet).sum(axis=0) / (1.0 + axis[2]))
    out[2] += 2.0 * (axis * facet).sum(axis=0)
    return np.asarray(out)


def _third_of_the_way(film: F32) -> F32:
    across = np.hypot(film[0], film[1])
    third = np.arctan2(across, film[2]) * np.float32(1.0 - 1.0 / FILM_INDEX)
    along = np.sin(third) / np.maximum(across, np.float32(1e-9))
    return np.stack([along * film[0], along * film[1], np.cos(third)])


def _uncounted(place: F64, film: F64) -> F64:
    """The facets (P, 3) whose places on the disc are given, under one film (3,)."""
    axis = _third_of_the_way(film[:, None].astype(np.float32))[:, 0]
    upright = from_disc(place)
    both = axis + np.array([0.0, 0.0, 1.0])
    return np.asarray(upright - (upright @ both)[:, None] / (1.0 + axis[2]) * both + 2.0 * upright[:, 2:] * axis)


@passing(4)
def body_law(base: MetalBase, light: Light) -> BodyLaw:
    """Solve every film and facet of `base` in `light` for an eye at z. Takes some seconds and is kept."""
    tables = [eye_table(base, FILM_INDEX, float(zenith), FINENESS) for zenith in _ZENITHS_DEG]
    films = _film_normals()
    grid = np.stack(np.meshgrid(*[np.linspace(-FACETS_REACH, FACETS_REACH, FACETS)] * 2), axis=-1).reshape(-1, 2)
    seen = np.zeros((len(films), len(grid), FIT_AT.size), dtype=np.float32)

    def solve(i: int) -> None:
        facets = _uncounted(grid, films[i])
        here = np.flatnonzero((facets @ films[i] > _LEAST_FACING) & (facets[:, 2] > _LEAST_SEEN))
        seen[i, here] = _node(base, light, films[i], facets[here], tables)

    with thread_pool() as pool:
        list(pool.map(solve, range(len(films))))
    start = np.maximum(seen[..., :1], np.float32(LEAST))
    lit = np.flatnonzero(seen[..., 0].ravel() > 1e-4)
    share = (seen / start).reshape(-1, FIT_AT.size)
    knees = common_knees(share[lit].astype(np.float64))
    numbers = np.zeros((share.shape[0], 4), dtype=np.float32)
    numbers[:, 0] = seen[..., 0].ravel()
    for some in np.array_split(lit, 64):
        path, _ = fitted_path(share[some].astype(np.float64), knees)
        numerator, denominator = as_fraction(path.T, knees)
        numbers[some, 1:] = (numbers[some, 0] * np.stack(numerator)).T
    return BodyLaw(numbers.reshape(len(films), len(grid), 4), denominator)


def _film_normals() -> F64:
    """The films of the table (films, 3); the corners of its square lie on its circle."""
    axis = np.linspace(-FILMS_REACH, FILMS_REACH, FILMS)
    place = np.stack(np.meshgrid(axis, axis), axis=-1).reshape(-1, 2)
    away = np.linalg.norm(place, axis=1, keepdims=True)
    return from_disc(place * np.minimum(1.0, FILMS_REACH / np.maximum(away, 1e-9)))


def _node(base: MetalBase, light: Light, film: F64, facets: F64, tables: Sequence[EyeTable]) -> F64:
    """What facets (P, 3) under one film send to the eye, by FIT_AT."""
    zenith_deg = float(np.degrees(np.arccos(min(film[2], 1.0))))
    i = min(int(np.searchsorted(_ZENITHS_DEG, zenith_deg, side="right")) - 1, _ZENITHS_DEG.size - 2)
    share = float((zenith_deg - _ZENITHS_DEG[i]) / (_ZENITHS_DEG[i + 1] - _ZENITHS_DEG[i]))
    along, across = _axes(film)
    return facets_seen(
        np.stack([facets @ along, facets @ across, facets @ film], axis=-1),
        tables[i].towards(tables[i + 1], share),
        base,
        even=light.even,
        lamps=lamps_over(light, film),
        zenith_deg=zenith_deg,
        film_index=FILM_INDEX,
        fineness=FINENESS,
    )


def _axes(film: F64) -> tuple[F64, F64]:
    """Two directions in the film's plane, the first towards the eye's side."""
    along = np.array([0.0, 0.0, 1.0]) - film * film[2]
    length = float(np.linalg.norm(along))
    along = np.array([1.0, 0.0, 0.0]) if length < 1e-9 else along / length
    return along, np.cross(film, along)


def lamps_over(light: Light, film: F64) -> list[Lamp]:
    """The lamps above a film that leans to `film` (3,), as it sees them; shares stay those of a level white card."""
    along, across = _axes(film)
    found = []
    for lamp in light.lamps:
        zenith_deg, turn_rad, weight = lamp_disc(lamp.zenith_deg, max(lamp.half_angle_deg, 0.1))
        rays = direction(np.cos(np.radians(zenith_deg)), turn_rad + np.radians(lamp.azimuth_deg))
        ratio = float((weight * np.maximum(rays @ film, 0.0) / np.maximum(rays[:, 2], 1e-3)).sum())
        if ratio <= 1e-6:
            continue
        middle = direction(np.cos(np.radians(np.asarray(lamp.zenith_deg))), np.radians(np.asarray(lamp.azimuth_deg)))
        found.append(
            Lamp(
                zenith_deg=float(np.degrees(np.arccos(np.clip(middle @ film, -1.0, 1.0)))),
                azimuth_deg=float(np.degrees(np.arctan2(middle @ across, middle @ along))),
                half_angle_deg=lamp.half_angle_deg,
                share=lamp.share * ratio,
            )
        )
    return found


@lru_cache(maxsize=8)
def face_law(light: Light) -> FaceLaw:
    """Solve every film over what scatters evenly, in `light`, for an eye at z."""
    films = _film_normals()
    zenith_deg = np.degrees(np.arccos(np.minimum(films[:, 2], 1.0)))
    seen = np.stack(
        [
            sent_up(FIT_AT, even=light.even, lamps=lamps_over(light, film), view_deg=float(zenith))
            for film, zenith in zip(films, zenith_deg, strict=True)
        ]
    )
    share = seen / seen[:, :1]
    knees = common_knees(share)
    numerator, denominator = as_fraction(fitted_path(share, knees)[0].T, knees)
    numbers = np.stack([np.ones(len(films)), *numerator], axis=-1) * seen[:, :1]
    return FaceLaw(numbers.astype(np.float32), denominator)
