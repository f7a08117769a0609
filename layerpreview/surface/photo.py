"""A photo of a base as linear light: balanced by a neutral patch, evened out, fitted to a face."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any, NoReturn

import numpy as np
from numpy.typing import NDArray

from layerpreview.colour import decode_srgb
from layerpreview.errors import PictureError, Problem
from layerpreview.surface.picture_file import PictureData
from layerpreview.surface.sample import PixelGrid, Sampler, Taps, mm_taps

_EVEN_CELLS = 64  # the photo is reduced to about this many cells a side before its lighting is fitted
_EVEN_ORDER = 2
_EVEN_LIMIT = 4.0  # gains stay within 1/4 to 4: more is not uneven light but another part of the picture
_DARK = 0.02  # linear light below which a patch is too dark to balance by
_CLIPPED_SHARE = 0.01


@dataclass(frozen=True, eq=False)
class Photo:
    """A photo and how its numbers become linear light: light = srgb_to_linear(number) * gain_rgb * evenness.

    `gain_rgb` holds three factors; `even` (rows, cols) is a small lattice of factors spread over the picture, or None.
    """

    picture: PictureData
    gain_rgb: tuple[float, float, float] = (1.0, 1.0, 1.0)
    even: NDArray[np.float32] | None = None


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
            light *= self._even.rows(y0, y1)[:, :, None]
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
        _refuse(
            photo, "neutral_patch", value, f"not inside the picture ({size} px)", "give x, y, width, height in pixels"
        )
    if not 0.02 <= reflectance <= 1:
        _refuse(
            photo, "neutral_reflectance", f"{reflectance:g}", "must be 0.02 to 1", "0.9 for a white card, 0.18 for grey"
        )
    numbers = picture.pixels[y : y + high, x : x + wide]
    levels = np.iinfo(numbers.dtype).max + 1
    numbers = numbers.reshape(high * wide, -1)
    if float((numbers == levels - 1).any(axis=1).mean()) > _CLIPPED_SHARE:
        _refuse(
            photo, "neutral_patch", value, "blown out: its true brightness is lost", "expose less, or mark a grey card"
        )
    light = srgb_table(levels)[numbers].mean(axis=0, dtype=np.float64)
    if light.min() < _DARK:
        _refuse(photo, "neutral_patch", value, "too dark to balance by", "mark a white or grey card in full light")
    gains = np.broadcast_to(reflectance / light, 3)
    return replace(photo, gain_rgb=(float(gains[0]), float(gains[1]), float(gains[2])))


def evened_out(photo: Photo) -> Photo:
    """Return `photo` with slow uneven lighting taken out.

    log(luminance) of the photo reduced to about 64 cells a side is fitted by a polynomial of second order in x and y
    (least squares); the gains are its inverse, within 1/4 to 4, scaled so that the mean linear light stays.
    """
    picture = photo.picture
    high, wide = picture.height_px, picture.width_px
    rows, cols = min(high, _EVEN_CELLS), min(wide, _EVEN_CELLS)
    levels = np.iinfo(picture.pixels.dtype).max + 1
    step_y, step_x = max(1, high // (4 * rows)), max(1, wide // (4 * cols))
    light = srgb_table(levels)[picture.pixels[::step_y, ::step_x]]
    if light.ndim == 3:
        light = light @ np.array([0.2126, 0.7152, 0.0722], np.float32)
    even_taps = [_cell_taps(light.shape[0], rows), _cell_taps(light.shape[1], cols)]
    cells = Sampler(light, *even_taps).rows(0, rows).astype(np.float64)
    log_light = np.log(np.maximum(cells, 1e-4))
    x, y = np.meshgrid((np.arange(cols) + 0.5) / cols * 2 - 1, (np.arange(rows) + 0.5) / rows * 2 - 1)
    terms = np.column_stack([(x**i * y**j).ravel() for i in range(_EVEN_ORDER + 1) for j in range(_EVEN_ORDER + 1 - i)])
    slow = (terms @ np.linalg.lstsq(terms, log_light.ravel(), rcond=None)[0]).reshape(rows, cols)
    gains = np.clip(np.exp(slow.mean() - slow), 1 / _EVEN_LIMIT, _EVEN_LIMIT)
    gains *= cells.mean() / max(float((cells * gains).mean()), 1e-9)
    return replace(photo, even=gains.astype(np.float32))


def photo_sampler(
    photo: Photo,
    grid: PixelGrid,
    *,
    face_width_mm: float,
    face_height_mm: float,
    width_mm: float | None = None,
    tile: bool = False,
) -> PhotoRows:
    """Return `photo` laid on a face as linear RGB rows for `grid`.

    Without `width_mm` the photo is stretched, keeping its proportions, until it covers the face (face_width_mm by
    face_height_mm, from (0, 0)); with `width_mm` [mm], the true width of what it shows, it keeps that scale. Either way
    its middle lies on the middle of the face. `tile` repeats it mirrored beyond its edges.
    Raises PictureError when the photo at its true width does not cover the face and `tile` is false.
    """
    picture = photo.picture
    cover_mm = max(face_width_mm / picture.width_px, face_height_mm / picture.height_px)
    pitch_mm = cover_mm if width_mm is None else width_mm / picture.width_px
    if not (math.isfinite(pitch_mm) and pitch_mm > 0):
        _refuse(photo, "width", f"{width_mm:g} mm", "must be above zero", "give the true width of what the photo shows")
    if width_mm is not None and not tile and pitch_mm < cover_mm * (1 - 1e-9):
        shows = f"{width_mm:g} x {pitch_mm * picture.height_px:.4g} mm"
        face = f"{face_width_mm:.4g} x {face_height_mm:.4g} mm"
        remedy = "set tile = true, give no width to stretch it, or take a photo of a larger piece"
        _refuse(photo, "width", f"{width_mm:g} mm", f"shows {shows}, smaller than the face ({face})", remedy)
    left_mm = (face_width_mm - pitch_mm * picture.width_px) / 2
    top_mm = (face_height_mm - pitch_mm * picture.height_px) / 2

    def taps(n_in: int, size_px: int, n_out: int, offset_mm: float) -> Taps:
        return mm_taps(
            n_in,
            n_out,
            in_pitch_mm=pitch_mm * size_px / n_in,
            out_pitch_mm=grid.pixel_mm,
            offset_mm=offset_mm,
            mirror=tile,
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


def _refuse(photo: Photo, field: str, value: str, rule: str, remedy: str) -> NoReturn:
    raise PictureError(Problem(file=photo.picture.file, field=field, value=value, rule=rule, remedy=remedy))
