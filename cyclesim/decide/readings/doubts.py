"""What a plant as drawn may be off by within practice, and what each of it does to each reading.

Whatever is put to its ends by a run's confidence is a doubt here, parts of one block each on their own: one
pump's head is off without the other's. A doubt's ends hold 90 of 100 plants, as a reading's tolerance holds
90 of 100 readings; both are taken as normal.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cyclesim.decide.ranges.inputs import inputs
from cyclesim.decide.ranges.stated import STATED, Stray
from cyclesim.decide.readings.built import AsBuilt
from cyclesim.decide.readings.predicted import Prediction, predicted_each
from cyclesim.decide.sweeps.sweep import HERE, How
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.blocks.readings import Amps, Cooling, Energy, Reading, Running, WarmUp, Watts
from cyclesim.simulation.variant import with_each

Floats = NDArray[np.float64]
TO_ENDS = 1.6449
"""Standard deviations from the middle of a normal distribution to either end of its 90 %."""

FLOW, HEAT, DRAW = "flow", "heat", "draw"
_FELT = {
    "bore of pipes": {FLOW},
    "roughness of pipes": {FLOW},
    "head of pumps": {FLOW},
    "flow of jets": {FLOW},
    "drop of a dirty filter": {FLOW},
    "losses of fittings": {FLOW},
    "power of pumps": {HEAT, DRAW},
    "output of elements": {HEAT, DRAW},
}
"""What feels a doubt; another one, heat alone, runs and all."""


@dataclass(frozen=True, slots=True)
class Doubt:
    """One thing that may be off: the plant with it at either end; None where it is as told there.

    *feels* names the kinds of reading that it moves.
    """

    name: str
    low: AsBuilt | None
    high: AsBuilt | None
    feels: frozenset[str]


def about(stray: str, part: str) -> str:
    """The name of a doubt about one part."""
    return f"{stray}: {part}"


def doubts(scenario: Scenario) -> list[Doubt]:
    """Every doubt about a scenario's plant and its surroundings."""
    by_part = {stray.name: stray for stray in STATED if stray.block and stray.there(scenario)}
    found = [doubt for stray in by_part.values() for doubt in _of_parts(scenario, stray)]
    varied, _ = inputs(scenario)
    for other in varied:
        if other.name not in by_part:
            low, high = (AsBuilt.of(end) if end else None for end in (other.low, other.high))
            found.append(Doubt(other.name, low, high, frozenset(_FELT.get(other.name, {HEAT}))))
    return found


def _of_parts(scenario: Scenario, stray: Stray) -> Iterator[Doubt]:
    """A stray of every element of a block, as one of each element alone."""
    change = stray.change
    assert change is not None
    for name, thing in getattr(scenario.plant, stray.block).items():
        ends = list[AsBuilt | None]()
        for end in stray.ends:
            changed = scenario
            if end != stray.told:
                changed = with_part(scenario, stray.block, name, change(thing, end))
            ends.append(None if changed == scenario else AsBuilt(changed))
        if any(ends):
            yield Doubt(about(stray.name, name), ends[0], ends[1], frozenset(_FELT.get(stray.name, {HEAT})))


def with_part(scenario: Scenario, block: str, name: str, part: Any) -> Scenario:
    """The scenario with one element of one block of its plant in another's place."""
    thing = getattr(scenario.plant, block)[name]
    return with_each(scenario, block, lambda other: part if other is thing else other)


def felt_by(reading: Reading) -> frozenset[str]:
    """The kinds of doubt that move a reading."""
    match reading:
        case Amps() | Watts():
            return frozenset({DRAW})
        case WarmUp() | Cooling() | Energy() | Running():
            return frozenset({HEAT, DRAW})
    return frozenset({FLOW})


@dataclass(frozen=True, slots=True)
class DrawnReadings:
    """The readings of a plant as drawn, and what its doubts do to them.

    *told* is each reading as predicted. For each doubt by its name, *middle* is how far the middle of what is
    likely moves each reading from that, and *deviation* what one standard deviation of it does.
    """

    told: Floats
    middle: dict[str, Floats]
    deviation: dict[str, Floats]

    def likely(self, without: Collection[str] = ()) -> Floats:
        """How far all doubts but these move the middle of each reading from what is told."""
        rows = [d for name, d in self.middle.items() if name not in without]
        return np.asarray(np.sum([np.zeros_like(self.told), *rows], axis=0))

    def covariance(self, without: Collection[str] = ()) -> Floats:
        """Of the predictions, from all doubts but these."""
        rows = np.array([d for name, d in self.deviation.items() if name not in without])
        return np.asarray(rows.T @ rows) if len(rows) else np.zeros((len(self.told),) * 2)

    def only(self, which: Sequence[int]) -> DrawnReadings:
        """Of some of the readings alone."""
        middle = {name: d[which] for name, d in self.middle.items()}
        return DrawnReadings(self.told[which], middle, {name: d[which] for name, d in self.deviation.items()})


def drawn(
    scenario: Scenario,
    readings: Sequence[Reading],
    measured: date,
    changed: Callable[[AsBuilt], AsBuilt] = lambda built: built,
    how: How = HERE,
) -> DrawnReadings:
    """Predict the readings of the plant as drawn, or as it is *changed*, and with each doubt at its ends.

    *how* says who makes the runs that readings between two dates take.
    """
    tasks = [Prediction(changed(AsBuilt(scenario)), readings, measured)]
    ends = list[tuple[Doubt, int, list[int]]]()
    for doubt in doubts(scenario):
        moved = [i for i, reading in enumerate(readings) if felt_by(reading) & doubt.feels]
        for end, built in enumerate((doubt.low, doubt.high)):
            if built is not None and moved:
                ends.append((doubt, end, moved))
                tasks.append(Prediction(changed(built), [readings[i] for i in moved], measured))
    first, *others = predicted_each(tasks, how)
    told = np.array(first)
    moves = dict[str, Floats]()
    for (doubt, end, moved), values in zip(ends, others, strict=True):
        of_doubt = moves.setdefault(doubt.name, np.zeros((2, len(readings))))
        of_doubt[end, moved] = np.array(values) - told[moved]
    moves = {name: both for name, both in moves.items() if both.any()}
    middle = {name: (low + high) / 2.0 for name, (low, high) in moves.items()}
    deviation = {name: (high - low) / (2.0 * TO_ENDS) for name, (low, high) in moves.items()}
    return DrawnReadings(told, middle, deviation)
