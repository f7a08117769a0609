"""The figures against sums by hand: exists for litres, micrometres and square metres that meet in the wrong power of
ten, ranges that cross over, residue or drops counted wrong, and a total that is not the sum of its parts."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from dataclasses import asdict, fields, is_dataclass
from pathlib import Path

import numpy as np
import pytest

from layerpreview import load_scheme
from layerpreview.colour import WAVELENGTHS_NM
from layerpreview.finish.layers import absorbance10_per_um, colour_spectrum, dyes_in, stack_of
from layerpreview.job.figures import ColourFigures, Figures, figures_of
from layerpreview.picture.faces import shape_of
from layerpreview.picture.scene import make_scene
from layerpreview.picture.spots import spots_of
from layerpreview.picture.survey import Survey
from layerpreview.scheme import Scheme
from layerpreview.spray import burst_build
from layerpreview.told import Told

from ..literal import lab_of_spectrum, transmittance
from ..schemes import FULL, HEAD, PANEL, RELIEF, SEA_BURST, SILVER, WHITE, bare_scheme

Save = Callable[..., Path]
AREA_M2 = (64 * 48 - math.pi * 8**2) * 1e-6
# Strokes run 10..25..50 mm past the outer edge (common practice, no source) and over the hole, which is taped.
EDGE_M, HOLE_M2 = 2 * (0.064 + 0.048), math.pi * 8**2 * 1e-6
PAST_M2 = tuple(EDGE_M * mm * 1e-3 + HOLE_M2 for mm in (10, 25, 50))


@pytest.fixture
def scheme(save_scheme: Save) -> Scheme:
    """Honey in 3 coats of 35..40..45 um, a sea burst of 2 coats of 30 um, an opaque rim; 40..50..60 % lands, 10 mL
    stays in the cup."""
    return load_scheme(save_scheme(FULL))


@pytest.fixture
def figures(scheme: Scheme) -> Figures:
    """Its figures."""
    return figures_of(scheme, make_scene(scheme, width_px=64))


def _ends(figure: Told) -> tuple[float, float, float]:
    return figure.low, figure.likely, figure.high


def test_area_and_films(figures: Figures) -> None:
    honey, sea, rim = figures.coats
    assert figures.faces == {"front": pytest.approx(AREA_M2, rel=1e-4)}
    assert [coat.order for coat in figures.coats] == [1, 2, 3]
    assert [coat.coats for coat in figures.coats] == [3, 2, 2]
    assert _ends(honey.wet_um_per_coat) == (35.0, 40.0, 45.0)
    # 20 % solids of 3 x 35, 3 x 40, 3 x 45 um.
    assert _ends(honey.dry_um_all_coats) == pytest.approx((21.0, 24.0, 27.0))
    assert sea.dry_um_all_coats is None
    assert rim.hidden_at_edge == pytest.approx(1.0 - 10.0**-1.8)
    assert rim.dyes == ()


def test_dye_loads_by_hand(figures: Figures) -> None:
    """Yellow: 12 mL/L of 40 g/L is 0.48 g/L; over 40 um 19.2 mg/m2 and 0.48 mL/m2. Blue: 2 mL/L of 25 g/L, 0.05 g/L."""
    yellow, blue = figures.coats[0].dyes
    assert (yellow.name, blue.name) == ("yellow", "blue")
    assert yellow.pure_g_per_L.likely == pytest.approx(0.48)
    assert _ends(yellow.load_per_coat_mg_m2) == pytest.approx((16.8, 19.2, 21.6))
    assert yellow.load_per_coat_mg_m2.unit == "mg/m2"
    assert _ends(yellow.as_sold_per_coat) == pytest.approx((0.42, 0.48, 0.54))
    assert yellow.as_sold_per_coat.unit == "mL/m2"
    assert _ends(blue.load_per_coat_mg_m2) == pytest.approx((1.75, 2.0, 2.25))


def test_peak_absorbance_by_hand(figures: Figures) -> None:
    """Honey at 480 nm and below: yellow 50 L/(g cm) of 0.48 g/L, blue 1..3 of 0.05 g/L, over 3 x 40 um: the straight
    line of blue from (380, 1) to (560, 5) is 3.222 at 480, the far end of yellow's flat top."""
    honey = figures.coats[0]
    assert honey.peak_nm == 480.0
    per_cm = 50.0 * 0.48 + (1.0 + 4.0 * 100.0 / 180.0) * 0.05
    assert honey.peak_absorbance10.likely == pytest.approx(per_cm * 3 * 40e-4)
    assert honey.peak_absorbance10.low / honey.peak_absorbance10.likely == pytest.approx(35.0 / 40.0)
    sea = figures.coats[1]
    assert sea.peak_nm == 620.0
    assert sea.peak_absorbance10.likely == pytest.approx(70.0 * 0.75 * 2 * 30e-4)


