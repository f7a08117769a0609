"""Surroundings and silvers: exist for a lamp on the wrong side, light that is not one card's worth, and names that do
nothing."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from layerpreview.colour import LIFELIKE, NOT_ROLLED
from layerpreview.errors import InputError
from layerpreview.film import SILVERS, Lamp, MetalBase, facet_law
from layerpreview.finish.view import EVEN_LIGHT, SURROUNDINGS, SoftLamp, Surroundings, View, surroundings_of
from layerpreview.scheme import load_scheme, warnings_of
from layerpreview.workflows.choices import views_around, views_from
from tests.schemes import bare_scheme

Save = Callable[..., Path]


@pytest.mark.parametrize("name", SURROUNDINGS)
def test_a_white_card_is_one_everywhere(name: str) -> None:
    light = SURROUNDINGS[name].light()
    assert light.even + sum(lamp.share for lamp in light.lamps) == pytest.approx(1.0)
    assert all(lamp.share > 0.0 and 0.0 <= lamp.zenith_deg < 90.0 for lamp in light.lamps)
    assert (not light.lamps) == (name == "even")


def test_a_lamp_as_it_is_written() -> None:
    room = Surroundings("shed", 1.0, (SoftLamp(60.0, 35.0, 8.0, 3.0),))
    (lamp,) = room.light(turned_deg=10.0).lamps
    assert (lamp.zenith_deg, lamp.azimuth_deg, lamp.half_angle_deg, lamp.share) == (55.0, -20.0, 4.0, 0.75)


# What each room is like: how many of 100 parts of a card's light are even, then of each lamp its parts, on which hour
# of a clock it stands, how many metres up for each out, and how wide it would be two metres away [m].
ROOMS = {
    "even": (100, ()),
    # a lamp before you on the left, two wide weak ones right and near
    "workshop": (34, ((39, 10.5, 1.19, 0.71), (12, 2.67, 0.70, 1.30), (15, 6.0, 0.70, 1.30))),
    # on the left, as wide as a man is tall, and a little from low on the right
    "window": (37.6, ((53.8, 10.0, 0.869, 1.22), (8.6, 3.17, 0.364, 0.63))),
    # small and hard under a blue sky
    "sun": (20, ((80, 10.5, 1.19, 0.105),)),
    # half the sky, brightest nearly overhead
    "overcast": (30, ((70, 12.0, 5.67, 4.77),)),
    # hardly any light but that of three spots from three sides
    "stage": (4, ((48, 10.0, 0.84, 0.21), (29, 1.5, 1.0, 0.21), (19, 5.67, 0.58, 0.28))),
}


@pytest.mark.parametrize("name", SURROUNDINGS)
def test_what_a_room_is_like(name: str) -> None:
    even, lamps = ROOMS[name]
    light = SURROUNDINGS[name].light()
    assert 100.0 * light.even == pytest.approx(even, rel=0.08)
    for lamp, (parts, hour, up, wide_m) in zip(light.lamps, lamps, strict=True):
        assert 100.0 * lamp.share == pytest.approx(parts, rel=0.07)
        assert (lamp.azimuth_deg + 90.0) / 30.0 == pytest.approx(hour if hour < 12.0 else 0.0, abs=0.02)
        assert 1.0 / np.tan(np.radians(lamp.zenith_deg)) == pytest.approx(up, rel=0.05)
        assert 2.0 * 2.0 * np.tan(np.radians(lamp.half_angle_deg)) == pytest.approx(wide_m, rel=0.1)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("from_deg", "slope_x", "slope_y"), [(0.0, 0.0, 0.25), (90.0, -0.25, 0.0), (180.0, 0.0, -0.25), (270.0, 0.25, 0.0)]
)
def test_a_lamp_lights_the_facets_that_face_it(from_deg: float, slope_x: float, slope_y: float) -> None:
    """Clockwise from the picture's top; a facet that faces right falls away to the right."""
    room = Surroundings("one lamp", 0.1, (SoftLamp(from_deg, 50.0, 10.0, 0.9),))
    law = facet_law(MetalBase(flake_spread=0.15), room.light())
    facing, turned = law.at(np.float32([slope_x, -slope_x]), np.float32([slope_y, -slope_y]))[0]
    assert facing > 3.0 * turned


@pytest.mark.parametrize(
    ("view", "side_deg"),
    [
        (View(30.0), 90.0),  # from below the part
        (View(-30.0), 270.0),
        (View(30.0, 45.0), 225.0),  # from the lamp's side: the main lamp stands at the top left
        (View(-30.0, 45.0), 405.0),
        (View(30.0, None, SURROUNDINGS["sun"]), 90.0),
        (View(0.0), 90.0),  # straight on is no side: as from below, or from the lamp's
        (View(0.0, 45.0), 225.0),
        (View(-0.5, 45.0), 405.0),
    ],
    ids=str,
)
def test_where_the_eye_stands(view: View, side_deg: float) -> None:
    assert view.from_azimuth_deg() == side_deg
    if view.lamp_deg is not None:
        (lamp,) = view.light().lamps
        assert np.cos(np.radians(lamp.azimuth_deg - side_deg)) == pytest.approx(1.0 if view.view_deg >= 0.0 else -1.0)
        assert view.from_azimuth_deg(turned_deg=20.0) == side_deg + 20.0


def test_the_surroundings_in_words_and_file_names() -> None:
    window = SURROUNDINGS["window"]
    assert View(15.0, None, window).words == "seen 15 deg from straight on, window"
    assert View(15.0, None, window).file_words == "_window_view15"
    assert View(15.0, 45.0, window).file_words == "_view15_lamp45"
    assert View(0.0, None, EVEN_LIGHT).words == "seen straight on"
    assert View(0.0, None, window).file_words == "_window"
    assert View(0.0, 45.0).file_words == "_view0_lamp45"
    assert View(0.0).file_words == ""
    assert View(15.0).file_words == "_view15"


