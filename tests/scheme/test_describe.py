"""Exists for a description that differs from what is sprayed, and for warnings that cry wolf or keep silent."""

from __future__ import annotations

import pytest

from layerpreview.scheme import describe, load_scheme, warnings_of


def said_about(path) -> dict[str, str]:
    return {problem.field: str(problem) for problem in warnings_of(load_scheme(path))}


def test_in_plain_words_and_in_order(good: str, write) -> None:
    assert describe(load_scheme(write(good))) == [
        "Octave mandolin, honey to plum: front (ellipse, 300 mm wide, 381 mm high, 1 opening)",
        "base: metal, lifted relief, features 12 mm, flake spread 0.25",
        "1. honey (amber 12,5 mL/L, plum 20 drops per 100 mL in clear solvent basecoat): "
        "3 medium coats over the whole face, 40 um wet each (28 to 55, assumed)",
        "2. opaque #120d0b (where it is full, 0.4 % of what is below is seen): "
        "2 coats as a burst from the outline, gone 12 mm away (fan), 42.5 um wet each (35 to 50, stated)",
        "3. honey (amber 12,5 mL/L, plum 20 drops per 100 mL in clear solvent basecoat): "
        "1 light coat as a burst from every opening, gone 5 mm away (soft) and from sound hole, down to 10 % "
        "12.7 mm away (soft), 20 um wet each (12 to 30, assumed)",
        "then clear, satin",
        "looked at under D65 and A, 10 degree observer",
    ]


def test_a_sound_scheme_has_no_warnings(good: str, write) -> None:
    assert said_about(write(good)) == {}


@pytest.mark.parametrize(
    ("old", "new", "field", "piece"),
    [
        ('amber = "12,5 mL/L"', 'amber = "600 mL/L"', "mix.honey.dyes.amber", "very strong"),
        ('amber = "12,5 mL/L"', 'amber = "0.01 mL/L"', "mix.honey.dyes.amber", "very weak"),
        ('amber = "12,5 mL/L"', 'amber = "0 %"', "mix.honey.dyes.amber", "there is none of this dye"),
        ('drops_per_mL = "44 to 53"\n', "", "mix.honey.dyes.plum", 'add drops_per_mL = "44 to 53" below [dye.plum]'),
        ('amber = "12,5 mL/L", ', "", "dye.amber", "no mix uses this dye"),
        (
            "[mix.honey]",
            '[mix.tea]\ndyes = { amber = "9 mL/L" }\nsolids = "9 %"\n[mix.honey]',
            "mix.tea",
            "no coat uses",
        ),
        # without solids too: of a mix that nobody sprays nothing else is asked
        ("[mix.honey]", '[mix.tea]\ndyes = { amber = "9 mL/L" }\n[mix.honey]', "mix.tea", "no coat uses"),
        (
            "[mix.honey]",
            '[dye."grün, hell"]\nlibrary = "green"\n[mix.honey]',
            'dye."grün, hell"',
            'dye."grün, hell": no mix uses this dye',
        ),
        ("[gun]", '[gun]\ndirection = "by feel"', "gun.direction", '"by feel": this is not understood as a way'),
        ('solids = "22 %"\n', "", "mix.honey", "the dry film is not known"),
        ("[380, 82.0], ", "[420, 82.0], ", "dye.amber", "does not cover 400 to 700 nm"),
        ("flake_spread = 0.25", "flake_spread = 0.06", "base.flake_spread", "nearly a mirror"),
        ('film = "medium"', 'film = "300 um"', "coat[1].film", "outside the usual"),
        ("coats = 3\n", "coats = 30\n", "coat[1].coats", "many coats"),
        ('width = "12 mm"', 'width = "151 mm"', "coat[2].burst.width", "wider than half of the smallest face (300 mm)"),
        ('width = "1/2 in"', 'width = "0.4 mm"', "coat[3].burst[2].width", "over so short a way"),
        ('burst = { from = "outline", width = "12 mm", fall_off = "fan" }', "", "coat[1]", "coat 2 covers all of it"),
    ],
)
def test_what_looks_wrong_is_said(spoiled, old: str, new: str, field: str, piece: str) -> None:
    said = said_about(spoiled(old, new))
    assert list(said) == [field]
    assert piece in said[field]
    assert len(said[field].splitlines()) == 1


def test_an_opaque_coat_that_lets_through_hides_nothing(spoiled) -> None:
    burst = 'coats = 2\nfilm = "35 to 50 um"\nburst = { from = "outline", width = "12 mm", fall_off = "fan" }'
    assert said_about(spoiled(burst, 'coats = 1\nfilm = "35 to 50 um"')) == {}


def test_a_photo_without_a_grey_card_and_nothing_sprayed(write) -> None:
    write(b"", "base.jpg")
    text = """
        layerpreview = 1
        name = "bare"
        [[face]]
        name = "shell"
        shape = "drum shell"
        diameter = "14 in"
        depth = "5 1/2 in"
        [base]
        kind = "solid"
        picture = "base.jpg"
    """
    path = write(text)
    assert set(said_about(path)) == {"base.picture", "coat"}
    assert describe(load_scheme(path))[:2] == [
        "bare: shell (drum shell, 355.6 mm across, 139.7 mm deep)",
        "base: solid, photo base.jpg",
    ]
