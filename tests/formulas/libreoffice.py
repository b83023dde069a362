"""Runs a workbook through LibreOffice, without its window, so that a test can read what it calculated."""

import os
import shutil
import signal
import subprocess
from pathlib import Path

import pytest

# Recalculate on loading, always: else values that stand in the file are kept.
SETTINGS = """<?xml version="1.0" encoding="UTF-8"?>
<oor:items xmlns:oor="http://openoffice.org/2001/registry">
<item oor:path="/org.openoffice.Office.Calc/Formula/Load"><prop oor:name="OOXMLRecalcMode" oor:op="fuse">
<value>0</value></prop></item></oor:items>
"""


def need_libreoffice() -> str:
    """Path of the program; the test is skipped without it, but never on the build machine."""
    program = shutil.which("soffice")
    if program is None:
        if os.environ.get("CI") == "true":
            pytest.fail("soffice is missing on the build machine")
        pytest.skip("needs LibreOffice: no soffice on the path")
    return program


def recalculated(workbook: Path, folder: Path) -> Path:
    """The workbook as LibreOffice saves it after calculating every formula, in another folder."""
    program, profile, out = need_libreoffice(), folder / "profile", folder / "out"
    (profile / "user").mkdir(parents=True, exist_ok=True)
    (profile / "user" / "registrymodifications.xcu").write_text(SETTINGS, encoding="utf-8")
    environment = {key: value for key, value in os.environ.items() if key != "PYTHONPATH"}
    command = [program, f"-env:UserInstallation=file://{profile}", "--headless", "--convert-to", "xlsx",
               "--outdir", str(out), str(workbook)]  # fmt: skip
    with subprocess.Popen(
        command, env=environment, start_new_session=True, stdout=subprocess.PIPE, stderr=subprocess.STDOUT
    ) as process:
        try:
            told, _ = process.communicate(timeout=180)
        except subprocess.TimeoutExpired:
            os.killpg(process.pid, signal.SIGKILL)
            raise
    # The program ends with 0 even where it wrote nothing.
    assert (out / workbook.name).exists(), told.decode(errors="replace")
    return out / workbook.name
