"""What a repair looks like: exists for a step where nothing was done, one that a perfect hand with the same dye leaves,
areas that are not those of geometry, and advice that ends at the wrong edge."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from layerpreview.answers import touch_up_causes
from layerpreview.answers.along_feather import VIEWS, Colours, Strip, repaired_builds
from layerpreview.answers.fade import Exposure, Step, fadings_of, unfaded, with_middle
from layerpreview.answers.feather import Strays
from layerpreview.answers.natural_edges import natural_edges, piece_round
from layerpreview.answers.touch_up import DEPTHS, Depth, Repair, TouchUp, touch_up_of
from layerpreview.film import DiffuseFilm
from layerpreview.finish.layers import stack_of
from layerpreview.picture.faces import FaceShape, shapes_of
from layerpreview.picture.spots import places_of
from layerpreview.picture.survey import Survey
from layerpreview.scheme import Scheme, load_scheme
from layerpreview.surface.damage import Damage, damage_of_ring
from layerpreview.units import Range

from ..schemes import DYES, HEAD, HONEY, MIXES, RIM, SEA_BURST, SILVER, WHITE

FACE = '[[face]]\nname = "front"\nshape = "panel"\nwidth = "260 mm"\nheight = "200 mm"\n'
VENT = '[[face.opening]]\nname = "vent"\nshape = "disc"\ndiameter = "16 mm"\ncentre = ["40 mm", "44 mm"]\n'
BAND = (
    '[[face.zone]]\nname = "band"\nshape = "panel"\nwidth = "50 mm"\nheight = "260 mm"\ncentre = ["225 mm", "100 mm"]\n'
)
PLAIN = HEAD.replace('["D65"]', '["D65", "A"]') + FACE + WHITE + DYES + MIXES + HONEY
RICH = HEAD + FACE + VENT + BAND + SILVER + DYES + MIXES + HONEY + SEA_BURST + RIM
NEW_STEPS = {"yellow": Step(Range.point(4.0), "option"), "blue": Step(Range.point(6.0), "option")}
ROUND = np.array([[130 + 12 * np.cos(a), 100 + 12 * np.sin(a)] for a in np.linspace(0, 2 * np.pi, 240, endpoint=False)])


class Job:
    """A scheme with its first face looked at once."""

    def __init__(self, text: str, folder: Path) -> None:
        path = folder / "job.toml"
        path.write_text(text, "utf-8")
        self.scheme: Scheme = load_scheme(path)
        self.shape: FaceShape = shapes_of(self.scheme)[0]
        self.survey = Survey(self.scheme, self.shape)
        self.bare = places_of(self.scheme)[0].bare
        self.new = unfaded(self.scheme)

    def damage(self, ring: np.ndarray = ROUND) -> Damage:
        return damage_of_ring(self.shape.outline, ring)

    def ask(self, repair: Repair, **options: object) -> TouchUp:
        known = {"damage": self.damage(), "fadings": [self.new], "gains": np.ones(9), "feathers_mm": (20.0,)} | options
        return touch_up_of(
            self.scheme,
            self.survey,
            self.bare,
            known["gains"],  # type: ignore[arg-type]
            known["damage"],  # type: ignore[arg-type]
            repair,
            known["fadings"],  # type: ignore[arg-type]
            feathers_mm=known["feathers_mm"],  # type: ignore[arg-type]
        )


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> Job:
    """White, one dye coat, all over."""
    return Job(PLAIN, tmp_path_factory.mktemp("plain"))


@pytest.fixture(scope="module")
def rich(tmp_path_factory: pytest.TempPathFactory) -> Job:
    """Silver, with bursts, a hidden rim, an opening and a taped zone."""
    return Job(RICH, tmp_path_factory.mktemp("rich"))


def test_sanding_the_clear_alone_changes_no_colour(rich: Job) -> None:
    found = rich.ask(Repair("clear", hand="hurried"))
    assert found.worst.de00 == Range(0.0, 0.0, 0.0)
    assert found.smallest_mm == 20.0
    assert found.coats_m2 == (0.0, 0.0, 0.0)
    assert found.hides


@pytest.mark.parametrize("depth", ["dye", "base"])
def test_a_perfect_hand_with_the_very_same_dye_leaves_nothing(
    rich: Job, depth: Depth, monkeypatch: pytest.MonkeyPatch
) -> None:
    doubts = touch_up_causes.dye_doubts(rich.scheme)
    assert [r.high > 1.0 for r in doubts] == [True, True, True, False]  # three dyes and a paint
    monkeypatch.setattr(touch_up_causes, "dye_doubts", lambda _: [Range.point(1.0)] * len(doubts))
    found = rich.ask(Repair(depth, hand="flat"))
    assert found.worst.de00.high < 1e-3
    assert found.worst.hidden == 1.0


def test_deeper_is_never_smaller(rich: Job) -> None:
    areas = [rich.ask(Repair(depth, feather_mm=20.0)) for depth in DEPTHS]
    assert areas[0].area_mm2 <= areas[1].area_mm2 < areas[2].area_mm2
    for shallow, deep in pairwise(areas):
        assert all(a <= b for a, b in zip(shallow.coats_m2, deep.coats_m2, strict=True))


def test_a_wider_feather_is_never_worse_on_an_even_face(plain: Job) -> None:
    worst = [
        plain.ask(Repair(hand="good", feather_mm=mm), feathers_mm=()).worst_by_feather[mm] for mm in (10.0, 23.0, 60.0)
    ]
    assert worst == sorted(worst, reverse=True)
    assert worst[0] > 1.5 * worst[2]


def test_the_area_is_that_of_geometry(plain: Job) -> None:
    """Round a disc of radius R the new share 1 - u^2 (3 - 2 u) holds pi (R^2 + R F + 3/10 F^2), by integration."""
    found = plain.ask(Repair(feather_mm=25.0))
    assert found.coats_m2[0] * 1e6 == pytest.approx(np.pi * (12.0**2 + 12.0 * 25.0 + 0.3 * 25.0**2), rel=0.01)
    assert found.area_mm2 == pytest.approx(np.pi * (12.0 + 25.0) ** 2, rel=0.01)
    wider = plain.ask(Repair("base", feather_mm=25.0))
    assert wider.area_mm2 == pytest.approx(np.pi * (12.0 + 10.0 + 25.0) ** 2, rel=0.01)


def test_a_repair_that_is_known_beforehand(plain: Job) -> None:
    """The middle of the place 12 % too thick: over white R = C rho / (1 - rho K), from the film's own two curves."""
    strip = Strip(np.array([-3.0, 90.0]), np.array([[1.0, 1.0]]), np.zeros((2, 2)), np.zeros(2, dtype=np.intp))
    strays = Strays(np.zeros(1), np.zeros((1, 1)), np.array([[1.12]]), np.ones((1, 2)))
    builds = repaired_builds(strip, strays, plain.new, feather_mm=30.0)[0]
    np.testing.assert_allclose(builds, [[1.12, 1.12], [1.0, 1.0]], atol=1e-6)
    stack = plain.new.stack(stack_of(plain.scheme))
    film = stack.film
    assert isinstance(film, DiffuseFilm)
    absorbance10 = 1.12 * sum(layer.absorbance10 for layer in stack.layers)  # type: ignore[union-attr]
    rho = plain.bare / (film.c.start + film.k.start * plain.bare)
    by_hand = film.c(absorbance10) * rho / (1.0 - rho * film.k(absorbance10))
    np.testing.assert_allclose(stack.reflectance(plain.bare[None], builds[:1])[0], by_hand, rtol=1e-6)


