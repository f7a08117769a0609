"""The shop's phone: exists for a door in the local network that opens to whoever guesses, stays open, or leads further
than a phone's own page: to files, to other jobs, to changes of anything but coats and strengths."""

from __future__ import annotations

import hashlib
import io
import json
import os
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest
from PIL import Image

from layerpreview.desk import phone as phone_module
from layerpreview.desk.answers import static_files
from layerpreview.desk.app import make_app
from layerpreview.desk.desk import Desk
from layerpreview.desk.guard import UPLOADS, Guard
from layerpreview.desk.phone import (
    CODE_S,
    MOST_PHONES,
    MOST_TRIES,
    TRIES_S,
    Codes,
    Phone,
    PhoneGuard,
    code_lines,
    code_rows,
    local_address,
)
from layerpreview.desk.phone_app import parts_of, phone_app
from layerpreview.errors import InputError
from layerpreview.scheme import load_scheme

from .test_guard import HOST, TOKEN, Asker

PHONE_HOST = "192.168.4.20:6000"
PHONE_ORIGIN = f"http://{PHONE_HOST}"


class Clock:
    """A clock that is set."""

    now = 1000.0

    def __call__(self) -> float:
        return self.now


class Caller(Asker):
    """A phone before the door; its requests go to the phone's own port."""

    def __init__(self, app: Any) -> None:
        super().__init__(app)
        self.cookie = ""

    def ask(self, path: str, **how: Any) -> tuple[int, dict[str, str], bytes]:
        return super().ask(path, **{"host": PHONE_HOST, **how})

    def come(self, code: str) -> int:
        status, headers, _ = self.ask(f"/?token={code}")
        if status == 303:
            self.cookie = headers["set-cookie"].partition(";")[0]
        return status

    def send(self, path: str, body: Any, **how: Any) -> tuple[int, Any]:
        data = body if isinstance(body, bytes) else json.dumps(body).encode()
        status, _, told = self.ask(path, **{"method": "POST", "body": data, "origin": PHONE_ORIGIN, **how})
        return status, json.loads(told)


class Door:
    """A desk with its phone's door in this process, and a clock."""

    def __init__(self, folder: Path) -> None:
        self.clock = Clock()
        self.codes = Codes(self.clock)
        self.desk = Desk(folder / "scheme.toml", folder.parent)
        self.desk.prepare()
        self.guard = PhoneGuard(phone_app(self.desk), host=PHONE_HOST, codes=self.codes, name="phone_6000")

    def phone(self) -> Caller:
        return Caller(self.guard)

    def known(self) -> Caller:
        caller = self.phone()
        assert caller.come(self.codes.now()) == 303
        return caller


@pytest.fixture
def door(folder: Path) -> Iterator[Door]:
    door = Door(folder)
    yield door
    door.desk.close()


# --- codes ---


def test_a_code_lets_one_phone_in_and_the_next_has_another(door: Door) -> None:
    code = door.codes.now()
    assert len(code) >= 32
    first, second = door.phone(), door.phone()
    assert (first.come(code), second.come(code)) == (303, 403)
    assert second.ask("/api/state")[0] == 403
    other = door.codes.now()
    assert other != code
    assert second.come(other) == 303
    assert first.cookie != second.cookie
    for caller in (first, second):
        assert caller.ask("/api/state")[0] == 200
    assert door.guard.phones == 2


def test_a_code_is_of_no_use_after_ten_minutes(door: Door) -> None:
    code = door.codes.now()
    door.clock.now += CODE_S - 1.0
    assert door.codes.now() == code
    door.clock.now += 1.0
    assert door.phone().come(code) == 403
    assert door.codes.now() != code


def test_tries_are_counted_for_all_together(door: Door) -> None:
    """Ten a minute; then the right one waits, too, for otherwise a machine could go on guessing."""
    for k in range(MOST_TRIES):
        assert door.phone().come(f"wrong-{k}") == 403
        door.clock.now += 1.0
    right = door.codes.now()
    assert [door.phone().come(code) for code in ("wrong", right)] == [429, 429]
    door.clock.now += TRIES_S - MOST_TRIES - 0.5
    assert door.phone().come(right) == 429
    door.clock.now += 1.0
    assert door.phone().come(right) == 303


