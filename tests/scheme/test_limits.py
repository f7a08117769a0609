"""How many of a thing a scheme may have: exists for 10,000 coats, which filled the memory, and 500 faces."""

from __future__ import annotations

import pytest

from layerpreview.errors import SchemeError
from layerpreview.scheme.limits import MOST
from layerpreview.scheme.read import scheme_from_text
from tests import schemes as s

HOLE = s.HOLE.replace('"hole"', '"h{k}"')
ZONE = '[[face.zone]]\nname = "z{k}"\nside = {{ at = ["9 mm", "9 mm"], angle = 90 }}\n'
LAMP = "[[surroundings.porch.lamp]]\nfrom = 30\n"


@pytest.mark.parametrize(
    ("what", "head", "each"),
    [
        ("coat", "", s.HONEY),
        ("face", "", s.PANEL.replace('"front"', '"f{k}"')),
        ("opening", s.PANEL.replace("front", "more"), HOLE),
        ("zone", s.PANEL.replace("front", "more"), ZONE),
        ("dye", "", '[dye.d{k}]\nlibrary = "blue"\n'),
        ("mix", "", '[mix.m{k}]\ndyes = {{ blue = "3 mL/L" }}\n'),
        ("dye in a mix", "[mix.big]\n[mix.big.dyes]\n", 'd{k} = "1 mL/L"\n'),
        ("paint", "", '[paint.p{k}]\nsolids = "20 %"\n'),
        ("surroundings", "", "[surroundings.r{k}]\neven = 1\n"),
        ("lamp", "[surroundings.porch]\neven = 1\n", LAMP),
    ],
)
def test_too_many_are_told_in_one_line(what: str, head: str, each: str) -> None:
    many = "".join(each.format(k=k) if "{k}" in each else each for k in range(MOST[what] + 1))
    with pytest.raises(SchemeError, match=rf"at most {MOST[what]} .* are read, here are \d+; leave out") as caught:
        scheme_from_text(s.FULL + head + many, "part.toml")
    assert len(caught.value.problems) == 1
    assert caught.value.problems[0].line


def test_as_many_as_may_be_are_read() -> None:
    text = s.FULL + s.HONEY * (MOST["coat"] - s.FULL.count("[[coat]]"))
    assert len(scheme_from_text(text, "part.toml").coats) == MOST["coat"]
