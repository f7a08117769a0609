"""What falls on the part: light from all round, and lamps that look as large as their discs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

F64 = NDArray[np.float64]


@dataclass(frozen=True)
class Lamp:
    """A round lamp far away: `zenith_deg` from straight on, `azimuth_deg` in the picture's plane (from right to down),
    `half_angle_deg` of its disc as the part sees it, `share` of the light on a level white card [0..1]."""

    zenith_deg: float
    azimuth_deg: float
    half_angle_deg: float
    share: float


@dataclass(frozen=True)
class Light:
    """What falls on the part: an `even` part from all round, and lamps; a level white card is 1, so shares sum to 1."""

    even: float = 1.0
    lamps: tuple[Lamp, ...] = ()

    def __post_init__(self) -> None:
        if abs(self.even + sum(lamp.share for lamp in self.lamps) - 1.0) > 1e-6:
            raise ValueError("the shares of the even part and of the lamps must sum to 1")


EVEN = Light()


def lamp_at(zenith_deg: float | None) -> Light:
    """One small lamp alone, at azimuth 0, so that positive views are on its side; even light where there is none."""
    if zenith_deg is None:
        return EVEN
    return Light(0.0, (Lamp(zenith_deg, 0.0, 0.0, 1.0),))


def lamp_disc(lamp_deg: float, half_angle_deg: float, *, rings: int = 6, spokes: int = 24) -> tuple[F64, F64, F64]:
    """Points of a lamp's disc: zeniths [deg], azimuths from its middle [rad], shares of its irradiance (sum 1)."""
    if half_angle_deg == 0.0:
        return np.array([lamp_deg]), np.zeros(1), np.ones(1)
    x, w = np.polynomial.legendre.leggauss(rings)
    radius = np.radians(half_angle_deg) * np.sqrt(0.5 * (x + 1.0))  # equal areas of the disc
    turn = 2.0 * np.pi * (np.arange(spokes) + 0.5) / spokes
    centre = np.radians(lamp_deg)
    # A small circle around the lamp's direction, in the frame where that direction is the pole.
    r, a = (v.ravel() for v in np.meshgrid(radius, turn, indexing="ij"))
    up = np.cos(r) * np.cos(centre) - np.sin(r) * np.cos(a) * np.sin(centre)
    along = np.cos(r) * np.sin(centre) + np.sin(r) * np.cos(a) * np.cos(centre)
    across = np.sin(r) * np.sin(a)
    share = np.repeat(0.5 * w, spokes) / spokes * np.maximum(up, 0.0)
    return np.degrees(np.arccos(np.clip(up, -1, 1))), np.arctan2(across, along), share / share.sum()
