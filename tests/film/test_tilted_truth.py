"""The path-traced facets (tests/reference/README.md): exist for a lean taken the wrong way round, a film that leans
along, and light below the horizon that is kept."""

from __future__ import annotations

import csv
from collections import defaultdict

import numpy as np
import pytest

from layerpreview.film import MetalBase, body_reflectance
from tests.film.test_truth import REFERENCE

Case = tuple[str, ...]
FIELDS = ("lamp_deg", "view_deg", "facet_tilt_deg", "facet_azimuth_deg", "flake_spread", "broad_spread", "broad_share")


def _cases() -> dict[Case, list[dict[str, str]]]:
    cases: dict[Case, list[dict[str, str]]] = defaultdict(list)
    with (REFERENCE / "tilted_truth.csv").open(newline="") as file:
        for row in csv.DictReader(file):
            cases[tuple(row[field] for field in FIELDS)].append(row)
    return cases


CASES = _cases()


def test_the_table_is_whole() -> None:
    assert sum(map(len, CASES.values())) == 500


@pytest.mark.slow
@pytest.mark.parametrize("case", CASES, ids="-".join)
def test_a_facet_under_a_level_film(case: Case) -> None:
    """Within 0.004, 3 % or 4 standard errors where the factor is above 0.02; below that within 0.004."""
    lamp, view, tilt, azimuth, spread, broad, share = (float(v) if v else None for v in case)
    rows = CASES[case]
    assert view is not None
    assert tilt is not None
    assert azimuth is not None
    assert spread is not None
    ours = body_reflectance(
        [float(row["absorbance10"]) for row in rows],
        MetalBase(flake_spread=spread, broad_spread=broad or 0.5, broad_share=share or 0.0),
        view_deg=view,
        lamp_deg=lamp,
        lamp_half_angle_deg=5.0,
        facet_tilt_deg=tilt,
        facet_azimuth_deg=azimuth,
    )
    truth, error = (np.array([float(row[name]) for row in rows]) for name in ("reflectance_factor", "std_error"))
    allowed = np.maximum.reduce([np.full(truth.shape, 0.004), 0.03 * truth, 4.0 * error])
    assert np.all(np.abs(ours - truth) <= allowed)
