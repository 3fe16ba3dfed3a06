"""What the water outside the tub holds and how warm it is, as it is read; nothing moves by it.

But that water which somebody asks for before it has settled is followed piece by piece from then on.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from cyclesim.physics import warmth
from cyclesim.physics.circuit import Circuit
from cyclesim.physics.contents import Contents
from cyclesim.physics.forces import Forces
from cyclesim.physics.settling import Settling
from cyclesim.physics.stays import OnStays
from cyclesim.physics.turns import Turns
from cyclesim.physics.warmth import Floats, Slug
from cyclesim.physics.ways import Way, Ways


class Readings:
    """Contents of all reaches from *start_s* on, all at *water_c* then; *tub_j_k*: heat capacity of the tub.

    *ways* are kept from run to run; *body_of*: the body of each reach, None where nobody asks; *zones* are
    hourly [degC] from *origin_s* on; *on_stays* as for `Stays`; *suns_w*: what the sun gives to reaches, for
    as long as their circuit stands, hourly as well [W]; these must lose some heat.
    """

    def __init__(
        self,
        ways: Ways,
        body_of: Sequence[int | None],
        zones: Mapping[str, Sequence[float]],
        origin_s: int,
        start_s: int,
        water_c: float,
        tub_j_k: float,
        on_stays: OnStays,
        suns_w: Mapping[int, Sequence[float]],
    ) -> None:
        self._tub_j_k = tub_j_k
        self.reaches, self._ways = ways.reaches, ways
        self._per_m3_k, self._origin_s = ways.per_m3_k, origin_s
        self.forces = Forces(ways.zones, len(ways.reaches), zones, origin_s, start_s)
        self._water = Contents(
            ways, body_of, self.forces, zones, origin_s, start_s, water_c, on_stays, suns_w
        )
        self._stays, self._circuit_of = self._water.stays, self._water.circuit_of
        self._circuits = [Circuit(g, s, start_s, water_c) for g, s in enumerate(self._water.straight)]
        self._turns = Turns(ways, self._stays)
        self._settling = Settling(ways, self._water, self.forces, self._turns, tub_j_k)
        self._owed_j = 0.0
        self._asks_tub = False

    def _settled_way(self, i: int) -> Way | None:
        """The way on which the water of reach *i* has settled, if it has."""
        circuit = self._circuits[self._circuit_of[i]]
        way = circuit.way
        return way if way is not None and circuit.is_settled and i in way.members else None

    def follows_tub(self, i: int) -> bool:
        """Whether the water of reach *i* has settled."""
        return self._settled_way(i) is not None

    def by_forces(self, factors: Floats) -> float:
        """What these factors come to now beside the tub's part [W], or [J] for what is held."""
        return float(factors.dot(self.forces.now))

    def by_zones(self, factors: Floats, at_s: float) -> float:
        """The zones' part of what these factors come to at *at_s* [W], or [J] for what is held."""
        return float(factors[1 : self.forces.first_heat].dot(self.forces.zones_at(at_s)))

    def _read(self, i: int, at_s: float, tub_c: float) -> tuple[float, float]:
        """As `_reach`, but water that passes or has settled late as it truly is; nothing is changed by it."""
        if not self._water.flows[i]:
            return self._water.standing(i, at_s) if self.reaches[i].capacity_j_k else (0.0, math.inf)
        circuit = self._circuits[self._circuit_of[i]]
        if circuit.passing is not None and circuit.passing.lasted_s:
            slugs = self._settling.here(circuit, circuit.passing, i)
        elif self.follows_tub(i) and circuit.has_settled_late(int(at_s), tub_c, self._tub_j_k):
            slugs = self._settling.truly(circuit, int(at_s), tub_c).get(i, [])
        else:
            return self._reach(i, at_s, tub_c)
        return self._per_m3_k * warmth.warmth(slugs), warmth.ends(slugs)[0] if slugs else math.inf

    def _reach(self, i: int, at_s: float, tub_c: float) -> tuple[float, float]:
        """Heat above 0 degC in reach *i* [J], and the temperature [degC] at its coldest end."""
        if self.reaches[i].capacity_j_k == 0.0:
            return 0.0, math.inf
        if self._water.flows[i]:
            self._catch_up(self._circuits[self._circuit_of[i]])
        way = self._settled_way(i)
        if way is None:
            return self._water.standing(i, at_s)
        k, row = way.settled.moving.index(i), self.forces.beside(tub_c)
        held = float(way.settled.held_j[k] @ row)
        return held, float(min(way.settled.inlet[k] @ row, way.settled.outlet[k] @ row))

    def body_c(self, body: int, at_s: float, tub_c: float) -> float:
        """Mean temperature [degC] of a body; later than now, as if nothing began to move."""
        circuit, members = self._passing(body), self._stays.members[body]
        held_j = None if circuit is None else self._settling.holds_j(circuit, members)
        if held_j is None:
            held_j = 0.0
            for i in members:
                held_j += self._read(i, at_s, tub_c)[0]
        return held_j / self._stays.capacity_j_k[body]

    def _passing(self, body: int) -> Circuit | None:
        """The circuit of a body all of which water passes that has not settled."""
        members, flows = self._stays.members[body], self._water.flows
        circuit = self._circuits[self._circuit_of[members[0]]]
        if circuit.passing is None:
            return None
        for i in members:
            if not flows[i] or self._circuit_of[i] != circuit.number:
                return None
        return circuit

    def is_lit(self, body: int) -> bool:
        """Whether all of the circuit of a body stands, in a sun of which is known how it goes on."""
        return self._water.straight[self._circuit_of[self._stays.members[body][0]]].is_lit

    def lit_c(self, body: int, now: int, hours: int) -> Floats:
        """The mean [degC] of such a body by the end of each of so many hours after *now*, if it stands on."""
        held_j = np.zeros(hours)
        for i in self._stays.members[body]:
            of_reach = self._water.lit(i, now, hours)
            held_j = held_j[: len(of_reach)] + of_reach
        return held_j / self._stays.capacity_j_k[body]

    def has_passed(self, body: int, now: int) -> bool:
        """Whether nothing is left in a body of what stood in its circuit before water began to move there."""
        circuit = self._circuits[self._circuit_of[self._stays.members[body][0]]]
        return circuit.way is not None and now - circuit.moved_s >= circuit.way.after_s

    def warmer_k(self, body: int, now: int, tub_c: float) -> Floats | None:
        """By how much a body's mean is above the tub [K], by the second from *now* on until it settles.

        If all goes on as it is; None where nobody knows.
        """
        circuit = self._circuits[self._circuit_of[self._stays.members[body][0]]]
        way = circuit.way
        if way is not None and way.is_fast and circuit.began_s == now and circuit.passing is None:
            circuit.passing = self._settling.begins(circuit, way, tub_c)
        passing = self._passing(body)
        if passing is None:
            return None
        return self._settling.warmer_k(passing, self._stays.members[body], self._stays.capacity_j_k[body])

    def coldest_c(self, body: int, at_s: float, tub_c: float) -> float:
        """Temperature [degC] at a body's coldest end."""
        return min(self._read(i, at_s, tub_c)[1] for i in self._stays.members[body])

    def holds_j(self, reaches: Iterable[int], at_s: float, tub_c: float) -> float:
        """Heat above 0 degC that is in some reaches [J]."""
        return sum(self._reach(i, at_s, tub_c)[0] for i in reaches)

    def holds_of(self, ways: Iterable[Way], at_s: float, tub_c: float) -> float:
        """Heat above 0 degC in all that some ways move [J]."""
        held_j = 0.0
        for way in ways:
            circuit = self._circuits[way.circuit]
            if circuit.straight.is_straight and (circuit.way is None or circuit.is_settled):
                held_j += float(way.straight.half_j_k.dot(self._at_once(circuit, at_s, tub_c)[0]))
            else:
                held_j += self.holds_j(way.settled.moving, at_s, tub_c)
        return held_j

    def heat_content_j(self, at_s: float, tub_c: float) -> float:
        """Heat above 0 degC in all of it [J]."""
        return self.holds_j(range(len(self.reaches)), at_s, tub_c)

    def tub_level(self, body: int, level_c: float) -> float | None:
        """The tub's temperature [degC] at which a body's mean is *level_c*; None where it has not settled."""
        held = self._held_of(body)
        return None if held is None else (level_c * self._stays.capacity_j_k[body] - held[1]) / held[0]

    def tub_level_under(self, body: int, more_k: float, now: int, tub_c: float) -> float | None:
        """The tub's temperature [degC] at which a body's mean is *more_k* above it; warmer, it is less.

        None where it has not settled, or holds what the tub sent out before it fell to *tub_c* by *now*.
        """
        held, circuit = self._held_of(body), self._circuits[self._circuit_of[self._stays.members[body][0]]]
        if held is None or circuit.has_settled_late(now, tub_c, self._tub_j_k):
            return None
        capacity_j_k = self._stays.capacity_j_k[body]
        lost_j_k, more_j = capacity_j_k - held[0], held[1] - more_k * capacity_j_k
        return more_j / lost_j_k if lost_j_k > 0.0 else math.copysign(math.inf, more_j)

    def _held_of(self, body: int) -> tuple[float, float] | None:
        """What a body holds per kelvin of the tub [J/K] and beside that [J]; None before it has settled."""
        factor = rest = 0.0
        for i in self._stays.members[body]:
            way = self._settled_way(i)
            if way is None:
                return None
            row = way.settled.held_j[way.settled.moving.index(i)]
            factor, rest = factor + float(row[0]), rest + self.by_forces(row)
        return factor, rest

    def ways(self, flows_m3_s: Sequence[float]) -> list[Way]:
        """How water would move at these flows, circuit by circuit."""
        return [way for way in self._turns.plan(flows_m3_s).ways if way is not None]

    def arriving(self, now: int, tub_c: float) -> list[list[Slug]]:
        """What comes into the tub by each reach of the circuits that have been changed now: streams [s]."""
        return [
            stream
            for circuit in self._circuits
            if circuit.way is not None and circuit.began_s == now
            for stream in self._ways.arriving(
                circuit.way, self._water.of(circuit.number), tub_c, self.forces.now
            )
        ]

    def arrives_above_c(self, now: int, tub_c: float) -> float:
        """What comes in by `arriving` is nowhere colder than this [degC]; infinite if nothing does."""
        above_c = math.inf
        for circuit in self._circuits:
            way, straight = circuit.way, circuit.straight
            if way is None or circuit.began_s != now:
                continue
            if not straight.is_straight:
                return -math.inf
            coldest_c = straight.ends_c.min(initial=math.inf, where=way.straight.half_j_k > 0.0)
            above_c = min(above_c, self._ways.arrives_above_c(way, float(coldest_c), tub_c, self.forces.now))
        return above_c

    def _at_once(self, circuit: Circuit, at_s: float, tub_c: float) -> tuple[Floats, Floats | None]:
        """The ends of what stands or has settled, as in Straight [degC]; how far the latter's are apart.

        1 is as far as one slug allows.
        """
        straight, way = circuit.straight, circuit.way
        if way is None or not circuit.is_settled:
            return straight.stood(at_s), None
        both, ends_c = 2 * len(straight.held), way.straight.ends.dot(self.forces.beside(tub_c))
        if way.straight.moves_all:
            return ends_c[:both], ends_c[both:]
        return way.straight.still * straight.stood(at_s) + ends_c[:both], ends_c[both:]

    def _owe(self, more_j: float) -> None:
        self._owed_j += more_j
        self.forces.version += 1  # so that the tub asks for it

    def _catch_up(self, circuit: Circuit) -> None:
        """Somebody asks before a circuit has settled: follow it up to now, and piece by piece from here."""
        passing, circuit.passing = circuit.passing, None
        if passing is None or not passing.lasted_s:
            return
        self._water.open(circuit.number)
        done = self._settling.until_now(circuit, passing)
        self._water.take(done, None)
        self._owe(done.returned_j - passing.given_j)
        circuit.asked = self._asks_tub = True
