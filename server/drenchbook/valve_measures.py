"""What the checks of mixing valves measure in the solved cases."""

from __future__ import annotations

from typing import Any, TypeAlias

import numpy as np

from drenchbook.case_measures import CaseMeasures, conditions
from drenchbook.check_samples import Samples, at_least, at_most
from drenchbook.network_arrays import ROUNDING
from drenchbook.operating_cases import NORMAL

Numbers: TypeAlias = np.ndarray[Any, Any]


class ValveMeasures(CaseMeasures):
    """Measurements of mixing valves. Each method gives the Samples of one check."""

    def own_outlet_flow(self) -> Samples:
        """VLV-1, VLV-11: flow through the valve, its loop included, over its minimum, one outlet open."""
        valves, single = self.cases.valves, self._one_outlet_openings()
        loop = self.context.network.valve_loop_flow[valves.member] if len(valves.member) else np.zeros(0)
        flow, network = self._fault(NORMAL).valve.flow + loop, self.context.network
        need = np.broadcast_to(self._model_cells("minimum_flow"), flow.shape)
        if network.valve_gap_to.any():  # of two in parallel the larger controls from its own minimum
            opened = flow > network.valve_gap_from[valves.member] * (1 + ROUNDING)
            need = np.where(opened, np.maximum(need, network.valve_gap_to[valves.member]), need)
        margin = np.where(single[valves.opening], at_least(flow, need), np.nan)
        unknown = single[valves.opening] & np.isnan(margin)
        return Samples(valves, conditions(NORMAL), flow, need, margin, unknown, second=loop > 0)

    def own_outlet_margin(self) -> Samples:
        """VLV-11: the margin of VLV-1."""
        flows, asked = self.own_outlet_flow(), self._limit("VLV-11")
        unknown = flows.unknown | (np.isnan(asked) & ~np.isnan(flows.margin))
        return Samples(flows.pairs, flows.conditions, flows.margin, asked, flows.margin - asked, unknown)

    def _one_outlet_openings(self) -> Numbers:
        return np.diff(self.cases.outlets.offsets) == 1

    def valve_flow(self) -> Samples:
        """VLV-2: flow through the valve within its model's data."""
        flow, asked = self._fault(NORMAL).valve.flow, self._model_cells("maximum_flow")
        beyond = self._fault(NORMAL).valve.beyond_model
        margin = np.where(beyond, -1.0, at_most(flow, asked))
        return Samples(self.cases.valves, conditions(NORMAL), flow, asked, margin, np.isnan(margin))

    def inlet_pressures(self) -> Samples:
        """VLV-4: ratio and difference of the inlet pressures, whichever is worse against its limit."""
        valve = self._fault(NORMAL).valve
        high = np.maximum(valve.hot_pressure, valve.cold_pressure)
        low = np.minimum(valve.hot_pressure, valve.cold_pressure)
        ratio = np.where(low > 0, high / np.where(low > 0, low, 1.0), np.where(np.isnan(low), np.nan, np.inf))
        limits = self._model_cells("maximum_pressure_ratio"), self._model_cells("maximum_pressure_difference")
        margins = at_most(ratio, limits[0]), at_most(high - low, limits[1])
        second = margins[1] < margins[0]
        value, limit = np.where(second, high - low, ratio), np.where(second, limits[1], limits[0])
        margin = np.minimum(*margins)
        return Samples(self.cases.valves, conditions(NORMAL), value, limit, margin, np.isnan(margin), second=second)

    def stem_position(self) -> Samples:
        """VLV-6: stem position of the valve in normal use."""
        least, greatest = self._limit("VLV-6 least"), self._limit("VLV-6 greatest")
        stem = self._fault(NORMAL).valve.stem
        margin = np.minimum(stem - least, greatest - stem)
        limit = np.where(stem - least < greatest - stem, least, greatest)
        return Samples(self.cases.valves, conditions(NORMAL), stem, limit, margin, np.isnan(margin))

    def bypass_opening(self) -> Samples:
        """BYP-5: pressure difference over the valve in normal use, against the opening of a fitted bypass."""
        valve = self._fault(NORMAL).valve
        # whether a bypass is fitted may be blank: then it is not known whether one opens
        fitted = np.array([row.parallel_bypass is not False for row in self.context.site.mixing_valves], dtype=bool)
        said = np.array([row.parallel_bypass is True for row in self.context.site.mixing_valves], dtype=bool)
        members = self.cases.valves.member
        fitted, said = (one[members] if len(members) else np.zeros(0, dtype=bool) for one in (fitted, said))
        asked = self._model_cells("bypass_opening")
        difference = valve.cold_pressure - valve.outlet_pressure
        margin = np.where(said, at_most(difference, asked), np.nan)
        unknown = fitted & np.isnan(margin)
        return Samples(self.cases.valves, conditions(NORMAL), difference, asked, margin, unknown)
