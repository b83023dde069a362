"""The workbook with functions in it: read back by another program, and otherwise as it was."""

import datetime
import re
import sys
import warnings
import zipfile
from importlib import metadata

import pytest

from drenchbook.command_line import main
from drenchbook.errors import InputError, SiteError
from drenchbook.hosts.excel_examples import HEADINGS
from drenchbook.hosts.excel_module import MODULE_NAME, PYTHON_MODULE, module_text
from drenchbook.hosts.excel_workbook import as_macro_workbook, read_modules, xlwings_module
from drenchbook.worksheet_functions import FUNCTIONS
from tests.hosts.test_excel_functions import ROOT
from tests.workbook.packages import loaded, parts, with_text

LABORATORY = ROOT / "samples" / "laboratory.xlsx"
INTERPRETER = r"C:\Python & more\python.exe"


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    target = tmp_path_factory.mktemp("excel") / "laboratory.xlsm"
    as_macro_workbook(LABORATORY, target, INTERPRETER)
    return target


def as_another_program_reads_it(path):
    """The modules of the workbook, as olevba finds them."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it uses older names of a library of its own
        from oletools.olevba import VBA_Parser

        parser = VBA_Parser(str(path))
        try:
            return {name: text for _, _, name, text in parser.extract_macros()}
        finally:
            parser.close()


def test_another_program_reads_the_modules_as_they_were_rendered(made):
    found = as_another_program_reads_it(made)
    assert found[f"{MODULE_NAME}.bas"].splitlines() == module_text().splitlines()
    assert found["xlwings.bas"].splitlines() == xlwings_module().splitlines()


def test_no_other_module_holds_code(made):
    for name, text in as_another_program_reads_it(made).items():
        if name not in (f"{MODULE_NAME}.bas", "xlwings.bas"):
            assert all(line.startswith("Attribute ") for line in text.splitlines() if line.strip()), name


def test_the_settings_sheet_begins_in_its_corner_without_gaps(made):
    sheet = loaded(made)["xlwings.conf"]
    names = [row[0].value for row in sheet.iter_rows(max_col=2)]
    values = {row[0].value: row[1].value for row in sheet.iter_rows(max_col=2)}
    assert None not in names
    assert sheet.dimensions.startswith("A1")
    assert values["Interpreter_Win"] == INTERPRETER
    assert values["UDF Modules"] == PYTHON_MODULE
    assert values["ADD_WORKBOOK_TO_PYTHONPATH"] is False
    assert values["Use UDF Server"] is False
    assert values["PYTHONPATH"] is None
    assert "LICENSE_KEY" not in names


def test_no_sheet_is_named_like_a_python_file(made):
    assert not [name for name in loaded(made).sheetnames if name.endswith(".py")]


def test_every_sheet_keeps_its_bytes_except_for_the_name_that_macros_use(made):
    before, after = parts(LABORATORY), parts(made)
    for name, content in before.items():
        if name in ("[Content_Types].xml", "xl/workbook.xml", "xl/_rels/workbook.xml.rels"):
            continue
        if name.startswith("xl/worksheets/"):
            named = re.sub(rb'<sheetPr codeName="Sheet\d+"/>', b"", after[name], count=1)  # where it had none
            assert re.sub(rb' codeName="Sheet\d+"', b"", named, count=1) == content, name
        else:
            assert after[name] == content, name


def test_the_list_of_sheets_keeps_all_it_had_and_gains_one(made):
    before, after = parts(LABORATORY)["xl/workbook.xml"].decode(), parts(made)["xl/workbook.xml"].decode()
    gained = re.search(r'<sheet name="xlwings.conf"[^>]*/>', after)[0]
    assert after.replace(gained, "").replace(' codeName="ThisWorkbook"', "") == before
    kind = parts(made)["[Content_Types].xml"].decode()
    assert kind.count("macroEnabled.main+xml") == 1
    assert "sheet.main+xml" not in kind


def test_every_link_and_every_part_has_its_other_end(made):
    after = parts(made)
    links = re.findall(r'Target="([^"]+)"', after["xl/_rels/workbook.xml.rels"].decode())
    assert {f"xl/{link}" for link in links} <= set(after)
    named = re.findall(r'PartName="/([^"]+)"', after["[Content_Types].xml"].decode())
    assert set(named) <= set(after)
    assert len(named) == len(set(named))


def test_the_same_workbook_gives_the_same_bytes_also_from_itself(made, tmp_path):
    again, from_itself = tmp_path / "again.xlsm", tmp_path / "itself.xlsm"
    as_macro_workbook(LABORATORY, again, INTERPRETER)
    as_macro_workbook(made, from_itself, "elsewhere")  # a settings sheet that is there is the user's
    assert again.read_bytes() == made.read_bytes() == from_itself.read_bytes()


def test_a_module_of_an_older_version_is_replaced_and_the_users_own_stay(made, tmp_path):
    from pyopenvba import ExcelFile

    old = tmp_path / "old.xlsm"
    old.write_bytes(made.read_bytes())
    with ExcelFile(old) as book:
        book.set_module(
            MODULE_NAME, 'Attribute VB_Name = "Drenchbook"\r\nPublic Function DRENCH_OLD()\r\nEnd Function\r\n'
        )
        book.vba_project().add_module("Mine", "Public Sub Mine()\r\nEnd Sub\r\n")
        book.save()
    as_macro_workbook(old, old)
    modules = read_modules(old)
    assert modules[MODULE_NAME] == module_text()
    assert "Public Sub Mine()" in modules["Mine"]


def test_formulas_keep_their_plain_names(made):
    text = parts(made)
    found = {name for part, content in text.items() if part.startswith("xl/worksheets/")
             for name in re.findall(r"<f[^>]*>([^<]*DRENCH[^<]*)</f>", content.decode())}  # fmt: skip
    assert found
    assert not [formula for formula in found if "_xldudf" in formula or "!DRENCH" in formula or "DRENCH." in formula]


def test_it_recalculates_headless_like_the_workbook_it_came_from(made, capsys):
    codes, reports = [], []
    for path in (LABORATORY, made):
        codes.append(main(["recalc", str(path), "--check"]))
        reports.append(capsys.readouterr().out.replace(str(path), "FILE"))
    assert codes[0] == codes[1]
    assert reports[0] == reports[1] != ""


def test_recalculating_it_keeps_the_functions(made, tmp_path):
    copy = tmp_path / "copy.xlsm"
    main(["recalc", str(made), "--output", str(copy)])
    assert read_modules(copy) == read_modules(made)
    assert parts(copy)["xl/vbaProject.bin"] == parts(made)["xl/vbaProject.bin"]


def test_without_a_workbook_there_is_one_with_every_example(tmp_path, capsys):
    target = tmp_path / "functions.xlsm"
    assert main(["addin", "excel", str(target)]) == 0
    assert "allow its macros" in capsys.readouterr().out
    sheet = loaded(target)["Functions"]
    assert tuple(cell.value for cell in sheet[1]) == HEADINGS
    named = {row[0].value for row in sheet.iter_rows(min_row=2)}
    assert named >= {function.name for function in FUNCTIONS if function.examples}
    assert all(str(row[1].value).startswith("=DRENCH_") for row in sheet.iter_rows(min_row=2))
    assert {row[1].value for row in loaded(target, data_only=True)["Functions"].iter_rows(min_row=2)} == {
        "not computed"
    }
    assert read_modules(target)[MODULE_NAME] == module_text()


def test_the_command_takes_a_workbook_and_an_interpreter(tmp_path):
    target = tmp_path / "site.xlsm"
    assert main(["addin", "excel", str(LABORATORY), str(target), "--python", INTERPRETER]) == 0
    assert loaded(target)["xlwings.conf"]["B1"].value == INTERPRETER


@pytest.mark.parametrize("name", ["site.xlsx", "site"])
def test_another_ending_is_refused(tmp_path, name):
    with pytest.raises(InputError, match=r"must end in \.xlsm"):
        as_macro_workbook(LABORATORY, tmp_path / name)
    assert not (tmp_path / name).exists()


def test_what_is_no_workbook_is_refused_and_nothing_is_written(tmp_path):
    source, target = tmp_path / "notes.xlsx", tmp_path / "site.xlsm"
    source.write_text("no workbook")
    with pytest.raises(SiteError, match="is not a workbook"):
        as_macro_workbook(source, target)
    with zipfile.ZipFile(source, "w") as package:
        package.writestr("word/document.xml", "")
    with pytest.raises(SiteError, match="is damaged or no workbook"):
        as_macro_workbook(source, target)
    assert not target.exists()


def test_a_binary_workbook_is_refused(tmp_path):
    source, target = tmp_path / "site.xlsx", tmp_path / "site.xlsm"
    source.write_bytes(LABORATORY.read_bytes())
    with_text(source, "[Content_Types].xml", b"spreadsheetml.sheet.main+xml", b"ms-excel.sheet.binary.main")
    with pytest.raises(SiteError, match="is not an ordinary workbook"):
        as_macro_workbook(source, target)


def test_the_clock_is_not_in_the_file(made, tmp_path, monkeypatch):
    import time

    later = time.time() + 100 * 86400
    monkeypatch.setattr(time, "time", lambda: later)
    monkeypatch.setattr(time, "localtime", lambda *given: datetime.datetime(2031, 1, 1).timetuple())
    target = tmp_path / "later.xlsm"
    as_macro_workbook(LABORATORY, target, INTERPRETER)
    assert target.read_bytes() == made.read_bytes()
    with zipfile.ZipFile(target) as package:
        assert {entry.date_time for entry in package.infolist()} == {(1980, 1, 1, 0, 0, 0)}


def test_a_library_that_is_missing_is_named_and_nothing_is_written(tmp_path, monkeypatch):
    target = tmp_path / "site.xlsm"
    with monkeypatch.context() as without:
        without.setitem(sys.modules, "pyopenvba", None)
        with pytest.raises(InputError, match="pyOpenVBA = blank: is not installed"):
            as_macro_workbook(LABORATORY, target)
    with monkeypatch.context() as without:
        without.setattr(metadata, "distribution", _absent)
        with pytest.raises(InputError, match="xlwings = blank: is not installed"):
            as_macro_workbook(LABORATORY, target)
    assert not target.exists()


def _absent(name):
    raise metadata.PackageNotFoundError(name)
