"""The mistakes these tests exist for: strengths that follow a dye the wrong way, a search that stops short of what is
possible, one light matched at the others' cost, coats changed for nothing, places counted that nobody wears."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import minimize

from layerpreview.answers.remake import measured_out, nearest_strengths, remade, unchanged, worth_adding
from layerpreview.answers.remake_booth import Booth, Part
from layerpreview.colour import delta_e_2000, spectrum_to_lab
from layerpreview.finish.layers import stack_of
from layerpreview.scheme import load_library_dye
from layerpreview.units import Range

from .remake_jobs import LIGHTS, NAMES, Job, random_job

STRONGER = np.array([1.15, 0.9])


def same_hue(job: Job) -> Booth:
    """The job with its own base, and dyes that are only stronger or weaker."""
    return replace(job, new_spread=job.old.base.flake_spread).booth(STRONGER[:, None] * job.old_dyes)


@pytest.fixture(scope="module")
def job() -> Job:
    return random_job(np.random.default_rng(5))


def test_what_was_recorded_comes_out_where_nothing_changed(job: Job) -> None:
    """The record's own things: the targets are hit to the digits, by the slow and literal stack as well."""
    booth = replace(job, new_spread=job.old.base.flake_spread).booth(job.old_dyes)
    found = unchanged(booth)
    assert found.joint_de00 == pytest.approx(0.0, abs=1e-6)
    place = booth.wanted[2]
    seen = stack_of(job.old).reflectance(place.spot.bare[None], place.spot.build[None])
    for n, light in enumerate(LIGHTS):
        assert found.lab[2, n] == pytest.approx(spectrum_to_lab(seen[0], light=light))


def test_a_stronger_dye_is_taken_less_of(job: Job) -> None:
    """Beer's law: absorbance is strength times absorptivity, so 1.15 times as strong a dye wants 1 / 1.15 of it."""
    booth = same_hue(job)
    found = remade(booth)
    times = np.array([STRONGER[NAMES.index(part.dye)] for part in booth.parts])
    assert found.strengths == pytest.approx(booth.as_written / times, abs=0.021)
    assert found.joint_de00 < 0.1
    assert unchanged(booth).joint_de00 > 1.0
    assert found.coats == booth.coats
    # In whole drops: a fiftieth of a millilitre in a litre.
    assert found.strengths / 0.02 == pytest.approx(np.rint(found.strengths / 0.02), abs=1e-9)


def test_nothing_comes_closer_than_what_is_found() -> None:
    """Six jobs of the bench's kind against another search (Nelder-Mead of scipy): within a drop.

    With a shelf of four other dyes half of all colours come within 0.5 of the record.
    """
    spare = {name: load_library_dye(name) for name in ("yellow", "red", "blue", "black")}
    left, alone = [], []
    for seed in range(6):
        booth = random_job(np.random.default_rng(70 + seed)).booth()
        found = remade(booth)

        def rest(x: np.ndarray, booth: Booth = booth, coats: tuple[int, ...] = found.coats) -> float:
            return booth.recipe(np.square(x), coats).joint_de00

        options = {"maxiter": 400, "fatol": 1e-4}
        best = minimize(rest, np.sqrt(booth.as_written), method="Nelder-Mead", options=options).fun
        assert found.joint_de00 < best + 0.03
        assert found.joint_de00 <= unchanged(booth).joint_de00
        alone.append(found.joint_de00)
        wider = worth_adding(booth, found, spare)
        counted = booth.weights > 0.0
        left.append((wider[1] if wider else found).de00[counted].ravel())
    assert np.median(np.concatenate(left)) < 0.5
    assert np.median(alone) > np.median([np.sqrt(np.square(row).mean()) for row in left])


def test_one_light_alone_costs_the_others(job: Job) -> None:
    """Joint is the best of the sum over lights; alone the best of the first: each wins at its own."""
    booth = job.booth()
    joint, alone = remade(booth), remade(booth, only=0)
    counted = booth.weights > 0.0

    def mean(de00: np.ndarray) -> float:
        return float(np.sqrt(np.square(de00).mean()))

    assert mean(alone.de00[counted, 0]) <= mean(joint.de00[counted, 0]) + 0.01
    assert mean(joint.de00[counted]) <= mean(alone.de00[counted]) + 0.01
    assert mean(alone.de00[counted, 1:]) > mean(alone.de00[counted, 0])


