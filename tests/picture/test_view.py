"""Views and lamps: exists for a picture that turns the wrong way."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from layerpreview import load_scheme, render
from layerpreview.errors import InputError
from layerpreview.finish.view import View
from layerpreview.picture.scene import appearances_of, make_scene, turned
from layerpreview.workflows.choices import views_from

from ..schemes import FULL, RELIEF, SILVER


@pytest.mark.parametrize(("view", "lamp"), [(86.0, None), (-90.0, 45.0), (0.0, 81.0), (0.0, -1.0)])
def test_views_out_of_range(view: float, lamp: float | None) -> None:
    with pytest.raises(ValueError, match="must lie between"):
        View(view, lamp)


def test_every_bad_angle_is_told_at_once() -> None:
    with pytest.raises(InputError) as caught:
        views_from("0,steep,95", None)
    assert [problem.value for problem in caught.value.problems] == ["steep", "95"]


@pytest.mark.slow
def test_even_light_hardly_falls_from_face_to_flop(save_scheme: Callable[..., Path]) -> None:
    """At 70 deg the face lets less through and the dye's way is longer, but flakes see light from all round."""
    scheme = load_scheme(save_scheme(FULL.replace(SILVER, RELIEF)))
    face, flop = (render(scheme, view_deg=view, width_px=80) for view in (0.0, 70.0))
    part = face.cover > 0.99
    assert 0.7 < flop.rgb_lin[part].mean() / face.rgb_lin[part].mean() < 0.95


def test_a_turned_scene_is_a_new_scene_from_that_view(save_scheme: Callable[..., Path]) -> None:
    scheme = load_scheme(save_scheme(FULL))
    view = View(-30.0, 45.0)
    straight = make_scene(scheme, width_px=70)
    turned_scene, fresh = turned(scheme, straight, view), make_scene(scheme, width_px=70, view=view)
    looks = appearances_of(scheme, fresh, ["D65"], view=view)
    for strip in fresh.strips():
        assert np.array_equal(turned_scene.render_strip(looks, *strip)[0], fresh.render_strip(looks, *strip)[0])
