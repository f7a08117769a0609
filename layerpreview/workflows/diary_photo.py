"""A photo after a coat: copied into the job, judged by what was touched in it, and written into the diary."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Literal

import numpy as np

from layerpreview.answers.photo_day import (
    About,
    PhotoJudged,
    about,
    another_count,
    elsewhere,
    judged_words,
    last_coat,
    mean_noise,
    of_another_job,
    spread_de00,
)
from layerpreview.answers.progress import Progress, Standing, nearest_state, standing
from layerpreview.errors import InputError, PictureError, Problem
from layerpreview.job.done import Box, PhotoRead
from layerpreview.output.diary_entries import LONGEST_NOTE, done_of, entry_of
from layerpreview.output.job_entries import entries_of
from layerpreview.output.photo_copy import photo_copied
from layerpreview.picture.spots import Spot, fullest_spot, main_spot, places_of
from layerpreview.scheme import Scheme
from layerpreview.surface.picture_file import PictureData, read_camera_photo
from layerpreview.surface.touched_cells import Touch
from layerpreview.surface.touched_photo import TouchedPhoto, touched_photo
from layerpreview.workflows.diary import all_said, scheme_and_log
from layerpreview.workflows.places import PHOTOS
from layerpreview.workflows.progress import BY_ONE_WHITE, before_cutting, progress_entry, rgb_to_lab, touched_rgb
from layerpreview.workflows.typed import place_typed

_LEAST_LAID = 0.05


def photo_said(
    job: Path,
    photo: Path,
    *,
    card: Touch,
    spots: Sequence[Touch],
    of: Literal["part", "card"] = "part",
    entry: int | None = None,
    number: int | None = None,
    light: str | None = None,
    white_reflectance: float = 0.9,
    place: str | None = None,
    note: str = "",
    keep: bool = False,
    now: datetime | None = None,
) -> PhotoJudged:
    """Judge a photo of the part, or of a witness card, and write it into the diary of `job` (its folder or scheme).

    `card`: a touch on a white or grey card in it, which reflects `white_reflectance`; `spots`: touches on the paint,
    all as shares [0..1] of the picture's width and height. `entry` and `number`: after which coat it was taken, as the
    diary counts them; the one laid last where not given. `place`: the name of the place touched on the part, as in the
    figures. A photo that cannot be judged is kept with the reason; one that fits the scheme (or that is to `keep`) is a
    reading that counts, too. The same photo with the same touches counts once.
    Raises SchemeError, InputError, PictureError for what is no picture, and OutputError; nothing is written then.
    """
    scheme, log, read = scheme_and_log(job)
    done = done_of(entries_of(read, scheme.file, log), log)
    last = last_coat(done)
    entry = last[0] if entry is None else entry
    number = (last[1] if entry == last[0] else max(1, done.coats_of(entry))) if number is None else number
    when = (now or datetime.now(UTC)).astimezone(UTC)
    picture, data = read_camera_photo(photo), photo.read_bytes()
    about_it = repr((entry, number, of, card, tuple(spots), place, light, white_reflectance)).encode()
    own = f"photo-{hashlib.sha256(data + about_it).hexdigest()[:16]}"
    name = f"{PHOTOS}/photo_{hashlib.sha256(data).hexdigest()[:10]}.jpg"
    base = PhotoRead(
        id=own,
        time=when,
        note=note,
        file=_in_job(photo, log.parent) or name,
        of=of,
        entry=entry,
        number=number,
        light=light or scheme.lights[0],
        white_reflectance=white_reflectance,
    )
    compared = about(scheme, entry, number, done)
    found, progress = _judged(scheme, base, picture, card, spots, place, compared, keep=keep)
    if any(each.id == own for each in done.photos):
        return replace(found, known=True)
    _write(found.photo, progress, scheme.file, log.parent / found.photo.file, picture)
    return found


def _in_job(photo: Path, folder: Path) -> str:
    """The way to a photo that lies in the job's own photos already, as one from the phone does; else nothing."""
    with suppress(ValueError):
        way = photo.resolve().relative_to(folder.resolve())
        if way.parts[0] == PHOTOS:
            return way.as_posix()
    return ""


def _judged(
    scheme: Scheme,
    base: PhotoRead,
    picture: PictureData,
    card: Touch,
    spots: Sequence[Touch],
    place: str | None,
    compared: About | str,
    *,
    keep: bool,
) -> tuple[PhotoJudged, Progress | None]:
    """The photo judged, not written yet, and its reading where that counts."""
    places = places_of(scheme)
    witness = base.of == "card"
    spot = None if isinstance(compared, str) else _place(places, compared.entry, place, witness=witness)
    if isinstance(compared, str) or spot is None:
        return _refused(base, str(compared)), None
    try:
        seen = touched_photo(picture, card=card, spots=spots)
    except PictureError as error:
        problem = error.problems[0]
        return _refused(base, "; ".join(filter(None, (problem.rule, problem.remedy)))), None
    return _compared(scheme, base, seen, places, spot, compared, keep=keep)


