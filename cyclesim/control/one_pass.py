"""One pass of the controller: facts, arbitration, blocks and trips, keeps, pumps, sources, in this order.

Why in this order stands in `step.py`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from cyclesim.control.machines import OWES_RUN_ON, PROOFS
from cyclesim.control.rows import LEVEL_LOW, POWER_LOST, WAITS, AtLevels, ControlRows, State

NOBODY = -1
PROVING = "proving flow"
"""Why a source does not fire whose flow is checked, as a reason."""


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


class OnePass:
    """One settle, a fixed pass: what is read once, and the states as they move."""

    def __init__(self, controller: ControlRows, state: State, facts: int) -> None:
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
            return PROVING if name in PROOFS else "run-on"
        declared_s = self.controller.dwell_rows[source][self.states[source]]
        arrived = self.states[source] != self.before[source]
        return "rest" if declared_s and (arrived or not self._time_up(source)) else ""
