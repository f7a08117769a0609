"""Read a scheme and say in plain words what will be sprayed, and what looks wrong."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from layerpreview.errors import Problem
from layerpreview.job.colours import beyond_tested
from layerpreview.job.figures import Figures, figures_of
from layerpreview.output.figures_result import figures_result
from layerpreview.output.result import Result
from layerpreview.picture.faces import bursts_out_of_touch
from layerpreview.picture.scene import make_scene
from layerpreview.picture.spots import FIGURES_WIDTH_PX, spots_of
from layerpreview.scheme import Scheme, describe, load_scheme, warnings_of


@dataclass(frozen=True)
class Checked:
    """`lines` tell the scheme in order; `warnings` are allowed but look wrong."""

    lines: tuple[str, ...]
    warnings: tuple[Problem, ...]


def check_scheme(scheme_path: Path) -> Checked:
    """Read a scheme with every picture and drawing it names.

    Raises SchemeError or PictureError listing all that is wrong.
    """
    scheme = load_scheme(scheme_path)
    scene = make_scene(scheme, width_px=FIGURES_WIDTH_PX)
    untested = [Problem(told, file=scheme.shown_file) for told in beyond_tested(scheme, spots_of(scheme, scene))]
    apart = bursts_out_of_touch(scheme, [face.picture.shape for face in scene.faces])
    return Checked(tuple(describe(scheme)), (*warnings_of(scheme), *apart, *untested))


def figures(scheme: Scheme) -> Result[Figures]:
    """Work out loads, films, amounts and colours without rendering; the same numbers as `render_files` writes.

    Raises InputError or PictureError.
    """
    return figures_result(scheme, figures_of(scheme, make_scene(scheme, width_px=FIGURES_WIDTH_PX)))


def scheme_figures(scheme_path: Path) -> Result[Figures]:
    """The figures of the scheme at `scheme_path`. Raises SchemeError or PictureError."""
    return figures(load_scheme(scheme_path))
