"""Which zeros are blanks: LibreOffice hands an empty cell over as the number 0, and a blank is never a zero.

The program does not say which cell calls. So where a 0 arrives, every formula of the document that calls this function
is looked at: those whose other arguments fit the call are candidates, and if their argument at that place comes from an
empty cell, the 0 is a blank. Where candidates disagree, or an argument might pass an empty cell on in a way that cannot
be seen here, the zero is in doubt and the call is refused.

Standard library only, Python 3.8 or later: this file runs inside a spreadsheet program.
"""

from __future__ import annotations

import math
import re
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

BLANK, ZERO, DOUBT = "blank", "zero", "doubt"
EMPTY, NUMBER, TEXT, FORMULA = "EMPTY", "VALUE", "TEXT", "FORMULA"
KEPT = 0.05  # [s] for which the formulas of a document are remembered while it calculates
MOST_FORMULAS = 20_000  # remembered by what is written in them
# These may give back a cell as it is, and with it an empty one; any other function gives a value.
PASS_ON = {"INDEX", "OFFSET", "INDIRECT", "CHOOSE", "IFS", "SWITCH", "XLOOKUP", "VLOOKUP", "HLOOKUP", "LOOKUP",
           "COM.MICROSOFT.IFS", "COM.MICROSOFT.SWITCH", "MULTIPLE.OPERATIONS"}  # fmt: skip
EITHER = {"IFERROR", "IFNA"}
_CELL = re.compile(r"(?:\$?('(?:[^']|'')+'|[^\W\d][\w]*)\.)?\$?([A-Z]{1,3})\$?([0-9]{1,7})")
_RANGE = re.compile(rf"{_CELL.pattern}:{_CELL.pattern}")
_NAME = re.compile(r"[^\W\d][\w.]*")
_CALL = re.compile(r"([^\W\d][\w.]*)\s*\(")
_NUMBER = re.compile(r"-?(?:\d+\.?\d*|\.\d+)(?:E[+-]?\d+)?%?", re.IGNORECASE)


@dataclass(frozen=True)
class Source:
    """Where an argument comes from.

    `kind` is "value" (with it), "cell" (its place), "choice" (of sources), "name" (a defined one), "range", "computed"
    or "unknown".
    """

    kind: str
    value: Any = None


@dataclass(frozen=True)
class Place:
    """A cell: the name of its sheet, and column and row counted from 0."""

    sheet: str
    column: int
    row: int


COMPUTED, UNKNOWN, RANGE = Source("computed"), Source("unknown"), Source("range")


# Reading formulas ------------------------------------------------------------------------------------------------


def _steps(formula: str, start: int = 0) -> Iterator[tuple[int, str, int]]:
    """Each character outside quotes, with its place and how many brackets are open before it."""
    depth, at, end = 0, start, len(formula)
    while at < end:
        sign = formula[at]
        if sign in "\"'":
            at += 1
            while at < end and (formula[at] != sign or formula[at + 1 : at + 2] == sign):
                at += 2 if formula[at] == sign else 1
            at += 1
            continue
        if sign in ")}":
            depth -= 1
        yield at, sign, depth
        if sign in "({":
            depth += 1
        at += 1


def arguments_from(formula: str, start: int) -> tuple[list[str], int]:
    """The arguments of a call whose opening bracket stands just before `start`, and the place after the closing one.

    >>> arguments_from('F(A1;"a;b";G(1;2))+1', 2)
    (['A1', '"a;b"', 'G(1;2)'], 18)
    """
    found, begin = [], start
    for at, sign, depth in _steps(formula, start):
        if sign == ")" and depth < 0:
            found.append(formula[begin:at].strip())
            return ([] if found == [""] else found), at + 1
        if sign == ";" and depth == 0:
            found.append(formula[begin:at].strip())
            begin = at + 1
    return [], len(formula)


def calls_in(formula: str, names: Sequence[str]) -> list[list[str]]:
    """The arguments of each call of a function, under any of its names.

    >>> calls_in('=IF(A1;DRENCH_X(B1;"y");"DRENCH_X(1)")', ["DRENCH_X", "DRENCH.X"])
    [['B1', '"y"']]
    """
    wanted = {name.upper() for name in names}
    return [arguments_from(formula, after)[0] for name, after in _names_called(formula) if name.upper() in wanted]


