"""A record's scheme as today would make it: its text with today's dyes, base and gun, and the files it names."""

from __future__ import annotations

import math
import shutil
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from layerpreview.answers.remake_booth import Booth, Recipe
from layerpreview.errors import InputError, NoAnswerError, Problem
from layerpreview.finish.layers import dyes_in
from layerpreview.output.files import file_stem
from layerpreview.output.record_file import Record
from layerpreview.scheme import Scheme, load_scheme
from layerpreview.scheme.edit import Change, changed, value_at
from layerpreview.scheme.rules import file_places
from layerpreview.told import Basis
from layerpreview.units import parse_quantity, parse_strength
from layerpreview.workflows.agreed_scheme import scaled_strength
from layerpreview.workflows.remake_dyes import ENDING, DyeOnShelf, stem_of

SCHEME_NAME, SHOP_NAME = "scheme.toml", "shop.toml"
_TAKEN = ("base", "base_of", "gun")
_OF_FILE = ("library", "absorptivity", "concentrate", "density", "drops_per_mL")


@dataclass(frozen=True, eq=False)
class Folder:
    """A folder that a scheme of today is put together in; `files` are those it names, by their names there."""

    path: Path
    files: dict[str, Path] = field(default_factory=dict)

    def take(self, source: Path, name: str | None = None) -> str:
        """Copy a file into it under a free name, which is given back; one file is taken once."""
        known = next((taken for taken, place in self.files.items() if place == source.resolve()), None)
        if known is not None:
            return known
        wanted = name or f"{file_stem(source.stem, otherwise='file')}{source.suffix.lower()}"
        stem, dot, ending = wanted.partition(".")
        numbered = (f"{stem}_{n}{dot}{ending}" for n in range(2, 10_000))
        free = wanted if self._free(wanted) else next(one for one in numbered if self._free(one))
        try:
            shutil.copyfile(source, self.path / free)
        except OSError as error:
            rule = f"this file cannot be read ({error.strerror})"
            raise InputError(Problem(rule, "the scheme names it: put it there", str(source))) from None
        self.files[free] = source.resolve()
        return free

    def write(self, text: str) -> Scheme:
        """Put the scheme's text there and read it. Raises SchemeError with every problem of it."""
        path = self.path / SCHEME_NAME
        path.write_bytes(text.encode("utf-8"))
        return load_scheme(path)

    def _free(self, name: str) -> bool:
        return name.casefold() not in {SCHEME_NAME, SHOP_NAME, *(taken.casefold() for taken in self.files)}


def as_made_text(record: Record, text: str) -> tuple[str, tuple[int, ...]]:
    """The record's scheme as it was made: strengths and coats in its text, and which entries were sprayed at all.

    Entries are numbered from 0; one that got no coat is taken out.
    """
    changes = []
    for mix in record.mixes:
        planned = value_at(text, ("mix", mix.name, "dyes")) or {}
        changes += [
            Change("set", ("mix", mix.name, "dyes", d), s)
            for d, s in mix.strengths_as_made.items()
            if mix.as_made or d not in planned
        ]
    for i, coat in enumerate(record.coats):
        if coat.done and coat.done != coat.planned:
            changes.append(Change("set", ("coat", i, "coats"), coat.done))
    never = [i for i, coat in enumerate(record.coats) if not coat.done]
    changes += [Change("remove", ("coat", i)) for i in reversed(never)]
    return changed(text, changes), tuple(i for i in range(len(record.coats)) if i not in never)


def measured_films(record: Record, sprayed: Sequence[int], scheme: Scheme) -> list[Change]:
    """The films that were measured on the job, where its scheme does not know them as well: the gun is the same."""
    changes = []
    for i, entry in enumerate(sprayed):
        coat, was = scheme.coats[i], record.coats[entry]
        low, likely, high = was.film_um
        known = coat.film_um.weakest is Basis.MEASURED and math.isclose(coat.film_um.likely, likely, rel_tol=1e-3)
        if was.film_basis.startswith(str(Basis.MEASURED)) and not known:
            half = max(high - likely, likely - low)
            spread = f" +/- {half:.3g}" if 0.0 < half < likely else ""
            changes.append(Change("set", ("coat", i, "film"), f"{likely:.4g}{spread} um"))
    return changes


def with_dyes(text: str, stands: Mapping[str, DyeOnShelf], folder: Folder) -> tuple[str, list[str]]:
    """The text with today's dyes under the record's names, their files in the `folder`, and what is to be said."""
    changes, lines = [], []
    for name, dye in stands.items():
        file = _taken(folder, dye)
        written = value_at(text, ("dye", name)) or {}
        changes.append(Change("set", ("dye", name, "file"), file))
        for key in _OF_FILE:
            if key not in written:
                continue
            if key == "concentrate" and dye.held.concentrate_g_per_L is None:
                lines.append(
                    f"{name}: {dye.path.name} does not say its concentrate; {written[key]} is kept from the record"
                )
            elif key in ("library", "absorptivity", "concentrate") or getattr(dye.dye, _field_of(key)) is not None:
                changes.append(Change("unset", ("dye", name, key)))
    return changed(text, changes), lines


