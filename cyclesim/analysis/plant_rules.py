"""Rules of the plant and its schedule as drawn: no run is needed to judge them."""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import product

from cyclesim.analysis.findings import Breach, NotJudged
from cyclesim.analysis.history import asked_duties, movers
from cyclesim.analysis.words import flow, lasting, listed
from cyclesim.control.calendar import WEEKDAYS
from cyclesim.physics.links import TUB
from cyclesim.physics.water_age import STILL_M3_S
from cyclesim.simulation.assembly import Plant, PlantDuty, jet_name, stretch_name
from cyclesim.simulation.programme import Programme

FLUSH_VOLUMES = 2.0
"""How often a flush must replace the water up to the last jet; common practice, no source."""

Judged = Iterator[Breach | NotJudged]


def suction_too_fast(plant: Plant, programme: Programme) -> Judged:
    """Water runs faster through a leg that draws from the tub than the limit."""
    limit = plant.scenario.limits.suction_speed_m_s
    ends = {link.name: (link.a, link.b) for link in plant.links}
    for duty, names in asked_duties(plant, programme):
        for name, leg in plant.sheet.legs.items():
            q = duty.flow_m3_s(name)
            if name not in ends or ends[name][0 if q > 0 else 1] != TUB:
                continue
            speed = abs(q) / (math.pi / 4.0 * leg.bore_m**2)
            if speed > limit:
                bore_mm = math.ceil(1000.0 * math.sqrt(4.0 * abs(q) / math.pi / limit))
                yield Breach(
                    name,
                    f"{flow(abs(q))} at {duty.name} ({listed(names)})",
                    speed,
                    "m/s",
                    f"{speed:.2f} m/s of {limit:g} m/s",
                    f"a bore of at least {bore_mm} mm, or one more suction leg beside it",
                )


def filter_overloaded(plant: Plant, programme: Programme) -> Judged:
    """More water passes a filter than its data sheet allows, in a duty that the schedule asks for."""
    for name, thing in plant.sheet.equipment.items():
        if thing.at_most_m3_s is None:
            if thing.kind == "filter":
                yield NotJudged(f"{name} has no at_most")
            continue
        for duty, names in asked_duties(plant, programme):
            q = abs(duty.flow_m3_s(name))
            if q > thing.at_most_m3_s:
                yield Breach(
                    name,
                    f"at {duty.name} ({listed(names)})",
                    q * 60_000.0,
                    "L/min",
                    f"{flow(q)} of at most {flow(thing.at_most_m3_s)}",
                    f"a lower speed for {listed(names)}, or a filter for at least {flow(q)}",
                )


def jets_weak(plant: Plant, programme: Programme) -> Judged:
    """Even in the best duty that can occur, the last jet of a manifold gets less than it needs."""
    del programme
    duties = _combinations(plant, {name: list(speeds) for name, speeds in plant.speeds.items()})
    for name, leg in plant.sheet.legs.items():
        if leg.manifold is None:
            continue
        needs = leg.manifold.needs_flow_m3_s
        if needs is None:
            yield NotJudged(f"the file does not say what a jet of {name} needs")
            continue
        last = jet_name(name, leg.manifold.jets)
        best = max(duties, key=lambda duty: abs(duty.flow_m3_s(last)))
        got = abs(best.flow_m3_s(last))
        if got < needs:
            lacks = 100.0 * (1.0 - got / needs)
            yield Breach(
                name,
                f"{leg.manifold.jets} jets on one leg, at best at {best.name}",
                got * 60_000.0,
                "L/min",
                f"{flow(got)} at the last jet, which needs {flow(needs)}",
                f"fewer jets, a larger bore or a stronger pump: the last jet lacks {lacks:.0f} %",
                less_is_worse=True,
            )


