"""Light between a base and the film's face, solved as streams over the inside angle (design: one absorbing slab)."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from layerpreview.film.bases import Base, SolidBase, azimuth_modes, brdf
from layerpreview.film.facets import facet_reflectance
from layerpreview.film.slab import FILM_INDEX, Light, Slab, lamp_disc, make_slab

F64 = NDArray[np.float64]

MOST_MODES = 128


def body_reflectance(
    absorbance10: ArrayLike,
    base: Base,
    *,
    view_deg: float = 0.0,
    lamp_deg: float | None = None,
    film_index: float = FILM_INDEX,
    lamp_half_angle_deg: float = 0.0,
    lamp_azimuth_deg: float = 0.0,
    facet_tilt_deg: float = 0.0,
    facet_azimuth_deg: float = 0.0,
) -> F64:
    """Reflectance factor of a base under an absorbing film, without the mirror image on the film's face.

    `absorbance10`: decadic absorbance of one straight pass, any shape, >= 0; the result has its shape. `view_deg`
    [deg, -90..90] and `lamp_deg` [deg, 0..90] are in air, from straight on. Without a lamp the light is a uniform sky
    of radiance 1 and the value is the radiance seen; with one it is pi * radiance / irradiance, a positive view being
    on the lamp's side and a negative one on the mirror side. `lamp_half_angle_deg` gives the lamp the size of a disc
    (0: a point); `lamp_azimuth_deg` turns it out of the plane of the eye. `film_index` 1.3..1.7.

    With `facet_tilt_deg` [0..90] the base is a facet under the level face of the film that leans towards
    `facet_azimuth_deg` (0: the side of positive views), lit by its own area: its irradiance is the level one times
    cos(facet, ray) / cos(level, ray).

    Raises ValueError for a negative or non-finite absorbance or an angle or index out of range.

    >>> float(body_reflectance(0.0, SolidBase(albedo=0.9)).round(4))
    0.7528
    """
    absorbance = np.asarray(absorbance10, dtype=np.float64)
    _check(absorbance, view_deg=view_deg, lamp_deg=lamp_deg, film_index=film_index, facet_tilt_deg=facet_tilt_deg)
    t = np.power(10.0, -absorbance.ravel())
    slab = make_slab(film_index)
    lamp = {"lamp_azimuth_deg": lamp_azimuth_deg, "half_angle_deg": lamp_half_angle_deg}
    if facet_tilt_deg:
        facet = {"facet_tilt_deg": facet_tilt_deg, "facet_azimuth_deg": facet_azimuth_deg}
        out = facet_reflectance(t, base, film_index=film_index, view_deg=view_deg, lamp_deg=lamp_deg, **lamp, **facet)
    elif lamp_deg is None:
        out = _under_sky(t, base, slab, view_deg=view_deg)
    else:
        out = _under_lamp(t, base, slab, view_deg=view_deg, lamp_deg=lamp_deg, **lamp)
    return out.reshape(absorbance.shape)


def body_in(
    light: Light, absorbance10: ArrayLike, base: Base, *, view_deg: float = 0.0, view_azimuth_deg: float = 0.0
) -> F64:
    """`body_reflectance` of a level base in any light, for an eye at `view_deg` on the side `view_azimuth_deg`."""
    total = np.zeros(np.shape(absorbance10))
    if light.even:
        total += light.even * body_reflectance(absorbance10, base, view_deg=view_deg)
    for lamp in light.lamps:
        total += lamp.share * body_reflectance(
            absorbance10,
            base,
            view_deg=view_deg,
            lamp_deg=lamp.zenith_deg,
            lamp_half_angle_deg=lamp.half_angle_deg,
            lamp_azimuth_deg=lamp.azimuth_deg - view_azimuth_deg,
        )
    return total


def _check(
    absorbance: F64, *, view_deg: float, lamp_deg: float | None, film_index: float, facet_tilt_deg: float
) -> None:
    if not np.all(np.isfinite(absorbance)) or np.any(absorbance < 0.0):
        raise ValueError("absorbance10 must be finite and not negative")
    if not -90.0 < view_deg < 90.0:
        raise ValueError(f"view_deg is {view_deg}: it must lie between -90 and 90")
    if lamp_deg is not None and not 0.0 <= lamp_deg < 90.0:
        raise ValueError(f"lamp_deg is {lamp_deg}: it must lie between 0 and 90")
    if not 0.0 <= facet_tilt_deg < 90.0:
        raise ValueError(f"facet_tilt_deg is {facet_tilt_deg}: it must lie between 0 and 90")
    if not 1.2 <= film_index <= 2.0:
        raise ValueError(f"film_index is {film_index}: it must lie between 1.2 and 2")


def _bounce(base: Base, slab: Slab, mu_out: F64, modes: int) -> F64:
    """One bounce off the base, T[m, o, i] = 2 pi mu_i w_i f_m(mu_i, mu_o); (modes, O, I)."""
    f = azimuth_modes(base, mu_in=slab.mu, mu_out=mu_out, modes=modes)
    bounce: F64 = 2.0 * np.pi * slab.mu * slab.weight * f
    return bounce


def _settle(bounce: F64, face: F64, first: F64) -> F64:
    """Solve U = first + bounce (face U); `bounce` (O, I), `face` and `first` (P, I) -> (P, I)."""
    system = np.eye(bounce.shape[0]) - bounce * face[:, None, :]
    return np.asarray(np.linalg.solve(system, first[:, :, None])[:, :, 0], dtype=np.float64)


def _under_sky(t: F64, base: Base, slab: Slab, *, view_deg: float) -> F64:
    mu_view = slab.inside(view_deg)
    directions = np.append(slab.mu, mu_view)
    bounce = _bounce(base, slab, directions, modes=1)[0]
    power = np.power(t[:, None], 1.0 / slab.mu)
    arriving = slab.index**2 * (1.0 - slab.reflectance) * power
    face = slab.reflectance * power**2
    streams = _settle(bounce[:-1], face, arriving @ bounce[:-1].T)
    seen = (arriving + face * streams) @ bounce[-1]
    out: F64 = slab.passing(view_deg) * np.power(t, 1.0 / mu_view) * seen / slab.index**2
    return out


def _under_lamp(
    t: F64,
    base: Base,
    slab: Slab,
    *,
    view_deg: float,
    lamp_deg: float,
    lamp_azimuth_deg: float,
    half_angle_deg: float,
) -> F64:
    """First bounce exact at the lamp's and the eye's directions, the rest by azimuth modes."""
    mu_view = slab.inside(view_deg)
    azimuth = (0.0 if view_deg >= 0.0 else np.pi) - np.radians(lamp_azimuth_deg)
    zenith_deg, turn_rad, share = lamp_disc(lamp_deg, half_angle_deg)
    mu_lamp = slab.inside(zenith_deg)
    # Light through the face and down to the base, per irradiance of the whole lamp on the face.
    arriving = share * slab.passing(zenith_deg) * np.power(t[:, None], 1.0 / mu_lamp)
    once = brdf(base, mu_in=mu_lamp, mu_out=mu_view, azimuth_rad=azimuth - turn_rad)
    seen = arriving @ once + _later_bounces(t, base, slab, lamp_deg=lamp_deg, mu_view=mu_view, azimuth=azimuth)
    # Far from a sharp lobe nearly nothing arrives, and cutting off the modes can leave it a hair below zero.
    seen = np.maximum(seen, 0.0)
    out: F64 = np.pi * slab.passing(view_deg) * np.power(t, 1.0 / mu_view) * seen / slab.index**2
    return out


def _later_bounces(t: F64, base: Base, slab: Slab, *, lamp_deg: float, mu_view: F64, azimuth: float) -> F64:
    """Radiance at the base, towards the eye, from light that the face threw back at least once; (P,)."""
    arriving = _thrown_back(base, slab.index, lamp_deg, t.tobytes())
    modes = arriving.shape[0]
    to_eye = _bounce(base, slab, np.atleast_1d(mu_view), modes)[:, 0]
    fold = np.where(np.arange(modes) == 0, 1.0, 2.0) * np.cos(np.arange(modes) * azimuth)
    seen: F64 = np.einsum("mpi,mi->p", arriving, fold[:, None] * to_eye)
    return seen


@lru_cache(maxsize=8)
def _thrown_back(base: Base, film_index: float, lamp_deg: float, t_bytes: bytes) -> F64:
    """Light on the base that the face threw back, per azimuth mode, film and inside angle; (modes, P, I).

    It does not depend on the view, so it is kept for the next one (t as bytes, to be a key). The lamp counts as a point
    here: two bounces off flakes have smeared its disc away.
    """
    t = np.frombuffer(t_bytes, dtype=np.float64)
    slab = make_slab(film_index)
    modes = 1 if isinstance(base, SolidBase) else int(np.clip(np.ceil(6.0 / base.narrowest), 16, MOST_MODES))
    mu_lamp = slab.inside(lamp_deg)
    bounce = _bounce(base, slab, slab.mu, modes)
    lit = azimuth_modes(base, mu_in=np.atleast_1d(mu_lamp), mu_out=slab.mu, modes=modes)[:, :, 0]
    first = slab.passing(lamp_deg) * np.power(t, 1.0 / mu_lamp)
    face = slab.reflectance * np.power(t[:, None], 2.0 / slab.mu)
    thrown = np.empty((modes, *face.shape))
    for m in range(modes):
        # Light leaving towards one azimuth comes back travelling that way, so it arrives from the opposite one.
        flipped = face if m % 2 == 0 else -face
        thrown[m] = flipped * _settle(bounce[m], flipped, first[:, None] * lit[m])
    thrown.flags.writeable = False
    return thrown
