"""The add-in of LibreOffice Calc: one method per worksheet function, described by functions.json beside this file.

It runs in the Python of the spreadsheet program. It converts, asks the server, converts back; it calculates nothing.
The program hands a blank cell over as the number 0; `blank_scalars` finds out which zeros are blanks.
"""

from __future__ import annotations

import importlib
import json
import math
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

ADD_IN, NAMES_JOB = "drenchbook.Functions", "drenchbook.NamesJob"
SERVICE = "DRENCH"  # with the name of a method: DRENCH.PIPE_LOSS, as the program writes it into a workbook
INTERFACE = "drenchbook.XFunctions"
CATEGORY = "Add-In"
DATES, FORMULAS = 2, 16  # kinds of cells to ask a range for (com.sun.star.sheet.CellFlags)
ERROR_WORDS = {503: "#NUM!", 519: "#VALUE!", 524: "#REF!", 525: "#NAME?", 532: "#DIV/0!", 32767: "#N/A"}
EPOCH_ORDINAL = 693594  # day 0 of the spreadsheet calendar, 30 December 1899

_loaded: dict[str, Any] = {}


def getComponentFactory(name: str, manager: Any, key: Any) -> Any:  # noqa: N802 - the program asks for this name
    """Factory of one of the two services of this file."""
    import unohelper  # type: ignore[import-not-found]

    helper = unohelper.ImplementationHelper()
    if name == ADD_IN:
        helper.addImplementation(_add_in_class(), ADD_IN, (SERVICE, "com.sun.star.sheet.AddIn"))
    else:
        helper.addImplementation(_job_class(), NAMES_JOB, ("com.sun.star.task.Job",))
    return helper.getComponentFactory(name, key, manager)


def description() -> dict[str, Any]:
    """What the package says: version, command that starts the program, functions and their arguments."""
    if "description" not in _loaded:
        path = Path(__file__).with_name("functions.json")
        _loaded["description"] = json.loads(path.read_text(encoding="utf-8"))
    found: dict[str, Any] = _loaded["description"]
    return found


def link() -> Any:
    """The connection to the server, one for the whole program."""
    if "link" not in _loaded:
        room = importlib.import_module("drenchbook_link")  # from the folder pythonpath beside this file
        _loaded["link"] = room.ServerLink(description()["version"], description()["command"])
        _loaded["errors"] = (room.ServerError, room.RefusedError)
    return _loaded["link"]


# From the program to the server ----------------------------------------------------------------------------------


def cells_of(value: Any) -> Any:
    """An argument as the server takes it: text, numbers, null for a blank, rows of cells for a range.

    >>> cells_of((("a", 1.0), ("", 2.0))), cells_of(""), cells_of(0.0)
    ([['a', 1.0], [None, 2.0]], None, 0.0)
    """
    if isinstance(value, tuple):
        return [[_single(cell) for cell in row] if isinstance(row, tuple) else _single(row) for row in value]
    return _single(value)


def _single(value: Any) -> Any:
    if value is None or value == "":
        return None
    if isinstance(value, float) and not math.isfinite(value):
        return "#NUM!"
    return value


def range_cells(area: Any) -> list[list[Any]]:
    """The cells of a range: blanks as null, dates as dates, errors as the text that they show."""
    rows = [list(row) for row in area.getDataArray()]
    for row, cells in enumerate(rows):
        for column, cell in enumerate(cells):
            if cell == "":
                cells[column] = None
            elif cell is None:
                cells[column] = error_word(area.getCellByPosition(column, row).getError())
    at = area.getRangeAddress()
    for part in area.queryContentCells(DATES).getRangeAddresses():
        for row in range(part.StartRow - at.StartRow, part.EndRow - at.StartRow + 1):
            for column in range(part.StartColumn - at.StartColumn, part.EndColumn - at.StartColumn + 1):
                rows[row][column] = dated(rows[row][column])
    return rows


