"""What to measure next: the one reading that would best tell apart what still explains those at hand.

Best is the reading from which most is to be learned on average about which explanation is true (the mutual
information of the two). Under each explanation a reading is taken as normal, with what is still unknown of
the explanation's amounts, of the plant and of the instrument.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from cyclesim.decide.readings.doubts import TO_ENDS, DrawnReadings, Floats
from cyclesim.decide.readings.explained import Explainer
from cyclesim.decide.readings.explanation import Fit
from cyclesim.scenario.blocks.heat_sources import Electric
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.blocks.readings import (
    Amps,
    Arrival,
    Bucket,
    Cooling,
    FlowMeter,
    Gauge,
    Reading,
    Readings,
    WarmUp,
)

_LEAST_BITS = 0.02
"""Less than this is nothing to learn."""
_STEPS = 801


@dataclass(frozen=True, slots=True)
class Expected:
    """What an explanation expects a reading to be, in SI, and how far off to either side in 90 of 100."""

    explanation: str
    value: float
    off: float


@dataclass(frozen=True, slots=True)
class NextReading:
    """A reading that is worth taking, how much it is expected to tell [bits], and what each expects of it."""

    reading: str
    quantity: str
    bits: float
    expected: tuple[Expected, ...]


def candidates(scenario: Scenario, taken: Readings) -> list[Reading]:
    """Readings that can be taken with what is there, and are not taken yet.

    Gauges and flow meters where one was read, at every speed of each pump alone; a bucket, a stopwatch, dye,
    a clamp meter and a thermometer are always there.
    """
    known = {reading.words for reading in taken.readings}
    readings, offered = list[Reading](), list(_offered(scenario, taken))
    for reading in offered:
        if reading.words not in known:
            known.add(reading.words)
            readings.append(reading)
    return readings


def _offered(scenario: Scenario, taken: Readings) -> Iterator[Reading]:
    plant = scenario.plant
    speeds = [
        str(name if speed == "on" else f"{name} {speed}")
        for name, pump in plant.pumps.items()
        for speed in pump.speeds
    ]
    for speed in speeds:
        for reading in taken.readings:
            if isinstance(reading, Gauge):
                height = f"{reading.above_water_m!r} m"
                of = {"kind": "gauge", "reads": "1 m", "at": str(reading.at), "above_water": height}
                yield Gauge.model_validate({**of, "with": [speed]})
            elif isinstance(reading, FlowMeter):
                of = {"kind": "flow", "reads": "1 L/min", "through": reading.through}
                yield FlowMeter.model_validate({**of, "with": [speed]})
        for name, leg in plant.legs.items():
            if leg.outlet_above_water_m > 0.0:
                of = {"kind": "bucket", "holds": "10 L", "filled_in": "20 s", "at": name}
                yield Bucket.model_validate({**of, "with": [speed]})
            if leg.manifold is not None:
                for jet in sorted({1, (leg.manifold.jets + 1) // 2, leg.manifold.jets}):
                    place = {"at": name, "jet": jet, "with": [speed]}
                    yield Bucket.model_validate(
                        {"kind": "bucket", "holds": "10 L", "filled_in": "20 s", **place}
                    )
                place = {"at": name, "jet": leg.manifold.jets, "with": [speed]}
                yield Arrival.model_validate({"kind": "arrival", "of": "dye", "after": "20 s", **place})
    electric = [name for name, source in plant.heat_sources.items() if isinstance(source, Electric)]
    for device in (*speeds, *electric):
        yield Amps.model_validate({"kind": "current", "reads": "1 A", "of": device})
    warm = "38 degC" if scenario.schedule.heating is None else f"{scenario.schedule.heating.keep_at_c!r} degC"
    kinds = {type(reading) for reading in taken.readings}
    opened = {"kind": "cooling", "from": warm, "to": "0.01 degC", "took": "2 h", "cover": "off"}
    if scenario.plant.tub.cover != "none":
        yield Cooling.model_validate(opened)
    if Cooling not in kinds:
        of = {"kind": "cooling", "from": warm, "to": "0.01 degC", "took": "10 h"}
        yield Cooling.model_validate(of)
    if scenario.schedule.heating is not None and WarmUp not in kinds:
        pump = scenario.schedule.heating.pump
        for source in scenario.schedule.heating.sources:
            of = {"kind": "warm_up", "from": "20 degC", "to": "90 degC", "took": "3 h", "heat": source}
            yield WarmUp.model_validate({**of, "with": [str(pump)]})


def next_readings(
    explainer: Explainer,
    told: DrawnReadings,
    offered: Sequence[Reading],
    fits: Sequence[tuple[float, Fit | None]],
) -> list[NextReading]:
    """Each reading that is offered, most to learn first, those left out that tell nothing.

    *told* is of the readings taken, then of those offered; *fits* are explanations with their shares, None
    the plant as drawn.
    """
    taken = len(explainer.readings)
    shares = np.array([share for share, _ in fits])
    shares = shares / shares.sum()
    also = Explainer(explainer.scenario, offered, explainer.measured, told.only(range(taken, len(told.told))))
    means, deviations = [], []
    for _, fit in fits:
        mean, variance = _likely(explainer, also, told, taken, fit)
        means.append(mean)
        deviations.append(np.sqrt(variance))
    found = []
    for k, reading in enumerate(offered):
        middle, off = np.array([m[k] for m in means]), np.array([d[k] for d in deviations])
        noise = reading.tolerance.of(_size(reading, float(middle[0]))) / TO_ENDS
        off = np.hypot(off, noise)
        bits = information(shares, middle, off)
        if bits > _LEAST_BITS:
            expected = tuple(
                Expected(fit.name if fit else "as drawn", float(m), TO_ENDS * float(d))
                for (_, fit), m, d in zip(fits, middle, off, strict=True)
            )
            found.append(NextReading(reading.words, reading.quantity, bits, expected))
    return sorted(found, key=lambda reading: -reading.bits)


def _size(reading: Reading, value: float) -> float:
    """What a share of tolerance is one of."""
    return value - reading.from_c if isinstance(reading, WarmUp | Cooling) else value


def _likely(
    explainer: Explainer, also: Explainer, told: DrawnReadings, taken: int, fit: Fit | None
) -> tuple[Floats, Floats]:
    """Mean and variance of each reading offered under an explanation, given the readings taken."""
    of = fit.causes if fit else ()
    without = {cause.doubt for cause in of if cause.doubt}
    both = told.covariance(without)
    middle = told.likely(without)
    seen = explainer.noise + both[:taken, :taken]
    across = both[taken:, :taken]
    effect = fit.effect if fit else np.zeros(taken)
    rest = explainer.read - told.told[:taken] - middle[:taken] - effect
    gain = np.linalg.solve(seen, across.T).T
    mean = told.told[taken:] + middle[taken:] + gain @ rest
    variance = np.diag(both[taken:, taken:] - gain @ across.T).copy()
    if fit:
        mean = mean + also.effect(of, fit.shares)
        for k, cause in enumerate(of):
            if not cause.outright:
                ends = [fit.shares.copy() for _ in range(2)]
                ends[0][k], ends[1][k] = fit.low[k], fit.high[k]
                moved = also.effect(of, ends[1]) - also.effect(of, ends[0])
                seen_moved = explainer.effect(of, ends[1]) - explainer.effect(of, ends[0])
                variance += ((moved - gain @ seen_moved) / (2.0 * TO_ENDS)) ** 2
    return mean, np.maximum(variance, 0.0)


def information(shares: Floats, means: Floats, deviations: Floats) -> float:
    """Mutual information [bits] of which of several normal distributions holds, and a value drawn from it.

    >>> round(information(np.array([0.5, 0.5]), np.array([0.0, 100.0]), np.array([1.0, 1.0])), 3)
    1.0
    """
    deviations = np.maximum(deviations, 1e-9 * (1.0 + np.abs(means)))  # what no doubt moves is sharp
    low, high = float(np.min(means - 6.0 * deviations)), float(np.max(means + 6.0 * deviations))
    fine = [m + d * np.linspace(-6.0, 6.0, 97) for m, d in zip(means, deviations, strict=True)]
    x = np.unique(np.concatenate([np.linspace(low, high, _STEPS), *fine]))
    scaled = (x - means[:, None]) / deviations[:, None]
    density = np.exp(-0.5 * scaled**2) / (deviations[:, None] * math.sqrt(2.0 * math.pi))
    mixed = shares @ density
    with np.errstate(divide="ignore", invalid="ignore"):
        gained = np.where(density > 0.0, density * np.log2(density / mixed), 0.0)
    return max(0.0, float(shares @ np.trapezoid(gained, x, axis=1)))
