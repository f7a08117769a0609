"""The mix sheet's pages for the bench: how each batch is mixed, and the stages in the order of work."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from layerpreview.job.batches import MixAmounts
from layerpreview.job.cautions import mixing_cautions
from layerpreview.job.plan import Mask, Stage
from layerpreview.job.sheet import MixSheet
from layerpreview.output.sheet_words import (
    BLANK,
    TICK,
    Block,
    Group,
    Heading,
    Items,
    Para,
    Rows,
    Simple,
    Table,
    Warn,
    Words,
    caution_box,
    counted,
    measured,
    minutes,
    off,
    plain,
    spread,
    where,
)
from layerpreview.spray import DROPS_PER_ML_SOLVENT
from layerpreview.spray.batch import Batch, Part


def is_short(mix: MixAmounts) -> bool:
    """Whether a mix takes so little room that several fit on a page: no dye, no cups, nothing weighed."""
    return mix.kind != "dye" and not mix.cups and mix.batch.batch_g is None


def mix_blocks(mix: MixAmounts, words: Words, *, first: bool) -> Iterator[Simple]:
    yield Heading(f"Mix: {mix.title}", new_page=first or not is_short(mix))
    yield Para(f"Make {words.made(mix.make_mL)}: {mix.make_basis}.")
    if mix.ratio:
        of_what = ", of what is not dye. If the product's sheet counts the dye as carrier, it is right."
        yield Para(f"Ratio {mix.ratio}{of_what if mix.kind == 'dye' else '.'}")
    for caution in mixing_cautions(mix, first=first):
        yield caution_box(caution)
    for text in mix.warnings:
        yield Warn("Too little to measure", text)
    if len(mix.batch.parts) == 1:
        yield Para(
            f"{words.made(mix.make_mL)} ready to spray, thinned and catalysed as its own sheet says. What went in:"
        )
        row = (BLANK, BLANK, BLANK, BLANK)
        yield Table(("Product", "Carrier", "Thinner", "Catalyst"), (row,), (40, 20, 20, 20))
    elif mix.cups:
        yield from _cups(mix, words)
    else:
        yield from _recipe(mix.batch, words, "By volume")
    yield from _drops(mix)


def _cups(mix: MixAmounts, words: Words) -> Iterator[Simple]:
    yield Para(
        f"Pot life {minutes(mix.pot_life_min)}: mix one cup at a time, when it is needed. "
        + ("" if mix.one_coat_fits else "One coat may take longer than the pot life: ask the product's sheet. ")
    )
    for i, cup in enumerate(mix.cups, 1):
        yield from _recipe(cup.batch, words, f"Cup {i} of {len(mix.cups)}, for {counted(cup.coats)}, by volume")


def _recipe(batch: Batch, words: Words, title: str) -> Iterator[Simple]:
    yield Heading(f"{title}: {words.made(batch.batch_mL)}", 2)
    poured: Rows = [
        (TICK, p.name, measured(p, words), f"{plain(p.line_mL)} mL", off(p.error_percent)) for p in batch.parts
    ]
    poured.append(("", "sum", f"{plain(sum((p.mL for p in batch.parts), start=batch.batch_mL * 0))} mL", "", ""))
    yield Table(("", "Pour in", "How much", "Cup then holds", "Off by"), tuple(poured), (6, 24, 42, 17, 11), large=True)
    if any(part.kind == "catalyst" and part.tool != "cup" for part in batch.parts):
        yield Para(
            "So little catalyst is drawn up by syringe before the carrier; pour the carrier right after it and stir.",
            small=True,
        )
    if batch.batch_g is None:
        lacking = ", ".join(batch.no_density_of)
        yield Para(f"By weight: not possible without the density of {lacking}. Their sheets have it.", small=True)
        return
    yield Heading(f"Or weigh as you pour: {words.weight(batch.batch_g)}", 2)
    rows: Rows = [
        (TICK, p.name, _weigh(p, words), words.grams(p.line_g), off(p.weighed_error_percent)) for p in batch.parts
    ]
    rows.append(("", "sum", words.grams(sum((p.g or Fraction(0) for p in batch.parts), Fraction(0))), "", ""))
    yield Table(("", "Pour in", "How much", "Scale then shows", "Off by"), tuple(rows), (6, 24, 42, 17, 11), large=True)
    yield Para("Empty cup on the scale, set it to 0 once, do not reset it in between.", small=True)


def _weigh(part: Part, words: Words) -> str:
    grams = words.grams(part.g)
    return grams if part.weighed_with == "scale" else f"{measured(part, words)} (about {grams})"


def _drops(mix: MixAmounts) -> Iterator[Simple]:
    by_name = {part.name: part for part in mix.ingredients if part.kind == "dye"}
    dyes = [part for part in mix.batch.parts if part.kind == "dye"]
    if not dyes:
        return
    yield Heading("Counting drops instead", 2)
    yield Para(
        "20 drops of water make a millilitre; of a lacquer solvent 44 to 53 do, from the same tip. Drip 1 mL of the "
        "dye out of your pipette, count, and write it down: drops = mL x your count."
    )
    rows: Rows = []
    for part in dyes:
        per_mL = by_name[part.name].drops_per_mL or DROPS_PER_ML_SOLVENT
        count = per_mL.scaled(float(part.mL))
        shown = str(part.drops) if part.drops is not None else f"{count.low:.0f} to {count.high:.0f}"
        rows.append((part.name, f"{plain(part.mL)} mL", f"{shown} at {spread(per_mL)} per mL", BLANK, BLANK))
    yield Table(("Dye", "Amount", "Drops", "My count per mL", "So my drops"), tuple(rows), (22, 15, 33, 15, 15))


MOST_TICKS_ON_A_PAGE = 8
MOST_FACES_ACROSS = 4


def plan_blocks(sheet: MixSheet, words: Words) -> Iterator[Block]:
    yield Heading("Plan", new_page=True)
    if sheet.masks:
        rows: Rows = [
            (TICK, mask.face, mask.what, words.length(mask.edge_mm), _tape(mask, words), mask.when)
            for mask in sheet.masks
        ]
        head = ("", "Face", "Mask", "Edge", "Tape to cut", "When")
        yield Table(head, tuple(rows), (6, 17, 33, 11, 13, 20))
        yield Para("Tape: 15 % longer than the edge (common practice, no source).", small=True)
    else:
        yield Para("Nothing to mask: no openings and no taped zones are written in the scheme.")
    yield from _gun(sheet)
    for stage in sheet.stages:
        blocks = tuple(_stage(stage, words))
        if len(stage.ticks) <= MOST_TICKS_ON_A_PAGE:
            yield Group(blocks)
        else:
            yield from blocks


def _tape(mask: Mask, words: Words) -> str:
    return words.length(mask.tape_mm) if mask.tape_mm else "none"


def _gun(sheet: MixSheet) -> Iterator[Block]:
    gun = sheet.gun
    rows = (
        ("Nozzle", gun.nozzle or "as gun and product say; 1.2 to 1.4 mm is usual (common practice)", BLANK),
        ("Pressure", gun.pressure or "as the gun's sheet says; HVLP at most 10 psi (0.7 bar) at the cap", BLANK),
        ("Fan", gun.fan or "wide for whole faces, narrow for bursts and edges (common practice)", BLANK),
        ("Distance", gun.distance or "150 to 250 mm (6 to 10 in), the same all the way (published)", BLANK),
        ("Overlap", gun.overlap or "half of the last stroke (published)", BLANK),
        ("Direction", gun.direction or "cross each coat with the next; start and end strokes past the edge", BLANK),
    )
    yield Heading("Gun", 2)
    yield Table(("", "Set to", "Was"), rows, (22, 58, 20))


def _stage(stage: Stage, words: Words) -> Iterator[Simple]:
    yield Heading(f"{stage.number}. {stage.title}", 2)
    for caution in stage.cautions:
        yield caution_box(caution)
    if stage.sprayed:
        film = f"{words.film(stage.sprayed.film_um)}, {stage.sprayed.film_um.basis}"
        yield Para(f"Where: {where(stage.sprayed, words)}. Wet film of each coat: {film}.")
        if stage.sprayed.bursts:
            yield Para(
                "Burst: narrow fan, its middle along the edge where build is fullest; half of it misses the part."
            )
        flash = f"Flash between coats: {minutes(stage.flash_min)}. " if stage.sprayed.coats > 1 else ""
        yield Para(f"{flash}Dry before the next stage: {minutes(stage.dry_min)}.")
    yield Items((*stage.todo, *stage.cups))
    yield _ticks(stage)


def _ticks(stage: Stage) -> Table:
    """A row for each thing to do; for a coat over several faces a box for each of them."""
    faces = stage.faces
    if not 2 <= len(faces) <= MOST_FACES_ACROSS:
        names = [f", {face}" for face in faces] if len(faces) > 1 else [""]
        done = [
            tick + name for tick in stage.ticks for name in (names if tick.startswith(("coat ", "levelled")) else [""])
        ]
        rows = tuple((TICK, tick, BLANK, BLANK, BLANK) for tick in done)
        return Table(("", "Done", "Time", "Temp.", "Notes"), rows, (6, 34, 13, 13, 34))
    rest = (BLANK, BLANK, BLANK)
    across = tuple(
        (
            tick,
            *((TICK,) * len(faces) if tick.startswith(("coat ", "levelled")) else (TICK, *("",) * (len(faces) - 1))),
            *rest,
        )
        for tick in stage.ticks
    )
    widths = (26, *(9,) * len(faces), 11, 11, 52 - 9 * len(faces))
    return Table(("Done", *faces, "Time", "Temp.", "Notes"), across, widths)
