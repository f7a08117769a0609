"""The mix sheet's plan: masking, gun, stages with boxes to tick."""

from __future__ import annotations

from collections.abc import Iterator

from layerpreview.job.plan import Stage
from layerpreview.job.sheet import MixSheet
from layerpreview.output.blocks import BLANK, TICK, Block, Group, Heading, Items, Para, Rows, Simple, Table
from layerpreview.output.sheet_words import Words, caution_box, minutes, where

MOST_TICKS_ON_A_PAGE = 8
MOST_FACES_ACROSS = 4


def plan_blocks(sheet: MixSheet, words: Words) -> Iterator[Block]:
    yield Heading("Plan", new_page=True)
    if sheet.masks:
        rows: Rows = [
            (TICK, mask.face, mask.what, words.length(mask.edge_mm), words.length(mask.tape_mm), mask.when)
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
