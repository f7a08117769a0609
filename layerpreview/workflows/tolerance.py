"""How sure the colour is, in pictures and numbers, and what to measure first."""

from __future__ import annotations

from pathlib import Path

from layerpreview.answers.tolerance import RUNS, Tolerance, tolerance_of
from layerpreview.colour import NOT_ACCEPTED_DE00
from layerpreview.errors import InputError, Problem
from layerpreview.output.files import written_together
from layerpreview.output.result import Result
from layerpreview.output.tolerance_result import TOLERANCE_NAMES, tolerance_result
from layerpreview.picture.scene import make_scene
from layerpreview.scheme import Scheme, load_scheme
from layerpreview.workflows.choices import MARGIN, with_lights

TILE_PX = 560
MOST_RUNS = 200_000


def tolerance(
    scheme: Scheme,
    *,
    within_de00: float = NOT_ACCEPTED_DE00,
    runs: int = RUNS,
    seed: int = 7,
    light: str | None = None,
) -> Result[Tolerance]:
    """Try the scheme `runs` times with every input drawn from its range.

    `within_de00`: CIEDE2000 that is close enough. Raises NoAnswerError where no dye shows, InputError or PictureError.
    """
    if not 1 <= runs <= MOST_RUNS:
        raise InputError(Problem(f"this lies between 1 and {MOST_RUNS}", field="runs", value=str(runs)))
    scheme = with_lights(scheme, [light] if light else None)
    scene = make_scene(scheme, width_px=TILE_PX, margin=MARGIN)
    found = tolerance_of(scheme, scene, within_de00=within_de00, runs=runs, seed=seed)
    return tolerance_result(scheme, scene, found)


def tolerance_files(
    scheme_path: Path,
    *,
    out: Path,
    force: bool = False,
    within_de00: float = NOT_ACCEPTED_DE00,
    runs: int = RUNS,
    seed: int = 7,
    light: str | None = None,
) -> Result[Tolerance]:
    """Write the pale, the likely and the deep picture, a chart of what matters, and the figures.

    The choices are those of `tolerance`. Raises SchemeError, InputError, NoAnswerError, PictureError or OutputError;
    nothing is written then.
    """
    scheme = with_lights(load_scheme(scheme_path), [light] if light else None)
    with written_together(out, TOLERANCE_NAMES, force=force, inputs=scheme.inputs) as paths:
        return tolerance(scheme, within_de00=within_de00, runs=runs, seed=seed).written(paths, out)
