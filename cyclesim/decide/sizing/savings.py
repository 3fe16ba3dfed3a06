"""What would save most: each change of a plant or its wishes run through a year, alone and together.

A trial runs with its change from the warm-up on, as if the plant were always like that. Of the programme only
shorter filter runs are tried; a better one is a matter of `tune`. Years that pay a change back are counted
simply: its price over what it saves in a year.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any, Literal, NamedTuple
from zoneinfo import ZoneInfo

from cyclesim.analysis.amounts import lasting, listed
from cyclesim.analysis.result import days_of_year
from cyclesim.decide.sweeps.outcome import Outcome
from cyclesim.decide.sweeps.sweep import HERE, How, job, sweep
from cyclesim.scenario.blocks.data_sheets import Equipment
from cyclesim.scenario.blocks.heat_sources import Boiler, HeatPump, HeatSource, Solar, Wood
from cyclesim.scenario.blocks.heating import Dear, Heating, PlanStep
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.blocks.place import Price, PriceFile, Tariff
from cyclesim.scenario.blocks.plant import Cover, Leg
from cyclesim.scenario.blocks.schedule import Run
from cyclesim.simulation.prices import dearer, prices
from cyclesim.simulation.sessions import sessions
from cyclesim.simulation.variant import with_each, with_plant
from cyclesim.units import format_quantity

PIPES_M, MORE_M, LOWER_K, SET_BACK_K = 0.025, 0.05, 1.0, 5.0
"""Insulation that pipes are tried with, how much more cover and shell, how much lower set points: choices."""
_STEP_S, _DAY_S, _LEAST_KEPT_C = 900.0, 86_400.0, 5.0
YEAR_DAYS = 365.0
_FROST_K, _LEAST_FROST_C = 2.0, 4.0
"""Frost protection is tried so much lower, and never below the latter (common practice, no source)."""


class SavingChange(NamedTuple):
    """One change in words, from what to what, and what it makes of a scenario."""

    sentence: str
    of: Callable[[Scenario], Scenario]
    priced: Literal["", "pipes", "cover", "shell"] = ""
    """Where `money.changes` has its price."""


@dataclass(frozen=True, slots=True)
class Saving:
    """What a year with a change comes to, beside a year as the file has it."""

    change: str
    energy_kwh_less: float
    """Electricity and fuel."""
    cost_less: float
    breaks: tuple[str, ...]
    """Rules of danger, hygiene and comfort that are broken with it and not without."""
    price: float | None = None
    """To make the change; None where the file has none."""
    pays_back_years: float | None = None
    """None without a price, or where it saves nothing."""


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
    not_tried: tuple[str, ...] = ()
    """What would be no saving but a loss of comfort, and why."""


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
    tried = [
        _saving(change.sentence, now, year, _price(scenario, change))
        for change, year in zip(all_changes, ran, strict=True)
    ]
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
        prices = [price for change in good if (price := _price(scenario, change)) is not None]
        known = len(prices) == sum(bool(change.priced) for change in good) > 0
        words = "; ".join(change.sentence for change in good)
        together = _saving(words, now, year, sum(prices) if known else None)
    ordered = tuple(sorted(tried, key=lambda one: -one.cost_less))
    energy_kwh = now.energy_kwh + now.fuel_kwh
    left_out = tuple(_not_tried(scenario))
    return Savings(scenario, days, now.currency, energy_kwh, now.cost, ordered, together, left_out)


def _price(scenario: Scenario, change: SavingChange) -> float | None:
    prices = scenario.money.changes if scenario.money else None
    price = getattr(prices, change.priced) if prices and change.priced else None
    return None if price is None else float(price.amount)


def _saving(sentence: str, now: Outcome, then: Outcome, price: float | None) -> Saving:
    broken = {finding.rule for finding in now.findings}
    less = now.cost - then.cost
    return Saving(
        sentence,
        now.energy_kwh + now.fuel_kwh - then.energy_kwh - then.fuel_kwh,
        less,
        tuple(dict.fromkeys(f.rule for f in then.findings if f.severity != "wear" and f.rule not in broken)),
        price,
        None if price is None or less <= 0.0 else price / (less * YEAR_DAYS / now.days),
    )


def changes(scenario: Scenario) -> Iterator[SavingChange]:
    """What this file leaves room for."""
    plant, heating = scenario.plant, scenario.schedule.heating
    thin = [leg.insulation_m for leg in plant.legs.values() if _may_be_thicker(leg)]
    if thin:
        said = f"pipes insulated by {_mm(PIPES_M)}, now {_mm(min(thin))} at the least"
        yield SavingChange(said, lambda s: with_each(s, "legs", _insulated), "pipes")
    housings = {**plant.equipment, **plant.heat_sources}
    bare = {name: it.insulation_m for name, it in housings.items() if _may_be_lagged(it)}
    if bare:
        now = f"now {_mm(min(bare.values()))} at the least"
        said = f"{listed([*bare])} insulated by {_mm(PIPES_M)} where the maker allows, {now}"
        yield SavingChange(
            said, lambda s: with_each(with_each(s, "equipment", _lagged), "heat_sources", _lagged)
        )
    tub = plant.tub
    if tub.cover == "none":
        lid = Cover.model_construct(foam_m=MORE_M, fit="good")
        said = f"a cover of {_mm(MORE_M)} that fits well, now none"
        yield SavingChange(
            said, lambda s: with_plant(s, tub=s.plant.tub.model_copy(update={"cover": lid})), "cover"
        )
    else:
        more = tub.cover.model_copy(update={"foam_m": tub.cover.foam_m + MORE_M, "fit": "good"})
        fit = "" if tub.cover.fit == "good" else f" and a good fit, now {tub.cover.fit}"
        said = f"a cover of {_mm(more.foam_m)}{fit}, now {_mm(tub.cover.foam_m)}"
        thick = tub.model_copy(update={"cover": more})
        yield SavingChange(said, lambda s: with_plant(s, tub=thick), "cover")
    shell = tub.shell.model_copy(update={"insulation_m": tub.shell.insulation_m + MORE_M})
    said = f"a shell insulated by {_mm(shell.insulation_m)}, now {_mm(tub.shell.insulation_m)}"
    yield SavingChange(
        said, lambda s: with_plant(s, tub=s.plant.tub.model_copy(update={"shell": shell})), "shell"
    )
    frost = scenario.schedule.frost_protection
    if frost is not None and frost.starts_below_c - _FROST_K >= _LEAST_FROST_C:
        lower = {name: getattr(frost, name) - _FROST_K for name in ("starts_below_c", "stops_above_c")}
        said = f"frost protection below {lower['starts_below_c']:g} degC, now {frost.starts_below_c:g} degC"
        watch = frost.model_copy(update=lower)
        yield SavingChange(said, lambda s: _scheduled(s, frost_protection=watch))
    runs = [run for run in scenario.schedule.filter_runs if _shorter_s(run) < run.lasts_s]
    if runs:
        longest = lasting(max(run.lasts_s for run in runs))
        yield SavingChange(f"filter runs a quarter shorter, the longest now {longest}", _filtered_less)
    if heating is None:
        return
    said = f"every set point {LOWER_K:g} K lower, now {heating.keep_at_c:g} degC"
    yield SavingChange(said, lambda s: _heated(s, _lower))
    yield from _set_back(scenario, heating)
    tariff = scenario.supply.tariff
    if _has_dear_hours(scenario) and not _bathes_while_dear(scenario):
        assert isinstance(tariff, Tariff)
        dear = Dear.model_construct(above=_between(tariff), let_fall_by_k=LOWER_K)
        said = f"water {LOWER_K:g} K cooler while a kilowatt-hour costs most"
        yield SavingChange(said, lambda s: _heated(s, lambda h: h.model_copy(update={"when_dear": dear})))


def _set_back(scenario: Scenario, heating: Heating) -> Iterator[SavingChange]:
    """Cooler between the hours at which it is to be warm: the file's own set-back, or one around sessions."""
    lower_c = heating.keep_at_c - SET_BACK_K
    if lower_c < _LEAST_KEPT_C:
        return
    if heating.plan:
        if heating.keep_at_c < min(step.keep_at_c for step in heating.plan):
            said = f"a set-back of {lower_c:g} degC, now {heating.keep_at_c:g} degC"
            yield SavingChange(
                said, lambda s: _heated(s, lambda h: h.model_copy(update={"keep_at_c": lower_c}))
            )
        return
    entries = scenario.schedule.bathing
    if not entries or any(entry.drawn or entry.lasts_s >= _DAY_S for entry in entries):  # type: ignore[operator]
        return
    steps = tuple(
        PlanStep.model_construct(
            days=entry.days,
            repeats=entry.repeats,
            ready_by=start,
            from_time=None,
            until=(datetime.combine(date.min, start) + timedelta(seconds=entry.lasts_s or 0.0)).time(),
            keep_at_c=heating.keep_at_c,
        )
        for entry in entries
        for start in entry.start or ()
    )
    changed = {"keep_at_c": lower_c, "plan": steps}
    said = f"a set-back of {lower_c:g} degC between sessions, warm again by each, now none"
    yield SavingChange(said, lambda s: _heated(s, lambda h: h.model_copy(update=changed)))


