"""The path-traced tables (tests/reference/README.md): exist for a face, a bounce or a path length that is left out, and
for two errors that cancel at one absorbance or one angle but not in every row."""

from __future__ import annotations

import csv
from collections import defaultdict
from pathlib import Path

import numpy as np
import pytest

from layerpreview.film import Base, MetalBase, SolidBase, body_reflectance

REFERENCE = Path(__file__).parents[1] / "reference"
Group = tuple[str, str, str, str]


def _groups(name: str) -> dict[Group, list[dict[str, str]]]:
    """Rows that differ only in absorbance, so that each solver run serves several."""
    groups: dict[Group, list[dict[str, str]]] = defaultdict(list)
    with (REFERENCE / name).open(newline="") as file:
        for row in csv.DictReader(file):
            groups[row["base"], row["roughness_alpha"], row["base_scale"], row["view_deg"]].append(row)
    return groups


SKY, LAMP = _groups("film_truth.csv"), _groups("film_directional_truth.csv")


def _base(group: Group) -> Base:
    kind, alpha, scale, _ = group
    if kind == "diffuse":
        return SolidBase(albedo=float(scale))
    return MetalBase(flake_spread=float(alpha), scale=float(scale))


def _column(rows: list[dict[str, str]], name: str) -> np.ndarray:
    return np.array([float(row[name]) for row in rows])


def test_tables_are_whole() -> None:
    assert sum(map(len, SKY.values())) == 273
    assert sum(map(len, LAMP.values())) == 75


@pytest.mark.parametrize("group", SKY, ids="-".join)
def test_uniform_sky(group: Group) -> None:
    rows = SKY[group]
    ours = body_reflectance(_column(rows, "absorbance10_normal_single_pass"), _base(group), view_deg=float(group[3]))
    allowed = np.maximum(0.002, 4.0 * _column(rows, "std_error"))
    assert np.all(np.abs(ours - _column(rows, "body_reflectance")) <= allowed)


def _under_lamp(group: Group, *, half_angle_deg: float) -> np.ndarray:
    return body_reflectance(
        _column(LAMP[group], "absorbance10_normal_single_pass"),
        _base(group),
        view_deg=float(group[3]),
        lamp_deg=45.0,
        lamp_half_angle_deg=half_angle_deg,
    )


@pytest.mark.parametrize("group", LAMP, ids="-".join)
def test_lamp_of_five_degrees(group: Group) -> None:
    """Within 3 % or 4 standard errors; where the path tracer counted no light at all we must say next to none."""
    rows = LAMP[group]
    ours, truth, error = (
        _under_lamp(group, half_angle_deg=5.0),
        *(_column(rows, name) for name in ("reflectance_factor", "std_error")),
    )
    counted = error > 0.0
    allowed = np.maximum(0.03 * truth, 4.0 * error)
    assert np.all(np.abs(ours - truth)[counted] <= allowed[counted])
    assert np.all(ours[~counted] < 1e-4)


def test_what_a_point_lamp_costs() -> None:
    """A point instead of the 5 degree disc, at the narrowest spread of the table (0.1): up to 4 % at 15 and 25 degrees
    from the mirror direction, 10 to 25 % at 45 degrees where less than 0.04 is left, and at most 3 % at spread 0.3."""
    cost = {
        group: np.abs(_under_lamp(group, half_angle_deg=0.0) / _under_lamp(group, half_angle_deg=5.0) - 1.0)
        for group in LAMP
        if group[0] == "metal"
    }
    near = np.concatenate([v for g, v in cost.items() if g[1] == "0.1" and g[3] in ("-30", "-20")])
    far = cost["metal", "0.1", "1.0", "0"]
    wide = np.concatenate([v for g, v in cost.items() if g[1] == "0.3"])
    assert 0.02 < near.max() < 0.04
    assert far.min() > 0.10
    assert far.max() < 0.25
    assert wide.max() < 0.03
