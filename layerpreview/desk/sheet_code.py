"""A printed mix sheet beside the open job: whether it is this job's, and whether the scheme has changed since."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from layerpreview.desk.desk import Desk
from layerpreview.errors import InputError, Problem
from layerpreview.output.sheet_code import Standing, read_printed, standing_of

SAID: dict[Standing, str] = {
    "this job": "This is the job, and its scheme is as it was when the sheet was printed.",
    "changed": "The scheme has changed since the sheet was printed: print it again before you mix.",
}


def post_sheet(desk: Desk, words: Mapping[str, str], body: Mapping[str, Any]) -> tuple[int, Any]:
    """How the sheet whose square code says `text` stands to the job. Raises InputError where it is no such text."""
    job = desk.job(body.get("opening"))
    printed = read_printed(str(body.get("text", "")))
    try:
        standing = standing_of(printed, job.path, name=job.read.scheme.name if job.read else "")
    except OSError as error:
        raise InputError(Problem(f"the scheme cannot be read: {error.strerror}", "look at the desk")) from None
    return 200, {"standing": standing, "words": SAID.get(standing, f"The sheet is of another job: {printed.name}.")}
