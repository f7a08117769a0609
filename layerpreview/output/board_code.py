"""The short code in which a client's choice travels: board, option, whole coats, strengths and a check.

LP-K7QD2-B-3.4.2.1-100.110-5TZ9M2A: letters and digits that cannot be taken for each other (Crockford's base 32, no I,
L, O, U), so that it can be read out over the telephone. The check is CRC-32 over canonical JSON: it finds slips, not
forgery. What stands between letters and digits does not count when a code is read, since mails and hands change it:
dashes of any kind, dots, commas, blanks. Where the coats end and the strengths begin, the check tells then.
"""

from __future__ import annotations

import hashlib
import re
import unicodedata
import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import islice, takewhile
from typing import Any

from layerpreview.errors import InputError, Problem
from layerpreview.output.plain_json import json_line

DIGITS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
LETTERS = "ABCDEFGH"
TEXT_BEGINS = "layerpreview agreement 1"
TEXT_ENDS = "Check:"
BOARD_SIGNS, CHECK_SIGNS = 5, 7
_HEAD = re.compile(r"(?<![^\W_])[LI1]P(?=[\W_])", re.IGNORECASE)
_WORD = re.compile(r"[^\W_]+")
_TYPED_ALONE, _LONGEST_CODE, _MOST_HEADS = 200, 400, 100
_MOST_NUMBERS, _MOST_ALIKE = 40, 20
"""Numbers of a code, and parts of a text that look like one: more than there are, and few enough to try all."""
_BLANKS = re.compile("[ \t\r\n\u00a0]+")


@dataclass(frozen=True)
class Choice:
    """What was chosen: the board, the option's letter, whole coats per entry and strength per mix [% of proposed]."""

    board: str
    option: str
    coats: tuple[int, ...]
    strength_percent: tuple[int, ...]

    @property
    def code(self) -> str:
        """The code, its check included."""
        coats = ".".join(map(str, self.coats)) or "0"
        strengths = ".".join(map(str, self.strength_percent)) or "N"
        return f"LP-{self.board}-{self.option}-{coats}-{strengths}-{self._check}"

    @property
    def grouped(self) -> str:
        """The code in groups as it is read out; the page writes the same, and `read_code` takes it back.

        >>> Choice("K7QD2", "B", (3, 4, 2, 1), (100, 110)).grouped
        'LP · K7QD2 · B · 3 4 2 1 · 100 110 · 1ZNT HQ0'
        """
        head, board, option, coats, strengths, check = self.code.split("-")
        lists = (coats.replace(".", " "), strengths.replace(".", " "))
        return " · ".join([head, board, option, *lists, f"{check[:4]} {check[4:]}"])

    @property
    def _check(self) -> str:
        return crc_text(
            json_line(
                {
                    "board": self.board,
                    "coats": list(self.coats),
                    "option": self.option,
                    "strength_percent": list(self.strength_percent),
                },
                packed=True,
            )
        )


@dataclass(frozen=True)
class Agreement:
    """A choice and the client's note (empty where only a code was given)."""

    choice: Choice
    note: str


def crc_text(text: str) -> str:
    """CRC-32 (ISO-HDLC, as in zip files) of UTF-8 text, as seven digits of base 32.

    >>> crc_text("123456789")
    '35Z8E96'
    """
    return _base32(zlib.crc32(text.encode("utf-8")), 7)


def board_id(contents: Mapping[str, Any]) -> str:
    """Five digits that stand for everything on a board (SHA-256 over canonical JSON, cut short)."""
    digest = hashlib.sha256(json_line(contents, packed=True).encode("utf-8")).digest()
    return _base32(int.from_bytes(digest[:4], "big") & 0x1FFFFFF, 5)


def read_code(text: str, *, source: str = "the code") -> Choice:
    """The choice in a code, however it was typed. Raises InputError where it is no code or its check does not fit."""
    found = _found(text)
    if isinstance(found, Choice):
        return found
    if not found:
        remedy = "it looks like LP-K7QD2-B-3.4-100-5TZ9M2A; copy it whole"
        raise InputError(Problem("no code of a board is in it", remedy, field=source, value=_short(text)))
    remedy = "a sign was mistyped or is missing; ask for the code again, best as copied text"
    raise InputError(Problem("its check does not fit the rest", remedy, field=source, value=_short(found)))


