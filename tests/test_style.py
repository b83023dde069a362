"""Format, lint and types, so that one command says whether a change is fit to land."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
COMMANDS = {
    "format": ["ruff", "format", "--check", "--quiet", "."],
    "lint": ["ruff", "check", "--quiet", "."],
    "types": ["mypy"],
}


@pytest.mark.parametrize("name", COMMANDS)
def test_format_lint_and_types(name):
    done = subprocess.run(
        [sys.executable, "-m", *COMMANDS[name]], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr


def test_nothing_is_left_half_done():
    unfinished = re.compile(r"\b(" + "TO" + r"DO|FIX" + r"ME|NotImplemented" + r"Error|xf" + r"ail)\b")
    for path in [*ROOT.glob("server/**/*.py"), *ROOT.glob("tests/**/*.py")]:
        found = unfinished.search(path.read_text(encoding="utf-8").replace("xfail_strict", ""))
        assert not found, f"{path}: {found.group() if found else ''}"
