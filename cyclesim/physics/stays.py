"""Bodies of water outside the tub, and the stays that they are told of in: standing, or with water moving."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from cyclesim.physics.forces import Forces, Mark
from cyclesim.physics.heat import ZoneFilter, ZoneFilters
from cyclesim.physics.warmth import Floats, Reach
from cyclesim.physics.ways import Way

Ints = NDArray[np.int64]
OnStays = Callable[[int, Floats], None]
"""Told of a body's next closed stays: a row for each, or one row alone."""

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
        self.moves = [False] * count
        self.since, self.start_c = [start_s] * count, [water_c] * count
        self.coldest_c, self.warmest_c = [water_c] * count, [water_c] * count

    def of(self, reaches: Iterable[int]) -> list[int]:
        """The bodies that some reaches belong to."""
        return list(dict.fromkeys(b for i in reaches if (b := self.body_of[i]) is not None))

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


class Passed(NamedTuple):
    """How water that was one slug in each reach passed until it had settled."""

    way: Way
    moves: Moves
    causes: Floats
    """Its temperatures as it began, and the forces: columns as in Passages."""
    rose_k: float
    """By how much the tub rose meanwhile."""


class _Closed(NamedTuple):
    """Stays of all bodies of a circuit that have been closed together, and are not told of yet."""

    now: int
    before_c: Floats
    """Temperatures as the stays began."""
    after_c: Floats
    moves: list[bool]
    passed: Passed | None
    settled: tuple[Way, Mark, Mark] | None
    """On which way it had settled, and from when to when."""


