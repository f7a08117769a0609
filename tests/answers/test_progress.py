"""On the day: the build from a reading, the coats left, and what is said when it has gone past.

The mistakes these exist for: a coat too many called for (that is a strip-down), a range that leaves the truth out, and
a reading of something else taken at its word.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
from scipy.stats import norm

from layerpreview.answers.progress import Standing, entry_to_judge, standing
from layerpreview.colour import delta_e_2000
from layerpreview.errors import InputError
from layerpreview.finish.layers import stack_of
from layerpreview.job.colours import spot_colours
from layerpreview.picture.scene import make_scene
from layerpreview.picture.spots import Spot, SpotKind, fullest_spot, main_spot, spots_of
from layerpreview.scheme import Scheme, load_scheme
from layerpreview.units import Range

from ..literal import lab_of_spectrum
from ..schemes import DYES, GUN, HEAD, HONEY, MIXES, PANEL, RIM, SILVER

SEA = '[[coat]]\nmix = "sea"\ncoats = 2\nfilm = "20 um"\n'


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> tuple[Scheme, Spot]:
    path = tmp_path_factory.mktemp("job") / "job.toml"
    path.write_text(HEAD + PANEL + SILVER + DYES + MIXES + HONEY.replace("coats = 3", "coats = 5") + SEA + GUN, "utf-8")
    scheme = load_scheme(path)
    return scheme, main_spot(spots_of(scheme, make_scene(scheme, width_px=64)))


def lab_after(scheme: Scheme, spot: Spot, honey: float, sea: float = 0.0) -> np.ndarray:  # type: ignore[type-arg]
    build = np.array([[honey / 5.0, sea / 2.0]])
    spectrum = stack_of(scheme, base=spot.base).reflectance(spot.bare[None], build)[0]
    return lab_of_spectrum(spectrum)


def judge(job: tuple[Scheme, Spot], lab: np.ndarray, coats: int, mix: str = "honey") -> Standing:  # type: ignore[type-arg]
    scheme, spot = job
    return standing(scheme, spot, lab, entry=entry_to_judge(scheme, mix), coats_done=coats)


@pytest.mark.parametrize(("done", "true"), [(2, 1.7), (3, 3.0), (3, 3.6), (4, 4.3)])
def test_the_build_is_found_within_its_range(job, done: int, true: float) -> None:  # type: ignore[no-untyped-def]
    found = judge(job, lab_after(*job, true), done)
    assert found.build.low < true < found.build.high
    assert found.build.likely == pytest.approx(true, abs=0.35)
    assert found.off_ladder < 1.0
    assert not found.gone_past
    left = (5.0 - true) / (true / done)
    assert found.coats_left.low <= left + 0.5
    assert found.coats_left.likely == pytest.approx(left, abs=0.8)
    assert found.coats_left.high >= left - 0.5


def test_the_ladder_runs_from_the_bare_base_to_the_agreed_colour(job) -> None:  # type: ignore[no-untyped-def]
    found = judge(job, lab_after(*job, 3.0), 3)
    assert [rung.coats for rung in found.ladder] == [0, 1, 2, 3, 4, 5, 6, 7]
    assert found.ladder[5].to_agreed == 0.0
    apart = [rung.to_agreed for rung in found.ladder[:6]]
    assert apart == sorted(apart, reverse=True)
    np.testing.assert_allclose(found.ladder[2].lab, lab_after(*job, 2.0), atol=1e-6)


def test_there_already(job) -> None:  # type: ignore[no-untyped-def]
    found = judge(job, lab_after(*job, 5.0), 4)  # four coats that left as much as five
    assert found.coats_left.likely == 0
    assert any("stop here" in line for line in found.advice)


def test_gone_past_is_said_and_what_the_later_coats_can_mend(job) -> None:  # type: ignore[no-untyped-def]
    found = judge(job, lab_after(*job, 7.5), 5)
    assert found.gone_past
    assert found.coats_left.likely == 0
    assert found.advice[0].startswith("gone past by")
    assert any("later dye coats" in line for line in found.advice)
    assert any(word in found.advice[-1] for word in ("leave it", "side by side", "strip"))


def test_the_entry_below_counts_when_a_later_mix_is_judged(job) -> None:  # type: ignore[no-untyped-def]
    found = judge(job, lab_after(*job, 5.0, 1.0), 1, mix="sea")
    assert found.build.likely == pytest.approx(1.0, abs=0.3)
    assert found.coats_planned == 2


def test_a_reading_of_something_else_is_not_believed(job) -> None:  # type: ignore[no-untyped-def]
    found = judge(job, np.array([60.0, -45.0, -30.0]), 3)
    assert found.off_ladder > 4.0
    assert "check the light" in found.advice[0]
    assert not found.believed
    assert f"{found.off_ladder:.1f} CIEDE2000 from what 3 coats of honey should look like" in found.advice[0]


@pytest.mark.parametrize(
    ("lab", "done"), [((60.0, -45.0, -30.0), 3), ((70.0, -12.0, 38.0), 2), ((63.0, -20.0, 70.0), 6)]
)
def test_the_distance_told_is_that_of_the_reading_itself(
    job: tuple[Scheme, Spot], colour_science: ModuleType, lab: tuple[float, float, float], done: int
) -> None:
    """CIEDE2000 by another library, colour-science; not the distance of the computed colour that is taken for it."""
    found = judge(job, np.array(lab), done)
    agreed = found.ladder[found.coats_planned].lab
    assert found.to_agreed == pytest.approx(float(colour_science.delta_E(lab, agreed, method="CIE 2000")), abs=1e-4)
    assert found.rung_to_agreed == pytest.approx(
        float(colour_science.delta_E(lab_after(*job, round(found.build.likely, 2)), agreed, method="CIE 2000")),
        abs=0.1,
    )
    for line in found.advice:
        if "from the planned colour" in line:
            assert f"{found.to_agreed:.1f} CIEDE2000 from the planned colour" in line


@pytest.mark.parametrize(("true", "done", "words"), [(5.0, 4, "stop here"), (7.5, 5, "gone past")])
def test_advice_tells_the_distance_of_the_reading(
    job: tuple[Scheme, Spot], colour_science: ModuleType, true: float, done: int, words: str
) -> None:
    """Read a little beside the ladder, the distance is larger than the ladder's own."""
    lab = lab_after(*job, true) + np.array([1.0, 2.5, 0.0])
    found = judge(job, lab, done)
    assert found.believed
    (line,) = [line for line in found.advice if line.startswith(words)]
    apart = float(colour_science.delta_E(lab, found.ladder[5].lab, method="CIE 2000"))
    assert f"{apart:.1f} CIEDE2000 from the planned colour" in line
    assert abs(apart - found.rung_to_agreed) > 0.2


