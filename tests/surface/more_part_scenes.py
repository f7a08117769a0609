"""Scenes drawn at random over the ranges of the fair ones, to check limits that were set on those; and hard ones."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely

from .part_photos import DISC_MM
from .part_shapes import SHAPES, shape_mm
from .part_truth import HOLE_MM, Scene

_GROUNDS = {
    "silver": ("white", "grey", "black", "green", "blue", "red", "kraft"),
    "dark": ("white", "concrete", "green", "blue", "mdf", "kraft"),
    "wood": ("white", "grey", "black", "green", "blue"),
}
_THINGS = ("cup", "rule", "cloth", "card", "cup in shadow", "tape", "tape in shadow")


def more_scenes(seed: int, count: int) -> list[Scene]:
    """Return `count` fair scenes: other shapes, sizes, lamps, grounds, glare, clutter, cameras than the fixed ones."""
    return [_drawn(np.random.default_rng([seed, k]), 1000 * seed + k) for k in range(count)]


def _drawn(rng: np.random.Generator, seed: int) -> Scene:
    body = str(rng.choice(list(_GROUNDS)))
    ground = str(rng.choice(_GROUNDS[body]))
    shape = str(rng.choice((*SHAPES, "cutaway", f"lobed {seed}", f"lobed {seed + 1}", f"lobed {seed + 2}")))
    high, way = rng.uniform(430, 650), rng.uniform(0, 2 * np.pi)
    away = rng.uniform(300, 500)
    more: dict[str, Any] = {"size": rng.uniform(0.75, 1.05), "view_mm": rng.uniform(510, 640)}
    if rng.random() < 0.12:
        more |= {"sheet": str(rng.choice(("A4", "Letter"))), "view_mm": 820.0, "shift_mm": (20.0, -125.0), "size": 1.0}
    elif rng.random() < 0.5:
        more["things"] = tuple(str(name) for name in rng.choice(_THINGS, rng.integers(1, 3), replace=False))
    if rng.random() < 0.35:
        more["tilt_deg"] = rng.uniform(0, 25)
    if rng.random() < 0.1:
        more["own_shadow"] = rng.uniform(0.2, 0.45)
    return Scene(
        f"{body} on {ground}, {shape}, drawn {seed}",
        shape=shape,
        body=body,
        ground=ground,
        seed=seed,
        hole=bool(rng.random() < 0.35 and _within(HOLE_MM, shape, more["size"])),
        disc=bool(body != "dark" and rng.random() < 0.2 and _within(DISC_MM, shape, more["size"])),
        lamp_mm=(away * float(np.cos(way)), away * float(np.sin(way)), float(high)),
        sky=rng.uniform(0.35, 0.6),
        lift_mm=rng.uniform(12, 24),
        spots=float(rng.choice((0.0, rng.uniform(0.1, 0.3)))),
        broad=float(rng.choice((0.0, rng.uniform(0.1, 0.25)))),
        noise=rng.uniform(0.006, 0.012),
        jpeg=int(rng.integers(80, 96)),
        **more,
    )


def _within(circle: tuple[float, float, float], shape: str, size: float) -> bool:
    """Whether a circle (x, y, radius) [mm] lies inside a part, 12 mm from its edge."""
    x, y, radius = circle
    return bool(shapely.Polygon(size * shape_mm(shape)).contains(shapely.Point(x, y).buffer(radius + 12)))


def hard_scenes() -> list[Scene]:
    """What people bring: a part that nearly fills the picture, burnt-out paper, patterns, strong JPEG, noise, the leg
    of a stand over the edge, a burst already at the rim, brown on brown."""
    hard: list[tuple[str, str, str, str, dict[str, Any]]] = [
        ("wood fills the picture", "waisted", "wood", "green", {"view_mm": 385.0}),
        ("silver fills the picture", "lobed 3", "silver", "grey", {"view_mm": 395.0}),
        ("silver on burnt-out paper", "cutaway", "silver", "white", {"exposure_ev": 1.0}),
        ("dark on burnt-out paper", "lobed 5", "dark", "white", {"exposure_ev": 1.0}),
        ("wood on checked cloth", "horned", "wood", "checked", {}),
        ("dark on newspaper", "cutaway", "dark", "newspaper", {}),
        ("silver, strong JPEG", "horned", "silver", "blue", {"jpeg": 30}),
        ("wood, strong JPEG", "lobed 8", "wood", "black", {"jpeg": 25}),
        ("silver, noise", "cutaway", "silver", "green", {"noise": 0.04}),
        ("dark, noise", "mandolin", "dark", "white", {"noise": 0.04}),
        ("wood, leg of a stand", "waisted", "wood", "white", {"things": ("leg",)}),
        ("silver, leg of a stand", "lobed 4", "silver", "green", {"things": ("leg",)}),
        ("burst on white", "cutaway", "burst", "white", {}),
        ("burst on black", "horned", "burst", "black", {}),
        ("burst on grey", "lobed 6", "burst", "grey", {"hole": True}),
        ("wood on kraft", "cutaway", "wood", "kraft", {}),
        ("wood on boards", "lobed 2", "wood", "boards", {}),
        ("dark, broad window", "lobed 9", "dark", "concrete", {"broad": 0.35}),
    ]
    light: dict[str, Any] = {"lamp_mm": (310.0, -330.0, 540.0), "sky": 0.45, "lift_mm": 18.0}
    return [
        Scene(name, shape=shape, body=body, ground=ground, seed=300 + k, fair=False, **(light | more))
        for k, (name, shape, body, ground, more) in enumerate(hard)
    ]
