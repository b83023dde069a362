"""What a hostile page, program or file can send: refused or harmless, and the server's memory stays bounded."""

import asyncio
import contextlib
import json
import re
import socket
import threading
import time

import pytest

from drenchbook.hosts import server_connections
from drenchbook.hosts.server_connections import MOST_CONNECTIONS
from drenchbook.hosts.server_guards import LARGEST_BODY, Guard, allowed
from tests.hosts.live_server import make_certificate, running

EMPTY = '{"calls": []}'
MOST_MEMORY = 350  # MB more than at the start, whatever is sent


@pytest.fixture(scope="module")
def server(tmp_path_factory):
    with running(tmp_path_factory.mktemp("state")) as live:
        live.ask(("DRENCH_STATUS", []))
        yield live


@pytest.fixture(autouse=True)
def _still_serves(server):
    """After every attack the server answers as before and has not grown."""
    before = server.memory()
    yield
    end = time.monotonic() + 30
    while True:
        try:
            assert server.ask(("DRENCH_ELEVATION_LOSS", [0])) == [{"value": 0.0}]
            break
        except OSError:  # the last attack's connections may still hold the places
            assert time.monotonic() < end
            time.sleep(0.2)
    assert server.memory() - before < MOST_MEMORY


def with_token(server, **more):
    return {"Content-Type": "application/json", "X-Drenchbook-Token": server.token} | more


# --- who asks ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "host",
    ["evil.example", "evil.example:{port}", "localhost.evil.example:{port}", "127.0.0.1", "127.0.0.1:1", "localhost:1",
     "127.0.0.1:{port}.evil.example", "0.0.0.0:{port}", "[::1]:{port}", "", "127.0.0.1:{port}, evil.example"],
)  # fmt: skip
@pytest.mark.parametrize("path", ["/v1/batch", "/v1/health", "/functions", "/addin/functions.html"])
def test_another_host_name_is_misdirected(server, host, path):
    """A foreign name that points to the loopback address (DNS rebinding) gets nothing, not even a page."""
    method = "POST" if path == "/v1/batch" else "GET"
    status, _, body = server.request(method, path, EMPTY, with_token(server, Host=host.format(port=server.port)))
    assert status == 421
    assert server.token.encode() not in body


def test_no_host_and_two_hosts_are_misdirected(server):
    assert b" 421 " in server.raw(b"GET / HTTP/1.1\r\nConnection: close\r\n\r\n")
    own = f"Host: 127.0.0.1:{server.port}\r\n"
    assert b" 421 " in server.raw(f"GET / HTTP/1.1\r\n{own}{own}Connection: close\r\n\r\n".encode())


@pytest.mark.parametrize("name", ["127.0.0.1", "localhost", "LOCALHOST"])
def test_our_own_names_are_served(server, name):
    status, _, _ = server.request("POST", "/v1/batch", EMPTY, with_token(server, Host=f"{name}:{server.port}"))
    assert status == 200


@pytest.mark.parametrize(
    "origin",
    ["https://evil.example", "null", "http://127.0.0.1", "http://localhost:1", "https://127.0.0.1:{port}", "file://",
     "http://localhost:{port}.evil.example", "http://user@localhost:{port}", ""],
)  # fmt: skip
@pytest.mark.parametrize("path", ["/v1/batch", "/v1/health", "/functions", "/addin/functions.html", "/"])
def test_a_foreign_page_is_forbidden_even_with_the_token(server, origin, path):
    method = "POST" if path == "/v1/batch" else "GET"
    given = with_token(server, Origin=origin.format(port=server.port))
    status, headers, body = server.request(method, path, EMPTY, given)
    assert status == 403
    assert server.token.encode() not in body
    assert "access-control-allow-origin" not in headers


@pytest.mark.parametrize("name", ["127.0.0.1", "localhost"])
def test_our_own_page_may_ask(server, name):
    given = with_token(server, Origin=f"http://{name}:{server.port}")
    assert server.request("POST", "/v1/batch", EMPTY, given)[0] == 200


