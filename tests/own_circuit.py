"""A small plant whose boiler has water of its own, for tests; and what may stand in the boiler's place."""

BOILER = """kind: boiler
      output: 12 kW
      efficiency: 90 %
      fuel: 0.1 EUR/kWh
      power: 100 W
"""
HEAT_PUMP = """kind: heat_pump
      rated: [{air: 7 degC, water: 45 degC, output: 9 kW, cop: 3.2}]
      lowest_air: -20 degC
"""
ELECTRIC = """kind: electric
      output: 12 kW
"""
PLANT = """format: 1
title: A boiler behind plates
place:
  year: 2027
  time_zone: Europe/Berlin
  weather: {mean: 8 degC, seasonal_swing: 10 K, daily_swing: 6 K, coldest_day: 18 January}
  zones:
    room: {always: 10 degC}
supply: {voltage: 230 V, breaker: 16 A, tariff: 0.3 EUR/kWh}
plant:
  tub:
    water: 1500 L
    surface: 3 m2
    cover: {foam: 60 mm, fit: good}
    shell: {wall: 50 mm, of: timber, insulation: 40 mm, area: 7 m2, zone: outdoors}
  legs:
    suction: {pipe: 63 PN10, length: 4 m, fittings: {elbow: 4}, zone: room}
    supply: {pipe: 63 PN10, length: 4 m, fittings: {elbow: 4}, zone: room}
  pumps:
    main: {max_head: 10 m, max_flow: 200 L/min, power: 300 W}
  circulators:
    boiler_pump: {flow: 15 L/min, power: 45 W}
  heat_sources:
    boiler:
      kind: boiler
      output: 12 kW
      efficiency: 90 %
      fuel: 0.1 EUR/kWh
      power: 100 W
      drop: 4 m at 60 L/min
      volume: 1 L
      needs_flow: 30 L/min
      proof: {by: flow_switch}
      high_limit: 80 degC
      limit_sensor: own
      zone: room
      own_water:
        circulator: boiler_pump
        exchanger: {ua: 1.2 kW/K}
        volume: 12 L
        in_source: 3 L
        thermostat: {starts_below: 55 degC, stops_above: 65 degC}
  network:
    - [tub, suction, main, boiler, supply, tub]
schedule:
  filter_runs:
    - {pump: main, start: ["12:00"], lasts: 2 h}
  heating: {with: boiler, pump: main, keep_at: 38 degC, within: 1 K}
interlocks:
  - {block: boiler, unless: flow proven, for: 5 s}
  - {block: boiler, while: boiler_pump stopped}
  - {keep: main, after: boiler, lasting: 3 min}
  - {keep: boiler_pump, after: boiler, lasting: 3 min}
"""
