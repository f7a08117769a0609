"""The mix sheet laid out as plain blocks of text, which text, HTML and PDF each show in their own way.

All numbers are put into words here, once: no form of the sheet can differ from another.
"""

from __future__ import annotations

from collections.abc import Iterator

from layerpreview.job.sheet import MixSheet
from layerpreview.output.blocks import BLANK, TICK, Bar, Block, Group, Heading, Items, Para, Rows, Table, Title
from layerpreview.output.sheet_film import film_blocks
from layerpreview.output.sheet_mixing import is_short, mix_blocks
from layerpreview.output.sheet_words import SEE_SHEET, Words, caution_box, minutes, spread, where
from layerpreview.output.sheet_work import plan_blocks
from layerpreview.told import Basis, summed


def blocks_of(sheet: MixSheet) -> list[Block]:
    """The whole sheet in the order it is read."""
    words = Words(sheet.units, sheet.tools)
    found: list[Block] = [*_front(sheet, words)]
    for i, mix in enumerate(sheet.mixes):
        blocks = list(mix_blocks(mix, words, first=i == 0))
        found += [Group(tuple(blocks))] if is_short(mix) else blocks
    found += [*plan_blocks(sheet, words), *film_blocks(sheet, words)]
    found += [*_amounts(sheet, words), *_time(sheet), *_rests_on(sheet)]
    return found


def _front(sheet: MixSheet, words: Words) -> Iterator[Block]:
    lights = ", ".join(sheet.lights)
    yield Title(sheet.name, f"Mix sheet. Amounts are approximate; agreed under {lights}.")
    yield Bar()
    faces = "; ".join(f"{f.name} {words.area(f.area_m2)}, {words.length(f.edge_mm)} of edge" for f in sheet.faces)
    yield Para(f"Part: {faces}.")
    yield Table(
        ("Date", "Part or job no.", "Temperature", "Humidity"), ((BLANK, BLANK, BLANK, BLANK),), (25, 25, 25, 25)
    )
    to_mix: Rows = []
    for mix in sheet.mixes:
        coats = " + ".join(str(stage.coats) for stage in mix.stages)
        coats += " (assumed)" if mix.stages[0].coats_basis is not Basis.STATED else ""
        to_mix.append((mix.title, words.made(mix.make_mL), words.volume(mix.needed_mL), coats))
    yield Table(("To mix", "Make", "The job takes, likely (low to high)", "Coats"), tuple(to_mix), (34, 22, 34, 10))
    yield Para(
        "If the high figure comes true, mix another batch by the same table: keep the materials at hand.", small=True
    )
    for caution in sheet.cautions:
        yield caution_box(caution)
    yield Heading("In this order")
    rows: Rows = [(TICK, str(stage.number), stage.title, where(stage.sprayed, words)) for stage in sheet.stages]
    yield Table(("", "", "Stage", "Where"), tuple(rows), (6, 6, 44, 44))


def _amounts(sheet: MixSheet, words: Words) -> Iterator[Block]:
    yield Heading("Amounts in detail")
    goes: Rows = [
        (
            f"{stage.title}, {where(stage, words)}",
            f"{stage.coats} x {words.film(stage.film_um)}",
            words.area(stage.area_m2),
            words.volume(stage.on_part_mL),
        )
        for mix in sheet.mixes
        for stage in mix.stages
    ]
    yield Table(("Coats", "Wet film each", "Area at full build", "Stays on the part"), tuple(goes), (34, 24, 17, 25))
    rows: Rows = [
        (
            mix.title,
            words.measure(mix.on_part_mL),
            words.measure(mix.past_edges_mL),
            words.measure(mix.residue_mL),
            words.measure(mix.needed_mL),
            *(words.measure(needed) for needed in mix.needed_by_gun_mL.values()),
        )
        for mix in sheet.mixes
    ]
    guns = tuple(f"by {'an' if kind == 'HVLP' else 'a'} {kind} gun" for kind in sheet.mixes[0].needed_by_gun_mL)
    head = (
        words.volume_unit,
        "on the part",
        "past edges, in openings",
        "left in cup and lines",
        "the job takes",
        *guns,
    )
    yield Table(head, tuple(rows), (16, 14, 14, 12, 14, 16, 14))
    lands = spread(sheet.mixes[0].transfer.scaled(100.0))
    yield Para(
        f"The job takes (on the part + past edges) / transfer + what is left in the cup; {lands} % of what is sprayed "
        "lands."
    )
    yield Items(tuple(f"{mix.title} rests on: {mix.needed_mL.basis}" for mix in sheet.mixes))


def _time(sheet: MixSheet) -> Iterator[Block]:
    yield Heading("Time and cost", new_page=False)
    rows: Rows = [
        (
            t.what,
            "hands on" if t.hands_on else "waiting",
            SEE_SHEET if t.minutes is None else minutes(t.minutes),
            t.basis,
        )
        for t in sheet.times
    ]
    hands_on = summed([t.minutes for t in sheet.times if t.hands_on and t.minutes is not None])
    rows.append(("sum of hands-on time", "", minutes(hands_on), ""))
    yield Table(("Work", "", "Time", "Rests on"), tuple(rows), (34, 14, 26, 26))
    if sheet.cost_total is None:
        yield Para("No prices are given: no cost is shown.")
        return
    costs: Rows = [(c.what, c.amount, "no price" if c.price is None else f"{float(c.price):.2f}") for c in sheet.costs]
    costs.append(("sum of what has a price", "", f"{float(sheet.cost_total):.2f} {sheet.currency}".rstrip()))
    yield Table(("Cost", "Amount", f"Price {sheet.currency}".rstrip()), tuple(costs), (50, 25, 25))


def _rests_on(sheet: MixSheet) -> Iterator[Block]:
    yield Heading("What the figures rest on")
    rows = tuple((ground.what, ground.rests_on, ground.source) for ground in sheet.rests_on)
    yield Table(("Figure", "Rests on", "Source"), rows, (34, 20, 46))
