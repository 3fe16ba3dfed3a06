"""Futures: what nobody knows beforehand, drawn at random, and the same for every plant that is compared.

Each draw has a stream of its own, named by seed, future and what is drawn, a machine by its name: no draw
depends on the plant, on the order, or on how many futures there are. Draws are triangular, likeliest as told.

The same chance for all that is compared: a future's draws have streams named by seed, future and what is
drawn, a machine by its name; bathers by seed and date.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from random import Random
from typing import Any, NamedTuple

from cyclesim.decide.comparing.life_cycle_cost import Terms
from cyclesim.decide.ranges.stated import PRACTICE, air, output, pump_head, pump_power, swing, wind
from cyclesim.scenario.blocks.bathing import Bathing
from cyclesim.scenario.blocks.heat_sources import Electric
from cyclesim.scenario.blocks.model import Scenario


@dataclass(frozen=True, slots=True)
class Alternative:
    """One thing that may be otherwise: its ends, what it is as told, and where the range comes from."""

    name: str
    low: float
    told: float
    high: float
    source: str
    says: str
    """How an end is written, with {} for the number."""

    def text(self, value: float) -> str:
        """An end in words."""
        return self.says.format(value)

    def drawn(self, chance: Random) -> float:
        """A value between the ends, most likely as told."""
        return chance.triangular(self.low, self.high, self.told)


FACTOR = "x {:.2f}"
AIR = Alternative("mean air temperature", -1.0, 0.0, 1.0, PRACTICE, "{:+.1f} K")
SWING = Alternative("swing of the air's warmth", 0.8, 1.0, 1.2, PRACTICE, FACTOR)
WIND = Alternative("wind", 0.5, 1.0, 1.5, PRACTICE, FACTOR)
OFTEN = Alternative("how often people bathe", 0.5, 1.0, 1.5, PRACTICE, FACTOR)
LONG = Alternative("how long people bathe", 0.7, 1.0, 1.3, PRACTICE, FACTOR)
HEAD = Alternative("head of pumps", 0.93, 1.0, 1.07, "ISO 9906 grade 3B, from memory, not opened", FACTOR)
POWER = Alternative("power of pumps", 0.9, 1.0, 1.1, PRACTICE, FACTOR)
OUTPUT = Alternative(
    "output of elements", 0.9, 1.0, 1.05, "IEC 60335-1 rated input, from memory, not opened", FACTOR
)
PRICE = Alternative("price of energy", 0.8, 1.0, 1.4, PRACTICE, FACTOR)
RISE = Alternative("yearly rise of that price", -0.02, 0.0, 0.03, PRACTICE, "{:+.0%} points")
DISCOUNT = Alternative("discount rate", -0.02, 0.0, 0.02, PRACTICE, "{:+.0%} points")
BOUGHT = Alternative("prices of what is bought", 0.85, 1.0, 1.25, PRACTICE, FACTOR)
LIFE = Alternative("how long machines last", 0.6, 1.0, 1.4, PRACTICE, FACTOR)

Of = Callable[[str], float]
"""A value for each machine by its name."""


class Future(NamedTuple):
    """What is otherwise: values by assumption, and for ratings by machine."""

    values: Mapping[str, float]
    ratings: Mapping[str, Of]
    seed: int
    """Of the bathers."""

    @property
    def terms(self) -> Terms:
        """Prices and lives."""
        return Terms(*(self.values.get(one.name, one.told) for one in (PRICE, RISE, DISCOUNT, BOUGHT, LIFE)))


def future(number: int, seed: int) -> Future:
    """The future of this number."""

    def chance(purpose: str) -> Random:
        return Random(f"{seed}/future {number}/{purpose}")

    # how money is discounted, and over how many years it is counted, is a choice, no chance
    known = (AIR, SWING, WIND, OFTEN, LONG, PRICE, RISE, BOUGHT, LIFE)
    values = {one.name: one.drawn(chance(one.name)) for one in known}

    def rating(one: Alternative) -> Of:
        return lambda machine: one.drawn(chance(f"{one.name}/{machine}"))

    ratings = {one.name: rating(one) for one in (HEAD, POWER, OUTPUT)}
    return Future(values, ratings, chance("bathers").getrandbits(32))


def only(one: Alternative, value: float, seed: int) -> Future:
    """Everything as told but one assumption."""
    if one in (HEAD, POWER, OUTPUT):
        return Future({}, {one.name: lambda _: value}, seed)
    return Future({one.name: value}, {}, seed)


def as_it_comes(scenario: Scenario, to_be: Future) -> Scenario:
    """The scenario in a future; money is apart, as it changes no run."""
    values, ratings = to_be.values, to_be.ratings
    if (by_k := values.get(AIR.name, 0.0)) != 0.0:
        scenario = air(scenario, by_k)
    if (factor := values.get(SWING.name, 1.0)) != 1.0:
        scenario = swing(scenario, factor)
    if (factor := values.get(WIND.name, 1.0)) != 1.0:
        scenario = wind(scenario, factor)
    often, long = values.get(OFTEN.name, 1.0), values.get(LONG.name, 1.0)
    if (often, long) != (1.0, 1.0):
        bathing = tuple(_bathed(entry, often, long) for entry in scenario.schedule.bathing)
        scenario = scenario.model_copy(
            update={"schedule": scenario.schedule.model_copy(update={"bathing": bathing})}
        )
    for one, block, change in (
        (HEAD, "pumps", pump_head),
        (POWER, "pumps", pump_power),
        (OUTPUT, "heat_sources", output),
    ):
        if one.name in ratings:
            scenario = _rated(scenario, block, change, ratings[one.name])
    return scenario


def _rated(scenario: Scenario, block: str, change: Callable[[Any, float], Any], of: Of) -> Scenario:
    plant = scenario.plant
    made = {name: change(thing, of(name)) for name, thing in getattr(plant, block).items()}
    return scenario.model_copy(update={"plant": plant.model_copy(update={block: made})})


def _bathed(entry: Bathing, often: float, long: float) -> Bathing:
    """How often is that of drawn sessions alone: a calendar is what it is."""
    if entry.drawn is None:
        return entry.model_copy(update={"lasts_s": _minutes_s((entry.lasts_s or 0.0) * long)})
    shortest, longest = entry.drawn.lasts_s
    told = {
        "per_week": min(21.0, entry.drawn.per_week * often),
        "lasts_s": (_minutes_s(shortest * long), _minutes_s(longest * long)),
    }
    return entry.model_copy(update={"drawn": entry.drawn.model_copy(update=told)})


def _minutes_s(seconds: float) -> float:
    return 60.0 * max(1, round(seconds / 60.0))


def assumptions_of(scenarios: list[Scenario]) -> Iterator[Alternative]:
    """What may be otherwise in any of them: those that change a run first."""
    yield AIR
    yield SWING
    yield WIND
    bathing = [entry for one in scenarios for entry in one.schedule.bathing]
    if any(entry.drawn for entry in bathing):
        yield OFTEN
    if bathing:
        yield LONG
    yield HEAD
    yield POWER
    if any(isinstance(source, Electric) for one in scenarios for source in one.plant.heat_sources.values()):
        yield OUTPUT


OF_MONEY = (PRICE, RISE, DISCOUNT, BOUGHT, LIFE)
"""What changes no run."""
