"""Converting loses nothing: site file, workbook and unit system, there and back."""

import tomllib
from pathlib import Path

import pytest
from hypothesis import HealthCheck, Phase, given, settings

from drenchbook.command_line import main
from drenchbook.convert_command import convert, in_units, read_any, write_site
from drenchbook.errors import SiteError
from drenchbook.site_file import read_site_file, site_of_document, site_text
from drenchbook.site_model import Missing
from drenchbook.site_sheets import full_grids, read_grids
from drenchbook.site_tables import TABLES
from tests.site.random_sites import sites

SLOW = [HealthCheck.too_slow, HealthCheck.function_scoped_fixture]
LABORATORY = Path(__file__).parents[2] / "samples" / "laboratory.toml"


@given(sites())
@settings(max_examples=30, suppress_health_check=[HealthCheck.too_slow])
def test_a_site_file_gives_back_every_cell(site):
    assert site_of_document(tomllib.loads(site_text(site)), "x").site == site
    assert site_text(site_of_document(tomllib.loads(site_text(site)), "x").site) == site_text(site)


@given(sites())
@settings(max_examples=30, suppress_health_check=[HealthCheck.too_slow])
def test_grids_give_back_every_cell(site):
    assert read_grids(full_grids(site)).site == site


@given(sites())
@settings(max_examples=6, suppress_health_check=SLOW, phases=(Phase.explicit, Phase.generate))  # each builds a workbook
def test_a_workbook_gives_back_every_cell(tmp_path, site):
    from drenchbook.workbook.building import write_workbook
    from drenchbook.workbook.reading import read_workbook

    path = tmp_path / "random.xlsx"
    write_workbook(site, path, values=lambda draft: {})
    assert read_workbook(path).site == site


@given(sites())
@settings(max_examples=30, suppress_health_check=[HealthCheck.too_slow])
def test_units_there_and_back_agree_to_1e_12(site):
    other = "SI" if site.units == "US" else "US"
    back = in_units(in_units(site, other), site.units)
    for table in TABLES:
        for before, after in zip(site.rows(table), back.rows(table), strict=True):
            for column in table.columns:
                old, new = getattr(before, column.name), getattr(after, column.name)
                if isinstance(old, float):
                    assert new == pytest.approx(old, rel=1e-12, abs=1e-10), column.name
                elif isinstance(old, Missing) and isinstance(old.typed, (int, float)):
                    assert new.typed == pytest.approx(old.typed, rel=1e-12, abs=1e-10), column.name
                elif column.kind == "curve" and not isinstance(old, Missing) and old is not None:
                    for point, again in zip(old, new, strict=True):
                        assert again == pytest.approx(point, rel=1e-12)
                else:
                    assert new == old


def test_the_laboratory_comes_back_from_a_workbook_the_same(tmp_path):
    convert(LABORATORY, tmp_path / "lab.xlsx")
    convert(tmp_path / "lab.xlsx", tmp_path / "lab.toml")
    assert read_site_file(tmp_path / "lab.toml").site == read_site_file(LABORATORY).site


def test_converted_numbers_are_the_same_quantities():
    site = read_site_file(LABORATORY).site
    other = in_units(site, "SI")
    assert other.units == "SI"
    assert other.supplies[0].static_low == pytest.approx(66 * 6.894757293168)
    assert other.hot_water_sources[0].start_temperature == pytest.approx((130 - 32) / 1.8)
    assert other.line_devices[2].curve[1] == pytest.approx((10 * 3.785411784, 10.6 * 6.894757293168))
    assert other.limits == site.limits  # limits keep the unit of their source


def test_a_broken_network_is_not_converted_and_the_target_is_left_alone(tmp_path):
    broken = tmp_path / "broken.toml"
    broken.write_text(
        LABORATORY.read_text(encoding="utf-8").replace('fed_from = "TR-A"', 'fed_from = "TR-Z"'), encoding="utf-8"
    )
    target = tmp_path / "out.xlsx"
    with pytest.raises(SiteError, match=r"pipe_runs\[5\]\.fed_from \(TR-B\): \"TR-Z\""):
        convert(broken, target)
    assert not target.exists()


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[project\n", "is not TOML text"),
        ("[[pipes]]\ntag = 'x'\n", "pipes: blank: is no table of a site; did you mean pipe_runs"),
        ("[[pipe_runs]]\ntag = 'x'\nlenght = 3\n", r"pipe_runs[1].lenght: 3: is no column of this table; did you mean"),
        ("[pipe_runs]\ntag = 'x'\n", "must be written as [[pipe_runs]]"),
    ],
)
def test_a_site_file_that_cannot_be_read_says_where(tmp_path, text, words):
    path = tmp_path / "site.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(SiteError) as caught:
        read_any(path)
    assert words.split(";")[0] in str(caught.value)


@pytest.mark.parametrize("name", ["site.xls", "site.csv", "site"])
def test_another_kind_of_file_is_refused(tmp_path, name):
    (tmp_path / name).write_text("x", encoding="utf-8")
    with pytest.raises(SiteError, match="neither a workbook"):
        read_any(tmp_path / name)
    with pytest.raises(SiteError, match=r"must end in \.xlsx, \.xlsm or \.toml"):
        write_site(read_site_file(LABORATORY).site, tmp_path / name)


def test_a_missing_file_is_a_sentence(tmp_path):
    with pytest.raises(SiteError, match="cannot be opened"):
        read_any(tmp_path / "none.toml")


@pytest.mark.parametrize("command", ["convert", "recalc", "start"])
def test_a_folder_that_cannot_be_written_is_a_sentence(tmp_path, capsys, command):
    (tmp_path / "file").write_text("x", encoding="utf-8")
    target = str(tmp_path / "file" / "out.toml")
    workbook = str(LABORATORY.with_suffix(".xlsx"))
    given = {"convert": [str(LABORATORY), target], "recalc": [workbook, "--output", target], "start": [target]}
    assert main([command, *given[command]]) == 2
    assert "cannot be used" in capsys.readouterr().err
