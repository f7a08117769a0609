"""On which line of a TOML file each key stands, and from which sign to which.

A small scanner of text that `tomllib` has accepted already. (The usual round-trip library loses the order of tables
that are written apart, such as two ``[[coat]]`` with ``[clear]`` between them, and with it their lines.)
"""

from __future__ import annotations

import re
from bisect import bisect
from dataclasses import dataclass, field

Path = tuple[str | int, ...]

_BLANK = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_SPACE = re.compile(r"[ \t]*")
_STRING = re.compile(
    r'"""(?:[^\\]|\\.)*?"{3,5}'
    r"|'''.*?'{3,5}"
    r'|"(?:[^"\\\n]|\\.)*"'
    r"|'[^'\n]*'",
    re.DOTALL,
)
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_BARE_VALUE = re.compile(r"[^,\]}#\n]*")


@dataclass(frozen=True)
class Span:
    """Where a value stands: its key or, in a list, the item from `start`, the value from `value` to `end`.

    `within`: of a value inside a list or an inline table, the path of that; None where it has lines of its own.
    """

    start: int
    value: int
    end: int
    within: Path | None


@dataclass(frozen=True)
class Written:
    """The headings of a text in their order, each with the path it opens and where its line starts and ends; and every
    value by its path."""

    heads: list[tuple[Path, int, int]] = field(default_factory=list)
    spans: dict[Path, Span] = field(default_factory=dict)


def written_in(text: str) -> Written:
    """Return where the headings and values of a TOML text stand; items of lists count from 0.

    >>> written_in('[[coat]]\\nmix = "x"\\n').spans[("coat", 0, "mix")]
    Span(start=9, value=15, end=18, within=None)
    """
    scanner = _Scanner(text)
    scanner.run()
    return scanner.written


def line_of_each(text: str) -> dict[Path, int]:
    """Return the line [from 1] of every table, key and list item, by path; items of lists count from 0.

    >>> line_of_each('a = 1\\n[[coat]]\\nmix = "x"\\n')[("coat", 0, "mix")]
    3
    """
    return _Scanner(text).run()


class _Scanner:
    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.lines: dict[Path, int] = {}
        self.counts: dict[Path, int] = {}
        self.written = Written()
        self.ends = [sign.start() for sign in re.finditer("\n", text)]

    def run(self) -> dict[Path, int]:
        table: Path = ()
        self.skip(_BLANK)
        while self.at < len(self.text):
            if self.text[self.at] == "[":
                start = self.at
                table = self.header()
                self.written.heads.append((table, start, self.at))
            else:
                self.key_value(table)
            self.skip(_BLANK)
        return self.lines

    def skip(self, pattern: re.Pattern[str]) -> str:
        match = pattern.match(self.text, self.at)
        if match is None:
            return ""
        self.at = match.end()
        return match[0]

    def mark(self, path: Path) -> None:
        self.lines.setdefault(path, bisect(self.ends, self.at - 1) + 1)

    def keys(self) -> list[str]:
        """Read a dotted key, quoted parts included."""
        found: list[str] = []
        while True:
            self.skip(_SPACE)
            quoted = self.skip(_STRING)
            found.append(_unquoted(quoted) if quoted else self.skip(_BARE_KEY))
            self.skip(_SPACE)
            if self.text[self.at : self.at + 1] != ".":
                return found
            self.at += 1

    def header(self) -> Path:
        line_start = self.at
        several = self.text.startswith("[[", self.at)
        self.at += 2 if several else 1
        path: Path = ()
        names = self.keys()
        for place, name in enumerate(names):
            path += (name,)
            if several and place == len(names) - 1:
                self.counts[path] = self.counts.get(path, 0) + 1
            after, self.at = self.at, line_start
            self.mark(path)
            if path in self.counts:  # a list of tables: the last one so far is meant
                path += (self.counts[path] - 1,)
                self.mark(path)
            self.at = after
        self.at += 2 if several else 1
        return path

    def key_value(self, table: Path, within: Path | None = None) -> None:
        self.skip(_BLANK)
        start = self.at
        path = table
        names = self.keys()
        after, self.at = self.at, start
        for name in names:
            path += (name,)
            self.mark(path)
        self.at = after + 1  # the equals sign
        self.value(path, start, within)

    def value(self, path: Path, start: int, within: Path | None) -> None:
        self.skip(_SPACE)
        value = self.at
        sign = self.text[self.at : self.at + 1]
        if sign in ("[", "{"):
            self.at += 1
            self.inside(path, "]" if sign == "[" else "}")
        elif not self.skip(_STRING):
            self.skip(_BARE_VALUE)
        end = value + len(self.text[value : self.at].rstrip())
        self.written.spans[path] = Span(start, value, end, within)

    def inside(self, path: Path, end: str) -> None:
        """Read the items of a list or of an inline table up to its end."""
        place = 0
        self.skip(_BLANK)
        while self.at < len(self.text) and self.text[self.at] != end:
            if end == "]":
                self.mark((*path, place))
                self.value((*path, place), self.at, path)
            else:
                self.key_value(path, path)
            place += 1
            self.skip(_BLANK)
            if self.text[self.at : self.at + 1] == ",":
                self.at += 1
                self.skip(_BLANK)
        self.at += 1


def _unquoted(key: str) -> str:
    import tomllib

    return next(iter(tomllib.loads(f"{key} = 0")))
