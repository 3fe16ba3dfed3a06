"""Small plants whose answers can be worked out by hand."""

from collections.abc import Callable
from textwrap import dedent

import pytest

from cyclesim.scenario.load import load_text
from cyclesim.scenario.model import Scenario
from cyclesim.simulation.assembly import Plant
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


def scenario_of(*parts: str, zone: str = "Europe/Lisbon", sets: tuple[str, ...] = ()) -> Scenario:
    """The scenario of the head and *parts*."""
    return load_text(HEAD.format(zone=zone) + "".join(dedent(p) for p in parts), "test.yaml", sets=sets)


def run_of(scenario: Scenario, days: int, **kwargs: object) -> tuple[Plant, Trace]:
    """Assembled plant and trace of *days* days."""
    plant = Plant(scenario)
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
def run() -> Callable[..., tuple[Plant, Trace]]:
    """Run a scenario for some days."""
    return run_of


@pytest.fixture
def tub_block() -> str:
    """The tub of the small plants."""
    return TUB
