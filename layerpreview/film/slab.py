"""The film as a slab with one smooth face: its inside angles."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from layerpreview.film.fresnel import cosine_across, fresnel_reflectance, split_quadrature

F64 = NDArray[np.float64]

FILM_INDEX = 1.5


@dataclass(frozen=True, eq=False)
class Slab:
    """The film's angles: inside cosines `mu` with quadrature `weight` and the face's `reflectance` from inside."""

    index: float
    mu: F64
    weight: F64
    reflectance: F64

    def inside(self, angle_deg: ArrayLike) -> F64:
        """Inside cosine of a ray at `angle_deg` in air."""
        cosine = np.cos(np.radians(np.asarray(angle_deg, dtype=np.float64)))
        return cosine_across(cosine, index_from=1.0, index_to=self.index)

    def passing(self, angle_deg: ArrayLike) -> F64:
        """Share of a ray at `angle_deg` in air that passes the face, either way."""
        cosine = np.cos(np.radians(np.asarray(angle_deg, dtype=np.float64)))
        return 1.0 - fresnel_reflectance(cosine, index_from=1.0, index_to=self.index)


@lru_cache(maxsize=16)
def make_slab(film_index: float, *, nodes: int) -> Slab:
    """A film of `film_index` with `nodes` angles on either side of the critical one."""
    mu, weight = split_quadrature(film_index=film_index, nodes=nodes)
    return Slab(film_index, mu, weight, fresnel_reflectance(mu, index_from=film_index, index_to=1.0))