@pytest.mark.parametrize("code", ["", "%00", "x" * 5000, "%ff%fe", "*"])
def test_what_is_no_code_opens_nothing(door: Door, code: str) -> None:
    door.codes.now()
    caller = door.phone()
    assert caller.come(code) == 403
    assert caller.cookie == ""


def test_no_code_is_none_before_one_was_shown() -> None:
    assert Codes().use(b"") is False


def test_the_oldest_phone_goes_when_there_are_many(door: Door) -> None:
    callers = []
    for _ in range(MOST_PHONES + 1):
        door.clock.now += TRIES_S
        callers.append(door.known())
    assert [caller.ask("/api/pulse")[0] for caller in callers] == [403, *[200] * MOST_PHONES]


# --- who may ask ---


def test_desk_and_phone_share_nothing(door: Door) -> None:
    """A cookie or token of one is of no use at the other."""
    desk = Asker(Guard(make_app(door.desk), hosts=[HOST], token=TOKEN, name="desk_5000"))
    desk.open()
    phone = door.known()
    crossed = door.phone()
    crossed.cookie = desk.cookie
    assert crossed.ask("/api/state")[0] == 403
    crossed.cookie = desk.cookie.replace("desk_5000", "phone_6000")
    assert crossed.ask("/api/state")[0] == 403
    assert crossed.come(TOKEN) == 403
    code = door.codes.now()
    assert desk.ask(f"/?token={code}")[0] == 403
    for cookie in (phone.cookie, phone.cookie.replace("phone_6000", "desk_5000")):
        desk.cookie = cookie
        assert desk.ask("/api/state")[0] == 403


@pytest.mark.parametrize(
    "host", [None, HOST, "127.0.0.1:6000", "localhost:6000", "evil.example:6000", "192.168.4.20", "192.168.4.20:6001"]
)
def test_the_door_answers_to_its_own_address_alone(door: Door, host: str | None) -> None:
    caller = door.known()
    assert caller.ask("/api/state", host=host)[0] == 421
    assert caller.ask(f"/?token={door.codes.now()}", host=host)[0] == 421


@pytest.mark.parametrize("origin", [None, "null", f"http://{HOST}", "http://evil.example"])
def test_a_change_comes_from_its_own_page(door: Door, folder: Path, origin: str | None) -> None:
    caller = door.known()
    before = (folder / "scheme.toml").read_bytes()
    for path in ("/api/edit", "/upload/photo"):
        assert caller.send(path, edited(caller, coats(9)), origin=origin)[0] == 403
    assert caller.send("/api/edit", {}, sec_fetch_site="cross-site")[0] == 403
    assert (folder / "scheme.toml").read_bytes() == before
    assert not (folder / "photos").exists()


ALLOWED = {"/", "/api/state", "/api/pulse", "/api/picture", "/frame.jpg"}
_OTHERS = (
    *("/begin", "/begin/chip.jpg", "/begin/photo.jpg", "/api/begin/doors", "/files/scheme.toml", "/api/figures"),
    *("/api/history", "/api/spot", "/api/phone", "/static/desk.html", "/static/phone.html", "/static/begin.js"),
    *("/static/desk.js", "/static/../phone.html", "/texture/x", "/docs", "/openapi.json", "/photos/photo_1.jpg"),
)


@pytest.mark.parametrize("path", _OTHERS)
def test_nothing_else_is_there(door: Door, path: str) -> None:
    assert door.known().ask(path)[0] == 404


@pytest.mark.parametrize(
    "path",
    [
        *("/api/undo", "/api/redo", "/api/keep", "/api/restore", "/api/phone", "/api/begin/make", "/api/begin/open"),
        *("/api/begin/trace", "/upload/drawing", "/upload/scheme", "/api/state", "/api/picture"),
    ],
)
def test_nothing_else_can_be_sent(door: Door, path: str) -> None:
    assert door.known().send(path, {"base": "", "id": "x", "folder": "lute"})[0] in (404, 405)


