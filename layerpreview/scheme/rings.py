"""Several rings told in one line: ``honey x3 | plum x3 75 mm soft | #140d0e x2 16 mm fan``.

Rings go from light to dark. Each is the name of a mix or an opaque colour, then optionally how many coats, then how far
it reaches in from the outline, then its fall-off. The first has no width: it covers the whole zone.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from layerpreview.scheme import coat as c
from layerpreview.scheme import fields as f
from layerpreview.scheme.part import NEAR_OUTLINE
from layerpreview.scheme.report import Place, Report, table_told
from layerpreview.spray import FALL_OFFS
from layerpreview.units import UnitError

EXAMPLE = 'write for example rings = "honey x3 | plum x3 75 mm soft | #140d0e x2 16 mm fan"'
_MOST_COATS = 60


@dataclass(frozen=True)
class _Ring:
    what: str
    coats: int
    width: str
    fall_off: str


def coats_of_rings(report: Report, place: Place, entry: c.RingsEntry, mixes: Collection[str]) -> list[c.Coat]:
    """Return the coats that a ``rings`` line stands for, after adding a problem for each ring that cannot be read."""
    coats: list[c.Coat] = []
    for number, part in enumerate(entry.rings.split("|"), start=1):
        try:
            ring = _read(part, mixes)
            _check_width(ring, first=number == 1)
            coats.append(_coat(ring, entry, mixes))
        except (f.FieldError, UnitError) as error:
            report.add((*place, "rings"), f"ring {number}: {error.rule}", error.remedy)
    return coats


def tables_of_rings(written: Mapping[str, Any], mixes: Collection[str]) -> list[dict[str, Any]]:
    """Return the entries that say one by one what the entry `written` tells in one line, as a file has them.

    The line must be one that `coats_of_rings` can read.
    """
    tables = []
    for ring in (_read(part, mixes) for part in written["rings"].split("|")):
        table: dict[str, Any] = {"mix": ring.what}
        if ring.what.startswith("#"):
            table = {"opaque": ring.what, "hiding": written.get("hiding", c.USUAL_HIDING)}
        table |= {"coats": ring.coats, **{key: written[key] for key in ("film", "zone") if key in written}}
        if ring.width:
            table["burst"] = {"from": NEAR_OUTLINE, "width": ring.width, "fall_off": ring.fall_off or "soft"}
        tables.append(table)
    return tables


def _read(part: str, mixes: Collection[str]) -> _Ring:
    words = part.split()
    if not words:
        raise f.FieldError("there is nothing between the bars", EXAMPLE)
    taken = _words_of_name(words, mixes)
    rest = words[taken:]
    coats = "1"
    if rest and re.fullmatch(r"[x×]\d*", rest[0]):
        coats = rest.pop(0)[1:] or (rest.pop(0) if rest else "")
    if not coats.isascii() or not coats.isdigit() or not 1 <= int(coats[:4]) <= _MOST_COATS:
        raise f.FieldError(f"x is followed by the number of coats, 1 to {_MOST_COATS}", EXAMPLE)
    fall_off = ""
    if len(rest) > 1 and rest[-1].isalpha() and not rest[-2][-1].isdigit():
        fall_off = rest.pop()
    return _Ring(" ".join(words[:taken]), int(coats), " ".join(rest), fall_off)


def _words_of_name(words: Sequence[str], mixes: Collection[str]) -> int:
    """How many words the name has: the longest known name, else all up to a count or a width."""
    for count in range(len(words), 0, -1):
        if " ".join(words[:count]) in mixes:
            return count
    ends = (n for n, word in enumerate(words) if n and re.match(r"[x×]\d*$|[\d.,½¼¾]", word))
    return next(ends, len(words))


def _check_width(ring: _Ring, *, first: bool) -> None:
    if first and ring.width:
        raise f.FieldError("the first ring covers the whole zone, it has no width", f"leave out {ring.width}")
    if not first and not ring.width:
        raise f.FieldError("its width is missing", f'write for example "{ring.what} x{ring.coats} 75 mm soft"')


def _coat(ring: _Ring, entry: c.RingsEntry, mixes: Collection[str]) -> c.Coat:
    written: dict[str, object] = {"coats": ring.coats, "film": entry.film_um, "zone": entry.zones}
    if ring.width:
        f.quantity("length", 0.1, 20_000.0)(ring.width)
        fall_off = f.choice(*FALL_OFFS)(ring.fall_off or "soft")
        written["burst"] = {"from": NEAR_OUTLINE, "width": ring.width, "fall_off": fall_off}
    if ring.what.startswith("#"):
        return c.OpaqueCoat.model_validate({**written, "opaque": f.colour(ring.what), "hiding": entry.hiding})
    if ring.what not in mixes:
        hint = f.did_you_mean(ring.what, mixes)
        raise f.FieldError(
            f'there is no mix "{ring.what}"', hint or f"add {table_told('mix', ring.what)}, or write a colour"
        )
    return c.DyeCoat.model_validate({**written, "mix": ring.what})