def test_steps_are_those_of_colour_science(plain: Job, colour_science: ModuleType) -> None:
    """CIEDE2000 by another's hand (colour-science) of each place along the feather."""
    found = plain.ask(Repair(hand="hurried", feather_mm=20.0))
    assert len(found.profile) > 12
    for level in found.profile:
        other = colour_science.delta_E(level.lab_untouched, level.lab_repaired, method="CIE 2000")
        assert level.de00 == pytest.approx(float(other), abs=1e-4)
        assert level.old_share + level.new_share == pytest.approx(1.0)
    assert found.profile[-1].de00 < 0.2 < max(level.de00 for level in found.profile)


def test_other_lights_change_no_more_than_their_names(plain: Job) -> None:
    here = plain.ask(Repair(feather_mm=20.0))
    turned = plain.scheme.model_copy(update={"lights": tuple(reversed(plain.scheme.lights))})
    there = touch_up_of(
        turned,
        plain.survey,
        plain.bare,
        np.ones(9),
        plain.damage(),
        Repair(feather_mm=20.0),
        [plain.new],
        feathers_mm=(),
    )
    figures = {(step.light, step.view): (step.de00.likely, step.verdict) for step in here.steps}
    assert {(step.light, step.view): (step.de00.likely, step.verdict) for step in there.steps} == figures
    assert len(figures) == 2 * len(VIEWS)


