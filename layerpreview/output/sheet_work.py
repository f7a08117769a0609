"""The mix sheet's appendix by stage: how each batch is mixed, where it goes, what to mind, and a line for the day."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Collection, Iterator
from fractions import Fraction

from layerpreview.job.batches import MixAmounts
from layerpreview.job.plan import ALONG, WHY_ORDER, Mask, Stage
from layerpreview.job.sheet import MixSheet
from layerpreview.output.sheet_wall import GUN_USUAL, are_alike
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
    in_mL,
    measured,
    off,
    poured,
    spread,
)
from layerpreview.spray import DROPS_PER_ML_SOLVENT
from layerpreview.spray.batch import Batch, Part
from layerpreview.told import Basis

IN_FULL = "Isocyanates"
"""The caution that stands in full in every stage where it applies."""


def first_blocks(sheet: MixSheet, words: Words) -> Iterator[Block]:
    """What several stages say alike, once, and the first stage, whose table of tape wants the whole width."""
    often = _said_often(sheet)
    yield Heading("For every stage")
    yield Items((*often, *_general(sheet)))
    first = sheet.stages[0]
    yield Heading(_title(first), 2)
    yield from _prepared(sheet, words)
    yield from _stage(first, None, words, often)


def stage_groups(sheet: MixSheet, words: Words) -> Iterator[Group]:
    """Every other stage, its mix with the first stage that is sprayed from it."""
    often, mixes = _said_often(sheet), {mix.key: mix for mix in sheet.mixes}
    for stage in sheet.stages[1:]:
        mix = mixes.pop(stage.sprayed.key, None) if stage.sprayed else None
        yield Group((Heading(_title(stage), 2), *_stage(stage, mix, words, often)))


def _title(stage: Stage) -> str:
    return f"{stage.number}. {stage.title}"


def _said_often(sheet: MixSheet) -> tuple[str, ...]:
    """What more than one stage says and names no face and no mix, in the order it is first said."""
    said = Counter(item for stage in sheet.stages for item in _todo(stage))
    names = [*(face.name for face in sheet.faces), *(mix.title for mix in sheet.mixes)]
    names += [stage.sprayed.title for stage in sheet.stages if stage.sprayed]
    own = re.compile("|".join(rf"\b{re.escape(name)}" for name in names))
    return tuple(
        item
        for item, times in said.items()
        if times > 1 and item != ALONG and (item == WHY_ORDER or not own.search(item))
    )


def _todo(stage: Stage) -> list[str]:
    """What is to be done, sentence by sentence where a sentence stands in other stages, too."""
    found = []
    for item in stage.todo:
        first, _, why = item.partition(WHY_ORDER)
        found.append(first.strip())
        if WHY_ORDER in item:
            found += [WHY_ORDER, *([why.strip()] if why.strip() else [])]
    return [item for item in found if item]


def _general(sheet: MixSheet) -> Iterator[str]:
    """What holds for all mixes."""
    yield "By syringe: up to 2 mL with the 1 mL one, above with the 10 mL one, filling by filling as written."
    yield "If the high figure of a mix comes true, mix another batch by the same table: keep the materials at hand."
    if any(stage.sprayed and stage.sprayed.bursts for stage in sheet.stages):
        yield "Burst: narrow fan, its middle along the edge where build is fullest; half of it misses the part."
    batches = [mix.batch for mix in sheet.mixes if len(mix.batch.parts) > 1]
    if any(batch.batch_g is not None for batch in batches):
        yield "To weigh: empty cup on the scale, set it to 0 once, do not reset it in between."
    lacking = list(dict.fromkeys(name for batch in batches for name in batch.no_density_of))
    if lacking:
        yield f"By weight: not possible without the density of {', '.join(lacking)}. Their sheets have it."
    if any(mix.kind == "dye" and mix.ratio for mix in sheet.mixes):
        yield "Ratio of a dye mix: of what is not dye. If the product's sheet counts the dye as carrier, it is right."


def _prepared(sheet: MixSheet, words: Words) -> Iterator[Simple]:
    faces = "; ".join(f"{f.name} {words.area(f.area_m2)}, {words.length(f.edge_mm)} of edge" for f in sheet.faces)
    yield Para(f"Part: {faces}.")
    if sheet.masks:
        rows: Rows = [
            (TICK, mask.face, mask.what, words.length(mask.edge_mm), _tape(mask, words), mask.when)
            for mask in sheet.masks
        ]
        head = ("Done", "Face", "Mask", "Edge", "Tape to cut", "When")
        yield Table(head, tuple(rows), (7, 14, 35, 11, 12, 21))
        yield Para("Tape: 15 % longer than the edge (common practice, no source).", small=True)
    else:
        yield Para("Nothing to mask: no openings and no taped zones are written in the scheme.")
    gun = sheet.gun
    if usual := "; ".join(f"{name} {told}" for name, (_, told) in GUN_USUAL.items() if not getattr(gun, name)):
        yield Para(f"The gun, where nothing is stated: {usual}.")


def _tape(mask: Mask, words: Words) -> str:
    return words.length(mask.tape_mm) if mask.tape_mm else "none"


def _stage(stage: Stage, mix: MixAmounts | None, words: Words, often: Collection[str]) -> Iterator[Simple]:
    for caution in stage.cautions:
        if caution.title == IN_FULL:
            yield caution_box(caution)
    if stage.sprayed and stage.sprayed.coats_basis is not Basis.STATED:
        yield Para(f"How many coats is {stage.sprayed.coats_basis}.")
    if mix is not None:
        yield from _mix(mix, words)
    own = tuple(item for item in (*_todo(stage), *stage.cups) if item not in often and not _is_on_the_wall(item))
    if own:
        yield Items(own)


def _is_on_the_wall(item: str) -> bool:
    """Whether the wall's page says it already: in which order faces are sprayed, from which mix."""
    return item.startswith("Faces in this order:") or item.endswith("by its table.")


