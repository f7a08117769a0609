"""A user's own relief: a picture of heights or of surface directions becomes slopes and flakes of a metallic base."""

from __future__ import annotations

import math
from typing import Literal, NoReturn

import numpy as np
from numpy.typing import NDArray

from layerpreview.errors import PictureError, Problem
from layerpreview.surface.hashed_fields import BLOCK_ROWS, F32, Lattice, Mosaic
from layerpreview.surface.picture_file import PictureData
from layerpreview.surface.relief import Relief
from layerpreview.surface.sample import Sampler, Taps, mm_taps

PictureKind = Literal["heights", "directions"]

FLAKE_MM = 0.3
PICTURE_SEED = 1
"""Of the flakes on a user's own relief."""
SPARKLE = 0.2

_STEEPEST = 3.0
_DIRECTIONS_SHARE = 0.9


def picture_kind(picture: PictureData) -> PictureKind:
    """Tell a picture of heights (grey) from one of directions (RGB = x, y, z of the normal, mostly bluish).

    Raises PictureError for a colour picture that is neither.
    """
    if picture.pixels.ndim == 2:
        return "heights"
    red, green, blue = (picture.pixels[::7, ::7, k].astype(np.float64).ravel() for k in range(3))
    if np.array_equal(red, green) and np.array_equal(green, blue):
        return "heights"
    half = float(np.iinfo(picture.pixels.dtype).max) / 2
    x, y, z = (v / half - 1 for v in (red, green, blue))
    length = np.sqrt(x * x + y * y + z * z)
    if float(((z > 0) & (np.abs(length - 1) < 0.25)).mean()) < _DIRECTIONS_SHARE:
        _refuse(
            picture,
            "neither a height map (grey) nor a normal map (bluish, with directions as colours)",
            "save the heights in grey: light is high, dark is low",
        )
    return "directions"


def relief_from_picture(
    picture: PictureData,
    *,
    face_width_mm: float,
    face_height_mm: float,
    width_mm: float | None = None,
    depth_mm: float | None = None,
    tile: bool = False,
    strength: float = 1.0,
    green_down: bool = False,
    seed: int = PICTURE_SEED,
    step_mm: float = 0.25,
    brightness: PictureData | None = None,
) -> Relief:
    """Lay a picture of a relief on a face and return its slopes.

    picture: grey, 8 or 16 bits (light is high), or RGB directions. width_mm: true width of what it shows [mm];
    without it the picture is stretched, keeping its proportions, until it covers the face. Its middle lies on the
    middle of the face, and `tile` repeats it: mirrored, unless it runs on across its edges by itself. depth_mm: from
    black to white [mm], of heights only, which need it. strength: multiplies the slopes, >= 0. green_down: whether
    green grows downwards in directions (usual: upwards). seed: of the flakes. step_mm: of the
    lattice [mm]. brightness: grey, as large as the picture: its numbers over their mean are how bright the flakes are,
    which then have no sparkle made up.

    slopes: heights by central differences on the lattice; directions n as -n_x / n_z and +-n_y / n_z, up to 3.
    height: those of the picture, from directions those that come nearest to them.
    Raises PictureError naming all that is wrong.
    """
    kind = picture_kind(picture)
    pitch_mm = _pitch_mm(picture, kind, face_width_mm, face_height_mm, width_mm, depth_mm, tile, strength)
    lattice = Lattice.covering(face_width_mm, face_height_mm, step_mm)
    rows = _axis(picture, 0, lattice.rows, pitch_mm=pitch_mm, step_mm=step_mm, size_mm=face_height_mm)
    cols = _axis(picture, 1, lattice.cols, pitch_mm=pitch_mm, step_mm=step_mm, size_mm=face_width_mm)
    if kind == "heights":
        assert depth_mm is not None
        slope_x, slope_y, height = _from_heights(picture, rows, cols, lattice, depth_mm * strength)
    else:
        height = None
        slope_x, slope_y = _from_directions(picture, rows, cols, lattice, strength, -1.0 if green_down else 1.0)
    flake = np.empty_like(slope_x)
    flakes = Mosaic(lattice, cell_mm=FLAKE_MM, seed=seed, salt=99)

    def block(at: slice) -> None:
        flake[at] = flakes(at)

    lattice.each_block(block)
    if brightness is None:
        return Relief(slope_x, slope_y, flake, step_mm, sparkle=SPARKLE, known_height=height)
    gain = _gain(picture, brightness, rows, cols)
    return Relief(slope_x, slope_y, flake, step_mm, sparkle=0.0, known_height=height, gain=gain)