class Straight:
    """Reaches of one circuit that hold water, for as long as the water of each is one slug: by vector.

    All fronts, and then all backs, in the order of *held*. *filters*: what the zone of each reach does to
    water that stands there, None where it loses nothing. Stays that close together are told of many at a
    time, and only then is worked out what was lost.
    """

    def __init__(
        self,
        held: Sequence[int],
        reaches: Sequence[Reach],
        filters: Sequence[ZoneFilter | None],
        stays: Stays,
        forces: Forces,
    ) -> None:
        self.held = held
        half_j_k = [0.5 * reaches[i].capacity_j_k for i in held]
        self.half_j_k: Floats = np.array(half_j_k + half_j_k)
        kinds = list(dict.fromkeys(filters[i] for i in held))
        which = [kinds.index(filters[i]) for i in held]
        self._which: Ints = np.array(which + which, dtype=np.int64)
        self._zones = ZoneFilters(kinds)
        owners = [stays.body_of[i] for i in held]
        self.bodies = list(dict.fromkeys(b for b in owners if b is not None))
        of_bodies = [k for body in self.bodies for k, b in enumerate(owners) if b == body]
        self._of_bodies: Ints = np.array(of_bodies, dtype=np.int64)
        """Places of what belongs to a body, body by body."""
        starts = [k for k, i in enumerate(of_bodies) if not k or owners[i] != owners[of_bodies[k - 1]]]
        self._starts: Ints = np.array(starts, dtype=np.int64)
        self._stays, self._forces = stays, forces
        self._closed: list[_Closed] = []
        self.passed: Passed | None = None
        """How water has passed within the open stay."""

    def stood(self, temps_c: Floats, since: float, now: float) -> Floats:
        """Water at *temps_c* after it has stood from *since* to *now* [s]."""
        kept, gained = self._zones.stood(since, now)
        stood: Floats = temps_c * kept[self._which] + gained[self._which]
        return stood

    def close(
        self, before_c: Floats, after_c: Floats, now: int, settled: tuple[Way, Mark, Mark] | None
    ) -> None:
        """Close the stays of all bodies, whose water has gone from *before_c* to *after_c*."""
        moves = self._stays.moves.copy()
        self._closed.append(_Closed(now, before_c, after_c, moves, self.passed, settled))
        self.passed = None
        if len(self._closed) >= _TOLD_AT_ONCE:
            self.tell()

    def part(self) -> None:
        """From now on these bodies are closed each on its own."""
        self.tell()
        passed, self.passed = self.passed, None
        if passed is not None:
            way, moves = passed.way, passed.moves
            self._stays.lost_j[list(self.held)] += _lost_j(way, [passed])[0]
            for body, least_c in zip(moves.bodies, _met_c(moves, [passed])[0].tolist(), strict=True):
                self._stays.colder(body, least_c)

    def tell(self) -> None:
        """Tell of the stays that have been closed."""
        closed, stays, bodies = self._closed, self._stays, self.bodies
        if closed and bodies:
            count, n = len(bodies), len(self.held)
            now_s = np.array([x.now for x in closed], dtype=float)
            temps_c = np.array([x.after_c for x in closed])
            fronts, backs = temps_c[:, :n], temps_c[:, n:]
            lost_j, met_c = self._lost_and_met(closed)
            moves = np.array([x.moves for x in closed])[:, bodies]

            def of_each(fold: np.ufunc, values: Floats) -> Floats:
                folded: Floats = fold.reduceat(values[:, self._of_bodies], self._starts, axis=1)
                return folded

            held_j = of_each(np.add, self.half_j_k[:n] * (fronts + backs))
            mean_c = held_j / [stays.capacity_j_k[b] for b in bodies]
            coldest = of_each(np.minimum, np.minimum(fronts, backs))
            warmest = of_each(np.maximum, np.maximum(fronts, backs))
            since = _before(stays.since, bodies, np.repeat(now_s, count).reshape(-1, count))
            least = np.minimum(_before(stays.coldest_c, bodies, coldest), met_c)
            columns = (
                np.tile(np.array(bodies, dtype=float), (len(closed), 1)),
                since,
                np.repeat(now_s, count).reshape(-1, count),
                moves,
                _before(stays.start_c, bodies, mean_c),
                mean_c,
                of_each(np.add, lost_j),
                np.where(moves, np.minimum(least, coldest), least),
                _before(stays.warmest_c, bodies, warmest),
            )
            table, lasted = np.stack(columns, axis=2), now_s[:, None] > since
            for k, body in enumerate(bodies):
                stays.on_stays(body, table[lasted[:, k], k])
                stays.since[body], stays.start_c[body] = closed[-1].now, float(mean_c[-1, k])
                stays.coldest_c[body], stays.warmest_c[body] = float(coldest[-1, k]), float(warmest[-1, k])
        closed.clear()

    def _lost_and_met(self, closed: Sequence[_Closed]) -> tuple[Floats, Floats]:
        """What each reach has lost [J]; the coldest that each body has met in passages, infinite without."""
        n = len(self.held)
        cooled_k = np.array([x.before_c for x in closed]) - np.array([x.after_c for x in closed])
        met_c = np.full((len(closed), len(self.bodies)), math.inf)
        settled, passed = dict[int, list[int]](), dict[int, list[int]]()
        for k, x in enumerate(closed):
            if x.settled is not None:
                settled.setdefault(id(x.settled[0]), []).append(k)
            if x.passed is not None:
                passed.setdefault(id(x.passed.way), []).append(k)
        more_j = np.zeros((len(closed), n))
        for rows in settled.values():
            here = [s for k in rows if (s := closed[k].settled)]
            way = here[0][0]
            cooled_k[rows] *= way.straight.still
            acted = self._forces.acted([begins for _, begins, _ in here], [ends for _, _, ends in here])
            more_j[rows] += acted @ way.straight.lost_w.T
        for rows in passed.values():
            these = [p for k in rows if (p := closed[k].passed)]
            more_j[rows] += _lost_j(these[0].way, these)
            columns = [self.bodies.index(body) for body in these[0].moves.bodies]
            met_c[np.ix_(rows, columns)] = _met_c(these[0].moves, these)
        fell_j = self.half_j_k * cooled_k
        return fell_j[:, :n] + fell_j[:, n:] + more_j, met_c


def _lost_j(way: Way, passed: Sequence[Passed]) -> Floats:
    """What each reach of a circuit has lost [J] in passages on one way: a row for each."""
    passages, rose_k = way.passages, np.array([x.rose_k for x in passed])
    lost: Floats = np.array([x.causes for x in passed]) @ passages.lost_j.T
    return lost + rose_k[:, None] * passages.rising_j


def _met_c(moves: Moves, passed: Sequence[Passed]) -> Floats:
    """The coldest water that each of these bodies has met in passages on one way: a row for each."""
    n = moves.meets.shape[1]
    ends_c = np.array([x.causes[: 2 * n] for x in passed])
    coldest = np.minimum(ends_c[:, :n], ends_c[:, n:])
    met: Floats = (coldest[:, None, :] + moves.meets).min(axis=2)
    return met


def _before(at_first: Sequence[float], bodies: Sequence[int], after: Floats) -> Floats:
    """What each body began a stay with: what it ended the one before with."""
    return np.concatenate(([[at_first[b] for b in bodies]], after[:-1]))
