"""Where coats land: exists for strokes laid over another box than the one that is painted, and along another edge than
the one a burst starts at."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from layerpreview.answers.landing import Place, place_of
from layerpreview.picture.maps import FacePicture
from layerpreview.picture.scene import make_scene
from layerpreview.scheme import Scheme, load_scheme

from ..schemes import DYES, HEAD, MIXES, PANEL, SILVER

Save = Callable[..., Path]
OPENINGS = (
    '[[face.opening]]\nname = "slot"\nshape = "panel"\nwidth = "4 mm"\nheight = "10 mm"\ncentre = ["54 mm", "12 mm"]\n'
    '[[face.opening]]\nname = "hole"\nshape = "disc"\ndiameter = "16 mm"\ncentre = ["20 mm", "24 mm"]\n'
)
# 20 mm round and 30 mm long.
TUBE = f'[[face]]\nname = "front"\nshape = "tube"\ndiameter = "{20.0 / math.pi:.6f} mm"\nlength = "30 mm"\n'
VENT = '[[face.opening]]\nname = "vent"\nshape = "disc"\ndiameter = "6 mm"\ncentre = ["12 mm", "9 mm"]\n'
LINE = '{ from = "line", at = ["32 mm", "20 mm"], angle = "0 deg", width = "9 mm", fall_off = "soft" }'


def burst(source: str, width_mm: float = 7.0) -> str:
    return f'{{ from = "{source}", width = "{width_mm:g} mm", fall_off = "soft" }}'


def sprayed(save_scheme: Save, face: str, *bursts: str, width_px: int = 64) -> tuple[Scheme, FacePicture]:
    """A scheme of one coat that is these bursts, and its face; the panel has pixels of 1 mm."""
    fades = f"burst = [{', '.join(bursts)}]\n" if bursts else ""
    coat = f'[[coat]]\nmix = "sea"\ncoats = 2\nfilm = "30 um"\n{fades}'
    scheme = load_scheme(save_scheme(HEAD + face + SILVER + DYES + MIXES + coat))
    return scheme, make_scene(scheme, width_px=width_px).faces[0].picture


def landed(scheme: Scheme, picture: FacePicture) -> Place:
    painted = np.ones(picture.grid.n_rows * picture.grid.n_cols, dtype=bool)
    painted[:5] = False
    place = place_of(scheme, picture, scheme.coats[0], painted)
    assert place is not None
    return place


def at(place: Place, picture: FacePicture, x_mm: float, y_mm: float) -> tuple[float, float]:
    """What the place says of the pixel that holds a point."""
    grid = picture.grid
    pixel = int((y_mm - grid.top_mm) / grid.pixel_mm) * grid.n_cols + int((x_mm - grid.left_mm) / grid.pixel_mm)
    return float(place.x_mm[pixel]), float(place.y_mm[pixel])


def test_over_a_box_strokes_cover_what_is_painted_and_no_more(save_scheme: Save) -> None:
    """Columns 10 to 29 and rows 5 to 16 of 1 mm: 20 by 12 mm, from the first; what lies outside, at the side."""
    scheme, picture = sprayed(save_scheme, PANEL)
    painted = np.zeros((48, 64), dtype=bool)
    painted[5:17, 10:30] = True
    painted[5, 10] = painted[16, 29] = False  # a round corner
    place = place_of(scheme, picture, scheme.coats[0], painted.ravel())
    assert place is not None
    assert (place.width_mm, place.height_mm) == pytest.approx((20.0, 12.0))
    assert (place.along_edge, place.wraps) == (False, False)
    for point, found in (
        ((10.5, 5.5), (0.0, 0.0)),
        ((29.5, 16.5), (19.0, 11.0)),
        ((13.5, 9.5), (3.0, 4.0)),
        ((2.5, 9.5), (0.0, 4.0)),
        ((60.5, 1.5), (20.0, 0.0)),
        ((13.5, 45.5), (3.0, 12.0)),
    ):
        assert at(place, picture, *point) == pytest.approx(found)
    assert place_of(scheme, picture, scheme.coats[0], np.zeros(48 * 64, dtype=bool)) is None
    some = place.at(np.array([9 * 64 + 13, 5 * 64 + 10]))
    assert (some.x_mm.tolist(), some.y_mm.tolist()) == (pytest.approx([3.0, 0.0]), pytest.approx([4.0, 0.0]))
    assert (some.width_mm, some.height_mm) == (place.width_mm, place.height_mm)


QUARTERS = ((10.5, 10.5, 5 / 8), (-10.5, 10.5, 7 / 8), (10.5, -10.5, 3 / 8), (-10.5, -10.5, 1 / 8))
"""Steps from the middle, and how far round that is: from the left by the top, the way angles grow."""


def test_along_the_outer_edge(save_scheme: Save) -> None:
    """2 (64 + 48) = 224 mm round the middle of the panel; across, the distance from the edge, 15 mm at most."""
    scheme, picture = sprayed(save_scheme, PANEL + OPENINGS, LINE, burst("outline", 15.0), burst("hole", 4.0))
    place = landed(scheme, picture)
    assert place.along_edge
    assert (place.width_mm, place.height_mm) == pytest.approx((15.0, 224.0))
    for right, down, turned in QUARTERS:
        across, along = at(place, picture, 32.0 + right, 24.0 + down)
        assert along == pytest.approx(224.0 * turned)
        assert across == pytest.approx(13.5, abs=0.05)
    assert at(place, picture, 31.5, 24.5)[0] == 15.0
    assert at(place, picture, 0.5, 30.5)[0] == pytest.approx(0.5, abs=0.05)


@pytest.mark.parametrize(
    ("source", "middle", "length", "near"),
    [("hole", (20.0, 24.0), 16.0 * math.pi, (34.5, 24.5, 6.5)), ("openings", (54.0, 12.0), 28.0, (54.5, 1.5, 5.5))],
)
def test_along_the_edge_of_an_opening(
    save_scheme: Save, source: str, middle: tuple[float, float], length: float, near: tuple[float, float, float]
) -> None:
    """The one that is named, 16 mm across; of all of them the first, 4 by 10 mm. The others' edges are no edges."""
    scheme, picture = sprayed(save_scheme, PANEL + OPENINGS, burst(source))
    place = landed(scheme, picture)
    assert place.along_edge
    assert (place.width_mm, place.height_mm) == pytest.approx((7.0, length), rel=2e-3)
    for right, down, turned in QUARTERS:
        at_mm = middle[0] + 0.7 * right, middle[1] + 0.7 * down
        x, y = (math.floor(mm) + 0.5 for mm in at_mm)
        by_hand = math.atan2(y - middle[1], x - middle[0]) / (2.0 * math.pi) + 0.5
        assert by_hand == pytest.approx(turned, abs=0.02)
        assert at(place, picture, *at_mm)[1] == pytest.approx(place.height_mm * by_hand)
    assert at(place, picture, near[0], near[1])[0] == pytest.approx(near[2], abs=0.05)
    assert at(place, picture, *middle)[0] == 0.0


