"""The mix sheet as text for a terminal, and as JSON."""

from __future__ import annotations

import textwrap

from layerpreview.job.sheet import MixSheet
from layerpreview.output.blocks import (
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
from layerpreview.output.plain_json import plain_json
from layerpreview.output.sheet_blocks import blocks_of

WIDTH = 100


def sheet_text(sheet: MixSheet, *, width: int = WIDTH) -> str:
    """The whole sheet, every table with its columns under each other, lines of at most `width` characters."""
    parts: list[str] = []
    for block in blocks_of(sheet):
        parts += _shown(block, width)
    return "\n".join(line.rstrip() for line in parts).strip("\n") + "\n"


def sheet_json(sheet: MixSheet) -> str:
    """Every figure of the sheet, keys in a fixed order; fractions as decimal numbers."""
    return plain_json(sheet)


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
            return [*_table(block, width), ""]
        case Group():
            return [line for inner in block.blocks for line in _shown(inner, width)]
        case Drawing() | Bar():
            return []


def _bullet(text: str, width: int) -> list[str]:
    return textwrap.wrap(text, width, initial_indent="- ", subsequent_indent="  ")


def _table(table: Table, width: int) -> list[str]:
    """Columns as wide as their cells where they fit the line, else shared out and wrapped."""
    rows = [table.head, *table.rows]
    wanted = [max(len(row[i]) for row in rows) for i in range(len(table.head))]
    room = width - 2 * (len(wanted) - 1)
    while sum(wanted) > room:
        widest = max(range(len(wanted)), key=lambda i: wanted[i])
        wanted[widest] -= 1
    lines = []
    for n, row in enumerate(rows):
        cells = [textwrap.wrap(cell, size) or [""] for cell, size in zip(row, wanted, strict=True)]
        for k in range(max(len(cell) for cell in cells)):
            lines.append(
                "  ".join((cell[k] if k < len(cell) else "").ljust(w) for cell, w in zip(cells, wanted, strict=True))
            )
        if n == 0:
            lines.append("  ".join("-" * w for w in wanted))
    return lines
