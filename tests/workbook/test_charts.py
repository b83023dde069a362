"""The charts of the Cover: what they keep is what the cells show; they follow the inputs; others are left alone."""

import re
import zipfile
from xml.etree import ElementTree

import pytest

from drenchbook.result_tables import PATH_BARS
from drenchbook.workbook.chart_sheet import BASE, COURSE_AT, FIRST, LOST, MARGINS_AT, NEEDED, STANDS, TITLES_ROW
from drenchbook.workbook.layout import CHART_DATA
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
