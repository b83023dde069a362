"""What a request must be before anything looks at it: from this computer, for this server, with the token, and small.

A page in the user's own browser can reach the loopback address too. The Host list stops a foreign name that points
here, the Origin list stops foreign pages, the token stops everyone else who may not read the user's state folder.
"""

from __future__ import annotations

import asyncio
import hmac
import logging
import re
import traceback
from collections.abc import Awaitable, Callable, Iterable, MutableMapping
from dataclasses import dataclass, field
from typing import Any

from starlette.responses import JSONResponse

log = logging.getLogger("drenchbook.server")

Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Message, Receive, Send], Awaitable[None]]

LARGEST_BODY = 8_000_000  # bytes; the tables of 500 stations have about a quarter of a million
LARGEST_BODIES = 32_000_000  # bytes of all requests that are being read or answered
SLOWEST_BODY = 10.0  # [s] until the whole body must be here
TOKEN_HEADER = "x-drenchbook-token"
OPEN_PATHS = ("/v1/health",)
# Files without secrets that a spreadsheet program in the browser reads from its own page.
PUBLIC_PATHS = re.compile(r"/addin/(manifest\.xml|functions\.json|functions\.js)|/assets/drop-\d+\.png")
SAFE_HEADERS = (
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
    (b"cache-control", b"no-store"),
)
OURS_ALONE = (b"cross-origin-resource-policy", b"same-origin")
FOR_ALL = ((b"cross-origin-resource-policy", b"cross-origin"), (b"access-control-allow-origin", b"*"))
NAMES = ("127.0.0.1", "localhost")


@dataclass
class Guard:
    """Lets good requests through to `app`; answers the others with a status and a sentence."""

    app: App
    token: str
    hosts: frozenset[str]
    origins: frozenset[str]
    slowest_body: float = SLOWEST_BODY
    held: int = field(default=0, init=False)  # bytes of bodies in memory

    async def __call__(self, scope: Message, receive: Receive, send: Send) -> None:
        """Judge one request."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":
            await send({"type": "websocket.close", "code": 1008})
            return
        public = scope["method"] in ("GET", "HEAD") and PUBLIC_PATHS.fullmatch(scope["path"]) is not None
        watched = _Answer(send, SAFE_HEADERS + (FOR_ALL if public else (OURS_ALONE,)))
        try:
            refusal = self._refused(scope, public)
            if refusal is not None:
                await refusal(scope, receive, watched)
            elif scope["method"] == "POST":
                await self._with_body(scope, receive, watched)
            else:
                await self.app(scope, receive, watched)
        except Exception as error:
            place = traceback.extract_tb(error.__traceback__)[-1]
            log.error("%s in %s, line %s", type(error).__name__, place.name, place.lineno)  # no text: it may hold data
            if not watched.begun:
                await refused(500, "the server failed; please report it")(scope, receive, watched)

    def _refused(self, scope: Message, public: bool) -> JSONResponse | None:
        headers: dict[str, list[str]] = {}
        for name, value in scope["headers"]:
            headers.setdefault(name.decode("latin-1").lower(), []).append(value.decode("latin-1"))
        hosts = headers.get("host", [])
        if len(hosts) != 1 or hosts[0].lower() not in self.hosts:
            return refused(421, "this server answers to 127.0.0.1 and localhost only")
        if not public and any(origin.lower() not in self.origins for origin in headers.get("origin", [])):
            return refused(403, "a page from elsewhere may not use this server")
        if scope["path"].startswith("/v1/") and scope["path"] not in OPEN_PATHS:
            given = headers.get(TOKEN_HEADER, [])
            if len(given) != 1 or not hmac.compare_digest(given[0].encode(), self.token.encode()):
                return refused(401, "the header X-Drenchbook-Token is missing or not that of the running server")
        if scope["method"] == "POST":
            kind = ",".join(headers.get("content-type", [])).split(";")[0].strip().lower()
            if kind != "application/json":
                return refused(415, "the content type must be application/json")
            length = headers.get("content-length", ["0"])[0]
            if length.isdigit() and int(length) > LARGEST_BODY:
                return refused(413, f"the body has more than {LARGEST_BODY} bytes")
        return None

    async def _with_body(self, scope: Message, receive: Receive, send: _Answer) -> None:
        """Read the whole body, within bounds of size and time, and hand it on in one piece."""
        chunks: list[bytes] = []
        size = 0
        try:
            async with asyncio.timeout(self.slowest_body):
                while True:
                    message = await receive()
                    if message["type"] == "http.disconnect":
                        return
                    chunk = message.get("body", b"")
                    size, self.held = size + len(chunk), self.held + len(chunk)
                    if size > LARGEST_BODY:
                        await refused(413, f"the body has more than {LARGEST_BODY} bytes")(scope, receive, send)
                        return
                    if self.held > LARGEST_BODIES:
                        await refused(503, "too much at once; try again")(scope, receive, send)
                        return
                    chunks.append(chunk)
                    if not message.get("more_body", False):
                        break
            body = b"".join(chunks)
            del chunks
            await self.app(scope, _once(body, receive), send)
        except TimeoutError:
            if send.begun:
                raise
            await refused(408, f"the body did not arrive within {self.slowest_body:g} seconds")(scope, receive, send)
        finally:
            self.held -= size


def allowed(ports: Iterable[tuple[str, int]]) -> tuple[frozenset[str], frozenset[str]]:
    """The hosts and origins of our own addresses, given as (scheme, port).

    >>> sorted(allowed([("http", 8713)])[1])
    ['http://127.0.0.1:8713', 'http://localhost:8713']
    """
    pairs = [(scheme, f"{name}:{port}") for scheme, port in ports for name in NAMES]
    return frozenset(host for _, host in pairs), frozenset(f"{scheme}://{host}" for scheme, host in pairs)


def refused(status: int, sentence: str) -> JSONResponse:
    """A refusal; the connection closes, because what is left of the request is not read."""
    return JSONResponse({"error": sentence}, status, {"connection": "close"})


def _once(body: bytes, receive: Receive) -> Receive:
    """A receive that gives the body and then what comes next: the end of the connection."""
    left = [body]

    async def given() -> Message:
        if left:
            return {"type": "http.request", "body": left.pop(), "more_body": False}
        return await receive()

    return given


class _Answer:
    """A send that adds the headers every answer has, and knows whether the answer has begun."""

    def __init__(self, send: Send, headers: tuple[tuple[bytes, bytes], ...]):
        self._send, self._headers, self.begun = send, headers, False

    async def __call__(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            self.begun = True
            message["headers"] = [*message["headers"], *self._headers]
        await self._send(message)
