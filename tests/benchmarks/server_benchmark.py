"""Batches of 1,000 small functions over HTTP, over the bare framework that reads the same body and echoes it as JSON.

Run it: python tests/benchmarks/server_benchmark.py
"""

import http.client
import json
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.hosts.live_server import running

CALLS, REPEATS = 1_000, 15
BARE = """
import json, socket, sys, uvicorn
from starlette.applications import Starlette
from starlette.responses import JSONResponse
from starlette.routing import Route

async def echo(request):
    return JSONResponse(await request.json())

listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
listener.bind(("127.0.0.1", 0))
print(listener.getsockname()[1], flush=True)
app = Starlette(routes=[Route("/v1/batch", echo, methods=["POST"])])
uvicorn.Server(uvicorn.Config(app, http="httptools", access_log=False, log_level="error")).run([listener])
"""


def batch(round_number):
    """A body in which no call repeats one of an earlier round: five functions, light and heavy."""
    calls = []
    for number in range(CALLS // 5):
        flow = 1 + 0.01 * number + 1e-6 * round_number
        calls += [
            ("DRENCH_PIPE_LOSS", [flow, "copper L", "1", 100, "none", 60]),
            ("DRENCH_PIPE_VELOCITY", [flow, "copper L", "3/4"]),
            ("DRENCH_ELEVATION_LOSS", [flow]),
            ("DRENCH_SUPPLY_PRESSURE", [flow, 66, 57, 60]),
            ("DRENCH_ADEQUACY", [flow, 3, "none"]),
        ]
    return json.dumps({"calls": [{"function": name, "arguments": given} for name, given in calls]}).encode()


class Client:
    """One kept connection."""

    def __init__(self, port, token=""):
        self.connection = http.client.HTTPConnection("127.0.0.1", port)
        self.headers = {"Content-Type": "application/json", "X-Drenchbook-Token": token}

    def seconds(self, body):
        """Time of one batch, from sending to the last byte."""
        start = time.perf_counter()
        self.connection.request("POST", "/v1/batch", body, self.headers)
        response = self.connection.getresponse()
        answer = response.read()
        took = time.perf_counter() - start
        assert response.status == 200, answer[:200]
        return took


def start_up():
    """Median seconds from the command to the first answer, and of `import numpy` beside it."""
    ours, numpy = [], []
    for _ in range(5):
        begin = time.perf_counter()
        subprocess.run([sys.executable, "-c", "import numpy"], check=True)
        numpy.append(time.perf_counter() - begin)
        begin = time.perf_counter()
        with running(Path(tempfile.mkdtemp())) as live:
            assert live.request("GET", "/v1/health")[0] == 200
            ours.append(time.perf_counter() - begin)
    return statistics.median(ours), statistics.median(numpy)


def main():
    """Print a table; the three kinds of batch are interleaved so that a busy machine slows all alike."""
    times = {"bare framework, echo": [], "first time: every call is computed": [], "again: no cell has changed": [],
             "again: one cell in ten has changed": []}  # fmt: skip
    single = []
    bare = subprocess.Popen([sys.executable, "-c", BARE], stdout=subprocess.PIPE, text=True)
    try:
        with running(Path(tempfile.mkdtemp())) as live:
            echo, ours = Client(int(bare.stdout.readline())), Client(live.port, live.token)
            for client in (echo, ours):
                client.seconds(batch(-1))
            for number in range(REPEATS):
                body = batch(number)
                calls = json.loads(body)["calls"]
                changed = json.loads(batch(1000 + number))["calls"]
                mixed = json.dumps({"calls": changed[:100] + calls[100:]}).encode()
                for name, client, given in zip(times, (echo, ours, ours, ours), (body, body, body, mixed), strict=True):
                    times[name].append(client.seconds(given))
                single.append(ours.seconds(json.dumps({"calls": calls[:1]}).encode()))
    finally:
        bare.terminate()
        bare.wait()
        bare.stdout.close()
    starts, imports = start_up()
    print(f"Start-up, command to first answer: {starts:.2f} s, {starts / imports:.1f} times `import numpy`\n")
    base = statistics.median(times["bare framework, echo"])
    print(f"| batch of {CALLS:,} | median ms | over the bare framework |\n|---|---|---|")
    for name, measured in times.items():
        median = statistics.median(measured)
        print(f"| {name} | {median * 1e3:.1f} | {median / base:.1f} |")
    print(f"| one call alone | {statistics.median(single) * 1e3:.2f} | – |")


if __name__ == "__main__":
    main()