def test_only_files_without_secrets_may_be_read_from_elsewhere(server):
    """The spreadsheet program in a browser reads the add-in's metadata from its own page."""
    for path in ("/addin/functions.json", "/addin/manifest.xml", "/addin/functions.js", "/assets/drop-32.png"):
        status, headers, body = server.request("GET", path, headers={"Origin": "https://excel.example"})
        assert (status, headers["access-control-allow-origin"]) == (200, "*")
        assert server.token.encode() not in body
    for path in ("/", "/functions", "/addin/functions.html", "/addin/taskpane.js", "/v1/health"):
        status, headers, _ = server.request("GET", path, headers={})
        assert status == 200
        assert "access-control-allow-origin" not in headers
        assert headers["cross-origin-resource-policy"] == "same-origin"


def test_a_preflight_of_a_foreign_page_is_forbidden(server):
    given = {"Origin": "https://evil.example", "Access-Control-Request-Method": "POST"}
    status, headers, _ = server.request("OPTIONS", "/v1/batch", headers=given)
    assert status == 403
    assert not [name for name in headers if name.lower().startswith("access-control")]


@pytest.mark.parametrize("path", ["/v1/batch", "/v1/stop", "/v1/", "/v1/none", "/v1/../v1/batch"])
@pytest.mark.parametrize("token", [None, "", "wrong", "é", "{token}x", "x{token}"])
def test_without_the_token_nothing_is_calculated_or_stopped(server, path, token):
    given = {"Content-Type": "application/json"}
    if token is not None:
        given["X-Drenchbook-Token"] = token.format(token=server.token).encode("latin-1")
    assert server.request("POST", path, EMPTY, given)[0] == 401


def test_two_tokens_are_none(server):
    line = f"X-Drenchbook-Token: {server.token}\r\n"
    request = (f"POST /v1/batch HTTP/1.1\r\nHost: 127.0.0.1:{server.port}\r\nContent-Type: application/json\r\n"
               f"{line}{line}Content-Length: 13\r\nConnection: close\r\n\r\n{EMPTY}")  # fmt: skip
    assert b" 401 " in server.raw(request.encode())


def test_the_token_is_in_no_address_and_in_no_script(server):
    for path in ("/", "/addin/functions.js", "/addin/taskpane.js", "/assets/pages.js", "/addin/manifest.xml"):
        assert server.token.encode() not in server.request("GET", path, headers={})[2]


def test_pages_may_be_framed_by_nobody_else_and_run_no_foreign_script(server):
    for path in ("/", "/functions"):
        _, headers, _ = server.request("GET", path, headers={})
        policy = headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "frame-ancestors 'none'" in policy
        assert "unsafe" not in policy
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["cache-control"] == "no-store"


# --- what is sent -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "kind",
    [None, "text/plain", "application/x-www-form-urlencoded", "multipart/form-data; boundary=x", "application/jsonx",
     "text/plain; application/json", ""],
)  # fmt: skip
def test_a_form_of_a_foreign_page_is_no_json(server, kind):
    status, _, _ = server.request("POST", "/v1/batch", EMPTY, with_token(server) | {"Content-Type": kind})
    assert status == 415


@pytest.mark.parametrize("kind", ["application/json", "Application/JSON; charset=utf-8"])
def test_json_is_json(server, kind):
    status, _, _ = server.request("POST", "/v1/batch", EMPTY, with_token(server) | {"Content-Type": kind})
    assert status == 200


def test_a_huge_body_is_refused_before_it_is_read(server):
    head = (f"POST /v1/batch HTTP/1.1\r\nHost: 127.0.0.1:{server.port}\r\nContent-Type: application/json\r\n"
            f"X-Drenchbook-Token: {server.token}\r\nContent-Length: {10**12}\r\n\r\n")  # fmt: skip
    assert b" 413 " in server.raw(head.encode())


