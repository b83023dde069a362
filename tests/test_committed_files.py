"""The committed templates and samples are what their generator makes, byte for byte."""

import hashlib
from pathlib import Path

from drenchbook.command_line import main
from drenchbook.workbook.templates import regenerate

ROOT = Path(__file__).parents[1]


def test_templates_and_samples_are_up_to_date(capsys):
    assert main(["templates", "--check", "--root", str(ROOT)]) == 0, capsys.readouterr().out


def test_one_changed_byte_is_told(tmp_path):
    (tmp_path / "workbook_templates").mkdir()
    for path in (ROOT / "workbook_templates").iterdir():
        (tmp_path / "workbook_templates" / path.name).write_bytes(path.read_bytes())
    template = tmp_path / "workbook_templates" / "drenchbook_us.xlsx"
    before = hashlib.sha256(template.read_bytes()).hexdigest()
    template.write_bytes(template.read_bytes()[:-1] + b"\x01")
    differences = regenerate(tmp_path, check=True)
    assert [d for d in differences if "drenchbook_us.xlsx" in d]
    assert hashlib.sha256(template.read_bytes()).hexdigest() != before  # a check writes nothing
