"""What people type: lights, angles of the eye and the lamp, and a wanted colour as L*a*b* numbers, a screen colour, a
patch of a photo, or a step of the scheme.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from layerpreview.answers.ladder import ladder_of
from layerpreview.colour import (
    DISPLAY_WHITE_XYZ,
    RGB_LIN_TO_XYZ,
    XYZ_TO_RGB_LIN,
    lab_to_xyz,
    light_called,
    rgb_basis,
    spectrum_to_lab,
    srgb_code,
    srgb_hex_to_rgb_lin,
    xyz_to_lab,
)
from layerpreview.errors import InputError, Problem
from layerpreview.finish.view import MOST_LAMP_DEG, MOST_VIEW_DEG, View, surroundings_of
from layerpreview.picture.spots import Spot
from layerpreview.scheme import Scheme
from layerpreview.surface.photo import srgb_table
from layerpreview.surface.picture_file import read_picture
from layerpreview.workflows.typed import number_typed, numbers_typed

MOST_VIEWS = 24
MARGIN = 0.05
"""Ground around the pictures of a part, as a share of its widest face."""


def with_lights(scheme: Scheme, lights: Sequence[str] | None) -> Scheme:
    """The scheme under other lights than its own. Raises InputError for unknown ones, all at once."""
    if not lights:
        return scheme
    problems, found = [], []
    for light in lights:
        try:
            found.append(light_called(light))
        except InputError as error:
            problems += [replace(problem, field="--light") for problem in error.problems]
    if problems:
        raise InputError(problems)
    return scheme.model_copy(update={"lights": tuple(dict.fromkeys(found))})


def views_from(text: str, lamp_deg: float | None) -> list[View]:
    """The views in "0,15,45,70", each once and in the order written, under a lamp or even light; to a hundredth of a
    degree, as they are shown.

    Raises InputError where one is no number or out of range, or the lamp's is.

    >>> [view.view_deg for view in views_from("0, 45", None)]
    [0.0, 45.0]
    """
    problems = list(_lamp_problems(lamp_deg))
    angles: tuple[float, ...] = ()
    try:
        angles = numbers_typed(
            text, "--view", most=MOST_VIEWS, low=-MOST_VIEW_DEG, high=MOST_VIEW_DEG, example="0,15,45,70"
        )
    except InputError as error:
        problems += (list(_angle_problems(text)) if "," in text else []) or error.problems
    if problems:
        raise InputError(problems)
    return list(dict.fromkeys(View(round(angle, 2), lamp_deg) for angle in angles))


def _angle_problems(text: str) -> Iterator[Problem]:
    """What is wrong with each angle of several, all at once; nothing where that is something of the whole."""
    for part in text.split(","):
        try:
            number_typed(part, "--view", low=-MOST_VIEW_DEG, high=MOST_VIEW_DEG, example="0,15,45,70")
        except InputError as error:
            yield from error.problems


def view_from(text: str, lamp_deg: float | None) -> View:
    """The one view in "45" or "22,5", as of `views_from`. Raises InputError.

    >>> view_from("22,5", None).view_deg
    22.5
    """
    problems, angle = list(_lamp_problems(lamp_deg)), 0.0
    try:
        angle = number_typed(text, "--view", low=-MOST_VIEW_DEG, high=MOST_VIEW_DEG, example="45")
    except InputError as error:
        problems += error.problems
    if problems:
        raise InputError(problems)
    return View(round(angle, 2), lamp_deg)


def views_around(scheme: Scheme, views: Sequence[View], around: str) -> list[View]:
    """The views in the surroundings of a name, the scheme's own or one that is built in. Raises InputError."""
    found = surroundings_of(scheme, around, field="--around")
    return [replace(view, around=found) for view in views]


def coats_in_short(scheme: Scheme) -> str:
    """The coats in one line, in the order they are sprayed."""
    parts = []
    for coat in scheme.coats:
        burst = " (burst)" if coat.bursts else ""
        place = "" if coat.everywhere else f" on {coat.zone}"
        parts.append(f"{coat.coats} x {coat.label}{burst}{place}")
    return "; ".join([*(parts or ["no dye"]), f"{scheme.clear.finish} clear"])


def _lamp_problems(lamp_deg: float | None) -> list[Problem]:
    if lamp_deg is None or 0.0 <= lamp_deg <= MOST_LAMP_DEG:
        return []
    rule = f"a lamp must lie between 0 and {MOST_LAMP_DEG:g} degrees from straight on"
    return [Problem(rule, "write for example 45", field="--lamp", value=f"{lamp_deg:g}")]


F64 = NDArray[np.float64]

HOW = 'write "62, 12, 48" (L*, a*, b*), "#c88a3a", "photo.jpg@x,y,width,height", or "step 3" of the scheme\'s first mix'
_PATCH = re.compile(r"(.+)@(\d+),(\d+),(\d+),(\d+)")


