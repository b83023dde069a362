"""Finds the calculation server of this computer, starts it where none runs, and asks it.

Standard library only, Python 3.8 or later: this file runs inside a spreadsheet program.
"""

from __future__ import annotations

import http.client
import json
import os
import shlex
import subprocess
import sys
import time
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

STATE, COMMAND = "DRENCHBOOK_STATE", "DRENCHBOOK_COMMAND"
SERVER_FILE = "server.json"
LONGEST_START = 15.0  # [s] until a started server must answer
REST = 5.0  # [s] in which nobody tries again after a start that failed: a sheet asks a thousand times
GRACE = 1.0  # [s] for a server that another program started at the same moment
LONGEST_ANSWER = 120.0  # [s]
# The spreadsheet program's own settings of these would break the Python of the server.
OF_THE_PROGRAM = ("PYTHONPATH", "PYTHONHOME", "LD_LIBRARY_PATH", "DYLD_LIBRARY_PATH", "URE_BOOTSTRAP")


_started_here: list[subprocess.Popen[bytes]] = []


class ServerError(Exception):
    """No answer: the sentence says what is wrong with the server and what to do."""


class RefusedError(Exception):
    """The server's answer is an error value: its code, and the sentence."""

    def __init__(self, code: str, sentence: str):
        super().__init__(sentence)
        self.code = code


def state_folder(environment: Mapping[str, str], platform: str) -> Path:
    """The folder in which a running server says where it listens."""
    if environment.get(STATE):
        return Path(environment[STATE])
    if platform == "win32":
        return Path(environment.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local") / "Drenchbook"
    if platform == "darwin":
        return Path.home() / "Library" / "Application Support" / "Drenchbook"
    return Path(environment.get("XDG_STATE_HOME") or Path.home() / ".local" / "state") / "drenchbook"


class ServerLink:
    """One kept connection to the server.

    `version` is that of the add-in; a server of another version is refused, since its numbers may differ. `command`
    starts the program where the environment does not name another one.
    """

    def __init__(self, version: str, command: Sequence[str]):
        self.version, self.command = version, list(command)
        self._connection: http.client.HTTPConnection | None = None
        self._token = ""
        self._rest_until = 0.0
        self._trouble = ""

    def ask(self, function: str, arguments: list[Any]) -> Any:
        """The answer to one call; RefusedError for an error value, ServerError where there is no answer."""
        body = json.dumps({"calls": [{"function": function, "arguments": arguments}]}, allow_nan=False).encode()
        told = self._answer(body)
        if told.get("version") != self.version:
            raise ServerError(
                f"Drenchbook: this add-in is {self.version} and the server is {told.get('version')}; install the "
                "add-in of the same version (drenchbook addin libreoffice), or stop the other server "
                "(drenchbook server --stop)"
            )
        answer = told["answers"][0]
        if "error" in answer:
            raise RefusedError(answer["error"], answer.get("message", ""))
        return answer["value"]

    def _answer(self, body: bytes) -> dict[str, Any]:
        """What the server says, over the kept connection, or over a new one where that has died."""
        if self._connection is not None:
            try:
                return self._exchange(body)
            except (OSError, http.client.HTTPException):
                self.close()  # the server was stopped or started anew since the last call
        self._connect()
        try:
            return self._exchange(body)
        except (OSError, http.client.HTTPException) as error:
            self.close()
            raise ServerError(f"Drenchbook: the server broke off ({type(error).__name__}); calculate again") from None

    def _exchange(self, body: bytes) -> dict[str, Any]:
        assert self._connection is not None
        headers = {"Content-Type": "application/json", "X-Drenchbook-Token": self._token}
        self._connection.request("POST", "/v1/batch", body, headers)
        response = self._connection.getresponse()
        text = response.read()
        if response.status == 401:  # another server has taken the port since
            raise http.client.HTTPException("token")
        try:
            told = json.loads(text)
        except ValueError:
            told = {}
        if response.status != 200 or "answers" not in told:
            self.close()
            raise ServerError(f"Drenchbook: the server refused the call ({response.status}: {_reason(told)})")
        answer: dict[str, Any] = told
        return answer

    def close(self) -> None:
        """Close the connection."""
        if self._connection is not None:
            self._connection.close()
            self._connection = None

    def _connect(self) -> None:
        now = time.monotonic()
        if now < self._rest_until:
            raise ServerError(self._trouble)
        if self._found():
            return
        try:
            self._start()
        except ServerError as error:
            self._trouble, self._rest_until = str(error), time.monotonic() + REST
            raise

    def _found(self) -> bool:
        """Whether the server that announced itself is there; the connection is then open."""
        told = announced(state_folder(os.environ, sys.platform))
        if told is None:
            return False
        port, self._token = told
        connection = http.client.HTTPConnection("127.0.0.1", port, timeout=LONGEST_ANSWER)
        try:
            connection.request("GET", "/v1/health")
            response = connection.getresponse()
            health = json.loads(response.read())
        except (OSError, http.client.HTTPException, ValueError):
            connection.close()
            return False
        if not isinstance(health, dict) or health.get("program") != "Drenchbook":
            connection.close()
            return False
        self._connection = connection
        return True

    def _start(self) -> None:
        """Start the server; on any free port where another user of the computer has the usual one."""
        command = [*_named_command(self.command), "server"]
        for attempt in (command, [*command, "--port", "0"]):
            if self._started(attempt):
                return
        raise ServerError(
            f"Drenchbook: the server did not start ({' '.join(command)}); run that in a terminal to see why"
        )

    def _started(self, command: Sequence[str]) -> bool:
        environment = {key: value for key, value in os.environ.items() if key not in OF_THE_PROGRAM}
        apart: dict[str, Any] = {"start_new_session": True}
        if sys.platform == "win32":
            apart = {"creationflags": subprocess.CREATE_NO_WINDOW | subprocess.CREATE_NEW_PROCESS_GROUP}
        try:
            process = subprocess.Popen(
                list(command), env=environment, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL, close_fds=True, **apart,
            )  # fmt: skip
        except OSError as error:
            raise ServerError(
                f"Drenchbook: the server cannot be started ({command[0]}: {error.strerror}); install the program, "
                f"make the add-in anew (drenchbook addin libreoffice), or name the program in {COMMAND}"
            ) from None
        _started_here.append(process)  # it outlives this connection; its end is noticed by poll alone
        until = time.monotonic() + LONGEST_START
        while time.monotonic() < until:
            if self._found():
                return True
            if process.poll() is not None:  # another program may have started one at the same moment
                until = min(until, time.monotonic() + GRACE)
            time.sleep(0.05)
        return False


def announced(folder: Path) -> tuple[int, str] | None:
    """Port and token of the server that said so last, or None; it may have died since."""
    try:
        told = json.loads((folder / SERVER_FILE).read_text(encoding="utf-8"))
        return int(told["port"]), str(told["token"])
    except (OSError, ValueError, KeyError, TypeError):
        return None


def _named_command(built_in: Sequence[str]) -> list[str]:
    """The command from the environment, or the one that was written into the package."""
    named = os.environ.get(COMMAND, "").strip()
    if not named:
        return list(built_in)
    return [named] if os.path.exists(named) else shlex.split(named, posix=sys.platform != "win32")


def _reason(told: Any) -> str:
    if isinstance(told, dict):
        for key in ("message", "error", "detail"):
            if isinstance(told.get(key), str):
                text: str = told[key]
                return text
    return "no reason given"
