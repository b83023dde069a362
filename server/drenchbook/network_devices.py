"""The line devices of a site in SI: what each costs at a flow, holds or adds, and what is missing."""

from __future__ import annotations

from typing import Any

import numpy as np

from drenchbook.network_arrays import NONE
from drenchbook.network_cells import Cells, CurveList, power_of
from drenchbook.network_sums import DeviceLosses
from drenchbook.site_model import Site, tag_key
from drenchbook.site_tables import LINE_DEVICES

BOOSTER, REDUCING = "booster", "pressure-reducing valve"
STRAINER_LIMIT = "STR-1 factor"  # the row of Limits with the loss of a fouled strainer over that of a clean one


def strainer_factor(site: Site) -> float:
    """The loss of a fouled strainer over that of a clean one, from its row of Limits; not-a-number without one. [-]"""
    found = [row.value for row in site.limits if tag_key(row.id) == tag_key(STRAINER_LIMIT)]
    return float(found[0]) if found and isinstance(found[0], float) and found[0] >= 1 else float("nan")


class LineDevices:
    """Every device by the key of its tag."""

    def __init__(self, site: Site, curves: CurveList):
        self.site, self.curves = site, curves
        self.missing: dict[str, tuple[str, ...]] = {}
        self.losses = DeviceLosses({}, {}, {})
        self.setting: dict[str, float] = {}  # of pressure-reducing valves [Pa]
        self.power: dict[str, int] = {}
        self.still: dict[str, float] = {}
        for row in self.site.line_devices:
            cells, key = Cells(self.site, LINE_DEVICES, row), tag_key(row.tag)
            if row.kind == BOOSTER:
                self.booster(cells, key)
                later = Cells(self.site, LINE_DEVICES, row)  # only the case without power needs these
                self.power[key], self.still[key] = power_of(later), later.number("loss_per_flow_squared")
            else:
                self.loss(cells, key, str(row.tag))
            self.missing[key] = tuple(cells.missing)

    def arrays(self) -> dict[str, Any]:
        """The fields of `Network` that tell of devices."""
        names = {tag_key(row.tag): str(row.tag) for row in self.site.line_devices}
        kinds = {tag_key(row.tag): str(row.kind) for row in self.site.line_devices}
        return {"device_names": names, "device_kinds": kinds, "device_square": self.losses.square,
                "device_curve": self.losses.curve, "device_head": self.losses.head, "booster_power": self.power,
                "booster_still": self.still, "strainer_factor": strainer_factor(self.site)}  # fmt: skip

    def loss(self, cells: Cells, key: str, name: str) -> None:
        """A device by its points or its coefficient; a pressure-reducing valve must have its setting too."""
        if cells.has("curve"):
            curve = self.curves.new(name, cells.curve("curve"))
            if curve != NONE:
                self.losses.curve[key] = curve
        else:
            self.losses.square[key] = cells.number("loss_per_flow_squared")
        if cells.row.kind == REDUCING:
            self.setting[key] = cells.positive("setting")

    def booster(self, cells: Cells, key: str) -> None:
        """Head at no flow, and a curve of what is added less; it may not rise with flow."""
        points = cells.curve("curve")
        if points is None:
            if not cells.missing:
                cells.say("curve", "is blank; a booster needs the points of the head it adds")
            return
        flows, head = points
        if np.any(np.diff(head) > 0) or head[0] <= 0:
            cells.say("curve", "of a booster must begin above zero and may not rise with flow")
            return
        self.losses.head[key] = float(head[0])
        self.losses.curve[key] = self.curves.new(str(cells.row.tag), (flows, head[0] - head))
