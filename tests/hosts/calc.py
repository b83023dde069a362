"""LibreOffice Calc with our extension installed, in a profile of its own, for tests and benchmarks."""

import contextlib
import json
import os
import shutil
import signal
import subprocess
import sys
import uuid
import zipfile
from pathlib import Path

import pytest

from drenchbook.hosts.libreoffice_addin import extension, server_command
from tests.formulas.libreoffice import SETTINGS, need_libreoffice

DRIVER = Path(__file__).with_name("calc_driver.py")
AS_INSTALLED = SETTINGS[: SETTINGS.index("<item")] + "</oor:items>\n"  # nobody has changed a setting
XLSX, ODS = "Calc MS Excel 2007 XML", "calc8"


def python_of_calc():
    """The interpreter that can speak to LibreOffice: the system's own, not that of the tests."""
    need_libreoffice()
    for name in ("/usr/bin/python3", "python3"):
        found = shutil.which(name)
        if found and subprocess.run([found, "-c", "import uno"], capture_output=True, check=False).returncode == 0:
            return found
    if os.environ.get("CI") == "true":
        pytest.fail("python3-uno is missing on the build machine")
    pytest.skip("needs the package python3-uno: no Python here can speak to LibreOffice")


def environment(state, **more):
    """The environment of the program: its own state folder, and nothing of the Python that runs the tests."""
    kept = {key: value for key, value in os.environ.items() if key not in ("PYTHONPATH", "VIRTUAL_ENV")}
    # Its Python takes the first python3 on the path for its home, and without the system's own opens no file at all.
    own = Path(python_of_calc()).parent
    folders = [Path(folder) for folder in kept.get("PATH", "").split(os.pathsep)]
    kept["PATH"] = os.pathsep.join(str(each) for each in folders if each == own or not (each / "python3").exists())
    return kept | {"DRENCHBOOK_STATE": str(state)} | more


def installed(folder, command=None, settings=SETTINGS):
    """Options for the program: a clean profile in a folder, with the extension among those it is shipped with."""
    profile, extensions = folder / "profile", folder / "extensions"
    (profile / "user").mkdir(parents=True, exist_ok=True)
    (profile / "user" / "registrymodifications.xcu").write_text(settings, encoding="utf-8")
    package = folder / "drenchbook.oxt"
    package.write_bytes(extension(command or server_command()))
    with zipfile.ZipFile(package) as parts:
        parts.extractall(extensions / "drenchbook")
    return [f"-env:UserInstallation=file://{profile}", f"-env:BUNDLED_EXTENSIONS=file://{extensions}"]


class Calc:
    """The running program; a document is a number."""

    def __init__(self, driver, folder):
        self.driver, self.folder, self.copies = driver, folder, 0

    def ask(self, do, **given):
        self.driver.stdin.write(json.dumps({"do": do, **given}) + "\n")
        self.driver.stdin.flush()
        line = self.driver.stdout.readline()
        assert line, "the program has died"
        told = json.loads(line)
        assert "failed" not in told, f"{do} {given}: {told.get('failed')}"
        return told["answer"]

    def open(self, path):
        """Open a copy: the program puts a lock file beside what it opens."""
        self.copies += 1
        copy = self.folder / f"copy{self.copies}_{Path(path).name}"
        shutil.copyfile(path, copy)
        return self._open(copy)

    def _open(self, path):
        return self.ask("open", path=Path(path).resolve().as_uri())

    def new(self):
        return self.ask("open", path="private:factory/scalc")

    def save(self, document, path, kind=XLSX):
        self.ask("save", document=document, path=Path(path).resolve().as_uri(), kind=kind)
        return path

    def put(self, document, sheet, cell, value):
        self.ask("put", document=document, sheet=sheet, cell=cell, value=value)

    def one(self, document, sheet, cell):
        return self.ask("one", document=document, sheet=sheet, cell=cell)

    def everything(self, document, *only):
        return self.ask("everything", document=document, only=only)

    def close(self, document):
        self.ask("close", document=document)


@contextlib.contextmanager
def running_calc(folder, state, command=None, settings=SETTINGS, **more):
    """The program, until the end of the block; `settings` are those of its profile."""
    python, program, pipe = python_of_calc(), need_libreoffice(), f"calc{uuid.uuid4().hex}"
    options = [
        *installed(folder, command, settings),
        "--headless",
        "--norestore",
        "--nologo",
        f"--accept=pipe,name={pipe};urp;",
    ]
    office = subprocess.Popen(
        [program, *options],
        env=environment(state, **more),
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=True,
    )
    driver = subprocess.Popen(
        [python, str(DRIVER), pipe], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, env=environment(state)
    )
    try:
        yield Calc(driver, folder)
    finally:
        with contextlib.suppress(BrokenPipeError):
            driver.stdin.close()
        _end(driver)
        driver.stdout.close()
        _end(office, group=True)


def _end(process, group=False):
    try:
        process.wait(20)
    except subprocess.TimeoutExpired:
        if group:
            os.killpg(process.pid, signal.SIGKILL)
        else:
            process.kill()
        process.wait()


def converted(workbook, folder, state, kind="xlsx", **more):
    """A workbook as the program converts it without a window, extension installed; in another folder."""
    program, out = need_libreoffice(), folder / "out"
    command = [program, *installed(folder), "--headless", "--convert-to", kind, "--outdir", str(out), str(workbook)]
    with subprocess.Popen(
        command, env=environment(state, **more), start_new_session=True, stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
    ) as process:  # fmt: skip
        try:
            told, _ = process.communicate(timeout=180)
        except subprocess.TimeoutExpired:
            os.killpg(process.pid, signal.SIGKILL)
            raise
    made = out / f"{Path(workbook).stem}.{kind}"
    assert made.exists(), told.decode(errors="replace")  # the program ends with 0 even where it wrote nothing
    return made


def stop_server(state):
    """Stop the server that a program has started."""
    subprocess.run(
        [sys.executable, "-m", "drenchbook.command_line", "server", "--stop"],
        env=os.environ | {"DRENCHBOOK_STATE": str(state)},
        check=False,
        capture_output=True,
    )
