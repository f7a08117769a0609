"""The texture of a metal base as slopes, flakes and heights: made from a seed, or the user's own relief picture."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from layerpreview.errors import PictureError, Problem
from layerpreview.scheme import Base, Scheme
from layerpreview.spray.budget import SOLIDS_ASSUMED, relief_left_um
from layerpreview.surface.glints import SPARKLES, glitter_of, sparkle_of
from layerpreview.surface.hashed_fields import Lattice, Mosaic
from layerpreview.surface.height_picture import FLAKE_MM, PICTURE_SEED, picture_kind, relief_from_picture
from layerpreview.surface.picture_file import read_picture
from layerpreview.surface.relief import Relief, make_relief
from layerpreview.surface.relief_kinds import KINDS
from layerpreview.threads import passing

F32 = NDArray[np.float32]

STEP_MM = 0.25
MOST_POINTS = 6_000_000
SAMPLE_MM, SAMPLE_STEP_MM = 150.0, 0.5
"""A patch large enough to know how often each slope comes."""
VALLEY, PEAK = 1.0, 99.0
"""Of a relief's area, in percent: what lies lower or higher is left out of its height from peak to valley."""


def step_mm(width_mm: float, height_mm: float) -> float:
    """Lattice step: fine enough for flakes and pores, coarser only on very large faces."""
    return max(STEP_MM, math.sqrt(width_mm * height_mm / MOST_POINTS))


def is_textured(base: Base) -> bool:
    """Whether the base has facets of its own, so that each follows light and view."""
    return base.relief is not None or base.height_picture is not None


@passing(2)
def texture_of(base: Base, width_mm: float, height_mm: float) -> Relief:
    """The texture on a face of this size. Raises PictureError for a relief picture that cannot be used."""
    return _made(base, width_mm, height_mm, step_mm(width_mm, height_mm))


def glints_of(
    base: Base, width_mm: float, height_mm: float, *, even: float, phase: float
) -> NDArray[np.float32] | None:
    """What flakes and glitter multiply the light of each facet by, of mean 1 over the face; None where nothing flashes.

    In the `even` part of the light [0..1] all flakes are alike; another `phase`, a turn of the part, lights others.
    """
    flashes = flashes_of(base, width_mm, height_mm, even=even)
    if flashes is None:
        return None
    light = flashes.light(phase)
    return np.asarray(light / np.float32(light.mean(dtype=np.float64)))


@dataclass(frozen=True, eq=False)
class Flashes:
    """What flashes on a face, each (rows, cols) or None: the flakes' `gain`, random numbers in [0, 1) of the `flake`
    and of the `glitter` at each place; the `depth` of the sparkle, and size, share, cell [mm] and depth of the glitter.
    """

    gain: F32 | None
    flake: F32 | None
    depth: float
    glitter: F32 | None
    glitter_told: tuple[float, float, float, float]

    def light(self, phase: float) -> F32:
        """What the light of each facet is multiplied by, of no particular mean."""
        found = [] if self.gain is None else [self.gain]
        if self.flake is not None:
            found.append(sparkle_of(self.flake, depth=self.depth, phase=phase))
        if self.glitter is not None:
            size_mm, share, cell_mm, depth = self.glitter_told
            told = {"size_mm": size_mm, "share": share, "cell_mm": cell_mm, "depth": depth}
            found.append(glitter_of(self.glitter, **told, phase=phase))
        return math.prod(found[1:], start=found[0])


def flashes_of(base: Base, width_mm: float, height_mm: float, *, even: float) -> Flashes | None:
    """What flashes on a face under lamps, see `glints_of`; None where nothing does."""
    relief, step = texture_of(base, width_mm, height_mm), step_mm(width_mm, height_mm)
    flakes = None if base.sparkle is None else SPARKLES[base.sparkle]
    depth = (1.0 - even) * (relief.sparkle if flakes is None else flakes.seen_on(step))
    flake = glitter = None
    told = (1.0, 0.0, 1.0, 0.0)
    if depth:
        flake = relief.flake if flakes is None else _numbers(base, width_mm, height_mm, max(flakes.size_mm, step))
    if base.additive is not None and even < 1.0:
        size_mm, share = base.additive
        cell = max(size_mm, step)
        glitter, told = _numbers(base, width_mm, height_mm, cell, salt=98), (size_mm, share, cell, 1.0 - even)
    if relief.gain is None and flake is None and glitter is None:
        return None
    return Flashes(relief.gain, flake, depth, glitter, told)


@dataclass(frozen=True)
class Strewn:
    """By what a random number is found at each place: little squares of `cell_mm`, a seed and a salt, see `Mosaic`."""

    cell_mm: float
    seed: int
    salt: int


def strewn_of(base: Base, width_mm: float, height_mm: float, *, even: float) -> tuple[Strewn | None, Strewn | None]:
    """By what the `flake` and the `glitter` numbers of `flashes_of` are found, None for those that are not there."""
    step, seed = step_mm(width_mm, height_mm), base.relief_options.seed
    flakes = None if base.sparkle is None else SPARKLES[base.sparkle]
    flake = glitter = None
    if flakes is not None:
        flake = Strewn(max(flakes.size_mm, step), seed, 97) if (1.0 - even) * flakes.share else None
    elif (1.0 - even) * texture_of(base, width_mm, height_mm).sparkle:
        own = base.relief is None
        flake = Strewn(FLAKE_MM, PICTURE_SEED, 99) if own else Strewn(KINDS[base.relief or ""].flake_mm, seed, 99)
    if base.additive is not None and even < 1.0:
        glitter = Strewn(max(base.additive[0], step), seed, 98)
    return flake, glitter


