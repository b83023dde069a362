"""Values of a site file that no cell of a workbook can hold: a sentence each, never a traceback."""

import pytest

from drenchbook.site_file import site_of_document
from drenchbook.table_results import report_of
from tests.checks.invented_sites import PROJECT, document

LISTS = ([], [1, 2], {"a": 1})


@pytest.mark.parametrize("value", [*LISTS, 10**400, -(10**400), float("nan"), float("inf")], ids=lambda v: str(v)[:12])
@pytest.mark.parametrize(
    "setting", ["cold_water_cold", "recovery_time", "calculation_date", "friction_method", "sun_warm"]
)
def test_what_is_no_single_number_is_a_sentence(setting, value):
    read = site_of_document(document(project={**PROJECT, setting: value}), "odd")
    assert any(problem.cell == f"project.{setting}" for problem in read.problems)
    assert report_of(read, "odd").verdict in ("UNKNOWN", "FAIL")


@pytest.mark.parametrize(
    ("typed", "words"),
    [("1,5", "type 1.5 with a decimal point"), ("1,250", "type 1.250 with a decimal point, or 1250 without a mark"),
     ("0,250", "type 0.250 with a decimal point")],
)  # fmt: skip
def test_a_comma_may_mean_two_things(typed, words):
    read = site_of_document(document(project={**PROJECT, "recovery_time": typed}), "odd")
    (problem,) = [one for one in read.problems if one.cell == "project.recovery_time"]
    assert problem.remedy.endswith(words)
