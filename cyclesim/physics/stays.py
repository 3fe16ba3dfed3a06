"""Bodies of water outside the tub, and the stays that they are told of in: standing, or with water moving."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from cyclesim.physics.forces import Forces
from cyclesim.physics.heat import ZoneFilter, decay
from cyclesim.physics.sunlit import Sunlit
from cyclesim.physics.warmth import Floats, Reach
from cyclesim.physics.ways import Way

Ints = NDArray[np.int64]
OnStays = Callable[[int, Floats], None]
"""Told of closed stays of a body, a row for each, or one row alone; earlier ones may come after later."""

_TOLD_AT_ONCE = 500


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


class Stays:
    """The open stay of each body; *body_of*: the body of each reach, None where nobody asks."""

    def __init__(
        self,
        reaches: Sequence[Reach],
        body_of: Sequence[int | None],
        start_s: int,
        water_c: float,
        on_stays: OnStays,
    ) -> None:
        self.on_stays = on_stays
        self.body_of = tuple(body_of)
        count = 1 + max((b for b in body_of if b is not None), default=-1)
        self.members = [[i for i, b in enumerate(body_of) if b == body] for body in range(count)]
        self.capacity_j_k = [sum(reaches[i].capacity_j_k for i in mine) for mine in self.members]
        self.lost_j: Floats = np.zeros(len(reaches))
        """What each reach has lost within its body's open stay."""
        self.moves = bytearray(count)
        """1 for each body that water moves through."""
        self.since, self.start_c = [start_s] * count, [water_c] * count
        self.coldest_c, self.warmest_c = [water_c] * count, [water_c] * count

    def of(self, reaches: Iterable[int]) -> list[int]:
        """The bodies that some reaches belong to."""
        return list(dict.fromkeys(b for i in reaches if (b := self.body_of[i]) is not None))

    def move(self, i: int, *, moves: bool) -> None:
        """Water moves through the body of a reach, or is heated as it stands; or neither."""
        body = self.body_of[i]
        if body is not None:
            self.moves[body] = moves

    def colder(self, body: int | None, least_c: float) -> None:
        """Some water of a body has been as cold as that while it moved."""
        if body is not None and least_c < self.coldest_c[body]:
            self.coldest_c[body] = least_c

    def close(
        self, body: int, now: int, loss_j: float, held_j: float, coldest_c: float, warmest_c: float
    ) -> None:
        """Close the stay of a body at *now* [s], and begin the next.

        *loss_j*: what it has lost since its stay began [J]; *held_j*: what it holds above 0 degC [J];
        *coldest_c*, *warmest_c*: its ends now [degC].
        """
        temp_c, since = held_j / self.capacity_j_k[body], self.since[body]
        if now > since:
            moves, least = self.moves[body], self.coldest_c[body]
            if moves and coldest_c < least:
                least = coldest_c
            began_c, most = self.start_c[body], self.warmest_c[body]
            row = (body, since, now, moves, began_c, temp_c, loss_j, least, most)
            self.on_stays(body, np.array(row))
        self.since[body], self.start_c[body] = now, temp_c
        self.coldest_c[body], self.warmest_c[body] = coldest_c, warmest_c


class Moves(NamedTuple):
    """Bodies that some flows move."""

    bodies: list[int]
    meets: Floats
    """For each of *bodies*, 0 for each reach whose water it meets, an infinity for others.

    In the order of the reaches of the circuit that hold water.
    """


class _Passed(NamedTuple):
    """Passages on one way until water that was one slug in each reach had settled."""

    way: Way
    moves: Moves
    rows: list[int]
    rose_k: list[float]
    """By how much the tub rose meanwhile."""

    def lost_j(self, causes: Floats) -> Floats:
        """What each reach has lost in each [J], from *causes* with columns as in Passages."""
        passages = self.way.passages
        lost: Floats = causes @ passages.lost_j.T + np.array(self.rose_k)[:, None] * passages.rising_j
        return lost

    def met_c(self, causes: Floats) -> Floats:
        """The coldest water that each of the bodies which move has met in each."""
        n = self.moves.meets.shape[1]
        coldest = np.minimum(causes[:, :n], causes[:, n : 2 * n])
        met: Floats = (coldest[:, None, :] + self.moves.meets).min(axis=2)
        return met


class _Settled(NamedTuple):
    """Stays, or the ends of some, in which water on one way had settled."""

    way: Way
    rows: list[int]
    since_s: list[int]


