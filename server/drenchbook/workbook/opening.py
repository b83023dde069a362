"""Open a workbook: what is no workbook, too large, damaged or of another template is refused in one sentence."""

from __future__ import annotations

import re
import struct
import warnings
import zipfile
import zlib
from pathlib import Path
from typing import Any

from drenchbook.errors import Problem, SiteError
from drenchbook.workbook.layout import TEMPLATE_VERSION, VERSION_NAME
from drenchbook.workbook.older_templates import OLDER_TEMPLATES
from drenchbook.workbook.package import sheet_parts

LARGEST_FILE = 100 * 2**20  # bytes; a schedule workbook of 5,000 stations has a tenth of it
LARGEST_UNPACKED = 500 * 2**20  # bytes of its text once unpacked, pictures not counted
# What the libraries raise on bytes that are no sound package; RuntimeError is an entry with a password of its own.
DAMAGE = (OSError, ValueError, LookupError, TypeError, AttributeError, SyntaxError, RuntimeError, EOFError,
          zipfile.BadZipFile, zlib.error, struct.error)  # fmt: skip
SUFFIXES = (".xlsx", ".xlsm", ".xltx", ".xltm")
_OLD_FORMAT = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
_ENCRYPTED = "EncryptedPackage".encode("utf-16-le")
_REFERENCE = re.compile(r"^(?:'((?:[^']|'')+)'|([^'!]+))!\$?([A-Z]+)\$?(\d+)(?::\$?([A-Z]+)\$?(\d+))?$")

Place = tuple[str, int, int, int, int]  # sheet, first row and column, last row and column, 1-based


def load(path: Path, *, older: bool = False) -> Any:
    """Open a workbook with its formulas, or say in one sentence why it cannot be opened.

    `older` takes workbooks of older templates as well.
    """
    refuse_unusable(path)
    import openpyxl

    try:
        with warnings.catch_warnings():  # what the library does not keep, we do not write: the package is patched
            warnings.simplefilter("ignore")
            book = openpyxl.load_workbook(path)
    except DAMAGE as error:
        raise damaged(path, error) from None
    _refuse_other_version(book, path, older)
    return book


def damaged(path: Path, error: BaseException) -> SiteError:
    """The refusal of a file whose parts cannot be read."""
    why = (
        " ".join(str(error.args[0] if isinstance(error, KeyError) and error.args else error).split())
        or type(error).__name__
    )
    return _refused(path, f"is damaged or no workbook: {why}. Open it in a spreadsheet program and save it anew, "
                          "or take the last copy that opens")  # fmt: skip


def _refused(path: Path, sentence: str) -> SiteError:
    return SiteError(str(path), [Problem("workbook", "", None, sentence, breaks_file=True)])


def refuse_unusable(path: Path) -> None:
    """Refuse, in one sentence with its remedy, a file that is no sound workbook package of a size that is read."""
    try:
        size = path.stat().st_size
        with path.open("rb") as file:
            head = file.read(2**16)
    except FileNotFoundError:
        raise _refused(path, "does not exist; check the name and the folder") from None
    except IsADirectoryError:
        raise _refused(path, "is a folder; name a workbook in it") from None
    except PermissionError:
        raise _refused(path, "is locked or may not be read; close it in the other program and try again") from None
    except OSError as error:
        raise _refused(path, f"cannot be opened: {error.strerror}") from None
    if size > LARGEST_FILE:
        raise _refused(
            path,
            f"has {size / 2**20:.0f} MB; at most {LARGEST_FILE // 2**20} MB are read. Remove pictures",
        )
    if size == 0:
        raise _refused(path, "is empty; no workbook was saved in it")
    if head.startswith(_OLD_FORMAT):
        if _ENCRYPTED in head or _ENCRYPTED in path.read_bytes():
            raise _refused(path, "is encrypted; remove its password in the spreadsheet program and save it")
        raise _refused(path, "is in the old .xls format; save it as .xlsx")
    if not zipfile.is_zipfile(path):
        raise _refused(
            path, "is not a workbook; a file ending in .xlsx or .xlsm that a spreadsheet program saved is read"
        )
    if path.suffix.lower() not in SUFFIXES:
        raise _refused(path, f"ends in {path.suffix or 'nothing'}; a workbook ending in .xlsx or .xlsm is read. "
                             "Save it as .xlsx in the spreadsheet program")  # fmt: skip
    _refuse_package(path)


def _refuse_package(path: Path) -> None:
    """Refuse a package that unpacks to too much, or of which a part does not unpack to what was packed."""
    try:
        with zipfile.ZipFile(path) as package:
            unpacked = sum(e.file_size for e in package.infolist() if e.filename.endswith((".xml", ".rels", ".vml")))
            broken = package.testzip() if unpacked <= LARGEST_UNPACKED else None
            if broken is None and unpacked <= LARGEST_UNPACKED:
                sheet_parts(package)
    except DAMAGE as error:
        raise damaged(path, error) from None
    if unpacked > LARGEST_UNPACKED:
        size = f"unpacks to {unpacked / 2**20:.0f} MB of text; at most {LARGEST_UNPACKED // 2**20} MB are read"
        raise _refused(path, f"{size}. Delete rows and sheets that are empty but formatted")
    if broken is not None:
        raise damaged(path, zipfile.BadZipFile(f"its part {broken} does not unpack"))


def _refuse_other_version(book: Any, path: Path, older: bool) -> None:
    version = template_version(book, path)
    if version == TEMPLATE_VERSION or (older and version in OLDER_TEMPLATES):
        return
    made = f"was made with template version {version}, this program has version {TEMPLATE_VERSION}; "
    if version in OLDER_TEMPLATES:
        new = path.with_name(f"{path.stem}_new{path.suffix}")
        command = f"drenchbook convert {_typed(path)} {_typed(new)}"
        raise _refused(path, f"{made}make it anew, this file stays: {command}")
    if version > TEMPLATE_VERSION:
        raise _refused(path, f"{made}install the newer program")
    raise _refused(path, f"has template version {version}, which there never was; "
                         f"restore the cell that the name {VERSION_NAME} stands for")  # fmt: skip


def _typed(path: Path) -> str:
    return f'"{path}"' if " " in str(path) else str(path)


def template_version(book: Any, path: Path) -> int:
    """The version of the template that a workbook was made with."""
    place = place_of_name(book, VERSION_NAME)
    if place is None:
        raise _refused(path, f"is a workbook, but not one of ours: the name {VERSION_NAME} is missing. "
                             "Begin with: drenchbook start NEW.xlsx")  # fmt: skip
    sheet, row, column, _, _ = place
    version = book[sheet].cell(row, column).value if sheet in book.sheetnames else None
    if isinstance(version, str):
        version = version.lstrip("=")
    try:
        return int(float(str(version)))
    except (ValueError, OverflowError):
        raise _refused(path, f"has no template version in sheet {sheet}, row {row}; restore the sheet") from None


def place_of_name(book: Any, name: str) -> Place | None:
    """Sheet, first row and column, last row and column of a name of the whole workbook; None where there is none."""
    defined = book.defined_names.get(name)
    found = _REFERENCE.match(defined.attr_text.strip()) if defined is not None and defined.attr_text else None
    if found is None:
        return None
    from openpyxl.utils.cell import column_index_from_string

    quoted, plain, left, top, right, bottom = found.groups()
    sheet = quoted.replace("''", "'") if quoted else plain
    first, last = column_index_from_string(left), column_index_from_string(right or left)
    return sheet, int(top), first, int(bottom or top), last
