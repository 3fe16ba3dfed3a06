"""How large a heater should be: warming up, a year, the supply and the sessions over a range of sizes."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import NamedTuple

import numpy as np

from cyclesim.analysis.amounts import lasting, listed
from cyclesim.analysis.result import days_of_year
from cyclesim.analysis.truth import LASTING_S
from cyclesim.decide.sizing.heat_up import (
    Balance,
    Held,
    Losses,
    Seasons,
    Warmer,
    WarmingUp,
    heating_duty,
    heating_of,
    losses_of,
    means_c,
    seasons,
    sources_w,
    too_cold_h,
    warmest_c,
    with_losses_s,
    without_losses_s,
)
from cyclesim.decide.sizing.heater_need import Need, need_of, ready_clock, set_back_of
from cyclesim.decide.sizing.heater_sizes import chosen_source, sizes_around, with_size
from cyclesim.decide.sizing.supply_share import SupplyShare, largest_w, supply_share
from cyclesim.decide.sweeps.outcome import Outcome
from cyclesim.decide.sweeps.pool import each
from cyclesim.decide.sweeps.sweep import HERE, How, job, sweep
from cyclesim.errors import Fault, InputError
from cyclesim.physics import water
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.hourly_weather import fill_c

_ALIKE = 0.01
"""Sizes of which a year's cost differs by less than this share are alike in cost.