class Straight:
    """Reaches of one circuit that hold water, for as long as the water of each is one slug: by vector.

    All fronts, and then all backs, in the order of *held*. *filters*: what the zone of each reach does to
    water that stands there, None where it loses nothing; and that in the *sun*, while all of it stands. Stays
    that close together are told of many at a time, and only then is worked out what was lost: until then a
    row of each table tells of one of them.
    """

    def __init__(
        self,
        held: Sequence[int],
        reaches: Sequence[Reach],
        filters: tuple[Sequence[ZoneFilter | None], Sequence[ZoneFilter | None]],
        stays: Stays,
        forces: Forces,
        start_s: int,
        water_c: float,
        sun: Sunlit,
    ) -> None:
        self.held, self._reaches = held, reaches
        self._places = {i: k for k, i in enumerate(held)}
        half_j_k = [0.5 * reaches[i].capacity_j_k for i in held]
        self.half_j_k: Floats = np.array(half_j_k + half_j_k)
        self._beside = [_filters_of(held, those) for those in filters]
        self.sun, self.is_lit = sun, sun.shines
        """The sun, and whether it warms what stands as it comes, since all of it stands."""
        self._which, self._zones = self._beside[self.is_lit]
        owners = [stays.body_of[i] for i in held]
        self.bodies = stays.of(held)
        of_bodies = [k for body in self.bodies for k, b in enumerate(owners) if b == body]
        self._of_bodies: Ints = np.array(of_bodies, dtype=np.int64)
        """Places of what belongs to a body, body by body."""
        starts = [k for k, i in enumerate(of_bodies) if not k or owners[i] != owners[of_bodies[k - 1]]]
        self._starts: Ints = np.array(starts, dtype=np.int64)
        self._stays, self._forces = stays, forces
        self.is_straight = True
        """Whether the water is told here; otherwise in slugs."""
        self._heats_w: list[tuple[int, float]] = []
        """Heat into what stands [W], by its place in *held*."""
        both, columns = 2 * len(held), len(forces.now)
        self._ends_c: Floats = np.empty((_TOLD_AT_ONCE + 1, both))
        """As the first stay began, and as each ended."""
        self._ends_c[0] = water_c
        self.ends_c: Floats = self._ends_c[0]
        """Temperatures [degC] when it was touched last: to be read only."""
        self.touched_s = float(start_s)
        self._causes: Floats = np.empty((_TOLD_AT_ONCE, both + columns))
        self._acted: Floats = np.empty((_TOLD_AT_ONCE, columns))
        self._closed_s: list[int] = []
        self._moves: list[bytes] = []
        self._given_j: list[tuple[int, int, float]] = []
        """Heat that what stands got in a stay [J]: its row, and the place in *held*."""
        self._passed: dict[int, _Passed] = {}
        self._settled: dict[int, _Settled] = {}
        self._elsewhere: list[int] = []
        """Rows of times in which the water was in slugs, and its stays were told one by one."""
        self._first = self._open_stays()
        """What the first row began with."""

    def _open_stays(self) -> list[list[float]]:
        """When each body's open stay began, how warm that was, its coldest and its warmest end [degC]."""
        stays = self._stays
        columns = (stays.since, stays.start_c, stays.coldest_c, stays.warmest_c)
        return [[column[body] for body in self.bodies] for column in columns]

    def begin(self, ends_c: Sequence[float], now: int) -> None:
        """The water is told here from now on."""
        row = len(self._closed_s)
        if row == _TOLD_AT_ONCE - 1:
            self.tell()
            row = 0
        if row:
            self._elsewhere.append(row)
            self._closed_s.append(now)
            self._moves.append(bytes(self._stays.moves))
            row += 1
        else:
            self._first = self._open_stays()
        self._ends_c[row] = ends_c
        self.is_straight, self.ends_c, self.touched_s = True, self._ends_c[row], float(now)

    def _maps(self, at_s: float) -> list[tuple[float, float]]:
        """What standing until then does to the water beside each zone, as `ZoneFilter.stood` has it."""
        return [(1.0, 0.0) if one is None else one.stood(self.touched_s, at_s) for one in self._zones]

    def stood(self, now: float) -> Floats:
        """The water at *now* [s] if it has stood since it was touched last [degC]."""
        maps = np.array(self._maps(now))[self._which]
        stood: Floats = self.ends_c * maps[:, 0] + maps[:, 1]
        for k, heat_w in self._heats_w:
            risen_k = self._risen_k(k, heat_w, now)
            stood[k] += risen_k
            stood[k + len(self.held)] += risen_k
        return stood

    def heat(self, heats_w: Mapping[int, float], *, all_stands: bool) -> None:
        """From when it was touched last these reaches, whose water stands, get so much heat [W].

        *all_stands*: no water of the circuit moves from then on.
        """
        self._heats_w = [(self._places[i], heat_w) for i, heat_w in heats_w.items()]
        if self.sun.shines:
            self.is_lit = all_stands
            self._which, self._zones = self._beside[all_stands]

    def rest(self, now: int) -> None:
        """Close the stays of all bodies, whose water has stood: one for each time of steady sun."""
        if not self.is_lit:
            self.close(self.stood(now), now, None)
            return
        times = self.sun.steady(self.touched_s, now)
        maps = np.array([self._maps(at) for at, _ in times])[:, self._which]
        course: Floats = self.ends_c * maps[:, :, 0] + maps[:, :, 1]
        for k, heat_w in self._heats_w:
            course[:, [k, k + len(self.held)]] += [[self._risen_k(k, heat_w, at)] for at, _ in times]
        for ends_c, (at, given_w) in zip(course, times, strict=True):
            for i, sun_w in given_w.items():
                self._stays.move(i, moves=sun_w > 0.0)
                if sun_w:
                    given_j = sun_w * (at - self.touched_s)
                    self._given_j.append((len(self._closed_s), self._places[i], given_j))
            self.close(ends_c, at, None)

    def _risen_k(self, k: int, heat_w: float, at_s: float) -> float:
        """By how much heat into water that stands has warmed it by then."""
        reach = self._reaches[self.held[k]]
        return heat_w / reach.capacity_j_k * decay(reach.rate_1_s, at_s - self.touched_s)[1]

    def passed(self, way: Way, moves: Moves, causes: Floats, rose_k: float) -> None:
        """The water has passed within the open stay, and has settled; the tub rose by *rose_k* meanwhile."""
        row = len(self._closed_s)
        known = self._passed.get(id(way))
        if known is None:
            known = self._passed[id(way)] = _Passed(way, moves, [], [])
        known.rows.append(row)
        known.rose_k.append(rose_k)
        self._causes[row] = causes

    def close(self, ends_c: Floats, now: int, settled: tuple[Way, int, Floats] | None) -> None:
        """Close the stays of all bodies, with their water at *ends_c*.

        *settled*: on which way it had settled, since when, and what has acted from then on.
        """
        row = len(self._closed_s)
        for k, heat_w in self._heats_w:
            self._given_j.append((row, k, heat_w * (now - self.touched_s)))
        if settled is not None:
            way, since_s, self._acted[row] = settled
            known = self._settled.get(id(way))
            if known is None:
                known = self._settled[id(way)] = _Settled(way, [], [])
            known.rows.append(row)
            known.since_s.append(since_s)
        self._closed_s.append(now)
        self._moves.append(bytes(self._stays.moves))
        self._ends_c[row + 1] = ends_c
        self.ends_c, self.touched_s = self._ends_c[row + 1], float(now)
        if row + 1 == _TOLD_AT_ONCE:
            self.tell()

    def part(self) -> None:
        """From now on these bodies are closed each on its own."""
        row, last = len(self._closed_s), None
        causes = self._causes[row : row + 1].copy()
        for of_way in self._passed.values():
            if of_way.rows and of_way.rows[-1] == row:  # within the stay that is open
                last = of_way._replace(rose_k=[of_way.rose_k.pop()])
                of_way.rows.pop()
        self._hand_over()
        self.is_straight = False
        if last is not None:
            self._stays.lost_j[list(self.held)] += last.lost_j(causes)[0]
            for body, least_c in zip(last.moves.bodies, last.met_c(causes)[0].tolist(), strict=True):
                self._stays.colder(body, least_c)

    def _of_each(self, fold: np.ufunc, values: Floats) -> Floats:
        """What the values of each body's reaches come to: a column for each body."""
        folded: Floats = fold.reduceat(values[..., self._of_bodies], self._starts, axis=-1)
        return folded

    def _means_and_ends(self, temps_c: Floats) -> tuple[Floats, Floats, Floats]:
        """Each body's mean, and its coldest and its warmest end [degC], in columns."""
        n = len(self.held)
        fronts, backs = temps_c[..., :n], temps_c[..., n:]
        mean_c = self._of_each(np.add, self.half_j_k[:n] * (fronts + backs))
        mean_c /= [self._stays.capacity_j_k[body] for body in self.bodies]
        coldest = self._of_each(np.minimum, np.minimum(fronts, backs))
        return mean_c, coldest, self._of_each(np.maximum, np.maximum(fronts, backs))

    def _hand_over(self) -> None:
        """The open stays of all bodies are as the last that was closed here has left them."""
        if not (self._closed_s and self.bodies):
            return
        stays, ends = self._stays, [column.tolist() for column in self._means_and_ends(self.ends_c)]
        for body, mean_c, coldest_c, warmest_c in zip(self.bodies, *ends, strict=True):
            stays.since[body], stays.start_c[body] = self._closed_s[-1], mean_c
            stays.coldest_c[body], stays.warmest_c[body] = coldest_c, warmest_c

    def tell(self) -> None:
        """Tell of the stays that have been closed: not in the order of those that were told one by one."""
        stays, bodies, total = self._stays, self.bodies, len(self._closed_s)
        if total and bodies:
            columns: Floats = np.empty((len(Stay._fields), total, len(bodies)))
            numbers, since, ends_s, moved, began_c, ended_c, lost_j, coldest_c, warmest_c = columns
            moves = np.frombuffer(b"".join(self._moves), dtype=bool).reshape(total, -1)[:, bodies]
            numbers[:], ends_s[:], moved[:] = bodies, np.array(self._closed_s, dtype=float)[:, None], moves
            ended_c[:], coldest, warmest = self._means_and_ends(self._ends_c[1 : total + 1])
            ended = (ends_s, ended_c, coldest, warmest)
            begun = (since, began_c, coldest_c, warmest_c)
            for column, at_first, before in zip(begun, self._first, ended, strict=True):
                column[0], column[1:] = at_first, before[:-1]
            lost_j[:] = self._of_each(np.add, self._lost_j(total))
            np.minimum(coldest_c, self._met_c(total), out=coldest_c)
            np.minimum(coldest_c, coldest, out=coldest_c, where=moves)
            lasted = ends_s > since
            lasted[self._elsewhere] = False
            for k, body in enumerate(bodies):
                stays.on_stays(body, columns[:, lasted[:, k], k].T)
        if self.is_straight:
            self._hand_over()
        self._first, self._ends_c[0] = self._open_stays(), self.ends_c
        self.ends_c = self._ends_c[0]
        for records in (
            self._closed_s,
            self._moves,
            self._given_j,
            self._passed,
            self._settled,
            self._elsewhere,
        ):
            records.clear()

    def _lost_j(self, total: int) -> Floats:
        """What each reach has lost in each stay [J]."""
        n, forces = len(self.held), self._forces
        cooled_k = self._ends_c[:total] - self._ends_c[1 : total + 1]
        more_j = np.zeros((total, n))
        for way, rows, since_s in self._settled.values():
            cooled_k[rows] *= way.straight.still
            acted, now_s = self._acted[rows], [self._closed_s[k] for k in rows]
            zones_k_s = forces.zones_k_s([*since_s, *now_s])
            acted[:, 1 : forces.first_heat] = zones_k_s[len(rows) :] - zones_k_s[: len(rows)]
            more_j[rows] += acted @ way.straight.lost_w.T
        for passed in self._passed.values():
            more_j[passed.rows] += passed.lost_j(self._causes[passed.rows])
        for row, k, given_j in self._given_j:
            more_j[row, k] += given_j
        fell_j = self.half_j_k * cooled_k
        lost_j: Floats = fell_j[:, :n] + fell_j[:, n:] + more_j
        return lost_j

    def _met_c(self, total: int) -> Floats:
        """The coldest water that each body has met in passages within each stay; infinite without."""
        met_c = np.full((total, len(self.bodies)), math.inf)
        for passed in self._passed.values():
            columns = [self.bodies.index(body) for body in passed.moves.bodies]
            met_c[np.ix_(passed.rows, columns)] = passed.met_c(self._causes[passed.rows])
        return met_c


def _filters_of(
    held: Sequence[int], filters: Sequence[ZoneFilter | None]
) -> tuple[Ints, list[ZoneFilter | None]]:
    """What zones do to the water of some reaches, each kind once; and which for fronts, then for backs."""
    kinds = list(dict.fromkeys(filters[i] for i in held))
    which = [kinds.index(filters[i]) for i in held]
    return np.array(which + which, dtype=np.int64), kinds
