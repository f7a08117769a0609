"""The figures beside the picture: what `figures` and `sheet` say, as one JSON object, made once for each version."""

from __future__ import annotations

from dataclasses import fields
from typing import Any

from layerpreview.desk.jobs import Read
from layerpreview.desk.made import Made
from layerpreview.job.figures import figures_of
from layerpreview.job.sheet import make_sheet
from layerpreview.output.plain_json import plain
from layerpreview.picture.scene import make_scene
from layerpreview.picture.spots import FIGURES_WIDTH_PX
from layerpreview.picture.survey import Survey

_SHEET = (
    *("units", "faces", "mixes", "layers", "total_dry_um", "relief_basis", "burial"),
    *("times", "costs", "cost_total", "currency", "stages", "cautions", "rests_on"),
)
_made: Made[dict[str, Any]] = Made(3)


def figures_told(read: Read) -> dict[str, Any]:
    """`figures`: as `layerpreview figures --json`; `sheet`: of the mix sheet what a panel shows."""
    return _made.get((read.version, read.shapes), lambda: _told(read))


def _told(read: Read) -> dict[str, Any]:
    scheme = read.scheme
    scene = make_scene(scheme, width_px=FIGURES_WIDTH_PX, shapes=read.shapes)
    surveys = [Survey(scheme, shape) for shape in read.shapes]
    found = figures_of(scheme, scene, surveys)
    sheet = make_sheet(scheme, parts=read.shapes, surveys=surveys)
    return {
        "version": read.version,
        "figures": {field.name: plain(getattr(found, field.name)) for field in fields(found)},
        "sheet": {name: plain(getattr(sheet, name)) for name in _SHEET},
    }
