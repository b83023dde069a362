"""A real server in a process of its own, with a state folder of its own, and plain ways to talk to it."""

import contextlib
import http.client
import json
import os
import re
import signal
import socket
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

COMMAND = [sys.executable, "-m", "drenchbook.command_line", "server"]
LONGEST_START = 20  # seconds


@dataclass
class LiveServer:
    """What a test knows of a running server."""

    process: subprocess.Popen
    state: Path
    port: int
    token: str
    greeting: str

    @property
    def address(self):
        return f"http://127.0.0.1:{self.port}"

    @property
    def web_port(self):
        found = re.search(r"https://localhost:(\d+)/", self.greeting)
        return int(found[1]) if found else None

    def request(self, method, path, body=None, headers=None, timeout=60):
        """Status, headers and body of one request that has the token unless `headers` says otherwise."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=timeout)
        own = {"Content-Type": "application/json", "X-Drenchbook-Token": self.token}
        try:
            given = own if headers is None else headers
            connection.request(method, path, body, {k: v for k, v in given.items() if v is not None})
            response = connection.getresponse()
            return response.status, dict(response.getheaders()), response.read()
        finally:
            connection.close()

    def ask(self, *calls, patience=60):
        """The answers to calls given as (function, arguments)."""
        body = json.dumps({"calls": [{"function": name, "arguments": list(given)} for name, given in calls]})
        status, _, answer = self.request("POST", "/v1/batch", body, timeout=patience)
        assert status == 200, answer
        return json.loads(answer)["answers"]

    def raw(self, data, wait=3.0):
        """What comes back for these bytes, until the server closes or is silent."""
        with socket.create_connection(("127.0.0.1", self.port), timeout=wait) as connection:
            connection.sendall(data)
            told = b""
            with contextlib.suppress(TimeoutError, ConnectionError):
                while chunk := connection.recv(65536):
                    told += chunk
            return told

    def memory(self):
        """Resident memory in MB."""
        words = Path(f"/proc/{self.process.pid}/status").read_text(encoding="utf-8")
        return int(re.search(r"VmRSS:\s+(\d+)", words)[1]) / 1024

    def stop(self, number=signal.SIGTERM):
        """Signal it; its exit code and everything it said."""
        if self.process.poll() is None:
            self.process.send_signal(number)
        out, err = self.process.communicate(timeout=20)
        return self.process.returncode, self.greeting + out + err


def environment(state):
    """The environment of a server with its own state folder."""
    return os.environ | {"DRENCHBOOK_STATE": str(state), "PYTHONUNBUFFERED": "1"}


def make_certificate(state):
    """Make the certificate of the web add-in; gives what the command says."""
    done = subprocess.run(
        [*COMMAND, "--certificate"], env=environment(state), capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


@contextlib.contextmanager
def running(state, *options):
    """A server on a free port; stopped at the end whatever happens."""
    process = subprocess.Popen(
        [*COMMAND, "--port", "0", *options],
        env=environment(state),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    try:
        yield _ready(process, state)
    finally:
        if process.poll() is None:
            process.terminate()
            try:
                process.wait(10)
            except subprocess.TimeoutExpired:
                process.kill()
        process.stdout.close()
        process.stderr.close()
        process.wait()


def _ready(process, state):
    end = time.monotonic() + LONGEST_START
    greeting = ""
    while time.monotonic() < end:
        line = process.stdout.readline()
        if not line:
            raise AssertionError(f"the server did not start: {process.stderr.read()}")
        greeting += line
        if line.startswith("stop it with"):
            told = json.loads((state / "server.json").read_text(encoding="utf-8"))
            assert told["pid"] == process.pid
            return LiveServer(process, state, told["port"], told["token"], greeting)
    raise AssertionError("the server did not start in time")
