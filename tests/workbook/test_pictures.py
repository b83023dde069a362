"""The command that draws every sheet: one picture a page, named by its sheet, readable by another reader."""

import re
from pathlib import Path

import numpy as np
from PIL import Image

from drenchbook.workbook import pictures
from drenchbook.workbook.layout import SHEETS
from tests.formulas.libreoffice import need_libreoffice

ROOT = Path(__file__).parents[2]


def test_the_readme_shows_the_pictures_that_its_command_draws():
    """Each is there, is a picture of some size, and below 300 kB."""
    shown = re.findall(r"!\[[^\]]+\]\(([^)]+)\)", (ROOT / "README.md").read_text(encoding="utf-8"))
    assert shown == [f"{pictures.README_FOLDER}/{name}.png" for name, *_ in pictures.README_PICTURES]
    for name in shown:
        assert (ROOT / name).stat().st_size < 300_000
        with Image.open(ROOT / name) as seen:
            assert min(seen.size) > 500


def test_a_page_is_trimmed_to_what_is_drawn(tmp_path):
    """A dark bar on white paper: the bar with its margin is left, in its colours; an empty page stays whole."""
    page, target = tmp_path / "page.png", tmp_path / "trimmed.png"
    dots = np.full((300, 400, 3), 255, np.uint8)
    dots[100:140, 200:290] = 34, 56, 78
    Image.fromarray(dots).save(page)
    pictures.trimmed(page, target, margin=10)
    with Image.open(target) as seen:
        assert np.array_equal(np.asarray(seen.convert("RGB")), dots[90:150, 190:300])
    first = target.read_bytes()
    pictures.trimmed(page, target, margin=10)
    assert target.read_bytes() == first
    Image.new("RGB", (40, 30), "white").save(page)
    pictures.trimmed(page, target)
    with Image.open(target) as seen:
        assert seen.size == (40, 30)


def test_every_sheet_has_its_pictures_and_old_ones_go(lab, tmp_path, capsys):
    need_libreoffice()
    folder = tmp_path / "drawn"
    folder.mkdir()
    stale, other = folder / "lab-099-limits.png", folder / "mine.png"
    stale.write_bytes(b""), other.write_bytes(b"")
    assert pictures.main([str(folder), str(lab), "--resolution", "30", "--grey"]) == 0
    told = capsys.readouterr().out.split()
    drawn = sorted(path.name for path in folder.glob("lab-*.png"))
    assert [path.rsplit("/", 1)[1] for path in told] == drawn
    assert not stale.exists()
    assert other.exists()
    seen = {name.split("-", 2)[2].removesuffix(".png") for name in drawn}
    assert seen == {sheet.lower().replace(" ", "_") for sheet in SHEETS}
    with Image.open(folder / drawn[0]) as cover:
        red, green, blue = np.moveaxis(np.asarray(cover.convert("RGB")), 2, 0)
    assert (red == green).all()
    assert (green == blue).all()
    assert 0 < np.mean(red < 128) < 0.5, "something is drawn"


def test_without_a_program_the_sentence_names_it(lab, tmp_path, capsys, monkeypatch):
    monkeypatch.setenv("PATH", str(tmp_path))
    assert pictures.main([str(tmp_path / "drawn"), str(lab)]) == 2
    assert '"soffice": is not installed; pictures need LibreOffice and poppler' in capsys.readouterr().err
    assert not (tmp_path / "drawn").exists()


def test_a_missing_workbook_is_a_sentence_and_takes_no_picture_away(tmp_path, capsys):
    need_libreoffice()
    drawn = tmp_path / "site-001-cover.png"
    drawn.touch()
    assert pictures.main([str(tmp_path), str(tmp_path / "site.xlsx")]) == 2
    assert 'site.xlsx": is not there; name a workbook' in capsys.readouterr().err
    assert drawn.exists()
