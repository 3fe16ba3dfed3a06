"""Edits of the small plant around its element, and what is read off a verdict."""

from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.programme import Programme
from cyclesim.verification.calendar_order import Calendar
from cyclesim.verification.cone import cone_of
from cyclesim.verification.environment import Environment

NO_PROOF = ("  - {block: element, unless: flow proven, for: 5 s}\n", "")
THERMOSTAT = "also_started_by: [{thermostat: {watches: room, starts_below: 8 degC, stops_above: 10 degC}}]"
STARTED = ("high_limit: 60 degC, zone: room}", f"high_limit: 60 degC, zone: room, {THERMOSTAT}}}")
NO_LIMIT = ("proof: {by: flow_switch}, high_limit: 60 degC", "proof: {by: flow_switch}")


def around_the_element(scenario):
    """The plant, its programme, the element's cone, and what may come from outside."""
    plant, programme = Assembly(scenario), Programme(scenario)
    cone = cone_of(plant, programme, ["element"])
    return plant, programme, cone, Environment(plant, programme, Calendar(programme), cone)


def cells(verdict):
    """The barrier by fault."""
    return {" and ".join(cell.faults): cell.barrier for cell in verdict.cells}
