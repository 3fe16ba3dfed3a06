"""Plants side by side: the same weather, the same bathers, the same chance, now and in many futures.

In a comparison, water that never moves is infinite: percentiles are then taken as they stand, not
interpolated. Rates of money are beyond inflation.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from cyclesim.analysis.amounts import listed
from cyclesim.analysis.result import days_of_year
from cyclesim.decide.comparing.futures import (
    OF_MONEY,
    as_it_comes,
    assumptions_of,
    future,
    only,
)
from cyclesim.decide.comparing.life_cycle_cost import (
    AS_TOLD,
    YEAR_DAYS,
    Owning,
    Terms,
    break_even_years,
    owning,
)
from cyclesim.decide.ranges.stated import Stray
from cyclesim.decide.sizing.heat_up import Warmer, seasons, warmest_c
from cyclesim.decide.sizing.heater_need import set_back_of
from cyclesim.decide.sizing.pump_given import jets_of, weakest_of
from cyclesim.decide.sweeps.brief import BRIEFS, Brief
from cyclesim.decide.sweeps.outcome import Outcome
from cyclesim.decide.sweeps.sweep import HERE, How, job, sweep, swept
from cyclesim.decide.tuning.tuned import with_best_programme
from cyclesim.errors import CycleSimError
from cyclesim.scenario.blocks.heat_sources import Boiler
from cyclesim.scenario.blocks.model import CHOICE, Scenario
from cyclesim.simulation.assembly import Assembly
from cyclesim.spreads import Spread

_ALIKE = 0.003
"""A difference of less than this share counts for neither plant: a thermostat's phase makes as much."""


class CannotCompareError(CycleSimError):
    """Plants that cannot stand side by side."""


class Known(NamedTuple):
    """What a measure goes by: a plant, a run of it, over how many years money is counted, and its terms."""

    scenario: Scenario
    outcome: Outcome | Brief
    years: int | None
    terms: Terms = AS_TOLD

    @property
    def total(self) -> float | None:
        """Purchase, replacements and energy over the years; None without prices in the file."""
        money = self.scenario.money
        return None if money is None else owning(money, self.outcome, self.years, self.terms).total

    @property
    def cost_a_year(self) -> float:
        """Of energy and fuel."""
        return self.a_year(self.outcome.cost) * self.terms.energy_price

    def a_year(self, amount: float) -> float:
        """What an amount of the run comes to in a year."""
        return amount * YEAR_DAYS / self.outcome.days


class Measure(NamedTuple):
    """Something by which plants are compared; less of it is better, and None is unknown."""

    says: str
    """What it is and its unit, with {currency} and {years}."""
    of: Callable[[Known], float | None]


MEASURES = {
    "cost_a_year": Measure("{currency} a year", lambda known: known.cost_a_year),
    "total": Measure("{currency} over {years} years", lambda known: known.total),
    "energy_kwh_a_year": Measure(
        "kWh a year", lambda known: known.a_year(known.outcome.energy_kwh + known.outcome.fuel_kwh)
    ),
    "oldest_water_h": Measure("oldest water, h", lambda known: known.outcome.oldest_water_h),
    "loud_min_a_day": Measure("heard, min a day", lambda known: known.outcome.loud_min_a_day),
    "sun_unused_kwh_a_year": Measure(
        "sun not used, kWh a year",
        lambda known: None if (kwh := known.outcome.sun_unused_kwh) is None else known.a_year(kwh),
    ),
}
"""All of them, by their names in the JSON, which end in the unit."""

Measured = Mapping[str, float | None]


class Warming(NamedTuple):
    """Hours until the set point is reached, infinite for never: of a filled tub, and from the set-back."""

    filled_h: float
    set_back_h: float
    set_back_c: float


@dataclass(frozen=True, slots=True)
class Side:
    """One plant as told."""

    name: str
    scenario: Scenario
    outcome: Outcome
    owning: Owning | None
    warming: Warming | None
    """In the coldest week and on the coldest day; None without heating."""
    weakest_jet_share: float | None
    """What the weakest jet gets of what it needs, its pump at its highest speed; None without jets."""

    @property
    def known(self) -> Known:
        """What a measure goes by."""
        return Known(self.scenario, self.outcome, self.owning.years if self.owning else None)

    @property
    def cost_a_year(self) -> float:
        """Of energy and fuel."""
        return self.known.cost_a_year


