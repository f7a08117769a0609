"""How to reach a wanted colour: recipes, what each costs in coats, film and stripes, and what to do if none does."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from layerpreview.answers.alternatives import Alternative, alternatives
from layerpreview.answers.ladder import Beneath, ground_for
from layerpreview.answers.reach import Limits, Reach, units_of
from layerpreview.answers.uneven import one_coat_cv
from layerpreview.colour import DISPLAY_WHITE_XYZ, JUST_SEEN_DE00, XYZ_TO_RGB_LIN, lab_to_xyz, visibility
from layerpreview.errors import InputError, Problem
from layerpreview.film import MetalBase, diffuse_film, metal_film
from layerpreview.finish.layers import colour_spectrum, first_stack
from layerpreview.finish.look import make_look
from layerpreview.finish.patches import Patches, per_mg_m2
from layerpreview.finish.stack import DyeLayer
from layerpreview.output.charts import reach_chart
from layerpreview.output.files import write_text, written_together
from layerpreview.output.pictures import write_picture
from layerpreview.output.plain_json import plain_json
from layerpreview.output.png import encode_srgb8
from layerpreview.output.swatches import base_cell, swatch_grid, textured_cells
from layerpreview.picture.scene import make_scene
from layerpreview.picture.spots import spots_of
from layerpreview.scheme import Dye, Scheme, library_names, load_library_dye, load_scheme
from layerpreview.spray.passes import HANDS
from layerpreview.workflows.gun import GunSet, gun_set
from layerpreview.workflows.ladder import FIGURES_WIDTH_PX
from layerpreview.workflows.render import with_lights
from layerpreview.workflows.target import Target, photo_of_target, target_from

F64 = NDArray[np.float64]

CLOUD = 120_000
MANY = 5
STEADY = "good"
CHART, SWATCHES, FIGURES = "reach.png", "alternatives.png", "reach.json"
OTHER_BASES = {"a white base": ("solid", "#f4f4f1"), "a bright, smooth silver base": ("metal", "#dcdde0")}


@dataclass(frozen=True)
class Reached:
    """The answer: `alternatives` closest first; `reached` when the closest is within `within_de00` under every light;
    `advice` says what would bring it nearer where it is not."""

    folder: Path
    files: tuple[str, ...]
    wanted: str
    wanted_lab: dict[str, tuple[float, float, float]]
    lights: tuple[str, ...]
    dyes: tuple[str, ...]
    within_de00: float
    reached: bool
    nearest_de00: float
    alternatives: tuple[Alternative, ...]
    advice: tuple[str, ...]
    notes: tuple[str, ...]

    @property
    def verdict(self) -> str:
        """The answer in one line."""
        wanted = self.wanted[0].upper() + self.wanted[1:]
        if self.reached:
            return f"{wanted}: can be reached, {self.nearest_de00:.1f} away ({visibility(self.nearest_de00)})"
        return (
            f"{wanted}: cannot be reached over this base with {_listed(self.dyes)} within these limits; the "
            f"nearest is {self.nearest_de00:.1f} away ({visibility(self.nearest_de00)})"
        )


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
) -> Reached:
    """Find recipes over the scheme's base for `target` (see `target_from`) and write pictures and figures.

    `dyes`: names from the scheme or the library, or "library" for all twelve; without it the scheme's own.
    Raises InputError, PictureError, SchemeError or OutputError; an unreachable colour is an answer, not an error.
    """
    scheme = with_lights(load_scheme(scheme_path), lights)
    chosen = dyes_from(dyes, scheme)
    bounds = limits or Limits()
    names = [CHART, SWATCHES, FIGURES]
    photo = photo_of_target(target)
    inputs = [*scheme.inputs, *([photo] if photo else [])]
    with written_together(out, names, force=force, inputs=inputs) as paths:
        scene = make_scene(scheme, width_px=FIGURES_WIDTH_PX)
        spots, gun = spots_of(scheme, scene), gun_set(scheme, scene.faces[0].picture.outline)
        wanted = target_from(target, scheme, spots)
        ground = ground_for(scheme, spots, wanted.mix)
        reach = reach_of(scheme, ground, chosen, bounds)
        near = reach.nearest(wanted.lab)
        found = alternatives(
            reach,
            near,
            wanted.lab,
            names=list(chosen),
            powders=[dye.concentrate_g_per_L is None for dye in chosen.values()],
            ripple_cv=one_coat_cv(gun.how, HANDS[STEADY]),
        )
        closest = min(found, key=lambda a: a.worst_de00)
        reached = closest.worst_de00 <= within_de00
        result = Reached(
            folder=out,
            files=tuple(names),
            wanted=wanted.words,
            wanted_lab={light: _triple(wanted.lab[i]) for i, light in enumerate(scheme.lights)},
            lights=scheme.lights,
            dyes=tuple(chosen),
            within_de00=within_de00,
            reached=reached,
            nearest_de00=closest.worst_de00,
            alternatives=tuple(found),
            advice=() if reached else tuple(_what_helps(scheme, ground, wanted, chosen, bounds, closest.worst_de00)),
            notes=tuple(_notes(gun, bounds, ground)),
        )
        chart = reach_chart(
            reach.cloud(CLOUD),
            wanted=wanted.lab[0],
            nearest=np.array(closest.lab[scheme.lights[0]]),
            title=f"What can be reached over this base with {_listed(tuple(chosen))}",
            notes=[
                f"{result.verdict}. Light {scheme.lights[0]}; each cell is a colour some recipe gives within the "
                f"limits: "
                f"{_limit_words(bounds)}. Mean of the base; computed, approximate."
            ],
        )
        write_picture(chart, paths[CHART])
        write_picture(
            _swatches(scheme, result, reach, ground, wanted, cell_mm, cell_px),
            paths[SWATCHES],
            pixel_mm=cell_mm / cell_px,
        )
        document = {"scheme": scheme.name, "approximate": True, "verdict": result.verdict, **asdict(result)}
        document |= {"gun": asdict(gun.how.gun), "overlap": gun.how.overlap, "gun_from": gun.fan_sources}
        write_text(paths[FIGURES], plain_json(document))
    return result


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


def reach_of(scheme: Scheme, ground: Beneath, dyes: dict[str, Dye], limits: Limits) -> Reach:
    """All that can be reached over what the scheme has under it (see `ground_for`)."""
    return _over(ground.patches(scheme, per_mg_m2([])), dyes, limits)


def _what_helps(
    scheme: Scheme, ground: Beneath, wanted: Target, dyes: dict[str, Dye], limits: Limits, now_de00: float
) -> list[str]:
    """Other dyes, wider limits and other bases, each with the distance it would leave; the nearest first."""
    more = dyes | {name: load_library_dye(name) for name in library_names() if name not in dyes}
    wide = replace(
        limits,
        strongest_per_L=limits.strongest_per_L * 2.0,
        most_coats=limits.most_coats * 2,
        most_film_um=limits.most_film_um * 2.0,
    )
    de, used = _best(reach_of(scheme, ground, more, limits), wanted, list(more))
    found = [
        (de, f"over this base with {used}"),
        (
            _best(reach_of(scheme, ground, dyes, wide), wanted, list(dyes))[0],
            "with twice the strength and twice the film",
        ),
    ]
    veil = first_stack(scheme, bare=True).veil
    for words, (kind, colour) in OTHER_BASES.items():
        film = diffuse_film() if kind == "solid" else metal_film(MetalBase(flake_spread=scheme.base.flake_spread))
        other = Patches(film, colour_spectrum(colour), per_mg_m2([]), scheme.lights, scheme.observer_deg, veil)
        same, _ = _best(_over(other, dyes, limits), wanted, list(dyes))
        de, used = _best(_over(other, more, limits), wanted, list(more))
        found.append(
            (same, f"over {words} with the same dyes") if same < de + 0.3 else (de, f"over {words} with {used}")
        )
    # What is not seen is equally good: then another dye comes before another base, as it is less work.
    better = sorted((item for item in found if item[0] < now_de00 - 0.3), key=lambda f: max(f[0], JUST_SEEN_DE00))
    if not better:
        return ["Neither another dye of the library, another base nor wider limits would bring it nearer."]
    return [f"{words}: {de:.1f} away ({visibility(de)})" for de, words in better]


def _over(base: Patches, dyes: dict[str, Dye], limits: Limits) -> Reach:
    patches = replace(base, absorbance10_per_mg_m2=per_mg_m2(list(dyes.values())))
    return Reach(patches, units_of([dye.concentrate_g_per_L for dye in dyes.values()]), limits)


def _best(reach: Reach, wanted: Target, names: Sequence[str]) -> tuple[float, str]:
    """The nearest distance, and the fewest dyes that come within 0.1 of it."""
    near = reach.nearest(wanted.lab)
    close = near.load_mg_m2[near.de00 <= near.de00[0] + 0.1]
    fewest = close[np.argmin((close > 0.0).sum(axis=1))]
    return float(near.de00[0]), _listed([name for name, load in zip(names, fewest, strict=True) if load > 0.0])


def _swatches(
    scheme: Scheme, result: Reached, reach: Reach, ground: Beneath, wanted: Target, cell_mm: float, cell_px: int
) -> NDArray[np.uint8]:
    """The wanted colour flat, and every alternative on the scheme's own texture under the first light."""
    light = scheme.lights[0]
    cell, tint = base_cell(scheme, cell_mm=cell_mm, cell_px=cell_px, face=ground.spot.face)
    loads = np.array([a.load_mg_m2 for a in result.alternatives])
    most = np.maximum(loads.max(axis=0), 1e-9)
    layers = tuple(DyeLayer(row * load) for row, load in zip(reach.patches.absorbance10_per_mg_m2, most, strict=True))
    stack = ground.stack(scheme, above=layers)
    builds = np.pad(loads / most, [(0, 0), (len(ground.layers), 0)], constant_values=1.0)
    look = make_look(stack, light=light, observer_deg=scheme.observer_deg, tint_rgb=tint)
    pictures = list(textured_cells(look, cell, builds, cell_px=cell_px))
    rgb = lab_to_xyz(wanted.lab[0], white_xyz=DISPLAY_WHITE_XYZ) @ XYZ_TO_RGB_LIN.T
    flat = np.broadcast_to(encode_srgb8(np.asarray(rgb, dtype=np.float32)), (cell_px, cell_px, 3))
    labels = [["wanted, flat", *(f"{n} {v:.0f}" for n, v in zip(("L*", "a*", "b*"), wanted.lab[0], strict=True))]]
    labels += [_label(a) for a in result.alternatives]
    cells = [np.ascontiguousarray(flat), *pictures]
    across = min(5, len(cells))
    rows = [list(range(i, min(i + across, len(cells)))) for i in range(0, len(cells), across)]
    return swatch_grid(
        [[cells[i] for i in row] for row in rows],
        [[labels[i] for i in row] for row in rows],
        title=result.verdict,
        notes=[
            f"Light {light}. Away: CIEDE2000 to the wanted colour, of the mean base; below 0.8 hardly anyone sees it. "
            f"Stripes: shift where the build is two standard deviations off, for a practised hand. {result.notes[0]}"
        ],
    )


