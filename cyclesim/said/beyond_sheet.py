"""Heat pumps that may run in air colder than their data sheet tells, which the model carries on by itself."""

from __future__ import annotations

from cyclesim.said.page import Page
from cyclesim.said.words import degrees
from cyclesim.scenario.blocks.heat_sources import HeatPump
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.simulation.trace import Trace


def say_beyond_sheet(page: Page, scenario: Scenario, trace: Trace | None = None) -> None:
    """A line for each such heat pump; of a run, *trace*, only where the air was as cold as that."""
    for name, sheet in scenario.plant.heat_sources.items():
        if not isinstance(sheet, HeatPump):
            continue
        begins_c = min(point.air_c for point in sheet.rated)
        if sheet.lowest_air_c >= begins_c:
            continue
        said = (
            f"{name} may run in air down to {degrees(sheet.lowest_air_c)} °C, and its rated lines begin at "
        )
        said += f"{degrees(begins_c)} °C: what it gives below that is the model's, not the data sheet's."
        if trace is not None and trace.zones is not None:
            first = -trace.zones.origin_s // 3600
            hourly = trace.zones.series[sheet.outside][first : first + trace.span_s // 3600]
            cold_h = sum(sheet.lowest_air_c <= air_c < begins_c for air_c in hourly)
            if not cold_h:
                continue
            said += f" The air was so cold for {cold_h} h of these days."
        page.line(said, hang=2, tone="mind")
