"""All photos of a job in one light, in the order of its coats, as one picture for the painter and the client."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import tzinfo
from pathlib import Path

from PIL import Image

from layerpreview.errors import NoAnswerError, PictureError, Problem
from layerpreview.job.done import BASE_COAT, CLEAR_COAT, Done, PhotoRead
from layerpreview.output.diary_entries import done_of
from layerpreview.output.files import is_inside, written_together
from layerpreview.output.job_entries import ReadingEntry, checked, entries_of
from layerpreview.output.joblog import LOG_NAME, JobLog, known_log, read_lines
from layerpreview.output.photo_strip import U8, StripPhoto, photo_strip
from layerpreview.scheme import Scheme, load_scheme
from layerpreview.surface.picture_file import read_picture
from layerpreview.workflows.places import results_place, scheme_of_job

STRIP = "photos_in_one_light.png"
_NOTE = (
    "Approximate. Each photo is balanced by the white or grey card in it, shown below it, so that all stand in one "
    "light; a camera's own tone curve stays in them. Distances are CIEDE2000, from the colour agreed once all coats of "
    "that mix are on: half of those who look side by side see 0.8."
)


@dataclass(frozen=True)
class Strip:
    """The picture (rows, cols, 3), how many photos it shows, what is not shown and why, and where it was written."""

    pixels: U8
    photos: int
    notes: tuple[str, ...]
    file: Path | None = None


def strip_of(job: Path, *, zone: tzinfo | None = None) -> Strip:
    """The photos of a job's diary side by side; times are shown in `zone`, this machine's where none is given.

    Raises SchemeError, InputError, and NoAnswerError where no photo can be shown.
    """
    scheme_path = scheme_of_job(job)
    scheme = load_scheme(scheme_path)
    log = known_log(scheme_path.parent / LOG_NAME)
    read = entries_of(read_lines(log), scheme_path, log)
    done = done_of(read, log)
    readings = _readings(read, log)
    shown: list[StripPhoto] = []
    others: list[StripPhoto] = []
    notes, agreed = [], None
    for photo in sorted(done.photos, key=_order):
        label = _label(scheme, photo)
        if photo.white is None or not photo.spots:
            notes.append(f"{label}: not shown, {photo.refused or 'nothing was touched in it'}")
            continue
        reading = readings.get(photo.id)
        file = log.parent / photo.file
        try:
            if not is_inside(file, log.parent):
                raise PictureError(Problem("it is not in the job's folder"))
            picture = read_picture(file)
        except PictureError as error:
            notes.append(f"{label}: not shown, {error.problems[0].rule}")
            continue
        lines = (label, _when(photo, zone), _away(photo, reading))
        piece = StripPhoto(picture, photo.white, photo.white_reflectance, photo.spots[0], lines)
        (others if photo.refused else shown).append(piece)
        agreed = reading.agreed_lab if reading else agreed
    if not shown and not others:
        nothing = "there is no photo to show: take one after a coat, with a white card in it"
        raise NoAnswerError("; ".join([nothing, *notes]))
    last = None if agreed is None else (_three(agreed), ("the planned colour", "computed, without its texture"))
    title = f"{scheme.name}: photos in one light"
    pixels = photo_strip(shown, title=title, notes=[_NOTE, *notes], agreed=last, others=others)
    return Strip(pixels, len(shown) + len(others), tuple(notes))


def strip_file(job: Path, *, out: Path | None = None, force: bool = False, zone: tzinfo | None = None) -> Strip:
    """Write the strip into the job's own folder for it, or `out`. Raises as `strip_of` does, and OutputError."""
    scheme_path = scheme_of_job(job)
    found = strip_of(scheme_path, zone=zone)
    folder = out or results_place(scheme_path, "strip").folder
    with written_together(folder, [STRIP], force=force, inputs=_photos(scheme_path)) as paths:
        Image.fromarray(found.pixels).save(paths[STRIP], "PNG")
    return Strip(found.pixels, found.photos, found.notes, folder / STRIP)


def _photos(scheme_path: Path) -> list[Path]:
    log = scheme_path.parent / LOG_NAME
    done: Done = done_of(entries_of(read_lines(log), scheme_path, log), log)
    return [scheme_path, log, *(log.parent / photo.file for photo in done.photos)]


def _order(photo: PhotoRead) -> tuple[bool, float, int, float]:
    """In the order of the coats: base, entries, clear; what is of one coat by its time; what does not count last."""
    entry = float("inf") if photo.entry == CLEAR_COAT else photo.entry
    return bool(photo.refused), entry, photo.number, photo.time.timestamp()


def _readings(read: JobLog, log: Path) -> dict[str, ReadingEntry]:
    """The readings that stand, by the photo that they were taken from. Raises InputError for one that is none."""
    stand = (entry for entry in read.entries if entry.what == "progress" and entry.stands)
    readings = [checked(ReadingEntry, entry, log) for entry in stand]
    return {reading.photo: reading for reading in readings if reading.photo}


def _label(scheme: Scheme, photo: PhotoRead) -> str:
    on = ", on a card" if photo.of == "card" else ""
    if photo.entry == BASE_COAT:
        return f"bare base{on}"
    if photo.entry == CLEAR_COAT:
        return f"clear, coat {photo.number}{on}"
    if photo.entry > len(scheme.coats):
        return f"coat {photo.entry}, {photo.number}{on}"
    coat = scheme.coats[photo.entry - 1]
    return f"{coat.label}, coat {photo.number} of {coat.coats}{on}"


def _when(photo: PhotoRead, zone: tzinfo | None) -> str:
    at = photo.time.astimezone(zone)
    return f"{at.day} {at:%B %Y, %H:%M}"


def _away(photo: PhotoRead, reading: ReadingEntry | None) -> str:
    if reading is not None:
        return f"{reading.to_agreed:.1f} from the agreed {reading.mix}"
    return "not counted, the diary says why" if photo.refused else "not counted"


def _three(lab: list[float]) -> tuple[float, float, float]:
    return float(lab[0]), float(lab[1]), float(lab[2])
