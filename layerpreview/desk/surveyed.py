"""The places of the open job, what lands there and the figures of it all, made once for all that ask of a version.

The grids that this is found on are let go again: of the sample they are 54 MiB.
"""

from __future__ import annotations

import threading
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from layerpreview.desk.figures import figures_told
from layerpreview.desk.jobs import Read
from layerpreview.desk.memory import give_back
from layerpreview.picture.scene import make_scene
from layerpreview.picture.spots import FIGURES_WIDTH_PX, Spot, spots_of
from layerpreview.picture.survey import Survey
from layerpreview.threads import Made

CALM_SHARE = 0.35
"""A place to show a coat at has at least this share of its fullest build: where it meets what lies below it."""
Place = tuple[str, float, float]
"""A face, and where on it [mm]."""


@dataclass(frozen=True, eq=False)
class Surveyed:
    """All places of a version; by face the mean build of every coat over its painted area; by coat a place to show it
    at, None where it lands nowhere; and its figures."""

    spots: tuple[Spot, ...]
    builds: tuple[tuple[float, ...], ...]
    landings: tuple[Place | None, ...]
    figures: dict[str, Any]


_made: Made[Surveyed] = Made(3)
asked_for_figures = threading.Event()
"""Set once anybody has asked."""


def surveyed(read: Read) -> Surveyed:
    """Those of a version. Raises PictureError."""

    def made() -> Surveyed:
        found = _surveyed(read)
        give_back()
        return found

    asked_for_figures.set()
    return _made.get((read.version, read.shapes, read.stamps), made)


def _surveyed(read: Read) -> Surveyed:
    scene = make_scene(read.scheme, width_px=FIGURES_WIDTH_PX, shapes=read.shapes)
    surveys = [Survey(read.scheme, shape) for shape in read.shapes]
    spots = tuple(spots_of(read.scheme, scene, surveys))
    return Surveyed(
        spots,
        tuple(tuple(map(float, survey.mean_builds)) for survey in surveys),
        tuple(_landing(surveys, index) for index in range(len(read.scheme.coats))),
        figures_told(read, scene, surveys, spots),
    )


def _landing(surveys: Sequence[Survey], index: int) -> Place | None:
    """Where some of a coat lands, as far from every edge as that allows."""
    best: tuple[float, Place] | None = None
    for survey in surveys:
        build = np.where(survey.edge_mm > 0.0, survey.builds[index], 0.0)
        fullest = float(build.max(initial=0.0))
        if fullest < CALM_SHARE:
            continue
        deep = np.where(build >= max(CALM_SHARE, CALM_SHARE * fullest), survey.edge_mm, -1.0)
        at = int(deep.argmax())
        if best is None or deep[at] > best[0]:
            row, column = divmod(at, survey.grid.n_cols)
            x_mm, y_mm = survey.grid.x_mm()[column], survey.grid.y_mm()[row]
            best = float(deep[at]), (survey.shape.face.name, float(x_mm), float(y_mm))
    return None if best is None else best[1]
