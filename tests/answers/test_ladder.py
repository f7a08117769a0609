"""The ladder: exists for a step that is told of the rung before instead of the one after, and for a ladder that forgets
what lies below."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from layerpreview.answers.ladder import ladder_model, ladder_of
from layerpreview.colour import delta_e_2000
from layerpreview.finish.layers import stack_of
from layerpreview.job.colours import spot_lab
from layerpreview.picture.scene import make_scene
from layerpreview.picture.spots import main_spot, spots_of
from layerpreview.scheme import load_scheme

from ..schemes import FULL, HONEY

Save = Callable[..., Path]
SEA = '[[coat]]\nmix = "sea"\ncoats = 2\nfilm = "30 um"\n'


def test_rungs_are_the_schemes_own_colours(save_scheme: Save) -> None:
    """The rung with the scheme's coats is what the figures say of its open field."""
    scheme = load_scheme(save_scheme(FULL))
    scheme = scheme.model_copy(update={"coats": scheme.coats[:1], "lights": ("D65", "FL2")})
    field = main_spot(spots_of(scheme, make_scene(scheme, width_px=80)))
    ladder = ladder_of(scheme, field.bare, strengths=(0.5, 1.0), most_coats=4)
    assert ladder.mix == "honey"
    assert ladder.film_um == 40.0
    for light in ("D65", "FL2"):
        said = spot_lab(stack_of(scheme), field.bare, field.build, light=light, observer_deg=2)
        assert ladder.rows[1][2].lab[light] == pytest.approx(said, abs=1e-6)


def test_strength_and_coats_trade(save_scheme: Save) -> None:
    """Half the strength in twice the coats is the same dye; the film is twice as thick."""
    scheme = load_scheme(save_scheme(FULL))
    field = main_spot(spots_of(scheme, make_scene(scheme, width_px=80)))
    ladder = ladder_of(scheme, field.bare, strengths=(0.5, 1.0, 2.0), most_coats=4)
    assert ladder.rows[0][3].lab["D65"] == pytest.approx(ladder.rows[1][1].lab["D65"])
    assert ladder.rows[2][0].lab["D65"] == pytest.approx(ladder.rows[1][1].lab["D65"])
    assert ladder.rows[0][3].film_um == 2 * ladder.rows[1][1].film_um == 160.0


def test_the_step_is_to_the_next_coat(save_scheme: Save) -> None:
    scheme = load_scheme(save_scheme(FULL))
    field = main_spot(spots_of(scheme, make_scene(scheme, width_px=80)))
    row = ladder_of(scheme, field.bare, most_coats=3).rows[0]
    for now, after in pairwise(row):
        step = delta_e_2000(np.array(now.lab["D65"]), np.array(after.lab["D65"]))
        assert now.next_de00["D65"] == pytest.approx(float(step))
    lightness = [rung.lab["D65"][0] for rung in row]
    assert lightness == sorted(lightness, reverse=True)


def test_what_lies_below_stays_below(save_scheme: Save) -> None:
    """The second mix is climbed over all coats of the first, not over the bare base."""
    head = FULL.split("[[coat]]")[0]
    scheme = load_scheme(save_scheme(head + HONEY + SEA))
    model = ladder_model(scheme, "sea")
    assert model.over == ("3 x honey",)
    field = main_spot(spots_of(scheme, make_scene(scheme, width_px=80)))
    ladder = ladder_of(scheme, field.bare, mix="sea", most_coats=2)
    said = spot_lab(stack_of(scheme), field.bare, np.ones(2), light="D65", observer_deg=2)
    assert ladder.rows[0][1].lab["D65"] == pytest.approx(said, abs=1e-6)


def test_a_mix_that_is_not_sprayed(save_scheme: Save) -> None:
    scheme = load_scheme(save_scheme(FULL))
    with pytest.raises(ValueError, match=r"'plum'.*honey, sea"):
        ladder_model(scheme, "plum")