def test_a_huge_body_of_unknown_length_is_cut_off(server):
    head = (f"POST /v1/batch HTTP/1.1\r\nHost: 127.0.0.1:{server.port}\r\nContent-Type: application/json\r\n"
            f"X-Drenchbook-Token: {server.token}\r\nTransfer-Encoding: chunked\r\n\r\n")  # fmt: skip
    chunk = b"10000\r\n" + b" " * 65536 + b"\r\n"
    sent = 0
    with socket.create_connection(("127.0.0.1", server.port), timeout=10) as connection:
        connection.sendall(head.encode())
        with contextlib.suppress(ConnectionError):
            while sent < 4 * LARGEST_BODY:
                connection.sendall(chunk)
                sent += 65536
        told = b""
        with contextlib.suppress(ConnectionError, TimeoutError):
            told = connection.recv(65536)
    assert sent < 4 * LARGEST_BODY or b" 413 " in told


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"{",
        b"null",
        b"[]",
        b"1",
        b'"calls"',
        b'{"calls": null}',
        b'{"calls": {}}',
        b'{"calls": [1]}',
        b'{"calls": [{}]}',
        b'{"calls": [{"function": 1}]}',
        b'{"calls": [{"function": "DRENCH_STATUS", "arguments": {}}]}',
        b'{"calls": [{"function": "DRENCH_STATUS", "argument": []}]}',
        b'{"calls": [], "more": 1}',
        b'{"calls": [{"function": "\xff"}]}',
        b"\xef\xbb\xbf{}",
        b'{"calls": []} x',
        b"[" * 100_000 + b"]" * 100_000,
        b'{"calls": [{"function": "X", "arguments": [' + b"[" * 5_000 + b"]" * 5_000 + b"]}]}",
        b'{"calls": [{"function": "X", "arguments": [' + b'{"a":' * 5_000 + b"1" + b"}" * 5_000 + b"]}]}",
        b'{"calls": [' + b",".join([b'{"function": "X"}'] * 20_001) + b"]}",
    ],
    ids=range(21),
)
def test_what_is_no_batch_is_a_bad_request_and_is_not_repeated(server, body):
    status, _, told = server.request("POST", "/v1/batch", body, with_token(server))
    assert status == 400
    assert len(told) < 500
    assert json.loads(told)["error"]


def test_deep_rows_that_are_still_json_are_harmless(server):
    deep = json.loads("[" * 60 + "1" + "]" * 60)
    for name in ("DRENCH_ELEVATION_LOSS", "DRENCH_ADEQUACY", "DRENCH_REASON", "DRENCH_SCHEDULE", "DRENCH_STAMP"):
        told = server.ask((name, [deep] * 3))[0]
        assert "error" in told or isinstance(told["value"], str)


def test_a_number_of_many_digits_is_harmless(server):
    for digits in ("9" * 4000, "9" * 100_000, "1e" + "9" * 50, "0." + "0" * 100_000 + "1"):
        body = f'{{"calls": [{{"function": "DRENCH_ADEQUACY", "arguments": [{digits}, 1, 2]}}]}}'
        status, _, told = server.request("POST", "/v1/batch", body, with_token(server))
        assert status in (200, 400)
        assert len(told) < 1000


def test_an_area_of_a_million_rows_is_answered_or_refused_within_memory(server):
    """`rows` asks for blank rows; a batch that asks for many such areas ends in errors."""
    calls = [("DRENCH_SITE", [[["a", "b"]]] * 11 + [1_000_000.0])] * 20
    for answer in server.ask(*calls):
        assert "error" in answer or len(answer["value"]) <= 1_000_000


@pytest.mark.parametrize(
    "text",
    ["=1+1", '=HYPERLINK("http://evil.example")', "+cmd|' /C calc'!A0", "@SUM(A1)", "-2+3", "<script>alert(1)</script>",
     "\u202egnp.exe", "a\x00b", "\ud7ff", "x" * 100_000],
)  # fmt: skip
def test_text_that_looks_like_a_formula_stays_text(server, text):
    """It comes back inside a sentence that begins with the argument's name, or as the unknown name it is."""
    for name, given in (
        ("DRENCH_ELEVATION_LOSS", [text]),
        ("DRENCH_INSIDE_DIAMETER", [text, text]),
        ("DRENCH_PIPE_LOSS", [1, "copper L", text, 1, text, 60]),
    ):
        told = server.ask((name, given))[0]
        assert told["error"] == "#VALUE!"
        assert re.match(r"[a-z_]+ = ", told["message"])
    told = server.ask(("DRENCH_REASON", [text, 1]))[0]["value"]
    assert told.startswith("function = ")
    unknown = server.ask((text, []))[0]
    assert unknown["error"] == "#NAME?"
    assert len(unknown["message"]) < 200


