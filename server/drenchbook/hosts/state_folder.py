"""The per-user folder in which a running server says where it listens, and keeps the certificate of its web add-in."""

from __future__ import annotations

import json
import os
import sys
import tempfile
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path

VARIABLE, SERVER_FILE = "DRENCHBOOK_STATE", "server.json"


@dataclass(frozen=True)
class RunningServer:
    """What a running server says about itself."""

    port: int
    token: str
    version: str
    pid: int


def state_folder(environment: Mapping[str, str] | None = None, platform: str = sys.platform) -> Path:
    """The folder, whether it exists or not.

    >>> state_folder({"XDG_STATE_HOME": "/home/ada/.state"}, "linux").as_posix()
    '/home/ada/.state/drenchbook'
    """
    given = os.environ if environment is None else environment
    if given.get(VARIABLE):
        return Path(given[VARIABLE])
    if platform == "win32":
        return Path(given.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local") / "Drenchbook"
    if platform == "darwin":
        return Path.home() / "Library" / "Application Support" / "Drenchbook"
    return Path(given.get("XDG_STATE_HOME") or Path.home() / ".local" / "state") / "drenchbook"


def write_private(path: Path, contents: bytes) -> None:
    """Write a file that only its owner can read; the old one is whole until the new one is."""
    path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")  # made with mode 600
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(contents)
        os.replace(name, path)
    except BaseException:
        os.unlink(name)
        raise


def announce(server: RunningServer) -> None:
    """Say where the server listens."""
    write_private(state_folder() / SERVER_FILE, json.dumps(asdict(server)).encode())


def announced() -> RunningServer | None:
    """The server that said so last, or None; it may have died since."""
    try:
        told = json.loads((state_folder() / SERVER_FILE).read_text(encoding="utf-8"))
        return RunningServer(int(told["port"]), str(told["token"]), str(told["version"]), int(told["pid"]))
    except (OSError, ValueError, KeyError, TypeError):
        return None


def withdraw(server: RunningServer) -> None:
    """Take the announcement back, unless another server has announced itself since."""
    if announced() == server:
        (state_folder() / SERVER_FILE).unlink(missing_ok=True)
