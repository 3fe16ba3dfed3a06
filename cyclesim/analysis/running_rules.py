"""Rules of a whole run on what runs: too soon, too often, in quiet hours, or not though it was asked for."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections import Counter

import numpy as np

from cyclesim.analysis import programme_mends as mends
from cyclesim.analysis.amounts import at_least, lasting, times_apart
from cyclesim.analysis.combinations import as_written
from cyclesim.analysis.energy import starts_of, within_an_hour
from cyclesim.analysis.findings import CHOICE, PRACTICE, Breach, Judged, Rule
from cyclesim.analysis.history import CLOCK_RESET, HALTS, History, halted, why_halted
from cyclesim.analysis.spans import (
    Spans,
    covers,
    first,
    join,
    longer,
    meet,
    spans,
    total_s,
    while_in,
    without,
)
from cyclesim.analysis.truth import running
from cyclesim.control.demands import Demand
from cyclesim.scenario.blocks.schedule import SUN
from cyclesim.simulation.trace import Stream

_H_S = 3600.0
_REACTION_S = 1.0
_RUNNING = ("on", "low", "high")
ABOVE = "stands above it"
"""How the cause ends where another demand has the pump."""


def no_run_on(history: History) -> Judged:
    """Water stops too soon after a source's heat ended. A gap no longer than the grace is no stop."""
    limits, span_s = history.plant.scenario.limits, history.trace.span_s
    grace = limits.heat_without_flow_grace_s
    for name in history.trace.sources:
        hot = history.truth.hot[name]
        if not history.plant.sheet.heat_sources[name].switched:
            continue  # nobody ends its heat, so that nothing can run on after it
        flowing = longer(history.truth.some_flow[name], grace)  # joins what a gap within the grace parts
        keeps = [k for k in history.programme.controller.keeps if k.after == name]
        runs_on = history.programme.run_on_s(name)
        if not keeps:
            cause = "nothing keeps a pump running after it"
        elif runs_on < limits.run_on_s:
            cause = f"its run-on is {lasting(runs_on)}"
        else:
            cause = "the pump stops though it is kept"
        heating = history.plant.scenario.schedule.heating
        pump = keeps[0].pump if keeps else heating.pump.pump if heating else "a pump"
        speed = keeps[0].speed if keeps else heating.pump.speed if heating else "on"
        kept = f"{{keep: {as_written(pump, speed)}, after: {name}, lasting: {at_least(limits.run_on_s)}}}"
        mend = f"wire {kept}"
        if keeps and runs_on < limits.run_on_s:
            mend = f"keep it for longer: {kept}"
        elif keeps:
            mend = f"see what stops {pump}: its hand switch, low water, or its breaker"
            if not history.plant.has_flow(name, history.plant.duty(history.plant.at(pump, speed))):
                cause = f"{as_written(pump, speed)}, which is kept on, moves too little water through it"
                mend = "keep a pump and a speed on that move water through it"
        ends = hot[:, 1][hot[:, 1] < span_s]
        i = np.searchsorted(flowing[:, 0], ends, side="right") - 1
        stops = np.append(flowing[:, 1] - grace, -math.inf)  # before any flow there is none to stop
        again = np.append(hot[1:, 0], math.inf)[: len(ends)]
        stops = np.maximum(ends, stops[i])
        short = (stops - ends < limits.run_on_s) & (stops < np.minimum(again, span_s))
        for end, until in zip(ends[short].tolist(), stops[short].tolist(), strict=True):
            text = f"water runs {' of '.join(times_apart(until - end, limits.run_on_s))}"
            no_power = why_halted(history, end, end + limits.run_on_s, limits.run_on_s, {pump})
            stop_cause, stop_mend = no_power or (cause, mend)
            yield Breach(name, stop_cause, until - end, "s", text, stop_mend, end, less_is_worse=True)


def short_cycling(history: History) -> Judged:
    """A pump starts again too soon after it stopped; a change of speed is no stop."""
    need = history.plant.scenario.limits.pump_rest_s
    for name, stream in history.trace.pumps.items():
        deciding, stopped_at, rested = history.trace.deciding[name], None, False
        for stay in stream:
            if stay.state in _RUNNING:
                if stopped_at is not None and rested and stay.start_s - stopped_at < need:
                    before, now = _state_at(deciding, stopped_at - 1), _state_at(deciding, stay.start_s)
                    rest_s = stay.start_s - stopped_at
                    if before == now:
                        cause, mend = f"{now} stops and starts it", "a wider band or longer runs"
                    else:
                        cause = f"{now or 'something'} starts it soon after {before or 'something'}"
                        mend = f"leave {at_least(need)} between them, or let them meet"
                    mend += f"; or give the pump rest: {at_least(need)}"
                    text = " of ".join(times_apart(float(rest_s), need))
                    yield Breach(
                        name, cause, float(rest_s), "s", text, mend, float(stay.start_s), less_is_worse=True
                    )
                stopped_at, rested = stay.end_s, False
            elif stay.state == "stopped":
                rested = True


