"""The text of the agreed scheme: the one the board offered with what was agreed in it, its remarks kept."""

from __future__ import annotations

import math
import os
import re
import tomllib
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from layerpreview.output.board_code import Choice
from layerpreview.output.job_entries import Offer
from layerpreview.scheme.locate import line_of_each
from layerpreview.scheme.rules import file_places
from layerpreview.units import Strength, parse_strength


def agreed_text(offer: Offer, choice: Choice) -> tuple[str, list[str]]:
    """The offered scheme's text with the agreed coats and strengths, comments kept, and what changed in words."""
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


def head_of(choice: Choice, note: str) -> str:
    """The remarks at the top of an agreed scheme; `note`: the client's, on one line."""
    head = f"# Agreed: option {choice.option} of board {choice.board}, code {choice.code}\n"
    return head + (f"# The client's note: {note}\n" if note else "")
