"""A small plant and traces written by hand, so that every answer can be worked out on paper."""

from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest

from cyclesim.analysis.history import History
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.reading.load import load_text
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.programme import Programme
from cyclesim.simulation.trace import Stream, Trace, Zones

TEXT = """
format: 1
title: a plant for tests
place:
  year: 2027
  time_zone: Europe/Lisbon
  weather: {mean: 12 degC, seasonal_swing: 8 K, daily_swing: 4 K, coldest_day: 20 January}
  zones: {room: {follows: weather, above_by: 2 K}, soil: {depth: 600 mm}}
supply: {voltage: 230 V, breaker: 20 A, also_on_it: {lights: 230 W}, tariff: 0.20 EUR/kWh}
plant:
  tub:
    water: 1500 L
    surface: 3 m2
    cover: {foam: 60 mm, fit: good}
    shell: {wall: 120 mm, of: concrete, insulation: 50 mm, area: 7 m2, zone: soil}
  pump_room: {below_ground: true, drain: true, weather_tight: true, distance: 6 m, free_space: 700 mm}
  legs:
    suction: {pipe: 63 PN10, length: 6 m, zone: soil,
              suction: {fittings: 2, open_area: 180 cm2, one_can_be_shut: false}}
    bench: {pipe: 63 PN10, length: 8 m, zone: soil,
            manifold: {jets: 3, spacing: 400 mm, each: 60 L/min at 6 m}}
  pumps:
    main:
      above_water: -300 mm
      npsh_needed: 2.5 m
      low: {max_head: 4 m, max_flow: 300 L/min, power: 300 W, current: 1.5 A}
      high: {max_head: 16 m, max_flow: 600 L/min, power: 1500 W, current: 7 A}
      changeover: 2 s
  equipment: {filter: {kind: filter, drop: 1 m at 400 L/min, volume: 14 L, at_most: 500 L/min, zone: room}}
  heat_sources:
    element: {kind: electric, output: 2300 W, drop: 0.3 m at 400 L/min, volume: 2 L, needs_flow: 30 L/min,
              proof: {by: flow_switch}, high_limit: 60 degC, limit_sensor: own, zone: room}
  network: [[tub, suction, main, filter, element, bench, tub]]
controller: {filter_windows: 2, time_step: 15 min, flush_lengths: [15 s, 40 s, 60 s]}
schedule:
  filter_runs: [{pump: main low, start: ["03:00", "15:00"], lasts: 2 h}]
  line_flushes: [{pump: main high, start: ["07:30", "19:30"], lasts: 40 s}]
  heating: {with: [element], pump: main low, keep_at: 36 degC, within: 1 K}
  quiet_hours: {from: "22:00", to: "07:00", applies_to: [main high]}
interlocks:
  - {block: element, unless: flow proven, for: 5 s}
  - {block: element, while: main high, because: the breaker}
  - {keep: main low, after: element, lasting: 60 s}
"""

WINTER = (
    (
        "  network: [[tub, suction, main, filter, element, bench, tub]]",
        """
    unit: {kind: heat_pump, rated: [{air: 7 degC, water: 35 degC, output: 6 kW, cop: 4},
                                    {air: -7 degC, water: 35 degC, output: 4.2 kW, cop: 2.8}],
           current: 8 A, lowest_air: -10 degC, drop: 0.3 m at 400 L/min, volume: 3 L, needs_flow: 30 L/min,
           proof: {by: flow_switch}, zone: room}
    boiler: {kind: boiler, output: 18 kW, efficiency: 90 %, fuel: 0.09 EUR/kWh, power: 115 W, zone: room,
             drop: 0.3 m at 400 L/min, volume: 4 L, needs_flow: 30 L/min, proof: {by: flow_switch},
             high_limit: 60 degC, limit_sensor: own}
  air: {blower: {power: 690 W, delivers: 600 L/min, pipe: 50 PN10, length: 6 m, wet_volume: 3 L,
                 outlets_below_water: 600 mm, check_valve: true, zone: room}}
  network: [[tub, suction, main, filter, element, unit, boiler, bench, tub]]""",
    ),
    ("with: [element]", "with: [unit, element, boiler]"),
    (
        "  quiet_hours:",
        """  bathing:
    - {start: "20:00", lasts: 50 min, days: [friday, saturday], people: 3, pump: main high,
       jets_at_most: 10 min, presses: 2, air: true, air_at_most: 5 min}
  outages: [{from: 2027-01-05 03:00, lasts: 8 h}]
  quiet_hours:""",
    ),
    (
        "interlocks:\n",
        """interlocks:
  - {block: unit, unless: flow proven, for: 5 s}
  - {block: boiler, unless: flow proven, for: 5 s}
  - {block: unit, while: main high, because: the breaker}
  - {keep: main low, after: unit, lasting: 60 s}
  - {keep: main low, after: boiler, lasting: 60 s}
""",
    ),
    ("breaker: 20 A", "breaker: 32 A"),
)

Told = Mapping[str, Sequence[tuple[int, str]]]


@pytest.fixture(scope="session")
def scenario() -> Callable[..., Scenario]:
    """The plant, with each `old -> new` of the text replaced; an old that is not there is an error."""

    def build(*changes: tuple[str, str]) -> Scenario:
        text = TEXT
        for old, new in changes:
            assert old in text, old
            text = text.replace(old, new)
        return load_text(text)

    return build


@pytest.fixture(scope="session")
def winter() -> tuple[tuple[str, str], ...]:
    """Changes that add a heat pump, a boiler, a blower, sessions and a power cut to the plant."""
    return WINTER


@pytest.fixture(scope="session")
def run(scenario: Callable[..., Scenario]) -> Callable[..., History]:
    """A history from streams written by hand: per stream (second, state) of each change."""

    def build(
        *changes: tuple[str, str],
        hours: float = 24.0,
        first_day: date = date(2027, 3, 1),
        pumps: Told | None = None,
        sources: Told | None = None,
        demands: Told | None = None,
        deciding: Told | None = None,
        reasons: Told | None = None,
        blowers: Told | None = None,
        people: Sequence[tuple[int, str]] = (),
        cover: Sequence[tuple[int, str]] = ((0, "off"),),
        power: Sequence[tuple[int, str]] = (),
        zone_c: float = 10.0,
    ) -> History:
        built = scenario(*changes)
        plant, programme = Assembly(built), Programme(built)
        begin = datetime(first_day.year, first_day.month, first_day.day, tzinfo=ZoneInfo("Europe/Lisbon"))
        span_s = round(3600 * hours)
        trace = Trace(
            begin.astimezone(UTC),
            "Europe/Lisbon",
            span_s,
            list(plant.pumps),
            list(plant.sheet.heat_sources),
            [d.name for d in programme.controller.demands],
            list(plant.reported),
            [b.name for b in plant.bodies],
            list(plant.sheet.air),
        )
        trace.zones = Zones(-86_400, {z: [zone_c] * (25 + int(hours) + 24) for z in built.place.zones})
        told: list[tuple[dict[str, Stream[str]], Told | None]] = [
            (trace.pumps, pumps),
            (trace.sources, sources),
            (trace.demands, demands),
            (trace.deciding, deciding),
            (trace.reasons, reasons),
            (trace.blowers, blowers),
        ]
        for stream, steps in ((trace.people, people), (trace.cover, cover), (trace.power, power)):
            for at, state in steps:
                stream.put(at, state)
        for streams, changes_ in told:
            for name, steps in (changes_ or {}).items():
                for at, state in steps:
                    streams[name].put(at, state)
        trace.close()
        return History(plant, programme, trace)

    return build
