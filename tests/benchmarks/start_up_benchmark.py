"""How long `drenchbook evaluate` takes from start to answer, over `python -c "import numpy"`.

Run it: python tests/benchmarks/start_up_benchmark.py
"""

import statistics
import subprocess
import sys
import time
from pathlib import Path

REPEATS = 15
LOSS = '=DRENCH_PIPE_LOSS(20,"copper L","1",100,"none",60)'
COMMANDS = {
    "python, nothing": [sys.executable, "-c", "pass"],
    "import numpy": [sys.executable, "-c", "import numpy"],
    "evaluate, the console command": [str(Path(sys.executable).parent / "drenchbook"), "evaluate", LOSS],
    "evaluate, as a module": [sys.executable, "-m", "drenchbook.evaluate_command", LOSS],
}


def seconds(command: list[str]) -> float:
    """Wall time of one run."""
    start = time.perf_counter()
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
    return time.perf_counter() - start


def main() -> None:
    """Print a table; runs are interleaved so that a busy machine slows all alike."""
    times: dict[str, list[float]] = {name: [] for name in COMMANDS}
    for command in COMMANDS.values():
        seconds(command)  # the first run compiles
    for _ in range(REPEATS):
        for name, command in COMMANDS.items():
            times[name].append(seconds(command))
    base = statistics.median(times["import numpy"])
    print("| what | median s | over import numpy |\n|---|---|---|")
    for name, measured in times.items():
        print(f"| {name} | {statistics.median(measured):.3f} | {statistics.median(measured) / base:.2f} |")


if __name__ == "__main__":
    main()
