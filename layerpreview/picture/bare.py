"""The base of a face as rows of a picture: a photo, a lit relief, grain or a flat colour."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from layerpreview.colour import srgb_hex_to_rgb_lin
from layerpreview.film import DiffuseFilm, FacetLaw, MetalFilm, diffuse_film
from layerpreview.finish.layers import base_film, facet_law_of
from layerpreview.finish.texture import glints_of, is_textured, step_mm, texture_of
from layerpreview.finish.view import STRAIGHT_ON, View
from layerpreview.picture.faces import FaceShape
from layerpreview.scheme import Base
from layerpreview.surface.hashed_fields import Lattice
from layerpreview.surface.lookup import Lookup
from layerpreview.surface.outline import Outline
from layerpreview.surface.photo import Photo, photo_sampler
from layerpreview.surface.photo_base import base_photo, carried_on
from layerpreview.surface.photo_round import carried_round, laid_behind
from layerpreview.surface.picture_file import read_picture
from layerpreview.surface.sample import PixelGrid, Sampler, mm_taps
from layerpreview.surface.wood import Grain, make_grain
from layerpreview.threads import passing

F32 = NDArray[np.float32]
LEAST_GAIN = np.float32(1e-5)
FLAKE_TURN_DEG = 15.0


class Rows(Protocol):
    """Rows of a picture, float32 (rows, cols) or (rows, cols, 3)."""

    def rows(self, y0: int, y1: int) -> F32: ...


@dataclass(frozen=True)
class Bare:
    """The base of a face: its rows (linear sRGB, or a gain on `tint_rgb`), and where wood takes more dye (mean 1)."""

    source: Rows
    tint_rgb: tuple[float, float, float] | None
    openness: Rows | None = None

    def lit(self, y0: int, y1: int) -> tuple[F32, F32 | None]:
        """Rows of the base, not below 0, and of a textured metal the numerators (3, P) of each pixel's path curve."""
        if isinstance(self.source, Facets | Slopes):
            return self.source.lit(y0, y1)
        return np.maximum(self.source.rows(y0, y1), 0.0), None  # a cubic undershoots beside a bright spot


@dataclass(frozen=True)
class UnderClear:
    """A dry matt surface as it shows once clear lies on it: what it sends up passes the film's face or is thrown back.

    Saunderson, JOSA 32, 727 (1942), for a dry surface that scatters evenly.
    """

    dry: Rows
    film: DiffuseFilm

    def rows(self, y0: int, y1: int) -> F32:
        rho = np.minimum(self.dry.rows(y0, y1), np.float32(1.0))
        return np.asarray(self.film.c.start * rho / (1.0 - rho * self.film.k.start), dtype=np.float32)


@dataclass(frozen=True)
class Flat:
    """A base of one even colour: the same gain everywhere."""

    n_cols: int
    gain: float = 1.0

    def rows(self, y0: int, y1: int) -> F32:
        return np.full((y1 - y0, self.n_cols), self.gain, dtype=np.float32)


@dataclass(frozen=True)
class Facets:
    """A textured metal in pixels that hold many facets, from what `_lit_facets` gives."""

    sampler: Sampler

    def rows(self, y0: int, y1: int) -> F32:
        return np.maximum(self.sampler.rows(y0, y1)[:, :, 0], LEAST_GAIN)

    def lit(self, y0: int, y1: int) -> tuple[F32, F32]:
        """Gain (rows, cols), and numerators (3, rows * cols) of each pixel's path curve."""
        numbers = self.sampler.rows(y0, y1)
        gain = np.maximum(numbers[:, :, 0], LEAST_GAIN)
        path = numbers[:, :, 1:] / gain[:, :, None]
        return gain, np.ascontiguousarray(path.reshape(-1, 3).T)


@dataclass(frozen=True)
class Slopes:
    """A textured metal in pixels smaller than its facets, from what `_sloped` gives: slopes, and sparkle if any."""

    samplers: tuple[Sampler, ...]
    law: FacetLaw

    def rows(self, y0: int, y1: int) -> F32:
        return self.lit(y0, y1)[0]

    def lit(self, y0: int, y1: int) -> tuple[F32, F32]:
        """As `Facets.lit`."""
        slope_x, slope_y, *sparkle = (sampler.rows(y0, y1) for sampler in self.samplers)
        start, path = np.split(self.law.at(slope_x.ravel(), slope_y.ravel()), [1])
        for light in sparkle:
            start *= np.maximum(light, 0.0).ravel()
        return np.maximum(start, LEAST_GAIN).reshape(slope_x.shape), path


