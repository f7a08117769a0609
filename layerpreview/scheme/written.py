"""A scheme's text with one value, table or list entry of it changed: every sign that the change does not touch stays.

It works on the places that `locate` finds, so that remarks, order, blanks and line ends remain as they were written. A
table or list entry goes together with the remarks that stand directly above its heading.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import Any

from layerpreview.errors import InputError, Problem
from layerpreview.scheme.locate import Path, Span, written_in
from layerpreview.scheme.report import as_path
from layerpreview.scheme.source import toml_string

_REMARKS_ABOVE = re.compile(r"(?:^[ \t]*#[^\n]*\n)+\Z", re.MULTILINE)
_BLANK_LINES = re.compile(r"(?:[ \t]*\r?\n)*")
_MOST_DIGITS = 17


def as_written(value: Any) -> str:
    """Return a plain value as a person writes it in TOML. Raises InputError for what TOML does not have.

    >>> print(as_written({"from": "outline", "width": "75 mm", "centre": 0.1}))
    { from = "outline", width = "75 mm", centre = 0.1 }
    """
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return toml_string(value)
    if isinstance(value, int) and len(str(abs(value))) <= _MOST_DIGITS:
        return str(value)
    if isinstance(value, float) and math.isfinite(value):
        return repr(value)
    if isinstance(value, Mapping):
        inner = ", ".join(f"{_key(key)} = {as_written(item)}" for key, item in value.items())
        return f"{{ {inner} }}" if inner else "{}"
    if isinstance(value, list | tuple):
        return f"[{', '.join(as_written(item) for item in value)}]"
    raise InputError(Problem("this is no value that a scheme can hold", "a text, a number, true, false or a list"))


class Text:
    """A TOML text to change, and where everything in it stands; each method returns the new text."""

    def __init__(self, text: str) -> None:
        self.text = text
        found = written_in(text)
        self.heads, self.spans = found.heads, found.spans
        self.line_end = "\r\n" if "\r\n" in text else "\n"

    def has(self, at: Path) -> bool:
        """Whether there is a value, a table or an entry at a path."""
        return bool(at in self.spans or self._under(at) or self._heads_of(at))

    def with_value(self, at: Path, value: Any) -> str:
        """The text with `value` at a path, in the place of what is there, else below the rest of its table."""
        span = self.spans.get(at)
        if span is not None:
            return self._put(span.value, span.end, as_written(value))
        if self._under(at) or self._heads_of(at):
            return Text(self.without(at)).with_value(at, value)
        parent, key = at[:-1], at[-1]
        if isinstance(key, int):
            raise _nothing(at)
        if (owner := self.spans.get(parent)) is not None and self.text[owner.value] == "{":
            return self._with_item(parent, f"{_key(key)} = {as_written(value)}", len(self._items(parent)))
        if isinstance(value, Mapping) and len(at) <= 2 and not (parent and self._under(parent)):
            return self._with_block(at, value, several=False)
        if not parent or self._heads_at(parent):
            return self._with_line(parent, as_path((key,)), value)
        if same := self._under(parent):
            table = max((path for path, *_ in self.heads if parent[: len(path)] == path), key=len, default=())
            return self._with_line(table, as_path((*parent[len(table) :], key)), value, after=same[-1])
        return self.with_value(parent, {str(key): value})

    def with_lines(self, at: Path, values: Mapping[str, Any]) -> str:
        """The text with other keys and values, a line each, in the place of the one at a path."""
        span = self.spans[at]
        indent = self.text[self._line_start(span.start) : span.start]
        lines = [f"{_key(key)} = {as_written(value)}" for key, value in values.items()]
        return self._put(span.start, span.end, (self.line_end + indent).join(lines))

    def without(self, at: Path) -> str:
        """The text without the value, table or list entry at a path. Raises InputError where there is none."""
        span = self.spans.get(at)
        if span is not None and span.within is not None:
            return self._without_item(span)
        gone = [self._lines(one) for one in ([span] if span else self._under(at))]
        gone += [self._chunk(number, with_blanks=True) for number in self._heads_of(at)]
        if not gone:
            raise _nothing(at)
        text = self.text
        for start, end in sorted(gone, reverse=True):
            text = text[:start] + text[end:]
        return text

    def moved(self, at: Path, to: int) -> str:
        """The text with the list entry at a path in the place of the one numbered `to`; those between move up."""
        if not self.text.endswith("\n"):
            return Text(self.text + self.line_end).moved(at, to)
        entries = self._entries(at[:-1])
        if not (isinstance(at[-1], int) and 0 <= at[-1] < len(entries) and 0 <= to < len(entries)):
            raise _nothing(at if isinstance(at[-1], int) and at[-1] >= len(entries) else (*at[:-1], to))
        order = list(range(len(entries)))
        order.insert(to, order.pop(at[-1]))
        pieces, last = [], 0
        for (start, end), taken in zip(entries, order, strict=True):
            pieces += [self.text[last:start], self.text[slice(*entries[taken])]]
            last = end
        return "".join([*pieces, self.text[last:]])

    def with_entry(self, at: Path, value: Mapping[str, Any], index: int) -> str:
        """The text with one more entry, as number `index`, in the list at a path."""
        entries = self._entries(at)
        if not 0 <= index <= len(entries):
            raise _nothing((*at, index))
        span = self.spans.get(at)
        if span is None:
            return self._with_block(at, value, several=True, before=entries[index : index + 1], after=entries[-1:])
        if self.text[span.value] == "[":
            return self._with_item(at, as_written(value), index)
        one = self.text[span.value : span.end]  # a single table where a list of them may stand
        both = [one, as_written(value)] if index else [as_written(value), one]
        return self._put(span.value, span.end, f"[{', '.join(both)}]")

    def count(self, at: Path) -> int:
        """How many entries the list at a path has."""
        return len(self._entries(at))

    def _entries(self, at: Path) -> list[tuple[int, int]]:
        """From where to where each entry of a list stands, remarks above its heading included."""
        span = self.spans.get(at)
        if span is not None:
            if self.text[span.value] == "{":
                return [(span.value, span.end)]
            return [(item.start, item.end) for item in self._items(at)]
        found = []
        for number in range(sum(path[:-1] == at and isinstance(path[-1], int) for path, *_ in self.heads if path)):
            own = self._heads_of((*at, number))
            if own != list(range(own[0], own[-1] + 1)):
                rule = "parts of this stand far apart in the file"
                raise InputError(Problem(rule, "bring them together in the file first", field=as_path((*at, number))))
            found.append((self._chunk(own[0])[0], self._chunk(own[-1])[1]))
        return found

    def _put(self, start: int, end: int, piece: str) -> str:
        return self.text[:start] + piece + self.text[end:]

    def _under(self, at: Path) -> list[Span]:
        """The values that dotted keys on lines of their own put below a path, no heading between."""
        headed = {path for path, *_ in self.heads if path[: len(at)] == at}
        inside = [(path, span) for path, span in self.spans.items() if len(path) > len(at) and path[: len(at)] == at]
        return [
            span
            for path, span in inside
            if span.within is None and not any(path[: len(head)] == head for head in headed)
        ]

    def _heads_at(self, at: Path) -> list[int]:
        return [number for number, (path, *_) in enumerate(self.heads) if path == at]

    def _heads_of(self, at: Path) -> list[int]:
        """The headings of a table or entry and of all that is below it."""
        return [number for number, (path, *_) in enumerate(self.heads) if path[: len(at)] == at]

    def _items(self, at: Path) -> list[Span]:
        return [span for span in self.spans.values() if span.within == at]

    def _line_start(self, at: int) -> int:
        return self.text.rfind("\n", 0, at) + 1

    def _line_end(self, at: int) -> int:
        end = self.text.find("\n", at)
        return len(self.text) if end < 0 else end + 1

    def _lines(self, span: Span) -> tuple[int, int]:
        return self._line_start(span.start), self._line_end(span.end)

    def _own(self, number: int | None) -> list[Span]:
        """The values on lines below a heading (None: above the first one), in their order."""
        start = 0 if number is None else self.heads[number][2]
        following = 0 if number is None else number + 1
        end = self.heads[following][1] if following < len(self.heads) else len(self.text)
        return [span for span in self.spans.values() if span.within is None and start <= span.start < end]

    def _chunk(self, number: int, *, with_blanks: bool = False) -> tuple[int, int]:
        """From the remarks directly above a heading to the end of its last value; or of the blank lines after it."""
        _, start, head_end = self.heads[number]
        first = self._line_start(start)
        if above := _REMARKS_ABOVE.search(self.text[:first]):
            first = above.start()
        end = self._line_end(max([head_end, *(span.end for span in self._own(number))]))
        blanks = _BLANK_LINES.match(self.text, end) if with_blanks else None
        return first, blanks.end() if blanks else end

    def _line_after(self, at: int, line: str, *, gap: bool = False) -> str:
        """The text with `line` at `at`, where a line begins or the text ends; `gap`: with a blank line above it."""
        before, after = self.text[:at], self.text[at:]
        if before and not before.endswith("\n"):
            before += self.line_end
        blank = self.line_end if gap and before and not before.endswith(("\n\n", "\n\r\n")) else ""
        return before + blank + line + self.line_end + after

    def _with_line(self, table: Path, key: str, value: Any, after: Span | None = None) -> str:
        number = self._heads_at(table)[0] if table else None
        own = self._own(number)
        last = after or (own[-1] if own else None)
        like = last.start if last else self.heads[number][1] if number is not None else 0
        indent = re.match(r"[ \t]*", self.text[self._line_start(like) :])
        line = f"{indent[0] if indent else ''}{key} = {as_written(value)}"
        at = self._line_end(last.end) if last else self._line_end(self.heads[number][2]) if number is not None else 0
        return self._line_after(at, line)

    def _with_block(
        self,
        at: Path,
        value: Mapping[str, Any],
        *,
        several: bool,
        before: Sequence[tuple[int, int]] = (),
        after: Sequence[tuple[int, int]] = (),
    ) -> str:
        """The text with a new table or list entry: before another, after the last of its kind, or at the end."""
        like = self._heads_at((*at, 0)) if several else []
        start = self.heads[like[0]][1] if like else 0
        indent = self.text[self._line_start(start) : start] if like else "  " * sum(isinstance(s, int) for s in at)
        name = as_path(at, plain=True)
        head = f"[[{name}]]" if several else f"[{name}]"
        lines = [head, *(f"{_key(key)} = {as_written(item)}" for key, item in value.items())]
        block = self.line_end.join(indent + line for line in lines)
        if before:
            place = before[0][0]
            return self.text[:place] + block + 2 * self.line_end + self.text[place:]
        near = after or [self._chunk(number) for number in self._heads_of(at[:-1])[-1:] if len(at) > 1]
        near = near or [self._chunk(number) for number in self._heads_of(at[:1])[-1:]]
        end = near[-1][1] if near else len(self.text)
        return self._line_after(end, block, gap=True)

    def _with_item(self, at: Path, item: str, index: int) -> str:
        """The text with one more item in a list or an inline table."""
        items, span = self._items(at), self.spans[at]
        if not items:
            edges = (" ", " ") if self.text[span.value] == "{" else ("", "")
            return self._put(span.value + 1, span.end - 1, item.join(edges))
        if index < len(items):
            return self._put(items[index].start, items[index].start, f"{item}, ")
        return self._put(items[-1].end, items[-1].end, f", {item}")

    def _without_item(self, span: Span) -> str:
        assert span.within is not None
        items = self._items(span.within)
        for last, this in pairwise(items):
            if this == span:
                return self._put(last.end, this.end, "")
        return self._put(span.start, items[1].start if len(items) > 1 else span.end, "")


def _key(name: object) -> str:
    return as_path((str(name),)) if str(name) else json.dumps("")


def _nothing(at: Path) -> InputError:
    return InputError(Problem("there is no such place in the scheme", "look at it again", field=as_path(at)))
