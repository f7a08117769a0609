"""The mix sheet's first page, for the wall: the part, the colours to hit, what to pour, the coats with their boxes.

Everything on it is in words here, once; text, HTML and PDF only lay it out.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from layerpreview.colour import light_words
from layerpreview.job.batches import Cup, MixAmounts
from layerpreview.job.foremost import LAST_WORD_IN_SHORT, foremost_cautions
from layerpreview.job.plan import Stage
from layerpreview.job.products import GunLines
from layerpreview.job.sheet import MixSheet
from layerpreview.output.sheet_seen import Patch, Seen
from layerpreview.output.sheet_words import NBSP, Words, counted, in_mL, minutes, poured
from layerpreview.spray.batch import Batch

APPROXIMATE = "Everything here is approximate."
POUR_WORDS = "10 + 5 mL: one filling of the syringe, then the other. Fill to: up to that line of the cup."
GUN_USUAL = {
    "nozzle": ("1.2 to 1.4 mm is usual", "as gun and product say, 1.2 to 1.4 mm is usual (common practice)"),
    "pressure": ("as the gun's sheet says", "as the gun's sheet says, HVLP at most 10 psi (0.7 bar) at the cap"),
    "fan": ("wide; narrow at edges", "wide for whole faces, narrow for bursts and edges (common practice)"),
    "distance": ("150 to 250 mm (6 to 10 in)", "150 to 250 mm (6 to 10 in), the same all the way (published)"),
    "overlap": ("half of the last stroke", "half of the last stroke (published)"),
    "direction": ("each coat across the last", "each coat across the last, strokes start and end past the edge"),
}
"""How a gun is set where nothing is stated, by field of `GunLines`: in short for the wall, and in full."""
METRIC_BAR, US_BAR = (50.0, "50 mm"), (50.8, "2 in")


@dataclass(frozen=True)
class Card:
    """One mix: for which stages, how much in all, what of it is made at a time, what to pour for that, line by line."""

    title: str
    stages: str
    makes: str
    each: str
    pours: tuple[tuple[str, str], ...]
    notes: tuple[str, ...]


@dataclass(frozen=True)
class Box:
    """One thing to tick; with the colour (sRGB) that it ends with, where that is a coat that is seen."""

    words: str
    srgb: str = ""


@dataclass(frozen=True)
class Row:
    """One stage: where, its wet film with how long to wait, its boxes."""

    number: int
    title: str
    where: str
    waits: str
    boxes: tuple[Box, ...]


@dataclass(frozen=True)
class Wall:
    """All of the page; `bar_mm`: the true length of the bar beside `bar_words`; `code`: the text of the square code.

    `jpeg`: the picture of the part, of `width_px` by `height_px`; nothing for a sheet without one.
    """

    title: str
    status: str
    jpeg: bytes
    width_px: int
    height_px: int
    picture_words: str
    patches: tuple[Patch, ...]
    patches_words: str
    pour_words: str
    cards: tuple[Card, ...]
    rows: tuple[Row, ...]
    gun: tuple[tuple[str, str], ...]
    cautions: tuple[tuple[str, str], ...]
    last_word: str
    bar_mm: float
    bar_words: str
    code: str
    code_words: str


def wall_of(sheet: MixSheet, seen: Seen | None = None, *, code: str = "") -> Wall:
    """The page of a sheet; `seen`: its colours; `code`: what its square code says."""
    words = Words(sheet.units, sheet.tools)
    bar_mm, bar = US_BAR if words.us else METRIC_BAR
    light = light_words(seen.light) if seen else ""
    return Wall(
        title=sheet.name,
        status=f"{sheet.how_agreed.words} {APPROXIMATE}",
        jpeg=seen.jpeg if seen else b"",
        width_px=seen.width_px if seen else 0,
        height_px=seen.height_px if seen else 0,
        picture_words="The part as it is to come out, by a window. Approximate.",
        patches=seen.ends if seen else (),
        patches_words=f"By {light}, straight on, as under the clear: a dry dye coat is duller. Beside a box: after "
        "that coat. Approximate, and print shifts colours.",
        pour_words=POUR_WORDS,
        cards=tuple(_card(mix, _stages(sheet, mix), words) for mix in sheet.mixes),
        rows=_rows(sheet, seen, words),
        gun=gun_lines(sheet.gun),
        cautions=tuple((caution.title, caution.text) for caution in foremost_cautions(sheet)),
        last_word=LAST_WORD_IN_SHORT,
        bar_mm=bar_mm,
        bar_words=f"{bar} long? If not, print at 100 %.",
        code=code,
        code_words="Square code: this sheet as text, for a phone.",
    )


def gun_lines(gun: GunLines) -> tuple[tuple[str, str], ...]:
    """How the gun is set, in short what is usual where nothing is stated: the appendix says what that rests on."""
    return tuple((name.capitalize(), getattr(gun, name) or short) for name, (short, _) in GUN_USUAL.items())


def _stages(sheet: MixSheet, mix: MixAmounts) -> str:
    numbers = [str(stage.number) for stage in sheet.stages if stage.sprayed and stage.sprayed.key == mix.key]
    return f"for{NBSP}{', '.join(numbers)}"


def _card(mix: MixAmounts, stages: str, words: Words) -> Card:
    batch, each = mix.batch, ""
    if mix.cups:
        batch = mix.cups[0].batch
        each = _cups(mix)
    notes = ["Too little to measure within 5 %: see the appendix."] if mix.warnings else []
    if mix.pot_life_min is not None and mix.product.catalysed and not mix.cups:
        notes.append(f"Pot life {minutes(mix.pot_life_min)} once mixed.")
    if mix.one_coat_fits is False:
        notes.append("One coat may take longer than that: ask the product's sheet.")
    if len(batch.parts) == 1:
        return Card(mix.title, stages, in_mL(mix.make_mL), each, (), ("Ready to spray, as its own sheet says.", *notes))
    pours = _pours(batch, words)
    if not are_alike(mix.cups):
        pours = tuple(_of_cups(mix.cups, words))
    return Card(mix.title, stages, in_mL(mix.make_mL), each, pours, tuple(notes))


def are_alike(cups: Sequence[Cup]) -> bool:
    """Whether every cup of a mix is poured alike, for as many coats."""
    return len({(cup.batch, cup.coats) for cup in cups}) <= 1


def _cups(mix: MixAmounts) -> str:
    first, pot_life = mix.cups[0], f"pot life {minutes(mix.pot_life_min)}"
    if not are_alike(mix.cups):
        return f"{len(mix.cups)} cups; {pot_life} each"
    return f"{len(mix.cups)} cups of {in_mL(first.batch.batch_mL)}, {counted(first.coats)} each; {pot_life}"


def _of_cups(cups: Sequence[Cup], words: Words) -> Iterator[tuple[str, str]]:
    """What to pour for each cup; those that are alike together."""
    for batch, coats in dict.fromkeys((cup.batch, cup.coats) for cup in cups):
        numbers = [str(i) for i, cup in enumerate(cups, 1) if (cup.batch, cup.coats) == (batch, coats)]
        yield f"Cup {' and '.join(numbers)}", f"{in_mL(batch.batch_mL)}, {counted(coats)}"
        yield from _pours(batch, words)


def _pours(batch: Batch, words: Words) -> tuple[tuple[str, str], ...]:
    return tuple((part.name, poured(part, words)) for part in batch.parts)


def _rows(sheet: MixSheet, seen: Seen | None, words: Words) -> tuple[Row, ...]:
    after, bases = iter(seen.after if seen else ()), dict(seen.bases) if seen else {}
    found = []
    for stage in sheet.stages:
        colours: tuple[str, ...] = ()
        if stage.sprayed and stage.sprayed.kind in ("dye", "opaque"):
            colours = next(after, ())
        elif stage.sprayed and stage.sprayed.kind == "base":
            # A base coat has no colour of its own to tell before its last coat.
            colours = ("",) * (stage.sprayed.coats - 1) + (bases.get(stage.faces[0], ""),)
        shown = {f"coat {n}": srgb for n, srgb in enumerate(colours, 1)}
        boxes = [Box(_tick(tick), shown.get(tick.partition(" of ")[0], "")) for tick in stage.ticks if _is_here(tick)]
        title = stage.sprayed.title if stage.sprayed else stage.title
        found.append(Row(stage.number, title, _where(stage, words), _waits(stage, words), tuple(boxes)))
    return tuple(found)


def _is_here(tick: str) -> bool:
    """Cards are ticked off behind this page, with the day."""
    return not tick.startswith(("witness", "last card"))


def _tick(tick: str) -> str:
    """ "1" for "coat 1 of 3", "P800" for "sanded P800"; other things in their words."""
    return tick.partition(" of ")[0].removeprefix("coat ") if tick.startswith("coat ") else tick.removeprefix("sanded ")


def _where(stage: Stage, words: Words) -> str:
    sprayed = stage.sprayed
    if sprayed is None:
        return ""
    faces = ", ".join(stage.faces)
    is_faces = set(sprayed.zone.replace(" and ", ", ").split(", ")) <= {"face", *stage.faces}
    place = faces if is_faces else f"{faces}: {sprayed.zone}"
    bursts = " and ".join(f"from {source}, gone at {words.length(mm)}" for source, mm in sprayed.bursts)
    return ", ".join(filter(None, (place, bursts)))


def _waits(stage: Stage, words: Words) -> str:
    """The wet film of a coat, and how long to wait."""
    if stage.sprayed is None:
        return ""
    film = f"{words.film(stage.sprayed.film_um.likely)} wet"
    if stage.flash_min is None and stage.dry_min is None:
        return f"{film}; flash and dry: see the product's sheet"
    flash = f"flash {minutes(stage.flash_min)}; " if stage.sprayed.coats > 1 else ""
    at_once = stage.dry_min is not None and stage.dry_min.high <= 0.0
    return f"{film}; {flash}then {'the next stage at once' if at_once else f'dry {minutes(stage.dry_min)}'}"
