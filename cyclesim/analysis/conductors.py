"""What each cable carries and how much voltage is lost on it, and the rule that too much is.

From the beginning of a circuit to a thing: the circuit's own cable with all that it carries, and the thing's.
What is lost before the plant's supply is not known here, and comes on top.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from cyclesim.analysis.amounts import apart, listed
from cyclesim.analysis.device_metrics import CircuitMetrics
from cyclesim.analysis.findings import Breach, Judged, Rule
from cyclesim.analysis.most_carried import most_together
from cyclesim.analysis.supply import (
    Load,
    carried,
    load_a,
    loads_at,
    start_currents,
    starting_a,
)
from cyclesim.analysis.truth import Timeline
from cyclesim.physics.conductors import RESISTIVITY_OHM_M, drop_v
from cyclesim.scenario.blocks.cables import Cable, Conductor, gauge_area_m2
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.programme import Programme

_METRIC = tuple(
    Conductor(f"{mm2:g} mm2", mm2 * 1e-6)
    for mm2 in (1.5, 2.5, 4.0, 6.0, 10.0, 16.0, 25.0, 35.0, 50.0, 70.0, 95.0, 120.0)
)
_GAUGES = tuple(
    Conductor(f"{n} AWG" if n > 0 else f"{1 - n}/0 AWG", gauge_area_m2(n))
    for n in (14, 12, 10, 8, 6, 4, 3, 2, 1, 0, -1, -2, -3)
)
"""Sizes that are sold, the thinnest first: IEC 60228 and NEC chapter 9, quoted from memory."""


class Conducted(NamedTuple):
    """What comes at most to the end of one cable: a circuit's, or that of one thing on it."""

    to: str
    circuit: str
    cable: Cable
    carries_a: float
    drop_v: float
    """From the beginning of the circuit to its end."""
    share: float
    """Of the voltage of the supply."""
    loads: tuple[Load, ...]
    """What the circuit then carries."""
    starting_v: float | None
    """As drop_v, while one of what may run together starts beside the others; None where no start is told."""


def power_factor(plant: Assembly, name: str, speed: str) -> float:
    """Power over voltage times current [1], off the plate; 1 where it tells one of the two only, or more."""
    if name in plant.pumps:
        power_w = plant.speeds[name][speed].power_w
    else:
        known = (plant.sheet.air, plant.sheet.circulators, plant.sheet.heat_sources, plant.sheet.treatment)
        sheet = next((sheets[name] for sheets in known if name in sheets), None)
        power_w = plant.scenario.always_on[name] if sheet is None else sheet.power_w
    apparent_va = plant.voltage_v * load_a(plant, name, speed)
    return min(1.0, power_w / apparent_va) if power_w and apparent_va else 1.0


def _lost_v(plant: Assembly, cable: Cable | None, loads: Sequence[Load]) -> float:
    """Voltage [V] that a cable loses with these loads at its end."""
    if cable is None:
        return 0.0
    of = cable.length_m, cable.area.area_m2, RESISTIVITY_OHM_M[cable.of]
    return sum(drop_v(load.current_a, power_factor(plant, load.name, load.speed), *of) for load in loads)


def lost_to(plant: Assembly, circuit: str, loads: Sequence[Load]) -> dict[str, float]:
    """Voltage [V] lost from the beginning of a circuit to its end, and to each of the *loads* on it."""
    supply = plant.scenario.supply
    shared_v = _lost_v(plant, plant.scenario.circuits[circuit].cable, loads)
    return {circuit: shared_v} | {
        load.name: shared_v + _lost_v(plant, supply.cables_to.get(load.name), [load]) for load in loads
    }


def _loop_ohm(cable: Cable | None) -> float:
    """Resistance of both conductors [ohm]: a start's power factor is on no plate, and 1 loses the most."""
    if cable is None:
        return 0.0
    return drop_v(1.0, 1.0, cable.length_m, cable.area.area_m2, RESISTIVITY_OHM_M[cable.of])


def _starting_v(plant: Assembly, circuit: str, to: str, rows: Sequence[Sequence[Load]]) -> float | None:
    """The most that is lost to an end [V] while one thing starts and the others run."""
    shared_ohm = _loop_ohm(plant.scenario.circuits[circuit].cable)
    own_ohm = _loop_ohm(plant.scenario.supply.cables_to.get(to))
    lost = []
    for loads in rows:
        runs_a = sum(load.current_a for load in loads)
        for load in loads:
            start_a = starting_a(plant, load.name, load.speed)
            if start_a is not None:
                own_a = sum(
                    start_a if other is load else other.current_a for other in loads if other.name == to
                )
                lost.append(shared_ohm * (runs_a - load.current_a + start_a) + own_ohm * own_a)
    return max(lost, default=None)


