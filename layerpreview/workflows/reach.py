"""How to reach a wanted colour: recipes, what each costs in coats, film and stripes, and what to do if none does."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from layerpreview.answers.gun import gun_set
from layerpreview.answers.ladder import ground_for
from layerpreview.answers.reach import Limits
from layerpreview.answers.recipes import Reached, recipes_for
from layerpreview.colour import JUST_SEEN_DE00
from layerpreview.errors import InputError, Problem
from layerpreview.output.files import written_together
from layerpreview.output.reach_result import REACH_NAMES, reach_result
from layerpreview.output.result import Result
from layerpreview.picture.scene import make_scene
from layerpreview.picture.spots import FIGURES_WIDTH_PX, spots_of
from layerpreview.scheme import Dye, Scheme, library_names, load_library_dye, load_scheme
from layerpreview.workflows.choices import photo_of_target, target_from, with_lights


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
    scene = make_scene(scheme, width_px=FIGURES_WIDTH_PX)
    spots, gun = spots_of(scheme, scene), gun_set(scheme, scene.faces[0].picture.outline)
    wanted = target_from(target, scheme, spots)
    found = recipes_for(
        scheme,
        ground_for(scheme, spots, wanted.mix),
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
