"""One touched place: exists for a film that is shown at a spot and is not the one of the picture and the figures."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from layerpreview.picture.faces import shapes_of
from layerpreview.picture.survey import Survey
from layerpreview.picture.touched import touched
from layerpreview.scheme import load_scheme, scheme_from_text

from ..schemes import DYES, HEAD, HONEY, MIXES, PANEL, SEA_BURST, WHITE

SAMPLES = Path(__file__).parents[2] / "samples"


@pytest.mark.parametrize("sample", ["octave_mandolin", "drum_shell"])
def test_one_place_is_that_of_the_whole_face(sample: str, rng: np.random.Generator) -> None:
    scheme = load_scheme(SAMPLES / f"{sample}.toml")
    for shape in shapes_of(scheme):
        survey = Survey(scheme, shape)
        x, y = survey.grid.x_mm(), survey.grid.y_mm()
        for at in rng.choice(np.flatnonzero(survey.edge_mm > 1.0), 12):
            row, column = divmod(int(at), survey.grid.n_cols)
            found = touched(scheme, shape, x_mm=float(x[column]), y_mm=float(y[row]))
            assert found.build == pytest.approx(survey.builds[:, at], abs=2e-3)
            assert found.edge_mm == pytest.approx(survey.edge_mm[at], abs=0.4)
            inside = {name for name, depth in survey.zone_mm.items() if depth[at] > 0.0}
            near = {name for name, depth in survey.zone_mm.items() if abs(depth[at]) < 0.5}
            assert set(found.zones) - near == inside - near


def test_a_burst_by_hand() -> None:
    """Panel of 64 x 48 mm, burst of 15 mm, soft, down to 0.1: full at the edge, a tenth in the middle."""
    scheme = scheme_from_text(HEAD + PANEL + WHITE + DYES + MIXES + HONEY + SEA_BURST, "job.toml")
    (shape,) = shapes_of(scheme)
    middle = touched(scheme, shape, x_mm=32.0, y_mm=24.0)
    assert middle.edge_mm == pytest.approx(24.0, abs=0.3)
    assert middle.build == pytest.approx([1.0, 0.1], abs=1e-3)
    edge = touched(scheme, shape, x_mm=0.3, y_mm=24.0)
    assert edge.edge_mm == pytest.approx(0.3, abs=0.05)
    assert edge.build[1] > 0.9
    assert touched(scheme, shape, x_mm=-5.0, y_mm=24.0).build == pytest.approx([0.0, 0.0])
    assert touched(scheme, shape, x_mm=-5.0, y_mm=24.0).edge_mm == pytest.approx(-5.0, abs=0.05)
