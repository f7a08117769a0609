"""Who may ask the desk for anything: this machine's own browser, with the token of this run; nobody and nothing else.

A page from elsewhere that is open in the same browser must not reach the job: not by a name that leads to this machine
(Host), not by a form or script (Origin, Sec-Fetch-Site, SameSite), not by framing or embedding what is served here (the
policies that go with every answer). And nobody may tire it out: bodies are capped and must come in time.
"""

from __future__ import annotations

import asyncio
import hmac
import json
import secrets
import sys
from collections.abc import Awaitable, Callable, Iterable, MutableMapping
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, unquote_to_bytes

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

LARGEST_BODY = 1_000_000
BODY_S = 20.0
"""How long the body of a request may take to come."""
UPLOADS = {
    "photo": 60_000_000,
    "day-photo": 60_000_000,
    "drawing": 5_000_000,
    "card": 2_000_000,
    "record": 200_000_000,
    "dye": 1_000_000,
}
"""What may be handed over below /upload/, and how large it may be: a phone's largest photos are a third of that."""
UPLOAD, UPLOAD_S = "/upload/", 180.0
CONTENT_POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self' blob: data:",
        "connect-src 'self'",
        "font-src 'self'",
        "base-uri 'none'",
        "form-action 'none'",
        "frame-ancestors 'none'",
    )
)
HEADERS = (
    ("content-security-policy", CONTENT_POLICY),
    ("x-content-type-options", "nosniff"),
    ("referrer-policy", "no-referrer"),
    ("cross-origin-resource-policy", "same-origin"),
    ("cross-origin-opener-policy", "same-origin"),
    ("x-frame-options", "DENY"),
    ("permissions-policy", "camera=(), microphone=(), geolocation=()"),
)
NO_STORE = ("cache-control", "no-store")
OPEN_IT_AGAIN = "open the address that the desk printed when it was started; it is another one each time"


class Guard:
    """Lets a request through to `app` where it may ask; answers it otherwise.

    `hosts`: what the address may be called, with its port. `token` opens the door of this run to a browser, which
    gets a cookie for it and is led to the address `first`; both end with this object.
    """

    def __init__(self, app: App, *, hosts: Iterable[str], token: str, name: str = "desk", first: str = "/") -> None:
        self._app = app
        self._hosts = frozenset(hosts)
        self._token, self._first = token.encode("utf-8"), first
        self._cookie_name, self._cookie = name, secrets.token_urlsafe(32)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            if scope["type"] == "websocket":
                await send({"type": "websocket.close", "code": 1008})
            return
        answer = Answer(send)
        try:
            await self._let_through(scope, receive, answer)
        except Exception as error:  # a fault of ours: told where the desk was started, in one line to whoever asked
            print(f"fault: {type(error).__name__}: {error}", file=sys.stderr)
            if not answer.started:
                await answer.refuse(500, "this did not work, and it is a fault of the program; nothing was changed")

    async def _let_through(self, scope: Scope, receive: Receive, answer: Answer) -> None:
        headers = _headers(scope)
        if refusal := self._refusal(scope, headers):
            await answer.refuse(*refusal)
        elif (token := _token_in(scope)) is not None:
            await self._open(answer, token)
        elif not self._known(headers):
            await answer.refuse(403, OPEN_IT_AGAIN)
        elif scope["method"] == "POST":
            await self._with_body(scope, headers, receive, answer)
        else:
            await self._app(scope, receive, answer)

    def _refusal(self, scope: Scope, headers: dict[str, list[str]]) -> tuple[int, str] | None:
        """Status and reason where a request may not ask at all, whoever it comes from."""
        hosts = headers.get("host", [])
        if len(hosts) != 1 or hosts[0].lower() not in self._hosts:
            return 421, "the desk does not answer to this name"
        if scope["method"] not in ("GET", "HEAD", "POST"):
            return 405, "the desk knows GET and POST"
        if any(site not in ("same-origin", "none") for site in headers.get("sec-fetch-site", [])):
            return 403, "another page asked for this; the desk answers to its own alone"
        origins = headers.get("origin", [])
        if any(origin.lower() != f"http://{hosts[0].lower()}" for origin in origins):
            return 403, "another page asked for this; the desk answers to its own alone"
        if scope["method"] == "POST" and len(origins) != 1:
            return 403, "a change must say which page it comes from"
        if _leads_out(scope["raw_path"]):
            return 404, "there is nothing of this name"
        return None

    async def _open(self, answer: Answer, token: bytes) -> None:
        """Turn the right token into a cookie and the address without it, so that it is in no history and no log."""
        if not hmac.compare_digest(token, self._token):
            await answer.refuse(403, OPEN_IT_AGAIN)
            return
        cookie = f"{self._cookie_name}={self._cookie}; HttpOnly; SameSite=Strict; Path=/"
        await answer.give(303, b"", [("location", self._first), ("set-cookie", cookie)])

    def _known(self, headers: dict[str, list[str]]) -> bool:
        found = [
            value
            for line in headers.get("cookie", [])
            for name, _, value in [part.strip().partition("=") for part in line.split(";")]
            if name == self._cookie_name
        ]
        return any(map(self._is_cookie, found))

    def _is_cookie(self, value: str) -> bool:
        return hmac.compare_digest(value.encode("utf-8"), self._cookie.encode("utf-8"))

    async def _with_body(self, scope: Scope, headers: dict[str, list[str]], receive: Receive, answer: Answer) -> None:
        """Hand a request on once its whole body is here, of a size and in a time that can be."""
        most = _most(scope["path"])
        lengths = headers.get("content-length", ["0"])
        if not all(length.isdecimal() for length in lengths) or int(lengths[0][:12]) > most:
            await answer.refuse(413, "this is larger than anything the desk takes", close=True)
            return
        body = bytearray()
        try:
            async with asyncio.timeout(BODY_S if most == LARGEST_BODY else UPLOAD_S):
                more = True
                while more:
                    message = await receive()
                    if message["type"] == "http.disconnect":
                        return
                    body += message.get("body", b"")
                    more = message.get("more_body", False)
                    if len(body) > most:
                        await answer.refuse(413, "this is larger than anything the desk takes", close=True)
                        return
        except TimeoutError:
            await answer.refuse(408, "this took too long to come", close=True)
            return
        data = bytes(body)
        body.clear()  # a photo is large: there is one copy of it
        given = False

        async def whole() -> Message:
            nonlocal given
            if given:
                return await receive()
            given = True
            return {"type": "http.request", "body": data, "more_body": False}

        await self._app(scope, whole, answer)


