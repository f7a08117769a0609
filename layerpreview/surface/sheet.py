"""A white sheet of paper in a photo: four straight edges, brighter inside, of a known rectangle's proportions."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from layerpreview.colour import decode_srgb, encode_srgb
from layerpreview.surface.camera_pose import CameraPose, camera_pose
from layerpreview.surface.photo import srgb_table
from layerpreview.surface.picture_file import PictureData
from layerpreview.surface.straight_lines import Lines, straight_lines

F64 = NDArray[np.float64]

PAPERS_MM = {"A4": (297.0, 210.0), "Letter": (279.4, 215.9)}
"""Long and short side [mm]: ISO 216, ANSI/ASME Y14.1."""

_LOOK_PX = 800
_DARKEST = 0.004  # linear light added before the logarithm, so that noise in the dark is no edge
_APART_DEG = 35.0  # perspective of a sheet seen at 25 deg turns its sides less than that
_LEAST_SIDE, _LEAST_MEAN = 0.45, 0.7  # share of a side, and of all four, along which an edge is seen
_LEAST_AREA, _MOST_AREA = 0.012, 0.9  # of the picture
_MOST_CHROMA = 0.35  # of the lightest channel's code: wood is more, paper under a warm bulb less
_MOST_OFF = 0.06  # of the long side: that far off, four lines are no sheet
_MOST_INSIDE = 0.06  # share of edge pixels inside: print and texture have more
_INK, _MOST_PRINTED = 0.5, 0.01  # of the paper's code, dark in all channels; of its area, in spots within it
_LOOKED_AT = 24
_INNER, _BURNT_SHARE = 0.7, 0.01


@dataclass(frozen=True, eq=False)
class FoundSheet:
    """Corners (4, 2) [px] clockwise, the first side one of the long ones; which paper fits them best."""

    corners_px: F64
    paper: str
    score: float


def look_for_sheet(picture: PictureData, *, focal35_mm: float | None = None) -> FoundSheet | None:
    """The sheet in a photo, roughly (a pixel of the reduced photo), or None when nothing looks like one."""
    step = max(1, max(picture.height_px, picture.width_px) // _LOOK_PX)
    small = reduced(picture, step)
    light = srgb_table(256)[np.rint(small).astype(np.uint8)].mean(axis=2, dtype=np.float64)
    lines, is_edge = straight_lines(np.log(light + _DARKEST))
    size = (small.shape[1], small.shape[0])
    corners, seen = _four_sided(lines, size)
    best: FoundSheet | None = None
    for four, most in zip(corners, _most(corners, seen), strict=True):
        if best and most <= best.score:
            break  # the rest, in falling order, cannot be better
        found = _judged(four, float(most), small, is_edge, focal35_mm)
        if found and (best is None or found.score > best.score):
            best = found
    return best and FoundSheet(best.corners_px * step, best.paper, best.score)


def _most(corners: F64, seen: F64) -> F64:
    """The score (M,) of figures that are a sheet in all else: of an inner and an outer one the outer."""
    return np.asarray(seen + 0.05 * np.log(_area(corners)))


def reduced(picture: PictureData, step: int) -> NDArray[np.float32]:
    """The photo's codes 0..255 (h, w, 3), each the mean of `step` x `step` pixels."""
    pixels = picture.pixels if picture.pixels.ndim == 3 else picture.pixels[:, :, None]
    high, wide = picture.height_px // step, picture.width_px // step
    boxes = pixels[: high * step, : wide * step].reshape(high, step, wide, step, pixels.shape[2])
    codes = boxes.mean(axis=(1, 3), dtype=np.float32) * np.float32(255 / np.iinfo(pixels.dtype).max)
    return np.broadcast_to(codes, (high, wide, 3))


