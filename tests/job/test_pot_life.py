"""One paint, mixed once where it can be: exists for a rim and a ring mixed and dried one after the other, for a cup
that is used days after its pot life, and for cups too small to measure. Times are asymmetric."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from layerpreview.job.booth import booth_of
from layerpreview.job.pot_life import BREAK_TOO_LONG, BREAK_UNKNOWN, FLASH_UNKNOWN, NO_LONGER_GOOD, mixings_of
from layerpreview.job.products import Product
from layerpreview.job.sheet import MixSheet, make_sheet
from layerpreview.job.sprayed import Sprayed
from layerpreview.scheme import load_scheme
from layerpreview.scheme.work_fields import parse_ratio
from layerpreview.told import Told
from layerpreview.units import Range

from ..schemes import DYES, GUN, HEAD, HOLE, HONEY, MIXES, PANEL, RIM, SEA_BURST, SILVER

Save = Callable[..., Path]
RING = RIM.replace('width = "6 mm"', 'width = "4 mm"').replace('"outline"', '"hole"').replace("coats = 2", "coats = 1")
BACK = PANEL.replace('"front"', '"back"').replace('"64 mm"', '"91 mm"')
STRIP = '[[face.zone]]\nname = "strip"\nshape = "panel"\nwidth = "6 mm"\nheight = "9 mm"\ncentre = ["45 mm", "26 mm"]\n'
RATIO = 'ratio = "4:1:1 paint:hardener:reducer"\npot_life = "90 min to 2 h"\n'


def named(coat: str, name: str) -> str:
    return coat.replace("hiding", f'name = "{name}"\nhiding')


def sheet_of(
    save_scheme: Save, coats: str, more: str = "", *, face: str = PANEL + HOLE, base: str = SILVER
) -> MixSheet:
    return make_sheet(load_scheme(save_scheme(HEAD + face + base + DYES + MIXES + coats + more + GUN)))


RIM_AND_RING = named(RIM, "rim") + named(RING, "ring")


def test_the_same_paint_at_places_that_do_not_meet_is_sprayed_in_one_go(save_scheme: Save) -> None:
    """Nothing dries between, and what dries longer counts before the next stage."""
    dry = '[paint.rim]\ndry = "40 to 50 min"\n[paint.ring]\ndry = "20 to 70 min"\n'
    sheet = sheet_of(save_scheme, HONEY + RIM_AND_RING, dry)
    rim, ring = (stage for stage in sheet.stages if stage.kind == "opaque")
    assert (rim.sprayed.along, ring.sprayed.along) == (False, True)  # type: ignore[union-attr]
    assert rim.dry_min == Range.point(0.0)
    assert ring.dry_min == Range(40.0, 45.0, 70.0)
    assert [mix.title for mix in sheet.mixes][1] == "rim and ring"
    assert sheet.mixes[1].residue_mL == 10.0
    assert any("along with the stage before" in todo for todo in ring.todo)
    assert "rim and ring as mixed before." in ring.todo


def test_what_could_go_along_with_an_earlier_stage_is_told(save_scheme: Save) -> None:
    """Rim, a coat on the other face, then the ring: stage 2 is the rim. Over the same face the order stays."""
    on_back = HONEY.replace("film", 'zone = "back"\nfilm')
    apart = named(RIM, "rim") + on_back + named(RING, "ring")
    ring = sheet_of(save_scheme, apart, face=PANEL + HOLE + BACK).stages[3]
    assert any(todo.startswith("The same paint as stage 2, and nothing in between") for todo in ring.todo)
    over = sheet_of(save_scheme, named(RIM, "rim") + HONEY + named(RING, "ring"), face=PANEL + HOLE + BACK).stages[3]
    assert not any("The same paint as stage" in todo for todo in over.todo)


def test_the_diary_waits_as_the_sheet_says(save_scheme: Save) -> None:
    scheme = load_scheme(save_scheme(HEAD + PANEL + HOLE + SILVER + RIM_AND_RING + GUN))
    assert [step.dry_min for step in booth_of(scheme).steps][:1] == [Range.point(0.0)]


@pytest.mark.parametrize(
    ("coats", "face", "along"),
    [
        (RIM_AND_RING, PANEL + HOLE, True),
        (RIM_AND_RING.replace('"4 mm"', '"30 mm"'), PANEL + HOLE, False),  # they meet: the first one dries
        (named(RIM, "rim") + HONEY + named(RING, "ring"), PANEL + HOLE, False),  # another coat lies between
        (named(RIM, "rim") + named(RING, "ring").replace("#221814", "#231814"), PANEL + HOLE, False),  # another paint
        (
            HONEY.replace("film", 'zone = "front"\nfilm') + HONEY.replace("film", 'zone = "back"\nfilm'),
            PANEL + BACK,
            True,
        ),
        (HONEY + HONEY, PANEL, False),
        # Its line is taped, and nothing is taped while paint is wet.
        (named(RIM, "rim") + named(RIM.split("burst")[0], "inlay") + 'zone = "strip"\n', PANEL + STRIP, False),
    ],
    ids=["rim and ring", "wide ring", "another between", "another paint", "two faces", "over itself", "taped"],
)
def test_when_stages_go_together(save_scheme: Save, coats: str, face: str, along: bool) -> None:
    stages = [stage.sprayed for stage in sheet_of(save_scheme, coats, face=face).stages if stage.sprayed]
    assert stages[-2].along is along  # the last coat; the clear comes after it
    assert not stages[-1].along


def paint(rim: str = "", ring: str = "") -> str:
    return f"[paint.rim]\n{RATIO}{rim}[paint.ring]\n{RATIO}{ring}"


def test_one_cup_serves_both_while_it_is_good(save_scheme: Save) -> None:
    """A coat takes at most 15 min a m2 of little and 4 a face: 3 coats with 8 min of flash are below 40 of 90 min."""
    sheet = sheet_of(save_scheme, RIM_AND_RING, paint('flash = "5 to 8 min"\n', 'flash = "5 to 8 min"\n'))
    assert sheet.mixes[0].cups == ()
    assert sheet.mixes[0].one_coat_fits
    assert "rim and ring as mixed before." in sheet.stages[2].todo


def test_a_pot_life_that_runs_out_in_between_starts_another_cup(save_scheme: Save) -> None:
    """40 min of flash: at least 44 min a coat, two of them in 90 min: the rim's two, then the ring's one."""
    sheet = sheet_of(save_scheme, RIM_AND_RING, paint('flash = "30 to 40 min"\n', 'flash = "30 to 40 min"\n'))
    cups = sheet.mixes[0].cups
    assert [(cup.coats, cup.why) for cup in cups] == [(2, ""), (1, NO_LONGER_GOOD)]
    assert sum(cup.batch.batch_mL for cup in cups) == sheet.mixes[0].make_mL
    assert f"Mix cup 2 of rim and ring by its table: {NO_LONGER_GOOD}." in sheet.stages[2].todo
    assert sheet.stages[2].cups == (f"cup 2: {float(cups[1].batch.batch_mL):g} mL for 1 coat",)


@pytest.mark.parametrize(
    ("dry", "why", "residue_mL"),
    [('dry = "3 to 4 h"\n', BREAK_TOO_LONG, 20.0), ("", BREAK_UNKNOWN, 20.0), ('dry = "5 to 6 min"\n', None, 20.0)],
    ids=["hours later", "not stated", "minutes later"],
)
def test_a_paint_used_again_after_its_pot_life_is_mixed_anew(
    save_scheme: Save, dry: str, why: str | None, residue_mL: float
) -> None:
    """Rim, a burst of another mix, then the ring: what dries between is the rim's and that mix's own time."""
    flash = 'flash = "5 to 8 min"\n'
    coats = named(RIM, "rim") + SEA_BURST + named(RING, "ring")
    mixes = MIXES + f'flash = "5 to 8 min"\n{dry}'
    scheme = HEAD + PANEL + HOLE + SILVER + DYES + mixes + coats + paint(flash + dry, flash) + GUN
    paints = make_sheet(load_scheme(save_scheme(scheme))).mixes[0]
    assert paints.title == "rim and ring"
    assert paints.residue_mL == residue_mL
    assert [cup.why for cup in paints.cups] == ([] if why is None else ["", why])
    assert [[s.coats for s in cup.serves] for cup in paints.cups] == ([] if why is None else [[2], [1]])
    if why:  # each is as large as what is left in the gun, and what its coats take
        assert min(cup.batch.batch_mL for cup in paints.cups) > 10


def stage(key: str, coats: int, flash_min: float, dry_min: float, pot_min: float) -> Sprayed:
    product = Product(
        ratio=parse_ratio("4:1:1 paint:hardener:reducer"),
        pot_life_min=Range(pot_min, pot_min + 3, pot_min + 9),
        flash_min=Range(flash_min / 2, flash_min / 1.5, flash_min),
        dry_min=Range.point(dry_min),
    )
    film, mL = Told.of(20.0, "um"), Told.of(1.0, "mL")
    return Sprayed(
        key, "opaque", key, "face", (), ("front",), coats, film, 0.0, mL, mL, product, dry_min=product.dry_min
    )


COATS = st.lists(
    st.tuples(st.sampled_from("ab"), st.integers(1, 7), st.floats(1, 90), st.floats(0, 200)), min_size=1, max_size=6
)


@given(coats=COATS, pot_min=st.floats(10, 300))
def test_no_mixing_outlasts_its_pot_life(coats: list[tuple[str, int, float, float]], pot_min: float) -> None:
    """A coat takes 4 min for its face at most (area 0) and its flash time; from the first to the last of a mixing, with
    all that is sprayed and dries between, that is the pot life at most, or it is one coat."""
    stages = [stage(key, n, flash, dry, pot_min) for key, n, flash, dry in coats]
    for key in {key for key, *_ in coats}:
        mine = [i for i, each in enumerate(stages) if each.key == key]
        found = mixings_of(stages, key)
        assert sum(mixing.coats for mixing in found) == sum(stages[i].coats for i in mine)
        assert [mixing.why == "" for mixing in found] == [True] + [False] * (len(found) - 1)
        for mixing in found:
            took = sum(s.coats * (4.0 + coats[mine[s.stage]][2]) for s in mixing.serves)
            for one, other in pairwise(mixing.serves):
                between = range(mine[one.stage], mine[other.stage])
                took += sum(coats[i][3] for i in between)
                took += sum(4.0 * coats[i][1] + coats[i][2] * (coats[i][1] - 1) for i in between[1:])
            assert mixing.coats == 1 or took <= pot_min + 1e-6


def test_a_long_break_of_one_paint_cleans_the_gun(save_scheme: Save) -> None:
    """Two rims over each other, the first one dry for hours before: another cup, and its residue."""
    flash = 'flash = "5 to 8 min"\n'
    coats = named(RIM, "rim") + named(RIM, "ring")
    dried = sheet_of(save_scheme, coats, paint(flash + 'dry = "3 to 4 h"\n', flash)).mixes[0]
    assert (dried.residue_mL, [cup.why for cup in dried.cups]) == (20.0, ["", BREAK_TOO_LONG])
    soon = sheet_of(save_scheme, coats, paint(flash + 'dry = "5 to 9 min"\n', flash)).mixes[0]
    assert (soon.residue_mL, soon.cups) == (10.0, ())


def test_every_cup_can_be_measured(save_scheme: Save) -> None:
    """The batch grows, within three times what the job takes, until the smallest cup is as large as it must be."""
    found = sheet_of(save_scheme, RIM_AND_RING, paint()).mixes[0]
    assert [cup.why for cup in found.cups] == ["", FLASH_UNKNOWN, FLASH_UNKNOWN]  # a cup a coat
    assert max(abs(part.error_percent) for cup in found.cups for part in cup.batch.parts) <= 5
    assert found.warnings == ()
    assert min(cup.batch.batch_mL for cup in found.cups) >= found.smallest_mL
    assert "every cup" in found.make_basis
    assert sum(cup.batch.batch_mL for cup in found.cups) == found.make_mL


COAT = 'coat = { name = "silver", coats = 2, film = "30 to 40 um" }\n'
PLAIN = SILVER.replace("flake_spread = 0.3\n", "")
OWN = '[base_of.back]\nkind = "metal"\ncolour = "#b9bcc0"\ncoat = { name = "silver", coats = 3, film = "wet" }\n'


@pytest.mark.parametrize(
    ("own", "batches"),
    [
        (OWN, 1),
        (OWN.replace("silver", "gold"), 2),
        (OWN.replace("#b9bcc0", "#e9c080"), 2),
        (OWN.replace('name = "silver", ', ""), 2),
    ],
    ids=["one product", "another name", "another colour", "no name"],
)
def test_a_base_coat_of_one_name_is_one_batch(save_scheme: Save, own: str, batches: int) -> None:
    sheet = sheet_of(
        save_scheme, HONEY, face=PANEL + BACK, base=SILVER.replace("flake_spread = 0.3\n", "") + COAT + own
    )
    base = [mix for mix in sheet.mixes if mix.kind == "base"]
    assert len(base) == batches
    if batches == 1:
        front, back = base[0].stages
        assert (front.faces, back.faces, back.along) == (("front",), ("back",), True)
        assert base[0].on_part_mL.likely == pytest.approx(front.on_part_mL.likely + back.on_part_mL.likely)
        assert base[0].residue_mL == 10.0