def _names_called(formula: str) -> Iterator[tuple[str, int]]:
    last = -2
    word = ""
    for at, sign, _ in _steps(formula):
        if sign == "(" and word.rstrip():
            yield word.rstrip(), at + 1
            word = ""
        elif sign.isalnum() or sign in "_." or (sign == " " and word):
            word = word + sign if at == last + 1 and not (word.endswith(" ") and sign != " ") else sign.strip()
        else:
            word = ""
        last = at


def source_of(text: str, sheet: str) -> Source:
    """Where the argument that is written so comes from.

    Parameters
    ----------
    text : str
        One argument, as the program writes formulas for other programs. [-]
    sheet : str
        Sheet of the formula. [-]

    >>> source_of("$B$2", "Pipes"), source_of("2*B2", "Pipes").kind, source_of("-1.5", "Pipes").value
    (Source(kind='cell', value=Place(sheet='Pipes', column=1, row=1)), 'computed', -1.5)
    """
    text = text.strip()
    while text.startswith("+") or _is_bracketed(text):  # neither changes what is passed on
        text = (text[1:] if text.startswith("+") else text[1:-1]).strip()
    if not text:
        return Source("value", None)  # left out: arrives as nothing, not as 0
    if _NUMBER.fullmatch(text):
        return Source("value", float(text[:-1]) / 100 if text.endswith("%") else float(text))
    if text.startswith('"'):
        ends = next(iter(_steps(text)), None) is None
        return Source("value", text[1:-1].replace('""', '"')) if ends else COMPUTED
    if text.upper() in ("TRUE()", "FALSE()", "TRUE", "FALSE"):
        return Source("value", 1.0 if text.upper().startswith("T") else 0.0)
    cell = _CELL.fullmatch(text)
    if cell:
        return Source("cell", _place(cell, sheet))
    if _RANGE.fullmatch(text):
        return RANGE
    called = _CALL.match(text)
    if called and arguments_from(text, called.end())[1] == len(text):
        return _of_call(called.group(1).upper(), arguments_from(text, called.end())[0], sheet)
    if _NAME.fullmatch(text):
        return Source("name", text)
    outside = {sign for _, sign, _ in _steps(text)}
    return UNKNOWN if outside & set("!~:#") or not outside & set("+-*/^&=<>%") else COMPUTED


def _of_call(name: str, arguments: list[str], sheet: str) -> Source:
    if name in PASS_ON:
        return UNKNOWN
    if name in EITHER:
        return Source("choice", tuple(source_of(each, sheet) for each in arguments))
    if name != "IF":
        return COMPUTED
    asked = arguments[0].replace("$", "").upper() if arguments else ""
    # IF(x="";"";x) passes x on only where it is not blank.
    kept = [each for each in arguments[1:] if not _asks_for(asked, each)]
    found = tuple(source_of(each, sheet) for each in kept)
    return Source("choice", (*found, COMPUTED) if len(kept) < len(arguments) - 1 else found)


def _asks_for(asked: str, text: str) -> bool:
    plain = text.replace("$", "").upper().strip()
    guards = {f'{plain}=""', f'{plain}<>""', f'""={plain}', f'""<>{plain}', f"ISBLANK({plain})", f"LEN({plain})=0",
              f"ISNUMBER({plain})", f"NOT(ISBLANK({plain}))"}  # fmt: skip
    return bool(_CELL.fullmatch(plain)) and asked.replace(" ", "") in guards


def _is_bracketed(text: str) -> bool:
    return text.startswith("(") and arguments_from(text, 1)[1] == len(text) and len(arguments_from(text, 1)[0]) == 1


def _place(cell: re.Match[str], sheet: str) -> Place:
    named = cell.group(1)
    if named:
        sheet = named[1:-1].replace("''", "'") if named.startswith("'") else named
    column = 0
    for letter in cell.group(2):
        column = column * 26 + ord(letter) - 64
    return Place(sheet, column - 1, int(cell.group(3)) - 1)


# Judging zeros ---------------------------------------------------------------------------------------------------


