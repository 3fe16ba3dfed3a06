"""Flows, heads and mean water ages beside the EPANET engine, for every shipped plant and for drawn networks.

Nothing is shared but the plant's links, with their sizes and losses, and when what ran. The engine solves its
own flows and carries its own water.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import lru_cache, partial
from math import log, log10
from unittest.mock import patch

from cyclesim.physics import links
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.engine import Begins, simulate_trace
from cyclesim.simulation.programme import Programme
from cyclesim.simulation.trace import Trace
from tests.evidence.engine_model import DRIP_M3_S, ENGINE_G, Duties, Model, Ran, duties_of, run
from tests.evidence.engine_networks import KINDS, drawn
from tests.evidence.plants import SCHEDULES, scenario
from tests.evidence.record import Check, computed, near

Told = str | int
"""A shipped plant's name or a drawn one's number."""
DAYS, PARTS, EACH = 3, 4, 2
"""Three days, four steps a second, two networks of each kind."""
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
    same_flow: Worst
    """The flow, had cyclesim the engine's friction factor and gravity."""
    same_head: Worst
    """The head, likewise."""
    age: Worst
    """How far a front is out [s] (see `ages`)."""


def engine_factor(reynolds: float, rough: float) -> float:
    """The engine's friction factor: Swamee and Jain from Re 4000, Dunlop's cubic down to 2000, 64/Re.

    From its manual, from memory.
    """
    if reynolds <= 2000.0:
        return 64.0 / reynolds
    y2 = rough / 3.7 + 5.74 / max(reynolds, 4000.0) ** 0.9
    y3 = -2.0 * log10(y2)
    turbulent = y3**-2
    if reynolds >= 4000.0:
        return turbulent
    steep = (2.0 - 3.6 / log(10.0) * 5.74 / 4000.0**0.9 / (y2 * y3)) * turbulent
    r = reynolds / 2000.0
    x1, x2 = 7.0 * turbulent - steep, 0.128 - 17.0 * turbulent + 2.5 * steep
    x3, x4 = -0.128 + 13.0 * turbulent - 2.0 * steep, 0.032 - 3.0 * turbulent + 0.5 * steep
    return x1 + r * (x2 + r * (x3 + r * x4))


@contextmanager
def engine_friction() -> Iterator[None]:
    """cyclesim's solver with the engine's friction factor and gravity in place of its own."""
    with (
        patch.object(links, "darcy_factor", engine_factor),
        patch.object(links, "LAMINAR_RE", 2000.0),
        patch.object(links, "G", ENGINE_G),
    ):
        yield


@lru_cache(maxsize=64)
def beside(told: Told, days: int = DAYS, parts: int = PARTS) -> Beside:
    """Run a plant from water that is all the tub's own, then the engine with the same runs, and compare.

    The ages are those of a run with the engine's friction factor, so that what differs is the ages alone.
    """
    sheet = scenario(told) if isinstance(told, str) else drawn(told)
    with engine_friction():
        plant = Assembly(sheet)
        trace = simulate_trace(plant, Programme(sheet), days=days, begins=Begins(plant.temp_c))
        same = duties_of(plant, trace)
    own = [(at, Assembly(sheet).duty(duty.speeds, duty.positions)) for at, duty in same]
    ran = run(Model(plant, same, trace.span_s), parts)
    return Beside(*hydraulics(own, ran), *hydraulics(same, ran), ages(plant, trace, ran))


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
            if ours.get(name) or abs(theirs) > DRIP_M3_S:
                flow = _larger(flow, abs(ours[name] - theirs) / scale, f"{name}, {duty.name}")
        given = max(duty.duty.pump_heads_m.values())
        for node, at_m in duty.duty.heads_m.items():
            if node != links.TUB:
                head = _larger(head, abs(at_m - heads[node]) / given, f"{node}, {duty.name}")
    return flow, head


def _larger(worst: Worst, apart: float, where: str) -> Worst:
    return Worst(apart, where) if not apart <= worst.apart else worst  # what is no number is the worst


def ages(plant: Assembly, trace: Trace, ran: Ran) -> Worst:
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


# -- the checks -------------------------------------------------------------------------------------------

SHIPPED = tuple(sorted(path.stem for path in SCHEDULES.glob("*.yaml")))
ROWS = (
    ("flow", "flow, apart at most", "%", 0.3),
    ("head", "head at a junction, apart at most", "% of the pump's", 0.4),
    ("same_flow", "flow with the engine's friction formula, apart at most", "%", 0.01),
    ("same_head", "head with the engine's friction formula, apart at most", "% of the pump's", 0.01),
    ("age", "mean water age, a front out by at most", "s", 0.15),
)
"""A field of Beside, what it is called, its unit, what is allowed.

Colebrook's formula and that of Swamee and Jain differ by up to 1.5 % at the Reynolds numbers of small pipes
(between 2000 and 4000, where flow is neither, by more), the two gravities by 0.08 %: that is what the first
two rows allow, and the next two show that nothing else is left. An age may be out by half a step of 1/4 s.
"""


def _worst(of: tuple[Told, ...], field: str) -> tuple[Worst, Told]:
    return max(((getattr(beside(told), field), told) for told in of), key=lambda pair: pair[0].apart)


def _most(of: tuple[Told, ...], field: str) -> float:
    """The largest difference of a kind among some plants, in the unit of its row."""
    return _worst(of, field)[0].apart * (1.0 if field == "age" else 100.0)


def _where(name: str, of: tuple[Told, ...]) -> str:
    """What is furthest apart in some plants, and where."""
    said = []
    for field, quantity, unit, _ in ROWS:
        most, told = _worst(of, field)
        at = f"number {told}, " if len(of) > 1 else ""
        said.append(
            f"{quantity.partition(',')[0]} {_most(of, field):.2g} {unit.split()[0]} ({at}{most.where})"
        )
    return f"{name}: {'; '.join(said)}."


def plants() -> dict[str, tuple[Told, ...]]:
    """What is compared: each shipped plant, and the drawn networks by their kind."""
    kinds = {f"drawn {kind}": tuple(range(k, EACH * len(KINDS), len(KINDS))) for k, kind in enumerate(KINDS)}
    return {**{name: (name,) for name in SHIPPED}, **kinds}


def rows(name: str) -> Iterator[Check]:
    """The five rows of one entry of `plants`."""
    of = plants()[name]
    numbers = f", numbers {', '.join(map(str, of))}" if of[0] != name else ""
    for field, quantity, unit, allowed in ROWS:
        yield near(
            f"{name.replace(' ', '-')}-{field}",
            "engine",
            quantity,
            f"{name}{numbers}, {DAYS} days",
            unit,
            "0",
            partial(_most, of, field),
            allowed,
            "EPANET 2.2, step 1/4 s",
            computed("wntr"),
            relative=False,
            how="at most",
            conclusion=partial(_where, name, of) if field == "age" else None,
            slow=True,
        )


def checks() -> Iterator[Check]:
    """Every row."""
    for name in plants():
        yield from rows(name)
