"""The figures beside the picture: what `figures` and `sheet` say, as one JSON object."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields
from typing import Any

from layerpreview.desk.jobs import Read
from layerpreview.job.figures import figures_of
from layerpreview.job.sheet import make_sheet
from layerpreview.output.plain_json import plain
from layerpreview.picture.scene import Scene
from layerpreview.picture.spots import Spot
from layerpreview.picture.survey import Survey

_SHEET = (
    *("units", "faces", "mixes", "layers", "total_dry_um", "relief_basis", "burial"),
    *("times", "costs", "cost_total", "currency", "stages", "cautions", "rests_on"),
)


def figures_told(read: Read, scene: Scene, surveys: Sequence[Survey], spots: Sequence[Spot]) -> dict[str, Any]:
    """`figures`: as `layerpreview figures --json`; `sheet`: of the mix sheet what a panel shows."""
    found = figures_of(read.scheme, scene, surveys, spots)
    sheet = make_sheet(read.scheme, parts=read.shapes, surveys=surveys)
    return {
        "version": read.version,
        "figures": {field.name: plain(getattr(found, field.name)) for field in fields(found)},
        "sheet": {name: plain(getattr(sheet, name)) for name in _SHEET},
    }
