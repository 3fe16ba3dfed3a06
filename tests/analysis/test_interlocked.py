"""What a circuit carries at the worst, against every combination that a second reading of the file allows."""

from itertools import product
from typing import NamedTuple

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from cyclesim.analysis.supply import most_carried
from cyclesim.scenario.reading.load import load_text
from cyclesim.simulation.assembly import Plant

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
    bench: {{pipe: 63 PN10, length: 4 m, zone: room}}
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
FED_BY = {"element": "main", "second": "jets"}
"""Each loop touches nothing but the tub: water moves through a source just where this pump runs."""
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


def _wirings() -> st.SearchStrategy[Wiring]:
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


def _true(cause: str, at: dict[str, str]) -> bool:
    subject, _, state = cause.partition(" ")
    now = at[subject]
    return bool(now) if state in ("running", "firing") else now == state


def _allowed(wiring: Wiring, at: dict[str, str], hot: dict[str, str]) -> bool:
    """*at*: what the controller has each thing at, "" for off; *hot*: a source fires, or its pump runs on."""
    kept = {(pump, speed) for pump, speed, source in wiring.keeps if hot[source]}
    order = {"": 0, "low": 1, "on": 1, "high": 2}
    if any(order[at[pump]] < order[speed] for pump, speed in kept):
        return False
    if at["cell"] and not at["main"]:
        return False
    for target, cause in wiring.blocks:
        name, _, speed = target.partition(" ")
        held = (name, at[name]) in kept  # a keep stands above a block
        if at[name] and speed in ("", at[name]) and not held and _true(cause, at):
            return False
    return True


def by_brute_force(wiring: Wiring) -> set[frozenset[tuple[str, str]]]:
    """Every set of things that may be on, found by trying them all."""
    found = set()
    names = ("main", "jets", "blower", "element", "second", "cell")
    ways = [("", "low", "high"), *[("", "on")] * 5]
    runs_on = {source for *_, source in wiring.keeps}
    for row in product(*ways):
        at = dict(zip(names, row, strict=True))
        for closed in product((False, True), repeat=len(wiring.past)):
            on = {(n, s) for n, s in at.items() if s}
            on |= {(n, "on") for n, is_closed in zip(wiring.past, closed, strict=True) if is_closed}
            moves = {name for name, _ in on}
            if any(at[source] and FED_BY[source] not in moves for source in wiring.proven):
                continue
            if wiring.own_switch and ("element", "on") in on and "main" not in moves:
                continue
            for extra in product((False, True), repeat=2):
                hot = {
                    source: at[source] or (more and source in runs_on)
                    for source, more in zip(("element", "second"), extra, strict=True)
                }
                if _allowed(wiring, at, hot):
                    found.add(frozenset(on))
    return found


def counted(wiring: Wiring, on: frozenset[tuple[str, str]] | set[tuple[str, str]]) -> float:
    """The sum by hand: heating, its pump, what is kept for it, the lights, the cell that goes with its pump
    and what a clock starts may go on for hours; a flush lasts a minute, and nothing asks for the rest."""
    most = 1.25 if wiring.region == "north_america" else 1.0
    long = {("main", "low"), ("element", "on"), ("second", "on"), ("cell", "on")}
    long |= {(pump, speed) for pump, speed, _ in wiring.keeps} | {(name, "on") for name in wiring.past}
    return most * LIGHTS_A + sum((most if key in long else 1.0) * AMPS[key] for key in on)


UNASKED = Wiring(
    (("main high", "jets running"), ("blower", "main low")),
    (),
    (("main", "high", "element"),),
    (),
    "europe",
    False,
)
"""A pump that is kept, and would read as lowered if it were asked for too."""


@settings(max_examples=60)
@given(_wirings(), st.sampled_from(list(AMPS)))
@example(UNASKED, ("main", "high"))
def test_the_most_of_a_circuit_is_the_most_of_all_that_interlocks_allow(
    wiring: Wiring, having: tuple[str, str]
) -> None:
    """With a thing on at its worst; what may never be on is taken alone."""
    sums = [counted(wiring, on) for on in by_brute_force(wiring) if having in on]
    most = most_carried(Plant(load_text(wiring.text())), "supply", having)
    assert having == most.loads[0][:2]
    assert max(sums, default=counted(wiring, {having})) == pytest.approx(most.counted_a)
