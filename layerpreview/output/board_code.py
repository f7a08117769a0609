"""The short code in which a client's choice travels: board, option, whole coats, strengths and a check.

LP-K7QD2-B-3.4.2.1-100.110-5TZ9M2A: letters and digits that cannot be taken for each other (Crockford's base 32, no I,
L, O, U), so that it can be read out over the telephone. The check is CRC-32 over canonical JSON: it finds slips, not
forgery.
"""

from __future__ import annotations

import hashlib
import re
import unicodedata
import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from layerpreview.errors import InputError, Problem
from layerpreview.output.plain_json import json_line

DIGITS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
LETTERS = "ABCDEFGH"
TEXT_BEGINS = "layerpreview agreement 1"
TEXT_ENDS = "Check:"
_CODE = re.compile(
    r"\bLP-([0-9A-Z]{5})-([A-H])-(\d{1,2}(?:\.\d{1,2})*|0)-(\d{1,3}(?:\.\d{1,3})*|N)-([0-9A-Z]{7})\b", re.IGNORECASE
)
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
    found = _CODE.search("-".join(text.upper().split()) if "LP-" not in text.upper() else text)
    if found is None:
        remedy = "it looks like LP-K7QD2-B-3.4-100-5TZ9M2A; copy it whole"
        raise InputError(Problem("no code of a board is in it", remedy, field=source, value=_short(text)))
    board, option, coats, strengths, check = (part.upper() for part in found.groups())
    choice = Choice(_alike(board), option, _whole(coats), () if strengths == "N" else _whole(strengths))
    if choice.code.rsplit("-", 1)[1] != _alike(check):
        remedy = "a sign was mistyped; ask for the code again, best as copied text"
        raise InputError(Problem("its check does not fit the rest", remedy, field=source, value=found.group(0)))
    return choice


def read_agreement(text: str, *, source: str) -> Agreement:
    """The choice and note in a text that a board made, quoted or wrapped by mail or not.

    Raises InputError where the text was changed or is incomplete.
    """
    plain = normalised(text)
    start, end = plain.find(TEXT_BEGINS), plain.rfind(TEXT_ENDS)
    if start < 0 or end < start:
        if _CODE.search(plain):
            return Agreement(read_code(plain, source=source), "")
        remedy = f'it begins with "{TEXT_BEGINS}" and ends with "{TEXT_ENDS}" and seven signs; save all of it'
        raise InputError(Problem("this is no text of a board, or a part is missing", remedy, source))
    body = plain[start:end].rstrip()
    check = plain[end + len(TEXT_ENDS) :].split()[:1]
    if not check or crc_text(body) != _alike(check[0].upper()):
        remedy = "ask for it again, or go by the code alone"
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


def _whole(text: str) -> tuple[int, ...]:
    return tuple(int(part) for part in text.split("."))


def _base32(number: int, length: int) -> str:
    return "".join(DIGITS[number >> 5 * place & 31] for place in reversed(range(length)))


def _short(text: str) -> str:
    plain = "".join(sign if sign.isprintable() else " " for sign in text)
    return plain if len(plain) <= 60 else plain[:56] + " ..."
