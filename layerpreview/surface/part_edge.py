"""The edge of a part to a fraction of a pixel: where light changes most along the normals of a rough outline."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from layerpreview.surface.ground import SHADOW_LN, Grid, ln_light
from layerpreview.surface.outline import Points

Row = NDArray[np.float64]

_STEPS = 20  # along a normal, on either side of the rough outline
_NEAR = 3  # steps from the path within which light itself changes most
_WIDE = 10  # steps on either side of the path over which an edge may be soft
_SETTLE = 4  # steps from the path within which the steepest place in light is the same edge
_STIFF = 0.35  # what one step aside from point to point costs, in steepest edges
_UNEVEN = 0.9  # what a change outside the edge costs, in steepest edges a step: ground and shadows are soft, a
_SOFT = 0.14  # part's own rounded rim is not; changes below this share count as soft
_SIDES = 0.1  # what a step of the wrong side costs where the sides are told apart, in steepest edges
_END_SHARE = 0.25  # of a normal, at either end
_STRETCH = 0.03  # of the ring: within it part and ground look as they do
_LEAST_SPREAD = 0.05  # natural log of light
_FROM_GROUND = 3.5  # standard deviations of the ground: more is no ground
_DARKER = 0.1  # natural log of light: over which what is darker than a shadow leaves off being ground
_STRAY = 0.3  # what the far end of a normal costs against its middle, in steepest edges
_CORNER_SHARE = 0.5  # of the smoothing length: an edge that smoothing would move further is a corner, and kept
_LEAST_TRUST = 1e-3  # where nothing changes the edge follows its neighbours
_FINE = 0.35  # of the smoothing length: what still smooths a corner


@dataclass(frozen=True, eq=False)
class Edge:
    """A closed edge found: `ring` (n, 2) [px], smoothed; at each of its points `stray_px`, how far the unsmoothed edge
    lies off it [px], `step`, how much light changes across it [natural log, root sum over channels], and `soft_px`,
    over how many pixels it does."""

    ring: Points
    stray_px: Row
    step: Row
    soft_px: Row


def find_edge(rgb_lin: Grid, rough: Points, *, reach_px: float, smooth_px: float) -> Edge:
    """Return the edge near a rough ring, found between the pixels and smoothed with its corners kept.

    rgb_lin : (h, w, 3) linear light; rough : (n, 2), x and y [px] from the picture's corner, with the ground left
        of its course as seen (an outer ring runs clockwise, an opening the other way); reach_px : how far the edge may
        lie off it [px]; smooth_px : the standard deviation of the smoothing along the edge [px].
    Along each normal the change of log light is a candidate; the closed path of least cost through all normals is
    found by dynamic programming (Amini, Weymouth and Jain 1990, doi:10.1109/34.57681), then settled by a parabola.
    """
    spacing = reach_px / _STEPS
    ring, normal = _with_normals(rough, 2 * spacing, reach_px)
    offsets = np.arange(-_STEPS - 2, _STEPS + 3) * spacing
    places = ring[:, None, :] + offsets[None, :, None] * normal[:, None, :] - 0.5
    lin = _sampled(rgb_lin, places)
    across = ln_light(lin)
    across = ndimage.gaussian_filter1d(across, 1.0, axis=0, mode="wrap")
    change = np.linalg.norm(across[:, 2:] - across[:, :-2], axis=2) / 2  # at offsets[1:-1]
    weight = change / (change + np.median(change.max(axis=1)))
    far = (np.abs(offsets[1:-1]) / reach_px) ** 2
    sides = _SIDES * _sides_told(across[:, 1:-1])
    best = _path(weight + sides - _STRAY * far - _UNEVEN * _outside(np.maximum(weight - _SOFT, 0)))
    light = np.linalg.norm(lin[:, 2:] - lin[:, :-2], axis=2)
    moved, step = _settled(light, best), np.linalg.norm(_ends(across, best), axis=1)
    off = (moved - (len(offsets) - 3) / 2) * spacing
    raw = ring + off[:, None] * normal
    trust = (step / (step + np.median(step) + 1e-6)) ** 2 + _LEAST_TRUST
    smooth = smoothed(raw, trust, smooth_px / (2 * spacing))
    stray = np.abs(np.einsum("nk,nk->n", raw - smooth, normal))
    return Edge(smooth, stray, step, _softness(across, best) * spacing)


def smoothed(ring: Points, trust: Row, sd_points: float) -> Points:
    """Return a closed ring (n, 2) smoothed along itself by a Gaussian of `sd_points` [points], weighted by `trust`;
    where that would move it far (a corner) it is smoothed much less."""
    wide = _blurred(ring, trust, sd_points)
    fine = _blurred(ring, trust, _FINE * sd_points)
    pitch = float(np.median(np.linalg.norm(np.diff(ring, axis=0), axis=1)))
    apart = np.linalg.norm(wide - fine, axis=1)
    corner = ndimage.maximum_filter1d(apart, round(4 * sd_points) | 1, mode="wrap") / (sd_points * pitch)
    keep = np.clip((corner - _CORNER_SHARE / 2) / (_CORNER_SHARE / 2), 0, 1)
    keep = ndimage.gaussian_filter1d(keep, sd_points, mode="wrap")[:, None]
    mixed: Points = wide + keep * (fine - wide)
    return mixed


def _blurred(ring: Points, trust: Row, sd: float) -> Points:
    above = ndimage.gaussian_filter1d(ring * trust[:, None], sd, axis=0, mode="wrap")
    return np.asarray(above / ndimage.gaussian_filter1d(trust, sd, mode="wrap")[:, None])


def _with_normals(rough: Points, pitch: float, smooth_px: float) -> tuple[Points, Points]:
    """The rough ring in even steps of about `pitch`, and its unit normals."""
    closed = np.concatenate((rough, rough[:1]))
    length = np.concatenate(([0.0], np.cumsum(np.linalg.norm(np.diff(closed, axis=0), axis=1))))
    count = max(24, round(length[-1] / pitch))
    along = np.linspace(0, length[-1], count, endpoint=False)
    ring = np.stack([np.interp(along, length, closed[:, k]) for k in range(2)], axis=1)
    ring = ndimage.gaussian_filter1d(ring, min(2.0, count / 24), axis=0, mode="wrap")
    course = ndimage.gaussian_filter1d(ring, min(smooth_px / pitch / 2, count / 24), axis=0, mode="wrap")
    tangent = np.roll(course, -1, axis=0) - np.roll(course, 1, axis=0)
    tangent /= np.maximum(np.linalg.norm(tangent, axis=1, keepdims=True), 1e-9)
    return ring, np.stack([tangent[:, 1], -tangent[:, 0]], axis=1)


def _sampled(rgb_lin: Grid, places: NDArray[np.float64]) -> Grid:
    """The picture at places (..., 2), x and y from the first pixel's centre, between pixels by straight lines."""
    at = (places[..., 1], places[..., 0])
    found = [ndimage.map_coordinates(rgb_lin[:, :, k], at, order=1, mode="nearest") for k in range(3)]
    return np.stack(found, axis=-1)


