"""Makes what is never written by hand: the pages of commands and of fields, and the scheme's JSON Schema.

python docs/make_pages.py            writes them
python docs/make_pages.py --check    says which are not as they would be made; exit code 1 then
"""

from __future__ import annotations

import inspect
import json
import re
import sys
import textwrap
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import typer
from pydantic import BaseModel

from layerpreview.cli import app
from layerpreview.cli.groups import FINER, GROUPS
from layerpreview.job import cautions as c
from layerpreview.scheme import base, coat, part, work
from layerpreview.scheme import model as m
from layerpreview.scheme.dyefile import DyeFile
from layerpreview.scheme.fields import film_word
from layerpreview.scheme.json_schema import COAT_KINDS, Field, fields_of, scheme_schema
from layerpreview.scheme.read import Top
from layerpreview.scheme.written import as_written
from layerpreview.told import Told

ROOT = Path(__file__).resolve().parents[1]
SCHEMA = ROOT / "layerpreview" / "data" / "scheme.schema.json"
BY_HAND = "<!-- Made by docs/make_pages.py: change the program's own words, not this page. -->\n"
MADE = ("commands.md", "fields.md", "cautions.md")


@dataclass(frozen=True)
class Written:
    """A table as a scheme writes it: its heading, what it is, whose fields it has, and whose are told elsewhere."""

    heading: str
    tells: str
    models: tuple[type[BaseModel], ...]
    without: type[BaseModel] | None = None


PRODUCT = "what a product's sheet says"
SCHEME = (
    Written("above all tables", "The first lines of the file.", (Top,)),
    Written("[[face]]", "One face of the part, in true size; one block for each.", (part.Face,)),
    Written("[[face.opening]]", "A hole or cavity in the face above it; it gets no paint.", (part.Opening,)),
    Written("[[face.zone]]", "A named region of the face above it, told in one way.", (part.Zone,)),
    Written("face.zone.side", "Within a zone: all that lies on one side of a line.", (part.Side,)),
    Written("face.zone.band", "Within a zone: all that lies near an edge.", (part.Band,)),
    Written("[form]", "The body behind flat faces, for pictures only.", (part.Form,)),
    Written(
        "[base]",
        "What the dye goes over; exactly one of relief, grain, picture, colour and height_picture is in it. "
        "`[base_of.FACE]` has the same fields for one face; without a kind it is as [base] where it says nothing.",
        (base.Base,),
    ),
    Written("[base.relief_options]", "More of a made relief.", (base.ReliefOptions,)),
    Written("[base.grain_options]", "More of a made grain.", (base.GrainOptions,)),
    Written("[base.picture_options]", "How a photo of the base is used.", (base.PictureOptions,)),
    Written("[base.height_options]", "How a relief picture of your own is used.", (base.HeightOptions,)),
    Written("[base.coat]", f"The base coat; also {PRODUCT}.", (work.PlainEntry,), work.ProductEntry),
    Written("[dye.NAME]", "A dye under a name of your own; exactly one of library, file, absorptivity.", (m.DyeEntry,)),
    Written("[mix.NAME]", f"Dyes in a carrier; also {PRODUCT}.", (m.Mix,), work.ProductEntry),
    Written(
        "[[coat]]",
        "A coat, in the order of spraying; exactly one of mix, opaque and rings is in it.",
        tuple(COAT_KINDS.values()),
    ),
    Written("coat.burst", "Build that rises towards an edge.", (coat.Burst,)),
    Written("[clear]", f"The clear coats on top; also {PRODUCT}.", (work.Clear,), work.ProductEntry),
    Written(
        "[paint.NAME]",
        f"{PRODUCT[0].upper()}{PRODUCT[1:]}: of an opaque coat with that name; the same fields may stand in "
        "[mix.NAME], [clear] and [base.coat].",
        (work.ProductEntry,),
    ),
    Written("[gun]", "The gun, and how it is set.", (work.Gun,)),
    Written("[sanding]", "How the clear is sanded.", (work.Sanding,)),
    Written("[shop]", "Your shop: its card for clients, its units and tools.", (work.Shop,)),
    Written("[surroundings.NAME]", "Surroundings of your own to look at the part in.", (part.Room,)),
    Written("[[surroundings.NAME.lamp]]", "A soft lamp in them.", (part.RoomLamp,)),
)
DYE_FILE = Written("A dye file", "A file of its own, NAME.dye.toml, which learning a card writes.", (DyeFile,))


