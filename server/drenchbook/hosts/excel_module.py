"""The VBA module of the functions in Excel on Windows, written from the registry.

xlwings has a generator of its own. Its functions give the text of an exception where a number was expected, and call
Python again for every equal call (4 ms each), so this module writes its own and keeps only what is hard: the module
that xlwings ships (`XLPy`) starts the Python process and talks to it. What each function here adds is short: a blank
stays blank, a date stays a date, other numbers come unrounded, a refusal is a true error value, an equal call is
answered from memory, and the function wizard has its texts.
"""

from __future__ import annotations

import re

from drenchbook.units import SI, US
from drenchbook.worksheet_arguments import Argument
from drenchbook.worksheet_functions import FUNCTIONS, TEXT, WorksheetFunction, status

MODULE_NAME = "Drenchbook"
PYTHON_MODULE = "drenchbook.hosts.excel_functions"
CATEGORY = "Drenchbook"
LONGEST_TEXT = 255  # characters of a description in the function wizard

# Error values by their number in VBA (from memory; the first seven also in every list of CVErr values).
ERROR_NUMBERS = {"#NULL!": 2000, "#DIV/0!": 2007, "#VALUE!": 2015, "#REF!": 2023, "#NAME?": 2029, "#NUM!": 2036,
                 "#N/A": 2042}  # fmt: skip

# Words that VBA does not allow as names, [MS-VBAL] 3.3.5.2.
_RESERVED_WORDS = """
    abs addressof and any array as attribute boolean byref byte byval call case cbool cbyte ccur cdate cdbl cdec cdecl
    cint circle clng clnglng clngptr close const csng cstr currency cvar cverr date debug decimal declare defbool
    defbyte defcur defdate defdbl defdec defint deflng deflnglng deflngptr defobj defsng defstr defvar dim do doevents
    double each else elseif empty end endif enum eqv erase event exit false fix for friend function get global gosub
    goto if imp implements in input inputb int integer is lbound len lenb let like line lineinput lock long longlong
    longptr loop lset me mod new next not nothing null on open option optional or paramarray preserve print private
    pset public put raiseevent redim rem resume return rset scale seek select set sgn shared single spc static stop
    string sub tab then to true type typeof ubound unlock until variant wend while with withevents write xor
"""
RESERVED = frozenset(_RESERVED_WORDS.split())

