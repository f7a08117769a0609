"""Where on the part something is: the opening or zone that was touched, and a place where a coat lands."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from layerpreview.desk.jobs import Read
from layerpreview.desk.surveyed import surveyed
from layerpreview.errors import InputError, Problem
from layerpreview.picture.faces import FaceShape

MOST_RING = 60
RING_MM = 0.3
"""How far the told border of a zone may lie from its own."""


def openings_told(shape: FaceShape) -> list[dict[str, Any]]:
    """Openings by name, their middle and their edge [mm, at most 60 points]."""
    found = []
    for name, ring in shape.outline.openings.items():
        step = max(1, -(-len(ring) // MOST_RING))
        middle = 0.5 * (ring.min(axis=0) + ring.max(axis=0))
        found.append({"name": name, "at_mm": np.round(middle, 1).tolist(), "ring": np.round(ring[::step], 1).tolist()})
    return found


def rings_told(shape: FaceShape, name: str) -> list[list[list[float]]]:
    """The borders of a zone as it was taped, closed lines [mm]: round its parts one way and round what is left out of
    them the other, so that the zone lies at the same side of all."""
    rings: list[list[list[float]]] = []
    for part in shape.regions[name].whole.geoms:
        slim: Any = part.simplify(RING_MM)
        turned = shapely.geometry.polygon.orient(slim)
        lines = (turned.exterior, *turned.interiors)
        rings += [np.round(shapely.get_coordinates(line)[:-1], 1).tolist() for line in lines]
    return rings


def within(shape: FaceShape, x_mm: float, y_mm: float) -> list[dict[str, Any]]:
    """The openings and zones that a place lies in, and how large each is [mm]."""
    point = shapely.Point(x_mm, y_mm)
    found = [
        _told("opening", name, ring)
        for name, ring in shape.outline.openings.items()
        if shapely.Polygon(ring).contains(point)
    ]
    for zone in shape.face.zones:
        region = shape.regions[zone.name].shape
        if region.contains(point):
            corners = np.array(region.bounds).reshape(2, 2)
            found.append({**_told("zone", zone.name, corners), "masked": zone.masked})
    return found


def _told(kind: str, name: str, points: NDArray[np.float64]) -> dict[str, Any]:
    width, height = points.max(axis=0) - points.min(axis=0)
    return {"kind": kind, "name": name, "width_mm": round(float(width), 1), "height_mm": round(float(height), 1)}


def place_of_coat(read: Read, index: int) -> tuple[str, float, float]:
    """The face and the place [mm] to show a coat at: where some of it lands, as far from every edge as that allows.

    Raises InputError for no such coat, or one that lands nowhere.
    """
    if not 0 <= index < len(read.scheme.coats):
        raise InputError(Problem("there is no coat of this number", field="coat", value=str(index)))
    place = surveyed(read).landings[index]
    if place is None:
        raise InputError(Problem("this coat lands nowhere", "look at its zones and widths", field="coat"))
    return place
