"""What lies at a spot of a face that somebody touches: its film layer by layer, and its colour after each coat."""

from __future__ import annotations

from collections.abc import Hashable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from layerpreview.colour import display_matrix, rgb_lin_to_hex
from layerpreview.desk.jobs import Read
from layerpreview.desk.nearby import within
from layerpreview.desk.tell import clear_dry_um, coat_dry_um, range_told
from layerpreview.errors import InputError, Problem
from layerpreview.finish.layers import stack_of
from layerpreview.finish.stack import Stack
from layerpreview.job.colours import built_up
from layerpreview.job.products import relief_of
from layerpreview.picture.faces import FaceShape
from layerpreview.picture.scene import make_scene
from layerpreview.picture.spots import FIGURES_WIDTH_PX, mean_bare
from layerpreview.picture.touched import touched
from layerpreview.threads import Made
from layerpreview.units import shop_length
from layerpreview.workflows.board_limits import MORE_COATS

F64 = NDArray[np.float64]

BASE_UM = 20.0
"""The base in a section: as in the mix sheet's drawing, not a film that is known."""
NEAR_EDGE_MM = 60.0
LADDER = 8
"""So many coats at least are shown one by one."""
_bares: Made[dict[str, F64]] = Made(3)


def bares_of(read: Read) -> dict[str, F64]:
    """Mean spectrum of every face's base, as the figures have it; made once while faces and bases stay."""
    scheme = read.scheme
    names = [face.name for face in scheme.faces]
    key: Hashable = (read.shapes, tuple(scheme.base_for(name) for name in names))

    def make() -> dict[str, F64]:
        scene = make_scene(scheme, width_px=FIGURES_WIDTH_PX, shapes=read.shapes)
        return {face.name: mean_bare(face) for face in scene.faces}

    return _bares.get(key, make)


def spot(read: Read, *, face: str, x_mm: float, y_mm: float, light: str | None = None) -> dict[str, Any]:
    """The film and the colours at a place of a face [mm, from the top left corner of its box].

    Raises InputError for no such face or light.
    """
    scheme = read.scheme
    shape = next((shape for shape in read.shapes if shape.face.name == face), None)
    if shape is None:
        raise InputError(Problem("there is no face of this name", field="face", value=face))
    here = touched(scheme, shape, x_mm=x_mm, y_mm=y_mm)
    base = scheme.base_for(face)
    under = light or scheme.lights[0]
    stack, bare = stack_of(scheme, base=base), bares_of(read)[face]
    stages = built_up(stack, bare, here.build, light=under, observer_deg=scheme.observer_deg)
    relief = relief_of(base)
    ladders = _ladders(stack, bare, here.build, read, under)
    layers = [
        {"coat": i, "dry_um": range_told(coat_dry_um(scheme, i).scaled(float(build)))}
        for i, build in enumerate(here.build)
    ]
    return {
        "version": read.version,
        "face": face,
        "x_mm": round(x_mm, 1),
        "y_mm": round(y_mm, 1),
        "place": place_words(shape, here.edge_mm, units=scheme.shop.units),
        "zones": [{"name": name, "masked": name in shape.masked} for name in here.zones],
        "edge_mm": round(here.edge_mm, 1),
        "builds": [round(float(build), 4) for build in here.build],
        "light": under,
        "after": [swatch for swatch, _ in stages],
        "ladders": ladders,
        "within": within(shape, x_mm, y_mm),
        "after_lab": [[round(value, 2) for value in lab] for _, lab in stages],
        "base_um": BASE_UM,
        "relief_um": None if relief is None else range_told(relief),
        "layers": [*layers, {"coat": "clear", "dry_um": range_told(clear_dry_um(scheme))}],
    }


def _ladders(stack: Stack, bare: F64, build: F64, read: Read, light: str) -> list[list[str] | None]:
    """For each coat that lands there the colours of the place after one coat of it, two, three and so on, over what is
    sprayed before."""
    found: list[list[str] | None] = []
    for i, coat in enumerate(read.scheme.coats):
        if build[i] <= 0.0:
            found.append(None)
            continue
        rungs = np.arange(1, max(LADDER, coat.coats + MORE_COATS) + 1)
        builds = np.zeros((len(rungs), build.size))
        builds[:, :i] = build[:i]
        builds[:, i] = build[i] * rungs / coat.coats
        spectra = stack.reflectance(np.repeat(bare[None], len(rungs), axis=0), builds)
        shown = spectra @ display_matrix(light, observer_deg=read.scheme.observer_deg).T
        found.append([rgb_lin_to_hex(rgb) for rgb in shown])
    return found


def place_words(shape: FaceShape, edge_mm: float, *, units: str) -> str:
    """Where a place lies, in words and in the shop's units."""
    if edge_mm < 0.0:
        return f"beside {shape.face.name}"
    if edge_mm > min(NEAR_EDGE_MM, 0.35 * min(shape.outline.width_mm, shape.outline.height_mm)):
        return f"middle of {shape.face.name}"
    # A touch is no finer than a millimetre.
    far = shop_length(round(edge_mm), us=units == "US")
    return f"{shape.face.name}, {far} from the edge"
