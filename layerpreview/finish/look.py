"""One stack under one light, reduced to a few wavelengths: everything the pixel loop multiplies by."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from layerpreview.colour import WAVELENGTHS_NM, display_matrix, rgb_basis, xyz_weights
from layerpreview.film import LOG2_10, Film, SpectralNodes, choose_nodes
from layerpreview.finish.stack import DyeLayer, Layer, OpaqueLayer, Stack

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]

SAMPLES = 256
CHOOSING_HIDING = 0.15
"""Hiding of an opaque layer in most of the samples that wavelengths are chosen by: a little of it shows, not all."""
MOST_BUILD = 1.3
"""Build up to which the chosen wavelengths are checked: local builds rarely exceed the nominal coat by more."""


@dataclass(frozen=True, eq=False)
class Seen:
    """One visible surface at the chosen wavelengths.

    `density2` (n, dyes): binary absorbance per unit build; `film` the curves over it; for an
    opaque coat `layer` is its place in the stack, `hiding2` its hiding in binary logarithms, `rho` (n, 1) its albedo.
    """

    film: Film
    dyes: tuple[int, ...]
    density2: F32
    layer: int | None = None
    hiding2: float = 0.0
    rho: F32 | None = None


@dataclass(frozen=True, eq=False)
class Look:
    """A stack under one light at a few wavelengths.

    `basis` (n, 3): spectra of the red, green and blue of the base picture; `tint` (n, 1): their sum in the proportions
    of a one-channel base; `to_display` (3, n): to linear sRGB, adapted to the display's white; `wavelength_nm` (n,).
    """

    light: str
    nodes: SpectralNodes
    wavelength_nm: F64
    seen: tuple[Seen, ...]
    basis: F32
    tint: F32 | None
    to_display: F32
    veil: float


@dataclass(frozen=True, eq=False)
class Appearance:
    """A whole part under one light: a look for each face, shared by faces that have the same base."""

    light: str
    looks: tuple[Look, ...]

    @property
    def worst(self) -> Look:
        """The look whose wavelengths are furthest off."""
        return max(self.looks, key=lambda look: look.nodes.p99_delta_e)


def make_look(
    stack: Stack, *, light: str, observer_deg: int = 2, tint_rgb: tuple[float, float, float] | None = None
) -> Look:
    """Choose wavelengths for this stack under `light` and tabulate the stack at them.

    `tint_rgb`: linear sRGB of a one-channel base (a relief); None for a base that is a colour picture.
    """
    weights = xyz_weights(light, observer_deg=observer_deg)
    basis = rgb_basis()
    exact = basis if tint_rgb is None else np.asarray(tint_rgb)[None, :] @ basis
    choose, check = (_samples(stack, exact, seed=seed) for seed in (1, 2))
    nodes = choose_nodes(choose, check, xyz_weights=weights, exact=exact)
    at = nodes.index
    return Look(
        light=light,
        nodes=nodes,
        wavelength_nm=WAVELENGTHS_NM[at],
        seen=_seen(stack, at),
        basis=_f32(basis[:, at].T),
        tint=None if tint_rgb is None else _f32(exact[:, at].T),
        to_display=_f32(display_matrix(light, observer_deg=observer_deg)[:, at] * nodes.weight),
        veil=stack.veil,
    )


def reaching_look(
    stack: Stack,
    *,
    light: str,
    observer_deg: int,
    tint_rgb: tuple[float, float, float] | None,
    most: Sequence[float],
) -> Look:
    """The look of `stack`, its wavelengths chosen so that they hold up to `most` times the build of each dye layer.

    While they are chosen opaque layers hide a little only: hiding is the same at every wavelength, and where a rim
    hides everything there is nothing to choose by.
    """
    layers = tuple(_strongest(layer, factor) for layer, factor in zip(stack.layers, most, strict=True))
    strongest = make_look(replace(stack, layers=layers), light=light, observer_deg=observer_deg, tint_rgb=tint_rgb)
    return turned_look(strongest, stack)


def scaled_look(look: Look, factors: Sequence[float]) -> Look:
    """The look with every layer's build multiplied, (layers,), on the same wavelengths."""
    by_layer = np.asarray(factors, dtype=np.float64)

    def scaled(seen: Seen) -> Seen:
        density2 = np.ascontiguousarray(seen.density2 * by_layer[list(seen.dyes)], dtype=np.float32)
        hiding2 = seen.hiding2 if seen.layer is None else seen.hiding2 * float(by_layer[seen.layer])
        return replace(seen, density2=density2, hiding2=hiding2)

    return replace(look, seen=tuple(scaled(seen) for seen in look.seen))


def turned_look(look: Look, stack: Stack) -> Look:
    """The look of `stack`, the same finish from another view or at other builds, on the look's own wavelengths."""
    return replace(look, seen=_seen(stack, look.nodes.index))


def _seen(stack: Stack, at: NDArray[np.intp]) -> tuple[Seen, ...]:
    out = []
    for surface in stack.surfaces():
        dyes = [layer for i in surface.dyes if isinstance(layer := stack.layers[i], DyeLayer)]
        density2 = (
            np.stack([LOG2_10 * dye.absorbance10[at] for dye in dyes], axis=1) if dyes else np.zeros((at.size, 0))
        )
        if surface.opaque is None:
            out.append(Seen(stack.film, surface.dyes, _f32(density2)))
            continue
        layer = stack.layers[surface.opaque]
        assert isinstance(layer, OpaqueLayer)
        rho = stack.opaque_film.albedo(layer.reflectance[at])
        out.append(
            Seen(
                stack.opaque_film,
                surface.dyes,
                _f32(density2),
                layer=surface.opaque,
                hiding2=LOG2_10 * layer.hiding,
                rho=_f32(rho[:, None]),
            )
        )
    return tuple(out)


def _samples(stack: Stack, exact: F64, *, seed: int) -> F64:
    """Spectra the stack can show: every base level and colour cast, every build from none to a little over nominal."""
    rng = np.random.default_rng(seed)
    level = rng.uniform(0.02, 1.0, (SAMPLES, 1))
    # A base of one channel has no casts.
    cast = rng.uniform(0.85, 1.15, (SAMPLES, 3)) if len(exact) == 3 else np.ones((SAMPLES, 1))
    count = len(stack.layers)
    # Half the samples with all layers moving together, a quarter with each on its own, since bursts fade one coat at a
    # time, and a quarter with some layers alone, as zones have them.
    build = rng.uniform(0.0, MOST_BUILD, (SAMPLES, count))
    build[::2] = build[::2, :1]
    build[1::4] *= rng.random((SAMPLES // 4, count)) < 1.0 / max(count, 2)
    # Hiding is the same at every wavelength: where a rim hides all there is nothing to choose by.
    for i, layer in enumerate(stack.layers):
        if isinstance(layer, OpaqueLayer) and layer.hiding:  # a coat that was left out hides nothing
            build[SAMPLES // 4 :, i] *= CHOOSING_HIDING / layer.hiding
    return stack.reflectance(level * (cast @ exact), build)


def _f32(values: F64) -> F32:
    return np.ascontiguousarray(values, dtype=np.float32)


def _strongest(layer: Layer, most: float) -> Layer:
    """The layer at a build that makes `make_look`, which itself tries up to MOST_BUILD, reach `most`."""
    if isinstance(layer, DyeLayer):
        return DyeLayer(layer.absorbance10 * max(1.0, most / MOST_BUILD))
    return replace(layer, hiding=CHOOSING_HIDING)
