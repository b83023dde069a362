"""The add-in in LibreOffice and its server: started where none runs, and nothing is called OK where none can be."""

import os
from pathlib import Path

from drenchbook import __version__
from drenchbook.hosts.libreoffice_addin import server_command
from tests.hosts.calc import running_calc, stop_server

SAMPLE = Path(__file__).parents[2] / "samples" / "laboratory.xlsx"
NOWHERE = str(Path(os.sep) / "no" / "such" / "program")
REFUSED = {"error": "#VALUE!"}


def test_it_starts_the_server_that_the_package_names(tmp_path):
    with running_calc(tmp_path / "calc", tmp_path / "state", server_command()) as calc:
        try:
            document = calc.new()
            calc.put(document, "Sheet1", "A1", "=DRENCH_STATUS()")
            assert calc.one(document, "Sheet1", "A1") == f"Drenchbook {__version__}"
        finally:
            stop_server(tmp_path / "state")


def test_without_a_server_numbers_are_errors_and_the_reason_is_told(tmp_path):
    with running_calc(tmp_path / "calc", tmp_path / "state", DRENCHBOOK_COMMAND=NOWHERE) as calc:
        document = calc.new()
        calc.put(document, "Sheet1", "A1", "=DRENCH_ELEVATION_LOSS(20)")
        calc.put(document, "Sheet1", "A2", "=DRENCH_STATUS()")
        calc.put(document, "Sheet1", "A3", '=DRENCH_REASON("DRENCH_ELEVATION_LOSS";20)')
        calc.put(document, "Sheet1", "A4", '=DRENCH_ADEQUACY(25;20;"none")')
        assert calc.one(document, "Sheet1", "A1") == REFUSED
        assert calc.one(document, "Sheet1", "A4") == REFUSED
        for cell in ("A2", "A3"):
            assert calc.one(document, "Sheet1", cell).startswith("Drenchbook: the server cannot be started (")
        opened = calc.open(SAMPLE)
        calc.ask("calculate", document=opened)
        shown = calc.everything(opened, "Schedule")
        verdicts = {row[1] for row in shown["Schedule"] if len(str(row[0])) == 2}
        assert verdicts
        assert not verdicts & {"OK", "WARN", "FAIL"}, verdicts
