"""The grammar of spreadsheet formulas: text in, a tree of plain tuples out.

The reader keeps the operators that wait for their right side on a stack [E. W. Dijkstra, "Algol 60 translation", 1961:
the shunting-yard algorithm], so that a formula nested however deep needs no recursion.

Nodes: ("value", v), ("missing",), ("cell", sheet, row, column), ("area", sheet, first, last), ("name", text),
("array", rows), ("negative", node), ("percent", node), ("binary", operator, left, right), ("call", name, arguments).
A row or column is (number, is_absolute); an area's row or column that is None runs over the whole sheet.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

from drenchbook.errors import InputError
from drenchbook.formula_values import ERRORS
from drenchbook.function_spelling import plain_name

Node = tuple[Any, ...]
LAST_ROW, LAST_COLUMN = 1_048_576, 16_384

# Earlier ones win: a function is told by its bracket, a cell by what does not follow it.
_TOKENS = re.compile(
    r"""(?P<error>\#(?:VALUE!|N/A|NAME\?|REF!|DIV/0!|NUM!|NULL!))
    |(?P<function>(?:\[[^\]\[]*\]!|'(?:[^']|'')+'!)?[^\W\d][\w.]*\()
    |(?P<sheet>(?:'(?:[^']|'')+'|\[\d+\][\w.]*|[^\W\d][\w.]*)!)
    |(?P<area>(?:\$?[A-Z]{1,3}\$?\d+:\$?[A-Z]{1,3}\$?\d+|\$?[A-Z]{1,3}:\$?[A-Z]{1,3}|\$?\d+:\$?\d+)(?![\w.(]))
    |(?P<cell>\$?[A-Z]{1,3}\$?[1-9]\d{0,6}(?![\w.(!:]))
    |(?P<truth>(?:TRUE|FALSE)(?![\w.(!]))
    |(?P<number>(?:\d+\.?\d*|\.\d+)(?:E[+-]?\d+)?)
    |(?P<name>[^\W\d][\w.\\?]*(?![\w.(!]))
    |(?P<string>"(?:[^"]|"")*")
    |(?P<operator><=|>=|<>|[=<>&+\-*/^%(){},;])
    |(?P<space>\s+)""",
    re.IGNORECASE | re.VERBOSE,
)
_RANK = {"=": 1, "<": 1, ">": 1, "<=": 1, ">=": 1, "<>": 1, "&": 2, "+": 3, "-": 3, "*": 4, "/": 4, "^": 5}
_SIGN_RANK = 6  # a sign binds closer than any operator: -2^2 is 4
_END = "end"
_CONSTANTS = ("number", "string", "truth", "error")
Token = tuple[str, str, int]  # kind (an operator is its own kind), text, place


class _CannotReadError(ValueError):
    """The place in a formula, counted from 0, at which it makes no sense."""

    def __init__(self, place: int):
        super().__init__(place)
        self.place = place


def parsed(formula: str) -> Node:
    """The tree of a formula.

    Parameters
    ----------
    formula : str
        Formula, with or without its leading equals sign. [-]

    Returns
    -------
    tuple
        Tree of nodes; the module's first lines name them. [-]

    >>> parsed("=-B$7*2")
    ('binary', '*', ('negative', ('cell', None, (7, True), (2, False))), ('value', 2.0))
    """
    try:
        return _Reader(formula.strip().removeprefix("=")).tree()
    except _CannotReadError as error:
        raise InputError("formula", formula, f"cannot be read near character {error.place + 1}") from None


def _tokens(text: str) -> Iterator[Token]:
    place = last = 0
    while place < len(text):
        found = _TOKENS.match(text, place)
        if found is None:
            raise _CannotReadError(place)
        kind = found.lastgroup or ""
        if kind != "space":
            yield (found[0] if kind == "operator" else kind), found[0], place
            last = place
        place = found.end()
    yield _END, "", last


class _Open:
    """What waits on the stack for its right side or its closing bracket."""

    __slots__ = ("arguments", "operator", "rank")

    def __init__(self, rank: int, operator: str, arguments: list[Node] | None = None):
        self.rank, self.operator = rank, operator  # rank 0: a bracket, of a function where it has arguments
        self.arguments = arguments


class _Reader:
    """Reads one formula, an operand and what follows it in turn."""

    def __init__(self, text: str):
        self.tokens = _tokens(text)
        self.waiting: list[_Open] = []
        self.nodes: list[Node] = []

    def tree(self) -> Node:
        """The tree of the whole text."""
        while self.operand() and self.follows():
            pass
        return self.nodes.pop()

    def operand(self) -> bool:
        """Read signs, opening brackets and then one operand; an argument may be missing."""
        while True:
            kind, text, place = next(self.tokens)
            if kind in ("+", "-"):
                self.waiting.append(_Open(_SIGN_RANK, kind))
            elif kind == "(":
                self.waiting.append(_Open(0, ""))
            elif kind == "function":
                self.waiting.append(_Open(0, plain_name(text[:-1]), []))
            elif kind in (",", ")") and self.waiting and self.waiting[-1].arguments is not None:
                self.nodes.append(("missing",))
                if kind == ")":
                    self.close(place)
                    return True
                self.waiting[-1].arguments.append(self.nodes.pop())
            else:
                self.nodes.append(self.leaf(kind, text, place))
                return True

    def leaf(self, kind: str, text: str, place: int) -> Node:
        """One value, reference, name or array."""
        if kind in _CONSTANTS:
            return ("value", _constant(kind, text))
        sheet = None
        if kind == "sheet":
            sheet = text[:-1].strip("'").replace("''", "'")
            kind, text, place = next(self.tokens)
        if kind == "cell":
            row, column = _corner(text)
            return ("cell", sheet, row, column)
        if kind == "area":
            first, last = (_corner(half) for half in text.split(":"))
            return ("area", sheet, first, last)
        if kind == "name":
            return ("name", sheet, text)
        if kind == "{" and sheet is None:
            return ("array", self.rows())
        raise _CannotReadError(place)

    def rows(self) -> tuple[tuple[Any, ...], ...]:
        """The rows of an array up to its closing brace."""
        rows: list[tuple[Any, ...]] = []
        row: list[Any] = []
        while True:
            kind, text, place = next(self.tokens)
            sign = kind if kind in ("+", "-") else ""
            if sign:
                kind, text, place = next(self.tokens)
            if kind not in _CONSTANTS or (sign and kind != "number"):
                raise _CannotReadError(place)
            value = _constant(kind, text)
            row.append(-value if sign == "-" else value)
            kind, _, place = next(self.tokens)
            if kind in (";", "}"):
                rows.append(tuple(row))
                row = []
            elif kind != ",":
                raise _CannotReadError(place)
            if kind == "}":
                break
        if len({len(row) for row in rows}) != 1:
            raise InputError("formula", "{…}", "needs rows of the same length")
        return tuple(rows)

    def follows(self) -> bool:
        """Read what follows an operand; whether another operand has to come."""
        while True:
            kind, _, place = next(self.tokens)
            if kind == "%":
                self.nodes.append(("percent", self.nodes.pop()))
            elif kind in _RANK:
                self.settle(_RANK[kind])
                self.waiting.append(_Open(_RANK[kind], kind))
                return True
            elif kind == ",":
                self.settle(1)
                if not self.waiting or self.waiting[-1].arguments is None:
                    raise _CannotReadError(place)
                self.waiting[-1].arguments.append(self.nodes.pop())
                return True
            elif kind == ")":
                self.close(place)
            elif kind == _END:
                self.settle(1)
                if self.waiting:
                    raise _CannotReadError(place)
                return False
            else:
                raise _CannotReadError(place)

    def settle(self, rank: int) -> None:
        """Give every waiting operator that binds as closely its right side."""
        while self.waiting and self.waiting[-1].rank >= rank:
            operator = self.waiting.pop()
            right = self.nodes.pop()
            if operator.rank < _SIGN_RANK:
                self.nodes.append(("binary", operator.operator, self.nodes.pop(), right))
            else:
                self.nodes.append(("negative", right) if operator.operator == "-" else right)

    def close(self, place: int) -> None:
        """Close a bracket, and call its function where it has one."""
        self.settle(1)
        if not self.waiting:
            raise _CannotReadError(place)
        bracket = self.waiting.pop()
        if bracket.arguments is not None:
            arguments = (*bracket.arguments, self.nodes.pop())
            # One empty argument is none at all: F() and F(,) differ.
            self.nodes.append(("call", bracket.operator, () if arguments == (("missing",),) else arguments))


def _constant(kind: str, text: str) -> Any:
    if kind == "number":
        return float(text)
    if kind == "string":
        return text[1:-1].replace('""', '"')
    return text.upper() == "TRUE" if kind == "truth" else ERRORS[text.upper()]


def column_number(letters: str) -> int:
    """Number of a column, A is 1.

    >>> column_number("AA")
    27
    """
    number = 0
    for letter in letters.upper():
        number = number * 26 + ord(letter) - 64
    return number


_CORNER = re.compile(r"(\$?)([A-Z]{0,3})(\$?)(\d*)", re.IGNORECASE)


def _corner(text: str) -> tuple[tuple[int, bool] | None, tuple[int, bool] | None]:
    """Row and column of half a reference, each with whether a $ holds it."""
    before, letters, between, digits = _CORNER.fullmatch(text).groups()  # type: ignore[union-attr]
    column = (column_number(letters), bool(before)) if letters else None
    row = (int(digits), bool(between if letters else before)) if digits else None
    if (column and column[0] > LAST_COLUMN) or (row and not 1 <= row[0] <= LAST_ROW):
        raise InputError("formula", text, "is a cell outside any sheet")
    return row, column
