"""Where the part is looked at: eye, lamps, surroundings; even light for numbers, rooms with soft lamps for pictures.

One exposure for all: a white card that lies level in the middle of the picture is 1. The figures of the rooms are
assumed, set by eye.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from layerpreview.colour import LIFELIKE, NOT_ROLLED
from layerpreview.errors import InputError, Problem
from layerpreview.film import Lamp, Light
from layerpreview.scheme import Scheme

MOST_VIEW_DEG, MOST_LAMP_DEG = 85.0, 80.0
LAMP_SIZE_DEG = 10.0


@dataclass(frozen=True)
class SoftLamp:
    """A soft round lamp far away: where it stands, how large it looks, how much of the light it gives.

    `from_deg`: clockwise from the top of the picture [deg]; `height_deg`: above the panel, 0..90 [deg]; `size_deg`:
    its diameter as the panel sees it [deg]; `power`: of the light that it gives a level card, against the others. A
    `window` is mirrored as four panes of the same size.
    """

    from_deg: float
    height_deg: float
    size_deg: float
    power: float
    window: bool = False


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
        Surroundings(
            "window",
            0.35,
            (SoftLamp(300.0, 41.0, 34.0, 0.5, window=True), SoftLamp(95.0, 20.0, 18.0, 0.08)),
        ),
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


def surroundings_of(scheme: Scheme, name: str, *, field: str = "around") -> Surroundings:
    """The surroundings of a name: the scheme's own, else one of SURROUNDINGS. Raises InputError for no such name."""
    if (room := scheme.rooms.get(name)) is not None:
        lamps = tuple(SoftLamp(lamp.from_deg, lamp.height_deg, lamp.size_deg, lamp.power) for lamp in room.lamps)
        return Surroundings(name, room.even, lamps)
    if name not in SURROUNDINGS:
        known = ", ".join([*scheme.rooms, *SURROUNDINGS])
        raise InputError(Problem("no such surroundings", f"use one of {known}", field=field, value=name))
    return SURROUNDINGS[name]


@dataclass(frozen=True)
class View:
    """The viewing geometry, angles in air from straight on [deg], and the surroundings.

    `view_deg`: of the eye, a positive angle from below the part; under a lamp from the lamp's side, a negative one from
    the mirror side. `lamp_deg`: of a single small lamp that replaces all other light. `around`: else where the part is
    looked at. Raises InputError for an angle out of range.
    """

    view_deg: float = 0.0
    lamp_deg: float | None = None
    around: Surroundings = EVEN_LIGHT

    def __post_init__(self) -> None:
        if not -MOST_VIEW_DEG <= self.view_deg <= MOST_VIEW_DEG:
            rule = f"it must lie between {-MOST_VIEW_DEG:g} and {MOST_VIEW_DEG:g}"
            raise InputError(Problem(rule, field="view_deg", value=f"{self.view_deg:g}"))
        if self.lamp_deg is not None and not 0.0 <= self.lamp_deg <= MOST_LAMP_DEG:
            rule = f"it must lie between 0 and {MOST_LAMP_DEG:g}"
            raise InputError(Problem(rule, field="lamp_deg", value=f"{self.lamp_deg:g}"))

    def light(self, *, turned_deg: float = 0.0) -> Light:
        """What falls on the part, the surroundings turned clockwise about it by `turned_deg`."""
        if self.lamp_deg is None:
            return self.around.light(turned_deg=turned_deg)
        return Light(0.0, (Lamp(self.lamp_deg, _main_lamp_azimuth_deg(turned_deg), 0.5 * LAMP_SIZE_DEG, 1.0),))

    def from_azimuth_deg(self, *, turned_deg: float = 0.0) -> float:
        """On which side the eye stands, counted from the picture's right to its bottom; it turns with a lamp."""
        side = 90.0 if self.lamp_deg is None else _main_lamp_azimuth_deg(turned_deg)
        return side if self.view_deg >= 0.0 else side + 180.0

    @property
    def rolled_from(self) -> float:
        """From which lightness the screen's highlights are bent: see `colour.on_screen`."""
        return NOT_ROLLED if self.lamp_deg is None and self.around == EVEN_LIGHT else LIFELIKE

    @property
    def words(self) -> str:
        """The geometry in plain words.

        >>> View(-30.0, 45.0).words
        'seen 30 deg from straight on, mirror side, lamp at 45 deg'
        """
        if self.view_deg == 0.0:
            seen = "seen straight on"
        else:
            seen = f"seen {abs(self.view_deg):g} deg from straight on"
            if self.lamp_deg is not None:
                seen += ", lamp's side" if self.view_deg > 0.0 else ", mirror side"
        if self.lamp_deg is not None:
            return f"{seen}, lamp at {self.lamp_deg:g} deg"
        return seen if self.around == EVEN_LIGHT else f"{seen}, {self.around.name}"

    @property
    def file_words(self) -> str:
        """The geometry in the name of a file, nothing for straight on.

        >>> View(-30.0, 45.0).file_words
        '_view-30_lamp45'
        """
        turned = f"_view{self.view_deg:g}" if self.view_deg or self.lamp_deg is not None else ""
        if self.lamp_deg is None and self.around != EVEN_LIGHT:
            named = re.sub(r"[^\w-]+", "_", self.around.name)  # a name is no way to another folder
            turned = f"_{named}{turned}"
        return turned + (f"_lamp{self.lamp_deg:g}" if self.lamp_deg is not None else "")


def _main_lamp_azimuth_deg(turned_deg: float) -> float:
    """Counted from the picture's right to its bottom."""
    return MAIN_LAMP_FROM_DEG + turned_deg - 90.0


STRAIGHT_ON = View()
