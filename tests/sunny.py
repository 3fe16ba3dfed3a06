"""Two small plants with collectors that are steered: by a pump of their own, and by a motor valve."""

HEAD = """
format: 1
title: {title}
place:
  year: 2027
  time_zone: Europe/Lisbon
  weather: {{mean: 12 degC, seasonal_swing: 8 K, daily_swing: 4 K, coldest_day: 20 January}}
  zones: {{room: {{follows: weather, above_by: 2 K}}, soil: {{depth: 600 mm}}}}
supply: {{voltage: 230 V, breaker: 20 A, tariff: 0.20 EUR/kWh}}
plant:
  tub:
    water: 1500 L
    surface: 3 m2
    cover: {{foam: 60 mm, fit: good}}
    shell: {{wall: 120 mm, of: concrete, insulation: 50 mm, area: 7 m2, zone: soil}}
  heat_sources:
    panels: {{kind: solar, summer_peak: 1 kW, winter_peak: 300 W, drop: 1 m at 8 L/min, volume: 6 L,
              needs_flow: 2 L/min, zone: outdoors, loses: 9 W/K, holds: 24 kJ/K,
              steered: {{{steered}, on_at: 6 K, off_at: 0.2 K, high_stop: 40 degC}}}}
"""
OWN_PUMP = (
    HEAD.format(title="collectors with a pump", steered="pump: sun_pump")
    + """
  legs:
    suction: {pipe: 63 PN10, length: 6 m, zone: soil}
    return: {pipe: 63 PN10, length: 8 m, zone: soil}
    sun_out: {bore: 20 mm, length: 4 m, zone: room}
    sun_back: {bore: 20 mm, length: 4 m, zone: room}
  pumps:
    main: {max_head: 4 m, max_flow: 300 L/min, power: 300 W}
    sun_pump: {max_head: 3 m, max_flow: 20 L/min, power: 30 W}
  network: [[tub, suction, main, return, tub], [tub, sun_out, sun_pump, panels, sun_back, tub]]
"""
)
BEHIND_PLATES = (
    OWN_PUMP.replace("collectors with a pump", "collectors behind plates").replace(
        "needs_flow: 2 L/min, zone: outdoors,",
        """needs_flow: 2 L/min, zone: room,
              own_water: {circulator: glycol_pump, exchanger: {ua: 200 W/K}, volume: 10 L, in_source: 6 L,
                          glycol: 40 %, zone: outdoors},""",
    )
    + """
  circulators: {glycol_pump: {flow: 2 L/min, power: 20 W}}
"""
)
BY_VALVE = (
    HEAD.format(title="collectors with a valve", steered="valve: sun_valve to_sun")
    + """
  legs:
    suction: {pipe: 63 PN10, length: 6 m, zone: soil}
    return: {pipe: 63 PN10, length: 8 m, zone: soil}
  pumps: {main: {max_head: 4 m, max_flow: 300 L/min, power: 300 W}}
  diverters:
    sun_valve: {drop: 0.5 m at 300 L/min, ways: [by_sun, past_sun], usual: past,
                opens: {to_sun: [by_sun, past_sun], past: [past_sun]}}
  network: [[tub, suction, main, {parallel: [[by_sun, panels], past_sun]}, return, tub]]
"""
)
FILTERED = 'schedule: {filter_runs: [{pump: main, start: "00:00", lasts: 24 h}]}\n'
AT_NIGHT = 'schedule: {filter_runs: [{pump: main, start: "22:00", lasts: 8 h}]}\n'