def bare_of(base: Base, shape: FaceShape, grid: PixelGrid, view: View) -> Bare:
    """The scheme's base on a face, seen from `view`.

    A relief's brightness follows light and view; a photo shows what it shows from every side. The photo of a face lies
    mirrored on its mirror image, and is carried on round its side.
    Raises PictureError for a photo that cannot be read or does not fill the face.
    """
    outline = shape.outline
    if base.picture is not None:
        photo = _photo_rows(base, shape, grid)
        dry = base.kind != "metal" and base.picture_options.taken == "dry"
        return Bare(UnderClear(photo, diffuse_film()) if dry else photo, None)
    if is_textured(base):
        return Bare(_facets(base, outline, grid, view), cast_of(base))
    if base.grain is not None:
        light, openness = grain_on(base, (outline.width_mm, outline.height_mm), grid)
        return Bare(light, None, openness if base.soak > 0.0 else None)
    assert base.colour is not None
    return Bare(Flat(grid.n_cols, _flat_gain(base, view)), _triple(srgb_hex_to_rgb_lin(base.colour)))


def grain_on(base: Base, size_mm: tuple[float, float], grid: PixelGrid) -> tuple[Sampler, Sampler]:
    """The light of made wood on a face of this size, and how open it is."""
    grain, step = _grain(base, *size_mm), step_mm(*size_mm)
    return on_lattice(grain.albedo_rgb_lin, step, grid), on_lattice(grain.openness, step, grid)


def cast_of(base: Base) -> tuple[float, float, float]:
    """The own hue of a textured metal, its flakes saying how bright it is."""
    tint = (base.relief_options if base.relief is not None else base.height_options).tint
    if tint is None:
        return 1.0, 1.0, 1.0
    rgb_lin = srgb_hex_to_rgb_lin(tint)
    return _triple(rgb_lin / max(float(rgb_lin.max()), 1e-6))


def _flat_gain(base: Base, view: View) -> float:
    """How bright a flat metal is: its colour is what it shows straight on in even light."""
    if base.kind != "metal" or view == STRAIGHT_ON:
        return 1.0
    seen, straight = base_film(base, view), base_film(base)
    assert isinstance(seen, MetalFilm)
    assert isinstance(straight, MetalFilm)
    return seen.bare / straight.bare


def _triple(rgb_lin: NDArray[np.float64]) -> tuple[float, float, float]:
    r, g, b = (float(v) for v in rgb_lin)
    return r, g, b


def _photo_rows(base: Base, shape: FaceShape, grid: PixelGrid) -> Rows:
    options, size = base.picture_options, (shape.outline.width_mm, shape.outline.height_mm)
    photo, width_mm = _photo(base, _stamp(base)), options.width_mm
    if shape.face.side_of is not None and (shape.beside is not None or width_mm is not None):
        photo, width_mm = _carried_round(base, shape.beside, *size, _stamp(base))
    elif options.tile and width_mm is not None:
        photo, width_mm = _carried_on(base, *size, _stamp(base))
    if shape.face.mirror_of is not None and shape.beside is not None:
        photo = _laid_behind(photo, shape.beside, shape.outline, width_mm)
    return photo_sampler(photo, grid, face_width_mm=size[0], face_height_mm=size[1], width_mm=width_mm)


def _stamp(base: Base) -> tuple[int, int]:
    """What tells that the photo is another one than before; nothing where it cannot be read, which is told then."""
    assert base.picture is not None
    try:
        state = base.picture.stat()
    except (OSError, ValueError):
        return 0, 0
    return state.st_mtime_ns, state.st_size


@lru_cache(maxsize=2)
def _photo(base: Base, _stamp: tuple[int, int]) -> Photo:
    assert base.picture is not None
    options = base.picture_options
    return base_photo(
        read_picture(base.picture),
        patch_px=options.neutral_patch_px,
        neutral=options.neutral_colour,
        reflectance=options.neutral_reflectance,
        crop_px=options.crop_px,
        corners_px=options.corners_px,
        even_out=options.even_out,
        width_mm=options.width_mm,
    )