@pytest.mark.parametrize("path", sorted(ALLOWED))
def test_nothing_at_all_without_a_code(door: Door, path: str) -> None:
    status, headers, body = door.phone().ask(path)
    assert status == 403
    assert headers["content-security-policy"].startswith("default-src 'none'")
    assert "lute" not in body.decode()


def test_the_page_and_all_its_parts_are_there(door: Door) -> None:
    """Whatever a part of it names is answered, and no part of another page is."""
    static = static_files()
    parts = parts_of("phone.html", static)
    assert {"desk.css", "phone.css", "phone.js", "picture.js", "store.js", "solid.js"} <= parts
    others = ("desk.js", "begin.js", "begin_photo.js", "phone_card.js", "versions.js", "marks.js")
    assert not {*others, "desk.html", "begin.html", "phone.html"} & parts
    caller = door.known()
    for part in parts:
        status, _, text = caller.ask(f"/static/{part}")
        assert status == 200
        needs = {piece.partition('"')[0] for piece in text.decode().split('from "./')[1:]}
        assert needs <= parts
    for other in others:
        assert other in static
        assert caller.ask(f"/static/{other}")[0] == 404


def test_other_versions_of_the_job_are_not_shown(door: Door) -> None:
    """A version is named by `of`, at the desk alone."""
    caller = door.known()
    plain = caller.ask("/frame.jpg?width=64")
    assert (plain[0], plain[1]["content-type"]) == (200, "image/jpeg")
    assert caller.ask("/frame.jpg?width=64&of=20260101-000000-00")[2] == plain[2]


# --- what a phone changes ---


def coats(n: int, **more: Any) -> dict[str, Any]:
    return {"do": "set", "at": ["coat", 0, "coats"], "to": n, **more}


def edited(caller: Caller, *changes: Any, **more: Any) -> dict[str, Any]:
    version = json.loads(caller.ask("/api/state")[2])["version"]
    return {"base": version, "words": "by phone", "changes": list(changes), **more}


def test_coats_films_and_strengths_are_changed(door: Door, folder: Path) -> None:
    caller = door.known()
    state = json.loads(caller.ask("/api/state")[2])
    mix = state["mixes"][0]
    dye = mix["dyes"][0]["name"]
    film = {"do": "set", "at": ["coat", 0, "film"], "to": "wet"}
    strength = {"do": "set", "at": ["mix", mix["name"], "dyes", dye], "to": "17 mL/L"}
    status, told = caller.send("/api/edit", edited(caller, coats(5), film, strength))
    assert status == 200, told
    assert (told["coats"][0]["coats"], told["coats"][0]["film_word"], told["undo"]) == (5, "wet", "by phone")
    assert load_scheme(folder / "scheme.toml").mixes[mix["name"]].strengths[dye].amount == pytest.approx(17.0)
    assert not {"command", "file", "faces", "notes", "choices"} & set(told)
    assert str(folder) not in json.dumps(told)


