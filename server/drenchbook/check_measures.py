"""What each check of the solved cases measures: one method for each quantity of the check table."""

from __future__ import annotations

from drenchbook.flow_measures import FlowMeasures
from drenchbook.heat_measures import HeatMeasures
from drenchbook.valve_measures import ValveMeasures


class Measures(FlowMeasures, ValveMeasures, HeatMeasures):
    """The measurements of one solved site. Each method gives the Samples of one check."""