@dataclass(frozen=True, slots=True)
class Versus:
    """How two plants differ over futures: in how many the first has less; the other's minus the first's.

    Infinite where water of one of the two never moves.
    """

    less: int
    same: int
    of: int
    median: float
    low: float
    """5th percentile."""
    high: float
    """95th."""


@dataclass(frozen=True, slots=True)
class Swing:
    """What one assumption, alone at its ends, does to the second plant's cost minus the first's."""

    assumption: str
    low: str
    high: str
    source: str
    at_low: float
    at_high: float
    flips: bool
    """Whether the cheaper of the two is another one at an end."""


@dataclass(frozen=True, slots=True)
class Comparison:
    """Plants side by side."""

    days: int
    years: int
    currency: str
    sides: tuple[Side, ...]
    unlike: tuple[str, ...]
    """Conditions that the files tell differently, so that a difference may be theirs and not the plant's."""
    futures: tuple[tuple[Measured, ...], ...]
    """Per future, of each plant."""
    swings: tuple[Swing, ...]
    """Of the first two plants, the largest first."""
    tuned: bool = False
    """Whether each runs the programme that a tuning put first, and not its file's own."""

    @property
    def by_total(self) -> bool:
        """Whether money over years is known of all, so that it decides; else a year's cost does."""
        return all(side.owning is not None for side in self.sides)

    @property
    def measures(self) -> dict[str, Measure]:
        """Those that are known of every plant."""
        measured = [_measured(side.known) for side in self.sides]
        return {
            n: measure for n, measure in MEASURES.items() if all(values[n] is not None for values in measured)
        }

    def changes(self, first: int, second: int, measure: str) -> NDArray[np.float64]:
        """The second plant's minus the first's in one of the measures, for each future."""
        return np.array(
            [_minus(measured[second][measure], measured[first][measure]) for measured in self.futures]
        )

    def versus(self, first: int, second: int, measure: str) -> Versus:
        """How two plants differ in one of the measures over all futures."""
        pairs = [(measured[first][measure], measured[second][measure]) for measured in self.futures]
        change = self.changes(first, second, measure)
        size = np.array([max(abs(a or 0.0), abs(b or 0.0)) for a, b in pairs])
        same = np.isfinite(change) & (np.abs(change) <= _ALIKE * np.where(np.isfinite(size), size, 0.0))
        # between a number and never there is nothing to interpolate
        method: Literal["linear", "nearest"] = "linear" if np.all(np.isfinite(change)) else "nearest"
        low, median, high = (
            float(percentile) for percentile in np.percentile(change, (5.0, 50.0, 95.0), method=method)
        )
        less = int(np.sum((change > 0.0) & ~same))
        return Versus(less, int(np.sum(same)), len(pairs), median, low, high)

    def pays_back(self) -> int | None:
        """Years until the second plant, or the first, has saved what it costs more to buy; None if never."""
        first, second = self.sides[:2]
        if first.owning is None or second.owning is None:
            return None
        dear, cheap = (first, second) if first.owning.purchase > second.owning.purchase else (second, first)

        def dearer(years: int) -> float:
            return _owning(dear, years).total - _owning(cheap, years).total

        return break_even_years(dearer)


