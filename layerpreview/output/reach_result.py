"""What can be reached: recipes as a table, as swatches beside the wanted colour, and in a chart."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from layerpreview.answers.reach import Limits
from layerpreview.answers.recipes import Alternative, Reached, listed
from layerpreview.colour import DISPLAY_WHITE_XYZ, JUST_SEEN_DE00, XYZ_TO_RGB_LIN, delta_e_2000, lab_to_xyz
from layerpreview.finish.look import make_look
from layerpreview.finish.stack import DyeLayer
from layerpreview.output.charts import reach_chart
from layerpreview.output.pictures import write_picture
from layerpreview.output.plain_json import text_table
from layerpreview.output.png import screen_srgb8
from layerpreview.output.result import Paths, Result
from layerpreview.output.swatches import base_cell, swatch_grid, textured_cells
from layerpreview.scheme import Scheme

U8 = NDArray[np.uint8]

CLOUD = 120_000
CHART, SWATCHES, FIGURES = "reach.png", "alternatives.png", "reach.json"
REACH_NAMES = (CHART, SWATCHES, FIGURES)
HEADS = ("", "mix, in a litre", "coats", "wet film", "away", "stripes", "best at")


def reach_result(
    scheme: Scheme, found: Reached, *, cell_mm: float = 25.0, cell_px: int = 150, photo: Path | None = None
) -> Result[Reached]:
    """The recipes with their ways out; the table has a row for every recipe.

    A swatch shows and prints as `cell_mm` [mm] of the part in `cell_px` [px]; `photo`: the file the colour is from.
    """

    def swatches() -> U8:
        return _swatches(scheme, found, cell_mm=cell_mm, cell_px=cell_px)

    def write(paths: Paths) -> None:
        write_picture(_chart(scheme, found), paths[CHART])
        write_picture(swatches(), paths[SWATCHES], pixel_mm=cell_mm / cell_px)

    return Result(
        found=found,
        line=f"Reach {found.verdict}",
        document=lambda folder: _document(scheme, found, folder),
        rows=lambda: [_record(found, recipe) for recipe in found.alternatives],
        text=lambda: "\n".join([*reach_lines(found), ""]),
        names=REACH_NAMES,
        write=write,
        json_name=FIGURES,
        picture=swatches,
        inputs=(*scheme.inputs, *([photo] if photo else [])),
    )


def _document(scheme: Scheme, found: Reached, folder: Path | None) -> dict[str, object]:
    gun = found.gun
    return {
        "scheme": scheme.name,
        "approximate": True,
        "verdict": found.verdict,
        **({} if folder is None else {"folder": folder, "files": REACH_NAMES}),
        "wanted": found.wanted,
        "wanted_lab": found.wanted_lab,
        "readings": _readings(found),
        "lights": found.lights,
        "dyes": found.dyes,
        "within_de00": found.within_de00,
        "reached": found.reached,
        "nearest_de00": found.nearest_de00,
        "alternatives": found.alternatives,
        "advice": found.advice,
        "notes": notes_of(found),
        "gun": asdict(gun.how.gun),
        "overlap": gun.how.overlap,
        "gun_from": gun.fan_sources,
    }


def _readings(found: Reached) -> dict[str, object]:
    """How the colour was read, and L*a*b* of both readings and of the base by light."""
    read = found.readings
    if read is None:
        return {}
    labs = {"mean": read.mean, "hue": read.hue, "base": read.bare}
    return {
        "chosen": read.chosen,
        **{name: {light: lab[i] for i, light in enumerate(found.lights)} for name, lab in labs.items()},
    }


def _record(found: Reached, recipe: Alternative) -> dict[str, object]:
    """One recipe; of a dye that it does not use there is none of in it."""
    units = {name: unit for other in found.alternatives for name, unit in other.units.items()}
    strengths = {
        f"{name}_{unit.replace('/', '_per_')}": recipe.strengths.get(name, 0.0) for name, unit in units.items()
    }
    labs = {f"{axis}_{light}": v for light, lab in recipe.lab.items() for axis, v in zip("Lab", lab, strict=True)}
    return {
        **strengths,
        "coats": recipe.coats,
        "film_um": recipe.film_um,
        "total_film_um": recipe.total_film_um,
        **labs,
        "srgb": recipe.srgb,
        "worst_de00": recipe.worst_de00,
        "stripes_de00": recipe.stripes_de00,
        "best_at": ", ".join(recipe.best_at),
    }


def reach_lines(found: Reached) -> list[str]:
    """The verdict, the alternatives as a table, what would bring it nearer, and the small print."""
    table = text_table([HEADS, *(_row(i + 1, a) for i, a in enumerate(found.alternatives))])
    lines = [found.verdict + ".", "", *table, ""]
    if found.advice:
        lines += ["What would bring it nearer:", *(f"  {line}" for line in found.advice), ""]
    return [
        *lines,
        f"Away: CIEDE2000 to the wanted colour, the worst of {', '.join(found.lights)}. Stripes: the shift where the "
        "build is two standard deviations off, for a practised hand.",
        *notes_of(found),
    ]


def _row(number: int, a: Alternative) -> tuple[str, ...]:
    mix = ", ".join(f"{name} {amount:g} {a.units[name]}" for name, amount in a.strengths.items())
    film = f"{a.total_film_um:g} um"
    return (
        f"{number}",
        mix,
        f"{a.coats} x {a.film_um:g} um",
        film,
        f"{a.worst_de00:.1f}",
        f"{a.stripes_de00:.1f}",
        ", ".join(a.best_at),
    )


def _chart(scheme: Scheme, found: Reached) -> U8:
    light = scheme.lights[0]
    closest = min(found.alternatives, key=lambda recipe: recipe.worst_de00)
    return reach_chart(
        found.reach.cloud(CLOUD),
        wanted=np.array(found.wanted_lab[light]),
        nearest=np.array(closest.lab[light]),
        title=f"What can be reached over this base with {listed(found.dyes)}",
        notes=[
            f"{found.verdict}. Light {light}; each cell is a colour some recipe gives within the limits: "
            f"{_limit_words(found.reach.limits)}. Mean of the base; computed, approximate."
        ],
    )


def _swatches(scheme: Scheme, found: Reached, *, cell_mm: float, cell_px: int) -> NDArray[np.uint8]:
    """The wanted colour flat, and every alternative on the scheme's own texture under the first light."""
    light, patches = scheme.lights[0], found.reach.patches
    wanted = np.array(found.wanted_lab[light])
    cell = base_cell(scheme, cell_mm=cell_mm, cell_px=cell_px, face=found.ground.spot.face)
    loads = np.array([a.load_mg_m2 for a in found.alternatives])
    most = np.maximum(loads.max(axis=0), 1e-9)
    layers = tuple(DyeLayer(row * load) for row, load in zip(patches.absorbance10_per_mg_m2, most, strict=True))
    stack = found.ground.stack(scheme, above=layers)
    around = len(found.ground.layers), len(found.ground.later)
    builds = np.pad(loads / most, [(0, 0), around], constant_values=1.0)
    look = make_look(stack, light=light, observer_deg=scheme.observer_deg, tint_rgb=cell.tint_rgb)
    pictures = list(textured_cells(look, cell, builds, cell_px=cell_px))
    rgb = lab_to_xyz(wanted, white_xyz=DISPLAY_WHITE_XYZ) @ XYZ_TO_RGB_LIN.T
    flat = np.broadcast_to(screen_srgb8(np.asarray(rgb, dtype=np.float32)), (cell_px, cell_px, 3))
    labels = [["wanted, flat", *(f"{n} {v:.0f}" for n, v in zip(("L*", "a*", "b*"), wanted, strict=True))]]
    labels += [_label(a) for a in found.alternatives]
    cells = [np.ascontiguousarray(flat), *pictures]
    across = min(5, len(cells))
    rows = [list(range(i, min(i + across, len(cells)))) for i in range(0, len(cells), across)]
    return swatch_grid(
        [[cells[i] for i in row] for row in rows],
        [[labels[i] for i in row] for row in rows],
        title=found.verdict,
        notes=[
            f"Light {light}. Away: CIEDE2000 to the wanted colour, of the mean base; below 0.8 hardly anyone sees it. "
            f"Stripes: shift where the build is two standard deviations off, for a practised hand. "
            f"{_limits_note(found)}"
        ],
    )