class Answer:
    """Sends an answer, with what goes with every answer."""

    def __init__(self, send: Send) -> None:
        self._send, self.started = send, False

    async def __call__(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            self.started = True
            given = list(message.get("headers", []))
            names = {name.lower() for name, _ in given}
            always = [(name.encode(), value.encode()) for name, value in (*HEADERS, NO_STORE)]
            message = {**message, "headers": [*given, *((n, v) for n, v in always if n not in names)]}
        await self._send(message)

    async def give(self, status: int, body: bytes, headers: Iterable[tuple[str, str]]) -> None:
        told = [(name.encode("latin-1"), value.encode("latin-1")) for name, value in headers]
        told.append((b"content-length", str(len(body)).encode()))
        await self({"type": "http.response.start", "status": status, "headers": told})
        await self({"type": "http.response.body", "body": body})

    async def refuse(self, status: int, reason: str, *, close: bool = False) -> None:
        body = json.dumps({"problems": [reason]}).encode("utf-8")
        headers = [("content-type", "application/json")]
        await self.give(status, body, [*headers, ("connection", "close")] if close else headers)


def _headers(scope: Scope) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for name, value in scope["headers"]:
        found.setdefault(name.decode("latin-1").lower(), []).append(value.decode("latin-1"))
    return found


def _most(path: str) -> int:
    """How large the body of a request may be."""
    return UPLOADS.get(path.removeprefix(UPLOAD), LARGEST_BODY) if path.startswith(UPLOAD) else LARGEST_BODY


def _token_in(scope: Scope) -> bytes | None:
    if scope["path"] != "/" or scope["method"] != "GET":
        return None
    try:
        found = parse_qs(scope["query_string"].decode("ascii"), max_num_fields=4).get("token")
    except ValueError:
        return b""
    return found[0].encode("utf-8") if found else None


def _leads_out(raw_path: bytes) -> bool:
    """Whether a path has anything in it that no address of the desk has and that might lead out of a folder."""
    lower = raw_path.lower()
    plain = unquote_to_bytes(raw_path)
    odd = any(sign in plain for sign in (b"\\", b"\0", b"//", b"%"))
    return odd or b"%2f" in lower or any(part in (b".", b"..") for part in plain.split(b"/"))


def confined(folder: Path, name: str) -> Path | None:
    """The file of a relative name in a folder or below it; None where it is none, or leads out by dots or by a link."""
    try:
        root = folder.resolve(strict=True)
        found = (root / name).resolve(strict=True)
        return found if found.is_relative_to(root) and found.is_file() else None
    except (OSError, ValueError, RuntimeError):
        return None
