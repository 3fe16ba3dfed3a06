"""What readings from the finished plant say about it, in the order in which one asks."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np

from cyclesim.decide.readings.built import AsBuilt
from cyclesim.decide.readings.cause import Texts
from cyclesim.decide.readings.doubts import TO_ENDS, DrawnReadings, drawn
from cyclesim.decide.readings.drift import Drift, drift
from cyclesim.decide.readings.explained import Explainer
from cyclesim.decide.readings.explanation import Explained, Fit
from cyclesim.decide.readings.follows import Follows, follows
from cyclesim.decide.readings.impossible import contradiction
from cyclesim.decide.readings.logged import Logged, logged
from cyclesim.decide.readings.next_reading import NextReading, candidates, next_readings
from cyclesim.decide.readings.parts import as_told, parts, weighed
from cyclesim.decide.readings.predicted import NEVER_S
from cyclesim.decide.sweeps.sweep import HERE, How
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.blocks.readings import Arrival, Reading, Readings
from cyclesim.simulation.assembly import Assembly

_NEXT, _CONSIDERED = 3, 0.01
"""So many readings to take next are told; the plant as drawn is considered where it is as likely as this."""


@dataclass(frozen=True, slots=True)
class Compared:
    """One reading beside what the plant as drawn gives, in SI.

    Both may be off to either side: the reading by *read_off*, the prediction by *predicted_off*. *apart* is
    the distance of the reading from the prediction, or from the middle of what is likely where that is
    nearer, over what both together may be off by: at most 1 where they agree. *impossible* says why no such
    plant can give the reading.
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
    """All that readings say about a plant.

    *explained* is None where no reading is left to explain, *follows* where no cause explains all of them, or
    the plant as drawn is likelier.
    """

    title: str
    about: str
    date: str
    compared: tuple[Compared, ...]
    """Worst first."""
    logs: tuple[Logged, ...] = ()
    explained: Explained | None = None
    next_readings: tuple[NextReading, ...] = ()
    """Most to learn first."""
    follows: Follows | None = None
    drift: Drift | None = None
    """Of several files alone."""
    corrected: Texts = field(default_factory=dict)
    """What the file would say of the likeliest cause, key by key; nothing where no key says it."""


def measured(
    scenario: Scenario,
    readings: Readings,
    *earlier: Readings,
    days: int | None = None,
    how: How = HERE,
) -> Measured:
    """Lay readings beside what the plant of a scenario would give as drawn, and say what explains them.

    With *earlier* files of the same plant, the last by its date is laid so, and all tell how the plant
    changes. What follows is of a year, or of so many *days* from 1 January. *how* says who
    makes the runs that readings between two dates take. Raises InputError where the
    weather of a file does not cover the dates of a reading.
    """
    files = sorted([readings, *earlier], key=lambda file: file.measured)
    readings = files[-1]
    logs = list[Logged]()
    for about, log in readings.logs_read:
        said, from_log = logged(scenario, about, log)
        logs.append(said)
        readings = readings.model_copy(update={"readings": (*readings.readings, *from_log)})
    taken, offered, plant = readings.readings, candidates(scenario, readings), Assembly(scenario)
    told = drawn(scenario, [*taken, *offered], readings.measured, how=how)
    wrong = [contradiction(plant, reading, readings) for reading in taken]
    rows = [_compared(k, reading, told, wrong[k]) for k, reading in enumerate(taken)]
    rows.sort(key=lambda row: (not row.impossible, -row.apart))
    day = readings.measured.isoformat()
    found = Measured(scenario.title, readings.title, day, tuple(rows), tuple(logs))
    used = [k for k in range(len(taken)) if not wrong[k]]
    if not used:
        return found
    of_used = told.only(used)
    explainer = Explainer(scenario, [taken[k] for k in used], readings.measured, of_used, how)
    explained = explainer.explained()
    best = explainer.likeliest
    fits: list[tuple[float, Fit | None]] = [*best]
    weighing = explainer
    if explainer.as_drawn > _CONSIDERED:
        fits.append((explainer.as_drawn, None))
    if not explained.fits and explained.odd is None and (in_part := parts(explainer)):
        explained = replace(explained, parts=tuple(as_told(explainer, fit) for fit in in_part))
        weighing, fits = weighed(explainer, in_part)
    following = list[NextReading]()
    if len(fits) > 1:
        both = told.only([*used, *range(len(taken), len(taken) + len(offered))])
        following = next_readings(weighing, both, offered, fits)[:_NEXT]
    after, texts = None, Texts()
    if explained.fits and not explained.needs_no_cause:
        fit = best[0][1]
        after, texts = follows(AsBuilt(scenario), fit.built(scenario), fit.name, days), fit.texts(scenario)
    return replace(
        found,
        explained=explained,
        next_readings=tuple(following),
        follows=after,
        drift=drift(scenario, files) if earlier else None,
        corrected=texts,
    )


def _compared(k: int, reading: Reading, told: DrawnReadings, impossible: str) -> Compared:
    predicted_off = TO_ENDS * float(np.sqrt(told.covariance()[k, k]))
    predicted = float(told.told[k])
    if isinstance(reading, Arrival) and predicted >= NEVER_S:
        predicted = math.inf
    shift = float(told.likely()[k])
    nearer = min(abs(reading.value - predicted), abs(reading.value - predicted - shift))
    apart = nearer / float(np.hypot(reading.give_or_take, predicted_off))
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