@passing(4)
def _numbers(base: Base, width_mm: float, height_mm: float, cell_mm: float, salt: int = 97) -> NDArray[np.float32]:
    """A random number in [0, 1) for each little square of the face."""
    lattice = Lattice.covering(width_mm, height_mm, step_mm(width_mm, height_mm))
    mosaic = Mosaic(lattice, cell_mm=cell_mm, seed=base.relief_options.seed, salt=salt)
    out = np.empty((lattice.rows, lattice.cols), dtype=np.float32)

    def block(rows: slice) -> None:
        out[rows] = mosaic(rows)

    lattice.each_block(block)
    return out


@lru_cache(maxsize=8)
def texture_sample(base: Base) -> Relief:
    """A patch of the texture, by which all of its facets are counted."""
    repeated = base.height_options.model_copy(update={"tile": True})
    return _made(base.model_copy(update={"height_options": repeated}), SAMPLE_MM, SAMPLE_MM, SAMPLE_STEP_MM)


def height_spread_um(base: Base) -> float | None:
    """Standard deviation of the heights of the texture [um]; None where they are not known.

    Raises PictureError as `texture_of` does.
    """
    per_mm = _um_per_mm(base)
    return None if per_mm is None else per_mm * float(texture_sample(base).height.std())


def height_um_of(base: Base, width_mm: float, height_mm: float) -> NDArray[np.float32] | None:
    """The heights [um] of the texture on a face of this size, on the lattice of `texture_of`.

    The likely `relief_height` is its peak to valley; where that is not said a height map has its own depth, and of all
    else the height is not known: None. Raises PictureError as `texture_of` does.
    """
    per_mm = _um_per_mm(base)
    return None if per_mm is None else texture_of(base, width_mm, height_mm).height * np.float32(per_mm)


COATS_ASSUMED = 3
"""Coats of clear where the scheme does not say (common practice, no source)."""


def clear_lean(scheme: Scheme, base: Base) -> float:
    """What the clear's own face leans by, for each unit of slope of the texture below it.

    What is left over of the relief is as stated; else none where the clear is sanded; else what the mix sheet's film
    budget leaves: half way between coats that level while wet and coats that do not. 0 where the relief's height is not
    known. Raises PictureError as `texture_of` does.
    """
    if not is_textured(base):
        return 0.0
    valley, peak = np.percentile(texture_sample(base).height, [VALLEY, PEAK])
    return _left_over_um(scheme, base) / (1000.0 * max(float(peak - valley), 1e-9))


def _left_over_um(scheme: Scheme, base: Base) -> float:
    clear = scheme.clear
    if clear.left_over_um is not None:
        return clear.left_over_um.likely
    if scheme.sanding.grits or base.relief_um is None:
        return 0.0
    coats, solids = clear.stated_coats or COATS_ASSUMED, clear.solids or SOLIDS_ASSUMED["clear"]
    relief_um = base.relief_um.likely
    return 0.5 * (relief_um + relief_left_um(relief_um=relief_um, coats=coats, solids=solids.likely))


def _um_per_mm(base: Base) -> float | None:
    """What a mm of the texture's height stands for [um]."""
    if not is_textured(base):
        return None
    if base.relief_um is not None:
        valley, peak = np.percentile(texture_sample(base).height, [VALLEY, PEAK])
        return base.relief_um.likely / max(float(peak - valley), 1e-9)
    own = base.height_picture is not None and base.height_options.kind == "height"
    return 1000.0 if own else None


def _made(base: Base, width_mm: float, height_mm: float, step: float) -> Relief:
    if base.height_picture is not None:
        return _own_relief(base, width_mm, height_mm, step)
    assert base.relief is not None
    options = base.relief_options
    return make_relief(
        base.relief,
        width_mm=width_mm,
        height_mm=height_mm,
        seed=options.seed,
        cell_mm=options.cell_mm,
        strength=options.height,
        step_mm=step,
    )


def _own_relief(base: Base, width_mm: float, height_mm: float, step: float) -> Relief:
    """The user's own height map or normal map."""
    assert base.height_picture is not None
    options = base.height_options
    picture = read_picture(base.height_picture)
    found = {"heights": "height", "directions": "normal"}[picture_kind(picture)]
    if found != options.kind:
        raise PictureError(
            Problem(
                file=str(base.height_picture),
                field="base.height_options.kind",
                value=options.kind,
                rule=f"this picture holds {'heights (grey)' if found == 'height' else 'directions (bluish)'}",
                remedy=f'write kind = "{found}"',
            )
        )
    return relief_from_picture(
        picture,
        face_width_mm=width_mm,
        face_height_mm=height_mm,
        width_mm=options.width_mm,
        depth_mm=options.depth_mm,
        tile=options.tile,
        step_mm=step,
        brightness=None if options.brightness is None else read_picture(options.brightness),
    )