def test_volumes_by_hand(figures: Figures) -> None:
    """(Area + past the edges) x film x coats / share that lands, plus 10 mL: best film with best landing, worst with
    worst."""
    honey = figures.coats[0]
    per_um = AREA_M2 * 3  # 1 m2 um is 1 mL
    assert _ends(honey.mix_landed_mL) == pytest.approx((35 * per_um, 40 * per_um, 45 * per_um), rel=1e-3)
    films, lands = (35, 40, 45), (0.6, 0.5, 0.4)
    expected = [(AREA_M2 + past) * 3 * um / t + 10 for um, t, past in zip(films, lands, PAST_M2, strict=True)]
    assert _ends(honey.mix_needed_mL) == pytest.approx(expected, rel=1e-3)
    yellow = honey.dyes[0]
    assert yellow.needed.unit == "mL"
    assert _ends(yellow.needed) == pytest.approx([0.012 * v for v in expected], rel=1e-3)


def test_burst_sprays_less(figures: Figures, scheme: Scheme) -> None:
    sea = figures.coats[1]
    shape = shape_of(scheme.faces[0])
    build = Survey(scheme, shape).mean_builds[1]
    assert sea.mean_build == pytest.approx(build)
    assert 0.3 < build < 0.8
    assert sea.mix_landed_mL.likely == pytest.approx(AREA_M2 * 30 * 2 * build, rel=1e-3)


def test_mixes_add_up(figures: Figures) -> None:
    for name, total in figures.mixes.items():
        parts = [coat.mix_needed_mL for coat in figures.coats if coat.what == name]
        assert _ends(total) == pytest.approx(np.sum([_ends(part) for part in parts], axis=0))


@pytest.mark.parametrize(("between", "residue_mL"), [(True, 20.0), (False, 10.0)])
def test_residue_stays_each_time_the_gun_is_filled(save_scheme: Save, *, between: bool, residue_mL: float) -> None:
    """Two entries of one mix leave one residue where they follow each other, two where another mix comes between."""
    again = '[[coat]]\nmix = "honey"\ncoats = 1\nfilm = "20 um"\n'
    text = FULL.replace(SEA_BURST, SEA_BURST + again if between else again + SEA_BURST)
    scheme = load_scheme(save_scheme(text))
    figures = figures_of(scheme, make_scene(scheme, width_px=64))
    honey = [coat for coat in figures.coats if coat.what == "honey"]
    landed = sum(coat.mix_landed_mL.likely for coat in honey)
    past = PAST_M2[1] * (3 * 40 + 1 * 20)
    assert len(honey) == 2
    assert figures.mixes["honey"].likely == pytest.approx((landed + past) / 0.5 + residue_mL, rel=1e-3)


def test_drops_written_are_drops_counted(save_scheme: Save) -> None:
    """25 drops per 100 mL in so many mL of mix are so many drops, however large a drop is; the size of a drop matters
    for how much dye that is."""
    text = FULL.replace('blue = "30 mL/L"', 'yellow = "25 drops per 100 mL"')
    scheme = load_scheme(save_scheme(text))
    sea = figures_of(scheme, make_scene(scheme, width_px=64)).coats[1]
    yellow = sea.dyes[0]
    # 40..50..60 drops per mL (stated), 250 drops per litre, 40 g/L.
    assert _ends(yellow.pure_g_per_L) == pytest.approx((250 / 60 * 0.04, 250 / 50 * 0.04, 250 / 40 * 0.04))
    assert _ends(yellow.needed_drops) == pytest.approx([0.25 * mL for mL in _ends(sea.mix_needed_mL)])


def test_drops_of_a_measured_volume(figures: Figures) -> None:
    """12 mL/L counted out instead: 40..50..60 drops to the millilitre, fewest for the smallest batch."""
    yellow = figures.coats[0].dyes[0]
    low, likely, high = _ends(yellow.needed)
    assert _ends(yellow.needed_drops) == pytest.approx((40 * low, 50 * likely, 60 * high))


def test_powder_is_weighed(save_scheme: Save) -> None:
    text = FULL.replace('concentrate = "25 g/L"\n', "").replace("2 mL/L", "0.7 g/L").replace("30 mL/L", "1.5 g/L")
    scheme = load_scheme(save_scheme(text))
    blue = figures_of(scheme, make_scene(scheme, width_px=64)).coats[0].dyes[1]
    assert blue.needed.unit == "g"
    assert blue.as_sold_per_coat.unit == "g/m2"
    assert blue.as_sold_per_coat.likely == pytest.approx(0.7 * 40e-3)
    assert blue.needed_drops is None
    assert blue.pure_g_per_L.likely == pytest.approx(0.7)


