"""The gun as it is set: exists for a scheme's gun that is passed over for a default, an option that the scheme wins
over, and values that are told to come from elsewhere than they do."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from layerpreview.answers.gun import GunOptions, GunSet, gun_set, plan_words
from layerpreview.answers.uneven import Spraying
from layerpreview.errors import InputError
from layerpreview.scheme import load_scheme
from layerpreview.spray.passes import GUNS, Fan, fan_profile, overlap_ripple
from layerpreview.surface.outline import built_in_ring, make_outline

from ..schemes import FULL

Save = Callable[..., Path]
TALL = make_outline(built_in_ring("panel", width_mm=320.0, height_mm=400.0))
STATED = 'fan = "200 mm"\ndistance = "150 to 180 mm"\noverlap = "60 %"\ndirection = "along the strings, then across"\n'
WHENCE = ("fan", "distance", "beta", "overlap", "direction", "lines", "edge_fan")


@pytest.fixture
def gun(save_scheme: Save) -> Callable[..., GunSet]:
    def of(stated: str = "", **options: object) -> GunSet:
        scheme = load_scheme(save_scheme(FULL + stated))
        return gun_set(scheme, TALL, GunOptions(**options) if options else None)  # type: ignore[arg-type]

    return of


def test_the_schemes_gun(gun: Callable[..., GunSet]) -> None:
    found = gun(STATED)
    assert (found.how.gun.width_mm, found.how.gun.distance_mm) == (200.0, 165.0)
    assert found.how.overlap == pytest.approx(0.6)
    assert found.how.directions_deg == (90.0, 0.0)
    assert tuple(found.sources) == WHENCE
    assert list(found.sources.values()) == ["scheme", "scheme", "assumed", "scheme", "scheme", "assumed", "assumed"]
    assert not found.notes
    for said in (
        "fan 200 mm (scheme) at 165 mm (scheme)",
        "fan shape 3 (assumed)",
        "overlap 60 % (scheme)",
        "strokes top to bottom, then left to right (scheme)",
        "lines shifted (assumed)",
        "fan of 28 mm or less (assumed)",
    ):
        assert said in found.words


def test_nothing_said(gun: Callable[..., GunSet]) -> None:
    found = gun()
    assert found.how == Spraying()
    assert set(found.sources.values()) == {"assumed"}
    assert found.words.count("(assumed)") == 7


def test_an_option_stands_before_the_scheme(gun: Callable[..., GunSet]) -> None:
    found = gun(STATED, fan_mm=140.0, distance_mm=120.0, beta=2.0, overlap=0.7, direction="45 deg", pattern="random")
    assert (found.how.gun.width_mm, found.how.gun.distance_mm, found.how.gun.beta) == (140.0, 120.0, 2.0)
    assert (found.how.overlap, found.how.directions_deg, found.how.pattern) == (0.7, (45.0,), "random")
    assert {found.sources[name] for name in WHENCE[:6]} == {"option"}


def test_an_option_of_nought_is_an_option(gun: Callable[..., GunSet]) -> None:
    found = gun(STATED, overlap=0.0)
    assert (found.how.overlap, found.sources["overlap"]) == (0.0, "option")


def test_one_option_leaves_the_rest_to_the_scheme(gun: Callable[..., GunSet]) -> None:
    found = gun(STATED, crossed=True)
    assert found.how.directions_deg == (0.0, 90.0)
    assert (found.sources["direction"], found.sources["overlap"], found.sources["fan"]) == (
        "option",
        "scheme",
        "scheme",
    )


def test_a_distance_without_a_fan_scales_the_usual_fan(gun: Callable[..., GunSet]) -> None:
    """220 mm at 180 mm, held at 150 mm: 220 x 150 / 180 = 183.3 mm."""
    found = gun('distance = "140 to 160 mm"\n')
    assert found.how.gun.width_mm == pytest.approx(183.333, abs=0.001)
    assert (found.sources["fan"], found.sources["distance"]) == ("assumed", "scheme")
    assert found.notes == (
        "Fan: the usual fan of the full gun, 220 mm at 180 mm, is scaled with the distance: 183.3 mm at 150 mm.",
    )


def test_a_stated_fan_is_measured_at_its_distance(gun: Callable[..., GunSet]) -> None:
    """A fan alone is taken at the usual distance; the scheme's, held closer by an option, is scaled, which is said."""
    alone = gun('fan = "150 mm"\n')
    assert (alone.how.gun.width_mm, alone.how.gun.distance_mm) == (150.0, GUNS["full"].distance_mm)
    assert not alone.notes
    closer = gun(STATED, distance_mm=110.0)
    assert closer.how.gun.width_mm == pytest.approx(200.0 * 110.0 / 165.0)
    assert (closer.sources["fan"], closer.sources["distance"]) == ("scheme", "option")
    assert closer.notes == (
        "Fan: the scheme's fan, 200 mm at 165 mm, is scaled with the distance: 133.3 mm at 110 mm.",
    )
    mine = gun(STATED, fan_mm=140.0)
    assert (mine.how.gun.width_mm, mine.how.gun.distance_mm) == (140.0, 165.0)
    assert not mine.notes