@pytest.mark.parametrize(
    "change",
    [
        {"do": "remove", "at": ["coat", 0]}, {"do": "add", "at": ["coat"], "to": {}, "index": 0},
        {"do": "set", "at": ["name"], "to": "x"}, {"do": "set", "at": ["base", "picture"], "to": "/etc/passwd"},
        {"do": "set", "at": ["face", 0, "drawing"], "to": "../x.svg"}, {"do": "unset", "at": ["coat", 0, "coats"]},
        {"do": "set", "at": ["coat", 0, "mix"], "to": "plum"}, {"do": "set", "at": ["coat", 0, "coats"], "to": True},
        {"do": "set", "at": ["coat", 0, "coats"], "to": "3"}, {"do": "set", "at": ["coat", 0, "film"], "to": "9 um"},
        {"do": "set", "at": ["coat", 0, "film"], "to": ["wet"]}, {"do": "set", "at": ["coat", "0", "coats"], "to": 3},
        {"do": "set", "at": ["mix", "honey", "dyes", "amber"], "to": "1" * 80},
        {"do": "set", "at": ["mix", "honey", "dyes"], "to": {}}, {"do": "set", "at": "coat"}, "coats", None, [],
        {"do": "set", "at": ["mix", "honey", "carrier"], "to": "x"},
        {"do": "set", "at": ["dye", "amber", "file"], "to": "x.dye.toml"},
    ],
)  # fmt: skip
def test_nothing_else_is_changed(door: Door, folder: Path, change: Any) -> None:
    caller = door.known()
    before = (folder / "scheme.toml").read_bytes()
    status, told = caller.send("/api/edit", edited(caller, coats(7), change))
    assert (status, len(told["problems"])) == (422, 1)
    assert (folder / "scheme.toml").read_bytes() == before


@pytest.mark.parametrize("changes", [[], [coats(4)] * 21, {}, None, "x"])
def test_as_many_changes_as_a_thumb_makes(door: Door, changes: Any) -> None:
    caller = door.known()
    assert caller.send("/api/edit", {**edited(caller), "changes": changes})[0] == 422


def test_two_phones_see_each_other_and_force_is_of_no_use(door: Door, folder: Path) -> None:
    one, other = door.known(), door.known()
    old = edited(other, coats(2, was=3), force=True)
    assert one.send("/api/edit", edited(one, coats(6)))[0] == 200
    status, told = other.send("/api/edit", old)
    assert (status, told["asked"][0]["theirs"], told["state"]["coats"][0]["coats"]) == (409, 6, 6)
    assert "command" not in told["state"]
    assert load_scheme(folder / "scheme.toml").coats[0].coats == 6


# --- photos ---


def jpeg(colour: str = "#a04020") -> bytes:
    out = io.BytesIO()
    exif = Image.Exif()
    exif[0x010F], exif[0x0112] = "Maker of the camera", 6
    Image.new("RGB", (90, 50), colour).save(out, "JPEG", exif=exif)
    return out.getvalue()


def test_a_photo_goes_to_the_desk_and_into_the_job_without_its_camera(door: Door, folder: Path) -> None:
    caller = door.known()
    for k in (1, 2):
        assert caller.send("/upload/photo?name=IMG.jpg", jpeg()) == (
            200,
            {"name": "IMG.jpg", "kept": f"photos/photo_{k}.jpg"},
        )
    data = (folder / "photos/photo_1.jpg").read_bytes()
    assert b"Maker" not in data
    with Image.open(io.BytesIO(data)) as kept:
        assert kept.size == (50, 90)  # upright
        assert not kept.getexif()
    assert [one.name for one in door.desk.uploads.photos_from("phone")] == ["IMG.jpg"] * 2


@pytest.mark.parametrize("data", [b"", b"<svg/>", b"GIF89a", jpeg()[:200], b"PK\x03\x04" + b"\0" * 500])
def test_what_is_no_photo_is_one_line(door: Door, folder: Path, data: bytes) -> None:
    status, told = door.known().send("/upload/photo?name=../../x.svg", data)
    assert (status, len(told["problems"])) == (422, 1)
    assert "/" not in told["problems"][0]
    assert not (folder / "photos").exists()


def test_a_photo_that_is_too_large_is_not_read(door: Door) -> None:
    caller = door.known()
    status, _ = caller.send("/upload/photo", b"", content_length=str(UPLOADS["photo"] + 1))
    assert (status, caller.read) == (413, 0)
    status, _ = door.phone().send("/upload/photo", b"x" * 1000)
    assert status == 403


def test_no_link_leads_a_photo_out_of_the_job(door: Door, folder: Path, tmp_path: Path) -> None:
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    (folder / "photos").symlink_to(elsewhere)
    status, told = door.known().send("/upload/photo", jpeg())
    assert (status, list(elsewhere.iterdir())) == (422, [])
    assert "another folder" in told["problems"][0]


