"""Running the desk: a port of this machine's own, the address with its token, the browser, and the end."""

from __future__ import annotations

import secrets
import socket
import threading
import webbrowser
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from layerpreview.desk.desk import Desk
from layerpreview.desk.memory import give_back_early
from layerpreview.errors import InputError, Problem

if TYPE_CHECKING:
    import uvicorn

    from layerpreview.desk.guard import Guard

HOST = "127.0.0.1"
PHONES = "this machine and phones that bring the code below"
WAITING = 512
"""Connections that may wait to be taken."""
END_S = 1
"""How long answers that are being worked out may take once the desk is closed."""


def serve(
    path: Path | None,
    *,
    port: int | None = None,
    open_browser: bool = True,
    phone: bool = False,
    first: str = "/",
    address: Callable[[str], None],
    tell: Callable[[str], None],
) -> None:
    """Serve one job to this machine's own browser until Ctrl-C. `path`: its scheme file; None to begin one.

    `port`: None for a free one. `phone`: a phone in the local network may come, too. `first`: the page that is opened
    first. `address` gets the address with
    the token of this run as soon as it can be opened, `tell` all that a person reads. Raises InputError where the port
    is taken.
    """
    taken = listen(port)
    number = taken.getsockname()[1]
    token = secrets.token_urlsafe(24)
    url = f"http://{HOST}:{number}/?token={token}"
    desk = Desk(path)
    try:
        if phone:
            desk.let_phones_in()
        address(url)
        tell(f"The desk is open, for {PHONES if phone else 'this machine alone'}. Press Ctrl-C here to close it.")
        for line in desk.phone_lines():
            tell(line)
        if open_browser:
            # Some browsers only return once they are closed.
            threading.Thread(target=webbrowser.open, args=(url,), name="browser", daemon=True).start()
        give_back_early()
        server = make_server(desk, token=token, port=number, first=first)
        desk.prepare()
        server.run(sockets=[taken])
    except KeyboardInterrupt:
        pass
    finally:
        taken.close()
        desk.close()
    tell("The desk is closed. Every change is kept." if desk.path else "The desk is closed.")


def listen(port: int | None, host: str = HOST) -> socket.socket:
    """A socket that browsers can already knock at: they wait until the rest is loaded."""
    # The protocol is named so that small answers go out at once: asyncio asks for that where it knows it to be TCP.
    taken = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    taken.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        taken.bind((host, port or 0))
        taken.listen(WAITING)
    except OSError as error:
        taken.close()
        remedy = "leave --port out for a free one"
        raise InputError(Problem("this port is taken", remedy, field="--port", value=str(port))) from error
    return taken


def make_server(desk: Desk, *, token: str, port: int, first: str = "/") -> uvicorn.Server:
    """The server of a desk behind its guard, for a socket that listens at `port`."""
    from layerpreview.desk.app import make_app
    from layerpreview.desk.guard import Guard

    hosts = (f"{HOST}:{port}", f"localhost:{port}")
    return configured(Guard(make_app(desk), hosts=hosts, token=token, name=f"desk_{port}", first=first))


def configured(app: Guard) -> uvicorn.Server:
    """The server of an app behind its guard: it tells nobody what it is, and waits for nobody."""
    import uvicorn

    from layerpreview.desk.connections import Prompt

    config = uvicorn.Config(
        app,
        http=Prompt,
        ws="none",
        lifespan="off",
        loop="asyncio",
        log_config=None,
        log_level="critical",
        access_log=False,
        server_header=False,
        date_header=False,
        proxy_headers=False,
        timeout_keep_alive=20,
        timeout_graceful_shutdown=END_S,
    )
    return uvicorn.Server(config)
