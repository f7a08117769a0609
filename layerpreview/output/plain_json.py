"""Results as JSON: one way for all of them, the same bytes for the same result."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import fields, is_dataclass
from fractions import Fraction
from pathlib import Path

import numpy as np


def plain_json(value: object) -> str:
    """Dataclasses, mappings, sequences, arrays and paths as indented JSON with a line end.

    Fractions become decimal numbers. Raises ValueError for a number that is none (nan, infinite): no result holds one.
    """
    return json.dumps(plain(value), indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def json_line(value: object, *, packed: bool = False, ascii_only: bool = False) -> str:
    """The same on one line with sorted keys: for the log, for typst, and `packed` (no blanks) for pages and codes.

    `ascii_only`: every other sign as \\u escapes.
    """
    gaps = (",", ":") if packed else (", ", ": ")
    return json.dumps(plain(value), ensure_ascii=ascii_only, allow_nan=False, separators=gaps, sort_keys=True)


def plain(value: object) -> object:
    """A result as JSON knows it: dicts, lists, texts, numbers, true, false and null.

    A dataclass shows its fields, and the properties that it names in `also_in_json`.
    """
    if isinstance(value, Fraction):
        return round(float(value), 9)
    if isinstance(value, np.ndarray | np.generic):
        return plain(value.tolist())
    if is_dataclass(value) and not isinstance(value, type):
        names = [field.name for field in fields(value)]
        return {name: plain(getattr(value, name)) for name in [*names, *getattr(value, "also_in_json", ())]}
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, Path):
        return str(value)
    if isinstance(value, Sequence | set | frozenset) and not isinstance(value, str):
        return [plain(item) for item in value]
    if isinstance(value, float) and not math.isfinite(value):
        raise ValueError("a result holds a number that is none")
    return str(value) if isinstance(value, str) else value
