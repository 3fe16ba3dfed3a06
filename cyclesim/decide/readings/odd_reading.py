"""The one reading without which all others fit: it is read again before anything is looked for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from scipy.stats import chi2

from cyclesim.decide.readings.doubts import Floats

_LEAST_READINGS = 3
"""Of two that contradict each other nobody knows which is wrong."""
_LIKELY = 0.05
"""Readings fit where chance alone strays so far as often as this."""
_CLEARLY = 2.706
"""By so much less than without any other: the 90 % point of chi-squared with one degree."""


@dataclass(frozen=True, slots=True)
class Odd:
    """A reading that does not fit, and the cause that fits all others; "" where nothing needs to be wrong."""

    reading: str
    others_fit: str


class TriedCause(NamedTuple):
    """One thing that may explain the readings.

    *left*: what it leaves of each, a row for each amount; *covariance*: that of the readings under it.
    """

    name: str
    left: Floats
    covariance: Floats


def odd_one(readings: Sequence[str], tried: Sequence[TriedCause]) -> Odd | None:
    """The reading without which the others fit, where they do not fit with it and there is but one such."""
    count = len(readings)
    if count < _LEAST_READINGS or _best(tried, range(count))[0] <= chi2.isf(_LIKELY, count):
        return None
    without = [_best(tried, [k for k in range(count) if k != i]) for i in range(count)]
    order = sorted(range(count), key=lambda i: without[i][0])
    (least, name), (next_least, _) = without[order[0]], without[order[1]]
    if least > chi2.isf(_LIKELY, count - 1) or next_least - least < _CLEARLY:
        return None
    others = [k for k in range(count) if k != order[0]]
    as_drawn = _best([one for one in tried if not one.name], others)[0]
    return Odd(readings[order[0]], name if as_drawn > chi2.isf(_LIKELY, count - 1) else "")


def _best(tried: Sequence[TriedCause], at: Sequence[int]) -> tuple[float, str]:
    """The least sum of squares in standard deviations of these readings, and what leaves it."""
    rows, found = np.array(at), list[tuple[float, str]]()
    for name, left, covariance in tried:
        root = np.linalg.cholesky(covariance[np.ix_(rows, rows)])
        z = np.linalg.solve(root, left[:, rows].T)
        found.append((float(np.min(np.sum(z**2, axis=0))), name))
    return min(found, key=lambda one: one[0])
