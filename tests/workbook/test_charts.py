"""The charts of the Cover: what they keep is what the cells show; they follow the inputs; others are left alone."""

import itertools
import re
import zipfile
from xml.etree import ElementTree

import pytest

from drenchbook.checks import judge
from drenchbook.convert_command import in_units
from drenchbook.json_report import file_report
from drenchbook.report import Report
from drenchbook.result_tables import MARGIN_COLUMNS, PATH_BARS
from drenchbook.workbook.building import workbook_bytes
from drenchbook.workbook.chart_sheet import (
    BASE,
    COURSE_AT,
    FIRST,
    LEVEL,
    LOST,
    MARGINS_AT,
    NEEDED,
    STANDS,
    TITLES_ROW,
)
from drenchbook.workbook.evaluator import evaluate_workbook
from drenchbook.workbook.layout import CHART_DATA, COURSE_STATION_COLUMN, COURSE_STATION_ROW, cell_name
from drenchbook.workbook.recalculating import recalculate
from tests.workbook.packages import loaded, parts

CHART = "{http://schemas.openxmlformats.org/drawingml/2006/chart}"


def kept(path):
    """Every reference of every chart with the values that the chart keeps, by place."""
    found = []
    for name, text in parts(path).items():
        if re.fullmatch(r"xl/charts/chart\d+\.xml", name):
            for reference in [*ElementTree.fromstring(text).iter(f"{CHART}numRef"),
                              *ElementTree.fromstring(text).iter(f"{CHART}strRef")]:  # fmt: skip
                points = {int(point.get("idx")): point.find(f"{CHART}v").text for point in reference.iter(f"{CHART}pt")}
                found.append((reference.find(f"{CHART}f").text, points))
    return found


def agrees(path):
    """How many kept values there are; each is that of its cell."""
    book, count = loaded(path, data_only=True), 0
    for formula, points in kept(path):
        sheet, _, area = formula.rpartition("!")
        cells = book[sheet.strip("'")][area.replace("$", "")]
        cells = [cell for row in cells for cell in row] if isinstance(cells, tuple) else [cells]
        for number, cell in enumerate(cells):
            shown = points.get(number)
            if isinstance(cell.value, (int, float)):
                assert float(shown) == cell.value, (formula, number)
                count += 1
            else:
                assert (shown or "") == (cell.value or ""), (formula, number)
    return count


@pytest.mark.parametrize("workbook", ["lab", "blank_si"])
def test_each_chart_keeps_what_its_cells_show(workbook, request):
    assert agrees(request.getfixturevalue(workbook)) > (20 if workbook == "lab" else -1)


def test_bars_hang_from_each_other_and_end_at_the_outlet(lab):
    """Hand calculation, L4: 65.11 psi at the supply, 15.5 at the shower, 30 needed."""
    sheet = loaded(lab, data_only=True)[CHART_DATA]
    rows = [
        [sheet.cell(FIRST + 1 + n, column + 1).value for column in range(NEEDED + 1)] for n in range(len(PATH_BARS))
    ]
    assert [row[0] for row in rows] == list(PATH_BARS)
    assert rows[0][STANDS] == pytest.approx(65.11, abs=0.02)
    assert rows[-2][STANDS] == pytest.approx(15.51, abs=0.05)
    assert rows[-1][NEEDED] == 30
    level = rows[0][STANDS]
    for row in rows[1:-2]:
        level -= row[LOST]
        assert row[BASE] == pytest.approx(level)
    assert level == pytest.approx(rows[-2][STANDS])


def test_margins_stand_beside_their_stations_and_end_at_100_percent(lab):
    """Hand calculation: L4's shower gets 14.38 of 20 gpm, its eye/face wash 2.82 of 3; L3 draws 0.5 of 3.0 gpm."""
    sheet = loaded(lab, data_only=True)[CHART_DATA]
    place = {"min_row": FIRST + 1, "min_col": MARGINS_AT + 1, "max_col": MARGINS_AT + 5}
    rows = {row[0]: row[1:] for row in sheet.iter_rows(**place, values_only=True) if row[0]}
    assert list(rows) == ["L1", "L2", "L3", "L4", "L5"]
    assert rows["L4"][0] == pytest.approx(14.38 / 20 - 1, abs=0.02)
    assert rows["L4"][1] == pytest.approx(15.51 / 30 - 1, abs=0.02)
    assert rows["L3"][3] == pytest.approx(0.5 / 3 - 1, abs=0.02)
    assert max(value for row in rows.values() for value in row if isinstance(value, (int, float))) <= 1


def test_temperatures_are_those_of_the_station_that_runs_out_first(lab):
    """Hand calculation: L1 and L2 together run out first, after 11.9 min; the valve then gives cold water, 42 °F."""
    sheet = loaded(lab, data_only=True)[CHART_DATA]
    assert "L1 + L2: cold season, high supply" in sheet.cell(TITLES_ROW + 1, COURSE_AT + 1).value
    rows = list(sheet.iter_rows(min_row=FIRST + 1, min_col=COURSE_AT + 1, max_col=COURSE_AT + 2, values_only=True))
    times = [minutes for minutes, _ in rows if isinstance(minutes, (int, float))]
    assert times == sorted(times)
    assert times[-1] == 15
    at_ten = next(warm for minutes, warm in rows if minutes == 10)
    assert at_ten == pytest.approx(85, abs=0.5)
    assert rows[-1][1] < 60