def _from_edge_mm(colour: ColourFigures) -> float:
    """How far a place lies from the outer edge of the 64 x 48 mm panel."""
    x, y = colour.at_mm
    return min(x, y, 64 - x, 48 - y)


def _figures_in(value: object) -> list[Told]:
    if isinstance(value, Told):
        return [value]
    if is_dataclass(value):
        return [f for field in fields(value) for f in _figures_in(getattr(value, field.name))]
    if isinstance(value, dict):
        return [f for item in value.values() for f in _figures_in(item)]
    if isinstance(value, tuple):
        return [f for item in value for f in _figures_in(item)]
    return []


def test_every_figure_is_ordered_and_says_what_it_rests_on(figures: Figures) -> None:
    found = _figures_in(figures)
    assert len(found) > 20
    for figure in found:
        assert 0.0 <= figure.low <= figure.likely <= figure.high
        assert figure.unit
        words = ("stated", "assumed", "table", "measured")
        assert any(word in figure.basis for word in words), figure


def test_a_film_named_in_words_is_called_assumed(save_scheme: Save) -> None:
    text = FULL.replace('film = "35 to 45 um"', 'film = "medium"').replace('transfer = "40 to 60 %"\n', "")
    scheme = load_scheme(save_scheme(text))
    honey = figures_of(scheme, make_scene(scheme, width_px=64)).coats[0]
    assert honey.wet_um_per_coat.basis == "assumed (medium)"
    assert _ends(honey.wet_um_per_coat) == (28.0, 40.0, 55.0)
    assert "transfer assumed (HVLP)" in honey.mix_needed_mL.basis


def test_colours_by_hand(figures: Figures, scheme: Scheme) -> None:
    """Base, field and edge by the plain sum over 81 wavelengths."""
    base, field, edge, burst = figures.colours
    assert [c.spot for c in figures.colours] == ["base", "field", "edge", "burst"]
    assert base.srgb == "#b9bcc0"
    stack = stack_of(scheme)
    bare = colour_spectrum("#b9bcc0")[None, :]
    # The edge is looked at a millimetre inside: of 15 mm soft (down to 0.1) and 6 mm fan there is left
    inside = _from_edge_mm(edge)
    assert inside == pytest.approx(1.0, abs=0.12)
    s = inside / 15
    sea = 0.1 + 0.9 * (1 - 3 * s**2 + 2 * s**3)
    rim = float(burst_build(np.array([inside]), width_mm=6.0, fall_off="fan")[0])
    assert edge.build == pytest.approx((1.0, sea, rim), abs=1e-3)
    for colour, build in ((field, [1.0, 0.1, 0.0]), (edge, edge.build), (burst, burst.build)):
        literal = lab_of_spectrum(stack.reflectance(bare, np.array([build]))[0])
        assert colour.lab == pytest.approx(literal, abs=1e-3)
    assert edge.lab[0] < burst.lab[0] < field.lab[0] < base.lab[0]
    # Where the burst's dye shows the rim has come to its end, 6 mm in, and the sea is as full as it gets there.
    assert 4.5 < _from_edge_mm(burst) < 6.2


def test_absorbance_of_a_mix_by_hand(scheme: Scheme) -> None:
    """Per um: 1e-4 x (50 x 0.48 + 1 x 0.05) at 380 nm; through 3 coats of 40 um the light of two straight passes."""
    per_um = absorbance10_per_um(scheme, scheme.mixes["honey"])
    assert per_um.shape == WAVELENGTHS_NM.shape
    assert per_um[0] == pytest.approx(1e-4 * (50.0 * 0.48 + 1.0 * 0.05))
    assert float(transmittance(2 * 120 * per_um[0])) == pytest.approx(10 ** (-240 * 24.05e-4))


def test_dyes_of_a_mix_in_the_order_written(scheme: Scheme) -> None:
    yellow, blue = dyes_in(scheme, scheme.mixes["honey"])
    assert (yellow.name, blue.name) == ("yellow", "blue")
    assert (yellow.drops_per_mL.basis, blue.drops_per_mL.basis) == ("stated", "table (lacquer solvents)")
    assert yellow.as_sold_per_L.likely == 12.0


