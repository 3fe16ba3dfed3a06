"""What each reading would be at a plant: off a duty, a closed form or a run between two dates."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, time
from functools import lru_cache
from typing import NamedTuple
from zoneinfo import ZoneInfo

import numpy as np

from cyclesim.analysis.history import History
from cyclesim.analysis.metrics import Metrics
from cyclesim.analysis.result import measure
from cyclesim.decide.readings.built import AsBuilt, BuiltPlant
from cyclesim.decide.sweeps.pool import each
from cyclesim.decide.sweeps.sweep import How
from cyclesim.physics import climate, water
from cyclesim.physics.evaporation import sky_c
from cyclesim.physics.laws import Law
from cyclesim.physics.tub_heat import TubHeat
from cyclesim.physics.water_age import reached
from cyclesim.scenario.blocks.heat_sources import HeatPump
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.blocks.readings import (
    Amps,
    Arrival,
    Bucket,
    Cooling,
    Energy,
    FlowMeter,
    Gauge,
    Reading,
    Running,
    WarmUp,
    Watts,
)
from cyclesim.simulation.assembly import Assembly, PlantDuty
from cyclesim.simulation.engine import simulate_trace
from cyclesim.simulation.exchanges import Exchanges
from cyclesim.simulation.hourly_weather import Weather, weather, zones
from cyclesim.simulation.jets import jet_name, stretch_name
from cyclesim.simulation.programme import Programme
from cyclesim.simulation.trace import Zones

_DAY_S, _HOUR_S, _KWH = 86_400, 3600, 3.6e6
NEVER_S = 1e5
"""What stands for an arrival that never comes: no reading is as long."""
GAUGE_KG_M3 = 1000.0
"""Of the water in whose metres a gauge has pressures, 9.80665 kPa each (NIST SP 811, from memory)."""


def predictions(built: AsBuilt, readings: Sequence[Reading], measured: date) -> list[float]:
    """What each reading would be at a plant, in SI; *measured* is the date of those that name none.

    Pressures in m of cold water, as a gauge has them, flows in m3/s without sign, times in s, the tub's
    temperature at the end of a warm-up or cooling in degC, energies in J. Raises InputError where the weather
    of a file does not cover the dates of a reading.
    """
    plant = BuiltPlant(built)
    runs: dict[tuple[date, date], Metrics] = {}
    return [_predicted(built, plant, reading, measured, runs) for reading in readings]


class Prediction(NamedTuple):
    """What is to be predicted: these readings at this plant."""

    built: AsBuilt
    readings: Sequence[Reading]
    measured: date


def predicted_each(tasks: Sequence[Prediction], how: How) -> list[list[float]]:
    """Every prediction, in order; those that take runs between dates are shared out as *how* says."""
    runs = any(isinstance(reading, Energy | Running) for task in tasks for reading in task.readings)
    if not runs:
        return [predictions(*task) for task in tasks]
    done: dict[int, list[float]] = {}
    for place, values in each(_one, tasks, how.workers, how.cluster):
        done[place] = values
        if how.on_run is not None:
            how.on_run(len(done), len(tasks))
    return [done[place] for place in range(len(tasks))]


def _one(task: Prediction) -> list[float]:
    return predictions(*task)


def _predicted(
    built: AsBuilt,
    plant: BuiltPlant,
    reading: Reading,
    measured: date,
    runs: dict[tuple[date, date], Metrics],
) -> float:
    match reading:
        case Gauge():
            head = head_m(plant, duty_of(plant, reading), reading) - reading.above_water_m
            return head * water.density_kg_m3(plant.temp_c) / GAUGE_KG_M3
        case FlowMeter():
            return abs(duty_of(plant, reading).flow_m3_s(reading.through))
        case Bucket():
            name = jet_name(reading.at, reading.jet) if reading.jet else reading.at
            return abs(duty_of(plant, reading).flow_m3_s(name))
        case Arrival():
            return _arrival_s(plant, duty_of(plant, reading), reading)
        case Amps() | Watts():
            return _draw(plant, reading)
        case WarmUp() | Cooling():
            return _warmed_c(plant, reading, measured)
        case Energy() | Running():
            if reading.between not in runs:
                runs[reading.between] = _run(built, reading.between)
            return _metered(runs[reading.between], reading)


def duty_of(plant: Assembly, reading: Gauge | FlowMeter | Bucket | Arrival | WarmUp | Cooling) -> PlantDuty:
    """The duty at which a reading is taken."""
    speeds = dict(reading.runs)
    at = tuple(
        reading.valves.get(name, usual) for name, usual in zip(plant.turnable, plant.usually, strict=True)
    )
    return plant.duty(tuple(speeds.get(name, "stopped") for name in plant.pumps), at)


def head_m(plant: Assembly, duty: PlantDuty, reading: Gauge) -> float:
    """Head over the tub's water at a gauge's place [m]; 0 where nothing joins it to the tub."""
    node = reading.at.name
    if reading.at.side:
        node = plant.ends_of(reading.at.name)[reading.at.side == "after"]
    return duty.duty.heads_m.get(node, 0.0)


def _arrival_s(plant: Assembly, duty: PlantDuty, reading: Arrival) -> float:
    """Plug flow: dye comes with the water, warmth later by what the pipes' walls take up."""
    plugs = plant.plugs
    if reading.of == "warm_water":
        held = [reach.capacity_j_k / plant.per_m3_k for reach in plant.reaches]
        plugs = tuple(replace(plug, volume_m3=m3) for plug, m3 in zip(plugs, held, strict=True))
    jet = reading.jet or 1
    end = stretch_name(reading.at, jet) if jet > 1 else reading.at
    after_s = reached(plugs, duty.plug_flows_m3_s)[plant.reach_at[end]]
    return after_s if 0.0 < after_s < NEVER_S else NEVER_S


