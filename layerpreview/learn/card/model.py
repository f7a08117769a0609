"""A spray-out card as the fit sees it: the film model of the renderer, with its slopes."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from layerpreview.colour import (
    DISPLAY_WHITE_XYZ,
    RGB_LIN_TO_XYZ,
    WAVELENGTHS_NM,
    XYZ_TO_RGB_LIN,
    adapted_xyz_weights,
    delta_e_2000,
    rgb_basis,
    white_xyz,
    xyz_to_lab,
)
from layerpreview.colour import xyz_weights as weights_of
from layerpreview.film import LOG2_10, DiffuseFilm, Film, PathCurve

F64 = NDArray[np.float64]
Lab = tuple[float, float, float]

_LN2 = float(np.log(2.0))
_KNEE = 6.0 / 29.0
_PART_NM = 10.0  # as close as most instruments read
_OPPONENT = np.array([[0.0, 116.0, 0.0], [500.0, -500.0, 0.0], [0.0, 200.0, -200.0]])


@dataclass(frozen=True, eq=False)
class Eye:
    """How a reflectance spectrum becomes the numbers that were read: `mix` @ f(`take` @ R), f the CIE cube root.

    `take` (q, 81), `mix` (m, q). `words` say what it is; `tone`: the readings passed a camera's tone curve; `at_nm`
    (m,) [nm]: each number is the reflectance at one wavelength.
    """

    take: F64
    mix: F64
    words: str
    tone: bool = False
    at_nm: F64 | None = None

    @property
    def count(self) -> int:
        """How many numbers a reading has."""
        return int(self.mix.shape[0])

    def lightness(self, read: F64) -> float:
        """How light a reading is, 0 to 100."""
        return float(read.mean() if self.tone or self.at_nm is not None else read[0])


def lab_eye(light: str, observer_deg: int) -> Eye:
    """L*a*b* under a light."""
    white = white_xyz(light, observer_deg=observer_deg)
    take = weights_of(light, observer_deg=observer_deg) / white[:, None]
    return Eye(take, _OPPONENT, f"L*a*b* under {light}, {observer_deg} deg")


def photo_eye(light: str) -> Eye:
    """A photo's linear red, green and blue under a light, balanced on white, as three lightnesses of 0 to 100."""
    return Eye(XYZ_TO_RGB_LIN @ adapted_xyz_weights(light), 116.0 * np.eye(3), f"a photo under {light}", tone=True)


def spectrum_eye(at_nm: F64 = WAVELENGTHS_NM) -> Eye:
    """Reflectance at the wavelengths `at_nm` (m,) [nm], within 380 to 780, in steps of equal lightness."""
    take = np.stack([np.interp(at_nm, WAVELENGTHS_NM, one) for one in np.eye(WAVELENGTHS_NM.size)], axis=1)
    return Eye(take, 116.0 * np.eye(at_nm.size), "reflectance spectra", at_nm=at_nm)


def lightness_root(ratio: F64) -> F64:
    """The CIE cube root, straight below (6/29)^3, minus its value at zero: 0 at 0."""
    return np.where(ratio > _KNEE**3, np.cbrt(np.maximum(ratio, 0.0)), ratio / (3 * _KNEE**2) + 4 / 29) - 4 / 29


def lightness_root_back(root: F64) -> F64:
    """The inverse of `lightness_root`."""
    f = root + 4 / 29
    return np.where(f > _KNEE, f**3, 3 * _KNEE**2 * (f - 4 / 29))


def lightness_root_slope(ratio: F64) -> F64:
    """Its slope; below (6/29)^3 that of the curve there."""
    return np.asarray(np.maximum(ratio, _KNEE**3) ** (-2 / 3) / 3.0)


