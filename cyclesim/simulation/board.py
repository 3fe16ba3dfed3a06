"""The facts of a run and whom they wake, the timers of its machines, and what a part of it may see of it."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Iterator
from functools import partial
from typing import NamedTuple

import simpy

from cyclesim.control.step import ControlLogic
from cyclesim.physics.tub_heat import TubHeat
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.clock import At, Priority
from cyclesim.simulation.drive import Drive
from cyclesim.simulation.passes import Passed
from cyclesim.simulation.trace import Trace


class Board:
    """Every fact of a run; whoever changes one here wakes the arbiter, once in an instant and after all.

    *arbiter* is called for a pass, with the second. *go_on* is called with it after what asks for none: heat
    waits for the next event, so that each hands it on, even where it changes nothing.
    """

    def __init__(self, start_s: int, arbiter: Callable[[int], None], go_on: Callable[[int], None]) -> None:
        self._env = simpy.Environment(initial_time=start_s)
        self._arbiter, self._go_on = arbiter, go_on
        self.now = start_s
        """The second of the run."""
        self.facts = 0
        self._planned: dict[object, tuple[int, Callable[[], None]]] = {}
        self._due: set[int] = set()
        self._doing = False
        self._called, self._scans = (self._fire,), (self._scan,)

    def fix_next(self) -> int:
        """The second of the next event, once all of this one has been done.

        What is planned becomes an event only here, where nothing else comes before that might plan it anew.
        """
        next_s = int(self._env.peek())
        if self._planned:
            soonest_s = next_s + 1
            for at_s, _ in self._planned.values():
                if at_s < soonest_s:
                    soonest_s = at_s
            if soonest_s <= next_s:
                next_s = soonest_s
                for who in [who for who, (at_s, _) in self._planned.items() if at_s == soonest_s]:
                    self.at(soonest_s, self._planned.pop(who)[1])
        return next_s

    def plan(self, who: object, at_s: int | None, do: Callable[[], None]) -> None:
        """Do something in a later second, if *who* has not planned anew by then; None: nothing any more."""
        if at_s is None:
            self._planned.pop(who, None)
        else:
            self._planned[who] = at_s, do

    def run(self, until_s: int, priority: Priority) -> None:
        """Let all happen up to this second, and of that what comes before this priority."""
        self._env.run(until=At(self._env, until_s, priority))
        self.now = until_s

    def post(self, mask: int, true: bool) -> None:
        """Set or clear a mask of facts."""
        self.set(0 if true else mask, mask if true else 0)

    def set(self, clear: int, true: int) -> None:
        """Clear one mask of facts and set another; a pass follows if that changes any."""
        facts = self.facts & ~clear | true
        if facts != self.facts:
            self.facts = facts
            self.wake()

    def wake(self, at_s: int | None = None) -> None:
        """A pass now, or at a later second."""
        at = self.now if at_s is None else at_s
        if at not in self._due:
            self._due.add(at)
            if not (self._doing and at == self.now):
                At(self._env, at, Priority.SCAN, self._scans)

    def at(self, at_s: int, do: Callable[[], None], priority: Priority = Priority.POST) -> None:
        """Do something in a later second, before its pass."""
        At(self._env, at_s, priority, self._called, do)

    def process(self, steps: Iterator[int]) -> None:
        """From now on go through *steps*, each of which gives the second of the next one."""
        at_s = next(steps, None)
        if at_s is not None:
            self.at(at_s, partial(self.process, steps))

    def _fire(self, event: At) -> None:
        now, do = int(self._env.now), event.do
        assert do is not None
        self.now, is_coming = now, now in self._due
        self._doing = True
        do()
        self._doing = False
        if self._env.peek() > now:
            if now in self._due:
                self._due.discard(now)
                self._arbiter(now)
            else:
                self._go_on(now)
        elif now in self._due and not is_coming:  # after all else of this second
            At(self._env, now, Priority.SCAN, self._scans)

    def _scan(self, _: At) -> None:
        now = self.now = int(self._env.now)
        self._due.discard(now)
        self._arbiter(now)


class RunParts(NamedTuple):
    """What the parts of a run share."""

    board: Board
    drive: Drive
    plant: Assembly
    controller: ControlLogic
    heat: TubHeat
    trace: Trace


class Timers:
    """The declared time of the state that each machine is in: its fact turns true when it is over.

    Only an end for which somebody waits, so that a pass would move something, is an event: the next pass sees
    the others.
    """

    def __init__(self, board: Board, controller: ControlLogic) -> None:
        self._board, self._controller, self._dwell_rows = board, controller, controller.dwell_rows
        self._up = [controller.bit(f"{machine.name}.time_up") for machine in controller.machines]
        self.ends_s: list[int] = []
        """When each time that runs is over, the soonest first."""
        self._machines: list[int] = []
        """Whose each of them is."""
        self._known: dict[tuple[int, tuple[int, ...]], int] = {}
        """After which pass and with whose times running somebody waits for which of them; none: -1."""

    def enter(self, machine: int, state: int) -> None:
        """A machine has just come to a state; its fact is as the pass has it."""
        ends_s, machines = self.ends_s, self._machines
        if machine in machines:
            k = machines.index(machine)
            del ends_s[k], machines[k]
        dwell_s = self._dwell_rows[machine][state]
        if dwell_s:
            end_s = self._board.now + dwell_s
            k = bisect_right(ends_s, end_s)
            ends_s.insert(k, end_s)
            machines.insert(k, machine)

    def take_over(self) -> None:
        """Before a pass: the facts are those of now."""
        ends_s, now = self.ends_s, self._board.now
        while ends_s and ends_s[0] <= now:
            del ends_s[0]
            self._board.facts |= self._up[self._machines.pop(0)]

    def plan(self, passed: Passed) -> None:
        """After a pass: the first end for which somebody waits asks for the next one."""
        key = id(passed), tuple(self._machines)  # passes are kept for as long as the run
        awaited = self._known.get(key)
        if awaited is None:
            awaited = self._known[key] = self._awaited(passed)
        self._board.plan(self, self.ends_s[awaited] if awaited >= 0 else None, self._board.wake)

    def _awaited(self, passed: Passed) -> int:
        facts = passed.facts
        for k, machine in enumerate(self._machines):
            facts |= self._up[machine]
            if self._controller.step(passed.state, facts).moved:
                return k
        return -1