def compare(
    scenarios: Sequence[Scenario],
    names: Sequence[str] | None = None,
    *,
    days: int | None = None,
    start: date | None = None,
    seed: int = 0,
    years: int | None = None,
    futures: int = 0,
    sensitivity: bool | None = None,
    tuned: bool = False,
    how: How = HERE,
) -> Comparison:
    """Run plants under the same conditions, as told and in so many futures.

    *names* are what the plants are called, their titles unless given. *years* is over how many money is
    counted, as in the first file unless given. *sensitivity*: each assumption alone at its ends, too; with
    futures unless told. *tuned*: each with the programme that a tuning puts first in place of its own. Raises
    CannotTuneError where there is none, CannotCompareError for fewer than two plants or two currencies,
    SweepError where a sweep ends early, and ValueError for less than one day or names for other than all.
    """
    if len(scenarios) < 2:
        raise CannotCompareError("Expected two plants or more to compare.")
    currencies = list(dict.fromkeys(scenario.supply.tariff.currency for scenario in scenarios))
    if len(currencies) > 1:
        raise CannotCompareError(f"Costs in {' and '.join(currencies)} cannot stand side by side.")
    days = days_of_year(start or date(scenarios[0].place.year, 1, 1)) if days is None else days
    if days < 1:
        raise ValueError(f"a run lasts at least one day, not {days}")
    if tuned:
        scenarios = [with_best_programme(s, days=days, start=start, seed=seed, how=how) for s in scenarios]
    names = [scenario.title for scenario in scenarios] if names is None else names
    years = years or next((scenario.money.over_years for scenario in scenarios if scenario.money), 10)
    to_come = [future(k, seed) for k in range(futures)]
    ends: list[tuple[Stray, float]] = []
    if sensitivity or (sensitivity is None and futures):
        ends = [(assumption, end) for assumption in assumptions_of(scenarios) for end in assumption.ends]
    as_told = sweep([job(scenario, days, start, seed) for scenario in scenarios], how)
    rows_of = [(outlook, scenarios) for outlook in to_come]
    rows_of += [(only(assumption, end, seed), scenarios[:2]) for assumption, end in ends]
    jobs = [
        job(as_it_comes(scenario, outlook), days, start, outlook.seed)
        for outlook, plants in rows_of
        for scenario in plants
    ]
    ran = iter(swept(jobs, BRIEFS, how) if jobs else ())
    rows = [[next(ran) for _ in plants] for _, plants in rows_of]
    sides = tuple(
        Side(
            name,
            scenario,
            out,
            None if scenario.money is None else owning(scenario.money, out, years),
            _warming(scenario),
            _weakest_jet(Assembly(scenario)),
        )
        for name, scenario, out in zip(names, scenarios, as_told, strict=True)
    )
    drawn = tuple(
        tuple(
            _measured(Known(scenario, out, years, outlook.terms))
            for scenario, out in zip(scenarios, row, strict=True)
        )
        for outlook, row in zip(to_come, rows, strict=False)
    )
    at_ends = rows[futures:]
    swings = tuple(sorted(_swings(sides, years, ends, at_ends), key=_width)) if ends else ()
    return Comparison(
        days, years, currencies[0], sides, tuple(_unlike(scenarios, names)), drawn, swings, tuned
    )


def _warming(scenario: Scenario) -> Warming | None:
    """How soon the tub is warm, by the engine from cold; see `size heater`."""
    if scenario.schedule.heating is None:
        return None
    warmer, when = Warmer(scenario, warmest_c(scenario.schedule.heating)), seasons(scenario)
    low_c, _ = set_back_of(scenario, None)
    took = (
        warmer.after_a_fill(when.coldest_week).seconds,
        warmer.warm_up(low_c, when.coldest_day).seconds,
    )
    filled_h, set_back_h = (math.inf if seconds is None else seconds / 3600.0 for seconds in took)
    return Warming(filled_h, set_back_h, low_c)


def _weakest_jet(plant: Assembly) -> float | None:
    """The least of all jets that say what they need, each at the speed that feeds it best."""
    best: dict[str, float] = {}
    for pump, speeds in plant.speeds.items():
        duty = plant.duty(plant.at(pump, list(speeds)[-1]))
        for leg, jets in jets_of(plant, pump).items():
            best[leg] = max(best.get(leg, 0.0), weakest_of(duty, {leg: jets})[0])
    return min(best.values(), default=None)


def _owning(side: Side, years: int) -> Owning:
    assert side.scenario.money is not None
    return owning(side.scenario.money, side.outcome, years)


def _measured(known: Known) -> Measured:
    return {name: measure.of(known) for name, measure in MEASURES.items()}


