"""Connections within bounds: no more than so many, none that says or reads nothing, no endless headers or queues."""

from __future__ import annotations

import asyncio
from typing import Any

from uvicorn.protocols.http.httptools_impl import HttpToolsProtocol

MOST_CONNECTIONS = 256  # a spreadsheet program keeps one or two, a browser six
SLOWEST_REQUEST = 10.0  # [s] from the opening of a connection to the end of its first headers, and of each later ones
SLOWEST_READER = 30.0  # [s] for which an answer may wait to be read
LARGEST_HEADERS = 65_536  # bytes
LONGEST_QUEUE = 16  # requests sent ahead on one connection


class BoundedProtocol(HttpToolsProtocol):
    """The protocol of one connection, with its bounds."""

    most_connections = MOST_CONNECTIONS
    slowest_request = SLOWEST_REQUEST

    def connection_made(self, transport: Any) -> None:
        """Close at once where there are too many; otherwise wait for a request, not for ever."""
        self._waiting: asyncio.TimerHandle | None = None
        self._unread: asyncio.TimerHandle | None = None
        self._header_bytes = 0
        if len(self.connections) >= self.most_connections:
            self.transport = transport
            transport.abort()
            return
        super().connection_made(transport)
        self._expect_request()

    def connection_lost(self, exc: Exception | None) -> None:
        """Stop waiting."""
        self._stop_waiting()
        self.resume_writing()
        if self in self.connections:
            super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        """Count what comes before the end of the headers."""
        if self.transport.is_closing():
            return
        self._header_bytes += len(data)
        super().data_received(data)
        if self._waiting is not None and self._header_bytes > LARGEST_HEADERS:
            self.transport.abort()

    def on_message_begin(self) -> None:
        """A request begins: its headers must end soon."""
        super().on_message_begin()
        if self._waiting is None:
            self._expect_request()

    def on_headers_complete(self) -> None:
        """The headers are here."""
        self._stop_waiting()
        self._header_bytes = 0
        super().on_headers_complete()
        if len(self.pipeline) > LONGEST_QUEUE:
            self.transport.abort()

    def pause_writing(self) -> None:
        """The other side does not read: it has a while to go on."""
        super().pause_writing()
        self._unread = self.loop.call_later(SLOWEST_READER, self.transport.abort)

    def resume_writing(self) -> None:
        """It reads again."""
        if self._unread is not None:
            self._unread.cancel()
            self._unread = None
        if self.flow is not None:
            super().resume_writing()

    def _expect_request(self) -> None:
        loop = self.loop
        self._header_bytes = 0
        self._waiting = loop.call_later(self.slowest_request, self._too_slow)

    def _stop_waiting(self) -> None:
        if self._waiting is not None:
            self._waiting.cancel()
            self._waiting = None

    def _too_slow(self) -> None:
        self._waiting = None
        self.transport.abort()
