"""How long a tub takes to warm up: run from cold by the engine, and by the handbook's two formulas.

A run may begin cold (`Begins` of `simulate_trace`): no warm-up, all water at one temperature, sources called
from the first second; this is how a heater is sized, so that proofs, blocks and rests count.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import NamedTuple
from zoneinfo import ZoneInfo

import numpy as np

from cyclesim.analysis.heat_rules import ENDLESS_S
from cyclesim.analysis.spans import meet, spans, total_s, while_in
from cyclesim.analysis.truth import duties_over_time
from cyclesim.physics.water_age import STILL_M3_S
from cyclesim.scenario.blocks.heat_sources import HeatPump
from cyclesim.scenario.blocks.heating import Heating
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.simulation.assembly import Assembly, PlantDuty
from cyclesim.simulation.drive import Begins
from cyclesim.simulation.engine import simulate_trace
from cyclesim.simulation.exchanges import OPEN_WATER, rated
from cyclesim.simulation.hourly_weather import fill_c, zones
from cyclesim.simulation.programme import HEATING, Programme
from cyclesim.simulation.trace import Trace

MOST_DAYS = 21
"""What is not warm by then counts as never warm."""
STEP_S = 300
"""A time to begin is told to so much."""

_KWH, _DAY_S, _REACHED_K = 3.6e6, 86_400, 1e-4


class Seasons(NamedTuple):
    """Days of the file's year: the coldest, the first of the coldest week, and one in a mild month."""

    coldest_day: date
    coldest_week: date
    mild_day: date


@dataclass(frozen=True, slots=True)
class Balance:
    """Where the heat of a warming-up went [kWh]: all that came in is what the rest adds up to."""

    from_sources_kwh: float
    from_pumps_kwh: float
    into_tub_water_kwh: float
    into_shell_kwh: float
    lost_by_cover_and_shell_kwh: float
    into_pipes_and_lost_there_kwh: float
    waited_h: float
    """How long no source fired."""


@dataclass(frozen=True, slots=True)
class WarmingUp:
    """One warming-up: seconds until the set point is reached (None: never), and the heat's ways."""

    seconds: float | None
    warmest_c: float
    balance: Balance | None


@dataclass(frozen=True, slots=True)
class Held:
    """The coldest week at the warmest set point: whether it is held, and the heat that this takes.

    Not held is what the rule heating-in-vain would say: heating called for 48 h on end.
    """

    holds: bool
    coldest_c: float
    loses_w: float
    cover_share: float
    """Of the loss, what leaves by cover and open surface."""


class Losses(NamedTuple):
    """Conductance [W/K] of the plant while it heats, and the one temperature [degC] that it loses heat to."""

    ua_w_k: float
    beyond_c: float


# -- the handbook --------------------------------------------------------------------------------------------


def without_losses_s(capacity_j_k: float, from_c: float, to_c: float, power_w: float) -> float:
    """t = m c dT / P [s]."""
    return max(0.0, capacity_j_k * (to_c - from_c)) / power_w


def with_losses_s(
    capacity_j_k: float, from_c: float, to_c: float, power_w: float, losses: Losses
) -> float | None:
    """The exponential approach to the temperature at which losses eat the power, up or down to *to_c* [s].

    None where it never gets there.
    """
    if losses.ua_w_k <= 0.0:
        return without_losses_s(capacity_j_k, from_c, to_c, power_w)
    end_c = losses.beyond_c + power_w / losses.ua_w_k
    if from_c == to_c:
        return 0.0
    ratio = (end_c - from_c) / (end_c - to_c) if end_c != to_c else 0.0
    return capacity_j_k / losses.ua_w_k * math.log(ratio) if ratio > 1.0 else None


def losses_of(plant: Assembly, day: date, days: int = 7) -> Losses:
    """What the plant loses while its heating pump runs, against the mean of its zones over some days."""
    tub, duty = plant.tub_node, heating_duty(plant)
    parts = [(tub.ua_cover_w_k, tub.cover_zone)]
    if tub.ua_shell_w_k > 0.0 and tub.g_w_k > 0.0:
        parts.append((1.0 / (1.0 / tub.ua_shell_w_k + 1.0 / tub.g_w_k), tub.shell_zone))
    moved = zip(plant.bodies, duty.body_flows_m3_s, strict=True)
    parts += [(body.ua_w_k, body.zone) for body, flow in moved if flow > STILL_M3_S]
    mean_c = means_c(plant.scenario, day, days)
    ua = sum(w_k for w_k, _ in parts)
    against = sum(w_k * mean_c[zone] for w_k, zone in parts)
    return Losses(ua, against / ua if ua else 0.0)


def means_c(scenario: Scenario, day: date, days: int = 7) -> dict[str, float]:
    """Mean temperature of every zone over some days."""
    return {name: float(np.mean(hourly)) for name, hourly in _hourly_c(scenario, day, days).items()}


