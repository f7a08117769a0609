"""The recipes of an atlas that are nearest to a wanted colour: by a tree in an even space, then by CIEDE2000 itself."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from layerpreview.colour import delta_e_2000, lab_to_din99b
from layerpreview.finish.patches import Patches

F64 = NDArray[np.float64]
F32 = NDArray[np.float32]

NEIGHBOURS, CHOSEN = 200, 6
TRIED, FITS_DE00 = 64, 0.05
"""An atlas is of a base and dyes where so many of its recipes, spread over it, have its colours this closely: stored
figures are rounded to 0.001, and another batch of a dye that differed by less would not be seen."""


@dataclass(frozen=True, eq=False)
class Atlas:
    """Recipes over one base: `load_mg_m2` (N, dyes) and `lab` (N, lights, 3) under `lights`, of dyes of the names
    `dyes`."""

    dyes: tuple[str, ...]
    lights: tuple[str, ...]
    load_mg_m2: F32
    lab: F32

    @cached_property
    def _tree(self) -> Any:
        from scipy.spatial import cKDTree

        return cKDTree(_even(self.lab), leafsize=32, balanced_tree=False, compact_nodes=False)

    def ready(self) -> None:
        """Do now what the first question would wait for."""
        assert self._tree is not None

    def away_de00(self, patches: Patches) -> float:
        """How far its colours are from those of a base under dyes, in the same order and lights, at the worst place."""
        at = np.linspace(0, len(self.lab) - 1, TRIED).astype(np.intp)
        lab = patches.lab(self.load_mg_m2[at].astype(np.float64))
        return float(delta_e_2000(lab, self.lab[at].astype(np.float64)).max())

    def nearest(self, target_lab: F64, count: int = 1) -> tuple[NDArray[np.intp], F64]:
        """Rows nearest to `target_lab` (lights, 3) by CIEDE2000, the worst of the lights, and how far they are."""
        wanted = min(max(NEIGHBOURS, count), len(self.lab))
        near = np.atleast_1d(self._tree.query(_even(target_lab[None])[0], k=wanted)[1])
        de = delta_e_2000(self.lab[near].astype(np.float64), target_lab).max(axis=1)
        order = np.argsort(de, kind="stable")[:count]
        return near[order], np.asarray(de[order])

    def near(self, target_lab: F64) -> F64:
        """Loads (n, dyes) to begin with for `target_lab` (lights, 3): the nearest of each of the nearest mixes."""
        rows, _ = self.nearest(target_lab, NEIGHBOURS)
        load = self.load_mg_m2[rows].astype(np.float64)
        mixes = np.unique(load > 0.0, axis=0, return_index=True)[1]
        return load[np.sort(mixes)[:CHOSEN]]


def of_some(atlas: Atlas, dyes: tuple[str, ...], lights: tuple[str, ...], most_dyes: int) -> Atlas | None:
    """Its recipes of at most so many of these of its dyes, in their order, under some of its lights; None for none."""
    others = [i for i, name in enumerate(atlas.dyes) if name not in dyes]
    few = np.count_nonzero(atlas.load_mg_m2, axis=1) <= most_dyes
    alone = few & ~atlas.load_mg_m2[:, others].any(axis=1)
    load = atlas.load_mg_m2[alone][:, [atlas.dyes.index(name) for name in dyes]]
    lab = atlas.lab[alone][:, [atlas.lights.index(light) for light in lights]]
    return Atlas(dyes, lights, load, lab) if len(lab) else None


def _even(lab: NDArray[Any]) -> F64:
    return lab_to_din99b(lab).reshape(len(lab), -1)
