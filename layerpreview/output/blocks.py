"""Plain blocks of text that a printed sheet is made of, which text, HTML and PDF each show in their own way."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

TICK, BLANK = "[ ]", "______"
BAR_MM = 100
Rows = list[tuple[str, ...]]


@dataclass(frozen=True)
class Title:
    text: str
    below: str
    kind: Literal["title"] = "title"


@dataclass(frozen=True)
class Heading:
    """`level` 1 or 2; a new page before it where the form has pages."""

    text: str
    level: int = 1
    new_page: bool = False
    kind: Literal["heading"] = "heading"


@dataclass(frozen=True)
class Para:
    text: str
    small: bool = False
    kind: Literal["para"] = "para"


@dataclass(frozen=True)
class Items:
    items: tuple[str, ...]
    kind: Literal["items"] = "items"


@dataclass(frozen=True)
class Table:
    """`widths` are shares of the line; cells that are TICK or BLANK are drawn. `large` is for what hands follow."""

    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    widths: tuple[int, ...]
    large: bool = False
    kind: Literal["table"] = "table"


@dataclass(frozen=True)
class Warn:
    title: str
    text: str
    kind: Literal["caution"] = "caution"


@dataclass(frozen=True)
class Bar:
    """A bar of true length to check a print by."""

    mm: int = BAR_MM
    kind: Literal["bar"] = "bar"


@dataclass(frozen=True)
class Drawing:
    svg: str
    described: str
    width_mm: float
    kind: Literal["drawing"] = "drawing"


Simple = Title | Heading | Para | Items | Table | Warn | Bar | Drawing


@dataclass(frozen=True)
class Group:
    """Blocks that stay on one page."""

    blocks: tuple[Simple, ...]
    kind: Literal["group"] = "group"


Block = Simple | Group
