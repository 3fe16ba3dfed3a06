"""Inputs that a file or a drawing states, but that nobody builds, measures or meets exactly."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any

from cyclesim.decide.sweeps.variant import Input, Variant, with_each
from cyclesim.physics import walls
from cyclesim.scenario.blocks.heat_sources import Electric
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.blocks.weather import Climate, Monthly, WeatherFile
from cyclesim.simulation.tolerance import AS_TOLD

PRACTICE = "common practice, no source"


def stated(scenario: Scenario) -> Iterator[Input]:
    """Inputs that a file states or a drawing has, but which nobody builds, measures or meets exactly."""

    def one(name: str, low: str, high: str, source: str, *ends: Variant | Scenario | None) -> Input:
        made = [Variant(end, AS_TOLD) if isinstance(end, Scenario) else end for end in ends]
        return Input(name, low, high, source, made[0], made[1])

    def off(**factors: Any) -> Variant:
        return Variant(scenario, replace(AS_TOLD, **factors))

    plant = scenario.plant
    mould = "plastic pipe is made to its outside, its wall thicker than the least, common practice, no source"
    yield one("bore of pipes", "-2 %", "as told", mould, _bores(scenario, 0.98), None)
    rough = "smooth plastic to a film of deposits of 0.05 mm, common practice, no source"
    yield one("roughness of pipes", "as told", "0.05 mm", rough, None, off(roughness=0.05e-3 / 1.5e-6))
    iso = "ISO 9906 grade 3B, from memory, not opened"
    yield one("pump curve", "head -7 %", "head +7 %", iso, _heads(scenario, 0.93), _heads(scenario, 1.07))
    yield one(
        "power of pumps", "-10 %", "+10 %", PRACTICE, _pump_powers(scenario, 0.9), _pump_powers(scenario, 1.1)
    )
    if any(leg.manifold for leg in plant.legs.values()):
        yield one("flow of jets", "-10 %", "+10 %", PRACTICE, _jets(scenario, 0.9), _jets(scenario, 1.1))
    if any(thing.kind == "filter" for thing in plant.equipment.values()):
        yield one("dirt in the filter", "clean", "drop +50 %", PRACTICE, None, _drops(scenario, 1.5))
    if any(isinstance(source, Electric) for source in plant.heat_sources.values()):
        iec = "IEC 60335-1 tolerance of rated input, from memory, not opened"
        yield one(
            "output of elements", "-10 %", "+5 %", iec, _outputs(scenario, 0.9), _outputs(scenario, 1.05)
        )
    yield one("mean air temperature", "-1 K", "+1 K", PRACTICE, air(scenario, -1.0), air(scenario, 1.0))
    if not any(d.path.startswith("place.weather.wind") for d in scenario.defaults):
        yield one("wind", "-50 %", "+50 %", PRACTICE, wind(scenario, 0.5), wind(scenario, 1.5))
    if scenario.schedule.heating:
        read = "the water's sensor"
        yield one(read, "-0.5 K", "+0.5 K", PRACTICE, _sensor(scenario, -0.5), _sensor(scenario, 0.5))
    if scenario.schedule.frost_protection:
        read = "the frost sensor"
        yield one(read, "-0.5 K", "+0.5 K", PRACTICE, _frost(scenario, -0.5), _frost(scenario, 0.5))
    if any(leg.insulation_m for leg in plant.legs.values()):
        foam = walls.MATERIALS["pipe foam"]
        factors = [k / foam.conductivity_w_mk for k in foam.spread_w_mk]
        low, high = (f"{k:g} W/(m K)" for k in foam.spread_w_mk)
        variants = [off(walls=walls.Off(pipe_foam=factor)) for factor in factors]
        yield one("conductivity of pipe insulation", low, high, foam.source, *variants)


def _bores(scenario: Scenario, factor: float) -> Scenario:
    def change(leg: Any) -> Any:
        if leg.pipe:
            return leg.model_copy(update={"pipe": leg.pipe._replace(bore_m=leg.pipe.bore_m * factor)})
        told = {"stated_bore_m": leg.bore_m * factor, "stated_outside_m": leg.outside_m}
        return leg.model_copy(update=told)

    return with_each(scenario, "legs", change)


def _running(pump: Any, change: Callable[[Any], dict[str, Any]]) -> Any:
    """A pump with each of its speeds, or itself, changed."""
    both = {name: getattr(pump, name) for name in ("low", "high") if getattr(pump, name)}
    told = {name: speed.model_copy(update=change(speed)) for name, speed in both.items()}
    return pump.model_copy(update=told or change(pump))


def pump_head(pump: Any, factor: float) -> Any:
    """A pump whose head is otherwise at every flow."""

    def change(speed: Any) -> dict[str, Any]:
        told: dict[str, Any] = {}
        if speed.curve:
            told["curve"] = tuple((flow, head * factor) for flow, head in speed.curve)
        if speed.max_head_m:
            told["max_head_m"] = speed.max_head_m * factor
        return told

    return _running(pump, change)


def pump_power(pump: Any, factor: float) -> Any:
    """A pump that draws otherwise."""

    def change(speed: Any) -> dict[str, Any]:
        scaled = {"power_w": speed.power_w * factor}
        return scaled | ({"current_a": speed.current_a * factor} if speed.current_a else {})

    return _running(pump, change)


def _heads(scenario: Scenario, factor: float) -> Scenario:
    return with_each(scenario, "pumps", lambda pump: pump_head(pump, factor))


def _pump_powers(scenario: Scenario, factor: float) -> Scenario:
    return with_each(scenario, "pumps", lambda pump: pump_power(pump, factor))


def _jets(scenario: Scenario, factor: float) -> Scenario:
    def change(leg: Any) -> Any:
        if leg.manifold is None:
            return leg
        jets = leg.manifold
        if jets.each is not None:
            told = {"each": jets.each._replace(flow_m3_s=jets.each.flow_m3_s * factor)}
        else:
            told = {"nozzle_m": jets.nozzle_m * math.sqrt(factor)}
        return leg.model_copy(update={"manifold": jets.model_copy(update=told)})

    return with_each(scenario, "legs", change)


def _drops(scenario: Scenario, factor: float) -> Scenario:
    def change(thing: Any) -> Any:
        if thing.kind != "filter":
            return thing
        return thing.model_copy(update={"drop": thing.drop._replace(head_m=thing.drop.head_m * factor)})

    return with_each(scenario, "equipment", change)


def output(source: Any, factor: float) -> Any:
    """An element that gives otherwise; any other source as it is."""
    told = {"output_w": source.output_w * factor} if isinstance(source, Electric) else {}
    return source.model_copy(update=told)


def _outputs(scenario: Scenario, factor: float) -> Scenario:
    return with_each(scenario, "heat_sources", lambda source: output(source, factor))


def _weather(scenario: Scenario, told: dict[str, Any]) -> Scenario:
    weather = scenario.place.weather.model_copy(update=told)
    return scenario.model_copy(update={"place": scenario.place.model_copy(update={"weather": weather})})


def _column(about: WeatherFile, key: str, change: Callable[[float], float]) -> dict[str, Any]:
    series = about.file
    columns = dict(series.columns)
    columns[key] = type(columns[key])("d", [change(value) for value in columns[key]])
    return {"file": replace(series, columns=columns)}


def air(scenario: Scenario, by_k: float) -> Scenario:
    """Weather that is warmer by so much all year."""
    about = scenario.place.weather
    if isinstance(about, Climate):
        return _weather(scenario, {"mean_c": about.mean_c + by_k})
    if isinstance(about, Monthly):
        return _weather(scenario, {"monthly_means_c": tuple(mean + by_k for mean in about.monthly_means_c)})
    return _weather(scenario, _column(about, "air_c", lambda value: value + by_k))


def swing(scenario: Scenario, factor: float) -> Scenario:
    """Weather that strays further from its mean, over the year and over a day, about the same mean."""
    about = scenario.place.weather
    if isinstance(about, Climate):
        names = ("seasonal_swing_k", "daily_swing_k")
        return _weather(scenario, {name: getattr(about, name) * factor for name in names})
    if isinstance(about, Monthly):
        told = about.monthly_means_c
        mean = sum(told) / len(told)
        means = tuple(mean + (one - mean) * factor for one in told)
        return _weather(scenario, {"monthly_means_c": means, "daily_swing_k": about.daily_swing_k * factor})
    air_c = about.file.columns["air_c"]
    mean = sum(air_c) / len(air_c)
    return _weather(scenario, _column(about, "air_c", lambda value: mean + (value - mean) * factor))


def wind(scenario: Scenario, factor: float) -> Scenario:
    """Weather with more or less wind."""
    about = scenario.place.weather
    if not isinstance(about, WeatherFile):
        return _weather(scenario, {"wind_m_s": about.wind_m_s * factor})
    if "wind_m_s" in about.file.columns:
        return _weather(scenario, {"stated_wind_at_water": about.wind_at_water * factor})
    return _weather(scenario, {"stated_wind_m_s": about.wind_m_s * factor})


def _schedule(scenario: Scenario, told: dict[str, Any]) -> Scenario:
    return scenario.model_copy(update={"schedule": scenario.schedule.model_copy(update=told)})


def _sensor(scenario: Scenario, by_k: float) -> Scenario:
    """A sensor that reads too low keeps the water too warm: every set point moves with it."""
    heating = scenario.schedule.heating
    assert heating is not None

    def moved(one: Any) -> Any:
        return one.model_copy(update={"keep_at_c": one.keep_at_c + by_k})

    told = {"plan": tuple(map(moved, heating.plan)), "absences": tuple(map(moved, heating.absences))}
    return _schedule(scenario, {"heating": moved(heating.model_copy(update=told))})


def _frost(scenario: Scenario, by_k: float) -> Scenario:
    frost = scenario.schedule.frost_protection
    assert frost is not None
    told = {"starts_below_c": frost.starts_below_c + by_k, "stops_above_c": frost.stops_above_c + by_k}
    return _schedule(scenario, {"frost_protection": frost.model_copy(update=told)})
