"""The grammar of spreadsheet formulas: text in, a tree of plain tuples out.

Nodes: ("value", v), ("missing",), ("cell", sheet, row, column), ("area", sheet, first, last), ("name", text),
("array", rows), ("negative", node), ("percent", node), ("binary", operator, left, right), ("call", name, arguments).
A row or column is (number, is_absolute); an area's row or column that is None runs over the whole sheet.
"""

from __future__ import annotations

import functools
import re
from typing import Any

from drenchbook.errors import InputError
from drenchbook.formula_values import ERRORS
from drenchbook.function_spelling import plain_name

Node = tuple[Any, ...]
LAST_ROW, LAST_COLUMN = 1_048_576, 16_384

GRAMMAR = r"""
?start: comparison
?comparison: joined | comparison COMPARE joined -> binary
?joined: sum | joined JOIN sum -> binary
?sum: product | sum SIGN product -> binary
?product: power | product TIMES power -> binary
?power: signed | power POWER signed -> binary
?signed: suffixed | SIGN signed -> signed
?suffixed: atom | suffixed "%" -> percent
?atom: NUMBER -> number
     | STRING -> string
     | TRUTH -> truth
     | ERROR -> error
     | [SHEET] CELL -> cell
     | [SHEET] AREA -> area
     | [SHEET] NAME -> name
     | "(" comparison ")"
     | "{" row (";" row)* "}" -> array
     | FUNCTION argument ("," argument)* ")" -> call
row: constant ("," constant)*
?constant: NUMBER -> number
     | SIGN NUMBER -> signed_number
     | STRING -> string
     | TRUTH -> truth
     | ERROR -> error
argument: [comparison]

COMPARE: "<=" | ">=" | "<>" | "=" | "<" | ">"
JOIN: "&"
SIGN: "+" | "-"
TIMES: "*" | "/"
POWER: "^"
STRING: /"(?:[^"]|"")*"/
ERROR.9: /#(?:VALUE!|N\/A|NAME\?|REF!|DIV\/0!|NUM!|NULL!)/i
FUNCTION.8: /(?:\[[^\]\[]*\]!|'(?:[^']|'')+'!)?[^\W\d][\w.]*\(/
SHEET.7: /(?:'(?:[^']|'')+'|\[\d+\][\w.]*|[^\W\d][\w.]*)!/
AREA.6: /(?:\$?[A-Z]{1,3}\$?\d+:\$?[A-Z]{1,3}\$?\d+|\$?[A-Z]{1,3}:\$?[A-Z]{1,3}|\$?\d+:\$?\d+)(?![\w.(])/i
CELL.5: /\$?[A-Z]{1,3}\$?[1-9]\d{0,6}(?![\w.(!:])/i
TRUTH.4: /(?:TRUE|FALSE)(?![\w.(!])/i
NUMBER.3: /(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?/
NAME.2: /[^\W\d][\w.\\?]*(?![\w.(!])/
%ignore /\s+/
"""


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
    import lark  # slow to load, and not needed by those who only call a function

    try:
        return _builder().transform(_parser().parse(formula.strip().removeprefix("=")))
    except lark.exceptions.UnexpectedInput as error:
        place = getattr(error, "column", -1)
        where = f" near character {place}" if isinstance(place, int) and place > 0 else ""
        raise InputError("formula", formula, f"cannot be read{where}") from None
    except lark.exceptions.VisitError as error:
        if isinstance(error.orig_exc, InputError):
            raise error.orig_exc from None
        raise


@functools.cache
def _parser() -> Any:
    import lark

    return lark.Lark(GRAMMAR, parser="lalr", maybe_placeholders=True)


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


def _sheet(token: Any) -> str | None:
    return None if token is None else str(token)[:-1].strip("'").replace("''", "'")


def _binary(left: Node, operator: Any, right: Node) -> Node:
    return ("binary", str(operator), left, right)


def _signed(sign: Any, node: Node) -> Node:
    return (
        ("negative", node) if sign == "-" else ("binary", "+", ("value", 0.0), node) if node[0] == "missing" else node
    )


def _call(name: Any, *arguments: Node) -> Node:
    # One empty argument is none at all: F() and F(,) differ.
    return ("call", plain_name(str(name)[:-1]), () if arguments == (("missing",),) else arguments)


def _cell(sheet: Any, token: Any) -> Node:
    row, column = _corner(str(token))
    return ("cell", _sheet(sheet), row, column)


def _area(sheet: Any, token: Any) -> Node:
    first, last = (_corner(half) for half in str(token).split(":"))
    return ("area", _sheet(sheet), first, last)


@functools.cache
def _builder() -> Any:
    import lark

    @lark.v_args(inline=True)
    class Builder(lark.Transformer):
        binary = staticmethod(_binary)
        signed = staticmethod(_signed)
        call = staticmethod(_call)
        cell = staticmethod(_cell)
        area = staticmethod(_area)

        def percent(self, node: Node) -> Node:
            return ("percent", node)

        def number(self, token: Any) -> Node:
            return ("value", float(token))

        def signed_number(self, sign: Any, token: Any) -> Node:
            return ("value", -float(token) if sign == "-" else float(token))

        def string(self, token: Any) -> Node:
            return ("value", str(token)[1:-1].replace('""', '"'))

        def truth(self, token: Any) -> Node:
            return ("value", token.upper() == "TRUE")

        def error(self, token: Any) -> Node:
            return ("value", ERRORS[token.upper()])

        def name(self, sheet: Any, token: Any) -> Node:
            return ("name", _sheet(sheet), str(token))

        def argument(self, node: Node | None) -> Node:
            return ("missing",) if node is None else node

        def row(self, *values: Node) -> tuple[Any, ...]:
            return tuple(value[1] for value in values)

        def array(self, *rows: tuple[Any, ...]) -> Node:
            if len({len(row) for row in rows}) != 1:
                raise InputError("formula", "{…}", "needs rows of the same length")
            return ("array", rows)

    return Builder()
