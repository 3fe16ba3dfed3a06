"""The numbers that one decides by, read off one run."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any, NamedTuple

import numpy as np

from cyclesim.analysis.history import History
from cyclesim.analysis.result import Measuring
from cyclesim.analysis.tub import water_c_at
from cyclesim.decide.ranges.flushes import flush_lines
from cyclesim.decide.sweeps.sweep import RunReading
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.programme import Programme
from cyclesim.simulation.trace import Trace


class Number(NamedTuple):
    """What is measured, with its unit in the name, of what; and the limit that it is judged by."""

    name: str
    subject: str
    limit: float | None = None


Numbers = dict[Number, float]
"""Infinite where the answer is never."""


def numbers(plant: Assembly, programme: Programme, trace: Trace, _: int) -> Numbers:
    """Everything that one decides by, read off a run."""
    history = History(plant, programme, trace)
    return dict(_read(history, Measuring(history)))


def _as_values(values: Numbers) -> list[list[object]]:
    return [[*number, value] for number, value in values.items()]


def _from_values(values: list[list[Any]]) -> Numbers:
    return {Number(*number): value for *number, value in values}


NUMBERS = RunReading("numbers", numbers, _as_values, _from_values)
"""How a sweep reads them and keeps them."""


def _read(history: History, metrics: Measuring) -> Iterator[tuple[Number, float]]:
    limits, tub, energy = history.plant.scenario.limits, metrics.tub, metrics.energy
    for name, leg in metrics.legs.items():
        oldest_h = math.inf if leg.oldest_water_h is None else leg.oldest_water_h
        yield Number("oldest_water_h", name, limits.water_age_s / 3600.0), oldest_h
    for name, leg in metrics.legs.items():
        warm_h = limits.warm_stagnation_s / 3600.0
        yield Number("longest_warm_still_h", name, warm_h), leg.longest_warm_still_h
    lines = {f"{line.flush}, {line.leg}": line for line in flush_lines(history.plant, history.programme)}
    for subject, line in lines.items():
        yield Number("tub_water_at_last_jet_s", subject, line.lasts_s), line.reached_s
    for subject, line in lines.items():
        yield Number("volumes_per_flush", subject), line.lasts_s / line.reached_s
    yield Number("turnovers_per_day", "tub"), tub.turnovers_per_day
    if tub.fewest_turnovers_in_a_day is not None:
        least = Number("fewest_turnovers_in_a_day", "tub", limits.turnovers_per_day)
        yield least, tub.fewest_turnovers_in_a_day
    if tub.coldest_c is not None:
        yield Number("coldest_water_c", "tub"), tub.coldest_c
    yield from _when_wanted(history)
    for name, pump in metrics.pumps.items():
        yield Number("running_h", name), pump.running_h
    yield Number("energy_kwh", "all"), energy.energy_kwh
    if energy.fuel_kwh:
        yield Number("fuel_kwh", "all"), energy.fuel_kwh
    yield Number("cost", energy.currency), energy.cost
    for month in energy.by_month:
        yield Number("cost_of_month", month.month), month.cost
    for name, circuit in energy.circuits.items():
        yield Number("most_current_a", name, circuit.breaker_a), circuit.most_current_a


def _when_wanted(history: History) -> Iterator[tuple[Number, float]]:
    """How cold the water is at worst when people step in, and when it was to be ready."""
    trace = history.trace
    starts = history.truth.people[:, 0]
    starts = starts[starts > 0.0]
    if len(starts) and len(trace.tub):
        yield Number("coldest_at_session_c", "tub"), float(np.min(water_c_at(trace, starts)))
    if trace.ready:
        yield Number("most_short_at_ready_by_k", "tub"), max(want - water for _, water, want in trace.ready)
