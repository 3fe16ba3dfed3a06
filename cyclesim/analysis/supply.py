"""Circuits: what draws how much on which, at an instant, at the worst start of a run, and at the most of it.

One sum for the rule, the report and all sizing: `Carried`. What may come together at all: `most_carried.py`.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
from itertools import combinations
from typing import NamedTuple

import numpy as np

from cyclesim.analysis.ages import when
from cyclesim.analysis.device_metrics import CircuitMetrics
from cyclesim.analysis.spans import Floats, covers
from cyclesim.analysis.truth import Closed, Snapshot, Timeline
from cyclesim.scenario.blocks.place import Circuit
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.trace import Trace

CONTINUOUS_SHARE = 1.25
"""What runs for 3 h or more counts so much in north_america; NEC 210.19, 210.20, from memory, not opened."""

_MOST_SETS, _MOST_CONTACTS = 60, 14


_ROUNDING_A = 1e-9  # a breaker may be loaded to its rating, however the sum of currents is rounded


class Load(NamedTuple):
    """One thing that draws current: a pump at a speed, a blower, a heat source, or what else is on it."""

    name: str
    speed: str
    current_a: float
    lasting: bool
    """Whether it runs for 3 h or more without a break, in a region that counts this."""

    @property
    def counted_a(self) -> float:
        """Its current as the rule for what lasts counts it."""
        return self.current_a * (CONTINUOUS_SHARE if self.lasting else 1.0)


class Carried(NamedTuple):
    """What one circuit carries, and what of it its breaker takes."""

    circuit: str
    breaker_a: float
    loads: tuple[Load, ...]

    @property
    def drawn_a(self) -> float:
        """The sum of the currents [A]."""
        return sum(load.current_a for load in self.loads)

    @property
    def counted_a(self) -> float:
        """The sum [A] that must not pass the breaker's rating: what lasts counts as its region has it."""
        return sum(load.counted_a for load in self.loads)

    def within(self, amps: float) -> bool:
        """Whether a sum of currents [A] is within the breaker's rating."""
        return amps <= self.breaker_a + _ROUNDING_A


def counts_lasting(plant: Assembly) -> bool:
    """Whether the region counts what runs for 3 h or more at 125 %."""
    return plant.scenario.supply.region == "north_america"


def load_a(plant: Assembly, name: str, speed: str = "on") -> float:
    """Current [A] of a pump at a speed, a blower, a heat source or another thing on the supply.

    The nameplate's, or power over voltage: a heat pump's is the most of its rated points, a boiler's that of
    its fan and controls.
    """
    if name in plant.pumps:
        return plant.current_a(name, speed)
    sheets = (plant.sheet.air, plant.sheet.circulators, plant.sheet.heat_sources, plant.sheet.treatment)
    sheet = next((known[name] for known in sheets if name in known), None)
    if sheet is None:
        return plant.scenario.always_on[name] / plant.voltage_v
    return sheet.current_a if sheet.current_a is not None else sheet.power_w / plant.voltage_v


def loads(
    plant: Assembly, on: Iterable[Closed], lasting: Collection[Closed] = (), known: Collection[str] = ()
) -> Iterator[Load]:
    """What draws current: what is on, and what else may be at any time. *lasting*: for 3 h or more.

    *known* are the names of which *on* tells all.
    """
    counts = counts_lasting(plant)
    for name, speed in on:
        yield Load(name, speed, load_a(plant, name, speed), counts and (name, speed) in lasting)
    for name in plant.scenario.always_on:
        if name not in known:
            yield Load(name, "on", load_a(plant, name), counts)


def less_of_either(plant: Assembly, loads_: Sequence[Load]) -> str:
    """Which of the room's heater and fan draws less, where both are among the loads but never on at once."""
    room = plant.sheet.pump_room
    either = [load for load in loads_ if room and load.name in room.either]
    return min(either, key=lambda load: load.current_a).name if len(either) > 1 else ""


def carried(plant: Assembly, circuit: str, loads_: Iterable[Load]) -> Carried:
    """What of these hangs on a circuit."""
    sheet = plant.scenario.circuits[circuit]
    fed = [load for load in loads_ if load.name in sheet.feeds]
    less = less_of_either(plant, fed)
    return Carried(circuit, sheet.breaker_a, tuple(load for load in fed if load.name != less))


def loads_at(snapshot: Snapshot, plant: Assembly) -> list[Load]:
    """Everything that draws current: closed contacts, hot sources, and what else is on the supply."""
    on = [(pump, speed) for pump, speeds in snapshot.contacts for speed in speeds]
    on += [(name, "on") for name, truth in (*snapshot.sources, *snapshot.treatments) if truth.hot]
    return list(loads(plant, on, snapshot.lasting, [name for name, _ in snapshot.contacts]))


def current_a(snapshot: Snapshot, plant: Assembly, circuit: Circuit | None = None) -> float:
    """Current [A] drawn from one circuit, or from the whole supply."""
    drawn = [load for load in loads_at(snapshot, plant) if circuit is None or load.name in circuit.feeds]
    less = less_of_either(plant, drawn)
    return sum(load.current_a for load in drawn if load.name != less)


