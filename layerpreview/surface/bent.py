"""A traced line moved by hand: held at some places and pulled, the line near them coming along."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from layerpreview.errors import PictureError, Problem
from layerpreview.surface.outline import Points

_STEPS = 8.0
"""Pieces of a reach: so short that the bend is seen as smooth."""
MOST_POINTS = 20_000


@dataclass(frozen=True)
class Pull:
    """The place of a line that is held, (`x_px`, `y_px`), how far it is pulled to the right and down, and over how
    much of the line at either side that dies away (`reach_px`, a standard deviation); all in pixels of the photo."""

    x_px: float
    y_px: float
    right_px: float
    down_px: float
    reach_px: float


def bent(ring: Points, pulls: Sequence[Pull]) -> Points:
    """Return a closed line (n, 2) [px] with every pull laid on it.

    A point at the distance s along the line from the place that is held moves by exp(-(s / reach)^2 / 2) of the pull;
    pulls add up, in whatever order. What lies further off than a few reaches stays to the bit, but for points put in.
    Raises PictureError where the line crosses itself then.
    """
    moved = [pull for pull in pulls if pull.right_px or pull.down_px]
    if not moved:
        return ring
    longest = max(min(pull.reach_px for pull in moved) / _STEPS, shapely.LinearRing(ring).length / MOST_POINTS)
    line = shapely.segmentize(shapely.LinearRing(ring), longest)
    points = shapely.get_coordinates(line)[:-1]
    along = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))))
    out = points.copy()
    for pull in moved:
        held = float(line.project(shapely.Point(pull.x_px, pull.y_px)))
        away = np.abs(along - held)
        away = np.minimum(away, float(line.length) - away)
        share = np.exp(-0.5 * (away / pull.reach_px) ** 2)
        out += share[:, None] * np.array([pull.right_px, pull.down_px])
    if not shapely.Polygon(out).is_valid:
        rule = "the line crosses itself where it was pulled"
        raise PictureError(Problem(rule, "pull less, or pull the next handle along", field="outline"))
    return np.asarray(out)
