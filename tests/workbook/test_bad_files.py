"""What can be wrong with a file or its sheets: one sentence with the remedy, exit code 2, every file as it was."""

import io
import json
import os
import random
import zipfile

import pytest
from openpyxl.utils.cell import range_boundaries

from drenchbook.command_line import main
from drenchbook.errors import SiteError
from drenchbook.workbook import opening
from drenchbook.workbook.reading import read_workbook
from tests.workbook.packages import loaded, part_of, parts, with_text

OLD_FORMAT = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"


def told(capsys, *command):
    """Exit code and what was said on the error stream."""
    code = main([str(word) for word in command])
    return code, capsys.readouterr().err.strip()


def packed(content):
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as package:
        for name, text in content.items():
            package.writestr(name, text)
    return made.getvalue()


def no_files(lab):
    """Files that are no workbook of ours, by what the sentence says."""
    whole = parts(lab)
    first = next(name for name in whole if name.endswith("sheet1.xml"))
    return {
        "is empty": b"",
        "is not a workbook; a file ending in .xlsx": b"tag,size\nL1,3/4\n",
        "is in the old .xls format; save it as .xlsx": OLD_FORMAT + b"\0" * 600,
        "is encrypted; remove its password": OLD_FORMAT + b"\0" * 600 + "EncryptedPackage".encode("utf-16-le"),
        "is damaged or no workbook: There is no item named": packed({"readme.txt": "hello"}),
        "is damaged or no workbook: unclosed token": packed({**whole, "_rels/.rels": whole["_rels/.rels"][:84]}),
        "is damaged or no workbook: no element found": packed({**whole, first: b""}),
    }


@pytest.mark.parametrize("number", range(7))
def test_a_file_that_is_no_workbook(lab, tmp_path, capsys, number):
    sentence, content = list(no_files(lab).items())[number]
    path, target = tmp_path / "bad.xlsx", tmp_path / "out.toml"
    path.write_bytes(content)
    for command in (("recalc", path), ("recalc", path, "--check"), ("convert", path, target)):
        code, said = told(capsys, *command)
        assert code == 2
        assert said.count("\n") == 0
        assert said.startswith(f"{path}: workbook: {sentence}"), said
    assert path.read_bytes() == content
    assert not target.exists()


def test_as_json_the_sentence_stands_in_the_json(tmp_path, capsys):
    path = tmp_path / "bad.xlsx"
    path.write_bytes(b"tag,size\n")
    assert main(["recalc", str(path), "--json"]) == 2
    answer = json.loads(capsys.readouterr().out)
    assert "is not a workbook" in json.dumps(answer)
    assert "UNKNOWN" in json.dumps(answer)


def test_one_bad_file_does_not_stop_the_others(lab, tmp_path, capsys):
    with_text(lab, part_of(lab, "Pipe runs"), b"<v>130</v>", b"<v>60</v>")
    bad, other = tmp_path / "bad.xlsx", tmp_path / "none.xlsx"
    bad.write_bytes(OLD_FORMAT + b"\0" * 600)
    before = lab.read_bytes()
    assert main(["recalc", str(bad), str(lab), str(other), "--jobs", "1"]) == 2
    said = capsys.readouterr()
    assert "old .xls format" in said.err
    assert "does not exist; check the name" in said.err
    assert f"{lab}: FAIL" in said.out
    assert lab.read_bytes() != before
    assert main(["recalc", str(lab), "--check"]) == 1
    assert "DAT-5" not in capsys.readouterr().out


def test_a_file_of_a_hundred_megabytes(lab, capsys):
    with lab.open("r+b") as file:
        file.truncate(101 * 2**20)
    code, said = told(capsys, "recalc", lab)
    assert (code, said.count("\n")) == (2, 0)
    assert "has 101 MB; at most 100 MB are read. Remove pictures" in said
    assert lab.stat().st_size == 101 * 2**20


def test_a_small_file_that_unpacks_to_very_much(lab, capsys, monkeypatch):
    monkeypatch.setattr(opening, "LARGEST_UNPACKED", 20 * 2**20)
    lab.write_bytes(packed({**parts(lab), "xl/worksheets/more.xml": b" " * (21 * 2**20)}))
    assert lab.stat().st_size < 2**20
    code, said = told(capsys, "recalc", lab)
    assert (code, said.count("\n")) == (2, 0)
    assert "MB of text; at most 20 MB are read. Delete rows and sheets" in said


@pytest.mark.parametrize("seed", range(12))
def test_a_file_with_bytes_changed_is_refused_or_reads_as_it_did(lab, lab_site, seed):
    """Whatever a damaged disk or a cut transfer leaves: a sentence, or every cell as it was."""
    chance = random.Random(seed)
    content = bytearray(lab.read_bytes())
    for _ in range(chance.choice([1, 5, 50])):
        content[chance.randrange(len(content))] = chance.randrange(256)
    lab.write_bytes(content if seed % 3 else content[: chance.randrange(len(content))])
    site, said = lab_site, "workbook: "
    try:
        site = read_workbook(lab).site
    except SiteError as error:
        said = str(error)
    assert site == lab_site
    assert said.count("\n") == 0
    assert "workbook: " in said


