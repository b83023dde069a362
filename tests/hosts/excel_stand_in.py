"""Excel on Windows without Excel: the rendered VBA runs in an interpreter and calls xlwings' own process code.

Real here: every line of the module in the workbook (run by pyOpenVBA's interpreter of VBA), xlwings' decorators, its
conversion of arguments and answers and its COM server object, our functions. Stand-ins: COM itself (pywin32 and the
Windows libraries), the cells and Excel's own objects, as few members of them as the module uses.
"""

from __future__ import annotations

import contextlib
import ctypes
import datetime
import functools
import importlib.util
import sys
from types import SimpleNamespace
from unittest import mock

from pyopenvba.exceptions import VBARuntimeError
from pyopenvba.interpreter import (
    EMPTY,
    MISSING,
    NOTHING,
    HostBridge,
    Interpreter,
    VBAArray,
    VBADate,
    VBAErrorValue,
    VBAInt,
    VBAObject,
    member,
    method,
    setter,
)
from pyopenvba.interpreter._values import error as vba_error

from drenchbook.formula_values import serial
from drenchbook.hosts.excel_module import ERROR_NUMBERS, MODULE_NAME, PYTHON_MODULE, module_text

WINDOWS_MODULES = (
    "pythoncom", "pywintypes", "win32api", "win32con", "win32event", "win32gui", "win32process", "win32timezone",
    "win32com", "win32com.client", "win32com.server", "win32com.server.dispatcher", "win32com.server.policy",
    "win32com.server.util",
)  # fmt: skip
FIRST_ERROR, PARAMETER_NOT_FOUND = -2146828288, -2147352572  # how COM numbers VBA's errors, and a missing argument
WRONG_COUNT = (449, 450)  # VBA's errors for an argument that is missing, or one too many
ERROR_TEXTS = {number: text for text, number in ERROR_NUMBERS.items()}


class NoComError(Exception):
    """Stands for pywin32's com_error."""


def _windows_module(name):
    made = mock.MagicMock(name=name)
    made.__spec__, made.__path__, made.__file__ = None, [], name
    if name == "pywintypes":
        made.TimeType, made.com_error, made.error = datetime.datetime, NoComError, NoComError
    if name == "win32com.client":
        made.CDispatch = made.CoClassBaseClass = made.DispatchBaseClass = type("Dispatch", (), {})
    if name == "win32com.server.util":
        made.unwrap = mock.Mock(side_effect=NoComError)
    return made


@contextlib.contextmanager
def windows_libraries():
    """pywin32 and the Windows libraries as far as xlwings touches them when it is loaded."""
    libraries = {name: _windows_module(name) for name in WINDOWS_MODULES}
    for name, library in libraries.items():
        parent, _, last = name.rpartition(".")
        if parent:
            setattr(libraries[parent], last, library)
    absent = mock.MagicMock()
    absent.oleacc.AccessibleObjectFromWindow.side_effect = NoComError
    sys.modules.update(libraries)
    try:
        with (
            mock.patch.multiple(ctypes, create=True, windll=absent, oledll=absent, PyDLL=mock.MagicMock()),
            mock.patch("atexit.register", lambda function, *more: function),
        ):
            yield
    finally:
        for name in libraries:
            del sys.modules[name]


@functools.cache
def windows_side():
    """xlwings as it is in Excel's Python process, and our functions as it has them there."""
    import xlwings

    with windows_libraries():
        from xlwings import _xlwindows

        with mock.patch.object(xlwings, "_xlwindows", _xlwindows, create=True):
            from xlwings import com_server, udfs
        decorators = {"func": udfs.xlfunc, "arg": udfs.xlarg, "ret": udfs.xlret}
        with mock.patch.multiple(xlwings, **decorators):
            spec = importlib.util.find_spec(PYTHON_MODULE)
            functions = importlib.util.module_from_spec(spec)
            spec.loader.exec_module(functions)
    xlwings._xlwindows = _xlwindows
    excel = xlwings.Engine(impl=_xlwindows.engine)
    if "excel" not in [engine.name for engine in xlwings.engines]:
        xlwings.engines.add(excel)
    udfs.udf_modules[PYTHON_MODULE] = {"filename": "", "filetime": None, "module": functions}
    return SimpleNamespace(udfs=udfs, com_server=com_server, functions=functions, xlwings=xlwings)


