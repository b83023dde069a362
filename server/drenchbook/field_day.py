"""The day of a field test: what was measured before it, and the site as it was on that day."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from drenchbook.check_context import Context, temperature_column
from drenchbook.site_model import Site, tag_key
from drenchbook.site_tables import HOT_WATER_SOURCES, PROJECT, SUPPLIES
from drenchbook.units import from_si


@dataclass(frozen=True)
class DayOfTest:
    """What was measured before and after the tests; None where it was not."""

    static: float | None  # [Pa] at the gauge of the first supply, no flow, before
    cold: float | None  # [°C]
    hot: float | None  # [°C] at the first hot water source
    pressure_error: float | None  # [Pa] of the gauge, either way
    temperature_error: float | None  # [K] of the thermometer, either way
    static_after: float | None = None  # [Pa] the same when the tests are over

    @property
    def complete(self) -> bool:
        """Whether everything that the windows need was entered."""
        return None not in (self.static, self.cold, self.hot, self.pressure_error, self.temperature_error)

    @property
    def exact(self) -> DayOfTest:
        """The same day with instruments that do not err: what is most likely, not what may be."""
        return replace(self, pressure_error=0.0, temperature_error=0.0)

    def statics(self) -> tuple[float, float]:
        """Least and greatest pressure that may have stood at the gauge while the tests were made. [Pa]

        >>> DayOfTest(4e5, 10, 60, 1e4, 0.5, 3.8e5).statics()
        (370000.0, 410000.0)
        """
        assert self.static is not None
        assert self.pressure_error is not None
        after = self.static if self.static_after is None else self.static_after
        return min(self.static, after) - self.pressure_error, max(self.static, after) + self.pressure_error


def site_on(site: Site, day: DayOfTest) -> Site:
    """The site with the supply and the water of one day.

    Parameters
    ----------
    site : Site
        As designed. [-]
    day : DayOfTest
        Complete. [-]

    Returns
    -------
    Site
        Low and high state of the first supply stand for the least and the greatest static pressure of the day; it keeps
        the fall of its flow test in either. Cold and warm season have the cold water less and more what the thermometer
        may err. The first hot water source has the hot water of the day. [-]
    """
    assert day.cold is not None
    assert day.temperature_error is not None
    supplies = (_measured_supply(site, day), *site.supplies[1:]) if site.supplies else ()
    water = {f"cold_water_{season}": _typed(PROJECT.column(f"cold_water_{season}").unit(site.units), value)
             for season, value in (("cold", day.cold - day.temperature_error),
                                   ("warm", day.cold + day.temperature_error))}  # fmt: skip
    sources = []
    for number, source in enumerate(site.hot_water_sources):
        column = temperature_column(source)
        hot = {column: _typed(HOT_WATER_SOURCES.column(column).unit(site.units), day.hot)}
        if column == "start_temperature" and isinstance(source.set_temperature, float):
            # on the day it may stand above the thermostat's lower edge, and above the typed setting too
            hot["set_temperature"] = max(source.set_temperature, hot[column])
        sources.append(source.model_copy(update=hot) if number == 0 else source)
    return site.model_copy(update={"supplies": supplies, "hot_water_sources": tuple(sources),
                                   "project": site.project.model_copy(update=water)})  # fmt: skip


def _measured_supply(site: Site, day: DayOfTest) -> Any:
    row = site.supplies[0]
    changed: dict[str, Any] = {}
    for level, pressure in zip(("low", "high"), day.statics(), strict=True):
        static = _typed(SUPPLIES.column(f"static_{level}").unit(site.units), pressure)
        curve = getattr(row, f"curve_{level}")
        before, residual = getattr(row, f"static_{level}"), getattr(row, f"residual_{level}")
        if isinstance(curve, tuple) and curve:
            changed[f"curve_{level}"] = tuple((flow, p + static - curve[0][1]) for flow, p in curve)
        elif isinstance(before, float) and isinstance(residual, float):
            changed |= {f"static_{level}": static, f"residual_{level}": residual + static - before}
    return row.model_copy(update=changed)


def _typed(unit: str, value: float | None) -> float:
    assert value is not None
    return float(from_si(value, unit))


def not_measured(context: Context, station: int) -> str:
    """What a station depends on that was not measured: one gauge and one thermometer stand at the first row."""
    site = context.site
    for table, rows, words in (("supplies", site.supplies, "pressure of supply"),
                               ("hot_water_sources", site.hot_water_sources, "water of source")):  # fmt: skip
        others = {tag_key(row.tag): row.tag for row in rows[1:]}
        for key, tag in context.walks[station]:
            if key == table and tag in others:
                return f"the {words} {str(others[tag]).strip()} is not measured here"
    return ""


def site_of_station(context: Context, station: int) -> Site:
    """The site with one station and nothing but what it depends on: quick to solve again and again.

    The measured rows stay first.
    """
    site, kept = context.site, set(context.walks[station])

    def of(table: str, rows: tuple[Any, ...]) -> tuple[Any, ...]:
        return tuple(row for row in rows if (table, tag_key(row.tag)) in kept)

    return site.model_copy(update={
        "supplies": of("supplies", site.supplies), "pipe_runs": of("pipe_runs", site.pipe_runs),
        "hot_water_sources": of("hot_water_sources", site.hot_water_sources),
        "mixing_valves": of("mixing_valves", site.mixing_valves), "stations": (site.stations[station],), "events": (),
    })  # fmt: skip