def cell(text: str) -> str:
    """Return a text for a cell of a table."""
    return " ".join(text.split()).replace("|", "\\|")


def anchor(heading: str) -> str:
    """Return the part after # of a link to a heading, as the common hosts of Markdown make it.

    >>> anchor("[[face.opening]]")
    'faceopening'
    """
    return re.sub(r"[^\w\- ]", "", heading.lower()).strip().replace(" ", "-")


def table(head: tuple[str, ...], rows: list[tuple[str, ...]]) -> str:
    """Return a table in Markdown."""
    lines = [head, ("---",) * len(head), *rows]
    return "".join(f"| {' | '.join(row)} |\n" for row in lines)


def default_told(field: Field) -> str:
    """Return what stands in where a field is not written, as it would be written."""
    value = field.default
    if field.required:
        return "must be there"
    if isinstance(value, Told):
        return f'`"{film_word(value)}"`'
    if isinstance(value, BaseModel) or value is None or value in ((), ""):
        return ""
    if isinstance(value, Fraction):
        return f'`"{float(value):g} {"mL" if "mL" in field.wants else "g"}"`'
    special = {"edge": '"hard"', "zone": '"face"', "observer": '"2 deg"', "cut_back": '"0 %"'}
    return f"`{special.get(field.key) or as_written(value)}`"


def fields_told(written: Written) -> list[tuple[str, ...]]:
    """Return a row for each field of a table; fields that several kinds of coat share stand once."""
    elsewhere = {field.key for field in fields_of(written.without)} if written.without else set()
    found: dict[str, tuple[Field, list[str]]] = {}
    for kind, model in zip([*COAT_KINDS, *written.models], written.models, strict=False):
        for field in fields_of(model):
            if field.key not in elsewhere:
                first, kinds = found.setdefault(field.key, (field, []))
                kinds.append(kind)
                if first.required and not field.required:  # what one kind of coat must say another need not
                    found[field.key] = (field, kinds)
    rows = []
    for field, kinds in found.values():
        of = "" if len(kinds) == len(written.models) or field.key in kinds else f"With {' or '.join(kinds)}: "
        does = of + (field.does[0].lower() + field.does[1:] if of else field.does)
        default = "one of the three" if field.key in COAT_KINDS else default_told(field)
        rows.append((f"`{field.key}`", cell(does), cell(field.wants), cell(default), f"`{cell(example(field))}`"))
    return rows


def example(field: Field) -> str:
    """Return a field as a line of a file."""
    return f"{field.key} = {as_written(field.example)}"


FIELDS_HEAD = """# Every field of a scheme

A scheme is a text file (TOML). A table begins with its name in brackets; below it each line says one field. Double
brackets mean that there can be several. What has no default may be left out unless it says *must be there*. Amounts are
text with their unit, metric or US, decimal point or comma: `"25 mm"`, `"1 1/2 in"`, `"45 um"`, `"2 mil"`; most amounts
may be ranges: `"35 to 50 um"`. [The scheme](the-scheme.md) tells how it all goes together.

**In your editor.** A scheme that the program begins names `.scheme.schema.json`, which lies beside it, in its first
line (`#:schema`). Editors that know this line complete fields, show what each does and mark what cannot be right; none
needs a network, and the folder may be moved or copied. A path or an address would break with the next move or without a
network, so the file goes along. In a scheme of your own put the same line first and copy that file. What the editor
does not see is seen when the scheme is read: amounts, units, and what ties several fields together.

"""


