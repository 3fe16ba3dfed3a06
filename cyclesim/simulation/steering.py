"""What steers collectors: on where they are so much warmer than the tub, off at less, off at a high stop.

It acts in the second in which a controller would that reads its two sensors all the time; the one in them
reads the mean of their water. While that stands its course is known for hours, and of their own behind plates
until the sun changes; once tub water has passed them they follow the tub, and the level is one of the tub's,
but for some minutes after the sun has changed, when their course is known as well. Only while what stood in
them and before them passes they are looked at: a minute after they were let in, then after as long again, at
most ten minutes later. On though no water moves, they go off before that would scald.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable
from math import ceil, log1p

from cyclesim.physics.tub_heat import OverTub, Watched
from cyclesim.scenario.blocks.collectors import BACK_K, Steered
from cyclesim.simulation.assembly import PlantDuty
from cyclesim.simulation.board import RunParts
from cyclesim.simulation.own_water import circuits

FIRST_LOOK_S, LONGEST_S, HOUR_S = 60, 600, 3600
_AHEAD_H, _MOVED_K = 24, 0.1
"""So many hours ahead it is known what the sun does to water that stands. A level is looked for as much too
early as the tub may have moved since: then it is worked out anew."""
_NEAR_K = 0.3
"""What has settled may be another temperature than was foreseen by less than this."""
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
        self._planned_at_c, self._course_s = run.heat.water_c, 0
        self._course_c: list[float] | None = None
        self._is_lit = self._stands_in_sun()
        sun, start_s = run.drive.fires.get(name, ()), run.drive.start_s
        changes = (start_s + HOUR_S * k for k in range(1, len(sun)) if sun[k] != sun[k - 1])
        self._changes_s = [*(at for at in changes if at < run.drive.span_s), run.drive.span_s]
        """When the sun on them changes; something happens in each of these seconds."""
        run.board.at(start_s, self.look)

    def watched(self) -> list[Watched]:
        """Levels at which to look: the high stop, or back below it; collectors that are hardly warmer."""
        moved_k = self._run.heat.water_c - self._planned_at_c
        if self._run.board.now >= self._known_until_s or (self._is_lit and abs(moved_k) > _MOVED_K):
            self.plan()
        levels, stop_c = list[Watched](), self._steered.high_stop_c
        if stop_c is not None:
            levels.append((stop_c - BACK_K, False, None) if self._stopped else (stop_c, True, None))
        if self._on and self._tub_water_moves:
            levels.append(self._less)
        return levels

    def look(self) -> None:
        """Both sensors are read, and what they mean is told."""
        steered, run = self._steered, self._run
        now, water_c = run.board.now, run.heat.water_c
        inside_c = self._reads(self._place, now)
        warmer_k = inside_c - water_c
        self._stopped = self._is_at_stop(water_c)
        enough_k = steered.off_at_k + _ROUNDING_K if self._on else steered.on_at_k - _ROUNDING_K
        let_in = self._on and not self._still
        scalds = not let_in and steered.not_above_c is not None and inside_c > steered.not_above_c
        on = warmer_k > enough_k and not (self._stopped or scalds)
        if on != self._on:
            self._on, self._since_s = on, now
            self._steer(self._name, steered, on)
        self.plan(inside_c)

    def look_at_tub(self) -> None:
        """As `look`: the tub's sensor is one of the two. To what is not warm enough only the stop matters."""
        if self._on or self._stopped or not self._is_lit or self._is_at_stop(self._run.heat.water_c):
            self.look()

    def _is_at_stop(self, water_c: float) -> bool:
        """Whether so warm a tub keeps the sun out: once at the high stop until it is below that again."""
        stop_c = self._steered.high_stop_c
        if stop_c is None:
            return False
        return water_c >= (stop_c - BACK_K if self._stopped else stop_c) - _ROUNDING_K

    def water_moves(self, duty: PlantDuty) -> None:
        """Water begins to move, or moves otherwise."""
        still, lit = self._run.plant.is_still(self._name, duty), self._stands_in_sun()
        if not (still and self._still and lit == self._is_lit):
            self._still, self._is_lit, self._course_c = still, lit, None
            self.plan()

    @property
    def _tub_water_moves(self) -> bool:
        return not (self._still or self._own)

    def _stands_in_sun(self) -> bool:
        """Whether it is known for hours how they go on."""
        return not self._own and self._run.heat.is_lit(self._place)

    def plan(self, inside_c: float | None = None) -> None:
        """When to look next, beside what is watched; *inside_c* where they have just been read [degC]."""
        run, now = self._run, self._run.board.now
        hour_ends = run.drive.start_s + HOUR_S * ((now - run.drive.start_s) // HOUR_S + 1)
        if self._is_lit:
            until = hour_ends + HOUR_S * (_AHEAD_H - 1)
            at = self._next_look(now, until, inside_c)
            if at is None and not self._stopped:
                at = until
            until -= HOUR_S * _AHEAD_H // 2  # what happens by itself meanwhile spares them that look
        else:
            until = self._changes_s[min(bisect_right(self._changes_s, now), len(self._changes_s) - 1)]
            at = self._next_look(now, until, inside_c)
            if at is not None and hour_ends < until:  # without sun: the air alone warms them, hour by hour
                until, at = hour_ends, self._next_look(now, hour_ends, inside_c)
                at = until if at is None else at
        self._known_until_s, self._planned_at_c = until, run.heat.water_c
        run.board.plan(self, at if at is not None and at < run.drive.span_s else None, self.look)

    def _next_look(self, now: int, until: int, inside_c: float | None) -> int | None:
        """The second of the next look; None where none is needed by *until*, when all is worked out again."""
        steered, water_c = self._steered, self._run.heat.water_c
        if self._stopped:
            return None
        if self._tub_water_moves and self._on:
            return None if self._run.heat.follows_tub(self._place) else self._falls(now)
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
        return soonest

    def _falls(self, now: int) -> int | None:
        """When to look for whether collectors through which water passes are hardly warmer any more."""
        off_at_k, first_s = self._steered.off_at_k, self._next_of_first(now)
        warmer_k = self._run.heat.warmer_k(self._place)
        if not self._run.heat.has_passed(self._place):
            known_s = 0 if warmer_k is None else len(warmer_k)
            while warmer_k is not None and first_s - now < known_s and warmer_k[first_s - now] > off_at_k:
                first_s = self._next_of_first(first_s)
            return first_s
        if warmer_k is None:
            return now + FIRST_LOOK_S
        if warmer_k.min() <= off_at_k:
            return self._in_time(now, int((warmer_k <= off_at_k).argmax()))
        return None if warmer_k[-1] > off_at_k + _NEAR_K else self._in_time(now, len(warmer_k))

    def _next_of_first(self, now: int) -> int:
        """When they are looked at next while what stood in them and before them passes."""
        return now + min(LONGEST_S, max(FIRST_LOOK_S, now - self._since_s))

    @staticmethod
    def _in_time(now: int, after_s: int) -> int:
        """When to look for what comes after so long [s]: the tub, too, moves on meanwhile."""
        return now + max(1, after_s if after_s <= FIRST_LOOK_S else int(_SHARE * after_s))

    def _reached(self, inside_c: float, level_c: float, now: int, until: int, *, rising: bool) -> int | None:
        """When to look for whether they have come from inside_c to a level, if by *until*; the tub as it is.

        Where tub water moves through them nobody knows beforehand.
        """
        if (inside_c >= level_c) if rising else (inside_c <= level_c):
            return now + _STEP_S
        if self._tub_water_moves:
            return None
        if not self._is_lit:
            ends_c = self._reads(self._place, until)
            if (ends_c < level_c) if rising else (ends_c > level_c):
                return None
            if until - now > HOUR_S:
                return until
            return self._in_time(now, self._after_s(now, inside_c, until, ends_c, level_c))
        short_c = level_c - _MOVED_K if rising else level_c + _MOVED_K
        near = self._crosses(now, inside_c, short_c, until, rising=rising)
        if near is None or near - now > FIRST_LOOK_S:
            return near
        there = self._crosses(now, inside_c, level_c, until, rising=rising)
        return None if there is None else self._in_time(now, there - now)

    def _crosses(self, now: int, inside_c: float, level_c: float, until: int, *, rising: bool) -> int | None:
        """When they come to a level, or have, in a sun known *until* then at least; the tub as it is."""
        if (inside_c >= level_c) if rising else (inside_c <= level_c):
            return now
        course_c = self._course(now, until)
        begins, begins_c = now, inside_c
        for hour in range((now - self._course_s) // HOUR_S + 1, len(course_c)):
            ends, ends_c = self._course_s + HOUR_S * hour, course_c[hour]
            if (ends_c >= level_c) if rising else (ends_c <= level_c):
                return begins + self._after_s(begins, begins_c, ends, ends_c, level_c)
            begins, begins_c = ends, ends_c
        return None

    def _course(self, now: int, until: int) -> list[float]:
        """How warm they are in the sun at each hour from `_course_s` on, beyond *until* [degC]."""
        if self._course_c is None or until > self._course_s + HOUR_S * (len(self._course_c) - 1):
            self._course_s = now + HOUR_S - (now - self._run.drive.start_s) % HOUR_S
            self._course_c = self._run.heat.lit_c(self._place, 2 * _AHEAD_H).tolist()
        return self._course_c

    def _after_s(self, now: int, inside_c: float, until: int, ends_c: float, level_c: float) -> int:
        """After how long [s] they come to a level, going to *ends_c* within an hour of steady sun and air.

        They near their balance as one exponential, which three readings tell.
        """
        half_s = 0.5 * (until - now)
        first_k = self._reads(self._place, now + half_s) - inside_c
        share, gone = (level_c - inside_c) / first_k, 2.0 - (ends_c - inside_c) / first_k
        halves = share
        if gone > 1e-9:  # of what there was to go, so much is gone after half the time
            halves = log1p(-min(share * gone, _NEARLY)) / log1p(-min(gone, _NEARLY))
        return min(until - now, ceil(halves * half_s))
