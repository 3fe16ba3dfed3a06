"""Heat in still water: when a rise of temperature tells of it, and when a device's own high limit trips."""

from __future__ import annotations

from collections.abc import Callable

from cyclesim.simulation.board import RunParts
from cyclesim.simulation.wired import Wiring

_LONGEST_S = 86_400
"""What is not so hot within a day of heat in still water never is."""


class DryWatch:
    """How long devices have been on in still water, and what comes of it."""

    def __init__(self, run: RunParts, wiring: Wiring) -> None:
        self._run, self._wiring = run, wiring
        self._feeling = sorted((wiring.rising | wiring.limited) - wiring.turned_by.keys())
        self._bodies = {body.name: k for k, body in enumerate(run.plant.bodies)}
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
                sheet, water_c = run.plant.sheet.heat_sources[wiring.devices[k]], self._own_c(k, now)
                if k in wiring.rising:
                    self._later(water_c + sheet.proof.no_flow_rise_k, k, self._see_rise)
                if k in wiring.limited and sheet.high_limit_c is not None:
                    self._later(sheet.high_limit_c, k, self._trip)

    def _own_c(self, k: int, at_s: float) -> float:
        """Temperature of a device's own water, now or as it stands on with its heat in it [degC]."""
        return self._run.heat.body_c(self._bodies[self._wiring.devices[k]], at_s)

    def _later(self, level_c: float, k: int, do: Callable[[int, bool], None]) -> None:
        """*do* it once a device's own water has reached a level; never where it loses what it gets."""
        board = self._run.board
        since = board.now
        early, late = since, since + _LONGEST_S
        if self._own_c(k, late) < level_c:
            return
        while late - early > 1:
            middle = (early + late) // 2
            early, late = (middle, late) if self._own_c(k, middle) < level_c else (early, middle)
        board.at(late, lambda: do(k, self._since.get(k) == since))

    def _see_rise(self, k: int, still_dry: bool) -> None:
        """A rise that only still water shows: the means of proof says no from now until water moves."""
        if still_dry:
            self.risen |= 1 << k
            self._run.board.post(self._wiring.sensed[k], False)
            self._run.board.wake()

    def _trip(self, k: int, still_dry: bool) -> None:
        if still_dry:
            self._run.board.post(self._wiring.trips[k], True)
