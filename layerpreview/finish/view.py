"""Where the eye and the lamp stand."""

from __future__ import annotations

from dataclasses import dataclass

from layerpreview.errors import InputError, Problem

MOST_VIEW_DEG, MOST_LAMP_DEG = 85.0, 80.0


@dataclass(frozen=True)
class View:
    """The viewing geometry, angles in air from straight on [deg].

    `view_deg`: of the eye; under a lamp a positive angle is on the lamp's side and a negative one on the mirror side.
    `lamp_deg`: of a single small lamp, or None for even light from all round (with soft lamps to show a relief).
    Raises InputError for an angle out of range.
    """

    view_deg: float = 0.0
    lamp_deg: float | None = None

    def __post_init__(self) -> None:
        if not -MOST_VIEW_DEG <= self.view_deg <= MOST_VIEW_DEG:
            rule = f"it must lie between {-MOST_VIEW_DEG:g} and {MOST_VIEW_DEG:g}"
            raise InputError(Problem(rule, field="view_deg", value=f"{self.view_deg:g}"))
        if self.lamp_deg is not None and not 0.0 <= self.lamp_deg <= MOST_LAMP_DEG:
            rule = f"it must lie between 0 and {MOST_LAMP_DEG:g}"
            raise InputError(Problem(rule, field="lamp_deg", value=f"{self.lamp_deg:g}"))

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
        return seen if self.lamp_deg is None else f"{seen}, lamp at {self.lamp_deg:g} deg"

    @property
    def file_words(self) -> str:
        """The geometry in the name of a file, nothing for straight on.

        >>> View(-30.0, 45.0).file_words
        '_view-30_lamp45'
        """
        turned = f"_view{self.view_deg:g}" if self.view_deg or self.lamp_deg is not None else ""
        return turned + (f"_lamp{self.lamp_deg:g}" if self.lamp_deg is not None else "")


STRAIGHT_ON = View()
