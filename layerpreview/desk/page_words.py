"""Lines of the rooms below as the page says them: what is typed after a command there is a word to press here."""

from __future__ import annotations

import re
from pathlib import Path

_ON_THE_PAGE = {
    r"^[^:;]+: (?=already there: )": "",
    r"; add --force to replace, or [^;]+$": "",
    r'--part-width "320 mm"': "its own width below Size",
    r'--marks "10%,90%,60%,90% = 300 mm"': "Touch its two ends below Size",
    r"with --marks|--marks": "below Size",
    r"(?:with )?--paper": "below Size",
    r"with --at|--at": "below It is wrong",
    r"--background": "what it lies on",
    r"--part-width|--depth|--back": "",
    r"--holes": "Openings",
    r"--grey": "the grey beside it",
    r"--strength": "how strong the mix was",
    r"--light": "the light it was read in",
}
_FOLDERS = re.compile(r"(?<![\w.~])(?:[A-Za-z]:)?[\\/](?:[^\s:;,'\"\\/]+[\\/])+")
_HERE = [(re.compile(typed), said) for typed, said in _ON_THE_PAGE.items()]


def plain_paths(line: str, folder: Path) -> str:
    """A line with no folder of this machine in it: seen from the job's own, of any other the last name alone.

    >>> plain_paths("/home/ann/jobs/lute/scheme.toml:3: /opt/x/y.png: 12 mL/L", Path("/home/ann/jobs/lute"))
    'scheme.toml:3: y.png: 12 mL/L'
    """
    for place in {str(folder), str(folder.resolve())} - {"", ".", "/"}:
        line = line.replace(place.rstrip("/\\") + "/", "").replace(place.rstrip("/\\") + "\\", "")
    return _FOLDERS.sub("", line)


def page_words(line: str, folder: Path) -> str:
    """A line with no folder of this machine and no option of a command in it.

    >>> page_words("something nearly as large lies at 20%,30%: if that is the part, name it with --at", Path())
    'something nearly as large lies at 20%,30%: if that is the part, name it below It is wrong'
    >>> page_words("--part-width = 30: a length has a unit; write 30 mm", Path())
    '30: a length has a unit; write 30 mm'
    >>> page_words("lute: already there: tea.dye.toml; nothing was written; add --force to replace, or so", Path())
    'already there: tea.dye.toml; nothing was written'
    """
    line = plain_paths(line, folder)
    for typed, said in _HERE:
        line = typed.sub(said, line)
    return " ".join(line.split()).removeprefix("= ").removeprefix(": ")


def caution_words(line: str) -> str:
    """A caution without the file it stands in, its place as a painter names it.

    >>> caution_words("scheme.toml: mix.plum.dyes.red = 150 drops per 100 mL: the size of a drop is assumed")
    'red in plum, 150 drops per 100 mL: the size of a drop is assumed'
    >>> caution_words("coat[2].film = 90 um: this runs")
    'coat 2, film, 90 um: this runs'
    """
    line = re.sub(r"^[\w.-]+\.toml(?::\d+)?: ", "", line)
    line = re.sub(r"^mix\.([^.=]+)\.dyes\.([^.=]+?)(?= = |: )", r"\2 in \1", line)
    line = re.sub(r"^coat\[(\d+)\]\.(\w+)", r"coat \1, \2", line)
    return re.sub(r"^([^:=]+) = ", r"\1, ", line)
