"""The shop's phone: a door of its own to the open job, in the local network, while the desk lets it stand open."""

from __future__ import annotations

import hmac
import ipaddress
import secrets
import socket
import threading
import time
from collections import deque
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from layerpreview.desk.guard import Answer, App, Guard
from layerpreview.errors import InputError, Problem

if TYPE_CHECKING:
    import uvicorn

    from layerpreview.desk.desk import Desk

CODE_S = 600.0
"""How long a code can be used."""
MOST_TRIES, TRIES_S = 10, 60.0
"""Of codes, by everybody together; more wait."""
MOST_PHONES = 8
_NO_CODE = "this code has been used, or is too old; take the one that the desk shows now"
_WAIT = "too many codes were tried; wait a minute and take the one that the desk shows then"


class Codes:
    """One-time codes: each opens the door for one phone, for a while; tries are counted, whoever makes them."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock, self._lock = clock, threading.Lock()
        self._code, self._until = "", 0.0
        self._tries: deque[float] = deque(maxlen=MOST_TRIES)

    def now(self) -> str:
        """The code to be shown: another one once it was used or is too old."""
        with self._lock:
            if not self._code or self._clock() >= self._until:
                self._code, self._until = secrets.token_urlsafe(24), self._clock() + CODE_S
            return self._code

    def forget(self) -> None:
        """Let the code of now open nothing."""
        with self._lock:
            self._code = ""

    def use(self, code: bytes) -> bool | None:
        """Whether a code opens the door, which it then does no more; None where too many were tried just now."""
        with self._lock:
            now = self._clock()
            if len(self._tries) == MOST_TRIES and now - self._tries[0] < TRIES_S:
                return None
            self._tries.append(now)
            good = bool(self._code) and now < self._until and hmac.compare_digest(code, self._code.encode())
            if good:
                self._code = ""
            return good


class PhoneGuard(Guard):
    """Lets phones through that came with a code; each has a cookie of its own."""

    def __init__(self, app: App, *, host: str, codes: Codes, name: str) -> None:
        super().__init__(app, hosts=[host], token=secrets.token_urlsafe(32), name=name)
        self._codes, self._cookies = codes, deque[str](maxlen=MOST_PHONES)

    @property
    def phones(self) -> int:
        """How many phones have come."""
        return len(self._cookies)

    def shut(self) -> None:
        """Know no phone any more, and no code: what is on its way when the door is shut finds it shut."""
        self._cookies.clear()
        self._codes.forget()

    async def _open(self, answer: Answer, token: bytes) -> None:
        good = self._codes.use(token)
        if not good:
            await answer.refuse(*((429, _WAIT) if good is None else (403, _NO_CODE)))
            return
        self._cookies.append(secrets.token_urlsafe(32))
        cookie = f"{self._cookie_name}={self._cookies[-1]}; HttpOnly; SameSite=Strict; Path=/"
        await answer.give(303, b"", [("location", "/"), ("set-cookie", cookie)])

    def _is_cookie(self, value: str) -> bool:
        found = [hmac.compare_digest(value.encode(), known.encode()) for known in self._cookies]
        return any(found)


class Phone:
    """The door: shut until `open`, and shut again by `shut`. `host`: where it stands, found where not given."""

    def __init__(self, desk: Desk, host: str | None = None) -> None:
        self._desk, self._host = desk, host
        self._lock = threading.Lock()
        self._codes = Codes()
        self._guard: PhoneGuard | None = None
        self._server: uvicorn.Server | None = None
        self._base = ""

    def open(self) -> None:
        """Begin to listen. Raises InputError where this machine is in no local network."""
        from layerpreview.desk.phone_app import phone_app
        from layerpreview.desk.serve import configured, listen

        with self._lock:
            if self._server is not None:
                return
            host = self._host or local_address()
            taken = listen(None, host)
            port = taken.getsockname()[1]
            self._base = f"http://{host}:{port}"
            self._codes = Codes()
            self._guard = PhoneGuard(
                phone_app(self._desk), host=f"{host}:{port}", codes=self._codes, name=f"phone_{port}"
            )
            self._server = configured(self._guard)
            threading.Thread(target=self._server.run, args=([taken],), name="phone", daemon=True).start()

    def shut(self) -> None:
        """Listen no more; every phone is out."""
        with self._lock:
            if self._server is not None and self._guard is not None:
                self._guard.shut()
                self._server.should_exit = True
            self._server = self._guard = None

    def address(self) -> str | None:
        """The address with the code of now; None while the door is shut."""
        with self._lock:
            return None if self._server is None else f"{self._base}/?token={self._codes.now()}"

    def told(self) -> dict[str, Any]:
        """What the page shows of it: the address, its code as rows of dark (1) and light (0), how many have come."""
        address = self.address()
        if address is None:
            return {"open": False, "address": None, "code": None, "phones": 0}
        guard = self._guard
        return {"open": True, "address": address, "code": code_rows(address), "phones": guard.phones if guard else 0}


def local_address() -> str:
    """The address of this machine in its local network. Raises InputError where it is in none.

    Nothing is sent: a datagram's socket only asks which way it would go.
    """
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as way:
        try:
            way.connect(("192.168.255.255", 9))
            found = way.getsockname()[0]
        except OSError:
            found = "127.0.0.1"
    address = ipaddress.ip_address(found)
    if address.is_loopback or address.is_unspecified or not address.is_private:
        rule = "this machine is in no local network that a phone could reach it in"
        raise InputError(Problem(rule, "join the shop's network first", field="--phone"))
    return str(found)


def code_rows(address: str) -> list[str]:
    """The QR code of an address, quiet border and all: rows of 1 (dark) and 0 (light)."""
    import segno

    matrix = segno.make(address, error="m", micro=False).matrix_iter(border=4)
    return ["".join("1" if dark else "0" for dark in row) for row in matrix]


def code_lines(rows: list[str], *, coloured: bool) -> list[str]:
    """The same for a terminal, two rows to a line; `coloured`: black on white, whatever the terminal's own colours."""
    rows = [*rows, "0" * len(rows[0])] if len(rows) % 2 else rows
    signs = {"11": " ", "10": "\u2584", "01": "\u2580", "00": "\u2588"}  # what is light is drawn
    lines = [
        "".join(signs[one + other] for one, other in zip(top, below, strict=True))
        for top, below in zip(rows[::2], rows[1::2], strict=True)
    ]
    return [f"\x1b[97;40m{line}\x1b[0m" for line in lines] if coloured else lines
