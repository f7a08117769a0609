"""Who may ask the desk: exists for a page from elsewhere that reads or changes a job through the same browser, and for
whoever tries addresses until one leads out of the job's folder."""

from __future__ import annotations

import asyncio
import hmac
import json
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import pytest

from layerpreview.desk import guard as guard_module
from layerpreview.desk.app import make_app
from layerpreview.desk.desk import Desk
from layerpreview.desk.guard import CONTENT_POLICY, LARGEST_BODY, Guard, confined

HOST = "127.0.0.1:5000"
ORIGIN = f"http://{HOST}"
TOKEN = "the-token-of-this-run"


class Asker:
    """Asks an app as raw as a server would hand it on."""

    def __init__(self, app: Any) -> None:
        self.app = app
        self.cookie = ""

    def ask(
        self,
        path: str,
        *,
        method: str = "GET",
        body: bytes | Iterable[bytes] = b"",
        host: str | None = HOST,
        origin: str | None = None,
        **headers: str,
    ) -> tuple[int, dict[str, str], bytes]:
        raw, _, query = path.partition("?")
        sent = [(name.replace("_", "-").encode(), value.encode()) for name, value in headers.items()]
        sent += [(b"host", host.encode())] if host is not None else []
        sent += [(b"origin", origin.encode())] if origin is not None else []
        sent += [(b"cookie", self.cookie.encode())] if self.cookie else []
        pieces = [body] if isinstance(body, bytes) else list(body)
        scope = {
            "type": "http",
            "method": method,
            "path": guard_module.unquote_to_bytes(raw).decode("latin-1"),
            "raw_path": raw.encode("latin-1"),
            "query_string": query.encode("latin-1"),
            "headers": sent,
            "root_path": "",
            "http_version": "1.1",
            "scheme": "http",
        }
        got: list[Any] = []
        self.read = 0

        async def receive() -> Any:
            self.read += 1
            await asyncio.sleep(0)
            return {"type": "http.request", "body": pieces.pop(0) if pieces else b"", "more_body": bool(pieces)}

        async def send(message: Any) -> None:
            got.append(message)

        asyncio.run(self.app(scope, receive, send))
        found = {name.decode().lower(): value.decode("latin-1") for name, value in got[0]["headers"]}
        return got[0]["status"], found, b"".join(message.get("body", b"") for message in got[1:])

    def open(self) -> None:
        """Open the page with the token, as the browser does once."""
        status, headers, _ = self.ask(f"/?token={TOKEN}")
        assert (status, headers["location"]) == (303, "/")
        self.cookie = headers["set-cookie"].partition(";")[0]

    def post(self, path: str, body: Any, **headers: Any) -> tuple[int, dict[str, str], bytes]:
        return self.ask(path, method="POST", body=json.dumps(body).encode(), **{"origin": ORIGIN, **headers})


@pytest.fixture
def asker(folder: Path) -> Asker:
    """A browser before the desk of a job, which it has not opened yet."""
    desk = Desk(folder / "scheme.toml")
    desk.prepare()
    return Asker(Guard(make_app(desk), hosts=[HOST, "localhost:5000"], token=TOKEN))


@pytest.fixture
def opened(asker: Asker) -> Asker:
    """The same once it is open."""
    asker.open()
    return asker


@pytest.mark.parametrize(
    "path", ["/", "/api/state", "/api/pulse", "/static/desk.html", "/texture/abc", "/files/scheme.toml"]
)
def test_nothing_without_the_token(asker: Asker, path: str) -> None:
    status, _, body = asker.ask(path)
    assert status == 403
    assert b"Test part" not in body
    assert asker.post("/api/edit", {})[0] == 403


@pytest.mark.parametrize(
    "token", ["", "x", TOKEN[:-1], TOKEN + "x", TOKEN.upper(), "%00", "%ff%fe", "a&token=" + TOKEN]
)
def test_a_wrong_token_opens_nothing(asker: Asker, token: str) -> None:
    status, headers, _ = asker.ask(f"/?token={token}")
    assert status == 403
    assert "set-cookie" not in headers


