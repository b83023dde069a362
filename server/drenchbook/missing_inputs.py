"""Which needed inputs of each station are blank or cannot be used: one sentence for each, with its place."""

from __future__ import annotations

import functools
from typing import Any

from drenchbook.cell_gaps import gap
from drenchbook.check_context import Context
from drenchbook.site_model import Missing, tag_key
from drenchbook.site_tables import TABLE_BY_KEY


class MissingInputs:
    """The gaps of one site, looked up station by station; each row is read once."""

    def __init__(self, context: Context):
        self.context = context
        self._known: dict[tuple[str, str], tuple[str, ...]] = {}
        self._of: dict[int, tuple[str, ...]] = {}

    def of(self, station: int) -> tuple[str, ...]:
        """Sentences about every needed input that a station depends on."""
        if station not in self._of:
            self._of[station] = self._found(station)
        return self._of[station]

    def _found(self, station: int) -> tuple[str, ...]:
        context = self.context
        row = context.site.stations[station]
        sentences = unusable_cells("stations", row)
        for key, tag in context.walks[station]:
            sentences += self._row(key, tag)
            if key == "pipe_runs":
                sentences += self._devices(context.rows[key][tag])
        valve = context.valve_of_station[station]
        if valve is not None:
            sentences += context.network.valve_fault_missing[context.valve_number[tag_key(valve.tag)]]
            for model in (valve.model, valve.second_model):
                sentences += self._row("valve_models", tag_key(model))
        for slot in (1, 2, 3):
            sentences += self._row("outlet_models", tag_key(getattr(row, f"outlet_{slot}")))
        sentences += self._events.get(station, [])
        told = {sentence.split(": ")[0] for sentence in sentences if sentence.startswith("sheet ")}
        sentences += [text for text in context.network.missing[station] if text.split(": ")[0] not in told]
        return tuple(dict.fromkeys(sentences))

    def _row(self, key: str, tag: str) -> tuple[str, ...]:
        if (key, tag) not in self._known:
            row = self.context.rows[key].get(tag)
            self._known[key, tag] = tuple(unusable_cells(key, row)) if row is not None else ()
        return self._known[key, tag]

    def _devices(self, run: Any) -> list[str]:
        tags = run.devices if isinstance(run.devices, tuple) else ()
        return [sentence for tag in tags for sentence in self._row("line_devices", tag_key(tag))]

    @functools.cached_property
    def _events(self) -> dict[int, list[str]]:
        """For each station why the sets of an event are not known; an event without stations may strike any."""
        gaps: dict[int, list[str]] = {}
        numbers = {tag_key(row.tag): number for number, row in enumerate(self.context.site.stations)}
        for event, why in zip(self.context.site.events, self.context.cases.event_missing, strict=True):
            if not why:
                continue
            struck = [numbers[tag_key(tag)] for tag in event.stations] if isinstance(event.stations, tuple) else ()
            for number in struck or numbers.values():
                gaps.setdefault(number, []).extend(unusable_cells("events", event) or [why])
        return gaps


def unusable_cells(table_key: str, row: Any) -> list[str]:
    """Sentences about the cells of one row that were typed but cannot be used, or that are always needed and blank."""
    table, found = TABLE_BY_KEY[table_key], []
    values = row.__dict__  # the fields of a frozen row
    for column in table.columns:
        value = values[column.name]
        if value is not None and not isinstance(value, Missing):
            continue
        if (value is None or value.typed is None) and _needless(table_key, row, column.name):
            continue
        if column.need == "always" or (isinstance(value, Missing) and value.typed is not None):
            found.append(gap(table_key, row, column.name))
    return found


def _needless(table_key: str, row: Any, column: str) -> bool:
    """A plant main is fed from nowhere."""
    return table_key == "hot_water_sources" and column == "fed_from" and row.kind == "plant main"
