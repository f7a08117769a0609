"""What light leaves of a dye: the absorbed-light law of fading, and exposures from light-fastness steps. Rough.

A transparent coat loses dye in proportion to the light it absorbs: deep coats lose it steadily and hardly change, pale
ones slow down as they fade but change more (Whitmore & Bailie, J. Am. Inst. Conservation 36, 207-230 (1997)). In closed
form, with H the exposure: 10^A - 1 = (10^A0 - 1) e^(-k H).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from layerpreview.answers.tolerance import dyed_spots
from layerpreview.colour import delta_e_2000
from layerpreview.film import absorbance10_of_load
from layerpreview.finish.layers import absorptivity_on_grid, dyes_in, layer_of, stack_of
from layerpreview.finish.stack import DyeLayer, Layer, Stack
from layerpreview.job.colours import spot_lab
from layerpreview.picture.maps import BuildMaps, FacePicture
from layerpreview.picture.scene import Scene
from layerpreview.picture.spots import Spot, SpotKind
from layerpreview.scheme import OpaqueCoat, Scheme
from layerpreview.spray import load_mg_m2
from layerpreview.units import Range

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]

FIRST_STEP, LAST_STEP = 1.0, 8.0
FIRST_STEP_MLX_H = 0.4
"""Exposure to noticeable fading of blue wool step 1, without ultraviolet [Mlx h] (Michalski 1990, as quoted by the
Museum of Fine Arts' materials database)."""
PER_STEP = {"textile": 2.0, "museum": (900.0 / 0.4) ** (1.0 / 7.0)}
"""How much more each step stands: about twice by the definition of the blue wool steps, three times by the fading data
(900 Mlx h for step 8)."""
_LN10 = math.log(10.0)
SCALES = ("museum", "textile")
"""The gentler reading (steps three times apart, least light) and the harsher (twice apart, most light)."""
NOTICED_LOSS, NOTICED_AT = 0.10, 1.0
"""Noticeable is taken as a tenth of the dye lost from a coat of peak absorbance 1 (assumed)."""


MLX_H_A_YEAR = {
    "window": Range(3.0, 10.0, 30.0),
    "room": Range(0.3, 1.0, 2.0),
    "case": Range(0.02, 0.1, 0.3),
}
"""Light of a year [Mlx h], rough, from lux and hours that are assumed (no source): standing at a window behind glass,
800 to 7500 lx for 11 h a day; on the wall of a room, 75 to 500 lx for 11 h; in its case but for an hour a day, 50 to
800 lx."""


def faded_absorbance10(absorbance10: ArrayLike, *, k_h: ArrayLike) -> F64:
    """Absorbance left after an exposure of `k_h` = k H [>= 0], log10(1 + (10^A0 - 1) e^-kH); shapes broadcast.

    >>> faded_absorbance10([0.3, 2.0], k_h=1.0).round(5).tolist()
    [0.13549, 1.5731]
    """
    start = np.minimum(np.asarray(absorbance10, dtype=np.float64), 300.0)  # 10^300 is about what a number can hold
    return np.asarray(np.log10(1.0 + (np.power(10.0, start) - 1.0) * np.exp(-np.asarray(k_h, dtype=np.float64))))


def exposure_k_h(step: float, *, exposure_Mlx_h: float, scale: str) -> float:
    """k H of a dye of blue wool `step` [1..8] after an exposure [Mlx h], by the "textile" or the "museum" scale.

    A step may lie between two. Raises ValueError for a step or scale that is not there or a negative exposure.
    """
    if not FIRST_STEP <= step <= LAST_STEP:
        raise ValueError(f"the light-fastness step is {step:g}: blue wool steps run from 1 (poor) to 8")
    if scale not in PER_STEP:
        raise ValueError(f"the scale is {scale!r}: it must be {' or '.join(PER_STEP)}")
    if not exposure_Mlx_h >= 0.0:
        raise ValueError(f"the exposure is {exposure_Mlx_h:g} Mlx h: it must be 0 or more")
    noticed_Mlx_h = FIRST_STEP_MLX_H * math.pow(PER_STEP[scale], step - 1)
    start, left = NOTICED_AT, NOTICED_AT * (1.0 - NOTICED_LOSS)
    return exposure_Mlx_h / noticed_Mlx_h * math.log(math.expm1(start * _LN10) / math.expm1(left * _LN10))


@dataclass(frozen=True, eq=False)
class Fading:
    """A scheme after some light: its layers with every dye of every coat apart, and what is left of each.

    `layers` in the order sprayed; `of_coat` the coat each belongs to, `of_dye` the dye (-1: none, it does not fade).
    `peak10` (dyes, layers): absorbance of each layer at build 1 at each dye's own peak. `k_h` (dyes,): how much light
    each dye got, in its own measure.
    """

    names: tuple[str, ...]
    layers: tuple[Layer, ...]
    of_coat: NDArray[np.intp]
    of_dye: NDArray[np.intp]
    peak10: F64
    k_h: F64

    def left(self, builds: NDArray[np.floating]) -> F64:
        """Share (dyes, P) of each dye that is left where the coats' builds are `builds` (coats, P).

        Each dye loses what the whole coat absorbs at that dye's own peak.
        """
        total = np.maximum(self.peak10 @ builds[self.of_coat], 1e-6)
        return faded_absorbance10(total, k_h=self.k_h[:, None]) / total

    def builds(self, builds: NDArray[np.floating]) -> F32:
        """Builds (layers, P) after the light, of coats sprayed to `builds` (coats, P)."""
        left = np.vstack([self.left(builds), np.ones(builds.shape[1])])
        return np.asarray(builds[self.of_coat] * left[self.of_dye], dtype=np.float32)

    def stack(self, whole: Stack) -> Stack:
        """The scheme's stack `whole` with every dye of every coat as a layer of its own."""
        return Stack(self.layers, whole.film, whole.opaque_film, whole.veil)


def fading_of(scheme: Scheme, steps: Mapping[str, float], *, exposure_Mlx_h: float, scale: str) -> Fading:
    """The scheme after an exposure [Mlx h], its dyes of blue wool `steps` [1..8] by name; others do not fade."""
    names = tuple(scheme.dyes)
    spectra = [absorptivity_on_grid(scheme.dyes[name]) for name in names]
    peaks = [int(np.argmax(spectrum)) for spectrum in spectra]
    layers: list[Layer] = []
    of_coat, of_dye = [], []
    for i, coat in enumerate(scheme.coats):
        if isinstance(coat, OpaqueCoat):
            layers.append(layer_of(scheme, coat))
            of_coat.append(i)
            of_dye.append(-1)
            continue
        for part in dyes_in(scheme, scheme.mix_of(coat)):
            load = load_mg_m2(dye_g_per_L=part.pure_g_per_L.likely, wet_film_um=coat.film_um.likely) * coat.coats
            which = names.index(part.name)
            layers.append(DyeLayer(absorbance10_of_load(absorptivity_L_per_g_cm=spectra[which], load_mg_m2=load)))
            of_coat.append(i)
            of_dye.append(which)
    peak10 = [
        [float(layer.absorbance10[peak]) if isinstance(layer, DyeLayer) else 0.0 for layer in layers] for peak in peaks
    ]
    k_h = [
        exposure_k_h(steps[name], exposure_Mlx_h=exposure_Mlx_h, scale=scale) if name in steps else 0.0
        for name in names
    ]
    return Fading(
        names=names,
        layers=tuple(layers),
        of_coat=np.array(of_coat, dtype=np.intp),
        of_dye=np.array(of_dye, dtype=np.intp),
        peak10=np.array(peak10, dtype=np.float64).reshape(len(names), len(layers)),
        k_h=np.array(k_h, dtype=np.float64),
    )


class FadedMaps(BuildMaps):
    """Build maps after some light, a layer for every dye of every coat."""

    def __init__(self, maps: BuildMaps, fading: Fading) -> None:
        self.grid, self.shape, self.edge = maps.grid, maps.shape, maps.edge
        self.seats, self._maps, self._fading = maps.seats, maps, fading

    def rows(self, y0: int, y1: int) -> tuple[F32, F32]:
        """Builds (layers, P) and cover (P,) of rows y0 to y1."""
        builds, cover = self._maps.rows(y0, y1)
        return self._fading.builds(builds), cover


def faded_scene(scene: Scene, fading: Fading) -> Scene:
    """The scene after some light; it needs looks of `Fading.stack`."""
    placed = [
        replace(face, picture=FacePicture(face.picture.bare, FadedMaps(face.picture.maps, fading)))
        for face in scene.faces
    ]
    return replace(scene, faces=tuple(placed))


@dataclass(frozen=True)
class Exposure:
    """How much light [Mlx h], and in words."""

    Mlx_h: Range
    words: str


@dataclass(frozen=True)
class Step:
    """Light-fastness of a dye on the blue wool scale [1..8], and whether an option or the scheme says so."""

    step: Range
    source: str


@dataclass(frozen=True)
class FadedSpot:
    """One place: CIEDE2000 from new, and the share left of each dye there, by scale."""

    spot: str
    kind: SpotKind
    at_mm: tuple[float, float]
    de00: dict[str, float]
    dye_left: dict[str, dict[str, float]]


@dataclass(frozen=True, eq=False)
class Faded:
    """What fades where after `exposure`: `spots`, the place that stands for the finish first; `fadings` by scale, "new"
    among them."""

    light: str
    exposure: Exposure
    steps: dict[str, Step]
    spots: tuple[FadedSpot, ...]
    fadings: Mapping[str, Fading] = field(repr=False)

    @property
    def left(self) -> dict[str, dict[str, float]]:
        """Share of each dye left at the place that stands for the finish, by scale."""
        return self.spots[0].dye_left

    @property
    def de00(self) -> dict[str, float]:
        """CIEDE2000 from new at the place that stands for the finish, by scale."""
        return self.spots[0].de00


def faded_of(scheme: Scheme, scene: Scene, steps: Mapping[str, Step], exposure: Exposure) -> Faded:
    """The places of the scheme in `scene` after some light, by both scales. Raises NoAnswerError where no dye shows."""
    fadings = {"new": unfaded(scheme), **dict(zip(SCALES, fadings_of(scheme, steps, exposure), strict=True))}
    spots = [_faded_spot(scheme, spot, fadings) for spot in dyed_spots(scheme, scene, nothing="nothing fades")]
    return Faded(scheme.lights[0], exposure, dict(steps), tuple(spots), fadings)


def unfaded(scheme: Scheme) -> Fading:
    """The scheme as it is sprayed, its dyes apart."""
    return fading_of(scheme, {}, exposure_Mlx_h=0.0, scale="museum")


def fadings_of(scheme: Scheme, steps: Mapping[str, Step], exposure: Exposure) -> tuple[Fading, ...]:
    """The scheme after some light by each of `SCALES`, the gentler first."""
    return tuple(_fading(scheme, steps, exposure.Mlx_h, scale) for scale in SCALES)


def with_middle(fadings: Sequence[Fading]) -> tuple[Fading, ...]:
    """Two fadings of one scheme with what lies midway between them: the geometric mean of the light each dye got."""
    gentle, harsh = fadings
    return gentle, replace(gentle, k_h=np.sqrt(gentle.k_h * harsh.k_h)), harsh


def _fading(scheme: Scheme, steps: Mapping[str, Step], exposure_Mlx_h: Range, scale: str) -> Fading:
    gentle = scale == "museum"
    chosen = {name: step.step.high if gentle else step.step.low for name, step in steps.items()}
    light = exposure_Mlx_h.low if gentle else exposure_Mlx_h.high
    return fading_of(scheme, chosen, exposure_Mlx_h=light, scale=scale)


def _faded_spot(scheme: Scheme, spot: Spot, fadings: Mapping[str, Fading]) -> FadedSpot:
    whole = stack_of(scheme, base=spot.base)
    builds = spot.build[:, None]
    lab = {
        name: spot_lab(
            fading.stack(whole),
            spot.bare,
            fading.builds(builds).ravel().astype(np.float64),
            light=scheme.lights[0],
            observer_deg=scheme.observer_deg,
        )
        for name, fading in fadings.items()
    }
    new = fadings["new"]
    here = new.of_dye[spot.build[new.of_coat] > 0.0]
    return FadedSpot(
        spot=spot.name,
        kind=spot.kind,
        at_mm=spot.at_mm,
        de00={scale: float(delta_e_2000(lab["new"], lab[scale])) for scale in SCALES},
        dye_left={
            scale: {
                new.names[d]: float(left) for d, left in enumerate(fadings[scale].left(builds).ravel()) if d in here
            }
            for scale in SCALES
        },
    )
