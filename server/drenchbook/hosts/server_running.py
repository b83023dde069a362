"""The server as a process: its sockets on the loopback address, its announcement, and a clean end."""

from __future__ import annotations

import asyncio
import contextlib
import errno
import gc
import http.client
import json
import logging
import os
import secrets
import signal
import socket
import sys
import time
from collections.abc import Callable, Generator
from pathlib import Path
from typing import Any

import uvicorn

from drenchbook import __version__
from drenchbook.errors import InputError
from drenchbook.hosts import server_certificate, state_folder
from drenchbook.hosts.server_app import PROGRAM, Workers, application
from drenchbook.hosts.server_connections import BoundedProtocol
from drenchbook.hosts.state_folder import RunningServer

LOOPBACK, PORT = "127.0.0.1", 8713
MOST_FILES = 640  # open at once: bounds what connections that never finish their handshake hold, 256 kB each
SLOWEST_HANDSHAKE = 5.0  # [s]
KEEP_ALIVE = 75  # [s] for which an adapter's connection may rest
LAST_ANSWERS = 3  # [s] for answers under way when the server stops
ALLOCATIONS = 10_000  # between two looks for what is no longer used; a batch of 1,000 calls makes about half as many
LONGEST_STOP = 10.0  # [s]


def serve(port: int = PORT, say: Callable[[str], None] = print) -> None:
    """Serve until a signal or a host stops it; InputError where the port, or the next one for https, is taken."""
    certificate = server_certificate.usable()
    plain = listening(port)
    try:
        web = listening(port + 1 if port else 0) if certificate else None
    except InputError:
        plain.close()
        raise
    told = RunningServer(plain.getsockname()[1], secrets.token_urlsafe(32), __version__, os.getpid())
    logging.basicConfig(stream=sys.stderr, level=logging.WARNING, format="%(levelname)s: %(message)s")
    _bound_files()
    with contextlib.suppress(KeyboardInterrupt), asyncio.Runner(loop_factory=_Loop) as runner:
        runner.run(_serve(told, plain, web, certificate, say))


async def _serve(
    told: RunningServer, plain: socket.socket, web: socket.socket | None, certificate: tuple[Path, Path] | None,
    say: Callable[[str], None],
) -> None:  # fmt: skip
    servers: list[_Server] = []

    def stop(*_: Any) -> None:
        for server in servers:
            server.should_exit = True

    threads = Workers()
    web_port = web.getsockname()[1] if web else None
    app = application(told.token, told.port, web_port, stop, threads)
    servers.append(_Server(_config(app)))
    sockets = [plain]
    if web is not None and certificate is not None:
        servers.append(_Server(_config(app, ssl_certfile=certificate[0], ssl_keyfile=certificate[1])))
        sockets.append(web)
    for number in (signal.SIGINT, signal.SIGTERM, getattr(signal, "SIGBREAK", signal.SIGINT)):
        signal.signal(number, stop)
    running = [asyncio.create_task(s.serve([each])) for s, each in zip(servers, sockets, strict=True)]
    forgetting = asyncio.create_task(_forget_now_and_then(threads))
    try:
        while not all(server.started for server in servers):
            await asyncio.sleep(0.01)
        state_folder.announce(told)
        say(_greeting(told.port, web_port))
        threads.large.submit(_get_ready)
        await asyncio.wait(running, return_when=asyncio.FIRST_COMPLETED)
        stop()
        await asyncio.gather(*running)
    finally:
        forgetting.cancel()
        state_folder.withdraw(told)
        threads.close()


def _greeting(port: int, web_port: int | None) -> str:
    lines = [f"{PROGRAM} {__version__} listens on http://{LOOPBACK}:{port} (every function: /functions)"]
    if web_port:
        lines.append(f"web add-in: https://localhost:{web_port}/addin/manifest.xml")
    return "\n".join([*lines, "stop it with Ctrl+C or: drenchbook server --stop"])


def _get_ready() -> None:
    """Load what the array functions need, so that the first one does not wait for it."""
    import drenchbook.table_results  # noqa: F401

    # What is loaded stays: looking through it again and again for what is no longer used took a third of a large batch.
    gc.collect()
    gc.freeze()
    gc.set_threshold(ALLOCATIONS)


async def _forget_now_and_then(threads: Workers) -> None:
    while True:
        await asyncio.sleep(10)
        threads.forget_if_idle()


