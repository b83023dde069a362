"""Time of `recalc` over merely loading the workbook with openpyxl.

python tests/benchmarks/recalc_benchmark.py [STATIONS ...]
"""

from __future__ import annotations

import gc
import sys
import tempfile
import time
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import Any

import openpyxl

from drenchbook.site_file import site_of_document
from drenchbook.site_model import Site
from drenchbook.workbook.building import write_workbook
from drenchbook.workbook.recalculating import recalculate

PER_VALVE = 10  # stations behind one mixing valve
SAMPLE = Path(__file__).parents[2] / "samples" / "laboratory.toml"


def site_of(stations: int) -> Site:
    """A site with that many stations: the sample's valve with ten stations, as often as needed."""
    import tomllib

    document: dict[str, Any] = tomllib.loads(SAMPLE.read_text(encoding="utf-8"))
    valve, station = document["mixing_valves"][0], document["stations"][1]
    common, cold, hot, tempered = (document["pipe_runs"][number] for number in (0, 1, 2, 8))
    runs, valves, rows = [common, hot], [], []
    for number in range(stations):
        group, place = divmod(number, PER_VALVE)
        name = f"{group:04d}"
        if place == 0:
            runs.append(cold | {"tag": f"CW-{name}"})
            valves.append(valve | {"tag": f"MV-{name}", "cold_run": f"CW-{name}"})
        runs.append(tempered | {"tag": f"TR-{number:05d}", "fed_from": f"MV-{name}", "developed_length": 20 + place})
        rows.append(station | {"tag": f"L{number:05d}", "fed_from": f"TR-{number:05d}"})
    events = [{"tag": "pair", "stations": "L00000, L00001", "users": 2, "showers": 1, "reason": "generated"}]
    document |= {"pipe_runs": runs, "mixing_valves": valves, "stations": rows, "events": events}
    return site_of_document(document, "generated").site


def seconds(work: Callable[[], object], times: int) -> float:
    """The shortest of some runs."""
    best = float("inf")
    for _ in range(times):
        gc.collect()
        start = time.perf_counter()
        work()
        best = min(best, time.perf_counter() - start)
    return best


def load(path: Path) -> object:
    """Merely load a workbook."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return openpyxl.load_workbook(path)


def main(counts: list[int]) -> None:
    """Print one line of a table for each number of stations."""
    print("| stations | size, kB | load, s | recalc, s | ratio |\n|---|---|---|---|---|")
    with tempfile.TemporaryDirectory() as folder:
        for count in counts:
            path = Path(folder) / f"site_{count}.xlsx"
            write_workbook(site_of(count), path)
            bare = seconds(lambda path=path: load(path), 3)  # type: ignore[misc]
            whole = seconds(lambda path=path: recalculate(path), 2)  # type: ignore[misc]
            print(
                f"| {count} | {path.stat().st_size / 1000:.0f} | {bare:.2f} | {whole:.2f} | {whole / bare:.2f} |",
                flush=True,
            )


if __name__ == "__main__":
    main([int(argument) for argument in sys.argv[1:]] or [50, 500])
