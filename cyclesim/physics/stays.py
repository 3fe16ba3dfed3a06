"""Bodies of water outside the tub, and the stays that they are told of in: standing, or with water moving."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from cyclesim.physics.heat import ZoneFilter
from cyclesim.physics.warmth import Floats, Reach

Ints = NDArray[np.int64]


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
        on_stay: Callable[[Stay], None],
    ) -> None:
        self._on_stay = on_stay
        self.body_of = tuple(body_of)
        count = 1 + max((b for b in body_of if b is not None), default=-1)
        self.members = [[i for i, b in enumerate(body_of) if b == body] for body in range(count)]
        self.capacity_j_k = [sum(reaches[i].capacity_j_k for i in mine) for mine in self.members]
        self.lost_j: Floats = np.zeros(len(reaches))
        """What each reach has lost within its body's open stay."""
        self.moves = [False] * count
        self._since, self._start_c = [start_s] * count, [water_c] * count
        self._coldest_c, self._warmest_c = [water_c] * count, [water_c] * count

    def of(self, reaches: Iterable[int]) -> list[int]:
        """The bodies that some reaches belong to."""
        return list(dict.fromkeys(b for i in reaches if (b := self.body_of[i]) is not None))

    def colder(self, body: int | None, least_c: float) -> None:
        """Some water of a body has been as cold as that while it moved."""
        if body is not None and least_c < self._coldest_c[body]:
            self._coldest_c[body] = least_c

    def close(
        self, body: int, now: int, loss_j: float, held_j: float, coldest_c: float, warmest_c: float
    ) -> None:
        """Close the stay of a body at *now* [s], and begin the next.

        *loss_j*: what it has lost since its stay began [J]; *held_j*: what it holds above 0 degC [J];
        *coldest_c*, *warmest_c*: its ends now [degC].
        """
        temp_c, since = held_j / self.capacity_j_k[body], self._since[body]
        if now > since:
            moves, least = self.moves[body], self._coldest_c[body]
            if moves and coldest_c < least:
                least = coldest_c
            began_c, most = self._start_c[body], self._warmest_c[body]
            row = (body, since, now, moves, began_c, temp_c, loss_j, least, most)
            self._on_stay(tuple.__new__(Stay, row))  # half the time of Stay(...), and there are many
        self._since[body], self._start_c[body] = now, temp_c
        self._coldest_c[body], self._warmest_c[body] = coldest_c, warmest_c


class Straight:
    """Reaches of one circuit that hold water, for as long as the water of each is one slug: by vector.

    In *both*, an index into fronts and then backs of all reaches, those of one body follow one another.
    *filters*: what the zone of each reach does to water that stands there, None where it loses nothing.
    """

    def __init__(
        self,
        circuit: Sequence[int],
        reaches: Sequence[Reach],
        filters: Sequence[ZoneFilter | None],
        body_of: Sequence[int | None],
    ) -> None:
        held = [i for i in circuit if reaches[i].capacity_j_k]
        held.sort(key=lambda i: (body_of[i] is None, body_of[i] or 0))
        self.places: Ints = np.array(held, dtype=np.int64)
        self.both: Ints = np.concatenate((self.places, self.places + len(reaches)))
        half_j_k = [0.5 * reaches[i].capacity_j_k for i in held]
        self.half_j_k: Floats = np.array(half_j_k + half_j_k)
        self._kinds = list(dict.fromkeys(filters[i] for i in held))
        which = [self._kinds.index(filters[i]) for i in held]
        self._which: Ints = np.array(which + which, dtype=np.int64)
        owners = [body_of[i] for i in held]
        self.bodies = [b for b in dict.fromkeys(owners) if b is not None]
        starts = [k for k, b in enumerate(owners) if not k or b != owners[k - 1]]
        self._starts: Ints = np.array(starts, dtype=np.int64)

    def stood(self, temps_c: Floats, since: float, now: float) -> Floats:
        """Water at *temps_c* in the order of `both` after it has stood from *since* to *now* [s]."""
        kept, gained = list[float](), list[float]()
        for kind in self._kinds:
            a, b = kind.stood(since, now) if kind else (1.0, 0.0)
            kept.append(a)
            gained.append(b)
        stood: Floats = temps_c * np.array(kept)[self._which] + np.array(gained)[self._which]
        return stood

    def close(self, stays: Stays, temps_c: Floats, now: int) -> None:
        """Close the stays of all bodies, with their water at *temps_c* in the order of `both`."""
        n, starts = len(self.places), self._starts
        if not n:
            return
        fronts, backs = temps_c[:n], temps_c[n:]
        held_j = np.add.reduceat(self.half_j_k[:n] * (fronts + backs), starts).tolist()
        lost_j = np.add.reduceat(stays.lost_j[self.places], starts).tolist()
        coldest = np.minimum.reduceat(np.minimum(fronts, backs), starts).tolist()
        warmest = np.maximum.reduceat(np.maximum(fronts, backs), starts).tolist()
        stays.lost_j[self.places] = 0.0
        for k, body in enumerate(self.bodies):  # what belongs to none comes last
            stays.close(body, now, lost_j[k], held_j[k], coldest[k], warmest[k])
