"""The frame that is laid over a spray-out card, to print."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from layerpreview.learn.read.columns import Column
from layerpreview.output.card import USUAL_COATS, card_pdf
from layerpreview.output.files import written_together
from layerpreview.output.typst_pdf import PAPERS
from layerpreview.workflows.typed import in_words

CARD_NAME = "spray_out_frame.pdf"


@dataclass(frozen=True)
class CardWritten:
    """The file that was written."""

    file: Path


def card_file(
    out: Path, *, coats: Sequence[float | Column] = USUAL_COATS, paper: str = "A4", force: bool = False
) -> CardWritten:
    """Write the frame as PDF into `out`.

    Raises InputError for coats or paper that are not possible, OutputError where typst is missing.
    """
    pdf = card_pdf(coats=coats, paper=in_words(paper, tuple(PAPERS), "--paper"))
    with written_together(out, [CARD_NAME], force=force, inputs=()) as paths:
        paths[CARD_NAME].write_bytes(pdf)
    return CardWritten(out / CARD_NAME)