def _found(text: str) -> Choice | str:
    """The choice in a text; else the part that looks like a code, though no check fits; "" where there is none."""
    plain = "".join(sign for sign in unicodedata.normalize("NFKC", text) if unicodedata.category(sign) != "Cf")
    heads = [(match.start(), match.end()) for match in islice(_HEAD.finditer(plain), _MOST_HEADS)]
    if not heads and len(plain) <= _TYPED_ALONE:  # LP was left out
        heads = [(match.start(), match.start()) for match in _WORD.finditer(plain)]
    slip, alike = "", 0
    for begin, head in heads:
        part = plain[head : head + _LONGEST_CODE]
        found = _choice_of([_alike(word) for word in _WORD.findall(part.upper())])
        if isinstance(found, Choice):
            return found
        slip = slip or (plain[begin : head + _LONGEST_CODE] if found else "")
        alike += found
        if alike == _MOST_ALIKE:
            break
    return slip


def _choice_of(words: Sequence[str]) -> Choice | bool:
    """The choice that these words begin with, as the check tells; else whether they look like one.

    The board's digits and the check may each come in pieces.
    """
    board, at = _joined(words, BOARD_SIGNS)
    if not board or at >= len(words) or words[at] not in LETTERS:
        return False
    option, rest = words[at], words[at + 1 :]
    numbers = list(islice(takewhile(_is_number, rest), _MOST_NUMBERS))
    for end in range(2, len(numbers) + 1):
        check, _ = _joined(rest[end:], CHECK_SIGNS)
        for middle in range(1, end) if check else ():
            strengths = _whole(numbers[middle:end])
            for coats in {_whole(numbers[:middle]), _none(numbers[:middle])}:
                choice = Choice(board, option, coats, strengths)
                if choice._check == check:
                    return choice
    return bool(numbers)


def _joined(words: Sequence[str], signs: int) -> tuple[str, int]:
    """As many words as make so many signs, and how many words that were; "" where they make more or fewer."""
    whole, count = "", 0
    while len(whole) < signs and count < len(words):
        whole, count = whole + words[count], count + 1
    return (whole, count) if len(whole) == signs else ("", count)


def _is_number(word: str) -> bool:
    return word == "N" or (word.isascii() and word.isdecimal() and len(word) <= 3)


def read_agreement(text: str, *, source: str) -> Agreement:
    """The choice and note in a text that a board made, quoted or wrapped by mail or not.

    Raises InputError where the text was changed or is incomplete.
    """
    plain = normalised(text)
    start, end = plain.find(TEXT_BEGINS), plain.rfind(TEXT_ENDS)
    if start < 0 or end < start:
        if _found(plain):
            return Agreement(read_code(plain, source=source), "")
        remedy = f'it begins with "{TEXT_BEGINS}" and ends with "{TEXT_ENDS}" and seven signs; save all of it'
        raise InputError(Problem("this is no text of a board, or a part is missing", remedy, source))
    body = plain[start:end].rstrip()
    check = plain[end + len(TEXT_ENDS) :].split()[:1]
    if not check or crc_text(body) != _alike(check[0].upper()):
        found = _found(body)
        remedy = "ask for it again"
        remedy += f", or go by the code alone, which is whole: {found.code}" if isinstance(found, Choice) else ""
        raise InputError(
            Problem("the text was changed after the board made it: its check does not fit", remedy, source)
        )
    note = re.search(r" Note: (.*) Code: ", body)
    code = body[body.rfind(" Code: ") :]
    return Agreement(read_code(code, source=source), note.group(1) if note else "")


def normalised(text: str) -> str:
    """Text without what mail does to it: quote marks, line ends, wraps and doubled blanks. The page does the same."""
    lines = re.split("\r\n|\r|\n", unicodedata.normalize("NFC", text.removeprefix("\ufeff")))
    joined = " ".join(re.sub("^[> \t]+", "", line) for line in lines)
    return _BLANKS.sub(" ", joined).strip(" ")


def _alike(text: str) -> str:
    return text.replace("O", "0").replace("I", "1").replace("L", "1")


def _whole(words: Sequence[str]) -> tuple[int, ...]:
    """The numbers of a list; N stands for a list of none."""
    return tuple(int(word) for word in words if word != "N")


def _none(coats: Sequence[str]) -> tuple[int, ...]:
    """A list of coats where 0 alone may stand for none at all."""
    return () if list(coats) == ["0"] else _whole(coats)


def _base32(number: int, length: int) -> str:
    return "".join(DIGITS[number >> 5 * place & 31] for place in reversed(range(length)))


def _short(text: str) -> str:
    plain = "".join(sign if sign.isprintable() else " " for sign in text)
    return plain if len(plain) <= 60 else plain[:56] + " ..."