def test_an_old_part_is_not_matched_by_new_dye(plain: Job) -> None:
    exposure = Exposure(Range(2.0, 5.0, 9.0), "some years")
    fadings = with_middle(fadings_of(plain.scheme, NEW_STEPS, exposure))
    found = plain.ask(Repair(hand="flat", feather_mm=40.0), fadings=fadings)
    # What the light left: 10^A - 1 falls by e^-kH (Whitmore & Bailie 1997) at the peak of the yellow.
    peak10 = sum(fadings[0].peak10[list(plain.scheme.dyes).index("yellow")])
    left = [float(np.log10(1.0 + (10.0**peak10 - 1.0) * np.exp(-fading.k_h[0])) / peak10) for fading in fadings]
    assert left[0] > left[1] > left[2]
    told = found.dye_left["yellow"]
    assert (told.high, told.likely, told.low) == pytest.approx(left, rel=1e-4)
    assert found.causes["the light of the years"] > 1.0 > found.causes["the dye mixed once more"]
    assert found.causes["the hand"] < 1e-3
    assert found.smallest_mm is None
    # An even face: weakened to what is left it agrees again.
    assert found.weakened_de00 is not None
    assert found.weakened_de00 < 1e-3
    assert found.worst.de00.low < found.worst.de00.likely < found.worst.de00.high


def test_a_flat_spot_in_a_texture_shows(rich: Job) -> None:
    rng = np.random.default_rng(3)
    gains = rng.normal(1.0, 0.3, 2000).clip(0.1)
    flat = rich.ask(Repair("base", "flat"), gains=gains)
    again = rich.ask(Repair("base", "again"), gains=gains)
    assert flat.texture_shows
    assert not flat.hides
    assert not again.texture_shows
    assert again.texture_de00 is not None
    assert flat.texture_de00 is not None
    # Two places of a texture differ by the root of two times what one differs from the mean, about.
    assert again.texture_de00 / flat.texture_de00 == pytest.approx(np.sqrt(2.0), rel=0.15)
    assert rich.ask(Repair("dye"), gains=gains).texture_de00 is None


def test_a_lamp_shows_a_metal_brighter_towards_its_mirror_image(rich: Job) -> None:
    colours = Colours(rich.scheme, rich.scheme.base, rich.bare, rich.new)
    light = colours.lab(np.zeros((1, 4)))[0, :, 0, 0]
    straight, *lamp = light
    assert lamp == sorted(lamp, reverse=True)
    assert lamp[0] > straight


def test_edges_by_name_the_nearest_first(rich: Job) -> None:
    place = damage_of_ring(rich.shape.outline, np.array([[60.0, 30.0], [80.0, 30.0], [80.0, 58.0], [60.0, 58.0]]))
    edges = natural_edges(rich.shape, place.shape)
    assert [edge.name for edge in edges] == ["vent", "outer edge", "zone band"]
    assert [edge.away_mm for edge in edges] == pytest.approx([12.0, 30.0, 120.0], abs=0.1)
    piece = piece_round(rich.shape, place.shape)
    assert piece.area_m2 * 1e6 == pytest.approx(200.0 * 200.0 - np.pi * 8.0**2, rel=0.001)
    assert piece.words == "the edge of the vent, the outer edge and the tape line of band"
    on_band = damage_of_ring(rich.shape.outline, np.array([[210.0, 90.0], [230.0, 90.0], [230.0, 120.0]]))
    within = piece_round(rich.shape, on_band.shape)
    assert within.area_m2 * 1e6 == pytest.approx(50.0 * 200.0)
    assert [edge.name for edge in within.edges] == ["zone band", "outer edge"]
    across = damage_of_ring(rich.shape.outline, np.array([[190.0, 90.0], [230.0, 90.0], [230.0, 120.0]]))
    assert piece_round(rich.shape, across.shape).area_m2 == pytest.approx(rich.shape.outline.area_m2)
    found = rich.ask(Repair(feather_mm=20.0), damage=place, feathers_mm=())
    assert [edge.name for edge in found.within_feather] == ["vent"]
