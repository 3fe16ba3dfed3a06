"""A plant with two pumps for its jets, a circulator that filters and heats, and people."""

import pytest

from tests.building import Build, built_from

TEXT = """
format: 1
title: a plant with two pumps for its jets
place:
  year: 2027
  time_zone: UTC
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
    drain: {pipe: 50 PN10, length: 5 m, zone: soil}
    return: {pipe: 50 PN10, length: 5 m, zone: soil}
    suction: {pipe: 90 PN10, length: 6 m, zone: soil}
    left_bench: {pipe: 63 PN10, length: 8 m, zone: soil,
                 manifold: {jets: 3, spacing: 400 mm, each: 60 L/min at 6 m}}
    right_bench: {pipe: 63 PN10, length: 11 m, zone: soil,
                  manifold: {jets: 3, spacing: 400 mm, each: 60 L/min at 6 m}}
  pumps:
    circulator: {max_head: 6 m, max_flow: 150 L/min, power: 110 W, current: 0.5 A, check_valve: true}
    left: {max_head: 16 m, max_flow: 600 L/min, power: 1500 W, current: 7 A, check_valve: true}
    right: {max_head: 14 m, max_flow: 500 L/min, power: 1200 W, current: 6 A, check_valve: true}
  equipment: {filter: {kind: filter, drop: 1 m at 400 L/min, volume: 14 L, zone: room}}
  heat_sources:
    element: {kind: electric, output: 2300 W, drop: 0.3 m at 400 L/min, volume: 2 L, needs_flow: 30 L/min,
              proof: {by: flow_switch}, high_limit: 60 degC, limit_sensor: own, zone: room}
  junctions: [tee]
  network:
    - [tub, drain, circulator, filter, element, return, tub]
    - [tub, suction, tee]
    - [tee, left, left_bench, tub]
    - [tee, right, right_bench, tub]
controller: {time_step: 15 min, flush_lengths: [20 s, 40 s, 60 s]}
schedule:
  filter_runs: [{pump: circulator, start: ["03:00", "15:00"], lasts: 3 h}]
  line_flushes: [{pumps: [left, right], start: ["07:30", "19:30"], lasts: 60 s}]
  bathing: [{pumps: [left, right], stagger: 10 s, start: "21:00", lasts: 50 min, people: 3}]
  heating: {with: [element], pump: circulator, keep_at: 36 degC, within: 1 K}
interlocks:
  - {block: element, unless: flow proven, for: 5 s}
  - {block: element, while: left running, because: the breaker}
  - {block: element, while: right running, because: the breaker}
  - {keep: circulator, after: element, lasting: 60 s}
"""

FLUSH = '[{pumps: [left, right], start: ["07:30", "19:30"], lasts: 60 s}]'
SESSION = '[{pumps: [left, right], stagger: 10 s, start: "21:00", lasts: 50 min, people: 3}]'


@pytest.fixture(scope="session")
def build() -> Build:
    """The plant with (old, new) texts replaced; each old text must stand in the file once."""
    return built_from(TEXT)
