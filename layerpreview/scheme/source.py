"""From a file on disk to TOML tables: missing, unreadable and ill-formed files told in one clear line; and back."""

from __future__ import annotations

import json
import re
import tomllib
from os import PathLike
from pathlib import Path
from typing import Any

from layerpreview.errors import Problem, SchemeError
from layerpreview.scheme.fields import did_you_mean
from layerpreview.scheme.report import Report

LARGEST_FILE = 1_000_000  # bytes; a scheme is a few kilobytes
DEEPEST = 100  # brackets left open; a scheme needs four, remarks may hold some
MOST_KEYS = 3_000  # keys and headings, remarks' included; a scheme has a hundred or two
MOST_ITEMS = 50_000  # commas; a spectrum has a few hundred
_MOST_PARTS = 12  # of a dotted name: what reads TOML takes time by the square of them
_PART = r"""(?:[\w-]++|"[^"\n]*+"|'[^'\n]*+')"""
_LONG_NAME = re.compile(rf"(?<![\w-]){_PART}(?:[ \t]*+\.[ \t]*+{_PART}){{{_MOST_PARTS}}}")
_KEY = re.compile(r"=+|^[ \t]*\[+", re.MULTILINE)


def open_toml(path: str | PathLike[str], *, what: str = "scheme") -> Report:
    """Return the file's tables with an empty list of problems.

    Raises SchemeError with one problem when there is no such file, or it is a folder, too big, not text or not TOML.
    """
    shown = _shown(path)
    return toml_in(_read(Path(path), shown, what), shown, what=what)


def toml_in(text: str, name: str | PathLike[str], *, what: str = "scheme") -> Report:
    """Return the tables in `text` as those of a file called `name`. Raises SchemeError where it is not TOML."""
    shown = _shown(name)
    if too_much := _too_much(text, shown, what):
        raise SchemeError(too_much)
    try:
        raw: dict[str, Any] = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise SchemeError(_syntax_problem(text, str(error), shown, what)) from None
    except (RecursionError, ValueError):  # a number of thousands of digits, a day that is not in the calendar
        raise SchemeError(
            Problem("this cannot be read as TOML", "look for overlong numbers and names", shown)
        ) from None
    return Report(shown, text, raw)


def toml_string(text: str) -> str:
    """Return a text as TOML writes it, quoted and on one line; signs that cannot be printed become blanks.

    >>> print(toml_string('13" wide'))
    "13\\" wide"
    """
    return json.dumps("".join(sign if sign.isprintable() else " " for sign in text), ensure_ascii=False)


def _read(path: Path, shown: str, what: str) -> str:
    try:
        path.name.encode("utf-8")  # what is written about it names it
        if path.is_dir():
            raise SchemeError(Problem(f"this is a folder, a {what} file is wanted", _files_in(path), shown))
        if not path.exists():
            raise SchemeError(Problem("there is no such file", close_by(path), shown))
        if not path.is_file() or path.stat().st_size > LARGEST_FILE:
            raise SchemeError(Problem(f"this is no {what} file, or over 1 MB", "is this the right file?", shown))
        data = path.read_bytes()
    except SchemeError:
        raise
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "its name cannot be used"
        raise SchemeError(
            Problem(f"the file cannot be read: {reason}", "check its name and who may read it", shown)
        ) from None
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        remedy = f'is this the right file? If so, save it again with the encoding "UTF-8" (a {what} is plain text)'
        raise SchemeError(Problem("this is not text saved as UTF-8", remedy, shown, line)) from None
    if "\0" in text:
        raise SchemeError(Problem("this is not a text file", f"a {what} is a text file that ends in .toml", shown))
    return plain_line_ends(text)


def plain_line_ends(text: str) -> str:
    """Text with the line ends of every system made one, so that texts can be compared."""
    return text.replace("\r\n", "\n").replace("\r", "\n")


def _shown(path: str | PathLike[str]) -> str:
    return "".join(sign if sign.isprintable() else "?" for sign in str(path))


def _files_in(folder: Path) -> str:
    found = sorted(entry.name for entry in folder.glob("*.toml"))
    return f"name a file in it, for example {found[0]}" if found else "name the file itself"


def close_by(path: Path) -> str:
    """Return what to do about a file that is not there: a name like it in the same folder, if there is one."""
    try:
        names = sorted(entry.name for entry in path.parent.iterdir())
    except (OSError, ValueError):
        names = []
    return did_you_mean(path.name, names) or "check the name and the folder"


def _too_much(text: str, shown: str, what: str) -> Problem | None:
    """What would take minutes or gigabytes to read, told before it is read; in one go over the text."""
    few = f"a {what} needs no more than a few"
    if _depth(text) > DEEPEST:
        return Problem("brackets are nested too deep", few, shown)
    if long := _LONG_NAME.search(text):
        line = text.count("\n", 0, long.start()) + 1
        return Problem(f"a name of more than {_MOST_PARTS} parts with dots between", few, shown, line)
    for number, key in enumerate(_KEY.finditer(text)):
        if number >= MOST_KEYS:
            line = text.count("\n", 0, key.start()) + 1
            return Problem(f"more than {MOST_KEYS:,} keys and headings", f"is this a {what} file?", shown, line)
    if text.count(",") > MOST_ITEMS:
        return Problem(
            f"more than {MOST_ITEMS:,} commas", f"is this a {what} file? Leave out what is not needed", shown
        )
    return None


