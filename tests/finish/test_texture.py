"""A metal base's texture: exists for a lattice that loses flakes or takes all memory, options that do nothing, and a
relief picture that is read as the wrong kind."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from layerpreview.errors import PictureError
from layerpreview.finish.texture import is_textured, step_mm, texture_of, texture_sample
from layerpreview.scheme import Base, load_scheme
from layerpreview.surface.relief import make_relief

from ..schemes import MAPLE, RELIEF, SILVER, bare_scheme

Save = Callable[..., Path]
OPTIONS = '[base.relief_options]\nseed = 9\ncell = "12 mm"\nheight = 1.5\n'
OWN = '[base]\nkind = "metal"\nheight_picture = "foil.png"\n[base.height_options]\nkind = "{}"\nwidth = "30 mm"\n{}'


def base_of(save_scheme: Save, base: str) -> Base:
    return load_scheme(save_scheme(bare_scheme(base))).base


def test_the_lattice_shows_flakes_and_grows_no_further_than_six_million_points() -> None:
    """Flakes of half a millimetre and up need two points; 600 x 625 mm are 6 million points of a quarter millimetre."""
    assert step_mm(64.0, 48.0) == step_mm(600.0, 625.0) == 0.25
    for width_mm, height_mm in ((600.0, 640.0), (3000.0, 500.0), (900.0, 4000.0)):
        assert width_mm * height_mm / step_mm(width_mm, height_mm) ** 2 == pytest.approx(6e6, rel=1e-9)
    assert step_mm(1200.0, 1250.0) == pytest.approx(0.5)


def test_which_bases_have_facets(save_scheme: Save, tmp_path: Path) -> None:
    Image.new("L", (16, 12), 90).save(tmp_path / "foil.png")
    own = OWN.format("height", 'depth = "1 mm"\n')
    assert [is_textured(base_of(save_scheme, base)) for base in (SILVER, RELIEF, own, MAPLE)] == [
        False,
        True,
        True,
        False,
    ]


def test_a_texture_follows_its_options(save_scheme: Save) -> None:
    base = base_of(save_scheme, RELIEF + OPTIONS)
    made = texture_of(base, 20.0, 15.0)
    asked = make_relief("lifted", width_mm=20.0, height_mm=15.0, seed=9, cell_mm=12.0, strength=1.5, step_mm=0.25)
    assert np.array_equal(made.slope_x, asked.slope_x)
    assert np.array_equal(made.flake, asked.flake)
    assert made.step_mm == 0.25


def test_the_sample_counts_ninety_thousand_facets_half_a_millimetre_apart(save_scheme: Save) -> None:
    """A slope of one facet in a thousand is met ninety times, so that its share is known to about a tenth."""
    sample = texture_sample(base_of(save_scheme, RELIEF))
    assert sample.step_mm == 0.5
    assert 90_000 <= sample.slope_x.size <= 300.0**2 * 1.02
    assert 1.0 / np.sqrt(sample.slope_x.size / 1000) == pytest.approx(0.105, abs=0.001)


def test_a_relief_picture_of_its_own(save_scheme: Save, tmp_path: Path) -> None:
    """A ramp of 256 greys, 0 to 255 over 30 mm, 2 mm deep: dz/dx is 2/30 in the middle of the face."""
    ramp = np.tile(np.arange(256, dtype=np.uint8), (192, 1))
    Image.fromarray(ramp).save(tmp_path / "foil.png")
    base = base_of(save_scheme, OWN.format("height", 'depth = "2 mm"\ntile = false\n'))
    made = texture_of(base, 20.0, 15.0)
    assert made.slope_x[20:40, 20:60] == pytest.approx(np.full((20, 40), 2.0 / 30.0), rel=0.02)
    assert made.slope_y[20:40, 20:60] == pytest.approx(np.zeros((20, 40)), abs=1e-4)


@pytest.mark.parametrize(
    ("picture", "said", "more", "rule"),
    [
        ((128, 128, 255), "height", 'depth = "1 mm"\n', "kind = height: this picture holds directions (bluish)"),
        ((90, 90, 90), "normal", "", "kind = normal: this picture holds heights (grey)"),
    ],
)
def test_a_relief_picture_of_the_other_kind_is_told(
    save_scheme: Save, tmp_path: Path, picture: tuple[int, int, int], said: str, more: str, rule: str
) -> None:
    Image.new("RGB", (16, 12), picture).save(tmp_path / "foil.png")
    base = base_of(save_scheme, OWN.format(said, more))
    with pytest.raises(PictureError, match=re.escape(rule)) as caught:
        texture_of(base, 20.0, 15.0)
    (problem,) = caught.value.problems
    assert problem.remedy == f'write kind = "{"normal" if said == "height" else "height"}"'
