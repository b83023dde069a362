"""Random sites with everything that fifteen minutes rest on: heaters of every kind, loops, weather, insulation."""

from __future__ import annotations

import random
from typing import Any

from drenchbook.site_model import ROW_MODELS, Site
from tests.solver.random_sites import LPM, RandomSite

KINDS = ("storage", "storage", "instantaneous gas", "instantaneous electric", "steam heat exchanger", "plant main")
KILOWATT, MINUTE, HOUR, MILLIMETRE = 1e3, 60.0, 3600.0, 1e-3
LIMITS = (("STR-1 factor", 3.0, "–"), ("TMP least", 60.0, "°F"), ("TMP greatest", 100.0, "°F"), ("HOT-1", 15.0, "min"))


class RandomHeat(RandomSite):
    """A random site of at most two valves; every heat number is typed, so that every course is known."""

    def __init__(self, seed: int, **more: Any):
        self.heat = random.Random(f"heat {seed}")
        super().__init__(seed, **{"valves": self.heat.choice((1, 2, 2)), **more})
        for row in self.rows["hot_water_sources"]:
            self.source(row)
        for row in self.rows["valve_models"]:
            row.update(approach_hot=self.drawn(2, 12, "temperature difference"), leakage=self.drawn(0, 2 * LPM, "flow"),
                       minimum_flow=self.drawn(0.5 * LPM, self.heat.choice((3, 12)) * LPM, "flow"))  # fmt: skip
        for row in self.rows["mixing_valves"]:
            row["set_temperature"] = self.drawn(20, 36, "temperature")
            if self.heat.random() < 0.5:
                self.loop(row)
        for row in self.rows["pipe_runs"]:
            self.run(row)
        self.project = self.weather()

    def drawn(self, low: float, high: float, quantity: str) -> float:
        return self.typed(self.heat.uniform(low, high), quantity)

    def source(self, row: dict[str, Any]) -> None:
        """A source of any kind in place of the one that stands there."""
        r = self.heat
        kind = row["kind"] if row["kind"] == "plant main" else r.choice(KINDS[:-1])
        row.update(kind=kind, needs_power=r.random() < 0.5, efficiency=r.uniform(0.7, 1.0),
                   other_demand=r.choice((0.0, 0.0, self.drawn(1 * LPM, 20 * LPM, "flow"))),
                   start_delay=r.choice((0.0, self.drawn(0.1 * MINUTE, 8 * MINUTE, "minutes"))))  # fmt: skip
        hot = self.drawn(42, 70, "temperature")
        if kind == "storage":
            row.pop("set_temperature", None)
            row.update(start_temperature=hot, volume=self.drawn(0.03, 1.0, "volume"), usable_fraction=r.uniform(0.4, 1),
                       usable_fraction_source=r.choice(("SAMPLE draw test", None)),
                       input_power=self.drawn(0, r.choice((20, 150)) * KILOWATT, "power"))  # fmt: skip
        elif kind == "plant main":
            row.update(main_temperature=hot)
        else:
            row.pop("start_temperature", None)
            row.update(set_temperature=hot, input_power=self.drawn(20 * KILOWATT, 400 * KILOWATT, "power"),
                       minimum_firing_flow=self.drawn(0, 5 * LPM, "flow"),
                       tolerance=self.drawn(0, 5, "temperature difference"),
                       maximum_rise=self.drawn(15, 70, "temperature difference"),
                       minimum_power=self.drawn(0, 15 * KILOWATT, "power"),
                       capacity=self.drawn(20 * KILOWATT, 400 * KILOWATT, "power"))  # fmt: skip
            row["start_delay"] = r.choice((0.0, self.drawn(1, 90, "seconds") / 60))

    def loop(self, row: dict[str, Any]) -> None:
        """A return run from somewhere behind the valve."""
        behind = [run["tag"] for run in self.rows["pipe_runs"] if self.above(run["tag"]) == row["tag"]]
        if not behind:
            return
        back = self.runs("return", self.heat.choice(behind), 1, 2.0)[0]
        self.rows["pipe_runs"][-1]["devices"] = ()
        row.update(loop_flow=self.drawn(2 * LPM, 25 * LPM, "flow"), loop_return_run=back,
                   loop_returns_to_cold_inlet=self.heat.random() < 0.5,
                   loop_pump_needs_power=self.heat.random() < 0.6)  # fmt: skip

    def above(self, tag: str) -> str:
        rows = {row["tag"]: row["fed_from"] for row in self.rows["pipe_runs"]}
        while tag in rows:
            tag = rows[tag]
        return tag

    def run(self, row: dict[str, Any]) -> None:
        r = self.heat
        row.update(exposure=r.choice(("inside", "inside", "outside", "buried")), sun=r.random() < 0.5,
                   circulated=r.random() < 0.3,
                   insulation=r.choice((0.0, self.drawn(9 * MILLIMETRE, 60 * MILLIMETRE, "small length"))))  # fmt: skip
        if r.random() < 0.12:
            row["held_temperature"] = self.drawn(12, 45, "temperature")

    def weather(self) -> dict[str, Any]:
        spans = {"cold_water_cold": (2, 14), "cold_water_warm": (12, 34), "outside_air_cold": (-20, 15),
                 "outside_air_warm": (15, 45), "room_cold": (10, 24), "room_warm": (16, 42), "ground_cold": (3, 14),
                 "ground_warm": (12, 28)}  # fmt: skip
        found: dict[str, Any] = {name: self.drawn(*span, "temperature") for name, span in spans.items()}
        for season in ("cold", "warm"):
            found[f"sun_{season}"] = self.heat.random() < 0.7
            found[f"irradiance_{season}"] = self.drawn(100, 1100, "irradiance")
        return {**found, "recovery_time": self.drawn(0.2 * HOUR, 3 * HOUR, "hours")}

    def site(self, change: dict[str, list[dict[str, Any]]] | None = None) -> Site:
        made = super().site(change)
        limits = tuple(ROW_MODELS["limits"](id=name, value=value, unit=unit) for name, value, unit in LIMITS)
        project = made.project.model_copy(update=self.project)
        return made.model_copy(update={"limits": limits, "project": project})
