"""What a person does in LibreOffice Calc, by its own interface: run by the Python that has it, not that of the tests.

calc_actions.py PIPE FILE OUT STEP... does each step and saves OUT; steps: insert:SHEET:ROW, type:SHEET:CELL:VALUE,
sort:SHEET:RANGE.
"""

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
    elif action == "type":
        sheet.getCellRangeByName(rest[0]).setFormula(rest[1])
    else:
        import uno
        from com.sun.star.table import TableSortField

        field = TableSortField(Field=0, IsAscending=False)
        fields = uno.Any("[]com.sun.star.table.TableSortField", (field,))
        sheet.getCellRangeByName(":".join(rest)).sort(given(SortFields=fields, ContainsHeader=False))


def main(pipe, source, target, *steps):
    context = connected(pipe)
    desktop = context.ServiceManager.createInstanceWithContext("com.sun.star.frame.Desktop", context)
    document = desktop.loadComponentFromURL(f"file://{source}", "_blank", 0, given(Hidden=True))
    for step in steps:
        do(document, step)
    document.storeToURL(f"file://{target}", given(FilterName="Calc MS Excel 2007 XML"))
    document.close(True)
    desktop.terminate()


if __name__ == "__main__":
    main(*sys.argv[1:])
