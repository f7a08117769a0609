"""The ladder: exists for a step that is told of the rung before instead of the one after, and for a ladder that forgets
what lies below."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from layerpreview.answers.ladder import beneath, ground_for, ladder_model, ladder_of
from layerpreview.colour import delta_e_2000
from layerpreview.finish.layers import stack_of
from layerpreview.job.colours import spot_colours, spot_lab
from layerpreview.picture.scene import make_scene
from layerpreview.picture.spots import main_spot, spots_of
from layerpreview.scheme import load_scheme

from ..schemes import DYES as DYES_OF_FILE
from ..schemes import FULL, HEAD, HONEY, MIXES, PANEL, SILVER, WHITE

Save = Callable[..., Path]
SEA = '[[coat]]\nmix = "sea"\ncoats = 2\nfilm = "30 um"\n'


def test_rungs_are_the_schemes_own_colours(save_scheme: Save) -> None:
    """The rung with the scheme's coats is what the figures say of its open field."""
    scheme = load_scheme(save_scheme(FULL))
    scheme = scheme.model_copy(update={"coats": scheme.coats[:1], "lights": ("D65", "FL2")})
    spots = spots_of(scheme, make_scene(scheme, width_px=80))
    field = main_spot(spots)
    ladder = ladder_of(scheme, spots, strengths=(0.5, 1.0), most_coats=4)
    assert ladder.mix == "honey"
    assert ladder.film_um == 40.0
    for light in ("D65", "FL2"):
        said = spot_lab(stack_of(scheme), field.bare, field.build, light=light, observer_deg=2)
        assert ladder.rows[1][2].lab[light] == pytest.approx(said, abs=1e-6)


def test_strength_and_coats_trade(save_scheme: Save) -> None:
    """Half the strength in twice the coats is the same dye; the film is twice as thick."""
    scheme = load_scheme(save_scheme(FULL))
    spots = spots_of(scheme, make_scene(scheme, width_px=80))
    ladder = ladder_of(scheme, spots, strengths=(0.5, 1.0, 2.0), most_coats=4)
    assert ladder.rows[0][3].lab["D65"] == pytest.approx(ladder.rows[1][1].lab["D65"])
    assert ladder.rows[2][0].lab["D65"] == pytest.approx(ladder.rows[1][1].lab["D65"])
    assert ladder.rows[0][3].film_um == 2 * ladder.rows[1][1].film_um == 160.0


def test_the_step_is_to_the_next_coat(save_scheme: Save) -> None:
    scheme = load_scheme(save_scheme(FULL))
    spots = spots_of(scheme, make_scene(scheme, width_px=80))
    row = ladder_of(scheme, spots, most_coats=3).rows[0]
    for now, after in pairwise(row):
        step = delta_e_2000(np.array(now.lab["D65"]), np.array(after.lab["D65"]))
        assert now.next_de00["D65"] == pytest.approx(float(step))
    lightness = [rung.lab["D65"][0] for rung in row]
    assert lightness == sorted(lightness, reverse=True)


def test_what_lies_below_stays_below(save_scheme: Save) -> None:
    """The second mix is climbed over all coats of the first, not over the bare base."""
    head = FULL.split("[[coat]]")[0]
    scheme = load_scheme(save_scheme(head + HONEY + SEA))
    spots = spots_of(scheme, make_scene(scheme, width_px=80))
    assert ladder_model(scheme, spots, "sea").over == ("3 x honey",)
    ladder = ladder_of(scheme, spots, mix="sea", most_coats=2)
    said = spot_lab(stack_of(scheme), main_spot(spots).bare, np.ones(2), light="D65", observer_deg=2)
    assert ladder.rows[0][1].lab["D65"] == pytest.approx(said, abs=1e-6)


PRIMER = '[[coat]]\nname = "primer"\nopaque = "#eeeeee"\nhiding = 0.6\ncoats = 2\n'
VEIL = '[[coat]]\nopaque = "#335577"\nhiding = 0.2\n'
CUT = HONEY + 'cut_back = "70 %"\n'
HALVES = "".join(
    f'[[face.zone]]\nname = "{name}"\nshape = "panel"\nwidth = "32 mm"\nheight = "48 mm"\n{centre}'
    for name, centre in (("left", 'centre = ["16 mm", "24 mm"]\n'), ("right", 'centre = ["48 mm", "24 mm"]\n'))
)
TAPED = HONEY + 'zone = "left"\n' + SEA + 'zone = "right"\n'
AT_EDGE = PRIMER + HONEY + SEA + 'burst = { from = "outline", width = "15 mm", fall_off = "soft", centre = 0.1 }\n'


