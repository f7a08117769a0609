"""A wanted colour as people say it, and how to reach it: recipes, what each costs, what to do if none comes near."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from layerpreview.answers.gun import gun_set
from layerpreview.answers.ladder import ladder_of
from layerpreview.answers.reach import Limits
from layerpreview.answers.recipes import Reached, recipes_for
from layerpreview.colour import (
    DISPLAY_WHITE_XYZ,
    JUST_SEEN_DE00,
    RGB_LIN_TO_XYZ,
    XYZ_TO_RGB_LIN,
    lab_to_xyz,
    rgb_basis,
    spectrum_to_lab,
    srgb_hex_to_rgb_lin,
    xyz_to_lab,
)
from layerpreview.errors import InputError, Problem
from layerpreview.output.files import written_together
from layerpreview.output.reach_result import REACH_NAMES, reach_result
from layerpreview.output.result import Result
from layerpreview.picture.scene import make_scene
from layerpreview.picture.spots import FIGURES_WIDTH_PX, mean_bare
from layerpreview.scheme import Dye, Scheme, library_names, load_library_dye, load_scheme
from layerpreview.surface.photo import srgb_table
from layerpreview.surface.picture_file import read_picture
from layerpreview.workflows.choices import with_lights

F64 = NDArray[np.float64]

HOW = 'write "62, 12, 48" (L*, a*, b*), "#c88a3a", "photo.jpg@x,y,width,height", or "step 3" of the scheme\'s first mix'
_PATCH = re.compile(r"(.+)@(\d+),(\d+),(\d+),(\d+)")


@dataclass(frozen=True, eq=False)
class Target:
    """`lab` (lights, 3), and the wanted colour in words."""

    lab: F64
    words: str


def target_from(text: str, scheme: Scheme, bare: F64) -> Target:
    """The target written as `text`, under each of the scheme's lights.

    Numbers, screen colours and photos are meant under the first light, adapted to D65 as all L*a*b* here is; under
    another they shift as a plain surface of that colour would. A step "step 3" or "step 3 of plum" looks under each
    light as this scheme's mix does there, so it can be a fitted one.
    Raises InputError for anything else and PictureError for a photo that cannot be read.
    """
    clean = text.strip()
    if clean.startswith("#"):
        return _plain(_screen_lab(srgb_hex_to_rgb_lin(clean)), f"the screen colour {clean}", scheme)
    numbers = re.fullmatch(r"\s*([-+.\d]+)\s*[,;\s]\s*([-+.\d]+)\s*[,;\s]\s*([-+.\d]+)\s*", clean)
    if numbers:
        return _plain(_numbers(clean, numbers.groups()), "L*a*b*", scheme)
    step = re.fullmatch(r"step\s+(\d+)(?:\s+of\s+(.+))?", clean)
    if step:
        return _step(int(step[1]), step[2], scheme, bare)
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


def _numbers(text: str, found: tuple[str, ...]) -> F64:
    try:
        lab = np.array([float(v) for v in found])
    except ValueError:
        raise InputError(Problem("three numbers are wanted", HOW, field="target", value=repr(text))) from None
    if not (0.0 <= lab[0] <= 100.0 and np.abs(lab[1:]).max() <= 150.0):
        rule = "L* lies between 0 and 100, a* and b* between -150 and 150"
        raise InputError(Problem(rule, HOW, field="target", value=repr(text)))
    return lab


def _step(coats: int, mix: str | None, scheme: Scheme, bare: F64) -> Target:
    if not 1 <= coats <= 60:
        raise InputError(Problem("1 to 60 coats", 'write for example "step 3"', field="target", value=f"step {coats}"))
    try:
        ladder = ladder_of(scheme, bare, mix=mix, most_coats=coats)
    except InputError as error:
        raise InputError(replace(problem, field="target") for problem in error.problems) from None
    rung = ladder.rows[0][-1]
    lab = np.array([rung.lab[light] for light in scheme.lights])
    return Target(lab, f"{coats} x {ladder.mix}: L* {lab[0, 0]:.1f}, a* {lab[0, 1]:.1f}, b* {lab[0, 2]:.1f}")


def _patch_mean(path: Path, x: int, y: int, wide: int, high: int, text: str) -> F64:
    picture = read_picture(path)
    if wide < 1 or high < 1 or x + wide > picture.width_px or y + high > picture.height_px:
        size = f"the patch must lie in the picture of {picture.width_px} x {picture.height_px} px"
        raise InputError(Problem(size, "write x, y, width, height in pixels", field="target", value=repr(text)))
    numbers = picture.pixels[y : y + high, x : x + wide]
    light = srgb_table(np.iinfo(numbers.dtype).max + 1)[numbers]
    mean = light.reshape(high * wide, -1).mean(axis=0, dtype=np.float64)
    return np.asarray(np.broadcast_to(mean, (3,)))


def reach(
    scheme: Scheme,
    target: str,
    *,
    dyes: Sequence[str] | None = None,
    limits: Limits | None = None,
    lights: Sequence[str] | None = None,
    within_de00: float = JUST_SEEN_DE00,
    cell_mm: float = 25.0,
    cell_px: int = 150,
) -> Result[Reached]:
    """Find recipes over the scheme's first base for `target`: "62, 12, 48", "#c88a3a", "photo.jpg@x,y,w,h", "step 3".

    `dyes`: names from the scheme or the library, or "library" for all twelve; without it the scheme's own. `limits`:
    see `limits_from`. Raises InputError, PictureError or SchemeError; an unreachable colour is an answer, not an error.
    """
    scheme = with_lights(scheme, lights)
    chosen = dyes_from(dyes, scheme)
    face = make_scene(scheme, width_px=FIGURES_WIDTH_PX).faces[0]
    bare, gun = mean_bare(face), gun_set(scheme, face.picture.outline)
    wanted = target_from(target, scheme, bare)
    found = recipes_for(
        scheme,
        bare,
        wanted.lab,
        wanted=wanted.words,
        dyes=chosen,
        limits=limits or Limits(),
        gun=gun,
        within_de00=within_de00,
    )
    return reach_result(scheme, found, cell_mm=cell_mm, cell_px=cell_px, photo=photo_of_target(target))


def reach_files(
    scheme_path: Path,
    target: str,
    *,
    out: Path,
    force: bool = False,
    dyes: Sequence[str] | None = None,
    limits: Limits | None = None,
    lights: Sequence[str] | None = None,
    within_de00: float = JUST_SEEN_DE00,
    cell_mm: float = 25.0,
    cell_px: int = 150,
) -> Result[Reached]:
    """Find recipes for `target` over the base of the scheme at `scheme_path` and write pictures and figures to `out`.

    The choices are those of `reach`. Raises InputError, PictureError, SchemeError or OutputError; nothing is written
    then.
    """
    scheme = with_lights(load_scheme(scheme_path), lights)
    photo = photo_of_target(target)
    inputs = [*scheme.inputs, *([photo] if photo else [])]
    with written_together(out, REACH_NAMES, force=force, inputs=inputs) as paths:
        found = reach(
            scheme, target, dyes=dyes, limits=limits, within_de00=within_de00, cell_mm=cell_mm, cell_px=cell_px
        )
        return found.written(paths, out)


def dyes_from(names: Sequence[str] | None, scheme: Scheme) -> dict[str, Dye]:
    """The dyes to choose from. Raises InputError listing every name that is neither the scheme's nor the library's."""
    library = library_names()
    wanted = list(names) if names else list(scheme.dyes)
    if "library" in wanted:
        wanted = [name for name in wanted if name != "library"] + list(library)
    known = [*scheme.dyes, *library]
    unknown = [name for name in wanted if name not in known]
    if unknown or not wanted:
        rule = "no such dye" if unknown else "no dyes to choose from"
        remedy = f"use the scheme's ({', '.join(scheme.dyes) or 'none'}) or the library's: {', '.join(library)}"
        raise InputError([Problem(rule, remedy, field="--dyes", value=name) for name in unknown or ["(none)"]])
    return {
        name: scheme.dyes[name] if name in scheme.dyes else load_library_dye(name) for name in dict.fromkeys(wanted)
    }


def limits_from(
    *,
    strongest_per_L: float = 40.0,
    most_coats: int = 8,
    films_um: str = "20,40,65",
    most_film_um: float = 400.0,
    most_dyes: int = 3,
) -> Limits:
    """The painter's limits as typed; `films_um` lists wet films of one coat [um]. Raises InputError listing all that is
    wrong.

    >>> limits_from(films_um="25, 40").films_um
    (25.0, 40.0)
    """
    problems = []
    try:
        films = tuple(float(part) for part in films_um.split(","))
    except ValueError:
        films = ()
    if not films or not all(1.0 <= film <= 1000.0 for film in films):
        problems.append(Problem("wet films from 1 to 1000 um", "write 20,40,65", field="--films", value=films_um))
    for name, value, low, high in (
        ("--strongest", strongest_per_L, 0.1, 500.0),
        ("--most-coats", most_coats, 1, 60),
        ("--most-film", most_film_um, min(films, default=1.0), 10_000.0),
        ("--most-dyes", most_dyes, 1, 3),
    ):
        if not low <= value <= high:
            problems.append(Problem(f"this lies between {low:g} and {high:g}", field=name, value=f"{value:g}"))
    if problems:
        raise InputError(problems)
    return Limits(strongest_per_L, most_coats, films, most_film_um, most_dyes)
