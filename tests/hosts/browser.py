"""Headless Chromium over its debugging pipe: open a page, run a script in it, press keys, take a picture.

Where no Chromium is installed the test skips, and fails on the build machine.
"""

import base64
import contextlib
import fcntl
import json
import os
import select
import shutil
import subprocess
import time

import pytest

PROGRAMS = ("chromium", "chromium-browser", "google-chrome")
OPTIONS = (
    "--headless --no-sandbox --disable-gpu --disable-quic --no-first-run --disable-background-networking "
    "--disable-component-update --disable-sync --remote-debugging-pipe --hide-scrollbars --disable-extensions "
    "--disable-dev-shm-usage --disable-crash-reporter "
    "--host-resolver-rules=MAP&*&~NOTFOUND,EXCLUDE&localhost,EXCLUDE&127.0.0.1"
)


def needed(*programs):
    """The first of these programs; without any, skip, or fail where CI is set."""
    for program in programs:
        if found := shutil.which(program):
            return found
    sentence = f"{programs[0]} is not installed"
    if os.environ.get("CI"):
        pytest.fail(sentence)
    pytest.skip(sentence)


class Browser:
    """One page of a headless browser."""

    def __init__(self, profile, *more):
        program = needed(*PROGRAMS)
        read_here, write_there = os.pipe()
        read_there, write_here = os.pipe()
        # The browser reads commands from descriptor 3 and writes answers to 4; ours are moved out of the way first.
        commands, answers = (fcntl.fcntl(each, fcntl.F_DUPFD, 64) for each in (read_there, write_there))

        def place():
            os.dup2(commands, 3)
            os.dup2(answers, 4)

        self.process = subprocess.Popen(
            [program, *(o.replace("&", " ") for o in OPTIONS.split()), f"--user-data-dir={profile}", *more],
            preexec_fn=place,
            close_fds=False,
            env=os.environ | {"HOME": str(profile)},
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
        )
        os.close(commands)
        os.close(answers)
        os.close(read_there)
        os.close(write_there)
        self._read, self._write = read_here, write_here
        self._buffer, self._number, self._session = b"", 0, None
        self.events = []
        target = self.command("Target.createTarget", url="about:blank")["targetId"]
        self._session = self.command("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        for domain in ("Page", "Runtime", "Log", "Network"):
            self.command(f"{domain}.enable")

    def command(self, method, **parameters):
        """One command and its answer."""
        self._number += 1
        number = self._number
        message = {"id": number, "method": method, "params": parameters}
        if self._session:
            message["sessionId"] = self._session
        os.write(self._write, json.dumps(message).encode() + b"\0")
        end = time.monotonic() + 60
        while time.monotonic() < end:
            told = self._message(end)
            if told.get("id") == number:
                assert "error" not in told, told["error"]
                return told["result"]
            self.events.append(told)
        raise AssertionError(f"{method}: the browser did not answer")

    def _message(self, end):
        while b"\0" not in self._buffer:
            ready, _, _ = select.select([self._read], [], [], max(0.0, end - time.monotonic()))
            assert ready, "the browser is silent"
            chunk = os.read(self._read, 1 << 20)
            assert chunk, "the browser has ended"
            self._buffer += chunk
        message, _, self._buffer = self._buffer.partition(b"\0")
        return json.loads(message)

    def before_each_page(self, script):
        """A script that runs before those of any page."""
        self.command("Page.addScriptToEvaluateOnNewDocument", source=script)

    def open(self, address):
        """Open a page and wait until its own scripts have run."""
        self.command("Page.navigate", url=address)
        self.wait("document.readyState === 'complete' && location.href !== 'about:blank'")

    def run(self, script):
        """The value of an expression, awaited."""
        told = self.command("Runtime.evaluate", expression=script, awaitPromise=True, returnByValue=True)
        assert "exceptionDetails" not in told, told["exceptionDetails"]
        return told["result"].get("value")

    def wait(self, condition, seconds=20):
        """Wait until an expression is true."""
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            if self.run(condition):
                return
            time.sleep(0.05)
        raise AssertionError(f"never true: {condition}")

    def type(self, selector, text):
        """Focus a field and type into it."""
        self.run(f"document.querySelector({json.dumps(selector)}).focus()")
        self.command("Input.insertText", text=text)

    def click(self, selector):
        """Click the middle of an element with the mouse."""
        place = self.run(
            f"(() => {{ const e = document.querySelector({json.dumps(selector)}); "
            "e.scrollIntoView({block: 'center'}); const b = e.getBoundingClientRect(); "
            "return [b.x + b.width / 2, b.y + b.height / 2]; })()"
        )
        for kind in ("mousePressed", "mouseReleased"):
            self.command("Input.dispatchMouseEvent", type=kind, x=place[0], y=place[1], button="left", clickCount=1)

    def picture(self, path, width=1200, height=900):
        """Save a picture of the window."""
        self.command(
            "Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=1, mobile=False
        )
        path.write_bytes(base64.b64decode(self.command("Page.captureScreenshot", format="png")["data"]))

    def complaints(self):
        """Errors that the console, the log or a script told of."""
        self.run("1")
        told = []
        for event in self.events:
            method, given = event.get("method"), event.get("params", {})
            if method == "Runtime.exceptionThrown":
                told.append(given["exceptionDetails"].get("text", ""))
            elif method == "Log.entryAdded" and given["entry"]["level"] == "error":
                told.append(f"{given['entry']['text']} {given['entry'].get('url', '')}")
            elif method == "Runtime.consoleAPICalled" and given["type"] == "error":
                told.append(str(given["args"]))
        return told

    def requested(self):
        """Every address that a page asked for."""
        self.run("1")
        return [e["params"]["request"]["url"] for e in self.events if e.get("method") == "Network.requestWillBeSent"]

    def close(self):
        """End the browser."""
        self._session = None
        with contextlib.suppress(AssertionError, OSError):
            self.command("Browser.close")
        try:
            self.process.wait(10)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()
        os.close(self._read)
        os.close(self._write)
