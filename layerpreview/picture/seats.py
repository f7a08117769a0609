"""What the masked zones of a face keep: laid over its picture, since no coat reaches it and no metal either."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from layerpreview.colour import display_matrix
from layerpreview.finish.layers import colour_spectrum
from layerpreview.picture.faces import FaceShape, shapes_of
from layerpreview.scheme import Face, Scheme, Zone
from layerpreview.surface.sample import PixelGrid
from layerpreview.surface.zones import zone_field, zone_share

F32 = NDArray[np.float32]


def kept_zones(scheme: Scheme, face: Face) -> list[tuple[Zone, str]]:
    """The masked zones of a face that show another surface than its base, and its colour."""
    kept = [(zone, scheme.kept_by(zone, face)) for zone in face.zones]
    return [(zone, colour) for zone, colour in kept if colour is not None]


@dataclass(frozen=True)
class Seat:
    """A masked zone by its name and face, and a place (x, y) in its middle [mm]."""

    name: str
    face: str
    x_mm: float
    y_mm: float


def seats_of(scheme: Scheme) -> list[Seat]:
    """Where each masked zone of a scheme lies, whatever it shows; raises what `shapes_of` raises."""
    seats = []
    for shape in shapes_of(scheme):
        for name in shape.masked:
            largest = max(shape.regions[name].shape.geoms, key=lambda part: float(part.area))
            middle = largest.centroid
            if not largest.contains(middle):  # a ring or a hook: its middle is not on it
                middle = shapely.point_on_surface(largest)
            seats.append(Seat(name, shape.face.name, round(float(middle.x), 2), round(float(middle.y), 2)))
    return seats


def seen_as(colour: str, light: str, *, observer_deg: int) -> F32:
    """What a colour shows under `light`, linear display RGB (3,)."""
    seen = display_matrix(light, observer_deg=observer_deg) @ colour_spectrum(colour)
    return np.asarray(seen, dtype=np.float32)


class Seats:
    """The masked zones of a face that show another surface than its base, on a pixel grid."""

    def __init__(self, scheme: Scheme, shape: FaceShape, grid: PixelGrid) -> None:
        self._grid, self._observer_deg = grid, scheme.observer_deg
        self._zones = [
            (zone_field(shape.regions[zone.name], grid), zone.edge_mm, colour)
            for zone, colour in kept_zones(scheme, shape.face)
        ]

    def shares(self, y0: int, y1: int) -> F32:
        """How much of each pixel each zone is (zones, P), 0..1, for rows y0 to y1."""
        shares = np.empty((len(self._zones), (y1 - y0) * self._grid.n_cols), dtype=np.float32)
        for share, (border_mm, edge_mm, _) in zip(shares, self._zones, strict=True):
            rows = border_mm.rows(y0, y1).ravel()
            share[:] = zone_share(rows, pixel_mm=self._grid.pixel_mm, edge_mm=edge_mm)
        return shares

    def over(self, rgb: F32, shares: F32, light: str, shade: F32 | None = None) -> F32:
        """Linear display RGB (3, P) with what the zones keep laid over it, as it looks under `light` without dye.

        `shares` (zones, P); `shade` (P,): how brightly each pixel of a solid body is lit, 1 where it is not given.
        """
        for share, (_, _, colour) in zip(shares, self._zones, strict=True):
            seen = seen_as(colour, light, observer_deg=self._observer_deg)
            lit = seen[:, None] * (np.float32(1.0) if shade is None else shade)
            rgb = rgb + share * (lit - rgb)
        return rgb
