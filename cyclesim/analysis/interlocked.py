"""What the interlocks and the wiring let be on at the same time.

Things may be on together where the controller can come to rest with them: asked for just these, and told of
the flow that they move, `ControlLogic.step` moves nothing any more. So blocks, keeps, means of proof and what
is started past the controller are read by the one interpreter of control, and whole states are asked, not
pairs. The seconds in between are left out: a contactor that opens late, a pump that coasts.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import product
from typing import NamedTuple

from cyclesim.analysis.truth import Closed
from cyclesim.control.demands import Demand, PumpControl, SourceControl
from cyclesim.control.step import State
from cyclesim.simulation.assembly import Assembly, PlantDuty
from cyclesim.simulation.programme import Programme


class Together(NamedTuple):
    """Where the machines stand, which contacts beside the controller are closed, and what is then on."""

    state: State
    closed: int
    """The facts of the closed contacts."""
    on: tuple[Closed, ...]


class Interlocked:
    """A plant whose controller may be asked for anything at any time, at any position of its valves."""

    def __init__(self, plant: Assembly, programme: Programme) -> None:
        wired = programme.controller
        asks = [Demand(_ask(p, speed), "any", 0, p.name, speed) for p in wired.pumps for speed in p.speeds]
        asks += [Demand(_ask(s, s.active), "any", 0, "", "", (s.name,)) for s in wired.sources]
        self._plant, self._controller = plant, replace(wired, demands=tuple(asks))

    def every(self) -> Iterator[Together]:
        """Every combination of resting states and closed contacts, whether it may be or not."""
        controller = self._controller
        contacts = [controller.bit(f"{starter.name}.closed") for starter in controller.starters]
        felt = sum(controller.bit(f"flow.{s.name}.own") for s in controller.sources if s.own_switch)
        for state in product(*(_resting(machine) for machine in controller.machines)):
            for bits in product((0, 1), repeat=len(contacts)):
                closed = sum(bit for bit, is_closed in zip(contacts, bits, strict=True) if is_closed)
                yield Together(state, closed, self._on(state, closed | felt))

    def may_be(self, together: Together) -> bool:
        """Whether the controller rests there, its flow given, with just this on."""
        state, closed, on = together
        duties = (self._plant.duty(self._speeds(on), positions) for positions in self._plant.may_be_left)
        fact_sets = (facts | closed for duty in duties for facts in self._facts(state, duty))
        return any(
            self._on(state, facts) == on and self._controller.step(state, facts).state == state
            for facts in fact_sets
        )

    def _on(self, state: State, facts: int) -> tuple[Closed, ...]:
        controller, wired = self._controller, self._controller.wired(state, facts)
        pumps = zip(controller.pumps, wired.speeds, strict=True)
        contacts = [(pump.name, pump.speeds[level - 1]) for pump, levels in pumps for level in levels]
        sources = zip(controller.sources, wired.on, strict=True)
        return (*contacts, *((source.name, "on") for source, is_on in sources if is_on))

    def _speeds(self, on: tuple[Closed, ...]) -> tuple[str, ...]:
        """Two contacts of one pump: the faster speed, the last, turns it."""
        fastest = dict(on)
        return tuple(fastest.get(pump, "stopped") for pump in self._plant.pumps)

    def _facts(self, state: State, duty: PlantDuty) -> Iterator[int]:
        """All that is on is asked for, what is kept asked or not; what runs on goes on, else time is over.

        A kept pump needs no asking, and if a block lowered what is asked, others would read the lower speed.
        Yet a source that is blocked while its kept pump stands fires only where that is asked for besides.
        """
        controller, facts, kept = self._controller, list[str](), list[int]()
        names = dict(zip((m.name for m in controller.machines), controller.names(state), strict=True))
        kept_on = {(k.pump, k.speed) for k in controller.keeps if names[k.after] in ("firing", "run_on")}
        for machine in controller.machines:
            state_name = names[machine.name]
            if state_name != "run_on":
                facts.append(f"{machine.name}.time_up")
            if state_name in _active(machine):
                raised = f"{_ask(machine, state_name)}.raised"
                if (machine.name, state_name) in kept_on:
                    kept.append(controller.bit(raised))
                else:
                    facts.append(raised)
        for source in controller.sources:
            if self._plant.sensed(source.name, duty):
                facts.append(f"flow.{source.name}.sensed")
            if source.own_switch and self._plant.has_flow(source.name, duty):
                facts.append(f"flow.{source.name}.own")
        sure = sum(controller.bit(fact) for fact in facts)
        for asked in product(*((0, bit) for bit in kept)):
            yield sure + sum(asked)


def _ask(machine: PumpControl | SourceControl, state: str) -> str:
    return f"{machine.name} {state}"


def _active(machine: PumpControl | SourceControl) -> tuple[str, ...]:
    return machine.speeds if isinstance(machine, PumpControl) else (machine.active,)


def _resting(machine: PumpControl | SourceControl) -> Iterator[int]:
    """The states in which a machine can stay: off, at a speed or firing, and running on."""
    for i, state in enumerate(machine.table.states):
        if i == machine.table.initial or state in (*_active(machine), "run_on"):
            yield i