def test_a_named_gun_stands_in_place_of_the_schemes(gun: Callable[..., GunSet]) -> None:
    found = gun(STATED, gun="small")
    assert found.how.gun == GUNS["small"]
    assert (found.sources["fan"], found.sources["distance"], found.sources["overlap"]) == ("option", "option", "scheme")
    assert gun(STATED, gun="small", fan_mm=90.0).how.gun.distance_mm == GUNS["small"].distance_mm


def test_a_direction_that_says_none(gun: Callable[..., GunSet]) -> None:
    found = gun('direction = "as the light falls"\n')
    assert (found.how.directions_deg, found.sources["direction"]) == ((0.0,), "assumed")
    assert found.notes == (
        'direction "as the light falls" is not understood as a way of the strokes: left to right assumed; '
        'add --crossed or write for example direction = "lengthwise, then across"',
    )
    assert not gun('direction = "as the light falls"\n', crossed=True).notes


def test_every_wrong_value_is_told(gun: Callable[..., GunSet]) -> None:
    with pytest.raises(InputError) as caught:
        gun(gun="huge", fan_mm=0.5, beta=40.0, overlap=1.2, pattern="woven", direction="as it comes")
    told = str(caught.value)
    for said in (
        "--gun = huge",
        "--fan = 0.5",
        "--beta = 40",
        "--overlap = 1.2",
        "--lines = woven",
        '--direction = "as it comes"',
    ):
        assert said in told
    with pytest.raises(InputError, match="said twice"):
        gun(direction="lengthwise", crossed=True)


@pytest.mark.parametrize(
    ("option", "low", "high"),
    [("fan_mm", 2.0, 1000.0), ("distance_mm", 5.0, 1000.0), ("beta", 1.0, 12.0), ("overlap", 0.0, 0.95)],
)
def test_the_limits_told_may_be_used_and_no_more(
    gun: Callable[..., GunSet], option: str, low: float, high: float
) -> None:
    """From an airbrush's line, 2 mm held at 5 mm (common practice, no source), to the metre that a scheme may say."""
    field = option.removesuffix("_mm")
    for value in (low, high):
        found = gun(**{option: value})
        assert found.sources[field] == "option"
        assert getattr(found.how if option == "overlap" else found.how.gun, option.replace("fan_", "width_")) == value
    for value in (low - 0.01, high + 0.01):
        with pytest.raises(InputError, match=rf"--{field} = .*this lies between {low:g} and {high:g}"):
            gun(**{option: value})


def test_any_fan_shape_an_option_may_say_is_one_a_fan_can_have(gun: Callable[..., GunSet]) -> None:
    """Tried over and beyond the range: what the option refuses a fan refuses, and nothing else."""
    for beta in (0.8, 0.99, 1.0, 1.3, 6.0, 11.7, 12.0, 12.1, 15.0):
        try:
            wanted = Fan(width_mm=220.0, distance_mm=180.0, beta=beta, speed_mm_s=450.0)
        except ValueError:
            with pytest.raises(InputError, match="--beta"):
                gun(beta=beta)
        else:
            assert gun(beta=beta).how.gun == wanted


def test_one_limit_of_overlap(gun: Callable[..., GunSet]) -> None:
    """What a scheme may say, an option may say and the strokes can be laid at."""
    assert gun('overlap = "95 %"\n').how.overlap == gun(overlap=0.95).how.overlap == 0.95
    assert overlap_ripple(lambda u: fan_profile(u, beta=2.0), overlap=0.95).cv < 0.01
    with pytest.raises(InputError, match=r"between 0 and 0\.95"):
        gun(overlap=0.951)
    with pytest.raises(ValueError, match=r"between 0 and 0\.95"):
        overlap_ripple(lambda u: u, overlap=0.951)


def test_in_a_line(gun: Callable[..., GunSet]) -> None:
    assert plan_words(gun(STATED).how) == (
        "fan 200 mm at 165 mm, overlap 60 %, strokes top to bottom, then left to right, lines shifted"
    )
