"""Places along the feather of a repair, their builds as a hand leaves them, and their colours by light and angle."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from layerpreview.answers.fade import Fading
from layerpreview.answers.feather import Strays, shares
from layerpreview.colour import delta_e_2000, spectrum_to_lab
from layerpreview.film.curves import MetalFilm
from layerpreview.finish.layers import stack_of
from layerpreview.finish.stack import Stack
from layerpreview.finish.view import STRAIGHT_ON, View
from layerpreview.picture.survey import Survey
from layerpreview.scheme import Base, Scheme
from layerpreview.surface.damage import Damage

F64 = NDArray[np.float64]

VIEWS: dict[str, View] = {
    "straight on": STRAIGHT_ON,
    "lamp, 25 deg from its mirror image": View(-20.0, 45.0),
    "lamp, 45 deg from it": View(0.0, 45.0),
    "lamp, 75 deg from it": View(30.0, 45.0),
}
"""The lamp stands at 45 degrees; angles are those of multi-angle instruments (ASTM E2194, from memory)."""
_LEVELS, _RAYS = 16, 6
_INSIDE = (0.9, 0.4)
"""Where the inside of the damage is looked at, as shares of its depth."""


@dataclass(frozen=True, eq=False)
class Strip:
    """Places of a face along the feather: `away_mm` (P,) from where old coats are off wholly, `builds` (coats, P) as
    they were sprayed, `at_mm` (P, 2) on the face, `ray` (P,) the number of the line outwards that each lies on."""

    away_mm: F64
    builds: F64
    at_mm: F64
    ray: NDArray[np.intp]


def strip_along(survey: Survey, away_mm: F64, damage: Damage, *, core_mm: float, feather_mm: float) -> Strip:
    """Places at even steps of the distance, along a few lines outwards; `away_mm` (P,) of the survey's pixels.

    Distances are the steps themselves; builds are those of the nearest pixels. Steps that the face has no room for are
    left out, and lines that see what the first one sees.
    """
    grid, on_face = survey.grid, survey.edge_mm > 0.0
    inside = -damage.depth_mm * np.array(_INSIDE) - core_mm
    steps = np.concatenate([inside, feather_mm * np.linspace(0.0, 1.1, _LEVELS)])
    x, y = (v.ravel() for v in np.meshgrid(grid.x_mm(), grid.y_mm()))
    middle = damage.middle_mm
    turn = np.arctan2(y - middle[1], x - middle[0])
    rays: list[list[tuple[float, int]]] = [[] for _ in range(_RAYS)]
    for step in steps:
        near = np.flatnonzero(on_face & (np.abs(away_mm - core_mm - step) <= grid.pixel_mm))
        for k, ray in enumerate(rays):
            off = np.abs((turn[near] - 2.0 * np.pi * k / _RAYS + np.pi) % (2.0 * np.pi) - np.pi)
            if near.size and float(off.min()) <= np.pi / _RAYS:
                ray.append((float(step), int(near[np.argmin(off)])))
    seen: dict[tuple[object, ...], int] = {}
    for k, ray in enumerate(rays):
        seen.setdefault(tuple((step, survey.builds[:, at].round(4).tobytes()) for step, at in ray), k)
    kept = [(k, *place) for k in sorted(seen.values()) for place in rays[k]]
    at = np.array([place[2] for place in kept], dtype=np.intp)
    return Strip(
        away_mm=np.array([place[1] for place in kept]),
        builds=survey.builds[:, at].astype(np.float64),
        at_mm=np.stack([x[at], y[at]], axis=1),
        ray=np.array([place[0] for place in kept], dtype=np.intp),
    )


@dataclass(frozen=True, eq=False)
class Colours:
    """How builds of a face become L*a*b*: its base, what it shows bare (81,), the lights and views."""

    scheme: Scheme
    base: Base
    bare: F64
    fading: Fading
    views: tuple[str, ...] = tuple(VIEWS)

    @cached_property
    def _seen(self) -> list[tuple[Stack, F64]]:
        straight = stack_of(self.scheme, base=self.base)
        found = []
        for name in self.views:
            view = VIEWS[name]
            whole = straight if view == STRAIGHT_ON else stack_of(self.scheme, view, base=self.base)
            found.append((self.fading.stack(whole), self.bare * _brighter(whole, straight)))
        return found

    def lab(self, builds: F64) -> F64:
        """L*a*b* (lights, views, ..., 3) of builds (..., layers of the fading)."""
        flat = builds.reshape(-1, builds.shape[-1])
        out = np.empty((len(self.scheme.lights), len(self.views), len(flat), 3))
        for v, (stack, bare) in enumerate(self._seen):
            spectra = stack.reflectance(np.broadcast_to(bare, (len(flat), bare.size)), flat)
            for i, light in enumerate(self.scheme.lights):
                out[i, v] = spectrum_to_lab(spectra, light=light, observer_deg=self.scheme.observer_deg)
        return out.reshape(*out.shape[:2], *builds.shape[:-1], 3)


def _brighter(whole: Stack, straight: Stack) -> float:
    """How much more a bare metal sends up than straight on in even light; white and wood look alike from all sides."""
    if isinstance(whole.film, MetalFilm) and isinstance(straight.film, MetalFilm):
        return whole.film.bare / straight.film.bare
    return 1.0


def untouched_builds(strip: Strip, fading: Fading) -> F64:
    """Builds (P, layers) of the old coats as the light has left them."""
    return fading.builds(strip.builds).astype(np.float64).T


def repaired_builds(strip: Strip, strays: Strays, fading: Fading, *, feather_mm: float) -> F64:
    """Builds (T, P, layers) of every attempt: what is left of old coats, as faded as they are, and new ones over it.

    Layers are summed entry by entry: that in the overlap a new coat lies on an old one of a later entry is left out.
    """
    old, new = shares(strip.away_mm, strays, feather_mm=feather_mm)
    faded, fresh = untouched_builds(strip, fading), strip.builds[fading.of_coat].T
    again = np.swapaxes(new[:, fading.of_coat], 1, 2) * strays.dye[:, None, :]
    return np.asarray(old[:, :, None] * faded + again * fresh)


def differences(
    colours: Colours, strip: Strip, strays: Strays, fadings: Sequence[Fading], feather_mm: float, *, touched: bool
) -> F64:
    """CIEDE2000 (lights, views, attempts under each fading, P) of repaired and untouched places."""
    found = []
    for fading in fadings:
        seen = replace(colours, fading=fading)
        before = seen.lab(untouched_builds(strip, fading))[:, :, None]
        if touched:
            after = seen.lab(repaired_builds(strip, strays, fading, feather_mm=feather_mm))
        else:
            after = np.repeat(before, len(strays.sanded_mm), axis=2)
        found.append(delta_e_2000(before, after))
    return np.concatenate(found, axis=2)


def usual_fading(fadings: Sequence[Fading]) -> Fading:
    """The middle one, from the gentlest to the harshest."""
    return fadings[len(fadings) // 2]
