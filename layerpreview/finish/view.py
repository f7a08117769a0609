"""Where the eye and the lamp stand."""

from __future__ import annotations

from dataclasses import dataclass

from layerpreview.errors import InputError, Problem
from layerpreview.film import Light
from layerpreview.finish.surroundings import EVEN_LIGHT, MAIN_LAMP_FROM_DEG, SoftLamp, Surroundings

MOST_VIEW_DEG, MOST_LAMP_DEG = 85.0, 80.0
LAMP_SIZE_DEG = 10.0


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
        lamp = SoftLamp(MAIN_LAMP_FROM_DEG, 90.0 - self.lamp_deg, LAMP_SIZE_DEG, 1.0)
        return Surroundings("lamp", 0.0, (lamp,)).light(turned_deg=turned_deg)

    def from_azimuth_deg(self, *, turned_deg: float = 0.0) -> float:
        """On which side the eye stands, counted from the picture's right to its bottom; it turns with a lamp."""
        side = 90.0 if self.lamp_deg is None else MAIN_LAMP_FROM_DEG + turned_deg - 90.0
        return side if self.view_deg >= 0.0 else side + 180.0

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
            turned = f"_{self.around.name}{turned}"
        return turned + (f"_lamp{self.lamp_deg:g}" if self.lamp_deg is not None else "")


STRAIGHT_ON = View()