Some thirty times what the phase of a thermostat makes: 0.03 % over a year of three plants, each with up to
0.15 % more water. What is below is no reason to pass over a smaller size.
"""
HOLDS, SESSIONS, READY, SUPPLY, RULES = "holds", "sessions", "ready", "supply", "rules"


@dataclass(frozen=True, slots=True)
class Against:
    """What stands against a size: one of holds, sessions, ready, supply, rules; and it in words."""

    what: str
    text: str


@dataclass(frozen=True, slots=True)
class Size:
    """All that one size comes to; times in seconds, None for never or where nothing asks for it."""

    size_w: float
    is_own: bool
    filled_coldest_s: float | None
    filled_mild_s: float | None
    from_set_back_s: float | None
    begin_at: str | None
    """Local time at which heating must begin on the coldest day, or the days before, to be ready."""
    without_losses_s: float
    with_losses_s: float | None
    balance: Balance | None
    """Of warming the tub up that is just filled, in the coldest week."""
    held: Held
    days: int
    energy_kwh: float
    fuel_kwh: float
    cost: float
    firing_h: float
    pump_h: float
    sessions: int
    cold_sessions: int
    not_ready: int
    """How often the water was not warm by a ready_by."""
    outlet_warmer_k: float
    """What the heater warms the water by that passes it, at the duty of heating."""
    supply: SupplyShare | None
    most_current_a: float
    """What the whole supply drew at the most in the year that was run."""
    against: tuple[Against, ...]

    def lacks(self, *what: str) -> bool:
        """Whether one of these stands against it."""
        return any(objection.what in what for objection in self.against)


@dataclass(frozen=True, slots=True)
class NoneDoes:
    """What would help where no size does everything; None where it does not apply."""

    nearest_w: float
    """The largest size that its circuit carries and that breaks no rule, else the smallest."""
    needed_w: float | None
    """The smallest size that is warm in time and keeps every session warm, whatever the supply."""
    needed_breaker_a: float | None
    takes_s: float | None
    """How long the nearest takes for what must be ready."""
    set_back_c: float | None
    """The lowest set-back from which the nearest is ready within the need."""


@dataclass(frozen=True)
class HeaterSizing:
    """A heater in several sizes, and the smallest that does everything."""

    scenario: Scenario
    source: str
    own_w: float
    to_c: float
    fill_c: float
    set_back_c: float
    set_back_why: str
    ready_at: str | None
    """Clock time by which it is to be warm, and whose time that is."""
    ready_why: str
    need: Need
    seasons: Seasons
    currency: str
    sizes: tuple[Size, ...]
    recommended: Size | None
    none_does: NoneDoes | None
    supply_limit_w: float | None
    """The largest size that its circuit carries beside what may run with it."""
    pump_heat_w: float
    """What the pump gives the water while it heats."""
    losses: Losses
    """Of the plant while it heats, in the coldest week."""
    too_cold_h: Mapping[str, int]
    """Hours of the coldest week in which the air is below what each heat pump works in."""

    def next_to(self, size: Size) -> tuple[Size | None, Size | None]:
        """The next smaller and the next larger size."""
        k = self.sizes.index(size)
        return self.sizes[k - 1] if k else None, self.sizes[k + 1] if k + 1 < len(self.sizes) else None


def size_heater(
    scenario: Scenario,
    *,
    sizes_w: Sequence[float] | None = None,
    source: str | None = None,
    from_c: float | None = None,
    within_s: float | None = None,
    seed: int = 0,
    how: How = HERE,
) -> HeaterSizing:
    """Try a heat source of a scenario in several sizes [W], the file's own among them.

    *source*: the first electric one of `schedule.heating.with`, else the first switched, unless told.
    *from_c*: the set-back [degC] to warm up from, the file's unless told. *within_s*: how long that may take.
    Raises InputError for what cannot be sized.
    """
    name = chosen_source(scenario, source)
    heating = heating_of(scenario)
    own_w = scenario.plant.heat_sources[name].output_w
    to_c, filled_c = warmest_c(heating), fill_c(scenario)
    lowest_c, why_c = set_back_of(scenario, from_c)
    if lowest_c >= to_c:
        raise InputError(
            Fault(
                "--from", 0, 0, "", f"{lowest_c:g} degC", f"expected less than the set point of {to_c:g} degC"
            )
        )
    need, when = need_of(scenario, within_s), seasons(scenario)
    clock, clock_why = ready_clock(scenario)
    plant = Assembly(scenario)
    supply_limit_w = largest_w(plant, name, lasts=True)
    watts = sizes_around(own_w, sizes_w, supply_limit_w)
    first = date(scenario.place.year, 1, 1)
    days = days_of_year(first)
    made = [with_size(scenario, name, w) for w in watts]
    years = sweep([job(variant, days, first, seed) for variant in made], how)
    own_year = years[watts.index(own_w)]
    ready = None if clock is None else datetime.combine(when.coldest_day, clock)
    asked = [_Asked(variant, name, to_c, filled_c, lowest_c, when, ready) for variant in made]
    warmed = dict(each(_measure, asked, how.workers, how.cluster))
    sizes = []
    for k, (w, variant, year) in enumerate(zip(watts, made, years, strict=True)):
        by_run = warmed[k]
        cold = by_run.filled_coldest
        share = supply_share(Assembly(variant), name, lasts=cold.seconds is None or cold.seconds >= LASTING_S)
        ready_s = by_run.from_set_back_s if need.from_set_back else cold.seconds
        size = Size(
            size_w=w,
            is_own=w == own_w,
            filled_coldest_s=cold.seconds,
            filled_mild_s=by_run.filled_mild_s,
            from_set_back_s=by_run.from_set_back_s,
            begin_at=by_run.begin_at,
            without_losses_s=by_run.without_losses_s,
            with_losses_s=by_run.with_losses_s,
            balance=cold.balance,
            held=by_run.held,
            days=days,
            energy_kwh=year.energy_kwh,
            fuel_kwh=year.fuel_kwh,
            cost=year.cost,
            firing_h=year.devices[name].running_h,
            pump_h=year.pump_h,
            sessions=year.sessions,
            cold_sessions=_cold_sessions(year),
            not_ready=_cold(year, "ready by"),
            outlet_warmer_k=by_run.outlet_warmer_k,
            supply=share,
            most_current_a=year.most_current_a,
            against=tuple(_against(year, own_year, by_run.held, to_c, share, need, ready_s)),
        )
        sizes.append(size)
    good = [size for size in sizes if not size.against]
    return HeaterSizing(
        scenario=scenario,
        source=name,
        own_w=own_w,
        to_c=to_c,
        fill_c=filled_c,
        set_back_c=lowest_c,
        set_back_why=why_c,
        ready_at=None if clock is None else f"{clock:%H:%M}",
        ready_why=clock_why,
        need=need,
        seasons=when,
        currency=years[0].currency,
        sizes=tuple(sizes),
        recommended=_advised(good, need),
        none_does=None if good else _none_does(scenario, name, sizes, to_c, lowest_c, need, when),
        supply_limit_w=supply_limit_w,
        pump_heat_w=heating_duty(plant).pump_heat_w,
        losses=losses_of(plant, when.coldest_week),
        too_cold_h=too_cold_h(scenario, when.coldest_week),
    )


def _advised(good: Sequence[Size], need: Need) -> Size | None:
    """The smallest than which no other is warm sooner and costs clearly less a year as well."""

    def waited_s(size: Size) -> float:
        waited = size.from_set_back_s if need.from_set_back else size.filled_coldest_s
        return float("inf") if waited is None else waited

    def beaten(size: Size) -> bool:
        return any(
            waited_s(other) < waited_s(size) and other.cost < (1.0 - _ALIKE) * size.cost for other in good
        )

    return next((size for size in good if not beaten(size)), None)


# -- what a size comes to ------------------------------------------------------------------------------------


class _Asked(NamedTuple):
    """One size, and what to warm up from and when."""

    scenario: Scenario
    name: str
    to_c: float
    fill_c: float
    set_back_c: float
    seasons: Seasons
    ready: datetime | None


class _Measured(NamedTuple):
    """What the runs of one size beside its year came to."""

    filled_coldest: WarmingUp
    filled_mild_s: float | None
    from_set_back_s: float | None
    begin_at: str | None
    without_losses_s: float
    with_losses_s: float | None
    held: Held
    outlet_warmer_k: float


def _measure(asked: _Asked) -> _Measured:
    scenario, _, to_c, filled_c, lowest_c, when, ready = asked
    warmer = Warmer(scenario, to_c)
    begin = None if ready is None else warmer.latest_start(lowest_c, ready)
    losses, capacity = losses_of(warmer.plant, when.coldest_week), warmer.plant.tub_node.water_j_k
    power = sources_w(scenario, 0.5 * (filled_c + to_c), means_c(scenario, when.coldest_week))
    return _Measured(
        warmer.after_a_fill(when.coldest_week),
        warmer.after_a_fill(when.mild_day).seconds,
        warmer.warm_up(lowest_c, when.coldest_day).seconds,
        None if begin is None else _local_time(begin, when.coldest_day),
        without_losses_s(capacity, filled_c, to_c, power),
        with_losses_s(capacity, filled_c, to_c, power, losses),
        warmer.held(when.coldest_week),
        _outlet_k(warmer.plant, asked.name),
    )


def _cold(year: Outcome, subject: str) -> int:
    return sum(f.times for f in year.findings if f.rule == "cold-at-session" and f.subject == subject)


def _cold_sessions(year: Outcome) -> int:
    """Sessions that began in cold water, or that people stepped out of cold, whichever are more."""
    return max(_cold(year, "bathing"), _ended_cold(year))


def _ended_cold(year: Outcome) -> int:
    return sum(f.times for f in year.findings if f.rule == "cold-at-end")


def _outlet_k(plant: Assembly, name: str) -> float:
    heating = heating_of(plant.scenario)
    flow = abs(plant.duty(plant.at(*heating.pump)).flow_m3_s(name))
    per_m3 = water.density_kg_m3(plant.temp_c) * water.heat_capacity_j_kg_k(plant.temp_c)
    return plant.sheet.heat_sources[name].output_w / (per_m3 * flow) if flow else float("inf")


def _against(
    year: Outcome,
    own: Outcome,
    held: Held,
    to_c: float,
    share: SupplyShare | None,
    need: Need,
    ready_s: float | None,
) -> Iterable[Against]:
    if not held.holds:
        yield Against(
            HOLDS, f"does not hold {to_c:.4g} degC in the coldest week (down to {held.coldest_c:.1f})"
        )
    if _cold_sessions(year):
        both = (_cold(year, "bathing"), "begin"), (_ended_cold(year), "end")
        begin_or_end = [f"{n} {how} cold" for n, how in both if n]
        yield Against(SESSIONS, f"of {year.sessions} sessions {listed(begin_or_end)}")
    late = _cold(year, "ready by")
    if ready_s is None or ready_s > need.within_s:
        took = "never warm" if ready_s is None else f"takes {lasting(ready_s)}"
        yield Against(READY, f"{took}, {lasting(need.within_s)} allowed")
    elif late:
        yield Against(READY, f"{late} times in the year not warm by its ready_by")
    over = share is not None and share.share > 1.0 + 1e-9
    if over and share is not None:
        yield Against(SUPPLY, f"{share.counted_a:.1f} A of {share.breaker_a:g} A")
    known = {(f.rule, f.subject) for f in own.findings}
    for finding in year.broken("danger", "hygiene"):
        if finding.rule == "supply-overload":
            if not over:
                yield Against(SUPPLY, f"supply-overload in the year: {finding.worst_text}")
        elif (finding.rule, finding.subject) not in known:
            yield Against(RULES, f"breaks {finding.rule}: {finding.subject}, {finding.worst_text}")


def _local_time(begin: datetime, day: date) -> str:
    """A time to begin, with its date where it is not that day."""
    return f"{begin:%H:%M}" if begin.date() == day else f"{begin.day} {begin:%b %H:%M}"


def _none_does(
    scenario: Scenario,
    name: str,
    sizes: Sequence[Size],
    to_c: float,
    lowest_c: float,
    need: Need,
    when: Seasons,
) -> NoneDoes:
    fitting = [size for size in sizes if not size.lacks(SUPPLY, RULES)]
    nearest = fitting[-1] if fitting else sizes[0]
    warm = [size for size in sizes if not size.lacks(HOLDS, SESSIONS, READY, RULES)]
    set_back = None
    takes = nearest.from_set_back_s if need.from_set_back else nearest.filled_coldest_s
    if need.from_set_back and (takes is None or takes > need.within_s):
        warmer = Warmer(with_size(scenario, name, nearest.size_w), to_c)
        highest = to_c - heating_of(scenario).within_k
        for level in np.arange(np.ceil(2.0 * lowest_c) / 2.0, highest, 0.5).tolist():
            took = warmer.warm_up(level, when.coldest_day).seconds
            if took is not None and took <= need.within_s:
                set_back = level
                break
    return NoneDoes(
        nearest.size_w,
        warm[0].size_w if warm else None,
        warm[0].supply.counted_a if warm and warm[0].supply else None,
        takes,
        set_back,
    )
