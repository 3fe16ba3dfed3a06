"""What readings from the finished plant say about it, in the order in which one asks."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from cyclesim.decide.readings.doubts import TO_ENDS, Drawn, drawn
from cyclesim.decide.readings.impossible import contradiction
from cyclesim.decide.readings.predicted import NEVER_S
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.blocks.readings import Arrival, Reading, Readings
from cyclesim.simulation.assembly import Assembly


@dataclass(frozen=True, slots=True)
class Compared:
    """One reading beside what the plant as drawn gives, in SI.

    Both may be off to either side: the reading by *read_off*, the prediction by *predicted_off* about the
    middle of what is likely as it was drawn. *apart* is the distance between them over what both together may
    be off by: at most 1 where they agree. *impossible* says why no such plant can give the reading.
    """

    reading: str
    quantity: str
    read: float
    read_off: float
    tolerance: str
    tolerance_source: str
    predicted: float
    predicted_off: float
    apart: float
    impossible: str

    @property
    def agrees(self) -> bool:
        """Whether reading and prediction agree within what both may be off by."""
        return not self.impossible and self.apart <= 1.0


@dataclass(frozen=True, slots=True)
class Measured:
    """All that readings say about a plant."""

    title: str
    about: str
    date: str
    compared: tuple[Compared, ...]
    """Worst first."""


def measured(scenario: Scenario, readings: Readings) -> Measured:
    """Lay readings beside what the plant of a scenario would give as drawn.

    Raises InputError where the weather of a file does not cover the dates of a reading.
    """
    told = drawn(scenario, readings.readings, readings.measured)
    plant = Assembly(scenario)
    wrong = [contradiction(plant, reading, readings) for reading in readings.readings]
    rows = [_compared(k, reading, told, wrong[k]) for k, reading in enumerate(readings.readings)]
    rows.sort(key=lambda row: (not row.impossible, -row.apart))
    return Measured(scenario.title, readings.title, readings.measured.isoformat(), tuple(rows))


def _compared(k: int, reading: Reading, told: Drawn, impossible: str) -> Compared:
    predicted_off = TO_ENDS * float(np.sqrt(told.covariance()[k, k]))
    predicted = float(told.told[k])
    if isinstance(reading, Arrival) and predicted >= NEVER_S:
        predicted = math.inf
    likely = predicted + float(told.likely()[k])
    apart = abs(reading.value - likely) / float(np.hypot(reading.give_or_take, predicted_off))
    kind = "temperature_difference" if reading.quantity == "temperature" else reading.quantity
    return Compared(
        reading.words,
        reading.quantity,
        reading.value,
        reading.give_or_take,
        reading.tolerance.text(kind),
        reading.tolerance.source,
        predicted,
        predicted_off,
        apart,
        impossible,
    )
