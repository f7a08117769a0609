"""What becomes a solid: exists for a thickness or a depth that is written and not drawn."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from layerpreview.picture.faces import shapes_of
from layerpreview.picture.solids import Solid, faces_together, solid_of
from layerpreview.scheme import Scheme, load_scheme
from layerpreview.surface.body import FRONT, trace
from tests.schemes import HEAD, HOLE, PANEL, WHITE, bare_scheme

Save = Callable[..., Path]
DOWN = np.float32([0.0, 0.0, -1.0])


def _solid(scheme: Scheme) -> Solid:
    return solid_of(scheme, faces_together(shapes_of(scheme))[0], even=1.0, pixel_mm=0.5)


def _depth_mm(solid: Solid, x_mm: float, y_mm: float) -> float | None:
    """How far below the rim a ray from above stops; None where it goes through."""
    place, share = trace(solid.body, np.float32([[x_mm], [y_mm], [99.0]]), DOWN, pixel_mm=0.2)
    return -float(place[2, 0]) if share[0] else None


def test_a_thickness_as_it_is_written(save_scheme: Save) -> None:
    solid = _solid(load_scheme(save_scheme(bare_scheme(WHITE) + '[form]\nthickness = "1 1/2 in"\n')))
    assert solid.body.depth_mm == pytest.approx(38.1)
    assert not solid.all_round


@pytest.mark.parametrize(("side_mm", "depth_mm"), [(14, 7.0), (48, 10.0), (240, 33.6), (900, 45.0)])
def test_a_thickness_that_is_not_written_suits_the_part(save_scheme: Save, side_mm: int, depth_mm: float) -> None:
    """A seventh of the smaller side from 10 to 45 mm, and never a rod: of 14 mm half."""
    face = PANEL.replace("64 mm", f"{side_mm + 6} mm").replace("48 mm", f"{side_mm} mm")
    assert _solid(load_scheme(save_scheme(bare_scheme(WHITE, face=face)))).body.depth_mm == pytest.approx(depth_mm)


@pytest.mark.parametrize(("said", "depth_mm"), [("", None), ('depth = "7 mm"\n', 7.0), ('depth = "90 mm"\n', None)])
def test_how_deep_an_opening_goes(save_scheme: Save, said: str, depth_mm: float | None) -> None:
    """Through where nothing is said and there is no back, or where it is deeper than the part is thick."""
    solid = _solid(load_scheme(save_scheme(bare_scheme(WHITE, face=PANEL + HOLE + said) + '[form]\nbelly = "0 mm"\n')))
    found = _depth_mm(solid, 20.0, 24.0)
    assert found == (None if depth_mm is None else pytest.approx(depth_mm, abs=0.05))


@pytest.mark.parametrize(("said", "depth_mm"), [("", 0.8), ('depth = "3 mm"\n', None), ('depth = "90 mm"\n', 0.8)])
def test_an_opening_that_only_the_back_has_is_seen_there(save_scheme: Save, said: str, depth_mm: float | None) -> None:
    """20 mm from the back's left side is 44 mm from the front's; of one name with the front's opening, which is not one
    with it."""
    back = PANEL.replace('"front"', '"back"') + HOLE + said
    solid = _solid(load_scheme(save_scheme(HEAD + PANEL + HOLE + back + WHITE + '[form]\nbelly = "0 mm"\n')))
    start = np.float32([[44.0], [24.0], [-100.0]])
    place, _ = trace(solid.body, start, np.float32([0.0, 0.0, 1.0]), pixel_mm=0.2)
    wanted = 3.0 if depth_mm is None else depth_mm * solid.body.depth_mm
    assert place[2, 0] + solid.body.depth_mm == pytest.approx(wanted, abs=0.05)
    assert _depth_mm(solid, 44.0, 24.0) == pytest.approx(0.0, abs=0.05)


def test_an_opening_that_the_back_does_not_have_is_blind(save_scheme: Save) -> None:
    """The back's own hole lies mirrored: 64 mm less 20 from its left side it meets the front's."""
    back = PANEL.replace('"front"', '"back"')
    mirrored = HOLE.replace('"hole"', '"vent"').replace('["20 mm"', '["44 mm"')
    blind, through = (
        _depth_mm(_solid(load_scheme(save_scheme(HEAD + PANEL + HOLE + back + hole + WHITE))), 20.0, 24.0)
        for hole in ("", mirrored)
    )
    assert blind is not None
    assert blind > 5.0
    assert through is None


def test_a_photo_goes_on_round_a_side_that_no_face_describes(save_scheme: Save, tmp_path: Path) -> None:
    """Grey where the part is, a disc of 40 mm, and blue round it: its side, pi 40 mm long, has nothing of the blue."""
    y, x = np.indices((100, 100)) * 0.4 + 0.2
    pixels = np.full((100, 100, 3), (20, 40, 220), np.uint8)
    pixels[np.hypot(x - 20.0, y - 20.0) < 20.0] = 128
    Image.fromarray(pixels).save(tmp_path / "disc.png")
    face = '[[face]]\nname = "front"\nshape = "disc"\ndiameter = "40 mm"\n'
    base = '[base]\nkind = "metal"\npicture = "disc.png"\n[base.picture_options]\nwidth = "40 mm"\n'
    solid = _solid(load_scheme(save_scheme(bare_scheme(base, face=face) + '[form]\nthickness = "9 mm"\n')))
    beside = solid.skins[FRONT].beside
    assert beside is not None
    x, y = np.meshgrid(np.linspace(0.5, np.pi * 40.0 - 0.5, 200), np.linspace(0.5, 8.5, 9))
    light = beside.at(np.float32(x.ravel()), np.float32(y.ravel()))
    assert light == pytest.approx(0.2158, abs=2e-3)
    side = face + '[[face]]\nname = "side"\nshape = "side"\nof = "front"\ndepth = "9 mm"\n'
    assert _solid(load_scheme(save_scheme(bare_scheme(base, face=side)))).skins[FRONT].beside is None
