"""What steers collectors: on where they are so much warmer than the tub, off at less, off at a high stop.

It acts in the second in which a controller would that reads its two sensors all the time; the one in them
reads the mean of their water. While that stands, or is their own behind plates, its course is known until the
sun changes; once tub water has passed them they follow the tub, and the level is one of the tub's, but for
some minutes after the sun has changed, when their course is known as well. Only while what stood in them and
before them passes they are looked at: a minute after they were let in, then after as long again, at most ten
minutes later. On though no water moves, they go off before that would scald.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable
from math import ceil, inf, log1p

from cyclesim.physics.tub_heat import OverTub, Watched
from cyclesim.scenario.blocks.collectors import BACK_K, Steered
from cyclesim.simulation.assembly import PlantDuty
from cyclesim.simulation.board import RunParts
from cyclesim.simulation.own_water import circuits

FIRST_LOOK_S, LONGEST_S, HOUR_S = 60, 600, 3600
_SHARE = 0.9
"""Of the time that is left it looks after so much: the tub, too, has moved on since that was worked out."""
_STEP_S = 5
"""So long at least between two looks that change nothing."""
_ROUNDING_K = 1e-6
_NEARLY = 1.0 - 1e-12


class Steering:
    """One set of collectors with the sensor in it and the one in the tub."""

    def __init__(
        self, name: str, steered: Steered, run: RunParts, steer: Callable[[str, Steered, bool], None]
    ) -> None:
        self._name, self._steered, self._run, self._steer = name, steered, run, steer
        own = list(circuits(run.plant))
        self._own = name in own
        self._place = own.index(name) if self._own else [b.name for b in run.plant.bodies].index(name)
        self._reads = run.heat.own_c if self._own else run.heat.body_c
        self._less: Watched = (steered.off_at_k, False, OverTub(self._place))
        self._on, self._stopped, self._still = False, False, True
        self._since_s, self._known_until_s = 0, run.drive.start_s
        self._planned_s: int | None = None
        sun, start_s = run.drive.fires.get(name, ()), run.drive.start_s
        changes = (start_s + HOUR_S * k for k in range(1, len(sun)) if sun[k] != sun[k - 1])
        self._changes_s = [*(at for at in changes if at < run.drive.span_s), run.drive.span_s]
        """When the sun on them changes; something happens in each of these seconds."""
        run.board.at(start_s, self.look)

    def watched(self) -> list[Watched]:
        """Levels at which to look: the high stop, or back below it; collectors that are hardly warmer."""
        if self._run.board.now >= self._known_until_s:
            self.plan()
        levels, stop_c = list[Watched](), self._steered.high_stop_c
        if stop_c is not None and (self._on or self._stopped):
            levels.append((stop_c, True, None) if self._on else (stop_c - BACK_K, False, None))
        if self._on and self._tub_water_moves:
            levels.append(self._less)
        return levels

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
        self.plan(inside_c)

    def look_at_tub(self) -> None:
        """As `look`: the tub's sensor is one of the two."""
        self.look()

    def water_moves(self, duty: PlantDuty) -> None:
        """Water begins to move, or moves otherwise."""
        still = self._run.plant.is_still(self._name, duty)
        if not (still and self._still):
            self._still = still
            self.plan()

    @property
    def _tub_water_moves(self) -> bool:
        return not (self._still or self._own)

    def plan(self, inside_c: float | None = None) -> None:
        """When to look next, beside what is watched; *inside_c* where they have just been read [degC]."""
        run, now = self._run, self._run.board.now
        until = self._changes_s[min(bisect_right(self._changes_s, now), len(self._changes_s) - 1)]
        at = self._next_look(now, until, inside_c)
        hour_ends = run.drive.start_s + HOUR_S * ((now - run.drive.start_s) // HOUR_S + 1)
        if at is not None and hour_ends < until:  # without sun: the air alone warms them, hour by hour
            until, at = hour_ends, self._next_look(now, hour_ends, inside_c)
            at = until if at is None else at
        self._known_until_s = until
        if at is not None and at >= run.drive.span_s:
            at = None
        if at is not None and at != self._planned_s:
            run.board.at(at, lambda: self._look_again(at))
        self._planned_s = at

    def _look_again(self, at: int) -> None:
        if self._planned_s == at:
            self.look()

    def _next_look(self, now: int, until: int, inside_c: float | None) -> int | None:
        """The second of the next look; None where none is needed by *until*, when all is worked out again."""
        steered, water_c = self._steered, self._run.heat.water_c
        if self._stopped:
            return None
        if self._tub_water_moves and self._on:
            if self._run.heat.follows_tub(self._place):
                return None
            if not self._run.heat.has_passed(self._place):
                return now + min(LONGEST_S, max(FIRST_LOOK_S, now - self._since_s))
            falls_s = self._run.heat.falls_after_s(self._place, steered.off_at_k)
            if falls_s is None:
                return now + FIRST_LOOK_S
            return now + self._in_time(falls_s) if falls_s < inf else None
        limit_c = steered.not_above_c
        if inside_c is None:
            inside_c = self._reads(self._place, now)
        if self._on:
            soonest = self._reached(inside_c, water_c + steered.off_at_k, now, until, rising=False)
            if self._still and limit_c is not None:
                too_hot = self._reached(inside_c, limit_c + _ROUNDING_K, now, until, rising=True)
                soonest = min((at for at in (soonest, too_hot) if at is not None), default=None)
        elif limit_c is not None and inside_c > limit_c:
            soonest = self._reached(inside_c, limit_c, now, until, rising=False)
        else:
            soonest = self._reached(inside_c, water_c + steered.on_at_k, now, until, rising=True)
        if soonest is None:
            return None
        return now + self._in_time(soonest - now)

    @staticmethod
    def _in_time(after_s: float) -> int:
        """When to look for what comes after so long [s]: the tub, too, moves on meanwhile."""
        return max(1, int(after_s if after_s <= FIRST_LOOK_S else _SHARE * after_s))

    def _reached(self, inside_c: float, level_c: float, now: int, until: int, *, rising: bool) -> int | None:
        """The second in which they have come from inside_c to a level, if by *until*; the tub as it is.

        They near their balance as one exponential, which three readings tell; where tub water moves through
        them nobody knows beforehand.
        """
        if (inside_c >= level_c) if rising else (inside_c <= level_c):
            return now + _STEP_S
        if self._tub_water_moves:
            return None
        ends_c = self._reads(self._place, until)
        if (ends_c < level_c) if rising else (ends_c > level_c):
            return None
        if until - now > HOUR_S:
            return until
        half_s = 0.5 * (until - now)
        first_k = self._reads(self._place, now + half_s) - inside_c
        share, gone = (level_c - inside_c) / first_k, 2.0 - (ends_c - inside_c) / first_k
        halves = share
        if gone > 1e-9:  # of what there was to go, so much is gone after half the time
            halves = log1p(-min(share * gone, _NEARLY)) / log1p(-min(gone, _NEARLY))
        return min(until, now + ceil(halves * half_s))
