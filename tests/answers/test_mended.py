"""A scene with a repair in it: exists for pictures that show another repair than the figures, facets that stay where
a base was laid anew, and for changes beyond the feather."""

from __future__ import annotations

import numpy as np
import pytest
from PIL import Image

from layerpreview.answers.fade import Fading, unfaded
from layerpreview.answers.feather import Strays
from layerpreview.answers.mended import Mending, base_gains, mended_scene
from layerpreview.picture.scene import Scene, make_scene
from layerpreview.scheme import Scheme, load_scheme
from layerpreview.surface.damage import Damage, damage_of_ring

from ..schemes import DYES, HEAD, HONEY, MIXES, RIM, SEA_BURST

FACE = '[[face]]\nname = "front"\nshape = "panel"\nwidth = "160 mm"\nheight = "120 mm"\n'
FOIL = '[base]\nkind = "metal"\npicture = "foil.png"\nflake_spread = 0.3\n'
MIDDLE, RADIUS = (50.0, 60.0), 9.0
RING = np.array([[MIDDLE[0] + RADIUS * np.cos(a), MIDDLE[1] + RADIUS * np.sin(a)] for a in np.linspace(0, 6.27, 200)])
STRAYS = Strays(
    np.array([1.5]), np.array([[-2.0, 0.5, 0.0]]), np.array([[1.1, 0.95, 1.0]]), np.array([[1.0, 1.03, 1.0, 1.0]])
)


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> tuple[Scheme, Scene, Damage]:
    """A photo of a texture under three coats, a quarter of a millimetre a pixel, and a round damage."""
    folder = tmp_path_factory.mktemp("foil")
    foil = np.random.default_rng(5).integers(90, 200, (60, 80), dtype=np.uint8)
    Image.fromarray(foil).resize((320, 240), Image.Resampling.NEAREST).save(folder / "foil.png")
    path = folder / "job.toml"
    path.write_text(HEAD + FACE + FOIL + DYES + MIXES + HONEY + SEA_BURST + RIM, "utf-8")
    scheme = load_scheme(path)
    scene = make_scene(scheme, width_px=320)
    return scheme, scene, damage_of_ring(scene.faces[0].picture.outline, RING)


def _mending(scheme: Scheme, damage: Damage, strays: Strays | None) -> tuple[Fading, Mending]:
    fading = unfaded(scheme)
    return fading, Mending(damage, 20.0, 4.0, fading, strays)


def test_builds_are_those_of_the_law_at_every_pixel(job: tuple[Scheme, Scene, Damage]) -> None:
    """By the distance from the middle of a disc, which no distance field has worked out."""
    scheme, scene, damage = job
    fading, mending = _mending(scheme, damage, STRAYS)
    whole, mended = scene.faces[0].picture, mended_scene(scene, mending, texture=None, margin_mm=0.0).faces[0].picture
    rows = 60, 180
    builds, found = whole.maps.rows(*rows)[0], mended.maps.rows(*rows)[0]
    x, y = np.meshgrid(whole.grid.x_mm(), whole.grid.y_mm(*rows))
    away = np.hypot(x - MIDDLE[0], y - MIDDLE[1]).ravel() - RADIUS - 4.0

    def kept(away_mm: np.ndarray) -> np.ndarray:
        u = np.clip(away_mm / 20.0, 0.0, 1.0)
        return np.asarray(3.0 * u**2 - 2.0 * u**3)

    for layer, coat in enumerate(fading.of_coat):
        level, dye, laid = STRAYS.level[0, coat], STRAYS.dye[0, layer], STRAYS.laid_mm[0, coat]
        share = kept(away - 1.5) + level * dye * (1.0 - kept(away - laid))
        np.testing.assert_allclose(found[layer], builds[coat] * share, atol=0.006)
    sanded = mended_scene(scene, _mending(scheme, damage, None)[1], texture=None, margin_mm=0.0)
    left = sanded.faces[0].picture.maps.rows(*rows)[0]
    np.testing.assert_allclose(left[0], builds[0] * kept(away), atol=0.006)
    assert left[0].min() == 0.0


@pytest.mark.parametrize("texture", ["again", "flat"])
def test_a_base_laid_anew_is_another_there_and_the_same_elsewhere(
    job: tuple[Scheme, Scene, Damage], texture: str
) -> None:
    scheme, scene, damage = job
    _, mending = _mending(scheme, damage, STRAYS)
    whole = scene.faces[0].picture
    mended = mended_scene(scene, mending, texture=texture, margin_mm=4.0).faces[0].picture
    before, after = (picture.bare.lit(60, 180)[0] for picture in (whole, mended))
    x, y = np.meshgrid(whole.grid.x_mm(), whole.grid.y_mm(60, 180))
    away = np.hypot(x - MIDDLE[0], y - MIDDLE[1]) - RADIUS
    np.testing.assert_array_equal(before[away > 4.2], after[away > 4.2])
    inside = away < -0.5
    assert np.abs(before[inside] - after[inside]).mean() > 0.02
    spread = after[inside].std() / before[inside].std()
    assert spread < 0.05 if texture == "flat" else 0.7 < spread < 1.4


def test_places_of_a_base_against_its_mean(job: tuple[Scheme, Scene, Damage]) -> None:
    gains = base_gains(job[1].faces[0].picture)
    assert gains.mean() == pytest.approx(1.0)
    # Codes spread evenly from 90 to 200 in linear light, by the sRGB curve (IEC 61966-2-1).
    codes = np.arange(90, 200) / 255.0
    light = ((codes + 0.055) / 1.055) ** 2.4
    assert gains.std() == pytest.approx(light.std() / light.mean(), rel=0.15)