@lru_cache(maxsize=2)
def _carried_on(base: Base, width_mm: float, height_mm: float, stamp: tuple[int, int]) -> tuple[Photo, float]:
    assert base.picture_options.width_mm is not None
    return carried_on(
        _photo(base, stamp),
        width_mm=base.picture_options.width_mm,
        face_width_mm=width_mm,
        face_height_mm=height_mm,
    )


@lru_cache(maxsize=2)
def _carried_round(
    base: Base, front: Outline | None, width_mm: float, height_mm: float, stamp: tuple[int, int]
) -> tuple[Photo, float]:
    return carried_round(
        _photo(base, stamp), front, width_mm=base.picture_options.width_mm, side_mm=width_mm, depth_mm=height_mm
    )


@lru_cache(maxsize=2)
def _laid_behind(photo: Photo, front: Outline, back: Outline, width_mm: float | None) -> Photo:
    return laid_behind(photo, front, back, width_mm=width_mm)


def _facets(base: Base, outline: Outline, grid: PixelGrid, view: View) -> Facets | Slopes:
    """The texture on a lattice of its own, so that another picture size shows the same surface."""
    size = outline.width_mm, outline.height_mm
    step = step_mm(*size)
    if grid.pixel_mm < step:
        # Between the lattice's points the slope changes steadily, the light that a facet mirrors does not.
        planes = tuple(on_lattice(plane, step, grid) for plane in _sloped(base, *size, view))
        return Slopes(planes, facet_law_of(base, view))
    return Facets(on_lattice(_lit_facets(base, *size, view), step, grid))


def on_lattice(lattice: F32, step_mm: float, grid: PixelGrid) -> Sampler:
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
        step_mm=step_mm(width_mm, height_mm),
        figure=base.grain,
    )


@lru_cache(maxsize=2)
def _lit_facets(base: Base, width_mm: float, height_mm: float, view: View) -> F32:
    """Start and start times numerators (rows, cols, 4) of every facet; kept for the next picture of the same face.

    The numerators are weighted by the light of their facet, so that a pixel over many facets has those of the bright
    ones.
    """
    sloped, law = _sloped(base, width_mm, height_mm, view), facet_law_of(base, view)
    slope_x, slope_y, *sparkle = sloped
    out = np.empty((*slope_x.shape, 4), dtype=np.float32)

    def block(rows: slice) -> None:
        numbers = law.at(slope_x[rows], slope_y[rows])
        for light in sparkle:
            numbers[0] *= light[rows]
        numbers[1:] *= numbers[0]
        out[rows] = np.moveaxis(numbers, 0, -1)

    Lattice(out.shape[0], out.shape[1], step_mm(width_mm, height_mm)).each_block(block)
    return out


@passing(2)
def _sloped(base: Base, width_mm: float, height_mm: float, view: View) -> tuple[F32, ...]:
    """Slope along x and y of every facet (rows, cols), and its sparkle where it has one."""
    # A tilt of a few degrees lights up other flakes.
    return sloped(base, width_mm, height_mm, even=view.light().even, phase=view.view_deg / FLAKE_TURN_DEG)


def sloped(base: Base, width_mm: float, height_mm: float, *, even: float, phase: float) -> tuple[F32, ...]:
    """As `_sloped`: flakes flash under lamps, in the `even` part of light all are alike; by `phase` others flash."""
    relief, light = texture_of(base, width_mm, height_mm), glints_of(base, width_mm, height_mm, even=even, phase=phase)
    return (relief.slope_x, relief.slope_y) if light is None else (relief.slope_x, relief.slope_y, light)


def texture_lookup(base: Base, width_mm: float, height_mm: float, *, even: float, phase: float) -> Lookup:
    """What `sloped` gives, at any place of the face."""
    step = step_mm(width_mm, height_mm)
    planes = np.stack(sloped(base, width_mm, height_mm, even=even, phase=phase), axis=-1)
    return Lookup(planes, step, 0.5 * step, 0.5 * step)
