"""What the painter lets the client move on a board: "honey coats 1 to 5", "coat 3 coats 1 to 4", "lock strength"."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from layerpreview.errors import InputError, Problem
from layerpreview.output.board_code import LETTERS
from layerpreview.scheme import DyeCoat, Scheme

What = Literal["coats", "strength"]
ENDS: dict[What, tuple[int, int]] = {"coats": (0, 60), "strength": (25, 200)}
"""Between which numbers a painter may let a client choose: whole coats, and strength [% of proposed]."""
_EXAMPLES = 'write for example "honey coats 1 to 5", "coat 3 coats 1 to 4", "strength 80 to 120 %" or "lock honey"'
_OPTION = re.compile(r"option ([A-H])[: ] ?(.+)", re.IGNORECASE)
_RANGE = re.compile(r"(?:(.+) )?(coats|strength) (\d{1,3}) ?%? ?(?:to|-|\.\.) ?(\d{1,3}) ?%?", re.IGNORECASE)
_ENTRY = re.compile(r"(?:(.+) )?coat (\d{1,2})", re.IGNORECASE)


@dataclass(frozen=True)
class Allowed:
    """What the painter allows: coats or strength [%] from `low` to `high`; both None: as proposed.

    `who`: a mix or the name of a coat, `entry`: one coat [from 1], `option`: the letter of one scheme. Where none of
    them is said, it is about every dye.
    """

    what: What
    low: int | None
    high: int | None
    who: str | None = None
    entry: int | None = None
    option: str | None = None

    @property
    def rank(self) -> tuple[bool, bool, bool]:
        """What is said of one coat counts before what is said of a name, and that before what is said of all."""
        return (self.entry is not None, self.who is not None, self.option is not None)

    def is_about(self, scheme: Scheme, index: int, *, letter: str) -> bool:
        """Whether it is said of this coat of the scheme; what is said of all is said of dyes alone."""
        coat = scheme.coats[index]
        if self.option not in (None, letter) or self.entry not in (None, index + 1):
            return False
        if self.who is not None:
            return _alike(coat.label, self.who)
        return self.entry is not None or isinstance(coat, DyeCoat)

    def ends(self, proposed: int) -> tuple[int, int]:
        """The smallest and the largest number."""
        return (proposed if self.low is None else self.low, proposed if self.high is None else self.high)

    def __str__(self) -> str:
        """Return it as it could be typed."""
        option = f"option {self.option}" if self.option else ""
        entry = f"coat {self.entry}" if self.entry else ""
        ends = "" if self.low is None else f"{self.low} to {self.high}"
        lock = "" if ends else "lock"
        return " ".join(filter(None, (option, lock, self.who, entry, self.what, ends)))


class _RefusedError(Exception):
    def __init__(self, rule: str, remedy: str = _EXAMPLES) -> None:
        super().__init__(rule)
        self.rule, self.remedy = rule, remedy


def read_allowed(texts: Sequence[str], schemes: Sequence[Scheme]) -> list[Allowed]:
    """What `--allow` texts say, what counts most last. Raises InputError listing every one that cannot be used.

    >>> print(*read_allowed(["lock honey coats", "strength 80..120 %"], []), sep=", ")
    strength 80 to 120, lock honey coats
    """
    found: list[Allowed] = []
    problems = []
    for text in texts:
        try:
            found += _read(" ".join(re.sub("[\u2010-\u2015\u2212]", "-", text).split()), schemes)
        except _RefusedError as refused:
            problems.append(Problem(refused.rule, refused.remedy, field="--allow", value=text))
    if problems:
        raise InputError(problems)
    return sorted(found, key=lambda one: one.rank)


def _read(text: str, schemes: Sequence[Scheme]) -> list[Allowed]:
    option = None
    if match := _OPTION.fullmatch(text):
        option, text = match[1].upper(), match[2]
        if schemes and option not in LETTERS[: len(schemes)]:
            raise _RefusedError(f"this board has no option {option}", f"its options: {there_is(schemes)}")
    if text.lower().startswith("lock "):
        who, whats = _locked(text[len("lock ") :], schemes)
        low = high = None
    elif match := _RANGE.fullmatch(text):
        who, whats = match[1], (_what(match[2]),)
        low, high = int(match[3]), int(match[4])
        least, most = ENDS[whats[0]]
        if not least <= low <= high <= most:
            goes = "coats go" if whats[0] == "coats" else "strength goes"
            raise _RefusedError(f"{goes} from {least} to {most}, the smaller number first")
    else:
        raise _RefusedError("this is not understood")
    name, entry = _name_and_entry(who, schemes)
    said = [Allowed(what, low, high, name, entry, option) for what in whats]
    if name is not None or entry is not None:
        _check_there(said[0], schemes)
    # "lock coat 4" fixes its coats alone: a strength is the mix's in all its coats.
    return [one for one in said if len(said) == 1 or one.what == "coats" or entry is None]


def _locked(rest: str, schemes: Sequence[Scheme]) -> tuple[str | None, tuple[What, ...]]:
    """What is locked, and whether its coats, its strength, or both are."""
    who, _, last = rest.rpartition(" ")
    if last.lower() in ENDS and not _is_name(rest, schemes):
        return who or None, (_what(last),)
    return rest, ("coats", "strength")


def _what(word: str) -> What:
    return "coats" if word.lower() == "coats" else "strength"


def _name_and_entry(who: str | None, schemes: Sequence[Scheme]) -> tuple[str | None, int | None]:
    match = None if who is None or _is_name(who, schemes) else _ENTRY.fullmatch(who)
    return (match[1], int(match[2])) if match else (who, None)


def _check_there(one: Allowed, schemes: Sequence[Scheme]) -> None:
    """Raises _RefusedError for what is in no scheme, or is there and cannot move."""
    meant = [
        (scheme, i)
        for letter, scheme in zip(LETTERS, schemes, strict=False)
        for i in range(len(scheme.coats))
        if one.is_about(scheme, i, letter=letter)
    ]
    if schemes and not meant:
        name = " ".join(filter(None, (one.who, "" if one.entry is None else f"coat {one.entry}")))
        raise _RefusedError(f"no coat here is {name}", f"there is: {there_is(schemes)}")
    if one.what == "strength" and one.low is not None:
        if one.entry is not None:
            raise _RefusedError("strength is that of a mix in all its coats", "name the mix instead of the coat")
        if meant and not any(isinstance(scheme.coats[i], DyeCoat) for scheme, i in meant):
            raise _RefusedError(f"{one.who} is no dye and has no strength", "give its coats, or leave it out")
    if one.what == "coats" and one.low is not None and meant and all(s.place_of(i).ring is not None for s, i in meant):
        raise _RefusedError("rings told in one line stay as they are", "write them as coats of their own")


def there_is(schemes: Sequence[Scheme]) -> str:
    """What the schemes spray, each coat by its name and by its number."""
    told = []
    for letter, scheme in zip(LETTERS, schemes, strict=False):
        numbers: dict[str, list[int]] = {}
        for i, coat in enumerate(scheme.coats, start=1):
            numbers.setdefault(coat.label, []).append(i)
        names = ", ".join(f"{name} ({' and '.join(f'coat {i}' for i in at)})" for name, at in numbers.items())
        told.append(f"option {letter} {names or 'nothing'}" if len(schemes) > 1 else names or "nothing")
    return "; ".join(told)


def _is_name(text: str, schemes: Sequence[Scheme]) -> bool:
    return any(_alike(coat.label, text) for scheme in schemes for coat in scheme.coats)


def _alike(label: str, text: str) -> bool:
    return " ".join(label.split()).casefold() == text.casefold()