LOCKS = {
    ".~lock.lab.xlsx#": (b"Ada Byron,ada,office-pc,25.11.2026 09:00,file:///home/ada;", "by Ada Byron on office-pc"),
    "~$lab.xlsx": (b"\x03Ada" + b" " * 100, "is open in another program;"),
}


@pytest.mark.parametrize("name", LOCKS)
def test_a_file_that_is_open_elsewhere_is_not_written(lab, tmp_path, capsys, name):
    content, words = LOCKS[name]
    with_text(lab, part_of(lab, "Pipe runs"), b"<v>130</v>", b"<v>60</v>")
    before, lock = lab.read_bytes(), lab.with_name(name)
    lock.write_bytes(content)
    code, said = told(capsys, "recalc", lab)
    assert (code, said.count("\n")) == (2, 0)
    assert words in said
    assert f"save and close it there, or name another file to write. If no program has it open, delete {name}" in said
    source = tmp_path / "other.toml"
    source.write_text("[project]\nunits = 'US'\n", encoding="utf-8")
    assert told(capsys, "convert", source, lab)[0] == 2
    assert lab.read_bytes() == before
    assert main(["recalc", str(lab), "--check"]) == 1  # reading is free
    assert main(["recalc", str(lab), "--output", str(tmp_path / "copy.xlsx")]) == 1
    lock.unlink()
    assert main(["recalc", str(lab)]) == 1
    assert lab.read_bytes() != before


def test_a_file_that_may_not_be_replaced(lab, capsys, monkeypatch):
    def denied(*names):
        raise PermissionError(13, "in use", str(names[-1]))

    with_text(lab, part_of(lab, "Pipe runs"), b"<v>130</v>", b"<v>60</v>")
    before = lab.read_bytes()
    monkeypatch.setattr(os, "replace", denied)
    code, said = told(capsys, "recalc", lab)
    assert (code, said.count("\n")) == (2, 0)
    assert "cannot be written: another program has it open, or you may not write in its folder" in said
    assert lab.read_bytes() == before
    assert [path.name for path in lab.parent.iterdir()] == ["lab.xlsx"], "nothing half-written is left"


def test_a_disk_that_is_full_stops_one_file_only(lab, capsys, monkeypatch):
    def full(handle):
        raise OSError(28, "No space left on device")

    with_text(lab, part_of(lab, "Pipe runs"), b"<v>130</v>", b"<v>60</v>")
    before = lab.read_bytes()
    monkeypatch.setattr(os, "fsync", full)
    code, said = told(capsys, "recalc", lab)
    assert (code, said.count("\n")) == (2, 0)
    assert "No space left on device" in said
    assert lab.read_bytes() == before
    assert [path.name for path in lab.parent.iterdir()] == ["lab.xlsx"]


# ---- sheets ----


def test_merged_cells_in_a_table(lab, capsys):
    book = loaded(lab)
    book["Pipe runs"].merge_cells("K8:K9")
    book["Cover"].merge_cells("A1:C1")  # outside the tables nobody minds
    book.save(lab)
    before = lab.read_bytes()
    code, said = told(capsys, "recalc", lab)
    assert (code, said.count("\n")) == (2, 0)
    assert "sheet Pipe runs, K8:K9: these cells are merged" in said
    assert "split them and type the value in each row" in said
    assert lab.read_bytes() == before


def test_a_protected_input_sheet_is_calculated_and_told(lab, capsys):
    book = loaded(lab)
    book["Stations"].protection.sheet = True
    book.save(lab)
    assert main(["recalc", str(lab)]) == 1
    assert "Sheet Stations is protected: take the protection off" in capsys.readouterr().out
    assert loaded(lab)["Stations"].protection.sheet, "it stays as it was"


def renamed(path, old, new):
    """What a spreadsheet program does: the sheet, its names and every formula follow."""
    content, (quoted, plain) = parts(path), ("'%s'!", "%s!")
    before = (quoted if " " in old else plain) % old
    for name, text in content.items():
        if name.startswith(("xl/worksheets/sheet", "xl/charts/chart", "xl/workbook.xml")):
            content[name] = text.replace(before.encode(), (quoted % new).encode())
    book = content["xl/workbook.xml"]
    assert book.count(f'name="{old}"'.encode()) == 1
    content["xl/workbook.xml"] = book.replace(f'name="{old}"'.encode(), f'name="{new}"'.encode())
    path.write_bytes(packed(content))


def test_a_renamed_input_sheet_is_read_and_told(lab, lab_site, capsys):
    renamed(lab, "Stations", "My stations")
    read = read_workbook(lab)
    assert read.site == lab_site
    assert [str(problem) for problem in read.problems] == [
        'sheet My stations: "My stations": this sheet holds the table Stations; give it that name again, '
        "sentences use it"
    ]
    assert main(["recalc", str(lab)]) == 1
    assert "room for" not in capsys.readouterr().out


