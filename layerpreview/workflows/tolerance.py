"""How sure the colour is, in pictures and numbers, and what to measure first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from layerpreview.answers.tolerance import RUNS, Parts, Spread, parts_of, spread_of
from layerpreview.colour import NOT_ACCEPTED_DE00
from layerpreview.errors import NoAnswerError
from layerpreview.finish.layers import stack_of
from layerpreview.finish.look import Appearance, make_look
from layerpreview.output.caption import labelled_sheet
from layerpreview.output.charts import bar_chart
from layerpreview.output.files import write_text, written_together
from layerpreview.output.pictures import small_pictures, write_picture
from layerpreview.output.plain_json import plain_json
from layerpreview.picture.scene import Scene, make_scene
from layerpreview.picture.spots import Spot, dye_shows, main_spot, spots_of
from layerpreview.scheme import Scheme, load_scheme
from layerpreview.workflows.render import MARGIN, with_lights

F64 = NDArray[np.float64]

TILE_PX = 560
SHEET, CHART, FIGURES = "tolerance.png", "what_matters.png", "tolerance.json"


@dataclass(frozen=True)
class Tolerance:
    """The spread of every spot (open field first), and the answer in words."""

    folder: Path
    files: tuple[str, ...]
    spreads: tuple[Spread, ...]
    lines: tuple[str, ...]


def tolerance_files(
    scheme_path: Path,
    *,
    out: Path,
    force: bool = False,
    within_de00: float = NOT_ACCEPTED_DE00,
    runs: int = RUNS,
    seed: int = 7,
    light: str | None = None,
) -> Tolerance:
    """Write the pale, the likely and the deep picture, a chart of what matters, and the figures.

    Raises SchemeError, PictureError or OutputError; nothing is written then.
    """
    scheme = with_lights(load_scheme(scheme_path), [light] if light else None)
    names = [SHEET, CHART, FIGURES]
    with written_together(out, names, force=force, inputs=scheme.inputs) as paths:
        scene = make_scene(scheme, width_px=TILE_PX, margin=MARGIN)
        parts = parts_of(scheme)
        spreads = [
            spread_of(scheme, spot, parts, within_de00=within_de00, runs=runs, seed=seed)
            for spot in _spots(scheme, scene)
        ]
        main = spreads[0]
        draws = {"pale": main.low, "likely": np.ones(len(parts.sources)), "deep": main.high}
        looks = [drawn_appearance(scheme, scene, parts, draw) for draw in draws.values()]
        lines = tuple(_lines(scheme, spreads, runs))
        tiles = list(zip(draws, small_pictures(scene, looks), strict=True))
        note = (
            f"Pale and deep: one run in twenty comes out paler or deeper still. {_films_in_words(parts, draws)}. "
            f"Light {scheme.lights[0]}. {lines[0]}"
        )
        sheet = labelled_sheet(tiles, title=f"{scheme.name}: how sure the colour is", note=note, columns=3)
        write_picture(sheet, paths[SHEET])
        write_picture(_chart(scheme, spreads), paths[CHART])
        document = {
            "scheme": scheme.name,
            "approximate": True,
            "light": scheme.lights[0],
            "runs": runs,
            "seed": seed,
            "spots": [_as_json(spread) for spread in spreads],
            "lines": lines,
        }
        write_text(paths[FIGURES], plain_json(document))
    return Tolerance(out, tuple(names), tuple(spreads), lines)


def drawn_appearance(scheme: Scheme, scene: Scene, parts: Parts, draw: F64) -> Appearance:
    """The whole part under the first light with every source at its factor in `draw`."""
    light = scheme.lights[0]
    looks = []
    for face in scene.faces:
        stack = parts.stack(stack_of(scheme, base=scheme.base_for(face.name)), draw)
        tint = face.picture.bare.tint_rgb
        looks.append(make_look(stack, light=light, observer_deg=scheme.observer_deg, tint_rgb=tint))
    return Appearance(light, tuple(looks))


def _spots(scheme: Scheme, scene: Scene) -> list[Spot]:
    """Places where dye shows, the one that stands for the finish first. Raises NoAnswerError where there is none."""
    spots = spots_of(scheme, scene)
    main = main_spot(spots)
    found = [spot for spot in (main, *(other for other in spots if other is not main)) if dye_shows(scheme, spot)]
    if not found:
        raise NoAnswerError(f"{scheme.name}: no dye shows anywhere, so there is nothing to be unsure of")
    return found


def _films_in_words(parts: Parts, draws: dict[str, F64]) -> str:
    """How thick each film is in the pale and the deep picture, each called by its name."""
    films = sorted(set(parts.film_source))
    told = [
        f"{name.capitalize()}: "
        + ", ".join(f"{parts.sources[i].name} at {100 * draw[i]:.0f} % of likely" for i in films)
        for name, draw in draws.items()
        if name != "likely"
    ]
    return ". ".join(told)


def _chart(scheme: Scheme, spreads: Sequence[Spread]) -> NDArray[np.uint8]:
    main = spreads[0]
    bars = [(s.source.name, s.variance_share, f"{100 * s.variance_share:.0f} %, {s.source.basis}") for s in main.shares]
    return bar_chart(
        bars,
        title=f"{scheme.name}: what the colour of the {main.spot} depends on",
        notes=["Share of the colour's variance that each input makes on its own; the rest is made together."],
    )


def _lines(scheme: Scheme, spreads: Sequence[Spread], runs: int) -> list[str]:
    lines = []
    for s in spreads:
        place = s.spot[0].upper() + s.spot[1:]
        lines.append(
            f"{place}: {100 * s.share_within:.0f} % of {runs} runs stay within {s.within_de00:g} (CIEDE2000) of the "
            f"likely colour; half within {s.median_de00:.1f}, nine in ten within {s.p90_de00:.1f}."
        )
        if s.shares:
            top = s.shares[0]
            lines.append(
                f"  What matters most: {top.source.name} ({100 * top.variance_share:.0f} % of the variance, "
                f"{top.source.basis}). If it were known, {100 * top.within_if_known:.0f} % would stay "
                "within: measure it first."
            )
    transfer = scheme.gun.transfer
    lines.append(
        f"Transfer efficiency ({100 * transfer.low:.0f} to {100 * transfer.high:.0f} %) changes how much must be "
        "sprayed for a film, not its colour. Not counted: the dye as sold, the base, stripes."
    )
    return lines


def _as_json(spread: Spread) -> dict[str, object]:
    lab = spread.lab
    return {
        "spot": spread.spot,
        "within_de00": spread.within_de00,
        "share_within": spread.share_within,
        "median_de00": spread.median_de00,
        "p90_de00": spread.p90_de00,
        "lab_p5_p50_p95": np.percentile(lab, [5.0, 50.0, 95.0], axis=0).round(2).tolist(),
        "shares": spread.shares,
    }