def day_blocks(sheet: MixSheet) -> Iterator[Block]:
    """A line for every stage of what the day was like."""
    rows = tuple((_title(stage), *(BLANK,) * 5, TICK if stage.sprayed else "", BLANK) for stage in sheet.stages)
    yield Heading("The day, stage by stage")
    head = ("Stage", "Date", "Began", "Ended", "Temp.", "Humidity", "Card kept, labelled", "Notes")
    yield Table(head, rows, (27, 9, 8, 8, 8, 9, 11, 20))


def _mix(mix: MixAmounts, words: Words) -> Iterator[Simple]:
    takes = f"The job takes {words.volume(mix.needed_mL)}."
    ratio = f" Ratio {_ratio(mix.ratio)}." if mix.ratio else ""
    yield Para(f"Make {words.made(mix.make_mL)}: {mix.make_basis}. {takes}{ratio}")
    for text in mix.warnings:
        yield Warn("Too little to measure", text)
    if len(mix.batch.parts) == 1:
        row = (BLANK, BLANK, BLANK, BLANK)
        yield Para("Ready to spray, thinned and catalysed as its own sheet says. What went in:")
        yield Table(("Product", "Carrier", "Thinner", "Catalyst"), (row,), (40, 20, 20, 20))
        return
    if not mix.cups:
        yield from _recipe(mix.batch, words)
    elif are_alike(mix.cups):
        cup = mix.cups[0]
        yield Para(f"Each of {len(mix.cups)} cups, for {counted(cup.coats)}: {words.made(cup.batch.batch_mL)}.")
        yield from _recipe(cup.batch, words)
    else:
        for i, cup in enumerate(mix.cups, 1):
            yield Para(f"Cup {i} of {len(mix.cups)}, for {counted(cup.coats)}: {words.made(cup.batch.batch_mL)}.")
            yield from _recipe(cup.batch, words)
    if any(part.kind == "catalyst" and part.tool != "cup" for part in mix.batch.parts):
        yield Para(
            "So little catalyst is drawn up by syringe before the carrier; pour the carrier right after it and stir.",
            small=True,
        )


def _ratio(written: str) -> str:
    """The same with blanks between the names, so that a line breaks there: "4:1:1 clear, hardener, reducer"."""
    numbers, _, names = written.partition(" ")
    return f"{numbers} {names.replace(':', ', ')}".strip()


def _recipe(batch: Batch, words: Words) -> Iterator[Table]:
    """What to pour and, where every density is known, what to weigh instead."""
    nothing = Fraction(0)
    poured_mL = in_mL(sum((part.mL for part in batch.parts), nothing))
    rows: Rows = [
        (TICK, p.name, poured(p, words), in_mL(p.mL), in_mL(p.line_mL), off(p.error_percent)) for p in batch.parts
    ]
    rows.append(("", "sum", "", poured_mL, poured_mL, ""))
    widths = (9, 25, 22, 16, 15, 13)
    head = ("Done", "Pour in", "How", "That is", "Cup holds", "Off by")
    yield Table(head, tuple(rows), widths, large=True)
    if batch.batch_g is None:
        return
    sum_g = words.grams(sum((part.g or nothing for part in batch.parts), nothing))
    rows = [
        (TICK, part.name, _weighed(part, words), words.grams(part.line_g), off(part.weighed_error_percent))
        for part in batch.parts
    ]
    rows.append(("", "sum", sum_g, sum_g, ""))
    yield Table(("Done", "Or weigh", "How much", "Scale shows", "Off by"), tuple(rows), (9, 25, 38, 15, 13), large=True)


def _weighed(part: Part, words: Words) -> str:
    grams = words.grams(part.g)
    return grams if part.weighed_with == "scale" else f"{measured(part, words)} (about {grams})"


def drops_group(sheet: MixSheet) -> Iterator[Group]:
    """Drops instead of millilitres, with room for one's own count; nothing where no dye is poured."""
    rows: Rows = []
    for mix in sheet.mixes:
        per_mL_of = {part.name: part.drops_per_mL for part in mix.ingredients}
        for part in mix.batch.parts:
            if part.kind == "dye":
                per_mL = per_mL_of[part.name] or DROPS_PER_ML_SOLVENT
                count = per_mL.scaled(float(part.mL))
                shown = str(part.drops) if part.drops is not None else f"{count.low:.0f} to {count.high:.0f}"
                rows.append((f"{part.name}, {mix.title}", in_mL(part.mL), shown, spread(per_mL), BLANK, BLANK))
    if not rows:
        return
    told = Para(
        "20 drops of water make a millilitre; of a lacquer solvent 44 to 53 do, from the same tip. Drip 1 mL of the "
        "dye out of your pipette, count, and write it down: drops = mL x your count."
    )
    head = ("Dye", "Amount", "Drops", "Per mL", "My count per mL", "So my drops")
    yield Group((Heading("Counting drops instead"), told, Table(head, tuple(rows), (23, 14, 17, 20, 14, 12))))