def test_the_token_is_compared_in_constant_time(asker: Asker, monkeypatch: pytest.MonkeyPatch) -> None:
    seen: list[tuple[bytes, bytes]] = []
    constant = hmac.compare_digest

    def compare(one: bytes, other: bytes) -> bool:
        seen.append((one, other))
        return constant(one, other)

    monkeypatch.setattr(guard_module.hmac, "compare_digest", compare)
    asker.open()
    assert (TOKEN.encode(), TOKEN.encode()) in seen
    seen.clear()
    assert asker.ask("/")[0] == 200
    assert len(seen) == 1


def test_the_cookie_is_out_of_reach_of_scripts_and_of_other_sites(asker: Asker) -> None:
    _, headers, _ = asker.ask(f"/?token={TOKEN}")
    parts = [part.strip() for part in headers["set-cookie"].split(";")]
    assert {"HttpOnly", "SameSite=Strict", "Path=/"} <= set(parts)
    assert TOKEN not in headers["set-cookie"]


def test_a_second_browser_may_open_it_too(opened: Asker) -> None:
    first = opened.cookie
    opened.cookie = ""
    opened.open()
    assert opened.ask("/api/state")[0] == 200
    opened.cookie = first
    assert opened.ask("/api/state")[0] == 200


@pytest.mark.parametrize("cookie", ["desk=", "desk=x", "desk", "other=1", f"desk={TOKEN}", "; ;=;desk=\x7f"])
def test_a_made_up_cookie_is_none(asker: Asker, cookie: str) -> None:
    asker.cookie = cookie
    assert asker.ask("/api/state")[0] == 403


@pytest.mark.parametrize(
    "host",
    [
        None,
        "",
        "evil.example",
        "evil.example:5000",
        "127.0.0.1",
        "127.0.0.1:5001",
        "127.0.0.1:5000.evil.example",
        "[::1]:5000",
        "0.0.0.0:5000",
    ],
)
def test_a_name_that_was_led_here_is_not_answered(opened: Asker, host: str | None) -> None:
    """DNS rebinding: the browser believes that it talks to the other page's own server."""
    for path in ("/", "/api/state", f"/?token={TOKEN}"):
        status, headers, body = opened.ask(path, host=host)
        assert status == 421
        assert "set-cookie" not in headers
        assert b"Test part" not in body
    assert opened.post("/api/undo", {"base": ""}, host=host, origin=f"http://{host}")[0] == 421


def test_localhost_is_this_machine_too(opened: Asker) -> None:
    assert opened.ask("/api/state", host="localhost:5000")[0] == 200
    assert opened.ask("/api/state", host="LOCALHOST:5000")[0] == 200


@pytest.mark.parametrize(
    "headers",
    [
        {},
        {"origin": "http://evil.example"},
        {"origin": "null"},
        {"origin": "http://127.0.0.1:5001"},
        {"origin": "https://127.0.0.1:5000"},
        {"origin": "http://127.0.0.1:5000.evil.example"},
        {"origin": "http://localhost:5000"},
        {"origin": ORIGIN, "sec_fetch_site": "cross-site"},
        {"origin": ORIGIN, "sec_fetch_site": "same-site"},
    ],
)
def test_a_change_from_another_page_is_refused(opened: Asker, folder: Path, headers: dict[str, str]) -> None:
    before = (folder / "scheme.toml").read_bytes()
    body = json.dumps({"base": json.loads(opened.ask("/api/state")[2])["version"], "changes": []}).encode()
    for name in ("edit", "undo", "redo", "keep", "restore"):
        assert opened.ask(f"/api/{name}", method="POST", body=body, **headers)[0] == 403
    assert (folder / "scheme.toml").read_bytes() == before


@pytest.mark.parametrize(
    "path", ["/", "/api/state", "/frame.jpg", "/first.jpg", "/static/desk.html", "/files/scheme.toml", "/texture/x"]
)
def test_another_page_can_read_nothing_either(opened: Asker, path: str) -> None:
    for site in ("cross-site", "same-site"):
        assert opened.ask(path, sec_fetch_site=site)[0] == 403
    assert opened.ask(path, origin="http://evil.example")[0] == 403


