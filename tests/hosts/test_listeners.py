"""Where the server listens: on the loopback address alone, for http and for https."""

import contextlib
import http.client
import json
import socket
import ssl
import statistics
import time
from pathlib import Path

import pytest

from drenchbook.hosts.server_running import listening
from tests.hosts.live_server import make_certificate, running


@pytest.fixture(scope="module")
def server(tmp_path_factory):
    with running(tmp_path_factory.mktemp("state")) as live:
        yield live


def listeners_of(process):
    """Every address on which a process listens, as the system's own tables of sockets tell it, IPv4 and IPv6."""
    names = {Path(link).readlink().name for link in Path(f"/proc/{process}/fd").iterdir() if link.is_symlink()}
    found = []
    for table in ("tcp", "tcp6"):
        for line in Path(f"/proc/{process}/net/{table}").read_text(encoding="utf-8").splitlines()[1:]:
            words = line.split()
            if words[3] == "0A" and f"socket:[{words[9]}]" in names:  # 0A: listens
                found.append((table, words[1]))
    return found


def test_it_listens_on_the_loopback_address_only(tmp_path):
    """With and without the certificate: one socket, or two; none on another interface and none over IPv6."""
    with running(tmp_path) as live:
        assert listeners_of(live.process.pid) == [("tcp", f"0100007F:{live.port:04X}")]
    make_certificate(tmp_path)
    with running(tmp_path) as live:
        ports = {live.port, live.web_port}
        assert len(ports) == 2
        assert sorted(listeners_of(live.process.pid)) == sorted(("tcp", f"0100007F:{port:04X}") for port in ports)


def test_nobody_answers_at_another_address(server):
    """Another address of the loopback interface, IPv6's, and those of the other interfaces."""
    others = [(socket.AF_INET, "127.0.0.2"), *([(socket.AF_INET6, "::1")] if socket.has_ipv6 else [])]
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asked, contextlib.suppress(OSError):
        asked.connect(("192.0.2.1", 9))  # sends nothing; names the address that leads outside
        others.append((socket.AF_INET, asked.getsockname()[0]))
    for family, address in others:
        with socket.socket(family, socket.SOCK_STREAM) as caller:
            caller.settimeout(2)
            assert caller.connect_ex((address, server.port)) != 0, address


def test_the_socket_is_named_tcp_so_that_no_answer_waits():
    """Of a socket made without the name asyncio leaves the delay on: 40 ms an answer in two parts."""
    listener = listening(0)
    try:
        assert (listener.family, listener.proto) == (socket.AF_INET, socket.IPPROTO_TCP)
        assert listener.getsockname()[0] == "127.0.0.1"
    finally:
        listener.close()


@pytest.mark.parametrize("which", ["port", "web_port"])
def test_both_listeners_answer_without_the_delay(tmp_path, which):
    """Twenty answers on a kept connection, http and https; with the delay they would take 0.8 s."""
    make_certificate(tmp_path)
    with running(tmp_path) as live:
        port = getattr(live, which)
        plain = which == "port"
        trust = None if plain else ssl.create_default_context(cafile=str(next(tmp_path.rglob("authority.pem"))))
        connection = (http.client.HTTPConnection("127.0.0.1", port) if plain
                      else http.client.HTTPSConnection("localhost", port, context=trust))  # fmt: skip
        body = json.dumps({"calls": [{"function": "DRENCH_STATUS"}]})
        headers = {"Content-Type": "application/json", "X-Drenchbook-Token": live.token}
        times = []
        for _ in range(20):
            begin = time.perf_counter()
            connection.request("POST", "/v1/batch", body, headers)
            assert connection.getresponse().read()
            times.append(time.perf_counter() - begin)
        connection.close()
    assert statistics.median(times) < 0.03
