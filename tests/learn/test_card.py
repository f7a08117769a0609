"""From readings to a card: exists for a film seen under another geometry than the instrument's, and for a mirror image
that is taken for light from the dye."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from layerpreview.colour import WAVELENGTHS_NM, lab_to_xyz, white_xyz, xyz_to_lab
from layerpreview.errors import InputError
from layerpreview.film import MetalBase, diffuse_film, lamp_at, metal_film
from layerpreview.learn.card.setting import ASSUMED_BARE, CardSetting, card_of_photo, card_of_readings
from layerpreview.learn.fit.colourant import UnknownDye
from layerpreview.learn.fit.problem import CardProblem
from layerpreview.learn.read.frame import windows
from layerpreview.learn.read.frame_read import CardPhoto, Patch
from layerpreview.learn.read.readings import Reading, Readings, load_readings
from layerpreview.surface.plane import Placement

Write = Callable[[str], Path]
LAB = "background,coats,strength,L,a,b\nwhite,0,1,94,0,1\nwhite,1,1,80,10,30\nbase,2,0.5,60,5,20\nbase,3,1,40,12,25\n"


@pytest.fixture
def write(tmp_path: Path) -> Write:
    def to(text: str) -> Path:
        path = tmp_path / "card.csv"
        path.write_text(text, encoding="utf-8")
        return path

    return to


@pytest.mark.parametrize(
    ("geometry", "view", "lamp"), [("even", 0.0, None), ("45/0", 0.0, 45.0), ("d/8 excluded", 8.0, None)]
)
def test_the_film_is_seen_as_the_instrument_sees_it(geometry: str, view: float, lamp: float | None) -> None:
    """45/0 and d:8 by CIE 15: lamp at 45 and eye straight on; light from all round and the eye at 8 degrees."""
    setting = CardSetting(flake_spread=0.2, geometry=geometry)
    assert setting.film("white") == diffuse_film(lamp_at(lamp), view_deg=view)
    assert setting.film("base") == metal_film(MetalBase(flake_spread=0.2), lamp_at(lamp), view_deg=view)
    assert CardSetting(base_kind="wood", geometry=geometry).film("base") == diffuse_film(lamp_at(lamp), view_deg=view)


def test_windows_steps_and_loads(write: Write) -> None:
    card = card_of_readings(load_readings(write(LAB)), CardSetting())
    assert [(w.ground, w.step, w.load, w.strength) for w in card.windows] == [
        ("white", 0, 0.0, 1.0),
        ("white", 1, 1.0, 1.0),
        ("base", 2, 1.0, 0.5),  # two coats at half strength are another step than one at full
        ("base", 3, 3.0, 1.0),
    ]
    # 6 % a coat: 1, 2 at half strength, 3; the first shares its coat with the last, the half-strong ones share none.
    root = CardProblem(card, UnknownDye()).build_root
    one, half = 0.06**2, 0.06**2 / 2
    np.testing.assert_allclose(root @ root.T, [[one, 0, one / 3], [0, half, 0], [one / 3, 0, one / 3]], atol=1e-8)
    assert [ground.name for ground in card.grounds] == ["white", "base"]
    assert card.noise == 0.35  # of one number of an instrument, in L* steps: assumed
    assert all(window.sure for window in card.windows)
    # No bare base was read: a usual one is assumed, and it is said.
    assert card.ground("base").bare(np.ones(3)).mean() == pytest.approx(ASSUMED_BARE["base"], abs=0.02)
    assert any("base" in note for note in card.notes)


def test_one_background_alone_is_said(write: Write) -> None:
    text = LAB.replace("base,", "white,")
    card = card_of_readings(load_readings(write(text)), CardSetting())
    assert any("only the white was read" in note for note in card.notes)


@pytest.mark.parametrize(("light", "observer_deg"), [("D65", 2), ("D50", 10)])
@pytest.mark.parametrize("kind", ["lab", "xyz"])
def test_a_mirror_image_that_was_measured_too_is_taken_off(
    write: Write, kind: str, light: str, observer_deg: int
) -> None:
    """The face of a film of n = 1.5 sends back ((1.5 - 1) / 2.5)^2 = 4 % of the light as it is (Fresnel)."""
    setting = CardSetting(geometry="d/8 included", light=light, observer_deg=observer_deg)
    white = white_xyz(light, observer_deg=observer_deg)
    body = np.array([[92.0, -1.0, 3.0], [55.0, 20.0, 38.0]])
    xyz = lab_to_xyz(body, white_xyz=white) + 0.04 * white
    rows = 100.0 * xyz if kind == "xyz" else xyz_to_lab(xyz, white_xyz=white)
    head = "background,coats,X,Y,Z" if kind == "xyz" else "background,coats,L,a,b"
    lines = [f"white,{coats}," + ",".join(f"{v:.9f}" for v in row) for coats, row in zip((0, 2), rows, strict=True)]
    card = card_of_readings(load_readings(write("\n".join([head, *lines]) + "\n")), setting)
    for window, expected in zip(card.windows, body, strict=True):
        assert window.read == pytest.approx(expected, abs=1e-3)


def test_spectra_with_and_without_the_mirror_image(write: Write) -> None:
    """Steps of equal lightness, L* of CIE 15: 116 R^(1/3) - 16, straight (903.3 R) below 0.00886.

    The mistake: a dark reading clipped where the film model's is not, which the fit then takes for another dye.
    """
    nm = range(380, 781, 20)
    levels = (0.80, 0.30, 0.002)
    head = "background,coats," + ",".join(f"{w} nm" for w in nm)

    def card_with(mirror: float, geometry: str):  # type: ignore[no-untyped-def]
        rows = [f"white,{k}," + ",".join(f"{level + mirror:.4f}" for _ in nm) for k, level in enumerate(levels)]
        return card_of_readings(load_readings(write("\n".join([head, *rows]) + "\n")), CardSetting(geometry=geometry))

    for card in (card_with(0.0, "d/8 excluded"), card_with(0.04, "d/8 included")):
        for window, level in zip(card.windows, levels, strict=True):
            expected = 116.0 * level ** (1 / 3) - 16.0 if level > 0.01 else 903.2963 * level
            assert window.read == pytest.approx(np.full(21, expected), abs=1e-4)
        ground = card.grounds[0]
        assert ground.bare(np.ones(ground.weights.size)) == pytest.approx(np.full(81, 0.80), abs=1e-9)


@pytest.mark.parametrize(
    ("wavelengths", "read_at"),
    [
        (range(400, 701, 10), range(400, 701, 10)),
        (range(360, 831, 1), range(380, 781, 5)),
        (range(700, 399, -20), range(400, 701, 20)),
    ],
    ids=["as read", "finer than the film's grid", "from red to violet"],
)
def test_spectra_are_compared_where_they_were_read(write: Write, wavelengths: range, read_at: range) -> None:
    """The mistake: what lies between or beyond the instrument's wavelengths, held or interpolated, taken for read."""
    rows = [
        f"white,{k}," + ",".join(f"{level * nm / 1000:.6f}" for nm in wavelengths) for k, level in ((0, 1), (3, 0.5))
    ]
    text = "\n".join(["background,coats," + ",".join(map(str, wavelengths)), *rows]) + "\n"
    card = card_of_readings(load_readings(write(text)), CardSetting())
    at = np.sort(np.array(read_at, dtype=float))
    assert card.eye.at_nm is not None
    assert card.eye.at_nm.tolist() == at.tolist()
    assert card.windows[1].read == pytest.approx(116.0 * np.cbrt(0.5 * at / 1000) - 16.0, abs=1e-3)
    assert card.eye.take @ (WAVELENGTHS_NM / 1000) == pytest.approx(at / 1000)


