"""The board's words in several languages, and where a coat goes in a client's words."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime, tzinfo
from importlib import resources
from pathlib import Path
from typing import Any

from layerpreview.errors import InputError, Problem, SchemeError
from layerpreview.held import without_controls
from layerpreview.scheme import Burst, DyeCoat, OpaqueCoat, Scheme
from layerpreview.scheme.source import open_toml
from layerpreview.units import shop_length

Words = Mapping[str, Any]
ENGLISH = "en"
_LONGEST_WORDS = 2000
RIM_MM = 25.0
"""A coat that is gone so near to the edge is a rim, a wider one fades: our own choice of words."""
_FORMS = {
    "lang": (
        re.compile("[A-Za-z]{2,3}(-[A-Za-z]{4})?(-([A-Za-z]{2}|[0-9]{3}))?"),
        "this is no language's tag",
        'write it as in "de" or "pt-BR"; browsers go by it',
    ),
    "months": (re.compile(r"\s*(\S+\s+){11}\S+\s*"), "twelve months are wanted", "blanks between them, none inside"),
    "decimal": (re.compile("[^0-9 ]"), "one sign is wanted", "a point or a comma"),
}
"""What a page does more with than show: how it is written, and what is said where it is not."""
_FOLDER = Path(str(resources.files("layerpreview"))) / "data" / "board"
_ENGLISH_FILE = _FOLDER / "strings.en.toml"


def languages() -> dict[str, Path]:
    """The files of words that are ready, by language."""
    return {path.name.split(".")[1]: path for path in sorted(_FOLDER.glob("strings.*.toml"))}


def board_words(path: Path | None = None) -> dict[str, Any]:
    """The page's words: English, and over it those of the file at `path`.

    Raises InputError for a file that cannot be read, unknown words, and words whose {braces} differ.
    """
    words: dict[str, Any] = tomllib.loads(_ENGLISH_FILE.read_text(encoding="utf-8"))
    if path is None:
        return words
    given = _given(path)
    problems = _differences(words, given, str(path))
    if problems:
        raise InputError(problems)
    return _over(words, given)


def _given(path: Path) -> Mapping[str, Any]:
    """What a file of words holds. Raises InputError for one that cannot be read."""
    try:
        return open_toml(path, what="words").raw
    except SchemeError as error:
        told = f"copy the English ones, which are in {_ENGLISH_FILE}, and translate the right-hand sides"
        (problem,) = error.problems
        raise InputError(replace(problem, remedy=f"{problem.remedy}, or {told}" if problem.line else told)) from None


def board_words_of(langs: Iterable[str] = (), words_path: Path | None = None) -> dict[str, Words]:
    """The words of a board in every language that it holds: those asked for, in that order, and English, complete.

    `langs`: as "de", or several as "de,fr". `words_path`: a file of one's own, which comes first and goes over what is
    ready in its language. Whatever a file does not say is English. Raises InputError for a language that is not ready
    and for a file that cannot be used.
    """
    ready = languages()
    asked = [lang.strip().lower() for text in langs for lang in text.split(",")]
    unknown = [lang for lang in dict.fromkeys(asked) if lang not in ready]
    if unknown:
        remedy = f"ready are {', '.join(ready)}; for another one hand over your own file with --words"
        raise InputError([Problem("this language is not ready", remedy, field="--lang", value=one) for one in unknown])
    found: dict[str, Words] = {}
    if words_path is not None:
        own = board_words(words_path)
        lang = str(own["lang"])
        found[lang] = _over(board_words(ready[lang]), _given(words_path)) if lang in ready else own
    for lang in (*asked, ENGLISH):
        if lang not in found:
            found[lang] = board_words(None if lang == ENGLISH else ready[lang])
    return found


def _over(words: Words, given: Words) -> dict[str, Any]:
    """The words, and in their place those that are given."""
    return {
        key: _over(value, given.get(key, {})) if isinstance(value, Mapping) else given.get(key, value)
        for key, value in words.items()
    }


def light_word(light: str, words: Words) -> str:
    """A light by a plain word: "Daylight"; one without keeps its name."""
    return str(words.get(f"light_{light}", light))


def coats_words(n: int, words: Words) -> str:
    """So many coats: "3 coats"."""
    return str(words["no_coats"] if n == 0 else words["one_coat"] if n == 1 else words["coats"].format(n=n))


def label_words(coat: DyeCoat | OpaqueCoat, words: Words) -> str:
    """What a coat is called; one that hides and has no name of its own is called so in a client's words."""
    return str(words["solid_colour"]) if isinstance(coat, OpaqueCoat) and not coat.name else coat.label


