"""The text of the agreed scheme: the one the board offered with what was agreed in it, its remarks kept."""

from __future__ import annotations

import math
import os
import re
import tomllib
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from layerpreview.errors import InputError, Problem
from layerpreview.output.board_code import Choice
from layerpreview.output.job_entries import Offer
from layerpreview.scheme.locate import line_of_each
from layerpreview.scheme.rules import file_places
from layerpreview.units import Strength, parse_strength

_NOT_THERE = (KeyError, IndexError, TypeError, AttributeError, ValueError, RecursionError)
"""What tomlkit raises beside its own errors for a text that tomllib reads."""


def agreed_text(offer: Offer, choice: Choice) -> tuple[str, list[str]]:
    """The offered scheme's text with the agreed coats and strengths, comments kept, and what changed in words.

    Raises InputError for a text that is written in such a way that only a person can change it.
    """
    from tomlkit.exceptions import TOMLKitError

    try:
        text, changes = _changed(offer, choice)
        if _without_empty(tomllib.loads(text)) == _without_empty(_meant(offer, choice)):
            return text, changes
    except (TOMLKitError, *_NOT_THERE):
        pass  # the library that keeps remarks has its limits with dotted keys and tables in braces
    rule = "the agreed numbers cannot be put in: the scheme is written in a way that only a hand can change"
    remedy = "write each [[coat]] and each [mix.NAME] on lines of its own, and make the board again"
    raise InputError(Problem(rule, remedy, offer.scheme))


def _meant(offer: Offer, choice: Choice) -> dict[str, Any]:
    """What the agreed text has to say."""
    raw = tomllib.loads(offer.text)
    counts = [(i if rule.entry is None else rule.entry, rule.proposed) for i, rule in enumerate(offer.coats)]
    for (entry, proposed), coats in zip(counts, choice.coats, strict=True):
        if coats not in (0, proposed):
            raw["coat"][entry]["coats"] = coats
    gone = [entry for (entry, proposed), coats in zip(counts, choice.coats, strict=True) if coats == 0 != proposed]
    orphans = _painted(raw) - _painted(raw, gone)
    if "coat" in raw:
        raw["coat"] = [coat for entry, coat in enumerate(raw["coat"]) if entry not in gone]
    for name in orphans & set(raw.get("paint", {})):
        del raw["paint"][name]
    for mix, percent in zip(offer.mixes, choice.strength_percent, strict=True):
        dyes = raw["mix"][mix.mix]["dyes"]
        for name in dyes if percent != 100 else ():
            dyes[name] = scaled_strength(str(dyes[name]), percent / 100.0)
    return raw


def _without_empty(raw: dict[str, Any]) -> dict[str, Any]:
    """Lists and tables at the top that hold nothing left out: a text need not say that they are there."""
    return {key: value for key, value in raw.items() if value not in ({}, [])}


def _changed(offer: Offer, choice: Choice) -> tuple[str, list[str]]:
    import tomlkit

    document: Any = tomlkit.parse(offer.text)
    changes = []
    gone = []
    for i, (rule, coats) in enumerate(zip(offer.coats, choice.coats, strict=True)):
        if coats == rule.proposed:
            continue
        changes.append(f"{rule.what}: {rule.proposed} -> {coats} coats")
        entry = i if rule.entry is None else rule.entry
        if coats == 0:
            gone.append(entry)
        else:
            document["coat"][entry]["coats"] = coats
    orphans = _painted(document) - _painted(document, gone)
    for i in reversed(gone):
        del document["coat"][i]
    for mix, percent in zip(offer.mixes, choice.strength_percent, strict=True):
        if percent == 100:
            continue
        changes.append(f"strength of {mix.mix}: {percent} % of proposed")
        dyes = document["mix"][mix.mix]["dyes"]
        for name in list(dyes):
            dyes[name] = scaled_strength(str(dyes[name]), percent / 100.0)
    text = tomlkit.dumps(document)
    for name in sorted(orphans & set(document.get("paint", {}))):
        text = _without_paint(text, name)
    return text, changes


