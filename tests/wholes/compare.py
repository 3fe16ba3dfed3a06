"""Every shipped plant run twice, by cyclesim and by the reference of this folder, and laid side by side.

Open loop: the reference is driven by what cyclesim's actuators did. Closed loop: it has a control of its own.
`python -m tests.wholes.compare` prints the rows.

Where the two differ by design the reference has both readings, and the difference is a row of its own:

- cyclesim lets pumps and sources warm the tub at once; here heat enters where the device sits and arrives
  with the flow. In open loop the reference keeps to the truth, and the difference in heat lost is compared
  with what UA times the warmer stretch comes to. In closed loop it follows cyclesim's reading: heat that is
  late by the way from heater to tub makes a thermostat's cycle a few per cent longer, and the phase of every
  cycle after it another. Energy hardly minds, which is a row of its own. Starts do, but either way: whether
  one falls into a filter run is luck, over forty days of long-table with bands of 0.25 to 0.4 K from a
  quarter fewer to a tenth more.
- cyclesim mixes a loop's cold water into the tub when it has turned over; here it arrives bit by bit. Until
  then cyclesim's tub is the warmer one, by no more than the cold that the loop held; ten minutes later by
  nothing. Hours within ten minutes of a start are left out of the comparison of temperatures by the hour.
- Inertia is a fact, not water: a pump that coasts moves nothing more in cyclesim. With the coasting water the
  oldest ages stay the same.

No shipped plant lets water circle past the tub, so that nothing is said of that here.
"""

import sys
from bisect import bisect_left, bisect_right
from collections.abc import Iterator
from typing import Any

import numpy as np

from tests.evidence.record import Check
from tests.wholes.by_design import by_design
from tests.wholes.cases import (
    AFTER_START_S,
    AGE_S,
    AGE_SHARE,
    CALLED_K,
    CASES,
    DAY_S,
    FILLS_DAYS,
    HOUR_S,
    TUB_K,
    Case,
    bodies_j,
    closed,
    hourly,
    opened,
    ours,
    row,
    scenario,
    starts_of,
    tub_at,
)
from tests.wholes.closedloop import Closed
from tests.wholes.hydraulics import Hydraulics
from tests.wholes.openloop import Run
from tests.wholes.plant import Layout
from tests.wholes.rules import RESTATED, broken
from tests.wholes.water import Duties

ENERGY_OPEN, FLOW = 2e-3, 1e-3
AGE_CLOSED, ENERGY_CLOSED = 0.02, 5e-3


def checks(files: tuple[str, ...] = tuple(CASES), *, design: bool = True) -> Iterator[Check]:
    """Every row of these files; without *design* only open and closed loop as shipped."""
    for file in files:
        case = CASES[file]
        yield from open_loop(case)
        yield from closed_loop(case)
        if design:
            yield from spoiled(case)
            yield from mended(case)
            yield from by_design(case)


def open_loop(case: Case) -> Iterator[Check]:
    """Ages, temperatures, energy under the same actuators."""
    result, run = ours(case), opened(case)
    trace, begin = result.trace, FILLS_DAYS * DAY_S
    for name, piece in Layout(scenario(case)).reported.items():
        rows, age = trace.ages[name], run.ages[piece]
        counted = rows.start_s >= begin
        most, first = float(rows.oldest_peak_s[counted].max()), float(rows.start_s[counted].min())
        says = age.peak_s(first, trace.span_s)
        yield row(case, "open loop", f"oldest water, {name}", says, most, "s", AGE_S + AGE_SHARE * says)
        got, said = _worst_interval(rows, age, begin)
        yield row(
            case,
            "open loop",
            f"oldest water in any interval, {name}",
            said,
            got,
            "s",
            AGE_S + AGE_SHARE * said,
        )
    yield from _flows(case, run)
    tub = hourly(trace)
    counted = [k for k in range(len(tub)) if not _just_started(trace, k * HOUR_S)]
    k = max(counted, key=lambda k: abs(tub[k] - run.hourly_c[k]))
    what = f"tub, worst of {len(counted)} hours"
    yield row(case, "open loop", what, run.hourly_c[k], tub[k], "degC", TUB_K)
    energy, fuel = sum(run.energy_j.values()) - run.energy_j["fuel"], run.energy_j["fuel"]
    for what, says, got in (
        ("electricity", energy / 3.6e6, result.metrics.energy.energy_kwh),
        ("fuel", fuel / 3.6e6, result.metrics.energy.fuel_kwh),
        ("lost through the cover", run.lost_j["cover"] / 3.6e6, trace.tub.cover_loss_j.sum() / 3.6e6),
        ("lost through the shell", run.lost_j["shell"] / 3.6e6, trace.tub.shell_loss_j.sum() / 3.6e6),
        ("lost from pipes and housings", run.lost_j["bodies"] / 3.6e6, bodies_j(case, trace) / 3.6e6),
        (
            "lost by collectors",
            run.lost_j["collectors"] / 3.6e6,
            bodies_j(case, trace, collectors=True) / 3.6e6,
        ),
    ):
        if says or got:
            yield row(case, "open loop", what, says, got, "kWh", case.energy * ENERGY_OPEN * says)


