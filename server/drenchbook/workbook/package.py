"""The zip package of a workbook: read it, and replace a few parts while every other byte is copied as it stands."""

from __future__ import annotations

import copy
import os
import struct
import tempfile
import zipfile
from collections.abc import Mapping
from pathlib import Path
from typing import IO
from xml.etree import ElementTree

from drenchbook.errors import Problem, SiteError

_LOCAL_HEADER = struct.Struct("<26xHH")
_FIXED_DATE = (1980, 1, 1, 0, 0, 0)
_DATA_DESCRIPTOR = 0x08
_RELATIONSHIP = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id"
_STRICT_RELATIONSHIP = "{http://purl.oclc.org/ooxml/officeDocument/relationships}id"


def sheet_parts(package: zipfile.ZipFile) -> dict[str, str]:
    """Name of the part that holds each sheet, in the order of the sheets."""
    main = _main_part(package)
    folder = main.rpartition("/")[0]
    targets = {link.get("Id"): link.get("Target", "") for link in _tree(package, _relationships_of(main))}
    parts = {}
    for element in _tree(package, main).iter():
        if _local(element.tag) == "sheet":
            target = targets.get(element.get(_RELATIONSHIP) or element.get(_STRICT_RELATIONSHIP), "")
            path = target.lstrip("/") if target.startswith("/") else os.path.normpath(f"{folder}/{target}")
            parts[element.get("name", "")] = path
    return parts


def _main_part(package: zipfile.ZipFile) -> str:
    for link in _tree(package, "_rels/.rels"):
        if link.get("Type", "").endswith("/officeDocument"):
            return link.get("Target", "").lstrip("/")
    return "xl/workbook.xml"


def _relationships_of(part: str) -> str:
    folder, _, name = part.rpartition("/")
    return f"{folder}/_rels/{name}.rels"


def _tree(package: zipfile.ZipFile, part: str) -> ElementTree.Element:
    return ElementTree.fromstring(package.read(part))


def _local(tag: str) -> str:
    return tag.rpartition("}")[2]


def with_parts(source: Path, changed: Mapping[str, bytes]) -> bytes | None:
    """The bytes of a package with some parts replaced; None when there is nothing to replace.

    Every other entry keeps its compressed bytes, its place, its date and its attributes.
    """
    if not changed:
        return None
    raw = source.read_bytes()
    with tempfile.SpooledTemporaryFile(max_size=1 << 30) as file, zipfile.ZipFile(source) as package:
        _write(file, raw, package, changed)
        file.seek(0)
        return file.read()


def _write(file: IO[bytes], raw: bytes, package: zipfile.ZipFile, changed: Mapping[str, bytes]) -> None:
    with zipfile.ZipFile(file, "w") as made:
        made.comment = package.comment
        for entry in package.infolist():
            if entry.filename in changed:
                info = zipfile.ZipInfo(entry.filename, entry.date_time)
                info.compress_type, info.external_attr = entry.compress_type, entry.external_attr
                info.create_system, info.comment = entry.create_system, entry.comment
                made.writestr(info, changed[entry.filename])
            else:
                _copy_entry(made, raw, entry)


def _copy_entry(made: zipfile.ZipFile, raw: bytes, entry: zipfile.ZipInfo) -> None:
    """Copy one entry as it is compressed; sizes then stand in its own header, so no descriptor follows it."""
    names = _LOCAL_HEADER.unpack_from(raw, entry.header_offset)
    start = entry.header_offset + 30 + sum(names)
    moved = copy.copy(entry)
    moved.flag_bits &= ~_DATA_DESCRIPTOR
    target = made.fp
    assert target is not None
    moved.header_offset = target.tell()
    target.write(moved.FileHeader())
    target.write(raw[start : start + entry.compress_size])
    made.filelist.append(moved)
    made.NameToInfo[moved.filename] = moved
    made.start_dir = target.tell()


def refuse_open_elsewhere(path: Path) -> None:
    """Refuse to replace a file that a spreadsheet program has open: what is typed there would be lost, or our results.

    Programs say so by a file beside it: `.~lock.NAME#` with the names of who has it open, or `~$NAME`.
    """
    for lock in (path.with_name(f".~lock.{path.name}#"), path.with_name(f"~${path.name}")):
        if path.exists() and lock.exists():
            remedy = "save and close it there, or name another file to write"
            stale = f"If no program has it open, delete {lock.name} beside it"
            raise _unwritten(path, f"is open in another program{_by_whom(lock)}; {remedy}. {stale}")


def _by_whom(lock: Path) -> str:
    try:
        text = lock.read_bytes()[:400].decode("utf-8", errors="replace")
    except OSError:
        return ""
    if not lock.name.startswith(".~lock."):
        return ""
    names = [name.strip() for name in text.split(",")[:3]]  # full name, user, computer
    who, host = next((name for name in names[:2] if name), ""), names[2] if len(names) > 2 else ""
    return (f" by {who}" if who else "") + (f" on {host}" if host else "")


def _unwritten(path: Path, sentence: str) -> SiteError:
    return SiteError(str(path), [Problem("workbook", "", None, f"{sentence}; nothing was written", breaks_file=True)])


def replace_file(path: Path, content: bytes) -> None:
    """Write a file beside `path`, then put it in its place at one stroke: interrupted, the old file is whole.

    SiteError where a program has the file open, or where it or its folder may not be written.
    """
    refuse_open_elsewhere(path)
    try:
        _replace(path, content)
    except PermissionError:
        sentence = ("cannot be written: another program has it open, or you may not write in its folder; close it "
                    "there, or name another file to write")  # fmt: skip
        raise _unwritten(path, sentence) from None


def _replace(path: Path, content: bytes) -> None:
    handle, name = tempfile.mkstemp(prefix=f".{path.name}.", suffix=".part", dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        if path.exists():
            os.chmod(name, path.stat().st_mode & 0o7777)
        else:
            os.chmod(name, 0o666 & ~_mask())
        os.replace(name, path)
    except BaseException:
        if os.path.exists(name):
            os.unlink(name)
        raise


def _mask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def tidied(content: bytes) -> bytes:
    """A package with its entries in order and without dates, so that the same parts give the same bytes.

    The content types stay first: programs that look at the first entry know the file by it.
    """
    import io

    made = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as package, zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as tidy:
        names = sorted(package.namelist(), key=lambda name: (name != "[Content_Types].xml", name))
        for name in names:
            info = zipfile.ZipInfo(name, _FIXED_DATE)
            info.compress_type, info.external_attr, info.create_system = zipfile.ZIP_DEFLATED, 0o600 << 16, 3
            tidy.writestr(info, package.read(name), compresslevel=6)
    return made.getvalue()