def test_what_it_rests_on_is_said(job) -> None:  # type: ignore[no-untyped-def]
    found = judge(job, lab_after(*job, 3.0), 3)
    assert "measured" in found.rests_on
    assert "stated" in found.rests_on


def test_before_the_first_coat_nothing_is_on_it(job) -> None:  # type: ignore[no-untyped-def]
    found = judge(job, lab_after(*job, 0.0), 0)
    assert found.build.likely < 0.1
    assert found.coats_left.likely == 5


@pytest.mark.parametrize(("done", "said"), [(0, "0 coats"), (1, "1 coat of"), (2, "2 coats")])
def test_one_coat_is_said_as_one(job: tuple[Scheme, Spot], done: int, said: str) -> None:
    assert f"from what {said}" in judge(job, np.array([60.0, -45.0, -30.0]), done).misfit


@pytest.mark.parametrize(("true", "done"), [(1.9, 2), (3.2, 3), (4.6, 5), (4.95, 4)])
def test_the_coats_left_are_said_with_their_range(job: tuple[Scheme, Spot], true: float, done: int) -> None:
    found = judge(job, lab_after(*job, true), done)
    left = found.coats_left
    if left.likely == 0:
        assert found.advice[0].startswith("stop here")
        return
    span = f" ({left.low:.0f} to {left.high:.0f})" if left.low != left.high else ""
    coats = "coat" if left.likely == 1 else "coats"
    assert found.advice[0] == f"{left.likely:.0f} more {coats}{span} as laid so far; read again before the last one"
    assert ("it may be there already" in " ".join(found.advice)) is (left.low == 0)


