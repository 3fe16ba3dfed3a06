"""One small plant, from whose text defects and their mended twins are made."""

import pytest

from tests.building import Build, built_from

TEXT = """
format: 1
title: a plant to verify
place:
  year: 2027
  time_zone: Europe/Lisbon
  weather: {mean: 12 degC, seasonal_swing: 8 K, daily_swing: 4 K, coldest_day: 20 January}
  zones: {room: {follows: weather, above_by: 2 K}, soil: {depth: 600 mm}}
supply: {voltage: 230 V, breaker: 20 A, tariff: 0.20 EUR/kWh}
plant:
  tub:
    water: 1500 L
    surface: 3 m2
    cover: {foam: 60 mm, fit: good}
    shell: {wall: 120 mm, of: concrete, insulation: 50 mm, area: 7 m2, zone: soil}
  legs:
    suction: {pipe: 63 PN10, length: 6 m, zone: soil}
    return: {pipe: 63 PN10, length: 8 m, zone: soil}
  pumps:
    main:
      low: {max_head: 4 m, max_flow: 300 L/min, power: 300 W, current: 1.5 A}
      high: {max_head: 16 m, max_flow: 600 L/min, power: 1500 W, current: 7 A}
      changeover: 2 s
      rest: 75 s
  equipment: {filter: {kind: filter, drop: 1 m at 400 L/min, volume: 14 L, zone: room}}
  heat_sources:
    element: {kind: electric, output: 3 kW, drop: 0.3 m at 400 L/min, volume: 2 L, needs_flow: 60 L/min,
              proof: {by: flow_switch}, high_limit: 60 degC, zone: room}
  valves: {stop: {drop: 0.1 m at 300 L/min, usual: open}}
  network: [[tub, suction, main, filter, element, stop, return, tub]]
schedule:
  filter_runs: [{pump: main low, start: ["03:00", "15:00"], lasts: 2 h}]
  line_flushes: [{pump: main high, start: ["07:30", "19:30"], lasts: 40 s}]
  heating: {with: [element], pump: main low, keep_at: 36 degC, within: 1 K}
interlocks:
  - {block: element, unless: flow proven, for: 5 s}
  - {block: element, while: main high, because: the breaker}
  - {keep: main low, after: element, lasting: 60 s}
"""


@pytest.fixture(scope="session")
def build() -> Build:
    """The plant with (old, new) texts replaced; each old text must stand in the file once."""
    return built_from(TEXT)