def test_a_burst_from_no_edge_lies_over_a_box(save_scheme: Save) -> None:
    scheme, picture = sprayed(save_scheme, PANEL, LINE)
    place = landed(scheme, picture)
    assert not place.along_edge
    assert (place.width_mm, place.height_mm) == pytest.approx((64.0, 48.0))


def test_round_a_tube(save_scheme: Save) -> None:
    """20 mm round the upper rim and then 20 mm round the lower; a box wraps; an opening has an edge like any other."""
    scheme, picture = sprayed(save_scheme, TUBE + VENT, burst("outline"), width_px=40)
    place = landed(scheme, picture)
    assert (place.along_edge, place.wraps) == (True, False)
    assert (place.width_mm, place.height_mm) == pytest.approx((7.0, 40.0), rel=1e-4)
    pixel_mm = picture.grid.pixel_mm
    for x_mm, y_mm, before in ((3.3, 1.3, 0.0), (16.4, 13.5, 0.0), (3.3, 16.5, 20.0), (16.4, 28.3, 20.0)):
        across, along = at(place, picture, x_mm, y_mm)
        assert along == pytest.approx(before + x_mm, abs=0.51 * pixel_mm)
        assert across == pytest.approx(min(y_mm, 30.0 - y_mm, 7.0), abs=0.55 * pixel_mm)
    assert along > 36.0

    scheme, picture = sprayed(save_scheme, TUBE + VENT, burst("vent"), width_px=40)
    vent = landed(scheme, picture)
    assert vent.height_mm == pytest.approx(6.0 * math.pi, rel=5e-3)
    assert at(vent, picture, 16.0, 9.0)[1] == pytest.approx(0.5 * vent.height_mm, rel=0.05)

    scheme, picture = sprayed(save_scheme, TUBE, width_px=40)
    box = landed(scheme, picture)
    assert (box.along_edge, box.wraps) == (False, True)
    assert (box.width_mm, box.height_mm) == pytest.approx((20.0, 30.0), abs=pixel_mm)
