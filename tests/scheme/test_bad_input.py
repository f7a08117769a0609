"""Exists for the wrong answer to a wrong file: a traceback, a guess, a wrong line, one problem of three."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from layerpreview.errors import SchemeError
from layerpreview.scheme import load_scheme

# What is replaced, by what; the line, the field and a piece of the message that must come out of it.
ONE_FAULT = [
    ("layerpreview = 1\n", "\n", None, "layerpreview", "add a line such as layerpreview = 1"),
    ("layerpreview = 1\n", "layerpreview = 2\n", 1, "layerpreview", "newer layerpreview"),
    ("layerpreview = 1\n", 'layerpreview = "one"\n', 1, "layerpreview", "the number 1 is wanted"),
    ('name = "Octave mandolin, honey to plum"', 'nam = "x"\nname = "y"', 2, "nam", 'did you mean "name"?'),
    ('name = "Octave mandolin, honey to plum"', 'name = ""', 2, "name", "must not be empty"),
    ('name = "Octave mandolin, honey to plum"', 'name = "a\\nb"', 2, "name", "one line"),
    ('name = "Octave mandolin, honey to plum"', "name = 3", 2, "name", "a text in quotes"),
    ('lights = ["D65", "A"]', 'lights = ["D65", "D56"]', 3, "lights", "did you mean"),
    ('lights = ["D65", "A"]', 'lights = ["A", "a"]', 3, "lights", "listed twice"),
    ('lights = ["D65", "A"]', 'lights = "D65"', 3, "lights", 'write for example ["D65", "A"]'),
    ('observer = "10 deg"', 'observer = "5 deg"', 4, "observer", 'write "2 deg" or "10 deg"'),
    ('observer = "10 deg"', "observer = true", 4, "observer", 'write "2 deg" or "10 deg"'),
    ('observer = "10 deg"', "coats = 3", 4, "coats", 'did you mean "coat"?'),
    ('name = "front"', "name = 3", 7, "face[1].name", "a text in quotes"),
    ('name = "front"\nshape = "ellipse"', 'name = "front"\nshape = "elipse"', 8, "face[1].shape", 'mean "ellipse"?'),
    ('name = "front"\nshape = "ellipse"', 'name = "front"', 6, "face[1].shape", 'shape = "ellipse"'),
    ('width = "300 mm"', "width = 300", 9, "face[1].width", 'write it with its unit, in quotes: "300 mm"'),
    ('width = "300 mm"', 'width = "300"', 9, "face[1].width", "the number has no unit"),
    ('width = "300 mm"', 'width = "1,300 mm"', 9, "face[1].width", 'write "1300 mm" or "1.300 mm"'),
    ('width = "300 mm"', 'width = "300 oz"', 9, "face[1].width", "fluid ounce or an ounce by weight"),
    ('width = "300 mm"', 'width = "300 km"', 9, "face[1].width", "is not known here"),
    ('width = "300 mm"', 'width = "0 mm"', 9, "face[1].width", "from 1 mm to 20000 mm"),
    ('width = "300 mm"', 'width = "300 m"', 9, "face[1].width", "from 1 mm to 20000 mm"),
    ('width = "300 mm"', "width = [1]", 9, "face[1].width", "a number with its unit is wanted"),
    ('width = "300 mm"\n', "", 6, "face[1]", "has a width, it is missing"),
    ('width = "300 mm"', 'diameter = "1 mm"\nwidth = "3 mm"', 9, "face[1].diameter", "has no diameter"),
    ('centre = ["150 mm", "155 mm"]', "", 11, "face[1].opening[1].centre", "this is missing"),
    ('centre = ["150 mm", "155 mm"]', 'centre = ["150 mm"]', 16, "face[1].opening[1].centre", "across and down"),
    ('centre = ["150 mm", "155 mm"]', 'centre = ["1 mm", 5]', 16, "face[1].opening[1].centre", '"5 mm"'),
    ("turn = 12", 'turn = "12 mm"', 17, "face[1].opening[1].turn", "an angle is wanted"),
    ('kind = "metal"', 'kind = "metall"', 20, "base.kind", 'did you mean "metal"?'),
    ('kind = "metal"', "", 19, "base.kind", "this is missing"),
    (
        'relief = "lifted"',
        'relief = "lifted"\ncolour = "#aabbcc"',
        19,
        "base",
        "exactly one of relief, grain, picture, colour and height_picture",
    ),
    (
        'relief = "lifted"',
        'relief = "ruffled"',
        21,
        "base.relief",
        "this must be lifted, fine flake, coarse flake, brushed or hammered",
    ),
    ("flake_spread = 0.25", "flake_spread = 1.5", 22, "base.flake_spread", "from 0.05 to 0.5"),
    ("flake_spread = 0.25", 'flake_spread = "coarse"', 22, "base.flake_spread", "without quotes"),
    ("flake_spread = 0.25", "flake_spread = nan", 22, "base.flake_spread", "from 0.05 to 0.5"),
    ("seed = 9", "seed = 9.5", 24, "base.relief_options.seed", "a whole number"),
    ("seed = 9", "sede = 9", 24, "base.relief_options.sede", 'did you mean "seed"?'),
    ("seed = 9", 'tint = "greyy"', 24, "base.relief_options.tint", "# and six digits"),
    ('concentrate = "40 g/L"', 'concentrate = "40 %"', 29, "dye.amber.concentrate", "a concentration is wanted"),
    ('concentrate = "40 g/L"\n', "", 36, "mix.honey.dyes.amber", 'add concentrate = "40 g/L" below [dye.amber]'),
    ('concentrate = "40 g/L"', 'library = "amber"', 27, "dye.amber", "library and absorptivity are all here"),
    ("[[380, 82.0], [450, 60.0], [720, 0.5]]", "[[380, 82.0]]", 28, "dye.amber.absorptivity", "at least two rows"),
    (
        "[[380, 82.0], [450, 60.0],",
        "[[380, 82.0], [350, 6.0],",
        28,
        "dye.amber.absorptivity",
        "row 2: wavelengths must",
    ),
    ("[[380, 82.0], [450, 60.0],", "[[380, 82.0], [450, -6],", 28, "dye.amber.absorptivity", "row 2: an absorptivity"),
    ("[[380, 82.0], [450, 60.0],", "[[380, 82.0], [450],", 28, "dye.amber.absorptivity", "row 2 is not a pair"),
    ("[[380, 82.0], [450, 60.0],", '[[380, "8"], [450, 1],', 28, "dye.amber.absorptivity", "row 1 holds something"),
    ('drops_per_mL = "44 to 53"', 'drops_per_mL = "53 to 44"', 33, "dye.plum.drops_per_mL", "smaller figure first"),
    ('drops_per_mL = "44 to 53"', "drops_per_mL = 2000", 33, "dye.plum.drops_per_mL", "from 5 per mL to 200 per mL"),
    ('amber = "12,5 mL/L"', 'ambr = "12,5 mL/L"', 37, "mix.honey.dyes.ambr", 'did you mean "amber"?'),
    ('amber = "12,5 mL/L"', "amber = 12", 37, "mix.honey.dyes.amber", '"12 mL/L"'),
    ('amber = "12,5 mL/L"', 'amber = "2 oz/gal"', 37, "mix.honey.dyes.amber", 'write "fl oz" or "oz wt"'),
    ('amber = "12,5 mL/L"', 'amber = "20 drops"', 37, "mix.honey.dyes.amber", "drops in how much mix?"),
    ('amber = "12,5 mL/L"', 'amber = "3 g/L"', 37, "mix.honey.dyes.amber", "below [dye.amber]"),
    ('density = "0.96 g/mL"', 'density = "96 g/mL"', 39, "mix.honey.density", "from 0.3 g/mL to 5 g/mL"),
    ('solids = "22 %"', 'solids = "122 %"', 40, "mix.honey.solids", "from 1 % to 100 %"),
    ('solids = "22 %"', 'solids = "22 %"\nname = "x"', 41, "mix.honey.name", "not known here"),
    ("coats = 3\n", "coats = 0\n", 44, "coat[1].coats", "a whole number from 1 to 60"),
    ("coats = 3\n", "coats = 61\n", 44, "coat[1].coats", "a whole number from 1 to 60"),
    ("coats = 3\n", "coats = true\n", 44, "coat[1].coats", "a whole number from 1 to 60"),
    ("coats = 3\n", "coats = 3\nzone = 'neck'\n", 45, "coat[1].zone", 'write zone = "face"'),
    ('film = "medium"', 'film = "medum"', 45, "coat[1].film", 'did you mean "medium"?'),
    ('film = "medium"', 'film = "45 mm"', 45, "coat[1].film", "from 1 um to 1000 um"),
    ('film = "medium"', "film = 45", 45, "coat[1].film", 'in quotes: "45 um"'),
    ("hiding = 1.2\n", "", 47, "coat[2].hiding", "add a line such as hiding = 1.2"),
    ('opaque = "#120D0B"', 'opaque = "#120D0"', 48, "coat[2].opaque", "six digits"),
    ('opaque = "#120D0B"', 'opaque = "#120D0B"\nmix = "honey"', 47, "coat[2]", "write exactly one of mix"),
    ('opaque = "#120D0B"\nhiding = 1.2\n', "", 47, "coat[2]", "write exactly one of mix"),
    ('from = "outline", ', "", 52, "coat[2].burst.from", "this is missing"),
    ('from = "outline", ', 'form = "outline", from = "outline", ', 52, "coat[2].burst.form", 'did you mean "from"?'),
    ('width = "12 mm", fall', 'width = "-12 mm", fall', 52, "coat[2].burst.width", "negative"),
    ('fall_off = "fan"', 'fall_off = "fann"', 52, "coat[2].burst.fall_off", 'did you mean "fan"?'),
    (
        'burst = { from = "outline", width = "12 mm", fall_off = "fan" }',
        "burst = 3",
        52,
        "coat[2].burst",
        "list of tables",
    ),
    ('finish = "satin"', 'finish = "silk"', 55, "clear.finish", "gloss, satin or matt"),
    ('finish = "satin"', 'finish = "satin"\nsheen = 1', 56, "clear.sheen", "finish"),
    ('from = "sound hole"', 'from = "sond hole"', 64, "coat[3].burst[2].from", 'did you mean "sound hole"?'),
    ("centre = 0.1", "centre = 1.5", 66, "coat[3].burst[2].centre", "from 0 to 1"),
    ('kind = "HVLP"', 'kind = "airless"', 69, "gun.kind", "conventional or HVLP"),
    ('kind = "HVLP"', 'transfer = "0.4"', 69, "gun.transfer", "the number has no unit"),
    ('residue = "20 mL"', 'residue = "20 oz"', 70, "gun.residue", "fluid ounce"),
    ("[clear]", "[clera]", 54, "clera", 'did you mean "clear"?'),
    ("[clear]", "[[clear]]", 54, "clear", "write [clear], once"),
]


def problems_of(path: Path) -> list:
    with pytest.raises(SchemeError) as caught:
        load_scheme(path)
    for problem in caught.value.problems:
        line = str(problem)
        assert len(line.splitlines()) == 1
        assert line.startswith(str(path.parent))
        assert problem.remedy
        assert not re.search("Input should|pydantic|Field required|Traceback|type=|<class", line)
    return list(caught.value.problems)


@pytest.mark.parametrize(("old", "new", "line", "field", "said"), ONE_FAULT)
def test_one_fault_is_one_clear_line(spoiled, old: str, new: str, line: int | None, field: str, said: str) -> None:
    path = spoiled(old, new)
    wanted_line = path.read_text().splitlines()[line - 1] if line else ""
    found = [p for p in problems_of(path) if p.field == field and said in str(p)]
    assert len(found) == 1, [str(p) for p in problems_of(path)]
    assert found[0].line == line, wanted_line
    assert len(problems_of(path)) == 1


def test_every_problem_at_once_in_the_order_of_the_file(good: str, write) -> None:
    for old, new in [
        ('width = "300 mm"', "width = 300"),
        ('relief = "lifted"', 'relief = "lifted"\ncolour = "redd"'),
        ('amber = "12,5 mL/L"', 'amber = "12 oz/gal", rde = "1 mL/L"'),
        ('mix = "honey"\ncoats = 3', 'mix = "hony"\ncoats = "3 or 4"'),
        ('from = "sound hole"', 'from = "sond hole"'),
        ('residue = "20 mL"', 'rest = "20 mL"'),
    ]:
        good = good.replace(old, new)
    found = problems_of(write(good))
    assert [(p.line, p.field) for p in found] == [
        (9, "face[1].width"),
        (19, "base"),
        (22, "base.colour"),
        (38, "mix.honey.dyes.amber"),
        (38, "mix.honey.dyes.rde"),
        (44, "coat[1].mix"),
        (45, "coat[1].coats"),
        (65, "coat[3].burst[2].from"),
        (71, "gun.rest"),
    ]


def test_strength_by_weight_says_each_line_to_add(good: str, write) -> None:
    text = good.replace('density = "0.96 g/mL"\n', "").replace('"12,5 mL/L"', '"2 % by weight"')
    said = [str(p) for p in problems_of(write(text))]
    assert len(said) == 2
    assert 'add density = "0.95 g/mL" below [dye.amber]' in said[0]
    assert 'add density = "0.95 g/mL" below [mix.honey]' in said[1]


def test_more_dye_than_mix(spoiled) -> None:
    path = spoiled('plum = "20 drops per 100 mL"', 'plum = "99 %"')
    assert "1002.5 mL in a litre" in str(problems_of(path)[0])


def test_an_opening_may_not_take_a_word_with_a_meaning(good: str, write) -> None:
    (problem,) = problems_of(write(good.replace('"sound hole"', '"outline"')))
    assert (problem.line, problem.field, problem.remedy) == (12, "face[1].opening[1].name", "choose another name")


def test_names_are_given_once(good: str, write) -> None:
    face = '[[face]]\nname = "front"\nshape = "disc"\ndiameter = "9 in"\n\n'
    (problem,) = problems_of(write(good.replace("[base]\nkind", face + "[base]\nkind")))
    assert (problem.line, problem.field) == (20, "face[2].name")
    assert "another face has this name" in problem.rule


@pytest.mark.parametrize(
    ("shape", "sizes", "said"),
    [
        ("disc", 'width = "3 in"', ["has a diameter", "has no width"]),
        ("tube", 'diameter = "3 in"', ["has a length"]),
        ("drum shell", 'depth = "3 in"', ["has a diameter"]),
        ("picture", 'width = "3 in"', ["names its file"]),
        ("picture", 'picture = "mask.png"', ["the true width or height", "there is no such file"]),
        ("picture", 'picture = "."\nwidth = "1 m"\nheight = "1 m"', ["the true width or height", "this is a folder"]),
        ("drawing", 'drawing = "front.svg"\nwidth = "1 m"\nheight = "1 m"', ["there is no such file", "not both"]),
        ("drawing", 'drawing = "C:\\temp\\front.svg"', ["a backslash inside double quotes"]),
        ("panel", 'width = "1 m"\nheight = "1 m"\npicture = "a.png"', ["has no picture", "there is no such file"]),
    ],
)
def test_sizes_of_shapes(write, shape: str, sizes: str, said: list[str]) -> None:
    text = f'layerpreview = 1\nname = "x"\n[[face]]\nname = "front"\nshape = "{shape}"\n{sizes}\n'
    found = [str(p) for p in problems_of(write(text + '[base]\nkind = "solid"\ncolour = "#ffffff"\n'))]
    assert len(found) == len(said), found
    assert all(piece in line for piece, line in zip(said, found, strict=True)), found


@pytest.mark.parametrize(
    ("base", "said"),
    [
        ('kind = "wood"\nrelief = "lifted"', ["only a metal base has this"]),
        ('kind = "solid"\ncolour = "#ffffff"\nflake_spread = 0.2', ["only a metal base has this"]),
        ('kind = "solid"', ["none is here"]),
        (
            'kind = "solid"\ncolour = "#ffffff"\npicture_options = { tile = true }',
            ["belong to a base", "repeating needs"],
        ),
        ('kind = "solid"\npicture = "base.jgp"', ['there is no such file; did you mean "base.jpg"?']),
        (
            'kind = "metal"\npicture = "base.jpg"\npicture_options = { taken = "dry" }',
            ["only a photo of a solid or wood base says this"],
        ),
        (
            'kind = "metal"\npicture = "base.jpg"\n'
            "picture_options = { crop = [0, 0, 9, 9], corners = [[0, 0], [9, 0], [9, 9], [0, 9]] }",
            ["corners say already which part is used"],
        ),
        (
            'kind = "metal"\npicture = "base.jpg"\n'
            "picture_options = { corners = [[0, 0], [9, 0], [9, 9]], even_out = 2 }",
            ["four corners are wanted", "true, false or a number from 0 to 1"],
        ),
        ('kind = "solid"\ncolour = "#ffffff"\npicture_options = 3', ["belong to a base", "a table is wanted here"]),
    ],
)
def test_rules_of_the_base(write, base: str, said: list[str]) -> None:
    write(b"", "base.jpg")
    text = f'layerpreview = 1\nname = "x"\n[[face]]\nname = "a"\nshape = "disc"\ndiameter = "1 m"\n[base]\n{base}\n'
    found = [str(p) for p in problems_of(write(text))]
    assert len(found) == len(said), found
    assert all(any(piece in line for line in found) for piece in said), found


@pytest.mark.parametrize(
    "box", ["[1, 2, 3]", "[1, 2, 3, 0]", "[-1, 2, 3, 4]", "[1.5, 2, 3, 4]", '"all"', "[1, 2, 3, true]"]
)
def test_a_patch_is_four_whole_numbers(good: str, write, box: str) -> None:
    write(b"", "base.jpg")
    text = good.replace('relief = "lifted"', 'picture = "base.jpg"').replace(
        "[base.relief_options]", "[base.picture_options]"
    )
    text = text.replace("seed = 9\n", f"neutral_patch = {box}\n").replace('cell = "12 mm"\n', "")
    assert [p.field for p in problems_of(write(text))] == ["base.picture_options.neutral_patch"]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("face = 3\nbase = 4\nmix = 5\ncoat = 6\ndye = 7\ngun = 8", "[[face]]"),
        ("[face]\n[coat]\n[base.x]\n[[mix]]\n[[dye]]", "[[face]]"),
        ("face = []\ncoat = [1]\nbase = [1]\ndye = { a = 1 }\nmix = { a = 1 }", "at least one face"),
        ("[dye]\nlibrary = 'amber'", "each dye has a name of its own"),
        ("face = [1, [2], { opening = 3 }, { opening = [4] }]", "a table is wanted"),
        ("coat = [{ burst = [1, 2] }, { burst = { from = 1 } }, { mix = 1 }, { opaque = [] }]", "a table is wanted"),
        ("[mix.a]\ndyes = 3\n[mix.b]\n[mix.c]\ndyes = {}\n[mix.d]\ndyes = { x = [] }", "at least one dye"),
    ],
)
def test_the_wrong_layout_is_told_in_plain_words(write, text: str, said: str) -> None:
    assert any(said in str(p) for p in problems_of(write(text)))


SYNTAX = [
    ("name = “Octave”", 'use straight ones: "..."'),
    ("width = 25 mm", 'write "25 mm"'),
    ("width = 25mm # wide", 'write "25mm"'),
    ("width = 1 1/2 in", 'write "1 1/2 in"'),
    ("width = 25,5", "write width = 25.5"),
    ("solids = 22 %", 'write "22 %"'),
    ('burst = { from = "outline", width = 12 mm }', 'write "12 mm"'),
    ('picture = "C:\\Users\\me\\base.jpg"', "write / between folders"),
    ("finish = gloss", 'write "gloss"'),
    ("coats = three", "a number is written in figures; write coats = 3"),
    ("coats = many", "write for example coats = 3"),
    ("name = three", 'write "three"'),
    ("tile = True", "write true"),
    ("opaque = #120d0b", "a colour goes in quotes"),
    ("seed = 1\nseed = 2", "here a second time"),
    ("[coat]\na = 1\n[coat]", "write [[coat]] each time"),
    ("[clear\n", "write [clear]"),
    ('name = "Octave', "straight quotes"),
    ("lights = [1, 2", "a bracket is not closed"),
    ("fall off = 1", "write fall_off"),
    ("honey, three coats", "a line is: name = value"),
    ("= 3", "not TOML"),
]


@pytest.mark.parametrize(("text", "said"), SYNTAX)
def test_slips_of_syntax_come_with_a_hint(write, text: str, said: str) -> None:
    (problem,) = problems_of(write(f"layerpreview = 1\n{text}"))
    assert said in str(problem)
    assert problem.line in (2, 3, 4)


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"ab\0cd", "not a text file"),
        (b"\xff\xfel\0a\0", "not text saved as UTF-8"),
        ('name = "Flügel"'.encode("latin-1"), "not text saved as UTF-8"),
        (b"x = " + b"[" * 100_000, "nested too deep"),
        (b'x = "' + b"a" * 1_100_000 + b'"', "over 1 MB"),
        (b"x = " + b"9" * 10_000, "cannot be read as TOML"),
    ],
)
def test_not_a_scheme_at_all(write, data: bytes, said: str) -> None:
    (problem,) = problems_of(write(data))
    assert said in str(problem)


def test_an_empty_file_says_what_a_scheme_needs(write) -> None:
    assert {p.field for p in problems_of(write(""))} == {"layerpreview", "name", "face", "base"}


def test_missing_file_and_folder(good: str, write, tmp_path: Path) -> None:
    write(good)
    assert 'there is no such file; did you mean "job.toml"?' in str(problems_of(tmp_path / "jop.toml")[0])
    assert "there is no such file" in str(problems_of(tmp_path / "nowhere" / "job.toml")[0])
    (tmp_path / "folder").mkdir()
    assert "this is a folder" in str(problems_of(tmp_path / "folder")[0])
    assert "cannot be read" in str(problems_of(tmp_path / ("x" * 5000))[0])
    assert str(problems_of(tmp_path / "a\nb")[0]).count("\n") == 0


def test_signs_that_steer_a_terminal_are_not_passed_on(spoiled) -> None:
    path = spoiled('film = "medium"', 'film = "3 \\u001b[31m"')
    assert all(sign.isprintable() for sign in str(problems_of(path)[0]))


def test_dye_files_are_told_with_their_own_lines(good: str, write) -> None:
    write('layerpreview_dye = 1\nname = "x"\nkind = "tabel"\nabsorptivity_L_per_g_cm = []\n', "x.dye.toml")
    text = good.replace("absorptivity = [[380, 82.0], [450, 60.0], [720, 0.5]]", 'file = "x.dye.toml"')
    text = text.replace("coats = 3\n", "coats = 0\n")
    found = problems_of(write(text))
    assert [(Path(p.file).name, p.line, p.field) for p in found] == [
        ("job.toml", 44, "coat[1].coats"),
        ("x.dye.toml", None, "provenance"),
        ("x.dye.toml", 3, "kind"),
        ("x.dye.toml", 4, "absorptivity_L_per_g_cm"),
    ]


@pytest.mark.parametrize("name", ['""', '" "', '"a\\u001b"', '"a\\nb"', "x" * 61])
def test_names_of_dyes_and_mixes_fit_on_a_line(good: str, write, name: str) -> None:
    (problem,) = problems_of(write(good + f'[mix.{name}]\ndyes = {{ amber = "9 mL/L" }}\n'))
    assert problem.line == 71
    assert "a name is one line" in problem.rule


def test_missing_dye_file_and_unknown_library_dye(good: str, write) -> None:
    text = good.replace("absorptivity = [[380, 82.0], [450, 60.0], [720, 0.5]]", 'file = "x.dye.toml"')
    text = text.replace("absorptivity = [[380, 22.0], [540, 70.5], [720, 0.0]]", 'library = "plum no one has"')
    assert [p.field for p in problems_of(write(text))] == ["dye.amber.file", "dye.plum.library"]


HUGE = ["1" + "0" * 400, "0x1" + "0" * 9000, "[[1" + "0" * 400 + ", 1], [2, 3]]", "[[{ " + "a." * 2000 + "a = 1 }]]"]
anything = st.sampled_from(HUGE) | st.sampled_from(
    [
        '""',
        '"x"',
        "3",
        "-1",
        "1.5",
        "true",
        "inf",
        "nan",
        "[]",
        "[[]]",
        "{}",
        "{ a = 1 }",
        "1979-05-27",
        '"1e9 mm"',
        '"\\u0000"',
    ]
)


@pytest.mark.slow
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=300)
@given(st.data())
def test_any_value_anywhere_gives_a_scheme_or_clear_lines(good: str, write, data: st.DataObject) -> None:
    lines = good.splitlines()
    keys = [n for n, text in enumerate(lines) if "=" in text]
    for number in data.draw(st.lists(st.sampled_from(keys), min_size=1, max_size=3, unique=True)):
        lines[number] = lines[number].split("=")[0] + "= " + data.draw(anything)
    _loads_or_tells(write("\n".join(lines)))


@pytest.mark.slow
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=300)
@given(st.data())
def test_any_slip_of_the_keyboard_gives_a_scheme_or_clear_lines(good: str, write, data: st.DataObject) -> None:
    place = data.draw(st.integers(0, len(good) - 1))
    text = good[:place] + data.draw(st.text(max_size=3)) + good[place + data.draw(st.integers(0, 40)) :]
    _loads_or_tells(write(text.encode("utf-8", "replace")))


def _loads_or_tells(path: Path) -> None:
    said: list[str] = []
    try:
        load_scheme(path)
    except SchemeError as error:
        said = [str(problem) for problem in error.problems]
        assert said
    for line in said:
        assert len(line.splitlines()) == 1
        assert not re.search("Input should|pydantic|Field required", line)


@pytest.mark.parametrize(
    ("text", "line", "piece"),
    [
        ("a.b = 1\n" + ".".join(["a"] * 13) + " = 1\n", 2, "a name of more than 12 parts"),
        ('"a".' * 12 + "'b' = 1\n", 1, "a name of more than 12 parts"),
        ("a = 1\n" * 3001, 3001, "more than 3,000 keys and headings"),
        ("[[coat]]\n" * 3001, 3001, "more than 3,000 keys and headings"),
        ("a = [" + "1," * 50_001 + "]\n", None, "more than 50,000 commas"),
    ],
)
def test_what_would_take_minutes_is_told_before_it_is_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, text: str, line: int | None, piece: str
) -> None:
    def not_read(_: str) -> None:
        raise AssertionError("it was read")

    monkeypatch.setattr("layerpreview.scheme.source.tomllib.loads", not_read)
    path = tmp_path / "scheme.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(SchemeError, match=piece) as told:
        load_scheme(path)
    assert [problem.line for problem in told.value.problems] == [line]


def test_thousands_of_problems_keep_their_lines_and_cost_little(tmp_path: Path) -> None:
    path = tmp_path / "scheme.toml"
    path.write_text("".join(f"coatt{n} = 1\n" for n in range(900)), encoding="utf-8")
    with pytest.raises(SchemeError) as told:
        load_scheme(path)
    unknown = [problem for problem in told.value.problems if "not known" in problem.rule]
    assert [problem.line for problem in unknown] == list(range(1, 901))
