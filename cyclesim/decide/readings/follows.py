"""What follows from the corrected plant: rules that no longer hold, hours to hot, money."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from cyclesim.analysis.history import History
from cyclesim.analysis.result import Measuring, days_of_year
from cyclesim.analysis.rules import check
from cyclesim.decide.readings.built import AsBuilt, BuiltPlant
from cyclesim.decide.sizing.heat_up import Warmer, seasons, warmest_c
from cyclesim.simulation.engine import simulate_trace
from cyclesim.simulation.programme import Programme


@dataclass(frozen=True, slots=True)
class Year:
    """A year of a plant: the rules broken as (rule, subject), its energy and cost, and hours to hot.

    *energy_kwh* is of electricity and fuel, as the savings count it. *hours_to_hot* is from a fresh fill on
    the first day of the coldest week; None where nothing heats or it never gets warm.
    """

    broken: tuple[tuple[str, str], ...]
    energy_kwh: float
    cost: float
    hours_to_hot: float | None


@dataclass(frozen=True, slots=True)
class Follows:
    """The plant as drawn beside the plant with its likeliest cause."""

    explanation: str
    days: int
    currency: str
    drawn: Year
    corrected: Year

    @property
    def newly_broken(self) -> list[tuple[str, str]]:
        """Rules that hold as drawn and no longer do."""
        return [found for found in self.corrected.broken if found not in self.drawn.broken]

    @property
    def mended(self) -> list[tuple[str, str]]:
        """Rules that are broken as drawn and hold now."""
        return [found for found in self.drawn.broken if found not in self.corrected.broken]

    @property
    def costs_more(self) -> float:
        """What the cause costs over the span: what its mend is worth."""
        return self.corrected.cost - self.drawn.cost


def follows(told: AsBuilt, corrected: AsBuilt, explanation: str, days: int | None = None) -> Follows:
    """Run both for a year from 1 January of the file's year, or for so many *days*, and judge them."""
    first = date(told.scenario.place.year, 1, 1)
    days = days or days_of_year(first)
    currency = told.scenario.supply.tariff.currency
    return Follows(explanation, days, currency, year(told, first, days), year(corrected, first, days))


def year(built: AsBuilt, first: date, days: int) -> Year:
    """One plant, run and judged."""
    plant, programme = BuiltPlant(built), Programme(built.scenario)
    history = History(plant, programme, simulate_trace(plant, programme, days=days, start=first))
    findings, _ = check(history)
    energy = Measuring(history).energy
    broken = tuple(dict.fromkeys((finding.rule, finding.subject) for finding in findings))
    return Year(broken, energy.energy_kwh + energy.fuel_kwh, energy.cost, _hours_to_hot(built))


def _hours_to_hot(built: AsBuilt) -> float | None:
    scenario = built.scenario
    heating = scenario.schedule.heating
    if heating is None:
        return None
    warmer = Warmer(scenario, warmest_c(heating))
    warmer.plant = BuiltPlant(AsBuilt(warmer.scenario, built.tolerance, built.parts))
    taken = warmer.after_a_fill(seasons(scenario).coldest_week)
    return None if taken.seconds is None else taken.seconds / 3600.0