def test_a_single_lamp_replaces_the_room() -> None:
    """Small, from the top left, at its angle from straight on; a base's own option turns it clockwise."""
    light = View(20.0, 30.0, SURROUNDINGS["window"]).light(turned_deg=25.0)
    (lamp,) = light.lamps
    assert (light.even, lamp.share, lamp.zenith_deg) == (0.0, 1.0, 30.0)
    assert lamp.azimuth_deg + 90.0 == 315.0 + 25.0
    assert 0.3 < 2.0 * 2.0 * np.tan(np.radians(lamp.half_angle_deg)) < 0.4  # a bulb's shade two metres away [m]
    assert View(20.0, None, SURROUNDINGS["window"]).light(turned_deg=25.0).lamps[0].azimuth_deg + 90.0 == 300.0 + 25.0


def test_highlights_are_bent_where_lamps_can_be_brighter_than_a_card() -> None:
    """Under even light nothing is, and the screen shows numbers as they are."""
    sun = SURROUNDINGS["sun"]
    assert View(40.0).rolled_from == NOT_ROLLED
    assert (
        View(0.0, 45.0).rolled_from == View(0.0, None, sun).rolled_from == View(0.0, 45.0, sun).rolled_from == LIFELIKE
    )


PORCH = """
[surroundings.porch]
even = 3
lamp = [{ from = 290, height = 40, size = 8, power = 9 }, { power = 0.5 }]
"""


def test_surroundings_of_ones_own(save_scheme: Save) -> None:
    scheme = load_scheme(save_scheme(bare_scheme('[base]\nkind = "metal"\ncolour = "#b9bcc0"\n') + PORCH))
    light = surroundings_of(scheme, "porch").light()
    assert light.even == pytest.approx(3.0 / 12.5)
    assert light.lamps[0] == Lamp(zenith_deg=50.0, azimuth_deg=200.0, half_angle_deg=4.0, share=9.0 / 12.5)
    assert light.lamps[1] == Lamp(zenith_deg=40.0, azimuth_deg=225.0, half_angle_deg=10.0, share=0.5 / 12.5)
    (view,) = views_around(scheme, views_from("15", None), "porch")
    assert (view.view_deg, view.words) == (15.0, "seen 15 deg from straight on, porch")
    assert surroundings_of(scheme, "window") is SURROUNDINGS["window"]


def test_a_name_leads_to_no_other_folder() -> None:
    assert (
        View(0.0, None, Surroundings("../big shed", 1.0, (SoftLamp(0.0, 50.0, 5.0, 1.0),))).file_words == "__big_shed"
    )


def test_a_lamp_height_of_older_schemes_is_told_to_have_no_effect(save_scheme: Save) -> None:
    base = '[base]\nkind = "metal"\nrelief = "lifted"\nrelief_options = { lamp_height = 35 }\n'
    told = {problem.field: str(problem) for problem in warnings_of(load_scheme(save_scheme(bare_scheme(base))))}
    assert "no longer used" in told["base.relief_options.lamp_height"]


def test_a_name_that_is_none(save_scheme: Save) -> None:
    scheme = load_scheme(save_scheme(bare_scheme('[base]\nkind = "metal"\ncolour = "#b9bcc0"\n') + PORCH))
    with pytest.raises(InputError, match=r"--around = cellar: no such surroundings; use one of porch, even, workshop"):
        views_around(scheme, [View()], "cellar")


@pytest.mark.parametrize(
    ("written", "field"),
    [
        ("even = 0", "surroundings.porch.even"),
        ("lamp = [{ height = 2 }]", "surroundings.porch.lamp[1].height"),
        ("lamp = [{ power = -1 }]", "surroundings.porch.lamp[1].power"),
        ("lamps = []", "surroundings.porch.lamps"),
    ],
)
def test_surroundings_that_cannot_be(save_scheme: Save, written: str, field: str) -> None:
    text = bare_scheme('[base]\nkind = "metal"\ncolour = "#b9bcc0"\n') + f"[surroundings.porch]\n{written}\n"
    with pytest.raises(InputError) as caught:
        load_scheme(save_scheme(text))
    assert [problem.field for problem in caught.value.problems] == [field]


@pytest.mark.parametrize(
    ("said", "metal"),
    [
        ("", SILVERS["medium"]),
        ('silver = "coarse"\n', SILVERS["coarse"]),
        ("flake_spread = 0.25\n", MetalBase(flake_spread=0.25)),  # as schemes were written before silvers had names
        ("flake_spread = 0.25\nbrightness = 0.5\n", MetalBase(flake_spread=0.25, scale=0.5)),
        (
            'silver = "coarse"\nflake_spread = 0.2\nbroad_spread = 0.6\nbroad_share = 0.15\nbrightness = 0.4\n',
            MetalBase(flake_spread=0.2, broad_spread=0.6, broad_share=0.15, scale=0.4),
        ),
    ],
)
def test_the_flakes_that_a_scheme_says(save_scheme: Save, said: str, metal: MetalBase) -> None:
    base = '[base]\nkind = "metal"\ncolour = "#b9bcc0"\n' + said
    assert load_scheme(save_scheme(bare_scheme(base))).base.metal == metal


def test_silver_is_of_metal_alone(save_scheme: Save) -> None:
    with pytest.raises(InputError, match=r"base\.silver.*only a metal base has this"):
        load_scheme(save_scheme(bare_scheme('[base]\nkind = "solid"\ncolour = "#f0f0f0"\nsilver = "fine"\n')))