def measure_circuits(plant: Assembly, trace: Trace, truth: Timeline) -> dict[str, CircuitMetrics]:
    """The most that every circuit carried, running and in the worst second of a start."""
    by_circuit = {}
    for name, circuit in plant.scenario.circuits.items():
        most_a, most_at = _most(plant, truth, circuit)
        start_a, start_at = _worst_start(plant, truth, circuit)
        by_circuit[name] = CircuitMetrics(
            circuit.breaker_a,
            most_a,
            None if most_at is None else when(trace, most_at),
            start_a,
            None if start_at is None else when(trace, start_at),
        )
    return by_circuit


def _most(plant: Assembly, truth: Timeline, circuit: Circuit | None) -> tuple[float, float | None]:
    """The most current and when it was first drawn."""
    drawn = [(current_a(snapshot, plant, circuit), -float(a[0, 0])) for snapshot, a in truth.snapshots]
    most_a, minus_at_s = max(drawn, default=(0.0, 0.0))
    return most_a, -minus_at_s if drawn else None


def most_current(plant: Assembly, truth: Timeline) -> tuple[float, float | None]:
    """The most current [A] of the whole supply, and the second at which it was first drawn."""
    return _most(plant, truth, None)


def starting_a(plant: Assembly, name: str, speed: str) -> float | None:
    """Current [A] of the start of a pump at a speed or of a blower; None where the file tells none."""
    if name in plant.pumps:
        return plant.speeds[name][speed].starting_current_a
    return plant.sheet.air[name].starting_current_a if name in plant.sheet.air else None


def start_currents(plant: Assembly, truth: Timeline, circuit: Circuit) -> tuple[Floats, dict[str, Floats]]:
    """Every second [s] in which something starts whose starting current the file tells, and the currents.

    Currents [A] by name: of what starts in that second, its start's; of all else that runs, its own.
    """
    on = {key: a for key, a in truth.closed.items() if key[0] in circuit.feeds}
    told_a = {key: start for key in on if (start := starting_a(plant, *key)) is not None}
    begins = {key: on[key][:, 0][on[key][:, 0] > 0.0] for key in told_a}
    starts_s = np.unique(np.concatenate([np.empty(0), *begins.values()]))
    drawn = {
        n: np.full(len(starts_s), load_a(plant, n))
        for n in plant.scenario.always_on
        if n in circuit.feeds and (n, "on") not in truth.closed
    }
    for key, a in on.items():
        now = np.where(covers(a, starts_s), load_a(plant, *key), 0.0)
        if key in told_a:
            now = np.where(np.isin(starts_s, begins[key]), told_a[key], now)
        drawn[key[0]] = drawn.get(key[0], 0.0) + now
    return starts_s, drawn


def _worst_start(plant: Assembly, truth: Timeline, circuit: Circuit) -> tuple[float | None, float | None]:
    """The most current in a second in which something starts whose starting current the file tells."""
    starts_s, drawn = start_currents(plant, truth, circuit)
    if not len(starts_s):
        return None, None
    total = sum(drawn.values(), np.zeros(len(starts_s)))
    k = int(np.argmax(total))
    return float(total[k]), float(starts_s[k])


def overloads(plant: Assembly, circuit: str) -> list[tuple[str, ...]]:
    """The machines of every least set of contacts that together draw more than a circuit's breaker bears.

    Contacts, not machines: a pump that is too much on high may be so on low with a third thing beside it, and
    high may never be asked for. Of a pump both speeds are counted, for a weld closes both.
    """
    sheet = plant.scenario.circuits[circuit]
    if not sheet.breaker_a:
        return []
    switched = {name for name, source in plant.sheet.heat_sources.items() if source.switched}
    machines = {*plant.pumps, *plant.sheet.air, *plant.sheet.circulators, *plant.sheet.treatment, *switched}
    fed = [name for name in sheet.feeds if name in machines]
    contacts = [(name, speed) for name in fed for speed in plant.speeds.get(name, ("on",))]
    always = carried(plant, circuit, loads(plant, ()))
    each_a = {at: carried(plant, circuit, loads(plant, [at], lasting=[at])).counted_a - always.counted_a
              for at in contacts}  # fmt: skip
    if len(contacts) > _MOST_CONTACTS:
        return [] if always.within(always.counted_a + sum(each_a.values())) else [tuple(fed)]
    least, found = list[frozenset[Closed]](), dict[tuple[str, ...], None]()
    for n in range(len(contacts) + 1):
        for chosen in combinations(contacts, n):
            if always.within(always.counted_a + sum(each_a[at] for at in chosen)):
                continue
            together = frozenset(chosen)
            if not any(less <= together for less in least):
                least.append(together)
                found[tuple(dict.fromkeys(name for name, _ in chosen))] = None
    return [tuple(fed)] if len(found) > _MOST_SETS else list(found)
