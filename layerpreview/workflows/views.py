"""Viewing angles as people type them."""

from __future__ import annotations

from layerpreview.errors import InputError, Problem
from layerpreview.preview.view import View


def views_from(text: str, lamp_deg: float | None) -> list[View]:
    """The views in "0,15,45,70", each once and in the order written, under a lamp or even light.

    Raises InputError listing every angle that is no number or out of range.

    >>> [view.view_deg for view in views_from("0, 45", None)]
    [0.0, 45.0]
    """
    problems, views = [], []
    for part in text.split(","):
        try:
            views.append(View(float(part), lamp_deg))
        except ValueError as error:
            rule = str(error) if "must" in str(error) else "not a number"
            problems.append(
                Problem(field="--view", value=part.strip(), rule=rule, remedy="write for example 0,15,45,70")
            )
    if problems:
        raise InputError(problems)
    return list(dict.fromkeys(views))
