"""Any result as JSON: its fields, keys in order, paths as text."""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from _typeshed import DataclassInstance


def result_json(result: DataclassInstance) -> str:
    """The fields of a result, those of results within it too."""
    return json.dumps(asdict(result), default=str, indent=2, sort_keys=True, ensure_ascii=False) + "\n"