def test_a_phone_never_pushes_out_what_is_worked_on(door: Door) -> None:
    mine, _ = door.desk.uploads.take_photo(jpeg(), "mine.jpg")
    caller = door.known()
    for _ in range(15):
        caller.send("/upload/photo", jpeg())
    assert door.desk.uploads.get(mine.id) == mine


# --- the code as a picture ---


def test_the_code_is_drawn_alike_for_page_and_terminal() -> None:
    """Three eyes of 7 by 7 in three corners, four light rows all round (ISO/IEC 18004, 5.3.8 and 6.3.3)."""
    rows = code_rows("http://192.168.4.20:6000/?token=abc")
    assert {len(row) for row in rows} == {len(rows)}
    assert all("1" not in row for row in (*rows[:4], *rows[-4:]))
    eye = ["1111111", "1000001", "1011101", "1011101", "1011101", "1000001", "1111111"]
    assert [row[4:11] for row in rows[4:11]] == eye
    assert [row[-11:-4] for row in rows[4:11]] == eye
    assert [row[4:11] for row in rows[-11:-4]] == eye
    lines = code_lines(rows, coloured=False)
    back = [
        ["".join({" ": "11", "\u2584": "10", "\u2580": "01", "\u2588": "00"}[s][k] for s in line) for k in (0, 1)]
        for line in lines
    ]
    assert [row for pair in back for row in pair][: len(rows)] == rows
    assert all(line.startswith("\x1b[97;40m") for line in code_lines(rows, coloured=True))


def test_no_local_network_is_one_line(monkeypatch: pytest.MonkeyPatch) -> None:
    for found in ("127.0.0.1", "0.0.0.0", "93.184.216.34"):
        monkeypatch.setattr(phone_module.socket, "socket", lambda *_, found=found: FakeSocket(found))
        with pytest.raises(InputError, match="local network"):
            local_address()
    monkeypatch.setattr(phone_module.socket, "socket", lambda *_: FakeSocket("10.1.2.3"))
    assert local_address() == "10.1.2.3"


class FakeSocket:
    """Tells which way it would go."""

    def __init__(self, found: str) -> None:
        self.found = found

    def __enter__(self) -> FakeSocket:
        return self

    def __exit__(self, *_: object) -> None: ...

    def connect(self, _: object) -> None: ...

    def getsockname(self) -> tuple[str, int]:
        return self.found, 0


# --- as it runs ---


def gone(client: httpx.Client) -> bool:
    """Whether nobody answers any more; until then nothing is told."""
    before = time.monotonic()
    while time.monotonic() - before < 20:
        try:
            assert client.get("/api/state").status_code == 403
        except httpx.HTTPError:
            return True
    return False


def test_the_door_opens_and_shuts(folder: Path) -> None:
    desk = Desk(folder / "scheme.toml")
    desk.prepare()
    door = desk.phone = Phone(desk, "127.0.0.1")
    assert door.told() == {"open": False, "address": None, "code": None, "phones": 0}
    door.open()
    address = door.address()
    assert address is not None
    base = address.partition("/?")[0]
    with httpx.Client(base_url=base, timeout=30) as client:
        assert client.get(address).status_code == 303
        assert client.get("/api/state").json()["name"] == "Test part"
        told = door.told()
        assert (told["open"], told["phones"]) == (True, 1)
        assert told["address"] != address
        door.shut()
        assert gone(client)
    door.open()
    assert door.address() is not None
    assert httpx.get(door.address() or "").status_code == 303
    desk.close()


@pytest.mark.parametrize(("said", "opened"), [("n\n", False), ("\n", False), ("maybe\n", False), ("y\n", True)])
def test_a_phone_is_let_in_only_once_that_is_said(folder: Path, said: str, opened: bool) -> None:
    with subprocess.Popen(
        [sys.executable, "-m", "layerpreview", "desk", str(folder), "--no-open", "--phone"],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
    ) as process:  # fmt: skip
        try:
            look_at(process, said, opened=opened)
        finally:
            process.kill()


