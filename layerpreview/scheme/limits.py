"""How many of each thing a scheme may have: far more than any real job, few enough that every command stays below a
minute and 1.5 GiB. DEVELOPERS.md has what was measured at each limit."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from layerpreview.scheme.report import Place, Report, Table, tables

MOST: Mapping[str, int] = {
    "face": 40,
    "coat": 60,
    "dye": 300,
    "mix": 60,
    "paint": 100,
    "surroundings": 60,
    "opening": 500,
    "zone": 200,
    "dye in a mix": 40,
    "lamp": 60,
}
"""Of a whole scheme; dyes of one mix, lamps of one kind of surroundings. A coat's rings count as a coat each."""
_TOLD = {"coat": "coats", "surroundings": "surroundings", "dye in a mix": "dyes in one mix", "mix": "mixes"}


def check_counts(report: Report) -> None:
    """Add a problem for each thing of which the file has too many, by its text alone, before any of it is read."""
    for place, what, count in _counted(report.raw):
        if count > MOST[what]:
            report.add(place, *too_many(what, count))


def too_many(what: str, count: int) -> tuple[str, str]:
    """Return the rule and the remedy for `count` of something that MOST names."""
    rule = f"at most {MOST[what]} {_TOLD.get(what, what + 's')} are read, here are {count:,}"
    return rule, "leave out what is not needed, or make several jobs of it"


def _counted(raw: Table) -> Iterator[tuple[Place, str, int]]:
    for key in ("face", "coat", "dye", "mix", "paint", "surroundings"):
        found = raw.get(key)
        if isinstance(found, list | dict):
            yield (key,), key, len(found)
    faces = tables(raw, "face")
    for what in ("opening", "zone"):
        yield ("face",), what, sum(len(face[what]) for _, face in faces if isinstance(face.get(what), list))
    for key, inner, what in (("mix", "dyes", "dye in a mix"), ("surroundings", "lamp", "lamp")):
        entries = raw.get(key)
        for name, table in entries.items() if isinstance(entries, dict) else ():
            held = table.get(inner) if isinstance(table, dict) else None
            if isinstance(held, list | dict):
                yield (key, name, inner), what, len(held)