def test_a_place_without_weight_is_told_and_not_counted(job: Job) -> None:
    booth = job.booth()
    wanted = list(booth.wanted)
    wanted[3] = replace(wanted[3], weight=0.0)
    fewer = replace(booth, wanted=tuple(wanted))
    found = remade(fewer)
    assert found.de00.shape == (4, 3)
    both = [place for place, w in enumerate(fewer.weights) if w]
    assert both == [1, 2]
    assert found.joint_de00 == pytest.approx(float(np.sqrt(np.square(found.de00[both]).mean())))
    assert np.square(found.de00[both]).sum() <= np.square(remade(booth).de00[both]).sum() + 1e-3


def test_a_heavier_weight_is_served_better(job: Job) -> None:
    booth = job.booth()
    field = [replace(place, weight=50.0 if n == 1 else place.weight) for n, place in enumerate(booth.wanted)]
    served = remade(replace(booth, wanted=tuple(field)))
    assert np.square(served.de00[1]).sum() <= np.square(remade(booth).de00[1]).sum() + 1e-3


def test_a_thin_film_is_made_up_for_by_strength(job: Job) -> None:
    """Absorbance goes with strength times film: two thirds of the film want 1.5 times the strength, coats as before."""
    booth = replace(job, new_spread=job.old.base.flake_spread).booth(job.old_dyes)
    thin = [coat.model_copy(update={"film_um": coat.film_um.scaled(2.0 / 3.0)}) for coat in booth.scheme.coats]
    found = remade(replace(booth, scheme=booth.scheme.model_copy(update={"coats": tuple(thin)})))
    assert found.strengths == pytest.approx(1.5 * booth.as_written, abs=0.021)
    assert found.coats == booth.coats


def test_a_mix_that_would_be_too_strong_gets_more_coats(job: Job) -> None:
    """A film of a fifth wants five times the dye: above what may be mixed (40 mL/L) there are more coats instead."""
    booth = replace(job, new_spread=job.old.base.flake_spread).booth(job.old_dyes)
    thin = [coat.model_copy(update={"film_um": coat.film_um.scaled(0.2)}) for coat in booth.scheme.coats]
    found = remade(replace(booth, scheme=booth.scheme.model_copy(update={"coats": tuple(thin)})))
    for i, mix in enumerate(("first", "second")):
        held = [k for k, part in enumerate(booth.parts) if part.mix == mix]
        total = float(found.strengths[held].sum())
        assert total <= 40.0 + 0.05
        wanted = 5.0 * booth.coats[i] * float(booth.as_written[held].sum())
        assert found.coats[i] * total == pytest.approx(wanted, rel=0.01)
        assert found.coats[i] == max(booth.coats[i], int(np.ceil(wanted / 40.0 - 1e-9)))
    assert found.joint_de00 < 0.1


def test_coats_of_a_shared_mix_change_where_films_part(job: Job) -> None:
    """Two entries of one mix: where one is now laid at a third of its film, no strength serves both, three coats do."""
    old = job.old.model_copy(
        update={
            "coats": tuple(
                coat.model_copy(update={"mix": "first", "coats": n})
                for coat, n in zip(job.old.coats, (2, 1), strict=True)
            )
        }
    )
    whole = stack_of(old)
    wanted = tuple(
        replace(w, reflectance=whole.reflectance(w.spot.bare[None], w.spot.build[None])[0]) for w in job.wanted
    )
    coats = (old.coats[0], old.coats[1].model_copy(update={"film_um": old.coats[1].film_um.scaled(1.0 / 3.0)}))
    found = remade(Booth(old.model_copy(update={"coats": coats}), wanted))
    assert found.coats == (2, 3)
    assert found.joint_de00 < 0.05


