"""Learn dyes from several cards at once: of one dye, or of dyes alone and in mixes."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from difflib import get_close_matches
from pathlib import Path
from typing import Any, cast, overload

from layerpreview.errors import InputError, Problem
from layerpreview.learn.read.readings import KNOWN_REMARKS, Readings, load_readings
from layerpreview.learn.tell.fitted import Fitted
from layerpreview.learn.tell.fitted_several import FittedSeveral, GivenCard, fitted_several
from layerpreview.learn.tell.next_step import Aim
from layerpreview.output.files import written_together
from layerpreview.output.fit_result import dye_files
from layerpreview.output.fit_several_result import several_names, several_result
from layerpreview.output.result import Result
from layerpreview.scheme import load_scheme
from layerpreview.scheme.dyefile import dye_name
from layerpreview.workflows import fit as one_card
from layerpreview.workflows.fit import aims_notes, aims_of, refuse_photo_options
from layerpreview.workflows.fit_options import FitOptions, asked_of
from layerpreview.workflows.fit_read import card_read, is_text

Source = str | Path | Readings


@overload
def fit(card: Source, *, options: FitOptions | None = None, **said: Any) -> Result[Fitted]: ...
@overload
def fit(
    card: list[Source] | tuple[Source, ...], *, options: FitOptions | None = None, **said: Any
) -> Result[FittedSeveral]: ...
def fit(
    card: Source | list[Source] | tuple[Source, ...], *, options: FitOptions | None = None, **said: Any
) -> Result[Fitted] | Result[FittedSeveral]:
    """Fit the dye on a card: a file of readings, a photo, or `Readings` in memory; or on several cards, a list of them.

    `options`: what is said of the card; every field of it may be given by name instead (`strength="12 mL/L"`). Of
    several cards, what a file says of itself goes before it. A remark `mix: house amber=6 mL/L, dark brown=2 mL/L` says
    which dyes a card holds; where one has it, the dye of a card without is its remark `name`, and each dye is learnt.
    Raises InputError, PictureError or NoAnswerError.
    """
    if not isinstance(card, list | tuple):
        return one_card.fit(card, options=options, **said)
    asked = replace(options or FitOptions(), **said)
    return _several(_read(card, replace(asked, name=dye_name(asked.name))))


def fit_several_files(
    sources: Sequence[Path], *, out: Path, options: FitOptions, scheme: Path | None = None, force: bool = False
) -> Result[FittedSeveral]:
    """Fit the dyes on the cards `sources` and write each dye's file and picture, the figures and the photos to `out`.

    `scheme`: the file of the finish that the next card is to serve. A dye file that is there is never replaced without
    `force`: a scheme may name it. Raises InputError, PictureError, NoAnswerError or OutputError; nothing is written
    then.
    """
    asked = replace(options, name=dye_name(options.name), scheme=load_scheme(scheme) if scheme else options.scheme)
    cards = _read(list(sources), asked)
    names = several_names(_dyes(cards), [card.name for card in cards if card.is_photo])
    inputs = [*sources, *([scheme] if scheme else [])]
    with written_together(out, names, force=force, inputs=inputs, lasting=dye_files(names)) as paths:
        return _several(cards).written(paths, out)


@dataclass(frozen=True, eq=False)
class _Card:
    """One card: its name, what it was read from, what is said of it, and the strength of each dye, as written."""

    name: str
    source: Path | Readings
    remarks: dict[str, str]
    options: FitOptions
    strengths: dict[str, str | None]

    @property
    def is_photo(self) -> bool:
        return isinstance(self.source, Path)


def _read(sources: Sequence[Source], options: FitOptions) -> list[_Card]:
    """The cards with what each says of itself. Raises InputError for fewer than two, one twice, or a faulty mix."""
    if options.beside:
        rule = "an earlier dye, or the same card after its clear, is set beside one card"
        raise InputError(Problem(rule, "name one card only", field="--earlier or --after-clear"))
    given = [_opened(source) for source in sources]
    files = [Path(one.file) if isinstance(one, Readings) else one for one in given]
    twice = [file for n, file in enumerate(files) if file in files[:n]]
    if twice or len(files) < 2:
        rule = "the same card twice would count twice" if twice else "two cards are wanted at least in a list"
        raise InputError(Problem(rule, "name each card once", file=str((twice or files)[0]) if files else ""))
    remarks = [one.remarks if isinstance(one, Readings) else {} for one in given]
    if all(isinstance(one, Readings) for one in given):
        refuse_photo_options(options)
    mixes = any("mix" in said for said in remarks)
    short = len({file.name for file in files}) == len(files)
    cards = []
    for one, file, said in zip(given, files, remarks, strict=True):
        own = _own(options, said)
        alone = dye_name(said.get("name", options.name)) if mixes else options.name
        strengths = mix_of(said["mix"], str(file)) if "mix" in said else {alone: said.get("strength", own.strength)}
        cards.append(_Card(file.name if short else str(file), one, said, own, strengths))
    return cards


def _opened(source: Source) -> Path | Readings:
    """A photo by its path, a file of readings read."""
    if isinstance(source, Readings):
        return source
    return load_readings(Path(source)) if is_text(Path(source)) else Path(source)


def _own(options: FitOptions, said: dict[str, str]) -> FitOptions:
    """The options of one card of several: silent where its file speaks."""
    silent = [key.replace(" ", "_") for key in KNOWN_REMARKS if key in said and key not in ("name", "mix")]
    return replace(options, **cast(dict[str, Any], dict.fromkeys(silent)))


def mix_of(text: str, file: str) -> dict[str, str | None]:
    """The dyes of a mix with their strengths, from "house amber=6 mL/L, dark brown=2 mL/L". Raises InputError."""
    # The comma in "6,5 mL/L" is a decimal one.
    split = [part.partition("=") for part in re.split(r";|(?<!\d),|,(?!\d)", text)]
    parts = [(name.strip(), strength.strip()) for name, _, strength in split]
    if not all(name and strength for name, strength in parts) or len(dict(parts)) < len(parts):
        remedy = "write for example mix: house amber=6 mL/L, dark brown=2 mL/L"
        raise InputError(Problem("each dye once with its strength is wanted", remedy, file, field="mix", value=text))
    return {dye_name(name): strength for name, strength in parts}


def _dyes(cards: Sequence[_Card]) -> list[str]:
    return list(dict.fromkeys(name for card in cards for name in card.strengths))


def _several(cards: Sequence[_Card]) -> Result[FittedSeveral]:
    sold = _concentrates(cards)
    scheme = cards[0].options.scheme

    def aims_for(name: str, load_mg_m2: float) -> list[Aim]:
        return aims_of(scheme, dye=name, load_mg_m2=load_mg_m2)

    names = _dyes(cards)
    notes = [*_nearly_alike(names), *(note for name in names for note in aims_notes(scheme, dye=name))]
    try:
        several = fitted_several([_given(card, sold) for card in cards], names, aims_for=aims_for)
    except InputError as error:
        raise type(error)([*error.problems, *map(Problem, _nearly_alike(names))]) from None
    several = replace(several, notes=(*several.notes, *notes))
    files = [Path(card.source.file) if isinstance(card.source, Readings) else card.source for card in cards]
    return several_result(several, inputs=tuple(file for file in files if file.exists()))


def _nearly_alike(names: Sequence[str]) -> list[str]:
    """Names of two dyes that may be one, mistyped."""
    pairs = [(one, name) for n, name in enumerate(names) for one in get_close_matches(name, names[:n], cutoff=0.85)]
    return [
        f'"{one}" and "{name}" are taken as two dyes: write one name on all cards if they are one'
        for one, name in pairs
    ]


def _concentrates(cards: Sequence[_Card]) -> dict[str, str]:
    """What each dye is sold as, as its own cards say: it is one bottle on all of them."""
    alone = [
        (next(iter(card.strengths)), card.remarks.get("concentrate")) for card in cards if len(card.strengths) == 1
    ]
    return {name: said for name, said in reversed(alone) if said}


def _given(card: _Card, sold: dict[str, str]) -> GivenCard:
    """One card in numbers: what a coat of it holds of each dye."""
    holds: dict[str, float] = {}
    concentrates: dict[str, float | None] = {}
    notes: list[str] = []
    for name, strength in card.strengths.items():
        one = replace(card.options, name=name, strength=strength, concentrate=sold.get(name, card.options.concentrate))
        if card.is_photo or name == next(iter(card.strengths)):
            read = card_read(card.source, one)
            asked = read.asked
        else:
            asked = asked_of(one, card.remarks, card.name)
        holds[name], concentrates[name] = asked.load_mg_m2, asked.concentrate_g_per_L
        notes += asked.notes
    asked = replace(read.asked, notes=tuple(dict.fromkeys(notes)))
    return GivenCard(card.name, read.card_of, asked, holds, concentrates, tuple(read.notes), read.found)
