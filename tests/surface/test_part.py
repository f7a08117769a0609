"""Parts traced in photos: exists for shadows taken for part, glare taken for holes, and bad outlines called good."""

from __future__ import annotations

import io
import math
import re
from typing import Any

import numpy as np
import pytest
import shapely
import shapely.affinity
from numpy.typing import NDArray
from PIL import Image
from scipy import ndimage

from layerpreview.colour import encode_srgb
from layerpreview.errors import PictureError
from layerpreview.surface.ground import fit_ground, ln_light
from layerpreview.surface.part import TracedPart, trace_part
from layerpreview.surface.part_doubts import hung_at
from layerpreview.surface.part_edge import find_edge, smoothed
from layerpreview.surface.part_mask import Holes, evidence, walk
from layerpreview.surface.picture_file import PictureData

HIGH, WIDE = 480, 640
PAD = (352.4, 221.7, 143.0, 96.5, math.radians(17))  # middle x, y [px], semi-axes [px], turned: an ellipse
PAD_AREA = math.pi * PAD[2] * PAD[3]
PAD_WIDE = 2 * math.hypot(PAD[2] * math.cos(PAD[4]), PAD[3] * math.sin(PAD[4]))
HOLE = (318.0, 236.0, 31.0)
GREEN, GREY, SILVER, DARK = (0.12, 0.3, 0.15), (0.31, 0.3, 0.29), (0.46, 0.46, 0.47), (0.035, 0.033, 0.03)


def _ellipse(scale: int = 1, pad: tuple[float, ...] = PAD) -> NDArray[np.float64]:
    """Coverage 0..1 of the turned ellipse, (h, w), to a hundredth of a pixel of its area."""
    rows, cols = (np.mgrid[: HIGH * scale, : WIDE * scale] + 0.5) / scale
    x, y = cols - pad[0], rows - pad[1]
    along, aside = x * np.cos(pad[4]) + y * np.sin(pad[4]), y * np.cos(pad[4]) - x * np.sin(pad[4])
    far = np.hypot(along / pad[2], aside / pad[3])
    steep = np.hypot(along / pad[2] ** 2, aside / pad[3] ** 2) / np.maximum(far, 1e-9)
    return np.clip((1 - far) / np.maximum(steep, 1e-9) * scale + 0.5, 0, 1)


def _disc(x: float, y: float, radius: float) -> NDArray[np.float64]:
    rows, cols = np.mgrid[:HIGH, :WIDE] + 0.5
    return np.clip(radius - np.hypot(cols - x, rows - y) + 0.5, 0, 1)


