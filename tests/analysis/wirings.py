"""A plant of two loops that meet only in the tub, with interlocks and contacts as drawn."""

from itertools import product
from typing import NamedTuple

from hypothesis import strategies as st

TEXT = """
format: 1
title: two loops
place:
  year: 2027
  time_zone: Etc/UTC
  weather: {{mean: 12 degC, seasonal_swing: 8 K, daily_swing: 4 K, coldest_day: 20 January}}
  zones: {{room: {{follows: weather}}}}
supply: {{voltage: 230 V, breaker: 20 A, region: {region}, also_on_it: {{lights: 230 W}}, tariff: 0.20 EUR/kWh}}
plant:
  tub:
    water: 1500 L
    surface: 3 m2
    cover: {{foam: 60 mm, fit: good}}
    shell: {{wall: 120 mm, of: concrete, insulation: 50 mm, area: 7 m2, zone: room}}
  legs:
    out: {{pipe: 63 PN10, length: 4 m, zone: room}}
    back: {{pipe: 63 PN10, length: 4 m, zone: room}}
    draw: {{pipe: 63 PN10, length: 4 m, zone: room}}
    bench: {{pipe: 63 PN10, length: 4 m, zone: room,
            manifold: {{jets: 3, spacing: 400 mm, each: 60 L/min at 6 m}}}}
  pumps:
    main:
      low: {{max_head: 4 m, max_flow: 300 L/min, power: 300 W, current: 1.5 A}}
      high: {{max_head: 16 m, max_flow: 600 L/min, power: 1500 W, current: 7 A}}
    jets: {{max_head: 16 m, max_flow: 600 L/min, power: 1500 W, current: 6 A{jets}}}
  air: {{blower: {{power: 690 W, current: 3 A, delivers: 600 L/min, pipe: 50 PN10, length: 6 m, wet_volume: 3 L,
                 outlets_below_water: 600 mm, check_valve: true, zone: room{blower}}}}}
  heat_sources:
    element: {{kind: electric, output: 2300 W, drop: 0.3 m at 400 L/min, volume: 2 L, needs_flow: 30 L/min,
              proof: {{by: flow_switch}}, high_limit: 60 degC, zone: room{element}}}
    second: {{kind: electric, output: 920 W, drop: 0.3 m at 400 L/min, volume: 2 L, needs_flow: 30 L/min,
             proof: {{by: flow_switch}}, high_limit: 60 degC, zone: room}}
  treatment: {{cell: {{kind: salt_cell, in: out, needs_flow: 20 L/min, proof: {{by: none}}, power: 115 W, with: main}}}}
  network: [[tub, out, main, element, back, tub], [tub, draw, jets, second, bench, tub]]
schedule:
  heating: {{with: [element, second], pump: main low, keep_at: 36 degC, within: 1 K}}
  line_flushes: [{{pump: jets, start: ["07:30"], lasts: 60 s}}]
interlocks: {interlocks}
"""  # noqa: E501
AMPS = {
    ("main", "low"): 1.5,
    ("main", "high"): 7.0,
    ("jets", "on"): 6.0,
    ("blower", "on"): 3.0,
    ("element", "on"): 10.0,
    ("second", "on"): 4.0,
    ("cell", "on"): 0.5,
}
LIGHTS_A = 1.0
TARGETS = ("main low", "main high", "jets", "blower", "element", "second", "cell")
CAUSES = (
    "main low",
    "main high",
    "main running",
    "jets running",
    "blower running",
    "element firing",
    "second firing",
)


class Wiring(NamedTuple):
    """The interlocks of a file, and what is started past its controller."""

    blocks: tuple[tuple[str, str], ...]
    proven: tuple[str, ...]
    keeps: tuple[tuple[str, str, str], ...]
    """(pump, speed, source)."""
    past: tuple[str, ...]
    region: str
    own_switch: bool
    """Whether the element has a flow switch of its own."""

    def text(self) -> str:
        """The file."""
        lines = [f"{{block: {target}, while: {cause}}}" for target, cause in self.blocks]
        lines += [f"{{block: {source}, unless: flow proven, for: 5 s}}" for source in self.proven]
        lines += [
            f"{{keep: {pump}{'' if speed == 'on' else f' {speed}'}, after: {source}, lasting: 60 s}}"
            for pump, speed, source in self.keeps
        ]
        clock = ", also_started_by: [{clock: {start: 09:00, lasts: 1 h}}]"
        own = {name: clock if name in self.past else "" for name in ("jets", "blower", "element")}
        own["element"] += ", own_flow_switch: 5 s" if self.own_switch else ""
        return TEXT.format(interlocks=f"[{', '.join(lines)}]", region=self.region, **own)

    def __str__(self) -> str:
        return f"{self._asdict()}"


def wirings() -> st.SearchStrategy[Wiring]:
    """Any few of the interlocks that such a file can have."""
    pairs = [(t, c) for t, c in product(TARGETS, CAUSES) if t.split()[0] != c.split()[0]]
    keeps = [("main", "low", "element"), ("main", "high", "element"), ("jets", "on", "second")]
    return st.builds(
        Wiring,
        st.lists(st.sampled_from(pairs), max_size=5, unique=True).map(tuple),
        st.lists(st.sampled_from(("element", "second")), unique=True).map(tuple),
        st.lists(st.sampled_from(keeps), max_size=2, unique_by=lambda keep: keep[2]).map(tuple),
        st.lists(st.sampled_from(("jets", "blower", "element")), unique=True).map(tuple),
        st.sampled_from(("europe", "north_america")),
        st.booleans(),
    )