def _depth(text: str) -> int:
    deepest = now = 0
    for sign in re.findall(r"[\[\]{}]", text):
        now = now + 1 if sign in "[{" else max(0, now - 1)
        deepest = max(deepest, now)
    return deepest


def _syntax_problem(text: str, message: str, shown: str, what: str) -> Problem:
    place = re.search(r" \(at (?:line (\d+), column \d+|end of document)\)", message)
    lines = text.rstrip().split("\n")
    number = min(int(place[1]), len(lines)) if place and place[1] else len(lines)
    line = " ".join(lines[number - 1].split())
    reason = message[: place.start()] if place else message
    rule, remedy = _hint(line, reason)
    if what != "scheme":
        remedy = remedy.replace("the starter scheme", "one that works")
    key, equals, value = line.partition("=")
    if not equals or not key.strip():
        key, value = line, ""
    return Problem(rule, remedy, shown, number, _short(key.strip()), _short(value.strip()))


def _short(text: str) -> str:
    printable = "".join(sign for sign in text if sign.isprintable())
    return printable if len(printable) <= 60 else printable[:56] + " ..."


_UNQUOTED = re.compile(
    r"""=\s*([+-]?\d[\d.,/ -]*(?:[A-Za-zµμ%°][A-Za-z/%° ]*+|["'′″])|[+-]?\d+,\d+(?=\s*(?:$|[}#])))(?!\s*=)"""
)
_NUMBERS = frozenset(("coats", "seed", "cut_back_seed", "hiding"))
_BARE = re.compile("[A-Za-z0-9_.-]*")
_TABLE_NAME = re.compile(r"\[([a-z_]+)\.([^\]'\[]+)\]")
_KEY_OF_LINE = re.compile(r"(^|[{,])\s*([^={},'\[\]]+?)\s*=")
_IN_WORDS = {
    "one": 1,
    "two": 2,
    "three": 3,
    "four": 4,
    "five": 5,
    "six": 6,
    "seven": 7,
    "eight": 8,
    "nine": 9,
    "ten": 10,
}
_WORD = re.compile(r"=\s*([A-Za-z][\w -]*)")


def _hint(line: str, reason: str) -> tuple[str, str]:
    """Say what is wrong with a line in terms of the usual slips; `reason` is what the TOML reader found."""
    outside = re.sub(r"'[^']*'|\"[^\"]*\"", "''", line).split(" #")[0]
    if re.search("[“”„‘’«»]", line):
        return "curly quotes are not quotes here", 'use straight ones: "..."'
    if re.search(r'"[^"]*\\', line):
        remedy = "write / between folders, or single quotes around the path: 'C:\\photos\\base.jpg'"
        return "a backslash inside double quotes means something else", remedy
    if re.search("overwrite|declare|twice|mutate|extend|expand", reason):
        if line.startswith("[") and line.strip("[] ") in ("face", "coat", "face.opening", "face.zone", "coat.burst"):
            return (
                "there can be several of these, so the brackets are double",
                f"write [[{line.strip('[] ')}]] each time",
            )
        return "this is here a second time", "keep one of them"
    if slip := _UNQUOTED.search(outside):
        if comma := re.fullmatch(r"([+-]?\d+),(\d+)", slip[1].strip()):
            key = re.split(r"[{,]", outside[: slip.start()])[-1].strip()
            return "a decimal comma is written as a point here", f"write {key} = {comma[1]}.{comma[2]}"
        return "a value with a unit or a comma goes in quotes", f'write "{slip[1].strip().replace(chr(34), " in")}"'
    if re.search(r"=\s*#[0-9a-fA-F]{3}", line):
        return "a colour goes in quotes", 'write for example "#120d0b"'
    if slip := _WORD.search(outside):
        word = slip[1].strip()
        if word.lower() in ("true", "false"):
            return "true and false are written small", f"write {word.lower()}"
        key = re.split(r"[{,]", outside[: slip.start()])[-1].strip()
        if key in _NUMBERS:
            figure = _IN_WORDS.get(word.lower())
            return "a number is written in figures", f"write {'' if figure else 'for example '}{key} = {figure or 3}"
        return "a text goes in quotes", f'write "{word}"'
    if (name := _TABLE_NAME.match(outside)) and not _BARE.fullmatch(name[2].strip()):
        return "a name with blanks or such letters goes in quotes", f'write [{name[1]}."{name[2].strip()}"]'
    for name in _KEY_OF_LINE.finditer(outside):
        inside = name[1] in ("{", ",")
        if (inside or not name[2].isascii()) and not _BARE.fullmatch(name[2].strip()):
            where = " in the braces" if inside else ""
            return f"a name with blanks or such letters goes in quotes{where}", f'write "{name[2].strip()}" ='
    if outside.startswith("[") and "]" not in outside:
        return "the name of a table ends with a bracket", f"write {outside}]"
    if re.match(r"[\w-]+( [\w-]+)+ ?=", outside):
        return "a name has no spaces", f"write {'_'.join(outside.partition('=')[0].split())}"
    if outside.count('"') % 2 or outside.count("'") % 2:
        return (
            "a quote is opened and not closed, or closed and not opened",
            'put the text between two straight quotes: "..."',
        )
    if "nclosed" in reason:
        return "a bracket is not closed, or a comma is missing before this", "compare with the starter scheme"
    if outside and "=" not in outside and not outside.startswith("["):
        return "a line is: name = value", "put an = between them, or # before a remark"
    remedy = (
        "write name = value, a text or an amount in straight quotes, as in the scheme that layerpreview start writes"
    )
    return "this line is not TOML", remedy
