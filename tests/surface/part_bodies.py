"""The parts in the photos of parts: silver relief, black lacquer, wood, white; rounded edges, glare."""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from layerpreview.surface.glints import sparkle_of
from layerpreview.surface.relief import make_relief
from layerpreview.surface.wood import make_grain

from .part_grounds import Plane
from .part_shapes import F32, F64, covered

BODIES = ("silver", "dark", "wood", "white", "burst")
SIDES = {
    "silver": (0.20, 0.20, 0.20),
    "dark": (0.02,) * 3,
    "wood": (0.36, 0.25, 0.15),
    "white": (0.6,) * 3,
    "burst": (0.05,) * 3,
}
"""What the side of a body sends back of the light below it."""
STEP_MM = 0.3
BODY = Plane.about(np.array([-200.0, -150.0]), np.array([200.0, 150.0]), STEP_MM)
"""The part's own plane, about its middle."""
_ROUND_MM = 3.5


def body(kind: str, rings_mm: list[F64], *, lamp_mm: F64, eye_mm: float, seed: int) -> F32:
    """Return what the face of a part sends back of the light that falls on it, (rows, cols, 3) over BODY.

    rings_mm : its outline and openings, in its own plane. lamp_mm : (x, y, z) of the lamp, there, for what a metal and
    a rounded edge send. eye_mm : height of the camera above the middle.
    """
    x, y, edge = _edge_slopes(rings_mm)
    if kind in ("silver", "burst"):
        face = _silver(x, y, lamp_mm=lamp_mm, eye_mm=eye_mm, seed=seed)
        return face if kind == "silver" else face * _burst(rings_mm)
    rng = np.random.default_rng([seed, 7])
    # A matt face that leans by a slope: the lamp's share goes with the cosine.
    towards = lamp_mm / np.linalg.norm(lamp_mm)
    lit = (towards[2] - towards[0] * x - towards[1] * y) / np.sqrt(1 + x * x + y * y) / towards[2]
    shade = (0.4 + 0.6 * np.clip(lit, 0, 1.6)).astype(np.float32)
    if kind == "wood":
        size = {"width_mm": BODY.rows * STEP_MM, "height_mm": BODY.cols * STEP_MM}
        face = make_grain(**size, seed=seed, step_mm=STEP_MM).albedo_rgb_lin.transpose(1, 0, 2)
        face = 0.8 * face[: BODY.rows, : BODY.cols]
    elif kind == "dark":
        face = (0.028 * (1 + 0.08 * BODY.blotches(rng, 1.5)))[:, :, None] * np.array((1.0, 0.96, 0.92), np.float32)
    else:
        face = np.broadcast_to(np.float32(0.80), (BODY.rows, BODY.cols, 1)).repeat(3, axis=2)
    gleam = _lobe(x, y, lamp_mm=lamp_mm, eye_mm=eye_mm, spread=0.12) * edge  # the lacquer on the rounding
    return np.asarray(face * shade[:, :, None] + (0.35 * gleam)[:, :, None], dtype=np.float32)


def _burst(rings_mm: list[F64]) -> F32:
    """A dark brown dye already on the rim: what it leaves of the light (rows, cols, 3), all of it 45 mm inside."""
    face = covered([BODY.to_index(rings_mm[0])], BODY.rows, BODY.cols)
    deep = ndimage.distance_transform_edt(face > 0.5).astype(np.float32) * STEP_MM
    build = np.clip(1 - deep / 45, 0, 1)[:, :, None] ** 1.5
    return np.asarray(10 ** -(build * np.array((0.8, 1.2, 1.6), np.float32)), dtype=np.float32)


def glare(rng: np.random.Generator, *, spots: float, broad: float) -> F32:
    """Mirrored light on the face (rows, cols): three spots of `spots` of 60 mm, and a window `broad` strong."""
    made = np.zeros((BODY.rows, BODY.cols), np.float32)
    for _ in range(3 if spots else 0):
        x, y, size = rng.uniform(-100, 100), rng.uniform(-70, 70), 60 * spots * rng.uniform(0.5, 1.0)
        made += 1.6 * np.exp(-np.square(np.square((BODY.x - x) / size) + np.square((BODY.y - y) / (0.6 * size))))
    if broad:
        x, y = rng.uniform(-70, 70), rng.uniform(-40, 40)
        panes = (np.abs(np.abs(BODY.x - x) - 36) < 30) & (np.abs(BODY.y - y + 0.3 * (BODY.x - x)) < 50)
        made += broad * ndimage.gaussian_filter(panes.astype(np.float32), 9 / STEP_MM)
    return made


def _edge_slopes(rings_mm: list[F64]) -> tuple[F32, F32, F32]:
    """Slopes dz/dx, dz/dy of the rounding along the edge, and 1 on it."""
    outer, *openings = (BODY.to_index(ring) for ring in rings_mm)
    face = covered([outer], BODY.rows, BODY.cols)
    if openings:
        face = face - covered(openings, BODY.rows, BODY.cols)
    away = ndimage.gaussian_filter(ndimage.distance_transform_edt(face > 0.5) * STEP_MM, 2).astype(np.float32)
    short = np.clip(1 - away / _ROUND_MM, 0, 0.9)
    steep = short / np.sqrt(1 - short * short)
    down, across = np.gradient(away, STEP_MM)
    return steep * across, steep * down, (short > 0).astype(np.float32)


def _lobe(x: F32, y: F32, *, lamp_mm: F64, eye_mm: float, spread: float) -> F32:
    """How much of a lamp facets of slope (x, y) send to the eye, 1 at most: they lie about the half-way direction."""
    towards = [lamp_mm[0] - BODY.x, lamp_mm[1] - BODY.y, np.float32(lamp_mm[2])]
    length = np.sqrt(sum(np.square(part) for part in towards))
    eye = [-BODY.x, -BODY.y, np.float32(eye_mm)]
    far = np.sqrt(sum(np.square(part) for part in eye))
    half = [a / length + b / far for a, b in zip(towards, eye, strict=True)]
    off = np.square(x + half[0] / half[2]) + np.square(y + half[1] / half[2])
    return np.asarray(np.exp(-off / (2 * spread**2)), dtype=np.float32)


def _silver(x: F32, y: F32, *, lamp_mm: F64, eye_mm: float, seed: int) -> F32:
    """A lifted relief under the lamp, a window on the other side and an even sky, with flakes that flash."""
    size = {"width_mm": BODY.cols * STEP_MM, "height_mm": BODY.rows * STEP_MM}
    relief = make_relief("lifted", **size, seed=seed, step_mm=STEP_MM)
    x = x + relief.slope_x[: BODY.rows, : BODY.cols]
    y = y + relief.slope_y[: BODY.rows, : BODY.cols]
    flash = sparkle_of(relief.flake[: BODY.rows, : BODY.cols].copy(), depth=0.3, phase=0.0)
    window = lamp_mm * np.array([-1.3, -0.5, 1.0])
    lamps = 1.1 * _lobe(x, y, lamp_mm=lamp_mm, eye_mm=eye_mm, spread=0.24) * flash
    lamps += 0.5 * _lobe(x, y, lamp_mm=window, eye_mm=eye_mm, spread=0.30)
    light = lamps + 0.20 / (1 + np.square(x) + np.square(y))
    return np.asarray(light[:, :, None] * np.array((0.97, 0.96, 0.93), np.float32), dtype=np.float32)