def look_at(process: subprocess.Popen[str], said: str, *, opened: bool) -> None:
    """Answer what is asked, and see what is open then."""
    assert process.stdin is not None
    assert process.stdout is not None
    process.stdin.write(said)
    process.stdin.flush()
    line = process.stdout.readline()
    if opened and not line:
        pytest.skip("this machine is in no local network")
    assert line.startswith("http://127.0.0.1:")
    with httpx.Client(base_url=line.partition("/?")[0], timeout=30) as client:
        client.get(line.strip())
        told = client.get("/api/phone").json()
        assert (told["offered"], told["open"]) == (opened, opened)
        if not opened:
            origin = {"origin": str(client.base_url).rstrip("/")}
            assert client.post("/api/phone", json={"open": True}, headers=origin).status_code == 422
    process.send_signal(2)
    _, err = process.communicate(timeout=30)
    assert ("\u2588" in err) == opened
    assert "y/n" in err


def test_a_phone_has_the_diary_and_its_photos_and_no_other_file(door: Door, folder: Path) -> None:
    phone = door.known()
    assert phone.ask("/day")[0] == 200
    assert phone.ask("/static/day.js")[0] == 200
    assert phone.ask("/api/day")[0] == 200
    status, _ = phone.send("/api/said", {"what": "coat-done", "values": {"entry": 1, "number": 1}})
    assert status == 200
    status, kept = phone.send("/upload/day-photo?name=a.jpg", jpeg())
    assert (status, kept["file"]) == (200, "photos/photo_1.jpg")
    assert phone.ask(kept["address"])[0] == 200
    (folder / "photos" / "secret.txt").write_text("no picture")
    (folder / "photos" / "linked.jpg").symlink_to(folder / "scheme.toml")
    for address in ("secret.txt", "linked.jpg", "..%2Fscheme.toml", "none.jpg"):
        assert phone.ask(f"/day-photo/{address}")[0] == 404
    assert phone.ask("/api/evenness")[0] == 404


def test_a_printed_sheet_is_known_by_its_square_code(door: Door, folder: Path) -> None:
    """Its signs are those that hashlib tells of the scheme's file."""
    phone, path = door.known(), folder / "scheme.toml"
    signs = hashlib.sha256(path.read_bytes()).hexdigest()[:12]
    text = f"Mix sheet: {load_scheme(path).name}\nScheme: scheme.toml, sha256 {signs}\nCoats: 3 honey"
    assert phone.send("/api/sheet", {"text": text})[1]["standing"] == "this job"
    assert phone.send("/api/edit", edited(phone, coats(5)))[0] == 200
    status, told = phone.send("/api/sheet", {"text": text})
    assert (status, told["standing"]) == (200, "changed")
    assert "print it again" in told["words"]
    other = phone.send("/api/sheet", {"text": text.replace("Mix sheet: ", "Mix sheet: <b>x</b> ")})[1]
    assert other["standing"] == "another job"
    for nonsense in ("", "sha256 0", 7, None, "x" * 5000):
        status, told = phone.send("/api/sheet", {"text": nonsense})
        assert status == 422, told
        assert len(told["problems"]) == 1


def test_a_phone_learns_the_eye_and_looks_at_the_book(door: Door, folder: Path) -> None:
    phone = door.known()
    assert phone.ask("/practise")[0] == 200
    assert phone.ask("/static/practise.js")[0] == 200
    assert phone.ask("/api/practise/set")[0] == 200
    assert phone.ask("/book.html")[0] == 404
    (folder.parent / "book").mkdir()
    (folder.parent / "book" / "book.html").write_text("<title>all jobs</title>", encoding="utf-8")
    status, headers, told = phone.ask("/book.html")
    assert (status, told) == (200, b"<title>all jobs</title>")
    assert "sandbox" in headers["content-security-policy"]
    assert phone.send("/api/shelf/book", {})[0] == 404
