"""A photo of a base as linear light: balanced by a neutral patch, evened out, fitted to a face."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise
from typing import Any, NoReturn

import numpy as np
from numpy.typing import NDArray

from layerpreview.colour import decode_srgb, encode_srgb
from layerpreview.errors import PictureError, Problem
from layerpreview.surface.picture_file import PictureData
from layerpreview.surface.sample import PixelGrid, Sampler, Taps, mm_taps

_EVEN_CELLS = 64  # the photo is reduced to about this many cells along its longer side before its lighting is fitted
_SLOW_SHARE, _SLOW_MM = 0.08, 12.0  # what is wider (sigma) than this of the longer side, and than this, is slow light
_EVEN_LIMIT = 4.0  # gains stay within 1/4 to 4: more is not uneven light but another part of the picture
_DARK = 0.02  # linear light below which a patch is too dark to balance by
_CLIPPED_SHARE = 0.01


@dataclass(frozen=True, eq=False)
class Photo:
    """A photo and how its numbers become linear light: light = srgb_to_linear(number) * gain_rgb * evenness.

    `gain_rgb` holds three factors; `even` (rows, cols, 3) is a small lattice of factors spread over the picture, or
    None. `holes` (height, width) marks pixels that are not the base, or None.
    """

    picture: PictureData
    gain_rgb: tuple[float, float, float] = (1.0, 1.0, 1.0)
    even: NDArray[np.float32] | None = None
    holes: NDArray[np.bool_] | None = None


class PhotoRows:
    """A photo fitted to a face: `rows(y0, y1)` gives linear RGB float32 (y1 - y0, n_cols, 3), never below zero."""

    def __init__(self, colour: Sampler, gain_rgb: tuple[float, float, float], even: Sampler | None) -> None:
        self._colour = colour
        self._gain = np.array(gain_rgb, np.float32)
        self._plain = gain_rgb == (1.0, 1.0, 1.0)
        self._even = even

    def rows(self, y0: int, y1: int) -> NDArray[np.float32]:
        """Return rows y0 to y1, the same in any strips; memory is set by the strip."""
        light = self._colour.rows(y0, y1)
        if light.ndim == 2:
            light = np.repeat(light[:, :, None], 3, axis=2)
        np.maximum(light, 0.0, out=light)  # a cubic undershoots beside a bright spot
        if not self._plain:
            light *= self._gain
        if self._even is not None:
            light *= self._even.rows(y0, y1)
        return light


@lru_cache(maxsize=2)
def srgb_table(levels: int) -> NDArray[np.float32]:
    """Return linear light 0..1 for each of `levels` sRGB numbers, float32 (levels,): IEC 61966-2-1, read only."""
    table = decode_srgb(np.arange(levels) / (levels - 1)).astype(np.float32)
    table.flags.writeable = False
    return table


def balanced(photo: Photo, *, patch_px: tuple[int, int, int, int], reflectance: float = 0.9) -> Photo:
    """Return `photo` with gains that bring a white or grey patch to neutral at its `reflectance` (0.02..1).

    patch_px : (x, y, width, height) of the patch in pixels of the upright picture.
    Raises PictureError when the patch is not in the picture, is blown out (over 1 % of it at the top of the scale) or
    too dark (under 2 % linear light).
    """
    x, y, wide, high = patch_px
    picture = photo.picture
    value = f"[{x}, {y}, {wide}, {high}]"
    if wide < 1 or high < 1 or x < 0 or y < 0 or x + wide > picture.width_px or y + high > picture.height_px:
        size = f"{picture.width_px} x {picture.height_px}"
        refuse(
            photo, "neutral_patch", value, f"not inside the picture ({size} px)", "give x, y, width, height in pixels"
        )
    if not 0.02 <= reflectance <= 1:
        refuse(
            photo, "neutral_reflectance", f"{reflectance:g}", "must be 0.02 to 1", "0.9 for a white card, 0.18 for grey"
        )
    numbers = picture.pixels[y : y + high, x : x + wide]
    levels = np.iinfo(numbers.dtype).max + 1
    numbers = numbers.reshape(high * wide, -1)
    if float((numbers == levels - 1).any(axis=1).mean()) > _CLIPPED_SHARE:
        refuse(
            photo, "neutral_patch", value, "blown out: its true brightness is lost", "expose less, or mark a grey card"
        )
    light = srgb_table(levels)[numbers].mean(axis=0, dtype=np.float64)
    if light.min() < _DARK:
        refuse(photo, "neutral_patch", value, "too dark to balance by", "mark a white or grey card in full light")
    return balanced_by(photo, light, reflectance=reflectance)


def balanced_by(photo: Photo, light_rgb: NDArray[np.float64], *, reflectance: float = 0.9) -> Photo:
    """Return `photo` with gains that bring linear light (3,) or (1,) to neutral at a `reflectance` (0..1)."""
    gains = np.broadcast_to(reflectance / np.maximum(light_rgb, _DARK), 3)
    return replace(photo, gain_rgb=(float(gains[0]), float(gains[1]), float(gains[2])))


def light_in_cells(
    photo: Photo, cells: int, *, evened: bool = False, blown_above: float | None = None
) -> NDArray[np.float64]:
    """Return the mean linear light (rows, cols, 3) of nearly square cells of `photo`, `cells` along the longer side.

    Light as the file has it, without `gain_rgb`; `evened` by `even`. With `blown_above` the share of pixels whose light
    is above it takes the mean's place.
    """
    picture = photo.picture
    rows, cols = cell_starts(photo, cells)
    table = srgb_table(int(np.iinfo(picture.pixels.dtype).max) + 1)
    out = np.empty((len(rows) - 1, len(cols) - 1, 3))
    for k, (first, last) in enumerate(pairwise(rows)):
        light = table[picture.pixels[first:last]]
        light = light.reshape(light.shape[0], light.shape[1], -1)
        if blown_above is not None:
            light = (light > blown_above).astype(np.float32)
        out[k] = np.add.reduceat(light.mean(axis=0, dtype=np.float64), cols[:-1], axis=0) / np.diff(cols)[:, None]
    if evened and photo.even is not None:
        taps = [_cell_taps(n, m) for n, m in zip(photo.even.shape, out.shape[:2], strict=False)]
        out *= Sampler(photo.even, *taps).rows(0, len(out))
    return out


def cell_starts(photo: Photo, cells: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return where `light_in_cells` begins its rows and its columns [px], and last where the picture ends."""
    sizes = photo.picture.height_px, photo.picture.width_px
    rows, cols = ((np.arange(n + 1) * m) // n for m in sizes for n in [max(1, round(min(cells / max(sizes), 1.0) * m))])
    return rows, cols


def evened_out(photo: Photo, *, strength: float = 1.0, width_mm: float | None = None) -> Photo:
    """Return `photo` with slow uneven lighting taken out: fall-off, and a big soft reflection.

    The slow part of log(light) of each channel (a reflection whitens, a lamp tints) in about 64 cells along the longer
    side is found by `slow_log_light`, what is marked in `holes` left out; slow is what is wider (Gaussian, sigma) than
    8 % of the longer side and, with the true `width_mm` [mm], than 12 mm (assumed: no feature of a base's texture is as
    wide). The gains are its inverse to the power `strength` [0..1], within 1/4 to 4, scaled so that the mean linear
    light stays.
    """
    from layerpreview.surface.even_light import slow_log_light  # scipy: only where a photo is evened out

    cells = light_in_cells(photo, _EVEN_CELLS)
    known = np.ones(cells.shape[:2])
    if photo.holes is not None:
        rows, cols = cell_starts(photo, _EVEN_CELLS)
        holes = np.add.reduceat(np.add.reduceat(photo.holes, rows[:-1], axis=0, dtype=np.int32), cols[:-1], axis=1)
        known[holes > 0] = 0.0
    if not known.any():
        return photo
    sigma = _SLOW_SHARE * max(cells.shape)
    if width_mm is not None:
        sigma = max(sigma, _SLOW_MM / width_mm * cells.shape[1])
    gains = np.empty_like(cells)
    for k in range(3):
        slow = slow_log_light(np.log(np.maximum(cells[:, :, k], 1e-4)), known, sigma_cells=sigma)
        gain = np.clip(np.exp(strength * (np.average(slow, weights=known) - slow)), 1 / _EVEN_LIMIT, _EVEN_LIMIT)
        light = cells[:, :, k] * known
        gains[:, :, k] = gain * light.sum() / max(float((light * gain).sum()), 1e-9)
    return replace(photo, even=gains.astype(np.float32))


def settled(photo: Photo, *, coarser: float = 1.0) -> Photo:
    """Return `photo` with its evenness worked into 16-bit numbers, its pixels `coarser` times as wide (>= 1).

    `gain_rgb` is raised by as much as the numbers are lowered so that none is cut off.
    """
    picture = photo.picture
    high, wide = (max(1, round(n / coarser)) for n in (picture.height_px, picture.width_px))
    head = 1.0 if photo.even is None else max(1.0, float(photo.even.max()))
    lattices = [(picture.pixels, srgb_table(int(np.iinfo(picture.pixels.dtype).max) + 1)), (photo.even, None)]
    colour, even = (
        None
        if lattice is None
        else Sampler(
            lattice, *(_cell_taps(n, m) for n, m in zip(lattice.shape, (high, wide), strict=False)), lookup=table
        )
        for lattice, table in lattices
    )
    assert colour is not None
    rows, codes = PhotoRows(colour, (1.0, 1.0, 1.0), even), _code_table()
    pixels = np.empty((high, wide, 3), np.uint16)
    for y in range(0, high, 64):
        light = rows.rows(y, min(y + 64, high)) * np.float32(65535.0 / head)
        pixels[y : y + 64] = codes[np.rint(np.minimum(light, 65535.0)).astype(np.uint16)]
    red, green, blue = (gain * head for gain in photo.gain_rgb)
    return replace(photo, picture=replace(picture, pixels=pixels, alpha=None), gain_rgb=(red, green, blue), even=None)


@lru_cache(maxsize=1)
def _code_table() -> NDArray[np.uint16]:
    """16-bit sRGB numbers of linear light in steps of 1/65535."""
    return np.rint(65535.0 * encode_srgb(np.arange(65536) / 65535.0)).astype(np.uint16)


def photo_sampler(
    photo: Photo,
    grid: PixelGrid,
    *,
    face_width_mm: float,
    face_height_mm: float,
    width_mm: float | None = None,
) -> PhotoRows:
    """Return `photo` laid on a face as linear RGB rows for `grid`.

    Without `width_mm` the photo is stretched, keeping its proportions, until it covers the face (face_width_mm by
    face_height_mm, from (0, 0)); with `width_mm` [mm], the true width of what it shows, it keeps that scale. Either way
    its middle lies on the middle of the face.
    Raises PictureError when the photo at its true width does not cover the face.
    """
    picture = photo.picture
    cover_mm = max(face_width_mm / picture.width_px, face_height_mm / picture.height_px)
    pitch_mm = cover_mm if width_mm is None else width_mm / picture.width_px
    if not (math.isfinite(pitch_mm) and pitch_mm > 0):
        refuse(photo, "width", f"{width_mm:g} mm", "must be above zero", "give the true width of what the photo shows")
    if width_mm is not None and pitch_mm < cover_mm * (1 - 1e-9):
        shows = f"{width_mm:g} x {pitch_mm * picture.height_px:.4g} mm"
        face = f"{face_width_mm:.4g} x {face_height_mm:.4g} mm"
        remedy = "set tile = true, give no width to stretch it, or take a photo of a larger piece"
        refuse(photo, "width", f"{width_mm:g} mm", f"shows {shows}, smaller than the face ({face})", remedy)
    left_mm = (face_width_mm - pitch_mm * picture.width_px) / 2
    top_mm = (face_height_mm - pitch_mm * picture.height_px) / 2

    def taps(n_in: int, size_px: int, n_out: int, offset_mm: float) -> Taps:
        return mm_taps(
            n_in,
            n_out,
            in_pitch_mm=pitch_mm * size_px / n_in,
            out_pitch_mm=grid.pixel_mm,
            offset_mm=offset_mm,
        )

    def sampler(lattice: NDArray[Any], lookup: NDArray[np.float32] | None) -> Sampler:
        return Sampler(
            lattice,
            taps(lattice.shape[0], picture.height_px, grid.n_rows, grid.top_mm - top_mm),
            taps(lattice.shape[1], picture.width_px, grid.n_cols, grid.left_mm - left_mm),
            lookup=lookup,
        )

    colour = sampler(picture.pixels, srgb_table(int(np.iinfo(picture.pixels.dtype).max) + 1))
    return PhotoRows(colour, photo.gain_rgb, None if photo.even is None else sampler(photo.even, None))


def _cell_taps(n_in: int, n_out: int) -> Taps:
    return mm_taps(n_in, n_out, in_pitch_mm=1 / n_in, out_pitch_mm=1 / n_out)


def refuse(photo: Photo, field: str, value: str, rule: str, remedy: str) -> NoReturn:
    """Raise the PictureError that names this photo and one of its options."""
    raise PictureError(Problem(file=photo.picture.file, field=field, value=value, rule=rule, remedy=remedy))