def test_an_unknown_mix_is_told_with_those_there_are(job) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(InputError, match="honey, sea"):
        entry_to_judge(job[0], "plum")


PRIMER = '[[coat]]\nname = "primer"\nopaque = "#eeeeee"\nhiding = 0.6\ncoats = 2\n'
EDGE = 'burst = { from = "outline", width = "12 mm", fall_off = "soft" }\n'
FAINT = 'burst = { from = "outline", width = "12 mm", fall_off = "soft", centre = 0.01 }\n'


def places(save_scheme: Callable[..., Path], coats: str, more: str = "") -> tuple[Scheme, list[Spot]]:
    scheme = load_scheme(save_scheme(HEAD + PANEL + SILVER + DYES + MIXES + coats + more))
    return scheme, spots_of(scheme, make_scene(scheme, width_px=64))


@pytest.mark.slow
@pytest.mark.parametrize(
    ("given", "expected"),
    [
        ({}, 2),
        ({"mix": "sea"}, 2),
        ({"mix": "honey"}, 1),
        ({"number": 4}, 3),
        ({"mix": "sea", "number": 4}, 3),
    ],
)
def test_the_entry_is_the_one_named_or_the_last_that_goes_there(
    save_scheme: Callable[..., Path], given: dict[str, object], expected: int
) -> None:
    scheme, spots = places(save_scheme, PRIMER + HONEY + SEA + SEA + FAINT)
    assert entry_to_judge(scheme, **given, place=main_spot(spots).build) == expected  # type: ignore[arg-type]


@pytest.mark.slow
@pytest.mark.parametrize(
    ("number", "mix", "said"),
    [
        (0, None, "no coat of this number"),
        (5, None, r"no coat of this number; .*2 \(honey\), 3 \(sea\), 4 \(sea\)"),
        (1, None, "this coat is primer, an opaque one"),
        (2, "sea", r"sprayed with honey; .*: 3 \(sea\), 4 \(sea\)"),
    ],
)
def test_a_coat_that_cannot_be_judged_is_told_with_those_there_are(
    save_scheme: Callable[..., Path], number: int, mix: str | None, said: str
) -> None:
    scheme, _ = places(save_scheme, PRIMER + HONEY + SEA + SEA + EDGE)
    with pytest.raises(InputError, match=said) as caught:
        entry_to_judge(scheme, mix, number=number)
    assert len(caught.value.problems) == 1


@pytest.mark.parametrize(("burst", "much"), [(EDGE, "nothing"), (FAINT, "only 1 %")])
def test_where_next_to_none_goes_a_witness_card_is_called_for(
    save_scheme: Callable[..., Path], burst: str, much: str
) -> None:
    scheme, spots = places(save_scheme, HONEY + SEA + burst)
    with pytest.raises(InputError, match=rf"{much} of coat 2, sea, goes to the place .* \(field\); .*--witness"):
        standing(scheme, main_spot(spots), np.array([50.0, 0.0, 0.0]), entry=1, coats_done=1)


def test_a_witness_card_has_under_it_what_the_part_has_there(save_scheme: Callable[..., Path]) -> None:
    """Primer, a coat cut back, none of a burst that is elsewhere: what the figures say where the coat is fullest."""
    hole = PANEL + '[[face.opening]]\nname = "hole"\nshape = "disc"\ndiameter = "8 mm"\ncentre = ["32 mm", "24 mm"]\n'
    round_hole = SEA + 'burst = { from = "hole", width = "6 mm", fall_off = "linear" }\n'
    coats = PRIMER + HONEY + 'cut_back = "70 %"\n' + round_hole + SEA + EDGE
    scheme = load_scheme(save_scheme(HEAD + hole + SILVER + DYES + MIXES + coats))
    spots = spots_of(scheme, make_scene(scheme, width_px=64))
    spot = fullest_spot(spots, 3)
    assert spot.kind is SpotKind.EDGE
    assert spot.build[1] < 0.9
    assert spot.build[2] == 0.0
    found = standing(scheme, spot, np.array([50.0, 0.0, 0.0]), entry=3, coats_done=1, witness=True)
    whole = replace(spot, build=np.array([*spot.build[:3], 1.0]))  # just inside the edge the burst leaves a little less
    assert found.ladder[2].lab == pytest.approx(spot_colours(scheme, [whole])[0].lab, abs=1e-6)