@pytest.fixture(scope="module", params=["US", "SI"])
def chart_and_report(request, lab_site, tmp_path_factory):
    """Cells of Chart data of the laboratory in a unit system, and the JSON report of the same site."""
    site = in_units(lab_site, request.param) if request.param != lab_site.units else lab_site
    path = tmp_path_factory.mktemp("charts") / "lab.xlsx"
    path.write_bytes(workbook_bytes(site, cases_shown=3))
    values = evaluate_workbook(loaded(path), {CHART_DATA}).values
    report = Report(judge(site))
    cells = {cell: value for (sheet, cell), value in values.items() if sheet == CHART_DATA}
    return cells, file_report("lab", report, (), report.verdict), request.param


def block(cells, first_column, columns, rows):
    """Rows of one table of Chart data."""
    return [[cells.get(cell_name(FIRST + row, first_column + column, fixed=False)) for column in range(columns)]
            for row in range(rows)]  # fmt: skip


def case_of(report, words):
    """The case of the JSON report that a title names."""
    named = {f"{one['label']}: {one['season']} season, {one['supply']} supply"
             + ("" if one["fault"] == "normal" else f", {one['fault']}"): one for one in report["cases"]}  # fmt: skip
    return named[words]


def test_the_bars_of_pressure_add_up_to_the_supply_and_end_at_the_outlet_of_the_report(chart_and_report):
    cells, report, units = chart_and_report
    title = cells[cell_name(TITLES_ROW, 0, fixed=False)]
    head, _, words = title.partition(": ")
    assert head == f"Pressure from the supply to the outlet, {'psi' if units == 'US' else 'kPa'}"
    pressures = [outlet["pressure"] for outlet in case_of(report, words)["outlets"]]
    rows = block(cells, 0, NEEDED + 2, len(PATH_BARS))
    at_outlet = min(one["value"] for one in pressures)
    assert {one["unit"] for one in pressures} == {"psi" if units == "US" else "kPa"}
    assert rows[-2][STANDS] == pytest.approx(at_outlet, rel=1e-6)
    falls = [before[LEVEL] - row[LEVEL] for before, row in itertools.pairwise(rows[:-2])]
    assert [abs(fall) for fall in falls] == pytest.approx([row[LOST] for row in rows[1:-2]])
    assert at_outlet + sum(falls) == pytest.approx(rows[0][STANDS], rel=1e-5)


def test_the_margins_are_those_of_the_report(chart_and_report):
    cells, report, _ = chart_and_report
    rows = block(cells, MARGINS_AT, 1 + len(MARGIN_COLUMNS), len(report["stations"]))
    numbers = 0
    for row, station in zip(rows, report["stations"], strict=True):
        assert row[0] == station["tag"]
        margins = {one["id"]: one["margin"] for one in station["checks"]}
        for shown, (_, _, check) in zip(row[1:], MARGIN_COLUMNS, strict=True):
            if isinstance(shown, float):
                numbers += 1
                assert 0 <= max(-1, min(1, margins[check])) - shown + 1e-9 < 0.001, (row[0], check)  # 0.1 %, down
    assert numbers > 12


def test_the_course_is_the_same_in_both_unit_systems_and_that_of_the_report(chart_and_report):
    """Least and greatest over the flush are those that the report tells; the limits are 60 and 100 °F."""
    cells, report, units = chart_and_report
    title = cells[cell_name(TITLES_ROW, COURSE_AT, fixed=False)]
    station = cells[cell_name(COURSE_STATION_ROW, COURSE_STATION_COLUMN, fixed=False)]
    course = next(one for one in case_of(report, title.partition(": ")[2])["course"] if one["station"] == station)
    rows = [row for row in block(cells, COURSE_AT, 5, 68) if isinstance(row[0], float)]
    felt = [row[1] for row in rows]
    assert course["lowest"]["value"] == pytest.approx(min(felt), abs=0.3)
    assert course["highest"]["value"] == pytest.approx(max(felt), abs=0.05)
    limits = (60, 100) if units == "US" else (15.5556, 37.7778)
    assert rows[0][3:] == pytest.approx(limits, abs=1e-3)
    assert course["lowest"]["unit"] in title


def test_they_follow_another_input(lab, tmp_path):
    book = loaded(lab)
    edited = tmp_path / "edited.xlsx"
    with zipfile.ZipFile(lab) as package, zipfile.ZipFile(edited, "w") as made:
        part = f"xl/worksheets/sheet{book.sheetnames.index('Supplies') + 1}.xml"
        for name in package.namelist():
            text = package.read(name)
            made.writestr(name, text.replace(b"<v>66</v>", b"<v>70</v>") if name == part else text)
    before = kept(edited)
    recalculate(edited)
    assert kept(edited) != before
    assert agrees(edited) > 20


def test_a_chart_of_other_cells_is_left_alone(lab, tmp_path):
    """A person's own chart keeps its bytes, whatever it shows."""
    own = tmp_path / "own.xlsx"
    with zipfile.ZipFile(lab) as package, zipfile.ZipFile(own, "w") as made:
        for name in package.namelist():
            text = package.read(name)
            made.writestr(name, text.replace(b"'Chart data'", b"Schedule") if name == "xl/charts/chart2.xml" else text)
    before = parts(own)["xl/charts/chart2.xml"]
    recalculate(own)
    assert parts(own)["xl/charts/chart2.xml"] == before


def test_each_chart_has_alternative_text(lab):
    drawing = parts(lab)["xl/drawings/drawing1.xml"].decode()
    assert len(re.findall(r'descr="[^"]{60,}"', drawing)) == 3
