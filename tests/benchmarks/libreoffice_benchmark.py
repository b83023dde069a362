"""Times in LibreOffice Calc: from an edit to the verdict, and a hard recalculation of the whole workbook.

python tests/benchmarks/libreoffice_benchmark.py [STATIONS ...]

"array" is one whole-site array call: a height on the sheet Stations is typed, the verdict of the first station is read
from the sheet Results. "schedule" reads it from the sheet Schedule, with all that it is looked up through.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from drenchbook.site_tables import STATIONS
from drenchbook.workbook.building import write_workbook
from drenchbook.workbook.layout import SCHEDULE
from tests.benchmarks.recalc_benchmark import site_of
from tests.hosts.calc import Calc, running_calc
from tests.hosts.live_server import running

TIMES = 7


def places(calc: Calc, document: int) -> dict[str, tuple[str, str]]:
    """Sheet and cell of the first station's verdict in the array, and on the schedule."""
    shown = calc.everything(document, "Results", SCHEDULE)
    found = {}
    for sheet, name in (("Results", "array"), (SCHEDULE, "schedule")):
        for row, cells in enumerate(shown[sheet], start=1):
            tags = [column for column, cell in enumerate(cells) if cell == "L00000"]
            if tags:
                found[name] = sheet, f"{chr(65 + tags[-1] + 1)}{row}"
                break
    return found


def height_cell(calc: Calc, document: int) -> str:
    """Cell of the first station's elevation."""
    for row, cells in enumerate(calc.everything(document, STATIONS.sheet)[STATIONS.sheet], start=1):
        if cells[0] == "L00000":
            return f"E{row}"
    raise ValueError("the first station is not on its sheet")


def main(counts: list[int]) -> None:
    """Print one line of a table for each number of stations."""
    print(
        "| stations | edit to verdict, array, s | edit to verdict, schedule, s | hard recalculation, s |\n"
        "|---|---|---|---|"
    )
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "state").mkdir()
        with running(folder / "state") as server, running_calc(folder, server.state) as calc:
            for count in counts:
                path = folder / f"site_{count}.xlsx"
                write_workbook(site_of(count), path)
                document = calc.open(path)
                hard = [calc.ask("calculate", document=document) for _ in range(3)]
                where, height = places(calc, document), height_cell(calc, document)
                typed, times = 20.0, {}
                for what, (sheet, cell) in where.items():
                    seconds = []
                    for _ in range(TIMES):
                        typed += 0.125
                        took, verdict = calc.ask("edited", document=document, sheet=STATIONS.sheet, cell=height,
                                                 value=typed, result_sheet=sheet, result_cell=cell)  # fmt: skip
                        assert verdict in ("OK", "WARN", "FAIL", "UNKNOWN"), verdict
                        seconds.append(took)
                    times[what] = statistics.median(seconds)
                calc.close(document)
                print(f"| {count} | {times['array']:.2f} | {times['schedule']:.2f} | {min(hard):.2f} |", flush=True)


if __name__ == "__main__":
    main([int(argument) for argument in sys.argv[1:]] or [100, 500])