def test_a_coat_is_read_before_it_is_cut_back(save_scheme: Callable[..., Path]) -> None:
    whole, cut = (
        standing(scheme, main_spot(spots), np.array([60.0, -10.0, 40.0]), entry=0, coats_done=2)
        for scheme, spots in (places(save_scheme, HONEY), places(save_scheme, HONEY + 'cut_back = "70 %"\n'))
    )
    assert cut.ladder == whole.ladder


@pytest.mark.parametrize("finish", ["gloss", "satin", "matt"])
def test_read_wet_or_under_the_schemes_own_clear(save_scheme: Callable[..., Path], finish: str) -> None:
    """Wet there is no veil; under the clear the agreed colour is that of the figures; both are told."""
    scheme, spots = places(save_scheme, HONEY, f"[clear]\nfinish = '{finish}'\n")
    spot = main_spot(spots)
    lab = np.array([60.0, -10.0, 40.0])
    wet, cleared = (
        standing(scheme, spot, lab, entry=0, coats_done=2, under_clear=under_clear) for under_clear in (False, True)
    )
    assert standing(scheme, spot, lab, entry=0, coats_done=2) == wet  # unless it is said to be cleared
    gloss, _ = places(save_scheme, HONEY)
    assert wet.ladder[3].lab == pytest.approx(spot_colours(gloss, [spot])[0].lab, abs=1e-6)
    assert cleared.ladder[3].lab == pytest.approx(spot_colours(scheme, [spot])[0].lab, abs=1e-6)
    assert wet.agreed_under_clear == cleared.agreed_under_clear == pytest.approx(cleared.ladder[3].lab, abs=1e-9)
    assert (cleared.ladder[3].lab[0] - wet.ladder[3].lab[0] > 0.3) == (finish != "gloss")


PALE = MIXES.replace("12 mL/L", "0.0001 mL/L").replace("2 mL/L", "0.0001 mL/L")
STATED_DOUBT = 0.10
"""Of a dye whose file gives no doubt: assumed, see `DYE_DOUBT`."""


def colourless(save_scheme: Callable[..., Path], film: str) -> tuple[Scheme, Spot]:
    """A coat that cannot be seen: whatever is told about its build rests on the film and the dye alone."""
    honey = HONEY.replace("coats = 3", "coats = 9").replace("35 to 45 um", film)
    scheme = load_scheme(save_scheme(HEAD + PANEL + SILVER + DYES + PALE + honey + GUN))
    return scheme, main_spot(spots_of(scheme, make_scene(scheme, width_px=64)))


@pytest.mark.parametrize(("film", "ratio"), [("35 to 45 um", 45 / 35), ("30 to 60 um", 2.0), ("40 um", 1.0)])
def test_where_the_reading_says_nothing_the_film_does(
    save_scheme: Callable[..., Path], film: str, ratio: float
) -> None:
    """By hand: the film's ends are 5 % and 95 % of a lognormal, 6 % more for the hand and 5 % for the place read (both
    assumed); even steps of the build shift a lognormal of deviation s by s^2; the dye's own doubt comes on top."""
    scheme, spot = colourless(save_scheme, film)
    found = standing(scheme, spot, lab_of_spectrum(spot.bare), entry=0, coats_done=8)
    s = np.sqrt((np.log(ratio) / (2 * norm.ppf(0.95))) ** 2 + 0.06**2 + 0.05**2)
    likely = 8.0 * np.exp(1.5 * s**2)
    low, high = (8.0 * np.exp(s**2 + sign * norm.ppf(0.95) * s) for sign in (-1.0, 1.0))
    dye = norm.ppf(0.95) * STATED_DOUBT * likely
    assert found.build.likely == pytest.approx(likely, rel=2e-3)
    assert found.build.low == pytest.approx(likely - np.hypot(likely - low, dye), abs=0.03)
    assert found.build.high == pytest.approx(likely + np.hypot(high - likely, dye), abs=0.03)