def error_word(code: int) -> str:
    """The word for an error that the program numbers so; while it calculates, the cell's own text is not there yet.

    >>> error_word(532), error_word(502)
    ('#DIV/0!', '#VALUE!')
    """
    return ERROR_WORDS.get(code, "#VALUE!")


def dated(serial: Any) -> Any:
    """A day of the spreadsheet calendar as a date.

    >>> dated(46146.0), dated("text")
    ({'date': '2026-05-04'}, 'text')
    """
    if not isinstance(serial, float) or not 1 <= serial < 2_958_466:
        return serial
    import datetime

    day, part = divmod(serial, 1.0)
    date = datetime.date.fromordinal(EPOCH_ORDINAL + int(day))
    if not part:
        return {"date": date.isoformat()}
    moment = datetime.datetime.combine(date, datetime.time()) + datetime.timedelta(seconds=round(part * 86_400))
    return {"date": moment.isoformat()}


# From the server to the program ----------------------------------------------------------------------------------


def shown(value: Any) -> Any:
    """An answer as a cell of the program: a number is always a float, for a truth value would arrive as 0.

    >>> shown(True), shown(3), shown("OK")
    (1.0, 3.0, 'OK')
    """
    if isinstance(value, (bool, int)):
        return float(value)
    if isinstance(value, dict):
        return str(value.get("date", ""))
    return value


def shown_rows(rows: Sequence[Sequence[Any]]) -> tuple[tuple[Any, ...], ...]:
    """The rows of an answer, of one width: the program makes a silent 0 of whatever is missing.

    >>> shown_rows([[1, None], ["a"]])
    ((1.0, ''), ('a', ''))
    """
    width = max((len(row) for row in rows), default=1)
    padded = ([*row, *[""] * (width - len(row))] for row in rows)
    return tuple(tuple("" if cell is None else shown(cell) for cell in row) for row in padded) or (("",),)


def answer(function: str, arguments: list[Any], is_table: bool) -> Any:
    """The answer of the server; an error as an exception or a value that the program turns into that error.

    The functions that tell sentences tell what is wrong with the server as well.
    """
    asked = link()
    unreachable, refused = _loaded["errors"]
    try:
        value = asked.ask(function, arguments)
    except unreachable as error:
        if description()["functions"][function]["sentences"]:
            return str(error)
        raise _value_error(str(error)) from None
    except refused as error:
        if error.code == "#N/A" and not is_table:
            return None
        if error.code == "#NUM!" and not is_table:
            return math.nan
        raise _value_error(str(error)) from None
    return shown_rows(value) if is_table else shown(value)


def _value_error(sentence: str) -> Exception:
    """What the program turns into #VALUE!; an IllegalArgumentException would show as Err:502."""
    import uno  # type: ignore[import-not-found]

    made: Exception = uno.getClass("com.sun.star.uno.RuntimeException")(sentence, None)
    return made


# Which zeros are blanks ------------------------------------------------------------------------------------------


class OpenDocument:
    """What is asked of the document that calculates: its formulas, its cells and its names."""

    def __init__(self, model: Any):
        self.model = model

    def formulas(self, name: str) -> Iterator[tuple[str, str]]:
        """Sheet and formula of each cell that calls a function, by the name that the program shows."""
        for sheet in self.model.Sheets:
            search = sheet.createSearchDescriptor()
            search.SearchString = name
            search.SearchType = 0  # in formulas
            found = sheet.findAll(search)
            for area in found or ():
                for row in area.getFormulaArray():
                    for formula in row:
                        yield sheet.Name, formula

    def cell(self, place: Any) -> tuple[str, Any]:
        """Kind of a cell, and what it holds where that is typed."""
        sheets = self.model.Sheets
        if not sheets.hasByName(place.sheet):
            return "FORMULA", None
        cell = sheets.getByName(place.sheet).getCellByPosition(place.column, place.row)
        kind = cell.Type.value
        return kind, cell.getValue() if kind == "VALUE" else cell.getString() if kind == "TEXT" else None

    def name(self, word: str) -> str:
        """What a defined name stands for, or ""."""
        ranges = self.model.NamedRanges
        text: str = ranges.getByName(word).getContent() if ranges.hasByName(word) else ""
        return text


