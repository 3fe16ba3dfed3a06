"""Readings beside predictions as rows to draw: each on a scale of what both may be off by."""

from __future__ import annotations

import math
from dataclasses import dataclass

from cyclesim.decide.readings.measured import Compared, Measured
from cyclesim.said.measured import both, verdict
from cyclesim.said.words import day

FURTHEST = 3.0
"""What lies further off than this is drawn at the edge, as an arrow."""


@dataclass(frozen=True, slots=True)
class ReadingDrawn:
    """One reading. The prediction stands at 0, and 1 is what both together may be off by."""

    name: str
    measured: str
    predicted: str
    """Both with their tolerance and unit."""
    at: float
    """Where the reading is, at most FURTHEST off."""
    measured_half: float
    """What the reading may be off by to either side."""
    predicted_half: float
    beyond: bool
    """Whether it lies further off than is drawn."""
    verdict: str
    """agrees, differs or cannot be."""


@dataclass(frozen=True, slots=True)
class ReadingsDrawn:
    """What there is to see of readings, worst first."""

    title: str
    note: str
    rows: tuple[ReadingDrawn, ...]


def readings_drawn(found: Measured) -> ReadingsDrawn:
    """The readings of one day, in the order of the report."""
    about = f"{found.about}; " if found.about else ""
    note = f"{about}measured {day(found.date)}, worst first"
    return ReadingsDrawn(found.title, note, tuple(_drawn(row) for row in found.compared))


def _drawn(row: Compared) -> ReadingDrawn:
    scale = math.hypot(row.read_off, row.predicted_off)
    off = (row.read - row.predicted) / scale
    measured, predicted = both(row)
    at = max(-FURTHEST, min(FURTHEST, off))
    known = math.isfinite(row.predicted)
    return ReadingDrawn(
        name=row.reading,
        measured=measured,
        predicted=predicted,
        at=at,
        measured_half=row.read_off / scale,
        predicted_half=row.predicted_off / scale if known else 0.0,
        beyond=at != off,
        verdict=verdict(row),
    )
