"""Futures: what nobody knows beforehand, drawn at random, and the same for every plant that is compared.

Each draw has a stream of its own, named by seed, future and what is drawn, a machine by its name: no draw
depends on the plant, on the order, or on how many futures there are. Draws are triangular, likeliest as told.

The same chance for all that is compared: a future's draws have streams named by seed, future and what is
drawn, a machine by its name; bathers by seed and date.

Money alone changes no run, and each future has weather of its own, so that each asks for a run of each plant.
Some days of each season are no stand-in here: a cost that is 0.7 % off is off by a tenth of what the shipped
two differ by.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from random import Random
from typing import NamedTuple

from cyclesim.decide.comparing.life_cycle_cost import Terms
from cyclesim.decide.ranges.stated import AIR, HEAD, OUTPUT, POWER, PRACTICE, SWING, WIND, Stray
from cyclesim.scenario.blocks.bathing import Bathing
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.simulation.variant import with_plant
from cyclesim.spreads import POINTS, Spread


def _oftener(scenario: Scenario, factor: float) -> Scenario:
    """Drawn sessions alone: a calendar is what it is."""

    def change(entry: Bathing) -> Bathing:
        if entry.drawn is None:
            return entry
        changes = {"per_week": min(21.0, entry.drawn.per_week * factor)}
        return entry.model_copy(update={"drawn": entry.drawn.model_copy(update=changes)})

    return _bathed(scenario, change)


def _longer(scenario: Scenario, factor: float) -> Scenario:
    def change(entry: Bathing) -> Bathing:
        if entry.drawn is None:
            return entry.model_copy(update={"lasts_s": _minutes_s((entry.lasts_s or 0.0) * factor)})
        shortest, longest = entry.drawn.lasts_s
        changes = {"lasts_s": (_minutes_s(shortest * factor), _minutes_s(longest * factor))}
        return entry.model_copy(update={"drawn": entry.drawn.model_copy(update=changes)})

    return _bathed(scenario, change)


def _bathed(scenario: Scenario, change: Callable[[Bathing], Bathing]) -> Scenario:
    bathing = tuple(map(change, scenario.schedule.bathing))
    return scenario.model_copy(update={"schedule": scenario.schedule.model_copy(update={"bathing": bathing})})


def _minutes_s(seconds: float) -> float:
    return 60.0 * max(1, round(seconds / 60.0))


OFTEN = Stray(
    "how often people bathe",
    Spread(-50, 50, "%", off=True),
    PRACTICE,
    _oftener,
    there=lambda scenario: any(entry.drawn for entry in scenario.schedule.bathing),
)
LONG = Stray(
    "how long people bathe",
    Spread(-30, 30, "%", off=True),
    PRACTICE,
    _longer,
    there=lambda scenario: bool(scenario.schedule.bathing),
)
PRICE = Stray("price of energy", Spread(-20, 40, "%", off=True), PRACTICE)
RISE = Stray("yearly rise of that price", Spread(-2, 3, POINTS, off=True), PRACTICE, told=0.0)
DISCOUNT = Stray("discount rate", Spread(-2, 2, POINTS, off=True), PRACTICE, told=0.0)
BOUGHT = Stray("prices of what is bought", Spread(-15, 25, "%", off=True), PRACTICE)
LIFE = Stray("how long machines last", Spread(-40, 40, "%", off=True), PRACTICE)

OF_ALL = (AIR, SWING, WIND, OFTEN, LONG)
"""What is the same for all plants that are compared."""
OF_MACHINES = (HEAD, POWER, OUTPUT)
"""What each machine has of its own."""
OF_MONEY = (PRICE, RISE, DISCOUNT, BOUGHT, LIFE)
"""What changes no run, in the order of `Terms`."""

Of = Callable[[str], float]
"""A value for each machine by its name."""


class Future(NamedTuple):
    """What is otherwise: values by name, and for ratings by machine."""

    values: Mapping[str, float]
    ratings: Mapping[str, Of]
    seed: int
    """Of the bathers."""

    @property
    def terms(self) -> Terms:
        """Prices and lives."""
        return Terms(*(self.values.get(assumption.name, assumption.told) for assumption in OF_MONEY))


def future(number: int, seed: int) -> Future:
    """The future of this number."""

    def chance(purpose: str) -> Random:
        return Random(f"{seed}/future {number}/{purpose}")

    def drawn(stray: Stray, of: str = "") -> float:
        low, high = stray.ends
        return chance(stray.name + of).triangular(low, high, stray.told)

    def rating(stray: Stray) -> Of:
        return lambda machine: drawn(stray, f"/{machine}")

    # how money is discounted, and over how many years it is counted, is a choice, no chance
    values = {stray.name: drawn(stray) for stray in (*OF_ALL, *OF_MONEY) if stray is not DISCOUNT}
    ratings = {stray.name: rating(stray) for stray in OF_MACHINES}
    return Future(values, ratings, chance("bathers").getrandbits(32))


def only(stray: Stray, value: float, seed: int) -> Future:
    """Everything as told but one thing."""
    if stray.block:
        return Future({}, {stray.name: lambda _: value}, seed)
    return Future({stray.name: value}, {}, seed)


def as_it_comes(scenario: Scenario, to_be: Future) -> Scenario:
    """The scenario in a future; money is apart, as it changes no run."""
    for stray in OF_ALL:
        value = to_be.values.get(stray.name, stray.told)
        if stray.change is not None and value != stray.told:
            scenario = stray.change(scenario, value)
    for stray in OF_MACHINES:
        if stray.name in to_be.ratings:
            scenario = _rated(scenario, stray, to_be.ratings[stray.name])
    return scenario


def _rated(scenario: Scenario, stray: Stray, of: Of) -> Scenario:
    assert stray.change is not None
    machines = getattr(scenario.plant, stray.block).items()
    return with_plant(scenario, **{stray.block: {name: stray.change(m, of(name)) for name, m in machines}})


def assumptions_of(scenarios: Sequence[Scenario]) -> Iterator[Stray]:
    """What changes a run and is there in any of them."""
    for stray in (*OF_ALL, *OF_MACHINES):
        if any(map(stray.there, scenarios)):
            yield stray
