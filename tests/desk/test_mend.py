"""A touch-up at the desk and on the phone: exists for a place that lands elsewhere than it was touched, a page that
makes other files than the command, a phone that reads more than touch-ups, and refusals that name an option."""

from __future__ import annotations

import io
import json
import shlex
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from layerpreview.desk import mend, mend_asked
from layerpreview.desk.app import make_app
from layerpreview.desk.desk import Desk, OtherJobError
from layerpreview.errors import InputError, LayerPreviewError
from layerpreview.output.touch_up_result import FIGURES, TOUCH_UP_NAMES

from ..schemes import DYES, GUN, HEAD, HONEY, MIXES, PANEL, SILVER, WHITE
from ..written import names_in
from .conftest import settled
from .test_guard import Asker
from .test_phone import Door

Run = Callable[..., tuple[int, str, str]]
SHELL = '[[face]]\nname = "shell"\nshape = "drum shell"\ndiameter = "100 mm"\ndepth = "40 mm"\n'
SMALL = HEAD + PANEL + WHITE + DYES + MIXES + HONEY + GUN
TWO = SMALL.replace(WHITE, PANEL.replace("front", "back") + WHITE)
CORNERS = ((22.0, 14.0), (34.5, 15.0), (33.0, 27.0), (21.0, 26.0))
CHOSEN = {"depth": "dye", "texture": "again", "hand": "good", "feather_mm": 15, "years": 0}


def places(*corners: tuple[float, float], face: str = "front") -> list[dict[str, Any]]:
    return [{"face": face, "x_mm": x, "y_mm": y} for x, y in corners]


def asked(**more: Any) -> dict[str, Any]:
    return {**CHOSEN, "places": places(*CORNERS), **more}


@pytest.fixture
def open_desk(tmp_path: Path) -> Iterator[Callable[[str], Desk]]:
    """Open a desk of a scheme's text."""
    opened: list[Desk] = []

    def begin(text: str) -> Desk:
        scheme = tmp_path / "lute" / "scheme.toml"
        scheme.parent.mkdir(exist_ok=True)
        scheme.write_text(text, "utf-8")
        opened.append(Desk(scheme))
        opened[-1].prepare()
        return opened[-1]

    yield begin
    for one in opened:
        one.close()


@pytest.fixture
def small(open_desk: Callable[[str], Desk]) -> Desk:
    return open_desk(SMALL)


def figures(folder: Path) -> Any:
    """To nine digits: sums in threads of linear algebra differ in the last."""
    return json.loads((folder / FIGURES).read_text("utf-8"), parse_float=lambda text: f"{float(text):.9g}")


def lines_of(desk: Desk, **more: Any) -> list[str]:
    with pytest.raises(InputError) as refused:
        mend.POST["mend"](desk, {}, asked(**more))
    return [str(problem) for problem in refused.value.problems]


def test_it_makes_what_the_command_shown_makes(small: Desk, run: Run, tmp_path: Path) -> None:
    """The command is taken apart by the shell's rules (shlex, POSIX) and run to another folder: the same bytes."""
    status, task = mend.POST["mend"](small, {}, asked())
    assert status == 202
    told = settled(small, task)
    assert told["state"] == "done", told["problems"]
    made = tmp_path / "lute" / "touch-up"
    assert names_in(made) == sorted(TOUCH_UP_NAMES)
    name, *typed = shlex.split(told["command"])
    assert name == "layerpreview"
    assert typed[2:] == [
        *("--face", "front", "--damage", "22.0,14.0 34.5,15.0 33.0,27.0 21.0,26.0 mm"),
        *("--depth", "dye", "--hand", "good", "--feather", "15 mm"),
    ]
    assert run(*typed, "--out", tmp_path / "typed")[0] == 0
    for file in {*TOUCH_UP_NAMES} - {FIGURES}:
        assert (made / file).read_bytes() == (tmp_path / "typed" / file).read_bytes(), file
    assert figures(made) == figures(tmp_path / "typed")
    result = told["result"]
    assert result["folder"] == "touch-up"
    assert result["verdict"]["short"]
    assert next(mix["title"] for mix in result["mixes"]) == "honey"
    assert all(mix["parts"] for mix in result["mixes"])
    assert {caution["title"] for caution in result["cautions"]} >= {"Dust", "Waste and rags"}
    assert "--" not in json.dumps({name: result[name] for name in ("verdict", "advice", "mixes", "work", "cautions")})
    _pictures_are_served(small, result, made)
    _the_place_is_where_it_was_touched(result, made)


def _pictures_are_served(desk: Desk, result: dict[str, Any], made: Path) -> None:
    app = Asker(make_app(desk))
    for key, address in result["pictures"].items():
        status, headers, body = app.ask(address)
        assert (status, headers["content-type"]) == (200, "image/png")
        assert body == (made / mend.PICTURES[key]).read_bytes()
    for name in ("touch_up.json", "touch_up.txt", "scheme.toml", ".layerpreview-written.json", "..%2fscheme.toml"):
        assert app.ask(f"/touch-up/{name}")[0] == 404


def _the_place_is_where_it_was_touched(result: dict[str, Any], made: Path) -> None:
    """The difference is grey (128) in a far corner and not in the middle of what was touched."""
    wide, high = result["picture_px"]
    left, top, right, bottom = result["close_up_px"]
    assert 0 <= left < right <= wide
    assert 0 <= top < bottom <= high
    untouched = Image.open(made / "touch_up_untouched.png").convert("RGB")
    sanded = Image.open(made / "touch_up_before.png").convert("RGB")
    middle = round(left + (right - left) / 2), round(top + (bottom - top) / 2)
    assert max(abs(a - b) for a, b in zip(untouched.getpixel(middle), sanded.getpixel(middle), strict=True)) > 20
    corner = wide - 2, high - 2
    assert untouched.getpixel(corner) == sanded.getpixel(corner)