def fields_page() -> str:
    """Return the page of all fields."""
    parts = [BY_HAND, FIELDS_HEAD]
    parts += [
        f"- [{written.heading}](#{anchor(written.heading)}): {written.tells.split('; ')[0].rstrip('.')}\n"
        for written in SCHEME
    ]
    parts.append(f"- [{DYE_FILE.heading}](#{anchor(DYE_FILE.heading)})\n")
    for written in (*SCHEME, DYE_FILE):
        heading = written.heading
        tells = written.tells.replace(f"also {PRODUCT}", f"also [{PRODUCT}](#{anchor('[paint.NAME]')})")
        parts.append(f"\n## {heading}\n\n{tells}\n\n")
        parts.append(table(("field", "what it does", "takes", "default", "example"), fields_told(written)))
    return "".join(parts)


CAUTIONS_HEAD = """
Nothing in this tool says that anything is safe; it does the optics and the arithmetic of colour.
"""
CAUTIONS_END = """
## Where they stand

These are the texts of the mix sheet, where each stands at the stage that it is for, and of the diary, where it stands
when that stage begins. Whether a product holds isocyanates is read from your scheme: say `isocyanate = true` or `false`
as its safety data sheet does. Where nothing is said, a catalysed product and a clear count as if they did.
"""
COMMANDS_HEAD = """# Every command

This is what `layerpreview help COMMAND` says of each, and where these pages use it. Words in capitals stand for what
you type. [How commands behave](commands-behave.md) has what they all share.

"""


def commands_page() -> str:
    """Return the page of all commands."""
    group: Any = typer.main.get_command(app)
    context = typer.Context(group, info_name="layerpreview")
    told = tales()
    parts = [BY_HAND, COMMANDS_HEAD]
    groups = [*GROUPS, ("More: what the commands above lead to", FINER)]
    for title, names in groups:
        parts.append(f"- {title}: {', '.join(f'[`{name}`](#{name})' for name in names)}\n")
    for title, names in groups:
        parts.append(f"\n## {title}\n")
        parts += [command_told(name, group.get_command(context, name), told.get(name, [])) for name in names]
    shared = list(options_told(group))
    parts.append("\n## Options of the program\n\n" + table(("option", "what it does", "default"), shared))
    return "".join(parts)


def command_told(name: str, command: Any, told: list[tuple[str, str, str]]) -> str:
    """Return the section of one command."""
    arguments = [p for p in command.params if p.param_type_name == "argument"]
    shown = [str(p.metavar or p.name.upper()).strip("[]") for p in arguments]
    wanted = [word if p.required else f"[{word}]" for word, p in zip(shown, arguments, strict=True)]
    parts = [f"\n### {name}\n\n", *(" ".join(p.split()) + "\n\n" for p in (command.help or "").split("\n\n"))]
    parts.append(f"```text\n{' '.join(['layerpreview', name, *wanted, '[OPTIONS]'])}\n```\n\n")
    if arguments:
        rows = [
            (f"`{word}`", cell(p.help or ""), "" if p.required else "may be left out")
            for word, p in zip(shown, arguments, strict=True)
        ]
        parts.append(table(("what you name", "what it is", ""), rows) + "\n")
    parts.append(table(("option", "what it does", "default"), list(options_told(command))))
    if told:
        pages = dict.fromkeys((title, page) for title, page, _ in told)
        parts.append(f"\nFor example:\n\n```sh\n{told[0][2]}\n```\n")
        parts.append(f"\nUsed in: {', '.join(f'[{title}]({page})' for title, page in pages)}.\n")
    return "".join(parts)


def options_told(command: Any) -> Iterator[tuple[str, str, str]]:
    """Yield a row for each option."""
    for option in command.params:
        if option.param_type_name != "option" or getattr(option, "hidden", False):
            continue
        metavar = "" if getattr(option, "is_flag", False) else f" {option.metavar or 'TEXT'}"
        longest = max(option.opts, key=len)
        others = [name for name in option.opts if name != longest]
        names = ", ".join(f"`{name}`" for name in [longest + metavar, *others])
        if option.secondary_opts:
            names += " or " + ", ".join(f"`{name}`" for name in option.secondary_opts)
        yield cell(names), cell(option_does(option)), cell(option_default(option))


