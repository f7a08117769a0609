"""The optics of a finish on a solid: the laws of its base for every way the film may lie, and the look they need."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layerpreview.film import (
    BodyLaw,
    DiffuseFilm,
    FaceLaw,
    Film,
    MetalFilm,
    PathCurve,
    diffuse_film,
    face_law,
    metal_film,
)
from layerpreview.finish.kept import kept_body_law
from layerpreview.finish.layers import layer_of
from layerpreview.finish.look import Look, make_look
from layerpreview.finish.stack import Stack
from layerpreview.finish.texture import is_textured, texture_sample
from layerpreview.finish.view import Surroundings
from layerpreview.scheme import Base, Scheme

F32 = NDArray[np.float32]
_AHEAD = np.array([[0.0], [0.0], [1.0]], dtype=np.float32)


@dataclass(frozen=True, eq=False)
class SolidOptics:
    """How one base under the scheme's coats answers to the surroundings.

    `metal`: its law where it is a metal; `face`: that of all that scatters evenly, such that without dye it shows as it
    is where it lies level; `level`: what level metal shows straight on in even light, which its colour is taken as.
    """

    metal: BodyLaw | None
    face: FaceLaw
    level: float
    textured: bool

    def shade(self, film: F32) -> F32:
        """How bright what scatters evenly is (P,) on films of unit normals (3, P), 1 where they lie level."""
        return np.asarray(self.face.at(film)[0] / self.face.at(_AHEAD)[0])


def solid_optics(base: Base, around: Surroundings, *, turned_deg: float) -> SolidOptics:
    """The laws of `base` in surroundings that are turned clockwise about the part. Takes some seconds and is kept."""
    light = around.light(turned_deg=turned_deg)
    face = face_law(light)
    as_it_is = np.float32(diffuse_film().c.start) / face.at(_AHEAD)[0]
    face = FaceLaw(face.numbers * as_it_is, face.denominator)
    if base.kind != "metal":
        return SolidOptics(None, face, 1.0, False)
    return SolidOptics(kept_body_law(base.metal, light), face, metal_film(base.metal).bare, is_textured(base))


def solid_look(
    scheme: Scheme, base: Base, optics: SolidOptics, *, light: str, tint_rgb: tuple[float, float, float] | None
) -> Look:
    """The look of the scheme's coats over `base`: its curves have the laws' denominators, so that each pixel can bring
    numerators of its own. The clear's veil is not in it: on a solid it is the mirror image."""
    stack = solid_stack(scheme, base, optics)
    return make_look(stack, light=light, observer_deg=scheme.observer_deg, tint_rgb=tint_rgb)


def solid_stack(scheme: Scheme, base: Base, optics: SolidOptics) -> Stack:
    """The layers of `solid_look`."""
    return Stack(tuple(layer_of(scheme, coat) for coat in scheme.coats), *solid_films(base, optics))


def solid_films(base: Base, optics: SolidOptics) -> tuple[Film, DiffuseFilm]:
    """The film over `base` and over an opaque coat, as `solid_look` has them."""
    even = diffuse_film()
    start, *path = optics.face.at(_AHEAD)[:, 0]
    c = PathCurve(even.c.start, _numerator(start, path), optics.face.denominator, 0.0)
    opaque = DiffuseFilm(c, even.k)
    return _base_film(base, optics) or opaque, opaque


def _base_film(base: Base, optics: SolidOptics) -> Film | None:
    if optics.metal is None:
        return None
    facets = _AHEAD
    if optics.textured:
        relief = texture_sample(base)
        slopes = np.stack([-relief.slope_x.ravel()[::37], -relief.slope_y.ravel()[::37]])
        facets = np.concatenate([slopes, np.ones((1, slopes.shape[1]), np.float32)])
        facets /= np.linalg.norm(facets, axis=0)
    start, *path = optics.metal.at(np.broadcast_to(_AHEAD, facets.shape), facets).mean(axis=1)
    return MetalFilm(PathCurve(1.0, _numerator(start, path), optics.metal.denominator, 0.0), float(start))


def _numerator(start: float, path: list[float]) -> tuple[float, float, float]:
    n0, n1, n2 = (float(n / start) for n in path)
    return n0, n1, n2