@pytest.mark.parametrize(
    "path",
    ["/", "/nothing", "/api/state", "/api/nothing", "/static/nothing.js", "/files/nothing", "/frame.jpg?around=x"],
)
@pytest.mark.parametrize("method", ["GET", "POST", "OPTIONS", "DELETE"])
def test_what_goes_with_every_answer(opened: Asker, path: str, method: str) -> None:
    for origin, host in ((ORIGIN, HOST), ("http://evil.example", HOST), (ORIGIN, "evil.example")):
        status, headers, _ = opened.ask(path, method=method, origin=origin, host=host, body=b"{}")
        assert headers["content-security-policy"] == CONTENT_POLICY
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["referrer-policy"] == "no-referrer"
        assert headers["cross-origin-resource-policy"] == "same-origin"
        assert not [name for name in headers if name.startswith("access-control")]
        assert "server" not in headers
        assert headers["cache-control"] == "no-store"
        if method in ("OPTIONS", "DELETE") and host == HOST:
            assert status == 405
    assert "default-src 'none'" in CONTENT_POLICY
    assert "unsafe" not in CONTENT_POLICY


OUTSIDE = [
    "../secret.txt",
    "..%2fsecret.txt",
    "%2e%2e/secret.txt",
    "%2e%2e%2fsecret.txt",
    "..%5csecret.txt",
    "..\\secret.txt",
    "%252e%252e%252fsecret.txt",
    "history/../../secret.txt",
    "./../secret.txt",
    "//etc/passwd",
    "/etc/passwd",
    "%2fetc%2fpasswd",
    "link.txt",
    "linked/secret.txt",
    "scheme.toml%00.png",
    ".hidden",
    "history",
    "",
    "C:%5cWindows%5cwin.ini",
    "a" * 5000,
]


@pytest.mark.parametrize("name", OUTSIDE)
def test_no_path_leads_out_of_the_job(opened: Asker, folder: Path, name: str) -> None:
    (folder.parent / "secret.txt").write_text("secret")
    (folder / ".hidden").write_text("secret")
    (folder / "link.txt").symlink_to(folder.parent / "secret.txt")
    (folder / "linked").symlink_to(folder.parent)
    for start in ("/files/", "/static/", "/texture/"):
        status, _, body = opened.ask(start + name)
        assert status == 404, body
        assert b"secret" not in body
        assert b"root:" not in body


def test_files_of_the_job_are_there(opened: Asker, folder: Path) -> None:
    (folder / "pictures").mkdir()
    (folder / "pictures" / "a b.png").write_bytes(b"\x89PNG")
    (folder / "pictures" / "board.html").write_text("<script>alert(1)</script>")
    (folder / "again.png").symlink_to("pictures/a b.png")
    status, headers, body = opened.ask("/files/pictures/a%20b.png")
    assert (status, headers["content-type"], body) == (200, "image/png", b"\x89PNG")
    assert opened.ask("/files/again.png")[0] == 200
    status, headers, _ = opened.ask("/files/pictures/board.html")
    assert status == 200
    assert headers["content-type"] == "text/html; charset=utf-8"
    policy = headers["content-security-policy"]
    assert policy.startswith("sandbox allow-scripts")
    assert "default-src 'none'" in policy
    assert "same-origin" not in policy
    (folder / "pictures" / "front.svg").write_text("<svg onload='alert(1)'/>")
    status, headers, _ = opened.ask("/files/pictures/front.svg")
    assert (status, headers["content-type"]) == (200, "application/octet-stream")
    assert headers["content-disposition"].startswith("attachment")


def test_confined(tmp_path: Path) -> None:
    (tmp_path / "in").mkdir()
    (tmp_path / "in" / "loop").symlink_to("loop")
    (tmp_path / "in" / "a").write_text("a")
    assert confined(tmp_path / "in", "a") == (tmp_path / "in" / "a").resolve()
    for name in ("loop", "b", "", ".", "..", "../in/../..", "a/b", "\0"):
        assert confined(tmp_path / "in", name) is None
    assert confined(tmp_path / "nowhere", "a") is None


