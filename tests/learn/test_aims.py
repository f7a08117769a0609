"""The colours of a scheme as aims: exists for another dye counted as this one, and for loads in other units than the
card's. Loads by hand: 1 mL of 40 g/L in a litre is 0.04 g/L, and 1 um of a film of 1 g/L is 1 mg/m2.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from layerpreview.film import DiffuseFilm, MetalFilm
from layerpreview.finish.layers import absorptivity_on_grid
from layerpreview.learn.tell.aims import scheme_aims
from layerpreview.scheme import Scheme, load_scheme

HEAD = """layerpreview = 1
name = "Back"
lights = ["D65", "LED-B3"]
[[face]]
name = "back"
shape = "panel"
width = "90 mm"
height = "60 mm"
[dye.amber]
library = "amber"
concentrate = "40 g/L"
[dye.red]
library = "red"
concentrate = "40 g/L"
[mix.amber]
dyes = { amber = "7 mL/L", red = "2 mL/L" }
[mix.red]
dyes = { red = "5 mL/L" }
"""
COATS = """[[coat]]
mix = "amber"
coats = 2
film = "30 um"
[[coat]]
mix = "red"
coats = 3
film = "20 um"
"""
METAL, WOOD = '[base]\nkind = "metal"\ncolour = "#c8cacc"\n', '[base]\nkind = "wood"\ncolour = "#d9b98a"\n'
AMBER, RED = 2 * 30 * 0.28, 2 * 30 * 0.08 + 3 * 20 * 0.2  # mg/m2


def scheme_of(folder: Path, *parts: str) -> Scheme:
    path = folder / "scheme.toml"
    path.write_text(HEAD + "".join(parts), encoding="utf-8")
    return load_scheme(path)


@pytest.mark.parametrize(("base", "film"), [(METAL, MetalFilm), (WOOD, DiffuseFilm)])
def test_a_dye_of_the_scheme_counts_alone(tmp_path: Path, base: str, film: type) -> None:
    scheme = scheme_of(tmp_path, base, COATS)
    aims = scheme_aims(scheme, dye="amber", load_mg_m2=8.0)
    assert sorted({aim.light for aim in aims}) == ["D65", "LED-B3"]
    assert [aim.load for aim in aims] == pytest.approx(len(aims) * [AMBER / 8.0])
    assert all(isinstance(aim.film, film) for aim in aims)
    for aim in aims:
        np.testing.assert_allclose(aim.other10, 1e-4 * RED * absorptivity_on_grid(scheme.dyes["red"]), rtol=1e-9)


def test_a_dye_that_the_scheme_does_not_name_takes_the_place_of_all(tmp_path: Path) -> None:
    aims = scheme_aims(scheme_of(tmp_path, WOOD, COATS), dye="house blue", load_mg_m2=5.0)
    assert aims
    assert [aim.load for aim in aims] == pytest.approx(len(aims) * [(AMBER + RED) / 5.0])
    assert not any(aim.other10.any() for aim in aims)


def test_what_an_opaque_coat_hides_is_no_aim(tmp_path: Path) -> None:
    """A white that hides: the amber below it is gone, the red over it lies on white."""
    amber, red = COATS.split("[[coat]]")[1:]
    opaque = '[[coat]]\nopaque = "#f0f0ea"\ncoats = 3\nfilm = "medium"\nhiding = 1.2\n'
    scheme = scheme_of(tmp_path, METAL, "[[coat]]", amber, opaque, "[[coat]]", red)
    assert scheme_aims(scheme, dye="amber", load_mg_m2=8.0) == []
    aims = scheme_aims(scheme, dye="red", load_mg_m2=4.0)
    assert aims
    assert [aim.load for aim in aims] == pytest.approx(len(aims) * [12.0 / 4.0])
    assert all(isinstance(aim.film, DiffuseFilm) for aim in aims)
    assert min(aim.bare.min() for aim in aims) > 0.7


def test_a_bare_scheme_has_no_aims(tmp_path: Path) -> None:
    assert scheme_aims(scheme_of(tmp_path, METAL), dye="amber", load_mg_m2=8.0) == []
