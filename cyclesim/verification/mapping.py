"""One function from the engine's states to the automaton's: what both know of an instant after its pass."""

from __future__ import annotations

from typing import NamedTuple

from cyclesim.control.step import ControlLogic, State
from cyclesim.verification.automaton import Automaton, Node


class UntimedState(NamedTuple):
    """A state without the order of its timers: machines, what is asked of them, every other fact, valves."""

    state: State
    asked: tuple[object, ...]
    facts: int
    positions: tuple[str, ...]


def of_engine(
    automaton: Automaton, full: ControlLogic, state: State, facts: int, positions: tuple[str, ...]
) -> UntimedState:
    """What the engine's whole state is to a cone's automaton."""
    cone = automaton.controller
    places = {machine.name: i for i, machine in enumerate(full.machines)}
    mine = tuple(state[places[machine.name]] for machine in cone.machines)
    feedback = sum(cone.bit(name) for name in cone.facts if facts & full.bit(name))
    return _known(automaton, mine, feedback, positions)


def of_node(automaton: Automaton, node: Node) -> UntimedState:
    """The same of a state that a search has found."""
    positions = automaton.flows.around(node.env).positions
    return _known(automaton, node.state, automaton.facts(node), positions)


def _known(automaton: Automaton, state: State, facts: int, positions: tuple[str, ...]) -> UntimedState:
    cone = automaton.controller
    demands = sum(cone.bit(f"{demand.name}.raised") for demand in cone.demands)
    pulses = sum(cone.bit(f"{source.name}.reset") for source in cone.sources)
    return UntimedState(state, automaton.env.asked(facts), facts & ~(demands | pulses), positions)
