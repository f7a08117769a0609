"""Exists for values that change between file and model: units, order of coats, assumed taken as stated."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from pydantic import ValidationError

from layerpreview.scheme import DyeCoat, Face, Gun, OpaqueCoat, load_dye, load_scheme
from layerpreview.units import Range, Strength
from tests.schemes import bare_scheme


@pytest.fixture
def scheme(good, write):
    return load_scheme(write(good))


def test_heading(scheme, tmp_path: Path) -> None:
    assert scheme.name == "Octave mandolin, honey to plum"
    assert scheme.lights == ("D65", "A")
    assert scheme.observer_deg == 10
    assert (scheme.folder, scheme.file) == (tmp_path, tmp_path / "job.toml")
    assert scheme.clear.finish == "satin"


def test_face_in_millimetres(scheme) -> None:
    (face,) = scheme.faces
    (hole,) = face.openings
    assert (face.name, face.shape, face.width_mm, face.height_mm) == ("front", "ellipse", 300.0, 381.0)
    assert (hole.width_mm, hole.height_mm, hole.centre_mm, hole.turn_deg) == (90.0, 60.0, (150.0, 155.0), 12.0)


def test_base_with_stated_and_default_options(scheme) -> None:
    base = scheme.base
    assert (base.kind, base.relief, base.picture, base.colour, base.flake_spread) == (
        "metal",
        "lifted",
        None,
        None,
        0.25,
    )
    options = base.relief_options
    assert (options.seed, options.cell_mm, options.lamp_from_deg, options.lamp_height_deg) == (9, 12.0, 315.0, 50.0)


def test_dye_carries_its_spectrum_whatever_its_source(scheme) -> None:
    plum = scheme.dyes["plum"]
    assert plum.name == "plum"
    assert plum.kind == "stated"
    assert plum.wavelength_nm == (380.0, 540.0, 720.0)
    assert plum.absorptivity_L_per_g_cm == (22.0, 70.5, 0.0)
    assert (plum.concentrate_g_per_L, plum.density_g_per_mL) == (30.0, 0.95)
    assert plum.drops_per_mL == Range(44.0, 48.5, 53.0)


def test_mix(scheme) -> None:
    honey = scheme.mixes["honey"]
    assert honey.name == "honey"
    assert honey.strengths == {"amber": Strength(12.5, "mL/L"), "plum": Strength(200.0, "drops/L")}
    assert honey.strengths["plum"].written == "20 drops per 100 mL"
    assert (honey.carrier, honey.density_g_per_mL, honey.solids) == ("clear solvent basecoat", 0.96, Range.point(0.22))


def test_coats_keep_their_order_even_when_written_apart(scheme) -> None:
    first, second, third = scheme.coats
    assert isinstance(first, DyeCoat)
    assert isinstance(second, OpaqueCoat)
    assert isinstance(third, DyeCoat)
    assert (first.mix, first.coats, first.zone, first.bursts) == ("honey", 3, "face", ())
    assert (first.film_um.range, first.film_um.basis) == (Range(28.0, 40.0, 55.0), "assumed (medium)")
    assert (second.colour, second.hiding, second.coats) == ("#120d0b", 1.2, 2)
    assert (second.film_um.range, second.film_um.basis) == (Range(35.0, 42.5, 50.0), "stated")
    assert (third.coats, third.film_um.basis) == (1, "assumed (light)")
    assert scheme.mix_of(first) is scheme.mixes["honey"]


def test_one_burst_as_a_table_several_as_a_list(scheme) -> None:
    (edge,) = scheme.coats[1].bursts
    assert (edge.source, edge.width_mm, edge.fall_off, edge.centre) == ("outline", 12.0, "fan", 0.0)
    holes = scheme.coats[2].bursts
    assert [(b.source, b.width_mm, b.fall_off, b.centre) for b in holes] == [
        ("openings", 5.0, "soft", 0.0),
        ("sound hole", 12.7, "soft", 0.1),
    ]


def test_gun_says_what_is_assumed(scheme) -> None:
    assert (scheme.gun.transfer.range, scheme.gun.transfer.basis) == (Range(0.40, 0.525, 0.65), "assumed (HVLP)")
    assert (scheme.gun.residue_mL.likely, scheme.gun.residue_mL.basis) == (20.0, "stated")
    unknown = Gun()
    assert (unknown.transfer.low, unknown.transfer.high) == (0.25, 0.65)
    assert unknown.transfer.basis == "assumed (kind of gun not stated)"
    stated = Gun(transfer="30 to 38 %")
    assert (stated.transfer.range, stated.transfer.basis) == (Range(0.30, 0.34, 0.38), "stated")
    assert (unknown.residue_mL.likely, unknown.residue_mL.basis) == (15.0, "assumed")


def test_the_model_cannot_be_changed() -> None:
    face = Face(name="front", shape="disc", diameter="12 in")
    with pytest.raises(ValidationError):
        face.name = "back"
    assert face.model_copy(update={"diameter_mm": 300.0}).diameter_mm == 300.0


def test_dye_file_and_override(good: str, write) -> None:
    write(
        'layerpreview_dye = 1\nname = "deep plum"\nkind = "table"\nprovenance = "measured here"\n'
        "concentrate = '55 g/L'\ndensity = '0.9 g/mL'\nabsorptivity_L_per_g_cm = [[380, 5], [780, 3]]\n",
        "plum.dye.toml",
    )
    text = good.replace("absorptivity = [[380, 22.0], [540, 70.5], [720, 0.0]]", "file = 'plum.dye.toml'")
    plum = load_scheme(write(text)).dyes["plum"]
    assert (plum.name, plum.kind, plum.provenance) == ("plum", "table", "measured here")
    assert (plum.wavelength_nm, plum.absorptivity_L_per_g_cm) == ((380.0, 780.0), (5.0, 3.0))
    assert (plum.concentrate_g_per_L, plum.density_g_per_mL) == (30.0, 0.95)  # the scheme's word goes first
    alone = load_dye(write("", "x").parent / "plum.dye.toml")
    assert (alone.name, alone.concentrate_g_per_L, alone.density_g_per_mL) == ("deep plum", 55.0, 0.9)


def test_pictures_are_seen_from_the_schemes_folder_with_either_slash(good: str, write, tmp_path: Path) -> None:
    (tmp_path / "photos").mkdir()
    (tmp_path / "photos" / "base.jpg").write_bytes(b"not opened here")
    text = good.replace('relief = "lifted"', "picture = 'photos\\base.jpg'")
    text = text.replace(
        '[base.relief_options]\n  seed = 9\n  cell = "12 mm"', '[base.picture_options]\nwidth = "42 cm"'
    )
    base = load_scheme(write(text)).base
    assert base.picture == tmp_path / "photos" / "base.jpg"
    assert base.picture_options.width_mm == 420.0


@pytest.mark.parametrize("encode", [lambda t: t.encode("utf-8-sig"), lambda t: t.replace("\n", "\r\n").encode()])
def test_a_file_saved_on_another_system(good: str, write, encode) -> None:
    assert load_scheme(write(encode(good))).name.startswith("Octave")


def test_only_faces_and_base_are_needed(write) -> None:
    text = """
        layerpreview = 1
        name = "bare"
        [[face]]
        name = "shell"
        shape = "drum shell"
        diameter = "14 in"
        depth = "5 1/2 in"
        [base]
        kind = "wood"
        colour = "#C8A878"
    """
    bare = load_scheme(write(text))
    assert (bare.faces[0].diameter_mm, bare.faces[0].depth_mm) == (355.6, 139.7)
    assert (bare.base.colour, bare.coats, bare.lights, bare.observer_deg) == ("#c8a878", (), ("D65",), 2)
    assert bare.clear.finish == "gloss"


def test_a_text_path_is_enough(good: str, write) -> None:
    assert load_scheme(os.fspath(write(good))) == load_scheme(write(good))


@pytest.mark.parametrize(("written", "share"), [("true", 1.0), ("false", 0.0), ("0.35", 0.35), ("1", 1.0)])
def test_evening_out_is_a_share_and_what_was_a_flag_still_is(tmp_path: Path, written: str, share: float) -> None:
    (tmp_path / "base.jpg").write_bytes(b"")
    corners = "corners = [[40, 52], [900.5, 60], [890, 700], [48, 690]]"
    base = f'[base]\nkind = "metal"\npicture = "base.jpg"\npicture_options = {{ even_out = {written}, {corners} }}\n'
    (tmp_path / "scheme.toml").write_text(bare_scheme(base), encoding="utf-8")
    options = load_scheme(tmp_path / "scheme.toml").base.picture_options
    assert options.even_out == share
    assert options.corners_px == ((40.0, 52.0), (900.5, 60.0), (890.0, 700.0), (48.0, 690.0))
