"""Where the wet coats of one face gather: in the hollows of its relief, on the lattice of its texture."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from layerpreview.finish.texture import height_um_of, step_mm
from layerpreview.picture.bare import on_lattice
from layerpreview.picture.faces import FaceShape
from layerpreview.scheme import Coat, DyeCoat, Scheme
from layerpreview.spray.budget import SOLIDS_ASSUMED
from layerpreview.spray.pooling import LEAST_FILM, WetCoats, pooled_build
from layerpreview.surface.distance import coverage, distance_field
from layerpreview.surface.sample import PixelGrid, Sampler

F32 = NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class Pools:
    """What the builds of a face are multiplied by: of each entry a sampler of what its build differs from 1 by, and
    by how much that is multiplied; None where the entry does not go on the face."""

    of_coat: tuple[tuple[Sampler, float] | None, ...]

    def gather(self, builds: F32, y0: int, y1: int) -> None:
        """Multiply the builds (layers, P) of rows y0 to y1, in place."""
        seen = {id(pool[0]): pool[0] for pool in self.of_coat if pool is not None}
        rows = {key: sampler.rows(y0, y1).ravel() for key, sampler in seen.items()}
        for build, pool in zip(builds, self.of_coat, strict=True):
            if pool is not None:
                sampler, times = pool
                build *= 1.0 + np.float32(times) * rows[id(sampler)]

    def shared(self) -> tuple[Sampler, tuple[float, ...]] | None:
        """The sampler that most entries have, and what each multiplies it by (0: it has another); None without any."""
        samplers = [pool[0] for pool in self.of_coat if pool is not None]
        if not samplers:
            return None
        most = max(samplers, key=samplers.count)
        return most, tuple(pool[1] if pool is not None and pool[0] is most else 0.0 for pool in self.of_coat)


def pools_of(scheme: Scheme, shape: FaceShape, grid: PixelGrid) -> Pools | None:
    """The pools of every entry on a face; None over a base without a relief of known height.

    Found on the texture's own lattice, so that another picture size shows the same surface and the load stays.
    Raises PictureError for a relief picture that cannot be used.
    """
    if (depth := depth_of(scheme, shape)) is None:
        return None
    step, depth_um, weight = depth
    deepest = on_lattice(depth_um, step, grid)
    found: list[tuple[Sampler, float] | None] = []
    for wet in wet_coats_of(scheme, shape):
        if wet is None or not wet.levelling:
            found.append(None)
        elif follows_depth(wet, float(depth_um.min())):
            found.append((deepest, sum(wet.builds_per_um) / wet.coats))
        else:
            found.append((on_lattice(pooled_build(depth_um, wet, weight=weight) - 1.0, step, grid), 1.0))
    return Pools(tuple(found))


def follows_depth(wet: WetCoats, least_um: float) -> bool:
    """Whether coats are nowhere as thin as they get over a relief whose peak lies at a depth of `least_um`: then the
    build follows the depth, and one lattice does for all such entries."""
    return 1.0 + wet.builds_per_um[0] * least_um >= LEAST_FILM


def depth_of(scheme: Scheme, shape: FaceShape) -> tuple[float, F32, F32] | None:
    """The step of the lattice of a face's texture [mm], how far each place lies below the mean of its relief [um] and
    how much of it is on the face, (rows, cols); None over a base without a relief of known height."""
    outline = shape.outline
    height_um = height_um_of(scheme.base_for(shape.face.name), outline.width_mm, outline.height_mm)
    if height_um is None:
        return None
    step = step_mm(outline.width_mm, outline.height_mm)
    lattice = PixelGrid(pixel_mm=step, n_rows=height_um.shape[0], n_cols=height_um.shape[1])
    weight = coverage(distance_field(outline, lattice, edges="all", seam=True).rows(0, lattice.n_rows), step)
    return step, np.float32(np.average(height_um, weights=weight)) - height_um, weight


def wet_coats_of(scheme: Scheme, shape: FaceShape) -> Iterator[WetCoats | None]:
    """Each entry on this face over the relief that it meets; None where it does not go on it."""
    levelling = scheme.base_for(shape.face.name).levelling.likely
    for coat, earlier in zip(scheme.coats, earlier_of(scheme, shape), strict=True):
        if earlier is None:
            yield None
        else:
            left = math.prod(kept ** scheme.coats[i].coats for i, kept in earlier)
            yield wet_coats(scheme, coat, levelling=levelling, left=left)


def earlier_of(scheme: Scheme, shape: FaceShape) -> list[tuple[tuple[int, float], ...] | None]:
    """For each entry on this face the earlier ones (from 0) that fill the relief it meets, and the share of that relief
    that one coat of theirs leaves; None where it does not go on the face.

    Those count that go wherever the later one does, and of a burst what it lays everywhere.
    """
    levelling = scheme.base_for(shape.face.name).levelling.likely
    before: list[tuple[int, tuple[str, ...] | None, float]] = []
    found: list[tuple[tuple[int, float], ...] | None] = []
    for i, coat in enumerate(scheme.coats):
        names = shape.zones_of(scheme, coat)
        if names == ():
            found.append(None)
            continue
        found.append(
            tuple((j, kept) for j, over, kept in before if over is None or (names and set(names) <= set(over)))
        )
        fill = max((burst.centre for burst in shape.bursts_of(scheme, coat)), default=1.0)
        one = replace(wet_coats(scheme, coat, levelling=levelling), coats=1)
        before.append((i, names, one.share_left(fill=fill)))
    return found


def wet_coats(scheme: Scheme, coat: Coat, *, levelling: float, left: float = 1.0) -> WetCoats:
    """The coats of an entry, levelling the share `levelling` [0..1] each, over what is `left` [0..1] of the relief."""
    return WetCoats(coat.film_um.likely, coat.coats, _solids(scheme, coat), levelling, left)


def _solids(scheme: Scheme, coat: Coat) -> float:
    """Solids by volume of what a coat is sprayed with: as stated, else assumed."""
    if isinstance(coat, DyeCoat):
        return (scheme.mix_of(coat).solids or SOLIDS_ASSUMED["dye"]).likely
    paint = scheme.paints.get(coat.name or "")
    return ((paint and paint.solids) or SOLIDS_ASSUMED["opaque"]).likely