class _Loop(asyncio.ProactorEventLoop if sys.platform == "win32" else asyncio.SelectorEventLoop):  # type: ignore[misc]
    """The usual loop, with less patience for a handshake than its minute."""

    async def create_server(self, *given: Any, **more: Any) -> asyncio.Server:
        if more.get("ssl"):
            more.setdefault("ssl_handshake_timeout", SLOWEST_HANDSHAKE)
        return await super().create_server(*given, **more)


class _Server(uvicorn.Server):
    """One listener; the signals are ours, because there may be two of it."""

    @contextlib.contextmanager
    def capture_signals(self) -> Generator[None, None, None]:
        yield


def _config(app: Any, **tls: Any) -> uvicorn.Config:
    # No access log: a request may name a project. The application has no life of its own to start and stop.
    return uvicorn.Config(app, http=BoundedProtocol, ws="none", lifespan="off", access_log=False, log_config=None,
                          log_level="error", server_header=False, date_header=False, proxy_headers=False, backlog=128,
                          timeout_keep_alive=KEEP_ALIVE, timeout_graceful_shutdown=LAST_ANSWERS, **tls)  # fmt: skip


def listening(port: int) -> socket.socket:
    """A socket on a loopback port; InputError says who has the port and what to do."""
    # Named TCP, because only then asyncio switches off the waiting that costs 40 ms an answer.
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    try:
        # Windows lets two programs share a port unless told otherwise; elsewhere a port that just closed may be reused.
        exclusive = getattr(socket, "SO_EXCLUSIVEADDRUSE", None)
        listener.setsockopt(socket.SOL_SOCKET, exclusive if exclusive is not None else socket.SO_REUSEADDR, 1)
        listener.bind((LOOPBACK, port))
        listener.listen(128)
        listener.setblocking(False)
    except (OSError, OverflowError) as error:
        listener.close()
        raise InputError("port", port, _why_not(port, error)) from None
    return listener


def _why_not(port: int, error: OSError | OverflowError) -> str:
    if isinstance(error, OSError) and error.errno in (errno.EADDRINUSE, errno.EACCES):
        other = version_at(port)
        if other is not None:
            return (
                f"is taken by another {PROGRAM} server, version {other}, which programs can use as it is; stop it with "
                f"drenchbook server --stop, or name another: drenchbook server --port {port + 10}"
            )
        if error.errno == errno.EACCES:
            return "may not be used by this user; name one from 1024 to 65535: drenchbook server --port 8713"
        return f"is taken by another program; name another port: drenchbook server --port {port + 10}"
    return f"cannot be used ({error}); name one from 1024 to 65535"


def version_at(port: int, patience: float = 1.0) -> str | None:
    """The version of the Drenchbook server at a port, or None where something else or nothing answers."""
    connection = http.client.HTTPConnection(LOOPBACK, port, timeout=patience)
    try:
        connection.request("GET", "/v1/health")
        told = json.loads(connection.getresponse().read(10_000))
        return str(told["version"]) if told["program"] == PROGRAM else None
    except (OSError, http.client.HTTPException, ValueError, KeyError, TypeError):
        return None
    finally:
        connection.close()


def stop_running() -> str:
    """Stop the announced server; gives a sentence. InputError where it does not stop."""
    told = state_folder.announced()
    if told is None or version_at(told.port) is None:
        if told is not None:
            state_folder.withdraw(told)
        return "no server is running"
    connection = http.client.HTTPConnection(LOOPBACK, told.port, timeout=5)
    headers = {"Content-Type": "application/json", "X-Drenchbook-Token": told.token}
    try:
        connection.request("POST", "/v1/stop", b"{}", headers)
        status = connection.getresponse().status
    except (OSError, http.client.HTTPException):
        status = 0  # it may have been stopping already
    finally:
        connection.close()
    end = time.monotonic() + LONGEST_STOP
    while status in (0, 200) and time.monotonic() < end:
        if version_at(told.port, 0.2) is None and state_folder.announced() != told:
            return f"the server on port {told.port} has stopped"
        time.sleep(0.05)
    raise InputError("server", told.port, f"did not stop; end the process {told.pid}")


def _bound_files() -> None:
    try:
        import resource
    except ImportError:  # Windows has no such limit to set
        return
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    if soft == resource.RLIM_INFINITY or soft > MOST_FILES:
        resource.setrlimit(resource.RLIMIT_NOFILE, (MOST_FILES, hard))