def _label(a: Alternative) -> list[str]:
    lines = [f"{name} {amount:g} {a.units[name]}" for name, amount in a.strengths.items()]
    lines += [
        f"{a.coats} coat{'s' if a.coats > 1 else ''} of {a.film_um:g} um",
        f"away {a.worst_de00:.1f}, stripes {a.stripes_de00:.1f}",
    ]
    return lines + [", ".join(a.best_at[i : i + 2]) for i in range(0, len(a.best_at), 2)]


def _notes(gun: GunSet, limits: Limits, ground: Beneath) -> list[str]:
    over = f" Laid on {' and '.join(ground.over)} ({ground.spot.name})." if ground.over else ""
    return [
        f"Limits: {_limit_words(limits)}.{over}",
        f"Stripes are for this gun: {gun.fan_words}.",
        "Films and scatter of the hand are assumed; dyes of the library show the kind of colour. Spray a card first.",
        "CIEDE2000 is made for flat colours side by side; over effect finishes it is a guide.",
    ]


def _limit_words(limits: Limits) -> str:
    films = ", ".join(f"{film:g}" for film in limits.films_um)
    return (
        f"at most {limits.strongest_per_L:g} mL/L (g/L of powders) of dye in the mix, {limits.most_coats} coats of "
        f"{films} um, {limits.most_film_um:g} um of wet film, {limits.most_dyes} dyes"
    )


def _listed(names: Sequence[str]) -> str:
    if not names:
        return "no dye at all"
    if len(names) > MANY:
        return f"these {len(names)} dyes"
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _triple(values: F64) -> tuple[float, float, float]:
    return float(values[0]), float(values[1]), float(values[2])