@pytest.mark.parametrize(
    ("coats", "mix", "place", "over"),
    [
        (PRIMER + HONEY, "honey", "field", ("2 x primer",)),
        (HONEY + VEIL + SEA, "sea", "field", ("3 x honey", "1 x opaque #335577")),
        (TAPED, "sea", "right", ()),
        (AT_EDGE, "sea", "edge", ("2 x primer", "3 x honey")),
        (CUT, "honey", "field", ()),
        (CUT + SEA, "sea", "field", ("3 x honey (64 % of it)",)),
    ],
)
@pytest.mark.parametrize("base", [SILVER, WHITE])
def test_it_stands_where_the_figures_look(
    save_scheme: Save, base: str, coats: str, mix: str, place: str, over: tuple[str, ...]
) -> None:
    """Opaque coats, zones, bursts and cutting back: the rung with the scheme's coats is what the figures say there."""
    face = PANEL + (HALVES if coats is TAPED else "")
    scheme = load_scheme(save_scheme(HEAD + face + base + "[clear]\nfinish = 'matt'\n" + DYES_OF_FILE + MIXES + coats))
    spots = spots_of(scheme, make_scene(scheme, width_px=80))
    colours = {colour.spot: colour for colour in spot_colours(scheme, spots)}
    ladder = ladder_of(scheme, spots, mix=mix, most_coats=3)
    planned = next(coat.coats for coat in scheme.coats if coat.label == mix)
    assert ladder.spot == place
    assert ladder.over == over
    assert ladder.share == pytest.approx(colours[place].build[-1])
    assert ladder.rows[0][planned - 1].lab["D65"] == pytest.approx(colours[place].lab, abs=1e-6)


@pytest.mark.slow
def test_a_recipe_takes_the_place_of_dye_and_not_of_paint(save_scheme: Save) -> None:
    """What `reach` searches over: up to the last opaque coat that lies there, none where there is none."""
    rim = PRIMER + 'burst = { from = "outline", width = "6 mm", fall_off = "fan" }\n'
    for coats, mix, over in (
        (PRIMER + HONEY + SEA, "sea", ("2 x primer",)),
        (HONEY + VEIL + SEA, "sea", ("3 x honey", "1 x opaque #335577")),
        (HONEY + rim + SEA, "sea", ()),
        (HONEY + PRIMER, "honey", ()),
        (PRIMER + HONEY + VEIL + SEA, "sea", ("2 x primer", "3 x honey", "1 x opaque #335577")),
        (PRIMER, None, ("2 x primer",)),
    ):
        scheme = load_scheme(save_scheme(HEAD + PANEL + SILVER + DYES_OF_FILE + MIXES + coats))
        spots = spots_of(scheme, make_scene(scheme, width_px=80))
        ground = ground_for(scheme, spots, mix)
        assert ground.over == over
        shown = ground.patches(scheme, np.zeros((1, 81))).lab(np.zeros((1, 1)))[0, 0]
        build = np.array([float(coat.label in " ".join(over)) for coat in scheme.coats])
        said = spot_lab(stack_of(scheme), spots[0].bare, build, light="D65", observer_deg=2)
        assert shown == pytest.approx(said, abs=1e-2)


def test_a_mix_that_is_not_sprayed(save_scheme: Save) -> None:
    scheme = load_scheme(save_scheme(FULL))
    with pytest.raises(ValueError, match=r"'plum'.*honey, sea"):
        ladder_model(scheme, spots_of(scheme, make_scene(scheme, width_px=80)), "plum")


def test_below_stands_what_counts(save_scheme: Save) -> None:
    """As good as whole from 0.98 of a coat on; not named below 0.002 of one, but what is there counts."""
    scheme = load_scheme(save_scheme(HEAD + PANEL + SILVER + DYES_OF_FILE + MIXES + HONEY + VEIL + SEA))
    spot = main_spot(spots_of(scheme, make_scene(scheme, width_px=80)))
    for builds, over in (
        ((0.985, 0.85, 1.0), ("3 x honey", "1 x opaque #335577 (85 % of it)", "2 x sea")),
        ((0.97, 1.015, 0.0018), ("3 x honey (97 % of it)", "1 x opaque #335577")),
        ((1.04, 0.0, 0.0022), ("3 x honey (104 % of it)", "2 x sea (0.22 % of it)")),
    ):
        found = beneath(scheme, replace(spot, build=np.array(builds)), 3)
        assert found.over == over
        lies = found.stack(scheme).reflectance(spot.bare[None], np.ones((1, len(found.layers))))
        assert lies == pytest.approx(stack_of(scheme).reflectance(spot.bare[None], np.array([builds])))


def test_what_lands_nowhere_is_laid_whole(save_scheme: Save) -> None:
    """At the main place, as if it landed there; eight coats, in the scheme's own strength, where nothing is said."""
    scheme = load_scheme(save_scheme(HEAD + PANEL + SILVER + DYES_OF_FILE + MIXES + HONEY + SEA))
    places = spots_of(scheme, make_scene(scheme, width_px=80))
    bare = [replace(spot, build=np.array([1.0, 0.0])) for spot in places]
    found, whole = ladder_of(scheme, bare, mix="sea"), ladder_of(scheme, places, mix="sea")
    assert (found.share, found.spot, found.film_basis) == (1.0, "field", whole.film_basis)
    assert found == whole
    assert [[(rung.strength, rung.coats) for rung in row] for row in found.rows] == [[(1.0, n) for n in range(1, 9)]]
