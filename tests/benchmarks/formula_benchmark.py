"""How long the headless evaluator takes for a schedule-like workbook, over openpyxl merely loading it.

Run it: python tests/benchmarks/formula_benchmark.py [rows]
"""

import sys
import tempfile
import time
from pathlib import Path

import openpyxl
from openpyxl.workbook.defined_name import DefinedName
from openpyxl.worksheet.formula import ArrayFormula

from drenchbook.workbook.evaluator import evaluate_workbook

COLUMNS = 40


def build(path: Path, rows: int) -> None:
    """A sheet of results, a schedule that looks 40 columns up by tag, and a fingerprint over all its text."""
    book = openpyxl.Workbook()
    results, schedule, check = book.active, book.create_sheet("Schedule"), book.create_sheet("Check")
    results.title = "Results"
    for row in range(rows):
        for column in range(1, COLUMNS + 1):
            results.cell(row + 6, column, f"ST-{row:04d}" if column == 1 else row + column / 7)
    last = rows + 5
    book.defined_names["Results_tags"] = DefinedName("Results_tags", attr_text=f"Results!$A$6:$A${last}")
    area = f"Results!$A$6:$AN${last}"
    for row in range(8, rows + 8):
        schedule.cell(row, 1, f"=MAX(A$7:A{row - 1})+1")
        schedule.cell(row, 2, f'=IF($A{row}="","",INDEX(Results_tags,$A{row})&"")')
        schedule.cell(row, 3, f'=IFERROR(MATCH($B{row},Results_tags,0),"")')
        for column in range(4, COLUMNS + 1):
            looked_up = f"INDEX({area},$C{row},{column - 1})"
            schedule.cell(row, column, f'=IF($C{row}="","",IF({looked_up}="","",{looked_up}))')
    text = 'MID(Results_tags&REPT(" ",400),COLUMN($A$1:$OJ$1),1)'
    check["A1"] = ArrayFormula("A1", f"=SUM(SIN(MMULT(_xlfn.UNICODE({text}),0.1*ROW($A$1:$A$400))))")
    book.save(path)


def main() -> None:
    """Print a table."""
    rows = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "schedule.xlsx"
        build(path, rows)
        start = time.perf_counter()
        book = openpyxl.load_workbook(path)
        loaded = time.perf_counter()
        found = evaluate_workbook(book)
        done = time.perf_counter()
    assert found.values["Schedule", f"B{rows + 7}"] == f"ST-{rows - 1:04d}", found.problems[:3]
    print("| formulas | load s | evaluate s | ratio | µs per formula |\n|---|---|---|---|---|")
    count, load, run = len(found.values), loaded - start, done - loaded
    print(f"| {count} | {load:.2f} | {run:.2f} | {run / load:.2f} | {run / count * 1e6:.0f} |")


if __name__ == "__main__":
    main()