def _photo(
    *,
    ground: tuple[float, float, float] = GREY,
    body: tuple[float, float, float] = SILVER,
    part: NDArray[np.float64] | None = None,
    hole: bool = False,
    shadow: float = 0.45,
    glare: float = 0.0,
    beside: bool = False,
    texture: float = 0.3,
    seam: int | None = None,
    deep: bool = False,
    noise: float = 0.006,
    seed: int = 5,
) -> NDArray[np.uint8]:
    """A part on a ground with fall-off to one corner, a soft shadow, flakes, noise of a camera, in sRGB codes."""
    rng = np.random.default_rng(seed)
    part = _ellipse() if part is None else part
    if hole:
        part = part * (1 - _disc(*HOLE))
    rows, cols = np.mgrid[:HIGH, :WIDE]
    flakes = ndimage.zoom(rng.standard_normal((HIGH // 4, WIDE // 4)), 4, order=1)
    metal = np.exp(texture * flakes)[:, :, None] * np.array(body)
    cast = ndimage.shift(ndimage.gaussian_filter(part, 9), (11, 7), order=1)
    light = np.array(ground) * (1 - shadow * cast[:, :, None])
    if seam is not None:
        light[:, seam : seam + 2] *= 0.4
    if deep:
        light *= 1 - 0.8 * (_disc(*HOLE) * (1 - _disc(HOLE[0] + 14, HOLE[1] + 8, HOLE[2])))[:, :, None]
    if beside:
        cup = _disc(590, 60, 44)[:, :, None]
        light = light * (1 - cup) + np.array([0.1, 0.16, 0.4]) * cup
    light = light * (1 - part[:, :, None]) + metal * part[:, :, None]
    light *= (1.15 - 0.35 * cols / WIDE - 0.25 * rows / HIGH)[:, :, None]
    spot = np.exp(-((((cols - 400) / 30) ** 2 + ((rows - 200) / 19) ** 2) ** 2))
    light += (glare * spot * part)[:, :, None]
    light += noise * np.sqrt(light + 0.02) * rng.standard_normal(light.shape)
    return np.round(255 * encode_srgb(np.clip(light, 0, 1))).astype(np.uint8)


def _traced(pixels: NDArray[np.uint8], holes: Holes = "auto", **points: tuple[float, float]) -> TracedPart:
    return trace_part(PictureData(pixels, None, "body.png"), part_width_mm=PAD_WIDE, holes=holes, **points)


def _area(found: TracedPart) -> float:
    return found.traced.outline.area_m2 * 1e6


@pytest.mark.parametrize(
    ("ground", "body"), [(GREY, SILVER), (GREEN, SILVER), ((0.75, 0.74, 0.7), DARK), ((0.03, 0.03, 0.03), SILVER)]
)
def test_area_place_and_edge_of_an_ellipse(
    ground: tuple[float, float, float], body: tuple[float, float, float]
) -> None:
    """Closed form: pi a b, and every point of the edge on the ellipse; the shadow, half as dark, is left out."""
    found = _traced(_photo(ground=ground, body=body))
    assert found.sureness.verdict == "good"
    assert found.sureness.against == ()
    assert _area(found) == pytest.approx(PAD_AREA, rel=0.01)
    ring = found.traced.outline.outer / found.traced.pixel_mm + np.array(found.traced.corner_px)
    x, y = (ring - np.array(PAD[:2])).T
    turn = PAD[4]
    far = np.hypot((x * np.cos(turn) + y * np.sin(turn)) / PAD[2], (y * np.cos(turn) - x * np.sin(turn)) / PAD[3])
    assert np.sqrt(np.mean((far - 1) ** 2)) * PAD[3] < 1.0


def test_an_opening_shows_the_ground_and_is_kept_or_closed_on_demand() -> None:
    pixels = _photo(ground=GREEN, hole=True)
    gone = math.pi * HOLE[2] ** 2
    opened = _traced(pixels)
    assert list(opened.traced.outline.openings) == ["opening 1"]
    assert _area(opened) == pytest.approx(PAD_AREA - gone, rel=0.01)
    closed = _traced(pixels, "close")
    assert not closed.traced.outline.openings
    assert closed.sureness.closed == 1
    assert _area(closed) == pytest.approx(PAD_AREA, rel=0.01)


def test_a_sliver_beside_an_opening_refuses_nothing() -> None:
    """Two openings of 62 and 10 pixels, 2 apart: their edges meet, and the larger one is kept."""
    pixels = _photo(ground=GREEN, hole=True, body=DARK)
    ground = _photo(ground=GREEN, part=np.zeros((HIGH, WIDE)))
    sliver = _disc(HOLE[0] + HOLE[2] + 7, HOLE[1], 5)[:, :, None]
    found = _traced(np.round(pixels * (1 - sliver) + ground * sliver).astype(np.uint8), "keep")
    assert list(found.traced.outline.openings) == ["opening 1"]
    assert _area(found) == pytest.approx(PAD_AREA - math.pi * HOLE[2] ** 2, rel=0.015)


def test_glare_is_no_opening_on_a_white_ground() -> None:
    found = _traced(_photo(ground=(0.78, 0.77, 0.75), body=DARK, glare=1.5))
    assert not found.traced.outline.openings
    assert _area(found) == pytest.approx(PAD_AREA, rel=0.01)


def test_an_opening_over_a_dark_ground_is_not_called_good() -> None:
    """A dark spot would look the same: there the photo cannot tell."""
    sure = _traced(_photo(ground=(0.03, 0.03, 0.032), hole=True)).sureness
    assert sure.verdict == "look at it"
    assert sure.against == ("an opening is as dark as a dark spot on the part would be",)


def test_the_part_in_the_middle_is_taken_or_the_one_pointed_at() -> None:
    pixels = _photo(beside=True)
    assert _area(_traced(pixels)) == pytest.approx(PAD_AREA, rel=0.01)
    cup = trace_part(PictureData(pixels), part_width_mm=88.0, at=(590 / WIDE, 60 / HIGH))
    assert cup.traced.outline.area_m2 * 1e6 == pytest.approx(math.pi * 44**2, rel=0.02)


def test_a_second_thing_in_the_middle_is_told() -> None:
    """Two discs side by side, both reaching into the middle: the larger is taken, and that there are two is said."""
    both = np.maximum(_disc(210, 240, 90), _disc(420, 240, 75))
    found = _traced(_photo(part=both, shadow=0.2))
    assert found.sureness.verdict == "look at it"
    assert "more than one thing reaches into the middle: name a point of the part" in found.sureness.against
    assert found.traced.corner_px == pytest.approx((120, 150), abs=1.5)


def test_something_of_another_colour_that_touches_the_part_is_told() -> None:
    """A strip of tape beside a silver part: one shape by its tone, two by its colour."""
    pixels = _photo(ground=GREEN)
    pixels[300:340, 280:400] = (190, 150, 70)
    sure = _traced(pixels).sureness
    assert sure.verdict == "look at it"
    assert any("another colour touches" in said for said in sure.against)


def _grained(**scene: Any) -> NDArray[np.uint8]:
    """A photo whose ground has a grain of 6 %, seen through openings too."""
    pixels = _photo(ground=GREY, body=DARK, shadow=0.2, **scene).astype(np.float64)
    grain = ndimage.gaussian_filter(np.random.default_rng(4).standard_normal((HIGH, WIDE)), 0.7)
    seen = 1 - _ellipse() * (1 - _disc(*HOLE))
    pixels *= np.exp(0.03 * grain / grain.std() * seen)[:, :, None]
    return np.clip(pixels, 0, 255).astype(np.uint8)


def test_a_spot_of_the_grounds_tone_without_its_grain_is_told() -> None:
    """An opening shows the ground's grain; a disc painted in its tone does not."""
    opened = _traced(_grained(hole=True))
    assert opened.sureness.verdict == "good"
    assert _area(opened) == pytest.approx(PAD_AREA - math.pi * HOLE[2] ** 2, rel=0.01)
    painted = _grained(hole=True)
    spot = _disc(*HOLE) > 0
    painted[spot] = np.median(painted[spot], axis=0)
    sure = _traced(painted).sureness
    assert sure.verdict == "look at it"
    assert sure.against == ("an opening is smoother than the ground round the part: it may be a spot on it",)


def test_a_piece_of_the_parts_own_colour_that_hangs_at_its_edge_is_told() -> None:
    """A strip laid across the lowest point, 150 x 26 pixels on a neck of 40: where is said."""
    part = _ellipse()
    part[300:340, 330:370] = 1.0
    part[340:366, 270:420] = 1.0
    found = _traced(_photo(ground=GREEN, body=DARK, part=part, shadow=0.0))
    assert found.sureness.verdict == "look at it"
    (told,) = found.sureness.against
    x, y = (float(share) / 100 for share in re.findall(r"(\d+)%", told))
    assert "something may hang at the part's edge" in told
    assert (270 < x * WIDE < 420, 340 < y * HIGH < 366) == (True, True)


@pytest.mark.parametrize("turn_deg", [0.0, 37.0])
def test_tips_and_horns_hang_at_nothing(turn_deg: float) -> None:
    """A tip of 30 degrees and a straight peg are widest where they begin; a T of the same sizes is not."""
    body = shapely.Point(0, 0).buffer(100)
    tip = shapely.Polygon([(0, 40), (0, -40), (149, 0)]).buffer(0)
    peg = shapely.box(-22, 60, 22, 170)
    bar = shapely.box(-70, 146, 70, 170)
    for shape, hangs in ((body | tip, False), (body | peg, False), (body | tip | peg, False), (body | peg | bar, True)):
        turned = shapely.affinity.rotate(shape, turn_deg, origin=(0, 0))
        at = hung_at(shapely.get_coordinates(turned.exterior)[:-1])
        assert (at is not None) == hangs
        if at is not None:
            assert shapely.affinity.rotate(bar, turn_deg, origin=(0, 0)).contains(shapely.Point(at))


def test_grain_beside_the_edge_is_no_part_of_it() -> None:
    """Dark specks of 2 x 2 pixels in the pale ground, three pixels off a dark part."""
    pixels = _photo(ground=(0.75, 0.74, 0.7), body=DARK, shadow=0.0)
    rim = np.linspace(0, 2 * math.pi, 60, endpoint=False)
    long, short = (PAD[2] + 4) * np.cos(rim), (PAD[3] + 4) * np.sin(rim)
    cols = (PAD[0] + long * math.cos(PAD[4]) - short * math.sin(PAD[4])).astype(int)
    rows = (PAD[1] + long * math.sin(PAD[4]) + short * math.cos(PAD[4])).astype(int)
    for row, col in zip(rows, cols, strict=True):
        pixels[row : row + 2, col : col + 2] = 120
    assert _area(_traced(pixels)) == pytest.approx(PAD_AREA, rel=0.01)


def test_a_shadow_may_be_bluer_than_its_ground() -> None:
    """Where the lamp is cut off the sky still comes: half the light, a tenth of it shifted to blue."""
    seen = np.full((120, 160, 3), math.log(0.5), np.float32)
    seen += np.random.default_rng(3).normal(0, 0.01, seen.shape).astype(np.float32)
    seen[40:80, 50:90] += np.float32(math.log(0.5)) + np.array([-0.07, 0.0, 0.07], np.float32)
    seen[40:80, 100:130] += np.array([-0.2, 0.0, 0.2], np.float32)
    found = evidence(seen, fit_ground(seen))
    assert found[45:75, 55:85].max() < 1
    assert found[45:75, 105:125].min() > 1


def test_a_point_of_the_background_helps_where_the_border_is_something_else() -> None:
    """A sheet on a dark bench: the border shows the bench, and the sheet would be the part."""
    pixels = _photo(ground=(0.6, 0.6, 0.58), body=DARK)
    bench = np.full_like(pixels, 60)
    bench[30:-30, 45:-45] = pixels[30:-30, 45:-45]
    assert _area(_traced(bench, background=(0.15, 0.85))) == pytest.approx(PAD_AREA, rel=0.01)


def test_a_sheet_that_touches_the_part_is_left_out() -> None:
    """White paper larger than the part, and touching it at its lowest point: the ellipse is found, not the paper."""
    pixels = _photo(ground=GREEN)
    low = int(PAD[1] + math.hypot(PAD[2] * math.sin(PAD[4]), PAD[3] * math.cos(PAD[4]))) + 1
    pixels[low : low + 140, 60:600] = 232
    sheet = np.array([(60, low), (600, low), (600, low + 140), (60, low + 140)], dtype=np.float64)
    found = trace_part(PictureData(pixels), part_width_mm=PAD_WIDE, leave_out=[sheet])
    assert _area(found) == pytest.approx(PAD_AREA, rel=0.01)
    assert any("touches" in said for said in found.sureness.against)


def test_a_soft_edge_is_told_from_a_sharp_one() -> None:
    """Light falls over a twelfth of the way and over one pixel: a reflection's edge is 12 px wide, a part's 1 or 2."""
    cols = np.broadcast_to(np.arange(200.0), (160, 200))
    turn = np.linspace(0, 2 * math.pi, 200, endpoint=False)
    ring = np.stack([100 + 50 * np.cos(turn), 80 + 50 * np.sin(turn)], axis=1)
    far = np.hypot(cols + 0.5 - 100, np.mgrid[:160, :200][0] + 0.5 - 80) - 50
    wide = np.where(cols < 100, 12.0, 1.0)
    light = np.exp(-1.2 * np.clip(0.5 - far / wide, 0, 1)).astype(np.float32)[:, :, None].repeat(3, axis=2)
    edge = find_edge(light, ring, reach_px=12.0, smooth_px=1.5)
    left = edge.ring[:, 0] < 90
    assert np.median(edge.soft_px[left]) > 5
    assert np.median(edge.soft_px[~left & (edge.ring[:, 0] > 110)]) < 3


def test_a_patterned_ground_is_not_called_good() -> None:
    """Print under a dark part: its outline may be right, but the ground's own edges are as strong."""
    pixels = _photo(ground=(0.7, 0.69, 0.66), body=DARK, shadow=0.0).astype(np.float64)
    print_ = ndimage.gaussian_filter(np.random.default_rng(2).standard_normal((HIGH, WIDE)), 1.0)
    pixels *= np.exp(-0.25 * np.abs(print_ / print_.std()) * (_ellipse() == 0))[:, :, None]
    sure = _traced(pixels.astype(np.uint8)).sureness
    assert sure.verdict != "good"
    assert "the ground is patterned" in sure.against


def test_size_of_the_photo_does_not_decide() -> None:
    """One scene at 2.8 and at 0.3 megapixels: edges within half a millimetre where a millimetre is a small pixel."""
    cols = (np.mgrid[: 3 * HIGH, : 3 * WIDE][1] + 0.5) / 3
    light = 0.3 * (1.1 - 0.3 * cols / WIDE)
    light = light * (1 - 0.2 * np.clip((cols - 200) / 300, 0, 1))
    light = light + (0.03 - light) * _ellipse(3)
    light += 0.004 * np.random.default_rng(8).standard_normal(light.shape)
    large = np.round(255 * encode_srgb(np.clip(light, 0, 1))).astype(np.uint8)
    small = np.round(large.reshape(HIGH, 3, WIDE, 3).mean(axis=(1, 3))).astype(np.uint8)
    rings = []
    for pixels, zoom in ((large, 3.0), (small, 1.0)):
        traced = _traced(pixels).traced
        rings.append(
            shapely.LinearRing(traced.outline.outer / traced.pixel_mm / zoom + np.array(traced.corner_px) / zoom)
        )
    assert rings[0].hausdorff_distance(rings[1]) < 0.5


@pytest.mark.parametrize("quality", [95, 75])
def test_ripples_of_a_jpeg_are_no_edge_in_a_small_picture(quality: int) -> None:
    """A brown oval of 99 x 129 pixels on plain white, no noise, colour at half the size: its own area comes back."""
    rows, cols = np.mgrid[0:220, 0:180]
    oval = ((cols - 90) / 50.0) ** 2 + ((rows - 110) / 65.0) ** 2 < 1.0
    kept = io.BytesIO()
    colours = np.where(oval[:, :, None], (110, 80, 60), (228, 226, 222)).astype(np.uint8)
    Image.fromarray(colours).save(kept, "JPEG", quality=quality, subsampling=2)
    found = trace_part(PictureData(np.asarray(Image.open(kept))), part_width_mm=198.0)
    assert found.sureness.verdict == "good"
    assert _area(found) == pytest.approx(4 * oval.sum(), rel=0.005)


def test_white_on_white_and_nothing_at_all_are_refused_in_one_line() -> None:
    for pixels in (_photo(ground=SILVER, body=SILVER, texture=0.0, shadow=0.0), np.full((HIGH, WIDE), 128, np.uint8)):
        with pytest.raises(PictureError, match="no part stands out"):
            _traced(pixels)


def test_a_part_cut_off_by_the_picture_is_not_called_good() -> None:
    cut = _photo(ground=GREEN)[:, 300:]
    sure = trace_part(PictureData(cut), part_width_mm=190.0).sureness
    assert sure.verdict == "not usable"
    assert sure.against[0].startswith("the part runs out of the picture")


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"part_width_mm": 0.0}, "width must be above zero"),
        ({"part_width_mm": math.nan}, "width must be above zero"),
        ({"smooth_mm": -1.0}, "smoothing must be above zero"),
        ({"at": (1.4, 0.5)}, "point for at lies outside"),
        ({"background": (0.5, -0.1)}, "point for background lies outside"),
    ],
)
def test_bad_input_gets_one_line(change: dict[str, object], said: str) -> None:
    given: dict[str, object] = {"part_width_mm": 200.0, **change}
    with pytest.raises(PictureError, match=said):
        trace_part(PictureData(_photo()), **given)  # type: ignore[arg-type]
    with pytest.raises(PictureError, match="smaller than 64"):
        trace_part(PictureData(_photo()[:60]), part_width_mm=200.0)


