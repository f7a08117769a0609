"""Collects everything that is wrong with one TOML file, each with its line, in plain words; and looks things up in what
is written, whether or not it is right.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from layerpreview.errors import Problem
from layerpreview.scheme.fields import did_you_mean
from layerpreview.scheme.locate import line_of_each

Place = tuple[str | int, ...]
Model = TypeVar("Model", bound=BaseModel)
_LONGEST_VALUE = 60
_MOST_WORKED = 200  # problems; of more a person is told how many, so that their values are not shown


class Report:
    """The problems found so far in one file; `raw` is what `tomllib` read from its `text`."""

    def __init__(self, file: str, text: str, raw: Mapping[str, Any]) -> None:
        self.file = file
        self.raw = raw
        self.problems: list[Problem] = []
        self.text = text
        self._lines: dict[Place, int] | None = None

    def line(self, place: Place) -> int | None:
        """Return the line of a key, or of the nearest table around it when the key is not there."""
        if self._lines is None:
            self._lines = line_of_each(self.text)
        for length in range(len(place), 0, -1):
            if place[:length] in self._lines:
                return self._lines[place[:length]]
        return None

    def add(self, place: Place, rule: str, remedy: str = "") -> None:
        """Add a problem at a key, a table, or (when `place` does not exist) something that is missing there."""
        value = _value_at(self.raw, place) if len(self.problems) < _MOST_WORKED else _NOTHING
        shown = "" if value is _NOTHING or _holds_tables(value) else as_toml(value)
        rule, remedy, field, shown = (_printable(text) for text in (rule, remedy, as_path(place), shown))
        self.problems.append(Problem(rule, remedy, self.file, self.line(place), field, shown))

    def check(self, model: type[Model], place: Place, value: object, folder: Path) -> Model | None:
        """Return the model made of the table at `place`, or None after adding every problem it has."""
        if not isinstance(value, Mapping):
            self.add(
                place, "a table is wanted here, with keys of its own", f"write [{as_path(place)}] and its keys below"
            )
            return None
        try:
            return model.model_validate(value, context={"folder": folder})
        except ValidationError as error:
            for detail in error.errors(include_url=False):
                self._add_detail(model, place, value, detail)
            return None

    def _add_detail(self, model: type[BaseModel], place: Place, value: object, detail: Any) -> None:
        inner = tuple(_real_steps(value, detail["loc"]))
        kind = detail["type"]
        if kind == "missing":
            self.add((*place, *inner), "this is missing", _example_line(_model_at(model, inner[:-1]), str(inner[-1])))
        elif kind == "extra_forbidden":
            owner = _model_at(model, inner[:-1])
            known = keys_of(owner) if owner else []
            self.unknown_key((*place, *inner), known)
        elif kind == "value_error":
            cause = detail["ctx"]["error"]
            self.add((*place, *inner), getattr(cause, "rule", str(cause)), getattr(cause, "remedy", ""))
        elif kind in ("tuple_type", "list_type"):
            self.add(
                (*place, *inner),
                "a list of tables is wanted here",
                f"write [[{as_path((*place, *inner), plain=True)}]] above it",
            )
        else:
            self.add(
                (*place, *inner), "a table is wanted here, with keys of its own", 'write for example { key = "value" }'
            )

    def unknown_key(self, place: Place, known: Sequence[str]) -> None:
        """Add the problem of a key that the format does not have."""
        hint = did_you_mean(str(place[-1])[:100], known) if len(self.problems) < _MOST_WORKED else ""
        self.add(place, "this key is not known here", hint or f"known are: {', '.join(known)}")


_NOTHING = object()


def keys_of(model: type[BaseModel]) -> list[str]:
    """Return the keys a model has in the file."""
    return [info.alias or name for name, info in model.model_fields.items()]


def table_told(*names: str) -> str:
    """Return the heading of a table as it is written.

    >>> print(table_told("dye", "amber"), table_told("dye", "grün, hell"))
    [dye.amber] [dye."grün, hell"]
    """
    return f"[{as_path(names)}]"


def as_path(place: Place, *, plain: bool = False) -> str:
    """Return the path in TOML terms, list items counted from 1: ``coat[2].burst.width``."""
    path = ""
    for step in place:
        if isinstance(step, int):
            path += "" if plain else f"[{step + 1}]"
        else:
            bare = re.fullmatch("[A-Za-z0-9_-]+", step)  # what needs no quotes, and no other letters
            path += ("." if path else "") + (step if bare else json.dumps(step, ensure_ascii=False))
    return path


def as_toml(value: object) -> str:
    """Return a value roughly as the file has it, on one line and not too long."""
    try:
        shown = str(value) if isinstance(value, float) else json.dumps(value, ensure_ascii=False, default=str)
    except (ValueError, RecursionError):  # a number of thousands of digits, a list of a thousand levels
        return "..."
    return shown if len(shown) <= _LONGEST_VALUE else shown[: _LONGEST_VALUE - 4] + " ..."


def _printable(text: str) -> str:
    """Leave out control signs, so that nothing written in a file can steer the terminal it is shown on."""
    return "".join(sign if sign.isprintable() else "?" for sign in text)


def _holds_tables(value: object) -> bool:
    return isinstance(value, Mapping) or (isinstance(value, list) and any(isinstance(item, Mapping) for item in value))


def _value_at(value: Any, place: Place) -> Any:
    for step in place:
        try:
            value = value[step]
        except (KeyError, IndexError, TypeError):
            return _NOTHING
    return value


def _real_steps(value: Any, steps: Sequence[str | int]) -> Iterator[str | int]:
    """Leave out the list index that stands for a single table, and the marker of a dictionary key."""
    for step in steps:
        if isinstance(step, int) and isinstance(value, Mapping):
            continue
        if step == "[key]":
            continue
        yield step
        try:
            value = value[step]
        except (KeyError, IndexError, TypeError):
            value = None


def _model_at(model: type[BaseModel], steps: Place) -> type[BaseModel] | None:
    """Return the model of the table at `steps` below `model`."""
    for step in steps:
        if isinstance(step, int):
            continue
        found = next((info for name, info in model.model_fields.items() if (info.alias or name) == step), None)
        inner = model_in(found.annotation) if found else None
        if inner is None:
            return None
        model = inner
    return model


def model_in(annotation: Any) -> type[BaseModel] | None:
    """Return the model that a field holds, in whatever list or union; None where it holds none."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for part in getattr(annotation, "__args__", ()):
        if inner := model_in(part):
            return inner
    return None


