"""A line pulled by hand: exists for a handle that does not come to lie under the finger, a bend that reaches all round
the part, and one that stops where the line happens to begin."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from layerpreview.errors import PictureError
from layerpreview.surface.bent import Pull, bent
from layerpreview.surface.outline import Points

BOX = np.array([[40.0, 30.0], [340.0, 30.0], [340.0, 230.0], [40.0, 230.0]])
REACH = 24.0


def away_px(ring: Points, x_px: float, y_px: float) -> float:
    """How far a place lies from a line."""
    return float(shapely.LinearRing(ring).distance(shapely.Point(x_px, y_px)))


def test_what_is_held_comes_along_whole_and_the_rest_as_a_bell_says() -> None:
    """Along a straight side every point moves by exp(-(s / reach)^2 / 2) of the pull."""
    made = bent(BOX, [Pull(190.0, 30.0, 0.0, -17.0, REACH)])
    top = made[(made[:, 1] < 31.0) & (np.abs(made[:, 0] - 190.0) < 100.0)]
    assert len(top) > 40
    expected = 30.0 - 17.0 * np.exp(-0.5 * ((top[:, 0] - 190.0) / REACH) ** 2)
    assert top[:, 1] == pytest.approx(expected, abs=1e-9)
    assert away_px(made, 190.0, 13.0) < 0.02
    assert made[made[:, 1] > 200.0][:, 0].max() == 340.0


def test_a_bend_goes_on_over_the_place_where_the_line_begins() -> None:
    made = bent(BOX, [Pull(40.0, 30.0, -9.0, -5.0, REACH)])
    assert away_px(made, 31.0, 25.0) < 1e-9
    near = 24.0  # one reach along either side: exp(-1/2) of the pull
    share = float(np.exp(-0.5))
    for x_px, y_px in ((40.0 + near, 30.0), (40.0, 30.0 + near)):
        assert away_px(made, x_px - 9.0 * share, y_px - 5.0 * share) < 0.05


def test_pulls_add_up_in_any_order() -> None:
    pulls = [Pull(100.0, 30.0, 3.0, -8.0, 20.0), Pull(150.0, 30.0, 0.0, 12.0, 35.0), Pull(340.0, 90.0, 7.0, 1.0, 20.0)]
    assert bent(BOX, pulls) == pytest.approx(bent(BOX, pulls[::-1]), abs=1e-9)


def test_no_pull_leaves_the_line_as_it_was() -> None:
    assert bent(BOX, []) is BOX
    assert bent(BOX, [Pull(100.0, 30.0, 0.0, 0.0, REACH)]) is BOX


def test_a_line_that_would_cross_itself_is_refused() -> None:
    with pytest.raises(PictureError, match="crosses itself"):
        bent(BOX, [Pull(190.0, 30.0, 0.0, 260.0, REACH)])
