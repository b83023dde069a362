"""A file's formulas spelled for a host and back: our functions change, everything else stays as it was."""

import re
import subprocess
import sys
import zipfile
from pathlib import Path
from xml.sax.saxutils import escape

import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from drenchbook.errors import InputError, SiteError
from drenchbook.hosts.respelled_workbook import respell
from drenchbook.hosts.spelling import HOSTS, LIBREOFFICE, PLAIN, WEB, respelled, respelled_xml, spelled
from drenchbook.worksheet_functions import FUNCTIONS

NAMES = [function.name for function in FUNCTIONS]
SAMPLE = Path(__file__).parents[2] / "samples" / "laboratory.xlsx"

# Formula, plain, for LibreOffice.
EXAMPLES = [
    ("DRENCH_STATUS()", "DRENCH_STATUS()", "DRENCH.STATUS()"),
    ("=drench.pipe_loss(A1)", "=DRENCH_PIPE_LOSS(A1)", "=drench.pipe_loss(A1)"),
    ("_xldudf_DRENCH_STATUS()", "DRENCH_STATUS()", "DRENCH.STATUS()"),
    ("_xludf.DRENCH_STATUS ()", "DRENCH_STATUS ()", "DRENCH.STATUS ()"),
    ("[1]!DRENCH_STATUS()&'C:\\x\\[a.xlam]'!DRENCH_STATUS()", "DRENCH_STATUS()&DRENCH_STATUS()",
     "DRENCH.STATUS()&DRENCH.STATUS()"),
    ('"DRENCH.STATUS()"&DRENCH.STATUS()', '"DRENCH.STATUS()"&DRENCH_STATUS()', '"DRENCH.STATUS()"&DRENCH.STATUS()'),
    ('"a""DRENCH_STATUS()"&DRENCH_STATUS()', '"a""DRENCH_STATUS()"&DRENCH_STATUS()',
     '"a""DRENCH_STATUS()"&DRENCH.STATUS()'),
    ("'DRENCH_STATUS()'!A1+1", "'DRENCH_STATUS()'!A1+1", "'DRENCH_STATUS()'!A1+1"),
    ("'it''s DRENCH_STATUS('!A1", "'it''s DRENCH_STATUS('!A1", "'it''s DRENCH_STATUS('!A1"),
    ("MY_DRENCH_STATUS()+DRENCH_STATUSES()", "MY_DRENCH_STATUS()+DRENCH_STATUSES()",
     "MY_DRENCH_STATUS()+DRENCH_STATUSES()"),
    ("DRENCH_STATUS+1", "DRENCH_STATUS+1", "DRENCH_STATUS+1"),
    ("Table1[DRENCH_STATUS()]", "Table1[DRENCH_STATUS()]", "Table1[DRENCH_STATUS()]"),
    ("DRENCH_STATUS!A1", "DRENCH_STATUS!A1", "DRENCH_STATUS!A1"),
    ("DRENCH.OTHER(1)", "DRENCH.OTHER(1)", "DRENCH.OTHER(1)"),
]  # fmt: skip


@pytest.mark.parametrize(("formula", "plain", "libreoffice"), EXAMPLES)
def test_examples(formula, plain, libreoffice):
    assert respelled(formula, PLAIN) == plain
    assert respelled(formula, LIBREOFFICE) == libreoffice


def test_a_host_that_is_not_known():
    with pytest.raises(InputError, match=r'host = "other": must be "plain" or "libreoffice" or "web"'):
        respelled("1", "other")


# A formula of random pieces, ours marked: what is left when ours are taken out must not change.
texts = st.text(st.characters(codec="utf-8", exclude_characters='"\x00', exclude_categories=("Cs", "Cc")), max_size=12)
literals = texts.map(lambda text: f'"{text}"') | st.sampled_from(NAMES).map(lambda name: f'"{name}(1)"')
sheets = st.sampled_from(["'{}()'!A1", "'x {}('!$B$2", "'it''s {}()'!A1:B2"])
foreign = st.sampled_from(["SUM", "MY_DRENCH_STATUS", "DRENCH_STATUS2", "_xlfn.IFNA", "com.other.DRENCH"])
pieces = st.one_of(
    literals.map(lambda text: (text, "")),
    st.tuples(sheets, st.sampled_from(NAMES)).map(lambda both: (both[0].format(both[1]), "")),
    foreign.map(lambda name: (f"{name}(A1)", "")),
    st.sampled_from(["A1", "$B$2:C3", "1.5", "TRUE", "{1,2;3,4}", "#N/A", "name_1", "Table1[[#All],[x]]"]).map(
        lambda text: (text, "")
    ),
    st.tuples(st.sampled_from(NAMES), st.sampled_from(HOSTS)).map(lambda both: ("", both)),
)
formulas = st.lists(pieces, min_size=1, max_size=8)


def written(parts, host=None):
    """The formula, each of our functions as it was found or as a host spells it."""
    return "&".join(text or f"{spelled(ours[0], host or ours[1])}(B2)" for text, ours in parts)


@given(formulas, st.sampled_from(HOSTS))
def test_our_functions_change_and_nothing_else(parts, host):
    assert respelled(written(parts), host) == written(parts, host)


