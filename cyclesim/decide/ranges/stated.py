"""What a file states or a drawing has, but nobody builds, measures or meets exactly: how far each strays."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from cyclesim.physics import walls
from cyclesim.physics.links import SMOOTH_M
from cyclesim.scenario.blocks.heat_sources import Electric, Solar
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.blocks.weather import Climate, Monthly, WeatherFile
from cyclesim.simulation.tolerance import AS_TOLD
from cyclesim.simulation.variant import Variant, with_each
from cyclesim.spreads import Spread

PRACTICE = "common practice, no source"
_FOAM = walls.MATERIALS["pipe foam"].conductivity


@dataclass(frozen=True, slots=True)
class Stray:
    """Something that may be otherwise than told: how far, who says so, and what it changes.

    *change* gives the scenario, or a variant of its plant, with the thing at a value; where *block* names a
    block of the plant, one of its elements. Without it no run changes. *told* is the value as told: 1 for a
    factor, 0 for what is added. *there* says which scenarios have such a thing.
    """

    name: str
    spread: Spread
    source: str
    change: Callable[[Any, float], Any] | None = None
    block: str = ""
    told: float = 1.0
    kind: str = ""
    there: Callable[[Scenario], bool] = lambda _: True

    @property
    def ends(self) -> tuple[float, float]:
        """Its lowest and highest."""
        return self.spread.around(self.told, self.kind)

    def at(self, scenario: Scenario, value: float) -> Variant:
        """The plant with the thing at a value, in every element of its block the same."""
        change, made = self.change, scenario
        if change is not None and self.block:
            made = with_each(scenario, self.block, lambda thing: change(thing, value))
        elif change is not None:
            made = change(scenario, value)
        return made if isinstance(made, Variant) else Variant(made, AS_TOLD)


def _bore(leg: Any, factor: float) -> Any:
    if leg.pipe:
        return leg.model_copy(update={"pipe": leg.pipe._replace(bore_m=leg.pipe.bore_m * factor)})
    changes = {"stated_bore_m": leg.bore_m * factor, "stated_outside_m": leg.outside_m}
    return leg.model_copy(update=changes)


def _roughness(scenario: Scenario, roughness_m: float) -> Variant:
    return Variant(scenario, replace(AS_TOLD, roughness=roughness_m / SMOOTH_M))


def _is_insulated(scenario: Scenario) -> bool:
    """Whether a pipe, filter or heater is."""
    plant = scenario.plant
    parts = (*plant.legs.values(), *plant.equipment.values(), *plant.heat_sources.values())
    return any(part.insulation_m for part in parts)


def _pipe_foam(scenario: Scenario, conductivity_w_mk: float) -> Variant:
    factor = conductivity_w_mk / _FOAM.value
    return Variant(scenario, replace(AS_TOLD, walls=walls.Off(pipe_foam=factor)))


def _running(pump: Any, change: Callable[[Any], dict[str, Any]]) -> Any:
    """A pump with each of its speeds, or itself, changed."""
    both = {name: getattr(pump, name) for name in ("low", "high") if getattr(pump, name)}
    speeds = {name: speed.model_copy(update=change(speed)) for name, speed in both.items()}
    return pump.model_copy(update=speeds or change(pump))


def _pump_head(pump: Any, factor: float) -> Any:
    """A pump whose head is otherwise at every flow."""

    def change(speed: Any) -> dict[str, Any]:
        changes: dict[str, Any] = {}
        if speed.curve:
            changes["curve"] = tuple((flow, head * factor) for flow, head in speed.curve)
        if speed.max_head_m:
            changes["max_head_m"] = speed.max_head_m * factor
        return changes

    return _running(pump, change)


def _pump_power(pump: Any, factor: float) -> Any:
    """A pump that draws otherwise."""

    def change(speed: Any) -> dict[str, Any]:
        scaled = {"power_w": speed.power_w * factor}
        return scaled | ({"current_a": speed.current_a * factor} if speed.current_a else {})

    return _running(pump, change)


def _jets(leg: Any, factor: float) -> Any:
    jets = leg.manifold
    if jets is None:
        return leg
    if jets.each is not None:
        changes = {"each": jets.each._replace(flow_m3_s=jets.each.flow_m3_s * factor)}
    else:
        changes = {"nozzle_m": jets.nozzle_m * math.sqrt(factor)}
    return leg.model_copy(update={"manifold": jets.model_copy(update=changes)})


def _drop(thing: Any, factor: float) -> Any:
    if thing.kind != "filter":
        return thing
    return thing.model_copy(update={"drop": thing.drop._replace(head_m=thing.drop.head_m * factor)})


def _sun(source: Any, factor: float) -> Any:
    """The noon outputs that are expected; what they lose and hold is as told, or as their peak has it."""
    if not isinstance(source, Solar):
        return source
    peaks = {"summer_peak_w": source.summer_peak_w * factor, "winter_peak_w": source.winter_peak_w * factor}
    kept = {"loses_w_k": source.plate.loses_w_k, "holds_j_k": source.plate.holds_j_k} if source.plate else {}
    return source.model_copy(update=peaks | kept)


def _output(source: Any, factor: float) -> Any:
    """An element that gives otherwise; any other source as it is."""
    changes = {"output_w": source.output_w * factor} if isinstance(source, Electric) else {}
    return source.model_copy(update=changes)


def _weather(scenario: Scenario, changes: dict[str, Any]) -> Scenario:
    weather = scenario.place.weather.model_copy(update=changes)
    return scenario.model_copy(update={"place": scenario.place.model_copy(update={"weather": weather})})


def _column(about: WeatherFile, key: str, change: Callable[[float], float]) -> dict[str, Any]:
    series = about.file
    columns = dict(series.columns)
    columns[key] = type(columns[key])("d", [change(value) for value in columns[key]])
    return {"file": replace(series, columns=columns)}


def _air(scenario: Scenario, by_k: float) -> Scenario:
    """Weather that is warmer by so much all year."""
    about = scenario.place.weather
    if isinstance(about, Climate):
        return _weather(scenario, {"mean_c": about.mean_c + by_k})
    if isinstance(about, Monthly):
        return _weather(scenario, {"monthly_means_c": tuple(mean + by_k for mean in about.monthly_means_c)})
    return _weather(scenario, _column(about, "air_c", lambda value: value + by_k))


def _swing(scenario: Scenario, factor: float) -> Scenario:
    """Weather that strays further from its mean, over the year and over a day, about the same mean."""
    about = scenario.place.weather
    if isinstance(about, Climate):
        names = ("seasonal_swing_k", "daily_swing_k")
        return _weather(scenario, {name: getattr(about, name) * factor for name in names})
    if isinstance(about, Monthly):
        monthly_c = about.monthly_means_c
        mean = sum(monthly_c) / len(monthly_c)
        means = tuple(mean + (month_c - mean) * factor for month_c in monthly_c)
        return _weather(scenario, {"monthly_means_c": means, "daily_swing_k": about.daily_swing_k * factor})
    air_c = about.file.columns["air_c"]
    mean = sum(air_c) / len(air_c)
    return _weather(scenario, _column(about, "air_c", lambda value: mean + (value - mean) * factor))


def _wind(scenario: Scenario, factor: float) -> Scenario:
    """Weather with more or less wind."""
    about = scenario.place.weather
    if not isinstance(about, WeatherFile):
        return _weather(scenario, {"wind_m_s": about.wind_m_s * factor})
    if "wind_m_s" in about.file.columns:
        return _weather(scenario, {"stated_wind_at_water": about.wind_at_water * factor})
    return _weather(scenario, {"stated_wind_m_s": about.wind_m_s * factor})


def _schedule(scenario: Scenario, changes: dict[str, Any]) -> Scenario:
    return scenario.model_copy(update={"schedule": scenario.schedule.model_copy(update=changes)})


def _sensor(scenario: Scenario, by_k: float) -> Scenario:
    """A sensor that reads too low keeps the water too warm: every set point moves with it."""
    heating = scenario.schedule.heating
    assert heating is not None

    def moved(setting: Any) -> Any:
        return setting.model_copy(update={"keep_at_c": setting.keep_at_c + by_k})

    changes = {"plan": tuple(map(moved, heating.plan)), "absences": tuple(map(moved, heating.absences))}
    return _schedule(scenario, {"heating": moved(heating.model_copy(update=changes))})


def _frost(scenario: Scenario, by_k: float) -> Scenario:
    frost = scenario.schedule.frost_protection
    assert frost is not None
    changes = {"starts_below_c": frost.starts_below_c + by_k, "stops_above_c": frost.stops_above_c + by_k}
    return _schedule(scenario, {"frost_protection": frost.model_copy(update=changes)})


AIR = Stray("mean air temperature", Spread(-1, 1, "K", off=True), PRACTICE, _air, told=0.0)
SWING = Stray("swing of the air's warmth", Spread(-20, 20, "%", off=True), PRACTICE, _swing)
WIND = Stray("wind", Spread(-50, 50, "%", off=True), PRACTICE, _wind)
HEAD = Stray(
    "head of pumps",
    Spread(-7, 7, "%", off=True),
    "ISO 9906 grade 3B, quoted from memory; document not checked",
    _pump_head,
    "pumps",
)
POWER = Stray("power of pumps", Spread(-10, 10, "%", off=True), PRACTICE, _pump_power, "pumps")
OUTPUT = Stray(
    "output of elements",
    Spread(-10, 5, "%", off=True),
    "IEC 60335-1 tolerance of rated input, quoted from memory; document not checked",
    _output,
    "heat_sources",
    there=lambda scenario: any(
        isinstance(source, Electric) for source in scenario.plant.heat_sources.values()
    ),
)
STATED = (
    Stray(
        "bore of pipes",
        Spread(-2, 0, "%", off=True),
        "plastic pipe is made to its outside, its wall thicker than the least, common practice, no source",
        _bore,
        "legs",
    ),
    Stray(
        "roughness of pipes",
        Spread(1000.0 * SMOOTH_M, 0.05, "mm"),
        "smooth plastic to a film of deposits of 0.05 mm, common practice, no source",
        _roughness,
        told=SMOOTH_M,
        kind="length",
    ),
    HEAD,
    POWER,
    Stray(
        "flow of jets",
        Spread(-10, 10, "%", off=True),
        PRACTICE,
        _jets,
        "legs",
        there=lambda scenario: any(leg.manifold for leg in scenario.plant.legs.values()),
    ),
    Stray(
        "drop of a dirty filter",
        Spread(0, 50, "%", off=True),
        PRACTICE,
        _drop,
        "equipment",
        there=lambda scenario: any(thing.kind == "filter" for thing in scenario.plant.equipment.values()),
    ),
    OUTPUT,
    Stray(
        "sun on collectors",
        Spread(-25, 25, "%", off=True),
        PRACTICE,
        _sun,
        "heat_sources",
        there=lambda scenario: any(
            isinstance(source, Solar) for source in scenario.plant.heat_sources.values()
        ),
    ),
    AIR,
    WIND,
    Stray(
        "the water's sensor",
        Spread(-0.5, 0.5, "K", off=True),
        PRACTICE,
        _sensor,
        told=0.0,
        there=lambda scenario: scenario.schedule.heating is not None,
    ),
    Stray(
        "the frost sensor",
        Spread(-0.5, 0.5, "K", off=True),
        PRACTICE,
        _frost,
        told=0.0,
        there=lambda scenario: scenario.schedule.frost_protection is not None,
    ),
    Stray(
        "conductivity of pipe insulation",
        Spread(_FOAM.low, _FOAM.high, "W/(m K)"),
        _FOAM.source,
        _pipe_foam,
        told=_FOAM.value,
        there=_is_insulated,
    ),
)
"""Whatever is put to its ends by `--confidence`; futures draw some of it, too."""