def test_darker_than_the_mirror_image_is_refused(write: Write) -> None:
    text = "background,coats,L,a,b\nwhite,0,94,0,1\nwhite,4,12,0,0\n"  # L* 12 is Y 1.4 %
    with pytest.raises(InputError, match="darker than its own mirror reflection") as caught:
        card_of_readings(load_readings(write(text)), CardSetting(geometry="d/8 included"))
    assert "3" in str(caught.value)
    spectra = "background,coats,400,450,500,550,600,650,700\nwhite,0" + 7 * ",0.9" + "\nwhite,4" + 7 * ",0.02" + "\n"
    with pytest.raises(InputError, match="darker than its own mirror reflection"):
        card_of_readings(load_readings(write(spectra)), CardSetting(geometry="d/8 included"))
    assert len(card_of_readings(load_readings(write(text)), CardSetting()).windows) == 2


def test_a_bare_background_is_the_mean_of_its_readings_in_its_own_light(write: Write) -> None:
    """Two bare windows of L* 90 and 94 under A; as seen under D65 (Bradford) a grey stays a grey."""
    text = "background,coats,L,a,b\nwhite,0,90,0,0\nwhite,0,94,0,0\nwhite,1,60,5,20\n"
    card = card_of_readings(load_readings(write(text)), CardSetting(light="A"))
    ground = card.grounds[0]
    assert ground.weights == pytest.approx(np.full(3, ((92.0 + 16.0) / 116.0) ** 3), abs=1e-4)
    assert ground.spread.tolist() == [0.02, 0.02, 0.02]