def test_before_the_first_coat_only_a_trace_may_be_on_it(save_scheme: Callable[..., Path]) -> None:
    """A half normal of deviation 0.05 root 2, in steps of 0.02 coats (both assumed), summed here by hand."""
    found = standing(*colourless(save_scheme, "40 um"), np.array([75.0, 0.0, 2.0]), entry=0, coats_done=0)
    steps = 0.02 * np.arange(200)
    chance = np.exp(-0.5 * (steps / (0.05 * np.sqrt(2))) ** 2)
    likely = float(steps @ chance / chance.sum())
    assert found.build.likely == pytest.approx(likely, rel=1e-3)
    assert found.build.low == 0.0


RED = (
    '[dye.red]\nabsorptivity = [[380, 5], [490, 5], [520, 60], [570, 60], [600, 1], [780, 1]]\nconcentrate = "30 g/L"\n'
)
GREY = '[dye.grey]\nabsorptivity = [[380, 30], [780, 30]]\nconcentrate = "30 g/L"\n'
THREE = DYES + RED + GREY + MIXES + '[mix.rose]\ndyes = { red = "6 mL/L" }\n[mix.smoke]\ndyes = { grey = "4 mL/L" }\n'
NOISE = np.array([1.2, 0.8, 0.8])
"""Of L*, a*, b* of one reading on a textured base: assumed."""


Five = Callable[..., tuple[Scheme, Spot]]


@pytest.fixture(scope="module")
def five(tmp_path_factory: pytest.TempPathFactory) -> Five:
    """Five coats of a mix, two of another later; by the film alone next to nothing is known of the build."""

    @lru_cache
    def of(mix: str = "honey", later: str = "sea") -> tuple[Scheme, Spot]:
        first = HONEY.replace("honey", mix).replace("coats = 3", "coats = 5").replace("35 to 45 um", "10 to 90 um")
        path = tmp_path_factory.mktemp("five") / "job.toml"
        path.write_text(HEAD + PANEL + SILVER + THREE + first + SEA.replace("sea", later) + GUN, "utf-8")
        scheme = load_scheme(path)
        return scheme, main_spot(spots_of(scheme, make_scene(scheme, width_px=64)))

    return of


@pytest.mark.parametrize(("mix", "axis"), [("honey", 2), ("rose", 1), ("smoke", 0)])
@pytest.mark.parametrize("chi2", [0.0, 3.0, 12.0])
def test_the_range_is_that_of_the_reading_and_the_dye(five: Five, mix: str, axis: int, chi2: float) -> None:
    """Linear theory (Gauss): the slopes of L*, a*, b* over the noise of one reading and the film beforehand, each as an
    inverse variance; the dye's doubt is a share of the build. Read beside the ladder by more than the noise explains,
    `chi2` for three values, the noise is taken for as much larger."""
    job = five(mix)
    slope = (lab_after(*job, 3.1) - lab_after(*job, 2.9)) / 0.2 / NOISE
    assert slope[axis] ** 2 > 0.65 * np.sum(slope**2)  # each mix is read by another of the three
    beside = np.cross(slope, np.roll(np.eye(3)[axis], 1))
    beside *= np.sqrt(chi2) / np.linalg.norm(beside)
    found = judge(job, lab_after(*job, 3.0) + beside * NOISE, 3, mix)
    film = 3.0 * np.sqrt((np.log(9.0) / (2 * norm.ppf(0.95))) ** 2 + 0.06**2 + 0.05**2)
    sd = 1.0 / np.sqrt(np.sum(slope**2) / max(1.0, chi2 / 3.0) + film**-2)
    half = norm.ppf(0.95) * np.hypot(sd, STATED_DOUBT * 3.0)
    assert found.build.likely == pytest.approx(3.0, abs=0.12)
    assert 0.5 * (found.build.high - found.build.low) == pytest.approx(half, rel=0.03)
    blind = norm.ppf(0.95) * STATED_DOUBT * found.build.likely
    read = np.sqrt((0.5 * (found.build.high - found.build.low)) ** 2 - blind**2)
    assert read == pytest.approx(norm.ppf(0.95) * sd, rel=0.03)