def _has_dear_hours(scenario: Scenario) -> bool:
    heating, tariff = scenario.schedule.heating, scenario.supply.tariff
    open_ = heating is not None and heating.when_dear is None
    return open_ and not isinstance(tariff, PriceFile) and bool(tariff.windows)


def _bathes_while_dear(scenario: Scenario) -> bool:
    """Whether somebody is in the water, in the file's year, while a kilowatt-hour costs most."""
    tariff, zone = scenario.supply.tariff, ZoneInfo(scenario.place.time_zone)
    assert isinstance(tariff, Tariff)
    begin, end = (
        datetime(year, 1, 1, tzinfo=zone).astimezone(UTC)
        for year in (scenario.place.year, scenario.place.year + 1)
    )
    span_s = round((end - begin).total_seconds())
    dear = dearer(*prices(tariff, begin, scenario.place.time_zone, span_s), _between(tariff).amount)
    inside = sessions(scenario, begin, span_s, seed=0)
    return any(one.start_s < until and one.end_s > since for one in inside for since, until in dear)


def _not_tried(scenario: Scenario) -> Iterator[str]:
    frost = scenario.schedule.frost_protection
    if frost is not None and frost.starts_below_c - _FROST_K < _LEAST_FROST_C:
        yield (
            f"frost protection {_FROST_K:g} K lower, now below {frost.starts_below_c:g} degC, because "
            f"{_LEAST_FROST_C:g} degC is the least that is tried (common practice, no source)"
        )
    if _has_dear_hours(scenario) and _bathes_while_dear(scenario):
        yield "cooler water while a kilowatt-hour costs most, because people bathe in those hours"


