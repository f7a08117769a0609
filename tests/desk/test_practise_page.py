"""The page of learning the eye without a browser: exists for an answer that is given away, a page that needs a job,
and questions that are none."""

from __future__ import annotations

import io
import json
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from layerpreview.answers.practise import ROUNDS, round_of
from layerpreview.desk.app import make_app
from layerpreview.desk.desk import Desk
from layerpreview.desk.guard import Guard
from layerpreview.workflows import practise

from .test_guard import HOST, ORIGIN, TOKEN, Asker

DAY = "2026-03-01"


@pytest.fixture
def asker(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Asker:
    """A browser at a desk without a job that opens on this page."""
    monkeypatch.setattr("platformdirs.user_data_path", lambda *_, **__: tmp_path / "data")
    found = Asker(Guard(make_app(Desk(None, tmp_path)), hosts=[HOST], token=TOKEN, first="/practise"))
    status, headers, _ = found.ask(f"/?token={TOKEN}")
    assert (status, headers["location"]) == (303, "/practise")
    found.cookie = headers["set-cookie"].partition(";")[0]
    return found


def _got(asker: Asker, path: str) -> tuple[int, Any]:
    status, _, body = asker.ask(path)
    return status, json.loads(body)


def _posted(asker: Asker, name: str, **body: Any) -> tuple[int, Any]:
    status, _, told = asker.ask(
        f"/api/practise/{name}",
        method="POST",
        body=json.dumps(body).encode(),
        origin=ORIGIN,
        content_type="application/json",
    )
    return status, json.loads(told)


def test_a_round_as_the_page_asks_it(asker: Asker) -> None:
    status, _, page = asker.ask("/practise")
    assert status == 200
    assert b"practise.js" in page
    status, told = _got(asker, "/api/practise/set")
    assert (status, told["rounds"]) == (200, ROUNDS)
    assert told["set"][:2] == "20"
    status, told = _got(asker, f"/api/practise/round?set={DAY}&round=1")
    asked = round_of(DAY, 1)
    assert (status, told["asks"], told["base"]) == (200, "coats", "white")
    assert told["choices"][0] == "no coat"
    assert told["one"].startswith("One medium coat (40 µm, 1.6 mil wet) of ")
    assert "right" not in told
    status, told = _posted(asker, "guess", set=DAY, round=1, guess=asked.right)
    assert (status, told["right"], told["de00"], told["words"]) == (200, asked.right, 0.0, "That is it.")


def test_pictures(asker: Asker) -> None:
    shown = {}
    for what in ("base", "one", "target", "3", "all"):
        status, headers, body = asker.ask(f"/practise/shown.png?set={DAY}&round=2&what={what}")
        assert (status, headers["content-type"]) == (200, "image/png")
        with Image.open(io.BytesIO(body)) as picture:
            shown[what] = picture.size
    assert shown == {**dict.fromkeys(("base", "one", "target", "3"), (420, 300)), "all": (140, 180)}


def test_twenty_and_forgetting(asker: Asker, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(practise, "off_de00", lambda asked, guess: 0.25 * guess)
    status, told = _posted(asker, "finish", set=DAY, guesses=[4] * ROUNDS)
    assert (status, told["median"], told["trouble"], len(told["times"])) == (200, 1.0, "", 1)
    assert [row["round"] for row in told["rows"]] == list(range(1, ROUNDS + 1))
    assert _posted(asker, "forget") == (200, {})
    assert practise.kept_sets() == ()


@pytest.mark.parametrize(
    ("path", "told"),
    [
        ("/api/practise/round?set=2026-03-01", "a round is a whole number"),
        ("/api/practise/round?set=2026-03-01&round=²", "a round is a whole number"),
        ("/api/practise/round?set=2026-03-01&round=99", "a round is a number from 1 to 20"),
        ("/api/practise/round?set=../x&round=1", "a set is called by a day"),
        ("/practise/shown.png?set=2026-03-01&round=2&what=answer", "there is no such picture"),
    ],
)
def test_what_is_no_question(asker: Asker, path: str, told: str) -> None:
    status, answer = _got(asker, path.replace("²", "%C2%B2"))
    assert status == 422
    assert told in answer["problems"][0]


@pytest.mark.parametrize("guess", ["3", True, None, 2.0, 9])
def test_what_is_no_guess(asker: Asker, guess: Any) -> None:
    status, answer = _posted(asker, "guess", set=DAY, round=1, guess=guess)
    assert status == 422
    assert "a guess is a whole number" in answer["problems"][0]


def test_nothing_else_is_there(asker: Asker) -> None:
    for path in ("/practise/other.png", "/api/practise/answer", "/static/practise.html"):
        assert asker.ask(path)[0] == 404
    asker.cookie = ""
    assert asker.ask("/practise")[0] == 403