@pytest.mark.parametrize(("kind", "doubt"), [("fitted", 0.05), ("table", 0.10), ("stated", 0.10), ("generic", 0.30)])
def test_the_least_known_dye_of_a_mix_counts(save_scheme: Callable[..., Path], kind: str, doubt: float) -> None:
    """What is assumed of a dye by where it is from widens the build by that share, and is told; the fitted dye beside
    it is known better or as well."""
    scheme, spot = colourless(save_scheme, "40 um")
    dyes = {name: dye.model_copy(update={"kind": "fitted"}) for name, dye in scheme.dyes.items()}
    dyes["blue"] = dyes["blue"].model_copy(update={"kind": kind})
    found = standing(scheme.model_copy(update={"dyes": dyes}), spot, lab_of_spectrum(spot.bare), entry=0, coats_done=8)
    s = np.hypot(0.06, 0.05)
    likely = 8.0 * np.exp(1.5 * s**2)
    above = 8.0 * np.exp(s**2 + norm.ppf(0.95) * s) - likely
    assert found.build.high - likely == pytest.approx(np.hypot(above, norm.ppf(0.95) * doubt * likely), abs=0.03)
    kinds = " and ".join(sorted({"fitted", kind}))
    assert f"the dye ({kinds}: a coat to {100 * doubt:.0f} %), film stated" in found.rests_on


@pytest.mark.parametrize(
    ("true", "done"),
    [(1.0, 1), (0.6, 1), (1.4, 3), (2.2, 2), (3.9, 3), (4.4, 4), (4.7, 2), (2.6, 4), (6.0, 5)],
)
def test_the_coats_left_come_nearest_to_the_agreed_colour(five: Five, true: float, done: int) -> None:
    """Each count of coats tried, for the likely build and both ends of it, each coat as thick as those so far."""
    job = five()
    found = judge(job, lab_after(*job, true), done)
    assert (found.per_coat.low, found.per_coat.likely, found.per_coat.high) == pytest.approx(
        (found.build.low / done, found.build.likely / done, found.build.high / done)
    )
    agreed = lab_after(*job, 5.0)

    def nearest(build: float) -> int:
        apart = [float(delta_e_2000(lab_after(*job, build + k * build / done), agreed)) for k in range(15)]
        return int(np.argmin(apart)) if build < 5.0 else 0

    left = nearest(found.build.high), nearest(found.build.likely), nearest(found.build.low)
    assert left[0] <= left[1] <= left[2]
    assert found.coats_left == Range(*map(float, left))
    there = [line for line in found.advice if line.startswith("it may be there already")]
    assert len(there) == (left[0] == 0 < left[1])


def test_of_a_reading_not_believed_no_coats_are_told_as_sure(five: Five) -> None:
    """None may be left, all that were planned, or more where the coats seem thin; never that it has gone past."""
    job = five("smoke")
    for true, done in ((1.0, 3), (7.0, 4)):
        off = judge(job, lab_after(*job, true) + np.array([0.0, 12.0, -12.0]), done, "smoke")
        assert (off.believed, off.gone_past, off.coats_left.low) == (False, False, 0.0)
        by_thinnest = (5.0 - off.build.low) * done / off.build.low
        assert (by_thinnest > 6.0) is (true == 1.0)
        assert off.coats_left.high == pytest.approx(max(5.0, by_thinnest), abs=0.5)
    assert judge(job, lab_after(*job, 1.0), 2, "smoke").coats_left.low > 0.0


