"""The film's upper face where it is not smooth: what of the light it sends straight back, and where to."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from layerpreview.film.bases import smith
from layerpreview.film.fresnel import fresnel_reflectance
from layerpreview.film.slab import FILM_INDEX

F64 = NDArray[np.float64]


def face_lobe(
    mu_in: ArrayLike, mu_out: ArrayLike, cos_between: ArrayLike, *, roughness: float, index: float = FILM_INDEX
) -> F64:
    """Radiance that a rough clear face mirrors towards `mu_out` per irradiance arriving from `mu_in`, in air [1/sr].

    `mu_in`, `mu_out` in (0, 1]: cosines of the two directions to the face's normal; `cos_between` in [-1, 1]: of the
    angle between the two, both counted away from the face. Arrays broadcast. `roughness` in (0, 1]: Beckmann width
    [slope] of the face's facets; `index`: of the film, over air. D G F / (4 mu_in mu_out) with Beckmann D, Smith G in
    the rational form and the dielectric's Fresnel (Walter et al. 2007, doi 10.2312/EGWR/EGSR07/195-206). Light that
    facets pass on to each other is left out. nan stays nan.

    Raises ValueError for a roughness outside its range; a smooth face is a mirror of `fresnel_reflectance`.

    >>> round(float(face_lobe(1.0, 1.0, 1.0, roughness=0.35)), 6)  # 0.04 / (4 pi 0.35^2)
    0.025984
    """
    if not 0.0 < roughness <= 1.0:
        raise ValueError(f"roughness is {roughness}: it must lie above 0 and be at most 1 (a smooth face is a mirror)")
    mi, mo, between = (np.asarray(v, dtype=np.float64) for v in (mu_in, mu_out, cos_between))
    # Half the length of the two directions' sum is the cosine of the light to the facet that mirrors it to the eye.
    facing = np.sqrt(np.maximum(0.5 + 0.5 * between, 1e-30))
    cos_half = np.minimum((mi + mo) / (2.0 * facing), 1.0)
    slope_squared = (1.0 - cos_half**2) / cos_half**2
    tilts = np.exp(-slope_squared / roughness**2) / (np.pi * roughness**2 * cos_half**4)
    seen = smith(mi, roughness) * smith(mo, roughness)
    mirror = fresnel_reflectance(np.minimum(facing, 1.0), index_from=1.0, index_to=index)
    return np.asarray(tilts * seen * mirror / (4.0 * mi * mo))
