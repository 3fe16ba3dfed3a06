"""What the sun puts, hour by hour, into reaches of a circuit for as long as all of it stands.

Water that stands in the sun goes toward the temperature at which it would lose as much: its zone beside it,
warmer by what the sun gives per degree of loss. So its course is that of water beside such a zone, and is
known for as long as it stands.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Collection, Mapping, Sequence
from typing import NamedTuple

from cyclesim.physics.heat import HOUR_S
from cyclesim.physics.warmth import Reach


def balance_c(reach: Reach, zone_c: Sequence[float], sun_w: Sequence[float]) -> list[float]:
    """Hourly temperatures [degC] at which a reach would stay in the sun; it must lose some heat."""
    lit = [c + w / reach.ua_w_k for c, w in zip(zone_c, sun_w, strict=False)]
    return [*lit, *zone_c[len(lit) :]]


class Steady(NamedTuple):
    """A time of steady sun."""

    until_s: int
    given_w: Mapping[int, float]
    """What each reach in the sun gets [W]."""


class Sunlit:
    """Those of *reaches* of one circuit that get *suns_w*, hourly from *origin_s* on [W]."""

    def __init__(
        self, reaches: Collection[int], suns_w: Mapping[int, Sequence[float]], origin_s: int
    ) -> None:
        mine = [i for i in reaches if i in suns_w]
        self._changes_s: list[int] = []
        self._given_w: list[Mapping[int, float]] = []
        """What each gets until each change, and at last."""
        before = none = (0.0,) * len(mine)  # before the first hour, and after the last
        for hour, watts in enumerate([*zip(*(suns_w[i] for i in mine), strict=True), none]):
            if watts != before:
                self._changes_s.append(origin_s + int(HOUR_S) * hour)
                self._given_w.append(dict(zip(mine, before, strict=True)))
                before = watts
        self._given_w.append(dict(zip(mine, before, strict=True)))
        self.shines = bool(mine)

    def steady(self, since_s: float, now: int) -> list[Steady]:
        """The times of steady sun from *since_s* until *now*."""
        first = bisect_right(self._changes_s, since_s)
        ends_s = self._changes_s[first : bisect_left(self._changes_s, now)]
        return [
            Steady(at, given_w) for at, given_w in zip([*ends_s, now], self._given_w[first:], strict=False)
        ]