def _gain(picture: PictureData, brightness: PictureData, rows: _Axis, cols: _Axis) -> F32:
    if brightness.pixels.shape != picture.pixels.shape[:2]:
        there, own = (f"{p.width_px} x {p.height_px}" for p in (picture, brightness))
        _refuse(brightness, f"{own} pixels: not grey, or not the relief's {there}", "save it in grey, as large")
    numbers = brightness.pixels.astype(np.float32)
    if not numbers.any():
        _refuse(brightness, "black all over: it tells no brightness", "light is bright")
    gain = Sampler(numbers, rows.inner(), cols.inner()).rows(0, len(rows.turned))
    return np.asarray(gain / np.float32(gain.mean(dtype=np.float64)))


def directions_picture(slope_x: F32, slope_y: F32) -> NDArray[np.uint8]:
    """Return slopes (rows, cols), z to the right and down, as an RGB picture of directions, green upwards."""
    normal = np.stack([-slope_x, slope_y, np.ones_like(slope_x)], axis=-1)
    normal /= np.sqrt((normal * normal).sum(axis=-1, keepdims=True))
    return np.asarray(np.rint((normal + 1) * 127.5), dtype=np.uint8)


class _Axis:
    """Taps of one axis with a sample more on each side, and which way round the picture lies there."""

    def __init__(self, taps: Taps, turned: F32) -> None:
        self.taps, self.turned = taps, turned

    def inner(self) -> Taps:
        return Taps(self.taps.indices[1:-1], self.taps.weights[1:-1])


def _axis(picture: PictureData, axis: int, count: int, *, pitch_mm: float, step_mm: float, size_mm: float) -> _Axis:
    size_px = picture.pixels.shape[axis]
    picture_mm = pitch_mm * size_px
    left_mm = (picture_mm - size_mm) / 2 - step_mm
    seamless = _is_seamless(picture, axis)
    # pictures side by side from the one that holds the first sample on, so that a seamless one needs no mirror
    first = math.floor(left_mm / picture_mm) - 1 if seamless else 0
    pictures = math.ceil((left_mm + (count + 2) * step_mm) / picture_mm) + 1 - first if seamless else 1
    taps = mm_taps(
        size_px * pictures,
        count + 2,
        in_pitch_mm=pitch_mm,
        out_pitch_mm=step_mm,
        offset_mm=left_mm - first * picture_mm,
        mirror=True,
    )
    if seamless:
        return _Axis(Taps(taps.indices % size_px, taps.weights), np.ones(count, np.float32))
    centre_mm = left_mm + (np.arange(1, count + 1) + 0.5) * step_mm
    odd = np.floor(centre_mm / picture_mm).astype(np.int64) % 2 == 1
    return _Axis(taps, np.where(odd, np.float32(-1), np.float32(1)))


