"""Water of a circuit on its way to be settled: as it begins, once it has, and if somebody asks before.

By vector as long as each reach holds one slug (`physics/ways.py`, Passages), otherwise slug by slug.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from functools import partial

import numpy as np

from cyclesim.physics import warmth
from cyclesim.physics.circuit import Circuit
from cyclesim.physics.contents import Contents
from cyclesim.physics.forces import Forces
from cyclesim.physics.inside import Inside
from cyclesim.physics.passing import Passing
from cyclesim.physics.turns import Turns
from cyclesim.physics.warmth import Floats, Moved, Slug
from cyclesim.physics.ways import Way, Ways


class Settling:
    """What the passages of circuits come to; *tub_j_k*: heat capacity of the tub [J/K]."""

    def __init__(self, ways: Ways, water: Contents, forces: Forces, turns: Turns, tub_j_k: float) -> None:
        self._ways, self._water, self._forces, self._turns = ways, water, forces, turns
        self._tub_j_k = tub_j_k

    def begins(self, circuit: Circuit, way: Way, tub_c: float) -> Passing:
        """A passage from now on, with the tub at *tub_c*."""
        forces, straight = self._forces, circuit.straight
        acted = [(forces.now, 0)]
        if straight.is_straight:
            causes = np.concatenate((straight.ends_c, forces.beside(tub_c)))
            fed = self._ways.passages(way, forces.heated).fed(self._tub_j_k)[1]
            return Passing(way, tub_c, tub_c, acted, fed, causes, True)
        back, slugs = self._ways.passages(way, None).fed(self._tub_j_k)[0], self._water.of(circuit.number)
        returned = self._ways.passage(way, slugs, (tub_c, tub_c), forces.now, only_returned=True)[1]
        return Passing(way, tub_c, tub_c, acted, back, returned, False)

    def passed(self, circuit: Circuit, passing: Passing) -> tuple[float, Callable[[], None]]:
        """A circuit has passed until it settles: the heat that it holds [J], and what books its losses."""
        way, stays, straight, forces = passing.way, self._water.stays, circuit.straight, passing.forces()
        moves, rose_k, causes = self._turns.moves(way), passing.after_c - passing.before_c, passing.causes
        if passing.is_straight and straight.is_straight:
            passages = self._ways.passages(way, self._forces.heated)
            if len(passing.acted) > 1:
                causes = np.concatenate((straight.ends_c, forces))
                causes[passages.tub] = passing.before_c
            held_j = float(passages.held_j.dot(causes)) - passages.lost_as_tub_rises_j * rose_k
            return held_j - passing.given_j, partial(straight.passed, way, moves, causes, rose_k)
        slugs, held_j = self._water.of(circuit.number), 0.0
        sent_out = [(float(way.after_s), passing.before_c, passing.after_c)]
        lost_j = self._ways.follow(way, slugs, sent_out, forces, settled_too=True).lost_j
        for i in way.straight.moving:
            held_j += self._ways.per_m3_k * warmth.warmth(slugs[i])

        def book() -> None:
            self.met(circuit, way)
            for i in way.straight.moving:
                stays.lost_j[i] += lost_j[i]

        gained_j = float(way.heats @ forces) * way.after_s - sum(lost_j.values())
        return held_j + gained_j - passing.given_j, book

    def met(self, circuit: Circuit, way: Way) -> None:
        """Each body has met what stood before it on its way, at its coldest end, and itself."""
        slugs, held, moves = self._water.of(circuit.number), circuit.straight.held, self._turns.moves(way)
        coldest = np.full(len(held), math.inf)
        for i in way.straight.moving:
            coldest[held.index(i)] = warmth.ends(slugs[i])[0]
        least = (coldest + moves.meets).min(axis=1).tolist()
        for body, least_c in zip(moves.bodies, least, strict=True):
            self._water.stays.colder(body, least_c)

    def until_now(self, circuit: Circuit, passing: Passing) -> Moved:
        """What the water of a circuit has done until now."""
        slugs, sent_out = self._water.of(circuit.number), passing.sent_out(self._tub_j_k)
        return self._ways.follow(passing.way, slugs, sent_out, passing.forces(), settled_too=True)

    def here(self, circuit: Circuit, passing: Passing, i: int) -> list[Slug]:
        """What reach *i* of a circuit holds now, as near as it is to be read."""
        slugs, sent_out = self._water.of(circuit.number), passing.sent_out(self._tub_j_k)
        way, forces = passing.way, passing.forces()
        done = self._ways.follow(way, slugs, sent_out, forces, settled_too=True, asked=i)
        return done.contents.get(i, [])

    def holds_j(self, circuit: Circuit, reaches: Sequence[int]) -> float | None:
        """Heat above 0 degC in some reaches now [J]; None where some reach held more slugs as it began."""
        passing = circuit.passing
        if passing is None or not (passing.is_straight and circuit.straight.is_straight):
            return None
        now, held_j = passing.lasted_s, 0.0
        changes, else_k = passing.changes(self._forces.now), passing.else_k(self._tub_j_k)
        for i in reaches:
            inside = self._inside(passing.way, i)
            held_j += float(inside.by_second[now].dot(passing.causes))
            held_j += else_k * float(inside.as_tub_is_warmer_j[now - now // 2])
            for began_s, more in changes:
                held_j += float(inside.by_second[now - began_s, -len(more) :].dot(more))
        return held_j

    def warmer_k(self, circuit: Circuit, reaches: Sequence[int], capacity_j_k: float) -> Floats | None:
        """By how much some reaches are warmer than the tub [K], by the second from now until all settles.

        If nothing warms the tub from now on but what is under way; None as for `holds_j`. *capacity_j_k*: of
        these reaches.
        """
        passing = circuit.passing
        if passing is None or not (passing.is_straight and circuit.straight.is_straight):
            return None
        way, now = passing.way, passing.lasted_s
        warmer_k: Floats = self._apart(way, tuple(reaches), capacity_j_k)[now:].dot(passing.causes)
        warmer_k -= passing.before_c
        changes = passing.changes(self._forces.now)
        if now or changes:
            else_k, then = passing.else_k(self._tub_j_k), now - now // 2
            warmer_k -= else_k
            for i in reaches:
                inside = self._inside(way, i)
                more_j: Floats = else_k * inside.as_tub_is_warmer_j[then : then + len(warmer_k)]
                for began_s, more in changes:
                    by_second = inside.by_second[now - began_s :, -len(more) :]
                    more_j += by_second[: len(warmer_k)].dot(more)
                warmer_k += more_j / capacity_j_k
        return warmer_k

    def _apart(self, way: Way, reaches: tuple[int, ...], capacity_j_k: float) -> Floats:
        """Factors, columns as in Passages, of how much warmer than the tub reaches are, second by second."""
        known = way.passages.apart.get(reaches)
        if known is None or known[0] != self._tub_j_k:
            held: Floats = np.sum([self._inside(way, i).by_second for i in reaches], axis=0)
            factors = held / capacity_j_k - way.passages.fed(self._tub_j_k)[1] / self._tub_j_k
            known = way.passages.apart[reaches] = self._tub_j_k, factors
        return known[1]

    def _inside(self, way: Way, i: int) -> Inside:
        inside = way.passages.inside.get(i)
        if inside is None or inside.tub_j_k != self._tub_j_k:
            inside = way.passages.inside[i] = Inside(self._ways, way, i, self._tub_j_k)
        inside.complete()
        return inside

    def truly(self, circuit: Circuit, now: int, tub_c: float) -> Mapping[int, list[Slug]]:
        """What each reach of a circuit that has settled late holds, the end that leaves first in front."""
        way, waited = circuit.way, circuit.waited
        assert way is not None
        assert waited is not None
        stream = waited.passing.sent_out(self._tub_j_k)
        if now > waited.at_s:
            stream = [*stream, (float(now - waited.at_s), waited.tub_c, tub_c)]
        slugs, forces = self._water.of(circuit.number), waited.passing.forces()
        return self._ways.follow(way, slugs, stream, forces, settled_too=True).contents
