"""What runs past the controller, what valves do that are left turned, and what treats the water."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from cyclesim.analysis.amounts import lasting
from cyclesim.analysis.device_metrics import TreatmentMetrics
from cyclesim.analysis.left import LeftLeg
from cyclesim.said.page import Column, Page, Row, cost, records, whole, words
from cyclesim.said.run_tables import leg_row
from cyclesim.said.words import NEVER_MOVES, UNKNOWN, count, number
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.blocks.treatment import KINDS
from cyclesim.simulation.jets import last_stretch

if TYPE_CHECKING:
    from cyclesim.analysis.result import Result


def until_somebody_comes(scenario: Scenario) -> str:
    """What a controller that waits after a power cut counts on, as a clause; "" for any other."""
    takes, heating = scenario.controller, scenario.schedule.heating
    if takes.after_power_cut != "wait":
        return ""
    said = "power that is back starts nothing until somebody comes, by person_within "
    said += f"{lasting(takes.person_within_s)} later"
    days = sum((away.to_date - away.from_date).days + 1 for away in (heating.absences if heating else ()))
    return f"{said}; of the {count(days, 'day')} away none counts, since nobody comes then" if days else said


def say_wiring(page: Page, result: Result) -> None:
    """Contacts beside the controller with the hours for which they had something on, and its own clock."""
    trace, takes = result.trace, result.scenario.controller
    lines = []
    for name, stream in trace.starters.items():
        target, _, way = name.partition(", ")
        hours = stream.seconds("closed") / 3600.0
        lines.append(f"{target} is also started by its {way}: {number(hours)} h.")
    if trace.starters:
        lines.append("The controller's interlocks cannot stop what starts outside the controller.")
    if takes.after_power_cut == "midnight":
        lines.append("After a power cut its clock starts at midnight, until somebody sets it.")
    if waits := until_somebody_comes(result.scenario):
        lines.append(f"After a power cut the controller waits for a person: {waits}.")
    for contact in result.programme.beside:
        own, whose = contact.line, contact.starter.name
        if own.clock_gains_s:
            does = "gains" if own.clock_gains_s > 0 else "loses"
            lines.append(f"{whose}, {does} {number(abs(own.clock_gains_s))} s a day, and nobody sets it.")
        if own.clock_stops:
            lines.append(f"{whose}, stands while it has no power, and is late from then on.")
    if takes.clock_gains_s:
        does = "gains" if takes.clock_gains_s > 0 else "loses"
        lines.append(f"The controller's clock {does} {number(abs(takes.clock_gains_s))} s a day.")
    if lines:
        page.heading("As wired")
        for line in lines:
            page.line(f"- {line}", hang=2)


def say_left(page: Page, left: dict[str, LeftLeg], *, everything: bool = False) -> None:
    """Leg by leg, the worst position in which somebody may leave the valves, where one is worse than usual.

    *everything*: legs that no position makes worse, too.
    """
    told = {
        name: leg
        for name, leg in left.items()
        if everything or (leg.worst_left and not any(name == last_stretch(other) for other in left))
    }
    if not told:
        return
    columns = (
        words("leg"),
        Column("oldest\nusual {unit}", "oldest_usual_h", "h", unknown=NEVER_MOVES),
        Column("flow at\nmost {unit}", "most_flow_usual_l_min", "L/min"),
        words("worst if left", "worst_left"),
        Column("oldest\nthen {unit}", "oldest_left_h", "h", unknown=NEVER_MOVES),
        Column("flow at\nmost {unit}", "most_flow_left_l_min", "L/min"),
    )

    def row(name: str, leg: LeftLeg) -> Row:
        in_full = leg_row(columns, name, left)
        if leg.worst_left:
            return in_full
        return replace(in_full, cells=(*in_full.cells[:3], "as usual", UNKNOWN, UNKNOWN))

    page.table(
        columns,
        [row(name, leg) for name, leg in told.items()],
        "Had a valve been left turned throughout: the worst for each leg",
    )


def say_nobody_turns(page: Page, turned: bool) -> None:
    """Why the usual age may be less than that of the run."""
    if turned:
        page.line("Usual: nobody turns a valve, so without schedule.valves_turned.")


def say_treatment(page: Page, treatment: dict[str, TreatmentMetrics], currency: str) -> None:
    """Treatment devices: when they were on, and for how long without their flow."""
    if not treatment:
        return
    columns = (
        words("device"),
        words("kind", "kind"),
        Column("on\n{unit}", "on_h", "h"),
        whole("starts", "starts"),
        Column("on without\nflow {unit}", "on_without_flow_h", "h"),
        Column("kept\noff {unit}", "held_off_h", "h"),
        Column("energy\n{unit}", "energy_kwh", "kWh"),
        cost(currency),
    )
    named = {name: replace(device, kind=KINDS[device.kind]) for name, device in treatment.items()}
    page.table(columns, records(columns, named), "Treatment")
