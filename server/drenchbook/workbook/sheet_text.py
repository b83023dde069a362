"""The XML text of one sheet: find its cells and change cached values, leaving every other byte as it stands."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any
from xml.sax.saxutils import unescape

from drenchbook.site_sheets import column_letters

# Comments and character data are stepped over, so that nothing inside them is taken for a cell.
_CELL = re.compile(
    rb"<!--.*?-->|<!\[CDATA\[.*?\]\]>|<((?:[A-Za-z_][\w.-]*:)?)c(?=[\s/>])([^>]*?)(?:/>|>(.*?)</\1c\s*>)", re.DOTALL
)
_NAME = re.compile(rb"""\sr\s*=\s*["']([A-Z]+[0-9]+)["']""")
_TYPE = re.compile(rb"""\st\s*=\s*(["'])(\w+)\1""")
_VALUE = re.compile(rb"<((?:[A-Za-z_][\w.-]*:)?)v(?=[\s/>])[^>]*?(?:/>|>(.*?)</\1v\s*>)", re.DOTALL)
_INLINE = re.compile(rb"<((?:[A-Za-z_][\w.-]*:)?)is(?=[\s/>])[^>]*?(?:/>|>.*?</\1is\s*>)", re.DOTALL)
_FORMULA = re.compile(rb"<((?:[A-Za-z_][\w.-]*:)?)f(?=[\s/>])([^>]*?)(?:/>|>.*?</\1f\s*>)", re.DOTALL)
_ARRAY = re.compile(rb"""<(?:[A-Za-z_][\w.-]*:)?f(?=\s)[^>]*?\sref\s*=\s*["']([A-Z]+)([0-9]+):([A-Z]+)([0-9]+)["']""")
_ILLEGAL = re.compile("[\x00-\x08\x0b\x0c\x0d\x0e-\x1f\ufffe\uffff]")
_ESCAPED = re.compile(r"_x([0-9A-Fa-f]{4})_")


@dataclass(frozen=True)
class ErrorWord:
    """An error value of a spreadsheet, such as #VALUE!."""

    code: str


@dataclass(frozen=True)
class Changed:
    """The new text of a sheet, how many cells changed, and the cells that have no place in it."""

    text: bytes
    cells: int
    without_place: tuple[str, ...]


def changed_text(text: bytes, values: Mapping[str, Any]) -> Changed:
    """Put values into computed cells: those with a formula and the members of arrays.

    A cell that already holds its value keeps its bytes, so the same values give the same bytes. A value for a cell that
    is not computed is refused: it belongs to the person who typed it.
    """
    members: set[str] | None = None
    waiting = dict(values)
    pieces: list[bytes] = []
    end = cells = 0
    for found in _CELL.finditer(text):
        attributes = found.group(2)
        named = _NAME.search(attributes) if attributes is not None else None
        if named is None:
            continue
        name = named.group(1).decode("ascii")
        if name not in waiting:
            continue
        inside = found.group(3) or b""
        formula = _FORMULA.search(inside)
        if formula is None:
            members = _array_members(text) if members is None else members
            if name not in members:
                continue
        value = waiting.pop(name)
        if _holds(attributes, inside, value):
            continue
        cells += 1
        pieces += [text[end : found.start()], _cell(found.group(1), attributes, inside, formula, value)]
        end = found.end()
    return Changed(b"".join([*pieces, text[end:]]) if pieces else text, cells, tuple(waiting))


def _array_members(text: bytes) -> set[str]:
    members: set[str] = set()
    for found in _ARRAY.finditer(text):
        left, top, right, bottom = (part.decode("ascii") for part in found.groups())
        first, last = _number(left), _number(right)
        letters = [column_letters(column) for column in range(first, last + 1)]
        members.update(f"{letter}{row}" for row in range(int(top), int(bottom) + 1) for letter in letters)
    return members


def _number(letters: str) -> int:
    number = 0
    for letter in letters:
        number = number * 26 + ord(letter) - 64
    return number


def _cell(prefix: bytes, attributes: bytes, inside: bytes, formula: re.Match[bytes] | None, value: Any) -> bytes:
    kind, shown = _written(value)
    attributes = _TYPE.sub(b"", attributes).rstrip()
    if kind:
        attributes += b' t="' + kind + b'"'
    kept = formula.group(0) if formula else b""
    rest = _INLINE.sub(b"", _VALUE.sub(b"", inside.replace(kept, b"", 1) if kept else inside)).strip()
    return b"<%sc%s>%s<%sv>%s</%sv>%s</%sc>" % (prefix, attributes, kept, prefix, shown, prefix, rest, prefix)


def _written(value: Any) -> tuple[bytes, bytes]:
    """Type and text of a value in the file."""
    if value is None:
        value = ""
    if isinstance(value, bool):
        return b"b", b"1" if value else b"0"
    if isinstance(value, (int, float)):
        if not math.isfinite(value):
            return b"e", b"#NUM!"
        return b"", number_text(value).encode("ascii")
    if isinstance(value, str):
        return b"str", _escaped(value).encode("utf-8")
    return b"e", str(value.code).encode("ascii")


def number_text(value: float) -> str:
    """The shortest text that gives back the same number.

    >>> number_text(20.0), number_text(0.1), number_text(1e300)
    ('20', '0.1', '1e+300')
    """
    text = repr(float(value))
    return text[:-2] if text.endswith(".0") else text


def _escaped(text: str) -> str:
    text = _ESCAPED.sub(lambda found: "_x005F" + found.group(0), text)
    text = text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
    return _ILLEGAL.sub(lambda found: f"_x{ord(found.group(0)):04X}_", text)


_QUOTES = {"&apos;": "'", "&quot;": '"'}  # as LibreOffice writes them


def _unescaped(text: bytes) -> str:
    return _ESCAPED.sub(lambda found: chr(int(found.group(1), 16)), unescape(text.decode("utf-8"), _QUOTES))


def _holds(attributes: bytes, inside: bytes, value: Any) -> bool:
    """Whether a cell holds this value already, in its own spelling."""
    kind, text = _type_and_text(attributes, inside)
    if text is None:
        return False
    if isinstance(value, bool):
        return kind == b"b" and text == (b"1" if value else b"0")
    if isinstance(value, (int, float)):
        return kind in (b"", b"n") and _is_number(text, value)
    if value is None or isinstance(value, str):
        return kind == b"str" and _unescaped(text) == (value or "")
    return kind == b"e" and text == str(value.code).encode("ascii")


def _is_number(text: bytes, value: float) -> bool:
    try:
        return float(text) == value
    except ValueError:
        return False


def _type_and_text(attributes: bytes, inside: bytes) -> tuple[bytes, bytes | None]:
    typed, held = _TYPE.search(attributes), _VALUE.search(inside)
    return typed.group(2) if typed else b"", (held.group(2) or b"") if held else None


def cached_values(text: bytes) -> Iterator[tuple[str, Any]]:
    """Each cell whose value stands in the sheet itself: a number, the text of a formula, True, False or an error."""
    for found in _CELL.finditer(text):
        named = _NAME.search(found.group(2)) if found.group(2) is not None else None
        if named is None:
            continue
        kind, held = _type_and_text(found.group(2), found.group(3) or b"")
        if held is None or kind == b"s":
            continue
        name = named.group(1).decode("ascii")
        if kind == b"str":
            yield name, _unescaped(held)
        elif kind == b"b":
            yield name, held.strip() == b"1"
        elif kind == b"e":
            yield name, ErrorWord(held.decode("ascii"))
        elif kind in (b"", b"n") and held.strip():
            yield name, float(held)