_HEAD = """\
Attribute VB_Name = "{module}"
' Written by the program from its registry of worksheet functions; a change is lost when it is written again.
Option Explicit

Private Const MADE_BY As String = {made_by}
Private Const PYTHON_MODULE As String = "{python_module}"
Private Const MOST_REMEMBERED As Long = 20000
Private Const SECONDS_BETWEEN_TRIES As Double = 10

Private Python As Object
Private Remembered As Object
Private Trouble As String
Private TriedAt As Date

' The answer to a call: from memory where the same was asked before, otherwise from Python. An error in an argument is
' the answer, as in the program's own functions. Where Python does not answer it is #N/A, never an old number.
Private Function Answered(ByVal wanted As String, ByVal given As Variant) As Variant
    Dim plain As Variant, place As Long, part As String, key As String, keep As Boolean, answer As Variant
    plain = Array()
    If UBound(given) >= 0 Then ReDim plain(0 To UBound(given))
    key = wanted
    keep = UBound(given) >= 0
    For place = 0 To UBound(given)
        plain(place) = PlainOf(given(place))
        If IsError(plain(place)) Then
            Answered = plain(place)
            Exit Function
        End If
        part = KeyOf(plain(place))
        If part = "" Then keep = False
        key = key & part
    Next place
    If Remembered Is Nothing Then Set Remembered = CreateObject("Scripting.Dictionary")
    If keep Then
        If Remembered.Exists(key) Then
            Answered = Remembered.Item(key)
            Exit Function
        End If
    End If
    If Not Asked(wanted, plain, answer) Then
        Answered = CVErr({not_available})
        Exit Function
    End If
    If VarType(answer) = vbString Then answer = ErrorOf(answer)
    If keep Then
        If IsError(answer) Then keep = (CLng(answer) <> {not_available})
    End If
    If keep Then
        If Remembered.Count >= MOST_REMEMBERED Then Remembered.RemoveAll
        Remembered.Add key, answer
    End If
    Answered = answer
End Function

' Ask Python; False, with the reason in Trouble, where it does not answer. A process that has ended is started again
' once; then nobody asks for some seconds, so that a workbook of a thousand functions does not wait a thousand times.
' Brackets hand arguments over by value: Python's side would take a variable for something that it has to give back.
Private Function Asked(ByVal wanted As String, ByVal plain As Variant, ByRef answer As Variant) As Boolean
    Dim tries As Long
    If Trouble <> "" Then
        If Abs(CDbl(Now) - CDbl(TriedAt)) * 86400 < SECONDS_BETWEEN_TRIES Then Exit Function
    End If
    On Error GoTo Failed
Again:
    If Python Is Nothing Then
        Remembered.RemoveAll
        Set Python = XLPy()
    End If
    answer = Python.CallUDF(PYTHON_MODULE, (wanted), (plain))
    Trouble = ""
    Asked = True
    Exit Function
Failed:
    Trouble = Left(Err.Description, 200)
    If Trouble = "" Then Trouble = "error " & Err.Number
    TriedAt = Now
    Set Python = Nothing
    tries = tries + 1
    If tries < 2 Then Resume Again
End Function

' An answer in words, or what is wrong where Python gives none.
Private Function InWords(ByVal answer As Variant) As Variant
    InWords = answer
    If IsError(answer) Then
        If Trouble = "" Or CLng(answer) <> {not_available} Then Exit Function
        InWords = "Python does not answer (" & Trouble & "); the command drenchbook doctor says what is wrong"
    ElseIf VarType(answer) = vbString Then
        If Left(answer, {status_length}) = {status_start} And answer <> MADE_BY Then
            InWords = answer & "; the functions in this workbook are of " & MADE_BY & ": write it again"
        End If
    End If
End Function

' What a cell or a range holds; what was left out is a blank.
Private Function PlainOf(Optional ByVal cell As Variant) As Variant
    If IsMissing(cell) Then Exit Function
    If IsObject(cell) Then
        PlainOf = CellsOf(cell)
    Else
        PlainOf = cell
    End If
End Function

' Value rounds what is formatted as money, Value2 makes numbers of dates: numbers from one, dates from the other.
Private Function CellsOf(ByVal area As Object) As Variant
    Dim numbers As Variant, dates As Variant, row As Long, column As Long
    If area.Areas.Count > 1 Then
        CellsOf = CVErr({value})
        Exit Function
    End If
    If area.Rows.Count = area.Worksheet.Rows.Count Then
        Set area = Application.Intersect(area, area.Worksheet.UsedRange)
        If area Is Nothing Then Exit Function
    End If
    numbers = area.Value2
    dates = area.Value
    If Not IsArray(numbers) Then
        If VarType(dates) = vbDate Then CellsOf = dates Else CellsOf = numbers
        Exit Function
    End If
    For row = LBound(numbers, 1) To UBound(numbers, 1)
        For column = LBound(numbers, 2) To UBound(numbers, 2)
            If IsError(numbers(row, column)) Then
                numbers(row, column) = TextOf(numbers(row, column))
            ElseIf VarType(dates(row, column)) = vbDate Then
                numbers(row, column) = dates(row, column)
            End If
        Next column
    Next row
    CellsOf = numbers
End Function

' What makes two arguments equal: kind and value to the last bit. No text for what is not worth remembering.
Private Function KeyOf(ByVal cell As Variant) As String
    Dim rest As Double
    Select Case VarType(cell)
    Case vbEmpty
        KeyOf = "|e"
    Case vbString
        KeyOf = "|t" & Len(cell) & ":" & cell
    Case vbBoolean
        KeyOf = "|b" & CInt(cell)
    Case vbDouble, vbSingle, vbInteger, vbLong, vbCurrency, vbDate
        If Abs(CDbl(cell)) > 1E+300 Then Exit Function
        rest = CDbl(cell) - CDbl(CStr(CDbl(cell)))
        KeyOf = "|" & VarType(cell) & ":" & CStr(CDbl(cell)) & "~" & CStr(rest)
    End Select
End Function

' Python gives an error value as its text.
Private Function ErrorOf(ByVal answer As String) As Variant
    Select Case answer
{errors_of_text}
    Case Else
        ErrorOf = answer
    End Select
End Function

Private Function TextOf(ByVal found As Variant) As String
    Select Case CLng(found)
{texts_of_error}
    Case Else
        TextOf = "#VALUE!"
    End Select
End Function

' Excel runs this when the workbook is opened. It keeps the texts of the function wizard only while the workbook is
' open, and counts them as a change of the workbook, which they are not.
Public Sub Auto_Open()
    Dim unchanged As Boolean
    On Error Resume Next
    unchanged = ThisWorkbook.Saved
{descriptions}
    ThisWorkbook.Saved = unchanged
End Sub

Private Sub Describe(ByVal wanted As String, ByVal words As String, ByVal places As Variant)
    Dim macro As String
    macro = "'" & Replace(ThisWorkbook.Name, "'", "''") & "'!" & wanted
    If UBound(places) < 0 Then
        Application.MacroOptions Macro:=macro, Description:=words, Category:="{category}"
    Else
        Application.MacroOptions Macro:=macro, Description:=words, Category:="{category}", _
            ArgumentDescriptions:=places
    End If
End Sub
"""


def module_text(functions: tuple[WorksheetFunction, ...] = FUNCTIONS) -> str:
    """The source of the module, lines ended as VBA ends them, in ASCII: other letters depend on the computer."""
    head = _HEAD.format(
        module=MODULE_NAME,
        made_by=_literal(status()),
        python_module=PYTHON_MODULE,
        not_available=ERROR_NUMBERS["#N/A"],
        value=ERROR_NUMBERS["#VALUE!"],
        status_start=_literal(status().split(" ")[0] + " "),
        status_length=len(status().split(" ")[0]) + 1,
        errors_of_text=_cases("ErrorOf", {f'"{text}"': f"CVErr({number})" for text, number in ERROR_NUMBERS.items()}),
        texts_of_error=_cases("TextOf", {str(number): f'"{text}"' for text, number in ERROR_NUMBERS.items()}),
        descriptions="\n".join(map(_description, functions)),
        category=CATEGORY,
    )
    return "\n".join([head, *map(_wrapper, functions)]).replace("\n", "\r\n")