@pytest.mark.parametrize(("left_out", "noise"), [(2.3, 2.3), (0.2, 0.35)])
def test_a_photo_with_a_chart_is_as_noisy_as_the_chart_says(left_out: float, noise: float) -> None:
    """What it says of unseen patches, and never less than the noise of any photo."""
    patches = tuple(Patch(box, np.full(3, 0.5), *(np.zeros(3, dtype=bool),) * 2) for box in windows())
    photo = CardPhoto(patches, Placement(np.eye(3)), 1.0, True, (), left_out)
    card = card_of_photo(photo, CardSetting(light="D50"), (0, 1, 2))
    assert (card.noise, card.tone_spread) == (noise, 0.0)


@pytest.mark.parametrize(("tone_known", "noise", "tone"), [(True, 0.35, 0.0), (False, 0.525, 0.12)])
def test_a_photo_without_a_grey_card_is_trusted_less(tone_known: bool, noise: float, tone: float) -> None:
    """Noise of one number in L* steps, half as much again where the tone curve is guessed; all assumed, no source."""
    none, blue = np.zeros(3, dtype=bool), np.array([False, False, True])
    patches = tuple(
        Patch(
            box,
            np.full(3, 0.8 - 0.1 * box.column),
            blue if box.column == 3 else none,
            blue if box.column == 2 else none,
        )
        for box in windows()
    )
    photo = CardPhoto(patches, Placement(np.eye(3)), 1.0, tone_known, ("as found",))
    card = card_of_photo(photo, CardSetting(light="D50"), (0, 1, 2.5, 4))
    assert (card.noise, card.tone_spread) == pytest.approx((noise, tone))
    assert [(w.ground, w.step, w.load) for w in card.windows if w.ground == "base"] == [
        ("base", 0, 0.0),
        ("base", 1, 1.0),
        ("base", 2, 2.5),
        ("base", 3, 4.0),
    ]
    for window in card.windows:
        assert window.noise_factor == (2.0 if window.ground == "base" else 1.0)  # a textured base differs by place
        assert window.trusted.tolist() == [True, True, window.step != 2]
        assert window.at_most is not None
        assert window.at_most.tolist() == [False, False, window.step == 3]
        level = 0.8 - 0.1 * window.step
        assert window.read == pytest.approx(np.full(3, 116.0 * (level ** (1 / 3) - 4 / 29)))
    assert card.grounds[1].weights == pytest.approx(np.full(3, 0.8))
    assert "as found" in card.notes