def test_two_faces_share_one_batch(save_scheme: Save, figures: Figures) -> None:
    back = PANEL.replace('"front"', '"back"')
    scheme = load_scheme(save_scheme(FULL.replace(SILVER, back + SILVER)))
    both = figures_of(scheme, make_scene(scheme, width_px=64))
    area = AREA_M2 + 64 * 48e-6
    assert both.coats[0].area_m2 == pytest.approx(area, rel=1e-4)
    past = PAST_M2[1] + EDGE_M * 0.025
    assert both.coats[0].mix_needed_mL.likely == pytest.approx((area + past) * 120 / 0.5 + 10, rel=1e-3)


@pytest.mark.slow
@pytest.mark.parametrize("flake_spread", ["0.05", "0.5"])
def test_every_flake_spread_has_its_figures(save_scheme: Save, flake_spread: str) -> None:
    """The whole range that the scheme allows, with the colours under a lamp that the figures of a metal hold."""
    text = FULL.replace("flake_spread = 0.3", f"flake_spread = {flake_spread}").replace("centre = 0.1", "centre = 0.0")
    scheme = load_scheme(save_scheme(text))
    figures = figures_of(scheme, make_scene(scheme, width_px=64))
    json.dumps(asdict(figures), allow_nan=False)


def test_no_coats_at_all(save_scheme: Save) -> None:
    scheme = load_scheme(save_scheme(HEAD + PANEL + WHITE))
    figures = figures_of(scheme, make_scene(scheme, width_px=64))
    assert figures.coats == ()
    assert figures.mixes == {}
    assert figures.colours[0].srgb == "#f2f0ec"


def test_figures_do_not_depend_on_the_picture(scheme: Scheme) -> None:
    """Areas, builds and amounts come from the outline in millimetres, not from pixels."""
    small, large = (figures_of(scheme, make_scene(scheme, width_px=px)) for px in (64, 400))
    assert small.coats == large.coats
    assert small.mixes == large.mixes


@pytest.mark.slow
def test_colours_do_not_depend_on_the_picture(save_scheme: Save) -> None:
    """`figures` looks at a small picture and `render` at a large one, and both print one decimal of L*."""
    scheme = load_scheme(save_scheme(FULL.replace(SILVER, RELIEF)))
    small, medium, large = (figures_of(scheme, make_scene(scheme, width_px=px)) for px in (120, 400, 640))
    for a, b, c in zip(small.colours, medium.colours, large.colours, strict=True):
        assert a.lab == pytest.approx(c.lab, abs=0.2)
        assert b.lab == pytest.approx(c.lab, abs=0.1)


def test_generic_dyes_are_called_so(save_scheme: Save) -> None:
    text = bare_scheme(WHITE, coats=SEA_BURST).replace("[dye.yellow]", '[dye.amber]\nlibrary = "amber"\n[dye.yellow]')
    text = text.replace('blue = "30 mL/L"', 'amber = "30 mL/L"')
    scheme = load_scheme(save_scheme(text))
    figures = figures_of(scheme, make_scene(scheme, width_px=64))
    assert figures.coats[0].dyes[0].kind == "generic"
    assert any("amber" in note for note in figures.notes)


def test_a_ring_round_a_hole_is_not_on_the_outline(save_scheme: Save) -> None:
    """The rim's black is at the hole's edge only, and the burst's blue at the outline only."""
    scheme = load_scheme(save_scheme(FULL.replace('from = "outline", width = "6 mm"', 'from = "hole", width = "6 mm"')))
    spots = {spot.name: spot.build for spot in spots_of(scheme, make_scene(scheme, width_px=64))}
    assert list(spots) == ["base", "field", "edge", "hole edge"]
    assert spots["edge"] == pytest.approx([1.0, 0.99, 0.0], abs=0.01)
    assert spots["hole edge"] == pytest.approx([1.0, 0.1, 0.95], abs=0.03)


def test_a_zone_called_edge(save_scheme: Save) -> None:
    zone = '[[face.zone]]\nname = "edge"\nband = { from = "outline", width = "5 mm" }\n'
    scheme = load_scheme(save_scheme(FULL.replace(SILVER, zone + SILVER)))
    names = [spot.name for spot in spots_of(scheme, make_scene(scheme, width_px=64))]
    assert names == ["base", "field", "zone edge", "edge", "burst"]


def test_a_face_without_bursts_has_no_edge_of_its_own(save_scheme: Save) -> None:
    """The bursts go over the front alone; the back is of one colour up to its edge."""
    back = PANEL.replace('"front"', '"back"')
    text = FULL.replace(SILVER, back + SILVER).replace("burst = ", 'zone = "front"\nburst = ')
    scheme = load_scheme(save_scheme(text))
    names = [spot.name for spot in spots_of(scheme, make_scene(scheme, width_px=64))]
    assert names == ["front, base", "front, field", "front, edge", "front, burst", "back, base", "back, field"]
