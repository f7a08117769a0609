"""The mix sheet's film budget: layers, section, sanding, relief."""

from __future__ import annotations

from collections.abc import Iterator

from layerpreview.job.sheet import MixSheet
from layerpreview.output.blocks import Block, Drawing, Heading, Para, Rows, Table, Warn
from layerpreview.output.section_drawing import section_svg
from layerpreview.output.sheet_words import Words, counted
from layerpreview.spray.budget import POLISH_REMOVES_UM, removed_by_um
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
    rows += [(f"sum on {face}", "", words.film(um), "") for face, um in sheet.total_dry_um.items()]
    yield Table(("At full build", "Wet", "Dry", "Rests on"), tuple(rows), (30, 21, 21, 28))
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