def test_a_renamed_schedule_is_no_schedule_without_room(lab, capsys):
    renamed(lab, "Schedule", "Issued")
    assert main(["recalc", str(lab)]) == 1
    assert "room for" not in capsys.readouterr().out
    assert main(["recalc", str(lab), "--check"]) == 1
    assert "DAT-5" not in capsys.readouterr().out


def test_a_sheet_renamed_by_a_program_that_does_not_follow_names(lab, capsys):
    book = loaded(lab)
    book["Stations"].title = "My stations"
    book.save(lab)
    code, said = told(capsys, "recalc", lab)
    assert code == 2
    assert "sheet Stations: this table is missing; restore its sheet and its name Stations_table" in said.replace(
        '"Stations": ', ""
    )


def test_a_deleted_column(lab, capsys):
    book = loaded(lab)
    sheet = book["Pipe runs"]
    left, top, right, _ = range_boundaries(book.defined_names["Pipe_runs_table"].attr_text.split("!")[1])
    place = next(c for c in range(left, right + 1) if str(sheet.cell(top, c).value).startswith("Far-end elevation"))
    sheet.delete_cols(place)
    book.save(lab)
    before = lab.read_bytes()
    code, said = told(capsys, "recalc", lab)
    assert code == 2
    assert '"Far-end elevation": the column with this heading is missing; restore' in said
    assert lab.read_bytes() == before


@pytest.mark.parametrize("table", ["Stations", "Project"])
def test_a_deleted_input_sheet_is_one_sentence(lab, tmp_path, capsys, table):
    book = loaded(lab)
    book.remove(book[table])
    book.save(lab)
    before = lab.read_bytes()
    for command in (("recalc", lab), ("convert", lab, tmp_path / "out.toml")):
        code, said = told(capsys, *command)
        assert code == 2
        lines = [line for line in said.split("\n") if table in line]
        assert len(lines) == 1
        assert f"this table is missing; restore its sheet and its name {table}_table" in lines[0]
    assert lab.read_bytes() == before
    assert not (tmp_path / "out.toml").exists()


@pytest.mark.parametrize("sheet", ["Results", "Schedule"])
def test_a_deleted_sheet_that_others_look_up_in_is_told(lab, capsys, sheet):
    book = loaded(lab)
    book.remove(book[sheet])
    book.save(lab)
    assert main(["recalc", str(lab), "--check"]) == 1
    said = " ".join(capsys.readouterr().out.split())
    assert f"DAT-6 FAIL Sheet {sheet} is missing, and results are looked up there. Make the workbook anew" in said


def test_a_workbook_under_another_ending(lab, tmp_path, capsys):
    """What a spreadsheet program saved under .ods or .csv is refused by its ending, never a traceback."""
    for ending in (".ods", ".csv", ""):
        path = lab.with_suffix(ending)
        path.write_bytes(lab.read_bytes())
        code, said = told(capsys, "recalc", path)
        assert (code, said.count("\n")) == (2, 0)
        assert "a workbook ending in .xlsx or .xlsm is read. Save it as .xlsx" in said
        assert main(["doctor", str(path)]) == 1
        assert "Traceback" not in capsys.readouterr().out
        assert path.read_bytes() == lab.read_bytes()


def test_the_functions_of_excel_go_into_a_workbook_only(lab, tmp_path, capsys):
    """The command that writes an .xlsm says of a bad file what the others say, and writes nothing."""
    bad, target = tmp_path / "bad.xlsx", tmp_path / "out.xlsm"
    for content, words in (
        (b"", "is empty"),
        (OLD_FORMAT + b"\0" * 600, "old .xls format"),
        (b"tag\n", "is not a workb"),
    ):
        bad.write_bytes(content)
        code, said = told(capsys, "addin", "excel", bad, target)
        assert (code, said.count("\n")) == (2, 0)
        assert words in said
        assert not target.exists()
    code, said = told(capsys, "addin", "excel", tmp_path, target)
    assert code == 2
    assert "is a folder; name a workbook in it" in said


@pytest.mark.parametrize("name", ["new.xlsx", "new.toml"])
def test_a_folder_that_is_not_there_yet_is_made(tmp_path, capsys, name):
    """As `recalc --output` does; a file where the folder should be is said, and stays."""
    target = tmp_path / "a" / "b" / name
    assert main(["start", str(target)]) == 0
    assert target.stat().st_size > 100
    assert [path.name for path in target.parent.iterdir()] == [name], "nothing half-written stands beside it"
    (tmp_path / "file").write_text("kept", encoding="utf-8")
    code, said = told(capsys, "start", tmp_path / "file" / name)
    assert (code, said.count("\n")) == (2, 0)
    assert "file" in said
    assert (tmp_path / "file").read_text(encoding="utf-8") == "kept"