def option_does(option: Any) -> str:
    """Return what an option does, with the range of a number."""
    known = inspect.getclosurevars(reader).nonlocals if (reader := reader_of(option)) else {}
    low, high = known.get("low"), known.get("high")
    bounded = isinstance(low, int | float) and isinstance(high, int | float) and max(abs(low), abs(high)) < 1e9
    return f"{option.help}{f' {low:g} to {high:g}.' if bounded else ''}{' Must be given.' if option.required else ''}"


def reader_of(option: Any) -> Any:
    """Return the function that reads an option's value, wherever this release of the parser keeps it."""
    told = getattr(getattr(option, "type_descriptor", None), "parameter_info", None)
    return getattr(told, "parser", None) or getattr(getattr(option, "type", None), "func", None)


def option_default(option: Any) -> str:
    """Return what an option is where it is not typed."""
    value = option.default
    if isinstance(value, bool):
        if not option.secondary_opts:
            return ""
        return f"`{option.opts[0] if value else option.secondary_opts[0]}`"
    if value in (None, ()) or callable(value) or "UNSET" in repr(value).upper():
        return ""
    return f"`{value:g}`" if isinstance(value, int | float) else f"`{value}`"


def cautions_page() -> str:
    """Return the page of cautions, which are those of the mix sheet and the diary."""
    _, last_text = c.CAUTION_LAST_WORD
    told = [c.CAUTION_ISOCYANATE, c.CAUTION_VAPOUR, c.CAUTION_SKIN, c.CAUTION_DUST, c.CAUTION_WASTE]
    parts = [BY_HAND, "# Cautions\n\n", filled(last_text.replace("this sheet", "this page")), CAUTIONS_HEAD]
    parts += [f"\n## {title}\n\n{filled(text)}" for title, text in told]
    return "".join([*parts, CAUTIONS_END])


def filled(text: str) -> str:
    """Return a paragraph in lines."""
    return textwrap.fill(text, 120) + "\n"


def tales() -> dict[str, list[tuple[str, str, str]]]:
    """Return for each command where the pages written by hand type it: the page's title, its path, the line."""
    found: dict[str, list[tuple[str, str, str]]] = {}
    for path in sorted((ROOT / "docs").rglob("*.md")):
        if path.name in MADE:
            continue
        text = path.read_text(encoding="utf-8")
        title = next((line[2:] for line in text.splitlines() if line.startswith("# ")), path.stem)
        place = path.relative_to(ROOT / "docs").as_posix()
        for block in re.findall(r"^```sh\n(.*?)^```", text, re.MULTILINE | re.DOTALL):
            for line in re.findall(r"^layerpreview [a-z].*$", block, re.MULTILINE):
                found.setdefault(line.split()[1], []).append((title, place, re.sub(r"\s+#\s.*", "", line)))
    return found


def made() -> dict[Path, str]:
    """Return every file that is made, with its text."""
    schema = json.dumps(scheme_schema(), indent=1, ensure_ascii=False) + "\n"
    pages = dict(zip(MADE, (commands_page(), fields_page(), cautions_page()), strict=True))
    return {**{ROOT / "docs" / name: page for name, page in pages.items()}, SCHEMA: schema}


def main() -> int:
    """Write what is made, or with --check say what is not as made."""
    wrong = 0
    for path, text in made().items():
        there = path.read_text(encoding="utf-8") if path.is_file() else ""
        if there == text:
            continue
        name = path.relative_to(ROOT).as_posix()
        if "--check" in sys.argv[1:]:
            print(f"{name} is not as it is made: python docs/make_pages.py")
            wrong = 1
        else:
            path.write_text(text, encoding="utf-8", newline="\n")
            print(f"Wrote {name}")
    return wrong


if __name__ == "__main__":
    sys.exit(main())