def argument_name(argument: Argument) -> str:
    """The argument's name where VBA allows it; with an underscore behind it where VBA uses the word itself.

    >>> argument_name(Argument("static", "number", "")), argument_name(Argument("flow", "number", ""))
    ('static_', 'flow')
    """
    return f"{argument.name}_" if argument.name.lower() in RESERVED else argument.name


def argument_help(argument: Argument) -> str:
    """What the function wizard says about an argument: what it is, in which unit, and what leaving it out means.

    >>> argument_help(Argument("flow", "number", "flow", "flow"))
    'flow [gpm, in SI units L/min]'
    """
    us, si = argument.unit(US), argument.unit(SI)
    unit = "" if us in ("", "–") else f" [{us}]" if us == si else f" [{us}, in SI units {si}]"
    left_out = ""
    if argument.optional and argument.default is not None:
        us, si = (_shown(argument.default_in(system)) for system in (US, SI))
        left_out = f"; left out: {us}" if us == si else f"; left out: {us}, in SI units {si}"
    return f"{argument.help}{unit}{left_out}"[:LONGEST_TEXT]


def _shown(value: object) -> str:
    return f"{value:.4g}" if isinstance(value, float) else str(value)


def function_help(function: WorksheetFunction) -> str:
    """What the function wizard says about a function."""
    us, si = function.unit(), function.unit(tuple(SI if a.kind == "units" else None for a in function.takes))
    unit = "" if not us else f" [{us}]" if us == si else f" [{us}, in SI units {si}]"
    return f"{function.help}{unit}"[:LONGEST_TEXT]


def _wrapper(function: WorksheetFunction) -> str:
    """One function. Excel knows by `Optional` what may be left out."""
    name, takes = function.name, function.takes
    declared = [
        f"ParamArray {argument_name(a)}() As Variant" if a.repeats
        else f"{'Optional ' if a.optional else ''}ByVal {argument_name(a)} As Variant"
        for a in takes
    ]  # fmt: skip
    lines = [_wrapped(f"Public Function {name}(", declared, ") As Variant")]
    fixed = [argument_name(a) for a in takes if not a.repeats]
    start, end = ("InWords(", ")") if function.gives == TEXT else ("", "")
    if takes and takes[-1].repeats:
        lines += _gathered(fixed, argument_name(takes[-1]))
        lines.append(f'    {name} = {start}Answered("{name}", given){end}')
    else:
        lines.append(_wrapped(f'    {name} = {start}Answered("{name}", Array(', fixed, f")){end}"))
    return "\n".join([*lines, "End Function", ""])


def _gathered(fixed: list[str], last: str) -> list[str]:
    """Lines that put the arguments which may be any number behind the others, ranges as ranges."""
    count = len(fixed)
    return ["    Dim given As Variant, more As Variant, place As Long",
            f"    given = Array({', '.join(fixed)})",
            f"    more = {last}",
            f"    If UBound(more) >= 0 Then ReDim Preserve given(0 To {count} + UBound(more))",
            "    For place = 0 To UBound(more)",
            "        If IsObject(more(place)) Then",
            f"            Set given({count} + place) = more(place)",
            "        Else",
            f"            given({count} + place) = more(place)",
            "        End If",
            "    Next place"]  # fmt: skip


def _description(function: WorksheetFunction) -> str:
    places = _wrapped("Array(", [_literal(argument_help(a)) for a in function.takes], ")", indent=8)
    return f'    Describe "{function.name}", _\n        {_literal(function_help(function))}, _\n        {places}'


def _wrapped(start: str, parts: list[str], end: str, indent: int = 4, width: int = 110) -> str:
    """Parts behind commas, over several lines where they are long; VBA allows 24 of these in a statement."""
    lines = [start]
    for place, part in enumerate(parts):
        piece = part + (", " if place < len(parts) - 1 else "")
        if place and len(lines[-1]) + len(piece) > width:
            lines[-1] = f"{lines[-1]}_"
            lines.append(" " * (indent + 4))
        lines[-1] += piece
    return "\n".join(lines) + end


def _literal(text: str) -> str:
    """A VBA text; letters outside ASCII by their number.

    >>> _literal("5 °F, set")
    '"5 " & ChrW(176) & "F, set"'
    """
    parts = []
    for piece in re.findall(r"[ -~]+|[^ -~]", text):
        parts.append('"' + piece.replace('"', '""') + '"' if " " <= piece[0] <= "~" else f"ChrW({ord(piece)})")
    return " & ".join(parts) or '""'


def _cases(name: str, pairs: dict[str, str]) -> str:
    return "\n".join(f"    Case {key}\n        {name} = {value}" for key, value in pairs.items())
