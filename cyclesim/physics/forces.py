"""What acts on the water outside the tub, in one row.

The tub, the zones [degC], heat into each reach [W], and how fast the tub warms [K/s] as far as it is told.

Settled water and passages are linear in this row (`physics/settled.py`, `physics/ways.py`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np

from cyclesim.physics.heat import HOUR_S
from cyclesim.physics.warmth import Floats


class Mark(NamedTuple):
    """An instant from which is counted what has acted."""

    now: int
    tub_k_s: float
    given: Floats
    """The row's integral by then, but for the tub and the zones."""


class Forces:
    """The row at each instant, and its integrals; *zones* are hourly [degC] from *origin_s* on.

    *names*: the zones that are in the row, *reaches*: how many there are.
    """

    def __init__(
        self,
        names: Sequence[str],
        reaches: int,
        zones: Mapping[str, Sequence[float]],
        origin_s: int,
        start_s: int,
    ) -> None:
        self._origin_s = origin_s
        self.first_heat = 1 + len(names)
        self.now: Floats = np.zeros(self.first_heat + reaches + 1)
        """Its first place, the tub's, stays 0. Replaced, and never written into, when something changes."""
        self.version = 0
        """How often it has changed."""
        self.heated: frozenset[int] = frozenset()
        """The reaches that have got heat until now."""
        self._heats_w = [0.0] * reaches
        self._given: Floats = self.now
        self._given_until_s = start_s
        hours = len(next(iter(zones.values())))
        self._hourly: Floats = np.array([zones[name] for name in names]).reshape(len(names), hours).T.copy()
        sums = np.cumsum(self._hourly * HOUR_S, axis=0)
        self._sums: Floats = np.concatenate((np.zeros((1, len(names))), sums))
        self._last = len(self._hourly) - 1
        self.next_s = start_s
        """When the zones change next."""

    def look_out(self, hour: int) -> None:
        """Zones are as in this hour."""
        self.next_s = self._origin_s + int(HOUR_S) * (hour + 1)
        self.version += 1
        self.now = self.now.copy()
        self.now[1 : self.first_heat] = self._hourly[min(hour, self._last)]

    def heat(self, heats_w: Mapping[int, float], now: int) -> None:
        """From *now* on these reaches get so much heat [W]."""
        row, heats = self.now, self._heats_w
        for i, heat_w in heats_w.items():
            if heats[i] != heat_w:
                if row is self.now:
                    self._book(now)
                    row = row.copy()
                    self.version += 1
                heats[i] = row[self.first_heat + i] = heat_w
                if i not in self.heated:
                    self.heated |= {i}
        self.now = row

    @property
    def warms_k_s(self) -> float:
        """How fast the tub warms, as it was told last."""
        return float(self.now[-1])

    def warm(self, warms_k_s: float, now: int) -> None:
        """From *now* on the tub warms so fast."""
        if warms_k_s != self.now[-1]:
            self._book(now)
            self.now = self.now.copy()
            self.now[-1] = warms_k_s
            self.version += 1

    def _book(self, now: int) -> None:
        if now > self._given_until_s:
            self._given = self._given + self.now * float(now - self._given_until_s)  # not an int: slow
            self._given_until_s = now

    def beside(self, tub_c: float) -> Floats:
        """The row with the tub's temperature in its place."""
        row = self.now.copy()
        row[0] = tub_c
        return row

    def zones_at(self, at_s: float) -> Floats:
        """The zones' temperatures [degC] at an instant."""
        zones_c: Floats = self._hourly[min(int((at_s - self._origin_s) // HOUR_S), self._last)]
        return zones_c

    def mark(self, now: int, tub_k_s: float) -> Mark:
        """An instant; *tub_k_s*: the integral of the tub's temperature since the run began [K s]."""
        self._book(now)
        return Mark(now, tub_k_s, self._given)

    def acted(self, since: Mark, now: int, tub_k_s: float) -> Floats:
        """Integral of the row from a mark on, but for the zones; *tub_k_s* as for `mark`."""
        self._book(now)
        row = self._given - since.given
        row[0] = tub_k_s - since.tub_k_s
        return row

    def zones_k_s(self, at_s: Sequence[int]) -> Floats:
        """Integrals of the zones' temperatures [K s] up to these instants: a row for each."""
        since = np.array(at_s) - self._origin_s
        hour = since // int(HOUR_S)
        beside = self._hourly[np.minimum(hour, self._last)]
        integrals: Floats = self._sums[hour] + (since - hour * HOUR_S)[:, None] * beside
        return integrals
