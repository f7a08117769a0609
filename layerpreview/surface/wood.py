"""Pale wood made from a seed: its colour and how thirsty it is, in millimetres."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from layerpreview.errors import InputError, Problem
from layerpreview.surface.hashed_fields import F32, Lattice, Noise

FIGURES = ("plain", "flame")

EARLY_WOOD_LIN, LATE_WOOD_LIN = (0.70, 0.53, 0.35), (0.53, 0.355, 0.20)
"""Linear sRGB of the light and the dark part of a growth ring: a pale maple or ash (chosen by eye, no source)."""

RING_MM, BAND_MM = 4.2, 8.0
"""Usual width of a growth ring on the face, and of a band of the flame figure."""

PORE_SHADE = (0.35, 0.5, 0.65)
"""How much of red, green and blue an open pore swallows: it looks brown, not grey."""


@dataclass(frozen=True)
class Grain:
    """A wooden face on a lattice, from the top left corner; the grain runs from top to bottom."""

    albedo_rgb_lin: F32
    """Linear sRGB (rows, cols, 3), 0..1."""
    openness: F32
    """How much dye soaks in (rows, cols), 0 to about 3, mean about 1: more in pores, early wood and end grain."""


def make_grain(*, width_mm: float, height_mm: float, seed: int, step_mm: float = 0.25, figure: str = "plain") -> Grain:
    """Make pale wood covering width_mm x height_mm: growth rings, pores and, for "flame", bands across the grain.

    seed: any whole number. step_mm: of the lattice [mm]. figure: one of FIGURES. The same place in mm looks the
    same whatever the size and step.

    Raises InputError for an unknown figure or a size that is not more than 0, naming all of them.
    """
    _check(figure, width_mm=width_mm, height_mm=height_mm, step_mm=step_mm)
    lattice = Lattice.covering(width_mm, height_mm, step_mm)
    x = lattice.x_mm().astype(np.float32)

    def noise(across_mm: float, along_mm: float, salt: int) -> Noise:
        return Noise(lattice, cell_mm=(across_mm, along_mm), seed=seed, salt=salt)

    sway, drift, flicker = noise(45, 160, 1), noise(14, 70, 2), noise(3, 30, 3)
    fibre, pore, shade = noise(0.35, 9, 4), noise(0.3, 3.2, 5), noise(90, 200, 6)
    lean, waver, swell, curl = noise(34, 90, 7), noise(13, 22, 8), noise(26, 12, 9), noise(16, 5, 10)
    y = lattice.y_mm().astype(np.float32)[:, None]
    early, late = np.array(EARLY_WOOD_LIN, np.float32), np.array(LATE_WOOD_LIN, np.float32)
    shade_rgb = np.array(PORE_SHADE, np.float32)
    albedo = np.empty((lattice.rows, lattice.cols, 3), dtype=np.float32)
    openness = np.empty((lattice.rows, lattice.cols), dtype=np.float32)

    def block(rows: slice) -> None:
        # Rings: a sawtooth, slowly darkening through the year and then ending at once.
        year = x + 22 * sway.height(rows) + 5 * drift.height(rows) + 0.7 * flicker.height(rows)
        year /= np.float32(RING_MM)
        phase = year - np.floor(year)
        ring = phase * phase * phase * np.minimum((1 - phase) * 9, 1)
        # Pores: the rarest lows of a noise drawn out along the grain; most of them in early wood.
        hole = np.clip(pore.height(rows) * 4 - 1.6 - ring, 0, 1)
        fine = fibre.height(rows)
        dark = np.clip(0.12 + 1.2 * ring + 0.3 * fine + 0.3 * shade.height(rows), 0, 1)
        light = 1 + 0.12 * fine
        soak = 1.05 - 0.5 * ring + 0.3 * fine + 1.6 * hole
        if figure == "flame":
            # Fibres that dip towards the eye look dark and drink more; those that lean away shine.
            wave = y[rows] / np.float32(BAND_MM) + 2.6 * lean.height(rows) + 0.8 * waver.height(rows)
            dip = np.sin(np.float32(2 * np.pi) * wave) * (0.75 + 1.2 * swell.height(rows)) + 1.3 * curl.height(rows)
            light *= 1 - 0.15 * dip
            soak += 0.35 * dip
        albedo[rows] = (early + (late - early) * dark[..., None]) * (light[..., None] - shade_rgb * hole[..., None])
        np.maximum(soak, 0, out=openness[rows])

    lattice.each_block(block)
    return Grain(np.clip(albedo, 0, 1, out=albedo), openness)


def _check(figure: str, **sizes_mm: float) -> None:
    problems = []
    if figure not in FIGURES:
        remedy = "use one of " + ", ".join(FIGURES)
        problems.append(Problem("is not a figure of wood", remedy, field="figure", value=repr(figure)))
    for field, size in sizes_mm.items():
        if not (np.isfinite(size) and size > 0):
            problems.append(Problem("must be more than 0", "give a size in mm", field=field, value=f"{size:g}"))
    if problems:
        raise InputError(problems)