def _swings(
    sides: tuple[Side, ...],
    years: int,
    ends: Sequence[tuple[Stray, float]],
    rows: Sequence[Sequence[Brief]],
) -> Iterator[Swing]:
    """The second plant's cost minus the first's with one assumption at its ends; money's need no new run."""
    first, second = sides[:2]
    priced = first.owning is not None and second.owning is not None

    def apart(outcomes: Sequence[Outcome | Brief], terms: Terms = AS_TOLD, over: int = years) -> float:
        of = MEASURES["total" if priced else "cost_a_year"].of
        a, b = (
            of(Known(side.scenario, out, over, terms)) for side, out in zip(sides[:2], outcomes, strict=False)
        )
        return _minus(b, a)

    as_told = [side.outcome for side in sides]
    now = apart(as_told)
    for k in range(0, len(ends), 2):
        assumption = ends[k][0]
        yield _swing(assumption, now, apart(rows[k]), apart(rows[k + 1]))
    for assumption in OF_MONEY if priced else OF_MONEY[:1]:
        yield _swing(
            assumption, now, *(apart(as_told, only(assumption, end, 0).terms) for end in assumption.ends)
        )
    if priced:
        half, half_more = max(1, years // 2), years + (years + 1) // 2
        counted = Stray("years counted", Spread(half, half_more, "years"), CHOICE, told=years)
        yield _swing(counted, now, *(apart(as_told, over=over) for over in (half, half_more)))


def _swing(assumption: Stray, now: float, low: float, high: float) -> Swing:
    flips = min(low, high, now) < 0.0 < max(low, high, now)
    return Swing(assumption.name, *assumption.spread.ends(), assumption.source, low, high, flips)


def _width(swing: Swing) -> tuple[float, str]:
    return -abs(swing.at_high - swing.at_low), swing.assumption


def _minus(value: float | None, other: float | None) -> float:
    """A difference; none where both are without end."""
    assert value is not None
    assert other is not None
    return 0.0 if value == other else value - other


def _unlike(scenarios: Sequence[Scenario], names: Sequence[str]) -> Iterator[str]:
    """What the files tell differently of conditions that should be the same; of several, in which."""
    zones = set.intersection(*(set(scenario.place.zones) for scenario in scenarios))
    fuels = set.intersection(*(set(_fuels(scenario)) for scenario in scenarios))
    looked: dict[str, Callable[[Scenario], object]] = {
        "the weather": lambda scenario: scenario.place.weather,
        "the year": lambda scenario: scenario.place.year,
        "the time zone": lambda scenario: scenario.place.time_zone,
        "how warm the zones are": lambda scenario: {
            name: scenario.place.zones[name] for name in sorted(zones)
        },
        "the tariff": lambda scenario: scenario.supply.tariff,
        "the price of fuel": lambda scenario: {name: _fuels(scenario)[name] for name in sorted(fuels)},
        "bathing": lambda scenario: [
            entry.model_copy(update={"pump": None, "pumps": (), "stagger_s": None, "name": None})
            for entry in scenario.schedule.bathing
        ],
        "the tub": lambda scenario: scenario.plant.tub,
        "the set points": lambda scenario: (
            None
            if scenario.schedule.heating is None
            else (
                scenario.schedule.heating.keep_at_c,
                scenario.schedule.heating.plan,
                scenario.schedule.heating.absences,
            )
        ),
        "what the rules judge by": lambda scenario: scenario.limits,
        "how money is counted": lambda scenario: (
            None
            if scenario.money is None
            else (scenario.money.over_years, scenario.money.discount_rate, scenario.money.energy_price_rise)
        ),
    }
    for what, of in looked.items():
        written = [repr(of(scenario)) for scenario in scenarios]
        others = [name for name, text in zip(names, written, strict=True) if text != written[0]]
        if others:
            yield what if len(scenarios) == 2 else f"{what} (in {listed(others)})"


def _fuels(scenario: Scenario) -> dict[str, object]:
    """What the fuel of each boiler costs."""
    sources = scenario.plant.heat_sources.items()
    return {name: source.fuel_price for name, source in sources if isinstance(source, Boiler)}
