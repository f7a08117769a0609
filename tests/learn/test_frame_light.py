"""What is read in the areas of a frame, by hand: plain 16-bit pictures with known light, tone and colours.

The mistakes these exist for: a share taken of the wrong thing, light that is evened out the wrong way, a limit on the
wrong side, and a spot of dirt that is averaged in.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from layerpreview.errors import PictureError
from layerpreview.learn.read.camera import ChartFit, ToneCurve
from layerpreview.learn.read.frame import COLUMNS, Box, paper_boxes
from layerpreview.learn.read.frame_read import CardPhoto, Patch, patch_means, read_card_photo
from layerpreview.surface.picture_file import PictureData
from layerpreview.surface.plane import Placement

from .plain_frames import F64, STRAIGHT, lit_frame, picture

COLOURS = {
    (row, column): np.array([0.80 - 0.10 * column, 0.70 - 0.06 * column, 0.55 - 0.03 * column]) * share
    for row, share in (("white", 1.0), ("base", 0.6))
    for column in range(COLUMNS)
}
NOTHING_KNOWN = "no grey card or chart: the tone curve is guessed from the steps, so trust the strength less"


def colours_of(found: CardPhoto) -> F64:
    return np.array([patch.rgb_lin for patch in found.windows])


def decoded(code: F64) -> F64:
    """Linear light of sRGB numbers 0..1: IEC 61966-2-1."""
    return np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)


# Light that falls off by a third to one side and is another in each channel, as its logarithm.
def uneven(x: F64, y: F64) -> F64:
    u, v = x / 176.0, y / 116.0
    red = -0.4 + 0.30 * u - 0.20 * v - 0.25 * u * u + 0.15 * u * v - 0.10 * v * v
    return np.exp(np.stack([red, 0.7 * red - 0.1, 0.1 * u * v - 0.35 * u - 0.2], axis=-1))


@pytest.mark.parametrize("power", [0.8, 1.25])
def test_windows_are_read_as_reflectances_through_light_and_tone(power: float) -> None:
    """A window is its reflectance whatever the light on it: its share of the paper there, to 1 over the contrast."""
    found = read_card_photo(lit_frame(COLOURS, grey=0.18, light=uneven, power=power), STRAIGHT, grey_reflectance=0.18)
    assert [(patch.box.what, patch.box.column) for patch in found.windows] == list(COLOURS)
    assert found.tone_power == pytest.approx(power, abs=2e-3)
    assert found.tone_known
    np.testing.assert_allclose(colours_of(found), list(COLOURS.values()), rtol=4e-3)
    assert f"tone from the grey card: contrast {power:.2f} of sRGB" in found.notes
    assert found.placement is STRAIGHT


def test_without_grey_card_or_chart_the_tone_is_taken_as_srgb_and_that_is_said() -> None:
    found = read_card_photo(lit_frame(COLOURS, power=1.25), Placement(STRAIGHT.matrix, ("as it lay",)))
    np.testing.assert_allclose(colours_of(found), [0.86 * (c / 0.86) ** 1.25 for c in COLOURS.values()], rtol=1e-3)
    assert (found.tone_power, found.tone_known) == (1.0, False)
    assert found.notes == ("as it lay", NOTHING_KNOWN)


def test_a_chart_gives_tone_and_colour_before_a_grey_card() -> None:
    matrix = np.array([[1.1, -0.15, 0.05], [0.02, 0.9, 0.08], [-0.03, 0.2, 0.83]])
    chart = ChartFit(1.25, matrix, 1.24, 2.06, used=22)
    found = read_card_photo(lit_frame(COLOURS, power=1.25), STRAIGHT, grey_reflectance=0.9, chart=chart)
    np.testing.assert_allclose(colours_of(found), [matrix @ c for c in COLOURS.values()], rtol=1e-3)
    assert (found.tone_power, found.tone_known) == (1.25, True)
    assert found.chart_left_out_de00 == 2.06
    assert found.notes == (
        "the chart: 2.1 CIEDE2000 with each patch left out (1.2 fitted, 22 of 24 patches); tone and colour are from it",
    )


def test_a_curve_is_taken_out_of_what_was_read_before_uneven_light_is() -> None:
    """A curve that is no power (read = light^1.1 below 0.2, ^1.4 above), under light that falls off."""

    def tone(light: F64) -> F64:
        return np.where(light < 0.2, light**1.1, 0.2**-0.3 * light**1.4)

    shown = lit_frame(COLOURS, light=lambda x, y: 0.9 * uneven(x, y))
    linear = decoded(shown.pixels / 65535)
    code = tone(linear)
    code = np.where(code <= 0.0031308, 12.92 * code, 1.055 * np.maximum(code, 1e-9) ** (1 / 2.4) - 0.055)
    shot = PictureData(np.rint(65535 * code).astype(np.uint16), file="bent.tif")
    knots = np.linspace(np.log(0.005), 0.0, 60)[:, None].repeat(3, axis=1)
    curve = ToneCurve(np.log(tone(np.exp(knots))).T, knots.T)
    found = read_card_photo(shot, STRAIGHT, chart=ChartFit(1.2, np.eye(3), 1.0, 1.5, curve))
    np.testing.assert_allclose(colours_of(found), list(COLOURS.values()), rtol=6e-3)


def test_camera_raw_needs_no_grey_card() -> None:
    """A tone curve is guessed for any other picture, and what is guessed is told."""
    shown = lit_frame(COLOURS, light=lambda x, y: 0.9 * uneven(x, y))
    raw, other = (read_card_photo(replace(shown, straight=so), STRAIGHT) for so in (True, False))
    assert (raw.tone_known, other.tone_known) == (True, False)
    np.testing.assert_allclose(colours_of(raw), list(COLOURS.values()), rtol=6e-3)
    assert not any("guessed" in note for note in raw.notes)
    assert any("guessed" in note for note in other.notes)


@pytest.mark.parametrize(("lightest", "said"), [(0.68, True), (0.70, False)])
def test_paper_lighter_than_the_lightest_grey_of_the_chart_is_told(lightest: float, said: bool) -> None:
    """Plain paper of 0.86, 1.26 and 1.23 times as light: from a quarter more on, assumed."""
    knots = np.log([0.05, 0.2, lightest])[None, :].repeat(3, axis=0)
    chart = ChartFit(1.0, np.eye(3), 1.0, 1.5, ToneCurve(knots, knots))
    notes = read_card_photo(lit_frame(COLOURS), STRAIGHT, chart=chart).notes
    assert any("lighter than every grey of the chart" in note for note in notes) is said


@pytest.mark.parametrize(("power", "likely"), [(0.62, True), (0.58, False), (1.75, True), (1.85, False)])
def test_a_contrast_that_no_camera_has_is_refused(power: float, likely: bool) -> None:
    """0.6 to 1.8 of sRGB: assumed. A grey of 18 % on paper of 86 % reads 0.209 of it to that power."""
    shot = lit_frame({}, grey=0.18, power=power)
    if likely:
        assert read_card_photo(shot, STRAIGHT, grey_reflectance=0.18).tone_power == pytest.approx(power, abs=2e-3)
        return
    with pytest.raises(PictureError, match=f"reads {100 * 0.2093**power:.0f} % of the paper"):
        read_card_photo(shot, STRAIGHT, grey_reflectance=0.18)


def test_what_lies_in_the_grey_cards_place_is_told_in_percent() -> None:
    with pytest.raises(PictureError) as caught:
        read_card_photo(lit_frame({}, grey=0.95 * 0.86), STRAIGHT, grey_reflectance=0.18)
    assert "the grey card reads 95 % of the paper" in str(caught.value)
    assert "lay a card of 18 % in its place" in str(caught.value)


def test_a_tinted_grey_card_counts_by_its_middle_channel() -> None:
    found = read_card_photo(lit_frame({}, grey=(0.12, 0.2, 0.23)), STRAIGHT, grey_reflectance=0.2)
    assert found.tone_power == pytest.approx(1.0, abs=1e-3)


@pytest.mark.parametrize("area", ["grey card", "patch"])
def test_a_fifth_off_each_edge_of_a_grey_card_or_patch_is_not_read(area: str) -> None:
    """A grey that rises to its left and right edge as 1 + 0.3 w^2, w from -1 to 1: read where |w| < 0.6, so on average
    1 + 0.3 * 0.6^2 / 3 = 1.036."""
    if area == "grey card":
        shot = lit_frame({}, grey=0.2 * (1 + 0.3 * np.linspace(-1, 1, 124) ** 2)[None, :, None])
        power = read_card_photo(shot, STRAIGHT, grey_reflectance=0.2).tone_power
        assert power == pytest.approx(np.log(0.2 * 1.036 / 0.86) / np.log(0.2 / 0.86), abs=5e-4)
        return
    light = 0.2 * (1 + 0.3 * np.linspace(-1, 1, 401) ** 2)
    codes = np.rint(65535 * (1.055 * light ** (1 / 2.4) - 0.055)).astype(np.uint16)
    shot = PictureData(np.tile(codes, (90, 1))[..., None].repeat(3, axis=2), file="patch.tif")
    (patch,) = patch_means(shot, [(0.0, 10.0, 401.0, 70.0)])
    assert patch.rgb_lin == pytest.approx([0.2 * 1.036] * 3, rel=1e-3)


@pytest.mark.parametrize(("red", "said"), [(1.24, False), (1.26, True)])
def test_a_coloured_light_is_said_from_a_quarter_more_on(red: float, said: bool) -> None:
    """From which on it is worth a word: assumed."""
    cast = np.array([red, 1.13, 1.0]) * 0.6

    def light(x: F64, y: F64) -> F64:
        return np.broadcast_to(cast, (*x.shape, 3))

    notes = read_card_photo(lit_frame(COLOURS, light=light), STRAIGHT).notes
    words = "the light is coloured (the paper reads 112, 100, 88 % of its green): balanced on the paper; name the light"
    assert notes == ((words,) if said else ()) + (NOTHING_KNOWN,)


def flat(per_mm: float, left: float, top: float, size: tuple[int, int]) -> tuple[PictureData, Placement]:
    """Plain paper, and a frame laid on it straight with its first mark at (left, top) [px]."""
    pixels = np.full((size[1], size[0], 3), 200, dtype=np.uint8)
    return picture(pixels), Placement(np.array([[per_mm, 0.0, left], [0.0, per_mm, top], [0.0, 0.0, 1.0]]))


@pytest.mark.parametrize(
    ("left", "top", "inside"),
    [
        (-12.0, 0.0, True),  # at 2 px a millimetre the first window begins 12 px right of the mark and 24 below
        (-12.5, 0.0, False),
        (0.0, -24.0, True),
        (0.0, -24.5, False),
        (59.0, 0.0, True),  # the last ends at 170 mm, 340 px; in a picture of 400 px the last pixel is number 399
        (59.5, 0.0, False),
        (0.0, 143.0, True),  # and at 78 mm, 156 px, of 300
        (0.0, 143.5, False),
    ],
)
def test_every_window_lies_in_the_picture_and_the_paper_need_not(left: float, top: float, inside: bool) -> None:
    shot, placement = flat(2.0, left, top, (400, 300))
    if inside:
        np.testing.assert_allclose(colours_of(read_card_photo(shot, placement)), 0.86, rtol=1e-9)
        return
    with pytest.raises(PictureError, match="outside the picture"):
        read_card_photo(shot, placement)


@pytest.mark.parametrize(("pieces", "told"), [(9, ""), (10, "27 %"), (30, "81 %")])
def test_paper_at_the_top_of_the_scale_in_one_channel_is_overexposed(pieces: int, told: str) -> None:
    """From more than a quarter of the 37 pieces on: assumed."""
    blown = [(box, np.array([1.0, 9.0, 1.0])) for box in paper_boxes()[3 : 3 + pieces]]
    shot = lit_frame(COLOURS, spoilt=blown)
    if not told:
        read_card_photo(shot, STRAIGHT)
        return
    with pytest.raises(PictureError, match=f"overexposed: {told} of the bare paper"):
        read_card_photo(shot, STRAIGHT)


def test_what_is_over_and_under_the_scale_is_told_by_window_and_channel() -> None:
    colours = {**COLOURS, ("white", 1): [1.2, 0.5, 1.1], ("base", 4): [0.3, 0.2, 0.0001], ("base", 6): [0.1, 1.3, 0.1]}
    found = read_card_photo(lit_frame(colours), STRAIGHT)
    assert [note for note in found.notes if "overexposed" in note] == [
        "column 1 over white: red and blue overexposed, left out",
        "column 6 over base: green overexposed, left out",
    ]
    held = {(patch.box.what, patch.box.column): patch for patch in found.windows}
    assert held["white", 1].clipped.tolist() == [True, False, True]
    assert [place for place, patch in held.items() if patch.clipped.any()] == [("white", 1), ("base", 6)]
    assert held["base", 4].buried.tolist() == [False, False, True]
    assert [place for place, patch in held.items() if patch.buried.any()] == [("base", 4)]


def slope_left(spoilt: Sequence[tuple[Box, float | F64]]) -> float:
    """How unevenly the windows of a plain frame read when some paper is spoilt: a slope where there is none."""
    shot = lit_frame({}, spoilt=spoilt)
    return float(np.ptp(np.log(colours_of(read_card_photo(shot, STRAIGHT))), axis=0).max())


def leverage(number: int) -> float:
    """Which share of its own error a piece of paper takes along, by the hat matrix of a surface of second order."""
    x, y = np.array([(box.left + box.width / 2, box.top + box.height / 2) for box in paper_boxes()]).T
    terms = np.stack([x**0, x, y, x**2, x * y, y**2], axis=1) / np.array([1, 100, 100, 1e4, 1e4, 1e4])
    return float((terms @ np.linalg.inv(terms.T @ terms) @ terms.T)[number, number])


@pytest.mark.parametrize(("away", "left_out"), [(0.0088, False), (0.0112, True)])
@pytest.mark.parametrize("number", [0, 24])
def test_paper_a_hundredth_off_the_others_is_left_out(away: float, left_out: bool, number: int) -> None:
    """A smear of colour, measured from the surface it has itself pulled down: less than 1 % is taken for the light."""
    share = float(np.exp(-away / (1 - leverage(number))))
    slope = slope_left([(paper_boxes()[number], np.array([1.0, share, 1.0]))])
    assert (slope < 1e-4) is left_out
    assert left_out or slope > 5e-4


@pytest.mark.parametrize(("times", "left_out"), [(3.8, False), (4.6, True)])
def test_paper_three_times_as_far_off_as_most_is_left_out(times: float, left_out: bool) -> None:
    """Pieces 2 % too light and too dark by turns, two of them `times` as far: read as if those two lay in the dark.

    The two pull the surface along, so half of the pieces then lie more than 2.5 % from it: three times that is 7.5 %.
    """
    boxes = paper_boxes()
    shares = np.exp(np.where(np.arange(37) % 2, 0.02, -0.02))
    reads = []
    for two in (shares[[15, 20]] ** times, (0.3, 0.3)):
        shares[[15, 20]] = two
        shot = lit_frame({}, spoilt=list(zip(boxes, shares.tolist(), strict=True)))
        reads.append(np.log(colours_of(read_card_photo(shot, STRAIGHT))))
    moved = float(np.ptp(reads[1] - reads[0]))
    assert (moved < 1e-4) is left_out


def test_a_deep_shadow_hides_no_faint_one() -> None:
    """Half the light gone from two pieces side by side, 8 % from a third: the third is found once those are out."""
    boxes = paper_boxes()
    assert slope_left([(boxes[0], 0.5), (boxes[1], 0.5), (boxes[20], 0.92)]) < 1e-4


def read_slowly(shot: PictureData, left: float, top: float, wide: float, high: float) -> tuple[F64, F64, F64]:
    """Mean, share at the top and share at the bottom of the scale of a rectangle [px], by 64 x 64 points one by one."""
    most = int(np.iinfo(shot.pixels.dtype).max)
    codes = []
    for j in range(64):
        for i in range(64):
            x, y = left + wide * (i + 0.5) / 64, top + high * (j + 0.5) / 64
            column = min(max(int(np.floor(x)), 0), shot.width_px - 1)
            row = min(max(int(np.floor(y)), 0), shot.height_px - 1)
            code = shot.pixels[row, column]
            codes.append([code] * 3 if code.ndim == 0 else code)
    code = np.array(codes, dtype=float)
    light = decoded(code / most)
    grey = light.mean(axis=1)
    off = np.abs(grey - np.median(grey))
    # The median deviation of a normal law is 0.6745 of its standard deviation.
    kept = off < 3.0 * np.median(off) / 0.67449
    return light[kept].mean(axis=0), (code == most).mean(axis=0), (code <= 3 * (most // 255)).mean(axis=0)


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["grey 8", "colour 8", "grey 16", "colour 16"])
@pytest.mark.parametrize("area", [(3.3, 7.9, 61.0, 37.0), (-20.5, 11.0, 70.0, 90.0), (30.2, -9.4, 90.1, 30.0)])
def test_an_area_is_the_mean_of_its_points_without_those_far_off(
    kind: str, area: tuple[float, float, float, float]
) -> None:
    """Grainy pictures with dirt and glare, areas that reach out of the picture: what lies outside is its edge."""
    rng = np.random.default_rng(5)
    shape = (80, 100) if kind.startswith("grey") else (80, 100, 3)
    most = 255 if kind.endswith(" 8") else 65535
    pixels = np.clip(0.5 + 0.08 * rng.standard_normal(shape), 0, 1)
    pixels[rng.random((80, 100)) < 0.05] = 1.0
    pixels[rng.random((80, 100)) < 0.05] = 0.0
    shot = PictureData(np.rint(most * pixels).astype(np.uint8 if most == 255 else np.uint16), file="grain.png")
    left, top, wide, high = area
    mean, top_share, _ = read_slowly(shot, left, top, wide, high)
    (patch,) = patch_means(shot, [(left - wide / 3, top - high / 3, wide * 5 / 3, high * 5 / 3)])  # a fifth is left off
    np.testing.assert_allclose(patch.rgb_lin, mean, rtol=1e-5)
    assert patch.clipped.tolist() == (top_share > 0.02).tolist() == [True] * 3


def patch_of(codes: NDArray[np.uint16] | NDArray[np.uint8], share: float, other: int) -> Patch:
    """An area of 64 x 64 pixels, of which `share` [0..1] have another code in green."""
    pixels = codes.copy()
    pixels.reshape(-1, 3)[: round(64 * 64 * share), 1] = other
    (patch,) = patch_means(PictureData(pixels, file="patch.png"), [(-64 / 3, -64 / 3, 64 * 5 / 3, 64 * 5 / 3)])
    return patch


@pytest.mark.parametrize(("share", "counts"), [(0.0175, False), (0.0225, True)])
@pytest.mark.parametrize("code", [254, 255])
def test_a_channel_is_clipped_when_two_percent_are_at_the_top(code: int, share: float, counts: bool) -> None:
    """Every pixel of the area is looked at once; 254 of 255 is a number like any other."""
    patch = patch_of(np.full((64, 64, 3), 120, dtype=np.uint8), share, code)
    assert patch.clipped.tolist() == [False, counts and code == 255, False]
    assert not patch.buried.any()


@pytest.mark.parametrize(("share", "counts"), [(0.09, False), (0.11, True)])
@pytest.mark.parametrize(("depth", "code", "low"), [(8, 3, True), (8, 4, False), (16, 771, True), (16, 775, False)])
def test_a_channel_is_buried_when_a_tenth_is_at_the_bottom(
    depth: int, code: int, low: bool, share: float, counts: bool
) -> None:
    """The bottom are 3 of 255, where noise and flare are all there is (assumed), and the same of 65535: 771."""
    codes = np.full((64, 64, 3), 120, dtype=np.uint8) if depth == 8 else np.full((64, 64, 3), 30000, dtype=np.uint16)
    patch = patch_of(codes, share, code)
    assert patch.buried.tolist() == [False, counts and low, False]
    assert not patch.clipped.any()


def test_points_lie_in_the_middle_of_their_cells() -> None:
    """An area of 640 px, 64 points across: each is read at the sixth of its own ten pixels."""
    pixels = np.full((640, 640, 3), 90, dtype=np.uint8)
    pixels[5::10, 5::10] = 160
    for right, down, code in ((0.0, 0.0, 160), (1.0, 0.0, 90), (0.0, -1.0, 90)):
        area = (right - 640 / 3, down - 640 / 3, 640 * 5 / 3, 640 * 5 / 3)
        (patch,) = patch_means(PictureData(pixels, file="grid.png"), [area])
        assert patch.rgb_lin == pytest.approx([((code / 255 + 0.055) / 1.055) ** 2.4] * 3)
