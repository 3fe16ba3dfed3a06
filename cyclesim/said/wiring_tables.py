"""What runs past the controller, what valves do that are left turned, and what treats the water."""

from __future__ import annotations

from typing import TYPE_CHECKING

from cyclesim.analysis.left import LeftLeg
from cyclesim.analysis.metrics import TreatmentMetrics
from cyclesim.said.page import Column, Page
from cyclesim.said.run_tables import LAST_JET
from cyclesim.said.words import UNKNOWN, number
from cyclesim.scenario.blocks.treatment import KINDS
from cyclesim.simulation.assembly import last_stretch

if TYPE_CHECKING:
    from cyclesim.analysis.result import Result

_AFTER_A_CUT = {
    "midnight": "its clock starts at midnight, until somebody sets it",
    "wait": "it waits for a person",
}


def say_wiring(page: Page, result: Result) -> None:
    """Contacts beside the controller with the hours for which they had something on, and its own clock."""
    trace, takes = result.trace, result.scenario.controller
    lines = []
    for name, stream in trace.starters.items():
        target, _, way = name.partition(", ")
        hours = stream.seconds("closed") / 3600.0
        lines.append(f"{target} is also started by its {way}: {number(hours)} h.")
    if trace.starters:
        lines.append("The controller's interlocks do not reach what is started past it.")
    if takes.after_power_cut != "resume":
        lines.append(f"After a power cut {_AFTER_A_CUT[takes.after_power_cut]}.")
    if takes.clock_gains_s:
        does = "gains" if takes.clock_gains_s > 0 else "loses"
        lines.append(f"The controller's clock {does} {number(abs(takes.clock_gains_s))} s a day.")
    if lines:
        page.heading("As wired")
        for line in lines:
            page.line(f"- {line}", hang=2)


def say_left(page: Page, left: dict[str, LeftLeg]) -> None:
    """Leg by leg, the worst position in which somebody may leave the valves."""
    if not left:
        return
    hangs = {last_stretch(name) for name in left}
    page.heading("Valves left turned: the worst for each leg and housing, had it been left so throughout")
    page.table(
        [
            Column("leg", words=True),
            Column("oldest\nusual h"),
            Column("flow at\nmost L/min"),
            Column("worst if left", words=True),
            Column("oldest\nthen h"),
            Column("flow at\nmost L/min"),
        ],
        (
            (
                LAST_JET if name in hangs else name,
                _age(leg.oldest_usual_h),
                number(leg.most_flow_usual_l_min),
                leg.worst_left or "as usual",
                _age(leg.oldest_left_h) if leg.worst_left else UNKNOWN,
                number(leg.most_flow_left_l_min) if leg.worst_left else UNKNOWN,
            )
            for name, leg in left.items()
        ),
    )


def say_nobody_turns(page: Page, turned: bool) -> None:
    """Why the usual age may be less than that of the run."""
    if turned:
        page.line("Usual: with nobody who turns a valve, so without schedule.valves_turned.")


def _age(hours: float | None) -> str:
    return "never moves" if hours is None else number(hours)


def say_treatment(page: Page, treatment: dict[str, TreatmentMetrics], currency: str) -> None:
    """Treatment devices: when they were on, and for how long without their flow."""
    if not treatment:
        return
    page.heading("Treatment")
    page.table(
        [
            Column("device", words=True),
            Column("kind", words=True),
            Column("on\nh"),
            Column("starts"),
            Column("on without\nflow h"),
            Column("kept\noff h"),
            Column("energy\nkWh"),
            Column(f"cost\n{currency}"),
        ],
        (
            (
                name,
                KINDS[device.kind],
                number(device.on_h),
                str(device.starts),
                number(device.on_without_flow_h),
                number(device.held_off_h),
                number(device.energy_kwh),
                f"{device.cost:.2f}",
            )
            for name, device in treatment.items()
        ),
    )
