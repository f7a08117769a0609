"""Where the part is looked at: even light for numbers, and rooms with soft lamps for pictures.

One exposure for all: a white card that lies level in the middle of the picture is 1. The figures of the rooms are
assumed, set by eye.
"""

from __future__ import annotations

from dataclasses import dataclass

from layerpreview.film import Lamp, Light


@dataclass(frozen=True)
class SoftLamp:
    """A soft round lamp far away: where it stands, how large it looks, how much of the light it gives.

    `from_deg`: clockwise from the top of the picture [deg]; `height_deg`: above the panel, 0..90 [deg]; `size_deg`:
    its diameter as the panel sees it [deg]; `power`: of the light that it gives a level card, against the others.
    """

    from_deg: float
    height_deg: float
    size_deg: float
    power: float


@dataclass(frozen=True)
class Surroundings:
    """Light from all round of the power `even`, and lamps; only the proportions of the powers matter."""

    name: str
    even: float
    lamps: tuple[SoftLamp, ...] = ()

    def light(self, *, turned_deg: float = 0.0) -> Light:
        """What falls on the part, all lamps turned clockwise about it by `turned_deg`."""
        whole = self.even + sum(lamp.power for lamp in self.lamps)
        return Light(
            self.even / whole,
            tuple(
                Lamp(
                    zenith_deg=90.0 - lamp.height_deg,
                    azimuth_deg=lamp.from_deg + turned_deg - 90.0,
                    half_angle_deg=0.5 * lamp.size_deg,
                    share=lamp.power / whole,
                )
                for lamp in self.lamps
            ),
        )


MAIN_LAMP_FROM_DEG = 315.0
EVEN_LIGHT = Surroundings("even", 1.0)
SURROUNDINGS = {
    room.name: room
    for room in (
        EVEN_LIGHT,
        Surroundings(
            "workshop",
            0.35,
            (SoftLamp(315.0, 50.0, 20.0, 0.40), SoftLamp(80.0, 35.0, 36.0, 0.12), SoftLamp(180.0, 35.0, 36.0, 0.15)),
        ),
        Surroundings("window", 0.3, (SoftLamp(290.0, 40.0, 50.0, 0.7),)),
        Surroundings("sun", 0.2, (SoftLamp(315.0, 50.0, 3.0, 0.8),)),
        Surroundings("overcast", 0.3, (SoftLamp(0.0, 80.0, 100.0, 0.7),)),
        Surroundings(
            "stage",
            0.04,
            (SoftLamp(300.0, 40.0, 6.0, 0.5), SoftLamp(45.0, 45.0, 6.0, 0.3), SoftLamp(170.0, 30.0, 8.0, 0.2)),
        ),
    )
}
"""Surroundings by name."""
