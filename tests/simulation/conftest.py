"""Small plants whose answers can be worked out by hand, and one in winter with everything that heat has."""

import sys
from collections.abc import Callable
from importlib.util import module_from_spec, spec_from_file_location
from pathlib import Path
from textwrap import dedent
from types import ModuleType

import pytest

from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.reading.load import load_text
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.engine import simulate_trace
from cyclesim.simulation.programme import Programme
from cyclesim.simulation.trace import Trace

HEAD = """
format: 1
title: a plant for tests
place:
  year: 2027
  time_zone: {zone}
  weather: {{mean: 12 degC, seasonal_swing: 8 K, daily_swing: 4 K, coldest_day: 20 January}}
  zones: {{room: {{follows: weather, above_by: 2 K}}, soil: {{depth: 600 mm}}}}
supply: {{voltage: 230 V, breaker: 20 A, tariff: 0.20 EUR/kWh}}
"""

TUB = """
  tub:
    water: 1500 L
    surface: 3 m2
    cover: {foam: 60 mm, fit: good}
    shell: {wall: 120 mm, of: concrete, insulation: 50 mm, area: 7 m2, zone: soil}
"""

LOOP = (
    """
plant:"""
    + TUB
    + """
  legs:
    suction: {pipe: 63 PN10, length: 6 m, zone: soil}
    return: {pipe: 63 PN10, length: 8 m, zone: soil}
  pumps:
    main:
      low: {max_head: 4 m, max_flow: 300 L/min, power: 300 W, current: 1.5 A}
      high: {max_head: 16 m, max_flow: 600 L/min, power: 1500 W, current: 7 A}
      changeover: 2 s
  equipment: {filter: {kind: filter, drop: 1 m at 400 L/min, volume: 14 L, zone: room}}
  heat_sources:
    element: {kind: electric, output: 3 kW, drop: 0.3 m at 400 L/min, volume: 2 L, needs_flow: 60 L/min,
              proof: {by: flow_switch}, high_limit: 60 degC, zone: room}
  valves: {stop: {drop: 0.1 m at 300 L/min, usual: open}}
  network: [[tub, suction, main, filter, element, stop, return, tub]]
"""
)

PROGRAMME = """
schedule:
  filter_runs: [{pump: main low, start: ["03:00", "15:00"], lasts: 2 h}]
  line_flushes: [{pump: main high, start: ["07:30", "19:30"], lasts: 40 s}]
  heating: {with: [element], pump: main low, keep_at: 36 degC, within: 1 K}
interlocks:
  - {block: element, unless: flow proven, for: 5 s}
  - {block: element, while: main high, because: the breaker}
  - {keep: main low, after: element, lasting: 60 s}
"""

