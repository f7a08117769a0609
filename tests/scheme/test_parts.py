"""Exists for zones, rings, bursts and bases that are read as something else than was written, and for the wrong answer
to wrong ones: a guess, a zone of another face, a coat on a masked area, one problem of three."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from layerpreview.errors import SchemeError
from layerpreview.scheme import Base, DyeCoat, OpaqueCoat, Scheme, describe, load_scheme, warnings_of
from layerpreview.units import Range

PART = """\
layerpreview = 1
name = "Octave mandolin, in zones"

[[face]]
name = "front"
shape = "ellipse"
width = "300 mm"
height = "380 mm"
  [[face.opening]]
  name = "sound hole"
  shape = "disc"
  diameter = "60 mm"
  centre = ["150 mm", "150 mm"]
  [[face.zone]]
  name = "arm rest"
  side = { at = ["220 mm", "5 mm"], angle = -10 }
  edge = "4 mm"
  [[face.zone]]
  name = "neck pocket"
  shape = "panel"
  width = "60 mm"
  height = "80 mm"
  centre = ["150 mm", "40 mm"]
  turn = 3
  ridge = "0.3 mm"
  masked = true
  [[face.zone]]
  name = "rosette"
  band = { from = "sound hole", width = "1/2 in" }

[[face]]
name = "head"
shape = "drawing"
drawing = "head.svg"
outline_id = "plate"
  [[face.zone]]
  name = "tip"
  points = [["0 mm", "0 mm"], ["90 mm", "7 mm"], ["50 mm", "60 mm"]]
  edge = "hard"
  [[face.zone]]
  name = "inlay"
  id = "star"

[[face]]
name = "back"
shape = "picture"
picture = "back.jpg"
inside = "object"
part_height = "380 mm"

[base]
kind = "metal"
height_picture = "foil.png"
  [base.height_options]
  width = "120 mm"
  depth = "0.4 mm"
  lamp_from = 300

[base_of.head]
kind = "wood"
grain = "flame"

[base_of.back]
kind = "wood"
colour = "#c8a878"
soak = 0.2

[form]
edge_radius = "8 mm"
belly = "1/2 in"

[dye.amber]
absorptivity = [[380, 82.0], [720, 0.5]]
concentrate = "40 g/L"

[mix.honey]
dyes = { amber = "12 mL/L" }
solids = "20 %"
[mix."dark plum"]
dyes = { amber = "40 mL/L" }
solids = "20 %"

[[coat]]
rings = "honey x3 | dark plum x2 75 mm soft | #140D0E 16 mm fan"
film = "light"
zone = ["front", "tip", "inlay"]

[[coat]]
opaque = "#120d0b"
name = "dark rim"
hiding = 1.0
zone = "rosette"
burst = { from = "sound hole", width = "5 mm", face = "front" }
cut_back = "30 %"
cut_back_seed = 3

[[coat]]
mix = "honey"
zone = ["arm rest", "back"]
  [[coat.burst]]
  from = "arm rest"
  width = "20 mm"
  [[coat.burst]]
  from = "line"
  at = ["10 mm", "20 mm"]
  angle = 90
  width = "30 mm"
  [[coat.burst]]
  from = "centre"
  at = ["50 mm", "80 mm"]
  width = "40 mm"
  centre = 0.2
