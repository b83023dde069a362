"""The rules that tie rows together: tags, references and the tree. Each breach is a sentence naming row and cell."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from drenchbook.errors import Problem
from drenchbook.site_model import Missing, tag_key
from drenchbook.site_sheets import ReadSite
from drenchbook.site_tables import (
    EVENTS,
    HOT_WATER_SOURCES,
    MIXING_VALVES,
    NETWORK_TABLES,
    PIPE_RUNS,
    PLANT_MAIN,
    STATIONS,
    TABLE_BY_KEY,
    TABLES,
    Column,
    Table,
)

# Which kinds of water may feed what. "hot" water may reach a station only through a mixing valve.
_PARENT_COLUMNS = {
    "pipe_runs": ("fed_from",),
    "hot_water_sources": ("fed_from",),
    "stations": ("fed_from",),
    "mixing_valves": ("cold_run", "hot_run"),
}


def structural_problems(read: ReadSite) -> list[Problem]:
    """Every breach of the rules between rows, all at once; each breaks the file.

    Only when tags and references are sound is the tree walked for cycles and for the kind of water in each run.
    """
    rules = _Rules(read)
    problems = [*rules.duplicate_tags(), *rules.references()]
    return problems or list(rules.tree())


class _Rules:
    def __init__(self, read: ReadSite):
        self.read = read
        self.network: dict[str, tuple[Table, int, Any]] = {}
        for key in NETWORK_TABLES:
            for number, row in enumerate(read.site.rows(TABLE_BY_KEY[key])):
                self.network.setdefault(tag_key(row.tag), (TABLE_BY_KEY[key], number, row))

    def problem(self, table: Table, number: int, column: str, remedy: str) -> Problem:
        row = self.read.site.rows(table)[number]
        value = getattr(row, column)
        tag = getattr(row, table.key_column)
        return Problem(
            table.sheet,
            self.read.place(table, number, column),
            value.typed if isinstance(value, Missing) else _flat(value),
            remedy,
            breaks_file=True,
            row_tag="" if column == table.key_column or isinstance(tag, Missing) else str(tag),
        )

    def duplicate_tags(self) -> Iterator[Problem]:
        """Tags are names: unique in their table, and in the network across its tables."""
        seen_in_network: dict[str, tuple[Table, int]] = {}
        for table in TABLES[1:]:
            seen = seen_in_network if table.key in NETWORK_TABLES else {}
            for number, row in enumerate(self.read.site.rows(table)):
                tag = getattr(row, table.key_column)
                if isinstance(tag, Missing):
                    yield self.problem(
                        table, number, table.key_column, "every row needs a tag; type one, or clear the row"
                    )
                elif tag_key(tag) in seen:
                    first, at = seen[tag_key(tag)]
                    place = self.read.place(first, at, first.key_column)
                    yield self.problem(
                        table,
                        number,
                        table.key_column,
                        f"this tag stands already in sheet {first.sheet}, {place}; "
                        "tags are compared without case and stray spaces; rename one",
                    )
                else:
                    seen[tag_key(tag)] = (table, number)

    def references(self) -> Iterator[Problem]:
        """Every tag that a row names exists, and a row has one parent."""
        for table in TABLES[1:]:
            for column in table.columns:
                if column.kind in ("ref", "refs"):
                    known = {
                        tag_key(getattr(row, TABLE_BY_KEY[key].key_column)): key
                        for key in column.refers_to
                        for row in self.read.site.rows(TABLE_BY_KEY[key])
                    }
                    for number, row in enumerate(self.read.site.rows(table)):
                        yield from self._reference(table, column, number, getattr(row, column.name), known)

    def _reference(
        self, table: Table, column: Column, number: int, value: Any, known: dict[str, str]
    ) -> Iterator[Problem]:
        sheets = " or ".join(TABLE_BY_KEY[key].sheet for key in column.refers_to)
        if isinstance(value, Missing) or value is None:
            if column.name in _PARENT_COLUMNS.get(table.key, ()) and not self._has_own_main(table, number):
                side = {
                    "hot_run": "a mixing valve without a hot side cannot temper: name its hot run",
                    "cold_run": "a mixing valve without a cold side cannot temper: name its cold run",
                }
                yield self.problem(
                    table, number, column.name, side.get(column.name, f"name the tag of {sheets} that feeds it")
                )
            return
        tags = value if column.kind == "refs" else (value,)
        twice = [tag for place, tag in enumerate(tags) if tag_key(tag) in map(tag_key, tags[:place])]
        if twice and table is EVENTS:
            yield self.problem(table, number, column.name, f"names {twice[0].strip()} twice; name another, or once")
        for tag in tags:
            if tag_key(tag) in known:
                continue
            if column.kind == "ref" and any(mark in tag for mark in ",;"):
                yield self.problem(
                    table, number, column.name, "names two parents; the network is a tree, so name the one tag upstream"
                )
            else:
                yield self.problem(
                    table,
                    number,
                    column.name,
                    f"no row of {sheets} has the tag {tag.strip()!r}; correct it or add the row",
                )

    def _has_own_main(self, table: Table, number: int) -> bool:
        """Whether a row is a plant main, which needs no feed."""
        return table is HOT_WATER_SOURCES and self.read.site.hot_water_sources[number].kind == PLANT_MAIN

    def tree(self) -> Iterator[Problem]:
        """No cycles; hot water only through a valve; each valve with a cold and a hot side."""
        cycles = list(self._cycles())
        yield from cycles
        if cycles:
            return
        for key in ("pipe_runs", "hot_water_sources", "stations", "mixing_valves"):
            table = TABLE_BY_KEY[key]
            for number, row in enumerate(self.read.site.rows(table)):
                yield from self._water(table, number, row)
        yield from self._loops()

    def _loops(self) -> Iterator[Problem]:
        """A return run is fed, run by run, by the valve whose loop it closes."""
        for number, row in enumerate(self.read.site.mixing_valves):
            tag = tag_key(row.loop_return_run)
            if not tag:
                continue
            while self.network[tag][0] is PIPE_RUNS:
                tag = tag_key(self.network[tag][2].fed_from)
            if tag != tag_key(row.tag):
                source = str(self.network[tag][2].tag).strip()
                words = f"is fed by {source}, not by this valve; name the run that brings its own loop back"
                yield self.problem(MIXING_VALVES, number, "loop_return_run", words)

    def _parents(self, table: Table, row: Any) -> list[tuple[str, str]]:
        if table is HOT_WATER_SOURCES and row.kind == PLANT_MAIN:
            return []
        return [(column, tag_key(getattr(row, column))) for column in _PARENT_COLUMNS.get(table.key, ())]

    def _cycles(self) -> Iterator[Problem]:
        """A walk upstream from each row that comes back to itself; reported once for each ring."""
        state: dict[str, int] = {}  # 1: on the present walk, 2: known to end at a supply
        for start in self.network:
            walk: list[tuple[str, list[tuple[str, str]]]] = [(start, self._open(start, state))]
            while walk:
                tag, parents = walk[-1]
                if not parents:
                    state[tag] = 2
                    walk.pop()
                    continue
                column, parent = parents.pop()
                if state.get(parent) == 1:
                    ring = [t for t, _ in walk][[t for t, _ in walk].index(parent) :]
                    table, number, _ = self.network[tag]
                    names = " ← ".join(str(self.network[t][2].tag).strip() for t in [*ring, parent])
                    yield self.problem(
                        table,
                        number,
                        column,
                        f"closes a ring: {names}; the network is a tree from "
                        "supply to outlet, so feed one of these from elsewhere",
                    )
                elif parent not in state:
                    walk.append((parent, self._open(parent, state)))

    def _open(self, tag: str, state: dict[str, int]) -> list[tuple[str, str]]:
        if state.get(tag) == 2 or tag not in self.network:
            return []
        state[tag] = 1
        table, _, row = self.network[tag]
        return self._parents(table, row)

    def water_of(self, tag: str) -> str:
        """What flows out of a row of the network: "cold", "hot" or "tempered"."""
        while True:
            table, _, row = self.network[tag]
            if table is MIXING_VALVES:
                return "tempered"
            if table is HOT_WATER_SOURCES:
                return "hot"
            if table is not PIPE_RUNS:
                return "cold"
            tag = tag_key(row.fed_from)

    def _water(self, table: Table, number: int, row: Any) -> Iterator[Problem]:
        if table is PIPE_RUNS:
            return
        for column, parent in self._parents(table, row):
            water = self.water_of(parent)
            if table is STATIONS and water == "hot":
                yield self.problem(
                    table,
                    number,
                    column,
                    "takes hot water without a mixing valve and would scald; feed it from a valve, or from a cold run",
                )
            elif column == "hot_run" and water != "hot":
                yield self.problem(
                    table,
                    number,
                    column,
                    f"is a run of {water} water; a mixing valve without a hot side "
                    "cannot temper: name a run that a hot water source feeds",
                )
            elif column == "cold_run" and water != "cold":
                yield self.problem(table, number, column, f"is a run of {water} water; name a cold run")
            elif table is HOT_WATER_SOURCES and water != "cold":
                yield self.problem(
                    table, number, column, f"is a run of {water} water; a hot water source takes cold water"
                )


def _flat(value: Any) -> Any:
    return ", ".join(value) if isinstance(value, tuple) else value