def _shorter_s(run: Run) -> float:
    """Three quarters of it, in whole steps of what is keyed in."""
    return max(_STEP_S, _STEP_S * round(0.75 * run.lasts_s / _STEP_S))


def _filtered_less(scenario: Scenario) -> Scenario:
    runs = scenario.schedule.filter_runs
    less = (run.model_copy(update={"lasts_s": min(run.lasts_s, _shorter_s(run))}) for run in runs)
    return _scheduled(scenario, filter_runs=tuple(less))


def _mm(thick_m: float) -> str:
    return format_quantity(thick_m, "length")


def _may_be_thicker(leg: Leg) -> bool:
    return not leg.dead_end and leg.insulation_m < PIPES_M


def _insulated(leg: Leg) -> Leg:
    return leg.model_copy(update={"insulation_m": PIPES_M}) if _may_be_thicker(leg) else leg


def _may_be_lagged(thing: Equipment | HeatSource) -> bool:
    """Filters, electric heaters and plates alone: foam has no place on a burner, a stove or collectors."""
    cool = not isinstance(thing, HeatPump | Boiler | Wood | Solar)
    plates = isinstance(thing, HeatPump | Boiler) and thing.own_water is not None
    return (cool or plates) and thing.volume_m3 > 0.0 and thing.insulation_m < PIPES_M


def _lagged(thing: Any) -> Any:
    return thing.model_copy(update={"insulation_m": PIPES_M}) if _may_be_lagged(thing) else thing


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
