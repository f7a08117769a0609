"""The clear's mirror image: exists for a lamp mirrored on the wrong side, light that a rough face makes or loses, and a
room that is brighter in its mirror image than its light says."""

from __future__ import annotations

import numpy as np
import pytest

from layerpreview.film import direction, face_lobe
from layerpreview.finish.mirror import BLURS, light_from, mirror_of
from layerpreview.finish.view import EVEN_LIGHT, SURROUNDINGS, SoftLamp, Surroundings
from tests.film.reference import fresnel

UP = np.array([[0.0], [0.0], [1.0]], dtype=np.float32)
ONE_LAMP = Surroundings("lamp", 0.0, (SoftLamp(315.0, 50.0, 12.0, 1.0),))
SHARP = np.zeros(1, dtype=np.float32)


def _leaning(zenith_deg: float, from_deg: float) -> np.ndarray:
    """A normal that leans towards where a clock's hand `from_deg` from the top points."""
    turn = np.radians(np.array(from_deg - 90.0))
    return direction(np.cos(np.radians(np.array(zenith_deg))), turn)[:, None].astype(np.float32)


def test_an_even_room_is_mirrored_by_fresnels_share() -> None:
    """Glass seen straight on throws 4 % back; at 60 degrees 8.9 % (Fresnel, n = 1.5)."""
    mirror = mirror_of(EVEN_LIGHT, "gloss")
    assert mirror.at(UP, SHARP)[0] == pytest.approx(0.04, rel=1e-3)
    assert mirror.at(_leaning(60.0, 20.0), SHARP)[0] == pytest.approx(fresnel(np.radians(60.0), 1.0, 1.5), rel=1e-2)


def test_a_lamp_is_mirrored_by_the_face_half_way_to_it() -> None:
    mirror = mirror_of(ONE_LAMP, "gloss")
    half_way = mirror.at(_leaning(20.0, 315.0), SHARP)[0]
    for other in (_leaning(20.0, 45.0), _leaning(20.0, 225.0), _leaning(27.0, 315.0), UP):
        assert mirror.at(other, SHARP)[0] < 1e-6
    # pi / (solid angle * cosine) times Fresnel: a lamp as bright as a card of 1 makes it.
    radius = np.radians(6.0)
    brightness = 1.0 / (np.sin(radius) ** 2 * np.sin(np.radians(50.0)))
    assert half_way == pytest.approx(brightness * fresnel(np.radians(20.0), 1.0, 1.5), rel=0.02)


@pytest.mark.parametrize("name", SURROUNDINGS)
def test_what_is_mirrored_brings_a_level_card_its_light(name: str) -> None:
    """The mean over the hemisphere as a card gathers it is 1: the same room lights the film and is seen in it."""
    share = (np.arange(400_000) + 0.5) / 400_000
    towards = direction(np.sqrt(1.0 - share), np.pi * (1.0 + 5.0**0.5) * np.arange(share.size))
    assert light_from(towards, SURROUNDINGS[name]).mean() == pytest.approx(1.0, abs=0.02)


@pytest.mark.slow
@pytest.mark.parametrize(("finish", "rough"), [("satin", 0.15), ("matt", 0.35)])
def test_a_rough_face_spreads_and_does_not_lose(finish: str, rough: float) -> None:
    """Under even light about as much as a smooth face; a few per cent are lost between the peaks."""
    assert mirror_of(EVEN_LIGHT, finish).at(UP, SHARP)[0] == pytest.approx(0.04, rel=0.05 + 0.3 * rough)


@pytest.mark.slow
@pytest.mark.parametrize(("finish", "rough"), [("satin", 0.15), ("matt", 0.35)])
def test_a_lamp_in_a_rough_face_is_the_lobe_over_its_disc(finish: str, rough: float) -> None:
    """By plain summing of the lobe, which is checked against a path tracer's, over 200,000 directions; within 10 % of
    the peak, where a smooth face has its image and beside it."""
    share = (np.arange(200_000) + 0.5) / 200_000
    towards = direction(np.sqrt(1.0 - share), np.pi * (1.0 + 5.0**0.5) * np.arange(share.size))
    light = light_from(towards, ONE_LAMP)
    mirror = mirror_of(ONE_LAMP, finish)
    faces = [_leaning(zenith, 315.0 + aside) for zenith, aside in ((20.0, 0.0), (12.0, 0.0), (27.0, 0.0), (20.0, 25.0))]
    truth = []
    for face in faces:
        mu_in = towards @ face[:, 0].astype(np.float64)
        lobe = face_lobe(np.maximum(mu_in, 1e-6), float(face[2, 0]), towards[:, 2], roughness=rough)
        truth.append(np.pi * (lobe * light * mu_in / towards[:, 2])[mu_in > 0.0].sum() / share.size)
    ours = [mirror.at(face, SHARP)[0] for face in faces]
    np.testing.assert_allclose(ours, truth, atol=0.1 * max(truth))


def test_a_bent_face_shows_a_softer_image() -> None:
    """A pixel that holds much of a rounding holds the mean of what it mirrors."""
    mirror = mirror_of(ONE_LAMP, "gloss")
    half_way = np.repeat(_leaning(20.0, 315.0), len(BLURS), axis=1)
    bright = mirror.at(half_way, np.array(BLURS, dtype=np.float32))
    assert np.all(np.diff(bright) <= 1e-3)
    assert bright[-1] < 0.5 * bright[0]


def test_the_surroundings_turn_with_the_lamp() -> None:
    mirror = mirror_of(ONE_LAMP, "gloss", 90.0)
    assert mirror.at(_leaning(20.0, 45.0), SHARP)[0] > 1.0
    assert mirror.at(_leaning(20.0, 315.0), SHARP)[0] < 1e-6
