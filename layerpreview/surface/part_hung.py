"""Whether something hangs at a part's edge: tape, cloth or a cup of its own colour that touches it."""

from __future__ import annotations

import numpy as np
import shapely

from layerpreview.surface.outline import Points

_ROUNDS = (0.03, 0.05, 0.07)  # radii of what is rolled inside the part, as shares of the root of its area
_LEAST_PIECE = 0.003  # of the part's area: what the rolled disc does not reach
_NECK = 1.2  # times as wide as where it hangs: a part's own tips are widest there, a thing that touches is not
_TOUCHES = 0.02  # of the radius


def hung_at(ring: Points) -> tuple[float, float] | None:
    """Return the middle (x, y) of the largest piece that hangs at a ring (n, 2) by a neck, in the ring's unit; or None.

    A disc is rolled about inside the ring (a morphological opening): corners, horns and tips that it does not reach are
    widest where they begin. A piece that is wider further out touches the part only.
    """
    part = shapely.make_valid(shapely.Polygon(ring))
    found: list[tuple[float, Points]] = []
    for share in _ROUNDS:
        radius = share * float(np.sqrt(part.area))
        rolled = part.buffer(-radius).buffer(radius * (1 + _TOUCHES))
        for piece in shapely.get_parts(part.difference(rolled)):
            neck = shapely.get_coordinates(piece.boundary.intersection(rolled.buffer(_TOUCHES * radius)))
            if piece.area > _LEAST_PIECE * part.area and len(neck) > 1 and _wider_than(piece, neck):
                found.append((float(piece.area), shapely.get_coordinates(piece.centroid)[0]))
    if not found:
        return None
    x, y = max(found, key=lambda pair: pair[0])[1]
    return float(x), float(y)


def _wider_than(piece: shapely.Polygon, neck: Points) -> bool:
    """Whether a piece reaches further along the line of its neck than the neck does."""
    along = np.linalg.svd(neck - neck.mean(axis=0))[2][0]
    return bool(np.ptp(shapely.get_coordinates(piece) @ along) > _NECK * np.ptp(neck @ along))
