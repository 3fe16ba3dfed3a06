"""The one interpreter of control: demands, interlocks and machine tables in, the next state out; pure.

Arbitration before blocks. A pass is: facts, arbitration, blocks and trips (sources open), keeps, pumps,
sources close. A block on `main high` therefore opens the element in the very pass in which high is asked for,
not a second after it runs.

A fixed pass, not a fixed point. Each machine moves at most once a pass. Iterating to a fixed point could
swing for ever (high, blocked, run-on keeps low, unblocked, high).

A keep is the last word on a pump short of a loss of power, low water that a level switch tells, and a
controller that waits: it stands above a block, because what it protects is hot. A source's block therefore
reads what the keeps hold: what waits for its pump stays on through another's run-on, and opens in the pass in
which that ends, before the pump stops. Two sources that each keep the pump the other waits for hold each
other on for as long as both are called, as their two keeps say: water moves through either. Where the call of
one ends, both end. No file wires it by blocks: only treatment devices wait for a pump, and only heat sources
keep one.

What is past the controller is no part of a pass. `ControlLogic.step` moves machines by what the controller is
told; `ControlLogic.wired` says what is then on: machine states, closed contacts beside them, hand switches, a
device's own flow switch, trips. Interlocks read the machines, so they do not see what is started past them,
just as they would not. Both are pure and read the same state and facts.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import NamedTuple

from cyclesim.control.demands import (
    BlockInterlock,
    Condition,
    Demand,
    KeepInterlock,
    PumpControl,
    SourceControl,
    StarterContact,
)
from cyclesim.control.one_pass import NOBODY, OnePass, PassOutcome
from cyclesim.control.rows import LEVEL_LOW, POWER_LOST, WAITS, ControlRows, State

__all__ = [
    "LEVEL_LOW",
    "NOBODY",
    "POWER_LOST",
    "WAITS",
    "BlockInterlock",
    "Condition",
    "ControlLogic",
    "Demand",
    "KeepInterlock",
    "PassOutcome",
    "PumpControl",
    "SourceControl",
    "StarterContact",
    "State",
    "Wired",
]


class Wired(NamedTuple):
    """What is on as the plant is wired, whether the controller has switched it or something beside it.

    `speeds`, per pump: the levels whose contacts are closed, slowest first (more than one is a fault of the
    wiring). `on`, per source and treatment device. `started`: indices of the starters that take effect.
    """

    speeds: tuple[tuple[int, ...], ...]
    on: tuple[bool, ...]
    started: tuple[int, ...]


@dataclass(frozen=True, eq=False)
class ControlLogic(ControlRows):
    """What is wired and programmed; `step` is its one meaning. Fields and faults as in `ControlRows`."""

    _answers: dict[tuple[State, int], PassOutcome] = field(default_factory=dict, init=False, repr=False)

    def commands(self, state: State) -> dict[str, str | bool]:
        """What a state commands: a pump's speed, "stopped" or "changing"; whether a source is on."""
        return {
            machine.name: name if isinstance(machine, PumpControl) else name == machine.active
            for machine, name in zip(self.machines, self.names(state), strict=True)
        }

    def wired(self, state: State, facts: int, welded: Iterable[tuple[int, int]] = ()) -> Wired:
        """What is on: what the state commands, and what closed contacts beside the controller start.

        A tripped source stays off, so does one whose own flow switch feels no water, and nothing runs past a
        hand switch in off or without power. *welded*: (machine, level) of contacts that are stuck closed; a
        hand switch stands before them, the own flow switch and the high limit behind.
        """
        levels = [{level} - {0} for level in self._levels_at(state)]
        started = []
        for k, (starter, target) in enumerate(zip(self.starters, self._targets, strict=True)):
            if facts & self.bit(f"{starter.name}.closed") and not facts & self.bit(POWER_LOST):
                levels[target[0]].add(target[1])
                started.append(k)
        for name in self.hand_switched:
            if facts & self.bit(f"{name}.switched_off"):
                levels[self._index[name]].clear()
        n = len(self.pumps)
        open_ = {i for i in range(n, len(levels)) if self._opened(state, facts, i)}
        for i in open_:
            levels[i].clear()
        took = tuple(k for k in started if self._targets[k][1] in levels[self._targets[k][0]])
        for i, level in welded:
            if i not in open_ and not facts & self.bit(POWER_LOST):
                levels[i].add(level)
        own, stuck = self._levels_at(state), set(welded)
        for i, pump in enumerate(self.pumps):
            if pump.locked and len(levels[i]) > 1:  # what is closed already keeps the other open
                levels[i] = {min(levels[i], key=lambda level: ((i, level) not in stuck, level != own[i]))}
        return Wired(
            tuple(tuple(sorted(closed)) for closed in levels[:n]),
            tuple(bool(closed) for closed in levels[n:]),
            took,
        )

    def _opened(self, state: State, facts: int, machine: int) -> bool:
        """Whether a source's own flow switch or its high limit keeps it off, whatever closes its contacts."""
        source = self.sources[machine - len(self.pumps)]
        unfed = source.own_switch and not facts & self.bit(f"flow.{source.name}.own")
        return unfed or source.table.states[state[machine]] == "tripped"

    def _levels_at(self, state: State) -> tuple[int, ...]:
        return tuple(row[i] for row, i in zip(self.level_rows, state, strict=True))

    def step(self, state: State, facts: int) -> PassOutcome:
        """One pass: each machine moves at most once. Remembered, so asking again costs one look-up."""
        key = (state, facts & self._step_facts)
        outcome = self._answers.get(key)
        if outcome is None:
            outcome = self._answers[key] = OnePass(self, *key).run()
        return outcome
