"""Texts that undo and redo go to."""

from __future__ import annotations

import hashlib
from collections import deque
from dataclasses import dataclass

MOST_STEPS = 1000
MOST_SIGNS = 8_000_000
"""Of all texts that undo goes back to."""


@dataclass(frozen=True)
class Step:
    """A text to go back (or forth) to, and what was done between it and the next, in words."""

    text: str
    words: str


class Steps:
    """Texts to go back to, the oldest given up once they are many."""

    def __init__(self) -> None:
        self._steps: deque[Step] = deque()
        self._signs = 0

    def push(self, step: Step) -> None:
        self._steps.append(step)
        self._signs += len(step.text)
        while len(self._steps) > MOST_STEPS or (self._signs > MOST_SIGNS and len(self._steps) > 1):
            self._signs -= len(self._steps.popleft().text)

    def pop(self) -> Step:
        step = self._steps.pop()
        self._signs -= len(step.text)
        return step

    def clear(self) -> None:
        self._steps.clear()
        self._signs = 0

    def words(self) -> str | None:
        return self._steps[-1].words if self._steps else None

    def text_of(self, version: str) -> str | None:
        """The text of a version that is still among these."""
        return next((step.text for step in reversed(self._steps) if version_of(step.text) == version), None)


def version_of(text: str) -> str:
    """Eight signs that tell one text from another."""
    return hashlib.sha256(text.encode("utf-8")).hexdigest()[:8]
