"""Looking things up in what is written, whether or not it is right."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from layerpreview.scheme.report import Place

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
