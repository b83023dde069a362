"""The table of truth through the web script: the registry's digits and refusals, also where blank cells arrive as 0."""

import pytest

from drenchbook.errors import InputError
from drenchbook.worksheet_functions import FUNCTION_BY_NAME
from tests.hosts.live_server import running
from tests.hosts.truth_cases import BLANK_CELL, examples, invalid, told, valid
from tests.hosts.web_script import run_steps

CASES = [*examples(), *valid(), *invalid()]
EMPTY, FULL = "Cells!$A$1", "Cells!$A$2"
SHEETS = {"Cells": {"A1": {"valueTypes": [["Empty"]], "numberFormat": [["General"]]},
                    "A2": {"valueTypes": [["Double"]], "numberFormat": [["General"]]}}}  # fmt: skip


@pytest.fixture(scope="module")
def server(tmp_path_factory):
    with running(tmp_path_factory.mktemp("state")) as live:
        yield live


def on_the_web(case):
    """Blank cells as null."""
    return case.function, case.plain()


def on_the_desktop(case):
    """Blank cells as 0 with their address; other cells with theirs, a typed 0 among them."""
    given = [0 if argument is BLANK_CELL else argument for argument in case.arguments]
    addresses = [EMPTY if argument is BLANK_CELL else FULL if cell else None
                 for argument, cell in zip(case.arguments, case.by_cell, strict=True)]  # fmt: skip
    return case.function, given, addresses


@pytest.mark.parametrize("handed", [on_the_web, on_the_desktop])
def test_the_script_repeats_the_registry(server, tmp_path, handed):
    step = {"calls": [handed(case) for case in CASES], "state": {"sheets": SHEETS}}
    (answers,) = run_steps(tmp_path, server.address, step)
    refusals = 0
    for case, answer in zip(CASES, answers["answers"], strict=True):
        try:
            expected = {"value": FUNCTION_BY_NAME[case.function](*case.plain())}
        except InputError:
            expected = {"error": "#VALUE!", "message": told(case)}
            refusals += 1
        assert answer == expected, case
    assert refusals >= 200
    assert len(CASES) - refusals >= 200
