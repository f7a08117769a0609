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
from layerpreview.desk.tasks import Tasks

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
RIGHT: dict[str, dict[str, Any]] = {
    "spot": {"face": "front", "x": 30, "y": 20, "light": "D65", "coat": ""},
    "evenness": {"hand": "good", "known": ""},
    "gamut": {"light": "D65"},
    "picture": {"around": "even", "light": "D65", "of": ""},
    "task": {"id": "t1"},
    "edit": {"base": "", "words": "a test", "changes": [{"do": "set", "at": ["coat", 0, "coats"], "to": 2, "was": 3}]},
    "undo": {"base": ""},
    "redo": {"base": ""},
    "first": {"picture": "data:,", "version": "", "files": ""},
    "keep": {"name": "pale"},
    "restore": {"id": ""},
    "phone": {"open": True},
    "stop": {"id": "t1"},
    "reach": {
        "target": "#74561f",
        "coat": 0,
        "dyes": ["yellow"],
        "reading": "mean",
        "within_de00": 2.0,
        "most_coats": 3,
        "films_um": "20,40",
        "most_dyes": 2,
    },
    "take": {"task": "t1", "index": 0, "base": ""},
    "colour-of": {"photo": "p1", "x": 0.5, "y": 0.5, "size": 0.1},
    "fit": {"card": "c1", "name": "amber", "strength": "12 mL/L", "film": "40 um", "force": False},
    "give": {"what": "board", "title": "Two", "allow": ["lock honey"], "pdf": False, "width_px": 64, "force": False},
    "said": {"what": "note", "values": {"text": "dry"}, "ago_s": 3},
    "withdraw": {"line": 1},
    "day-photo": {
        "file": "photos/photo_1.jpg",
        "card": [0.1, 0.1],
        "spots": [[0.5, 0.5]],
        "of": "part",
        "entry": 1,
        "number": 1,
        "white_reflectance": 0.9,
    },
    "mend": {
        "places": [{"face": "front", "x_mm": x, "y_mm": y} for x, y in ((38, 14), (46, 16), (44, 24))],
        "depth": "dye",
        "texture": "again",
        "hand": "good",
        "feather_mm": 10.0,
        "years": 0,
        "force": False,
    },
    "trace": {"photo": "p1", "options": {"part_width": "320 mm"}, "pulls": [[0, 1, 2]], "keep": [True]},
    "command": {"from": "shape", "name": "first", "shape": "panel", "sizes": {"width": "64 mm"}, "base": "lifted"},
    "shape": {"shape": "panel", "sizes": {"width": "64 mm", "height": "48 mm"}},
    "drawing": {"drawing": "d1", "width": "64 mm"},
    "make": {
        "from": "shape",
        "name": "../up",
        "shape": "panel",
        "sizes": {"width": "64 mm", "height": "48 mm"},
        "base": "lifted",
    },
    "open": {"folder": "lute"},
    "record": {"record": "r1"},
    "remake": {
        "record": "r1",
        "dyes": {"amber": "d1"},
        "more": ["d1"],
        "also": ["yellow"],
        "today": "",
        "anyway": False,
    },
    "round": {"set": "1", "round": "1"},
    "guess": {"set": 1, "round": 1, "guess": 1},
    "finish": {"set": 1, "guesses": [1] * 20},
}
"""What each asks as the page would; one place of it is put wrong each time, and `opening` now and then."""
SLOW = {"picture", "figures", "evenness", "gamut", "batches", "dyes"}
ROUNDS, SLOW_ROUNDS = 20, 1


def _wrong(right: Any, chance: Random) -> Any:
    """The same with something odd at one place, or without it."""
    if isinstance(right, dict) and right and chance.random() < 0.95:
        name = chance.choice(sorted(right))
        if chance.random() < 0.1:
            return {key: value for key, value in right.items() if key != name}
        return {**right, name: _wrong(right[name], chance)}
    if isinstance(right, list) and right and chance.random() < 0.6:
        at = chance.randrange(len(right))
        return [_wrong(value, chance) if number == at else value for number, value in enumerate(right)]
    return chance.choice(ODD)


class _Asking:
    """As much of a request as is looked at."""

    def __init__(self, method: str, words: dict[str, str]) -> None:
        self.method, self.query_params = method, words


@pytest.fixture
def quick(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> Desk:
    """A desk whose tasks are begun and not worked on: what they do is asked of the rooms below."""
    monkeypatch.setattr(Tasks, "_work", lambda *_: None)
    monkeypatch.setattr("layerpreview.desk.desk.Desk.open", lambda *_: None)
    return desk


@pytest.mark.parametrize("door", DOORS)
def test_anything_is_answered_in_lines(door: str, quick: Desk, tmp_path: Path) -> None:
    """Every name of the door, asked with seeded nonsense: an answer of its own, and nothing written elsewhere."""
    beside_it = {path.name for path in tmp_path.parent.iterdir()}
    get = {name: one for room in DOORS[door] for name, one in room.GET.items()}
    post = {name: one for room in DOORS[door] for name, one in room.POST.items()}
    chance = Random(20261)
    for method, names in (("GET", get), ("POST", post)):
        for name in names:
            for number in range(SLOW_ROUNDS if name in SLOW else ROUNDS):
                sent = dict(RIGHT.get(name, {}))
                if "base" in sent and quick.path is not None and door == "":
                    sent["base"] = quick.job().version
                sent = _wrong(sent, chance) if number else sent
                sent = sent if isinstance(sent, dict) else {}
                if chance.random() < 0.05:
                    sent["opening"] = chance.choice(ODD)
                words = {field: str(value) for field, value in sent.items()} if method == "GET" else {}
                answer = answered(quick, (get, post), name, _Asking(method, words), sent)  # type: ignore[arg-type]
                told = json.loads(bytes(answer.body), parse_constant=_no_number)
                assert answer.status_code in (200, 202, 404, 409, 422), (name, sent)
                if answer.status_code == 422:
                    _check_lines(told["problems"], name)
    assert {path.name for path in tmp_path.parent.iterdir()} == beside_it
    assert not [path for path in tmp_path.rglob("*") if not path.name.isprintable() or "<" in path.name]


def _check_lines(lines: list[str], name: str) -> None:
    assert 0 < len(lines) <= 21, name
    for line in lines:
        assert line.isprintable(), (name, line)
        assert len(line) <= 400, (name, line)
        assert "Error" not in line, (name, line)
        assert "Traceback" not in line, (name, line)


def _no_number(word: str) -> None:
    raise AssertionError(f"{word} is no JSON (RFC 8259)")
