"""The base of a face as rows of a picture: a photo, a lit relief, grain or a flat colour."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from layerpreview.colour import srgb_hex_to_rgb_lin
from layerpreview.errors import PictureError, Problem
from layerpreview.finish.view import View
from layerpreview.scheme import Base
from layerpreview.surface.flake_light import DEFAULT_LAMPS, Lamp, flake_brightness
from layerpreview.surface.height_picture import picture_kind, relief_from_picture
from layerpreview.surface.outline import Outline
from layerpreview.surface.photo import Photo, balanced, evened_out, photo_sampler
from layerpreview.surface.picture_file import read_picture
from layerpreview.surface.relief import Relief, make_relief
from layerpreview.surface.sample import PixelGrid, Sampler, mm_taps
from layerpreview.surface.wood import Grain, make_grain

F32 = NDArray[np.float32]

RELIEF_STEP_MM = 0.25
MOST_RELIEF_POINTS = 6_000_000
NEUTRAL_METAL = "#eceded"
LAMP_SIZE_DEG = 10.0


class Rows(Protocol):
    """Rows of a picture, float32 (rows, cols) or (rows, cols, 3)."""

    def rows(self, y0: int, y1: int) -> F32: ...


@dataclass(frozen=True)
class Bare:
    """The base of a face: its rows (linear sRGB, or a gain on `tint_rgb`), and where wood takes more dye (mean 1)."""

    source: Rows
    tint_rgb: tuple[float, float, float] | None
    openness: Rows | None = None


@dataclass(frozen=True)
class FlatGain:
    """A base of one even colour: a gain of 1 everywhere."""

    n_cols: int

    def rows(self, y0: int, y1: int) -> F32:
        return np.ones((y1 - y0, self.n_cols), dtype=np.float32)


def bare_of(base: Base, outline: Outline, grid: PixelGrid, view: View) -> Bare:
    """The scheme's base on a face, seen from `view`.

    A relief's brightness follows light and view; a photo shows what it shows from every side.
    Raises PictureError for a photo that cannot be read or does not fill the face.
    """
    if base.picture is not None:
        return Bare(_photo_rows(base, outline, grid), None)
    if base.relief is not None:
        return Bare(_relief_rows(base, outline, grid, view), _tint(base.relief_options.tint or NEUTRAL_METAL))
    if base.height_picture is not None:
        return Bare(_relief_rows(base, outline, grid, view), _tint(base.height_options.tint or NEUTRAL_METAL))
    if base.grain is not None:
        grain, step = _grain(base, outline.width_mm, outline.height_mm), _step_mm(outline.width_mm, outline.height_mm)
        openness = _on_lattice(grain.openness, step, grid) if base.soak > 0.0 else None
        return Bare(_on_lattice(grain.albedo_rgb_lin, step, grid), None, openness)
    assert base.colour is not None
    return Bare(FlatGain(grid.n_cols), _tint(base.colour))


def _tint(colour: str) -> tuple[float, float, float]:
    r, g, b = (float(v) for v in srgb_hex_to_rgb_lin(colour))
    return r, g, b


def _photo_rows(base: Base, outline: Outline, grid: PixelGrid) -> Rows:
    assert base.picture is not None
    options = base.picture_options
    photo = Photo(read_picture(base.picture))
    if options.neutral_patch_px is not None:
        photo = balanced(photo, patch_px=options.neutral_patch_px, reflectance=options.neutral_reflectance)
    if options.even_out:
        photo = evened_out(photo)
    return photo_sampler(
        photo,
        grid,
        face_width_mm=outline.width_mm,
        face_height_mm=outline.height_mm,
        width_mm=options.width_mm,
        tile=options.tile,
    )


def _relief_rows(base: Base, outline: Outline, grid: PixelGrid, view: View) -> Sampler:
    """The relief on a lattice of its own, so that another picture size shows the same surface."""
    lit, step = _lit_relief(base, outline.width_mm, outline.height_mm, view)
    return _on_lattice(lit, step, grid)


def _on_lattice(lattice: F32, step_mm: float, grid: PixelGrid) -> Sampler:
    rows, cols = (
        mm_taps(size, count, in_pitch_mm=step_mm, out_pitch_mm=grid.pixel_mm)
        for size, count in ((lattice.shape[0], grid.n_rows), (lattice.shape[1], grid.n_cols))
    )
    return Sampler(lattice, rows, cols)


@lru_cache(maxsize=2)
def _grain(base: Base, width_mm: float, height_mm: float) -> Grain:
    assert base.grain is not None
    return make_grain(
        width_mm=width_mm,
        height_mm=height_mm,
        seed=base.grain_options.seed,
        step_mm=_step_mm(width_mm, height_mm),
        figure=base.grain,
    )


def _step_mm(width_mm: float, height_mm: float) -> float:
    """Lattice step: fine enough for flakes and pores, coarser only on very large faces."""
    return max(RELIEF_STEP_MM, math.sqrt(width_mm * height_mm / MOST_RELIEF_POINTS))


@lru_cache(maxsize=4)
def _lit_relief(base: Base, width_mm: float, height_mm: float, view: View) -> tuple[F32, float]:
    """Brightness lattice and its step [mm]; kept for the next picture of the same face (a sheet, another size)."""
    relief = _relief(base, width_mm, height_mm)
    options = base.relief_options if base.relief is not None else base.height_options
    side = options.lamp_from_deg if view.lamp_deg is not None else 0.0
    lamps = (
        DEFAULT_LAMPS(options.lamp_from_deg, options.lamp_height_deg)
        if view.lamp_deg is None
        else (Lamp(from_deg=side, height_deg=90.0 - view.lamp_deg, size_deg=LAMP_SIZE_DEG, power=1.0),)
    )
    lit = flake_brightness(
        relief,
        flake_spread=base.flake_spread,
        lamps=lamps,
        view_deg=abs(view.view_deg),
        view_from_deg=(side if view.view_deg > 0.0 else side + 180.0) if view.lamp_deg is not None else 180.0,
    )
    return lit, relief.step_mm


@lru_cache(maxsize=2)
def _relief(base: Base, width_mm: float, height_mm: float) -> Relief:
    if base.height_picture is not None:
        return _own_relief(base, width_mm, height_mm)
    assert base.relief is not None
    options = base.relief_options
    return make_relief(
        base.relief,
        width_mm=width_mm,
        height_mm=height_mm,
        seed=options.seed,
        cell_mm=options.cell_mm,
        strength=options.height,
        step_mm=_step_mm(width_mm, height_mm),
    )


def _own_relief(base: Base, width_mm: float, height_mm: float) -> Relief:
    """The user's own height map or normal map."""
    assert base.height_picture is not None
    options = base.height_options
    picture = read_picture(base.height_picture)
    found = {"heights": "height", "directions": "normal"}[picture_kind(picture)]
    if found != options.kind:
        raise PictureError(
            Problem(
                file=str(base.height_picture),
                field="base.height_options.kind",
                value=options.kind,
                rule=f"this picture holds {'heights (grey)' if found == 'height' else 'directions (bluish)'}",
                remedy=f'write kind = "{found}"',
            )
        )
    return relief_from_picture(
        picture,
        face_width_mm=width_mm,
        face_height_mm=height_mm,
        width_mm=options.width_mm,
        depth_mm=options.depth_mm,
        tile=options.tile,
        step_mm=_step_mm(width_mm, height_mm),
    )