def too_many_starts(history: History) -> Judged:
    """A pump starts more often within any hour than its motor bears; a change of speed is no start."""
    most, trace = history.plant.scenario.limits.starts_per_hour, history.trace
    for name, stream in trace.pumps.items():
        starts = starts_of(stream)
        counts = within_an_hour(starts)
        too_many = starts[counts > most]
        for begin, end in spans(np.column_stack((too_many, too_many + _H_S))).tolist():
            within = (starts >= begin) & (starts < end) & (counts > most)
            first, count = starts[within][np.argmax(counts[within])], int(counts[within].max())
            busiest = starts[(starts >= first) & (starts < first + _H_S)].tolist()
            deciders = Counter(_state_at(trace.deciding[name], int(start_s)) for start_s in busiest)
            who = deciders.most_common(1)[0][0]
            cause, mend = f"{who or 'something'} starts it most often", "a wider band or longer runs"
            text = f"{count} of at most {most:g} starts in an hour"
            yield Breach(name, cause, float(count), "starts", text, mend, begin)


def quiet_hours(history: History) -> Judged:
    """Something that must stay off in the quiet hours runs in them."""
    quiet_ = history.plant.scenario.schedule.quiet_hours
    if quiet_ is None:
        return
    trace = history.trace
    quiet = spans(history.programme.quiet_spans(trace.begin_utc, trace.span_s))
    moved = f"move it out of {quiet_.from_time:%H:%M} to {quiet_.to_time:%H:%M}"
    wrong = spans(history.programme.own_clock(trace.begin_utc, trace.span_s).wrong)
    for pump, speed in quiet_.applies_to:
        loud = meet(running(trace, history.plant, pump, speed), quiet)
        subject = as_written(pump, speed)
        for who, part in _by_whom(history, pump, loud):
            usual = who or "nobody: it was running still"
            off = covers(wrong, part[:, 0]) & (who in history.programme.by_clock)
            for (start, end), reset in zip(part.tolist(), off.tolist(), strict=True):
                cause, mend = (f"{who}: {CLOCK_RESET[0]}", CLOCK_RESET[1]) if reset else (usual, moved)
                yield Breach(subject, cause, end - start, "s", lasting(end - start), mend, start, end - start)


def demand_not_served(history: History) -> Judged:
    """A demand is raised, and its pump runs slower than it asks, or not at all."""
    controller = history.programme.controller
    speeds = {pump.name: pump.speeds for pump in controller.pumps}
    streams = {**history.trace.pumps, **history.trace.blowers}
    for demand in controller.demands:
        if not demand.pump:
            continue  # a treatment device that is kept off for want of flow is as it should be
        stream, sheet = streams[demand.pump], history.plant.sheet.pumps.get(demand.pump)
        own, rest_s = speeds[demand.pump], sheet.rest_s if sheet else 0.0
        raised = while_in(history.trace.demands[demand.name], "raised")
        served = while_in(stream, *own[own.index(demand.speed) :])
        changing = longer(while_in(stream, "changing"), _REACTION_S)
        reacting = first(raised, _REACTION_S)
        missed = without(raised, join(served, changing, reacting))
        if not len(missed):
            continue
        dark_by = {state: halted(history, state, {demand.pump}) for state in HALTS}
        if rest_s:
            missed = without(missed, _resting(stream, rest_s, join(*dark_by.values())))
        for state, (cause, mend) in HALTS.items():
            dark = dark_by[state]
            for start, end in meet(missed, dark).tolist():
                text = f"{lasting(end - start)} without power"
                if state in ("waits", "low"):
                    text = f"{lasting(end - start)} without {as_written(demand.pump, demand.speed)}"
                if (
                    demand.kind == SUN and end not in dark[:, 1]
                ):  # the cut goes on, the sun is asked for no more
                    text += ", then too hot to be let in or no longer warmer"
                yield Breach(demand.name, cause, end - start, "s", text, mend, start, end - start)
            missed = without(missed, dark)
        deciding = history.trace.deciding.get(demand.pump, Stream(demand.pump, ""))
        deciding.end_s = history.trace.span_s
        for who, part in _by_decider(missed, deciding):
            cause, mend = _why_not_served(history, demand, who)
            for start, end in part.tolist():
                text = f"{lasting(end - start)} without {as_written(demand.pump, demand.speed)}"
                yield Breach(demand.name, cause, end - start, "s", text, mend, start, end - start)


