"""Flows, heads and mean water ages beside the EPANET engine, for every shipped plant and for drawn networks.

Nothing is shared but the plant's links, with their sizes and losses, and when what ran. The engine solves its
own flows and carries its own water.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache, partial
from math import log, pi
from unittest.mock import patch

from cyclesim.physics import links
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.simulation.assembly import Plant
from cyclesim.simulation.engine import Begins, simulate_trace
from cyclesim.simulation.programme import Programme
from cyclesim.simulation.trace import Trace
from tests.evidence.engine_model import ENGINE_G, Duties, Model, Ran, duties_of, run
from tests.evidence.engine_networks import KINDS, drawn
from tests.evidence.plants import SCHEDULES, scenario
from tests.evidence.record import Check, computed, near

DAYS, DRAWN, FOLD = 3, 33, 4
_COUNTED = 0.01  # flows under this share of the duty's largest are told as a share of that


@dataclass(frozen=True)
class Worst:
    """The largest difference of a kind, and where it is."""

    apart: float
    where: str


@dataclass(frozen=True)
class Beside:
    """One plant: the largest differences between cyclesim and the engine."""

    flow: Worst
    """A share of the link's own flow, or of a hundredth of the duty's largest if it has less."""
    head: Worst
    """A share of the most head that a pump gives in that duty."""
    age: Worst
    """How far a front is out [s]: a row's mean age differs by no more than that times (1 + oldest / length)."""


def engine_factor(reynolds: float, rough: float) -> float:
    """The engine's friction factor: Swamee and Jain from Re 4000, Dunlop's cubic down to 2000, 64/Re.

    From its manual, from memory.
    """
    if reynolds <= 2000.0:
        return 64.0 / reynolds
    y2 = rough / 3.7 + 5.74 / max(reynolds, 4000.0) ** 0.9
    y3 = -2.0 / log(10.0) * log(y2)
    turbulent = y3**-2
    if reynolds >= 4000.0:
        return turbulent
    steep = (2.0 - 2.0 * 0.9 * 2.0 / log(10.0) * 5.74 / 4000.0**0.9 / (y2 * -y3) * -1.0) * turbulent
    r = reynolds / 2000.0
    x1, x2 = 7.0 * turbulent - steep, 0.128 - 17.0 * turbulent + 2.5 * steep
    x3, x4 = -0.128 + 13.0 * turbulent - 2.0 * steep, 0.032 - 3.0 * turbulent + 0.5 * steep
    return x1 + r * (x2 + r * (x3 + r * x4))


def beside(told: Scenario, days: int, fold: int) -> Beside:
    """Run a plant from water that is all the tub's own, then the engine with the same runs, and compare."""
    plant = Plant(told)
    trace = simulate_trace(plant, Programme(told), days=days, begins=Begins(plant.temp_c))
    duties = duties_of(plant, trace)
    ran = run(Model(plant, duties, trace.span_s, fold))
    return Beside(*hydraulics(duties, ran), _ages(plant, trace, ran))


def hydraulics(duties: Duties, ran: Ran) -> tuple[Worst, Worst]:
    """The worst flow and the worst head."""
    flow, head = Worst(0.0, "nowhere"), Worst(0.0, "nowhere")
    for (_, duty), flows, heads in zip(duties, ran.flows_m3_s, ran.heads_m, strict=True):
        ours = duty.duty.flows_m3_s
        if not ours:
            continue  # all stands: the engine leaves a drip
        largest = max(map(abs, ours.values()))
        for name, theirs in flows.items():
            scale = max(abs(theirs), _COUNTED * largest)
            flow = _larger(flow, abs(ours.get(name, 0.0) - theirs) / scale, f"{name}, {duty.name}")
        given = max(duty.duty.pump_heads_m.values())
        for node, at_m in duty.duty.heads_m.items():
            if node != links.TUB:
                head = _larger(head, abs(at_m - heads[node]) / given, f"{node}, {duty.name}")
    return flow, head


def _larger(worst: Worst, apart: float, where: str) -> Worst:
    return Worst(apart, where) if not apart <= worst.apart else worst  # what is no number is the worst


def _ages(plant: Plant, trace: Trace, ran: Ran) -> Worst:
    """The worst row of ages, as seconds by which a front would be out.

    A front that is out by so many seconds changes the mean age over a row by as many times the age that it
    brings over the row's length; and of what stands afterwards, by that times the share of the plug's volume
    that passed in a second. The age that it brings is taken as the oldest of the row and of the one before.
    """
    worst = Worst(0.0, "nowhere")
    for name, rows in trace.ages.items():
        plug = plant.plugs[plant.reported[name]]
        columns = (rows.start_s, rows.end_s, rows.flow_m3_s, rows.mean_integral_s2, rows.oldest_peak_s)
        before, passed_a_second = 0.0, 0.0
        for start, end, flow, integral, oldest in zip(*(c.tolist() for c in columns), strict=True):
            length, brings = end - start, max(before, oldest)
            if flow:
                passed_a_second = abs(flow) / plug.volume_m3
            theirs = ran.mean_over(plug.name, start, end)
            share = 1.0 / length if flow else min(1.0, passed_a_second)
            apart = abs(integral / length - theirs) / (1.0 + brings * share)
            where = f"{name}, {length:.0f} s from {start:.0f}: {integral / length:.2f} and {theirs:.2f} s"
            worst, before = _larger(worst, apart, where), oldest
    return worst