def test_a_dye_that_is_missing_is_offered(job: Job) -> None:
    """Amber with blue in it is made again by amber and that blue; a dye that helps nothing is not offered."""
    blue = load_library_dye("blue")
    part = np.interp(np.arange(380.0, 781.0, 5.0), blue.wavelength_nm, blue.absorptivity_L_per_g_cm)
    tinted = job.old_dyes.copy()
    tinted[0] += 0.2 * tinted[0].max() / part.max() * part
    was = replace(job, new_spread=job.old.base.flake_spread)
    record = was.booth(tinted)
    whole = stack_of(record.scheme)
    wanted = tuple(
        replace(w, reflectance=whole.reflectance(w.spot.bare[None], w.spot.build[None])[0]) for w in record.wanted
    )
    booth = replace(was.booth(job.old_dyes), wanted=wanted)
    found = remade(booth)
    offer = worth_adding(booth, found, {"blue": blue, "more amber": booth.scheme.dyes["amber"]})
    assert offer is not None
    assert {part.dye for part in offer[0].extra} == {"blue"}
    assert offer[1].joint_de00 < 0.5 * found.joint_de00
    assert offer[0].as_scheme(offer[1]).mixes[offer[0].extra[0].mix].strengths["blue"].amount > 0.0
    assert worth_adding(booth, found, {"more amber": booth.scheme.dyes["amber"]}) is None
    assert worth_adding(booth, found, {}) is None
    exact = same_hue(job)
    assert worth_adding(exact, remade(exact), {"blue": blue}) is None


def test_a_powder_is_weighed_in_milligrams(job: Job) -> None:
    """A powder of the same pure dye: as many grams in a litre as the 40 g/L liquid held."""
    booth = replace(job, new_spread=job.old.base.flake_spread).booth(job.old_dyes)
    amber = booth.scheme.dyes["amber"].model_copy(update={"concentrate_g_per_L": None})
    mixes = {
        name: mix.model_copy(
            update={
                "strengths": {
                    dye: replace(s, amount=s.amount * 0.05, unit="g/L") if dye == "amber" else s
                    for dye, s in mix.strengths.items()
                }
            }
        )
        for name, mix in booth.scheme.mixes.items()
    }
    scheme = booth.scheme.model_copy(update={"dyes": {**booth.scheme.dyes, "amber": amber}, "mixes": mixes})
    powder = replace(booth, scheme=scheme)
    found = remade(powder)
    for k, part in enumerate(powder.parts):
        per_L = 0.04 if part.dye == "amber" else 1.0
        assert found.strengths[k] == pytest.approx(per_L * booth.as_written[k], rel=0.03, abs=0.021)
        assert powder.unit_of(k) == ("g/L" if part.dye == "amber" else "mL/L")
    assert found.strengths[0] / 0.01 == pytest.approx(np.rint(found.strengths[0] / 0.01), abs=1e-9)


def test_the_recipe_goes_into_the_scheme(job: Job) -> None:
    """What the scheme then computes, the slow way, is what the recipe said; a dye that went to nothing is left out."""
    booth = job.booth()
    found = remade(booth)
    scheme = booth.as_scheme(found)
    seen = stack_of(scheme).reflectance(booth.wanted[1].spot.bare[None], booth.wanted[1].spot.build[None])[0]
    assert spectrum_to_lab(seen, light="A") == pytest.approx(found.lab[1, 1], abs=1e-6)
    none = replace(found, strengths=np.where(np.arange(4) == 1, 0.0, found.strengths))
    assert set(booth.as_scheme(none).mixes["first"].strengths) == {"amber"}
    assert booth.parts[1] == Part("first", "plum")


def test_rounding_never_leads_away(job: Job) -> None:
    booth = job.booth()
    exact = booth.recipe(nearest_strengths(booth, booth.coats, booth.as_written), booth.coats)
    rounded = measured_out(booth, exact)
    assert rounded.joint_de00 < exact.joint_de00 + 0.02
    de00 = delta_e_2000(rounded.lab, booth.target_lab)
    assert rounded.de00 == pytest.approx(de00)
    assert Range.point(float(de00.max())).likely < 10.0