def day_words(time: datetime, words: Words, *, zone: tzinfo | None = None) -> str:
    """The day of a time as a client reads it, by the clock of a zone, of this machine where it is None."""
    local = time.astimezone(zone)
    month = str(words["months"]).split()[local.month - 1]
    return str(words["day"]).format(day=local.day, month=month, year=local.year)


def where_words(scheme: Scheme, index: int, words: Words) -> str:
    """Where a coat goes, in a client's words: "fades out over 75 mm from the edge, on front and back"."""
    coat = scheme.coats[index]
    bursts = dict.fromkeys(_burst(scheme, burst, words) for burst in coat.bursts if burst.centre < 1.0)
    told = joined(list(bursts), words, how="where_also") if bursts else ""
    if not coat.everywhere:
        zone = joined(coat.zones, words)
        told = str(words["where_on" if told else "where_zone"]).format(where=told, zone=zone)
    told = told or str(words["where_whole"])
    return str(words["where_cut_back"]).format(where=told) if coat.cut_back else told


def joined(parts: Sequence[str], words: Words, *, how: str = "where_and") -> str:
    """Several parts as one list: "front, back and head"."""
    *first, last = parts
    return str(words[how]).format(first=", ".join(first), last=last) if first else last


def _burst(scheme: Scheme, burst: Burst, words: Words) -> str:
    """Where one burst goes; a narrow one is a rim."""
    rim = burst.width_mm <= RIM_MM and burst.centre == 0.0 and burst.source not in ("line", "centre")
    source = burst.source if f"where_{burst.source}" in words else "other"
    length = shop_length(burst.width_mm, us=scheme.shop.units == "US").replace(".", str(words["decimal"]))
    told = str(words[f"where_{'rim_' * rim}{source}"]).format(length=length, what=burst.source)
    if burst.centre > 0.0:
        told = str(words["where_left"]).format(where=told, n=f"{100.0 * burst.centre:.0f}")
    return told if burst.face is None else str(words["where_face"]).format(where=told, face=burst.face)


def _differences(words: Mapping[str, Any], given: Mapping[str, Any], file: str, table: str = "") -> list[Problem]:
    problems = []
    for key, text in given.items():
        place = f"{table}{key}"
        known = words.get(key)
        if isinstance(known, dict) and isinstance(text, dict):
            problems += _differences(known, text, file, f"{key}.")
        elif not isinstance(known, str) or not isinstance(text, str):
            problems.append(Problem("the board has no such word", "compare with the English file", file, field=place))
        elif len(text) > _LONGEST_WORDS or without_controls(text) != text:
            rule = f"a text of up to {_LONGEST_WORDS} signs without control signs is wanted"
            problems.append(Problem(rule, "write it as in the English file", file, field=place))
        elif _braces(known) != _braces(text):
            wanted = ", ".join(sorted(_braces(known))) or "none"
            problems.append(Problem("other braces than in English", f"keep these: {wanted}", file, field=place))
        elif not table and key in _FORMS and not _FORMS[key][0].fullmatch(text):
            _, rule, remedy = _FORMS[key]
            problems.append(Problem(rule, remedy, file, field=place, value=text))
    return problems


def _braces(text: str) -> set[str]:
    from string import Formatter

    try:
        return {
            "{" + name + (f"!{turned}" if turned else "") + (f":{spec}" if spec else "") + "}"
            for _, name, spec, turned in Formatter().parse(text)
            if name is not None
        }
    except ValueError:
        return {"ill-formed braces"}
