"""The mix sheet's appendix as plain blocks of text, which text, HTML and PDF each show in their own way.

All numbers are put into words here, once: no form of the sheet can differ from another.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from layerpreview.job.foremost import staged_cautions
from layerpreview.job.sheet import MixSheet
from layerpreview.output.section_drawing import section_svg
from layerpreview.output.sheet_words import (
    SEE_SHEET,
    Block,
    Columns,
    Drawing,
    Group,
    Heading,
    Para,
    Rows,
    Simple,
    Table,
    Warn,
    Words,
    minutes,
    spread,
    where,
)
from layerpreview.output.sheet_work import day_blocks, drops_group, first_blocks, stage_groups
from layerpreview.spray.budget import POLISH_REMOVES_UM, removed_by_um
from layerpreview.told import summed
from layerpreview.units import Range


def _relief(sheet: MixSheet, words: Words) -> Group:
    drawing = section_svg(sheet)
    steps: Rows = [(f"P{grit}", words.film(removed_by_um([grit], polish=False))) for grit in sheet.level_grits]
    if sheet.polished:
        steps.append(("polish", words.film(POLISH_REMOVES_UM)))
    found: list[Simple] = [
        Heading("Relief and section"),
        Drawing(drawing.svg, drawing.described, drawing.width_mm),
        Para(drawing.described, small=True),
    ]
    if steps:
        found.append(Table(("Sanding step", "Takes off (common practice, no source)"), tuple(steps), (30, 70)))
    found += list(_burial(sheet, words)) if sheet.burial else [Para(f"Relief: {sheet.relief_basis}.")]
    return Group(tuple(found))


def _burial(sheet: MixSheet, words: Words) -> Iterator[Simple]:
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
    """The appendix in the order it is read: all that is not on the wall."""
    words = Words(sheet.units, sheet.tools)
    groups = [*stage_groups(sheet, words), *drops_group(sheet), *_time(sheet), _rests_on(sheet), _relief(sheet, words)]
    return [
        *_cautions(sheet),
        *first_blocks(sheet, words),
        Columns(tuple(groups)),
        *day_blocks(sheet),
        *_amounts(sheet, words),
    ]


def _cautions(sheet: MixSheet) -> Iterator[Block]:
    yield Heading("Cautions")
    rows = tuple(
        (staged.caution.title, staged.caution.text, _runs(staged.stages) or "all") for staged in staged_cautions(sheet)
    )
    yield Table(("Caution", "What to do", "Stages"), rows, (16, 72, 12))


def _runs(numbers: Sequence[int]) -> str:
    """ "2 to 4, 9" for 2, 3, 4, 9."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return ", ".join(f"{run[0]}" if len(run) == 1 else f"{run[0]} to {run[-1]}" for run in runs)


def _amounts(sheet: MixSheet, words: Words) -> Iterator[Block]:
    yield Heading("Films and amounts")
    sprayed = [stage.sprayed for stage in sheet.stages if stage.sprayed]
    rows: Rows = [
        (
            f"{stage.title}, {where(stage, words)}",
            f"{stage.coats} x {words.film(stage.film_um)}",
            words.film(layer.dry_um),
            layer.dry_um.basis,
            words.area(stage.area_m2),
            words.measure(stage.on_part_mL),
        )
        for stage, layer in zip(sprayed, sheet.layers, strict=True)
    ]
    head = (
        "Coats, at full build",
        "Wet film each",
        "Dry in all",
        "Rests on",
        "Area",
        f"Stays on the part, {words.volume_unit}",
    )
    yield Table(head, tuple(rows), (25, 15, 14, 22, 9, 15))
    sums: Rows = [
        (film.face, film.place, ", ".join(film.names), words.film(film.total_um), words.film(film.left_um))
        for film in sheet.films_at
    ]
    places = ("Face", "Place", "What lies there, from below", "Dry, in all", "Once sanded")
    yield Table(places, tuple(sums), (10, 14, 40, 18, 18))
    by_mix: Rows = [
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
    unit = f"In {words.volume_unit}"
    head_by_mix = (unit, "On the part", "Past edges, in openings", "Left in cup and lines", "The job takes", *guns)
    yield Table(head_by_mix, tuple(by_mix), (16, 14, 14, 12, 14, 16, 14))
    lands = spread(sheet.mixes[0].transfer.scaled(100.0))
    yield Para(
        f"The job takes (on the part + past edges) / transfer + what is left in the cup; {lands} % of what is sprayed "
        f"lands. {_grounds(sheet)}"
    )


def _grounds(sheet: MixSheet) -> str:
    """What the amounts rest on besides the films, which have a column of their own; said once where it is all alike."""
    of_mix = {
        mix.title: [each for each in mix.needed_mL.basis.split("; ") if not each.startswith("film")]
        for mix in sheet.mixes
    }
    alike = {"; ".join(grounds) for grounds in of_mix.values()}
    if len(alike) == 1:
        return f"All of it rests on: the films; {alike.pop()}."
    return " ".join(f"{title} rests on: the films; {'; '.join(grounds)}." for title, grounds in of_mix.items())


def _time(sheet: MixSheet) -> Iterator[Group]:
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
    work = Table(("Work", "Kind", "Time", "Rests on"), tuple(rows), (28, 17, 22, 33))
    yield Group((Heading("Time and cost"), work))
    if sheet.cost_total is None:
        yield Group((Para("No prices are given: no cost is shown."),))
        return
    costs: Rows = [(c.what, c.amount, "no price" if c.price is None else f"{float(c.price):.2f}") for c in sheet.costs]
    costs.append(("sum of what has a price", "", f"{float(sheet.cost_total):.2f} {sheet.currency}".rstrip()))
    cost = Table(("Cost", "Amount", f"Price {sheet.currency}".rstrip()), tuple(costs), (52, 22, 26))
    yield Group((cost,))


def _rests_on(sheet: MixSheet) -> Group:
    rows = tuple((ground.what, ground.rests_on, ground.source) for ground in sheet.rests_on)
    table = Table(("Figure", "Rests on", "Source"), rows, (33, 20, 47))
    return Group((Heading("What the figures rest on"), table))
