"""A scheme to a picture: exists for a photo that changes where nothing is sprayed, pictures that depend on how the work
was cut, bursts that move when the picture is made larger, and colours outside the screen that nobody counts."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from layerpreview import load_scheme, render
from layerpreview.colour import (
    LIGHT_NAMES,
    RGB_LIN_TO_XYZ,
    decode_srgb,
    delta_e_2000,
    srgb_hex_to_rgb_lin,
    xyz_to_lab,
)
from layerpreview.picture.render import share_out_of_gamut
from layerpreview.picture.scene import SURROUND_LIN, make_scene

from ..schemes import (
    FULL,
    HEAD,
    HOLE,
    HONEY,
    MAPLE,
    PANEL,
    RELIEF,
    RIM,
    SEA_BURST,
    SILVER,
    WHITE,
    bare_scheme,
)

Save = Callable[..., Path]
WHITE_XYZ = RGB_LIN_TO_XYZ.sum(axis=1)


def _lab(rgb_lin: np.ndarray) -> np.ndarray:
    return xyz_to_lab(np.asarray(rgb_lin, dtype=float) @ RGB_LIN_TO_XYZ.T, white_xyz=WHITE_XYZ)


def _photo(path: Path, *, grey: bool = False) -> np.ndarray:
    """A picture of 64 x 48 pixels with every kind of step in it."""
    rng = np.random.default_rng(8)
    pixels = rng.integers(0, 256, (48, 64) if grey else (48, 64, 3), dtype=np.uint8)
    Image.fromarray(pixels).save(path)
    return pixels


PHOTO = 'kind = "{kind}"\npicture = "photo.png"\n'


@pytest.mark.parametrize("kind", ["metal", "solid", "wood"])
@pytest.mark.parametrize("grey", [False, True], ids=["colour", "grey"])
def test_no_dye_gives_the_photo_back(save_scheme: Save, tmp_path: Path, kind: str, grey: bool) -> None:
    pixels = _photo(tmp_path / "photo.png", grey=grey)
    scheme = load_scheme(save_scheme(bare_scheme("[base]\n" + PHOTO.format(kind=kind))))
    shown = render(scheme, width_px=64)
    assert np.array_equal(shown.srgb8, np.repeat(pixels[:, :, None], 3, axis=2) if grey else pixels)
    assert np.all(shown.cover == 1.0)
    assert shown.pixel_mm == pytest.approx(1.0)


@pytest.mark.parametrize("kind", ["solid", "wood"])
def test_a_dry_photo_is_shown_as_it_looks_under_clear(save_scheme: Save, tmp_path: Path, kind: str) -> None:
    """Saunderson without the mirror image: (1 - k1)(1 - k2) R / (1 - k2 R), k1 = 0.04 and k2 = 0.596346 for n = 1.5."""
    codes = np.array([[40, 128, 200, 255]], dtype=np.uint8).repeat(48, axis=0).repeat(16, axis=1)
    Image.fromarray(codes).save(tmp_path / "photo.png")
    base = "[base]\n" + PHOTO.format(kind=kind) + '[base.picture_options]\ntaken = "{taken}"\n'
    dry, wet = (
        render(load_scheme(save_scheme(bare_scheme(base.format(taken=taken)))), width_px=64).rgb_lin[20, 8::16, 1]
        for taken in ("dry", "under clear")
    )
    rho = decode_srgb(np.array([40, 128, 200, 255]) / 255)
    assert wet == pytest.approx(rho, abs=1e-3)
    assert dry == pytest.approx(0.96 * 0.403654 * rho / (1.0 - 0.596346 * rho), abs=1e-3)


def test_coats_of_no_strength_give_the_photo_back(save_scheme: Save, tmp_path: Path) -> None:
    """Dyes of strength nought take the long way through the engine."""
    pixels = _photo(tmp_path / "photo.png")
    text = bare_scheme("[base]\n" + PHOTO.format(kind="metal"), coats=HONEY + SEA_BURST)
    for strength in ("12 mL/L", "2 mL/L", "30 mL/L"):
        text = text.replace(f'"{strength}"', '"0 mL/L"')
    assert np.array_equal(render(load_scheme(save_scheme(text)), width_px=64).srgb8, pixels)


def test_threads_and_strips_do_not_change_a_bit(save_scheme: Save) -> None:
    scheme = load_scheme(save_scheme(FULL.replace(SILVER, RELIEF)))
    first = render(scheme, width_px=210)
    for threads, strip_px in ((1, 100), (2, 17_000), (3, 10**9)):
        again = render(scheme, width_px=210, threads=threads, strip_px=strip_px)
        assert np.array_equal(again.rgb_lin, first.rgb_lin)
        assert np.array_equal(again.cover, first.cover)
        assert again.out_of_gamut == first.out_of_gamut


def _halved(pixels: np.ndarray, times: int) -> np.ndarray:
    rows, cols = pixels.shape[0] // times, pixels.shape[1] // times
    return pixels.reshape(rows, times, cols, times, *pixels.shape[2:]).mean(axis=(1, 3))


@pytest.mark.slow
@pytest.mark.parametrize("base", [SILVER, WHITE], ids=["metal", "white"])
def test_size_changes_resolution_and_not_the_finish(save_scheme: Save, base: str) -> None:
    """A picture four times as large, averaged down in linear light, is the small one."""
    scheme = load_scheme(save_scheme(FULL.replace(SILVER, base)))
    small, large = render(scheme, width_px=128), render(scheme, width_px=512)
    # An edge is a ramp one pixel wide along its normal: within 0.06 of the true share of a pixel at any slope.
    assert _halved(large.cover, 4) == pytest.approx(small.cover, abs=0.06)
    error = delta_e_2000(_lab(_halved(large.rgb_lin, 4)), _lab(small.rgb_lin))
    assert np.percentile(error, 99) < 1.0
    assert error.mean() < 0.15


def test_a_relief_of_another_size_is_the_same_surface(save_scheme: Save) -> None:
    scheme = load_scheme(save_scheme(bare_scheme(RELIEF)))
    small, large = render(scheme, width_px=64), render(scheme, width_px=256)
    a, b = _halved(large.rgb_lin, 4)[..., 1].ravel(), small.rgb_lin[..., 1].ravel()
    assert float(np.corrcoef(a, b)[0, 1]) > 0.98
    assert a.mean() == pytest.approx(b.mean(), rel=0.01)


@pytest.mark.parametrize("width_px", [100, 333])
def test_a_burst_ends_where_it_says(save_scheme: Save, width_px: int) -> None:
    """Sea burst of 15 mm over white: across the middle the colour stops changing 15 mm from the sides, at any size."""
    scheme = load_scheme(save_scheme(bare_scheme(WHITE, coats=SEA_BURST)))
    shown = render(scheme, width_px=width_px)
    row = shown.rgb_lin[shown.rgb_lin.shape[0] // 2, :, 0].astype(float)
    x_mm = (np.arange(row.size) + 0.5) * shown.pixel_mm
    changing = np.abs(row - row[row.size // 2]) > 1e-3 * row[row.size // 2]
    assert x_mm[changing & (x_mm < 32.0)].max() == pytest.approx(15.0, abs=max(1.0, shown.pixel_mm))
    assert row == pytest.approx(row[::-1], abs=1e-5)
    assert np.all(np.diff(row[x_mm < 32.0]) >= -1e-6)


def test_the_order_of_coats_is_kept(save_scheme: Save) -> None:
    """Honey over a full brown is seen, honey under it is not."""
    brown = '[[coat]]\nopaque = "#80604a"\nhiding = 3.0\ncoats = 2\n'
    under, over, alone = (
        render(load_scheme(save_scheme(bare_scheme(SILVER, coats=coats), f"{i}.toml")), width_px=64).rgb_lin[24, 40]
        for i, coats in enumerate((HONEY + brown, brown + HONEY, brown))
    )
    assert under == pytest.approx(alone, abs=1e-4)
    assert under == pytest.approx(srgb_hex_to_rgb_lin("#80604a"), abs=1e-3)
    assert over[2] < 0.5 * under[2]


@pytest.mark.parametrize("light", LIGHT_NAMES)
def test_every_light_shows_a_neutral_base_neutral(save_scheme: Save, light: str) -> None:
    scheme = load_scheme(save_scheme(bare_scheme(WHITE.replace("#f2f0ec", "#c0c0c0"))))
    shown = render(scheme, light=light, width_px=32)
    assert shown.light == light
    assert shown.rgb_lin[10, 10] == pytest.approx(decode_srgb(np.full(3, 192 / 255)), abs=1e-4)


@pytest.mark.parametrize("base", [SILVER, RELIEF, WHITE, MAPLE], ids=["colour", "relief", "white", "wood"])
def test_every_base_under_every_kind_of_coat(save_scheme: Save, base: str) -> None:
    coats = HONEY + SEA_BURST + RIM
    scheme = load_scheme(save_scheme(bare_scheme(base, face=PANEL + HOLE, coats=coats)))
    bare = load_scheme(save_scheme(bare_scheme(base, face=PANEL + HOLE), "bare.toml"))
    shown, below = render(scheme, width_px=96), render(bare, width_px=96)
    assert np.all(np.isfinite(shown.rgb_lin))
    inside = shown.cover == 1.0
    luminance, bare_luminance = (p.rgb_lin[inside] @ RGB_LIN_TO_XYZ[1] for p in (shown, below))
    rim = float(decode_srgb(np.array([0x22, 0x18, 0x14]) / 255) @ RGB_LIN_TO_XYZ[1])  # paler than a dark facet
    assert np.all(luminance <= np.maximum(bare_luminance, rim) + 2e-4)
    assert np.array_equal(shown.cover, below.cover)


def test_ground_and_hole_stay_neutral(save_scheme: Save) -> None:
    """Outside the part and in its holes lies the neutral ground of L* 50 (Y = 0.1842, CIE 15)."""
    scheme = load_scheme(save_scheme(FULL))
    shown = render(scheme, width_px=128)
    hole = shown.rgb_lin[48, 40]  # (20 mm, 24 mm) at half a millimetre a pixel
    assert hole == pytest.approx([SURROUND_LIN] * 3, abs=1e-6)
    assert pytest.approx(0.184187, abs=1e-4) == SURROUND_LIN
    area_px = 128 * 96 - np.pi * 16.0**2
    assert float(shown.cover.sum()) == pytest.approx(area_px, rel=1e-3)


def test_faces_side_by_side_to_scale(save_scheme: Save) -> None:
    disc = '[[face]]\nname = "back"\nshape = "disc"\ndiameter = "32 mm"\n'
    scheme = load_scheme(save_scheme(HEAD + PANEL + disc + WHITE))
    scene = make_scene(scheme, width_px=400, margin=0.1)
    front, back = scene.faces
    # Widest face 64 mm: margins of 6.4 mm, a gap of 3.84 mm, in all 112.64 mm.
    assert scene.pixel_mm == pytest.approx(112.64 / 400)
    for at_px, at_mm in (
        (front.left_px, 6.4),
        (front.top_px, 6.4),
        (back.left_px, 6.4 + 64.0 + 3.84),
        (back.top_px, 6.4 + 8.0),
    ):
        assert at_px == pytest.approx(at_mm / scene.pixel_mm, abs=1.0)
    assert (front.picture.maps.grid.n_cols, back.picture.maps.grid.n_cols) == (228, 114)
    assert scene.height_px >= front.top_px + front.picture.maps.grid.n_rows + front.top_px - 1
    shown = render(scheme, width_px=300)
    assert shown.rgb_lin.shape[1] == 300
    assert float(shown.cover.sum()) * shown.pixel_mm**2 == pytest.approx(64 * 48 + np.pi * 16**2, rel=2e-3)


def test_out_of_gamut_is_counted_by_hand() -> None:
    """Six pixels, one of them half covered: too bright, too negative, and two within half a code of the edge."""
    rgb = np.array(
        [[[0.5, 0.5, 0.5], [1.2, 0.5, 0.5], [0.5, -0.1, 0.5], [1.004, 1.0, 0.0], [-0.0009, 0, 0], [2, 2, 2]]]
    )
    cover = np.array([[1.0, 1.0, 0.5, 1.0, 1.0, 0.0]])
    assert share_out_of_gamut(rgb.astype(np.float32), cover.astype(np.float32)) == pytest.approx(1.5 / 4.5)
    assert share_out_of_gamut(rgb.astype(np.float32), np.zeros((1, 6), dtype=np.float32)) == 0.0


def test_a_saturated_dye_leaves_the_gamut_and_grey_does_not(save_scheme: Save) -> None:
    strong = bare_scheme(WHITE, coats=HONEY.replace("coats = 3", "coats = 12"))
    assert render(load_scheme(save_scheme(strong)), width_px=32).out_of_gamut == pytest.approx(1.0)
    assert render(load_scheme(save_scheme(bare_scheme(WHITE), "b.toml")), width_px=32).out_of_gamut == 0.0


def test_srgb8_is_clipped_and_rounded(save_scheme: Save) -> None:
    shown = render(load_scheme(save_scheme(bare_scheme(WHITE))), width_px=16)
    assert shown.srgb8.dtype == np.uint8
    assert np.array_equal(shown.srgb8[5, 5], [0xF2, 0xF0, 0xEC])


@pytest.mark.parametrize(
    "wrong",
    [
        {"light": "F2"},
        {"view_deg": 86.0},
        {"view_deg": float("nan")},
        {"width_px": 4},
        {"width_px": 40_000},
    ],
)
def test_bad_arguments(save_scheme: Save, wrong: dict[str, float]) -> None:
    scheme = load_scheme(save_scheme(bare_scheme(WHITE)))
    with pytest.raises(ValueError, match=next(iter(wrong))):
        render(scheme, **{"width_px": 32, **wrong})