def test_the_faces_are_drawn_in_their_proportions(open_desk: Callable[[str], Desk]) -> None:
    desk = open_desk(TWO)
    status, told = mend.GET["mend"](desk, {})
    assert status == 200
    assert [(face["name"], face["width_mm"], face["height_mm"]) for face in told["faces"]] == [
        ("front", 64.0, 48.0),
        ("back", 64.0, 48.0),
    ]
    app = Asker(make_app(desk))
    status, headers, body = app.ask(told["faces"][1]["picture"])
    assert (status, headers["content-type"]) == (200, "image/jpeg")
    picture = Image.open(io.BytesIO(body))
    assert picture.format == "JPEG"
    assert picture.width / picture.height == pytest.approx(64 / 48, rel=0.005)
    assert app.ask(told["faces"][1]["picture"])[2] == body
    assert app.ask("/face.jpg?face=lid")[0] == 422


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"places": places(*CORNERS[:2])}, "three places or more are wanted"),
        ({"places": "all of it"}, "three places or more are wanted"),
        ({"places": [*places(*CORNERS), {"face": "front", "x_mm": float("nan"), "y_mm": 1}]}, "three places or more"),
        ({"places": places(*CORNERS, face="lid")}, "the part has no such face"),
        ({"places": places(*(CORNERS[i] for i in (0, 2, 1, 3)))}, "crosses itself"),
        ({"places": places((20, 20), (20.5, 20), (20.5, 20.5))}, "smaller than 1 mm2"),
        ({"places": places((90, 20), (99, 20), (95, 30))}, "off the face"),
        ({"depth": "deep"}, "sanded through: choose one"),
        ({"hand": ["good"]}, "hand: choose one"),
        ({"texture": None}, "texture of the base: choose one"),
        ({"feather_mm": 61}, "feather: a width from 10 to 60 mm is wanted"),
        ({"feather_mm": True}, "feather: a width from 10 to 60 mm is wanted"),
        ({"years": -1}, "years in a room: a number from 0 to 500 is wanted"),
        ({"years": "ten"}, "years in a room: a number from 0 to 500 is wanted"),
        ({"years": 10}, "of no dye is known how it stands light"),
    ],
)
def test_what_cannot_be_used_is_one_plain_line(small: Desk, more: dict[str, Any], words: str) -> None:
    (line,) = lines_of(small, **more)
    assert words in line
    assert "--" not in line


def test_all_problems_are_told_at_once(small: Desk) -> None:
    assert len(lines_of(small, places=[], depth="deep", feather_mm=5, years=-1)) == 4


def test_places_on_two_faces_and_over_the_seam(open_desk: Callable[[str], Desk]) -> None:
    """A shell of 100 mm is 314.16 mm round (pi d): its seam is at 0 and there."""
    mixed = [*places(*CORNERS[:3]), *places(CORNERS[3], face="back")]
    assert "must lie on one face, front" in lines_of(open_desk(TWO), places=mixed)[0]
    shell = open_desk(HEAD + SHELL + SILVER + DYES + MIXES + HONEY)
    over = places((310, 10), (4, 10), (4, 20), (310, 20), face="shell")
    assert "crosses the seam" in lines_of(shell, places=over)[0]
    read = shell.job().read
    assert read is not None
    beside = places((300, 10), (312, 10), (312, 20), (300, 20), face="shell")
    assert mend_asked.asked(read, asked(places=beside)).face == "shell"


def test_years_go_into_the_command_where_a_dye_is_known_to_fade(open_desk: Callable[[str], Desk]) -> None:
    desk = open_desk(SMALL.replace('density = "0.9 g/mL"', 'density = "0.9 g/mL"\nlight_fastness = 4'))
    read = desk.job().read
    assert read is not None
    wanted = mend_asked.asked(read, asked(years=12, depth="base", texture="flat", feather_mm=None))
    typed = shlex.split(mend_asked.command(Path("lute/scheme.toml"), wanted, force=True))
    assert typed[-7:] == ["--texture", "flat", "--hand", "good", "--years-room", "12", "--force"]
    assert "--feather" not in typed


def test_nothing_is_done_to_another_job(small: Desk) -> None:
    with pytest.raises(OtherJobError):
        mend.POST["mend"](small, {}, asked(opening="another"))


def test_a_phone_sees_touch_ups_and_no_other_work(folder: Path) -> None:
    door = Door(folder)
    try:
        phone = door.known()
        assert phone.ask("/touch-up")[0] == 200
        assert json.loads(phone.ask("/api/mend")[2])["faces"][0]["name"] == "front"
        assert phone.ask("/face.jpg?face=front")[1]["content-type"] == "image/jpeg"
        assert phone.ask("/touch-up/touch_up.png")[0] == 404  # none was made yet
        other = door.desk.tasks.begin("fit", "v", lambda task: {"secret": 1})
        status, _, told = phone.ask(f"/api/task?id={other.id}")
        assert (status, b"secret" in told) == (422, False)
        assert phone.send("/api/stop", {"id": other.id})[0] == 422
        assert phone.send("/api/give", {"what": "sheet"})[0] == 404
        status, refused = phone.send("/api/mend", {**CHOSEN, "places": []})
        assert (status, len(refused["problems"])) == (422, 1)
        assert phone.ask("/api/mend", host="elsewhere")[0] == 421
    finally:
        door.desk.close()


def test_a_scheme_that_cannot_be_read_is_one_line(open_desk: Callable[[str], Desk]) -> None:
    with pytest.raises(LayerPreviewError, match=r"scheme\.toml"):
        mend.GET["mend"](open_desk("layerpreview = 1\n"), {})
