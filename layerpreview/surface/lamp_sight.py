"""Some places of a face as three photos show them, and one guess of the bench that they were taken on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

from layerpreview.film.bases import SILVERS, MetalBase
from layerpreview.surface.lamp_readings import (
    FINE,
    FLOOR,
    SEARCH,
    Facets,
    Fineness,
    Readings,
    facets_of,
    law_of_lamp,
    readings_of,
)

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]
Inside = NDArray[np.bool_]

REGION = 4.0
"""Of the lattice's steps, one in 140 of the face: wider than a facet, narrower than a hand's shadow."""
TERMS = 6
_FULL = 0.98
_SOME, _FEW = 20_000, 4
_BLUR = 0.1  # of the spread of the photos' log brightness


@dataclass(frozen=True, eq=False)
class Bench:
    """One guess: flakes, lamps, even light, steepness of the base, and the light's surface (3, terms) in each photo.

    `settled`: another search for that surface, among the same places, would gain next to nothing.
    """

    silver: str
    heights_deg: tuple[float, ...]
    even: float
    steepness: tuple[float, float]
    surface: F64
    log_likelihood: float = -np.inf
    settled: bool = False


@dataclass(frozen=True, eq=False)
class Sight:
    """Some places of the face, on a lattice: their light (3, n), their place in terms of second order (n, terms).

    `on` (rows, cols): which of the lattice's places they are; `odd` (3, n): where a photo says something else.
    """

    light: F32
    terms: F32
    on: Inside
    sides: tuple[str, ...]
    odd: Inside

    def full(self, bench: Bench) -> F32:
        """The light (3,) at which nearly all of each photo is surely not blown out."""
        return np.asarray(_FULL * np.exp(np.percentile(self.terms @ bench.surface.T, 5, axis=0)), dtype=np.float32)

    def laws(self, bench: Bench) -> list[F32]:
        lamps = zip(self.sides, bench.heights_deg, strict=True)
        silver: MetalBase = SILVERS[bench.silver]
        return [law_of_lamp(silver, side=side, height_deg=height, even=bench.even) for side, height in lamps]

    def facets(self, bench: Bench, fineness: Fineness = FINE) -> Facets:
        """What the base shows under the guess's lamps, however exposed."""
        return facets_of(self.laws(bench), steepness=bench.steepness, fineness=fineness)

    def table(self, bench: Bench, *, fineness: Fineness = FINE, likelihood: bool = False) -> Readings:
        return readings_of(self.facets(bench, fineness), self.full(bench), fineness=fineness, likelihood=likelihood)

    @property
    def search(self) -> Fineness:
        """A table of as much blur as the photos' contrast bears: of small slopes the usual one leaves little."""
        contrast = float(np.log(self.light + FLOOR).std(axis=1).mean())
        return replace(SEARCH, blur=float(np.clip(_BLUR * contrast, FINE.blur, SEARCH.blur)))

    def seen(self, bench: Bench) -> F32:
        """Light (3, n) with exposure and fall-off taken out, as bright as a photo can tell."""
        light = self.light * np.exp(bench.surface.astype(np.float32) @ self.terms.T)
        return np.asarray(np.minimum(light, self.full(bench)[:, None]))

    def few(self) -> Sight:
        """Every fourth of the places that no photo is odd at: enough to tell one guess from another."""
        return self.some(np.flatnonzero(~self.odd.any(axis=0))[::_FEW])

    def some(self, which: NDArray[np.intp]) -> Sight:
        return replace(self, light=self.light[:, which], terms=self.terms[which], odd=self.odd[:, which])

    def regional(self, values: F32, *, spread: float = REGION) -> F32:
        """Means (n,) of values (n,) over a region of the face, `spread` steps of the lattice wide."""
        laid = np.zeros(self.on.shape, np.float32)
        laid[self.on] = values
        weight = gaussian_filter(self.on.astype(np.float32), spread)
        return np.asarray((gaussian_filter(laid, spread) / np.maximum(weight, 1e-6))[self.on])


def sight_of(photos: Sequence[F32], sides: Sequence[str], face: Inside) -> tuple[Sight, int]:
    """Some places of the face (rows, cols) on a lattice, and its step [px]."""
    rows, cols = face.shape
    step = max(1, round(float(np.sqrt(face.sum() / _SOME))))
    part = slice(step // 2, None, step), slice(step // 2, None, step)
    on = face[part]
    y, x = np.nonzero(on)
    light = np.stack([photo[part][on] for photo in photos]).astype(np.float32)
    terms = terms_of(y * step + step // 2, x * step + step // 2, rows, cols)
    return Sight(light, terms, on, tuple(sides), np.zeros(light.shape, dtype=bool)), step


def terms_of(y: NDArray[np.intp], x: NDArray[np.intp], rows: int, cols: int) -> F32:
    across, down = (2.0 * v / n - 1.0 for v, n in ((x, cols), (y, rows)))
    terms = [np.ones_like(across), across, down, across**2, across * down, down**2]
    return np.stack(terms, axis=-1).astype(np.float32)