def known_blanks(caller: Any, name: str, arguments: Sequence[Any]) -> tuple[Any, ...]:
    """The arguments with None for each 0 that is an empty cell; refused where that cannot be told."""
    room = importlib.import_module("drenchbook_blanks")
    if caller is None or not any(map(room.is_zero, arguments)):
        return tuple(arguments)
    row = description()["functions"][name]
    blanks = _loaded.setdefault("blanks", room.Blanks())
    names = (name, f"{SERVICE}.{row['method']}")
    told = blanks.judge(OpenDocument(caller), (caller.RuntimeUID, name), names, arguments)
    if room.DOUBT in told:
        place = min(told.index(room.DOUBT), len(row["takes"]) - 1)
        argument = row["takes"][place]["name"]
        raise DoubtError(f'{argument} = 0: may be a blank cell; write IF(x="","",x) for a cell x that may be blank')
    return tuple(None if told[place] == room.BLANK else value for place, value in enumerate(arguments))


class DoubtError(Exception):
    """A zero that may be a blank."""


# The services ----------------------------------------------------------------------------------------------------


def _interfaces(*names: str) -> tuple[type, ...]:
    import uno

    return tuple(uno.getClass(name) for name in names)


def _add_in_class() -> type:
    import unohelper

    bases = _interfaces("com.sun.star.lang.XServiceInfo", "com.sun.star.sheet.XAddIn", "com.sun.star.lang.XServiceName",
                        "com.sun.star.sheet.XCompatibilityNames", INTERFACE)  # fmt: skip
    members = {method: _method(name) for method, name in _names_by_method().items()}
    return type("AddIn", (_AddIn, unohelper.Base, *bases), members)


def _names_by_method() -> dict[str, str]:
    return {row["method"]: name for name, row in description()["functions"].items()}


def _method(name: str) -> Any:
    row = description()["functions"][name]
    takes, is_table = row["takes"], row["table"]

    def method(self: Any, caller: Any, *arguments: Any) -> Any:
        if takes and takes[-1]["repeats"]:
            arguments = (*arguments[:-1], *arguments[-1])
        try:
            known = [_alone(each) for each in known_blanks(caller, name, arguments)]
        except DoubtError as doubt:
            if row["sentences"]:
                return str(doubt)
            raise _value_error(str(doubt)) from None
        cells = [range_cells(a) if hasattr(a, "getRangeAddress") else cells_of(a) for a in known]
        while cells and cells[-1] is None:
            cells.pop()  # left out
        return answer(name, cells, is_table)

    return method


def _alone(argument: Any) -> Any:
    """The cell of a range of one cell; anything else as it is."""
    if isinstance(argument, tuple) and len(argument) == 1 and len(argument[0]) == 1:
        return argument[0][0]
    return argument


