"""Drives a running LibreOffice for a test: one request a line on standard input, one answer a line, as JSON.

Runs in the Python that can speak to LibreOffice. Arguments: name of the pipe on which the program listens.
"""

import json
import sys
import time

FORMULAS, VALUES = 16, 7  # kinds of cells: formulas; numbers, dates and text
DATE_FORMAT = 2
OPENED = {}


def main():
    import uno

    desktop = connected(uno, sys.argv[1])
    for line in sys.stdin:
        request = json.loads(line)
        try:
            answer = {"answer": ACTIONS[request.pop("do")](uno, desktop, **request)}
        except Exception as error:  # told to the test, which fails with it
            answer = {"failed": f"{type(error).__name__}: {error}"}
        print(json.dumps(answer), flush=True)
    for document in OPENED.values():
        document.close(True)
    desktop.terminate()


def connected(uno, pipe):
    local = uno.getComponentContext()
    resolver = local.ServiceManager.createInstanceWithContext("com.sun.star.bridge.UnoUrlResolver", local)
    end = time.monotonic() + 60
    while True:
        try:
            context = resolver.resolve(f"uno:pipe,name={pipe};urp;StarOffice.ComponentContext")
            return context.ServiceManager.createInstanceWithContext("com.sun.star.frame.Desktop", context)
        except Exception:
            if time.monotonic() > end:
                raise
            time.sleep(0.05)


def option(uno, name, value):
    made = uno.createUnoStruct("com.sun.star.beans.PropertyValue")
    made.Name, made.Value = name, value
    return made


def open_file(uno, desktop, path):
    number = max(OPENED, default=0) + 1
    OPENED[number] = desktop.loadComponentFromURL(path, "_blank", 0, (option(uno, "Hidden", True),))
    return number


def save(uno, desktop, document, path, kind):
    OPENED[document].storeToURL(path, (option(uno, "FilterName", kind),))


def close(uno, desktop, document):
    OPENED.pop(document).close(True)


def cell_of(document, sheet, cell):
    return OPENED[document].Sheets.getByName(sheet).getCellRangeByName(cell)


def put(uno, desktop, document, sheet, cell, value):
    place = cell_of(document, sheet, cell).getCellByPosition(0, 0)
    if value is None:
        place.clearContents(VALUES | FORMULAS)
    elif isinstance(value, dict):  # a day, as the number of the calendar in the format of a date
        formats = OPENED[document].getNumberFormats()
        place.NumberFormat = formats.getStandardFormat(DATE_FORMAT, uno.createUnoStruct("com.sun.star.lang.Locale"))
        place.setValue(value["date"])
    elif isinstance(value, str):
        (place.setFormula if value.startswith("=") else place.setString)(value)
    else:
        place.setValue(value)


def shown(cell, value):
    """A number or a text; an error by its word."""
    return {"error": cell.getString()} if value is None or cell.getError() else value


def one(uno, desktop, document, sheet, cell):
    place = cell_of(document, sheet, cell).getCellByPosition(0, 0)
    return shown(place, place.getDataArray()[0][0])


def formula(uno, desktop, document, sheet, cell):
    return cell_of(document, sheet, cell).getCellByPosition(0, 0).getFormula()


def everything(uno, desktop, document, only=()):
    """Each sheet's cells from A1 on, row by row; only of some sheets where they are named."""
    found = {}
    for sheet in OPENED[document].Sheets:
        if only and sheet.Name not in only:
            continue
        cursor = sheet.createCursor()
        cursor.gotoEndOfUsedArea(False)
        end = cursor.getRangeAddress()
        rows = [list(row) for row in sheet.getCellRangeByPosition(0, 0, end.EndColumn, end.EndRow).getDataArray()]
        for row, cells in enumerate(rows):
            for column, value in enumerate(cells):
                if value is None:
                    cells[column] = {"error": sheet.getCellByPosition(column, row).getString()}
        found[sheet.Name] = rows
    return found


def insert_rows(uno, desktop, document, sheet, row, count):
    OPENED[document].Sheets.getByName(sheet).Rows.insertByIndex(row - 1, count)


def sort(uno, desktop, document, sheet, area, column, ascending):
    field = uno.createUnoStruct("com.sun.star.table.TableSortField")
    field.Field, field.IsAscending = column, ascending
    fields = uno.Any("[]com.sun.star.table.TableSortField", (field,))
    cell_of(document, sheet, area).sort((option(uno, "SortFields", fields), option(uno, "ContainsHeader", False)))


def calculate(uno, desktop, document):
    """Calculate every formula again; seconds."""
    start = time.perf_counter()
    OPENED[document].calculateAll()
    return time.perf_counter() - start


def edited(uno, desktop, document, sheet, cell, value, result_sheet, result_cell):
    """Seconds from typing a value to having the result, and the result."""
    start = time.perf_counter()
    put(uno, desktop, document, sheet, cell, value)
    result = one(uno, desktop, document, result_sheet, result_cell)
    return [time.perf_counter() - start, result]


def is_modified(uno, desktop, document):
    """Whether anything but a chart has changed: the program draws charts of computed cells anew, with no add-in too."""
    for sheet in OPENED[document].Sheets:
        for chart in sheet.Charts:
            chart.EmbeddedObject.setModified(False)
    return OPENED[document].isModified()


def described(uno, desktop, name):
    """What the function wizard shows of a function: its help, and name and help of each argument."""
    context = uno.getComponentContext()
    resolver = context.ServiceManager.createInstanceWithContext("com.sun.star.bridge.UnoUrlResolver", context)
    remote = resolver.resolve(f"uno:pipe,name={sys.argv[1]};urp;StarOffice.ComponentContext")
    functions = remote.ServiceManager.createInstanceWithContext("com.sun.star.sheet.FunctionDescriptions", remote)
    told = {each.Name: each.Value for each in functions.getByName(name)}
    arguments = [[each.Name, each.Description, each.IsOptional] for each in told["Arguments"] or ()]
    return {"help": told["Description"], "arguments": arguments}


ACTIONS = {"described": described,
           "open": open_file, "save": save, "close": close, "put": put, "one": one, "formula": formula,
           "everything": everything, "insert_rows": insert_rows, "sort": sort, "calculate": calculate,
           "edited": edited, "is_modified": is_modified}  # fmt: skip

if __name__ == "__main__":
    main()