@pytest.mark.parametrize(
    "path",
    ["/../../etc/passwd", "/assets/../../../etc/passwd", "/assets/..%2f..%2f..%2fetc%2fpasswd",
     "/assets/%2e%2e/pages.js", "/assets/pages.js/",
     "//assets/pages.js", "/assets//pages.js", "/assets/pages.css%00.png", "/addin/..\\..\\x",
     "/assets/", "/addin/", "/assets/home.html", "/assets/drop-99999.png", "/server.json", "/addin/authority.key",
     "/%", "/%zz", "/a;b", "/" + "a" * 8000, "/functions/x", "/v1/health/../batch", "/.git/config"],
)  # fmt: skip
def test_path_tricks_find_nothing(server, path):
    status, _, body = server.request("GET", path, headers={})
    assert status in (400, 401, 404)
    assert b"root:" not in body
    assert b"PRIVATE" not in body


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "TRACE", "CONNECT", "PROPFIND"])
def test_other_methods_are_refused(server, method):
    assert server.request(method, "/v1/batch", None, with_token(server))[0] in (400, 401, 404, 405)
    assert server.request(method, "/functions", None, {})[0] in (400, 404, 405)


@pytest.mark.parametrize(
    "data",
    [
        b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03" + b"\x00" * 200,
        b"\x00" * 1000,
        b"GET\r\n\r\n",
        b"GET / HTTP/9.9\r\n\r\n",
        b"GET http:// HTTP/1.1\r\nHost: x\r\n\r\n",
        "GET /é HTTP/1.1\r\nHost: x\r\n\r\n".encode(),
        b"GET / HTTP/1.1\r\nHost : x\r\n\r\n",
        b"POST / HTTP/1.1\r\nHost: x\r\nContent-Length: -1\r\n\r\n",
        b"POST / HTTP/1.1\r\nHost: x\r\nContent-Length: 5\r\nTransfer-Encoding: chunked\r\n\r\n"
        b"0\r\n\r\nGET / HTTP/1.1\r\n\r\n",
        b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: x\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n\r\n",
    ],
    ids=range(11),
)
def test_what_is_no_request_is_refused(server, data):
    told = server.raw(data)
    assert told == b"" or told.split()[1] in (b"400", b"421"), told[:200]


# --- slow and many ----------------------------------------------------------------------------------------------------


async def _status_of_slow_body(seconds):
    """What a guard answers when the body stops half way."""
    sent = []

    async def app(scope, receive, send):
        raise AssertionError("the application must not see half a body")

    async def receive():
        if not sent_once:
            sent_once.append(1)
            return {"type": "http.request", "body": b'{"calls"', "more_body": True}
        await asyncio.sleep(3600)

    async def send(message):
        sent.append(message)

    sent_once = []
    hosts, origins = allowed([("http", 1)])
    guard = Guard(app, "token", hosts, origins, slowest_body=seconds)
    headers = [(b"host", b"localhost:1"), (b"content-type", b"application/json"), (b"x-drenchbook-token", b"token")]
    await guard({"type": "http", "method": "POST", "path": "/v1/batch", "headers": headers}, receive, send)
    return sent[0]["status"], guard.held


def test_a_slow_body_times_out_and_is_let_go():
    assert asyncio.run(_status_of_slow_body(0.05)) == (408, 0)


def test_a_slow_body_does_not_hold_up_others(server):
    head = (f"POST /v1/batch HTTP/1.1\r\nHost: 127.0.0.1:{server.port}\r\nContent-Type: application/json\r\n"
            f"X-Drenchbook-Token: {server.token}\r\nContent-Length: 1000\r\n\r\n")  # fmt: skip
    slow = [socket.create_connection(("127.0.0.1", server.port), timeout=20) for _ in range(20)]
    for connection in slow:
        connection.sendall(head.encode() + b"{")
    start = time.monotonic()
    assert server.ask(("DRENCH_ELEVATION_LOSS", [0])) == [{"value": 0.0}]
    assert time.monotonic() - start < server_connections.SLOWEST_REQUEST  # it did not wait for the slow ones
    assert b" 408 " in slow[0].recv(65536)  # after the server's own patience
    for connection in slow:
        connection.close()


