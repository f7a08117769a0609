"""What the day teaches, kept for the next job: the shop's own values."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from layerpreview.cli.common import Json, app, give, next_step, say, typed


@app.command()
def teach(
    jobs: Annotated[
        list[Path], typer.Argument(metavar="JOB...", help="Folders of jobs with a diary.", show_default=False)
    ],
    write: Annotated[bool, typer.Option("--write", help="Keep the values, in shop.toml beside the jobs.")] = False,
    as_json: Json = False,
) -> None:
    """Learn this shop's own film, transfer and drops from its jobs.

    Film of a pass from the wet-film gauge, transfer from what was left of a batch, drops in a millilitre as counted.
    They are used in place of the usual values wherever a scheme states nothing itself, and that is said.

    Writes shop.toml beside the jobs, where asked to.
    """
    from layerpreview.workflows.shop_values import learn_values

    found = learn_values(jobs, write=write)
    give(found.json() if as_json else found.text())
    if found.kept:
        say(f"Wrote {typed(found.values.file)}: schemes beside it and one folder below are read with it from now on")
        next_step(f"see what changes: layerpreview check {typed(jobs[0] if jobs[0].is_file() else _scheme(jobs[0]))}")
    elif found.changed:
        say("Nothing is written yet")
        next_step(f"to keep them: layerpreview teach {' '.join(typed(job) for job in jobs)} --write")
    else:
        say("Nothing new, nothing written")
        next_step("on the job, write down wet films, what is left of a batch, and drops: layerpreview diary JOB")


def _scheme(job: Path) -> Path:
    from layerpreview.workflows.places import scheme_of_job

    return scheme_of_job(job)
