"""What steers collectors: on where they are so much warmer than the tub, off at less, off at a high stop.

It looks as a controller with two sensors does, but only when it must: while they stand, in the second in
which they have become warm enough; while it is on, after a minute and then ever more seldom, until it looks
every ten minutes. The sensor in them reads the mean of their water. On though no water moves, it looks in
the second in which that would scald.
"""

from __future__ import annotations

from collections.abc import Callable

from cyclesim.physics.tub_heat import Watched
from cyclesim.scenario.blocks.collectors import BACK_K, Steered
from cyclesim.simulation.assembly import PlantDuty
from cyclesim.simulation.board import RunParts
from cyclesim.simulation.own_water import circuits

FIRST_LOOK_S, LONGEST_S, HOUR_S = 60, 600, 3600
_STEP_S = 5
"""So long at least between two looks at collectors that stand: the tub has moved on since it was reckoned."""
_ROUNDING_K = 1e-6


class Steering:
    """One set of collectors with the sensor in it and the one in the tub."""

    def __init__(
        self, name: str, steered: Steered, run: RunParts, steer: Callable[[str, Steered, bool], None]
    ) -> None:
        self._name, self._steered, self._run, self._steer = name, steered, run, steer
        own = list(circuits(run.plant))
        self._place = own.index(name) if name in own else [b.name for b in run.plant.bodies].index(name)
        self._reads = run.heat.own_c if name in own else run.heat.body_c
        self._on, self._stopped, self._still = False, False, True
        self._since_s = self._planned_s = 0
        run.board.at(run.drive.start_s, self.look)

    def watched(self) -> list[Watched]:
        """The tub's level at which to look: its high stop, and from where on the sun may come in again."""
        stop_c = self._steered.high_stop_c
        if stop_c is None or not (self._on or self._stopped):
            return []
        return [(stop_c, True, None) if self._on else (stop_c - BACK_K, False, None)]

    def look(self) -> None:
        """Both sensors are read, and what they mean is told."""
        steered, run = self._steered, self._run
        now, water_c = run.board.now, run.heat.water_c
        inside_c = self._reads(self._place, now)
        warmer_k = inside_c - water_c
        stop_c = steered.high_stop_c
        if stop_c is not None:
            self._stopped = water_c >= (stop_c - BACK_K if self._stopped else stop_c) - _ROUNDING_K
        enough_k = steered.off_at_k + _ROUNDING_K if self._on else steered.on_at_k - _ROUNDING_K
        let_in = self._on and not self._still
        scalds = not let_in and steered.not_above_c is not None and inside_c > steered.not_above_c
        on = warmer_k > enough_k and not (self._stopped or scalds)
        if on != self._on:
            self._on, self._since_s = on, now
            self._steer(self._name, steered, on)
        else:
            run.board.wake()
        self.plan()

    look_at_tub = look

    def water_moves(self, duty: PlantDuty) -> None:
        """Water begins to move, or moves otherwise."""
        self._still = self._run.plant.is_still(self._name, duty)
        self.plan()

    def plan(self) -> None:
        """When to look next."""
        run, now = self._run, self._run.board.now
        if self._on:
            at = now + min(LONGEST_S, max(FIRST_LOOK_S, now - self._since_s))
            if self._still and self._steered.not_above_c is not None:
                at = self._first_at(
                    self._steered.not_above_c + _ROUNDING_K, now, min(at, self._new_weather(now))
                )
        else:
            at = self._warm_at(now, self._new_weather(now))
        if at < run.drive.span_s and at != self._planned_s:
            self._planned_s = at
            run.board.at(at, lambda: self._look_again(at))

    def _new_weather(self, now: int) -> int:
        """The second after new weather has come."""
        start_s = self._run.drive.start_s
        return start_s + HOUR_S * ((now - start_s) // HOUR_S + 1) + 1

    def _look_again(self, at: int) -> None:
        if self._planned_s == at:
            self.look()
        else:
            self._run.board.wake()

    def _warm_at(self, now: int, until: int) -> int:
        """The second in which collectors that stand are warm enough, if that is before *until*."""
        level_c = self._run.heat.water_c + self._steered.on_at_k
        if self._stopped or self._reads(self._place, until) < level_c:
            return until
        if self._reads(self._place, now) >= level_c + _ROUNDING_K:  # they are, and too hot to begin
            return min(until, now + LONGEST_S)
        return min(until, max(now + _STEP_S, self._first_at(level_c, now, until)))

    def _first_at(self, level_c: float, now: int, until: int) -> int:
        """The second after *now* in which collectors that stand have warmed to a level, or *until*."""
        early, late = now, until
        while late - early > 1:
            middle = (early + late) // 2
            colder = self._reads(self._place, middle) < level_c
            early, late = (middle, late) if colder else (early, middle)
        return late