def _is_seamless(picture: PictureData, axis: int) -> bool:
    """Whether the last line runs on into the first about as smoothly as lines do within the picture."""
    lines = np.moveaxis(picture.pixels, axis, 0)
    if len(lines) < 8:
        return False
    across = float(np.abs(lines[0].astype(np.float32) - lines[-1]).mean())
    some = lines[:: max(1, len(lines) // 64)][:-1].astype(np.float32)
    following = lines[1 :: max(1, len(lines) // 64)][: len(some)].astype(np.float32)
    return across < 1.9 * float(np.abs(some[: len(following)] - following).mean()) + 0.5


def _from_heights(
    picture: PictureData, rows: _Axis, cols: _Axis, lattice: Lattice, depth_mm: float
) -> tuple[F32, F32, F32]:
    grey = picture.pixels if picture.pixels.ndim == 2 else picture.pixels[:, :, 0]
    heights = grey.astype(np.float32)
    if grey.dtype == np.uint8:
        # 256 steps are terraces a lamp would show: each height is known no better than its neighbours
        for axis in (0, 1):
            heights = _evened(heights, axis)
    heights *= np.float32(depth_mm / np.iinfo(grey.dtype).max)
    sampler = Sampler(heights, rows.taps, cols.taps)
    slope_x, slope_y, inner = np.empty((3, lattice.rows, lattice.cols), dtype=np.float32)
    per_two = np.float32(0.5 / lattice.step_mm)

    def block(at: slice) -> None:
        height = sampler.rows(at.start, at.stop + 2)
        slope_x[at] = (height[1:-1, 2:] - height[1:-1, :-2]) * per_two
        slope_y[at] = (height[2:, 1:-1] - height[:-2, 1:-1]) * per_two
        inner[at] = height[1:-1, 1:-1]

    lattice.each_block(block)
    return slope_x, slope_y, inner


def _evened(heights: F32, axis: int) -> F32:
    line = np.pad(heights, [(1, 1) if k == axis else (0, 0) for k in (0, 1)], mode="reflect", reflect_type="odd")
    before, here, after = (np.take(line, range(k, k + heights.shape[axis]), axis=axis) for k in (0, 1, 2))
    return np.asarray(here * 0.5 + (before + after) * 0.25, dtype=np.float32)


def _from_directions(
    picture: PictureData, rows: _Axis, cols: _Axis, lattice: Lattice, strength: float, green: float
) -> tuple[F32, F32]:
    half = np.float32(np.iinfo(picture.pixels.dtype).max / 2)
    slopes = np.empty((picture.height_px, picture.width_px, 2), dtype=np.float32)
    for top in range(0, picture.height_px, BLOCK_ROWS):
        normal = picture.pixels[top : top + BLOCK_ROWS].astype(np.float32) / half - 1
        up = np.maximum(normal[:, :, 2], np.float32(0.05))
        slopes[top : top + BLOCK_ROWS, :, 0] = -normal[:, :, 0] / up
        slopes[top : top + BLOCK_ROWS, :, 1] = normal[:, :, 1] / up * np.float32(green)
    np.clip(slopes, -_STEEPEST, _STEEPEST, out=slopes)
    slopes *= np.float32(strength)
    sampler = Sampler(slopes, rows.inner(), cols.inner())
    slope_x, slope_y = np.empty((2, lattice.rows, lattice.cols), dtype=np.float32)

    def block(at: slice) -> None:
        part = sampler.rows(at.start, at.stop)
        # a mirrored picture slopes the other way
        np.multiply(part[:, :, 0], cols.turned, out=slope_x[at])
        np.multiply(part[:, :, 1], rows.turned[at, None], out=slope_y[at])

    lattice.each_block(block)
    return slope_x, slope_y


def _pitch_mm(
    picture: PictureData,
    kind: PictureKind,
    face_width_mm: float,
    face_height_mm: float,
    width_mm: float | None,
    depth_mm: float | None,
    tile: bool,
    strength: float,
) -> float:
    """Size of a pixel of the picture on the face [mm]."""
    problems = []

    def refuse(field: str, value: str, rule: str, remedy: str) -> None:
        problems.append(Problem(file=picture.file, field=field, value=value, rule=rule, remedy=remedy))

    for field, size in (("width", width_mm), ("depth", depth_mm)):
        if size is not None and not (math.isfinite(size) and size > 0):
            refuse(field, f"{size:g} mm", "must be above zero", "give the true size of what the picture shows")
    if kind == "heights" and depth_mm is None:
        refuse("depth", "", "a height map needs its true depth", 'say how deep it is from black to white: "0.6 mm"')
    if not (math.isfinite(strength) and strength >= 0):
        refuse("height", f"{strength:g}", "must be 0 or more", "1 shows the relief as it is")
    cover_mm = max(face_width_mm / picture.width_px, face_height_mm / picture.height_px)
    pitch_mm = cover_mm if width_mm is None else width_mm / picture.width_px
    if width_mm is not None and not problems and not tile and pitch_mm < cover_mm * (1 - 1e-9):
        shows = f"shows {width_mm:g} x {pitch_mm * picture.height_px:.4g} mm"
        face = f"{face_width_mm:.4g} x {face_height_mm:.4g} mm"
        remedy = "set tile = true, or give no width to stretch it"
        refuse("width", f"{width_mm:g} mm", f"{shows}, smaller than the face ({face})", remedy)
    if problems:
        raise PictureError(problems)
    return pitch_mm


def _refuse(picture: PictureData, rule: str, remedy: str) -> NoReturn:
    raise PictureError(Problem(file=picture.file, rule=rule, remedy=remedy))
