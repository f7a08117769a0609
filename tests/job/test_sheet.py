"""The mix sheet's figures: exist for a batch that does not hold what the job takes, for residue forgotten or
counted per coat, for a unit mixed up between gun kinds, and for advice that claims more than it may."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path

import pytest

from layerpreview.errors import InputError
from layerpreview.job.plan import faces_in_order
from layerpreview.job.products import Details, PlainCoats, Product
from layerpreview.job.sheet import MixSheet, make_sheet
from layerpreview.output.sheet_forms import sheet_json, sheet_text
from layerpreview.output.sheet_wall import wall_of
from layerpreview.scheme import load_scheme
from layerpreview.scheme.work_fields import parse_minutes, parse_price, parse_ratio
from layerpreview.told import Basis, Rest, Told
from layerpreview.units import Range

from ..schemes import FULL, GUN, HONEY, PANEL, SEA_BURST, bare_scheme

Save = Callable[..., Path]
TWO_PACK = PlainCoats(
    Product(
        name="two-pack clear",
        ratio=parse_ratio("4:1:1 clear:hardener:reducer"),
        densities_g_per_mL={"carrier": 0.98, "thinner": 0.87, "catalyst": 1.06},
        pot_life_min=parse_minutes("40 min to 1 h"),
        flash_min=parse_minutes("10 to 15 min"),
        dry_min=parse_minutes("12 to 24 h"),
        prices={"carrier": parse_price("60 per L"), "catalyst": parse_price("90 per L")},
    ),
    coats=4,
    film_um=Told.of(Range(45, 55, 65), "um", Rest(Basis.STATED)),
)
PANEL_M2 = 0.064 * 0.048


def sheet_of(save: Save, text: str, details: Details | None = None) -> MixSheet:
    return make_sheet(load_scheme(save(text)), details)


def everything(sheet: MixSheet) -> str:
    return sheet_json(sheet)


def test_the_job_takes_what_lands_what_misses_and_what_stays(save_scheme: Save) -> None:
    """By hand: 3 coats of 40 um on 64 x 48 mm; 25 mm past 224 mm of edge; 60, 50, 40 % lands; 10 mL stay."""
    sheet = sheet_of(save_scheme, bare_scheme('[base]\nkind = "solid"\ncolour = "#ffffff"\n', coats=HONEY) + GUN)
    honey = sheet.mixes[0]
    assert honey.on_part_mL.likely == pytest.approx(3 * 40 * PANEL_M2)
    assert honey.past_edges_mL.likely == pytest.approx(3 * 40 * 0.224 * 0.025)
    assert honey.needed_mL.likely == pytest.approx((honey.on_part_mL.likely + honey.past_edges_mL.likely) / 0.5 + 10)
    assert honey.needed_mL.high == pytest.approx((honey.on_part_mL.high + honey.past_edges_mL.high) / 0.4 + 10)
    assert honey.needed_mL.low == pytest.approx((honey.on_part_mL.low + honey.past_edges_mL.low) / 0.6 + 10)
    assert honey.make_mL >= honey.needed_mL.likely * 1.25 - 1e-9


def test_both_guns_are_compared_by_the_published_ranges(save_scheme: Save) -> None:
    """40 CFR 60.313 and 60.723 (25 to 40 %), South Coast AQMD (65 %); a conventional gun takes more."""
    honey = sheet_of(save_scheme, FULL).mixes[0]
    sprayed = honey.on_part_mL.high + honey.past_edges_mL.high
    guns = honey.needed_by_gun_mL
    assert guns["conventional"].high == pytest.approx(sprayed / 0.25 + honey.residue_mL)
    assert guns["HVLP"].high == pytest.approx(sprayed / 0.40 + honey.residue_mL)
    assert guns["HVLP"].low == pytest.approx((honey.on_part_mL.low + honey.past_edges_mL.low) / 0.65 + honey.residue_mL)


def test_twice_the_size_takes_four_times_the_paint(save_scheme: Save) -> None:
    small = sheet_of(save_scheme, FULL).mixes[0]
    large = sheet_of(save_scheme, FULL.replace("64 mm", "128 mm").replace("48 mm", "96 mm")).mixes[0]
    hole = 3.14159 * 0.008**2
    assert small.stages[0].area_m2 == pytest.approx(PANEL_M2 - hole, rel=1e-3)
    assert large.on_part_mL.likely == pytest.approx(
        small.on_part_mL.likely * (4 * PANEL_M2 - hole) / (PANEL_M2 - hole), rel=1e-3
    )


def test_residue_counts_once_a_filling(save_scheme: Save) -> None:
    two = sheet_of(save_scheme, FULL + "\n" + HONEY).mixes[0]
    assert two.residue_mL == 20.0
    assert sheet_of(save_scheme, FULL.replace(SEA_BURST, HONEY)).mixes[0].residue_mL == 10.0


def test_parts_of_every_batch_and_cup_sum(save_scheme: Save) -> None:
    sheet = sheet_of(save_scheme, FULL, Details(clear=TWO_PACK))
    for mix in sheet.mixes:
        assert sum(part.mL for part in mix.batch.parts) == mix.make_mL
        if mix.cups:
            assert sum(cup.batch.batch_mL for cup in mix.cups) == mix.make_mL
            assert sum(cup.coats for cup in mix.cups) == sum(stage.coats for stage in mix.stages)


def test_cups_follow_the_pot_life(save_scheme: Save) -> None:
    """40 min at the shortest; a coat with flash takes at most 15 + 4 + a little: 2 coats a cup, of 4."""
    clear = sheet_of(save_scheme, FULL, Details(clear=TWO_PACK)).mixes[-1]
    assert [cup.coats for cup in clear.cups] == [2, 2]
    assert clear.one_coat_fits
    assert [part.name for part in clear.batch.parts] == ["reducer", "hardener", "clear"]


def test_bad_products_are_told_at_once(save_scheme: Save) -> None:
    weight = Product(ratio=parse_ratio("3:1 carrier:thinner by weight"))
    details = Details(mixes={"honey": weight, "sea": weight}, batch_mL={"sea": Fraction(20)})
    with pytest.raises(InputError) as caught:
        sheet_of(save_scheme, FULL, details)
    assert [problem.field for problem in caught.value.problems] == ["mix.honey.ratio"] * 2 + ["mix.sea.ratio"] * 2


def test_a_stated_batch_that_is_too_small(save_scheme: Save) -> None:
    with pytest.raises(InputError, match="make at least 50 mL"):  # 2 mL/L of blue: 0.1 mL in 50
        sheet_of(save_scheme, FULL, Details(batch_mL={"honey": Fraction(10)}))


def test_negative_solids(save_scheme: Save) -> None:
    with pytest.raises(InputError, match="solids"):
        sheet_of(save_scheme, FULL, Details(mixes={"sea": Product(solids=Range(-0.2, 0.1, 0.2))}))


def test_isocyanates_where_they_may_be(save_scheme: Save) -> None:
    """Where a catalyst is poured or nothing is known of the clear; not where the product is stated free of them."""

    def told(details: Details) -> list[str]:
        sheet = sheet_of(save_scheme, FULL, details)
        return [stage.title for stage in sheet.stages if any(c.title == "Isocyanates" for c in stage.cautions)]

    assert told(Details()) == ["clear coat: 3 coats"]
    assert told(Details(clear=TWO_PACK)) == ["two-pack clear: 4 coats"]
    assert told(Details(clear=PlainCoats(Product(isocyanate=False)))) == []
    assert told(Details(mixes={"sea": Product(isocyanate=True)}))[0].startswith("sea")


def test_nothing_is_called_safe(save_scheme: Save) -> None:
    text = everything(sheet_of(save_scheme, FULL, Details(clear=TWO_PACK)))
    assert "air-fed" in text
    assert re.findall(r"(?i)\b(?!safety data sheet)safe\w*", text.replace("safety data sheet", "")) == []


def test_sides_before_backs_before_fronts() -> None:
    assert faces_in_order(["Front", "headstock face", "Back", "rim side"]) == (
        "rim side",
        "Back",
        "headstock face",
        "Front",
    )


def test_gloss_is_sanded_after_and_satin_before_the_last_coat(save_scheme: Save) -> None:
    gloss, satin = (sheet_of(save_scheme, f'{FULL}\n[clear]\nfinish = "{finish}"\n') for finish in ("gloss", "satin"))
    assert [stage.kind for stage in gloss.stages][-2:] == ["sand", "record"]
    assert [stage.kind for stage in satin.stages][-2:] == ["clear", "record"]
    assert satin.stages[-2].ticks[-3:] == ("levelled, P800", "coat 3 of 3", "witness card kept and labelled")


def test_costs_sum_what_has_a_price(save_scheme: Save) -> None:
    details = Details(clear=TWO_PACK, currency="EUR", dye_prices={"yellow": parse_price("18 per 50 mL")})
    sheet = sheet_of(save_scheme, FULL, details)
    priced = {cost.what: cost.price for cost in sheet.costs if cost.price is not None}
    assert set(priced) == {"honey: yellow", "two-pack clear: clear", "two-pack clear: hardener"}
    yellow = next(part for part in sheet.mixes[0].batch.parts if part.name == "yellow")
    assert abs(priced["honey: yellow"] - yellow.mL * Fraction(18, 50)) <= Fraction(1, 200)
    assert sheet.cost_total == sum(priced.values())


def test_what_is_printed_sums_to_the_cent(save_scheme: Save) -> None:
    """Four parts with a price and 45 an hour: every price is whole cents, and so is the sum of them."""
    text = FULL + '[shop]\ncurrency = "EUR"\nhour = 45\n[clear]\ncarrier_price = "52.35 per 0.95 L"\n'
    sheet = sheet_of(save_scheme, text.replace("[dye.yellow]", '[dye.yellow]\nprice = "17.77 per 50 mL"'))
    prices = [cost.price for cost in sheet.costs if cost.price is not None]
    assert len(prices) == 3
    assert all((price * 100).denominator == 1 for price in prices)
    assert sheet.cost_total == sum(prices)
    hours = sheet.costs[-1]
    assert hours.price == Fraction(hours.amount.removesuffix(" h")) * 45


def test_the_scheme_says_what_the_sheet_needs(save_scheme: Save) -> None:
    """Coats, film, spare, batch, grits, marks of the tools and a paint come from the file."""
    text = FULL.replace('opaque = "#221814"', 'opaque = "#221814"\nname = "rim"').replace(
        "[mix.sea]\n", '[mix.sea]\nbatch = "90.4 mL"\nsolids = "25 to 35 %"\n'
    )
    text += """\
