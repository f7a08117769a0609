"""Changes to a scheme's text: exists for remarks and order that are lost, for lines that change though nobody touched
them, for coats that change when a `rings` line is written out, and for a text that no longer loads."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from layerpreview.errors import InputError
from layerpreview.scheme import Coat, Scheme, scheme_from_text
from layerpreview.scheme.edit import changed, read_change, value_at
from layerpreview.scheme.locate import written_in
from layerpreview.scheme.written import as_written

from .test_locate import TEXT

SAMPLE = (Path(__file__).parents[2] / "samples" / "octave_mandolin.toml").read_text("utf-8")

# Everything that TOML lets a person write: dotted keys, tables in one line and over several, entries that stand apart,
# remarks everywhere, no blank at all.
TRICKY = """\
# at the very top
layerpreview = 1
name = 'odd but right'   # single quotes
lights = [
  "D65",  # day
  "A",    # lamp
]

# the part
[[face]]
name="front"
shape="panel"
width="64 mm"
height="48 mm"
  # a hole
  [[face.opening]]
  name = "hole"
  shape = "disc"
  diameter = "16 mm"
  centre = ["20 mm", "24 mm"]
  [[face.zone]]
  name = "strip"
  band = {from = "outline",width = "6 mm"}

[base]
kind = "metal"
relief = "lifted"
relief_options.seed = 9 # dotted
relief_options.cell = "12 mm"

[dye.yellow]
absorptivity = [[380, 50.0], [480, 50.0], [780, 2.0]]
concentrate = "40 g/L"
[dye.blue]
absorptivity = [[380, 1.0], [560, 5.0], [780, 30.0]]
concentrate = "25 g/L"

[mix."sea, deep"]
dyes.blue = "30 mL/L" # one
dyes.yellow = "2 mL/L"
[mix.honey]
dyes = { yellow = "12 mL/L" }
solids = "20 %"

# first
[[coat]] # yes
mix = "honey"
coats = 3

# told in one line
[[coat]]
rings = "honey x2 | sea, deep x3 7 mm soft | #140D0E x2 2 mm fan" # light to dark
film = "35 to 45 um"
hiding = 0.9

[clear]
finish = "satin" # in between

[[coat]]
name = "rim"
opaque = "#221814"
hiding = 0.9
  # both of them
  [[coat.burst]]
  from = "outline"
  width = "5 mm"
  [[coat.burst]]
  from = "hole"
  width = "3 mm"

# nothing hangs at this

