"""The workbooks that these tests look at: the sample site and a blank one, built once, with few lines of cases."""

from pathlib import Path

import pytest

from drenchbook.published.criteria import CRITERIA_SETS
from drenchbook.site_file import read_site_file
from drenchbook.site_sheets import blank_site
from drenchbook.workbook.building import write_workbook

CASES = 24
SAMPLE = Path(__file__).parents[2] / "samples" / "laboratory.toml"


@pytest.fixture(scope="session")
def lab_site():
    return read_site_file(SAMPLE).site


@pytest.fixture(scope="session")
def lab_bytes(lab_site, tmp_path_factory):
    path = tmp_path_factory.mktemp("built") / "lab.xlsx"
    write_workbook(lab_site, path, cases_shown=CASES)
    return path.read_bytes()


@pytest.fixture(scope="session")
def blank_si_bytes(tmp_path_factory):
    path = tmp_path_factory.mktemp("built") / "blank.xlsx"
    write_workbook(blank_site("SI", CRITERIA_SETS[0]), path, cases_shown=CASES)
    return path.read_bytes()


@pytest.fixture
def lab(lab_bytes, tmp_path):
    path = tmp_path / "lab.xlsx"
    path.write_bytes(lab_bytes)
    return path


@pytest.fixture
def blank_si(blank_si_bytes, tmp_path):
    path = tmp_path / "blank.xlsx"
    path.write_bytes(blank_si_bytes)
    return path