nozzle = "1.1 mm"
overlap = "55 %"
[paint.rim]
ratio = "3:2 base:reducer"
[clear]
name = "two-pack clear"
coats = 5
film = "45 to 65 um"
solids = "40 %"
ratio = "2:1 clear:hardener"
carrier_density = "0.98 g/mL"
catalyst_density = "1.06 g/mL"
[sanding]
grits = ["P1000", "P3000"]
keep = "21 um"
[shop]
units = "US"
spare = "50 %"
scale = "0.01 g"
"""
    sheet = sheet_of(save_scheme, text)
    mixes = {mix.title: mix for mix in sheet.mixes}
    assert (mixes["sea"].make_mL, mixes["sea"].make_basis) == (91, "as stated, up to the next mark of the cup")
    assert [part.name for part in mixes["rim"].batch.parts] == ["reducer", "base"]
    clear = mixes["two-pack clear"]
    assert (clear.stages[0].coats, clear.stages[0].coats_basis, clear.stages[0].film_basis) == (5, "stated", "stated")
    assert (clear.spare, sheet.units, sheet.level_grits) == (0.5, "US", (1000, 3000))
    assert all(part.g is not None and (part.g * 100).denominator == 1 for part in clear.batch.parts)
    assert (sheet.gun.nozzle, sheet.gun.overlap, sheet.gun.fan) == ("1.1 mm", "55 %", "")
    dry = {layer.name: layer.dry_um for layer in sheet.layers}
    assert dry["two-pack clear"].low == pytest.approx(5 * 45 * 0.40)
    assert dry["sea"].low == pytest.approx(2 * 30 * 0.25)
    assert re.search(r"\d\.\d\d g", sheet_text(sheet, wall_of(sheet)))


def test_a_relief_is_buried_by_what_is_stated(save_scheme: Save) -> None:
    text = FULL.replace("[base]\n", '[base]\nrelief_height = "60 to 90 um"\n')
    sheet = sheet_of(save_scheme, text + '[sanding]\nkeep = "21 um"\n')
    assert sheet.burial is not None
    assert sheet.burial.relief_um == Told(60.0, 75.0, 90.0, "um", (Rest(Basis.STATED),))
    assert sheet.burial.keep_um == 21.0
    assert sheet.relief_basis == "stated"


BACK = PANEL.replace('"front"', '"back"') + (
    '[[face.zone]]\nname = "spine"\nside = { at = ["20 mm", "0 mm"], angle = 180 }\n'
)
OWN = '[base_of.back]\nkind = "wood"\ncolour = "#d9b98a"\n'
SPINE = '[[coat]]\nmix = "sea"\nfilm = "30 um"\nzone = "spine"\ncut_back = "40 %"\n'


def test_a_base_coat_goes_where_no_other_base_is(save_scheme: Save) -> None:
    coat = '[base.coat]\nname = "silver"\n'
    text = FULL.replace("[base]", BACK + "[base]", 1).replace("[dye.yellow]", coat + OWN + "[dye.yellow]")
    first = sheet_of(save_scheme, text).stages[1]
    assert (first.title, first.faces) == ("silver: 2 coats", ("front",))
    assert first.todo[0] == "Cover what it must not reach: back."
    both = sheet_of(save_scheme, text.replace(OWN, OWN + "[base_of.back.coat]\ncoats = 1\n"))
    assert [stage.title for stage in both.stages[1:3]] == ["silver: 2 coats", "base coat of back: 1 coat"]


def test_a_base_that_changes_the_picture_alone_is_sprayed_with_the_rest(save_scheme: Save) -> None:
    """A base of the back that says no kind gets the base coat of the rest, in one batch, unless it says its own."""
    coat, own = '[base.coat]\nname = "silver"\n', '[base_of.back]\ncolour = "#a0a4a8"\n'
    text = FULL.replace("[base]", BACK + "[base]", 1).replace("[dye.yellow]", coat + own + "[dye.yellow]")
    first = sheet_of(save_scheme, text).stages[1]
    assert (first.title, first.faces) == ("silver: 2 coats", ("back", "front"))
    both = sheet_of(save_scheme, text.replace(own, own + "[base_of.back.coat]\ncoats = 1\n"))
    assert [stage.title for stage in both.stages[1:3]] == ["silver: 2 coats", "base coat of back: 1 coat"]


def test_tape_and_cutting_back_stand_at_their_stage(save_scheme: Save) -> None:
    text = FULL.replace("[base]", BACK + "[base]", 1).replace("[gun]", SPINE + "[gun]")
    sheet = sheet_of(save_scheme, text)
    spine = sheet.masks[-1]
    assert (spine.when, spine.stage) == ("before stage 5, sea", 5)
    stage = sheet.stages[4]
    assert stage.number == 5
    assert any(todo.startswith("On back, spine: tape its line") for todo in stage.todo)
    assert any("40 %" in todo for todo in stage.todo)
    assert "cut back" in stage.ticks
    assert any(caution.title == "Dust" for caution in stage.cautions)


def test_a_batch_that_is_too_small_says_where(save_scheme: Save) -> None:
    path = save_scheme(FULL.replace("[mix.honey]\n", '[mix.honey]\nbatch = "10 mL"\n'))
    with pytest.raises(InputError) as caught:
        make_sheet(load_scheme(path))
    (problem,) = caught.value.problems
    assert (problem.file, problem.field) == (str(path), "mix.honey.batch")
    assert problem.remedy == "make at least 50 mL"


@pytest.mark.parametrize("cup", ["2 mL", "7.5 mL", "20 mL"])
def test_batches_end_on_a_mark_of_the_cup(save_scheme: Save, cup: str) -> None:
    sheet = sheet_of(save_scheme, FULL + f'[shop]\ncup = "{cup}"\n')
    for mix in sheet.mixes:
        assert mix.make_mL % Fraction(cup.removesuffix(" mL")) == 0


def test_waiting_is_told_only_where_it_is_stated(save_scheme: Save) -> None:
    times = {time.what: time for time in sheet_of(save_scheme, FULL).times}
    assert times["flash between coats"].minutes is None
    assert times["spray"].minutes is not None


def test_openings_are_masked(save_scheme: Save) -> None:
    mask = sheet_of(save_scheme, FULL).masks[0]
    assert mask.edge_mm == pytest.approx(3.14159 * 16, rel=1e-3)
    assert mask.what.startswith("hole")


def test_json_holds_numbers(save_scheme: Save) -> None:
    sheet = sheet_of(save_scheme, FULL, Details(clear=TWO_PACK))
    told = json.loads(everything(sheet))
    assert told["mixes"][0]["make_mL"] == float(sheet.mixes[0].make_mL)
    assert told["mixes"][0]["batch"]["parts"][0]["mL"] == float(sheet.mixes[0].batch.parts[0].mL)