def with_more_dyes(text: str, more: Mapping[str, DyeOnShelf], folder: Folder) -> str:
    """The text with further dyes, which no mix holds yet."""
    for name, dye in more.items():
        file = _taken(folder, dye)
        text = changed(text, [Change("set", ("dye", name), {"file": file})])
    return text


def with_things_of(text: str, today: Path, folder: Folder, faces: Sequence[str]) -> tuple[str, list[str]]:
    """The text with the base, the bases of faces and the gun of the scheme at `today`, and what is to be said."""
    load_scheme(today)  # that it is one: every problem of it at once
    raw = tomllib.loads(today.read_text(encoding="utf-8-sig"))
    taken: dict[str, Any] = {key: raw[key] for key in _TAKEN if key in raw}
    lines = []
    for name in [face for face in taken.get("base_of", {}) if face not in faces]:
        del taken["base_of"][name]
        lines.append(f"{today.name} has a base of {name}, which is no face of the record: left out")
    for place, value in file_places(taken):
        table = taken
        for step in place[:-1]:
            table = table[step]  # type: ignore[index]
        table[str(place[-1])] = folder.take(today.parent / value.strip().replace("\\", "/"))
    written = tomllib.loads(text)
    changes = [
        Change("unset", (key,)) for key in ("base_of", "gun") if key in written and (key != "gun" or key in taken)
    ]
    for key in ("base", "gun"):
        if key in taken:
            changes.append(Change("set", (key,), taken[key]))
    changes += [Change("set", ("base_of", name), own) for name, own in taken.get("base_of", {}).items()]
    return changed(text, changes), lines


def unpacked(record: Record, folder: Path) -> Path:
    """The record's scheme with its files in a new folder."""
    folder.mkdir()
    return record.scheme_in(folder)


def flat_files(text: str, scheme: Path, folder: Folder) -> None:
    """Take along every file that a record's scheme names: there they lie beside it under plain names."""
    for _, value in file_places(tomllib.loads(text)):
        folder.take(scheme.parent / value, value)


def with_recipe(text: str, booth: Booth, recipe: Recipe) -> str:
    """The text with a recipe's strengths and coats; what stays the same is left as it is written."""
    changes = []
    for mix in dict.fromkeys(part.mix for part in booth.parts):
        if not any(recipe.strengths[k] > 0.0 for k, part in enumerate(booth.parts) if part.mix == mix):
            raise NoAnswerError(
                f"{mix}: nearest comes no dye at all, so what is under it is too dark or of another hue"
            )
    for k, part in enumerate(booth.parts):
        at, now, was = ("mix", part.mix, "dyes", part.dye), float(recipe.strengths[k]), float(booth.as_written[k])
        written = value_at(text, at)
        if written is None and now > 0.0:
            changes.append(Change("set", at, f"{now:g} {booth.unit_of(k)}"))
        elif written is not None and now <= 0.0:
            changes.append(Change("unset", at))
        elif written is not None and abs(now - was) > 1e-3 * was:
            by_count = was > 0.0 and parse_strength(str(written)).unit in ("drops/L", "% by weight")
            told = scaled_strength(str(written), now / was) if by_count else f"{now:g} {booth.unit_of(k)}"
            changes.append(Change("set", at, told))
    for i, coats in enumerate(recipe.coats):
        if coats != booth.coats[i]:
            changes.append(Change("set", ("coat", i, "coats"), coats))
    return changed(text, changes)


def in_todays_units(text: str, old: Scheme, stands: Mapping[str, DyeOnShelf]) -> str:
    """The text with strengths of as much pure dye in the unit of today's dye, where one is a powder and one is not."""
    changes = []
    for mix in old.mixes.values():
        for part in dyes_in(old, mix):
            if part.name not in stands:
                continue
            kept = value_at(text, ("dye", part.name, "concentrate"))
            holds = stands[part.name].dye.concentrate_g_per_L or (kept and parse_quantity(str(kept), "concentration"))
            if part.powder != (not holds):
                pure = part.pure_g_per_L.likely
                told = f"{1000.0 * pure / holds:.4g} mL/L" if holds else f"{pure:.4g} g/L"
                changes.append(Change("set", ("mix", mix.name, "dyes", part.name), told))
    return changed(text, changes)


def _taken(folder: Folder, dye: DyeOnShelf) -> str:
    stem = file_stem(stem_of(dye.path), otherwise="dye")
    clash = f"{stem}{ENDING}" in folder.files
    return folder.take(dye.path, f"{stem}{'_today' if clash else ''}{ENDING}")


def _field_of(key: str) -> str:
    return {"density": "density_g_per_mL", "drops_per_mL": "drops_per_mL"}[key]
