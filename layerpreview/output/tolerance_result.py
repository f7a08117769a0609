"""How sure the colour is: the pale, the likely and the deep picture, a chart of what matters, figures and words."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from layerpreview.answers.doubts import Parts
from layerpreview.answers.tolerance import Spread, Tolerance
from layerpreview.finish.layers import stack_of
from layerpreview.finish.look import Appearance
from layerpreview.output.caption import labelled_sheet
from layerpreview.output.charts import bar_chart
from layerpreview.output.pictures import small_pictures, write_picture
from layerpreview.output.result import U8, Paths, Result
from layerpreview.picture.scene import Scene, appearance_with
from layerpreview.scheme import Scheme

F64 = NDArray[np.float64]

SHEET, CHART, FIGURES = "tolerance.png", "what_matters.png", "tolerance.json"
TOLERANCE_NAMES = (SHEET, CHART, FIGURES)


def tolerance_result(scheme: Scheme, scene: Scene, found: Tolerance) -> Result[Tolerance]:
    """The answer with its ways out, pictures as large as `scene`; the table has a row for every spot and input."""
    lines = tolerance_lines(scheme, found)

    def sheet() -> U8:
        return _sheet(scheme, scene, found, lines[0])

    def write(paths: Paths) -> None:
        write_picture(sheet(), paths[SHEET])
        write_picture(_chart(scheme, found.spreads), paths[CHART])

    main = found.spreads[0]
    return Result(
        found=found,
        line=f"Tolerance {scheme.name}, {main.spot}: {100 * main.share_within:.0f} % within {main.within_de00:g} dE00",
        document=lambda _: _document(scheme, found, lines),
        rows=lambda: [row for spread in found.spreads for row in _rows(spread)],
        text=lambda: "\n".join([*lines, ""]),
        names=TOLERANCE_NAMES,
        write=write,
        json_name=FIGURES,
        picture=sheet,
        inputs=scheme.inputs,
    )


def _document(scheme: Scheme, found: Tolerance, lines: Sequence[str]) -> dict[str, object]:
    return {
        "scheme": scheme.name,
        "approximate": True,
        "light": found.light,
        "runs": found.runs,
        "seed": found.seed,
        "spots": [_as_json(spread) for spread in found.spreads],
        "lines": lines,
    }


def _rows(spread: Spread) -> list[dict[str, object]]:
    return [
        {
            "spot": spread.spot,
            "share_within": spread.share_within,
            "median_de00": spread.median_de00,
            "p90_de00": spread.p90_de00,
            "input": share.source.name,
            "variance_share": share.variance_share,
            "within_if_known": share.within_if_known,
            "rests_on": share.source.basis,
        }
        for share in spread.shares
    ]


def _sheet(scheme: Scheme, scene: Scene, found: Tolerance, verdict: str) -> U8:
    """The pale, the likely and the deep picture side by side."""
    main, parts = found.spreads[0], found.parts
    draws = {"pale": main.low, "likely": np.ones(len(parts.sources)), "deep": main.high}

    def drawn(draw: F64) -> Appearance:
        return appearance_with(
            scheme, scene, found.light, lambda base: parts.stack(stack_of(scheme, base=base), draw, base)
        )

    looks = [drawn(draw) for draw in draws.values()]
    tiles = list(zip(draws, small_pictures(scene, looks), strict=True))
    note = (
        f"Pale and deep: one run in twenty comes out paler or deeper still. {_films_in_words(parts, draws)}. "
        f"Light {found.light}. {verdict}"
    )
    return labelled_sheet(tiles, title=f"{scheme.name}: how sure the colour is", note=note, columns=3)


def _films_in_words(parts: Parts, draws: dict[str, F64]) -> str:
    """How thick each film is in the pale and the deep picture, each called by its name."""
    films = sorted(set(parts.film_source))
    return ". ".join(
        f"{name.capitalize()}: "
        + ", ".join(f"{parts.sources[i].name} at {100 * draws[name][i]:.0f} % of likely" for i in films)
        for name in ("pale", "deep")
    )


def _chart(scheme: Scheme, spreads: Sequence[Spread]) -> U8:
    main = spreads[0]
    bars = [(s.source.name, s.variance_share, f"{100 * s.variance_share:.0f} %, {s.source.basis}") for s in main.shares]
    return bar_chart(
        bars,
        title=f"{scheme.name}: what the colour of the {main.spot} depends on",
        notes=["Share of the colour's variance that each input makes on its own; the rest is made together."],
    )


def tolerance_lines(scheme: Scheme, found: Tolerance) -> list[str]:
    """How far each spot may be off, what matters most, and what is not counted."""
    lines = []
    for s in found.spreads:
        place = s.spot[0].upper() + s.spot[1:]
        lines.append(
            f"{place}: {100 * s.share_within:.0f} % of {found.runs} runs stay within {s.within_de00:g} (CIEDE2000) of "
            f"the likely colour; half within {s.median_de00:.1f}, nine in ten within {s.p90_de00:.1f}."
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
        "sprayed for a film, not its colour. Not counted: the dye as sold, the base's own brightness, stripes."
    )
    if any(doubt.levelling is not None for doubt in found.parts.bases.values()):
        lines.append(
            "Levelling is counted for a place one standard deviation of height above or below the mean of the relief; "
            "on average over the relief it moves no film."
        )
    return lines


def _as_json(spread: Spread) -> dict[str, object]:
    return {
        "spot": spread.spot,
        "within_de00": spread.within_de00,
        "share_within": spread.share_within,
        "median_de00": spread.median_de00,
        "p90_de00": spread.p90_de00,
        "lab_p5_p50_p95": np.percentile(spread.lab, [5.0, 50.0, 95.0], axis=0).round(2).tolist(),
        "shares": spread.shares,
    }
