"""The coldest that a place has seen, as a spell of days laid over its weather at the worst date.

For these days the air is colder by one number of degrees, so that its coldest hour is the lowest that is
asked for; day and night swing as before. Soil follows by the heat equation, which is linear: what the spell
adds is worked out alone and added.

The worst date: of all stretches of so many days that are, on the mean, within CLOSE_K of the coldest one, the
one in which the water is kept coolest, since that has the least heat in it (a set-back, an absence).
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from cyclesim.physics.monthly import soil_under

HOUR_S = 3600
CLOSE_K = 1.0
"""Project choice: about what one cold week differs from the next in a described climate."""
_YEAR_H = 366 * 24

Floats = NDArray[np.float64]


class ColdDays(NamedTuple):
    """A spell: it begins at this local standard time, lasts so many hours, and is colder by so much [K]."""

    begins: datetime
    hours: int
    colder_by_k: float
    every_year: bool


def worst_hour(air_c: Sequence[float], kept_c: Sequence[float] | None, hours: int) -> int:
    """The hour of a year at which a spell of so many *hours* is worst: a midnight, where there is one.

    *air_c*: hourly air from a midnight on [degC]; *kept_c*: what the water is kept at [degC], if anything.
    """
    starts = np.arange(0, max(1, len(air_c) - hours + 1), 24)
    means = _means(air_c, starts, hours)
    close = means <= means.min() + CLOSE_K
    if kept_c is not None:
        kept = _means(kept_c, starts, hours)
        close &= kept <= kept[close].min() + 1e-9
    return int(starts[close][np.argmin(means[close])])


def _means(series: Sequence[float], starts: NDArray[np.int64], hours: int) -> Floats:
    sums = np.concatenate(([0.0], np.cumsum(series)))
    ends = np.minimum(starts + hours, len(series))
    means: Floats = (sums[ends] - sums[starts]) / (ends - starts)
    return means


def colder_by(spell: ColdDays, first: datetime, count: int, depth_m: float = 0.0) -> Floats:
    """How much colder [K] each hour is from *first* (local standard time) on: air, or soil at a depth [m]."""
    pulse = np.zeros(_YEAR_H)
    pulse[: spell.hours] = spell.colder_by_k
    if depth_m > 0.0:
        pulse = np.array(soil_under(pulse.tolist(), HOUR_S, depth_m))
    found = np.zeros(count)
    for begins in _beginnings(spell, first, first + timedelta(hours=count)):
        since = round((begins - first).total_seconds() / HOUR_S)
        a, b = max(0, since), min(count, since + _YEAR_H)
        if b > a:
            found[a:b] += pulse[a - since : b - since]
    return found


def _beginnings(spell: ColdDays, first: datetime, last: datetime) -> list[datetime]:
    """When it begins, of those that reach into the time or whose soil remembers them."""
    if not spell.every_year:
        return [spell.begins]
    leap_day = (spell.begins.month, spell.begins.day) == (2, 29)
    day = spell.begins.replace(day=28) if leap_day else spell.begins
    return [day.replace(year=year) for year in range(first.year - 1, last.year + 1)]
