"""PDF pages by typst: tagged, at true scale, the same bytes for the same input."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from importlib import resources
from typing import Any, Literal

from layerpreview.doing import doing
from layerpreview.errors import InputError, OutputError, Problem
from layerpreview.output.files import utf8
from layerpreview.output.landing import aside
from layerpreview.output.plain_json import json_line

Standard = Literal["ua-1", "a-2a"]
"""PDF/UA-1 (ISO 14289-1), PDF/A-2a (ISO 19005-2)."""
PAPERS = {"A4": "a4", "Letter": "us-letter"}
SIZES_MM = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
NO_TYPST = "PDF needs one more package: pip install typst"
"""It comes with this program but where there is none ready-made for the computer (Windows on ARM, musl on ARM)."""
FONTS = ("Libertinus Serif", "DejaVu Sans Mono")
_ESCAPED = re.compile(r"\\u\{([0-9a-f]{1,6})\}")
_MOST_LACKING = 0.2
"""Share of a text that may be shown by stand-ins."""
_LONG_WORD, _PIECE, _MAY_BREAK = re.compile(r"\S{21,}"), re.compile(r"\S{1,6}"), "\u200b"
_IN_OUR_FONTS = 0x052F
"""Latin, Greek and Cyrillic are in the fonts that come with typst; beyond them this computer's fonts are asked."""


def compile_pdf(
    template: str,
    data: Mapping[str, Any],
    *,
    paper: str,
    files: Mapping[str, bytes] | None = None,
    standards: Sequence[Standard] = ("ua-1",),
    timestamp: int = 0,
) -> bytes:
    """Set the template of that name in `data/` with `data` and return the PDF (PDF/UA-1: tagged, for screen readers).

    `files`: pictures that the template calls by name. `standards`: others that it keeps, as typst names them ("a-2a").
    `timestamp`: when it says it was made [s since 1970].

    Raises InputError for an unknown paper, OutputError where typst is not installed or refuses.
    """
    if paper not in PAPERS:
        raise InputError(Problem("no such paper", "use A4 or Letter", field="--paper", value=paper))
    try:
        import typst
    except ImportError as error:
        raise OutputError(NO_TYPST) from error
    source = (resources.files("layerpreview") / "data" / template).read_bytes()
    doing("setting the pages")
    told: Any = _breakable(dict(data))
    with aside() as folder:
        for name, content in {"page.typ": source, **(files or {})}.items():
            (folder / name).write_bytes(content)
        for last in (False, False, True):
            document = json_line({**told, "paper": PAPERS[paper], "fonts": FONTS})
            try:
                pdf: bytes = typst.compile(
                    str(folder / "page.typ"),
                    root=str(folder),
                    format="pdf",
                    sys_inputs={"data": document},
                    ignore_system_fonts=all(map(_is_common, document)),
                    pdf_standards=list(standards),
                    timestamp=timestamp,
                )
            except RuntimeError as error:
                lacking = _lacking(error)
                if last or not lacking:
                    raise OutputError("the PDF could not be set; write names in plainer signs") from error
                told = _with_stand_ins(told, lacking)
            else:
                return pdf
    raise AssertionError("the last try returns or raises")


def what_pdf_lacks() -> str:
    """What has to be installed before a PDF can be set; nothing where all is there."""
    try:
        import typst  # noqa: F401
    except ImportError:
        return NO_TYPST
    return ""


def _lacking(error: RuntimeError) -> frozenset[str]:
    """The signs that no font here can show, as typst names them; accessible PDF holds none without its shape."""
    said = str(getattr(error, "diagnostic", "") or error)
    lacking: set[str] = set()
    for shown in re.findall(r'the text `"(.*?)"` could not be displayed', said):
        letter = {chr(int(code, 16)) for code in _ESCAPED.findall(shown)} | set(_ESCAPED.sub("", shown))
        rare = {sign for sign in letter if not _is_common(sign)}
        lacking |= rare or {sign for sign in letter if ord(sign) > 0x7E}  # what a mark stands on is there
    return frozenset(lacking)


def _with_stand_ins(value: Any, lacking: frozenset[str]) -> Any:
    """The same data with a ? for every sign of `lacking`.

    Raises OutputError where little could be read after that, as in a script that this computer has no font for.
    """
    signs = [sign for text in _texts(value) for sign in text if not sign.isspace()]
    if sum(sign in lacking for sign in signs) > _MOST_LACKING * len(signs):
        remedy = "install a font that has them, or leave the PDF out"
        raise OutputError(f"the PDF could not be set: no font on this computer has its letters; {remedy}")
    return _replaced(value, dict.fromkeys(map(ord, lacking), "?"))


def _texts(value: Any) -> Iterator[str]:
    if isinstance(value, dict | list | tuple):
        for item in value.values() if isinstance(value, dict) else value:
            yield from _texts(item)
    elif isinstance(value, str):
        yield value


def _replaced(value: Any, table: dict[int, str]) -> Any:
    if isinstance(value, dict):
        return {key: _replaced(item, table) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_replaced(item, table) for item in value]
    return value.translate(table) if isinstance(value, str) else value


def _is_common(sign: str) -> bool:
    return ord(sign) <= _IN_OUR_FONTS or 0x2000 <= ord(sign) < 0x2300


def _breakable(value: Any) -> Any:
    """Let very long words of any text break, so that they stay in their column; drawings are left as they are."""
    if isinstance(value, dict):
        return {key: item if key == "svg" else _breakable(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_breakable(item) for item in value]
    return (
        _LONG_WORD.sub(lambda word: _MAY_BREAK.join(_PIECE.findall(word[0])), utf8(value).decode("utf-8"))
        if isinstance(value, str)
        else value
    )


def shortened(text: str, most: int = 70) -> str:
    """The text on one line, cut with dots where it is longer."""
    return text if len(text) <= most else text[: most - 3].rstrip() + "..."
