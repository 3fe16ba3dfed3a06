"""What acts on the water outside the tub, in one row: the tub, the zones [degC], heat into each reach [W].

Settled water and passages are linear in this row (`physics/settled.py`, `physics/ways.py`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np

from cyclesim.physics.heat import HOUR_S
from cyclesim.physics.warmth import Floats


class Mark(NamedTuple):
    """An instant from which, or up to which, is counted what has acted."""

    now: int
    tub_k_s: float
    heats_j: tuple[float, ...]
    """What each reach of `Forces.heated` has got by then."""


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
        """Its first place, the tub's, stays 0. Replaced, and never written into, when something changes."""
        self.version = 0
        """How often it has changed."""
        self.heated: frozenset[int] = frozenset()
        """The reaches that have got heat until now."""
        self._heats: dict[int, tuple[float, float]] = {}
        """Of each of these, as they came: heat into it [W], what it had got by `_since_s` [J]."""
        self._since_s = start_s
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
        known, first = self._heats, self.first_heat
        changed = [(i, w) for i, w in heats_w.items() if w != (known[i][0] if i in known else 0.0)]
        if not changed:
            return
        self._book(now)
        self.version += 1
        self.now = self.now.copy()
        for i, heat_w in changed:
            self.now[first + i] = heat_w
            known[i] = heat_w, known[i][1] if i in known else 0.0
        if len(known) > len(self.heated):
            self.heated = frozenset(known)

    def _book(self, now: int) -> None:
        dt_s, self._since_s = now - self._since_s, now
        if dt_s:
            for i, (heat_w, given_j) in self._heats.items():
                self._heats[i] = heat_w, given_j + heat_w * dt_s

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
        return Mark(now, tub_k_s, tuple([given_j for _, given_j in self._heats.values()]))

    def acted(self, begins: Sequence[Mark], ends: Sequence[Mark]) -> Floats:
        """Integrals of the row over time, from each mark to that of the same place."""
        return self._integrals(ends) - self._integrals(begins)

    def _integrals(self, marks: Sequence[Mark]) -> Floats:
        rows = np.zeros((len(marks), len(self.now)))
        rows[:, 0] = [mark.tub_k_s for mark in marks]
        since = np.array([mark.now - self._origin_s for mark in marks])
        hour = since // int(HOUR_S)
        beside = self._hourly[np.minimum(hour, self._last)]
        rows[:, 1 : self.first_heat] = self._sums[hour] + (since - hour * HOUR_S)[:, None] * beside
        for k, i in enumerate(self._heats):  # those that came later had got none before
            rows[:, self.first_heat + i] = [
                mark.heats_j[k] if k < len(mark.heats_j) else 0.0 for mark in marks
            ]
        return rows
