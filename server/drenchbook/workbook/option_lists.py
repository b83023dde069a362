"""The lists behind the choices of the input sheets: tags that exist, and sizes; they grow as the sheets are filled."""

from __future__ import annotations

from collections.abc import Iterator

from drenchbook.published.pipes import MATERIALS, sizes
from drenchbook.published.size_text import inches
from drenchbook.site_tables import TABLE_BY_KEY, Column, Table, all_columns
from drenchbook.workbook.drawing import Drawing
from drenchbook.workbook.layout import CHECK, InputArea, cell_name, last_cell, line_below, on_sheet, range_name

SIZE_LIST = "Size_list"
# What a spreadsheet program makes of these sizes while they are typed; the list holds them, so that they are taken.
GLYPHS = ("¼", "½", "¾", "1 ¼", "1 ½", "2 ½")


def list_for(column: Column) -> str:
    """Name of the list of a column that names tags of other tables."""
    if len(column.refers_to) == 1:
        return _one(TABLE_BY_KEY[column.refers_to[0]])
    return "Tags_of_" + "_and_".join(key for key in column.refers_to)


def _one(table: Table) -> str:
    return f"{table.sheet.replace(' ', '_')}_{table.key_column}_list"


def all_sizes() -> tuple[str, ...]:
    """Every size of the pipe tables once, smallest first, then what spreadsheet programs make of some of them."""
    found = dict.fromkeys(size for material in MATERIALS for size in sizes(material))
    inch = sorted((size for size in found if "x" not in size), key=inches)
    metric = sorted((size for size in found if "x" in size), key=lambda size: tuple(map(float, size.split("x"))))
    return (*inch, *metric, *GLYPHS)


def unions() -> tuple[tuple[str, ...], ...]:
    """The groups of tables that one column may name tags of, each group once."""
    wanted = (column.refers_to for _, column in all_columns() if column.kind == "ref" and len(column.refers_to) > 1)
    return tuple(dict.fromkeys(wanted))


def draw_option_lists(drawing: Drawing, first_row: int, first_column: int) -> None:
    """Write the joined lists and the sizes on the Check sheet and name every list."""
    for key in dict.fromkeys(key for _, column in all_columns() for key in column.refers_to):
        area = drawing.layout.inputs[key]
        tags = area.named(area.table.key_column)
        drawing.define(_one(area.table), f"INDEX({tags},2):INDEX({tags},1+MAX(1,{last_cell(area.table)}))")
    sheet, column = drawing.sheets[CHECK], first_column
    for group in unions():
        areas = [drawing.layout.inputs[key] for key in group]
        rows = sum(area.rows for area in areas)
        title = "Tags: " + ", ".join(area.table.sheet for area in areas)
        sheet.write_string(first_row - 1, column, title, drawing.look("strong"))
        for number, formula in enumerate(_union_formulas(areas, rows, line_below(cell_name(first_row - 1, column)))):
            sheet.write_formula(first_row + number, column, formula, drawing.look("computed"))
        cells = on_sheet(CHECK, range_name(first_row, column, first_row + rows - 1, column))
        counted = "+".join(last_cell(area.table) for area in areas)
        last = f"MAX(1,MIN({rows},{counted}))"
        drawing.define("Tags_of_" + "_and_".join(group), f"INDEX({cells},1):INDEX({cells},{last})")
        column += 1
    sheet.write_string(first_row - 1, column, "Sizes", drawing.look("strong"))
    for number, size in enumerate(all_sizes()):
        sheet.write_string(first_row + number, column, size, drawing.look("plain", num_format="@"))
    drawing.define(SIZE_LIST, on_sheet(CHECK, range_name(first_row, column, first_row + len(all_sizes()) - 1, column)))


def _union_formulas(areas: list[InputArea], rows: int, line: str) -> Iterator[str]:
    """Formula of each line: the tag of that number when the tables are read one after the other."""
    counts = [last_cell(area.table).split("!")[1] for area in areas]
    starts = ["+".join(counts[:number]) or "0" for number in range(len(areas))]
    for _ in range(rows):
        formula = '""'
        for area, start, count in reversed(list(zip(areas, starts, counts, strict=True))):
            tags = area.named(area.table.key_column)
            formula = f'IF({line}<={start}+{count},INDEX({tags},1+{line}-({start}))&"",{formula})'
        yield f"={formula}"
