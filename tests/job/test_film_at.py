"""The film at places: exists for a sum of what never meets, a rim and a ring at two places of a face."""

from __future__ import annotations

import random
from collections.abc import Callable
from pathlib import Path

import pytest

from layerpreview.job.film_at import AT_EDGE, OPEN, films_at
from layerpreview.job.sheet import MixSheet, make_sheet
from layerpreview.output.section_drawing import section_svg
from layerpreview.scheme import load_scheme
from layerpreview.units import Range

from ..schemes import DYES, HEAD, HOLE, HONEY, MIXES, PANEL, RIM, SILVER

Save = Callable[..., Path]
RING = RIM.replace("#221814", "#1a2a44").replace('width = "6 mm"', 'width = "4 mm"').replace('"outline"', '"hole"')
STRIP = (
    '[[face.zone]]\nname = "strip"\nshape = "panel"\nwidth = "10 mm"\nheight = "20 mm"\ncentre = ["50 mm", "26 mm"]\n'
)
SEAT = STRIP.replace('"strip"', '"seat"').replace('"50 mm", "26 mm"', '"36 mm", "10 mm"') + "masked = true\n"
ON_STRIP = '[[coat]]\nmix = "sea"\ncoats = 4\nfilm = "25 um"\nzone = "strip"\n'
CLEAR = '[clear]\ncoats = 3\nfilm = "50 um"\nsolids = "40 %"\nfinish = "matt"\n[sanding]\ngrits = ["P800"]\n'


def sheet_of(save_scheme: Save, text: str) -> MixSheet:
    return make_sheet(load_scheme(save_scheme(text)))


def places(sheet: MixSheet) -> dict[str, Range]:
    return {film.place: film.total_um for film in sheet.films_at}


def test_a_rim_and_a_ring_are_never_summed(save_scheme: Save) -> None:
    """By hand, likely: honey 3 x 40 um of 20 % 24, rim 2 x 20 of 20 % (assumed) 8, ring the same 8, clear 3 x 50 of
    40 % 60 um; rim and ring lie at two edges 6 mm apart at least."""
    coats = HONEY + RIM + RING
    sheet = sheet_of(save_scheme, HEAD + PANEL + HOLE + SILVER + DYES + MIXES + coats + CLEAR)
    found = places(sheet)
    assert found[OPEN].likely == pytest.approx(84.0)
    assert found[AT_EDGE].likely == pytest.approx(92.0, abs=0.8)
    assert found["round hole"].likely == pytest.approx(92.0, abs=0.8)
    assert sheet.total_dry_um["front"] == sheet.films_at[0].total_um
    assert (
        sheet.total_dry_um["front"].likely
        < 93.0
        < 100.0
        == pytest.approx(sum(layer.dry_um.likely for layer in sheet.layers))
    )
    for film in sheet.films_at:
        assert not {"opaque #221814", "opaque #1a2a44"} <= set(film.names)
    # P800 takes 10 um (6 to 18): common practice, no source.
    assert sheet.films_at[0].left_um.likely == pytest.approx(sheet.films_at[0].total_um.likely - 10.0)
    drawn = section_svg(sheet).described
    assert sheet.films_at[0].place in drawn
    assert ("#221814" in drawn) != ("#1a2a44" in drawn)


def test_a_zone_has_what_lies_in_it(save_scheme: Save) -> None:
    """The strip: honey 24, four coats of 25 um of sea, 20 % solids assumed 20, clear 60 um."""
    text = HEAD + PANEL + HOLE + STRIP + SEAT + SILVER + DYES + MIXES + HONEY + ON_STRIP + CLEAR
    sheet = sheet_of(save_scheme, text)
    assert places(sheet)["strip"].likely == pytest.approx(104.0)
    assert places(sheet)[OPEN].likely == pytest.approx(84.0)
    assert sheet.films_at[0].place == "strip"
    x, y = sheet.films_at[0].at_mm
    assert abs(x - 50) < 5
    assert abs(y - 26) < 10
    # Nothing lies on the masked seat, and honey alone comes to no more at an edge than in the open.
    assert set(places(sheet)) == {"strip", OPEN}


def test_where_edges_come_near_each_other_both_are_there(save_scheme: Save) -> None:
    """A hole 4 mm from the edge with a rim of 6 mm: some of the rim lies round the hole, not all of it."""
    near = HOLE.replace('"24 mm"]', '"12 mm"]')
    wide = RING.replace('"4 mm"', '"9 mm"')
    text = HEAD + PANEL + near + SILVER + DYES + MIXES + HONEY + RIM + wide + CLEAR
    thickest = sheet_of(save_scheme, text).films_at[0]
    assert {"opaque #221814", "opaque #1a2a44"} <= set(thickest.names)
    assert 92.0 < thickest.total_um.likely < 100.0


@pytest.mark.parametrize("seed", range(6))
def test_no_place_has_more_than_is_sprayed_there(save_scheme: Save, seed: int) -> None:
    """And every place has the base's, the full coats' and the clear's film at least; widths and films all differ."""
    chance = random.Random(seed)

    def burst(source: str) -> str:
        colour, coats, film, width = (chance.randint(*ends) for ends in ((10, 99), (1, 4), (11, 60), (3, 40)))
        return (
            f'[[coat]]\nopaque = "#22{colour}14"\nhiding = 0.9\ncoats = {coats}\nfilm = "{film} um"\n'
            f'burst = {{ from = "{source}", width = "{width} mm" }}\n'
        )

    coats = HONEY + burst("outline") + burst("hole") + ON_STRIP
    text = HEAD + PANEL + HOLE + STRIP + SEAT + SILVER + DYES + MIXES + coats + CLEAR
    sheet = sheet_of(save_scheme, text)
    full = {layer.name: layer for layer in sheet.layers}
    for film in sheet.films_at:
        for layer in film.layers:
            assert layer.dry_um.likely <= full[layer.name].dry_um.likely * (1 + 1e-6)
        for end in ("low", "likely", "high"):
            assert getattr(film.total_um, end) == pytest.approx(
                sum(getattr(layer.dry_um, end) for layer in film.layers)
            )
        assert film.total_um.likely >= 84.0 - 1e-3
        assert film.left_um.low >= 0.0
    per_face = [film.total_um.likely for film in sheet.films_at]
    assert per_face == sorted(per_face, reverse=True)


def test_a_part_without_coats_has_its_clear(save_scheme: Save) -> None:
    sheet = sheet_of(save_scheme, HEAD + PANEL + SILVER + CLEAR)
    assert [(film.place, film.total_um.likely) for film in sheet.films_at] == [(OPEN, pytest.approx(60.0))]
    assert films_at((), [], removed_um=Range.point(0.0)) == ()
