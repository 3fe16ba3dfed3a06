"""What is told of water age: intervals of each plug, put down as they close and told of many at a time."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from cyclesim.physics import parcels
from cyclesim.physics.parcels import Knot

FAR_S = 1e5
"""A standing time used to tell old water from new when a passage is worked out [s]."""
_TOLD_AT_ONCE = 500

Floats = NDArray[np.float64]
Ages = Mapping[int, tuple[float, float]]
"""The oldest and the mean age [s] of each plug."""


class Emitted(NamedTuple):
    """One interval of one plug: seconds from the run's start, flow [m3/s], ages [s]."""

    plug: int
    start_s: float
    end_s: float
    flow_m3_s: float
    oldest_peak_s: float
    oldest_integral_s2: float
    mean_integral_s2: float
    above_limit_s: float


class Passage(NamedTuple):
    """What one plug does until a pattern has cleared it, as a function of how long each group had stood.

    Integrals: their value where group k has stood k times FAR_S, and their slope by each group's time.
    peaks: of new water, then of each group's beside its time; -inf where none comes by.
    """

    knots_far: list[Knot]
    oldest0: float
    oldest_slopes: tuple[float, ...]
    mean0: float
    mean_slopes: tuple[float, ...]
    peaks: tuple[float, ...]


class Passages(NamedTuple):
    """A passage of every plug that moves, and what comes after it, for as long as the flows last."""

    of: Mapping[int, Passage]
    flows_m3_s: Sequence[float]
    steady: Mapping[int, tuple[float, float]]
    """The oldest and the mean age [s] then."""
    clear_s: float


class AgeBook:
    """Puts down intervals; *emit* is called with a plug in *recorded* and its next rows, each an `Emitted`.

    *limit_s* is the age [s] above which time is counted.
    """

    def __init__(self, recorded: Sequence[int], limit_s: float, emit: Callable[[int, Floats], None]) -> None:
        self._recorded = sorted(set(recorded))
        self._limit_s, self._emit = limit_s, emit
        self._stood: dict[tuple[tuple[int, ...], int], tuple[Ages, list[tuple[float, float, float]]]] = {}
        self._rows: dict[int, list[float]] = {i: [] for i in self._recorded}
        self._passed: dict[int, tuple[Passages, list[tuple[float, ...]]]] = {}
        self._count = 0

    def stood(self, plugs: tuple[int, ...], t0: float, t1: float, base_s: float, ages: Ages) -> None:
        """Plugs have stood from *t0* to *t1*; *ages*: the oldest and the mean [s] of each at *base_s*."""
        known = self._stood.get((plugs, id(ages)))
        if known is None:
            known = self._stood[plugs, id(ages)] = ages, []
        known[1].append((t0, t1, base_s))

    def passed(self, passages: Passages, t0: float, t1: float, bases: Sequence[float]) -> None:
        """Flows have lasted from *t0* to *t1* in water whose groups have stood since *bases* [s]."""
        known = self._passed.get(id(passages))
        if known is None:
            known = self._passed[id(passages)] = passages, []
        known[1].append((t0, t1, *bases))
        self._count_one()

    def _count_one(self) -> None:
        self._count += 1
        if self._count >= _TOLD_AT_ONCE:
            self.tell()

    def flowed(self, row: Emitted, knots: Sequence[Knot], steady_s: float, steady_oldest_s: float) -> None:
        """A row that was followed by parcels but for the last *steady_s*; *knots* of its oldest age."""
        above = parcels.above_s(knots, self._limit_s)
        above += steady_s if steady_oldest_s > self._limit_s else 0.0
        self._rows[row.plug] += row._replace(above_limit_s=above)
        self._count_one()

    def tell(self) -> None:
        """Tell of all that has been put down, plug by plug and in order of time."""
        of_passages = [self._passages(passages, rows) for passages, rows in self._passed.values()]
        of_stays = [self._stays(plugs, *put_down) for (plugs, _), put_down in self._stood.items()]
        for i in self._recorded:
            tables = [np.array(self._rows[i]).reshape(-1, len(Emitted._fields))]
            tables += [found[i] for found in (*of_stays, *of_passages) if i in found]
            table = np.concatenate(tables)
            if len(table):
                self._emit(i, table[np.argsort(table[:, 1], kind="stable")])
            self._rows[i].clear()
        self._passed.clear()
        self._stood.clear()
        self._count = 0

    def _stays(
        self, plugs: tuple[int, ...], ages: Ages, rows: Sequence[tuple[float, ...]]
    ) -> dict[int, Floats]:
        t0, t1, base = np.array(rows).T
        dt, found, nothing = t1 - t0, {}, np.zeros(len(rows))
        for i in plugs:
            oldest, mean = ages[i]
            oldest0, mean0 = t0 - (base - oldest), t0 - (base - mean)
            above = np.minimum(dt, np.maximum(0.0, oldest0 + dt - self._limit_s))
            integrals_s2 = (oldest0 + 0.5 * dt) * dt, (mean0 + 0.5 * dt) * dt
            columns = (nothing + i, t0, t1, nothing, oldest0 + dt, *integrals_s2, above)
            found[i] = np.stack(columns, axis=1)
        return found

    def _passages(self, passages: Passages, rows: Sequence[tuple[float, ...]]) -> dict[int, Floats]:
        table = np.array(rows)
        t0, t1 = table[:, 0], table[:, 1]
        stood = t0[:, None] - table[:, 2:]
        steady_s = t1 - t0 - passages.clear_s
        more = stood - FAR_S * np.arange(stood.shape[1])
        old = np.concatenate((np.zeros((len(t0), 1)), stood), axis=1)
        found = {}
        for i, x in passages.of.items():
            oldest, mean = passages.steady[i]
            peak = np.maximum(oldest, (old + x.peaks).max(axis=1))
            above = np.zeros(len(t0))
            for k in np.flatnonzero(peak > self._limit_s).tolist():
                knots = [(t, age + old[k][g] - FAR_S * g) for t, age in x.knots_far for g in (group_of(age),)]
                above[k] = parcels.above_s(knots, self._limit_s)
                above[k] += steady_s[k] if oldest > self._limit_s else 0.0
            oldest_s2 = x.oldest0 + more @ x.oldest_slopes + oldest * steady_s
            mean_s2 = x.mean0 + more @ x.mean_slopes + mean * steady_s
            same = np.ones(len(t0))
            columns = (i * same, t0, t1, passages.flows_m3_s[i] * same, peak, oldest_s2, mean_s2, above)
            found[i] = np.stack(columns, axis=1)
        return found


def group_of(age_s: float) -> int:
    """Whose water has this age where groups have stood FAR_S, twice that and so on: 0 for new water."""
    return int(age_s / FAR_S + 0.5)