def too_cold_h(scenario: Scenario, day: date, days: int = 7) -> dict[str, int]:
    """Hours of some days in which the air is too cold for each heat pump that heating calls."""
    hourly, sheets = _hourly_c(scenario, day, days), scenario.plant.heat_sources
    pumps = [(n, s) for n in heating_of(scenario).sources if isinstance(s := sheets[n], HeatPump)]
    return {
        name: sum(air_c < sheet.lowest_air_c for air_c in hourly[sheet.outside][: 24 * days])
        for name, sheet in pumps
    }


def _hourly_c(scenario: Scenario, day: date, days: int) -> dict[str, list[float]]:
    begin = datetime.combine(day, time(), tzinfo=ZoneInfo(scenario.place.time_zone)).astimezone(UTC)
    return zones(scenario, begin, 0, days * _DAY_S).series


def heating_duty(plant: Assembly) -> PlantDuty:
    """The plant with the pump on that heating asks for, alone."""
    pump, speed = heating_of(plant.scenario).pump
    return plant.duty(plant.at(pump, speed))


def sources_w(scenario: Scenario, half_way_c: float, zone_c: Mapping[str, float]) -> float:
    """Heat of all sources that heating switches [W]: a heat pump's half way up, in air as its zone's mean."""
    heat = 0.0
    for name in heating_of(scenario).sources:
        sheet = scenario.plant.heat_sources[name]
        if isinstance(sheet, HeatPump):
            heat += rated(sheet).at(zone_c[sheet.outside], scenario.place.weather.humidity, half_way_c)[0]
        elif sheet.switched:
            heat += sheet.output_w
    return heat


# -- what is asked -----------------------------------------------------------------------------------------


def heating_of(scenario: Scenario) -> Heating:
    """The heating of a scenario that is known to have one."""
    heating = scenario.schedule.heating
    assert heating is not None
    return heating


def warmest_c(heating: Heating) -> float:
    """The warmest set point that the file asks for."""
    return max([heating.keep_at_c, *(step.keep_at_c for step in heating.plan)])


def set_back_c(heating: Heating) -> float | None:
    """The lowest set point of the plan; without one, of the absences; None where the file has neither.

    One inside the thermostat's band below the warmest asks for no heat and is none.
    """
    below = warmest_c(heating) - heating.within_k
    for levels in ([heating.keep_at_c, *(s.keep_at_c for s in heating.plan)],
                   [a.keep_at_c for a in heating.absences]):  # fmt: skip
        if levels and min(levels) < below:
            return min(levels)
    return None


def seasons(scenario: Scenario) -> Seasons:
    """The coldest day and week of the file's year, and the middle of the month nearest the year's mean."""
    year = scenario.place.year
    zone = ZoneInfo(scenario.place.time_zone)
    first, days = date(year, 1, 1), (date(year + 1, 1, 1) - date(year, 1, 1)).days
    begin = datetime(year, 1, 1, tzinfo=zone).astimezone(UTC)
    hourly = zones(scenario, begin, 0, days * _DAY_S).series["outdoors"][: 24 * days]
    daily = np.array(hourly).reshape(days, 24).mean(axis=1)
    months = np.array([(first + timedelta(days=k)).month for k in range(days)])
    means = np.array([daily[months == month].mean() for month in range(1, 13)])
    mild = int(np.argmin(np.abs(means - daily.mean()))) + 1
    weeks = np.convolve(daily, np.ones(7) / 7.0, "valid")
    return Seasons(
        first + timedelta(days=int(np.argmin(daily))),
        first + timedelta(days=int(np.argmin(weeks))),
        date(year, mild, 15),
    )


def undisturbed(scenario: Scenario, to_c: float) -> Scenario:
    """The scenario with nothing but warming up to do: one set point, nobody bathes, nothing fails.

    Filter runs, flushes, frost protection, interlocks, proofs and rests stay.
    """
    heating = heating_of(scenario).model_copy(
        update={"keep_at_c": to_c, "plan": (), "absences": (), "when_dear": None}
    )
    quiet = {"bathing": (), "outages": (), "low_water": (), "valves_turned": ()}
    schedule = scenario.schedule.model_copy(update={"heating": heating, **quiet})
    return scenario.model_copy(update={"schedule": schedule})


# -- the run -----------------------------------------------------------------------------------------------