def test_a_connection_that_says_nothing_is_closed(server):
    """Also one whose headers never end."""
    silent = socket.create_connection(("127.0.0.1", server.port), timeout=20)
    endless = socket.create_connection(("127.0.0.1", server.port), timeout=20)
    endless.sendall(b"GET / HTTP/1.1\r\nX: ")
    start = time.monotonic()
    for connection in (silent, endless):
        with contextlib.suppress(ConnectionError):
            assert connection.recv(1000) == b""
        connection.close()
    assert time.monotonic() - start < server_connections.SLOWEST_REQUEST + 5


def test_endless_headers_are_cut_off(server):
    sent = 0
    address = ("127.0.0.1", server.port)
    with socket.create_connection(address, timeout=10) as connection, contextlib.suppress(ConnectionError):
        connection.sendall(b"GET / HTTP/1.1\r\n")
        while sent < 5_000_000:
            connection.sendall(b"X: " + b"y" * 997 + b"\r\n")
            sent += 1000
    assert sent < 5_000_000


def test_requests_sent_ahead_are_bounded(server):
    request = f"GET /functions HTTP/1.1\r\nHost: 127.0.0.1:{server.port}\r\n\r\n".encode()
    with socket.create_connection(("127.0.0.1", server.port), timeout=5) as connection:
        with contextlib.suppress(ConnectionError):
            connection.sendall(request * 1000)
        with contextlib.suppress(ConnectionError, TimeoutError):
            while connection.recv(1 << 20):
                pass


def test_many_large_bodies_at_once_are_bounded(server):
    """Forty bodies of 7 MB: some are answered, some told to come again, and the memory of all is let go."""
    body = json.dumps({"calls": [{"function": "DRENCH_ADEQUACY", "arguments": ["x" * 7_000_000, 1, 2]}]})
    statuses = []

    def send():
        try:
            statuses.append(server.request("POST", "/v1/batch", body, with_token(server))[0])
        except OSError:
            statuses.append(0)  # refused while it was still sending

    senders = [threading.Thread(target=send) for _ in range(40)]
    for sender in senders:
        sender.start()
    for sender in senders:
        sender.join()
    assert set(statuses) <= {200, 503, 0}
    assert 200 in statuses


def test_ten_thousand_connections_are_harmless(server):
    """Opened five hundred at a time and left idle: the server keeps a few, and serves again as soon as they go."""
    before, most = server.memory(), 0.0
    opened = 0
    for _ in range(20):
        batch = []
        for _ in range(500):
            connection = socket.socket()
            connection.settimeout(5)
            with contextlib.suppress(OSError):
                connection.connect(("127.0.0.1", server.port))
                opened += 1
            batch.append(connection)
        most = max(most, server.memory())
        for connection in batch:
            connection.close()
    assert opened > 9_000
    assert most - before < 100


def test_ten_thousand_connections_without_a_handshake_are_harmless(tmp_path):
    """Left idle on the https port: memory stays bounded, and soon both ports serve again."""
    make_certificate(tmp_path)
    with running(tmp_path) as live:
        before, most, kept = live.memory(), 0.0, []
        for _ in range(20):
            for _ in range(500):
                connection = socket.socket()
                connection.setblocking(False)
                connection.connect_ex(("127.0.0.1", live.web_port))
                kept.append(connection)
            most = max(most, live.memory())
            for connection in kept[:-500]:
                connection.close()
        end = time.monotonic() + 30
        while True:
            try:
                assert live.ask(("DRENCH_ELEVATION_LOSS", [0]), patience=3) == [{"value": 0.0}]
                break
            except OSError:
                assert time.monotonic() < end
        for connection in kept:
            connection.close()
        assert most - before < MOST_MEMORY


def test_no_more_than_so_many_connections_are_kept(server):
    kept = [socket.create_connection(("127.0.0.1", server.port), timeout=5) for _ in range(MOST_CONNECTIONS + 50)]
    time.sleep(0.5)
    closed = 0
    for connection in kept:
        connection.setblocking(False)
        try:
            closed += connection.recv(1) == b""
        except BlockingIOError:
            pass
        except ConnectionError:
            closed += 1
    for connection in kept:
        connection.close()
    assert closed >= 50
