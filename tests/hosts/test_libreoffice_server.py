"""The add-in in LibreOffice and its server: started where none runs, and nothing is called OK where none can be."""

import os
import re
import zipfile
from pathlib import Path

from drenchbook import __version__
from drenchbook.hosts.libreoffice_addin import server_command
from tests.hosts.calc import AS_INSTALLED, ODS, running_calc, stop_server
from tests.hosts.test_libreoffice_workbooks import differences
from tests.workbook.packages import part_of, parts

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


def with_other_input(path):
    """The sample with another elevation of a station, and the results that belong to the old one."""
    content, sheet = parts(SAMPLE), part_of(SAMPLE, "Stations")
    cell = re.search(rb'<c r="E8"[^>]*><v>([^<]*)</v>', content[sheet])
    changed = cell.group().replace(b"<v>" + cell.group(1), b"<v>20")
    assert changed != cell.group()
    content[sheet] = content[sheet].replace(cell.group(), changed)
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as package:
        for name, text in content.items():
            package.writestr(name, text)
    return path


def test_with_the_settings_as_installed_stale_results_are_replaced_on_loading(tmp_path, server_of_calc):
    """These settings trust stored values; binding the names calculates all that depends on our functions."""
    path = with_other_input(tmp_path / "stale.xlsx")
    with running_calc(tmp_path / "calc", server_of_calc.state, settings=AS_INSTALLED) as calc:
        document = calc.open(path)
        found, _ = differences(path, calc.everything(document))
        assert not found, "\n".join(found[:20])


def test_in_the_programs_own_format_the_functions_stay(calc, tmp_path):
    document = calc.new()
    calc.put(document, "Sheet1", "A1", "=DRENCH_ELEVATION_LOSS(A2)")
    calc.put(document, "Sheet1", "A2", 20)
    saved = calc.save(document, tmp_path / "own.ods", ODS)
    calc.close(document)
    document = calc.open(saved)
    before = calc.one(document, "Sheet1", "A1")
    calc.put(document, "Sheet1", "A2", 40)
    assert 8.6 < before < 8.7
    assert 17.2 < calc.one(document, "Sheet1", "A1") < 17.4
    calc.close(document)
