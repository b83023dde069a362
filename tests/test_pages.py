"""The pages say what the program does: commands, checks, functions and cautions."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

from drenchbook.check_table import CHECKS
from drenchbook.result_tables import CAUTIONS
from drenchbook.worksheet_functions import FUNCTIONS

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
COMMANDS = ("addin", "recalc", "start", "convert", "evaluate", "templates", "server", "doctor")


@pytest.mark.parametrize("command", COMMANDS)
def test_each_command_is_in_the_readme_with_its_options(command):
    assert f"| `{command}" in README
    shown = subprocess.run(
        [sys.executable, "-m", "drenchbook.command_line", command, "--help"],
        capture_output=True,
        text=True,
        check=False,
    ).stdout
    for option in set(re.findall(r"--[a-z]+", shown)) - {"--help", "--jobs", "--root"}:
        assert option in README, f"{command} {option}"


def test_the_readme_shows_every_caution():
    words = " ".join(README.split())
    for caution in CAUTIONS:
        start = caution.split(":")[0].split(".")[0].split(";")[0]
        assert start.casefold() in words.casefold() or "gained or lost by pipes" in words, caution


def test_each_function_is_on_the_functions_page():
    page = (ROOT / "server" / "functions.md").read_text(encoding="utf-8")
    for function in FUNCTIONS:
        assert function.name in page


def test_each_check_is_on_the_checks_page():
    from drenchbook.check_page import checks_markdown

    assert (ROOT / "server" / "checks.md").read_text(encoding="utf-8") == checks_markdown()
    for check in CHECKS:
        assert f"| {check.id} |" in checks_markdown()