def test_where_nothing_may_have_landed_coats_are_still_counted(save_scheme: Callable[..., Path]) -> None:
    """A film that may be next to none: at the low end no coats would ever do, and none are told for it."""
    scheme, spot = colourless(save_scheme, "1 to 900 um")
    generic = {name: dye.model_copy(update={"kind": "generic"}) for name, dye in scheme.dyes.items()}
    scheme = scheme.model_copy(update={"dyes": generic})
    found = standing(scheme, spot, lab_of_spectrum(spot.bare), entry=0, coats_done=1)
    assert found.build.low == 0.0
    assert found.coats_left.low <= found.coats_left.likely <= found.coats_left.high


@pytest.mark.parametrize(("off", "believed"), [(3.9, True), (4.0, True), (4.1, False)])
def test_up_to_four_a_reading_may_be_of_this_scheme(job: tuple[Scheme, Spot], off: float, believed: bool) -> None:
    """CIEDE2000 from the ladder; more than five times what is just seen (assumed)."""
    assert replace(judge(job, lab_after(*job, 3.0), 3), off_ladder=off).believed is believed


@pytest.mark.parametrize(("true", "done"), [(5.3, 5), (5.45, 5), (5.6, 5), (5.9, 6), (6.1, 6), (8.0, 6)])
def test_what_is_left_to_do_when_it_has_gone_past(five: Five, true: float, done: int) -> None:
    """By the distance of the reading; and how near the later coats, of the same mix here, could bring it is tried, 5 %
    by 5 %."""
    scheme, spot = job = five(later="honey")
    found = standing(scheme, spot, lab_after(*job, true), entry=0, coats_done=done)
    apart = float(delta_e_2000(lab_after(*job, true), lab_after(*job, 5.0)))
    assert found.gone_past is (apart > 0.8)
    if not found.gone_past:
        return
    finished = lab_after(*job, 5.0, 2.0)
    less = [float(delta_e_2000(lab_after(*job, found.build.likely, 2.0 * k / 20.0), finished)) for k in range(21)]
    best = int(np.argmin(less))
    assert best < 20
    assert found.advice == (
        f"gone past by {found.build.likely - 5.0:.1f} coats: {apart:.1f} CIEDE2000 from the planned colour",
        "more dye never lightens",
        f"with {5 * best} % of the later dye coats the finish ends {less[best]:.1f} CIEDE2000 from the planned one "
        f"(with all of them {less[20]:.1f})",
        f"it may be seen side by side: bring every other face to the same {found.build.likely:.1f} coats"
        if apart <= 1.8
        else "agree on the deeper colour and bring every face to it, or strip and begin again",
    )


def test_what_later_coats_can_mend_counts_what_lies_below(save_scheme: Callable[..., Path]) -> None:
    """The middle one of three dye coats, half as much again as agreed, with an opaque rim between that is not there."""
    scheme, spots = places(save_scheme, SEA.replace("20 um", "5 um") + HONEY + RIM + HONEY)
    spot = main_spot(spots)
    stack = stack_of(scheme, base=spot.base)

    def finish(judged: float, later: float) -> np.ndarray:  # type: ignore[type-arg]
        build = np.array([[1.0, judged, 0.0, later]])
        return lab_of_spectrum(stack.reflectance(spot.bare[None], build)[0])

    found = standing(scheme, spot, finish(1.5, 0.0), entry=1, coats_done=4)
    assert found.gone_past
    less = [float(delta_e_2000(finish(found.build.likely / 3.0, k / 20.0), finish(1.0, 1.0))) for k in range(21)]
    best = int(np.argmin(less))
    assert 0 < best < 20
    assert found.advice[2].startswith(f"with {5 * best} % of the later dye coats the finish ends {less[best]:.1f} ")
    assert found.advice[2].endswith(f"(with all of them {less[20]:.1f})")


