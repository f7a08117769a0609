"""What a check of a value takes, in words and as JSON Schema: errors, schema and pages tell it from one place."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

Checked = TypeVar("Checked")
Schema = Mapping[str, Any]

TEXT: Schema = {"type": "string", "minLength": 1}


@dataclass(frozen=True, eq=False)
class Check(Generic[Checked]):
    """A check of one value as a file has it; `wants` and `schema` (JSON Schema, Draft 2020-12) say what it takes.

    The schema lets pass all that the check lets pass, and stops what is wrong in kind: it does not read amounts.
    """

    run: Callable[[object], Checked]
    wants: str
    schema: Schema

    def __call__(self, value: object) -> Checked:
        """Return the value as it is meant. Raises FieldError or UnitError."""
        return self.run(value)


def takes(wants: str, schema: Schema) -> Callable[[Callable[[object], Checked]], Check[Checked]]:
    """Say what the check below takes."""
    return lambda run: Check(run, wants, schema)


def one_of(words: Iterable[str]) -> Schema:
    """Return the schema of one of some words, which a person may also write in capitals."""
    words = list(words)
    any_case = "|".join("".join(f"[{s.lower()}{s.upper()}]" if s.isalpha() else s for s in word) for word in words)
    return {"anyOf": [{"enum": words}, {"type": "string", "pattern": rf"^\s*({any_case})\s*$"}]}


def number_in(low: float, high: float) -> Schema:
    """Return the schema of a number, or of one that somebody put in quotes."""
    return {"anyOf": [{"type": "number", "minimum": low, "maximum": high}, TEXT]}


def list_of(item: Schema, *, least: int = 1, most: int | None = None) -> Schema:
    """Return the schema of a list."""
    return {"type": "array", "items": item, "minItems": least} | ({} if most is None else {"maxItems": most})