def _just_started(trace: Any, at_s: int) -> bool:
    """Whether a pump has started so lately that its loop's cold water may not count yet (see above)."""
    starts = starts_of(trace)
    k = bisect_left(starts, at_s)  # a pump that starts in this very second has moved nothing yet
    return k > 0 and at_s - starts[k - 1] < AFTER_START_S[-1]


def _flows(case: Case, run: Run) -> Iterator[Check]:
    """The flow of every leg in the duty in which the two are furthest apart."""
    starts = [start for start, _, _ in run.duties]
    hydraulics = Hydraulics(Layout(scenario(case)))
    for leg in scenario(case).plant.legs:
        rows, worst = ours(case).trace.ages[leg], (0.0, 0.0, -1.0)
        for at in {float(q): float(t) for q, t in zip(rows.flow_m3_s, rows.start_s, strict=True)}.items():
            says = hydraulics.flows(run.duties[bisect_right(starts, at[1]) - 1][2])[leg]
            worst = max(worst, (at[0], says, abs(at[0] - says) / max(says, 1e-5)), key=lambda w: w[2])
        yield row(
            case, "open loop", f"flow, {leg}", worst[1] * 6e4, worst[0] * 6e4, "L/min", FLOW * worst[1] * 6e4
        )


def _worst_interval(rows: Any, age: Any, begin_s: float) -> tuple[float, float]:
    """cyclesim's and the reference's peak in the interval of constant flow in which they differ most.

    A front that passes a junction is placed within a second or two by the reference, so that an interval may
    begin with old water in the one and not in the other: the reference's peak is taken with the interval's
    start moved by up to two seconds, whichever is nearest. What comes in as a valve turns is in the reference
    in that second, in cyclesim after it: so is its peak with the last second left out.
    """
    worst, near = (0.0, 0.0, -1.0), np.arange(-2.0, 3.0)
    for start, end, peak in zip(rows.start_s, rows.end_s, rows.oldest_peak_s, strict=True):
        if start >= begin_s:
            says = min(
                (age.peak_s(a, b) for a in start + near for b in (end - 1, end) if a < b),
                key=lambda x: abs(x - peak),
            )
            over = abs(says - peak) / (AGE_S + AGE_SHARE * says)
            worst = max(worst, (over, float(peak), says), key=lambda w: w[0])
    return worst[1], worst[2]