class Blanks:
    """Tells blanks from zeros in the calls of a document.

    `document` has three methods: `formulas(name)` gives (sheet, formula) of each cell that calls the function,
    `cell(place)` gives kind and value of a cell, and `name(word)` what a defined name stands for.
    """

    def __init__(self, clock: Any = time.monotonic):
        self.clock = clock
        self.key: Any = None
        self.until = 0.0
        self.calls: list[list[Source]] = []
        self.seen: dict[Place, tuple[str, Any]] = {}
        self.parsed: dict[Any, list[list[Source]]] = {}

    def judge(self, document: Any, key: Any, names: Sequence[str], arguments: Sequence[Any]) -> list[str]:
        """For each argument "" where it is no zero, else "blank", "zero" or "doubt"."""
        fitting = self._fitting(document, arguments) if self.key == key and self.clock() < self.until else []
        if not fitting:
            self._read(document, key, names)
            fitting = self._fitting(document, arguments)
        return [_verdict(document, fitting, place) if is_zero(value) else "" for place, value in enumerate(arguments)]

    def _read(self, document: Any, key: Any, names: Sequence[str]) -> None:
        start = self.clock()
        self.calls, self.seen = [], {}
        if len(self.parsed) > MOST_FORMULAS:
            self.parsed = {}
        for sheet, formula in document.formulas(names[0]):
            known = self.parsed.get((names, sheet, formula))
            if known is None:
                known = [[source_of(text, sheet) for text in texts] for texts in calls_in(formula, names)]
                self.parsed[names, sheet, formula] = known
            self.calls += known
        self.key, now = key, self.clock()
        self.until = now + max(KEPT, 3 * (now - start))

    def _fitting(self, document: Any, arguments: Sequence[Any]) -> list[list[Source]]:
        given = max((place + 1 for place, value in enumerate(arguments) if value is not None), default=0)
        return [sources for sources in self.calls if len(sources) >= given
                and all(map(_may_be, sources, arguments))
                and all(self._holds(document, *each) for each in zip(sources, arguments))]  # fmt: skip  # noqa: B905

    def _holds(self, document: Any, source: Source, value: Any) -> bool:
        """Whether the cell that an argument comes from can have given this value."""
        source = _named(document, source)
        if source.kind != "cell":
            return _may_be(source, value)
        if source.value not in self.seen:
            self.seen[source.value] = document.cell(source.value)
        kind, holds = self.seen[source.value]
        if kind == EMPTY:
            return is_zero(value)
        return kind == FORMULA or _same(holds, value)


def is_zero(value: Any) -> bool:
    """Whether this may be an empty cell."""
    return isinstance(value, float) and value == 0


def _named(document: Any, source: Source) -> Source:
    """What a defined name stands for; any other source as it is."""
    if source.kind != "name":
        return source
    text = document.name(source.value)
    found = source_of(text, "") if text else UNKNOWN
    return UNKNOWN if found.kind == "name" else found


def _may_be(source: Source, value: Any) -> bool:
    """Whether an argument that is written so can have this value, as far as the formula itself shows."""
    if source.kind == "value":
        return _same(source.value, value)
    return source.kind != "range" or isinstance(value, tuple)


def _same(one: Any, other: Any) -> bool:
    if isinstance(one, float) and isinstance(other, float):
        return math.isclose(one, other, rel_tol=1e-12)
    return bool(one == other) or (one == "" and other is None)


def _verdict(document: Any, fitting: Sequence[Sequence[Source]], place: int) -> str:
    told = {_zero_from(document, sources[place]) for sources in fitting if place < len(sources)}
    return told.pop() if len(told) == 1 else DOUBT


def _zero_from(document: Any, source: Source) -> str:
    """What a zero is that comes from there, by the cells as they are now."""
    source = _named(document, source)
    if source.kind == "choice":
        told = {_zero_from(document, each) for each in source.value if _can_be_zero(document, each)}
        return told.pop() if len(told) == 1 else DOUBT
    if source.kind == "cell":
        return BLANK if document.cell(source.value)[0] == EMPTY else ZERO
    return DOUBT if source.kind == "unknown" else ZERO


def _can_be_zero(document: Any, source: Source) -> bool:
    source = _named(document, source)
    if source.kind == "value":
        return is_zero(source.value)
    if source.kind == "cell":
        kind, holds = document.cell(source.value)
        return kind in (EMPTY, FORMULA) or is_zero(holds)
    return True
