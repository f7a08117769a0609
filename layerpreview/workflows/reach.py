"""How to reach a wanted colour: recipes, what each costs in coats, film and stripes, and what to do if none does."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from layerpreview.answers.atlas_near import Atlas
from layerpreview.answers.gun import gun_set
from layerpreview.answers.ladder import ground_for, others_around
from layerpreview.answers.reach import Limits
from layerpreview.answers.readings import READINGS, readings_of
from layerpreview.answers.recipes import Reached, recipes_nearing
from layerpreview.colour import JUST_SEEN_DE00
from layerpreview.errors import InputError, Problem
from layerpreview.finish.patches import Patches, per_mg_m2
from layerpreview.output.files import written_together
from layerpreview.output.reach_result import REACH_NAMES, reach_result
from layerpreview.output.result import Result
from layerpreview.picture.faces import FaceShape, shapes_of
from layerpreview.picture.scene import make_scene
from layerpreview.picture.spots import FIGURES_WIDTH_PX, Spot, spots_of
from layerpreview.scheme import Dye, Scheme, library_names, load_library_dye, load_scheme
from layerpreview.workflows.atlas_asked import atlas_over
from layerpreview.workflows.choices import photo_of_target, target_from, with_lights
from layerpreview.workflows.typed import numbers_typed

MOST_FILMS = 12
DARKER = ", as deep over this base's own darkness"


@dataclass(frozen=True)
class Sought:
    """What is looked for besides the colour: `dyes` as `dyes_from` takes them, the painter's `limits`, how near is near
    enough, the number of the `coat` it is for (from 1; without one, in place of all dye), how the colour is meant
    (`answers.readings`) and the folder of an `atlas` to begin with, which must
    be of this base and these dyes."""

    dyes: Sequence[str] | None = None
    limits: Limits = field(default_factory=Limits)
    within_de00: float = JUST_SEEN_DE00
    coat: int | None = None
    reading: str = "mean"
    atlas: Path | None = None
    atlas_must: bool = True


def reach(
    scheme: Scheme,
    target: str,
    *,
    dyes: Sequence[str] | None = None,
    limits: Limits | None = None,
    lights: Sequence[str] | None = None,
    within_de00: float = JUST_SEEN_DE00,
    coat: int | None = None,
    reading: str = "mean",
    atlas: Path | None = None,
    cell_mm: float = 25.0,
    cell_px: int = 150,
) -> Result[Reached]:
    """Find recipes over the scheme's first base for `target`: "62, 12, 48", "#c88a3a", "photo.jpg@x,y,w,h", "step 3".

    `dyes`: names from the scheme or the library, or "library" for all twelve; without it the scheme's own. `limits`:
    see `limits_from`. `coat`: number of the coat of dye, from 1, that the recipe is to take the place of, among all
    others as they are; without it, in place of all dye. `reading`: "mean", the mean colour is to be `target`, or "hue",
    its hue and depth over the base's own darkness (see `answers.readings`). `atlas`: the folder of one of this base and
    these dyes, where the search then begins. Raises InputError, PictureError or
    SchemeError; an unreachable colour is an answer, not an error.
    """
    scheme = with_lights(scheme, lights)
    sought = Sought(dyes, limits or Limits(), within_de00, coat, reading, atlas)
    *_, found = seek(scheme, target, sought)
    return reach_result(scheme, found, cell_mm=cell_mm, cell_px=cell_px, photo=photo_of_target(target))


def seek(
    scheme: Scheme, target: str, sought: Sought, *, parts: Sequence[FaceShape] = (), spots: Sequence[Spot] = ()
) -> Iterator[Reached]:
    """The best so far, again and again while the search goes on; the last is the answer of `reach`.

    `parts`, `spots`: faces and places of the scheme, where they were made already. Raises as `reach` does.
    """
    if sought.reading not in READINGS:
        remedy = f"use one of {', '.join(READINGS)}"
        raise InputError(Problem("this is no way to read a colour", remedy, field="--reading", value=sought.reading))
    chosen = dyes_from(sought.dyes, scheme)
    shapes = parts or shapes_of(scheme)
    spots = spots or spots_of(scheme, make_scene(scheme, width_px=FIGURES_WIDTH_PX, shapes=shapes))
    wanted = target_from(target, scheme, spots)
    at = sought.coat
    ground = ground_for(scheme, spots, wanted.mix) if at is None else others_around(scheme, spots, at - 1)
    readings = readings_of(ground.undyed().patches(scheme, per_mg_m2([])), wanted.lab, chosen=sought.reading)
    under = ground.patches(scheme, per_mg_m2(list(chosen.values())))
    atlas = _atlas(sought, under, list(chosen))
    for found in recipes_nearing(
        scheme,
        ground,
        readings.aimed,
        wanted=wanted.words + (DARKER if sought.reading == "hue" else ""),
        dyes=chosen,
        limits=sought.limits,
        gun=gun_set(scheme, shapes[0].outline),
        within_de00=sought.within_de00,
        atlas=atlas,
    ):
        yield replace(found, readings=readings)


def _atlas(sought: Sought, patches: Patches, dyes: Sequence[str]) -> Atlas | None:
    """The atlas to begin with. Raises InputError for one of another base or other dyes, where it must fit."""
    if sought.atlas is None:
        return None
    try:
        return atlas_over(sought.atlas, patches, dyes, sought.limits.most_dyes)
    except InputError:
        if sought.atlas_must:
            raise
        return None


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
    coat: int | None = None,
    reading: str = "mean",
    atlas: Path | None = None,
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
            scheme,
            target,
            dyes=dyes,
            limits=limits,
            within_de00=within_de00,
            coat=coat,
            reading=reading,
            atlas=atlas,
            cell_mm=cell_mm,
            cell_px=cell_px,
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
    problems: list[Problem] = []
    films: tuple[float, ...] = ()
    try:
        listed = numbers_typed(films_um, "--films", most=MOST_FILMS, low=1.0, high=1000.0, example="20,40,65")
        films = tuple(dict.fromkeys(listed))
    except InputError as error:
        problems += error.problems
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
