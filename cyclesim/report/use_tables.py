"""What people, blowers and power cuts came to, as far as it was measured."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from cyclesim.analysis.metrics import HeatSourceMetrics, TubMetrics
from cyclesim.report.layout import Column, Page
from cyclesim.report.words import count, hours, number, when

if TYPE_CHECKING:
    from cyclesim.simulation.trace import Trace


def say_people(page: Page, tub: TubMetrics) -> None:
    """Sessions, hours in the water, and what water had to be filled up."""
    sessions = getattr(tub, "sessions", None)
    if not sessions:
        return
    page.heading("People")
    said = (
        f"{count(sessions, 'session')}, {number(getattr(tub, 'bathed_h', None))} h with people in the water"
    )
    warm = getattr(tub, "mean_at_session_start_c", None)
    if warm is not None:
        said += f"; water at the start {number(warm)} °C on the mean"
    page.line(f"{said}.")
    topped_up_l = getattr(tub, "topped_up_l", None)
    if topped_up_l is not None:
        page.line(f"Water topped up for what evaporated: {number(topped_up_l)} L.")


def say_blowers(page: Page, blowers: dict[str, Any] | None, currency: str) -> None:
    """Blowers: the air they get through, or why none."""
    if not blowers:
        return
    page.heading("Blowers")
    page.table(
        [
            Column("blower", words=True),
            Column("runs\nh"),
            Column("starts"),
            Column("air\nL/min"),
            Column("pressure\nkPa"),
            Column("energy\nkWh"),
            Column(f"cost\n{currency}"),
        ],
        (
            (
                name,
                number(blower.running_h),
                str(blower.starts),
                number(blower.flow_l_min),
                number(blower.pressure_kpa),
                number(blower.energy_kwh),
                f"{blower.cost:.2f}",
            )
            for name, blower in blowers.items()
        ),
    )
    for name, blower in blowers.items():
        if blower.why_not:
            page.line(f"{name} blows no air: {blower.why_not}.", hang=2)


def say_made_from(page: Page, sources: dict[str, HeatSourceMetrics]) -> None:
    """Heat that a heat pump made of its electricity, and fuel that a boiler burnt."""
    for name, source in sources.items():
        heat_kwh, cop = getattr(source, "heat_kwh", None), getattr(source, "seasonal_cop", None)
        fuel_kwh = getattr(source, "fuel_kwh", None)
        if cop is not None:
            made = f"{number(heat_kwh)} kWh of heat from {number(source.energy_kwh)} kWh of electricity"
            page.line(f"{name} made {made}, {number(cop)} to 1 over these days.", hang=2)
        if fuel_kwh is not None:
            page.line(f"{name} burnt {number(fuel_kwh)} kWh of fuel.", hang=2)


def say_power_cuts(page: Page, trace: Trace) -> None:
    """When there was no power."""
    cuts = trace.power.spans("lost")
    if not cuts:
        return
    page.heading("Power cuts")
    for start, end in cuts:
        page.line(
            f"- from {when(trace.local(start).isoformat())} for {hours((end - start) / 3600.0)}", hang=2
        )
