"""Parts in photos that no limit was set on: exists for a tracer that knows its own test scenes."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from layerpreview.surface.part import trace_part

from .more_part_scenes import more_scenes
from .part_photos import take
from .part_truth import Scene, seen


@pytest.mark.slow
@pytest.mark.parametrize("scene", more_scenes(12, 12), ids=lambda scene: scene.name)
def test_what_is_called_good_is_within_3_percent(scene: Scene) -> None:
    """On the bench, by the true camera; the usual good one is within 1 %, which bench_trace counts."""
    photo = take(scene.at(1.0))
    wide = float(np.ptp(photo.truth.rings_mm[0][:, 0]))
    leave_out = [] if photo.truth.sheet_mm is None else [seen(photo.truth.to_px, photo.truth.sheet_mm)]
    found = trace_part(photo.picture, part_width_mm=wide, leave_out=leave_out)
    traced = found.traced
    rings = [
        seen(np.linalg.inv(photo.truth.to_px), ring / traced.pixel_mm + np.array(traced.corner_px))
        for ring in (traced.outline.outer, *traced.outline.openings.values())
    ]
    got, true = (shapely.Polygon(outer, holes) for outer, *holes in (rings, photo.truth.rings_mm))
    if found.sureness.verdict == "good":
        assert got.area == pytest.approx(true.area, rel=0.03)