def agreed_words(offer: Offer, choice: Choice) -> list[str]:
    """All that was agreed, a line for each coat and each strength, and what was proposed where that was other."""
    lines = []
    for rule, coats in zip(offer.coats, choice.coats, strict=True):
        told = "no coats" if coats == 0 else "1 coat" if coats == 1 else f"{coats} coats"
        lines.append(f"{rule.what}: {told}" + (f" ({rule.proposed} proposed)" if coats != rule.proposed else ""))
    for mix, percent in zip(offer.mixes, choice.strength_percent, strict=True):
        lines.append(f"strength of {mix.mix}: {'as proposed' if percent == 100 else f'{percent} % of proposed'}")
    return lines


def _painted(document: Any, gone: Sequence[int] = ()) -> set[str]:
    """The names of the opaque coats, which are those that a [paint] can have."""
    coats = [coat for i, coat in enumerate(document.get("coat", [])) if i not in gone]
    return {str(coat["name"]).strip() for coat in coats if "opaque" in coat and "name" in coat}


def _without_paint(text: str, name: str) -> str:
    """Make [paint.NAME], which belongs to no coat any more, a remark; a painter may want it back."""
    import tomlkit

    document: Any = tomlkit.parse(text)
    del document["paint"][name]
    without = tomlkit.dumps(document)
    own = [line for place, line in line_of_each(text).items() if place[:2] == ("paint", name)]
    first, last = min(own), max(own)
    lines = text.split("\n")
    lines[first - 1 : last] = [f"# {line}" if line.strip() else line for line in lines[first - 1 : last]]
    remarked = "\n".join([*lines[: first - 1], "# (its coat was taken out)", *lines[first - 1 :]])
    try:
        # Written on lines of its own, as it mostly is; else it goes altogether.
        return remarked if _paints_of(remarked) == _paints_of(without) else without
    except tomllib.TOMLDecodeError:
        return without


def _paints_of(text: str) -> tuple[dict[str, Any], dict[str, Any]]:
    raw = tomllib.loads(text)
    return raw.pop("paint", {}), raw


def scaled_strength(written: str, factor: float) -> str:
    """A strength times a factor, in the words it was written in where they begin with a plain number.

    >>> scaled_strength("20 drops per 100 mL", 1.1)
    '22 drops per 100 mL'
    >>> scaled_strength("1 1/2 %", 0.9)
    '13.5 mL/L'
    """
    meant = parse_strength(written)
    number = re.match(r"\s*(\d+(?:[.,]\d+)?)(?=\s*[^\d\s.,/])", written)
    if number:
        text = f"{float(number[1].replace(',', '.')) * factor:.4g}" + written[number.end() :]
        if _same(parse_strength(text), meant, factor):
            return text
    return f"{meant.amount * factor:.4g} {meant.unit}"


def _same(found: Strength, meant: Strength, factor: float) -> bool:
    return found.unit == meant.unit and math.isclose(found.amount, meant.amount * factor, rel_tol=1e-3)


def in_its_new_place(text: str, source: Path, target: Path) -> str:
    """The text with the files it names seen from `target`, and its own name in the commands that its remarks tell."""
    own = re.compile(rf"(layerpreview [a-z-]+ +){re.escape(source.name)}\b")
    text = "\n".join(own.sub(rf"\g<1>{target.name}", li) if li.startswith("#") else li for li in text.split("\n"))
    here, there = source.parent.resolve(), target.parent.resolve()
    if here == there or not here.is_dir():
        return text
    import tomlkit
    from tomlkit.exceptions import TOMLKitError

    try:
        document: Any = tomlkit.parse(text)
        for place, value in file_places(tomllib.loads(text)):
            table = document
            for step in place[:-1]:
                table = table[step]
            file = here / value.strip().replace("\\", "/")
            try:
                table[place[-1]] = Path(os.path.relpath(file, there)).as_posix()
            except ValueError:  # another drive
                table[place[-1]] = file.as_posix()
        return tomlkit.dumps(document)
    except (TOMLKitError, *_NOT_THERE):
        rule = "the files that it names cannot be named from another folder: they are written in an unusual way"
        raise InputError(Problem(rule, "write each on a line of its own", str(source))) from None


def head_of(choice: Choice, note: str) -> str:
    """The remarks at the top of an agreed scheme; `note`: the client's, on one line."""
    head = f"# Agreed: option {choice.option} of board {choice.board}, code {choice.code}\n"
    return head + (f"# The client's note: {note}\n" if note else "")
