"""The water outside the tub through time: where it stands, passes in order, or follows the tub's temperature.

What stands is one affine map from when it was last touched (`physics/heat.py`, ZoneFilter). As long as the
water of each reach of a circuit is one slug, all of them are one vector (`physics/stays.py`, Straight). When
flow starts or changes, the water of a circuit is followed slug by slug (`physics/warmth.py`) until tub water
has passed all that it reaches within `ways.SETTLES_S`; from then on its temperatures are factors of the tub's
(`physics/settled.py`), so that a run of hours costs nothing. What takes longer stays followed. Water that
circles without passing the tub counts as stirred. Where the tub has moved by FELL_K until its water settles,
that is followed after all if somebody asks for it, or flow changes, within as long again.

Heat is booked where it is: what came in less what went out less what the content gained is what a reach lost.
Wherever one description takes over from another, the difference in heat goes to the tub.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from cyclesim.physics import warmth
from cyclesim.physics.contents import Contents
from cyclesim.physics.forces import Forces, Mark
from cyclesim.physics.heat import HOUR_S
from cyclesim.physics.passing import Passing, Plan, Trial, Turn
from cyclesim.physics.settled import profile
from cyclesim.physics.stays import Moves, OnStays, Passed
from cyclesim.physics.warmth import Floats, Moved, Slug
from cyclesim.physics.water_age import STILL_M3_S
from cyclesim.physics.ways import Way, Ways

_FOLLOWED_S = 900  # longest piece while water is followed: the tub's temperature runs straight on it
_LOOKED_AT_S = 60  # the same while something looks at followed water
_TURNS_KEPT = 1000
FELL_K = 0.5
"""By how much a tub must have moved before its water settles for that to be told in the pipes."""


class Outside:
    """Contents of all reaches from *start_s* on, all at *water_c* then; *tub_j_k*: heat capacity of the tub.

    *ways* are kept from run to run; *body_of*: the body of each reach, None where nobody asks; *zones* are
    hourly [degC] from *origin_s* on; *on_stays* as for `Stays`.
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
    ) -> None:
        self._tub_j_k = tub_j_k
        self.reaches, self._ways = ways.reaches, ways
        self._per_m3_k, self._origin_s = ways.per_m3_k, origin_s
        self.forces = Forces(ways.zones, len(ways.reaches), zones, origin_s, start_s)
        self._water = Contents(ways, body_of, self.forces, zones, origin_s, start_s, water_c, on_stays)
        self._stays, self._circuits = self._water.stays, self._water.circuits
        self._circuit_of = self._water.circuit_of
        self._by_law: set[int] = set()
        self._plans: dict[int, Plan] = {}
        self._turns: dict[tuple[object, ...], Turn] = {}
        self._at: Plan | None = None
        self._heats: tuple[tuple[int, float], ...] = ()
        self._now: list[Way | None] = [None] * len(self._circuits)
        self._began = [start_s] * len(self._circuits)
        self._began_c = [water_c] * len(self._circuits)
        self._settled = [False] * len(self._circuits)
        self._due_s = [start_s] * len(self._circuits)
        """When each circuit settles."""
        self._waited: dict[int, tuple[int, float, Passing]] = {}
        """When a circuit has settled, at which temperature of the tub, and how it had passed until then."""
        self._marks: dict[int, Mark] = {}
        self._rest_j: dict[int, float] = {}
        self._passing: dict[int, Passing] = {}
        self._asked: set[int] = set()
        """Circuits in which somebody has asked before they were settled: followed piece by piece."""
        self._owed_j = 0.0
        self.seen = -1
        """The version of the forces for which settled water was last asked what it takes up."""
        self._into_tub_w: float | None = None
        """Worked out anew when flows or heats change, or a circuit settles."""
        self._sorted: dict[tuple[int, ...], tuple[tuple[Way, ...], list[tuple[int, Way]]]] = {}
        self.settled: tuple[Way, ...] = ()
        """The ways whose water has settled: for the same of them the same tuple, for as long as the run."""
        self.followed: list[tuple[int, Way]] = []
        """The circuits in which some water is followed."""
        self.due_s = math.inf
        """When the next circuit settles."""
        self._of_way: dict[int, Moves] = {}

    # -- what acts -----------------------------------------------------------------------------------------

    def look_out(self, now: float) -> None:
        """Zones are as in the hour of *now*."""
        self.forces.look_out(int((now - self._origin_s) // HOUR_S))

    def by_law(self, i: int, heat_w: float, now: int) -> None:
        """A law puts this heat into reach *i*, which water passes, from *now* on for a piece."""
        self.forces.heat({i: self._water.fixed_w.get(i, 0.0) + heat_w}, now)
        self._by_law.add(i)

    def follows_tub(self, i: int) -> bool:
        """Whether the water of reach *i* has settled."""
        g = self._circuit_of[i]
        way = self._now[g]
        return way is not None and self._settled[g] and i in way.members

    def into_tub_w(self) -> float:
        """Heat that the tub gets at once: into settled water, and into what holds none and is not passed."""
        if self._into_tub_w is None:
            self._into_tub_w = sum(
                w
                for i, w in self._water.fixed_w.items()
                if self.follows_tub(i) or not (self.reaches[i].capacity_j_k or self._water.flows[i])
            )
        return self._into_tub_w

    def by_forces(self, factors: Floats) -> float:
        """What these factors come to now beside the tub's part [W], or [J] for what is held."""
        return float(factors.dot(self.forces.now))

    def by_zones(self, factors: Floats, at_s: float) -> float:
        """The zones' part of what these factors come to at *at_s* [W], or [J] for what is held."""
        return float(factors[1 : self.forces.first_heat] @ self.forces.zones_at(at_s))

    def takes_up_j(self) -> float:
        """What the tub owes [J]: settled water takes up more, or less, as zones and heats change."""
        self.seen = self.forces.version
        more, self._owed_j = -self._owed_j, 0.0
        for g, before in self._rest_j.items():
            way = self._now[g]
            assert way is not None
            rest = float(way.held_j.dot(self.forces.now))
            more += rest - before
            self._rest_j[g] = rest
        return more

    def _owe(self, more_j: float) -> None:
        self._owed_j += more_j
        self.forces.version += 1  # so that the tub asks for it

    # -- what is where -------------------------------------------------------------------------------------

    def _read(self, i: int, at_s: float, tub_c: float) -> tuple[float, float]:
        """As `_reach`, but water that passes or has settled late as it truly is; nothing is changed by it."""
        g = self._circuit_of[i]
        way = self._now[g]
        if way is None or not self._water.flows[i]:
            return self._reach(i, at_s, tub_c)
        if g in self._passing:
            waits = self._passing[g]
            sent_out = waits.sent_out(self._tub_j_k, to_read=True)
            slugs = self._so_far(g, waits, sent_out, dict(way.upstream)[i]).contents.get(i, [])
        elif self.follows_tub(i) and self._has_settled_late(g, int(at_s), tub_c):
            slugs = self._truly(g, way, int(at_s), tub_c).get(i, [])
        else:
            return self._reach(i, at_s, tub_c)
        return self._per_m3_k * warmth.warmth(slugs), warmth.ends(slugs)[0] if slugs else math.inf

    def _reach(self, i: int, at_s: float, tub_c: float) -> tuple[float, float]:
        """Heat above 0 degC in reach *i* [J], and the temperature [degC] at its coldest end."""
        reach, g = self.reaches[i], self._circuit_of[i]
        if reach.capacity_j_k == 0.0:
            return 0.0, math.inf
        if self._water.flows[i] and g in self._passing:
            self._catch_up(g)
        if self.follows_tub(i):
            way = self._now[g]
            assert way is not None
            k, row = way.settled.moving.index(i), self.forces.beside(tub_c)
            held = float(way.settled.held_j[k] @ row)
            return held, float(min(way.settled.inlet[k] @ row, way.settled.outlet[k] @ row))
        return self._water.standing(i, at_s)

    def body_c(self, body: int, at_s: float, tub_c: float) -> float:
        """Mean temperature [degC] of a body; later than now, as if nothing began to move."""
        held_j = sum(self._read(i, at_s, tub_c)[0] for i in self._stays.members[body])
        return held_j / self._stays.capacity_j_k[body]

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
            g = self._circuit_of[way.settled.moving[0]]
            if self._now[g] is not None or not self._water.is_straight[g]:
                held_j += self.holds_j(way.settled.moving, at_s, tub_c)
                continue
            water = self._water
            stands = water.straight[g].stood(water.ends_c[g], water.touched_s[g], at_s)
            held_j += float(way.straight.half_j_k.dot(stands))
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
        held = self._held_of(body)
        if held is None or self._has_settled_late(self._circuit_of[self._stays.members[body][0]], now, tub_c):
            return None
        capacity_j_k = self._stays.capacity_j_k[body]
        lost_j_k, more_j = capacity_j_k - held[0], held[1] - more_k * capacity_j_k
        return more_j / lost_j_k if lost_j_k > 0.0 else math.copysign(math.inf, more_j)

    def _held_of(self, body: int) -> tuple[float, float] | None:
        """What a body holds per kelvin of the tub [J/K] and beside that [J]; None before it has settled."""
        factor = rest = 0.0
        for i in self._stays.members[body]:
            if not self.follows_tub(i):
                return None
            way = self._now[self._circuit_of[i]]
            assert way is not None
            row = way.settled.held_j[way.settled.moving.index(i)]
            factor, rest = factor + float(row[0]), rest + float(row @ self.forces.now)
        return factor, rest

    # -- what is changed -----------------------------------------------------------------------------------

    def change(
        self,
        now: int,
        flows_m3_s: Sequence[float],
        heat_w: Mapping[int, float],
        tub_c: float,
        integral: float,
    ) -> None:
        """From *now* on water moves at *flows_m3_s*, with *heat_w* into some reaches.

        The sequence of flows is kept and must not be changed. *integral*: of the tub's temperature [K s].
        """
        plan = self._plan(flows_m3_s)
        turn = self._turn(plan, heat_w)
        water, moves = self._water, self._stays.moves
        for g in turn.changed:
            self._bring(g, now, tub_c, integral)
        for i in turn.others:
            water.open(self._circuit_of[i])
            water.stand(i, now)
        for body in turn.touched:
            water.close(body, now)
        heats = turn.heats_w
        if self._by_law:
            heats = {**{i: turn.heated.get(i, 0.0) for i in self._by_law}, **heats}
            self._by_law.clear()
        self.forces.heat(heats, now)
        water.fixed_w, water.flows, self._at = turn.heated, plan.flows, plan
        self._into_tub_w = None
        for g in turn.changed:
            way = self._now[g] = plan.ways[g]
            self._began[g], self._began_c[g], self._settled[g] = now, tub_c, False
            self._waited.pop(g, None)
            self._due_s[g] = now + way.after_s if way is not None else now
            self._rest_j.pop(g, None)
            self._asked.discard(g)
            if way is not None and not way.is_fast:
                water.open(g)
        if turn.changed:
            self._sort()
        for i in turn.standing:
            water.open(self._circuit_of[i])
        for body, moving in turn.moves:
            moves[body] = moving

    def _turn(self, plan: Plan, heat_w: Mapping[int, float]) -> Turn:
        """What the step to these flows and heats comes to, from those of now."""
        before, self._heats = self._heats, tuple(heat_w.items())
        key = id(self._at), before, id(plan), self._heats
        turn = self._turns.get(key)
        if turn is None:
            if len(self._turns) > _TURNS_KEPT:  # stoves and collectors give another heat every hour
                self._turns.clear()
            turn = self._turns[key] = self._work_out(plan, {i: w for i, w in heat_w.items() if w})
        return turn

    def _work_out(self, plan: Plan, heated: dict[int, float]) -> Turn:
        was, reaches, stays = self._water.fixed_w, self.reaches, self._stays
        changed = [g for g, (old, new) in enumerate(zip(self._now, plan.ways, strict=True)) if old is not new]
        others = [
            i
            for i in {*heated, *was}
            if heated.get(i) != was.get(i)
            and not self._water.flows[i]
            and reaches[i].capacity_j_k
            and self._circuit_of[i] not in changed
        ]
        touched = stays.of(others)
        moves = dict[int, bool]()
        for g in changed:
            way = plan.ways[g]
            moving = self._moves(way).bodies if way is not None else ()
            moves |= {body: body in moving for body in self._water.straight[g].bodies}
        standing = [i for i in heated if not plan.flows[i] and reaches[i].capacity_j_k]
        moves |= dict.fromkeys(stays.of(standing), True)
        for body in touched:
            moves[body] = any(plan.flows[i] or i in heated for i in stays.members[body])
        heats_w = {i: heated.get(i, 0.0) for i in {*was, *heated}}
        return Turn(changed, others, touched, standing, heated, heats_w, list(moves.items()))

    def _plan(self, flows_m3_s: Sequence[float]) -> Plan:
        plan = self._plans.get(id(flows_m3_s))  # they are kept with it, so that no other gets the same number
        if plan is None:
            flows = [q if abs(q) > STILL_M3_S else 0.0 for q in flows_m3_s]
            ways = [self._ways.of(g, flows_m3_s) for g in range(len(self._circuits))]
            plan = self._plans[id(flows_m3_s)] = Plan(flows_m3_s, flows, ways)
        return plan

    def _bring(self, g: int, now: int, tub_c: float, integral: float) -> None:
        """Bring the water of a circuit to *now*, and close the stays of its bodies."""
        if g in self._passing:
            self._catch_up(g)
        late = self._settled[g] and self._has_settled_late(g, now, tub_c)
        if not late and self._water.is_straight[g] and self._bring_at_once(g, now, tub_c, integral):
            return
        self._water.open(g)
        if self._settled[g]:
            self._as_slugs(g, now, tub_c, integral, late=late)
        for i in self._circuits[g]:
            self._water.stand(i, now)
        for body in self._water.straight[g].bodies:
            self._water.close(body, now)
        self._water.straighten(g, now)

    def _bring_at_once(self, g: int, now: int, tub_c: float, integral: float) -> bool:
        """The same by vector. False, and nothing done, where settled water is not straight enough."""
        water, way = self._water, self._now[g]
        held, before_c, settled = water.straight[g], water.ends_c[g], None
        if way is None or not self._settled[g]:
            after_c = held.stood(before_c, water.touched_s[g], now)
        else:
            rows, both = way.straight, len(before_c)
            ends = rows.ends.dot(self.forces.beside(tub_c))
            apart = ends[both:]
            if apart.dot(apart) > 1.0 and (np.abs(apart) > 1.0).any():
                return False
            after_c = ends[:both]
            if not rows.moves_all:
                after_c = rows.still * held.stood(before_c, water.touched_s[g], now) + after_c
            settled = way, self._marks[g], self.forces.mark(now, integral)
        held.close(before_c, after_c, now, settled)
        water.ends_c[g], water.touched_s[g] = after_c, float(now)
        return True

    def _has_settled_late(self, g: int, now: int, tub_c: float) -> bool:
        """Whether the oldest of settled water is what the tub sent out before it fell, or rose, by much."""
        way = self._now[g]
        if way is None or g not in self._waited or now - self._began[g] >= 2 * way.after_s:
            return False
        _, _, waits = self._waited[g]
        sent_c = waits.tub_c(min(now - self._began[g] - way.after_s, waits.lasted_s), self._tub_j_k)
        return abs(tub_c - sent_c) > FELL_K

    def _truly(self, g: int, way: Way, now: int, tub_c: float) -> Mapping[int, list[Slug]]:
        """What each reach of a circuit that has settled late holds, the end that leaves first in front."""
        at_s, then_c, waits = self._waited[g]
        stream, forces = waits.sent_out(self._tub_j_k), waits.forces()
        if now > at_s:
            stream = [*stream, (float(now - at_s), then_c, tub_c)]
        return self._ways.follow(way, self._water.of(g), stream, forces, settled_too=True).contents

    def _put_late(self, g: int, way: Way, now: int, tub_c: float, held_j: float) -> None:
        """Put what a circuit that has settled late truly holds, in place of *held_j* [J] as it was told."""
        for i, slugs in self._truly(g, way, now, tub_c).items():
            self._water.put(i, slugs)
            held_j -= self._per_m3_k * warmth.warmth(slugs)
        self._owe(held_j)

    def _as_slugs(self, g: int, now: int, tub_c: float, integral: float, *, late: bool) -> None:
        """What has settled in a circuit as slugs, and what it has lost since it was last asked."""
        way = self._now[g]
        assert way is not None
        settled = way.settled
        lost = settled.lost_w @ self.forces.acted([self._marks[g]], [self.forces.mark(now, integral)])[0]
        at = self.forces.beside(tub_c)
        ends = (settled.inlet @ at).tolist(), (settled.outlet @ at).tolist(), (settled.held_j @ at).tolist()
        for k in way.settles:
            if self.reaches[settled.moving[k]].capacity_j_k:
                self._stays.lost_j[settled.moving[k]] += float(lost[k])
        if late:
            self._put_late(g, way, now, tub_c, sum(ends[2][k] for k in way.settles))
            return
        for k in way.settles:
            i = settled.moving[k]
            reach, flow = self.reaches[i], way.pattern.flows[i]
            if reach.capacity_j_k:
                inlet, outlet, held = (x[k] for x in ends)
                slugs = profile(reach, abs(flow), inlet, outlet, held, self._per_m3_k)
                self._water.put(i, slugs)

    def close(self, now: int, tub_c: float, integral: float) -> None:
        """Close every open stay, and begin the next; *integral* as in `settle_due`."""
        for g in range(len(self._circuits)):
            self._bring(g, now, tub_c, integral)
            self._marks[g] = self.forces.mark(now, integral)
            self._water.straight[g].tell()

    # -- how it moves --------------------------------------------------------------------------------------

    def _moves(self, way: Way) -> Moves:
        """The bodies that a way moves."""
        known = self._of_way.get(id(way))
        if known is None:
            body_of, rows, held = self._stays.body_of, dict[int, Floats](), self._ways.held[way.circuit]
            for i, before in way.upstream:
                body = body_of[i]
                if body is not None:
                    row = rows.setdefault(body, np.full(len(held), math.inf))
                    row[[held.index(k) for k in before if k in held]] = 0.0
            meets = np.array(list(rows.values())).reshape(len(rows), len(held))
            known = self._of_way[id(way)] = Moves(list(rows), meets)
        return known

    def ways(self, flows_m3_s: Sequence[float]) -> list[Way]:
        """How water would move at these flows, circuit by circuit."""
        return [way for way in self._plan(flows_m3_s).ways if way is not None]

    def arriving(self, now: int, tub_c: float) -> list[list[Slug]]:
        """What comes into the tub by each reach of the circuits that have been changed now: streams [s]."""
        return [
            stream
            for g, (way, began) in enumerate(zip(self._now, self._began, strict=True))
            if way is not None and began == now
            for stream in self._ways.arriving(way, self._water.of(g), tub_c, self.forces.now)
        ]

    def _sort(self) -> None:
        """Which circuits have settled, which are followed, and when the next of these settles."""
        key = id(self._at), *self._settled
        sorted_ = self._sorted.get(key)
        if sorted_ is None:
            pairs = list(enumerate(zip(self._now, self._settled, strict=True)))
            settled = tuple(way for _, (way, yes) in pairs if way and yes)
            followed = [(g, way) for g, (way, yes) in pairs if way and not (yes and way.is_fast)]
            sorted_ = self._sorted[key] = settled, followed
        self.settled, self.followed = sorted_
        due = [float(self._due_s[g]) for g, way in self.followed if way.settles and not self._settled[g]]
        self.due_s = min(due) if due else math.inf

    def settle_due(self, now: int, tub_c: float, node_j_k: float, integral: float) -> float:
        """Settle every circuit that is passed; the tub's temperature [degC] with the heat that they held.

        *node_j_k*: heat capacity of the tub and all that has settled before [J/K]. *integral*: of the tub's
        temperature since the run began [K s].
        """
        for g, way in self.followed:
            if way.settles and not self._settled[g] and now >= self._due_s[g]:
                waits = self._passing.pop(g, None)
                if waits is None and self._falls(g, way, tub_c):
                    continue
                held_j = self._passed(g, waits) if waits else self.holds_j(way.members, now, tub_c)
                self._rest_j[g] = float(way.held_j.dot(self.forces.now))
                tub_c = (node_j_k * tub_c + held_j - self._rest_j[g]) / (node_j_k + float(way.held_j[0]))
                node_j_k += float(way.held_j[0])
                self._settled[g] = True
                if waits is not None:
                    self._waited[g] = now, tub_c, waits
                self._into_tub_w = None
                self._marks[g] = self.forces.mark(now, integral)
        self._sort()
        return tub_c

    def _falls(self, g: int, way: Way, tub_c: float) -> bool:
        """Whether a circuit that is followed piece by piece is to be so once as long again."""
        once = self._due_s[g] == self._began[g] + way.after_s
        if once and abs(tub_c - self._began_c[g]) > FELL_K:
            self._due_s[g] += way.after_s
            return True
        return False

    def asks_tub(self) -> bool:
        """Whether what followed water does over a piece depends on where the tub ends on it."""
        return any(not way.is_fast or g in self._asked for g, way in self.followed)

    def piece_s(self, now: int, *, looked_at: bool) -> int | None:
        """The longest piece [s] from *now* on; None where nothing is followed."""
        if not self.followed:
            return None
        longest, left_s = _LOOKED_AT_S if looked_at else _FOLLOWED_S, self.due_s - now
        return int(left_s) if left_s < longest else longest

    def follow(self, dt_s: int, before_c: float, after_c: float) -> Trial:
        """What moving water does over a piece on which the tub goes from *before_c* to *after_c*."""
        moved, passing, returned_j = list[Moved](), list[tuple[int, Passing, float]](), 0.0
        for g, way in self.followed:
            if way.is_fast and g not in self._asked:
                waits = self._passing.get(g) or self._begins(g, way, before_c)
                by_then_j = waits.returned_j(waits.lasted_s + dt_s)
                passing.append((g, waits, by_then_j))
                returned_j += by_then_j - waits.given_j
            else:
                self._water.open(g)
                done = self._ways.follow(
                    way,
                    self._water.of(g),
                    [(float(dt_s), before_c, after_c)],
                    self.forces.now,
                    settled_too=not self._settled[g],
                )
                moved.append(done)
                returned_j += moved[-1].returned_j
        return Trial(dt_s, returned_j / dt_s, tuple(moved), tuple(passing))

    def _begins(self, g: int, way: Way, tub_c: float) -> Passing:
        """A passage from now on."""
        forces, water = self.forces, self._water
        acted = [(forces.now, 0)]
        if water.is_straight[g]:
            causes = np.concatenate((water.ends_c[g], forces.beside(tub_c)))
            fed = self._ways.passages(way, forces.heated).fed(self._tub_j_k)[1]
            return Passing(way, tub_c, tub_c, acted, fed, causes)
        back = self._ways.passages(way, None).fed(self._tub_j_k)[0]
        by_second = back @ self._ways.passage(way, water.of(g), (tub_c, tub_c), forces.now)[1]
        return Passing(way, tub_c, tub_c, acted, by_second, None)

    def _passed(self, g: int, waits: Passing) -> float:
        """A circuit has passed until it settles; the heat that it holds [J]."""
        way, stays, water, forces = waits.way, self._stays, self._water, waits.forces()
        moves, rose_k = self._moves(way), waits.after_c - waits.before_c
        if water.is_straight[g]:
            assert waits.causes is not None
            causes, passages = waits.causes, self._ways.passages(way, self.forces.heated)
            if len(waits.acted) > 1:
                causes = np.concatenate((water.ends_c[g], forces))
                causes[passages.tub] = waits.before_c
            water.straight[g].passed = Passed(way, moves, causes, rose_k)
            return float(passages.held_j.dot(causes)) - passages.lost_as_tub_rises_j * rose_k - waits.given_j
        slugs, held_j = water.of(g), 0.0
        coldest = np.full(moves.meets.shape[1], math.inf)
        lost_j, _ = self._ways.passage(way, slugs, (waits.before_c, waits.after_c), forces)
        for i in way.straight.moving:
            held_j += self._per_m3_k * warmth.warmth(slugs[i])
            coldest[self._ways.held[g].index(i)] = warmth.ends(slugs[i])[0]
            stays.lost_j[i] += lost_j[i]
        least = (coldest + moves.meets).min(axis=1).tolist()
        for body, least_c in zip(moves.bodies, least, strict=True):
            stays.colder(body, least_c)
        gained_j = float(way.heats @ forces) * way.after_s - sum(lost_j.values())
        return held_j + gained_j - waits.given_j

    def _so_far(
        self, g: int, waits: Passing, sent_out: list[Slug], only: Sequence[int] | None = None
    ) -> Moved:
        """What water that passes has done up to now, in *only* some reaches if in no others."""
        slugs, forces = self._water.of(g), waits.forces()
        return self._ways.follow(waits.way, slugs, sent_out, forces, settled_too=True, only=only)

    def _catch_up(self, g: int) -> None:
        """Somebody asks before a circuit has settled: follow it up to now, and piece by piece from here."""
        waits = self._passing.pop(g)
        self._water.open(g)
        done = self._so_far(g, waits, waits.sent_out(self._tub_j_k))
        self._water.take(done, None)
        self._owe(done.returned_j - waits.given_j)
        self._asked.add(g)

    def keep(self, trial: Trial, tub_c: tuple[float, float], end: int) -> None:
        """What was tried has come to pass."""
        for done in trial.moved:
            self._water.take(done, end)
            if (end - self._origin_s) % HOUR_S == 0:  # by the hour it shows when a trickle is how cold
                for body in self._stays.of(done.contents):
                    if all(i in done.contents for i in self._stays.members[body]):
                        self._water.close(body, end)
        for g, waits, by_then_j in trial.passing:
            self._passing[g] = waits
            waits.lasts(trial.dt_s, self.forces.now, tub_c[1], by_then_j)
