"""The plant driven by what another run's actuators did: its streams in, temperatures and ages out."""

from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

import numpy as np

from cyclesim.scenario.blocks.model import Scenario
from tests.wholes.heat import LOSSES, Doing, Heat
from tests.wholes.hydraulics import Hydraulics
from tests.wholes.plant import Layout
from tests.wholes.water import Age, Duties, ages
from tests.wholes.weather import HOUR_S, Weather


@dataclass
class Run:
    """What the reference found."""

    hourly_c: list[float] = field(default_factory=list)
    moments_c: dict[int, float] = field(default_factory=dict)
    """The tub at the seconds that were asked for."""
    cold_k: dict[int, float] = field(default_factory=dict)
    """At a pump's start: by how much the tub falls once it has mixed with what begins to move."""
    duties: Duties = field(default_factory=list)
    ages: dict[str, Age] = field(default_factory=dict)
    energy_j: dict[str, float] = field(default_factory=dict)
    """Electricity of each device; fuel under `fuel`."""
    lost_j: dict[str, float] = field(default_factory=dict)


def states_of(stream: Any) -> tuple[np.ndarray, list[str]]:
    """Since when, and what, of a stream of the trace."""
    rows = list(stream)
    states = [row.state if isinstance(row.state, str) else ", ".join(row.state) for row in rows]
    return np.array([row.start_s for row in rows]), states


def moves_of(trace: Any, layout: Layout, now: dict[str, str]) -> tuple[str, ...]:
    """Speeds of all pumps and positions of all diverters, from what each stream says."""
    speeds = tuple("stopped" if now[n] == "changing" else now[n] for n in trace.pumps)
    return speeds + (tuple(now["positions"].split(", ")) if now["positions"] else layout.usual)


def energy_of(
    scenario: Scenario, seconds: dict[tuple[str, str], int], drawn_j: dict[str, float]
) -> dict[str, float]:
    """Electricity [J] by device and fuel, from the seconds that each was in a state."""
    plant, found = scenario.plant, {"fuel": 0.0}
    for name, pump in plant.pumps.items():
        found[name] = sum(s.power_w * seconds.get((name, speed), 0) for speed, s in pump.speeds.items())
    for name, blower in plant.air.items():
        found[name] = blower.power_w * seconds.get((name, "on"), 0)
    for name, circulator in plant.circulators.items():
        found[name] = circulator.power_w * seconds.get((name, "on"), 0)
    for name, device in plant.treatment.items():
        found[name] = device.power_w * seconds.get((name, "on"), 0)
    for name, source in plant.heat_sources.items():
        fired = seconds.get((f"heat of {name}", "on") if source.own_water else (name, "firing"), 0)
        found[name] = drawn_j[name] if source.kind == "heat_pump" else source.power_w * fired
        if source.kind == "boiler":
            found["fuel"] += source.output_w / source.efficiency * fired
    return found


def driven(scenario: Scenario, trace: Any, *, moments: tuple[int, ...] = ()) -> Run:
    """Run the plant by the actuators of *trace*, from its state at second 0 on.

    What stands in the pipes at second 0 counts as born long before, so that ages mean something once every
    loop has turned over.
    """
    layout = Layout(scenario)
    hydraulics = Hydraulics(layout)
    weather = Weather(scenario, trace.begin_utc, trace.span_s // HOUR_S + 2)
    heat, run = Heat(layout, hydraulics, weather, 0), Run()
    bodies = {name: float(rows.start_c[0]) for name, rows in trace.stays.items()}
    for name, rows in trace.own_waters.items():
        bodies[f"own water of {name}"] = float(rows.source_c[0])
    heat.set(float(trace.tub.water_c[0]), float(trace.tub.shell_c[0]), bodies)
    devices = {**trace.pumps, **trace.sources, **trace.blowers, **trace.treatments, **trace.circulators}
    devices |= {f"heat of {n}": stream for n, stream in trace.burners.items()}
    others = {"people": trace.people, "cover": trace.cover, "positions": trace.positions}
    streams = {**devices, **others}
    known = {name: states_of(s) for name, s in streams.items()}
    marks = {*range(0, trace.span_s + 1, HOUR_S), *(int(t) for at, _ in known.values() for t in at)}
    marks = {t for t in marks | {*moments} if 0 <= t < trace.span_s} | {trace.span_s}
    wanted, before = set(moments), layout.still
    seconds: dict[tuple[str, str], int] = {}
    for start, end in pairwise(sorted(marks)):
        now = {
            n: states[int(np.searchsorted(at, start, side="right")) - 1] for n, (at, states) in known.items()
        }
        speeds = moves_of(trace, layout, now)
        for name in devices:
            seconds[name, now[name]] = seconds.get((name, now[name]), 0) + end - start
        if start % HOUR_S == 0:
            run.hourly_c.append(heat.water_c)
        if start in wanted:
            run.moments_c[start] = heat.water_c
        if speeds != before:
            run.cold_k[start] = heat.cold_k(before, speeds)
            before = speeds
        doing = Doing(
            speeds,
            tuple(n for n in trace.sources if now.get(f"heat of {n}", now[n]) in ("firing", "on")),
            tuple(n for n in trace.blowers if now[n] == "on"),
            int(now["people"]),
            now["cover"] == "on",
            tuple(n for n, own in layout.own.items() if now[own.circulator] == "on"),
        )
        run.duties.append((start, end, speeds))
        heat.step(start, end, doing)
    run.hourly_c.append(heat.water_c)
    run.ages = ages(layout, hydraulics, run.duties, -1e9)
    run.energy_j = energy_of(scenario, seconds, heat.drawn_j)
    run.lost_j = dict(zip(LOSSES, heat.z[heat.n :].tolist(), strict=True))
    return run