def _draw(plant: Assembly, reading: Amps | Watts) -> float:
    """The nameplate's: in this model it does not follow the duty."""
    name, speed = reading.of
    if name in plant.pumps:
        if isinstance(reading, Amps):
            return plant.current_a(name, speed)
        return plant.speeds[name][speed].power_w
    power_w = plant.sheet.heat_sources[name].output_w
    return power_w / plant.voltage_v if isinstance(reading, Amps) else power_w


# -- heat ------------------------------------------------------------------------------------------------


def _warmed_c(plant: Assembly, reading: WarmUp | Cooling, measured: date) -> float:
    """The tub's temperature after the time that was taken, by the engine's own heat, all around it steady."""
    scenario, hours = plant.scenario, int(reading.took_s // _HOUR_S) + 2
    around = surroundings_c(scenario, measured, reading.air_c)
    series = {name: [value] * hours for name, value in around.items()}
    duty = duty_of(plant, reading)
    heats_w = dict(duty.pump_heats_w)
    exchanges = Exchanges(plant, _steady(scenario, measured, around["outdoors"], hours), Zones(0, series), {})
    laws: list[tuple[int, Law, int | None]] = []
    for name in reading.heat if isinstance(reading, WarmUp) else ():
        if plant.is_still(name, duty):
            continue  # its own water takes the heat and a limit stops it
        if isinstance(plant.sheet.heat_sources[name], HeatPump):
            laws.append((*exchanges.heat_pump(name), plant.reach_at[name]))
        else:
            heats_w[name] = plant.sheet.heat_sources[name].output_w
    covered = reading.cover == "on" and plant.sheet.tub.cover != "none"
    if not covered:
        laws.append((*exchanges.open_water(), None))
    heat = TubHeat(
        plant.tub_node, plant.ways, plant.body_of, series, 0, 0, reading.from_c,
        lambda _: None, lambda *_: None,
    )  # fmt: skip
    heat.change(duty.plug_flows_m3_s, {plant.reach_at[name]: w for name, w in heats_w.items()}, laws, covered)
    heat.advance(round(reading.took_s))
    return heat.water_c


def surroundings_c(scenario: Scenario, day: date, air_c: float | None) -> dict[str, float]:
    """Mean temperature of every zone on a day, those that follow the weather about the air that was read."""
    means = _means_c(_Place(scenario), day)
    if air_c is None:
        return means
    follow = {
        name: climate.follow([air_c], zone.above_by_k, zone.never_below_c, zone.never_above_c)[0]
        for name, zone in scenario.place.zones.items()
        if zone.follows
    }
    return {**means, **follow}


class _Place:
    """A scenario known by its place alone, so that a day's means are worked out once for all variants."""

    def __init__(self, scenario: Scenario) -> None:
        self.scenario = scenario

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Place) and self.scenario.place == other.scenario.place

    def __hash__(self) -> int:
        return hash(self.scenario.place.time_zone)


def _begin(scenario: Scenario, day: date) -> datetime:
    return datetime.combine(day, time(), tzinfo=ZoneInfo(scenario.place.time_zone)).astimezone(UTC)


@lru_cache(maxsize=64)
def _means_c(place: _Place, day: date) -> dict[str, float]:
    series = zones(place.scenario, _begin(place.scenario, day), 0, _DAY_S).series
    return {name: float(np.mean(hourly[:24])) for name, hourly in series.items()}


@lru_cache(maxsize=64)
def _weather_of(place: _Place, day: date) -> Weather:
    return weather(place.scenario, _begin(place.scenario, day), 0, _DAY_S)


def _steady(scenario: Scenario, day: date, air_c: float, hours: int) -> Weather:
    """A day's mean weather, steady, with the sky as the file has it for this air."""
    over = _weather_of(_Place(scenario), day)
    humidity, wind = float(np.mean(over.humidity)), float(np.mean(over.wind_m_s))
    colder_k = float(np.mean(np.subtract(over.air_c, over.sky_c)))
    sky = sky_c(air_c, humidity, scenario.place.weather.cloud) if colder_k else air_c
    return Weather(0, [air_c] * hours, [humidity] * hours, [wind] * hours, [sky] * hours)


# -- between two dates ----------------------------------------------------------------------------------


def _run(built: AsBuilt, between: tuple[date, date]) -> Metrics:
    plant, programme = BuiltPlant(built), Programme(built.scenario)
    first, last = between
    trace = simulate_trace(plant, programme, days=(last - first).days, start=first)
    return measure(History(plant, programme, trace))


def _metered(metrics: Metrics, reading: Energy | Running) -> float:
    if isinstance(reading, Running):
        if reading.of in metrics.pumps:
            return metrics.pumps[reading.of].running_h * _HOUR_S
        return metrics.heat_sources[reading.of].firing_h * _HOUR_S
    energy = metrics.energy
    kwh = energy.energy_kwh if reading.of is None else energy.by_device[reading.of].energy_kwh
    return kwh * _KWH
