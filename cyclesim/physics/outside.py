"""The water outside the tub through time: where it stands, passes in order, or follows the tub's temperature.

What stands is one affine map from when it was last touched (`physics/heat.py`, ZoneFilter). When flow starts
or changes, the water of a circuit is followed slug by slug (`physics/warmth.py`) until tub water has passed
all that it reaches within `ways.SETTLES_S`; from then on its temperatures are factors of the tub's
(`physics/settled.py`), so that a run of hours costs nothing. What takes longer stays followed. Water that
circles without passing the tub counts as stirred.

Heat is booked where it is: what came in less what went out less what the content gained is what a reach lost.
Wherever one description takes over from another, the difference in heat goes to the tub.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from cyclesim.physics import warmth
from cyclesim.physics.heat import HOUR_S, ZoneFilter, mode
from cyclesim.physics.settled import profile
from cyclesim.physics.warmth import Floats, Moved, Slug
from cyclesim.physics.water_age import STILL_M3_S
from cyclesim.physics.ways import Way, Ways

_FOLLOWED_S = 900  # longest piece while water is followed: the tub's temperature runs straight on it
_LOOKED_AT_S = 60  # the same while something looks at followed water


@dataclass(frozen=True, slots=True)
class Body:
    """Reaches of one zone that are told of as one: a leg with its manifold, a housing, a pump."""

    name: str
    volume_m3: float
    capacity_j_k: float
    ua_w_k: float
    zone: str


class Stay(NamedTuple):
    """A body of water that stands, or through which water moves, for a while.

    start_c, end_c: mean temperatures; coldest_c: at its coldest end, as it began to stand, or while it moved;
    warmest_c: at its warmest end as the stay began.
    """

    body: int
    start_s: int
    end_s: int
    joined: bool
    start_c: float
    end_c: float
    loss_j: float
    coldest_c: float
    warmest_c: float


class Trial(NamedTuple):
    """What moving water would do over a piece."""

    dt_s: int
    returned_w: float
    moved: tuple[Moved, ...]
    passing: tuple[tuple[int, Floats], ...]
    """Circuits that wait until they settle, and what each is taken to have returned [J] after each second."""


@dataclass(slots=True)
class _Passing:
    """Water of a circuit on its way to be settled, worked out when it is, or when somebody asks before.

    Until then it is taken to return what it would if all stayed as it was at first.
    """

    before_c: float
    after_c: float
    lasted_s: int
    acted: Floats
    """Forces times seconds."""
    returned_j: Floats


class Outside:
    """Contents of all reaches from *start_s* on, all at *water_c* then.

    *ways* are kept from run to run; *body_of*: the body of each reach, None where nobody asks; *zones* are
    hourly [degC] from *origin_s* on; *on_stay* is called with each closed stay.
    """

    def __init__(
        self,
        ways: Ways,
        body_of: Sequence[int | None],
        circuits: Sequence[Sequence[int]],
        zones: Mapping[str, Sequence[float]],
        origin_s: int,
        start_s: int,
        water_c: float,
        on_stay: Callable[[Stay], None],
    ) -> None:
        reaches = self.reaches = ways.reaches
        self._ways, self._circuits, self._per_m3_k = ways, [tuple(c) for c in circuits], ways.per_m3_k
        self._zones, self._origin_s, self._on_stay = zones, origin_s, on_stay
        kinds: dict[tuple[str, float], ZoneFilter] = {}
        for r in reaches:
            if r.ua_w_k and (key := (r.zone, round(r.rate_1_s, 15))) not in kinds:
                kinds[key] = ZoneFilter(zones[r.zone], 1.0 / r.rate_1_s, origin_s)
        self._filters = [kinds.get((r.zone, round(r.rate_1_s, 15))) for r in reaches]
        n = len(self.reaches)
        self._slugs: list[list[Slug]] = [[(p.volume_m3, water_c, water_c)] for p in self._ways.plugs]
        self._since: list[float] = [float(start_s)] * n
        self._flows = [0.0] * n
        self._lost_j = [0.0] * n
        self._zone_names = ways.zones
        self._first_heat = 1 + len(self._zone_names)
        self._forces: Floats = np.zeros(self._first_heat + n)  # the tub's place stays 0
        self._given: Floats = np.zeros(self._first_heat + n)  # their integrals; zones are added when asked
        self._hour = -1
        self._news = True
        """Whether zones or heats have changed since settled water was last asked what it takes up."""
        self._fixed_w: dict[int, float] = {}
        self._by_law: set[int] = set()
        self._asked_m3_s: Sequence[float] = ()
        self._into_tub_w: float | None = None
        self._settled_ways: tuple[Way, ...] | None = None
        self._followed: list[tuple[int, Way]] | None = None
        """These three are worked out anew when flows or heats change, or a circuit settles."""
        self._now: list[Way | None] = [None] * len(self._circuits)
        self._began = [start_s] * len(self._circuits)
        self._settled = [False] * len(self._circuits)
        self._marks: dict[int, Floats] = {}
        self._rest_j: dict[int, float] = {}
        self._passing: dict[int, _Passing] = {}
        self._asked: set[int] = set()
        """Circuits in which somebody has asked before they were settled: followed piece by piece."""
        self._owed_j = 0.0
        self._circuit_of = {i: g for g, c in enumerate(self._circuits) for i in c}
        self._body_of = tuple(body_of)
        bodies = 1 + max((b for b in body_of if b is not None), default=-1)
        self._members = [[i for i, b in enumerate(body_of) if b == body] for body in range(bodies)]
        self._capacity = [sum(self.reaches[i].capacity_j_k for i in mine) for mine in self._members]
        self._stay_since, self._start_c = [start_s] * bodies, [water_c] * bodies
        self._coldest_c, self._moves = [water_c] * bodies, [False] * bodies
        self._warmest_c = [water_c] * bodies
        self._sums: dict[str, list[float]] = {}
        for name, series in zones.items():
            sums = [0.0]
            for temp in series:
                sums.append(sums[-1] + temp * HOUR_S)
            self._sums[name] = sums

    # -- what acts -----------------------------------------------------------------------------------------

    def look_out(self, now: float) -> None:
        """Zones are as in the hour of *now*."""
        hour = int((now - self._origin_s) // HOUR_S)
        if hour != self._hour:
            self._hour, self._news = hour, True
            for k, z in enumerate(self._zone_names, start=1):
                series = self._zones[z]
                self._forces[k] = series[min(hour, len(series) - 1)]

    def by_law(self, i: int, heat_w: float) -> None:
        """A law puts this heat into reach *i*, which water passes, for the next piece."""
        self._forces[self._first_heat + i] = self._fixed_w.get(i, 0.0) + heat_w
        self._by_law.add(i)
        self._news = True

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
                for i, w in self._fixed_w.items()
                if self.follows_tub(i) or not (self.reaches[i].capacity_j_k or self._flows[i])
            )
        return self._into_tub_w

    def by_forces(self, factors: Floats) -> float:
        """What these factors come to now beside the tub's part [W], or [J] for what is held."""
        return float(factors @ self._forces)

    def by_zones(self, factors: Floats, at_s: float) -> float:
        """The zones' part of what these factors come to at *at_s* [W], or [J] for what is held."""
        hour = int((at_s - self._origin_s) // HOUR_S)
        series = (self._zones[z] for z in self._zone_names)
        return sum(float(x) * z[min(hour, len(z) - 1)] for x, z in zip(factors[1:], series, strict=False))

    def takes_up_j(self) -> float:
        """What the tub owes [J]: settled water takes up more, or less, as zones and heats change."""
        more, self._owed_j = -self._owed_j, 0.0
        if not self._news:
            return more
        self._news = False
        for g, before in self._rest_j.items():
            way = self._now[g]
            assert way is not None
            rest = float(way.held_j @ self._forces)
            more += rest - before
            self._rest_j[g] = rest
        return more

    # -- what is where -------------------------------------------------------------------------------------

    def _stood(self, i: int, at_s: float) -> tuple[float, float]:
        """The map of water that has stood in reach *i* since it was touched: factor, and what is added."""
        since, reach, heat_w = self._since[i], self.reaches[i], self._fixed_w.get(i)
        kept, once, _ = mode(reach.rate_1_s, at_s - since)
        zoned = self._filters[i]
        gained = zoned.temp_at(at_s, since, 0.0) if zoned else 0.0
        return kept, gained if heat_w is None else gained + heat_w / reach.capacity_j_k * once

    def _reach(self, i: int, at_s: float, tub_c: float) -> tuple[float, float]:
        """Heat above 0 degC in reach *i* [J], and the temperature [degC] at its coldest end."""
        reach = self.reaches[i]
        if reach.capacity_j_k == 0.0:
            return 0.0, math.inf
        if self._flows[i] and self._circuit_of[i] in self._passing:
            self._catch_up(self._circuit_of[i])
        if self.follows_tub(i):
            way = self._now[self._circuit_of[i]]
            assert way is not None
            k = way.settled.moving.index(i)
            rows = np.array([way.settled.held_j[k], way.settled.inlet[k], way.settled.outlet[k]])
            held, *ends = (rows @ self._forces + rows[:, 0] * tub_c).tolist()
            return held, min(ends)
        kept, gained = (1.0, 0.0) if self._flows[i] else self._stood(i, at_s)
        slugs = self._slugs[i]
        held = self._per_m3_k * kept * warmth.warmth(slugs) + gained * reach.capacity_j_k
        return held, warmth.ends(slugs)[0] * kept + gained

    def body_c(self, body: int, at_s: float, tub_c: float) -> float:
        """Mean temperature [degC] of a body; later than now, as if nothing began to move."""
        return self.holds_j(self._members[body], at_s, tub_c) / self._capacity[body]

    def coldest_c(self, body: int, at_s: float, tub_c: float) -> float:
        """Temperature [degC] at a body's coldest end."""
        return min(self._reach(i, at_s, tub_c)[1] for i in self._members[body])

    def holds_j(self, reaches: Iterable[int], at_s: float, tub_c: float) -> float:
        """Heat above 0 degC that is in some reaches [J]."""
        return sum(self._reach(i, at_s, tub_c)[0] for i in reaches)

    def heat_content_j(self, at_s: float, tub_c: float) -> float:
        """Heat above 0 degC in all of it [J]."""
        return self.holds_j(range(len(self.reaches)), at_s, tub_c)

    def tub_level(self, body: int, level_c: float) -> float | None:
        """The tub's temperature [degC] at which a body's mean is *level_c*; None where it has not settled."""
        factor = rest = 0.0
        for i in self._members[body]:
            if not self.follows_tub(i):
                return None
            way = self._now[self._circuit_of[i]]
            assert way is not None
            row = way.settled.held_j[way.settled.moving.index(i)]
            factor, rest = factor + float(row[0]), rest + float(row @ self._forces)
        return (level_c * self._capacity[body] - rest) / factor

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

        *integral*: of the tub's temperature [K s].
        """
        flows, changed = self._flows, list[int]()
        if flows_m3_s is not self._asked_m3_s:
            self._asked_m3_s = flows_m3_s
            flows = [q if abs(q) > STILL_M3_S else 0.0 for q in flows_m3_s]
            changed = [g for g, c in enumerate(self._circuits) if any(flows[i] != self._flows[i] for i in c)]
        heated = {i: w for i, w in heat_w.items() if w}
        was = self._fixed_w
        others = {
            i
            for i in heated.keys() | was.keys()
            if heated.get(i) != was.get(i) and not self._flows[i] and self.reaches[i].capacity_j_k
        }
        bodies = self._bring(changed, others, now, tub_c, integral)
        for g in changed:
            self._settled[g] = False
            self._rest_j.pop(g, None)
            self._asked.discard(g)
        for i in {*was, *heated, *self._by_law}:
            self._forces[self._first_heat + i] = heated.get(i, 0.0)
        self._by_law.clear()
        self._fixed_w = heated
        self._news, self._into_tub_w = True, None
        if changed:
            self._settled_ways = self._followed = None
        for g in changed:
            for i in self._circuits[g]:
                self._flows[i] = flows[i]
            self._now[g], self._began[g] = self._way(g, self._flows), now
        for body in bodies:
            self._moves[body] = any(self._flows[i] or i in heated for i in self._members[body])

    def _bring(
        self, circuits: Iterable[int], others: Iterable[int], now: int, tub_c: float, integral: float
    ) -> list[int]:
        """Bring circuits and other reaches to *now* as slugs; close their bodies' stays, and give these."""
        reaches, stood = list(others), dict[tuple[object, ...], tuple[float, float]]()
        for g in circuits:
            reaches += self._circuits[g]
            if g in self._passing:
                self._catch_up(g)
            if self._settled[g]:
                self._as_slugs(g, now, tub_c, integral)
        for i in reaches:
            since = self._since[i]
            if not self._flows[i] and now > since and self.reaches[i].capacity_j_k:
                before = warmth.warmth(self._slugs[i])
                alike = since, self.reaches[i].zone, self.reaches[i].rate_1_s, self._fixed_w.get(i) and i
                if alike not in stood:  # stretches of one leg stand alike
                    stood[alike] = self._stood(i, now)
                kept, gained = stood[alike]
                self._slugs[i] = [(v, a * kept + gained, b * kept + gained) for v, a, b in self._slugs[i]]
                lost = self._per_m3_k * (before - warmth.warmth(self._slugs[i]))
                self._lost_j[i] += lost + self._fixed_w.get(i, 0.0) * (now - since)
            self._since[i] = now
        bodies = list(dict.fromkeys(b for i in reaches if (b := self._body_of[i]) is not None))
        for body in bodies:
            self._close(body, now)
        return bodies

    def _close(self, body: int, now: int) -> None:
        """Close the stay of a body that is in slugs, and begin the next."""
        held, loss_j, coldest, warmest = 0.0, 0.0, math.inf, -math.inf
        for i in self._members[body]:
            for v, front, back in self._slugs[i]:
                held += 0.5 * v * (front + back)
                coldest, warmest = min(coldest, front, back), max(warmest, front, back)
            loss_j += self._lost_j[i]
            self._lost_j[i] = 0.0
        temp_c, since = held * self._per_m3_k / self._capacity[body], self._stay_since[body]
        if now > since:
            moves = self._moves[body]
            least = min(self._coldest_c[body], coldest) if moves else self._coldest_c[body]
            began_c, most = self._start_c[body], self._warmest_c[body]
            self._on_stay(Stay(body, since, now, moves, began_c, temp_c, loss_j, least, most))
        self._stay_since[body], self._start_c[body], self._coldest_c[body] = now, temp_c, coldest
        self._warmest_c[body] = warmest

    def _as_slugs(self, g: int, now: int, tub_c: float, integral: float) -> None:
        """What has settled in a circuit as slugs, and what it has lost since it was last asked."""
        way = self._now[g]
        assert way is not None
        settled, since = way.settled, self._marks[g]
        self._mark(g, now, integral)
        lost = settled.lost_w @ (self._marks[g] - since)
        at = self._forces.copy()
        at[0] = tub_c
        ends = (settled.inlet @ at).tolist(), (settled.outlet @ at).tolist(), (settled.held_j @ at).tolist()
        for k in way.settles:
            i = settled.moving[k]
            reach, flow = self.reaches[i], way.pattern.flows[i]
            if reach.capacity_j_k:
                self._lost_j[i] += float(lost[k])
                inlet, outlet, held = (x[k] for x in ends)
                slugs = profile(reach, abs(flow), inlet, outlet, held, self._per_m3_k)
                self._slugs[i] = slugs if flow > 0.0 else warmth.turned(slugs)

    def _mark(self, g: int, now: int, integral: float) -> None:
        """Losses of a settled circuit are counted from now on."""
        mark = self._given.copy()
        mark[0] = integral
        mark[1 : self._first_heat] = [self._zone_integral(z, now) for z in self._zone_names]
        self._marks[g] = mark

    def _zone_integral(self, zone: str, at_s: float) -> float:
        since = at_s - self._origin_s
        hour = int(since // HOUR_S)
        series = self._zones[zone]
        return self._sums[zone][hour] + (since - hour * HOUR_S) * series[min(hour, len(series) - 1)]

    def close(self, now: int, tub_c: float, integral: float) -> None:
        """Close every open stay, and begin the next; *integral* as in `settle_due`."""
        self._bring(range(len(self._circuits)), (), now, tub_c, integral)

    # -- how it moves --------------------------------------------------------------------------------------

    def _way(self, g: int, all_flows: Sequence[float]) -> Way | None:
        mine = [0.0] * len(all_flows)
        for i in self._circuits[g]:
            mine[i] = all_flows[i]
        return self._ways.of(mine)

    def ways(self, flows_m3_s: Sequence[float]) -> list[Way]:
        """How water would move at these flows, circuit by circuit."""
        flows = [q if abs(q) > STILL_M3_S else 0.0 for q in flows_m3_s]
        return [way for g in range(len(self._circuits)) if (way := self._way(g, flows))]

    def arriving(self, now: int, tub_c: float) -> list[list[Slug]]:
        """What comes into the tub by each reach of the circuits that have been changed now: streams [s]."""
        return [
            stream
            for way, began in zip(self._now, self._began, strict=True)
            if way is not None and began == now
            for stream in self._ways.arriving(way, self._slugs, tub_c, self._forces)
        ]

    def settled_ways(self) -> tuple[Way, ...]:
        """The ways whose water has settled."""
        if self._settled_ways is None:
            self._settled_ways = tuple(
                way for way, yes in zip(self._now, self._settled, strict=True) if way and yes
            )
        return self._settled_ways

    def settle_due(self, now: int, tub_c: float, node_j_k: float, integral: float) -> float:
        """Settle every circuit that is passed; the tub's temperature [degC] with the heat that they held.

        *node_j_k*: heat capacity of the tub and all that has settled before [J/K]. *integral*: of the tub's
        temperature since the run began [K s].
        """
        for g, way in enumerate(self._now):
            if way and way.settles and not self._settled[g] and now - self._began[g] >= way.after_s:
                waits = g in self._passing
                held_j = self._passed(g, way) if waits else self.holds_j(way.members, now, tub_c)
                self._rest_j[g] = float(way.held_j @ self._forces)
                tub_c = (node_j_k * tub_c + held_j - self._rest_j[g]) / (node_j_k + float(way.held_j[0]))
                node_j_k += float(way.held_j[0])
                self._settled[g] = True
                self._settled_ways = self._followed = self._into_tub_w = None
                self._mark(g, now, integral)
        return tub_c

    def _followed_ways(self) -> list[tuple[int, Way]]:
        if self._followed is None:
            self._followed = [
                (g, way)
                for g, (way, yes) in enumerate(zip(self._now, self._settled, strict=True))
                if way and not (yes and way.is_fast)
            ]
        return self._followed

    def piece_s(self, now: int, *, looked_at: bool) -> int | None:
        """The longest piece [s] from *now* on; None where nothing is followed."""
        longest = None
        for g, way in self._followed_ways():
            longest = min(longest or _FOLLOWED_S, _LOOKED_AT_S if looked_at else _FOLLOWED_S)
            if way.settles and not self._settled[g]:
                longest = min(longest, self._began[g] + way.after_s - now)
        return longest

    def follow(self, dt_s: int, before_c: float, after_c: float) -> Trial:
        """What moving water does over a piece on which the tub goes from *before_c* to *after_c*."""
        moved, passing, returned_j = list[Moved](), list[tuple[int, Floats]](), 0.0
        for g, way in self._followed_ways():
            if way.is_fast and g not in self._asked:
                waits = self._passing.get(g)
                since_s = waits.lasted_s if waits else 0
                by_now = (
                    waits.returned_j if waits else self._to_settle(way, (before_c, before_c), self._forces)[1]
                )
                passing.append((g, by_now))
                returned_j += float(by_now[since_s + dt_s] - by_now[since_s])
            else:
                done = self._ways.follow(
                    way,
                    self._slugs,
                    dt_s,
                    (before_c, after_c),
                    self._forces,
                    settled_too=not self._settled[g],
                )
                moved.append(done)
                returned_j += moved[-1].returned_j
        return Trial(dt_s, returned_j / dt_s, tuple(moved), tuple(passing))

    def _to_settle(self, way: Way, tub_c: tuple[float, float], forces: Floats) -> tuple[list[float], Floats]:
        return self._ways.passage(way, self._slugs, tub_c, forces)

    def _passed(self, g: int, way: Way) -> float:
        """A circuit has passed until it settles; the heat that it holds [J]."""
        waits = self._passing.pop(g)
        forces = waits.acted / waits.lasted_s
        lost, returned = self._to_settle(way, (waits.before_c, waits.after_c), forces)
        held_j = self._per_m3_k * sum(warmth.warmth(self._slugs[i]) for i in way.members)
        held_j += sum(float(forces[self._first_heat + i]) for i in way.settled.moving) * way.after_s
        for i, j in zip(way.settled.moving, lost, strict=True):
            self._lost_j[i] += j
        ends = {
            i: warmth.ends(self._slugs[i])[0] if self.reaches[i].capacity_j_k else math.inf
            for i in way.members
        }
        for i, before in way.upstream:
            body = self._body_of[i]
            if body is not None:
                self._coldest_c[body] = min(self._coldest_c[body], *(ends[k] for k in before))
        self._owed_j += float(returned[-1] - waits.returned_j[-1])
        return held_j - sum(lost) - float(returned[-1])

    def _catch_up(self, g: int) -> None:
        """Somebody asks before a circuit has settled: follow it up to now, and piece by piece from here."""
        way, waits = self._now[g], self._passing.pop(g)
        assert way is not None
        tub_c = waits.before_c, waits.after_c
        forces = waits.acted / waits.lasted_s
        done = self._ways.follow(way, self._slugs, waits.lasted_s, tub_c, forces, settled_too=True)
        self._take(done, None)
        self._owed_j += done.returned_j - float(waits.returned_j[waits.lasted_s])
        self._asked.add(g)

    def keep(self, trial: Trial, tub_c: tuple[float, float], end: int) -> None:
        """What was tried has come to pass."""
        for done in trial.moved:
            self._take(done, end)
            if (end - self._origin_s) % HOUR_S == 0:  # by the hour it shows when a trickle is how cold
                for body in {self._body_of[i] for i in done.contents}:
                    if body is not None and all(i in done.contents for i in self._members[body]):
                        self._close(body, end)
        for g, returned_j in trial.passing:
            waits = self._passing.get(g)
            if waits is None:
                waits = _Passing(*tub_c, 0, np.zeros(len(self._forces)), returned_j)
                self._passing[g] = waits
            waits.lasted_s += trial.dt_s
            waits.acted += self._forces * trial.dt_s
            waits.after_c = tub_c[1]

    def _take(self, done: Moved, end: int | None) -> None:
        for i, slugs in done.contents.items():
            self._slugs[i] = slugs if self._flows[i] > 0.0 else warmth.turned(slugs)
            if end is not None:
                self._since[i] = end
            body = self._body_of[i]
            if body is not None:
                self._coldest_c[body] = min(self._coldest_c[body], warmth.ends(slugs)[0])
        for i, j in done.lost_j.items():
            self._lost_j[i] += j

    def give(self, dt_s: int) -> None:
        """Heat has gone into reaches for so long."""
        self._given += self._forces * dt_s
