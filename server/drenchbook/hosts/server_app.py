"""The routes of the calculation server, and the threads that calculate so that no long call keeps others waiting."""

from __future__ import annotations

import asyncio
import functools
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field

from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from drenchbook import __version__
from drenchbook.hosts import server_batch, server_pages, web_addin, web_icons
from drenchbook.hosts.server_guards import Guard, allowed, refused
from drenchbook.worksheet_functions import FUNCTIONS

PROGRAM = "Drenchbook"
SMALL_BODY = 65_536  # bytes; the tables of a site whose solving takes long are larger
SMALL_THREADS, LARGE_THREADS = 2, 2
JSON, SCRIPT, STYLE, PNG, XML = ("application/json", "text/javascript; charset=utf-8", "text/css; charset=utf-8",
                                 "image/png", "application/xml; charset=utf-8")  # fmt: skip


@dataclass
class Workers:
    """Threads for small batches and others for large ones; a queue of large ones does not hold up a small one."""

    small: ThreadPoolExecutor = field(default_factory=lambda: ThreadPoolExecutor(SMALL_THREADS, "small"))
    large: ThreadPoolExecutor = field(default_factory=lambda: ThreadPoolExecutor(LARGE_THREADS, "large"))
    last_asked: float = field(default_factory=time.monotonic)

    async def answer(self, body: bytes) -> bytes:
        """The answers to a batch."""
        self.last_asked = time.monotonic()
        pool = self.small if len(body) <= SMALL_BODY else self.large
        return await asyncio.get_running_loop().run_in_executor(pool, server_batch.answer_batch, body)

    def forget_if_idle(self) -> None:
        """Drop what is in memory when nobody has asked for a while."""
        if time.monotonic() - self.last_asked > server_batch.FORGOTTEN_AFTER:
            server_batch.forget()

    def close(self) -> None:
        """Take no more work."""
        for pool in (self.small, self.large):
            pool.shutdown(wait=False, cancel_futures=True)


def application(
    token: str, port: int, web_port: int | None = None, stop: Callable[[], None] = lambda: None,
    workers: Workers | None = None,
) -> Guard:  # fmt: skip
    """The guarded server.

    Parameters
    ----------
    token : str
        What each call must carry. [-]
    port, web_port : int
        Ports of http and, where there is a certificate, https. [-]
    stop : callable
        Called when a host asks the server to stop. [-]
    workers : Workers, optional
        Threads to calculate in. [-]

    Returns
    -------
    Guard
        An ASGI application. [-]
    """
    threads = workers or Workers()
    ports = [("http", port), *([("https", web_port)] if web_port else [])]
    hosts, origins = allowed(ports)
    app = Starlette(routes=[*_calls(threads, stop), *_pages(token, web_port), *_addin(token, web_port or port + 1)])
    app.router.redirect_slashes = False
    return Guard(app, token, hosts, origins)


def _calls(threads: Workers, stop: Callable[[], None]) -> list[Route]:
    async def batch(request: Request) -> Response:
        try:
            return Response(await threads.answer(await request.body()), media_type=JSON)
        except server_batch.UnreadableError as error:
            return refused(400, str(error))

    async def health(request: Request) -> Response:
        return JSONResponse({"program": PROGRAM, "version": __version__, "functions": len(FUNCTIONS)})

    async def stopping(request: Request) -> Response:
        stop()
        return JSONResponse({"stopping": True})

    return [
        Route("/v1/batch", batch, methods=["POST"]),
        Route("/v1/health", health),
        Route("/v1/stop", stopping, methods=["POST"]),
    ]


def _pages(token: str, web_port: int | None) -> list[Route]:
    return [
        _page("/", lambda: server_pages.home_page(web_port), server_pages.POLICY),
        _page("/functions", lambda: server_pages.functions_page(token), server_pages.POLICY),
        _file("/assets/pages.js", lambda: server_pages.asset("pages.js"), SCRIPT),
        _file("/assets/pages.css", lambda: server_pages.asset("pages.css"), STYLE),
        *(_file(f"/assets/drop-{size}.png", functools.partial(web_icons.drop, size), PNG) for size in web_icons.SIZES),
        _file("/favicon.ico", lambda: web_icons.drop(32), PNG),
    ]


def _addin(token: str, web_port: int) -> list[Route]:
    return [
        _page("/addin/functions.html", lambda: web_addin.page(token), web_addin.POLICY),
        _file("/addin/manifest.xml", lambda: web_addin.manifest(web_port), XML),
        _file("/addin/functions.json", web_addin.metadata_json, JSON),
        _file("/addin/functions.js", web_addin.script, SCRIPT),
        _file("/addin/taskpane.js", lambda: server_pages.asset("taskpane.js"), SCRIPT),
    ]


def _file(path: str, contents: Callable[[], str | bytes], kind: str) -> Route:
    async def give(request: Request) -> Response:
        return Response(contents(), media_type=kind)

    return Route(path, give)


def _page(path: str, contents: Callable[[], str], policy: str) -> Route:
    async def give(request: Request) -> Response:
        return Response(contents(), media_type="text/html; charset=utf-8", headers={"content-security-policy": policy})

    return Route(path, give)