def closed_loop(case: Case) -> Iterator[Check]:
    """Starts, energy, ages and findings of two controls."""
    result, run = ours(case), closed(case)
    for name, pump in result.metrics.pumps.items():
        says = len(run.starts(name))
        # a demand that begins while a pump runs on or rests by chance may cost or save one start
        yield row(case, "closed loop", f"starts, {name}", says, pump.starts, "", max(1.0, case.cycles * says))
    energy = sum(run.energy_j.values()) - run.energy_j["fuel"]
    yield row(
        case, "closed loop", "electricity", energy / 3.6e6, result.metrics.energy.energy_kwh, "kWh",
        case.energy * ENERGY_CLOSED * energy / 3.6e6,
    )  # fmt: skip
    if fuel := run.energy_j["fuel"] / 3.6e6:
        got = result.metrics.energy.fuel_kwh
        yield row(case, "closed loop", "fuel", fuel, got, "kWh", case.energy * ENERGY_CLOSED * fuel)
    for name, sun_w in run.heat.sun_w.items():
        came_j = HOUR_S * sum(sun_w[run.heat.hour(0) : run.heat.hour(0) + run.span_s // HOUR_S])
        says = (came_j - run.lost_j["collectors"]) / 3.6e6  # in a plant with one set of them
        got = result.metrics.heat_sources[name].heat_kwh
        yield row(
            case, "closed loop", f"heat of {name}", says, got, "kWh", case.energy * ENERGY_CLOSED * says
        )
    for name, piece in run.layout.reported.items():
        says, got = run.ages[piece].peak_s(0, run.span_s), result.metrics.legs[name].oldest_water_h * HOUR_S
        yield row(case, "closed loop", f"oldest water, {name}", says, got, "s", AGE_CLOSED * says)
    frost = run.scenario.schedule.frost_protection
    by_water = {"frost protection"} if frost and frost.watches not in run.weather.zones else set()
    by_water |= {d.name for d in run.control.demands if d.kind == "sun"}
    for name in (d.name for d in run.control.demands if "heating" not in d.name):
        stream = result.trace.demands[name]
        if name in by_water:  # how warm it was when it last moved decides when
            says = len(_begins(run.lanes[name].is_(0, run.span_s, "raised")))
            got = len([start for start, _ in stream.spans("raised") if start > 0])
            yield row(case, "closed loop", f"raised, {name}", says, got, "", max(1.0, case.cycles * says))
        else:
            apart = _apart_s(run, name, "raised", stream.spans("raised"))
            yield row(case, "closed loop", f"raised in one only, {name}", 0.0, apart, "s", 0.0)
    yield from _past_the_controller(case, result.trace, run)
    for name, source in result.metrics.heat_sources.items():
        says = len(_begins(run.lanes[name].is_(0, run.span_s, "firing")))
        tolerance = max(1.0, case.cycles * says)
        yield row(case, "closed loop", f"firings, {name}", says, source.firings, "", tolerance)
    if run.heating is not None:
        yield from _thermostat(case, result.trace, run)
        yield from _ready(case, result.trace, run)
    yield from _findings(case, "closed loop", result, run)


def _apart_s(run: Closed, lane: str, state: str, spans: list[tuple[int, int]]) -> float:
    """The seconds in which the one is in a state and the other is not."""
    theirs = np.zeros(run.span_s, dtype=bool)
    for start, end in spans:
        theirs[start:end] = True
    return float(np.sum(run.lanes[lane].is_(0, run.span_s, state) != theirs))


def _past_the_controller(case: Case, trace: Any, run: Closed) -> Iterator[Check]:
    """Positions and what treats, to the second; contacts by their number and how cold the water is then."""
    usual = ", ".join(run.layout.usual)
    left = [(x.start_s, x.end_s) for x in trace.positions if (", ".join(x.state) or usual) != usual]
    by_motor = any(s.steered and s.steered.valve for s in run.layout.collectors.values())
    for state in [s for s in run.lanes["positions"].names if s != usual]:
        if by_motor:  # how warm collectors and tub are decides when
            says = len(_begins(run.lanes["positions"].is_(0, run.span_s, state)))
            got = len([start for start, _ in left if start > 0])
            yield row(case, "closed loop", f"turned to {state}", says, got, "", max(1.0, case.cycles * says))
            continue
        apart = _apart_s(run, "positions", state, left)
        yield row(case, "closed loop", f"turned in one only, {state}", 0.0, apart, "s", 0.0)
    for name in trace.treatments:
        apart = _apart_s(run, name, "on", trace.treatments[name].spans("on"))
        yield row(case, "closed loop", f"on in one only, {name}", 0.0, apart, "s", 0.0)
    at, water_c = (np.array(x) for x in zip(*run.tub, strict=True))
    for contact in run.wired.contacts:
        if contact.line.clock is None:
            name = contact.target
            (stream,) = [s for n, s in trace.starters.items() if n.startswith(f"{name}, ")]
            mine = _begins(run.lanes[f"contact of {name}"].is_(0, run.span_s, "closed"))
            theirs = np.array([start for start, _ in stream.spans("closed") if start > 0])
            says = len(mine)
            what = f"closes, contact of {name}"
            yield row(case, "closed loop", what, says, len(theirs), "", max(1.0, case.cycles * says))
            says, got = np.interp(mine, at, water_c).max(), tub_at(trace, theirs).max()
            what = f"tub as the contact of {name} closes"
            yield row(case, "closed loop", what, says, got, "degC", CALLED_K)
        if source := contact.line.contact_of:
            mine = _ends(run.lanes[f"contact of {name}"].is_(0, run.span_s, "closed"))
            wants = _ends(run.lanes[f"contact of {source}"].is_(0, run.span_s, "closed"))
            theirs = np.array([end for _, end in stream.spans("closed") if end < run.span_s])
            hot = np.array([end for _, end in trace.sources[source].spans("firing")])
            says, got = np.median(_since(mine, wants)), np.median(_since(theirs, hot))
            yield row(case, "closed loop", f"contact of {name} outlasts {source}", says, got, "s", 0.0)
    for name, source in run.scenario.plant.heat_sources.items():
        if source.own_flow_switch_s is not None:
            mine = _begins(run.lanes[name].is_(0, run.span_s, "firing"))
            theirs = np.array([start for start, _ in trace.sources[name].spans("firing") if start > 0])
            says = np.min(_since(mine, _flow_begins(run, run.duties, name)))
            got = np.min(_since(theirs, _flow_begins(run, opened(case).duties, name)))
            yield row(case, "closed loop", f"least flow before {name} fires", says, got, "s", 0.0)


def _flow_begins(run: Closed, duties: Duties, source: str) -> np.ndarray:
    """The seconds at which a heat source begins to have the flow that it needs."""
    needs = run.scenario.plant.heat_sources[source].needs_flow_m3_s
    fed = [run.hydraulics.flows(moves)[source] >= needs for _, _, moves in duties]
    return np.array([d[0] for d, was, now in zip(duties[1:], fed, fed[1:], strict=False) if now and not was])


def _since(seconds: np.ndarray, before: np.ndarray) -> np.ndarray:
    """How long before each second the last of others was; what has none before it is left out."""
    k = np.searchsorted(before, seconds, side="right") - 1
    return np.asarray((seconds - before[k])[k >= 0])


def _begins(true: np.ndarray) -> np.ndarray:
    """The seconds at which something begins; what is so at second 0 had begun before."""
    return np.asarray(np.flatnonzero(true[1:] & ~true[:-1]) + 1)


def _ends(true: np.ndarray) -> np.ndarray:
    """The seconds at which something ends."""
    return np.asarray(np.flatnonzero(~true[1:] & true[:-1]) + 1)


def _heating(trace: Any) -> np.ndarray:
    """The seconds at which cyclesim's heating is raised."""
    return np.array([start for start, _ in trace.demands["heating"].spans("raised") if start > 0])


def _thermostat(case: Case, trace: Any, run: Closed) -> Iterator[Check]:
    """How far below the set point heating is called.

    The least of all calls, which no cold leg hurried; with a plan, whose steps call from any temperature, the
    middle one.
    """
    of_all = np.median if run.windows else np.min
    mine, theirs = _begins(run.lanes["heating"].is_(0, run.span_s, "raised")), _heating(trace)
    at, water_c = (np.array(x) for x in zip(*run.tub, strict=True))
    wanted = {int(t): run.planned_c(int(t)) for t in (*mine, *theirs)}
    says = of_all([wanted[int(t)] for t in mine] - np.interp(mine, at, water_c))
    before = theirs - 0.5  # what the call starts may take heat in that very second
    got = of_all([wanted[int(t)] for t in theirs] - tub_at(trace, before))
    yield row(case, "closed loop", "called below the set point", says, got, "K", case.called_k)


def _ready(case: Case, trace: Any, run: Closed) -> Iterator[Check]:
    """What was to be ready: when, how warm it was, and when heating for it began."""
    mine, theirs = _begins(run.lanes["heating"].is_(0, run.span_s, "raised")), _heating(trace)
    ready = [(t, c) for t, c, _ in run.ready if t >= 0]
    for (t, c), (at, water_c, _) in zip(ready, trace.ready, strict=True):
        yield row(case, "closed loop", f"ready by, the second of {t}", t, at, "s", 0.0)
        yield row(case, "closed loop", f"ready by second {t}", c, water_c, "degC", case.ready_k)
        says, got = mine[mine < t].max(), theirs[theirs < t].max()
        yield row(case, "closed loop", f"begun for second {t}", says, got, "s", case.phase_s)


def _findings(case: Case, group: str, result: Any, run: Closed) -> Iterator[Check]:
    """1 where a rule is broken, for each of the restated rules."""
    mine, found = broken(run), {finding.rule for finding in result.findings}
    for rule in RESTATED:
        yield row(case, group, f"breaks {rule}", rule in mine, rule in found, "", 0.0)


def spoiled(case: Case) -> Iterator[Check]:
    """The same file spoilt on purpose: the same rules are broken, and some are."""
    also = case.spoiled
    yield from _findings(case, "spoilt on purpose", ours(case, also), closed(case, also))


def mended(case: Case) -> Iterator[Check]:
    """The same file mended, where it breaks something as shipped: the same rules are broken."""
    if also := case.mended:
        yield from _findings(case, "mended", ours(case, also), closed(case, also))


def main() -> None:
    """Print every row, those that do not hold marked."""
    for check in checks(tuple(sys.argv[1:]) or tuple(CASES)):
        mark = " " if check.holds else "!"
        print(
            f"{mark} {check.id:<90} {check.says:>12.4f} {check.ours:>12.4f} {check.difference:>+10.4f}"
            f" (within {check.tolerance:.4f} {check.unit})"
        )


if __name__ == "__main__":
    main()
