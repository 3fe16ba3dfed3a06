"""Heat in still water: when a rise of temperature tells of it, and when a device's own high limit trips."""

from __future__ import annotations

import math
from collections.abc import Callable

from cyclesim.simulation.board import RunParts
from cyclesim.simulation.wired import Wiring


class DryWatch:
    """How long devices have been on in still water, and what comes of it."""

    def __init__(self, run: RunParts, wiring: Wiring) -> None:
        self._run, self._wiring = run, wiring
        self._feeling = sorted(wiring.rising | wiring.limited)
        self._since: dict[int, int] = {}
        self.risen = 0
        """Devices whose means of proof has seen the rise, as bits by their place."""

    def follow(self, dry: int, risen: int, now: int) -> None:
        """These devices are on in still water now; of these the rise is still seen."""
        self.risen, run, wiring = risen, self._run, self._wiring
        for k in self._feeling:
            if not dry >> k & 1:
                self._since.pop(k, None)
            elif k not in self._since:
                self._since[k] = now
                name, water_c = wiring.devices[k], run.heat.water_c
                if k in wiring.rising:
                    self._later(run.plant.seconds_to_rise(name, water_c), k, self._see_rise)
                if k in wiring.limited:
                    limit_s = run.plant.seconds_to_limit(name, water_c)
                    assert limit_s is not None
                    self._later(limit_s, k, self._trip)

    def _later(self, seconds: float, k: int, do: Callable[[int, bool], None]) -> None:
        board = self._run.board
        since = board.now
        board.at(since + max(1, math.ceil(seconds)), lambda: do(k, self._since.get(k) == since))

    def _see_rise(self, k: int, still_dry: bool) -> None:
        """A rise that only still water shows: the means of proof says no from now until water moves."""
        if still_dry:
            self.risen |= 1 << k
            self._run.board.post(self._wiring.sensed[k], False)
        self._run.board.wake()

    def _trip(self, k: int, still_dry: bool) -> None:
        if still_dry:
            self._run.board.post(self._wiring.trips[k], True)
        self._run.board.wake()
