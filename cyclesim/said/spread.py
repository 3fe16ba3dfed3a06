"""How stale water is spread over a run: the oldest water of each leg, week by week."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise

import numpy as np

from cyclesim.said.drawing.shapes import Band
from cyclesim.said.page import Column, Row, Table
from cyclesim.said.stretch import Stretch

_DAYS = 7


@dataclass(frozen=True, slots=True)
class Weeks:
    """One leg or last stretch: the oldest that its water gets in each week [h], and how that stands."""

    name: str
    oldest_h: tuple[float, ...]
    bands: tuple[Band, ...]


@dataclass(frozen=True, slots=True)
class WeekSpread:
    """The weeks of a run, by the day on which each begins; the last may be shorter."""

    begins: tuple[date, ...]
    limit_h: float
    legs: tuple[Weeks, ...]


def spread(stretch: Stretch) -> WeekSpread:
    """The oldest water of each curve of a stretch, by weeks from its first day."""
    first, last = stretch.days
    days = range(0, (last - first).days + 1, _DAYS)
    begins = tuple(first + timedelta(days=k) for k in days)
    edges = [float(stretch.clock[day, 0]) for day in begins] + [float(stretch.span[1])]
    legs = []
    for name, seconds, ages in stretch.oldest:
        at, age = np.array(seconds), np.array(ages)
        oldest = []
        for a, b in pairwise(edges):
            inside = age[(at >= a) & (at <= b)]
            ends = np.interp([a, b], at, age)
            oldest.append(float(max([*inside, *ends])))
        legs.append(Weeks(name, tuple(oldest), tuple(_band(h, stretch.limit_h) for h in oldest)))
    return WeekSpread(begins, stretch.limit_h, tuple(legs))


def _band(oldest_h: float, limit_h: float) -> Band:
    return "over" if oldest_h > limit_h else "older" if oldest_h > limit_h / 2 else "young"


def as_table(told: WeekSpread) -> Table:
    """The same in numbers, a row for each week."""
    columns = (
        Column("week from", kind="day"),
        *(Column(f"{leg.name}\n{{unit}}", unit="h") for leg in told.legs),
    )
    rows = (
        Row((day.isoformat(), *(leg.oldest_h[k] for leg in told.legs))) for k, day in enumerate(told.begins)
    )
    return Table(columns, tuple(rows), "Oldest water in each week")
