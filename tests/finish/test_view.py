"""Where the eye and the lamp stand: exists for an end of the range that is refused, or one beyond it that is let in."""

from __future__ import annotations

import pytest

from layerpreview.errors import InputError
from layerpreview.finish.view import STRAIGHT_ON, View


@pytest.mark.parametrize(("view", "lamp"), [(85.0, None), (-85.0, 80.0), (0.0, 0.0), (12.0, 0.4)])
def test_the_ends_are_in(view: float, lamp: float | None) -> None:
    assert (View(view, lamp).view_deg, View(view, lamp).lamp_deg) == (view, lamp)


@pytest.mark.parametrize(
    ("view", "lamp", "said"),
    [
        (85.1, None, "view_deg is 85.1: it must lie between -85 and 85"),
        (-85.1, 45.0, "view_deg is -85.1: it must lie between -85 and 85"),
        (0.0, 80.1, "lamp_deg is 80.1: it must lie between 0 and 80"),
        (0.0, -0.1, "lamp_deg is -0.1: it must lie between 0 and 80"),
    ],
)
def test_beyond_the_ends_is_told_with_them(view: float, lamp: float | None, said: str) -> None:
    with pytest.raises(InputError, match="must lie between") as caught:
        View(view, lamp)
    (problem,) = caught.value.problems
    assert f"{problem.field} is {problem.value}: {problem.rule}" == said


@pytest.mark.parametrize(
    ("view", "lamp", "words"),
    [
        (0.0, None, "seen straight on"),
        (0.0, 45.0, "seen straight on, lamp at 45 deg"),
        (0.5, None, "seen 0.5 deg from straight on"),
        (-20.0, None, "seen 20 deg from straight on"),
        (0.5, 10.0, "seen 0.5 deg from straight on, lamp's side, lamp at 10 deg"),
        (-20.0, 45.0, "seen 20 deg from straight on, mirror side, lamp at 45 deg"),
    ],
)
def test_words(view: float, lamp: float | None, words: str) -> None:
    assert View(view, lamp).words == words


def test_without_a_wish_straight_on_under_the_sky() -> None:
    assert (STRAIGHT_ON.view_deg, STRAIGHT_ON.lamp_deg) == (0.0, None)