def test_what_is_taken_for_granted_of_a_card(write: Write) -> None:
    """A coat's film to 6 %, a place of it to 2 % (assumed); read in even light under D65, each coat over the last."""
    card = card_of_readings(load_readings(write(LAB)), CardSetting())
    assert (card.coat_scatter, card.local_scatter, card.masked, card.tone_spread) == (0.06, 0.02, True, 0.0)
    setting = CardSetting()
    assert (setting.base_kind, setting.flake_spread, setting.light) == ("metal", 0.3, "D65")
    assert (setting.observer_deg, setting.geometry, setting.masked) == (2, "even", True)
    assert not card_of_readings(load_readings(write(LAB)), CardSetting(masked=False)).masked


HEADS = {"lab": "L,a,b", "xyz": "X,Y,Z", "srgb": "R,G,B", "spectrum": "400,450,500,550,600,650,700"}


@pytest.mark.parametrize(
    ("kind", "noise", "spread"),
    [("lab", 0.35, 0.02), ("xyz", 0.35, 0.02), ("srgb", 0.6, 0.02), ("spectrum", 0.35, 0.03)],
)
def test_how_far_readings_of_a_kind_are_trusted(write: Write, kind: str, noise: float, spread: float) -> None:
    """Noise of a number in L* steps and share by which a bare ground may be off: assumed. Of a screen colour more than
    of an instrument's; the ground of spectra is found at every wavelength, from its own reading above all."""
    count = HEADS[kind].count(",") + 1
    rows = ["white,0," + ",".join(["70"] * count), "white,1," + ",".join(["40"] * count)]
    card = card_of_readings(load_readings(write("\n".join([f"background,coats,{HEADS[kind]}", *rows]))), CardSetting())
    assert card.noise == noise
    assert card.grounds[0].spread.tolist() == [spread] * (41 if kind == "spectrum" else 3)
    assert card.grounds[0].words == "measured"
    assert all(window.trusted.all() for window in card.windows)


@pytest.mark.parametrize(("name", "level"), [("white", 0.85), ("base", 0.65)])
def test_a_bare_background_that_was_not_read_is_assumed_and_said(write: Write, name: str, level: float) -> None:
    """White card and silver as they usually are, to a tenth; no source."""
    text = f"background,coats,L,a,b\n{name},1,60,5,20\n{name},2,50,9,30\n"
    card = card_of_readings(load_readings(write(text)), CardSetting())
    (ground,) = card.grounds
    assert ground.weights.tolist() == [level] * 3
    assert ground.spread.tolist() == [0.1] * 3
    assert ground.words == "assumed"
    assert (
        card.notes[0] == f"the bare {name} (0 coats) was not read: assumed a grey of {level}; the strength is less sure"
    )
    assert card.notes[1:] == (f"only the {name} was read: over the other kind of background the dye is less sure",)


def test_the_bare_ground_of_a_photo_is_that_of_its_sure_windows() -> None:
    """The mean of two bare windows by lightness; a third in which a channel is clipped does not count."""
    none = np.zeros(3, dtype=bool)
    light = {0: (0.80, 0.70, 0.60), 1: (0.84, 0.72, 0.58), 2: (0.2, 0.9, 0.9), 3: (0.3, 0.2, 0.1)}
    over = {"white": 1.0, "base": 0.7}
    patches = tuple(
        Patch(box, over[box.what] * np.array(light[box.column]), none, np.array([box.column == 2] * 3))
        for box in windows()
        if box.column < 4
    )
    photo = CardPhoto(patches, Placement(np.eye(3)), 1.0, True, ())
    card = card_of_photo(photo, CardSetting(light="D50"), (0, 0, 0, 3))
    for ground in card.grounds:
        roots = np.cbrt([light[0], light[1]]).mean(axis=0)
        assert ground.weights == pytest.approx(over[ground.name] * roots**3, rel=1e-9)
        assert ground.spread.tolist() == [0.05] * 3  # assumed: paper, light and camera each have a share
        assert ground.words == "measured in the photo"
    assert [window.step for window in card.windows] == [0, 0, 0, 3, 0, 0, 0, 3]
    assert card.notes == ()


