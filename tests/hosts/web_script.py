"""The web add-in's script in Node, with a stand-in for the spreadsheet program, against a real server."""

import json
import subprocess
from pathlib import Path

from drenchbook.hosts import web_addin
from drenchbook.worksheet_functions import FUNCTIONS, TABLE
from tests.hosts.browser import needed

HERE = Path(__file__).parent
STUB, CALLS = HERE / "web_stub.js", HERE / "web_calls.js"
METADATA = {each["id"]: each for each in web_addin.metadata()["functions"]}
SHAPES = {
    f.name: {
        "arguments": len(f.takes),
        "repeats": any(a.repeats for a in f.takes),
        "matrix": METADATA[f.name]["result"].get("dimensionality") == "matrix",
        "table": f.gives == TABLE,
    }
    for f in FUNCTIONS
}


def run_steps(folder, address, *steps, script=None):
    """What each step told: its answers, the requests it made and the calls in them.

    A step is a list of (function, arguments), or a dict with `calls`, and `state` or `cancel` for the stand-in.
    """
    node = needed("node")
    file = folder / "functions.js"
    file.write_text(script or web_addin.script(), encoding="utf-8")
    given = {"server": address, "shapes": SHAPES, "steps": [_step(step) for step in steps]}
    done = subprocess.run(
        [node, str(CALLS), str(STUB), str(file)],
        input=json.dumps(given),
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    for step in told:
        assert not [a for a in step["answers"] if "broken" in a], step["answers"]
    return told


def _step(step):
    step = step if isinstance(step, dict) else {"calls": step}
    return step | {"calls": [call if isinstance(call, dict) else _call(*call) for call in step["calls"]]}


def _call(name, given, addresses=None):
    return {"function": name, "arguments": list(given), "addresses": addresses}


def asking(folder, address):
    """A function that answers calls through the script: `ask((function, arguments), …)`."""

    def ask(*calls):
        return run_steps(folder, address, list(calls))[0]["answers"]

    return ask
