"""What a person does in LibreOffice Calc, by its own interface: run by the Python that has it, not that of the tests.

calc_actions.py PIPE FILE OUT STEP... does each step and saves OUT; steps: insert:SHEET:ROW, delete:SHEET:ROW,
copy:SHEET:ROW:ROW, type:SHEET:CELL:VALUE, sort:SHEET:RANGE, filter:SHEET:RANGE:COLUMN:VALUE.
"""

import os
import sys
import time


def connected(pipe):
    import uno
    from com.sun.star.connection import NoConnectException

    local = uno.getComponentContext()
    resolver = local.ServiceManager.createInstanceWithContext("com.sun.star.bridge.UnoUrlResolver", local)
    for _ in range(120):
        try:
            return resolver.resolve(f"uno:pipe,name={pipe};urp;StarOffice.ComponentContext")
        except NoConnectException:
            time.sleep(0.5)
    raise SystemExit("LibreOffice did not answer")


def given(**values):
    from com.sun.star.beans import PropertyValue

    return tuple(PropertyValue(Name=name, Value=value) for name, value in values.items())


def do(document, step):
    action, sheet, *rest = step.split(":", 3 if step.startswith("type") else -1)
    sheet = document.Sheets.getByName(sheet)
    if action == "insert":
        sheet.Rows.insertByIndex(int(rest[0]) - 1, 1)
    elif action == "delete":
        sheet.Rows.removeByIndex(int(rest[0]) - 1, 1)
    elif action == "copy":
        source, target = (sheet.Rows.getByIndex(int(row) - 1) for row in rest)
        sheet.copyRange(target.getCellByPosition(0, 0).CellAddress, source.RangeAddress)
    elif action == "type":
        sheet.getCellRangeByName(rest[0]).setFormula(rest[1])
    elif action == "filter":
        first, last, column, value = rest
        hide(sheet.getCellRangeByName(f"{first}:{last}"), int(column), value)
    else:
        import uno
        from com.sun.star.table import TableSortField

        field = TableSortField(Field=0, IsAscending=False)
        fields = uno.Any("[]com.sun.star.table.TableSortField", (field,))
        sheet.getCellRangeByName(":".join(rest)).sort(given(SortFields=fields, ContainsHeader=False))


def hide(area, column, value):
    """Show only the rows with that text in a column, as the arrow of a heading does."""
    import uno
    from com.sun.star.sheet import TableFilterField
    from com.sun.star.sheet.FilterOperator import EQUAL

    field = TableFilterField(Field=column, Operator=EQUAL, IsNumeric=False, StringValue=value)
    asked = area.createFilterDescriptor(True)
    asked.ContainsHeader = True
    uno.invoke(asked, "setFilterFields", (uno.Any("[]com.sun.star.sheet.TableFilterField", (field,)),))
    area.filter(asked)


def main(pipe, source, target, *steps):
    context = connected(pipe)
    desktop = context.ServiceManager.createInstanceWithContext("com.sun.star.frame.Desktop", context)
    document = desktop.loadComponentFromURL(f"file://{source}", "_blank", 0, given(Hidden=True))
    for step in steps:
        do(document, step)
    document.storeToURL(f"file://{target}", given(FilterName="Calc MS Excel 2007 XML"))
    document.close(True)
    desktop.terminate()
    sys.stderr.flush()
    os._exit(0)  # the bridge to a program that has ended may crash when its Python ends


if __name__ == "__main__":
    main(*sys.argv[1:])