def to_com(value):
    """A value of VBA as COM hands it to Python."""
    if value is EMPTY or value is NOTHING:
        return None
    if value is MISSING:
        return PARAMETER_NOT_FOUND
    if isinstance(value, VBAErrorValue):
        return FIRST_ERROR + value.number
    if isinstance(value, VBADate):
        return datetime.datetime(1899, 12, 30) + datetime.timedelta(days=value.serial)
    if isinstance(value, VBAArray):
        if len(value.bounds) == 1:
            return tuple(map(to_com, value.items))
        (top, bottom), (left, right) = value.bounds
        return tuple(tuple(to_com(value.get([row, column])) for column in range(left, right + 1))
                     for row in range(top, bottom + 1))  # fmt: skip
    return int(value) if isinstance(value, VBAInt) else value


def from_com(value):
    """What Python answers as VBA gets it."""
    if value is None:
        return EMPTY
    if isinstance(value, (list, tuple)):
        if value and isinstance(value[0], (list, tuple)):
            made = VBAArray([(0, len(value) - 1), (0, len(value[0]) - 1)])
            for row, cells in enumerate(value):
                for column, cell in enumerate(cells):
                    made.set([row, column], from_com(cell))
            return made
        return VBAArray([(0, len(value) - 1)], items=[from_com(cell) for cell in value])
    return VBAInt(value, "Long") if isinstance(value, int) and not isinstance(value, bool) else value


class PythonProcess(VBAObject):
    """What XLPy gives: the object of xlwings' COM server, which can die."""

    def __init__(self):
        self.asked, self.alive, self.server = [], True, windows_side().com_server.XLPython()

    @method
    def CallUDF(self, script, wanted, given):  # noqa: N802 - its name in xlwings
        """One call, as COM carries it."""
        if not self.alive:
            raise vba_error(440, "The RPC server is unavailable")
        self.asked.append(str(wanted))
        return from_com(self.server.CallUDF(str(script), str(wanted), to_com(given)))


class Cells(VBAObject):
    """A range of a sheet: rows of None, numbers, text, truth values, dates, `VBAErrorValue`."""

    vba_type_name = "StandInRange"

    def __init__(self, rows, areas=1, money=False, whole_columns=False):
        self.rows, self.areas, self.money, self.whole_columns = rows, areas, money, whole_columns

    def _as(self, convert):
        if self.whole_columns:
            raise vba_error(7, "Out of memory")  # twenty whole columns are twenty million cells
        if len(self.rows) == 1 and len(self.rows[0]) == 1:
            return convert(self.rows[0][0])
        made = VBAArray([(1, len(self.rows)), (1, len(self.rows[0]))])
        for row, cells in enumerate(self.rows, start=1):
            for column, cell in enumerate(cells, start=1):
                made.set([row, column], convert(cell))
        return made

    @member
    def Value(self):  # noqa: N802
        """Dates as dates, money with four decimals."""
        return self._as(lambda cell: round(cell, 4) if self.money and isinstance(cell, float) else in_cell(cell))

    @member
    def Value2(self):  # noqa: N802
        """Dates as numbers."""
        return self._as(lambda cell: serial(cell) if isinstance(cell, datetime.date) else in_cell(cell))

    @member
    def Areas(self):  # noqa: N802
        """Parts of a range that does not hang together."""
        return Counted(self.areas)

    @member
    def Rows(self):  # noqa: N802
        """How many rows."""
        return Counted(1_048_576 if self.whole_columns else len(self.rows))

    @member
    def Worksheet(self):  # noqa: N802
        """The sheet, as far as its size."""
        return Sheet(self)


class Sheet(VBAObject):
    """A sheet: its rows, and the range that is used."""

    def __init__(self, cells):
        self.cells = cells

    @member
    def Rows(self):  # noqa: N802
        """All of them."""
        return Counted(1_048_576)

    @member
    def UsedRange(self):  # noqa: N802
        """What is filled."""
        return Cells(self.cells.rows)


class Counted(VBAObject):
    """A collection of which only the number matters."""

    def __init__(self, count):
        self.count = count

    @member
    def Count(self):  # noqa: N802
        """How many."""
        return VBAInt(self.count, "Long")


