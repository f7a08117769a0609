"""Connections that are given up on when nothing comes: a request's head has seconds, not minutes, and there are not
more of them than one person's browser needs."""

from __future__ import annotations

import asyncio
from typing import Any

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

from layerpreview.desk.guard import HEADERS

HEAD_S = 10.0
MOST_CONNECTIONS = 400


class Prompt(H11Protocol):
    """A connection whose client has `HEAD_S` for each head, counted from its first sign (or from the connection)."""

    _late: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Take the connection, unless there are too many."""
        super().connection_made(transport)
        if len(self.connections) > MOST_CONNECTIONS:
            transport.close()
            return
        self._wait_for_head()

    def data_received(self, data: bytes) -> None:
        """Take what came; while a head is not whole its time runs."""
        super().data_received(data)
        if self.conn.their_state is h11.IDLE and not self.transport.is_closing():
            self._wait_for_head()
        else:
            self._no_longer()

    def connection_lost(self, exc: Exception | None) -> None:
        """Stop waiting."""
        self._no_longer()
        super().connection_lost(exc)

    def send_400_response(self, msg: str) -> None:
        """Answer what is no HTTP with the policies that go with every answer."""
        headers: list[Any] = [(b"content-type", b"text/plain; charset=utf-8"), (b"connection", b"close")]
        headers += [(name.encode(), value.encode()) for name, value in HEADERS]
        for event in (
            h11.Response(status_code=400, headers=headers, reason=b"Bad Request"),
            h11.Data(data=b"this is no request that the desk understands"),
            h11.EndOfMessage(),
        ):
            self.transport.write(self.conn.send(event) or b"")
        self.transport.close()

    def _wait_for_head(self) -> None:
        if self._late is None:
            self._late = self.loop.call_later(HEAD_S, self.transport.close)

    def _no_longer(self) -> None:
        if self._late is not None:
            self._late.cancel()
            self._late = None