def _compared(
    scheme: Scheme,
    base: PhotoRead,
    seen: TouchedPhoto,
    places: Sequence[Spot],
    spot: Spot,
    compared: About,
    *,
    keep: bool,
) -> tuple[PhotoJudged, Progress | None]:
    witness, reflectance = base.of == "card", base.white_reflectance
    lab = rgb_to_lab(touched_rgb(seen, reflectance))
    parts = np.stack([each.parts for each in seen.spots]) * reflectance / np.maximum(seen.card.rgb_lin, 1e-4)
    pieces = rgb_to_lab(parts)
    spread = round(spread_de00(pieces), 2)
    base = replace(
        base,
        white=_four(seen.card.box),
        spots=tuple(_four(each.box) for each in seen.spots),
        lab=(round(float(lab[0]), 2), round(float(lab[1]), 2), round(float(lab[2]), 2)),
        spread_de00=spread,
    )
    state = nearest_state(scheme, places, lab, light=base.light, witness=witness)
    if why := of_another_job(state):
        return _refused(base, why, seen.notes), None
    stood = standing(
        scheme,
        spot,
        lab,
        entry=compared.entry,
        coats_done=compared.coats,
        light=base.light,
        witness=witness,
        under_clear=compared.under_clear,
        noise=mean_noise(pieces),
    )
    fullest = () if witness or spot.name == main_spot(places).name else (_only_there(stood),)
    notes = (*another_count(stood), *fullest, *seen.notes, BY_ONE_WHITE, *before_cutting(scheme, compared.entry))
    if not (stood.believed or keep):
        why = "; ".join([stood.misfit, *elsewhere(scheme, stood, state)])
        return replace(_refused(base, why, notes), standing=stood), None
    found = PhotoJudged(base, stood, judged_words(stood, spread, len(seen.spots)), notes, logged=True)
    return found, Progress(stood, (float(lab[0]), float(lab[1]), float(lab[2])), base.light, notes)


def _only_there(stood: Standing) -> str:
    """That the middle of the part says nothing of this coat."""
    return f"{stood.mix} does not reach the middle: it is judged where it is fullest ({stood.spot}), so touch it there"


def _four(box: Box) -> Box:
    left, top, width, height = (round(share, 4) for share in box)
    return left, top, width, height


def _refused(photo: PhotoRead, why: str, notes: Sequence[str] = ()) -> PhotoJudged:
    kept = replace(photo, refused=why[:LONGEST_NOTE], lab=None)
    return PhotoJudged(kept, None, (f"this photo cannot be judged: {why}",), tuple(notes), logged=False)


def _place(places: Sequence[Spot], entry: int, name: str | None, *, witness: bool) -> Spot:
    """Where on the part it was touched: as named; else the middle, or where this coat is fullest if none goes there."""
    if name is not None:
        found = next((spot for spot in places if name in (spot.name, spot.place)), None)
        if found is None:
            known = ", ".join(spot.name for spot in places)
            raise InputError(Problem("there is no place of this name", f"there are: {known}", value=name))
        return found
    middle = main_spot(places)
    return fullest_spot(places, entry) if witness or middle.laid[entry] < _LEAST_LAID else middle


def _write(photo: PhotoRead, progress: Progress | None, scheme: Path, place: Path, picture: PictureData) -> None:
    """Have the photo at its place in the job, and its lines in the log: all or nothing."""
    entry = entry_of(photo)
    values = {name: value for name, value in entry.items() if name != "what"}
    lines = []
    if progress is not None:
        lines.append(
            {**progress_entry(scheme.name, progress, photo.of == "card", photo.time), **_linked(photo, progress)}
        )
    made, folder_made = not place.exists(), not place.parent.exists()
    if made:
        photo_copied(picture, place)
    try:
        all_said(scheme, [(entry["what"], values)], now=photo.time, besides=lines)
    except BaseException:
        if made:
            place.unlink(missing_ok=True)
        if folder_made:
            with suppress(OSError):
                place.parent.rmdir()
        raise


def _linked(photo: PhotoRead, progress: Progress) -> dict[str, object]:
    """What the line of a reading says of its photo: which it is, and the agreed colour that it was compared with."""
    at = progress.standing
    rung = min(at.ladder, key=lambda rung: abs(rung.coats - at.coats_planned))
    kept = {} if at.believed else {"kept": True}
    return {"photo": photo.id, "agreed_lab": [round(value, 2) for value in rung.lab], **kept}


def touch_typed(text: str, field: str) -> Touch:
    """A touch as it is typed: "0.15, 0.3" or "15 %, 30 %" of the picture's width and height. Raises InputError.

    >>> touch_typed("15 %, 0.3", "--white")
    (0.15, 0.3)
    """
    return place_typed(text, field)
