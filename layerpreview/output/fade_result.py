"""The look after light: new and after an exposure by two readings of the same steps; figures and words."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from layerpreview.answers.fade import Faded, FadedSpot, Fading, faded_scene
from layerpreview.colour import visibility
from layerpreview.finish.layers import stack_of
from layerpreview.output.caption import labelled_sheet
from layerpreview.output.pictures import small_pictures, write_picture
from layerpreview.output.result import Paths, Result
from layerpreview.picture.scene import Scene, appearance_with
from layerpreview.scheme import Scheme
from layerpreview.units import Range

U8 = NDArray[np.uint8]

SHEET, FIGURES = "fade.png", "fade.json"
FADE_NAMES = (SHEET, FIGURES)
HEADS = {"new": "new", "museum": "after light, museum figures", "textile": "after light, textile figures"}


def fade_result(scheme: Scheme, scene: Scene, found: Faded) -> Result[Faded]:
    """The answer with its ways out, pictures as large as `scene`; the table has a row for a place, scale and dye."""

    def sheet() -> U8:
        return _sheet(scheme, scene, found)

    def write(paths: Paths) -> None:
        write_picture(sheet(), paths[SHEET])

    low, high = sorted(found.de00.values())
    return Result(
        found=found,
        line=f"Fade {scheme.name}, {found.exposure.words}: {found.spots[0].spot} {low:.1f} to {high:.1f} dE00",
        document=lambda _: _document(scheme, found),
        rows=lambda: [row for spot in found.spots for row in _rows(spot)],
        text=lambda: "\n".join([*fade_lines(scheme, found), ""]),
        names=FADE_NAMES,
        write=write,
        json_name=FIGURES,
        picture=sheet,
        inputs=scheme.inputs,
    )


def _document(scheme: Scheme, found: Faded) -> dict[str, object]:
    return {
        "scheme": scheme.name,
        "rough": True,
        "exposure_Mlx_h": found.exposure.Mlx_h.likely,
        "exposure_range_Mlx_h": found.exposure.Mlx_h,
        "exposure": found.exposure.words,
        "steps": {name: step.step.likely for name, step in found.steps.items()},
        "step_ranges": found.steps,
        "dye_left": found.left,
        "field_de00": found.de00,
        "spots": found.spots,
        "lines": fade_lines(scheme, found),
    }


def _rows(spot: FadedSpot) -> list[dict[str, object]]:
    return [
        {"spot": spot.spot, "scale": scale, "de00": de00, "dye": dye, "dye_left": left}
        for scale, de00 in spot.de00.items()
        for dye, left in spot.dye_left[scale].items()
    ]


def _sheet(scheme: Scheme, scene: Scene, found: Faded) -> U8:
    """New, and after the light by both scales, side by side."""

    def drawn(fading: Fading) -> U8:
        look = appearance_with(scheme, scene, found.light, lambda base: fading.stack(stack_of(scheme, base=base)))
        return small_pictures(faded_scene(scene, fading), [look])[0]

    tiles = [(HEADS[name], drawn(fading)) for name, fading in found.fadings.items()]
    note = f"{' '.join(_head_lines(scheme, found))} {_worst_line(found.spots)} Light {found.light}."
    title = f"{scheme.name}: after {found.exposure.words}"
    return labelled_sheet(tiles, title=title, note=note, columns=3)


def fade_lines(scheme: Scheme, found: Faded) -> list[str]:
    """After how much light, how far each place shifts and what is left, and what the scales are."""
    lines = _head_lines(scheme, found)
    for spot in found.spots:
        low, high = sorted(spot.de00.values())
        kept = "; ".join(
            f"{name} keeps {100 * spot.dye_left['textile'][name]:.0f} to {100 * spot.dye_left['museum'][name]:.0f} %"
            for name in spot.dye_left["museum"]
            if name in found.steps
        )
        place = spot.spot[0].upper() + spot.spot[1:]
        if not kept:
            lines.append(
                f"{place}: how far it shifts is not known, as no step is of {', '.join(spot.dye_left['museum'])}."
            )
            continue
        seen = visibility(low) if visibility(low) == visibility(high) else f"{visibility(low)} to {visibility(high)}"
        lines.append(f"{place}: shifts by {low:.1f} to {high:.1f} CIEDE2000 ({seen}); {kept}.")
    return [
        *lines,
        *([_worst_line(found.spots)] if len(found.spots) > 1 else []),
        "A step stands twice as much light as the one before by the textile definition, three times by museum data.",
        "Without ultraviolet; 1 Mlx h is about a year of a bright room by day (250 lx, 11 h a day).",
    ]


def _head_lines(scheme: Scheme, found: Faded) -> list[str]:
    steps = found.steps
    told = ", ".join(f"{name} {_ends(step.step)} ({step.source})" for name, step in steps.items())
    lines = [f"Rough: after {found.exposure.words}. Blue wool steps: {told}."]
    mixed = {dye for mix in scheme.mixes.values() for dye in mix.strengths}
    unknown = [name for name in scheme.dyes if name not in steps and name in mixed]
    if unknown:
        lines.append(f"No step is known of {', '.join(unknown)}: drawn as if it did not fade, which every dye does.")
    return lines


def _worst_line(spots: Sequence[FadedSpot]) -> str:
    worst = max(spots, key=lambda spot: max(spot.de00.values()))
    low, high = sorted(worst.de00.values())
    return f"It changes most at the {worst.spot}, by {low:.1f} to {high:.1f} CIEDE2000."


def _ends(step: Range) -> str:
    return f"{step.low:g}" if step.low == step.high else f"{step.low:g} to {step.high:g}"