def _example_line(model: type[BaseModel] | None, key: str) -> str:
    """The line to add, with the example that the model has for the field."""
    fields = model.model_fields.items() if model else ()
    example = next((info.examples[0] for name, info in fields if key == (info.alias or name) and info.examples), None)
    if isinstance(example, Mapping):
        shown = "{ " + ", ".join(f"{name} = {as_toml(value)}" for name, value in example.items()) + " }"
    else:
        shown = "..." if example is None else as_toml(example)
    return f"add a line such as {key} = {shown}"


Table = Mapping[str, Any]
Placed = tuple[Place, dict[str, Any]]


def tables(owner: Table, key: str, place: Place = ()) -> list[Placed]:
    """Return the tables of a list ``[[key]]`` below `owner` (which stands at `place`), each with its place."""
    value = owner.get(key)
    items = value if isinstance(value, list) else []
    return [((*place, key, number), item) for number, item in enumerate(items) if isinstance(item, dict)]


def named(raw: Table, key: str) -> Iterator[tuple[str, dict[str, Any]]]:
    """Yield the tables ``[key.NAME]`` with their names."""
    value = raw.get(key)
    for name, item in (value if isinstance(value, dict) else {}).items():
        if isinstance(item, dict):
            yield name, item


def word(table: Table, key: str) -> str:
    """Return the value of a key in small letters, empty when it is no text."""
    value = table.get(key)
    return value.strip().lower() if isinstance(value, str) else ""


def name_of(table: Table) -> str | None:
    """Return the name of a table, if it has one that is a text."""
    name = table.get("name")
    return name.strip() if isinstance(name, str) else None


def names(found: Sequence[Placed]) -> list[str]:
    """Return the names of the tables that have one."""
    return [name for _, table in found if (name := name_of(table)) is not None]


def given_in(table: Table, keys: Sequence[str]) -> tuple[list[str], str]:
    """Return which of `keys` are there, and that in words."""
    given = [key for key in keys if key in table]
    if not given:
        return given, "none is here"
    first = ", ".join(given[:-1])
    return given, (f"{first} and {given[-1]} are here" if first else f"{given[0]} is here")
