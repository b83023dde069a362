"""Random sites: any cell of any table, good and bad, as a person might type it. For tests of reading and converting."""

import datetime

from hypothesis import strategies as st

from drenchbook.published.pipes import MATERIALS
from drenchbook.site_sheets import blank_site, full_grids, read_grids
from drenchbook.site_tables import PROJECT, TABLES

WORDS = st.text(
    st.characters(codec="utf-8", exclude_categories=("Cs", "Cc", "Zl", "Zp")), min_size=1, max_size=12
).filter(lambda text: text.strip() == text and not text.startswith("="))
TAGS = st.from_regex(r"[A-Z]{1,3}-[0-9]{1,3}", fullmatch=True)
NUMBERS = st.one_of(st.integers(0, 10**6), st.floats(0, 1e6, allow_subnormal=False).map(lambda x: float(f"{x:.12g}")))
DATES = st.dates(datetime.date(1990, 1, 1), datetime.date(2090, 12, 31))
BAD = st.sampled_from(["2,5", "abc", "1/0", True, datetime.date(2026, 3, 4), "12 gpm", "#N/A"])
CURVES = st.lists(
    st.tuples(st.integers(1, 90), st.integers(0, 500)), min_size=1, max_size=4, unique_by=lambda p: p[0]
).map(lambda points: "; ".join(f"{q} {p / 10}" for q, p in [(0, 11), *sorted(points)]))


def cell(column):
    """A strategy for what might be typed into a cell of a column."""
    good = {
        "number": NUMBERS,
        "text": WORDS,
        "tag": TAGS,
        "ref": TAGS,
        "refs": st.lists(TAGS, min_size=1, max_size=3).map(", ".join),
        "choice": st.sampled_from(column.choices or MATERIALS),
        "yes_no": st.sampled_from(["Y", "N"]),
        "size": st.sampled_from(["3/4", "1-1/4", "DN32", "28x1.2", "¾", 1, 2.5]),
        "fittings": st.sampled_from(["none", "4 x 90 elbow; 1 x tee, branch", 2.5]),
        "curve": CURVES,
        "date": DATES,
    }[column.kind]
    return st.one_of(good, good, st.none(), BAD) if column.kind not in ("text", "tag") else st.one_of(good, st.none())


@st.composite
def sites(draw):
    """A site as read from random grids; its ties need not be sound."""
    units = draw(st.sampled_from(["US", "SI"]))
    grids = full_grids(blank_site(units, "ANSI/ISEA Z358.1"))
    for row, column in zip(grids["project"][1:], PROJECT.columns, strict=True):
        if column.name not in ("units", "criteria_set"):
            row[1] = draw(cell(column))
    for table in TABLES[2:]:
        for _ in range(draw(st.integers(0, 2))):
            row = [draw(cell(column)) for column in table.columns]
            row[[c.name for c in table.columns].index(table.key_column)] = draw(TAGS)
            grids[table.key].append(row)
    return read_grids(grids).site
