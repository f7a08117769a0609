"""The shop's own values from what its jobs' diaries measured: shown, and kept when that is wanted."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from layerpreview.answers.job_teaches import job_teaches
from layerpreview.answers.shop_taught import Taught, taught
from layerpreview.errors import InputError, OutputError, Problem
from layerpreview.output.diary_entries import done_of
from layerpreview.output.files import written_together
from layerpreview.output.job_entries import entries_of
from layerpreview.output.joblog import LOG_NAME, read_lines
from layerpreview.output.result import Result
from layerpreview.output.shop_result import shop_result
from layerpreview.picture.faces import shapes_of
from layerpreview.picture.survey import Survey
from layerpreview.scheme import load_scheme
from layerpreview.scheme.read import LONGEST_NAME
from layerpreview.scheme.shop_values import JobTaught, ShopValues, load_shop_values, shop_beside, shop_places
from layerpreview.workflows.places import scheme_of_job


def learn_values(jobs: Sequence[Path], *, write: bool = False) -> Result[Taught]:
    """What the diaries of `jobs` (folders or scheme files) teach of this shop, with what its file holds already.

    The file is the one that the first job is read with, else a new one in the folder above it, beside the jobs; it is
    written only to `write`, whole or not at all. A job whose diary was used before is taken anew and counts once.
    Raises SchemeError, InputError or PictureError with all that is wrong, and OutputError.
    """
    if not jobs:
        raise InputError(Problem("no job is named", "name the folder of a job"))
    schemes = [scheme_of_job(job) for job in jobs]
    file = shop_beside(schemes[0], held=False) or shop_places(schemes[0])[-1]
    old = _held(file)
    found: dict[str, JobTaught] = {}
    notes: list[str] = []
    for scheme in schemes:
        job, said = _job(scheme)
        found[job.key] = job
        notes += [f"{job.name}: {note}" for note in said]
    result = shop_result(taught(old, list(found.values()), file=file, notes=notes))
    if not write or not result.found.changed:
        return result
    if file.is_symlink():
        raise OutputError(f"{file}: this is a link; nothing was written; put the file itself there")
    with written_together(file.parent, result.names, force=True, inputs=(), lasting=result.lasting) as paths:
        # Another may have taught the shop meanwhile; from here on it waits.
        result = shop_result(taught(_held(file), list(found.values()), file=file, notes=notes))
        return shop_result(replace(result.found, kept=True)).written(paths, file.parent)


def _held(file: Path) -> ShopValues:
    return load_shop_values(file) if file.is_file() else ShopValues(file)


def _job(scheme_path: Path) -> tuple[JobTaught, list[str]]:
    """What one job teaches: by its scheme as it stands without the shop's own values, since these are asked for."""
    scheme = load_scheme(scheme_path, shop=False)
    name, log = (scheme_path.resolve().parent.name or "job")[:LONGEST_NAME], scheme_path.parent / LOG_NAME
    if not log.exists():
        return JobTaught(name, "", {}), ["no diary yet"]
    read = read_lines(log)
    done = done_of(entries_of(read, scheme_path, log), log)
    shapes = shapes_of(scheme)
    builds = [Survey(scheme, shape).mean_builds for shape in shapes]
    teaching = job_teaches(scheme, done, shapes, builds)
    notes = [f"line {line} of the log is torn (a crash while writing?): passed over" for line in read.torn_lines]
    return JobTaught(name, _key(log), teaching.means), [*notes, *teaching.notes]


def _key(log: Path) -> str:
    """What tells a job from others wherever its folder is: the first line of its log, which is only ever added to."""
    first = log.read_bytes().lstrip().split(b"\n", 1)[0]
    return hashlib.sha256(first.strip()).hexdigest()[:16]