WINTER = """
format: 1
title: a winter with a heat pump, an element, a blower, people, frost and a power cut
place:
  year: 2027
  time_zone: Europe/Vienna
  weather: {mean: 8 degC, seasonal_swing: 11 K, daily_swing: 5 K, coldest_day: 20 January}
  zones: {room: {follows: weather, above_by: 4 K, never_below: 1 degC}, soil: {depth: 800 mm}}
supply: {voltage: 230 V, breaker: 32 A, tariff: 0.30 EUR/kWh}
plant:
  tub:
    water: 1600 L
    surface: 3.1 m2
    cover: {foam: 80 mm, fit: good}
    shell: {wall: 150 mm, of: concrete, insulation: 80 mm, area: 7.5 m2, zone: soil}
  legs:
    suction_left: {pipe: 63 PN10, length: 7 m, fittings: {entrance: 1, elbow: 4}, zone: soil,
                   insulation: 19 mm}
    suction_right: {pipe: 63 PN10, length: 7 m, fittings: {entrance: 1, elbow: 4}, zone: soil,
                   insulation: 19 mm}
    left_bench: {pipe: 63 PN10, length: 9 m, fittings: {elbow: 6}, zone: soil, insulation: 19 mm,
                 manifold: {jets: 6, spacing: 400 mm, each: 38 L/min at 6 m}}
    right_bench: {pipe: 63 PN10, length: 11 m, fittings: {elbow: 6}, zone: soil, insulation: 19 mm,
                  manifold: {jets: 6, spacing: 400 mm, each: 38 L/min at 6 m}}
  pumps:
    main:
      low: {curve: [[0 L/min, 3.75 m], [125 L/min, 3.25 m], [300 L/min, 1.25 m]], power: 310 W}
      high: {curve: [[0 L/min, 15 m], [250 L/min, 13 m], [600 L/min, 5 m]], power: 1.6 kW}
      rest: 75 s
  equipment: {filter: {kind: filter, drop: 1.0 m at 400 L/min, volume: 14 L, zone: room}}
  heat_sources:
    heat_pump:
      kind: heat_pump
      rated:
        - {air: 7 degC, water: 35 degC, output: 6 kW, cop: 4.2}
        - {air: -7 degC, water: 35 degC, output: 4.2 kW, cop: 2.8}
      lowest_air: -10 degC
      drop: 0.8 m at 400 L/min
      volume: 3 L
      needs_flow: 80 L/min
      proof: {by: flow_switch}
      zone: room
    element: {kind: electric, output: 3 kW, drop: 0.3 m at 400 L/min, volume: 2 L, needs_flow: 60 L/min,
              proof: {by: flow_switch}, high_limit: 60 degC, zone: room}
  air:
    blower: {power: 800 W, delivers: 600 L/min, pipe: 50 PN10, length: 8 m, wet_length: 2 m,
             outlets_below_water: 600 mm, loop_above_water: 300 mm, check_valve: true, zone: room}
  network:
    - [tub, {parallel: [suction_left, suction_right]}, main, filter, heat_pump, element,
       {parallel: [left_bench, right_bench]}, tub]
schedule:
  filter_runs:
    - {pump: main low, start: ["03:00", "15:00"], lasts: 3 h}
    - {pump: main low, after: bathing, lasts: 2 h, name: after bathing}
  line_flushes: [{pump: main high, start: ["07:30", "19:30"], lasts: 45 s}]
  heating:
    with: [heat_pump, element]
    pump: main low
    keep_at: 30 degC
    within: 1 K
    plan: [{days: [friday, saturday], ready_by: "19:00", until: "23:00", keep_at: 38 degC}]
    absences: [{from: 2027-02-01, to: 2027-02-14, keep_at: 12 degC}]
  frost_protection: {watches: room, starts_below: 4 degC, stops_above: 6 degC, pump: main low}
  bathing:
    - {days: [friday, saturday], start: "20:00", lasts: 50 min, people: 4, pump: main high,
       jets_at_most: 20 min, presses: 2, air: true, air_at_most: 10 min, name: weekend}
    - {drawn: {per_week: 2, between: [17:00, 22:00], lasts: [20 min, 60 min], people: [1, 3]}, name: guests}
  outages: [{from: 2027-01-12 03:00, lasts: 8 h}]
  air_line_flushes: [{start: "08:00", lasts: 60 s}]
interlocks:
  - {block: element, unless: flow proven, for: 5 s}
  - {block: heat_pump, unless: flow proven, for: 5 s}
  - {block: element, while: main high, because: the breaker}
  - {keep: main low, after: element, lasting: 60 s}
  - {keep: main low, after: heat_pump, lasting: 2 min}
"""


def scenario_of(*parts: str, zone: str = "Europe/Lisbon", sets: tuple[str, ...] = ()) -> Scenario:
    """The scenario of the head and *parts*."""
    return load_text(HEAD.format(zone=zone) + "".join(dedent(p) for p in parts), "test.yaml", sets=sets)


def run_of(scenario: Scenario, days: int, **kwargs: object) -> tuple[Assembly, Trace]:
    """Assembled plant and trace of *days* days."""
    plant = Assembly(scenario)
    return plant, simulate_trace(plant, Programme(scenario), days=days, **kwargs)  # type: ignore[arg-type]


@pytest.fixture
def loop() -> Callable[..., Scenario]:
    """One loop with a two-speed pump, its programme, and `--set` style changes."""

    def make(*sets: str, schedule: str = PROGRAMME, zone: str = "Europe/Lisbon") -> Scenario:
        return scenario_of(LOOP, schedule, zone=zone, sets=sets)

    return make


@pytest.fixture
def build() -> Callable[..., Scenario]:
    """A scenario of a plant block and a schedule block."""
    return scenario_of


@pytest.fixture
def run() -> Callable[..., tuple[Assembly, Trace]]:
    """Run a scenario for some days."""
    return run_of


@pytest.fixture
def tub_block() -> str:
    """The tub of the small plants."""
    return TUB


@pytest.fixture(scope="session")
def winter() -> Callable[..., Scenario]:
    """The winter plant with `--set` style changes."""

    def make(*sets: str) -> Scenario:
        return load_text(WINTER, "winter.yaml", sets=sets)

    return make


@pytest.fixture(scope="session")
def winter_text() -> str:
    """The file of the winter plant."""
    return WINTER


@pytest.fixture(scope="session")
def reference() -> ModuleType:
    """The module beside this one that steps the same plant by other means."""
    spec = spec_from_file_location("reference", Path(__file__).with_name("reference.py"))
    assert spec is not None
    assert spec.loader is not None
    module = sys.modules[spec.name] = module_from_spec(spec)
    spec.loader.exec_module(module)
    return module