def as_lab(eye: Eye, read: F64) -> F64:
    """A reading (..., m) as L*a*b*: of a photo by its screen colours, of a spectrum under D65."""
    if eye.at_nm is not None:
        return xyz_to_lab(reflectance_of(eye.at_nm, read) @ weights_of("D65").T, white_xyz=white_xyz("D65"))
    if eye.tone:
        return xyz_to_lab(lightness_root_back(read / 116.0) @ RGB_LIN_TO_XYZ.T, white_xyz=DISPLAY_WHITE_XYZ)
    return read


def lab_pair(first: F64, second: F64) -> tuple[Lab, Lab, float]:
    """Two L*a*b* colours (3,) as plain numbers, and how far apart they are [CIEDE2000]."""
    one, two = ((float(lab[0]), float(lab[1]), float(lab[2])) for lab in (first, second))
    return one, two, float(delta_e_2000(first, second))


def reflectance_of(at_nm: F64, read: F64) -> F64:
    """A spectrum read at `at_nm` (m,) [nm] in lightness steps (..., m), as reflectance (..., 81); its ends held."""
    back = np.stack([np.interp(WAVELENGTHS_NM, at_nm, one) for one in np.eye(at_nm.size)])
    return np.asarray(lightness_root_back(read / 116.0) @ back)


@dataclass(frozen=True, eq=False)
class Ground:
    """One bare background of the card: its film, and the spectra (p, 81) whose weighted sum it reflects.

    `weights` (p,) is what is believed of it before the fit and `spread` (p,) how well, as a share. `words` names it.
    """

    name: str
    film: Film
    spectra: F64
    weights: F64
    spread: F64
    words: str = ""

    def bare(self, gain: F64 | float = 1.0) -> F64:
        """Spectrum (81,) the background shows with no dye, its parts scaled by `gain` (p,) where the fit found one."""
        return np.asarray((self.weights * gain) @ self.spectra)


def ground_of_rgb(name: str, film: Film, rgb_lin: F64, *, spread: float, words: str = "") -> Ground:
    """A background known by linear sRGB under D65 (3,), each part to within the share `spread`."""
    rgb = np.maximum(np.asarray(rgb_lin, dtype=np.float64), 0.005)
    return Ground(name, film, rgb_basis(), rgb, np.full(3, spread), words)


def ground_of_spectrum(name: str, film: Film, bare: F64, *, spread: float, words: str = "") -> Ground:
    """A background whose spectrum (81,) was measured: its parts are 10 nm wide, each known to within `spread`."""
    centres = np.arange(WAVELENGTHS_NM[0], WAVELENGTHS_NM[-1] + 1.0, _PART_NM)
    parts = np.maximum(0.0, 1.0 - np.abs(WAVELENGTHS_NM - centres[:, None]) / _PART_NM)
    return Ground(name, film, parts * bare, np.ones(centres.size), np.full(centres.size, spread), words)


@dataclass(frozen=True, eq=False)
class Window:
    """One window of the card: how many coats of which strength over which background, and what was read.

    `load` is dye per area relative to one coat of the mix the fit is about; 0 for the bare window; `strength` that of
    its own mix over it. `step` names the coats it shares with other windows: windows with one step were sprayed in the
    same strokes. `read` (m,) and
    `trusted` (m,) bool are in the eye's terms; where `at_most` (m,) the true number is that or lower.
    `noise_factor` is its noise over the card's. `repeats` (n, m): of a window that was read n times, each reading less
    their mean, which is `read`.
    """

    ground: str
    step: int
    load: float
    read: F64
    trusted: NDArray[np.bool_]
    line: int | None = None
    at_most: NDArray[np.bool_] | None = None
    noise_factor: float = 1.0
    strength: float = 1.0
    repeats: F64 | None = None

    @property
    def times(self) -> int:
        """How many readings it is the mean of."""
        return 1 if self.repeats is None else len(self.repeats)

    @property
    def sure(self) -> bool:
        """Whether every number of it was read."""
        return bool(self.trusted.all()) and (self.at_most is None or not self.at_most.any())


