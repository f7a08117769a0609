"""The mix sheet in its four forms: text for a terminal, JSON, one HTML page, and a PDF to hang by the booth."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Mapping
from dataclasses import asdict, fields
from importlib import resources
from pathlib import Path

from layerpreview.job.batches import MixAmounts
from layerpreview.job.sheet import MixSheet
from layerpreview.output.plain_json import plain_json, text_table
from layerpreview.output.result import Paths, Result
from layerpreview.output.sheet_blocks import blocks_of
from layerpreview.output.sheet_words import (
    BAR_MM,
    BLANK,
    TICK,
    Bar,
    Block,
    Drawing,
    Group,
    Heading,
    Items,
    Para,
    Table,
    Title,
    Warn,
)
from layerpreview.output.typst_pdf import compile_pdf, shortened

WIDTH = 100


def sheet_result(
    sheet: MixSheet, *, made: Mapping[str, Callable[[], bytes]], inputs: tuple[Path, ...]
) -> Result[MixSheet]:
    """The sheet with its ways out; `made` gives each file's bytes. The table has a row for every mix."""

    def write(paths: Paths) -> None:
        for name, content in made.items():
            paths[name].write_bytes(content())

    return Result(
        found=sheet,
        line=f"Mix sheet {sheet.name}, {', '.join(mix.title for mix in sheet.mixes)}",
        document=lambda _: {field.name: getattr(sheet, field.name) for field in fields(sheet)},
        rows=lambda: [_mix_row(mix) for mix in sheet.mixes],
        text=lambda: sheet_text(sheet),
        names=tuple(made),
        write=write,
        inputs=inputs,
    )


def _mix_row(mix: MixAmounts) -> dict[str, object]:
    needed = mix.needed_mL
    return {
        "mix": mix.title,
        "coats": sum(stage.coats for stage in mix.stages),
        "needed_mL": needed.likely,
        "needed_low_mL": needed.low,
        "needed_high_mL": needed.high,
        "make_mL": float(mix.make_mL),
        "rests_on": mix.basis,
    }


def sheet_text(sheet: MixSheet, *, width: int = WIDTH) -> str:
    """The whole sheet, every table with its columns under each other, lines of at most `width` characters."""
    parts: list[str] = []
    for block in blocks_of(sheet):
        parts += _shown(block, width)
    return "\n".join(line.rstrip() for line in parts).strip("\n") + "\n"


def sheet_json(sheet: MixSheet) -> str:
    """Every figure of the sheet, keys in a fixed order; fractions as decimal numbers."""
    return plain_json(sheet)


def sheet_html(sheet: MixSheet) -> str:
    """One page that stands alone, nothing loaded; the user's texts are escaped, the drawing is our own."""
    from jinja2 import Environment, StrictUndefined
    from markupsafe import Markup

    environment = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    source = (resources.files("layerpreview") / "data" / "sheet.html.j2").read_text(encoding="utf-8")
    return environment.from_string(source).render(
        name=sheet.name, blocks=blocks_of(sheet), tick=TICK, blank=BLANK, own_svg=Markup
    )


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


def _shown(block: Block, width: int) -> list[str]:
    match block:
        case Title():
            return [*textwrap.wrap(block.text, width), "=" * min(len(block.text), width), block.below, ""]
        case Heading(level=1):
            return ["", block.text.upper(), "-" * min(len(block.text), width), ""]
        case Heading():
            return ["", block.text, ""]
        case Para():
            return [*textwrap.wrap(block.text, width), ""]
        case Items():
            return [line for item in block.items for line in _bullet(item, width)] + [""]
        case Warn():
            return [*textwrap.wrap(f"! {block.title}. {block.text}", width, subsequent_indent="  "), ""]
        case Table():
            return [*text_table([block.head, *block.rows], width=width, ruled=True), ""]
        case Group():
            return [line for inner in block.blocks for line in _shown(inner, width)]
        case Drawing() | Bar():
            return []


def _bullet(text: str, width: int) -> list[str]:
    return textwrap.wrap(text, width, initial_indent="- ", subsequent_indent="  ")
