"""The square code of a mix sheet: a few lines of plain text that tell which job, as which scheme, was printed.

It opens nothing and names no address: the shop's phone shows the text, and its page of the desk compares it.
"""

from __future__ import annotations

import hashlib
import io
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from layerpreview.errors import InputError, Problem
from layerpreview.job.sheet import MixSheet
from layerpreview.output.sheet_words import plain
from layerpreview.output.typst_pdf import shortened

SIGNS = 12
"""Of a SHA-256 (FIPS 180-4): one scheme in some 10^14 has the same."""
MOST_LETTERS = 180
"""More would make modules of the code too small for a phone at arm's length."""
_PRINTED = re.compile(
    r"Mix sheet:\s*(?P<name>.+?)\s+Scheme:\s*(?P<file>.+?), sha256 (?P<sha>[0-9a-f]{12})\b", re.DOTALL
)
"""Line ends may be lost where a text is copied from a camera."""
Standing = Literal["this job", "changed", "another job"]


@dataclass(frozen=True)
class PrintedFrom:
    """What a code says it was printed from: the job's name, its scheme's file, and the first signs of its SHA-256."""

    name: str
    file: str
    sha256: str


def first_signs(scheme: bytes) -> str:
    """The first signs of the SHA-256 of a scheme's file, as `sha256sum` shows them."""
    return hashlib.sha256(scheme).hexdigest()[:SIGNS]


def code_text(sheet: MixSheet, *, file: str, sha256: str) -> str:
    """The text of the code; `file`: the scheme's name, `sha256`: its first signs."""
    mixes = "; ".join(f"{mix.title} {plain(mix.make_mL)} mL" for mix in sheet.mixes)
    coats = ", ".join(f"{stage.sprayed.coats} {stage.sprayed.title}" for stage in sheet.stages if stage.sprayed)
    agreed = sheet.how_agreed.code if sheet.how_agreed.is_agreed else ""
    lines = [
        f"Mix sheet: {_told(sheet.name)}",
        f"Scheme: {_told(file)}, sha256 {sha256}",
        *([f"Agreed: {agreed}"] if agreed else []),
    ]
    head = "\n".join(lines)
    return f"{head}\n{shortened(f'Coats: {coats}. Mixes: {mixes}', max(20, MOST_LETTERS - len(head) - 1))}"


def read_printed(text: str) -> PrintedFrom:
    """What a person copied out of a code. Raises InputError where it is none."""
    found = _PRINTED.search(text[:2000])
    if found is None:
        rule = "this is not the text of a mix sheet's square code"
        raise InputError(Problem(rule, "let the camera read it, and copy all of it", field="the text"))
    return PrintedFrom(found["name"], found["file"].strip(), found["sha"])


def standing_of(printed: PrintedFrom, scheme: Path, *, name: str) -> Standing:
    """How a printed sheet stands to the scheme of the job called `name` as it is now. Raises OSError."""
    if printed.sha256 == first_signs(scheme.read_bytes()):
        return "this job"
    return "changed" if (printed.name, printed.file) == (_told(name), _told(scheme.name)) else "another job"


def _told(text: str) -> str:
    """A name as the code has it: on one line, and not too long."""
    return shortened(" ".join(text.split()), 60)


def code_svg(text: str) -> str:
    """The code as one drawing with its quiet border (ISO/IEC 18004, level M), all in attributes."""
    import segno

    made = io.BytesIO()
    code = segno.make(text, error="m", micro=False)
    code.save(made, kind="svg", border=4, xmldecl=False, svgclass=None, lineclass=None, omitsize=True, light="#fff")
    return made.getvalue().decode("ascii").strip()
