"""A small plant whose answers a pencil gives, as a file, so that everything of cyclesim takes part."""

from __future__ import annotations

from functools import cache

from cyclesim.analysis.result import Result, simulate
from cyclesim.decide.sizing.heater_sizing import Size, size_heater
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.reading.load import load_text
from cyclesim.simulation.assembly import Assembly

_FILTERED = """
format: 1
title: a tub that is filtered once a day
place:
  year: 2027
  time_zone: Etc/UTC
  weather: {mean: 12 degC, seasonal_swing: 0 K, daily_swing: 0 K, coldest_day: 20 January}
  zones: {room: {follows: weather}}
supply: {voltage: 230 V, breaker: 20 A, tariff: 0.20 EUR/kWh}
plant:
  tub:
    water: 1500 L
    surface: 3 m2
    cover: {foam: 60 mm, fit: good}
    shell: {wall: 120 mm, of: concrete, insulation: 50 mm, area: 7 m2, zone: room}
  legs: {pipe: {pipe: 50 PN10, length: 10 m, zone: room}}
  pumps: {pump: {max_head: 8 m, max_flow: 240 L/min, power: 300 W, zone: room}}
  equipment: {filter: {kind: filter, drop: 1 m at 140 L/min, volume: 10 L, zone: room}}
  network: [[tub, pipe, pump, filter, tub]]
schedule:
  filter_runs: [{pump: pump, start: "03:00", lasts: 45 min}]
"""


@cache
def filtered(*sets: str) -> Scenario:
    """A tub of 1500 L with one pump and a filter that runs once a day."""
    return load_text(_FILTERED, "filtered.yaml", sets=sets)


@cache
def filtered_plant(*sets: str) -> Assembly:
    """Its plant."""
    return Assembly(filtered(*sets))


@cache
def filtered_run(minutes: int) -> Result:
    """Ten days with a daily filter run of so many minutes."""
    return simulate(filtered(f"schedule.filter_runs.0.lasts={minutes} min"), days=10)


def heated(price: str = "0.20 EUR/kWh", **sources: str) -> Scenario:
    """The same tub kept at 36 degC by the heat sources that are told, the cheaper of two at any time."""
    return load_text(heated_text(price, **sources))


def heated_text(price: str = "0.20 EUR/kWh", **sources: str) -> str:
    """Its file."""
    told = "".join(f"\n    {name}: {{{sheet}, zone: room}}" for name, sheet in sources.items())
    names = ", ".join(sources)
    text = _FILTERED.replace("0.20 EUR/kWh", price).replace("breaker: 20 A", "breaker: 32 A")
    text = text.replace("  network: [[tub, pipe, pump, filter,", f"  heat_sources:{told}\n{_CHAIN} {names},")
    choose = ", choose: price" if len(sources) > 1 else ""
    return f"{text}  heating: {{with: [{names}], pump: pump, keep_at: 36 degC, within: 1 K{choose}}}\n"


_CHAIN = "  network: [[tub, pipe, pump, filter,"
_HEATER = "drop: 0.3 m at 140 L/min, volume: 2 L, needs_flow: 60 L/min, proof: {by: flow_switch}"
ELEMENT = f"kind: electric, output: 3 kW, {_HEATER}"
BOILER = f"kind: boiler, output: 6 kW, efficiency: 80 %, fuel: 0.10 EUR/kWh, power: 50 W, {_HEATER}"


TIGHT = """
format: 1
title: a tub that loses next to nothing
place:
  year: 2027
  time_zone: UTC
  weather: {mean: 10 degC, seasonal_swing: 0 K, daily_swing: 0 K, coldest_day: 20 January}
supply: {voltage: 230 V, breaker: 63 A, tariff: 0.20 EUR/kWh}
plant:
  tub:
    water: 1510.2 L
    surface: 3 m2
    cover: {foam: 60 mm, fit: good}
    shell: {wall: 20 mm, of: timber, insulation: 500 mm, area: 1 m2, zone: outdoors}
    fill_water: 10 degC
  legs:
    suction: {pipe: 63 PN10, length: 0.2 m, zone: outdoors, insulation: 50 mm}
    return: {pipe: 63 PN10, length: 0.2 m, zone: outdoors, insulation: 50 mm}
  pumps:
    main: {max_head: 6 m, max_flow: 300 L/min, power: 120 W, heat_to_water: 0 %}
  heat_sources:
    element: {kind: electric, output: 3 kW, drop: 0.3 m at 400 L/min, volume: 1 L, needs_flow: 20 L/min,
              proof: {by: flow_switch}, zone: outdoors}
  network: [[tub, suction, main, element, return, tub]]
schedule:
  heating: {with: [element], pump: main, keep_at: 38 degC, within: 1 K}
"""
"""A tub that loses nearly nothing: a pump that gives the water nothing, hardly any pipe, little surface.

1510.2 L weigh 1499.55 kg at 38 degC, where the model weighs its water (993.0 kg/m3, IAPWS-IF97): as much as
1500 L at 10 degC.
"""


@cache
def tight_heater() -> Size:
    """What sizing a heater says of the 3 kW in it, in air half way between cold and warm."""
    sets = ("place.weather.mean=24 degC",)
    return size_heater(load_text(TIGHT, "tight.yaml", sets=sets), sizes_w=[3000.0]).sizes[0]
