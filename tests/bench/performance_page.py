"""docs/performance.md from what `bench_all.py` measured, so that no figure of it is typed by hand."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

HOME = Path(__file__).parents[2]
KEPT = Path(__file__).parent / "performance.json"
PAGE = HOME / "docs" / "performance.md"

GROUPS = {
    "One picture": "Pixels alone, on one core, without files.",
    "Commands": "Whole commands from the shell, start and files included.",
    "Growth": "How much longer more work takes. As many times as there is more of it would be in step.",
    "Memory": "Memory is set by the strip that is being worked on, not by the picture.",
}
HEAD = """\
# How fast it is

All of this page comes from one run of `python -m tests.bench.bench_all --write` on
{machine}.
Nothing on it is typed by hand.

Each figure is a **ratio** to something that anyone can run beside it, taken in turns with it, in processor time of all
cores together: other work on the machine moves times, ratios far less. Below 1 is less than the peer takes. Processor
seconds stand beside for the order of magnitude: with two idle cores the pictures of a command are there sooner, on a
shop laptop it takes two to four times as long (assumed). What has to stay fast is watched by
`tests/test_speed_ratios.py`, by ratios alone.
"""


def number(value: float) -> str:
    """A number with two figures, as one would say it."""
    if value >= 100.0:
        return f"{round(value, 2 - len(str(int(value)))):,.0f}"
    if value >= 10.0:
        return f"{value:.0f}"
    return f"{value:.1f}" if value >= 1.0 else f"{value:.2g}"


def ratio(value: float) -> str:
    """A ratio as a person reads it: below a twentieth by how many times sooner it is."""
    return f"1/{number(1.0 / value)}" if value < 0.05 else f"{number(value)} x"


def page_of(found: Mapping[str, Any]) -> str:
    """The page of one run."""
    busy = f"; load of other work before it began: {number(found['load_before'])}" if found["load_before"] else ""
    cores = {1: "one core", 2: "two shared cores"}.get(found["cores"], f"{found['cores']} cores")
    machine = f"{cores} ({found['machine']}, Python {found['python']}, numpy {found['numpy']}{busy})"
    parts = [HEAD.format(machine=machine)]
    for group, told in GROUPS.items():
        rows = [row for row in found["rows"] if row["group"] == group]
        lines = [
            f"## {group}",
            "",
            told,
            "",
            "| what | against | ratio | processor seconds | |",
            "| --- | --- | --- | --- | --- |",
        ]
        for row in rows:
            seconds = "" if row["seconds"] is None else number(row["seconds"])
            lines.append(f"| {row['what']} | {row['peer']} | {ratio(row['ratio'])} | {seconds} | {row['note']} |")
        parts.append("\n".join(lines) + "\n")
    if not any("path tracer" in row["peer"] for row in found["rows"]):
        parts.append("The path tracer was not installed for this run: its row is left out.\n")
    return "\n".join(parts)