def test_a_name_never_becomes_markup(tmp_path: Path) -> None:
    odd = "<img src=x onerror=alert(1)>&\"'"
    folder = tmp_path / odd
    folder.mkdir()
    text = '# <script>\nlayerpreview = 1\nname = "</script><script>alert(1)</script>"\n'
    (folder / f"{odd}.toml").write_text(text)
    desk = Desk(folder / f"{odd}.toml")
    desk.prepare()
    asker = Asker(Guard(make_app(desk), hosts=[HOST], token=TOKEN))
    asker.open()
    _, headers, page = asker.ask("/")
    assert headers["content-type"].startswith("text/html")
    assert b"onerror" not in page
    for path in (
        "/api/state",
        "/api/history",
        "/api/spot?face=%3Cscript%3E&x=1&y=1",
        "/api/%3Cscript%3E",
        "/%3Cscript%3E",
    ):
        _, headers, _ = asker.ask(path)
        assert headers["content-type"].startswith("application/json")
    assert json.loads(asker.ask("/api/state")[2])["job"] == odd


def test_a_large_body_is_not_read(opened: Asker) -> None:
    status, headers, _ = opened.ask(
        "/api/edit", method="POST", origin=ORIGIN, body=b"x" * 100, content_length=str(LARGEST_BODY + 1)
    )
    assert (status, headers["connection"]) == (413, "close")
    assert opened.read == 0
    pieces = [b"x" * 100_000] * 500
    status, _, _ = opened.ask("/api/edit", method="POST", origin=ORIGIN, body=pieces)
    assert status == 413
    assert opened.read <= LARGEST_BODY // 100_000 + 1
    for length in ("-1", "a", "9" * 40):
        assert opened.ask("/api/edit", method="POST", origin=ORIGIN, content_length=length)[0] == 413


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"[]",
        b"null",
        b"{",
        b"[" * 100_000,
        b'"text"',
        b"\xff",
        b'{"base": 1}',
        b'{"changes": {}}',
        b'{"base": "x", "changes": [{"do": "set", "at": ["name"], "to": NaN}]}',
        b'{"base": "x", "changes": [{"do": "set", "at": ["name"], "to": 1e999}]}',
        b'{"base": "x", "changes": [{"do": "set", "at": ["name"], "to": ' + b"[" * 400 + b"]" * 400 + b"}]}",
        b'{"base": "x", "changes": [{"do": "set", "at": ["name"], "to": ' + b"9" * 5000 + b"}]}",
    ],
)
def test_a_body_that_is_no_request_is_one_line(opened: Asker, body: bytes) -> None:
    status, _, told = opened.ask("/api/edit", method="POST", origin=ORIGIN, body=body)
    assert status in (400, 422)
    (line,) = json.loads(told)["problems"]
    assert "Traceback" not in line


def test_a_fault_of_ours_tells_nothing(opened: Asker, monkeypatch: pytest.MonkeyPatch, capsys: Any) -> None:
    from layerpreview.desk import asked

    def fail(*_: object) -> None:
        raise ZeroDivisionError("/home/ann/secret")

    monkeypatch.setitem(asked.GET, "pulse", fail)
    status, headers, body = opened.ask("/api/pulse")
    assert status == 500
    assert b"secret" not in body
    assert b"Zero" not in body
    assert headers["content-security-policy"] == CONTENT_POLICY
    assert "ZeroDivisionError" in capsys.readouterr().err


def test_no_folder_of_this_machine_is_told(opened: Asker, folder: Path) -> None:
    """Of a file elsewhere its last name; of the job's own files their names as seen from it."""
    (folder / "scheme.toml").write_text('layerpreview = 1\n[dye.a]\nfile = "/home/ann/dyes/a.dye.toml"\n')
    body = opened.ask("/api/state")[2].decode()
    assert "a.dye.toml" in body
    problems = json.loads(body)["problems"]
    assert problems
    for line in problems:
        assert str(folder) not in line
        assert "/home/ann" not in line


def test_websockets_are_closed() -> None:
    sent: list[Any] = []

    async def send(message: Any) -> None:
        sent.append(message)

    app: Any = Guard(make_app(Desk(None)), hosts=[HOST], token=TOKEN)
    asyncio.run(app({"type": "websocket"}, None, send))
    assert sent == [{"type": "websocket.close", "code": 1008}]
