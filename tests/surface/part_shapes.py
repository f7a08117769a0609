"""Six outlines of parts in mm, and how much of each pixel a ring covers: the truth of the photos of parts."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

F64 = NDArray[np.float64]
F32 = NDArray[np.float32]

SHAPES = ("mandolin", "waisted", "horned", "disc", "plate", "headstock")
_ROWS_A_PIXEL = 8

# Corners and points on the curve between them, (x, y, 1 for a sharp corner) [mm], drawn by hand.
_DRAWN = {
    "cutaway": [
        *[(-150, -92, 0), (-60, -84, 0), (10, -74, 0), (95, -96, 0), (158, -62, 1), (96, -42, 0), (78, 0, 0)],
        *[(84, 38, 0), (132, 58, 1), (70, 92, 0), (-20, 82, 0), (-120, 112, 0), (-176, 30, 0)],
    ],
    "horned": [
        *[(-170, -70, 0), (-120, -105, 0), (-30, -100, 0), (60, -80, 0), (150, -120, 1), (130, -60, 0), (90, -28, 0)],
        *[(92, 25, 0), (125, 50, 0), (160, 112, 1), (60, 85, 0), (-30, 102, 0), (-120, 108, 0), (-172, 70, 0)],
        (-182, 0, 0),
    ],
    "headstock": [
        *[(-170, -32, 1), (-40, -40, 0), (20, -62, 0), (120, -70, 0), (168, -40, 1), (150, 5, 0), (170, 48, 1)],
        *[(110, 66, 0), (10, 58, 0), (-40, 38, 0), (-170, 32, 1)],
    ],
}
_PLATE = [(-150, -60), (150, -60), (150, 60), (60, 60), (60, 100), (-60, 100), (-60, 60), (-150, 60)]


def shape_mm(name: str) -> F64:
    """Return the ring (n, 2) [mm] of one of SHAPES, "cutaway" or "lobed N", about its own middle, x to the right and y
    down."""
    angle = np.linspace(0, 2 * np.pi, 720, endpoint=False)
    if name == "mandolin":
        radius = 1 + 0.16 * np.cos(2 * angle) - 0.10 * np.cos(3 * angle) + 0.05 * np.sin(4 * angle)
        return np.stack([140 * radius * np.cos(angle), 118 * radius * np.sin(angle)], axis=1)
    if name == "waisted":
        radius = 120 * (1 + 0.28 * np.cos(2 * angle)) * (1 - 0.14 * np.sin(angle) ** 8)
        return np.stack([1.15 * radius * np.cos(angle), 1.1 * radius * np.sin(angle)], axis=1)
    if name == "disc":
        return circle_mm(0.0, 0.0, 130.0)
    if name.startswith("lobed"):
        return _lobed(int(name.removeprefix("lobed")))
    if name == "plate":
        return np.array(_PLATE, dtype=np.float64)
    return _through(np.array(_DRAWN[name], dtype=np.float64))


def _lobed(seed: int) -> F64:
    """A smooth ring of random lobes within 185 x 140 mm of its middle: "lobed 7" is that of seed 7."""
    rng = np.random.default_rng([seed, 9])
    angle = np.linspace(0, 2 * np.pi, 720, endpoint=False)
    radius = np.ones_like(angle)
    for lobes in range(2, 6):
        radius += rng.uniform(0, 0.45 / lobes**1.2) * np.cos(lobes * angle + rng.uniform(0, 2 * np.pi))
    ring = radius[:, None] * np.stack([np.cos(angle), rng.uniform(0.6, 0.8) * np.sin(angle)], axis=1)
    return np.asarray(ring * (np.array([185, 140]) / np.abs(ring).max(axis=0)).min())


def circle_mm(x_mm: float, y_mm: float, radius_mm: float) -> F64:
    angle = np.linspace(0, 2 * np.pi, 720, endpoint=False)
    return np.stack([x_mm + radius_mm * np.cos(angle), y_mm + radius_mm * np.sin(angle)], axis=1)


def box_mm(left_mm: float, top_mm: float, width_mm: float, height_mm: float, *, turn_deg: float = 0.0) -> F64:
    """A rectangle (4, 2) from its top left corner on, turned about its middle."""
    half = np.array([width_mm, height_mm]) / 2
    corners = np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)]) * half
    return corners @ turned(turn_deg).T + np.array([left_mm, top_mm]) + half


def turned(turn_deg: float) -> F64:
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    return np.array([[c, -s], [s, c]])


def _through(drawn: F64, each: int = 40) -> F64:
    """A closed curve through points by Hermite cubics with Catmull and Rom's slopes, straight out of sharp corners."""
    points, sharp = drawn[:, :2], drawn[:, 2] > 0
    before, after, beyond = (np.roll(points, -k, axis=0) for k in (-1, 1, 2))
    start = np.where(sharp[:, None], after - points, (after - before) / 2)[:, None]
    end = np.where(np.roll(sharp, -1)[:, None], after - points, (beyond - points) / 2)[:, None]
    t = np.linspace(0, 1, each, endpoint=False)[None, :, None]
    ring = (2 * t**3 - 3 * t**2 + 1) * points[:, None] + (t**3 - 2 * t**2 + t) * start
    ring = ring + (3 * t**2 - 2 * t**3) * after[:, None] + (t**3 - t**2) * end
    return np.asarray(ring.reshape(-1, 2))


def covered(rings_px: Iterable[F64], rows: int, cols: int) -> F32:
    """Return how much of each pixel (rows, cols) the rings [px from the picture's corner] cover, 0..1.

    Exact along a row and on eight lines a pixel down it: each crossing of a line adds the area to its right, which a
    running sum carries on. The rings must not cross themselves or each other.
    """
    steps = np.zeros((rows, cols + 2))
    for ring in rings_px:
        following = np.roll(ring, -1, axis=0)
        clockwise = np.sign(np.sum(ring[:, 0] * following[:, 1] - ring[:, 1] * following[:, 0]))
        line, x, down = _crossings(ring, following, rows)
        x = np.minimum(x, float(cols))
        col = np.floor(x).astype(int)
        weight = -down * clockwise / _ROWS_A_PIXEL
        np.add.at(steps, (line // _ROWS_A_PIXEL, col), weight * (1 - (x - col)))
        np.add.at(steps, (line // _ROWS_A_PIXEL, col + 1), weight * (x - col))
        steps[:, cols:] = 0
    return np.clip(np.cumsum(steps[:, :cols], axis=1), 0, 1).astype(np.float32)


def _crossings(ring: F64, following: F64, rows: int) -> tuple[NDArray[np.intp], F64, F64]:
    """Where the edges cross the lines at the middles of the eighth rows: line, x held to the left border, 1 if down."""
    first = np.ceil(ring[:, 1] * _ROWS_A_PIXEL - 0.5).astype(int)
    last = np.ceil(following[:, 1] * _ROWS_A_PIXEL - 0.5).astype(int)
    count = np.abs(last - first)
    edge = np.repeat(np.arange(len(ring)), count)
    within = np.arange(len(edge)) - np.repeat(np.cumsum(count) - count, count)
    line = np.minimum(first, last)[edge] + within
    share = ((line + 0.5) / _ROWS_A_PIXEL - ring[edge, 1]) / (following[edge, 1] - ring[edge, 1])
    x = ring[edge, 0] + share * (following[edge, 0] - ring[edge, 0])
    down = np.sign(last - first)[edge].astype(np.float64)
    seen = (line >= 0) & (line < rows * _ROWS_A_PIXEL)
    return line[seen], np.maximum(x[seen], 0.0), down[seen]
