"""What is kept when a job is done: its record, and the check of one."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from layerpreview.cli.common import Force, Job, Json, ResultsFolder, Width, app, give, next_step, say, typed


@app.command()
def record(
    job: Job,
    out: ResultsFolder = None,
    force: Force = False,
    width: Width = 1600,
    as_json: Json = False,
) -> None:
    """Seal all that a remake needs in one file.

    Formulas, units, spectra, mixes as made and films as measured, the diary and its photos, with a guide to read them
    by: this program is not needed for it. No names of users, computers or folders go in, and no notes of cameras; what
    you typed goes in as typed, prices and remarks too. Given a record (.zip) it says whether that is whole.

    Writes NAME.record.zip into record.
    """
    if job.suffix.lower() == ".zip":
        check_record(job, as_json)
        return
    from layerpreview.output.plain_json import plain_json
    from layerpreview.workflows.record import record_file

    made = record_file(job, out=out, force=force, width_px=width)
    folder, aside = made.place
    if as_json:
        told = {"folder": folder, "file": made.file, "size_bytes": made.size_bytes, "missing": made.missing}
        give(plain_json({**told, "record": made.content.model_dump()}))
    for words in made.missing:
        say(f"it does without: {words}")
    say(f"Wrote {made.file} to {folder}{aside}: {made.size_bytes / 1e6:.1f} MB")
    check = f"layerpreview record {typed(made.path)}"
    next_step(f"give a copy to whoever keeps the part, keep one where your papers are; to check one: {check}")


@app.command(name="check-record", hidden=True)
def check_record(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The record (.record.zip).", show_default=False)],
    as_json: Json = False,
) -> None:
    """Say whether a record is whole and unchanged."""
    from layerpreview.output.plain_json import plain_json
    from layerpreview.workflows.record_check import check_record as checked
    from layerpreview.workflows.record_check import checked_lines

    found = checked(file)
    if as_json:
        give(plain_json(found))
    else:
        give("".join(f"{line}\n" for line in checked_lines(found)))
    next_step("unpack it; READ_ME.txt says how to make the finish again, with this program or by hand")
