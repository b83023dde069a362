"""Where the server listens: on the loopback address alone, for http and for https."""

import asyncio
import contextlib
import socket
from pathlib import Path

import pytest

from drenchbook.hosts.server_running import _Loop, listening
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


def test_no_answer_waits_for_the_packet_to_fill():
    """Asyncio switches the waiting off, which costs 40 ms an answer, only on a socket that was made with TCP's name."""

    async def delay_of_a_connection():
        listener, seen = listening(0), asyncio.get_running_loop().create_future()
        address = listener.getsockname()

        def connected(_, writer):
            seen.set_result(writer.get_extra_info("socket").getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY))
            writer.close()

        async with await asyncio.start_server(connected, sock=listener):
            _, writer = await asyncio.open_connection(*address)
            writer.close()
            return address[0], await asyncio.wait_for(seen, 10)

    with asyncio.Runner(loop_factory=_Loop) as runner:
        address, no_delay = runner.run(delay_of_a_connection())
    assert address == "127.0.0.1"
    assert no_delay != 0
