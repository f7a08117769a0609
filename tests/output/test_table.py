"""Figures as text and as JSON: exists for numbers without unit or range, rounding that changes a digit that matters,
columns that do not stand under their heads, and JSON that other programs cannot read."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from layerpreview import load_scheme
from layerpreview.job.figures import Figures, figures_of
from layerpreview.output.figures_result import figures_json, figures_text, shown
from layerpreview.picture.scene import appearances_of, make_scene
from layerpreview.scheme import Scheme
from layerpreview.told import Told

from ..schemes import FULL


@pytest.fixture
def scheme(save_scheme: Callable[..., Path]) -> Scheme:
    """Two dye coats and a rim."""
    return load_scheme(save_scheme(FULL.replace('lights = ["D65"]', 'lights = ["D65", "A"]')))


@pytest.fixture
def figures(scheme: Scheme) -> Figures:
    """Its figures."""
    return figures_of(scheme, make_scene(scheme, width_px=64))


@pytest.mark.parametrize(
    ("figure", "text"),
    [
        (Told(35.0, 40.0, 45.0, "um"), "40 (35..45) um"),
        (Told(40.0, 40.0, 40.0, "um"), "40 um"),
        (Told(0.4832, 0.4832, 0.4832, "g/L"), "0.483 g/L"),
        (Told(1234.4, 1234.4, 1234.4, "mL"), "1230 mL"),
        (Told(0.0, 0.0, 0.0, "mL"), "0 mL"),
        (Told(0.0, 2.0, 3.0, ""), "2 (0..3)"),
        (Told(999.6, 999.6, 999.6, "drops"), "1000 drops"),
    ],
)
def test_one_figure(figure: Told, text: str) -> None:
    assert shown(figure) == text
    assert shown(figure, unit=False) == text.removesuffix(figure.unit).strip()


def test_the_table_says_it_all(figures: Figures) -> None:
    text = figures_text(figures)
    for piece in (
        "Test part",
        "front: 29 cm2",  # 64 x 48 mm less a hole of 16 mm
        "1. honey: 3 coats, whole part",
        "2. sea: 2 coats, burst 15 mm from outline",
        "3. opaque #221814: 2 coats, burst 6 mm from outline",
        "40 (35..45) um",
        "19.2 (16.8..21.6) mg/m2",
        "24 (21..27) um",
        "98.4 %",  # 1 - 10^-1.8
        "12 mL/L",
        "at 480 nm",
        "approximate",
    ):
        assert piece in text, piece
    assert max(map(len, text.splitlines())) < 200
    assert not any(line != line.rstrip() for line in text.splitlines())


def test_colour_columns_stand_under_their_heads(figures: Figures) -> None:
    lines = figures_text(figures).splitlines()
    head = next(i for i, line in enumerate(lines) if line.startswith("  light"))
    rows = lines[head + 1 : head + 1 + len(figures.colours)]
    at = lines[head].index("swatch")
    assert [row[at : at + 7] for row in rows] == [colour.srgb for colour in figures.colours]


def test_json_is_the_same_figures(scheme: Scheme, figures: Figures) -> None:
    looks = appearances_of(scheme, make_scene(scheme, width_px=64), scheme.lights)
    text = figures_json(figures, looks, {"finish_D65.png": 0.25})
    found = json.loads(text)
    assert found["coats"][0]["wet_um_per_coat"] == {
        "low": 35.0,
        "likely": 40.0,
        "high": 45.0,
        "unit": "um",
        "basis": "stated",
        "rests_on": [{"basis": "stated", "note": "", "about": ""}],
    }
    assert [w["light"] for w in found["wavelengths"]] == ["D65", "A"]
    assert all(w["within_limits"] for w in found["wavelengths"])
    assert found["share_outside_screen_gamut"] == {"finish_D65.png": 0.25}
    assert text.endswith("}\n")
    assert text == figures_json(figures, looks, {"finish_D65.png": 0.25})


def test_json_without_a_rendering(figures: Figures) -> None:
    found = json.loads(figures_json(figures))
    assert "wavelengths" not in found
    assert found["scheme"] == "Test part"