def _resting(stream: Stream[str], rest_s: float, dark: Spans) -> Spans:
    """When a pump rests as it must, and starts; where want of power stopped it, its rest explains no want."""
    rests = first(while_in(stream, "stopped"), rest_s)
    cut = covers(dark, rests[:, 0])
    return longer(join(rests[~cut], without(rests[cut], dark)), _REACTION_S)


def _why_not_served(history: History, demand: Demand, who: str) -> tuple[str, str]:
    if who and who != demand.name:
        above = next((d.kind for d in history.programme.controller.demands if d.name == who), demand.kind)
        # no clock asks for frost protection or heating
        ways = [] if above in ("frost protection", "heating") else ["move one of them"]
        ranks = mends.ranked_before(history.plant.scenario, demand.kind, above)
        if ranks:
            ways.append(f"schedule.ranks: [{', '.join(ranks)}]")
        faster = mends.frost_as_fast(history.plant, demand.pump, demand.speed)
        if above == "frost protection" and faster:
            ways.insert(0, f"let frost protection run at {as_written(*faster)}")
        return f"{who} {ABOVE}", ", or ".join(ways) or "a pump of its own for one of them"
    for block in history.programme.controller.blocks:
        if (block.target, block.speed) == (demand.pump, demand.speed):
            reason = block.because or str(block.condition)
            return f"its speed is blocked: {reason}", "move it to when nothing blocks it"
    sheet = history.plant.sheet.pumps.get(demand.pump)
    if sheet and sheet.minimum_run_s:
        return "the pump must first run its minimum time at another speed", "start it later"
    return "the controller does not start its pump", "see which interlock or trip keeps it off"


def _by_whom(history: History, name: str, a: Spans) -> list[tuple[str, Spans]]:
    """A set parted by who decided a pump, or by the demands for a blower, of which no decider is kept."""
    trace = history.trace
    if name in trace.deciding:
        return _by_decider(a, trace.deciding[name])
    asking = dict.fromkeys(d.name for d in history.programme.controller.demands if d.pump == name)
    parts = [(who, meet(a, while_in(trace.demands[who], "raised"))) for who in asking]
    return [(who, part) for who, part in parts if len(part)]


def _by_decider(a: Spans, deciding: Stream[str]) -> list[tuple[str, Spans]]:
    """A set parted by who decided the pump."""
    if not total_s(a):
        return []
    parts = [(who, meet(a, while_in(deciding, who))) for who in dict.fromkeys(deciding.labels)]
    return [(who, part) for who, part in parts if len(part)]


def _state_at(stream: Stream[str], at_s: int) -> str:
    return stream.labels[stream.codes[max(0, bisect_right(stream.starts, at_s) - 1)]]


RULES: tuple[Rule, ...] = (
    Rule(
        "no-run-on",
        "history",
        "wear",  # the element's own heat then scales it and ages its seals
        sentence="Water still runs for a while after a heat source stops.",
        source=PRACTICE,
        mend="wire a keep",
        judge=no_run_on,
        changes=mends.kept_on,
        applies=lambda plant, _: any(it.switched for it in plant.sheet.heat_sources.values()),
    ),
    Rule(
        "short-cycling",
        "history",
        "wear",
        sentence="A pump rests between two starts for as long as its motor needs.",
        source="NEMA MG 10 table 2-3, seen second-hand; written for polyphase motors",
        mend="longer pauses",
        judge=short_cycling,
        changes=mends.rested,
        programmes="as now",
    ),
    Rule(
        "too-many-starts",
        "history",
        "wear",
        sentence="A pump starts no more often within any hour than its motor bears.",
        source=(
            "NEMA MG 10 table 2-3, seen second-hand; written for polyphase motors, single-phase ones "
            "bear less"
        ),
        mend="a wider band or longer runs",
        judge=too_many_starts,
        programmes="as now",
    ),
    Rule(
        "quiet-hours",
        "history",
        "comfort",
        sentence="What the file keeps off in the quiet hours is off in them.",
        source="the file's own wish",
        mend="move it",
        judge=quiet_hours,
        changes=mends.out_of_quiet_hours,
        applies=lambda plant, _: plant.scenario.schedule.quiet_hours is not None,
        programmes="always",
    ),
    Rule(
        "demand-not-served",
        "history",
        "comfort",
        sentence="While a demand is raised, its pump runs at least at the speed that it asks for.",
        source=CHOICE,
        mend="move one of the demands",
        judge=demand_not_served,
        changes=mends.served_besides,
        programmes="as now",
    ),
)