def source_underfed(plant: Plant, programme: Programme) -> Judged:
    """A heat source gets less than it needs at the heating's own duty, or at another at which it can fire."""
    heating = plant.scenario.schedule.heating
    if heating is None:
        return
    asked: dict[str, list[str]] = {name: [] for name in plant.pumps}
    for demand in programme.controller.demands:
        if demand.speed not in asked[demand.pump]:
            asked[demand.pump].append(demand.speed)
    own = plant.at(*heating.pump)
    order = list(plant.speeds[heating.pump.pump])
    at = list(plant.pumps).index(heating.pump.pump)
    for name in heating.sources:
        needs = plant.sheet.heat_sources[name].needs_flow_m3_s
        for duty in _combinations(plant, asked):
            speed = duty.speeds[at]
            if speed == "stopped" or order.index(speed) < order.index(heating.pump.speed):
                continue
            q = abs(duty.flow_m3_s(name))
            if q < needs and (duty.speeds == own or _can_fire(plant, programme, name, duty)):
                yield Breach(
                    name,
                    f"at {duty.name}" + (", which heating asks for" if duty.speeds == own else ""),
                    q * 60_000.0,
                    "L/min",
                    f"{flow(q)} of at least {flow(needs)}",
                    f"heat at a speed that gives it {flow(needs)}"
                    if duty.speeds == own
                    else f"wire a block of {name} while {duty.name}",
                    less_is_worse=True,
                )


def _combinations(plant: Plant, speeds: dict[str, list[str]]) -> list[PlantDuty]:
    """Every duty of these speeds, each pump stopped too, with valves as usual; but not all stopped."""
    rows = product(*(("stopped", *speeds[name]) for name in plant.pumps))
    return [plant.duty(row) for row in rows if set(row) != {"stopped"}]


def _can_fire(plant: Plant, programme: Programme, source: str, duty: PlantDuty) -> bool:
    """Whether neither a block nor the means of proof keeps a source off at a duty."""
    if programme.proof_s(source) is not None and not plant.sensed(source, duty):
        return False
    at = dict(zip(plant.pumps, duty.speeds, strict=True))
    for block in programme.controller.blocks:
        condition = block.condition
        if block.target != source or condition.subject not in at:
            continue
        state = at[condition.subject]
        true = state == condition.state or (condition.state == "running" and state != "stopped")
        if true != condition.negated:
            return False
    return True


def never_flushed(plant: Plant, programme: Programme) -> Judged:
    """No duty of the schedule moves the water of a leg."""
    everything = _combinations(plant, {name: list(speeds) for name, speeds in plant.speeds.items()})
    for name, leg in plant.sheet.legs.items():
        if leg.dead_end:
            mend = "cut it off at the tee, or join it to a loop that a flush moves"
            yield Breach(name, "it is capped: nothing ever moves its water", None, "", "", mend)
        elif not movers(plant, programme, name):
            could = next((d.name for d in everything if abs(d.flow_m3_s(name)) > STILL_M3_S), None)
            valve = None if could else _valve_before(plant, name, everything)
            cause, mend = "no demand of the schedule moves its water", "give it a pump that moves its water"
            if could:
                mend = f"add a line flush at {could}"
            elif valve:
                cause = f"{valve}, usually shut, keeps its water still"
                mend = f"flush it with {valve} open, or drain it while {valve} is shut"
            yield Breach(name, cause, None, "", "", mend)


def _valve_before(plant: Plant, name: str, duties: list[PlantDuty]) -> str | None:
    """The usually shut valve whose opening alone lets water through a leg, if there is one."""
    for valve in plant.usually_shut:
        others = tuple(v for v in plant.usually_shut if v != valve)
        if any(abs(plant.duty(d.speeds, others).flow_m3_s(name)) > STILL_M3_S for d in duties):
            return valve
    return None