def _path(worth: NDArray[np.float64]) -> NDArray[np.intp]:
    """The closed path of most worth through the columns of (n, m), one step aside at most from row to row.

    Run from a quarter before the ring's start to a quarter past its end, and read between, so that it closes.
    """
    count, wide = worth.shape
    order = np.arange(-(count // 4), count + count // 4) % count
    back = np.zeros((len(order), wide), dtype=np.int8)
    total = np.zeros(wide)
    for row, source in enumerate(order):
        beside = np.full((3, wide), -np.inf)
        beside[0, 1:] = total[:-1] - _STIFF
        beside[1] = total
        beside[2, :-1] = total[1:] - _STIFF
        choice = beside.argmax(axis=0)
        back[row] = choice - 1
        total = beside[choice, np.arange(wide)] + worth[source]
    path = np.empty(len(order), dtype=np.intp)
    place = int(total.argmax())
    for row in range(len(order) - 1, -1, -1):
        path[row] = place
        place += int(back[row, place])
    return path[count // 4 : count // 4 + count]


def _sides_told(across: Grid) -> NDArray[np.float64]:
    """How well each place (n, m) parts colours of the outer end of its normal from others, in steps; less where the
    inner end has the outer one's colour too.

    Colour, which a shadow keeps and a part's dark rim has not got, or less light than a shadow leaves. What the inner
    end looks like is not asked, since a rim is often another tone than the face.
    """
    count, wide = across.shape[:2]
    ends = max(2, round(_END_SHARE * wide))
    along = max(2.0, _STRETCH * count)
    off = across - _stretched(across[:, -ends:].mean(axis=1), along)[:, None, :]
    light = off.mean(axis=2)
    away = np.linalg.norm(off - light[:, :, None], axis=2)
    spread = np.sqrt(_stretched((away[:, -ends:] ** 2).mean(axis=1), along) / 2 + _LEAST_SPREAD**2)[:, None]
    told = np.clip((_FROM_GROUND - away / spread) / 1.5, -1, 1)
    dark = np.clip((light + SHADOW_LN) / _DARKER, -1, 1)
    told = np.minimum(told, ndimage.minimum_filter1d(dark, 3, axis=1))  # half of a blurred edge is not yet so dark
    other = _stretched((told[:, :ends] < 0).mean(axis=1), along / 2)
    told *= np.clip(2 * other - 1, 0, 1)[:, None]
    total = np.cumsum(told, axis=1)
    return np.asarray(total[:, -1:] - 2 * total + told)


def _stretched(numbers: NDArray[Any], along: float) -> NDArray[Any]:
    """Means over a stretch of the ring, (n, ...)."""
    return np.asarray(ndimage.gaussian_filter1d(numbers, along, axis=0, mode="wrap"))


def _outside(uneven: NDArray[np.float64]) -> NDArray[np.float64]:
    """The sum of what lies further out than the steps near each place, (n, m)."""
    total = np.cumsum(uneven[:, ::-1], axis=1)[:, ::-1]
    beyond = np.zeros_like(total)
    beyond[:, : -_NEAR - 1] = total[:, _NEAR + 1 :]
    return beyond


def _settled(change: NDArray[np.float64], best: NDArray[np.intp]) -> Row:
    """The top of a parabola through the change of light nearest the path, in columns: in light, not in its logarithm,
    whose steepest place lies towards the darker side of a blurred edge."""
    rows = np.arange(len(best))
    near = np.clip(best[:, None] + np.arange(-_SETTLE, _SETTLE + 1), 1, change.shape[1] - 2)
    most = change[rows[:, None], near].argmax(axis=1)
    flank = (most == 0) | (most == 2 * _SETTLE)  # of another edge beside it
    inner = np.where(flank, near[:, _SETTLE], near[rows, most])
    left, middle, right = (change[rows, inner + k] for k in (-1, 0, 1))
    bend = left - 2 * middle + right
    aside = np.where(bend < -1e-12, 0.5 * (left - right) / np.where(bend < -1e-12, bend, 1.0), 0.0)
    return np.asarray(inner + np.clip(aside, -1, 1))


def _softness(across: Grid, best: NDArray[np.intp]) -> Row:
    """Over how many columns light changes by the path: the whole change within reach by the steepest, (n,)."""
    near = np.clip(best[:, None] + np.arange(1 - _WIDE, _WIDE + 2), 0, across.shape[1] - 1)
    there = across[np.arange(len(best))[:, None], near]
    steepest = np.linalg.norm(np.diff(there, axis=1), axis=2).max(axis=1)
    return np.asarray(np.linalg.norm(there[:, -1] - there[:, 0], axis=1) / np.maximum(steepest, 1e-6))


def _ends(across: Grid, best: NDArray[np.intp]) -> Grid:
    """The change of log light from four steps before the path to four after it, (n, 3)."""
    rows = np.arange(len(best))
    last = across.shape[1] - 1
    after = across[rows, np.minimum(best + 5, last)]
    return np.asarray(after - across[rows, np.maximum(best - 3, 0)])
