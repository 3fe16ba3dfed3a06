"""Small controllers, and a bench that lets one run beside a clock."""

from __future__ import annotations

from collections.abc import Callable
from itertools import groupby

from cyclesim.control.machines import pump_machine, source_machine, tabulate
from cyclesim.control.step import (
    BlockInterlock,
    Condition,
    ControlLogic,
    Demand,
    KeepInterlock,
    PumpControl,
    SourceControl,
)

TWO = PumpControl("main", ("low", "high"), tabulate(pump_machine("main", ("low", "high"))))
ONE = PumpControl("circulator", ("on",), tabulate(pump_machine("circulator", ("on",))))
PROVEN = SourceControl("element", tabulate(source_machine("element", proves=True, runs_on=True)))
BARE = SourceControl("element", tabulate(source_machine("element", proves=False, runs_on=False)))
BOILER = SourceControl("boiler", tabulate(source_machine("boiler", proves=True, runs_on=False)))

BATHING = Demand("bathing", "bathing", 0, "main", "high")
FLUSH = Demand("flush", "line_flush", 2, "main", "high")
HEATING = Demand("heating", "heating", 3, "main", "low", ("element",))
FILTER = Demand("filter", "filter_run", 4, "main", "low")

NOT_WHILE_HIGH = BlockInterlock("element", None, Condition("main", "high"), "the breaker")
RUN_ON = KeepInterlock("main", "low", "element")

# The plant of the classic case: one two-speed pump, an element that the breaker cannot carry beside high.
CLASSIC = ControlLogic(
    pumps=(TWO,),
    sources=(PROVEN,),
    demands=(BATHING, FLUSH, HEATING, FILTER),
    blocks=(NOT_WHILE_HIGH,),
    keeps=(RUN_ON,),
    dwell_s={
        "main": {"stopped": 75, "low": 10, "high": 10, "changing": 2},
        "element": {"proving": 5, "proving_again": 5, "run_on": 60},
    },
)

# Two pumps and two sources; the jet pump may not run beside the boiler, and shuts the element out.
DOUBLE = ControlLogic(
    pumps=(ONE, TWO),
    sources=(PROVEN, BOILER),
    demands=(
        Demand("bathing", "bathing", 0, "main", "high"),
        Demand("frost", "frost_protection", 1, "circulator", "on"),
        Demand("heating", "heating", 3, "circulator", "on", ("element", "boiler")),
        Demand("jets", "line_flush", 2, "main", "low"),
    ),
    blocks=(
        BlockInterlock("element", None, Condition("main", "running"), "the breaker"),
        BlockInterlock("main", "high", Condition("boiler", "firing"), "the gas meter"),
        BlockInterlock("boiler", None, Condition("circulator", "running", negated=True), "no circulation"),
    ),
    keeps=(KeepInterlock("circulator", "on", "element"),),
    dwell_s={"main": {"stopped": 20, "changing": 2}, "element": {"run_on": 30}, "boiler": {"proving": 5}},
)
UNWIRED = ControlLogic((TWO,), (BARE,), (BATHING, HEATING))
PLANTS = (CLASSIC, DOUBLE, UNWIRED)


def mask(controller: ControlLogic, *names: str) -> int:
    """The facts with just these names true."""
    return sum(controller.bit(name) for name in names)


def timers(controller: ControlLogic) -> int:
    """Every time_up true."""
    return mask(controller, *(name for name in controller.facts if name.endswith(".time_up")))


class Bench:
    """A controller beside a clock that serves its timers: one pass a second; flow where `flows` says."""

    def __init__(self, controller: ControlLogic, flows: Callable[[tuple[str, ...]], bool]) -> None:
        self.controller, self.flows = controller, flows
        self.state, self.now_s = controller.initial, 0
        self.since_s = [-(10**6)] * len(self.state)  # everything has rested long enough
        self.seen: list[tuple[int, tuple[str, ...]]] = []
        self.outcome = controller.step(self.state, 0)

    def run(self, lasts_s: int, *raised: str) -> None:
        """Let it run with these demands raised and these further facts true."""
        c = self.controller
        machines = [machine.name for machine in (*c.pumps, *c.sources)]
        for _ in range(lasts_s):
            names = set(raised)
            if self.flows(c.names(self.state)):
                names |= {f"flow.{source.name}.sensed" for source in c.sources}
            for name, since_s, dwell_s in zip(machines, self.since_s, c.dwells_s(self.state), strict=True):
                if self.now_s - since_s >= dwell_s:
                    names.add(f"{name}.time_up")
            self.outcome = c.step(self.state, mask(c, *names))
            for i, (old, new) in enumerate(zip(self.state, self.outcome.state, strict=True)):
                if old != new:
                    self.since_s[i] = self.now_s
            self.state = self.outcome.state
            self.seen.append((self.now_s, c.names(self.state)))
            self.now_s += 1

    def told(self, machine: int, from_s: int = 0) -> list[tuple[str, int]]:
        """What one machine did: each state it was in and for how many seconds."""
        states = (names[machine] for at_s, names in self.seen if at_s >= from_s)
        return [(state, len(list(group))) for state, group in groupby(states)]


def main_runs(names: tuple[str, ...]) -> bool:
    """Flow passes while the first pump is at a speed."""
    return names[0] in ("low", "high", "on")
