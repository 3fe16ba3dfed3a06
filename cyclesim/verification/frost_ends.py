"""Where frost protection is asked for and no water moves until somebody comes, and how long that may be."""

from __future__ import annotations

from collections.abc import Iterator

from cyclesim.analysis.amounts import listed
from cyclesim.analysis.combinations import as_written
from cyclesim.analysis.history import History
from cyclesim.analysis.metrics import OutageMetrics
from cyclesim.analysis.outages import had_it_failed, had_it_tripped
from cyclesim.control.step import LEVEL_LOW, POWER_LOST, WAITS
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.programme import FROST, Programme
from cyclesim.verification.answer import DeadEnd
from cyclesim.verification.automaton import Automaton, Node
from cyclesim.verification.calendar_order import Calendar
from cyclesim.verification.cone import cone_of
from cyclesim.verification.environment import Environment
from cyclesim.verification.search import search

KIND = "no frost protection"


def frost_ends(
    plant: Assembly, programme: Programme, calendar: Calendar, year: History | None
) -> Iterator[DeadEnd]:
    """Every way in which frost protection comes to nothing, each with the hours that the plant has."""
    frost = plant.scenario.schedule.frost_protection
    if frost is None:
        return
    pump = frost.pump.pump
    cone = cone_of(plant, programme, [pump])
    automaton = Automaton(plant, cone, Environment(plant, programme, calendar, cone))
    asked = automaton.controller.bit(f"{FROST}.raised")
    why = dict.fromkeys(
        _why(automaton, node, pump, frost.pump.speed)
        for node in search(automaton, {}).came_from
        if automaton.facts(node) & asked and _stands(automaton, node, pump)
    )
    circuits = plant.scenario.circuits
    if len(circuits) > 1:
        on = next((name for name, circuit in circuits.items() if pump in circuit.feeds), None)
        if on is not None:
            rcd = circuits[on].rcd
            shared = rcd and sum(circuit.rcd == rcd for circuit in circuits.values()) > 1
            with_all = f", or with all that is behind the residual-current device {rcd}" if shared else ""
            reason = f"{pump} hangs on the circuit {on}, which may trip alone{with_all}"
            tripped = had_it_tripped(plant, programme, year.trace, on) if year else None
            yield DeadEnd(KIND, FROST, f"{reason}; {_hours(tripped)}")
    failed = had_it_failed(plant, year.trace) if year is not None else None
    for reason in why:
        yield DeadEnd(KIND, FROST, f"{reason}; {_hours(failed)}")


def _stands(automaton: Automaton, node: Node, pump: str) -> bool:
    """Whether a pump stands, with power, and not only until a time is over or the next pass comes."""
    i = next(i for i, machine in enumerate(automaton.controller.pumps) if machine.name == pump)
    effect = automaton.flows.effect(node.state, node.env, node.feedback)
    dark = automaton.facts(node) & automaton.controller.bit(POWER_LOST)
    return not (dark or effect.levels[i] or node.timers[i] or automaton.is_due(node))


def _why(automaton: Automaton, node: Node, pump: str, speed: str) -> str:
    """What keeps the pump still."""
    c, facts = automaton.controller, automaton.facts(node)
    if facts & c.bit(WAITS):
        return "after a power cut the controller waits for a person"
    if facts & c.bit(LEVEL_LOW) and c.reads_level:
        return "the water is low, and the level switch keeps the pumps off"
    if pump in c.hand_switched and facts & c.bit(f"{pump}.switched_off"):
        return f"the hand switch of {pump} is off"
    blocks = [str(block.condition) for block in c.blocks if block.target == pump]
    return f"{as_written(pump, speed)} is blocked {listed(blocks)}" if blocks else f"{pump} stands"


def _hours(cut: OutageMetrics | None) -> str:
    """How long the plant withstands standing water from the coldest hour of the year on."""
    if cut is None:
        return "how long the plant then has was not worked out"
    zero = {name: h for name, h in cut.until_zero_h.items() if h is not None}
    if not zero:
        return "in the coldest hour of the simulated year no part would be at 0 degC within ten days of that"
    first = min(zero, key=lambda name: zero[name])
    ice = {name: h for name, h in cut.until_frozen_h.items() if h is not None}
    said = f"from the coldest hour of the simulated year on {first} is at 0 degC after {zero[first]:.0f} h"
    if not ice:
        return f"{said}, and nothing is ice within ten days"
    frozen = min(ice, key=lambda name: ice[name])
    return f"{said}, and a tenth of {frozen} is ice after {ice[frozen]:.0f} h"