def flush_too_short(plant: Plant, programme: Programme) -> Judged:
    """A line flush replaces the water up to the slowest last jet that it feeds less than twice."""
    for timed in programme.timed:
        if timed.demand.kind != "line flush":
            continue
        duty = plant.duty(plant.at(timed.demand.pump, timed.demand.speed))
        takes = {}
        for name, leg in plant.sheet.legs.items():
            if leg.manifold is not None:
                jets = leg.manifold.jets
                plug = stretch_name(name, jets) if jets > 1 else name
                if plug in duty.reached_s:
                    takes[name] = duty.reached_s[plug]
        if not takes:
            continue
        slowest = max(takes, key=lambda name: takes[name])
        lasts_s, once_s = timed.run.lasts_s or 0.0, takes[slowest]
        if lasts_s >= FLUSH_VOLUMES * once_s:
            continue
        if math.isinf(once_s):
            cause, mend = f"tub water never reaches {slowest}: it circles", "shut what lets the water circle"
        else:
            cause = f"tub water takes {lasting(once_s)} to the last jet of {slowest}"
            mend = _longer_flush(plant, math.ceil(FLUSH_VOLUMES * once_s))
        volumes = lasts_s / once_s
        yield Breach(
            timed.demand.name,
            cause,
            volumes,
            "volumes",
            f"{lasting(lasts_s)} are {volumes:.1f} volumes of at least {FLUSH_VOLUMES:g}",
            mend,
            less_is_worse=True,
        )


def _longer_flush(plant: Plant, need_s: int) -> str:
    """The flush length to key in, out of those that the controller takes."""
    lengths = plant.scenario.controller.flush_lengths_s
    if lengths is None:
        return f"lengthen the flush to at least {lasting(need_s)}"
    long_enough = [x for x in lengths if x >= need_s]
    if long_enough:
        return f"lengthen the flush to {lasting(min(long_enough))}: at least {lasting(need_s)} are due"
    return f"at least {lasting(need_s)} are due, more than the controller takes: flush at a higher speed"


def programme_does_not_fit(plant: Plant, programme: Programme) -> Judged:
    """The schedule asks for what cannot be keyed into the controller."""
    del programme
    takes, schedule = plant.scenario.controller, plant.scenario.schedule
    if takes.filter_windows is None and takes.time_step_s is None and takes.flush_lengths_s is None:
        yield NotJudged("the file does not say what the controller takes")
        return
    most = max(
        sum(len(r.start or ()) for r in schedule.filter_runs if r.days is None or day in r.days)
        for day in range(len(WEEKDAYS))
    )
    if takes.filter_windows is not None and most > takes.filter_windows:
        yield _misfit(f"{most} filter runs a day, and it takes {takes.filter_windows}", "join filter runs")
    if takes.time_step_s is not None:
        yield from _off_step(plant, takes.time_step_s)
    for run in schedule.line_flushes:
        if takes.flush_lengths_s and run.lasts_s not in takes.flush_lengths_s:
            offered = listed([lasting(x) for x in takes.flush_lengths_s])
            yield _misfit(
                f"a flush of {lasting(run.lasts_s)}, and it takes {offered}", "choose one that it takes"
            )


def _off_step(plant: Plant, step_s: float) -> Iterator[Breach]:
    """Starts, and lengths of filter runs, that are no whole number of the controller's steps."""
    schedule, steps = plant.scenario.schedule, f"its times move in steps of {lasting(step_s)}"
    for kind, runs in (("filter run", schedule.filter_runs), ("line flush", schedule.line_flushes)):
        for run in runs:
            for start in run.start or ():
                if (3600 * start.hour + 60 * start.minute + start.second) % step_s:
                    yield _misfit(f"a {kind} at {start:%H:%M}, and {steps}", "move it to a full step")
            if kind == "filter run" and run.lasts_s % step_s:
                cause = f"a filter run of {lasting(run.lasts_s)}, and {steps}"
                yield _misfit(cause, "make it a whole number of steps long")


def _misfit(cause: str, mend: str) -> Breach:
    return Breach("controller", cause, None, "", "", mend)
