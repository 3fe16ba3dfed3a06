"""Circuits: what draws how much on which, at an instant and at the worst start of a run."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations
from typing import NamedTuple

import numpy as np

from cyclesim.analysis.ages import when
from cyclesim.analysis.metrics import CircuitMetrics
from cyclesim.analysis.spans import covers
from cyclesim.analysis.truth import Snapshot, Timeline
from cyclesim.scenario.blocks.place import Circuit
from cyclesim.simulation.assembly import Plant
from cyclesim.simulation.trace import Trace

CONTINUOUS_SHARE = 1.25
"""What runs for 3 h or more counts so much in north_america; NEC 210.19, 210.20, from memory, not opened."""

_MOST_SETS = 60


class Load(NamedTuple):
    """One thing that draws current: a pump at a speed, a blower, a heat source, or what else is on it."""

    name: str
    speed: str
    current_a: float
    lasting: bool
    """Whether it runs for 3 h or more without a break."""

    @property
    def counted_a(self) -> float:
        """Its current as the rule for what lasts counts it."""
        return self.current_a * (CONTINUOUS_SHARE if self.lasting else 1.0)


def load_a(plant: Plant, name: str, speed: str = "on") -> float:
    """Current [A] of a pump at a speed, a blower, a heat source or another thing on the supply.

    The nameplate's, or power over voltage: a heat pump's is the most of its rated points, a boiler's that of
    its fan and controls.
    """
    if name in plant.pumps:
        return plant.current_a(name, speed)
    sheets = (plant.sheet.air, plant.sheet.heat_sources, plant.sheet.treatment)
    sheet = next((known[name] for known in sheets if name in known), None)
    if sheet is None:
        return plant.scenario.supply.also_on_it[name] / plant.voltage_v
    return sheet.current_a if sheet.current_a is not None else sheet.power_w / plant.voltage_v


def loads(snapshot: Snapshot, plant: Plant) -> Iterator[Load]:
    """Everything that draws current: closed contacts, hot sources, and what else is on the supply."""
    closed = [(pump, speed) for pump, speeds in snapshot.contacts for speed in speeds]
    closed += [(name, "on") for name, truth in (*snapshot.sources, *snapshot.treatments) if truth.hot]
    for name, speed in closed:
        yield Load(name, speed, load_a(plant, name, speed), (name, speed) in snapshot.lasting)
    for name in plant.scenario.supply.also_on_it:
        yield Load(name, "on", load_a(plant, name), True)


def current_a(snapshot: Snapshot, plant: Plant, circuit: Circuit | None = None) -> float:
    """Current [A] drawn from one circuit, or from the whole supply."""
    return sum(x.current_a for x in loads(snapshot, plant) if circuit is None or x.name in circuit.feeds)


def measure_circuits(plant: Plant, trace: Trace, truth: Timeline) -> dict[str, CircuitMetrics]:
    """The most that every circuit carried, running and in the worst second of a start."""
    found = {}
    for name, circuit in plant.scenario.circuits.items():
        most_a, most_at = _most(plant, truth, circuit)
        start_a, start_at = _worst_start(plant, truth, circuit)
        found[name] = CircuitMetrics(
            circuit.breaker_a,
            most_a,
            None if most_at is None else when(trace, most_at),
            start_a,
            None if start_at is None else when(trace, start_at),
        )
    return found


def _most(plant: Plant, truth: Timeline, circuit: Circuit | None) -> tuple[float, float | None]:
    """The most current and when it was first drawn."""
    drawn = [(current_a(snapshot, plant, circuit), -float(a[0, 0])) for snapshot, a in truth.snapshots]
    most_a, at = max(drawn, default=(0.0, 0.0))
    return most_a, -at if drawn else None


def most_current(plant: Plant, truth: Timeline) -> tuple[float, float | None]:
    """The most current [A] of the whole supply, and the second at which it was first drawn."""
    return _most(plant, truth, None)


def _worst_start(plant: Plant, truth: Timeline, circuit: Circuit) -> tuple[float | None, float | None]:
    """The most current in a second in which something starts whose starting current the file tells."""
    on = {key: a for key, a in truth.closed.items() if key[0] in circuit.feeds}
    starting = {
        (name, speed): plant.speeds[name][speed].starting_current_a
        for name, speed in on
        if name in plant.pumps
    }
    told = {key: a for key, a in starting.items() if a is not None}
    begins = {key: on[key][:, 0][on[key][:, 0] > 0.0] for key in told}
    at = np.unique(np.concatenate([np.empty(0), *begins.values()]))
    if not len(at):
        return None, None
    others = sum(load_a(plant, n) for n in plant.scenario.supply.also_on_it if n in circuit.feeds)
    total = np.full(len(at), float(others))
    for key, a in on.items():
        now = np.where(covers(a, at), load_a(plant, *key), 0.0)
        if key in told:
            now = np.where(np.isin(at, begins[key]), told[key], now)
        total += now
    k = int(np.argmax(total))
    return float(total[k]), float(at[k])


def overloads(plant: Plant, circuit: str) -> list[tuple[str, ...]]:
    """Every least set of machines that together can draw more than a circuit's breaker bears.

    Of a pump both speeds are counted: a weld closes both.
    """
    sheet = plant.scenario.circuits[circuit]
    if not sheet.breaker_a:
        return []
    share = CONTINUOUS_SHARE if plant.scenario.supply.region == "north_america" else 1.0
    always_a = sum(share * load_a(plant, n) for n in plant.scenario.supply.also_on_it if n in sheet.feeds)
    most: dict[str, float] = {}
    for name in sheet.feeds:
        if name in plant.pumps:
            most[name] = share * sum(load_a(plant, name, speed) for speed in plant.speeds[name])
        elif (
            name in plant.sheet.air
            or name in plant.sheet.treatment
            or (name in plant.sheet.heat_sources and plant.sheet.heat_sources[name].switched)
        ):
            most[name] = share * load_a(plant, name)
    found: list[tuple[str, ...]] = []
    for n in range(len(most) + 1):
        for some in combinations(most, n):
            over = always_a + sum(most[name] for name in some) > sheet.breaker_a + 1e-9
            if over and not any(set(less) <= set(some) for less in found):
                found.append(some)
    if len(found) > _MOST_SETS:
        return [tuple(most)]
    return found
