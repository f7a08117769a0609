"""The answer of `reach` as lines for a terminal."""

from __future__ import annotations

from layerpreview.answers.alternatives import Alternative
from layerpreview.workflows.reach import Reached

HEADS = ("", "mix, in a litre", "coats", "wet film", "away", "stripes", "best at")


def reach_lines(found: Reached) -> list[str]:
    """The verdict, the alternatives as a table, what would bring it nearer, and the small print."""
    rows = [HEADS, *(_row(i + 1, a) for i, a in enumerate(found.alternatives))]
    widths = [max(len(row[k]) for row in rows) for k in range(len(HEADS))]
    table = ["  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows]
    lines = [found.verdict + ".", "", *table, ""]
    if found.advice:
        lines += ["What would bring it nearer:", *(f"  {line}" for line in found.advice), ""]
    return [
        *lines,
        f"Away: CIEDE2000 to the wanted colour, the worst of {', '.join(found.lights)}. Stripes: the shift where the "
        "build is two standard deviations off, for a practised hand.",
        *found.notes,
    ]


def _row(number: int, a: Alternative) -> tuple[str, ...]:
    mix = ", ".join(f"{name} {amount:g} {a.units[name]}" for name, amount in a.strengths.items())
    film = f"{a.total_film_um:g} um"
    return (
        f"{number}",
        mix,
        f"{a.coats} x {a.film_um:g} um",
        film,
        f"{a.worst_de00:.1f}",
        f"{a.stripes_de00:.1f}",
        ", ".join(a.best_at),
    )
