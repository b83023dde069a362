"""One server and one spreadsheet program for all tests of a run: each takes a second to start."""

import pytest

from tests.hosts.calc import running_calc
from tests.hosts.live_server import running


@pytest.fixture(scope="session")
def server_of_calc(tmp_path_factory):
    """A running server; the spreadsheet program finds it by its state folder."""
    with running(tmp_path_factory.mktemp("state")) as server:
        yield server


@pytest.fixture(scope="session")
def calc(server_of_calc, tmp_path_factory):
    """LibreOffice Calc with the extension, and the server."""
    with running_calc(tmp_path_factory.mktemp("calc"), server_of_calc.state) as program:
        yield program
