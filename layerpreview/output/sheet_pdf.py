"""The mix sheet as a PDF to hang by the booth."""

from __future__ import annotations

from dataclasses import asdict

from layerpreview.job.sheet import MixSheet
from layerpreview.output.blocks import BAR_MM, BLANK, TICK
from layerpreview.output.sheet_blocks import blocks_of
from layerpreview.output.typst_pdf import compile_pdf, shortened


def sheet_pdf(sheet: MixSheet, *, paper: str = "A4") -> bytes:
    """The sheet on A4 or Letter. Raises OutputError without the `pdf` extra, InputError for another paper."""
    data = {
        "title": f"{sheet.name}: mix sheet",
        "running": shortened(sheet.name),
        "page_word": "page",
        "of_word": "of",
        "bar_text": f"This bar is {BAR_MM} mm long. If it is not, print again at 100 %, not fitted to the page.",
        "tick": TICK,
        "blank": BLANK,
        "blocks": [asdict(block) for block in blocks_of(sheet)],
    }
    return compile_pdf("sheet.typ", data, paper=paper)