def test_a_photo_whose_bare_windows_are_unsure_says_so() -> None:
    none = np.zeros(3, dtype=bool)
    patches = tuple(Patch(box, np.full(3, 0.5), none, ~none if box.column == 0 else none) for box in windows())
    photo = CardPhoto(patches, Placement(np.eye(3)), 1.0, True, ("as found",))
    card = card_of_photo(photo, CardSetting(light="D50"), (0, 1, 2))
    assert len(card.windows) == 6  # as many columns as there are coats
    assert [note.split(":")[0] for note in card.notes] == [
        "as found",
        "the bare white (0 coats) was not read",
        "the bare base (0 coats) was not read",
    ]
    assert card.grounds[1].weights.tolist() == [0.65] * 3


def test_the_mirror_image_in_a_screen_colour() -> None:
    """Code 128 is 21.59 % of linear light by IEC 61966-2-1; less 4 % that is L* 116 * 0.1759^(1/3) - 16 = 48.99."""
    readings = Readings("card", "srgb", (), (Reading("white", 1.0, (128 / 255,) * 3, line=2),), {}, ())
    for geometry, lightness in (("d/8 included", 48.99), ("d/8 excluded", 53.59)):
        (window,) = card_of_readings(readings, CardSetting(geometry=geometry)).windows
        assert window.read == pytest.approx([lightness] * 3, abs=0.01)


def test_what_a_screen_cannot_show_is_a_limit_or_was_not_read() -> None:
    """Code 0 is half a code or less, below nothing too; 255 may be any light. Half a code is light of 0.5/255/12.92 by
    IEC 61966-2-1, and 903.3 times that is L* 0.137."""
    readings = Readings("card", "srgb", (), (Reading("white", 3.0, (1.0, 128 / 255, 0.0), line=2),), {}, ())
    (window,) = card_of_readings(readings, CardSetting()).windows
    assert window.trusted.tolist() == [False, True, True]
    assert window.at_most is not None
    assert window.at_most.tolist() == [False, False, True]
    assert window.read[2] == pytest.approx(0.137, abs=1e-3)
    assert not window.sure


@pytest.mark.parametrize(("y", "taken"), [(0.0315, True), (0.0285, False)])
def test_a_hundredth_darker_than_the_mirror_image_is_let_pass(y: float, taken: bool) -> None:
    """Of 4 %: an instrument's own error near black (assumed). Y alone counts."""
    readings = Readings("card", "xyz", (), (Reading("white", 1.0, (0.3, y, 0.3), line=2),), {}, ())
    setting = CardSetting(geometry="d/8 included")
    if taken:
        assert len(card_of_readings(readings, setting).windows) == 1
        return
    with pytest.raises(InputError, match="mirror"):
        card_of_readings(readings, setting)


def test_a_warm_bare_ground_is_brought_to_daylight_by_its_cones(write: Write) -> None:
    """A white under lamp light (A) is white by daylight; a tint keeps its L*a*b* about, by Bradford."""
    text = "background,coats,L,a,b\nwhite,0,90,4,12\nwhite,1,60,5,20\nwhite,2,50,5,20\n"
    (ground,) = card_of_readings(load_readings(write(text)), CardSetting(light="A", observer_deg=10)).grounds
    white = white_xyz("A", observer_deg=10)
    cones = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])  # Bradford
    day = np.array([0.95047, 1.0, 1.08883])  # D65
    xyz = np.linalg.solve(
        cones, cones @ lab_to_xyz(np.array([90.0, 4.0, 12.0]), white_xyz=white) * (cones @ day) / (cones @ white)
    )
    # IEC 61966-2-1
    to_rgb = np.linalg.inv([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
    assert ground.weights == pytest.approx(to_rgb @ xyz, abs=2e-3)