def test_gone_past_in_the_last_dye_or_unseen(save_scheme: Callable[..., Path], job: tuple[Scheme, Spot]) -> None:
    """After the last dye there is none to leave out; a coat too many that nobody sees is left."""
    last = judge(job, lab_after(*job, 5.0, 4.0), 3, mix="sea")
    assert last.gone_past
    assert not any("later dye coats" in line for line in last.advice)
    scheme, spot = colourless(save_scheme, "40 um")
    unseen = standing(scheme, spot, lab_of_spectrum(spot.bare), entry=0, coats_done=13)
    assert unseen.gone_past
    assert unseen.advice[1:] == ("more dye never lightens", "leave it: side by side half of those who look see nothing")


def test_opaque_coats_between_are_no_dye_to_leave_out(save_scheme: Callable[..., Path]) -> None:
    scheme, spots = places(save_scheme, HONEY + RIM)
    spot = main_spot(spots)
    build = np.array([[2.5, 0.0]])
    lab = lab_of_spectrum(stack_of(scheme, base=spot.base).reflectance(spot.bare[None], build)[0])
    found = standing(scheme, spot, lab, entry=0, coats_done=6)
    assert found.gone_past
    assert not any("later dye coats" in line for line in found.advice)


def test_the_part_itself_is_read_with_what_lies_there(save_scheme: Callable[..., Path]) -> None:
    """At the edge of a burst half of a coat is half its dye; a card beside it has it whole."""
    scheme, spots = places(save_scheme, HONEY + SEA)
    half = replace(main_spot(spots), build=np.array([1.0, 0.3]), laid=np.array([1.0, 0.5]))
    lab = np.array([50.0, -10.0, 10.0])
    part, card = (standing(scheme, half, lab, entry=1, coats_done=1, witness=witness) for witness in (False, True))
    assert standing(scheme, half, lab, entry=1, coats_done=1) == part
    stack = stack_of(scheme, base=half.base)
    for found, share in ((part, 0.5), (card, 1.0)):
        spectrum = stack.reflectance(half.bare[None], np.array([[1.0, share]]))[0]
        assert found.ladder[2].lab == pytest.approx(tuple(lab_of_spectrum(spectrum)), abs=1e-6)


def test_a_twentieth_of_a_coat_says_something(save_scheme: Callable[..., Path]) -> None:
    """Of less (assumed) the reading is not taken to be about it, and where it is named it is refused."""
    scheme, spots = places(save_scheme, HONEY + SEA)
    some, less = np.array([1.0, 0.055]), np.array([1.0, 0.0451])
    assert (entry_to_judge(scheme, place=some), entry_to_judge(scheme, place=less)) == (1, 0)
    lab = np.array([50.0, 0.0, 0.0])
    spot = replace(main_spot(spots), build=some, laid=some)
    assert standing(scheme, spot, lab, entry=1, coats_done=1).entry == 1
    with pytest.raises(InputError, match="only 5 % of coat 2, sea"):
        standing(scheme, replace(spot, laid=less), lab, entry=1, coats_done=1)


def test_a_coat_far_too_thick_is_still_on_the_ladder(five: Five) -> None:
    """Five coats that left as much as fourteen are found, not held at some end; rungs are told to two past the last."""
    assert judge(five(), lab_after(*five(), 14.0), 5).build.likely == pytest.approx(14.0, abs=0.3)
    assert [rung.coats for rung in judge(five(), lab_after(*five(), 3.0), 6).ladder] == list(range(9))


def test_the_first_light_is_read_under_unless_another_is_named(save_scheme: Callable[..., Path]) -> None:
    scheme, spots = places(save_scheme, HONEY)
    two = scheme.model_copy(update={"lights": ("A", "D65")})
    spot, lab = main_spot(spots), np.array([60.0, -10.0, 40.0])
    first, named, other = (
        standing(s, spot, lab, entry=0, coats_done=2, light=light)
        for s, light in ((two, None), (scheme, "A"), (two, "D65"))
    )
    assert first.ladder == named.ladder
    assert other.ladder == standing(scheme, spot, lab, entry=0, coats_done=2).ladder
    assert first.ladder != other.ladder