def _four_sided(lines: Lines, size_px: tuple[int, int]) -> tuple[F64, F64]:
    """Corners (M, 4, 2) of the likeliest figures of four lines, bright inside; the share seen of their sides."""
    first, second = _facing_pairs(lines)
    if len(first) < 2:
        return np.zeros((0, 4, 2)), np.zeros(0)
    one, other = np.triu_indices(len(first), 1)
    sides = np.stack([first[one], first[other], second[one], second[other]], axis=1)  # in turn round the figure
    across = np.abs((lines.normal[sides[:, 0]] * lines.normal[sides[:, 1]]).sum(axis=1))
    sides = sides[across < np.sin(np.radians(_APART_DEG))]
    corners = np.stack([_crossing(lines, sides[:, k], sides[:, (k + 1) % 4]) for k in range(4)], axis=1)
    good = _plausible(corners, lines, sides, size_px)
    sides, corners = sides[good], corners[good]
    share = np.stack([lines.share(sides[:, k], corners[:, k - 1], corners[:, k]) for k in range(4)], axis=1)
    good = (share.min(axis=1) > _LEAST_SIDE) & (share.mean(axis=1) > _LEAST_MEAN)
    corners, seen = corners[good], share[good].mean(axis=1)
    best = np.argsort(-_most(corners, seen), kind="stable")[:_LOOKED_AT]
    return corners[best], seen[best]


def _facing_pairs(lines: Lines) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    facing = lines.normal @ lines.normal.T < -np.cos(np.radians(_APART_DEG))
    apart = lines.reach[:, None] + lines.reach[None, :] > 0  # the bright side of each is towards the other
    one, other = np.nonzero(np.triu(facing & apart, 1))
    return one, other


def _crossing(lines: Lines, one: NDArray[np.intp], other: NDArray[np.intp]) -> F64:
    (a, b), (c, d) = lines.normal[one].T, lines.normal[other].T
    p, q = lines.reach[one], lines.reach[other]
    across = a * d - b * c
    across = np.where(np.abs(across) < 1e-9, 1e-9, across)
    return np.column_stack([(p * d - q * b) / across, (a * q - c * p) / across])


def _plausible(corners: F64, lines: Lines, sides: NDArray[np.intp], size_px: tuple[int, int]) -> NDArray[np.bool_]:
    """Inside the picture, every corner on the bright side of the two lines it does not lie on, of a sheet's size."""
    margin = 0.02 * max(size_px)
    good = ((corners > -margin) & (corners < np.array(size_px) + margin)).all(axis=(1, 2))
    for k in range(4):
        for side in (sides[:, (k + 2) % 4], sides[:, (k + 3) % 4]):
            good &= (corners[:, k] * lines.normal[side]).sum(axis=1) < lines.reach[side]
    length = np.hypot(*np.moveaxis(np.roll(corners, -1, axis=1) - corners, 2, 0))
    proportion = (length[:, 0] + length[:, 2]) / np.maximum(length[:, 1] + length[:, 3], 1e-9)
    share = _area(corners) / (size_px[0] * size_px[1])
    return np.asarray(good & (np.abs(np.log(proportion)) < np.log(2.2)) & (share > _LEAST_AREA) & (share < _MOST_AREA))


def _area(corners: F64) -> F64:
    x, y = corners[..., 0], corners[..., 1]
    return np.asarray(0.5 * np.abs((x * np.roll(y, -1, axis=-1) - y * np.roll(x, -1, axis=-1)).sum(axis=-1)))


def _judged(
    four: F64, most: float, small: NDArray[np.float32], is_edge: NDArray[np.bool_], focal35_mm: float | None
) -> FoundSheet | None:
    """The figure as a sheet with its score, or None: too coloured inside, too busy, or of other proportions."""
    size = (small.shape[1], small.shape[0])
    within, box = within_figure(four, is_edge.shape)
    small, is_edge = small[box], is_edge[box]
    colour = np.median(small[within], axis=0)
    busy = float(is_edge[within].mean())
    if busy > _MOST_INSIDE or _printed(small, within) > _MOST_PRINTED or np.ptp(colour) > _MOST_CHROMA * colour.max():
        return None
    off, paper, corners = min(
        ((pose_of(turned, paper, size_px=size, focal35_mm=focal35_mm).residual_px, paper, turned)
         for paper in PAPERS_MM for turned in (clockwise(four), np.roll(clockwise(four), -1, axis=0))),
        key=lambda fit: fit[0],
    )  # fmt: skip
    off /= max(np.hypot(*(corners[1] - corners[0])), 1.0)
    score = most - 4.0 * off - 3.0 * busy
    return FoundSheet(corners, paper, score) if off < _MOST_OFF else None