def _label(a: Alternative) -> list[str]:
    lines = [f"{name} {amount:g} {a.units[name]}" for name, amount in a.strengths.items()]
    lines += [
        f"{a.coats} coat{'s' if a.coats > 1 else ''} of {a.film_um:g} um",
        f"away {a.worst_de00:.1f}, stripes {a.stripes_de00:.1f}",
    ]
    return lines + [", ".join(a.best_at[i : i + 2]) for i in range(0, len(a.best_at), 2)]


def notes_of(found: Reached) -> tuple[str, ...]:
    """The small print: how the colour is read, within which limits, for which gun, what is assumed."""
    return (
        *reading_notes(found),
        _limits_note(found),
        f"Stripes are for this gun: {found.gun.fan_words}.",
        "Films and scatter of the hand are assumed; dyes of the library show the kind of colour. Spray a card first.",
        "CIEDE2000 is made for flat colours side by side; over effect finishes it is a guide.",
    )


def reading_notes(found: Reached) -> tuple[str, ...]:
    """Both ways to read the wanted colour, in figures under the first light, where they differ."""
    read = found.readings
    if read is None or float(delta_e_2000(read.mean[0], read.hue[0])) < JUST_SEEN_DE00:
        return ()
    itself, over, base = (
        f"L* {lab[0]:.1f}, a* {lab[1]:.1f}, b* {lab[2]:.1f}" for lab in (read.mean[0], read.hue[0], read.bare[0])
    )
    aimed = "The second" if read.chosen == "hue" else "The first"
    return (
        f"The colour itself is {itself}; of the same hue and depth over this base ({base}) it is {over}. "
        f"{aimed} was looked for.",
    )


def _limits_note(found: Reached) -> str:
    ground = found.ground
    where = "Among" if ground.later else "Laid on"
    over = f" {where} {' and '.join(ground.over)} ({ground.spot.name})." if ground.over else ""
    return f"Limits: {_limit_words(found.reach.limits)}.{over}"


def _limit_words(limits: Limits) -> str:
    films = ", ".join(f"{film:g}" for film in limits.films_um)
    return (
        f"at most {limits.strongest_per_L:g} mL/L (g/L of powders) of dye in the mix, {limits.most_coats} coats of "
        f"{films} um, {limits.most_film_um:g} um of wet film, {limits.most_dyes} dyes"
    )
