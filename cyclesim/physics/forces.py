"""What acts on the water outside the tub, in one row: the tub, the zones [degC], heat into each reach [W].

Settled water and passages are linear in this row (`physics/settled.py`, `physics/ways.py`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from cyclesim.physics.heat import HOUR_S
from cyclesim.physics.warmth import Floats


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
        self.now: Floats = np.zeros(self.first_heat + reaches)
        """Its first place, the tub's, stays 0."""
        self.version = 0
        """How often it has changed."""
        self._given: Floats = np.zeros_like(self.now)
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
        self.now[1 : self.first_heat] = self._hourly[min(hour, self._last)]

    def heat(self, heats_w: Mapping[int, float], now: int) -> None:
        """From *now* on these reaches get so much heat [W]."""
        self._book(now)
        self.version += 1
        for i, heat_w in heats_w.items():
            self.now[self.first_heat + i] = heat_w

    def _book(self, now: int) -> None:
        if now > self._given_until_s:
            self._given += self.now * (now - self._given_until_s)
            self._given_until_s = now

    def heat_w(self, i: int) -> float:
        """Heat that goes into reach *i* [W]."""
        return float(self.now[self.first_heat + i])

    def beside(self, tub_c: float) -> Floats:
        """The row with the tub's temperature in its place."""
        row = self.now.copy()
        row[0] = tub_c
        return row

    def zones_at(self, at_s: float) -> Floats:
        """The zones' temperatures [degC] at an instant."""
        zones_c: Floats = self._hourly[min(int((at_s - self._origin_s) // HOUR_S), self._last)]
        return zones_c

    def integrals(self, now: int, tub_k_s: float) -> Floats:
        """Integrals over time up to *now*, from whenever; *tub_k_s*: the tub's [K s]."""
        self._book(now)
        row = self._given.copy()
        row[0] = tub_k_s
        since = now - self._origin_s
        hour = since // HOUR_S
        row[1 : self.first_heat] = self._sums[int(hour)] + (since - hour * HOUR_S) * self.zones_at(now)
        return row