@dataclass(frozen=True, eq=False)
class Target:
    """`lab` (lights, 3), the wanted colour in words, and the scheme's `mix` that it is a step of."""

    lab: F64
    words: str
    mix: str | None = None


def target_from(text: str, scheme: Scheme, spots: Sequence[Spot]) -> Target:
    """The target written as `text`, under each of the scheme's lights.

    Numbers, screen colours and photos are meant under the first light, adapted to D65 as all L*a*b* here is; under
    another they shift as a plain surface of that colour would. A step "step 3" or "step 3 of plum" looks under each
    light as this scheme's mix does there, so it can be a fitted one; `spots` are all places of the scheme.
    Raises InputError for anything else and PictureError for a photo that cannot be read.
    """
    clean = text.strip()
    with suppress(InputError):
        return _plain(_screen_lab(srgb_hex_to_rgb_lin(srgb_code(clean))), f"the screen colour {clean}", scheme)
    if re.match(r"[-+\u2212.,\d]", clean):
        return _plain(_numbers(clean), "L*a*b*", scheme)
    step = re.fullmatch(r"step\s+(\d+)(?:\s+of\s+(.+))?", clean)
    if step:
        return _step(int(step[1]), step[2], scheme, spots)
    patch = _PATCH.fullmatch(clean)
    if patch:
        x, y, wide, high = (int(v) for v in patch.groups()[1:])
        lab = _screen_lab(_patch_mean(Path(patch[1]), x, y, wide, high, clean))
        return _plain(lab, f"a patch of {Path(patch[1]).name}", scheme)
    raise InputError(Problem("this is no colour", HOW, field="target", value=repr(text)))


def photo_of_target(text: str) -> Path | None:
    """The photo that a target "photo.jpg@x,y,width,height" is picked from; None for every other target."""
    patch = _PATCH.fullmatch(text.strip())
    return Path(patch[1]) if patch else None


def _plain(lab: F64, words: str, scheme: Scheme) -> Target:
    """The colour as a plain surface of a smooth spectrum: it shifts with the light as such a surface does."""
    rgb_lin = lab_to_xyz(lab, white_xyz=DISPLAY_WHITE_XYZ) @ XYZ_TO_RGB_LIN.T
    spectrum = np.maximum(rgb_lin @ rgb_basis(), 0.0)
    seen = [spectrum_to_lab(spectrum, light=light, observer_deg=scheme.observer_deg) for light in scheme.lights]
    shown = f"{words}: L* {lab[0]:.1f}, a* {lab[1]:.1f}, b* {lab[2]:.1f}"
    return Target(lab + np.stack(seen) - seen[0], shown)


def _screen_lab(rgb_lin: F64) -> F64:
    return xyz_to_lab(np.asarray(rgb_lin) @ RGB_LIN_TO_XYZ.T, white_xyz=DISPLAY_WHITE_XYZ)


def _numbers(text: str) -> F64:
    """L*, a* and b*, with commas or blanks between."""
    with_signs = text if re.search("[,;]", text) else ",".join(text.split())
    try:
        lab = np.array(numbers_typed(with_signs, "target", least=3, most=3))
    except InputError:
        raise InputError(Problem("three numbers are wanted", HOW, field="target", value=repr(text))) from None
    if not (0.0 <= lab[0] <= 100.0 and np.abs(lab[1:]).max() <= 150.0):
        rule = "L* lies between 0 and 100, a* and b* between -150 and 150"
        raise InputError(Problem(rule, HOW, field="target", value=repr(text)))
    return lab


def _step(coats: int, mix: str | None, scheme: Scheme, spots: Sequence[Spot]) -> Target:
    if not 1 <= coats <= 60:
        raise InputError(Problem("1 to 60 coats", 'write for example "step 3"', field="target", value=f"step {coats}"))
    try:
        ladder = ladder_of(scheme, spots, mix=mix, most_coats=coats)
    except InputError as error:
        raise InputError(replace(problem, field="target") for problem in error.problems) from None
    rung = ladder.rows[0][-1]
    lab = np.array([rung.lab[light] for light in scheme.lights])
    words = f"{coats} x {ladder.mix}: L* {lab[0, 0]:.1f}, a* {lab[0, 1]:.1f}, b* {lab[0, 2]:.1f}"
    return Target(lab, words, ladder.mix)


def _patch_mean(path: Path, x: int, y: int, wide: int, high: int, text: str) -> F64:
    picture = read_picture(path)
    if wide < 1 or high < 1 or x + wide > picture.width_px or y + high > picture.height_px:
        size = f"the patch must lie in the picture of {picture.width_px} x {picture.height_px} px"
        raise InputError(Problem(size, "write x, y, width, height in pixels", field="target", value=repr(text)))
    numbers = picture.pixels[y : y + high, x : x + wide]
    light = srgb_table(np.iinfo(numbers.dtype).max + 1)[numbers]
    mean = light.reshape(high * wide, -1).mean(axis=0, dtype=np.float64)
    return np.asarray(np.broadcast_to(mean, (3,)))