@dataclass(frozen=True, eq=False)
class Card:
    """Everything one spray-out says. `noise` is the standard deviation of one number read [L* steps].

    `coat_scatter` [share] is how far one coat may be off the nominal film; with `masked`, a window that got three coats
    got the same first two as its neighbour with two.
    """

    eye: Eye
    grounds: tuple[Ground, ...]
    windows: tuple[Window, ...]
    noise: float
    coat_scatter: float = 0.06
    local_scatter: float = 0.02
    masked: bool = True
    tone_spread: float = 0.0
    notes: tuple[str, ...] = field(default=())

    def ground(self, name: str) -> Ground:
        """The background of that name."""
        return next(ground for ground in self.grounds if ground.name == name)


def reading_and_slope(
    eye: Eye, film: Film, dye10: F64, bare: F64, *, other10: F64 | float = 0.0
) -> tuple[F64, F64, F64]:
    """What a window of absorbance `dye10` (81,), decadic, over `bare` (81,) should read.

    Returns its spectrum (81,), its reading (m,), and the slopes of that over the natural logarithm of `dye10` (m, 81).
    `other10` (81,): absorbance of what else is in the film.
    """
    seen, over_dye, _ = film_and_slope(film, dye10 + other10, bare)
    light = eye.take @ seen
    to_read = eye.mix @ (lightness_root_slope(light)[:, None] * eye.take)
    return seen, np.asarray(eye.mix @ lightness_root(light)), np.asarray(to_read * (over_dye * dye10))


def film_and_slope(film: Film, absorbance10: F64, bare: F64) -> tuple[F64, F64, F64]:
    """Reflectance, its slope over absorbance and its slope over the bare reflectance; shapes as `absorbance10`."""
    if isinstance(film, DiffuseFilm):
        albedo = film.albedo(bare)
        # d albedo / d bare, for albedo = bare / (C0 + bare K0)
        albedo_slope = film.c.start / (film.c.start + bare * film.k.start) ** 2
        c, dc = _curve_and_slope(film.c, absorbance10)
        k, dk = _curve_and_slope(film.k, absorbance10)
        under = 1.0 - albedo * k
        seen = c * albedo / under
        return seen, dc * albedo / under + seen * albedo * dk / under, albedo_slope * c / under**2
    tau, slope = _curve_and_slope(film.tau, absorbance10)
    return tau * bare, slope * bare, tau


def _curve_and_slope(curve: PathCurve, absorbance10: F64) -> tuple[F64, F64]:
    a = LOG2_10 * absorbance10
    (n0, n1, n2), (q1, q2) = curve.numerator, curve.denominator
    over, under = a * (n0 + a * (n1 + a * n2)), 1.0 + a * (q1 + a * q2)
    density_slope = ((n0 + a * (2 * n1 + 3 * a * n2)) * under - over * (q1 + 2 * a * q2)) / under**2
    value = curve.start * np.exp2(-over / under)
    return value, -value * _LN2 * density_slope * LOG2_10


def build_covariance(loads: F64, *, scatter: float, masked: bool, strengths: F64 | None = None) -> F64:
    """Covariance of the loads (S,) that steps of `loads` > 0 really got, from independent scatter of each coat.

    `strengths` (S,) of their mixes, 1 where not given: a step has load / strength coats. Masked: every step shares its
    first coats with the heavier ones of its mix, so cov = (scatter strength)^2 min(coats). Sprayed one by one: each on
    its own, with its own coats.
    """
    strong = np.ones(loads.size) if strengths is None else strengths
    coats = loads / strong
    one_mix = strong[:, None] == strong[None, :]
    shared = np.where(one_mix, np.minimum(coats[:, None], coats[None, :]), 0.0) if masked else np.diag(coats)
    covariance: F64 = scatter**2 * shared * np.outer(strong, strong) + 1e-10 * np.eye(loads.size)
    return covariance