class Warmer:
    """Warmings-up of one scenario; the plant is assembled once."""

    def __init__(self, scenario: Scenario, to_c: float) -> None:
        self.to_c = to_c
        self.scenario = undisturbed(scenario, to_c)
        self.plant, self.programme = Assembly(self.scenario), Programme(self.scenario)

    @property
    def pump_heat_w(self) -> float:
        """What the pump gives the water while it heats."""
        return heating_duty(self.plant).pump_heat_w

    def warm_up(
        self, from_c: float, day: date, clock: time = time(), *, just_filled: bool = False
    ) -> WarmingUp:
        """Warm up from a temperature of all water, the sources called from the first second on."""
        if from_c >= self.to_c:
            return WarmingUp(0.0, from_c, None)
        begins, days = Begins(from_c, clock, just_filled), 3
        while True:
            trace = simulate_trace(self.plant, self.programme, days=days, start=day, begins=begins)
            warm_at_s = reached_s(trace, self.to_c)
            if warm_at_s is not None or days == MOST_DAYS:
                break
            days = min(MOST_DAYS, 3 * days)
        warmest = max(float(np.max(trace.tub.water_c)), trace.end_water_c)
        return WarmingUp(warm_at_s, warmest, None if warm_at_s is None else self._balance(trace, warm_at_s))

    def after_a_fill(self, day: date) -> WarmingUp:
        """Warm up a tub that has just been filled, its shell as cold as its zone."""
        return self.warm_up(fill_c(self.scenario), day, just_filled=True)

    def latest_start(self, from_c: float, ready: datetime) -> datetime | None:
        """The last local time, in steps of five minutes, from which it is warm by *ready*; None if never.

        Wall clock; found by trying, because weather, filter runs and flushes differ with the hour.
        """
        begin = ready
        for _ in range(6):
            took = self.warm_up(from_c, begin.date(), begin.time()).seconds
            if took is None:
                return None
            back = ready - timedelta(seconds=STEP_S * math.ceil(took / STEP_S))
            if back == begin:
                return begin
            begin = back
        for _ in range(24):  # it swings between two times: the earlier ones are tried one by one
            took = self.warm_up(from_c, begin.date(), begin.time()).seconds
            if took is not None and begin + timedelta(seconds=took) <= ready:
                return begin
            begin -= timedelta(seconds=STEP_S)
        return None

    def held(self, week: date) -> Held:
        """Hold the set point through a week, warmed up before it as every run is."""
        trace = simulate_trace(self.plant, self.programme, days=7, start=week)
        coldest = min(float(np.min(trace.tub.water_c)), trace.end_water_c)
        surface = float(np.sum(trace.tub.cover_loss_j))
        if OPEN_WATER in trace.exchanges:
            surface -= float(np.sum(trace.exchanges[OPEN_WATER].heat_j))
        lost = surface + float(np.sum(trace.tub.shell_loss_j))
        lost += sum(float(np.sum(stays.loss_j)) for stays in trace.stays.values())
        called = while_in(trace.demands[HEATING], "raised")
        endless = bool(len(called)) and float(np.max(called[:, 1] - called[:, 0])) >= ENDLESS_S
        return Held(not endless, coldest, lost / trace.span_s, surface / lost if lost > 0.0 else 0.0)

    def _balance(self, trace: Trace, until_s: float) -> Balance:
        tub, node = trace.tub, self.plant.tub_node
        begun = tub.start_s < until_s
        k = int(np.count_nonzero(begun))
        shell = np.append(tub.shell_c, tub.shell_c[-1])
        all_of = spans([(0.0, until_s)])
        firing = {
            name: total_s(meet(while_in(stream, "firing"), all_of)) for name, stream in trace.sources.items()
        }
        sheets = self.plant.sheet.heat_sources
        gave = 0.0
        for name, fired_s in firing.items():
            if name in trace.own_waters:
                own = trace.own_waters[name]
                given_j = own.given_j - own.lost_j if name in self.plant.behind_plates else own.given_j
                gave += float(np.sum(given_j[own.start_s < until_s]))
            elif name in trace.exchanges:
                rows = trace.exchanges[name]
                gave += float(np.sum(rows.heat_j[rows.start_s < until_s]))
            elif sheets[name].switched:
                gave += fired_s * sheets[name].output_w
        pumped = sum(
            duty.pump_heat_w * (min(end, until_s) - start)
            for start, end, duty in duties_over_time(self.plant, trace, coasting=False)
            if start < until_s
        )
        water = node.water_j_k * (self.to_c - float(tub.water_c[0]))
        into_shell = node.shell_j_k * float(shell[k] - shell[0])
        lost = float(np.sum(tub.cover_loss_j[begun]) + np.sum(tub.shell_loss_j[begun]))
        for name, rows in trace.exchanges.items():
            if name == OPEN_WATER:
                lost -= float(np.sum(rows.heat_j[rows.start_s < until_s]))
        any_fires = spans(
            sorted(tuple(span) for n in firing for span in while_in(trace.sources[n], "firing").tolist())
        )
        return Balance(
            gave / _KWH,
            pumped / _KWH,
            water / _KWH,
            into_shell / _KWH,
            lost / _KWH,
            (gave + pumped - water - into_shell - lost) / _KWH,
            (until_s - total_s(meet(any_fires, all_of))) / 3600.0,
        )


def reached_s(trace: Trace, level_c: float) -> float | None:
    """The first second at which the tub is this warm, linear between the ends of pieces; None if never."""
    instants_s = np.append(trace.tub.start_s, float(trace.span_s))
    water = np.append(trace.tub.water_c, trace.end_water_c)
    warm = np.flatnonzero(water >= level_c - _REACHED_K)
    if not len(warm):
        return None
    k = int(warm[0])
    if k == 0 or water[k] - level_c < _REACHED_K:
        return float(instants_s[k])
    return float(np.interp(level_c, water[k - 1 : k + 1], instants_s[k - 1 : k + 1]))
