"""Water of a circuit on its way to be settled: what it is taken to return until then."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np

from cyclesim.physics.warmth import Floats, Slug
from cyclesim.physics.ways import Ints, Way

_ALIKE_K = 0.002  # streams of the tub nearer than this are one slug


@dataclass(slots=True)
class Passing:
    """Water of a circuit on its way to be settled, worked out when it is, or when somebody asks before.

    Until then it is taken to return what it would if all stayed as it was at first, but for the tub, which
    what is returned makes warmer or colder.
    """

    way: Way
    before_c: float
    after_c: float
    acted: list[tuple[Floats, int]]
    """What has acted, and for how many seconds."""
    by_second: Floats
    """Factors of what it returns by the second [J]."""
    causes: Floats
    """What these factors are of: what acts, or what it would return to a tub that stays as it is [J]."""
    is_straight: bool
    """Whether the former: each reach held one slug."""
    returned: Floats | None = None
    """What it returns by the second [J], as soon as somebody asks for all of it."""
    lasted_s: int = 0
    given_j: float = 0.0
    """What it is taken to have returned by then."""

    def begins(self, tub_c: float, forces: Floats) -> bool:
        """Whether it begins at that temperature of the tub, with these *forces*."""
        return self.before_c == tub_c and self.acted[0][0] is forces

    def lasts(self, dt_s: int, forces: Floats, tub_c: float, by_then_j: float) -> None:
        """It goes on for *dt_s* with these *forces*, until the tub is at *tub_c* and has got *by_then_j*."""
        before, so_long = self.acted[-1]
        if before is forces:
            self.acted[-1] = forces, so_long + dt_s
        else:
            self.acted.append((forces, dt_s))
        self.lasted_s += dt_s
        self.after_c, self.given_j = tub_c, by_then_j

    def forces(self) -> Floats:
        """What has acted on the mean."""
        (mean, lasted_s), *others = self.acted
        for row, dt_s in others:
            mean, lasted_s = mean + (row - mean) * (dt_s / (lasted_s + dt_s)), lasted_s + dt_s
        return mean

    def returned_j(self, after_s: int) -> float:
        """What it is taken to have returned so long after it began [J]."""
        return float(self.by_second[after_s].dot(self.causes))

    def tub_c(self, after_s: int, tub_j_k: float) -> float:
        """How warm a tub of *tub_j_k* [J/K] was so long after it began [degC], as `sent_out` has it."""
        alone_c = self.before_c + self.given_j / tub_j_k
        else_k = (self.after_c - alone_c) * after_s / self.lasted_s  # what else has warmed it
        return self.before_c + self.returned_j(after_s) / tub_j_k + else_k

    def else_k(self, tub_j_k: float) -> float:
        """By how much all else has warmed a tub of *tub_j_k* [J/K] since it began [K]."""
        return self.after_c - self.before_c - self.given_j / tub_j_k

    def changes(self, forces: Floats) -> list[tuple[int, Floats]]:
        """When what acts has changed since it began [s], with *forces* from now on, and by how much."""
        acts, began_s, changes = self.acted[0][0], 0, list[tuple[int, Floats]]()
        if acts is forces and len(self.acted) == 1:
            return changes
        for (_, dt_s), (row, _) in pairwise([*self.acted, (forces, 0)]):
            began_s += dt_s
            if row is not acts:
                changes.append((began_s, row - acts))
                acts = row
        return changes

    def sent_out(self, tub_j_k: float) -> list[Slug]:
        """What a tub of *tub_j_k* [J/K] has sent out since it began: a stream [s], in few slugs."""
        course_c, lasted_s, pieces = self._course(tub_j_k), self.lasted_s, 1
        seconds = np.arange(lasted_s + 1.0)
        while True:
            at = _knots(lasted_s, pieces)
            knots_c = course_c[at]
            off_k = np.interp(seconds, at, knots_c) - course_c
            if pieces == lasted_s or max(off_k.max(), -off_k.min()) <= _ALIKE_K:
                break
            pieces = min(2 * pieces, lasted_s)
        by_then = np.concatenate(([0.0], np.cumsum(0.5 * (course_c[:-1] + course_c[1:]))))[at]
        lasting_s = np.diff(at).astype(float)
        shifts_k = np.diff(by_then) / lasting_s - 0.5 * (knots_c[:-1] + knots_c[1:])  # so that heat stays
        rows = zip(lasting_s.tolist(), pairwise(knots_c.tolist()), shifts_k.tolist(), strict=True)
        return [(dt, front + shift_k, back + shift_k) for dt, (front, back), shift_k in rows]

    def _course(self, tub_j_k: float) -> Floats:
        """How warm a tub of *tub_j_k* [J/K] was, second by second [degC]."""
        if self.returned is None:
            self.returned = self.by_second @ self.causes
        seconds = self.lasted_s + 1
        temps_c: Floats = self.before_c + self.returned[:seconds] / tub_j_k
        else_k_s = (self.after_c - float(temps_c[-1])) / self.lasted_s  # what else has warmed it
        temps_c += np.arange(seconds) * else_k_s
        return temps_c


@lru_cache(50)  # collectors are read so many seconds after they were let in, again and again
def _knots(lasts_s: int, pieces: int) -> Ints:
    """The seconds at which so many pieces of *lasts_s* begin and end."""
    at_s: Ints = np.linspace(0.0, lasts_s, pieces + 1).round().astype(np.int64)
    return at_s
