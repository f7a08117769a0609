"""What a column of the spray-out frame holds, in words and as it is typed: coats, strength of the mix, backgrounds."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from layerpreview.errors import InputError, Problem

_WRITTEN = re.compile(r"(\d+(?:\.\d+)?)(?:x(\d+(?:\.\d+)?))?(?: +(white|base))?")


@dataclass(frozen=True)
class Column:
    """`coats` [0..60] of a mix of `strength` [0.01..100] times the card's, over `background`: white, base or both ("").

    Sprayed over one background alone it is one window.
    """

    coats: float
    strength: float = 1.0
    background: str = ""

    @property
    def load(self) -> float:
        """Dye per area, in coats of the card's mix."""
        return self.coats * self.strength

    def over(self, background: str) -> bool:
        """Whether it has a window over white or over the base."""
        return self.background in ("", background)

    @property
    def typed(self) -> str:
        """As `read_columns` reads it: "2", "1x3" for one coat at three times the strength, "1x3 white"."""
        strength = "" if self.strength == 1.0 else f"x{self.strength:g}"
        return f"{self.coats:g}{strength} {self.background}".strip()

    @property
    def words(self) -> str:
        """What to spray, and over what."""
        coats = "one coat" if self.coats == 1.0 else f"{self.coats:g} coats"
        times = "times " if self.strength > 1.0 else "of "
        strength = "" if self.strength == 1.0 else f" at {self.strength:g} {times}the strength"
        over = {"white": " over white", "base": " over the base"}.get(self.background, "")
        return "bare" if self.coats == 0 else coats + strength + over


def as_columns(said: Sequence[float | Column]) -> tuple[Column, ...]:
    """Columns from the left; a plain number is so many coats over both backgrounds."""
    return tuple(one if isinstance(one, Column) else Column(float(one)) for one in said)


def in_steps(columns: Sequence[Column]) -> bool:
    """Whether they can be sprayed in the same strokes, each covered when it has its coats: all of one mix."""
    return len({column.strength for column in columns if column.coats}) <= 1


def read_columns(text: str, field: str = "--coats") -> tuple[Column, ...]:
    """Read columns as they are typed, with commas between. Raises InputError for what is none.

    >>> [column.words for column in read_columns("0, 2, 1x3 white")]
    ['bare', '2 coats', 'one coat at 3 times the strength over white']
    """
    found = [_WRITTEN.fullmatch(part.strip().lower()) for part in text.split(",")]
    columns = [Column(float(one[1]), float(one[2] or 1.0), one[3] or "") for one in found if one]
    wrong = len(columns) < len(found) or any(c.coats > 60 or not 0.01 <= c.strength <= 100 for c in columns)
    if wrong:
        remedy = f'write for example {field} 0,1,2,3 or "0,1x3 white,2 base" (one coat at 3 times the strength)'
        raise InputError(Problem("numbers with commas between are wanted", remedy, field=field, value=text))
    return tuple(columns)