def with_drops(
    plant: Assembly, truth: Timeline, circuits: Mapping[str, CircuitMetrics]
) -> dict[str, CircuitMetrics]:
    """The circuits of a run with the most voltage that was lost on their cables, where these are told."""
    told = dict(circuits)
    for name, circuit in plant.scenario.circuits.items() if has_cables(plant) else ():
        known = plant.scenario.supply.cables_to
        if circuit.cable is None and known.keys().isdisjoint(circuit.feeds):
            continue
        lost = [
            (lost_v, to)
            for snapshot, _ in truth.snapshots
            for to, lost_v in lost_to(
                plant, name, carried(plant, name, loads_at(snapshot, plant)).loads
            ).items()
        ]
        most_v, to = max(lost, key=lambda one: one[0], default=(0.0, name))
        starts_s, drawn_a = start_currents(plant, truth, circuit)
        start_v = None
        if len(starts_s):
            own_v = [_loop_ohm(known.get(fed)) * amps for fed, amps in drawn_a.items()]
            start_v = float(np.max(_loop_ohm(circuit.cable) * sum(drawn_a.values()) + np.max(own_v, axis=0)))
        told[name] = replace(
            told[name],
            most_drop_v=most_v,
            most_drop_percent=100.0 * most_v / plant.voltage_v,
            most_drop_to=to,
            most_starting_drop_v=start_v,
            most_starting_drop_percent=None if start_v is None else 100.0 * start_v / plant.voltage_v,
        )
    return told


def has_cables(plant: Assembly) -> bool:
    """Whether the file tells any cable."""
    circuits = plant.scenario.circuits.values()
    return bool(plant.scenario.supply.cables_to) or any(circuit.cable for circuit in circuits)


def conducted(plant: Assembly) -> Iterator[Conducted]:
    """Every cable of the file with the most that it carries, as the interlocks let things come together."""
    supply = plant.scenario.supply
    for name, circuit in plant.scenario.circuits.items():
        own = [fed for fed in circuit.feeds if fed in supply.cables_to]
        if circuit.cable is None and not own:
            continue
        sets = [row.kept.loads for row in most_together(plant, name)]
        if circuit.cable is not None:
            loads = max(sets, key=lambda loads: lost_to(plant, name, loads)[name])
            yield _conducted(plant, name, name, circuit.cable, loads, sets)
        for fed in own:
            with_it = [of for of in sets if any(load.name == fed for load in of)]
            loads = max(with_it, key=lambda loads: lost_to(plant, name, loads)[fed])
            yield _conducted(plant, fed, name, supply.cables_to[fed], loads, with_it)


def _conducted(
    plant: Assembly,
    to: str,
    circuit: str,
    cable: Cable,
    loads: tuple[Load, ...],
    may_run: Sequence[Sequence[Load]],
) -> Conducted:
    carries = [load.current_a for load in loads if to in (circuit, load.name)]
    lost_v = lost_to(plant, circuit, loads)[to]
    start_v = _starting_v(plant, circuit, to, may_run)
    return Conducted(to, circuit, cable, sum(carries), lost_v, lost_v / plant.voltage_v, loads, start_v)


def voltage_drops(plant: Assembly, programme: Programme) -> Judged:
    """More of the voltage is lost on the way to something than the file allows, at the most that runs."""
    del programme
    most = plant.scenario.supply.drop_at_most
    for row in conducted(plant):
        if row.share > most:
            value, limit = apart(100.0 * row.share, 100.0 * most, 1)
            on = listed([f"{load.name} {load.speed}".removesuffix(" on") for load in row.loads])
            yield Breach(
                row.to,
                f"{row.carries_a:.1f} A through {row.cable.length_m:g} m of {row.cable.area.name} "
                f"{row.cable.of}, with {on} on the circuit",
                row.drop_v,
                "V",
                f"{row.drop_v:.1f} V, {value} % of at most {limit} %",
                _thicker(plant, row, most),
            )


def _thicker(plant: Assembly, row: Conducted, most: float) -> str:
    """The first size at which this figure alone would be within the limit."""
    over_v = row.drop_v - most * plant.voltage_v
    carried = [load for load in row.loads if row.to in (row.circuit, load.name)]
    now_v = _lost_v(plant, row.cable, carried)
    for size in _GAUGES if "AWG" in row.cable.area.name else _METRIC:
        if now_v - _lost_v(plant, row.cable.model_copy(update={"area": size}), carried) >= over_v:
            return f"by this figure alone {size.name} would do: an electrician decides"
    return "a shorter way, another circuit, or less on this one: an electrician decides"


RULES: tuple[Rule, ...] = (
    Rule(
        "voltage-drops",
        "plant",
        "wear",  # a motor that gets too little voltage draws more current and runs hot
        sentence="At the most that may run together no cable loses more of the voltage than the file allows.",
        source="5 %, 3 % for lighting: IEC 60364-5-52 table G.52.1, seen second-hand; local code decides",
        mend="thicker conductors, or a shorter way",
        judge=voltage_drops,
        applies=lambda plant, _: has_cables(plant),
    ),
)
