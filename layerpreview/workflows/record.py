"""The record of a job: one sealed file with all that a remake needs, and the check of one."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from layerpreview.answers.as_made import AsMade, as_made
from layerpreview.colour import LIFELIKE
from layerpreview.doing import doing
from layerpreview.errors import OutputError, SchemeError
from layerpreview.finish.view import surroundings_of
from layerpreview.job.done import Done
from layerpreview.job.finished import FinishedPlace, finished, three_lights
from layerpreview.output import record_tables as t
from layerpreview.output.agreement import how_agreed
from layerpreview.output.diary_entries import DIARY_KINDS, done_of
from layerpreview.output.files import file_stem, written_together
from layerpreview.output.job_entries import file_name, is_about
from layerpreview.output.joblog import WITHDRAWN, JobLog
from layerpreview.output.landing import aside
from layerpreview.output.pictures import rendered_small, write_picture
from layerpreview.output.plain_json import plain_json
from layerpreview.output.record_content import content_of
from layerpreview.output.record_cover import cover_pdf
from layerpreview.output.record_file import (
    BATCHES,
    COLOURS,
    COVER,
    DYES,
    ENDING,
    FACE,
    FILMS,
    LIGHTS,
    LOG,
    MIXES,
    PICTURE,
    PLACES,
    READ_ME,
    SCHEME_FOLDER,
    SPECTRA,
)
from layerpreview.output.record_guide import guide_text
from layerpreview.output.record_model import RECORD_JSON, RecordFile
from layerpreview.output.record_scheme import log_lines, photo_files, scheme_files, staged, told_of_own
from layerpreview.output.record_zip import zipped
from layerpreview.picture.lifelike import lifelike_of, looks_of
from layerpreview.picture.spots import places_of
from layerpreview.scheme import Scheme, describe, load_scheme
from layerpreview.workflows.diary import scheme_and_log
from layerpreview.workflows.lifelike import USUAL_ROOM
from layerpreview.workflows.places import Place, results_place

RIM = 0.04
"""Ground left around the part, as a share of its width."""
PICTURE_PX = 1600


@dataclass(frozen=True)
class Recorded:
    """A record that was written: where and why there, its file, what it says, its size, and what it does without."""

    place: Place
    file: str
    content: RecordFile
    size_bytes: int
    missing: tuple[str, ...]

    @property
    def path(self) -> Path:
        """The record itself."""
        return self.place.folder / self.file


def record_file(
    job: Path, *, out: Path | None = None, force: bool = False, width_px: int = PICTURE_PX, now: datetime | None = None
) -> Recorded:
    """Write the record of the job at `job`, its folder or its scheme, into the folder `out` or one of the job's own.

    `width_px`: width of the picture before the ground beside the part is cut off.

    Raises InputError (SchemeError, PictureError) or OutputError; nothing is written then.
    """
    scheme, log_path, log = scheme_and_log(job)
    name = file_stem(scheme.name, otherwise="job") + ENDING
    place = Place(out) if out else results_place(scheme.file, "record")
    inputs = [*scheme.inputs, log_path]
    with written_together(place.folder, [name], force=force, inputs=inputs) as paths:
        files, content, missing = files_of(scheme, log_path, log, width_px=width_px, now=now or datetime.now(UTC))
        paths[name].write_bytes(zipped(files))
    return Recorded(place, name, content, (place.folder / name).stat().st_size, tuple(missing))


def files_of(
    scheme: Scheme, log_path: Path, log: JobLog, *, width_px: int, now: datetime
) -> tuple[dict[str, bytes], RecordFile, list[str]]:
    """Every file of a record but its manifest, what its record.json says, and words on what it does without.

    All of it is worked out from the scheme as the record holds it.
    """
    from layerpreview import __version__

    log, others = _about(scheme, log, log_path)
    done = done_of(log, log_path)
    held = scheme_files(scheme)
    photos, photo_names, missing = photo_files(done, log_path.parent)
    missing += [f"what the diary says about another scheme, {name}" for name in others]
    with aside() as folder, told_of_own(scheme, folder):
        own = load_scheme(staged(held, folder))
        made = as_made(own, done)
        if not list(done):
            missing.append("a diary: strengths, films and coats are those that were planned")
        words = describe(own)
        doing("working out every colour of the record")
        agreed, agreed_words = _agreed(scheme, own, log, log_path)
        spots, lights = places_of(own), three_lights(own)
        agreed_spots = spots if agreed is own else places_of(agreed)
        places = finished(made.scheme, spots, agreed, agreed_spots, lights=lights)
        content = content_of(
            own, made, places, lights=lights, agreed=agreed_words, notes=missing, version=__version__, now=now
        )
        files = tables_of(own, made, done, places, lights)
        doing("drawing its picture")
        picture = picture_of(made.scheme, width_px=width_px)
    files |= {
        RECORD_JSON: plain_json(content.model_dump()).encode("utf-8"),
        PICTURE: _png(picture),
        LOG: log_lines(log, log_path.parent, photo_names),
        **{f"{SCHEME_FOLDER}{name}": data for name, data in held.items()},
        **photos,
    }
    doing("setting the cover page")
    try:
        seal = hashlib.sha256(files[RECORD_JSON]).hexdigest()
        files[COVER] = cover_pdf(content, places, picture, seal=seal)
    except OutputError as error:
        missing = [*missing, f"a cover page ({error})"]
    files[READ_ME] = guide_text(content, words, files, missing).encode("utf-8")
    return files, content, missing


def picture_of(scheme: Scheme, *, width_px: int) -> NDArray[np.uint8]:
    """The part as it came out, as one would see it by a window."""
    scene = lifelike_of(scheme, surroundings_of(scheme, USUAL_ROOM, field="surroundings"), width_px=width_px)
    shown = rendered_small(scene, looks_of(scheme, scene, scheme.lights[0]), rolled_from=LIFELIKE)
    there = scene.cover() > 0.0
    rows, cols = np.flatnonzero(there.any(axis=1)), np.flatnonzero(there.any(axis=0))
    rim = round(RIM * (cols[-1] - cols[0]))
    return shown[max(rows[0] - rim, 0) : rows[-1] + rim + 1, max(cols[0] - rim, 0) : cols[-1] + rim + 1]


def _png(pixels: NDArray[np.uint8]) -> bytes:
    with aside() as folder:
        path = folder / PICTURE
        write_picture(pixels, path)
        return path.read_bytes()


def tables_of(
    scheme: Scheme, made: AsMade, done: Done, places: Sequence[FinishedPlace], lights: Sequence[str]
) -> dict[str, bytes]:
    """The tables of a record."""
    return {
        SPECTRA: t.spectra_csv(scheme, places),
        DYES: t.dyes_csv(scheme),
        MIXES: t.mixes_csv(made, scheme),
        BATCHES: t.batches_csv(done),
        FILMS: t.films_csv(made, done),
        LIGHTS: t.lights_csv(lights, observer_deg=scheme.observer_deg),
        COLOURS: t.colours_csv(places, lights),
        PLACES: t.places_csv(made, places),
        FACE: t.face_csv(scheme),
    }


def _agreed(scheme: Scheme, own: Scheme, log: JobLog, log_path: Path) -> tuple[Scheme, str]:
    """The scheme that was last agreed, and which that is in words: this one, unless the log tells of another."""
    found = how_agreed(scheme.file, log, log_path, text=scheme.text)
    if not found.code:
        return own, "the scheme as it is written; the log tells of no agreement"
    said = f"agreed as option {found.option} of board {found.board}, code {found.code}"
    if not found.instead:
        return own, f"this scheme, {said}" + ("; it was changed since" if found.changed else "")
    try:
        return load_scheme(log_path.parent / found.way), f"{found.instead}, {said}"
    except SchemeError:
        return own, f"the scheme as it is written; {found.instead}, {said}, cannot be read any more"


def _about(scheme: Scheme, log: JobLog, log_path: Path) -> tuple[JobLog, list[str]]:
    """The log without the deeds that are about another scheme of the folder, and the names of those schemes."""
    kept, others, left_out = [], dict[str, None](), set[int]()
    for entry in log.entries:
        if entry.what in DIARY_KINDS and not is_about(entry, scheme.file, log_path):
            others[file_name(entry)[:200]] = None
            left_out.add(entry.line)
        elif entry.what != WITHDRAWN or entry.values.get("line") not in left_out:
            kept.append(entry)
    return replace(log, entries=tuple(kept)), list(others)
