"""Whatever is asked of the desk: exists for a page (or what poses as one) whose question has a wrong type, markup for a
name, a number out of this world or a way out of the folder, and which ends the desk, a task or a file for it."""

from __future__ import annotations

import json
from pathlib import Path
from random import Random
from typing import Any

import pytest

from layerpreview.desk import asked, asked_begin, asked_practise, asked_shelf, beside, day, mend
from layerpreview.desk.answers import answered
from layerpreview.desk.desk import Desk

MARK = "<img src=x onerror=zz>"
ODD: list[Any] = [
    *(
        None,
        True,
        False,
        0,
        -1,
        2**70,
        1e308,
        -1e-320,
        0.5,
        [],
        {},
        [[]],
        [None],
        {"": None},
        [1, 2, 3, 4],
        ["a"] * 300,
    ),
    *(
        "",
        " ",
        MARK,
        "../../etc/passwd",
        "/etc/passwd",
        "CON",
        "a\nb",
        "\x1b[31m",
        "\x00",
        "\u202e",
        "\ud800",
        "9" * 400,
    ),
    *("nan", "inf", "-1", "1e400", "x" * 5000, "%s{0}", "#fff", "62, 12, 48", "front", "honey", "library", "set"),
    *(
        {"do": "set", "at": ["coat", 0, "coats"], "to": 1e9},
        {"l": 1},
        {"x": 0.5, "y": 0.5},
        [["coat"]],
        {"a": {"b": [0]}},
    ),
]
"""Wrong types, numbers at the ends of what there is, markup, ways out, controls, halves of signs, and right words."""
DOORS = {
    "": [asked, beside, day, mend],
    "begin/": [asked_begin],
    "shelf/": [asked_shelf],
    "practise/": [asked_practise],
}
FIELDS = (
    *("opening", "base", "words", "changes", "name", "id", "of", "face", "x", "y", "coat", "light", "around", "hand"),
    *("target", "dyes", "reading", "within_de00", "task", "index", "what", "values", "ago_s", "line", "file", "card"),
    *("spots", "white_reflectance", "entry", "number", "photo", "size", "strength", "film", "record", "today", "also"),
    *("more", "folder", "shape", "sizes", "kind", "width", "force", "damage", "places", "depth", "feather", "years"),
    *("set", "round", "guess", "seed", "known", "image", "picture", "drawing", "cavity", "holes", "scale", "note"),
)
ROUNDS = 25


class _Asking:
    """As much of a request as is looked at."""

    def __init__(self, method: str, words: dict[str, str]) -> None:
        self.method, self.query_params = method, words


@pytest.fixture
def quick(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> Desk:
    """A desk whose tasks are begun and not worked on: what they do is asked of the rooms below."""
    monkeypatch.setattr("layerpreview.desk.tasks.Task.run", lambda *_: None, raising=False)
    return desk


@pytest.mark.parametrize("door", DOORS)
def test_anything_is_answered_in_lines(door: str, quick: Desk, folder: Path, tmp_path: Path) -> None:
    """Every name of the door, asked with seeded nonsense: an answer of the desk's own, and nothing outside the job."""
    there = {path.name for path in tmp_path.parent.iterdir()} | {"lute"}
    get = {name: one for room in DOORS[door] for name, one in room.GET.items()}
    post = {name: one for room in DOORS[door] for name, one in room.POST.items()}
    chance = Random(20261)
    for number in range(ROUNDS):
        for method, names in (("GET", get), ("POST", post)):
            for name in names:
                sent = {field: chance.choice(ODD) for field in chance.sample(FIELDS, 10 if number else 0)}
                words = {field: str(value) for field, value in sent.items()} if method == "GET" else {}
                body = sent if method == "POST" else {}
                answer = answered(quick, (get, post), name, _Asking(method, words), body)  # type: ignore[arg-type]
                told = json.loads(bytes(answer.body), parse_constant=_no_number)
                assert answer.status_code in (200, 202, 404, 409, 422), (name, sent)
                if answer.status_code == 422:
                    _check_lines(told["problems"], name)
    assert {path.name for path in tmp_path.parent.iterdir()} | {"lute"} == there
    assert sorted(path.name for path in tmp_path.iterdir()) == ["lute"]


def _check_lines(lines: list[str], name: str) -> None:
    assert 0 < len(lines) <= 21, name
    for line in lines:
        assert line.isprintable(), (name, line)
        assert len(line) <= 400, (name, line)
        assert "Error" not in line, (name, line)
        assert "Traceback" not in line, (name, line)


def _no_number(word: str) -> None:
    raise AssertionError(f"{word} is no JSON (RFC 8259)")
