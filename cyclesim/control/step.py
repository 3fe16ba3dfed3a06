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

from collections.abc import Iterable, Mapping, Sequence
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
from cyclesim.control.machines import OWES_RUN_ON, PROOFS, MachineTable

__all__ = [
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

State = tuple[int, ...]
"""The machine states of a controller: indices into each table's `states`, pumps first, then sources."""

POWER_LOST, WAITS, LEVEL_LOW = "power.lost", "controller.waits", "level.low"
NOBODY = -1


class PassOutcome(NamedTuple):
    """What one pass came to.

    `deciding`, per pump: the index of the demand that decides, -1 when there is none, -2-k when keep k raised
    it. `reasons`, per source: why it does not fire though it is called ("" when it fires or is not called).
    `moved`: another pass follows one second later.
    """

    state: State
    deciding: tuple[int, ...]
    reasons: tuple[str, ...]
    moved: bool


class Wired(NamedTuple):
    """What is on as the plant is wired, whether the controller has switched it or something beside it.

    `speeds`, per pump: the levels whose contacts are closed, slowest first (more than one is a fault of the
    wiring). `on`, per source and treatment device. `started`: indices of the starters that take effect.
    """

    speeds: tuple[tuple[int, ...], ...]
    on: tuple[bool, ...]
    started: tuple[int, ...]


@dataclass(frozen=True, eq=False)
class ControlLogic:
    """What is wired and programmed; `step` is its one meaning.

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
    _answers: dict[tuple[State, int], PassOutcome] = field(default_factory=dict, init=False, repr=False)

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

    @cached_property
    def _index(self) -> dict[str, int]:
        return {machine.name: i for i, machine in enumerate(self.machines)}

    def _levels_at(self, state: State) -> tuple[int, ...]:
        return tuple(row[i] for row, i in zip(self.level_rows, state, strict=True))

    @cached_property
    def _targets(self) -> tuple[tuple[int, int], ...]:
        """(machine, level) that each starter starts."""
        return tuple(
            (self._source(s.target), 1) if s.speed is None else self._pump(s.target, s.speed)
            for s in self.starters
        )

    def step(self, state: State, facts: int) -> PassOutcome:
        """One pass: each machine moves at most once. Remembered, so asking again costs one look-up."""
        key = (state, facts & self._step_facts)
        outcome = self._answers.get(key)
        if outcome is None:
            outcome = self._answers[key] = _Pass(self, *key).run()
        return outcome

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


class _Pass:
    """One settle, a fixed pass: what is read once, and the states as they move."""

    def __init__(self, controller: ControlLogic, state: State, facts: int) -> None:
        self.controller, self.before, self.facts = controller, state, facts
        self.states = list(state)
        self.stopped = self._stopped()
        self.dark = bool(self.stopped)
        self.wants = [0] * len(controller.pumps)
        self.deciding = [NOBODY] * len(controller.pumps)
        self.forced = [self.dark] * len(controller.pumps)

    def run(self) -> PassOutcome:
        """The pass in its order: whatever stops heat comes before the pumps, whatever starts it after."""
        if not self.dark:
            self._arbitrate()
        self._lower(reading_sources=False)
        for _ in (0, *self.controller.keeps):  # again, for what a keep that has just ended held on
            if not self._move_sources(opening=True):
                break
        self._lower(reading_sources=True)  # after sources have opened, so that a higher rank gets its speed
        self._keep()
        self._move_pumps()
        self._move_sources(opening=False)
        state = tuple(self.states)
        reasons = tuple(self._reason(i) for i in range(len(self.wants), len(state)))
        return PassOutcome(state, tuple(self.deciding), reasons, state != self.before)

    def _stopped(self) -> str:
        """What stops everything, above every rank and keep; "" if nothing does."""
        if self._true(POWER_LOST):
            return "power lost"
        if self._true(WAITS):
            return "it waits for a person"
        return "the water is too low" if self.controller.reads_level and self._true(LEVEL_LOW) else ""

    def _true(self, fact: str) -> bool:
        return bool(self.facts & self.controller.bit(fact))

    def _time_up(self, machine: int) -> bool:
        declared_s = self.controller.dwell_rows[machine][self.before[machine]]
        return not declared_s or bool(self.facts & self.controller.told[machine].time_up)

    def _name(self, machine: int) -> str:
        return self.controller.tables[machine].states[self.states[machine]]

    def _level(self, machine: int) -> int:
        return self.controller.level_rows[machine][self.states[machine]]

    def _arbitrate(self) -> None:
        for pump, order in enumerate(self.controller.orders):
            for mask, demand, level in order:
                if self.facts & mask:
                    self.wants[pump], self.deciding[pump] = level, demand
                    break

    def _active_keeps(self) -> Iterable[tuple[int, int, int]]:
        """(keep, pump, level) of the keeps whose source fires or still owes a run-on."""
        for k, (pump, level, source) in enumerate(self.controller.keep_rows):
            if not self.dark and (self._level(source) or self._name(source) in OWES_RUN_ON):
                yield k, pump, level

    def _levels_asked(self, but: int) -> list[int]:
        """The level that each pump is asked for by demands and by keeps after all sources *but* one."""
        levels = list(self.wants)
        for k, pump, level in self._active_keeps():
            if self.controller.keep_rows[k][2] != but:  # whatever waits for a pump does not hold it itself
                levels[pump] = max(levels[pump], level)
        return levels

    def _blocks(self, reading: AtLevels, wants: Sequence[int]) -> bool:
        """Whether a condition is true of what the subject does, or of what it is about to be asked for."""
        subject = reading.subject
        if subject < len(wants):
            soon = wants[subject]
        else:
            soon = int(self._name(subject) in PROOFS or self._level(subject) > 0)
        return not reading.true_at.isdisjoint((self._level(subject), soon))

    def _lower(self, *, reading_sources: bool) -> None:
        for pump, level, reading in self.controller.pump_blocks:
            reads_source = reading.subject >= len(self.wants)
            if (reads_source and not reading_sources) or not self._blocks(reading, self.wants):
                continue
            if level in (self.wants[pump], self._level(pump)):
                self.forced[pump] = True
            if level == self.wants[pump]:
                self.wants[pump] -= 1

    def _keep(self) -> None:
        for k, pump, level in self._active_keeps():
            if self.wants[pump] < level:
                self.wants[pump], self.deciding[pump] = level, -2 - k

    def _move_pumps(self) -> None:
        for pump, want in enumerate(self.wants):
            facts = {
                "wants_run": want >= 1,
                "wants_high": want >= 2,
                "time_up": self._time_up(pump),
                "forced": self.forced[pump],
            }
            self.states[pump] = self.controller.tables[pump].after(self.states[pump], facts)

    def _called(self, source: int) -> bool:
        return bool(self.facts & self.controller.calls[source - len(self.wants)])

    def _blocked(self, source: int) -> str:
        """Why a source is blocked, "" when it is not."""
        if self.stopped:
            return self.stopped
        rows = self.controller.source_blocks[source - len(self.wants)]
        levels = self._levels_asked(but=source) if rows else []
        return next((because for reading, because in rows if self._blocks(reading, levels)), "")

    def _flow_ok(self, source: int) -> bool:
        sensed = self.controller.told[source].sensed
        return not sensed or bool(self.facts & sensed)

    def _move_sources(self, opening: bool) -> bool:
        """Opening takes the moves that do not lead to fire; afterwards whoever has not moved may."""
        moved = False
        for source in range(len(self.wants), len(self.states)):
            state = self.states[source]
            if state != self.before[source]:
                continue
            table, told = self.controller.tables[source], self.controller.told[source]
            facts = {
                "called": self._called(source),
                "blocked": bool(self._blocked(source)),
                "flow_ok": self._flow_ok(source),
                "time_up": self._time_up(source),
                "trips": bool(self.facts & told.trips),
                "reset": bool(self.facts & told.reset),
            }
            answer = table.after(state, facts)
            if answer != state and not (
                opening and (table.states[answer] in PROOFS or self.controller.level_rows[source][answer])
            ):
                self.states[source], moved = answer, True
        return moved

    def _reason(self, source: int) -> str:
        name = self._name(source)
        if not self._called(source) or self._level(source):
            return ""
        if name == "tripped":
            return "tripped"
        if blocked := self._blocked(source):
            return blocked
        if not self._flow_ok(source):
            return "no flow sensed"
        if name in (*PROOFS, "run_on"):
            return "proving flow" if name in PROOFS else "run-on"
        declared_s = self.controller.dwell_rows[source][self.states[source]]
        arrived = self.states[source] != self.before[source]
        return "rest" if declared_s and (arrived or not self._time_up(source)) else ""
