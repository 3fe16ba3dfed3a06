"""Hours in which anything happens that a verification takes for granted, drawn without the search.

What may come is listed here once more, from the file: one thing changes in a second, at times that are drawn
close together or far apart. The engine runs it; what is broken then is read off second by second, in plain
branches that share nothing with the rules but the trace and the plant's own duties.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Callable, Iterator
from random import Random

from cyclesim.control.step import LEVEL_LOW, POWER_LOST, WAITS
from cyclesim.scenario.blocks.heat_sources import Solar
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.drive import Drive
from cyclesim.simulation.programme import HEATING, Programme, heating_by
from cyclesim.simulation.stream import Stream
from cyclesim.simulation.trace import Trace
from cyclesim.verification.replay import drive_by

SPAN_S = 6 * 3600
GAPS_S = (1, 1, 2, 3, 5, 6, 8, 11, 20, 40, 70, 130, 400, 1500)
Broken = tuple[str, str]
"""A rule and what it is about."""


class Hours:
    """Six hours of one plant, drawn by a number."""

    def __init__(self, plant: Assembly, programme: Programme, seed: int) -> None:
        self.plant, self.programme, self.random = plant, programme, Random(seed)
        self.spans: dict[str, list[tuple[int, int]]] = defaultdict(list)
        self.since: dict[str, int] = {}
        self.lists: dict[str, list[tuple]] = {"turns": [], "people": [], "cuts": [], "resets": []}
        self.by_hand: dict[str, str] = {}
        self.by_motor: dict[str, str] = {}
        self.waits, self.people = False, 0
        self.out: set[str] = set()

    def put(self, fact: str, at_s: int, true: bool) -> None:
        """A fact is so from now on, or no more."""
        if true:
            self.since.setdefault(fact, at_s)
        elif fact in self.since:
            self.spans[fact].append((self.since.pop(fact), at_s))

    def toggle(self, fact: str) -> Callable[[int], None]:
        """What turns a fact round."""
        return lambda at_s: self.put(fact, at_s, fact not in self.since)

    def thermostat(self, at_s: int) -> None:
        """Heat is called for from any of its sources, or from none."""
        sources = self.programme.scenario.schedule.heating.sources
        called = {name for name in sources if self.random.random() < 0.5}
        self.put(f"{HEATING}.raised", at_s, bool(called))
        for name in sources if len(sources) > 1 else ():
            self.put(f"{heating_by(name)}.raised", at_s, name in called)

    def power(self, at_s: int) -> None:
        """It fails, or returns; a controller that waits then waits for a person."""
        lost = POWER_LOST in self.since
        if self.waits and not lost and WAITS in self.since:
            self.put(WAITS, at_s, False)
            return
        self.put(POWER_LOST, at_s, not lost)
        self.put(WAITS, at_s, lost and self.waits)

    def turn(self, valve: str, to: list[str | None], moved: dict[str, str]) -> Callable[[int], None]:
        """A valve in another place: by hand, which is the last word, or by its motor."""

        def turns(at_s: int) -> None:
            moved.pop(valve, None)
            if (at := self.random.choice(to)) is not None:
                moved[valve] = at
            self.lists["turns"].append((at_s, valve, self.by_hand.get(valve) or self.by_motor.get(valve)))

        return turns

    def bathe(self, at_s: int) -> None:
        """People step in or leave."""
        self.people = 2 - self.people
        self.lists["people"].append((at_s, self.people, False))

    def cut(self, circuit: str) -> Callable[[int], None]:
        """A circuit loses its power alone, or has it again."""

        def cuts(at_s: int) -> None:
            self.out ^= {circuit}
            self.lists["cuts"].append((at_s, circuit, circuit in self.out))

        return cuts

    def hand(self, name: str, target: str, settings: list[str]) -> Callable[[int], None]:
        """A hand switch in another place."""

        def switches(at_s: int) -> None:
            to = self.random.choice(["auto", *settings])
            self.put(f"{name}.closed", at_s, to == "hand")
            self.put(f"{target}.switched_off", at_s, to == "off")

        return switches

    def things(self) -> Iterator[Callable[[int], None]]:
        """All that may change."""
        scenario, sheet = self.programme.scenario, self.plant.sheet
        schedule = scenario.schedule
        self.waits = scenario.controller.after_power_cut == "wait"
        yield self.power
        if schedule.heating:
            yield from [self.thermostat] * 4
        heated = {HEATING, *(heating_by(name) for name in sheet.heat_sources)}
        for demand in self.programme.controller.demands:
            if demand.name not in heated:
                yield from [self.toggle(f"{demand.name}.raised")] * 2
        for source in sheet.heat_sources.values():
            if isinstance(source, Solar) and source.steered and source.steered.valve:
                valve, position = source.steered.valve
                yield self.turn(valve, [None, position], self.by_motor)
        for starter, line in ((b.starter, b.line) for b in self.programme.beside):
            if line.hand_switch:
                yield self.hand(starter.name, starter.target, [turn.to for turn in line.hand_switch])
            elif line.thermostat or line.clock or line.every_s:
                yield self.toggle(f"{starter.name}.closed")
        if schedule.low_water:
            yield self.toggle(LEVEL_LOW)
        for name, valve in self.plant.turnable.items():
            if len(valve.positions) > 1:
                yield self.turn(name, [None, *valve.positions], self.by_hand)
        for circuit in {cut.circuit for cut in schedule.outages if cut.circuit}:
            yield self.cut(circuit)
        if schedule.bathing:
            yield self.bathe
        for name in self.programme.switched:
            yield lambda at_s, name=name: self.lists["resets"].append((at_s, name))

    def drive(self) -> Drive:
        """What drives the engine through these hours."""
        things, at_s = list(self.things()), 60
        while at_s < SPAN_S - 60:
            self.random.choice(things)(at_s)
            at_s += self.random.choice(GAPS_S)
        for fact in list(self.since):
            self.put(fact, SPAN_S, False)
        beside = [b for b in self.programme.beside if not b.line.thermostat]
        return drive_by(self.plant, SPAN_S, self.spans, contacts=beside, **self.lists)


def at(stream: Stream, second: int) -> str:
    """The state of a stream in a second."""
    return stream.labels[stream.codes[bisect_right(stream.starts, second) - 1]]


def read_off(plant: Assembly, trace: Trace) -> set[Broken]:
    """What is broken in a trace, looked at in each second; only what needs no reckoning to be seen."""
    found, sheet = set[Broken](), plant.sheet
    coasts_s = max((pump.coasts_s for pump in plant.pumps.values()), default=0.0)
    grace_s = plant.scenario.limits.heat_without_flow_grace_s
    switched = {n: s for n, s in sheet.heat_sources.items() if s.switched}
    rested_s, unfed_s = 0, dict.fromkeys(switched, 0)
    for second in range(trace.span_s):
        runs = [n for n in plant.pumps if at(trace.pumps[n], second) not in ("stopped", "changing")]
        rested_s = 0 if runs else rested_s + 1
        if at(trace.level, second) == "low":
            found |= {("dry-running", pump) for pump in runs}
        for name, source in switched.items():
            fires, own = at(trace.sources[name], second) == "firing", source.own_water
            unfed_s[name] = unfed_s[name] + 1 if fires and rested_s > coasts_s + 1 else 0
            if unfed_s[name] > grace_s + 1:
                found.add(("heat-without-flow", name))
            if fires and own and at(trace.circulators[own.circulator], second) != "on":
                found.add(("own-water-still", name))
    return found
