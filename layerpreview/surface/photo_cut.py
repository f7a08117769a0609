"""The part of a photo that is used as a base: cropped, or four corners made square."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from layerpreview.surface.photo import Photo, refuse

Corners = tuple[tuple[float, float], ...]

_FOCAL_OF_DIAGONAL = 0.6  # 26 mm on a frame whose diagonal is 43.3 mm, as most phones have: assumed
_LEAST_AREA_PX = 16.0


def cropped(photo: Photo, crop_px: tuple[int, int, int, int]) -> Photo:
    """Return the part (x, y, width, height) [px of the upright picture]. Raises PictureError where it is not inside."""
    x, y, wide, high = crop_px
    picture = photo.picture
    if wide < 1 or high < 1 or x < 0 or y < 0 or x + wide > picture.width_px or y + high > picture.height_px:
        rule = f"not inside the picture ({picture.width_px} x {picture.height_px} px)"
        refuse(photo, "crop", f"[{x}, {y}, {wide}, {high}]", rule, "give x, y, width, height in pixels")
    box = slice(y, y + high), slice(x, x + wide)
    holes = None if photo.holes is None else photo.holes[box]
    return replace(photo, picture=replace(picture, pixels=picture.pixels[box], alpha=None), holes=holes)


def squared(photo: Photo, corners_px: Corners) -> Photo:
    """Return what lies between four corners [px], from the top left clockwise, as a rectangle seen straight on.

    The proportions follow from the corners and the camera's focal length, 0.6 of the picture's diagonal (assumed: most
    phones), with its axis through the picture's middle (Z. Zhang and L.-W. He, Digital Signal Processing 17 (2007) 482,
    eq. 20). The longer side keeps its number of pixels. Raises PictureError for corners outside the picture or that
    make no convex quadrilateral that way round.
    """
    picture = photo.picture
    corners = np.array(corners_px, np.float64)
    value = str([[float(f"{v:g}") for v in point] for point in corners])
    if (corners < 0).any() or (corners > (picture.width_px, picture.height_px)).any():
        size = f"{picture.width_px} x {picture.height_px} px"
        refuse(photo, "corners", value, f"not inside the picture ({size})", "give [x, y] of each corner in pixels")
    sides = np.roll(corners, -1, axis=0) - corners
    turns = sides[:, 0] * np.roll(sides[:, 1], -1) - sides[:, 1] * np.roll(sides[:, 0], -1)
    if turns.min() < _LEAST_AREA_PX:
        remedy = "give them clockwise from the top left, for example [[10, 12], [400, 20], [390, 300], [14, 310]]"
        refuse(photo, "corners", value, "these do not go round a piece of the picture", remedy)
    wide_px, high_px = _size_px(corners, picture.width_px, picture.height_px)
    square = np.array([(0, 0), (wide_px, 0), (wide_px, high_px), (0, high_px)], np.float64)
    way_back = tuple(_homography(square, corners).ravel()[:8])

    def laid(plane: NDArray[Any], kind: Image.Resampling) -> NDArray[np.float32]:
        image = Image.fromarray(np.ascontiguousarray(plane, np.float32))
        return np.asarray(image.transform((wide_px, high_px), Image.Transform.PERSPECTIVE, way_back, kind))

    pixels = picture.pixels.reshape(picture.height_px, picture.width_px, -1)
    out = np.empty((high_px, wide_px, pixels.shape[2]), pixels.dtype)
    for channel in range(out.shape[2]):
        plane = laid(pixels[:, :, channel], Image.Resampling.BICUBIC)
        out[:, :, channel] = np.rint(plane).clip(0, np.iinfo(out.dtype).max)
    holes = None if photo.holes is None else laid(photo.holes, Image.Resampling.BILINEAR) > 0.01
    shown = out if picture.pixels.ndim == 3 else out[:, :, 0]
    return replace(photo, picture=replace(picture, pixels=shown, alpha=None), holes=holes)


def mirrored(photo: Photo) -> Photo:
    """Return `photo` with left and right changed over."""
    holes = None if photo.holes is None else photo.holes[:, ::-1]
    even = None if photo.even is None else photo.even[:, ::-1]
    picture = replace(photo.picture, pixels=np.ascontiguousarray(photo.picture.pixels[:, ::-1]), alpha=None)
    return replace(photo, picture=picture, holes=holes, even=even)


def _size_px(corners: NDArray[np.float64], width_px: int, height_px: int) -> tuple[int, int]:
    middle = np.array([width_px, height_px]) / 2
    camera = (corners - middle) / (_FOCAL_OF_DIAGONAL * float(np.hypot(width_px, height_px)))
    unit = np.array([(0, 0), (1, 0), (1, 1), (0, 1)], np.float64)
    across, down = np.linalg.norm(_homography(unit, camera), axis=0)[:2]
    lengths = np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1)
    longer = max(1, round(float(max(lengths))))
    if across >= down:
        return longer, max(1, round(longer * float(down / across)))
    return max(1, round(longer * float(across / down))), longer


def _homography(source: NDArray[np.float64], target: NDArray[np.float64]) -> NDArray[np.float64]:
    """The matrix (3, 3), its last number 1, that takes four points to four others."""
    rows, wanted = [], []
    for (x, y), (u, v) in zip(source, target, strict=True):
        rows += [(x, y, 1, 0, 0, 0, -u * x, -u * y), (0, 0, 0, x, y, 1, -v * x, -v * y)]
        wanted += [u, v]
    return np.append(np.linalg.solve(np.array(rows), np.array(wanted)), 1.0).reshape(3, 3)
