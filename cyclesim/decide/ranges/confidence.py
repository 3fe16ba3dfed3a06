"""A plus-or-minus for every number that one decides by, and the inputs that make it.

Each input is put to its likely lowest and to its likely highest, one at a time, and the plant is run again.
What the inputs do to a number is combined by the root of the sum of squares, upward and downward apart. Two
runs an input tell without noise what each does. They do not show a jump that takes two inputs, such as one
heating more a night, so that some runs more have all inputs drawn at once, and a range is widened to what
those come to. Draws alone would need hundreds of runs to tell the inputs apart.

One at a time, then all at once (`--confidence`): two runs an input tell without noise what each does; 24
stratified draws widen a range where a jump takes two inputs.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from cyclesim.analysis.result import days_of_year
from cyclesim.decide.ranges.draws import drawn
from cyclesim.decide.ranges.flushes import OldWater, flush_lines, old_water
from cyclesim.decide.ranges.inputs import NotVaried, inputs
from cyclesim.decide.ranges.numbers import NUMBERS, Number, Numbers
from cyclesim.decide.sweeps.sweep import HERE, How, Job, swept
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.programme import Programme
from cyclesim.simulation.tolerance import AS_TOLD
from cyclesim.simulation.variant import Variant

MAY_BE_BELOW_0 = ("coldest_water_c", "coldest_at_session_c", "most_short_at_ready_by_k")
DRAWS = 24
"""Runs with all inputs drawn at once; the outermost of so many are near the ends of 95 in 100."""
_MATTERS = 0.05
"""Share of the squares from which on an input counts among those that a number is sensitive to."""


@dataclass(frozen=True, slots=True)
class Influence:
    """What one input does to one number: the change with the input at its lowest and at its highest."""

    input: str
    at_lowest: float
    at_highest: float


@dataclass(frozen=True, slots=True)
class Estimate:
    """One number with its range. The name ends in the unit; an infinite number means never.

    *crosses_limit* says that the limit which the number is judged by lies inside the range.
    """

    number: str
    subject: str
    value: float
    low: float
    high: float
    limit: float | None
    crosses_limit: bool
    most_sensitive_to: tuple[Influence, ...]
    """The inputs that matter, the most first."""


@dataclass(frozen=True, slots=True)
class Tried:
    """One input as it was varied."""

    input: str
    lowest: str
    highest: str
    source: str


@dataclass(frozen=True, slots=True)
class Confidence:
    """Everything that is known of how far a run's numbers may be off."""

    days: int
    runs: int
    draws: int
    """Of the runs, those with all inputs drawn at once."""
    currency: str
    estimates: tuple[Estimate, ...]
    flushes: tuple[OldWater, ...]
    inputs: tuple[Tried, ...]
    not_varied: tuple[NotVaried, ...]


def confidence(
    scenario: Scenario,
    *,
    days: int | None = None,
    start: date | None = None,
    seed: int = 0,
    draws: int = DRAWS,
    how: How = HERE,
) -> Confidence:
    """Run a scenario as it is told and with each input off, and say how far its numbers may be off.

    The span is that of `simulate`. *draws* runs have all inputs off at once; with 0 a range is the root of
    the sum of squares and no more. *how* says who runs them and where they are kept; the answer is the same.
    Raises SweepError where the sweep ends early, and ValueError for less than one day.
    """
    days = days_of_year(start or date(scenario.place.year, 1, 1)) if days is None else days
    if days < 1:
        raise ValueError(f"a run lasts at least one day, not {days}")
    varied, not_varied = inputs(scenario)
    variants = [
        Variant(scenario, AS_TOLD),
        *(end for varied_input in varied for end in (varied_input.low, varied_input.high) if end),
    ]
    variants += drawn(variants[0], varied, draws)
    jobs = [Job(variant, days, start, seed) for variant in variants]
    base, *rest = swept(jobs, NUMBERS, how)
    others = iter(rest)
    ends = [
        (next(others) if varied_input.low else base, next(others) if varied_input.high else base)
        for varied_input in varied
    ]
    names, at_once = [varied_input.name for varied_input in varied], list(others)
    return Confidence(
        days,
        len(jobs),
        draws,
        scenario.supply.tariff.currency,
        tuple(_estimate(number, base, names, ends, at_once) for number in base),
        tuple(map(old_water, flush_lines(Assembly(scenario), Programme(scenario)))),
        tuple(
            Tried(varied_input.name, varied_input.low_text, varied_input.high_text, varied_input.source)
            for varied_input in varied
        ),
        not_varied,
    )


def _estimate(
    number: Number,
    base: Numbers,
    names: Sequence[str],
    ends: Sequence[tuple[Numbers, Numbers]],
    at_once: Sequence[Numbers] = (),
) -> Estimate:
    """One number's range: its changes, upward and downward apart, as the root of squares, or as drawn."""
    value = base[number]
    moved = [
        Influence(name, _change(value, low.get(number)), _change(value, high.get(number)))
        for name, (low, high) in zip(names, ends, strict=True)
    ]
    up = math.hypot(*(max(0.0, influence.at_lowest, influence.at_highest) for influence in moved))
    down = math.hypot(*(max(0.0, -influence.at_lowest, -influence.at_highest) for influence in moved))
    weights = [math.hypot(*(max(0.0, *pair) for pair in _sides(influence))) for influence in moved]
    all_ = math.hypot(*weights)
    ranked = sorted(zip(weights, moved, strict=True), key=lambda pair: -pair[0])
    matter = tuple(
        influence for weight, influence in ranked if weight > 0.0 and _share(weight, all_) >= _MATTERS
    )
    drawn_to = [_change(value, read.get(number)) for read in at_once]
    up, down = max(up, *drawn_to, 0.0), max(down, *(-change for change in drawn_to), 0.0)
    low = value - down
    if number.name not in MAY_BE_BELOW_0:
        low = max(0.0, low)
    limit = number.limit
    crosses = limit is not None and low < value + up and low <= limit <= value + up
    return Estimate(number.name, number.subject, value, low, value + up, limit, crosses, matter)


def _sides(influence: Influence) -> tuple[tuple[float, float], tuple[float, float]]:
    """Both changes, upward and downward."""
    return (influence.at_lowest, influence.at_highest), (-influence.at_lowest, -influence.at_highest)


def _share(weight: float, of: float) -> float:
    return 1.0 if math.isinf(weight) else (weight / of) ** 2


def _change(value: float, other: float | None) -> float:
    """How far a run with an input off is from the one without; 0 where both are never."""
    if other is None or other == value:
        return 0.0
    return other - value
