"""The command that draws every sheet: one picture a page, named by its sheet, readable by another reader."""

import re
from pathlib import Path

import numpy as np
import pytest
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


@pytest.mark.parametrize("shape", [(1, 1), (7, 5), (40, 33)])
def test_another_reader_sees_the_same_dots(shape, tmp_path):
    """Shades that the file keeps come back as they were; the reader is Pillow."""
    step = 255 // (pictures.SHADES - 1)
    dots = (np.random.default_rng(3).integers(0, pictures.SHADES, (*shape, 3)) * step).astype(np.uint8)
    path = tmp_path / "dots.png"
    path.write_bytes(pictures.png_bytes(dots))
    with Image.open(path) as seen:
        assert seen.mode == "RGB"
        assert np.array_equal(np.asarray(seen), dots)


def test_a_shade_moves_by_less_than_half_a_step(tmp_path):
    dots = np.arange(256, dtype=np.uint8).repeat(3).reshape(16, 16, 3)
    path = tmp_path / "dots.png"
    path.write_bytes(pictures.png_bytes(dots))
    with Image.open(path) as seen:
        moved = np.abs(np.asarray(seen).astype(int) - dots)
    assert moved.max() <= 255 / (pictures.SHADES - 1) / 2
    assert moved[0, 0].max() == moved[15, 15].max() == 0, "black and white stay"


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
