"""Exists for wrong line numbers: tables written apart, inline tables, long lists, signs in strings."""

from __future__ import annotations

import tomllib

from hypothesis import given
from hypothesis import strategies as st

from layerpreview.scheme.locate import line_of_each

TEXT = (
    '''\
top = 1 # = [not a table]
a.b = "x # [y] = { \\" "
"quoted.key" = 'C:\\'
[[coat]]
mix = "honey"
  [[coat.burst]]
  from = """
[not] = a "table"
"""
  width = "1 mm"
[clear]
finish = "gloss"
[[coat]]
burst = [
  { from = "o", width = "2 mm" },  # ] comment
  { from = "p",
}
'''.replace('{ from = "p",\n}', '{ from = "p" }\n]')
    + """\
[dye.amber]
absorptivity = [
  [400, 1.0],

  [450, 2],
]
[dye.red.deep]
x = 1979-05-27
"""
)


def test_every_kind_of_key() -> None:
    tomllib.loads(TEXT)
    lines = line_of_each(TEXT)
    expected = {
        ("top",): 1,
        ("a", "b"): 2,
        ("quoted.key",): 3,
        ("coat",): 4,
        ("coat", 0): 4,
        ("coat", 0, "mix"): 5,
        ("coat", 0, "burst", 0): 6,
        ("coat", 0, "burst", 0, "from"): 7,
        ("coat", 0, "burst", 0, "width"): 10,
        ("clear", "finish"): 12,
        ("coat", 1): 13,
        ("coat", 1, "burst"): 14,
        ("coat", 1, "burst", 0, "width"): 15,
        ("coat", 1, "burst", 1): 16,
        ("coat", 1, "burst", 1, "from"): 16,
        ("dye", "amber"): 18,
        ("dye", "amber", "absorptivity", 0): 20,
        ("dye", "amber", "absorptivity", 1): 22,
        ("dye", "red", "deep"): 24,
        ("dye", "red", "deep", "x"): 25,
    }
    assert {path: lines.get(path) for path in expected} == expected


def _paths(value, path=()):
    yield path
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from _paths(inner, (*path, key))
    if isinstance(value, list):
        for place, inner in enumerate(value):
            yield from _paths(inner, (*path, place))


def test_finds_exactly_what_the_toml_reader_finds() -> None:
    assert set(line_of_each(TEXT)) == set(_paths(tomllib.loads(TEXT))) - {()}


leaf = st.one_of(
    st.integers(-9, 9).map(str),
    st.text(st.sampled_from("ab#[]{}=, '"), max_size=8).map(lambda t: f'"{t}"'),
    st.text(st.sampled_from('ab#[]{}=,"'), max_size=8).map(lambda t: f"'{t}'"),
)
value = st.recursive(
    leaf,
    lambda inner: st.one_of(
        st.lists(inner, max_size=3).map(lambda items: "[" + ",\n".join(items) + "]"),
        st.lists(leaf, max_size=3).map(
            lambda items: "{ " + ", ".join(f"k{i} = {v}" for i, v in enumerate(items)) + " }"
        ),
    ),
    max_leaves=8,
)


@given(st.lists(value, min_size=1, max_size=4))
def test_agrees_with_the_toml_reader_on_any_value(values) -> None:
    text = "".join(f"[[t]]\nv = {v} # {i}\n" for i, v in enumerate(values))
    found = line_of_each(text)
    assert set(found) == set(_paths(tomllib.loads(text))) - {()}
    assert list(found.values()) == sorted(found.values())


def test_lines_are_those_that_counting_finds() -> None:
    text = "\n\na = 1\n\n[b]\nc = [\n 1,\n 2]\n"
    assert line_of_each(text) == {("a",): 3, ("b",): 5, ("b", "c"): 6, ("b", "c", 0): 7, ("b", "c", 1): 8}
