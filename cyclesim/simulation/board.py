"""The facts of a run and whom they wake, the timers of its machines, and what a part of it may see of it."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import simpy

from cyclesim.control.step import ControlLogic
from cyclesim.physics.tub_heat import TubHeat
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.clock import At, Priority
from cyclesim.simulation.drive import Drive
from cyclesim.simulation.trace import Trace


class Board:
    """Every fact of a run; whoever changes one here wakes the arbiter, once in an instant and after all."""

    def __init__(self, env: simpy.Environment, arbiter: Callable[[int], None]) -> None:
        self.env, self._arbiter = env, arbiter
        self.facts = 0
        self._due: set[int] = set()

    @property
    def now(self) -> int:
        """The second of the run."""
        return int(self.env.now)

    def post(self, mask: int, true: bool) -> None:
        """Set or clear a mask of facts."""
        self.facts = self.facts | mask if true else self.facts & ~mask
        self.wake()

    def set(self, clear: int, true: int) -> None:
        """Clear one mask of facts and set another."""
        self.facts = self.facts & ~clear | true
        self.wake()

    def wake(self, at_s: int | None = None) -> None:
        """A pass now, or at a later second.

        Heat waits for the next event, so that each must hand it on, even where it changes nothing.
        """
        at = int(self.env.now) if at_s is None else at_s
        if at not in self._due:
            self._due.add(at)
            At(self.env, at, Priority.SCAN, self._scan)

    def is_due(self, at_s: int) -> bool:
        """Whether a pass is still to come in that second."""
        return at_s in self._due

    def at(self, at_s: int, do: Callable[[], None]) -> None:
        """Do something in a later second, before its pass."""
        At(self.env, at_s, Priority.POST, lambda _: do())

    def _scan(self, _: simpy.Event) -> None:
        now = int(self.env.now)
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

    *over* is called at each end, with whether the machine is still in that state.
    """

    def __init__(self, board: Board, controller: ControlLogic, over: Callable[[bool], None]) -> None:
        self._board, self._dwell_rows, self._over = board, controller.dwell_rows, over
        self._up = [controller.bit(f"{machine.name}.time_up") for machine in controller.machines]
        self._entered = [0] * len(self._up)

    def enter(self, machine: int, state: int) -> None:
        """A machine has just come to a state; its fact is as the pass has it."""
        board, mask, dwell_s = self._board, self._up[machine], self._dwell_rows[machine][state]
        self._entered[machine] += 1
        if not dwell_s:
            return
        entered = self._entered[machine]

        def end(_: simpy.Event) -> None:
            still = entered == self._entered[machine]
            if still:
                board.facts |= mask
            self._over(still)

        At(board.env, board.now + dwell_s, Priority.POST, end)
