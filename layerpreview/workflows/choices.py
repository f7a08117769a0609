"""Choices that several commands have in common: lights, and angles of the eye and the lamp as people type them."""

from __future__ import annotations

from collections.abc import Sequence

from layerpreview.colour import LIGHT_NAMES
from layerpreview.errors import InputError, Problem
from layerpreview.finish.view import MOST_LAMP_DEG, MOST_VIEW_DEG, View
from layerpreview.scheme import Scheme

MARGIN = 0.05
"""Ground around the pictures of a part, as a share of its widest face."""


def with_lights(scheme: Scheme, lights: Sequence[str] | None) -> Scheme:
    """The scheme under other lights than its own. Raises InputError for unknown ones, all at once."""
    if not lights:
        return scheme
    by_lower = {name.lower(): name for name in LIGHT_NAMES}
    lights = [by_lower.get(light.strip().lower(), light) for light in lights]
    remedy = f"use one of {', '.join(LIGHT_NAMES)}"
    problems = [
        Problem(field="--light", value=light, rule="no such light", remedy=remedy)
        for light in lights
        if light not in LIGHT_NAMES
    ]
    if problems:
        raise InputError(problems)
    return scheme.model_copy(update={"lights": tuple(dict.fromkeys(lights))})


def views_from(text: str, lamp_deg: float | None) -> list[View]:
    """The views in "0,15,45,70", each once and in the order written, under a lamp or even light.

    Raises InputError listing every angle that is no number or out of range, the lamp's among them.

    >>> [view.view_deg for view in views_from("0, 45", None)]
    [0.0, 45.0]
    """
    problems, angles = list(_lamp_problems(lamp_deg)), []
    for part in text.split(","):
        try:
            angle = float(part)
        except ValueError:
            rule = "not a number"
        else:
            angles.append(angle)
            if -MOST_VIEW_DEG <= angle <= MOST_VIEW_DEG:
                continue
            rule = f"a view must lie between {-MOST_VIEW_DEG:g} and {MOST_VIEW_DEG:g} degrees"
        problems.append(Problem(rule, "write for example 0,15,45,70", field="--view", value=part.strip()))
    if problems:
        raise InputError(problems)
    return list(dict.fromkeys(View(angle, lamp_deg) for angle in angles))


def check_lamp(lamp_deg: float | None) -> None:
    """Raise InputError where the lamp's angle is out of range."""
    if problems := _lamp_problems(lamp_deg):
        raise InputError(problems)


def _lamp_problems(lamp_deg: float | None) -> list[Problem]:
    if lamp_deg is None or 0.0 <= lamp_deg <= MOST_LAMP_DEG:
        return []
    rule = f"a lamp must lie between 0 and {MOST_LAMP_DEG:g} degrees from straight on"
    return [Problem(rule, "write for example 45", field="--lamp", value=f"{lamp_deg:g}")]
