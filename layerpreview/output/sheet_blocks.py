"""The mix sheet laid out as plain blocks of text, which text, HTML and PDF each show in their own way.

All numbers are put into words here, once: no form of the sheet can differ from another.
"""

from __future__ import annotations

from collections.abc import Iterator

from layerpreview.colour import light_words
from layerpreview.job.sheet import MixSheet
from layerpreview.output.section_drawing import section_svg
from layerpreview.output.sheet_words import (
    BLANK,
    SEE_SHEET,
    TICK,
    Bar,
    Block,
    Drawing,
    Group,
    Heading,
    Items,
    Para,
    Rows,
    Table,
    Title,
    Warn,
    Words,
    caution_box,
    counted,
    minutes,
    spread,
    where,
)
from layerpreview.output.sheet_work import is_short, mix_blocks, plan_blocks
from layerpreview.spray.budget import POLISH_REMOVES_UM, removed_by_um
from layerpreview.told import Basis, summed
from layerpreview.units import Range


def film_blocks(sheet: MixSheet, words: Words) -> Iterator[Block]:
    yield Heading("Film", new_page=True)
    rows: Rows = [
        (
            f"{la.name}, {counted(la.coats)}: {', '.join(la.faces)}",
            words.film(la.wet_um),
            words.film(la.dry_um),
            la.dry_um.basis,
        )
        for la in sheet.layers
    ]
    yield Table(("At full build", "Wet", "Dry", "Rests on"), tuple(rows), (30, 21, 21, 28))
    sums: Rows = [
        (film.face, film.place, ", ".join(film.names), words.film(film.total_um), words.film(film.left_um))
        for film in sheet.films_at
    ]
    head = ("Face", "Place", "What lies there, from below", "Dry, in all", "Once sanded")
    yield Table(head, tuple(sums), (11, 18, 31, 20, 20))
    drawing = section_svg(sheet)
    yield Drawing(drawing.svg, drawing.described, drawing.width_mm)
    yield Para(drawing.described, small=True)
    steps: Rows = [(f"P{grit}", words.film(removed_by_um([grit], polish=False))) for grit in sheet.level_grits]
    if sheet.polished:
        steps.append(("polish", words.film(POLISH_REMOVES_UM)))
    yield Table(("Sanding step", "Takes off (common practice, no source)"), tuple(steps), (30, 70))
    if sheet.burial:
        yield from _burial(sheet, words)
    else:
        yield Para(f"Relief: {sheet.relief_basis}.")


def _burial(sheet: MixSheet, words: Words) -> Iterator[Block]:
    found = sheet.burial
    assert found is not None
    clear = sheet.layers[-1]
    over = found.over_peaks_um
    rows = (
        ("relief, peak to valley", words.film(found.relief_um), sheet.relief_basis),
        (
            f"shows in {clear.coats} clear coats, not sanded",
            words.film(found.shows_um),
            "computed: every coat levels fully, or none",
        ),
        ("sanding and polishing take", words.film(found.removed_um), "common practice, no source"),
        ("clear left over the peaks, sanded flat", _left(over, words), "computed"),
        ("clear on sharp edges, before sanding", words.film(found.at_edges_um), "common practice: 30 to 80 % stays"),
    )
    yield Table(("Relief and clear", "Likely (low to high)", "Rests on"), rows, (38, 28, 34))
    coats = [c for c in (found.coats_low, found.coats_high) if c is not None]
    keep = words.film(found.keep_um)
    if len(coats) == 2:
        many = f"{coats[0]}" if coats[0] == coats[1] else f"{coats[0]} (each coat levels out) to {coats[1]} (none does)"
        yield Para(
            f"To bury the likely relief, sand it flat and keep {keep} over the peaks: {many} clear coats in all."
        )
    else:
        yield Para("This relief cannot be buried by 60 clear coats of this film: leave it to show, or fill it first.")
    if over.low < found.keep_um:
        yield Warn(
            "CAUTION: sanding through",
            f"At worst {_left(over.low, words)} is left over the peaks. Measure the relief and the "
            "film, add clear, or leave some texture.",
        )


def _left(um: Range | float, words: Words) -> str:
    """Clear that is left [um]; below nothing it is sanded through."""
    if isinstance(um, float):
        return words.film(um) if um > 0.0 else "nothing (sanded through)"
    if um.low >= 0.0:
        return words.film(um)
    return f"{_left(um.likely, words)}; {_left(um.low, words)} to {_left(um.high, words)}"


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
    lights = ", ".join(map(light_words, sheet.lights))
    yield Title(sheet.name, f"{sheet.how_agreed.words} Amounts are approximate. To be looked at under {lights}.")
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