class Application(VBAObject):
    """Excel: it keeps the texts of the function wizard."""

    vba_type_name = "StandInApplication"

    def __init__(self):
        self.wizard = {}

    @method
    def MacroOptions(self, Macro, Description, Category, ArgumentDescriptions=MISSING):  # noqa: N802
        """Texts of one function."""
        places = [] if ArgumentDescriptions is MISSING else list(to_com(ArgumentDescriptions))
        self.wizard[Macro] = (Description, Category, places)

    @method
    def Intersect(self, one, other):  # noqa: N802
        """What is in both."""
        return Cells([row[: len(one.rows[0])] for row in other.rows])


class Book(VBAObject):
    """The workbook."""

    vba_type_name = "StandInBook"

    def __init__(self, name):
        self.name, self.saved = name, True

    @member
    def Name(self):  # noqa: N802
        """Name of its file."""
        return self.name

    @member
    def Saved(self):  # noqa: N802
        """Whether nothing changed."""
        return self.saved

    @setter("Saved")
    def _saved(self, value):
        self.saved = value


class Excel(HostBridge):
    """A running Excel with one workbook open whose macros are allowed."""

    def __init__(self, name="site.xlsm", text=None):
        self.application, self.book, self.python = Application(), Book(name), PythonProcess()
        self.installed = True
        self.vba = Interpreter(self)
        self.vba.add_module((text or module_text()).replace("\r\n", "\n"), name=MODULE_NAME)
        self.vba.add_module(
            "Public Function XLPy() As Object\n    Set XLPy = StartPython\nEnd Function\n", name="xlwings"
        )

    def global_object(self, name):
        """The objects that VBA knows without being told."""
        if name.lower() == "startpython":
            if not self.installed:
                raise vba_error(1000, "Could not load the interpreter")
            return self.python
        found = {"application": self.application, "thisworkbook": self.book}.get(name.lower())
        return super().global_object(name) if found is None else found

    def cell(self, name, *arguments):
        """What a cell shows that holds a call with these arguments, `Cells` among them: a value, rows, or an error."""
        try:
            return shown(self.vba.run(name, [in_cell(argument) for argument in arguments], module=MODULE_NAME))
        except VBARuntimeError as error:
            if error.number not in WRONG_COUNT:
                raise
            return VBAErrorValue(ERROR_NUMBERS["#VALUE!"])  # what Excel shows for too few or too many arguments


def in_cell(value):
    """A value as a cell or a formula holds it: every number is a double."""
    if value is None:
        return EMPTY
    if isinstance(value, datetime.date):
        return VBADate(serial(value))
    if isinstance(value, int) and not isinstance(value, bool):
        return float(value)
    if isinstance(value, (list, tuple)):
        return Cells([list(row) for row in value])
    return value


def shown(value):
    """What a cell shows: errors as their text behind `VBAErrorValue`, rows as lists."""
    if isinstance(value, VBAArray):
        rows = to_com(value)
        return [list(row) if isinstance(row, tuple) else row for row in rows]
    return None if value is EMPTY else value


def run_calls(calls, excel=None):
    """Calls as the server takes them, through the workbook: `{"value": …}` or `{"error": code, "message": sentence}`.

    A blank is an empty cell, a date is a cell with a date in it, a list of rows is a range. The sentence is what
    DRENCH_REASON says about the same arguments.
    """
    excel = excel or Excel()
    answers = []
    for call in calls:
        name, arguments = call["function"], [_given(argument) for argument in call.get("arguments", [])]
        value = excel.cell(name, *arguments)
        if isinstance(value, VBAErrorValue):
            sentence = excel.cell("DRENCH_REASON", name, *arguments)
            answers.append({"error": ERROR_TEXTS.get(value.number, "#VALUE!"), "message": sentence})
        else:
            rows = isinstance(value, list) and value and not isinstance(value[0], list)
            answers.append({"value": [value] if rows else value})
    return answers


def _given(argument):
    if argument is None:
        return Cells([[None]])
    if isinstance(argument, dict):
        return Cells([[_date(argument)]])
    if isinstance(argument, datetime.date):
        return Cells([[argument]])
    if isinstance(argument, (list, tuple)):
        return Cells([[_date(cell) if isinstance(cell, dict) else cell for cell in row] for row in argument])
    return argument


def _date(argument):
    read = datetime.datetime.fromisoformat(argument["date"])
    return read.date() if read.time() == datetime.time() else read