"""


@pytest.fixture
def put(write):
    """Write the part with pieces replaced, each there exactly once, and the files it names."""
    for name in ("head.svg", "back.jpg", "foil.png"):
        write(b"not opened here", name)

    def spoil(*changes: tuple[str, str]) -> Path:
        text = PART
        for old, new in changes:
            assert text.count(old) == 1, old
            text = text.replace(old, new)
        return write(text)

    return spoil


@pytest.fixture
def scheme(put) -> Scheme:
    return load_scheme(put())


def problems_of(path: Path) -> list:
    with pytest.raises(SchemeError) as caught:
        load_scheme(path)
    for problem in caught.value.problems:
        assert len(str(problem).splitlines()) == 1
        assert problem.remedy
        assert not re.search("Input should|pydantic|Field required|Traceback|type=|<class", str(problem))
    return list(caught.value.problems)


def test_zones_in_millimetres(scheme: Scheme) -> None:
    front, head, back = scheme.faces
    arm, pocket, rosette = front.zones
    assert (arm.side.at_mm, arm.side.angle_deg, arm.edge_mm, arm.hard) == ((220.0, 5.0), -10.0, 4.0, False)
    assert (pocket.shape, pocket.width_mm, pocket.height_mm) == ("panel", 60.0, 80.0)
    assert (pocket.centre_mm, pocket.turn_deg, pocket.ridge_mm, pocket.masked) == ((150.0, 40.0), 3.0, 0.3, True)
    assert (rosette.band.source, rosette.band.width_mm, rosette.hard, rosette.masked) == (
        "sound hole",
        12.7,
        True,
        False,
    )
    assert head.zones[0].points_mm == ((0.0, 0.0), (90.0, 7.0), (50.0, 60.0))
    assert (head.zones[1].drawn_id, head.outline_id) == ("star", "plate")
    assert (back.inside, back.part_height_mm, back.height_mm) == ("object", 380.0, None)
    assert (front.traced, head.traced, back.traced) == (False, True, True)


def test_a_polygon_may_repeat_its_first_point(put) -> None:
    path = put(('["50 mm", "60 mm"]]', '["50 mm", "60 mm"], ["0 in", "0 mm"]]'))
    assert len(load_scheme(path).faces[1].zones[0].points_mm) == 3


def test_each_face_has_its_base(scheme: Scheme) -> None:
    assert scheme.base_for("front") is scheme.base
    options = scheme.base.height_options
    assert (options.kind, options.width_mm, options.depth_mm, options.tile) == ("height", 120.0, 0.4, True)
    assert (options.lamp_from_deg, options.lamp_height_deg, options.tint) == (300.0, 50.0, None)
    assert scheme.base.height_picture == scheme.folder / "foil.png"
    head, back = scheme.base_for("head"), scheme.base_for("back")
    assert (head.grain, head.soak, head.soak_rests_on) == ("flame", 0.5, "assumed")
    assert (back.colour, back.soak, back.soak_rests_on) == ("#c8a878", 0.2, "stated")
    assert Base(kind="wood", colour="#c8a878").soak == 0.0
    assert (scheme.form.edge_radius_mm, scheme.form.belly_mm) == (8.0, 12.7)


def test_rings_are_coats(scheme: Scheme) -> None:
    honey, plum, rim = scheme.coats[:3]
    assert isinstance(honey, DyeCoat)
    assert isinstance(plum, DyeCoat)
    assert isinstance(rim, OpaqueCoat)
    assert (honey.mix, honey.coats, honey.bursts) == ("honey", 3, ())
    assert (plum.mix, plum.coats) == ("dark plum", 2)
    assert (rim.colour, rim.coats, rim.hiding) == ("#140d0e", 1, 1.2)
    widths = [(b.source, b.width_mm, b.fall_off, b.centre) for c in (plum, rim) for b in c.bursts]
    assert widths == [("outline", 75.0, "soft", 0.0), ("outline", 16.0, "fan", 0.0)]
    for coat in (honey, plum, rim):
        assert (coat.film_um.range, coat.film_um.basis) == (Range(12.0, 20.0, 30.0), "assumed (light)")
        assert coat.zones == ("front", "tip", "inlay")
    assert tuple(map(str, scheme.written_at)) == (
        "coat[1] ring 1",
        "coat[1] ring 2",
        "coat[1] ring 3",
        "coat[2]",
        "coat[3]",
    )


@pytest.mark.parametrize(
    ("line", "found"),
    [
        ("honey", [("honey", 1, None, None)]),
        ("honey x3|dark plum 75mm", [("honey", 3, None, None), ("dark plum", 1, 75.0, "soft")]),
        ("honey x 12 | honey ×2 1 1/2 in LINEAR", [("honey", 12, None, None), ("honey", 2, 38.1, "linear")]),
        ("#aabbcc x2 | dark plum 3,5 cm fan", [("opaque #aabbcc", 2, None, None), ("dark plum", 1, 35.0, "fan")]),
        (
            'honey | dark plum x2 2" | honey 9 mm',
            [("honey", 1, None, None), ("dark plum", 2, 50.8, "soft"), ("honey", 1, 9.0, "soft")],
        ),
    ],
)
def test_ways_to_write_rings(put, line: str, found: list[tuple]) -> None:
    path = put(('"honey x3 | dark plum x2 75 mm soft | #140D0E 16 mm fan"', f"'{line}'"))
    coats = load_scheme(path).coats[:-2]
    burst = [coat.bursts[0] if coat.bursts else None for coat in coats]
    got = [(c.label, c.coats, b and b.width_mm, b and b.fall_off) for c, b in zip(coats, burst, strict=True)]
    assert got == found


def test_coats_know_their_places(scheme: Scheme) -> None:
    front, head, back = scheme.faces
    ring, rim, honey = scheme.coats[0], scheme.coats[3], scheme.coats[4]
    assert scheme.zones_of(ring, front) is None
    assert [zone.name for zone in scheme.zones_of(ring, head)] == ["tip", "inlay"]
    assert scheme.zones_of(ring, back) == ()
    assert (rim.zone, rim.everywhere, honey.zone) == ("rosette", False, "arm rest and back")
    assert (rim.label, rim.cut_back, rim.cut_back_seed) == ("dark rim", 0.3, 3)
    assert [(b.source, b.face) for b in scheme.bursts_on(rim, front)] == [("sound hole", "front")]
    assert scheme.bursts_on(rim, head) == ()
    assert scheme.bursts_on(rim, head, openings=["sound hole"]) == ()  # it is for the front alone
    assert [b.source for b in scheme.bursts_on(honey, front)] == ["arm rest", "line", "centre"]
    assert [b.source for b in scheme.bursts_on(honey, back)] == ["line", "centre"]
    assert scheme.bursts_on(honey, head) == ()  # it goes over the arm rest and the back, not here
    line, centre = honey.bursts[1:]
    assert (line.at_mm, line.angle_deg, centre.at_mm, centre.centre) == ((10.0, 20.0), 90.0, (50.0, 80.0), 0.2)


def test_a_coat_goes_over_every_face_unless_told() -> None:
    coat = DyeCoat(mix="honey")
    assert (coat.zones, coat.zone, coat.everywhere, coat.cut_back) == (("face",), "face", True, 0.0)
    assert OpaqueCoat(opaque="#AABBCC", hiding=1).label == "opaque #aabbcc"
    assert coat.label == "honey"


def test_in_plain_words(scheme: Scheme) -> None:
    said = describe(scheme)
    assert said[0].endswith("head (drawing head.svg) and back (picture back.jpg, 380 mm high)")
    assert said[1:10] == [
        "base: metal, relief from foil.png, medium silver",
        "base of head: wood, flame grain, open grain takes 50 % more dye (assumed)",
        "base of back: wood, flat colour #c8a878, open grain takes 20 % more dye (stated)",
        "zone on front: arm rest (all to the right of the line through 220 mm across, 5 mm down that heads -10 degrees "
        "from the top, soft edge 4 mm wide)",
        "taped off on front, no paint: neck pocket (panel, 60 mm wide, 80 mm high, hard edge with a ridge of 0.3 mm)",
        "zone on front: rosette (within 12.7 mm of sound hole, hard edge)",
        "zone on head: tip (the area between 3 points, hard edge)",
        "zone on head: inlay (line star of the drawing, hard edge)",
        "1. honey (amber 12 mL/L in carrier): 3 light coats over the whole of front, tip and inlay, "
        "20 um wet each (12 to 30, assumed)",
    ]
    assert "2 light coats as a burst from the outline, gone 75 mm away (soft), over the whole of front, tip" in said[10]
    assert said[12] == (
        "4. dark rim, opaque #120d0b (where it is full, 10 % of what is below is seen): 1 medium coat as a burst from "
        "sound hole on front, gone 5 mm away (soft), over rosette, 40 um wet each (28 to 55, assumed), "
        "then cut back by 30 % on average"
    )
    assert (
        "from the edge of arm rest inwards, gone 20 mm away (soft), from the line through 10 mm across, 20 mm down "
        "that heads 90 degrees from the top, gone 30 mm away (soft) and from the point 50 mm across, 80 mm down, "
        "down to 20 % 40 mm away (soft), over arm rest and the whole of back"
    ) in said[13]
    assert (
        said[15] == "drawn with edges rounded by 8 mm and a middle that stands out 12.7 mm (pictures only, not figures)"
    )


SEAT_SAID = ("  masked = true\n", '  masked = true\n  under = "maple"\n')


def test_a_sound_part_has_no_warnings(put) -> None:
    assert warnings_of(load_scheme(put(SEAT_SAID))) == []


@pytest.mark.parametrize(
    ("old", "new", "field", "said"),
    [
        ('"front", "tip", "inlay"]', '"front", "tip"]', "face[2].zone[2]", "no coat uses this zone"),
        (
            'zone = "rosette"',
            'zone = "back"',
            "coat[2].burst.from",
            "nothing of this burst is seen: the coat goes over b",
        ),
        ("dark plum x2 75 mm soft", "dark plum x2 0.4 mm", "coat[1] ring 2.burst.width", "over so short a way"),
        ("x2 75 mm soft", "x2 151 mm soft", "coat[1] ring 2.burst.width", "smallest face (300 mm)"),
        (
            'colour = "#c8a878"\nsoak = 0.2',
            'picture = "back.jpg"',
            "base_of.back.picture",
            "below [base_of.back.picture_options]",
        ),
        (
            'colour = "#c8a878"\nsoak = 0.2',
            'picture = "back.jpg"\npicture_options = { neutral_patch = [0, 0, 9, 9] }',
            "base_of.back.picture",
            'add taken = "dry", or "under clear", below [base_of.back.picture_options]',
        ),
    ],
)
def test_what_looks_wrong_is_said(put, old: str, new: str, field: str, said: str) -> None:
    found = {problem.field: str(problem) for problem in warnings_of(load_scheme(put((old, new))))}
    assert said in found[field]


def test_a_drawn_face_may_have_the_opening_that_is_meant(put) -> None:
    path = put(('["arm rest", "back"]', '["tip", "arm rest"]'), ('from = "arm rest"', 'from = "f hole"'), SEAT_SAID)
    assert warnings_of(load_scheme(path)) == []


# What is replaced, by what; the field and a piece of the message that must come out of it.
ONE_FAULT = [
    # zones
    ('name = "arm rest"', 'nme = "x"\n  name = "arm rest"', "face[1].zone[1].nme", 'did you mean "name"?'),
    ('name = "arm rest"\n', "", "face[1].zone[1].name", "this is missing"),
    ('name = "rosette"', 'name = "head"', "face[1].zone[3].name", "is the name of a face"),
    ('name = "rosette"', 'name = "face"', "face[1].zone[3].name", "means every face"),
    ('name = "rosette"', 'name = "line"', "face[1].zone[3].name", "a meaning of its own"),
    ('name = "rosette"', 'name = "sound hole"', "face[1].zone[3].name", "is the name of an opening"),
    ('name = "tip"', 'name = "arm rest"', "face[2].zone[1].name", "is the name of another zone"),
    ('  id = "star"', "", "face[2].zone[2]", "exactly one way: shape, points, side, band or id; none is here"),
    (
        '  id = "star"',
        '  id = "star"\n  band = { from = "outline", width = "3 mm" }',
        "face[2].zone[2]",
        "band and id are here",
    ),
    ('  id = "star"', '  id = "star"\n  turn = 9', "face[2].zone[2].turn", "only a zone with a shape"),
    (
        'band = { from = "sound hole", width = "1/2 in" }',
        'id = "star"',
        "face[1].zone[3].id",
        "only the lines of a drawing",
    ),
    ('  centre = ["150 mm", "40 mm"]\n', "", "face[1].zone[2]", "a zone with a shape has its centre"),
    ('  height = "80 mm"\n', "", "face[1].zone[2]", "has a height, it is missing"),
    (
        '  height = "80 mm"\n',
        '  height = "80 mm"\n  diameter = "8 mm"\n',
        "face[1].zone[2].diameter",
        "has no diameter",
    ),
    ("masked = true", 'masked = "yes"', "face[1].zone[2].masked", "true or false"),
    ('ridge = "0.3 mm"', 'ridge = "30 mm"', "face[1].zone[2].ridge", "from 0.02 mm to 5 mm"),
    ('ridge = "0.3 mm"', 'ridge = "0.3 mm"\n  edge = "2 mm"', "face[1].zone[2].ridge", "only a hard tape line"),
    ('edge = "4 mm"', 'edge = "soft"', "face[1].zone[1].edge", 'this must be "hard" or the width'),
    ('edge = "4 mm"', "edge = 4", "face[1].zone[1].edge", "without a unit"),
    ('at = ["220 mm", "5 mm"], angle = -10', "angle = -10", "face[1].zone[1].side.at", 'at = ["150 mm", "90 mm"]'),
    (
        'at = ["220 mm", "5 mm"], angle = -10',
        'at = ["220 mm", "5 mm"], angel = 1, angle = 2',
        "face[1].zone[1].side.angel",
        'mean "angle"?',
    ),
    ("angle = -10 }", 'angle = "-10 mm" }', "face[1].zone[1].side.angle", "an angle is wanted"),
    ('band = { from = "sound hole"', 'band = { from = "sond hole"', "face[1].zone[3].band.from", 'mean "sound hole"?'),
    (
        'points = [["0 mm", "0 mm"], ["90 mm", "7 mm"], ["50 mm", "60 mm"]]',
        'points = [["0 mm", "0 mm"], ["90 mm", "7 mm"]]',
        "face[2].zone[1].points",
        "at least three places",
    ),
    ('["90 mm", "7 mm"]', '["90 mm", 7]', "face[2].zone[1].points", "place 2: a number without a unit"),
    ('part_height = "380 mm"', 'part_height = "380 mm"\n[face.zone]\nname = "x"', "face[3].zone", "list of tables"),
    # faces
    ('name = "back"\nshape', 'name = "face"\nshape', "face[3].name", 'zone = "face" means every face'),
    ('inside = "object"', 'inside = "objects"', "face[3].inside", 'did you mean "object"?'),
    ('part_height = "380 mm"', 'part_height = "380 mm"\nwidth = "1 m"', "face[3]", "one of them"),
    ('part_height = "380 mm"\n', "", "face[3]", "part_width or part_height of the part"),
    (
        'outline_id = "plate"',
        'outline_id = "plate"\ninside = "dark"',
        "face[2].inside",
        'the shape "drawing" has no inside',
    ),
    (
        'height = "380 mm"\n  [[face.opening]]\n  name = "sound hole"',
        'height = "380 mm"\noutline_id = "x"\n  [[face.opening]]\n  name = "sound hole"',
        "face[1].outline_id",
        'the shape "ellipse" has no outline_id',
    ),
    # bases and form
    ("[base_of.head]", "[base_of.haed]", "base_of.haed", 'did you mean "head"?'),
    ('grain = "flame"', 'grain = "flme"', "base_of.head.grain", 'did you mean "flame"?'),
    ('grain = "flame"', 'grain = "flame"\npicture = "back.jpg"', "base_of.head", "grain and picture are here"),
    (
        'grain = "flame"',
        'grain = "flame"\nflake_spread = 0.2',
        "base_of.head.flake_spread",
        "only a metal base has this",
    ),
    ('grain = "flame"', 'picture = "nowhere.jpg"', "base_of.head.picture", "there is no such file"),
    ("soak = 0.2", "soak = 1.2", "base_of.back.soak", "from 0 to 1"),
    (
        'height_picture = "foil.png"',
        'soak = 0.1\nheight_picture = "foil.png"',
        "base.soak",
        "only a wood base has this",
    ),
    ('height_picture = "foil.png"', 'height_picture = "fol.png"', "base.height_picture", 'did you mean "foil.png"?'),
    ('height_picture = "foil.png"', 'relief = "lifted"', "base.height_options", "belong to a base with height_picture"),
    ('  width = "120 mm"\n', "", "base.height_options.width", "needs its true width"),
    ('  depth = "0.4 mm"\n', "", "base.height_options.depth", 'or kind = "normal"'),
    ('  depth = "0.4 mm"\n', '  kind = "normal"\n  depth = "0.4 mm"\n', "base.height_options.depth", "it has no depth"),
    ('belly = "1/2 in"', 'bely = "1/2 in"', "form.bely", 'did you mean "belly"?'),
    ('edge_radius = "8 mm"', "edge_radius = 8", "form.edge_radius", '"8 mm"'),
    # coats, rings, bursts
    ('zone = ["front", "tip", "inlay"]', 'zone = ["front", "tpi", "inlay"]', "coat[1].zone[2]", 'did you mean "tip"?'),
    ('zone = ["front", "tip", "inlay"]', 'zone = ["front", "face", "inlay"]', "coat[1].zone[2]", "every face already"),
    ('zone = ["front", "tip", "inlay"]', 'zone = ["front", "front", "inlay"]', "coat[1].zone", "listed twice"),
    ('zone = ["front", "tip", "inlay"]', "zone = []", "coat[1].zone", "a list of names"),
    ('burst = { from = "sound hole", width = "5 mm", face = "front" }', "burst = []", "coat[2].burst", "is empty"),
    ('zone = ["front", "tip", "inlay"]', "zone = [3]", "coat[1].zone", "a text in quotes"),
    ('zone = "rosette"', 'zone = "neck pocket"', "coat[2].zone", "this zone is masked"),
    ('cut_back = "30 %"\n', "", "coat[2].cut_back_seed", "belongs to cut_back"),
    ('cut_back = "30 %"', 'cut_back = "95 %"', "coat[2].cut_back", "from 0 % to 90 %"),
    ('cut_back = "30 %"', "cut_back = 0.3", "coat[2].cut_back", "number without a unit"),
    ('mix = "honey"', 'mix = "honey"\nname = "x"', "coat[3].name", "not known here"),
    ('mix = "honey"', 'mix = "honey"\nrings = "honey"', "coat[3]", "exactly one of mix"),
    ('film = "light"', 'film = "light"\ncoats = 2', "coat[1].coats", "not known here"),
    ("honey x3 |", "hony x3 |", "coat[1].rings", 'ring 1: there is no mix "hony"; did you mean "honey"?'),
    ("honey x3 |", "honey x61 |", "coat[1].rings", "ring 1: x is followed by the number of coats"),
    ("honey x3 |", "honey x |", "coat[1].rings", "ring 1: x is followed by the number of coats"),
    ("honey x3 |", "honey x3 9 mm |", "coat[1].rings", "ring 1: the first ring covers the whole zone"),
    ("honey x3 |", "honey x3 | |", "coat[1].rings", "ring 2: there is nothing between the bars"),
    ("dark plum x2 75 mm soft", "dark plum x2", "coat[1].rings", "ring 2: its width is missing"),
    ("dark plum x2 75 mm soft", "dark plum x2 75 soft", "coat[1].rings", 'ring 2: the unit "soft" is not known'),
    (
        "dark plum x2 75 mm soft",
        "dark plum x2 75 mm sofft",
        "coat[1].rings",
        'ring 2: this must be linear, soft or fan; did you mean "soft"?',
    ),
    (
        "dark plum x2 75 mm soft",
        "dark plum x2 90 m soft",
        "coat[1].rings",
        "ring 2: this must be from 0.1 mm to 20000 mm",
    ),
    ("#140D0E", "#140D0", "coat[1].rings", "ring 3: a colour is wanted"),
    ('from = "arm rest"', 'from = "neck pocket"', "coat[3].burst[1].from", "this zone is masked"),
    (
        'from = "sound hole", width = "5 mm"',
        'from = "sond hole", width = "5 mm"',
        "coat[2].burst.from",
        'mean "sound hole"?',
    ),
    (
        'from = "sound hole", width = "5 mm"',
        'from = "tip", width = "5 mm"',
        "coat[2].burst.from",
        "this face has no edge, opening or zone",
    ),
    ('face = "front" }', 'face = "frnt" }', "coat[2].burst.face", 'did you mean "front"?'),
    ('  at = ["10 mm", "20 mm"]\n', "", "coat[3].burst[2].at", 'a burst from "line" needs this'),
    ("  angle = 90\n", "", "coat[3].burst[2].angle", 'a burst from "line" needs this'),
    ('  at = ["50 mm", "80 mm"]\n', "", "coat[3].burst[3].at", 'a burst from "centre" needs this'),
    (
        '  at = ["50 mm", "80 mm"]\n',
        '  at = ["50 mm", "80 mm"]\n  angle = 3\n',
        "coat[3].burst[3].angle",
        'only a burst from "line"',
    ),
    (
        '  width = "20 mm"\n',
        '  width = "20 mm"\n  at = ["1 mm", "2 mm"]\n',
        "coat[3].burst[1].at",
        'only a burst from "line or centre"',
    ),
]


@pytest.mark.parametrize(("old", "new", "field", "said"), ONE_FAULT)
def test_one_fault_is_one_clear_line(put, old: str, new: str, field: str, said: str) -> None:
    path = put((old, new))
    problems = problems_of(path)
    (found,) = [p for p in problems if p.field == field and said in str(p)]
    if "name =" not in old:  # a name that is refused is not there for others
        assert problems == [found]
    line = path.read_text().splitlines()[found.line - 1]
    key = re.sub(r"\[\d+\]$", "", field).rpartition(".")[2]
    assert key in line or line.lstrip().startswith("[") or "= {" in line, line  # the key itself, or its table


def test_an_opening_that_only_a_drawing_knows_is_not_refused_here(put) -> None:
    assert load_scheme(put(('from = "arm rest"', 'from = "f hole"'))).coats[-1].bursts[0].source == "f hole"


def test_every_problem_at_once(put) -> None:
    path = put(
        ('edge = "4 mm"', "edge = 4"),
        ('name = "tip"', 'name = "head"'),
        ('grain = "flame"', 'grain = "flame"\nrelief = "lifted"'),
        ("honey x3 | dark plum x2 75 mm soft", "hony x3 | dark plum x2"),
        ('zone = "rosette"', 'zone = "neck pocket"'),
        ('face = "front" }', 'face = "frnt" }'),
    )
    assert [(p.line, p.field) for p in problems_of(path)] == [
        (17, "face[1].zone[1].edge"),
        (37, "face[2].zone[1].name"),
        (59, "base_of.head"),
        (62, "base_of.head.relief"),
        (85, "coat[1].rings"),
        (85, "coat[1].rings"),
        (87, "coat[1].zone[2]"),  # "tip", whose zone has a name that is taken
        (93, "coat[2].zone"),
        (94, "coat[2].burst.face"),
    ]


@pytest.mark.parametrize("text", ["base_of = 3", "[[base_of]]\nkind = 'wood'"])
def test_a_base_of_nothing(put, text: str) -> None:
    path = put(("[base_of.head]", "[dye.x]"), ('kind = "wood"\ngrain = "flame"', ""), ("[base_of.back]", "[dye.y]"))
    path.write_text(f"{path.read_text()}\n{text}" if text.startswith("[") else f"{text}\n{path.read_text()}")
    assert any(p.field == "base_of" and "[base_of.head]" in p.remedy for p in problems_of(path))


anything = st.sampled_from(
    ['""', '"x"', '"face"', '"front"', "3", "true", "nan", "[]", "[[]]", "[[3]]", '["x"]', "{}", "{ at = 1 }", '"9 mm"']
)


@pytest.mark.slow
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=300, deadline=None)
@given(st.data())
def test_any_value_anywhere_gives_a_scheme_or_clear_lines(put, data: st.DataObject) -> None:
    path = put()
    lines = path.read_text().splitlines()
    keys = [n for n, text in enumerate(lines) if "=" in text]
    for number in data.draw(st.lists(st.sampled_from(keys), min_size=1, max_size=3, unique=True)):
        lines[number] = lines[number].split("=")[0] + "= " + data.draw(anything)
    path.write_text("\n".join(lines))
    _loads_or_tells(path)


@pytest.mark.slow
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=300, deadline=None)
@given(
    st.lists(
        st.sampled_from(["honey", "dark", "plum", "x", "x3", "×", "x٣", "75", "mm", "soft", "|", "#140d0e", "½", "-"])
        | st.text(st.characters(exclude_characters="'", exclude_categories=["Cc", "Cs"]), max_size=4),
        max_size=12,
    )
)
def test_any_rings_give_coats_or_clear_lines(put, words: list[str]) -> None:
    _loads_or_tells(put(('"honey x3 | dark plum x2 75 mm soft | #140D0E 16 mm fan"', f"'{' '.join(words)}'")))


def _loads_or_tells(path: Path) -> None:
    try:
        scheme = load_scheme(path)
    except SchemeError:
        problems_of(path)
    else:
        assert describe(scheme)
        assert len(scheme.written_at) == len(scheme.coats)
        warnings_of(scheme)
