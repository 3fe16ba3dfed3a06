"""What is wired and programmed, as the rows and bits that a pass of the controller reads."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
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
from cyclesim.control.machines import MachineTable

State = tuple[int, ...]
"""The machine states of a controller: indices into each table's `states`, pumps first, then sources."""

POWER_LOST, WAITS, LEVEL_LOW = "power.lost", "controller.waits", "level.low"


class AtLevels(NamedTuple):
    """A condition, ready to be read: the levels of its subject at which it is true."""

    subject: int
    true_at: frozenset[int]


class FactMasks(NamedTuple):
    """Masks of the facts of one machine; 0 where it has none, and `sensed` where nothing asks for flow."""

    time_up: int
    sensed: int
    trips: int
    reset: int


@dataclass(frozen=True, eq=False)
class ControlRows:
    """What is wired and programmed, with the rows in which a pass finds it.

    `dwell_s[machine][state]` is how long a machine stays in a state at least: the rest of `stopped` and
    `off`, the minimum run of a speed, the changeover of `changing`, the proof time of `proving` and
    `proving_again`, the run-on time of `run_on`. A state that is not named has no such time, and
    its `time_up` is not read.
    Raises ValueError for a name, speed or state that does not exist.
    """

    pumps: tuple[PumpControl, ...]
    sources: tuple[SourceControl, ...]
    demands: tuple[Demand, ...]
    blocks: tuple[BlockInterlock, ...] = ()
    keeps: tuple[KeepInterlock, ...] = ()
    dwell_s: Mapping[str, Mapping[str, int]] = field(default_factory=dict)
    starters: tuple[StarterContact, ...] = ()
    hand_switched: tuple[str, ...] = ()
    """What has a hand switch, which somebody may leave in off."""
    reads_level: bool = False
    """Whether a level switch tells it of low water."""

    def __post_init__(self) -> None:
        # reads every name
        _ = self.orders, self.pump_blocks, self.source_blocks, self.keep_rows, self.calls, self._targets

    @cached_property
    def facts(self) -> tuple[str, ...]:
        """The facts that come from outside, in the order of their bits."""
        return (
            *(f"{demand.name}.raised" for demand in self.demands),
            *(f"flow.{source.name}.sensed" for source in self.sources),
            *(f"{machine.name}.time_up" for machine in self.machines),
            *(f"{source.name}.trips" for source in self.sources),
            *(f"{source.name}.reset" for source in self.sources),
            POWER_LOST,
            WAITS,
            LEVEL_LOW,
            *(f"{starter.name}.closed" for starter in self.starters),
            *(f"{name}.switched_off" for name in self.hand_switched),
            *(f"flow.{source.name}.own" for source in self.sources if source.own_switch),
        )

    @cached_property
    def _step_facts(self) -> int:
        """The facts that a pass reads; what is wired past the controller is none of its business."""
        return (self.bit(LEVEL_LOW) << 1) - 1

    @cached_property
    def wired_facts(self) -> int:
        """The facts that decide, beside the state, what is on; power counts where something is past it."""
        beside = sum(mask for mask in self._masks.values() if not mask & self._step_facts)
        return beside and beside | self.bit(POWER_LOST)

    @cached_property
    def _masks(self) -> dict[str, int]:
        return {name: 1 << i for i, name in enumerate(self.facts)}

    def bit(self, name: str) -> int:
        """The mask of a fact: `facts |= controller.bit("filter.raised")`; KeyError for an unknown one."""
        return self._masks[name]

    @cached_property
    def initial(self) -> State:
        """Everything stopped and off."""
        return tuple(machine.table.initial for machine in self.machines)

    def names(self, state: State) -> tuple[str, ...]:
        """The name of each machine's state, pumps first, then sources."""
        return tuple(table.states[i] for table, i in zip(self.tables, state, strict=True))

    def dwells_s(self, state: State) -> tuple[int, ...]:
        """The seconds declared for the state that each machine is in, pumps first, then sources."""
        return tuple(row[i] for row, i in zip(self.dwell_rows, state, strict=True))

    @cached_property
    def _index(self) -> dict[str, int]:
        return {machine.name: i for i, machine in enumerate(self.machines)}

    @cached_property
    def _targets(self) -> tuple[tuple[int, int], ...]:
        """(machine, level) that each starter starts."""
        return tuple(
            (self._source(s.target), 1) if s.speed is None else self._pump(s.target, s.speed)
            for s in self.starters
        )

    @cached_property
    def machines(self) -> tuple[PumpControl | SourceControl, ...]:
        """Every machine in the order of a state: pumps, then sources and treatment devices."""
        return (*self.pumps, *self.sources)

    @cached_property
    def tables(self) -> tuple[MachineTable, ...]:
        """The table of each machine."""
        return tuple(machine.table for machine in self.machines)

    @cached_property
    def dwell_rows(self) -> tuple[tuple[int, ...], ...]:
        """Per machine and state, how long it stays there at least [s]."""
        return tuple(
            tuple(self.dwell_s.get(machine.name, {}).get(state, 0) for state in machine.table.states)
            for machine in self.machines
        )

    @cached_property
    def level_rows(self) -> tuple[tuple[int, ...], ...]:
        """How fast each state is: a pump's 0 at no speed, 1 at its slowest; a source's 1 where it is on."""
        speeds = [pump.speeds for pump in self.pumps] + [(source.active,) for source in self.sources]
        return tuple(
            tuple(names.index(state) + 1 if state in names else 0 for state in table.states)
            for names, table in zip(speeds, self.tables, strict=True)
        )

    def _pump(self, name: str, speed: str | None) -> tuple[int, int]:
        """The index of a pump and the level of a speed."""
        for i, pump in enumerate(self.pumps):
            if pump.name == name and speed in pump.speeds:
                return i, pump.speeds.index(speed) + 1
        raise ValueError(f"no pump {name!r} with a speed {speed!r}")

    def _source(self, name: str) -> int:
        """The place of a source in the state."""
        for i, source in enumerate(self.sources, len(self.pumps)):
            if source.name == name:
                return i
        raise ValueError(f"no heat source {name!r}")

    @cached_property
    def orders(self) -> tuple[tuple[tuple[int, int, int], ...], ...]:
        """Per pump (mask, index, level) of its demands, the one that decides first in front."""
        mine: list[list[tuple[int, int, int, int]]] = [[] for _ in self.pumps]
        for k, demand in enumerate(self.demands):
            asks = [(demand.pump, demand.speed)] if demand.pump else []
            for name, speed in (*asks, *((name, "on") for name in demand.circulators)):
                pump, level = self._pump(name, speed)
                mine[pump].append((demand.rank, -level, k, self.bit(f"{demand.name}.raised")))
        return tuple(tuple((mask, k, -level) for _, level, k, mask in sorted(rows)) for rows in mine)

    @cached_property
    def calls(self) -> tuple[int, ...]:
        """Per source the masks of the demands that call it, in one."""
        masks = dict.fromkeys(range(len(self.pumps), len(self.tables)), 0)
        for demand in self.demands:
            for name in demand.calls:
                masks[self._source(name)] |= self.bit(f"{demand.name}.raised")
        return tuple(masks.values())

    def _condition(self, condition: Condition) -> AtLevels:
        for i, machine in enumerate(self.machines):
            if isinstance(machine, PumpControl):
                speeds, states = machine.speeds, (*machine.speeds, "running", "stopped")
            else:
                speeds = states = (machine.active,)
            if machine.name == condition.subject and condition.state in states:
                levels = enumerate(("stopped", *speeds))
                return AtLevels(i, frozenset(level for level, state in levels if condition.holds(state)))
        raise ValueError(f"no pump or heat source that could be read: {condition}")

    @cached_property
    def pump_blocks(self) -> tuple[tuple[int, int, AtLevels], ...]:
        """(pump, level, condition), higher levels first, so that one lowered may be lowered again."""
        blocks = [block for block in self.blocks if block.speed is not None]
        rows = [(*self._pump(b.target, b.speed), self._condition(b.condition)) for b in blocks]
        return tuple(sorted(rows, key=lambda row: -row[1]))

    @cached_property
    def source_blocks(self) -> tuple[tuple[tuple[AtLevels, str], ...], ...]:
        """Per source (condition, the reason that is told) of each of its blocks."""
        rows = [
            (self._source(b.target), (self._condition(b.condition), b.because or str(b.condition)))
            for b in self.blocks
            if b.speed is None
        ]
        places = range(len(self.pumps), len(self.machines))
        return tuple(tuple(row for source, row in rows if source == place) for place in places)

    @cached_property
    def told(self) -> tuple[FactMasks, ...]:
        """Per machine, the masks of the facts that it alone is told."""
        bits = self._masks
        return tuple(
            FactMasks(
                bits[f"{machine.name}.time_up"],
                bits[f"flow.{machine.name}.sensed"] if "proving" in machine.table.states else 0,
                bits.get(f"{machine.name}.trips", 0),
                bits.get(f"{machine.name}.reset", 0),
            )
            for machine in self.machines
        )

    @cached_property
    def keep_rows(self) -> tuple[tuple[int, int, int], ...]:
        """(pump, level, source) of each keep."""
        return tuple((*self._pump(keep.pump, keep.speed), self._source(keep.after)) for keep in self.keeps)