[paint.rim]
flash = "10 min"
[[coat]]
mix = "sea, deep"
burst = { from = "line", width = "9 mm", at = ["10 mm", "20 mm"], angle = 30 }"""


def change(text: str, *asked: dict[str, Any]) -> str:
    return changed(text, [read_change(one) for one in asked])


def load(text: str) -> Scheme:
    return scheme_from_text(text, "job.toml")


def coats(text: str) -> list[Coat]:
    """The coats as the scheme has them, wherever the file has them."""
    return list(load(text).coats)


def is_within(part: list[str], whole: list[str]) -> bool:
    """Whether the lines of `part` are all in `whole`, in their order."""
    lines = iter(whole)
    return all(line in lines for line in part)


@pytest.mark.parametrize(
    ("at", "to", "old", "new"),
    [
        (["coat", 1, "coats"], 4, 'mix = "plum"\ncoats = 3\nfilm = "medium"\nzone = ["front"', "coats = 4\n"),
        (["mix", "honey", "dyes", "amber"], "16 mL/L", "dyes = { amber", 'dyes = { amber = "16 mL/L", red'),
        (["coat", 1, "burst", "width"], "80 mm", 'width = "75 mm"', 'width = "80 mm", fall_off = "soft" }'),
        (["coat", 1, "burst", 0, "width"], "80 mm", 'width = "75 mm"', 'width = "80 mm", fall_off = "soft" }'),
        (["base", "relief_options", "seed"], 13, "  seed = 12\n", "  seed = 13\n"),
        (["lights", 1], "FL2", '"A"]  ', 'lights = ["D65", "FL2"]              # daylight'),
        (["clear", "finish"], "matt", 'finish = "gloss"', 'finish = "matt"'),
    ],
)
def test_one_value_is_one_line(at: list[Any], to: Any, old: str, new: str) -> None:
    text = change(SAMPLE, {"do": "set", "at": at, "to": to})
    assert old in SAMPLE
    assert new in text
    lines = [pair for pair in zip(SAMPLE.split("\n"), text.split("\n"), strict=True) if pair[0] != pair[1]]
    assert len(lines) == 1
    assert value_at(text, tuple(at)) == to
    assert load(text)


def test_what_was_not_there_is_added_below_its_neighbours() -> None:
    text = change(
        TRICKY,
        {"do": "set", "at": ["mix", "sea, deep", "dyes", "red"], "to": "1 mL/L"},
        {"do": "set", "at": ["face", 0, "zone", 0, "edge"], "to": "2 mm"},
        {"do": "set", "at": ["face", 0, "zone", 0, "band", "from"], "to": "hole"},
        {"do": "set", "at": ["gun", "fan"], "to": "200 mm"},
        {"do": "set", "at": ["dye", "red"], "to": {"library": "red"}},
        {"do": "set", "at": ["base", "relief_options", "height"], "to": 1.5},
    )
    assert 'dyes.yellow = "2 mL/L"\ndyes.red = "1 mL/L"\n[mix.honey]' in text
    assert '  band = {from = "hole",width = "6 mm"}\n  edge = "2 mm"\n' in text
    assert 'concentrate = "25 g/L"\n\n[dye.red]\nlibrary = "red"\n' in text
    assert 'relief_options.cell = "12 mm"\nrelief_options.height = 1.5\n' in text
    assert text.endswith('angle = 30 }\n\n[gun]\nfan = "200 mm"\n')
    assert load(text).gun.fan_mm


def test_a_coat_moves_with_its_remarks() -> None:
    text = change(TRICKY, {"do": "move", "at": ["coat", 4], "to": 0})
    names = [coat.label for coat in load(text).coats]
    assert names == ["rim", "honey", "honey", "sea, deep", "opaque #140d0e", "sea, deep"]
    start = text.index("[[coat]]\nname")
    assert text[start:].startswith('[[coat]]\nname = "rim"\nopaque = "#221814"\nhiding = 0.9\n  # both of them\n')
    assert '# first\n[[coat]] # yes\nmix = "honey"' in text
    assert sorted(text.splitlines()) == sorted(TRICKY.splitlines())


def test_a_coat_that_goes_takes_its_paint_along_and_leaves_the_rest() -> None:
    text = change(TRICKY, {"do": "remove", "at": ["coat", 4]})
    assert "[paint" not in text
    assert "both of them" not in text
    assert "# nothing hangs at this" in text
    assert coats(text) == coats(TRICKY)[:4] + coats(TRICKY)[5:]


@pytest.mark.parametrize("index", [1, 2, 3])
def test_rings_are_written_out_once_one_of_them_is_touched(index: int) -> None:
    text = change(TRICKY, {"do": "set", "at": ["coat", index, "coats"], "to": 7})
    expected = coats(TRICKY)
    expected[index] = expected[index].model_copy(update={"coats": 7})
    assert coats(text) == expected
    assert "rings" not in text
    assert "# told in one line\n[[coat]]\n" in text
    assert "# light to dark" in text


@pytest.mark.parametrize(
    "asked",
    [
        {"do": "set", "at": ["coat", 0, "coats"], "to": 7},
        {"do": "set", "at": ["coat", 5, "film"], "to": "wet"},
        {"do": "move", "at": ["coat", 5], "to": 4},
        {"do": "add", "at": ["coat"], "index": 1, "to": {"mix": "honey"}},
        {"do": "remove", "at": ["coat", 0]},
    ],
)
def test_rings_stay_as_they_are_while_none_is_touched(asked: dict[str, Any]) -> None:
    assert "rings" in change(TRICKY, asked)


def test_a_coat_between_two_rings() -> None:
    text = change(TRICKY, {"do": "add", "at": ["coat"], "index": 2, "to": {"mix": "sea, deep", "coats": 5}})
    was = coats(TRICKY)
    now = coats(text)
    assert now[:2] + now[3:] == was
    assert (now[2].label, now[2].coats) == ("sea, deep", 5)


def test_a_second_burst_and_none_again() -> None:
    asked = {"do": "add", "at": ["coat", 1, "burst"], "to": {"from": "sound hole", "width": "8 mm"}}
    two = change(SAMPLE, asked)
    assert [burst.source for burst in load(two).coats[1].bursts] == ["outline", "sound hole"]
    one = change(two, {"do": "remove", "at": ["coat", 1, "burst", 0]})
    assert [burst.source for burst in load(one).coats[1].bursts] == ["sound hole"]
    none = change(one, {"do": "unset", "at": ["coat", 1, "burst"]})
    assert not load(none).coats[1].bursts
    assert value_at(none, ("coat", 1, "burst")) is None


def test_coats_in_one_list() -> None:
    before, _, after = SAMPLE.partition("[[coat]]")
    lines = '[{ mix = "honey", coats = 3 }, {rings="honey | plum x2 30 mm"}, { opaque = "#101010", hiding = 1 }]'
    text = before.replace("lights =", f"coat = {lines}\nlights =") + after[after.index("[form]") :]
    text = change(
        text, {"do": "move", "at": ["coat", 3], "to": 1}, {"do": "set", "at": ["coat", 3, "film"], "to": "wet"}
    )
    assert [coat.label for coat in load(text).coats] == ["honey", "opaque #101010", "honey", "plum"]
    assert load(text).coats[3].film_um.likely == 65.0


@pytest.mark.parametrize(
    "asked",
    [
        {"do": "set", "at": ["coat", 99, "coats"], "to": 4},
        {"do": "remove", "at": ["coat", 99]},
        {"do": "remove", "at": ["nothing"]},
        {"do": "move", "at": ["coat", 0], "to": 99},
        {"do": "move", "at": ["clear"], "to": 0},
        {"do": "add", "at": ["coat"], "index": 99, "to": {"mix": "honey"}},
        {"do": "add", "at": ["clear"], "to": {"mix": "honey"}},
        {"do": "set", "at": ["name", "deeper"], "to": 4},
        {"do": "set", "at": ["coat", 0, "coats"], "to": float("nan")},
        {"do": "set", "at": ["coat", 0, "coats"], "to": None},
        {"do": "set", "at": [], "to": 4},
        {"do": "set", "at": ["coat", -1, "coats"], "to": 4},
        {"do": "set", "at": ["coat", True, "coats"], "to": 4},
        {"do": "set", "at": ["coat", 0, "a\nb"], "to": 4},
        {"do": "set", "at": "coat", "to": 4},
        {"do": "burn", "at": ["coat", 0]},
        {"do": "add", "at": ["coat"], "to": 4},
        {"do": "move", "at": ["coat", 0], "to": -1},
        ["set"],
        None,
    ],
)
def test_what_cannot_be_meant_is_one_line(asked: Any) -> None:
    with pytest.raises(InputError) as refused:
        change(SAMPLE, asked)
    assert len(refused.value.problems) == 1
    assert "\n" not in str(refused.value)


def test_line_ends_stay_those_of_the_file() -> None:
    text = SAMPLE.replace("\n", "\r\n")
    text = change(
        text,
        {"do": "add", "at": ["coat"], "to": {"mix": "honey", "coats": 2}},
        {"do": "set", "at": ["gun", "residue"], "to": "9 mL"},
        {"do": "move", "at": ["coat", 0], "to": 2},
    )
    assert text.count("\n") == text.count("\r\n")
    assert tomllib.loads(text)


PLAIN = st.one_of(
    st.booleans(), st.integers(-(10**6), 10**6), st.floats(allow_nan=False, allow_infinity=False), st.text(max_size=12)
)
VALUES = st.recursive(
    PLAIN,
    lambda inner: st.one_of(st.lists(inner, max_size=3), st.dictionaries(st.text(max_size=6), inner, max_size=3)),
    max_leaves=6,
)


@given(VALUES)
def test_values_come_back_as_they_were(value: Any) -> None:
    """Signs that cannot be printed become blanks, keys of control signs are refused before."""

    def plain(value: Any) -> Any:
        if isinstance(value, str):
            return "".join(sign if sign.isprintable() else " " for sign in value)
        if isinstance(value, dict):
            return {key: plain(item) for key, item in value.items()}
        return [plain(item) for item in value] if isinstance(value, list) else value

    if not str(value).isprintable() or "\x7f" in str(value):
        return
    assert tomllib.loads(f"v = {as_written(value)}")["v"] == plain(value)


NUMBER = st.integers(0, 6)
DEEDS = st.one_of(
    st.builds(lambda i, n: {"do": "set", "at": ["coat", i, "coats"], "to": n}, NUMBER, st.integers(1, 9)),
    st.builds(
        lambda i, w: {"do": "set", "at": ["coat", i, "film"], "to": w}, NUMBER, st.sampled_from(["wet", "30 um"])
    ),
    st.builds(lambda i, to: {"do": "move", "at": ["coat", i], "to": to}, NUMBER, NUMBER),
    st.builds(lambda i: {"do": "remove", "at": ["coat", i]}, NUMBER),
    st.builds(lambda i: {"do": "add", "at": ["coat"], "index": i, "to": {"mix": "honey", "coats": 2}}, NUMBER),
    st.builds(
        lambda i, mm: {"do": "add", "at": ["coat", i, "burst"], "to": {"from": "hole", "width": f"{mm} mm"}},
        NUMBER,
        st.integers(1, 20),
    ),
    st.builds(lambda i, k: {"do": "remove", "at": ["coat", i, "burst", k]}, NUMBER, st.integers(0, 2)),
    st.builds(
        lambda mix, dye, n: {"do": "set", "at": ["mix", mix, "dyes", dye], "to": f"{n} mL/L"},
        st.sampled_from(["honey", "sea, deep"]),
        st.sampled_from(["yellow", "blue"]),
        st.integers(1, 40),
    ),
    st.builds(
        lambda key: {"do": "unset", "at": key}, st.sampled_from([["mix", "honey", "solids"], ["clear", "finish"]])
    ),
    st.builds(lambda s: {"do": "set", "at": ["clear", "solids"], "to": s}, st.sampled_from(["40 %", "44 to 48 %"])),
    st.builds(
        lambda n: {
            "do": "add",
            "at": ["face", 0, "zone"],
            "to": {"name": f"z{n}", "side": {"at": ["9 mm", "9 mm"], "angle": n}},
        },
        st.integers(0, 90),
    ),
    st.builds(lambda to: {"do": "move", "at": ["face", 0, "zone", 0], "to": to}, st.integers(0, 2)),
)


def _told(text: str) -> dict[str, Any]:
    raw = tomllib.loads(text)
    raw["coat"] = value_at(text, ("coat",)) or []
    return raw


@settings(max_examples=150)
@given(st.lists(DEEDS, min_size=1, max_size=8), st.booleans())
def test_any_row_of_changes(asked: list[dict[str, Any]], windows: bool) -> None:
    """Whatever is changed: what is not meant stays to the byte, and the text says what is meant."""
    text = TRICKY.replace("\n", "\r\n") if windows else TRICKY
    for one in asked:
        try:
            new = change(text, one)
        except InputError:
            continue
        written_out = "rings" in text and "rings" not in new
        old_lines, new_lines = text.splitlines(), new.splitlines()
        if not written_out:
            if one["do"] == "move":
                assert sorted(old_lines) == sorted(new_lines)
            elif one["do"] in ("remove", "unset") and len(new_lines) < len(old_lines):
                assert is_within(new_lines, old_lines)
            elif one["do"] == "add" and len(new_lines) > len(old_lines):
                assert is_within(old_lines, new_lines)
            elif len(new_lines) == len(old_lines):
                assert sum(a != b for a, b in zip(old_lines, new_lines, strict=True)) <= 1
        was, now = _told(text), _told(new)
        if one["do"] == "set":
            assert value_at(new, tuple(one["at"])) == one["to"]
        if one["do"] == "move" and one["at"][0] == "coat":
            was["coat"].insert(one["to"], was["coat"].pop(one["at"][1]))
        if one["do"] in ("move", "add", "remove") and one["at"][0] == "coat" and len(one["at"]) < 3:
            kept = now["coat"]
            if one["do"] == "add":
                kept = [*kept[: one["index"]], *kept[one["index"] + 1 :]]
            elif one["do"] == "remove":
                was["coat"].pop(one["at"][1])
            assert kept == was["coat"]
        for key in set(was) - {"coat", "paint", one["at"][0]}:
            assert now[key] == was[key]
        text = new


@pytest.mark.parametrize(
    "text",
    [
        "",
        "coat = 5",
        "coat = [5]",
        "[[coat]]\nrings = 5",
        '[[coat]]\nrings = "a x x"',
        "[coat]\nmix = 1",
        "mix = 3",
        "a = [",
    ],
)
@pytest.mark.parametrize(
    "asked",
    [
        {"do": "set", "at": ["coat", 0, "coats"], "to": 4},
        {"do": "move", "at": ["coat", 0], "to": 1},
        {"do": "add", "at": ["coat"], "index": 0, "to": {"mix": "honey"}},
        {"do": "remove", "at": ["coat", 0]},
        {"do": "set", "at": ["mix", "honey", "dyes", "amber"], "to": "4 mL/L"},
    ],
)
def test_a_text_that_is_no_scheme_is_refused_or_changed_as_meant(text: str, asked: dict[str, Any]) -> None:
    try:
        new = change(text, asked)
    except InputError:
        return
    assert tomllib.loads(new) != tomllib.loads(text)


@pytest.mark.parametrize("text", [TRICKY, TRICKY.replace("\n", "\r\n"), SAMPLE, TEXT])
def test_a_span_holds_its_value(text: str) -> None:
    """Cut out and read alone, it is what the whole text has at its path."""
    found = written_in(text)
    raw = tomllib.loads(text)
    for path, span in found.spans.items():
        value = raw
        for step in path:
            value = value[step]
        assert tomllib.loads(f"v = {text[span.value : span.end]}")["v"] == value
        assert span.within is None or span.within == path[:-1]
        assert (span.start == span.value) == isinstance(path[-1], int)
    for _, start, end in found.heads:
        assert text[start:end].startswith("[")
        assert text[start:end].endswith("]")
