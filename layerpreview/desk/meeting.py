"""A change meant for an older text than the one of now: made where it still means the same, else asked about."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from layerpreview.scheme.edit import UNSAID, Change, value_at


@dataclass(frozen=True)
class Asked:
    """A place where two changes meet: what is there now, and what was to be written."""

    at: tuple[str | int, ...]
    theirs: Any
    yours: Any


def meeting(changes: Sequence[Change], *, now: str, seen: str | None) -> tuple[Asked, ...]:
    """What must be asked about changes to the text `now` by one who saw the text `seen` (None: nobody knows it).

    Nothing where all of them can simply be made. Raises InputError for a text that is no TOML.
    """
    return tuple(asked for change in changes if (asked := _asked(change, now, seen)) is not None)


def _asked(change: Change, now: str, seen: str | None) -> Asked | None:
    """What must be asked about one change; None where it can simply be made."""
    theirs = value_at(now, change.at)
    asked = Asked(change.at, theirs, change.to)
    if seen is None and (change.was is UNSAID or any(isinstance(step, int) for step in change.at)):
        return asked  # nobody knows what it was meant for
    if seen is not None and _row(now, change) != _row(seen, change):
        return asked  # entries came or went: numbers mean others now
    if change.do in ("add", "move") or (change.do == "set" and theirs == change.to):
        return None
    was = value_at(seen, change.at) if change.was is UNSAID and seen is not None else change.was
    return None if theirs == was else asked


def _row(text: str, change: Change) -> list[Any]:
    """Of the lists that a change goes through what each entry is, so that numbers can be seen to mean the same."""
    lists = [change.at[:n] for n, step in enumerate(change.at) if isinstance(step, int)]
    lists += [change.at] if change.do == "add" else []
    return [_entries(value_at(text, at)) for at in lists]


def _entries(value: Any) -> list[Any]:
    entries = value if isinstance(value, list) else [value]
    names = ("name", "mix", "opaque", "zone", "from")
    return [{key: e.get(key) for key in names} if isinstance(e, dict) else None for e in entries]
