"""Bodies of water outside the tub, and the stays that they are told of in: standing, or with water moving."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from cyclesim.physics.heat import ZoneFilter, ZoneFilters
from cyclesim.physics.warmth import Floats, Reach

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
    """For each of *bodies*, 0 for each reach whose water it meets, an infinity for others."""


class _Closed(NamedTuple):
    """Stays of all bodies of a circuit that have been closed together, and are not told of yet."""

    now: int
    temps_c: Floats
    lost_j: Floats
    moves: list[bool]
    met: tuple[Floats, Moves] | None
    """The coldest end of each reach as a passage began, and whose water each body then met."""


class Straight:
    """Reaches of one circuit that hold water, for as long as the water of each is one slug: by vector.

    In *both*, an index into fronts and then backs of all reaches, those of one body follow one another.
    *filters*: what the zone of each reach does to water that stands there, None where it loses nothing.
    Stays that close together are told of many at a time.
    """

    def __init__(
        self,
        circuit: Sequence[int],
        reaches: Sequence[Reach],
        filters: Sequence[ZoneFilter | None],
        body_of: Sequence[int | None],
        stays: Stays,
    ) -> None:
        held = [i for i in circuit if reaches[i].capacity_j_k]
        held.sort(key=lambda i: (body_of[i] is None, body_of[i] or 0))
        self.places: Ints = np.array(held, dtype=np.int64)
        self.both: Ints = np.concatenate((self.places, self.places + len(reaches)))
        half_j_k = [0.5 * reaches[i].capacity_j_k for i in held]
        self.half_j_k: Floats = np.array(half_j_k + half_j_k)
        kinds = list(dict.fromkeys(filters[i] for i in held))
        which = [kinds.index(filters[i]) for i in held]
        self._which: Ints = np.array(which + which, dtype=np.int64)
        self._zones = ZoneFilters(kinds)
        owners = [body_of[i] for i in held]
        self.bodies = [b for b in dict.fromkeys(owners) if b is not None]
        starts = [k for k, b in enumerate(owners) if not k or b != owners[k - 1]]
        self._starts: Ints = np.array(starts, dtype=np.int64)
        self._stays = stays
        self._closed: list[_Closed] = []
        self._none: Floats = np.zeros(len(held))
        self._lost_j = self._none
        self.met: tuple[Floats, Moves] | None = None
        """As in _Closed, of the open stay."""

    def stood(self, temps_c: Floats, since: float, now: float) -> Floats:
        """Water at *temps_c* in the order of `both` after it has stood from *since* to *now* [s]."""
        kept, gained = self._zones.stood(since, now)
        stood: Floats = temps_c * kept[self._which] + gained[self._which]
        return stood

    def lose(self, moving: Ints, lost_j: Floats) -> None:
        """Reaches at these places have lost so much [J] within the open stays."""
        self._lost_j = self._none.copy()
        self._lost_j[moving] = lost_j

    def close(self, temps_c: Floats, lost_j: Floats, now: int) -> None:
        """Close the stays of all bodies, with their water at *temps_c* in the order of `both`.

        *lost_j*: what each reach has lost beside what it is known to.
        """
        moving = self._stays.moves
        moves = [moving[body] for body in self.bodies]
        self._closed.append(_Closed(now, temps_c, self._lost_j + lost_j, moves, self.met))
        self._lost_j, self.met = self._none, None
        if len(self._closed) >= _TOLD_AT_ONCE:
            self.tell()

    def part(self) -> None:
        """From now on these bodies are closed each on its own."""
        self.tell()
        self._stays.lost_j[self.places] += self._lost_j
        self._lost_j = self._none

    def tell(self) -> None:
        """Tell of the stays that have been closed."""
        closed, stays, bodies, starts = self._closed, self._stays, self.bodies, self._starts
        if closed and bodies:
            count, n = len(bodies), len(self.places)
            now_s = np.array([x.now for x in closed], dtype=float)
            temps_c, lost_j = np.array([x.temps_c for x in closed]), np.array([x.lost_j for x in closed])
            moves = np.array([x.moves for x in closed])
            fronts, backs = temps_c[:, :n], temps_c[:, n:]

            def of_each(fold: np.ufunc, values: Floats) -> Floats:
                folded: Floats = fold.reduceat(values, starts, axis=1)[:, :count]
                return folded  # what belongs to none comes last

            held_j = of_each(np.add, self.half_j_k[:n] * (fronts + backs))
            mean_c = held_j / [stays.capacity_j_k[b] for b in bodies]
            coldest = of_each(np.minimum, np.minimum(fronts, backs))
            warmest = of_each(np.maximum, np.maximum(fronts, backs))
            since = _before(stays.since, bodies, np.repeat(now_s, count).reshape(-1, count))
            least = np.minimum(_before(stays.coldest_c, bodies, coldest), self._met(closed))
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

    def _met(self, closed: Sequence[_Closed]) -> Floats:
        """The coldest water that each body has met in passages; infinite where there was none."""
        met_c = np.full((len(closed), len(self.bodies)), math.inf)
        ways: dict[int, list[int]] = {}
        for k, x in enumerate(closed):
            if x.met is not None:
                ways.setdefault(id(x.met[1]), []).append(k)
        for rows in ways.values():
            coldest = np.array([met[0] for k in rows if (met := closed[k].met)])
            first = closed[rows[0]].met
            assert first is not None
            columns = [self.bodies.index(body) for body in first[1].bodies]
            met_c[np.ix_(rows, columns)] = (coldest[:, None, :] + first[1].meets).min(axis=2)
        return met_c


def _before(at_first: Sequence[float], bodies: Sequence[int], after: Floats) -> Floats:
    """What each body began a stay with: what it ended the one before with."""
    return np.concatenate(([[at_first[b] for b in bodies]], after[:-1]))
