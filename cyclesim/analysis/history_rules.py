"""Rules of a whole run: what went on for too long, came too seldom, or never came."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections import Counter

import numpy as np

from cyclesim.analysis import programme_mends as mends
from cyclesim.analysis.ages import body_of, kind_of
from cyclesim.analysis.amounts import apart, at_least, exactly, lasting, listed, times_apart
from cyclesim.analysis.combinations import as_written
from cyclesim.analysis.energy import starts_of, within_an_hour
from cyclesim.analysis.findings import CHOICE, PRACTICE, Breach, Judged, NotJudged, Rule
from cyclesim.analysis.history import (
    FLUSH_VOLUMES,
    POWERLESS,
    History,
    movers,
    only_in_sun,
    powerless,
    stood_before,
    unpowered,
)
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
from cyclesim.physics.water_age import STILL_M3_S
from cyclesim.scenario.blocks.schedule import SUN
from cyclesim.simulation.trace import Stream

_H_S = 3600.0
_REACTION_S = 1.0
_ROUNDING = 1e-9  # a share: sums of many runs come out as near as that
_RUNNING = ("on", "low", "high")


def stale_water(history: History) -> Judged:
    """The oldest water of a leg or last jet is above the limit. A leg speaks for its last jet if it can."""
    limit, causes = history.plant.scenario.limits.water_age_s, dict[str, set[str]]()
    for name, rows in history.ages.items():
        moved_by = movers(history.plant, history.programme, name)
        if kind_of(history.plant, name) not in ("leg", "last jet") or not moved_by:
            continue  # a dead end and a leg that nothing moves have a rule of their own
        bad = np.flatnonzero(rows.above_limit_s > 0.0)
        if not len(bad):
            continue
        still = np.abs(rows.flow_m3_s[bad]) <= STILL_M3_S
        begins = np.where(still, rows.end_s[bad] - rows.above_limit_s[bad], rows.start_s[bad])
        spells = spans(np.column_stack((begins, begins + rows.above_limit_s[bad])))
        spell_of_row = np.searchsorted(spells[:, 0], begins, side="right") - 1
        order = np.lexsort((rows.oldest_peak_s[bad], spell_of_row))
        worst = order[np.searchsorted(spell_of_row[order], np.arange(len(spells)), side="right") - 1]
        peaks = rows.oldest_peak_s[bad][worst]
        peaks_at = np.where(still, rows.end_s[bad], rows.start_s[bad])[worst]
        usual = only_in_sun(history.plant, name, moved_by) or _why_stale(history, name, moved_by)
        pumps = {demand.pump for demand in moved_by}
        causes_of_leg = causes.get(body_of(history.plant, name), set())
        for (start, end), peak, when in zip(spells.tolist(), peaks.tolist(), peaks_at.tolist(), strict=True):
            longer_night = _longer_night(history, when - peak, when, limit, "water_age")
            left_turned = _left_turned(history, name, moved_by, when - peak, when)
            dark = powerless(history, when - peak, when, limit, pumps)
            cause, mend = left_turned or dark or longer_night or usual
            if cause in causes_of_leg:
                continue
            causes.setdefault(name, set()).add(cause)
            age = f"{times_apart(peak, limit)[0]} old"
            yield Breach(name, cause, peak / _H_S, "h", age, mend, start, end - start)


def _left_turned(
    history: History,
    name: str,
    moved_by: list[Demand],
    start_s: float,
    end_s: float,
) -> tuple[str, str] | None:
    """Cause and mend where a valve that somebody turned kept what usually moves a leg from moving it."""
    plant, plug = history.plant, history.plant.reported[name]
    for begins, ends, positions in history.trace.positions:
        if positions in ((), *plant.as_steered) or begins >= end_s or ends <= start_s:
            continue
        duties = (plant.duty(plant.asked(d), positions) for d in moved_by)
        if all(abs(duty.plug_flows_m3_s[plug]) <= STILL_M3_S for duty in duties):
            return (
                f"with {plant.positions_text(positions)}, nothing moves its water",
                "turn it back, or fit a stop to it",
            )
    return None


def _longer_night(
    history: History, start_s: float, end_s: float, limit_s: float, key: str
) -> tuple[str, str] | None:
    """Cause and mend where a while is above a limit by no more than the autumn clock change adds to it."""
    local = history.trace.local
    before, now = local(start_s).utcoffset(), local(end_s).utcoffset()
    gained_s = (before - now).total_seconds() if before is not None and now is not None else 0.0
    if gained_s <= 0.0 or end_s - start_s - gained_s > limit_s:
        return None
    by = "an hour" if gained_s == _H_S else lasting(gained_s)
    one_more = "a second" if limit_s >= 24.0 * _H_S else "one more"
    mend = f"add {one_more} flush a day, or accept {key}: {exactly(limit_s + gained_s)}"
    return f"the night of the clock change is {by} longer", mend


def _why_stale(history: History, name: str, moved_by: list[Demand]) -> tuple[str, str]:
    limit = history.plant.scenario.limits.water_age_s
    rows, names = history.ages[name], listed([d.name for d in moved_by])
    still = history.standing[name]
    long = still[still[:, 1] - still[:, 0] > limit].tolist()
    if any(_longer_night(history, a, b, limit, "") is None for a, b in long):
        cause = f"only {names} would move it, and for longer than {lasting(limit)} nothing does"
        return cause, more_often(history, moved_by, limit)
    flowing = np.abs(rows.flow_m3_s) > STILL_M3_S
    moved_m3 = np.abs(rows.flow_m3_s[flowing]) * (rows.end_s[flowing] - rows.start_s[flowing])
    plug = history.plant.plugs[history.plant.reported[name]]
    reached = {}
    for d in moved_by:
        reached[d.name] = history.plant.duty(history.plant.asked(d)).reached_s.get(plug.name, math.inf)
    if math.isinf(min(reached.values())):
        need = "shut what lets the water circle"
    else:
        lasts_s = {entry.name: entry.run.lasts_s for entry in mends.entries(history.programme)}
        enough_s = {d: FLUSH_VOLUMES * once_s for d, once_s in reached.items() if once_s < math.inf}
        entry_of = history.programme.entry_of
        short = [d for d in enough_s if lasts_s.get(entry_of.get(d, ""), math.inf) < enough_s[d]]
        need = more_often(history, moved_by, limit)
        if short:
            longer_one = min(short, key=lambda d: enough_s[d])
            need = f"have {longer_one} last at least {at_least(enough_s[longer_one])}"
    if len(moved_m3) and float(np.median(moved_m3)) < plug.volume_m3:
        return f"{names} mostly moves less than its volume at a time", need
    if stood := stood_before(history, name, moved_by, limit):
        need = f"see what lets water stand in {listed(stood)}: it comes from there"
    return "the water that comes in is old already", need


def more_often(history: History, moved_by: list[Demand], limit_s: float) -> str:
    """What would move water at least as often as the limit; told apart where it is asked for that often."""
    order = ("line flush", "filter run")
    best = min(moved_by, key=lambda d: order.index(d.kind) if d.kind in order else len(order))
    if best.kind not in order:  # people, heating and frost come when they come
        return f"add a line flush that moves it at least every {lasting(limit_s)}"
    raised = while_in(history.trace.demands[best.name], "raised")
    edges = np.concatenate(([0.0], raised.ravel(), [float(history.trace.span_s)])).reshape(-1, 2)
    if len(raised) and not any(
        b - a > limit_s and _longer_night(history, a, b, limit_s, "") is None for a, b in edges.tolist()
    ):
        return f"see what keeps {best.name} off: it is asked for often enough"
    return f"have {best.name} move it at least every {lasting(limit_s)}"


def warm_stagnation(history: History) -> Judged:
    """Water stands inside the growth band for longer than the limit."""
    limits = history.plant.scenario.limits
    low, high = limits.growth_band_c
    for name, warm in history.warm_and_still.items():
        leg = body_of(history.plant, name)
        if leg != name and np.array_equal(history.standing[leg], history.standing[name]):
            continue  # the leg speaks for its last jet
        long = warm[warm[:, 1] - warm[:, 0] > limits.warm_stagnation_s]
        if not len(long):
            continue
        usual = ("nothing in the schedule moves it", "flush it, or take it out")
        moved_by = movers(history.plant, history.programme, name)
        if moved_by:
            mend = more_often(history, moved_by, limits.warm_stagnation_s)
            usual = (f"only {listed([d.name for d in moved_by])} would move it", mend)
            usual = only_in_sun(history.plant, name, moved_by) or usual
        for start, end in long.tolist():
            limit = limits.warm_stagnation_s
            left_turned = _left_turned(history, name, moved_by, start, end)
            night = _longer_night(history, start, end, limit, "warm_stagnation")
            dark = powerless(history, start, end, limit, {demand.pump for demand in moved_by})
            cause, mend = left_turned or dark or night or usual
            text = f"{lasting(end - start)} between {low:g} and {high:g} degC"
            yield Breach(name, cause, (end - start) / _H_S, "h", text, mend, start, end - start)


def too_few_turnovers(history: History) -> Judged:
    """On a calendar day, the filters pass the tub's volume less often than the limit."""
    plant, programme = history.plant, history.programme
    limit, volume = plant.scenario.limits.turnovers_per_day, plant.volume_m3
    if all(sheet.kind != "filter" for sheet in plant.sheet.equipment.values()):
        yield NotJudged("the plant has no filter")
        return
    days, by_day = history.filtered.by_day(history.trace)
    if not days:
        yield NotJudged("the run has no whole calendar day")
        return
    rates = {d: plant.duty(plant.asked(d)).filtered_m3_s for d in programme.controller.demands}
    filters = [d for d in rates if rates[d] > STILL_M3_S]
    if not filters:
        cause, mend = "no demand sends water through the filter", "add a filter run"
    else:
        runs = [d for d in filters if d.kind == "filter run"] or filters
        best = runs[0]
        hours = math.ceil(10.0 * limit * volume / rates[best] / _H_S) / 10.0
        entries = dict.fromkeys(programme.entry_of.get(d.name, d.name) for d in runs)
        cause = f"{listed(list(entries))} filters too little"
        pumps = listed([as_written(*pump) for pump in ((best.pump, best.speed), *best.beside)])
        mend = f"filter for at least {hours:g} h a day at {pumps}"
    for day, filtered_m3 in zip(days, by_day.tolist(), strict=True):
        turnovers = filtered_m3 / volume
        if turnovers < limit * (1.0 - _ROUNDING):
            text = f"{' of '.join(apart(turnovers, limit, 1))} turnovers"
            dark = powerless(history, day, day + 86_400.0, 86_400.0, {demand.pump for demand in filters})
            day_cause, day_mend = dark or (cause, mend)
            yield Breach(
                "tub", day_cause, turnovers, "turnovers", text, day_mend, float(day), less_is_worse=True
            )


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
            no_power = powerless(history, end, end + limits.run_on_s, limits.run_on_s, {pump})
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
    mend = f"move it out of {quiet_.from_time:%H:%M} to {quiet_.to_time:%H:%M}"
    for pump, speed in quiet_.applies_to:
        loud = meet(running(trace, history.plant, pump, speed), quiet)
        subject = as_written(pump, speed)
        for who, part in _by_whom(history, pump, loud):
            cause = who or "nobody: it was running still"
            for start, end in part.tolist():
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
        dark_by = {state: unpowered(history, state, {demand.pump}) for state in POWERLESS}
        if rest_s:
            missed = without(missed, _resting(stream, rest_s, join(*dark_by.values())))
        for state, (cause, mend) in POWERLESS.items():
            dark = dark_by[state]
            for start, end in meet(missed, dark).tolist():
                text = f"{lasting(end - start)} without power"
                if state == "waits":
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
        mend = "move one of them"
        if above != demand.kind:
            low, high = demand.kind.replace(" ", "_"), above.replace(" ", "_")
            mend += f", or put {low} before {high} in schedule.ranks"
        return f"{who} stands above it", mend
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
        "stale-water",
        "history",
        "hygiene",
        sentence="No water in a leg grows older than the limit.",
        source=CHOICE,
        mend="more flushes, or longer ones",
        judge=stale_water,
        changes=mends.moved_more_often,
        programmes="as now",
    ),
    Rule(
        "warm-stagnation",
        "history",
        "hygiene",
        sentence="No water stands inside the growth band for longer than the limit.",
        source=(
            f"the band: HSE L8 (seen second-hand) and the CDC Legionella control toolkit; the time: {CHOICE}"
        ),
        mend="more flushes",
        judge=warm_stagnation,
        changes=mends.moved_more_often,
        programmes="as now",
    ),
    Rule(
        "too-few-turnovers",
        "history",
        "hygiene",
        sentence="On every calendar day the tub's volume passes the filter as often as the limit.",
        source=PRACTICE,
        mend="longer filter runs",
        judge=too_few_turnovers,
        changes=mends.filtered_longer,
        programmes="as now",
    ),
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
        programmes="as now",
    ),
)
