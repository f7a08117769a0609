"""PDF pages by typst: tagged, at true scale, the same bytes for the same input."""

from __future__ import annotations

import re
import tempfile
from collections.abc import Mapping, Sequence
from importlib import resources
from pathlib import Path
from typing import Any, Literal

from layerpreview.doing import doing
from layerpreview.errors import InputError, OutputError, Problem
from layerpreview.output.plain_json import json_line

Standard = Literal["ua-1", "a-2a"]
"""PDF/UA-1 (ISO 14289-1), PDF/A-2a (ISO 19005-2)."""
PAPERS = {"A4": "a4", "Letter": "us-letter"}
SIZES_MM = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
NO_TYPST = "PDF needs one more package: pip install typst"
"""It comes with this program but where there is none ready-made for the computer (Windows on ARM, musl on ARM)."""
FONTS = ("Libertinus Serif", "DejaVu Sans Mono")
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
    document = json_line({**_breakable(dict(data)), "paper": PAPERS[paper], "fonts": FONTS})
    source = (resources.files("layerpreview") / "data" / template).read_bytes()
    common = all(map(_is_common, document))
    doing("setting the pages")
    try:
        with tempfile.TemporaryDirectory() as folder:
            for name, content in {"page.typ": source, **(files or {})}.items():
                Path(folder, name).write_bytes(content)
            pdf: bytes = typst.compile(
                str(Path(folder, "page.typ")),
                root=folder,
                format="pdf",
                sys_inputs={"data": document},
                ignore_system_fonts=common,
                pdf_standards=list(standards),
                timestamp=timestamp,
            )
    except RuntimeError as error:
        raise OutputError(f"the PDF could not be set: {str(error).splitlines()[0]}") from error
    return pdf


def what_pdf_lacks() -> str:
    """What has to be installed before a PDF can be set; nothing where all is there."""
    try:
        import typst  # noqa: F401
    except ImportError:
        return NO_TYPST
    return ""


def in_our_fonts(value: Any) -> Any:
    """The same data with a ? for every sign that the fonts which come with typst may lack."""
    if isinstance(value, dict):
        return {key: in_our_fonts(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [in_our_fonts(item) for item in value]
    return "".join(sign if _is_common(sign) else "?" for sign in value) if isinstance(value, str) else value


def _is_common(sign: str) -> bool:
    return ord(sign) <= _IN_OUR_FONTS or 0x2000 <= ord(sign) < 0x2300


def _breakable(value: Any) -> Any:
    """Let very long words of any text break, so that they stay in their column; drawings are left as they are."""
    if isinstance(value, dict):
        return {key: item if key == "svg" else _breakable(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_breakable(item) for item in value]
    return (
        _LONG_WORD.sub(lambda word: _MAY_BREAK.join(_PIECE.findall(word[0])), value)
        if isinstance(value, str)
        else value
    )


def shortened(text: str, most: int = 70) -> str:
    """The text on one line, cut with dots where it is longer."""
    return text if len(text) <= most else text[: most - 3].rstrip() + "..."