def _printed(small: NDArray[np.float32], within: NDArray[np.bool_]) -> float:
    """Share of the sheet in dark spots with paper all round: print or windows, not a part laid over its edge."""
    from scipy.ndimage import binary_dilation, label

    lightest = np.maximum(np.maximum(small[..., 0], small[..., 1]), small[..., 2])
    dark = within & (lightest < _INK * np.median(lightest[within]))
    spots, count = label(dark)
    from_outside = np.bincount(spots[dark & binary_dilation(~within)], minlength=count + 1) > 0
    return float((dark & ~from_outside[spots]).sum() / max(within.sum(), 1))


def within_figure(four: F64, shape: tuple[int, ...]) -> tuple[NDArray[np.bool_], tuple[slice, slice]]:
    """The inner nine tenths of a figure in the box of the picture that holds it and a pixel more, and that box."""
    middle = four.mean(axis=0)
    corners = clockwise(middle + 0.9 * (four - middle))
    first = np.maximum(np.floor(corners.min(axis=0)).astype(int) - 1, 0)
    last = np.minimum(np.ceil(corners.max(axis=0)).astype(int) + 2, shape[1::-1])
    x, y = np.arange(first[0], last[0]), np.arange(first[1], last[1])[:, None]
    within = np.ones((y.size, x.size), dtype=bool)
    for (x0, y0), (x1, y1) in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        within &= (x1 - x0) * (y - y0) > (y1 - y0) * (x - x0)
    return within, (slice(first[1], last[1]), slice(first[0], last[0]))


def clockwise(four: F64) -> F64:
    """Corners (4, 2) in clockwise order as seen (y down)."""
    (ax, ay), (bx, by) = four[2] - four[0], four[3] - four[1]
    return four if ax * by - ay * bx > 0 else four[::-1]


def sheet_corners_mm(paper: str) -> F64:
    """Corners (4, 2) [mm] from the sheet's middle, clockwise (y down), the first side a long one."""
    long, short = PAPERS_MM[paper]
    return np.array([[-long, -short], [long, -short], [long, short], [-long, short]]) / 2


def pose_of(corners_px: F64, paper: str, *, size_px: tuple[int, int], focal35_mm: float | None) -> CameraPose:
    """From where a sheet of that paper was seen, its corners as in `FoundSheet`."""
    return camera_pose(sheet_corners_mm(paper), corners_px, size_px=size_px, focal35_mm=focal35_mm)


def paper_colour(picture: PictureData, corners_px: F64) -> str | None:
    """Return the mean colour "#rrggbb" of the inner part of a sheet with these corners (n, 2) [px], from the picture's
    linear light; None where more than 1 % of it is burnt out, so that its colour is lost."""
    middle = corners_px.mean(axis=0)
    inner = middle + _INNER * (corners_px - middle)
    left, top = np.maximum(np.floor(inner.min(axis=0)), 0).astype(int)
    right, bottom = np.ceil(inner.max(axis=0)).astype(int)
    mask = Image.new("1", (int(right - left), int(bottom - top)))
    ImageDraw.Draw(mask).polygon([(float(x - left), float(y - top)) for x, y in inner], fill=1)
    box = picture.pixels[top:bottom, left:right]
    numbers = box[np.asarray(mask)[: box.shape[0], : box.shape[1]]]
    numbers = numbers.reshape(len(numbers), -1)
    most = int(np.iinfo(numbers.dtype).max)
    if not len(numbers) or float((numbers == most).any(axis=1).mean()) > _BURNT_SHARE:
        return None
    mean = encode_srgb(decode_srgb(numbers / most).mean(axis=0))
    red, green, blue = np.broadcast_to(np.rint(255 * mean).astype(int), 3)
    return f"#{red:02x}{green:02x}{blue:02x}"
