"""On the day: a reading of the panel or a witness card, told against the scheme and kept in the job's log."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import AbstractContextManager
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from layerpreview.answers.progress import PHOTO_NOISE, READING_NOISE, Progress, entry_to_judge, standing
from layerpreview.colour import (
    DISPLAY_WHITE_XYZ,
    RGB_LIN_TO_XYZ,
    delta_e_2000,
    instrument_lab_to_lab,
    light_called,
    srgb_hex_to_rgb_lin,
    xyz_to_lab,
)
from layerpreview.errors import InputError, NoAnswerError, PictureError, Problem
from layerpreview.learn.read.frame_read import patch_means
from layerpreview.output.joblog import LOG_NAME, JobLog, read_lines, recorded
from layerpreview.output.progress_result import progress_result
from layerpreview.output.result import Result
from layerpreview.picture.spots import fullest_spot, main_spot, places_of
from layerpreview.scheme import DyeCoat, Scheme, load_scheme
from layerpreview.surface.picture_file import read_camera_photo, read_picture
from layerpreview.surface.touched_cells import Touch
from layerpreview.surface.touched_photo import TouchedPhoto, touched_photo

F64 = NDArray[np.float64]
BY_ONE_WHITE = "read from a photo by one white: its tone curve is taken as sRGB; trust it less"


@dataclass(frozen=True)
class Reading:
    """A colour as it was read: exactly one of `lab` (L*, a*, b*), `srgb` (#rrggbb) and `photo`.

    In a photo `patch` and `white` are x, y, width, height [px] of the spot and of a white or grey card beside it, which
    reflects `white_reflectance` [0..1]; or `card` is a touch on that card and `spots` are touches on the paint, each x
    and y as shares [0..1] of the picture. `light`: the scheme's first one where not given.
    """

    lab: Sequence[float] | None = None
    srgb: str | None = None
    photo: Path | None = None
    patch: Sequence[float] | None = None
    white: Sequence[float] | None = None
    card: Touch | None = None
    spots: Sequence[Touch] = ()
    white_reflectance: float = 0.9
    light: str | None = None


@dataclass(frozen=True)
class Logged(Progress):
    """The same, with the log and how many readings that count it now holds.

    A reading that is not to be believed is `logged` only if it was `kept` on purpose.
    """

    log: Path
    readings_in_log: int
    logged: bool
    kept: bool


def progress(
    scheme: Scheme,
    reading: Reading | Sequence[float] | str,
    *,
    coats_done: int,
    mix: str | None = None,
    coat: int | None = None,
    witness: bool = False,
    under_clear: bool = False,
    light: str | None = None,
    keep: bool = False,
) -> Result[Progress]:
    """Judge a reading taken after `coats_done` coats of one entry of the scheme.

    The entry is number `coat` of the figures; else the last one of `mix` (of any, where not named) that goes to the
    middle of the part, where it is read. A `witness` card is read for where that coat is fullest; see `standing` for
    `under_clear`.

    `reading`: L*, a*, b*, or "#rrggbb", or a `Reading`; under `light`, the scheme's first where not given. Nothing is
    logged before it is saved in the job's folder, and one that is not to be believed only if it is to `keep`.
    Raises InputError or PictureError.
    """
    if isinstance(reading, str):
        reading = Reading(srgb=reading, light=light)
    elif not isinstance(reading, Reading):
        reading = Reading(lab=reading, light=light)
    found = _judged(
        scheme, reading, coats_done=coats_done, mix=mix, coat=coat, witness=witness, under_clear=under_clear
    )

    def recording(folder: Path) -> AbstractContextManager[object]:
        believed = found.standing.believed
        if not (believed or keep):
            raise NoAnswerError(f"not logged: {found.standing.misfit}; look again, or say keep=True")
        line = progress_entry(scheme.file.name or scheme.name, found, witness, datetime.now(UTC))
        return recorded(folder / LOG_NAME, {**line, **({} if believed else {"kept": True})})

    return progress_result(found, recording=recording)


def log_progress(
    scheme_path: Path,
    reading: Reading,
    *,
    coats_done: int,
    mix: str | None = None,
    coat: int | None = None,
    witness: bool = False,
    under_clear: bool = False,
    log: Path | None = None,
    keep: bool = False,
    now: datetime | None = None,
) -> Logged:
    """Judge a reading for the scheme at `scheme_path` as `progress` does, and log it.

    The log stands beside the scheme unless `log` names another; `now` is the time written there. A reading that is not
    to be believed is judged and, unless it is to `keep`, not logged. Raises SchemeError, InputError, PictureError or
    OutputError; nothing is logged then.
    """
    scheme = load_scheme(scheme_path)
    check_coats(coats_done)
    log = log or scheme_path.parent / LOG_NAME
    before = read_lines(log)  # refused before the work where it is no log
    found = _judged(
        scheme, reading, coats_done=coats_done, mix=mix, coat=coat, witness=witness, under_clear=under_clear
    )
    believed = found.standing.believed
    logged, kept = believed or keep, keep and not believed
    if logged:
        line = progress_entry(scheme_path.name, found, witness, now or datetime.now(UTC))
        with recorded(log, {**line, **({"kept": True} if kept else {})}) as held:
            before = held
    torn = [
        f"line {number} of {log.name} is torn (a crash while writing?): passed over" for number in before.torn_lines
    ]
    notes = (*found.notes, *torn)
    return Logged(found.standing, found.lab, found.light, notes, log, _readings(before) + logged, logged, kept)


def _judged(
    scheme: Scheme,
    reading: Reading,
    *,
    coats_done: int,
    mix: str | None,
    coat: int | None,
    witness: bool,
    under_clear: bool,
) -> Progress:
    check_coats(coats_done)
    spots = places_of(scheme)
    entry = entry_to_judge(scheme, mix, number=coat, place=None if witness else main_spot(spots).laid)
    light = reading.light or scheme.lights[0]
    lab, notes = _lab(reading, light, scheme.observer_deg)
    notes += [] if coat else _which(scheme, entry, mix)
    notes += before_cutting(scheme, entry)
    found = standing(
        scheme,
        fullest_spot(spots, entry) if witness else main_spot(spots),
        lab,
        entry=entry,
        coats_done=coats_done,
        light=light,
        witness=witness,
        under_clear=under_clear,
        noise=READING_NOISE if reading.photo is None else PHOTO_NOISE,
    )
    return Progress(found, (float(lab[0]), float(lab[1]), float(lab[2])), light, tuple(notes))


def check_coats(coats_done: int) -> None:
    """Raise InputError for a number of coats that nobody lays."""
    if not 0 <= coats_done <= 60:
        rule = "must be a whole number from 0 to 60"
        raise InputError(
            Problem(rule, "say how many coats of this mix are on", field="--coats-done", value=str(coats_done))
        )


def _readings(log: JobLog) -> int:
    return sum(entry.what == "progress" and entry.stands for entry in log.entries)


def progress_entry(scheme: str, progress: Progress, witness: bool, now: datetime) -> dict[str, object]:
    """The log's line about a reading for the scheme of that file name."""
    found = progress.standing
    kept = (
        *("mix", "coats_done", "coats_planned", "to_agreed", "rung_to_agreed", "off_ladder"),
        *("gone_past", "advice", "rests_on", "under_clear"),
    )
    whole = asdict(found)
    ranges = {
        name: [round(whole[name][end], 3) for end in ("low", "likely", "high")] for name in ("build", "coats_left")
    }
    return {
        "what": "progress",
        "time": now.isoformat(timespec="seconds"),
        "scheme": scheme,
        "entry": found.entry + 1,
        "lab": [round(value, 2) for value in progress.lab],
        "light": progress.light,
        "witness": witness,
        **{name: whole[name] for name in kept},
        **ranges,
    }


def _which(scheme: Scheme, entry: int, mix: str | None) -> list[str]:
    """Which entry was judged, where none was named and it could be another."""
    coats = scheme.coats
    dyed = [i for i, coat in enumerate(coats) if isinstance(coat, DyeCoat)]
    same = [i for i in dyed if coats[i].label == coats[entry].label]
    if len(same) == 1 and (mix or entry == dyed[-1]):
        return []
    *first, last = [str(i + 1) for i in (same if len(same) > 1 else dyed)]
    what = coats[entry].label if len(same) > 1 else "dye"
    listed = f"coats {', '.join(first)} and {last} of the figures"
    return [f"{what} is sprayed as {listed}; this is about coat {entry + 1}, name another with --coat N"]


def before_cutting(scheme: Scheme, entry: int) -> list[str]:
    """What is said of a coat (from 0) that is rubbed off again in part."""
    share = scheme.coats[entry].cut_back
    told = f"coat {entry + 1} is cut back by {100 * share:g} % in the end: read it before, the colours here are of then"
    return [told] if share else []


def _lab(reading: Reading, light: str, observer_deg: int) -> tuple[F64, list[str]]:
    given = [name for name in ("lab", "srgb", "photo") if getattr(reading, name) is not None]
    if len(given) != 1:
        rule = f"exactly one reading is wanted, got {' and '.join(given) or 'none'}"
        raise InputError(Problem(rule, "give --lab 62,18,44 or --srgb #b0763c or --photo with --patch and --white"))
    light = light_called(light)
    if reading.lab is not None:
        stated = _stated_lab(reading.lab)
        lab = instrument_lab_to_lab(stated, light=light, observer_deg=observer_deg)
        moved = float(delta_e_2000(stated, lab)) > 0.05
        shown = ", ".join(f"{value:.1f}" for value in stated)
        return lab, [f"read as {shown} under {light}; all L*a*b* here is adapted to D65"] if moved else []
    if reading.srgb is not None:
        rgb, notes = srgb_hex_to_rgb_lin(reading.srgb), ["read off a screen or photo: less sure than an instrument"]
    else:
        rgb, notes = _photo_rgb(reading)
    return rgb_to_lab(np.asarray(rgb)), notes


def _stated_lab(lab: Sequence[float]) -> F64:
    values = np.array(lab, dtype=np.float64)
    if (
        values.shape != (3,)
        or not np.isfinite(values).all()
        or not 0 <= values[0] <= 105
        or np.abs(values[1:]).max() > 150
    ):
        rule = "L* from 0 to 100 and a*, b* within 150 of 0 are wanted"
        raise InputError(Problem(rule, "write for example --lab 62.1,18,44.5", field="--lab", value=str(list(lab))))
    return values


def _photo_rgb(reading: Reading) -> tuple[F64, list[str]]:
    """Linear light of the patch, over a white card beside it."""
    assert reading.photo is not None
    if reading.card is not None:
        seen = touched_photo(read_camera_photo(reading.photo), card=reading.card, spots=reading.spots)
        return touched_rgb(seen, reading.white_reflectance), [*seen.notes, BY_ONE_WHITE]
    if reading.patch is None or reading.white is None or len(reading.patch) != 4 or len(reading.white) != 4:
        rule = "a photo needs the pixels of the spot and of a white or grey card beside it"
        raise InputError(Problem(rule, "add --patch x,y,width,height and --white x,y,width,height", str(reading.photo)))
    picture = read_picture(reading.photo)
    boxes = [tuple(float(v) for v in box) for box in (reading.patch, reading.white)]
    for field, (x, y, wide, high) in zip(("--patch", "--white"), boxes, strict=True):
        if x < 0 or y < 0 or wide < 4 or high < 4 or x + wide > picture.width_px or y + high > picture.height_px:
            rule = f"not inside the picture ({picture.width_px} x {picture.height_px} px), or too small"
            raise PictureError(Problem(rule, "give x,y,width,height in pixels", picture.file, field=field))
    spot, card = patch_means(picture, [(b[0], b[1], b[2], b[3]) for b in boxes])
    if card.clipped.any():
        raise PictureError(Problem("the white card is overexposed", "expose less, or use a grey card", picture.file))
    notes = [*picture.notes, BY_ONE_WHITE]
    if spot.clipped.any():
        notes.append("part of the spot is overexposed: the reading is too light")
    return reading.white_reflectance * spot.rgb_lin / np.maximum(card.rgb_lin, 1e-4), notes


def touched_rgb(seen: TouchedPhoto, white_reflectance: float) -> F64:
    """Linear light (3,) of the touched spots together, over a card that reflects `white_reflectance`."""
    rgb = np.mean([spot.rgb_lin for spot in seen.spots], axis=0)
    return np.asarray(white_reflectance * rgb / np.maximum(seen.card.rgb_lin, 1e-4))


def rgb_to_lab(rgb_lin: F64) -> F64:
    """L*a*b* (..., 3), adapted to D65, of linear light as the screen has it."""
    return xyz_to_lab(rgb_lin @ RGB_LIN_TO_XYZ.T, white_xyz=DISPLAY_WHITE_XYZ)