class _AddIn:
    """What the program asks about the functions."""

    def __init__(self, context: Any):
        self.context = context
        self.locale: Any = None
        self.functions = description()["functions"]
        self.names = _names_by_method()

    def getServiceName(self) -> str:  # noqa: N802
        return SERVICE

    def getImplementationName(self) -> str:  # noqa: N802
        return ADD_IN

    def supportsService(self, name: str) -> bool:  # noqa: N802
        return name in self.getSupportedServiceNames()

    def getSupportedServiceNames(self) -> tuple[str, ...]:  # noqa: N802
        return (SERVICE, "com.sun.star.sheet.AddIn")

    def setLocale(self, locale: Any) -> None:  # noqa: N802
        self.locale = locale

    def getLocale(self) -> Any:  # noqa: N802
        import uno

        return self.locale or uno.createUnoStruct("com.sun.star.lang.Locale", "en", "US", "")

    def getProgrammaticFuntionName(self, shown_name: str) -> str:  # noqa: N802 - misspelt by its inventors
        found = self.functions.get(shown_name.upper())
        return found["method"] if found else ""

    def getDisplayFunctionName(self, method: str) -> str:  # noqa: N802
        return self.names.get(method, "")

    def getFunctionDescription(self, method: str) -> str:  # noqa: N802
        row = self._row(method)
        return row["help"] if row else ""

    def getDisplayArgumentName(self, method: str, place: int) -> str:  # noqa: N802
        argument = self._argument(method, place)
        return argument["name"] if argument else "caller"

    def getArgumentDescription(self, method: str, place: int) -> str:  # noqa: N802
        argument = self._argument(method, place)
        return argument["help"] if argument else "the document"

    def getProgrammaticCategoryName(self, method: str) -> str:  # noqa: N802
        return CATEGORY

    def getDisplayCategoryName(self, method: str) -> str:  # noqa: N802
        return CATEGORY

    def getCompatibilityNames(self, method: str) -> tuple[Any, ...]:  # noqa: N802
        import uno

        name = self.names.get(method)
        if name is None:
            return ()
        english = uno.createUnoStruct("com.sun.star.lang.Locale", "en", "US", "")
        return (uno.createUnoStruct("com.sun.star.sheet.LocalizedName", english, name),)

    def _row(self, method: str) -> dict[str, Any] | None:
        name = self.names.get(method)
        return self.functions[name] if name else None

    def _argument(self, method: str, place: int) -> dict[str, Any] | None:
        row = self._row(method)
        takes = row["takes"] if row else []
        found: dict[str, Any] | None = takes[place - 1] if 0 < place <= len(takes) else None
        return found


def _job_class() -> type:
    import unohelper

    bases = _interfaces("com.sun.star.lang.XServiceInfo", "com.sun.star.task.XJob")
    return type("NamesJob", (_NamesJob, unohelper.Base, *bases), {})


class _NamesJob:
    """Binds the plain names of a workbook that was just loaded: on loading, the program leaves them unresolved.

    Adding and removing a defined name makes it compile every unresolved formula again.
    """

    NAME = "drenchbook_binding"

    def __init__(self, context: Any):
        self.context = context

    def getImplementationName(self) -> str:  # noqa: N802
        return NAMES_JOB

    def supportsService(self, name: str) -> bool:  # noqa: N802
        return name in self.getSupportedServiceNames()

    def getSupportedServiceNames(self) -> tuple[str, ...]:  # noqa: N802
        return ("com.sun.star.task.Job",)

    def execute(self, arguments: Sequence[Any]) -> None:
        """Run by the program after it has loaded a document."""
        document = _document(arguments)
        if document is not None and _uses_our_names(document):
            bind_names(document, self.NAME)


def _document(arguments: Sequence[Any]) -> Any:
    """The spreadsheet that was loaded, or None."""
    for group in arguments:
        if group.Name == "Environment":
            for each in group.Value:
                if each.Name == "Model" and hasattr(each.Value, "NamedRanges"):
                    return each.Value
    return None


def _uses_our_names(document: Any) -> bool:
    for sheet in document.Sheets:
        search = sheet.createSearchDescriptor()
        search.SearchString = f"{SERVICE}_"
        search.SearchType = 0  # in formulas
        if sheet.findFirst(search) is not None:
            return True
    return False


def bind_names(document: Any, name: str) -> None:
    """Compile every unresolved formula of a document just loaded; it counts as unchanged, and nothing is to undo.

    What the program itself calls changed is a chart of computed cells, which it draws anew after loading.
    """
    import uno

    undo = document.getUndoManager()
    undo.lock()
    try:
        ranges = document.NamedRanges
        while ranges.hasByName(name):
            name += "_"
        ranges.addNewByName(name, "0", uno.createUnoStruct("com.sun.star.table.CellAddress"), 0)
        ranges.removeByName(name)
    finally:
        undo.unlock()
    document.setModified(False)