def test_ground_is_a_quadratic_that_clutter_does_not_bend() -> None:
    """Made as one, it comes back exactly under the clutter too."""
    rows, cols = np.mgrid[:90, :130]
    x, y = cols / 65 - 1, rows / 45 - 1
    true = -1.2 + np.stack([0.3 * x, 0.2 * y, 0.1 * x * y], axis=2) - (0.25 * x**2 + 0.1 * y**2)[:, :, None]
    seen = true.copy()
    seen[30:70, 40:90] = -3.0
    seen[:12, 80:] = -0.4
    ground = fit_ground(seen.astype(np.float32))
    assert np.abs(ground.ln_rgb - true).max() < 0.01
    assert not ground.seen[40, 60]
    assert 0.75 < ground.border_clear < 0.95


def test_a_walk_on_a_level_field_is_the_way_between_the_seeds() -> None:
    """Without any edge the probability falls in a straight line (Laplace's equation in one direction)."""
    seeds = np.zeros((9, 41), np.int8)
    seeds[:, :1], seeds[:, -1:] = 2, 1
    share = walk(ln_light(np.full((9, 41, 3), 0.3, np.float32)), seeds)
    assert share[4] == pytest.approx(np.linspace(1, 0, 41), abs=0.06)


def test_edge_between_the_pixels() -> None:
    """From a ring 1.7 px too large the edge of an ellipse comes back to a twentieth of a pixel."""
    part = _ellipse()[:, :, None]
    light = (0.5 * (1 - part) + 0.08 * part * np.ones(3)).astype(np.float32)
    turn = np.linspace(0, 2 * math.pi, 400, endpoint=False)
    flat = np.stack([(PAD[2] + 1.7) * np.cos(turn), (PAD[3] + 1.7) * np.sin(turn)])
    way = np.array([[math.cos(PAD[4]), -math.sin(PAD[4])], [math.sin(PAD[4]), math.cos(PAD[4])]])
    edge = find_edge(light, (way @ flat).T + np.array(PAD[:2]), reach_px=3.0, smooth_px=1.5)
    assert shapely.Polygon(edge.ring).area == pytest.approx(PAD_AREA, rel=0.001)
    assert np.median(edge.step) > 1.5


