"""One case at a time with plain floats: slow, written from the equations, sharing nothing with the array solver.

It reads the rows of a site, walks the network from the supply to each outlet with the flows as they would be, and lets
scipy find the pressures at which every outlet gets what it passes. Only the properties of water are taken from the
package; they have their own published tests.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import cache
from itertools import pairwise

import numpy as np
from scipy.optimize import brentq, root

from drenchbook.physics import water
from drenchbook.published.fittings_table import fittings_resistance
from drenchbook.published.pipes import pipe
from drenchbook.site_tables import TABLE_BY_KEY
from drenchbook.units import to_si

G = 9.80665
PSI, GPM, FOOT, INCH = 6894.757293168361, 231 * 0.0254**3 / 60, 0.3048, 0.0254
# A site knows few temperatures, and asks for them often.
density, specific_enthalpy, viscosity, heat_capacity = map(
    cache, (water.density, water.specific_enthalpy, water.viscosity, water.heat_capacity)
)


@dataclass
class Case:
    """What is open, and when."""

    season: str
    level: str
    fault: str
    open: tuple[tuple[str, int], ...]  # station tag, outlet slot


@dataclass
class Answer:
    """What flows."""

    reached: bool
    flow: dict[tuple[str, int], float] = field(default_factory=dict)
    pressure: dict[tuple[str, int], float] = field(default_factory=dict)
    valves: dict[str, dict[str, float]] = field(default_factory=dict)


class Rows:
    """The rows of a site by tag, numbers in SI."""

    def __init__(self, site):
        self.site = site
        self.tables = {}
        for key in ("supplies", "hot_water_sources", "line_devices", "pipe_runs", "mixing_valves", "valve_models",
                    "outlet_models", "stations"):  # fmt: skip
            table = TABLE_BY_KEY[key]
            self.tables[key] = {}
            for row in getattr(site, key):
                values = {c.name: self.si(c, getattr(row, c.name)) for c in table.columns}
                self.tables[key][values[table.key_column]] = values

    def si(self, column, value):
        if value is None or not isinstance(value, (float, tuple)) or column.kind not in ("number", "curve"):
            return value
        if column.kind == "curve":
            a, b = column.unit(self.site.units).split(", ")
            return [(to_si(q, a), to_si(p, b)) for q, p in value]
        unit = column.unit(self.site.units)
        return to_si(value, unit) if unit else value

    def find(self, tag):
        for key in ("supplies", "hot_water_sources", "pipe_runs", "mixing_valves"):
            if tag in self.tables[key]:
                return key, self.tables[key][tag]
        raise KeyError(tag)


def line(points, q):
    """Straight lines through points; the last is drawn on."""
    for (q0, p0), (q1, p1) in pairwise(points):
        if q <= q1 or (q1, p1) == points[-1]:
            return p0 + (p1 - p0) * (q - q0) / (q1 - q0)
    raise AssertionError


def curve_c(points, q):
    """C = q/√Δp runs straight between the points, held outside."""
    cs = [(f, f / math.sqrt(p)) for f, p in points if f > 0]
    if q <= cs[0][0]:
        return cs[0][1]
    if q >= cs[-1][0]:
        return cs[-1][1]
    return line(cs, q)


def colebrook(reynolds, rough):
    """x = 1/√f by scipy."""

    def miss(x):
        return x + 2 * math.log10(rough / 3.7 + 2.51 * x / reynolds)

    return brentq(miss, 0.5, 40, xtol=1e-15, rtol=1e-15) ** -2


def darcy(q, d, eps, rho, mu):
    """Pa per metre, with the cubic between Re 2300 and 4000."""
    if q <= 0:
        return 0.0
    area = math.pi * d * d / 4
    re = rho * (q / area) * d / mu

    def turbulent(reynolds):
        v = reynolds * mu / (rho * d)
        return colebrook(reynolds, eps / d) * rho * v * v / (2 * d)

    def laminar(reynolds):
        return 32 * mu * (reynolds * mu / (rho * d)) / d**2

    if re <= 2300:
        return laminar(re)
    if re >= 4000:
        return turbulent(re)
    t, width = (re - 2300) / 1700, 1700
    y0, y1 = laminar(2300), turbulent(4000)
    d0 = laminar(2300) / 2300 * width
    step = 0.01
    d1 = (-turbulent(4000 + 2 * step) + 8 * turbulent(4000 + step)
          - 8 * turbulent(4000 - step) + turbulent(4000 - 2 * step)) / (12 * step) * width  # fmt: skip
    h00, h10, h01, h11 = 2 * t**3 - 3 * t**2 + 1, t**3 - 2 * t**2 + t, -2 * t**3 + 3 * t**2, t**3 - t**2
    return h00 * y0 + h10 * d0 + h01 * y1 + h11 * d1


def hazen(q, d, c):
    """Pa per metre."""
    return 4.52 * (max(q, 0.0) / GPM) ** 1.85 / (c**1.85 * (d / INCH) ** 4.87) * PSI / FOOT


class Oracle:
    """Solves the cases of one site."""

    def __init__(self, site):
        self.rows = Rows(site)
        self.site = site
        self.t = self.rows.tables
        self.known_chains = {}
        self.fouled = next((row.value for row in site.limits if row.id == "STR-1 factor"), None)
        self.cold_temperature = {}
        for season in ("cold", "warm"):
            value = getattr(site.project, f"cold_water_{season}")
            self.cold_temperature[season] = to_si(value, "°F" if site.units == "US" else "°C")

    # Losses of one thing.

    def pipe_loss(self, run, q, temperature):
        found = pipe(run["material"], run["size"])
        d = found.inside_diameter
        rho, mu = density(temperature), viscosity(temperature)
        v = q / (math.pi * d * d / 4)
        loss = fittings_resistance(run["fittings"], found.nominal_inches) * rho * v * v / 2
        if self.site.project.friction_method == "Hazen-Williams":
            return loss + run["developed_length"] * hazen(q, d, run["hazen_williams_c"] or found.hazen_williams_c)
        eps = found.roughness if run["roughness"] is None else run["roughness"]
        return loss + run["developed_length"] * darcy(q, d, eps, rho, mu)

    def device_loss(self, tag, q):
        device = self.t["line_devices"][tag]
        return line(device["curve"], q) if device["curve"] else device["loss_per_flow_squared"] * q * q

    def through_devices(self, run, q, pressure, fault):
        """Pressure behind the devices of a run, in the order in which they are written."""
        for tag in run["devices"] or ():
            device = self.t["line_devices"][tag]
            if device["kind"] == "booster":
                if fault == "power lost" and device["needs_power"]:
                    pressure -= device["loss_per_flow_squared"] * q * q
                else:
                    pressure += line(device["curve"], q)
                continue
            loss = self.device_loss(tag, q)
            if device["kind"] == "strainer" and fault == "strainer fouled":
                loss *= self.fouled
            pressure -= loss
            if device["kind"] == "pressure-reducing valve":
                pressure = min(pressure, device["setting"])
        return pressure

    def gives_cold(self, case, source):
        """Whether a hot water source gives cold water."""
        if case.fault in ("hot pressure lost", "source cold but pressurised"):
            return True
        return case.fault == "power lost" and source["kind"] != "storage" and source["needs_power"]

    def source_of(self, valve):
        """The hot water source above a valve's hot inlet."""
        return next(self.t[key][tag] for key, tag in self.chain(valve["hot_run"]) if key == "hot_water_sources")

    def wide_open(self, case, valve):
        """Whether hot seat and bypass stand open with cold water."""
        return case.fault != "hot pressure lost" and self.gives_cold(case, self.source_of(valve))

    def source_loss(self, source, q):
        return line(source["loss_curve"], q) if source["loss_curve"] else source["loss_per_flow_squared"] * q * q

    def supply(self, supply, q, case):
        level = case.level
        if case.fault != "normal":
            q += supply["other_demand"]
        if supply[f"curve_{level}"]:
            return line(supply[f"curve_{level}"], q)
        p0, pr, qr = (supply[f"{word}_{level}"] for word in ("static", "residual", "test_flow"))
        return p0 - (p0 - pr) * (max(q, 0.0) / qr) ** 1.85

    # The network.

    def chain(self, tag):
        """Tags from the root down to this one, within cold and hot water or behind one valve."""
        if tag not in self.known_chains:
            self.known_chains[tag] = self.found_chain(tag)
        return self.known_chains[tag]

    def found_chain(self, tag):
        found = []
        while tag is not None:
            key, row = self.rows.find(tag)
            found.append((key, tag))
            own = key in ("supplies", "mixing_valves") or (key == "hot_water_sources" and row["kind"] == "plant main")
            tag = None if own else row["fed_from"]
        return found[::-1]

    def hot_temperature(self, chain):
        for key, tag in chain:
            if key == "hot_water_sources":
                row = self.t[key][tag]
                column = {"storage": "start_temperature", "plant main": "main_temperature"}
                return row[column.get(row["kind"], "set_temperature")]
        raise AssertionError

    def water(self, case, valve):
        """Hot fraction used, hot and mixed temperature."""
        cold = self.cold_temperature[case.season]
        if self.gives_cold(case, self.source_of(valve)):
            return 0.0, cold, cold
        hot = self.hot_temperature(self.chain(valve["hot_run"]))
        hc, hh, hm = (specific_enthalpy(t) for t in (cold, hot, valve["set_temperature"]))
        x = (hm - hc) / (hh - hc)
        return (x, hot, valve["set_temperature"]) if 0 <= x <= 1 else (1.0, hot, hot) if x > 1 else (0.0, hot, cold)

    def walk(self, case, flows, shares):
        """Pressures at the outlets when they pass these flows; and what happens in each valve."""
        cold = self.cold_temperature[case.season]
        mass, station_flow, station_mass = {}, {}, {}

        def draw(chain, amount):
            for _, tag in chain:
                mass[tag] = mass.get(tag, 0.0) + amount

        for (tag, _), q in flows.items():
            station_flow[tag] = station_flow.get(tag, 0.0) + q
        valve_mass, behind = {}, {}
        for tag, q in station_flow.items():
            chain = self.chain(self.t["stations"][tag]["fed_from"])
            key, first = chain[0]
            behind[tag] = first if key == "mixing_valves" else None
            if behind[tag]:
                _, _, mixed = self.water(case, self.t["mixing_valves"][first])
                station_mass[tag] = q * density(mixed)
                valve_mass[first] = valve_mass.get(first, 0.0) + station_mass[tag]
            else:
                station_mass[tag] = q * density(cold)
            draw(chain, station_mass[tag])
        ways = {}
        for tag, total in valve_mass.items():
            valve = self.t["mixing_valves"][tag]
            x = shares[tag] if self.wide_open(case, valve) else self.water(case, valve)[0]
            ways[tag] = (self.chain(valve["cold_run"]), self.chain(valve["hot_run"]), x)
            draw(ways[tag][0], (1 - x) * total)
            draw(ways[tag][1], x * total)

        if case.fault != "normal":
            for tag, source in self.t["hot_water_sources"].items():
                warm = cold if self.gives_cold(case, source) else self.hot_temperature([("hot_water_sources", tag)])
                draw(self.chain(tag), source["other_demand"] * density(warm))

        def down(chain, pressure, height, water):
            hot = None
            for key, tag in chain:
                row = self.rows.find(tag)[1]
                temperature = water if hot is None else hot
                if key == "supplies":
                    q = mass.get(tag, 0.0) / density(cold)
                    pressure, height = self.supply(row, q, case), row["gauge_elevation"]
                elif key == "hot_water_sources":
                    hot = cold if self.gives_cold(case, row) else self.hot_temperature([(key, tag)])
                    if row["kind"] == "plant main":
                        pressure, height = row["main_pressure"], row["main_elevation"]
                    pressure -= self.source_loss(row, mass.get(tag, 0.0) / density(hot))
                elif key == "pipe_runs":
                    q = mass.get(tag, 0.0) / density(temperature)
                    pressure = self.through_devices(row, q, pressure, case.fault)
                    pressure -= self.pipe_loss(row, q, temperature)
                    pressure -= density(temperature) * G * (row["far_end_elevation"] - height)
                    height = row["far_end_elevation"]
            return pressure, height, (water if hot is None else hot)

        valves = {}
        for tag, (cold_chain, hot_chain, x) in ways.items():
            valve = self.t["mixing_valves"][tag]
            model = self.t["valve_models"][valve["model"]]
            pc, height, _ = down(cold_chain, None, None, cold)
            pc -= density(cold) * G * (valve["elevation"] - height)
            ph, height, temperature = down(hot_chain, None, None, cold)
            ph -= density(temperature) * G * (valve["elevation"] - height)
            _, _, mixed = self.water(case, valve)
            q = valve_mass[tag] / density(mixed)
            pm, gap = self.valve_pressure(case, model, valve, q, x, ph, pc)
            valves[tag] = {"flow": q, "hot_pressure": ph, "cold_pressure": pc, "outlet_pressure": pm, "gap": gap,
                           "hot_flow": x * valve_mass[tag] / density(temperature)}  # fmt: skip
        pressures = {}
        for tag, slot in flows:
            station = self.t["stations"][tag]
            chain = self.chain(station["fed_from"])
            if behind[tag]:
                valve = self.t["mixing_valves"][behind[tag]]
                water = self.water(case, valve)[2]
                p, height, _ = down(chain[1:], valves[behind[tag]]["outlet_pressure"], valve["elevation"], water)
            else:
                water = cold
                p, height, _ = down(chain, None, None, cold)
            pressures[tag, slot] = p - density(water) * G * (station[f"outlet_{slot}_elevation"] - height)
        return pressures, valves

    def valve_pressure(self, case, model, valve, q, x, ph, pc):
        """Pressure behind a valve, and (for a cold source) how far the two ways disagree: hot less cold."""

        def seat(flow):
            own = model
            if valve["second_model"] and case.fault != "valve out of service":
                return self.two_valves(valve, model, flow), 0.0
            if valve["second_model"]:
                own = min((model, self.t["valve_models"][valve["second_model"]]), key=self.whole)
            c = curve_c(own["seat_curve"], flow) if own["seat_curve"] else own["seat_coefficient"]
            out = 0.0 if own["seat_curve"] or not own["outlet_coefficient"] else flow / own["outlet_coefficient"]
            return c, out * out

        def bypass(flow):
            return (flow / (curve_c(model["bypass_curve"], flow) if model["bypass_curve"]
                            else model["bypass_coefficient"])) ** 2  # fmt: skip

        if case.fault == "hot pressure lost":
            return pc - bypass(q), 0.0
        if self.wide_open(case, valve):
            c, out = seat(x * q)
            hot = ph - (x * q / c) ** 2 - out
            if not valve["parallel_bypass"]:
                return hot, 0.0
            cold = pc - bypass((1 - x) * q)
            if q <= 0:  # idle: nothing is split, and the better way stands behind it
                return max(hot, cold), 0.0
            return (hot if x >= 1 else cold if x <= 0 else (hot + cold) / 2), hot - cold
        c, out = seat(q)
        if x in (0.0, 1.0):
            return (pc, ph)[int(x)] - (q / c) ** 2 - out, 0.0
        low = min(ph, pc)

        def miss(k):  # k = √(low - pm)
            parts = []
            for share, p in ((x, ph), (1 - x, pc)):
                parts.append(share * q / math.sqrt(p - low + k * k) if share * q > 0 else 0.0)
            return sum(parts) - c

        if q <= 0:
            return low, 0.0
        k = brentq(miss, 1e-12 * q / c, 1.000001 * q / c + 1e-9, xtol=1e-16, rtol=1e-15)
        return low - k * k - out, 0.0

    def whole(self, model):
        """Coefficient of seat and outlet passage, one behind the other."""
        return (model["seat_coefficient"] ** -2 + (model["outlet_coefficient"] or math.inf) ** -2) ** -0.5

    def two_valves(self, valve, model, flow):
        """Coefficient of a small valve and a large one that opens at a pressure difference, outlet passages inside."""
        one, other = self.whole(model), self.whole(self.t["valve_models"][valve["second_model"]])
        alone = math.sqrt(valve["second_opens_at"])
        if flow <= one * alone:
            return one
        return one + other if flow >= (one + other) * alone else flow / alone

    # Solving.

    def law(self, tag, slot, p):
        model = self.t["outlet_models"][self.t["stations"][tag][f"outlet_{slot}"]]
        if p <= 0:
            return 0.0
        q = model["rated_flow"] * math.sqrt(p / model["rated_pressure"])
        return min(q, model["rated_flow"]) if model["type"] == "flow-regulated" else q

    def valves_of(self, case):
        firsts = [self.chain(self.t["stations"][tag]["fed_from"])[0] for tag, _ in case.open]
        return sorted({tag for key, tag in firsts if key == "mixing_valves"})

    def open_valves(self, case):
        """Valves whose hot seat and bypass stand open: the split between them is unknown."""
        return [tag for tag in self.valves_of(case) if self.wide_open(case, self.t["mixing_valves"][tag])]

    def balance(self, case, pressures, sigma):
        """What the network gives less what was supposed; and the imbalance of each valve's two ways."""
        flows = {key: self.law(*key, p) for key, p in zip(case.open, pressures, strict=True)}
        names = self.open_valves(case)
        shares = {}
        for name, s in zip(names, sigma, strict=True):
            fitted = self.t["mixing_valves"][name]["parallel_bypass"]
            shares[name] = min(max(s, 0.0), 1.0) if fitted else 1.0
        got, valves = self.walk(case, flows, shares)
        miss = [got[key] - p for key, p in zip(case.open, pressures, strict=True)]
        for name, s in zip(names, sigma, strict=True):
            fitted = self.t["mixing_valves"][name]["parallel_bypass"]
            miss.append(valves[name]["gap"] - 1e5 * (s - shares[name]) if fitted else 1e5 * (1.0 - s))
        return miss, flows, got, valves

    def solve(self, case):
        """The answer of one case whose losses rise with flow, of which there is one."""
        names = self.open_valves(case)
        outlets, unit = len(case.open), 1e5
        still, *_ = self.still(case)
        if max(still) <= 0:
            return Answer(False)
        best = None
        starts = [(start, 0.5) for start in (0.6, 0.3, 0.9, 0.1, 0.02)]
        starts += [(start, share) for start in (0.9, 0.2) for share in (0.9, 0.1) if names]
        guesses = [[max(p, 0.05 * max(still)) * start / unit for p in still] + [s] * len(names) for start, s in starts]
        for guess in guesses:
            for method in ("hybr", "lm"):
                found = root(
                    lambda z: np.array(self.balance(case, z[:outlets] * unit, z[outlets:])[0]) / unit, guess,
                    method=method, tol=1e-13,
                )  # fmt: skip
                miss, flows, got, valves = self.balance(case, found.x[:outlets] * unit, found.x[outlets:])
                worst = max(abs(m) for m in miss)
                if best is None or worst < best[0]:
                    best = (worst, flows, got, valves)
                if worst < 1e-3:
                    return Answer(True, flows, got, valves)
        raise AssertionError(f"the slow solver is stuck at {best[0]:g} Pa: {case}")

    def leaks(self, case):
        """Flows of the outlets where cold water fails, and whether any valve has hot water: data, not hydraulics.

        Each valve passes what its data sheets say, shared by rated flow; where the main is lost, unless hot water comes
        from a supply of its own.
        """
        flow, some, rated = dict.fromkeys(case.open, 0.0), False, {}
        for tag, slot in case.open:
            rated[tag, slot] = self.t["outlet_models"][self.t["stations"][tag][f"outlet_{slot}"]]["rated_flow"]
        for name in self.valves_of(case):
            valve = self.t["mixing_valves"][name]
            roots = [self.chain(valve[side])[0] for side in ("cold_run", "hot_run")]
            if case.fault == "common main lost" and roots[0] == roots[1]:
                continue
            some = True
            models = [self.t["valve_models"][valve[word]] for word in ("model", "second_model") if valve[word]]
            mine = [key for key in case.open if (self.chain(self.t["stations"][key[0]]["fed_from"])[0][1]) == name]
            for key in mine:
                flow[key] = sum(model["leakage"] for model in models) * rated[key] / sum(rated[one] for one in mine)
        return flow, some

    def still(self, case):
        """Pressures at the outlets when nothing flows (for a cold source: through the better of both ways)."""
        names = self.open_valves(case)
        flows = dict.fromkeys(case.open, 0.0)
        both = [self.walk(case, flows, dict.fromkeys(names, share))[0] for share in ((0.0, 1.0) if names else (0.0,))]
        for tag in names:
            if not self.t["mixing_valves"][tag]["parallel_bypass"]:
                both = both[-1:]
        return [max(one[key] for one in both) for key in case.open], both

    def smallest(self, case, points=400):
        """Smallest root of one station, for losses that may fall while the flow rises; None if there is none."""
        tag = case.open[0][0]
        height = {key: self.t["stations"][tag][f"outlet_{key[1]}_elevation"] for key in case.open}
        lowest = min(case.open, key=lambda key: height[key])
        behind = self.valves_of(case)
        water = (
            self.water(case, self.t["mixing_valves"][behind[0]])[2] if behind else self.cold_temperature[case.season]
        )

        def balance(p):
            at = [p - density(water) * G * (height[key] - height[lowest]) for key in case.open]
            miss, *rest = self.balance(case, at, [])
            return miss[case.open.index(lowest)], rest

        top = 1.5 * max(balance(0.0)[0], 0.0)
        if top == 0:
            return Answer(False)
        before = 0.0
        for step in range(1, points + 1):
            p = top * step / points
            if balance(p)[0] <= 0:
                p = brentq(lambda z: balance(z)[0], before, p, xtol=1e-9, rtol=1e-14)
                _, (flows, got, valves) = balance(p)
                return Answer(True, flows, got, valves)
            before = p
        raise AssertionError("no root below one and a half times the pressure at rest")
