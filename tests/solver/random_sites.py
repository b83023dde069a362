"""Random but sound sites: trees, several valves, shared and own supplies, every kind of hot water source and curve."""

from __future__ import annotations

import random
from typing import Any

from drenchbook.site_model import ROW_MODELS, Site
from drenchbook.units import from_si, unit_of

COPPER = ("1/2", "3/4", "1", "1-1/4", "1-1/2", "2")
KPA, LPM, METRE = 1e3, 1e-3 / 60, 1.0


class RandomSite:
    """Builds the rows of one site from a seed; numbers are drawn in SI and typed in the site's own units."""

    def __init__(self, seed: int, *, dips: bool = False, method: str | None = None, valves: int | None = None,
                 supplies: int | None = None, units: str | None = None, more: bool | None = None):  # fmt: skip
        self.random = random.Random(seed)
        self.dips = dips
        self.units = units or self.random.choice(("US", "SI"))
        self.method = method or self.random.choice(("Hazen-Williams", "Darcy-Weisbach"))
        self.rows: dict[str, list[dict[str, Any]]] = {
            key: [] for key in ("supplies", "hot_water_sources", "line_devices", "pipe_runs", "mixing_valves",
                                "valve_models", "outlet_models", "events", "stations")}  # fmt: skip
        self.outlet_models()
        for number in range(supplies or self.random.choice((1, 1, 2))):
            self.supply(number)
        self.shared_source: str | None = None
        for number in range(valves or self.random.choice((1, 1, 2, 3))):
            self.valve(number)
        if self.random.random() < 0.5:
            self.station(self.runs("supply run", self.random.choice(self.ends_of_supplies), 1, 0.0)[0])
        tags = tuple(row["tag"] for row in self.rows["stations"])
        if seed % 2 if more is None else more:
            self.extend(seed)
        self.rows["events"].append({"tag": "all", "stations": tags, "users": 4.0, "showers": 4.0, "reason": "random"})

    def extend(self, seed: int) -> None:
        """Other demand, strainers, boosters, pressure-reducing valves, power, and two valves in parallel."""
        r = random.Random(f"more {seed}")

        def between(low: float, high: float, quantity: str) -> float:
            return self.typed(r.uniform(low, high), quantity)

        for row in self.rows["supplies"]:
            row["other_demand"] = r.choice((0.0, between(20 * LPM, 150 * LPM, "flow")))
        for row in self.rows["hot_water_sources"]:
            row["other_demand"] = r.choice((0.0, 0.0, between(5 * LPM, 40 * LPM, "flow")))
            row["needs_power"] = r.random() < 0.5
        for row in self.rows["line_devices"]:
            row["kind"] = r.choice(("strainer", "meter"))
        for row in self.rows["pipe_runs"]:
            chance = r.random()
            if chance > 0.25:
                continue
            tag = f"X{row['tag']}"
            device: dict[str, Any] = {"tag": tag, "loss_per_flow_squared": between(0, 2e9, "loss per flow squared")}
            if chance < 0.12:
                device.update(kind="pressure-reducing valve", setting=between(120 * KPA, 420 * KPA, "pressure"))
            elif chance < 0.18:
                top = r.uniform(30, 150) * KPA
                device.update(kind="booster", needs_power=r.random() < 0.6, curve=self.points(
                    [0.0, 60 * LPM, 150 * LPM, 3000 * LPM], [top, 0.9 * top, 0.5 * top, -10 * top]))  # fmt: skip
            else:
                device.update(kind="strainer")
            self.rows["line_devices"].append(device)
            place = r.randint(0, len(row["devices"]))
            row["devices"] = (*row["devices"][:place], tag, *row["devices"][place:])
        for number, row in enumerate(self.rows["mixing_valves"]):
            model = self.rows["valve_models"][number]
            if "seat_coefficient" in model and r.random() < 0.5:
                large = {**model, "model": f"{model['model']} large",
                         "seat_coefficient": r.uniform(0.8, 3) * model["seat_coefficient"]}  # fmt: skip
                self.rows["valve_models"].append(large)
                row.update(second_model=large["model"], second_opens_at=between(5 * KPA, 60 * KPA, "pressure"))

    def typed(self, value: float, quantity: str) -> float:
        return float(from_si(value, unit_of(quantity, self.units)))

    def number(self, low: float, high: float, quantity: str) -> float:
        return self.typed(self.random.uniform(low, high), quantity)

    def points(self, flows: list[float], values: list[float]) -> tuple[tuple[float, float], ...]:
        return tuple((self.typed(q, "flow"), self.typed(p, "pressure")) for q, p in zip(flows, values, strict=True))

    def loss_curve(self, largest: float) -> tuple[tuple[float, float], ...]:
        """A loss that rises, or with `dips` one that falls before it rises."""
        r = self.random
        flows = [0.0, *(r.uniform(0.8, 1.2) * q * LPM for q in (20, 45, 90, 150, 250)), 900 * LPM, 3000 * LPM]
        start = r.uniform(0.2, 1.0) * largest
        if self.dips:
            low = start * r.uniform(0.2, 0.9)
            values = [start, *(low + (start - low) * r.uniform(0, 0.9) for _ in range(3)), low, start * 1.1, start * 3,
                      start * 12]  # fmt: skip
        else:
            values = [start * (1 + i * r.uniform(0.02, 0.06) * i) for i in range(6)]
            values = [*sorted(values), 6 * start, 30 * start]
        return self.points(flows, values)

    def outlet_models(self) -> None:
        for number in range(6):
            regulated = number % 2 == 1
            self.rows["outlet_models"].append({
                "model": f"O{number}", "kind": self.random.choice(("shower", "eye/face wash", "eyewash")),
                "type": "flow-regulated" if regulated else "orifice",
                "rated_flow": self.number(3 * LPM, 85 * LPM, "flow"),
                "rated_pressure": self.number(80 * KPA, 220 * KPA, "pressure")})  # fmt: skip

    def supply(self, number: int) -> None:
        r = self.random
        row: dict[str, Any] = {"tag": f"S{number}", "gauge_elevation": self.number(-3, 3, "length"),
                               "other_demand": 0.0}  # fmt: skip
        for level, more in (("low", 0.0), ("high", 120 * KPA)):
            static = r.uniform(300, 550) * KPA + more
            if r.random() < 0.3:
                row[f"curve_{level}"] = self.points(
                    [0, 200 * LPM, 400 * LPM, 3000 * LPM],
                    [static, 0.95 * static, 0.85 * static, -3 * static])  # fmt: skip
            else:
                row[f"static_{level}"] = self.typed(static, "pressure")
                row[f"residual_{level}"] = self.typed(r.uniform(0.75, 0.97) * static, "pressure")
                row[f"test_flow_{level}"] = self.number(150 * LPM, 500 * LPM, "flow")
        self.rows["supplies"].append(row)
        end = self.runs("common", row["tag"], r.choice((1, 2)), 0.0, devices=True)[-1]
        self.ends_of_supplies = [*getattr(self, "ends_of_supplies", []), end]

    def device(self) -> str:
        tag = f"D{len(self.rows['line_devices'])}"
        row: dict[str, Any] = {"tag": tag, "kind": "other"}
        if self.random.random() < 0.5:
            row["curve"] = self.loss_curve(70 * KPA)
        else:
            row["loss_per_flow_squared"] = self.number(0, 2e9, "loss per flow squared")
        self.rows["line_devices"].append(row)
        return tag

    def runs(self, _: str, fed_from: str, count: int, height: float, devices: bool = False) -> list[str]:
        r, tags = self.random, []
        for _step in range(count):
            tag = f"R{len(self.rows['pipe_runs'])}"
            height += r.uniform(-1, 2)
            row: dict[str, Any] = {
                "tag": tag, "fed_from": fed_from, "material": "copper L", "size": r.choice(COPPER[1:]),
                "developed_length": self.number(0.5, 25, "length"),
                "fittings": r.choice(("none", "4 x 90 elbow; 1 x gate valve", "2.5")),
                "far_end_elevation": self.typed(height, "length"), "devices": (),
            }  # fmt: skip
            if devices:
                row["size"] = r.choice(("1-1/2", "2"))
                row["devices"] = tuple(self.device() for _ in range(r.choice((0, 1, 2))))
            elif r.random() < 0.1:
                row["devices"] = (self.device(),)
            if r.random() < 0.2:
                row["roughness"] = self.number(0.0, 2e-4, "small length")
                row["hazen_williams_c"] = r.uniform(90, 150)
            self.rows["pipe_runs"].append(row)
            tags.append(tag)
            fed_from = tag
        return tags

    def hot_source(self, fed_from: str) -> str:
        r = self.random
        if self.shared_source and r.random() < 0.4:
            return self.shared_source
        tag = f"H{len(self.rows['hot_water_sources'])}"
        row: dict[str, Any] = {"tag": tag, "kind": r.choice(("storage", "instantaneous electric", "plant main")),
                               "other_demand": 0.0}  # fmt: skip
        name = {"storage": "start_temperature", "plant main": "main_temperature"}.get(row["kind"], "set_temperature")
        row[name] = self.number(45, 70, "temperature")
        if row["kind"] == "plant main":
            row["main_pressure"] = self.number(300 * KPA, 500 * KPA, "pressure")
            row["main_elevation"] = self.number(-2, 2, "length")
        else:
            row["fed_from"] = fed_from
        if r.random() < 0.3:
            row["loss_curve"] = self.loss_curve(30 * KPA)
        else:
            row["loss_per_flow_squared"] = self.number(0, 3e10, "loss per flow squared")
        self.rows["hot_water_sources"].append(row)
        self.shared_source = tag
        return tag

    def valve(self, number: int) -> None:
        r = self.random
        height = r.uniform(0, 3)
        split = r.choice(self.ends_of_supplies)
        cold = self.runs("cold", split, r.choice((1, 2)), height)[-1]
        source = self.hot_source(r.choice([split, *self.ends_of_supplies]))
        hot = self.runs("hot", source, r.choice((1, 2)), height)[-1]
        seat, bypass = (r.uniform(6, 15) * 1e-6 for _ in range(2))  # m³/s per √Pa
        model: dict[str, Any] = {"model": f"M{number}", "minimum_flow": self.number(2 * LPM, 12 * LPM, "flow")}
        flows = [20 * LPM, 60 * LPM, 120 * LPM, 3000 * LPM]
        if r.random() < 0.3:
            model["seat_curve"] = self.points(flows, [(q / (seat * (0.8 + 0.1 * i))) ** 2 for i, q in enumerate(flows)])
        else:
            model["seat_coefficient"] = self.typed(seat, "flow coefficient")
            if r.random() < 0.4:
                model["outlet_coefficient"] = self.typed(3 * seat, "flow coefficient")
        if r.random() < 0.3:
            model["bypass_curve"] = self.points(
                flows, [(q / (bypass * (1 - 0.08 * i))) ** 2 for i, q in enumerate(flows)]
            )
        else:
            model["bypass_coefficient"] = self.typed(bypass, "flow coefficient")
        self.rows["valve_models"].append(model)
        tag = f"V{number}"
        self.rows["mixing_valves"].append({
            "tag": tag, "model": f"M{number}", "cold_run": cold, "hot_run": hot,
            "elevation": self.typed(height + r.uniform(-0.5, 0.5), "length"),
            "set_temperature": self.number(24, 34, "temperature"), "parallel_bypass": r.random() < 0.85})  # fmt: skip
        nodes = [tag]
        for _step in range(r.choice((1, 2, 3, 5))):
            nodes += self.runs("tempered", r.choice(nodes), r.choice((1, 2)), height)
        for _step in range(r.choice((1, 2, 3))):
            self.station(r.choice(nodes))

    def station(self, fed_from: str) -> None:
        r = self.random
        row: dict[str, Any] = {"tag": f"L{len(self.rows['stations'])}", "fed_from": fed_from}
        height = r.uniform(15, 70) if r.random() < 0.2 else r.uniform(1, 8)  # some are out of reach
        for slot in range(1, r.choice((1, 1, 2, 3)) + 1):
            row[f"outlet_{slot}"] = f"O{r.randrange(6)}"
            row[f"outlet_{slot}_elevation"] = self.typed(height + r.choice((0.0, r.uniform(-1.5, 0))), "length")
        self.rows["stations"].append(row)

    def site(self, change: dict[str, list[dict[str, Any]]] | None = None) -> Site:
        """The site; `change` gives other rows for some tables."""
        tables = {**self.rows, **(change or {})}
        project = {
            "units": self.units, "friction_method": self.method, "project": "random",
            "cold_water_cold": self.typed(6.0, "temperature"), "cold_water_warm": self.typed(21.0, "temperature"),
        }  # fmt: skip
        tables["limits"] = [{"id": "STR-1 factor", "value": 3.0, "unit": "–"}]
        models = {key: tuple(ROW_MODELS[key](**row) for row in rows) for key, rows in tables.items()}
        return Site(project=ROW_MODELS["project"](**project), **models)
