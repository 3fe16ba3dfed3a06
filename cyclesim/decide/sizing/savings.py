"""What would save most: each change of a plant or its wishes run through a year, alone and together.

A trial runs with its change from the warm-up on, as if the plant were always like that. What a thing costs to
buy is not in it; the programme is a matter of `tune`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date
from typing import NamedTuple

from cyclesim.analysis.result import days_of_year
from cyclesim.decide.sweeps.outcome import Outcome
from cyclesim.decide.sweeps.sweep import HERE, How, job, sweep
from cyclesim.scenario.blocks.heating import Dear, Heating, PlanStep
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.blocks.place import Price, PriceFile, Tariff
from cyclesim.scenario.blocks.plant import Cover, Leg
from cyclesim.simulation.variant import with_each, with_plant
from cyclesim.units import format_quantity

PIPES_M, MORE_M, LOWER_K = 0.025, 0.05, 1.0
"""Insulation that pipes are tried with, how much more cover and shell, how much lower set points: choices."""
_FROST_K, _LEAST_FROST_C = 2.0, 4.0
"""Frost protection is tried so much lower, and never below the latter (common practice, no source)."""


class Change(NamedTuple):
    """One change in words, from what to what, and what it makes of a scenario."""

    sentence: str
    of: Callable[[Scenario], Scenario]


@dataclass(frozen=True, slots=True)
class Saving:
    """What a year with a change comes to, beside a year as the file has it."""

    change: str
    energy_kwh_less: float
    """Electricity and fuel."""
    cost_less: float
    breaks: tuple[str, ...]
    """Rules of danger, hygiene and comfort that are broken with it and not without."""


@dataclass(frozen=True, slots=True)
class Savings:
    """All that was tried, the most money first, and those that save and break nothing together."""

    scenario: Scenario
    days: int
    currency: str
    energy_kwh: float
    cost: float
    tried: tuple[Saving, ...]
    together: Saving | None
    """None where fewer than two save anything without breaking a rule."""


def savings(
    scenario: Scenario,
    *,
    days: int | None = None,
    start: date | None = None,
    seed: int = 0,
    how: How = HERE,
) -> Savings:
    """Run *days* (a year) from *start* (1 January), as told and with each change; SweepError as `sweep`."""
    first = start or date(scenario.place.year, 1, 1)
    days = days_of_year(first) if days is None else days
    all_changes = list(changes(scenario))

    def run(scenarios: list[Scenario]) -> list[Outcome]:
        return sweep([job(one, days, first, seed) for one in scenarios], how)

    now, *ran = run([scenario, *(change.of(scenario) for change in all_changes)])
    tried = [_saving(change.sentence, now, year) for change, year in zip(all_changes, ran, strict=True)]
    good = [
        change
        for change, one in zip(all_changes, tried, strict=True)
        if one.cost_less > 0.0 and not one.breaks
    ]
    together = None
    if len(good) > 1:
        changed = scenario
        for change in good:
            changed = change.of(changed)
        (year,) = run([changed])
        together = _saving("; ".join(change.sentence for change in good), now, year)
    ordered = tuple(sorted(tried, key=lambda one: -one.cost_less))
    energy_kwh = now.energy_kwh + now.fuel_kwh
    return Savings(scenario, days, now.currency, energy_kwh, now.cost, ordered, together)


def _saving(sentence: str, now: Outcome, then: Outcome) -> Saving:
    broken = {finding.rule for finding in now.findings}
    return Saving(
        sentence,
        now.energy_kwh + now.fuel_kwh - then.energy_kwh - then.fuel_kwh,
        now.cost - then.cost,
        tuple(dict.fromkeys(f.rule for f in then.findings if f.severity != "wear" and f.rule not in broken)),
    )


def changes(scenario: Scenario) -> Iterator[Change]:
    """What this file leaves room for."""
    plant, heating = scenario.plant, scenario.schedule.heating
    thin = [leg.insulation_m for leg in plant.legs.values() if _may_be_thicker(leg)]
    if thin:
        said = f"pipes insulated by {_mm(PIPES_M)}, now {_mm(min(thin))} at the least"
        yield Change(said, lambda s: with_each(s, "legs", _insulated))
    tub = plant.tub
    if tub.cover == "none":
        lid = Cover.model_construct(foam_m=MORE_M, fit="good")
        said = f"a cover of {_mm(MORE_M)} that fits well, now none"
        yield Change(said, lambda s: with_plant(s, tub=s.plant.tub.model_copy(update={"cover": lid})))
    else:
        more = tub.cover.model_copy(update={"foam_m": tub.cover.foam_m + MORE_M, "fit": "good"})
        fit = "" if tub.cover.fit == "good" else f" and a good fit, now {tub.cover.fit}"
        said = f"a cover of {_mm(more.foam_m)}{fit}, now {_mm(tub.cover.foam_m)}"
        yield Change(said, lambda s: with_plant(s, tub=s.plant.tub.model_copy(update={"cover": more})))
    shell = tub.shell.model_copy(update={"insulation_m": tub.shell.insulation_m + MORE_M})
    said = f"a shell insulated by {_mm(shell.insulation_m)}, now {_mm(tub.shell.insulation_m)}"
    yield Change(said, lambda s: with_plant(s, tub=s.plant.tub.model_copy(update={"shell": shell})))
    frost = scenario.schedule.frost_protection
    if frost is not None and frost.starts_below_c - _FROST_K >= _LEAST_FROST_C:
        lower = {name: getattr(frost, name) - _FROST_K for name in ("starts_below_c", "stops_above_c")}
        said = f"frost protection below {lower['starts_below_c']:g} degC, now {frost.starts_below_c:g} degC"
        watch = frost.model_copy(update=lower)
        yield Change(said, lambda s: _scheduled(s, frost_protection=watch))
    if heating is None:
        return
    said = f"every set point {LOWER_K:g} K lower, now {heating.keep_at_c:g} degC"
    yield Change(said, lambda s: _heated(s, _lower))
    tariff = scenario.supply.tariff
    if heating.when_dear is None and not isinstance(tariff, PriceFile) and tariff.windows:
        dear = Dear.model_construct(above=_between(tariff), let_fall_by_k=LOWER_K)
        said = f"water {LOWER_K:g} K cooler while a kilowatt-hour costs most"
        yield Change(said, lambda s: _heated(s, lambda h: h.model_copy(update={"when_dear": dear})))


def _mm(thick_m: float) -> str:
    return format_quantity(thick_m, "length")


def _may_be_thicker(leg: Leg) -> bool:
    return not leg.dead_end and leg.insulation_m < PIPES_M


def _insulated(leg: Leg) -> Leg:
    return leg.model_copy(update={"insulation_m": PIPES_M}) if _may_be_thicker(leg) else leg


def _scheduled(scenario: Scenario, **update: object) -> Scenario:
    return scenario.model_copy(update={"schedule": scenario.schedule.model_copy(update=update)})


def _heated(scenario: Scenario, change: Callable[[Heating], Heating]) -> Scenario:
    heating = scenario.schedule.heating
    assert heating is not None
    return _scheduled(scenario, heating=change(heating))


def _lower(heating: Heating) -> Heating:
    def step(one: PlanStep) -> PlanStep:
        return one.model_copy(update={"keep_at_c": one.keep_at_c - LOWER_K})

    plan = tuple(step(one) for one in heating.plan)
    return heating.model_copy(update={"keep_at_c": heating.keep_at_c - LOWER_K, "plan": plan})


def _between(tariff: Tariff) -> Price:
    """A price between the lowest and the highest of a tariff."""
    prices = [tariff.otherwise, *(window.price for window in tariff.windows)]
    low, high = (end(prices, key=lambda price: price.amount) for end in (min, max))
    return low._replace(amount=0.5 * (low.amount + high.amount))
