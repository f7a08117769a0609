"""A textured metallic base made from a seed: its slopes and its flakes, in millimetres."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import cast

import numpy as np

from layerpreview.errors import InputError, Problem
from layerpreview.kept import kept_arrays
from layerpreview.surface.hashed_fields import F32, Lattice, Mosaic
from layerpreview.surface.heights import height_of_slopes
from layerpreview.surface.relief_kinds import KINDS

RELIEF_KINDS = ("lifted", "fine flake", "coarse flake", "brushed", "hammered")


@dataclass(frozen=True)
class Relief:
    """A surface on a lattice of `step_mm`, from the top left corner; made by `make_relief`."""

    slope_x: F32
    """dz/dx (rows, cols), x to the right."""
    slope_y: F32
    """dz/dy (rows, cols), y down."""
    flake: F32
    """A number of the flakes at each point, even in [0, 1): `glints.sparkle_of` makes sparkle of it."""
    step_mm: float
    sparkle: float = 0.25
    """Share of a lamp's light that comes as sparkle."""
    known_height: F32 | None = None
    """Heights (rows, cols) [mm], where the surface was made from them."""
    gain: F32 | None = None
    """Brightness of the flakes (rows, cols), of mean 1, where it was measured."""

    @cached_property
    def height(self) -> F32:
        """The heights (rows, cols) [mm] that go with the slopes, any one level being 0.

        Of a surface that is made their pattern alone counts: its slopes are facets that lean as light wants them, half
        a millimetre a millimetre, and no real coat is as deep.
        """
        if self.known_height is not None:
            return self.known_height
        return height_of_slopes(self.slope_x, self.slope_y, step_mm=self.step_mm)


def make_relief(
    kind: str,
    *,
    width_mm: float,
    height_mm: float,
    seed: int = 1,
    cell_mm: float | None = None,
    strength: float = 1.0,
    step_mm: float = 0.25,
) -> Relief:
    """Make the surface of `kind`, one of RELIEF_KINDS, covering width_mm x height_mm.

    seed: any whole number; another seed, another surface. cell_mm: size of the kind's main feature (large facet,
    dimple, flake, scratch length), at least step_mm [mm]; without it the kind's usual size. strength: multiplies
    the slopes, >= 0. step_mm: of the lattice, > 0 [mm]; a finer step shows the same surface in more detail, and a
    larger panel continues it to the right and down.

    Raises InputError for an unknown kind or a number out of range, naming all of them.
    """
    _check(kind, width_mm=width_mm, height_mm=height_mm, cell_mm=cell_mm, strength=strength, step_mm=step_mm)
    made = KINDS[kind]
    cell = made.cell_mm if cell_mm is None else cell_mm
    lattice = Lattice.covering(width_mm, height_mm, step_mm)

    def planes() -> tuple[F32, ...]:
        slopes = made.prepare(lattice, cell, seed)
        flakes = Mosaic(lattice, cell_mm=made.flake_mm, seed=seed, salt=99)
        slope_x, slope_y, flake = np.empty((3, lattice.rows, lattice.cols), dtype=np.float32)

        def block(rows: slice) -> None:
            x, y = slopes(rows)
            np.multiply(x, np.float32(strength), out=slope_x[rows])
            np.multiply(y, np.float32(strength), out=slope_y[rows])
            flake[rows] = flakes(rows)

        lattice.each_block(block)
        return slope_x, slope_y, flake

    slope_x, slope_y, flake = kept_arrays("relief", [repr((kind, lattice, cell, seed, strength))], planes)
    return Relief(cast(F32, slope_x), cast(F32, slope_y), cast(F32, flake), step_mm, sparkle=made.sparkle)


def _check(kind: str, *, strength: float, **sizes_mm: float | None) -> None:
    problems = []
    if kind not in KINDS:
        remedy = "use one of " + ", ".join(RELIEF_KINDS)
        problems.append(Problem("is not a kind of relief", remedy, field="relief", value=repr(kind)))
    for field, size in sizes_mm.items():
        if size is not None and not (np.isfinite(size) and size > 0):
            problems.append(Problem("must be more than 0", "give a size in mm", field=field, value=f"{size:g}"))
    cell, step = sizes_mm["cell_mm"], sizes_mm["step_mm"]
    if cell is not None and step is not None and 0 < cell < step:
        remedy = f"give {step:g} or more"
        problems.append(Problem("must not be smaller than step_mm", remedy, field="cell_mm", value=f"{cell:g}"))
    if not (np.isfinite(strength) and strength >= 0):
        problems.append(Problem("must be 0 or more", "1 is the usual", field="strength", value=f"{strength:g}"))
    if problems:
        raise InputError(problems)