def test_smoothing_keeps_corners() -> None:
    """A square of 160 with ripples of 0.4 along its sides: ripples go, corners stay within a smoothing length."""
    side = np.linspace(0, 160, 160, endpoint=False)
    zero, full = np.zeros(160), np.full(160, 160.0)
    ripple = 0.4 * np.sin(side * 1.9)
    ring = np.concatenate(
        [
            np.stack([side, zero + ripple], 1),
            np.stack([full + ripple, side], 1),
            np.stack([160 - side, full + ripple], 1),
            np.stack([zero + ripple, 160 - side], 1),
        ]
    )
    smooth = smoothed(ring, np.ones(len(ring)), 4.0)
    assert np.abs(smooth[40:120, 1]).max() < 0.05
    for corner in ((0, 0), (160, 0), (160, 160), (0, 160)):
        assert np.hypot(*(smooth - corner).T).min() < 2.0


def test_a_seam_of_the_bench_is_no_spur_of_the_part() -> None:
    """A dark line that runs under the part, darker still in its shadow: the outline goes straight over it."""
    for x in (300, 371):
        found = trace_part(PictureData(_photo(seam=x)), part_width_mm=PAD_WIDE)
        off = shapely.distance(shapely.points(_ring(found)), _true_edge())
        assert float(off.max()) < 1.5


def test_a_deep_shadow_in_an_opening_is_ground_where_the_ground_has_a_colour() -> None:
    """A fifth of the light, less than any shadow is taken to leave on a grey ground, and as green as the ground.

    Of a photo of 12 megapixels, whose noise is gone when it is reduced.
    """
    found = trace_part(PictureData(_photo(ground=GREEN, hole=True, deep=True, noise=0.002)), part_width_mm=PAD_WIDE)
    (opening,) = found.traced.outline.openings.values()
    assert shapely.Polygon(opening).area == pytest.approx(math.pi * HOLE[2] ** 2, rel=0.08)


def _true_edge() -> shapely.LinearRing:
    turn = np.linspace(0, 2 * np.pi, 720, endpoint=False)
    along, aside = PAD[2] * np.cos(turn), PAD[3] * np.sin(turn)
    x = PAD[0] + along * math.cos(PAD[4]) - aside * math.sin(PAD[4])
    y = PAD[1] + along * math.sin(PAD[4]) + aside * math.cos(PAD[4])
    return shapely.LinearRing(np.stack([x, y], axis=1))


def _ring(found: TracedPart) -> NDArray[np.float64]:
    return found.traced.rings_px()[0]
