"""The mix sheet in its four forms: text, JSON, one HTML page, and a PDF whose first page is for the wall."""

from __future__ import annotations

import base64
import hashlib
import textwrap
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, fields
from importlib import resources
from pathlib import Path

from layerpreview.job.batches import MixAmounts
from layerpreview.job.sheet import MixSheet
from layerpreview.output.html_page import content_policy
from layerpreview.output.plain_json import json_line, plain_json, text_table
from layerpreview.output.result import Paths, Result
from layerpreview.output.sheet_blocks import blocks_of
from layerpreview.output.sheet_code import code_svg
from layerpreview.output.sheet_wall import Wall
from layerpreview.output.sheet_words import (
    BLANK,
    TICK,
    Block,
    Columns,
    Drawing,
    Group,
    Heading,
    Items,
    Para,
    Simple,
    Table,
    Warn,
)
from layerpreview.output.typst_pdf import compile_pdf, shortened

WIDTH = 100


def sheet_result(
    sheet: MixSheet, wall: Wall, *, made: Mapping[str, Callable[[], bytes]], inputs: tuple[Path, ...]
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
        text=lambda: sheet_text(sheet, wall),
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


def sheet_json(sheet: MixSheet) -> str:
    """Every figure of the sheet, keys in a fixed order; fractions as decimal numbers."""
    return plain_json(sheet)


def sheet_html(sheet: MixSheet, wall: Wall) -> str:
    """One page that stands alone, nothing loaded; the user's texts are escaped, drawings and script are our own.

    Ticks stay in the browser under a name that is of this job and of what the sheet says: another sheet begins anew.
    """
    from jinja2 import Environment, StrictUndefined
    from markupsafe import Markup

    environment = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    style, script, blocks = _data("sheet.css"), _data("sheet.js"), blocks_of(sheet)
    told = json_line({"wall": _without_picture(wall), "blocks": [asdict(block) for block in blocks]})
    return environment.from_string(_data("sheet.html.j2")).render(
        wall=wall,
        parts=parts_of(blocks),
        picture=base64.b64encode(wall.jpeg).decode("ascii"),
        code=Markup(code_svg(wall.code)) if wall.code else "",
        tick=TICK,
        blank=BLANK,
        own=Markup,
        key=f"{sheet.name} {hashlib.sha256(told.encode()).hexdigest()[:16]}",
        style=Markup(style),
        script=Markup(script),
        policy=content_policy(style=style, script=script),
    )


def sheet_pdf(sheet: MixSheet, wall: Wall, *, paper: str = "A4") -> bytes:
    """The sheet on A4 or Letter. Raises OutputError where typst is missing, InputError for another paper."""
    blocks = blocks_of(sheet)
    data = {
        "title": f"{sheet.name}: mix sheet",
        "running": shortened(sheet.name),
        "wall": {**_without_picture(wall), "picture": "part.jpg" if wall.jpeg else ""},
        "code_svg": {"svg": code_svg(wall.code) if wall.code else ""},
        "tick": TICK,
        "blank": BLANK,
        "blocks": [asdict(block) for block in blocks],
        "entries": len(headings_of(blocks)),
    }
    return compile_pdf("sheet.typ", data, paper=paper, files={"part.jpg": wall.jpeg} if wall.jpeg else {})


def _without_picture(wall: Wall) -> dict[str, object]:
    return {name: value for name, value in asdict(wall).items() if name != "jpeg"}


def _data(name: str) -> str:
    return (resources.files("layerpreview") / "data" / name).read_text(encoding="utf-8")


def headings_of(blocks: Sequence[Block]) -> list[Heading]:
    """What the contents list has."""
    return [one for one in plain_blocks(blocks) if isinstance(one, Heading)]


def parts_of(blocks: Sequence[Block]) -> list[tuple[Heading, list[Simple]]]:
    """What stands below each heading."""
    found: list[tuple[Heading, list[Simple]]] = []
    for block in plain_blocks(blocks):
        if isinstance(block, Heading):
            found.append((block, []))
        else:
            found[-1][1].append(block)
    return found


def plain_blocks(blocks: Sequence[Block]) -> list[Simple]:
    """Blocks one by one in the order they are read, whatever they are grouped in."""
    found: list[Simple] = []
    for block in blocks:
        if isinstance(block, Columns):
            found += plain_blocks(block.groups)
        else:
            found += block.blocks if isinstance(block, Group) else (block,)
    return found


def sheet_text(sheet: MixSheet, wall: Wall, *, width: int = WIDTH) -> str:
    """The whole sheet, every table with its columns under each other, lines of at most `width` characters."""
    parts = list(_wall_text(wall, width))
    blocks = blocks_of(sheet)
    parts += ["", "CONTENTS", "--------", ""]
    parts += [("" if heading.level == 1 else "  ") + heading.text for heading in headings_of(blocks)]
    for block in plain_blocks(blocks):
        parts += _shown(block, width)
    return "\n".join(line.rstrip() for line in parts).strip("\n") + "\n"


def _wall_text(wall: Wall, width: int) -> list[str]:
    pours = [("Mix", "Make", "Pour")]
    for card in wall.cards:
        lines = [f"{name}: {amount}" for name, amount in card.pours]
        pours.append((card.title, wall_amount(card.makes, card.each), "; ".join((*lines, *card.notes))))
    coats = [("No.", "Stage", "Where", "Wait", "Boxes")]
    coats += [
        (f"{row.number}", row.title, row.where, row.waits, "  ".join(f"{TICK} {box.words}" for box in row.boxes))
        for row in wall.rows
    ]
    return [
        *textwrap.wrap(wall.title, width),
        "=" * min(len(wall.title), width),
        *textwrap.wrap(wall.status, width),
        "",
        *_shown(Heading("Pour"), width),
        *text_table(pours, width=width, ruled=True),
        *_shown(Heading("Coats in this order"), width),
        *text_table(coats, width=width, ruled=True),
        *_shown(Heading("Gun"), width),
        *text_table([("Gun", "Set to"), *wall.gun], width=width, ruled=True),
        "",
        *(line for title, text in wall.cautions for line in _shown(Warn(f"CAUTION: {title}", text), width)),
        *textwrap.wrap(wall.last_word, width),
    ]


def wall_amount(makes: str, each: str) -> str:
    """How much, and in which cups where it is made in several."""
    return f"{makes}: {each}" if each else makes


def _shown(block: Simple, width: int) -> list[str]:
    match block:
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
        case Drawing():
            return []


def _bullet(text: str, width: int) -> list[str]:
    return textwrap.wrap(text, width, initial_indent="- ", subsequent_indent="  ")
