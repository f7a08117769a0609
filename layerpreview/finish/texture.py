"""The texture of a metal base as slopes and flakes: made from a seed, or the user's own relief picture."""

from __future__ import annotations

import math
from functools import lru_cache

from layerpreview.errors import PictureError, Problem
from layerpreview.scheme import Base
from layerpreview.surface.height_picture import picture_kind, relief_from_picture
from layerpreview.surface.picture_file import read_picture
from layerpreview.surface.relief import Relief, make_relief

STEP_MM = 0.25
MOST_POINTS = 6_000_000
SAMPLE_MM, SAMPLE_STEP_MM = 150.0, 0.5
"""A patch large enough to know how often each slope comes."""


def step_mm(width_mm: float, height_mm: float) -> float:
    """Lattice step: fine enough for flakes and pores, coarser only on very large faces."""
    return max(STEP_MM, math.sqrt(width_mm * height_mm / MOST_POINTS))


def is_textured(base: Base) -> bool:
    """Whether the base has facets of its own, so that each follows light and view."""
    return base.relief is not None or base.height_picture is not None


@lru_cache(maxsize=2)
def texture_of(base: Base, width_mm: float, height_mm: float) -> Relief:
    """The texture on a face of this size. Raises PictureError for a relief picture that cannot be used."""
    return _made(base, width_mm, height_mm, step_mm(width_mm, height_mm))


@lru_cache(maxsize=8)
def texture_sample(base: Base) -> Relief:
    """A patch of the texture, by which all of its facets are counted."""
    return _made(base, SAMPLE_MM, SAMPLE_MM, SAMPLE_STEP_MM)


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
    )
