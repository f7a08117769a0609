"""Where a panel stands on the day: in words, as a table of the ladder, and as a line in the job's log."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager
from pathlib import Path

from layerpreview.answers.progress import Progress, Standing
from layerpreview.output.result import Result


def progress_result(
    found: Progress, *, recording: Callable[[Path], AbstractContextManager[object]]
) -> Result[Progress]:
    """The reading with its ways out; the table has a row for every rung of the ladder. It is saved as a log's line."""
    at = found.standing
    low, high = at.coats_left.low, at.coats_left.high
    return Result(
        found=found,
        line=f"Progress {at.mix}, after {at.coats_done} of {at.coats_planned} coats: {low:.0f} to {high:.0f} left",
        document=lambda _: {"standing": at, "lab": found.lab, "light": found.light, "notes": found.notes},
        rows=lambda: [
            {"coats": rung.coats, **dict(zip("Lab", rung.lab, strict=True)), "to_agreed_de00": rung.to_agreed}
            for rung in at.ladder
        ],
        text=lambda: progress_text(found),
        names=(),
        recording=recording,
    )


def progress_text(found: Progress) -> str:
    """What to show a person: where it stands, the ladder, what to do, what it rests on."""
    at = found.standing
    beyond = at.coats_done - at.coats_planned
    of = f"{at.coats_done} of {at.coats_planned} coats"
    if beyond > 0:
        of = f"{at.coats_done} coats, {beyond} more than the {at.coats_planned} planned"
    lines = [
        f"coat {at.entry + 1}, {at.mix}, after {of}: L* {found.lab[0]:.1f} a* {found.lab[1]:.1f} "
        f"b* {found.lab[2]:.1f} under {found.light} ({at.spot})",
        f"  on it: {at.build.likely:.1f} coats' worth ({at.build.low:.1f} to {at.build.high:.1f})",
        f"  from the planned colour: {at.to_agreed:.1f} CIEDE2000; from the colour computed for what is on it: "
        f"{at.off_ladder:.1f}",
        "",
        "  coats      L*     a*     b*   to the planned colour",
    ]
    for rung in at.ladder:
        here = rung.coats == round(at.build.likely) and at.believed
        mark = " <- here" if here else ""
        mark += " (agreed)" if rung.coats == at.coats_planned else ""
        lab = "  ".join(f"{value:5.1f}" for value in rung.lab)
        lines.append(f"  {rung.coats:5.0f}   {lab}   {rung.to_agreed:5.1f}{mark}")
    lines += ["", *(f"  {line}" for line in at.advice), f"  rests on: {at.rests_on}"]
    lines += [f"  {line}" for line in _read_under(at)]
    lines += [f"  note: {note}" for note in found.notes]
    return "\n".join([*lines, ""])


def _read_under(at: Standing) -> list[str]:
    """What the reading is taken to be under: wet, or the scheme's own clear."""
    if at.under_clear:
        return [f"read and compared under the scheme's own {at.clear} clear, as figures and ladder tell their colours"]
    if at.clear == "gloss":
        return ["read it wet or under clear: a dull dry coat looks lighter than the finish will"]
    lightness, a, b = at.agreed_under_clear
    return [
        "read it wet, as it looks under gloss: a dull dry coat looks lighter; all colours here are wet",
        f"under the scheme's {at.clear} clear, as figures and ladder show it, the planned colour is L* {lightness:.1f} "
        f"a* {a:.1f} b* {b:.1f}",
        "for a reading under that clear add --under-clear",
    ]