@given(formulas, st.sampled_from(HOSTS))
def test_there_and_back_is_the_same(parts, host):
    plain = written(parts, PLAIN)
    assert respelled(respelled(plain, host), PLAIN) == plain


@given(formulas, st.sampled_from(HOSTS), st.booleans())
def test_inside_xml_it_is_the_same(parts, host, quoted):
    entities = {'"': "&quot;", "'": "&apos;"} if quoted else {}
    assert respelled_xml(escape(written(parts), entities), host) == escape(written(parts, host), entities)


def contents(path):
    with zipfile.ZipFile(path) as package:
        return {name: package.read(name) for name in package.namelist()}


@pytest.fixture
def users_workbook(tmp_path):
    """A workbook with our functions in cells, names, a list and a mark, and with the user's own formulas and texts."""
    path = tmp_path / "own.xlsx"
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "DRENCH_STATUS()"
    sheet["A1"] = '=DRENCH_ELEVATION_LOSS(B1)&"DRENCH_STATUS()"'
    sheet["A2"] = "=SUM(B1:B3)+MY_DRENCH_STATUS()"
    sheet["A3"] = "a text: DRENCH_STATUS()"
    sheet["A4"] = "='DRENCH_STATUS()'!A1"
    book.defined_names["loss"] = openpyxl.workbook.defined_name.DefinedName(
        "loss", attr_text="DRENCH_ELEVATION_LOSS(1)"
    )
    rule = openpyxl.formatting.rule.FormulaRule(formula=['DRENCH_ADEQUACY(A1,1,2)="LOW"'])
    sheet.conditional_formatting.add("A1:A4", rule)
    check = openpyxl.worksheet.datavalidation.DataValidation(type="custom", formula1='DRENCH_REASON("x")="OK"')
    check.add("B1")
    sheet.add_data_validation(check)
    book.save(path)
    return path


def test_in_a_file_only_the_names_change(users_workbook, tmp_path):
    made, back = tmp_path / "made.xlsx", tmp_path / "back.xlsx"
    assert respell(users_workbook, made, LIBREOFFICE) == 4
    before, after = contents(users_workbook), contents(made)
    assert list(before) == list(after)
    for name, content in before.items():
        expected = content
        if name in ("xl/workbook.xml", "xl/worksheets/sheet1.xml"):
            for found in ("ELEVATION_LOSS(B1)", "ELEVATION_LOSS(1)", "ADEQUACY(", "REASON("):
                expected = expected.replace(b"DRENCH_" + found.encode(), b"DRENCH." + found.encode())
        assert after[name] == expected, name
    assert respell(made, back, PLAIN) == 4
    assert contents(back) == before


def test_a_file_without_our_functions_is_the_same_bytes(tmp_path):
    path, made = tmp_path / "own.xlsx", tmp_path / "made.xlsx"
    book = openpyxl.Workbook()
    book.active["A1"] = '="DRENCH_STATUS()"'
    book.save(path)
    assert respell(path, made, LIBREOFFICE) == 0
    assert made.read_bytes() == path.read_bytes()


@pytest.mark.parametrize("host", [LIBREOFFICE, WEB])
def test_the_sample_there_and_back_is_the_same_in_every_part(host, tmp_path):
    made, back = tmp_path / "made.xlsx", tmp_path / "back.xlsx"
    count = respell(SAMPLE, made, host)
    assert count >= 5
    assert respell(made, back, PLAIN) == count
    assert contents(back) == contents(SAMPLE)


def test_what_libreoffice_dropped_is_put_back(users_workbook, tmp_path):
    """Without its calculation number a file's stored values are trusted by no program."""
    saved, plain = tmp_path / "saved.xlsx", tmp_path / "plain.xlsx"
    respell(users_workbook, saved, LIBREOFFICE)
    parts = contents(saved)
    parts["xl/workbook.xml"] = re.sub(rb"<calcPr[^>]*/>", b'<calcPr iterate="false"/>', parts["xl/workbook.xml"])
    with zipfile.ZipFile(saved, "w") as package:
        for name, content in parts.items():
            package.writestr(name, content)
    respell(saved, plain, PLAIN)
    assert b'<calcPr calcId="191029" iterate="false"/>' in contents(plain)["xl/workbook.xml"]


def test_what_is_no_workbook_is_refused(tmp_path):
    path = tmp_path / "x.xlsx"
    path.write_text("no zip", encoding="utf-8")
    with pytest.raises(SiteError, match="is not a workbook"):
        respell(path, tmp_path / "y.xlsx", PLAIN)
    assert not (tmp_path / "y.xlsx").exists()


def test_the_command_converts(tmp_path):
    made = tmp_path / "made.xlsx"
    command = [sys.executable, "-m", "drenchbook.command_line", "convert", str(SAMPLE), str(made), "--host"]
    done = subprocess.run([*command, "libreoffice"], capture_output=True, text=True, check=True)
    assert re.search(r"made\.xlsx written: \d+ formulas spelled anew", done.stdout)
    refused = subprocess.run([*command, "plain", "--units", "SI"], capture_output=True, text=True, check=False)
    assert refused.returncode == 2
    assert "convert units before" in refused.stderr
