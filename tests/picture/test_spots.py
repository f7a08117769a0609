"""Single places: exist for figures that tell the colour of a place the picture has elsewhere, or nowhere: the bare base
where a burst reaches the middle, a zone where the open face is meant, a place found by the ending of its name."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from layerpreview import load_scheme
from layerpreview.colour import DISPLAY_WHITE_XYZ, RGB_LIN_TO_XYZ, delta_e_2000, xyz_to_lab
from layerpreview.job.colours import spot_colours
from layerpreview.job.figures import figures_of
from layerpreview.picture.scene import Scene, appearances_of, make_scene
from layerpreview.picture.spots import Spot, SpotKind, main_spot, spots_of

from ..schemes import DYES, FULL, HEAD, HONEY, MIXES, PANEL, SILVER, WHITE

Save = Callable[..., Path]
Random = np.random.Generator


def _burst(rng: Random, sources: list[str], wide: float, high: float) -> str:
    source = str(rng.choice(sources))
    fall_off = str(rng.choice(["linear", "soft", "fan"]))
    width = rng.uniform(0.06, 0.9) * min(wide, high)
    centre = f", centre = {rng.uniform(0.0, 0.5):.2f}" if rng.random() < 0.4 else ""
    at = f', at = ["{rng.uniform(0.2, 0.8) * wide:.1f} mm", "{rng.uniform(0.2, 0.8) * high:.1f} mm"]'
    place = {"line": f"{at}, angle = {rng.uniform(-90, 90):.0f}", "centre": at}.get(source, "")
    return f'burst = {{ from = "{source}", width = "{width:.1f} mm", fall_off = "{fall_off}"{centre}{place} }}\n'


def _random_scheme(seed: int) -> str:
    """One or two faces of any size over a flat base, with a hole, zones and one to four coats; all at random."""
    rng = np.random.default_rng(seed)
    faces, zones, sources = "", [], ["outline", "line", "centre"]
    wide, high = rng.uniform(90.0, 380.0), rng.uniform(90.0, 300.0)
    for name in ("front", "back")[: int(rng.integers(1, 3))]:
        shape = str(rng.choice(["panel", "ellipse", "teardrop", "double bout"]))
        size = f'width = "{wide:.1f} mm"\nheight = "{high:.1f} mm"\n'
        faces += f'[[face]]\nname = "{name}"\nshape = "{shape}"\n{size}'
        middle = f'centre = ["{wide / 2:.1f} mm", "{0.45 * high:.1f} mm"]\n'
        if rng.random() < 0.5:
            hole = f"hole of {name}"
            faces += f'[[face.opening]]\nname = "{hole}"\nshape = "disc"\ndiameter = "{0.2 * high:.1f} mm"\n{middle}'
            sources.append(hole)
        if rng.random() < 0.6:
            # Names that read like kinds of places must do no harm.
            zone = str(rng.choice(["cornfield", "edge", "base", "field", "strip"])) + ("" if name == "front" else " 2")
            edge = "" if rng.random() < 0.5 else f'edge = "{rng.uniform(2, 9):.1f} mm"\n'
            faces += f'[[face.zone]]\nname = "{zone}"\nshape = "panel"\nwidth = "{0.35 * wide:.1f} mm"\n'
            faces += f'height = "{0.5 * high:.1f} mm"\n{middle}{edge}'
            zones.append(zone)
        if rng.random() < 0.3:
            faces += f'[[face.zone]]\nname = "seat of {name}"\nmasked = true\nshape = "panel"\n'
            faces += f'width = "{0.2 * wide:.1f} mm"\nheight = "{0.2 * high:.1f} mm"\n{middle.replace("0.45", "0.8")}'
    coats = ""
    for _ in range(int(rng.integers(1, 5))):
        opaque = rng.random() < 0.25
        what = f'opaque = "#{rng.integers(16, 60):02x}1814"\nhiding = 0.7' if opaque else ""
        coats += f"[[coat]]\n{what or 'mix = ' + str(rng.choice(['honey', 'sea'])).join([chr(34)] * 2)}\n"
        coats += f'coats = {rng.integers(1, 4)}\nfilm = "{rng.uniform(15, 50):.0f} um"\n'
        if zones and rng.random() < 0.35:
            coats += f'zone = "{rng.choice(zones)}"\n'
            coats += _burst(rng, ["outline", "line"], wide, high) if rng.random() < 0.3 else ""
        elif opaque or rng.random() < 0.6:
            coats += _burst(rng, sources, wide, high)
        if rng.random() < 0.15:
            coats += 'cut_back = "20 %"\n'
    base = WHITE if rng.random() < 0.4 else SILVER
    return HEAD.replace('["D65"]', '["D65", "A"]') + faces + base + DYES + MIXES + coats


def _pixel_lab(picture: np.ndarray, scene: Scene, spot: Spot) -> np.ndarray:  # type: ignore[type-arg]
    face = next(face for face in scene.faces if face.name == spot.face)
    column, row = (int(mm / scene.pixel_mm) for mm in spot.at_mm)
    rgb_lin = picture[face.top_px + row, face.left_px + column].astype(np.float64)
    return xyz_to_lab(rgb_lin @ RGB_LIN_TO_XYZ.T, white_xyz=DISPLAY_WHITE_XYZ)


@pytest.mark.parametrize("seed", [0, 1, *(pytest.param(seed, marks=pytest.mark.slow) for seed in range(2, 30))])
def test_a_place_has_the_colour_of_its_pixel(save_scheme: Save, seed: int) -> None:
    scheme = load_scheme(save_scheme(_random_scheme(seed)))
    # As fine as the places were looked for: what is cut back has scratches finer than the pixels of a small picture.
    scene = make_scene(scheme, width_px=1300 if len(scheme.faces) > 1 else 640)
    looks = [*appearances_of(scheme, scene, scheme.lights), *appearances_of(scheme, scene, ["D65"], bare=True)]
    (daylight, lamp, base), _ = scene.render_strip(looks, 0, scene.height_px)
    for told in spot_colours(scheme, spots := spots_of(scheme, scene)):
        spot = next(spot for spot in spots if spot.name == told.spot)
        if spot.kind is SpotKind.BASE and told.light == "A":
            continue
        picture = base if spot.kind is SpotKind.BASE else daylight if told.light == "D65" else lamp
        seen = _pixel_lab(picture, scene, spot)
        away = float(delta_e_2000(seen, np.array(told.lab)))
        assert away <= 0.3, (told.light, spot.name, spot.at_mm, spot.build, seen, told.lab)


def test_wavelengths_hold_for_every_coat_alone(save_scheme: Save) -> None:
    """Zones show each mix without the others; the wavelengths of the picture are chosen for all of them."""
    strips = range(4)
    zones = "".join(
        f'[[face.zone]]\nname = "strip {i}"\nshape = "panel"\nwidth = "16 mm"\nheight = "48 mm"\n'
        f'centre = ["{8 + 16 * i} mm", "24 mm"]\n'
        for i in strips
    )
    library = ("yellow", "red", "red", "blue")
    dyes = "".join(
        f'[dye.d{i}]\nlibrary = "{library[i]}"\n[mix.m{i}]\ndyes = {{ d{i} = "{12 + i} mL/L" }}\n' for i in strips
    )
    coats = "".join(f'[[coat]]\nmix = "m{i}"\ncoats = 3\nzone = "strip {i}"\n' for i in strips)
    head = HEAD.replace('["D65"]', '["D65", "A", "FL11", "LED-B3"]')
    scheme = load_scheme(save_scheme(head + PANEL + zones + WHITE + dyes + coats))
    scene = make_scene(scheme, width_px=128)
    pictures, _ = scene.render_strip(appearances_of(scheme, scene, scheme.lights), 0, scene.height_px)
    spots = {spot.name: spot for spot in spots_of(scheme, scene) if spot.kind is not SpotKind.BASE}
    for told in spot_colours(scheme, list(spots.values())):
        seen = _pixel_lab(pictures[scheme.lights.index(told.light)], scene, spots[told.spot])
        assert float(delta_e_2000(seen, np.array(told.lab))) <= 0.2, (told.light, told.spot)


def test_no_two_places_have_one_name(save_scheme: Save) -> None:
    """A zone "field, base" of the face "front" beside the base of a face "front, field"."""
    zone = '[[face.zone]]\nname = "field, base"\nshape = "disc"\ndiameter = "14 mm"\ncentre = ["20 mm", "24 mm"]\n'
    other = PANEL.replace('"front"', '"front, field"')
    text = HEAD + PANEL + zone + other + WHITE + DYES + MIXES + HONEY
    scheme = load_scheme(save_scheme(text))
    names = [spot.name for spot in spots_of(scheme, make_scene(scheme, width_px=96))]
    assert len(set(names)) == len(names)
    assert {"front, field, base", "front, field, base 2"} <= set(names)


def test_a_burst_that_reaches_the_middle_is_in_the_field(save_scheme: Save) -> None:
    """Soft over 40 mm from the edge of 64 x 48 mm: a little beside the middle it has fallen to about a third."""
    wide = '[[coat]]\nmix = "sea"\ncoats = 2\nfilm = "30 um"\nburst = { from = "outline", width = "40 mm" }\n'
    scheme = load_scheme(save_scheme(HEAD + PANEL + SILVER + DYES + MIXES + wide))
    field = main_spot(spots_of(scheme, make_scene(scheme, width_px=64)))
    x, y = field.at_mm
    s = min(x, y, 64 - x, 48 - y) / 40
    assert 17 / 40 < s < 24 / 40
    assert field.build == pytest.approx([1 - 3 * s**2 + 2 * s**3], abs=0.002)
    assert 0.3 < field.build[0] < 0.65


STRIP = """\
[[face.zone]]
name = "cornfield"
shape = "panel"
width = "20 mm"
height = "70 mm"
centre = ["32 mm", "24 mm"]
"""
OVER = '[[coat]]\nmix = "sea"\ncoats = 2\nfilm = "30 um"\nzone = "cornfield"\n'


def test_a_painted_zone_in_the_middle_is_not_the_field(save_scheme: Save) -> None:
    """The field lies beside the strip, and the strip, whatever it is called, is a zone with its own coat on it."""
    scheme = load_scheme(save_scheme(HEAD + PANEL + STRIP + SILVER + DYES + MIXES + HONEY + OVER))
    spots = {spot.name: spot for spot in spots_of(scheme, make_scene(scheme, width_px=64))}
    assert {name: spot.kind for name, spot in spots.items()} == {
        "base": SpotKind.BASE,
        "field": SpotKind.FIELD,
        "cornfield": SpotKind.ZONE,
    }
    assert spots["field"].build == pytest.approx([1.0, 0.0])
    assert spots["cornfield"].build == pytest.approx([1.0, 1.0])
    assert abs(spots["field"].at_mm[0] - 32) > 12
    assert abs(spots["cornfield"].at_mm[0] - 32) < 2
    figures = figures_of(scheme, make_scene(scheme, width_px=64))
    assert [shift.spot for shift in figures.lights] == ["field", "cornfield"]
    assert list(figures.flop) == ["base", "field"]


def test_a_face_that_zones_cover_has_no_field(save_scheme: Save) -> None:
    """Then the first zone stands for the finish."""
    halves = "".join(
        f'[[face.zone]]\nname = "{name}"\nside = {{ at = ["32 mm", "24 mm"], angle = {angle} }}\n'
        for name, angle in (("right", 0), ("left", 180))
    )
    coats = HONEY + 'zone = "right"\n' + OVER.replace("cornfield", "left")
    scheme = load_scheme(save_scheme(HEAD + PANEL + halves + SILVER + DYES + MIXES + coats))
    spots = spots_of(scheme, make_scene(scheme, width_px=64))
    assert [spot.kind for spot in spots] == [SpotKind.BASE, SpotKind.ZONE, SpotKind.ZONE]
    assert main_spot(spots).name == "right"
    assert main_spot(spots).build == pytest.approx([1.0, 0.0])


def test_a_masked_middle_is_not_looked_at(save_scheme: Save) -> None:
    masked = STRIP.replace("cornfield", "seat") + "masked = true\n"
    scheme = load_scheme(save_scheme(HEAD + PANEL + masked + SILVER + DYES + MIXES + HONEY))
    field = main_spot(spots_of(scheme, make_scene(scheme, width_px=64)))
    assert field.build == pytest.approx([1.0])
    assert abs(field.at_mm[0] - 32) > 12


def test_places_do_not_depend_on_the_picture(save_scheme: Save) -> None:
    scheme = load_scheme(save_scheme(FULL))
    small, large = (spots_of(scheme, make_scene(scheme, width_px=px)) for px in (64, 500))
    for one, other in zip(small, large, strict=True):
        assert (one.name, one.kind, one.at_mm) == (other.name, other.kind, other.at_mm)
        assert one.build == pytest.approx(other.build)


def test_the_range_of_a_colour_is_that_of_its_inputs(save_scheme: Save) -> None:
    """35 to 45 um: the thin end is the same scheme sprayed with 35 um, the full end with 45."""
    scheme = load_scheme(save_scheme(HEAD + PANEL + SILVER + DYES + MIXES + HONEY))
    field = next(
        c for c in spot_colours(scheme, spots_of(scheme, make_scene(scheme, width_px=64))) if c.kind == "field"
    )
    for film, lab in (("35 um", field.lab_thin), ("45 um", field.lab_full)):
        other = load_scheme(save_scheme(HEAD + PANEL + SILVER + DYES + MIXES + HONEY.replace("35 to 45 um", film)))
        same = spot_colours(other, spots_of(other, make_scene(other, width_px=64)))[1]
        assert lab == pytest.approx(same.lab, abs=1e-9)
        assert same.lab_thin == same.lab
    assert field.thin_de00 == pytest.approx(float(delta_e_2000(np.array(field.lab), np.array(field.lab_thin))))
    assert field.thin_de00 > 0.5


def test_a_strip_of_a_single_row_of_places_has_figures(save_scheme: Save) -> None:
    """3 m long and 5 mm high: 600 places in a row."""
    strip = PANEL.replace("64 mm", "3 m").replace("48 mm", "5 mm")
    burst = HONEY + 'burst = { from = "outline", width = "7.5 mm", fall_off = "linear" }\n'
    scheme = load_scheme(save_scheme(HEAD + strip + SILVER + DYES + MIXES + burst))
    figures = figures_of(scheme, make_scene(scheme, width_px=400, margin=0.02))
    assert figures.colours
    assert all(np.isfinite(colour.lab).all() for colour in figures.colours)
