"""Rules of a whole run about people in the water: how warm it is, how long they stay, what they find."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np

from cyclesim.analysis.amounts import apart, exactly, hotter, lasting, listed, times_apart
from cyclesim.analysis.findings import CHOICE, Breach, Judged, Rule
from cyclesim.analysis.history import History
from cyclesim.analysis.mends import replaced
from cyclesim.analysis.outlet import cooler_sun, outlet_too_hot
from cyclesim.analysis.programme_mends import joined_sooner
from cyclesim.analysis.spans import Spans, covers, join, meet, spans, total_s, while_in
from cyclesim.analysis.sun_rules import stop_in_time, stopped_in_time, stopped_too_late
from cyclesim.analysis.tub import HAIR_K, water_c_at
from cyclesim.scenario.blocks.schedule import Schedule
from cyclesim.simulation.sessions import sessions
from cyclesim.simulation.setpoints import LONGEST_LEAD_S, midnight

TOO_HOT_K = 0.2
"""How far above the limit water may swing: what a thermostat and its sensor take; project choice."""
_BEFORE_S = 3600.0


def water_too_hot(history: History) -> Judged:
    """The tub is above the bathing limit by more than its thermostat explains."""
    limit, trace = history.plant.scenario.limits.bathing_temperature_c, history.trace
    if not len(trace.tub):
        return
    for start, end in _warmer_than(history, limit + TOO_HOT_K).tolist():
        inside = trace.tub.start_s[(trace.tub.start_s > start) & (trace.tub.start_s < end)]
        worst = float(np.max(water_c_at(trace, np.concatenate(([start], inside, [end])))))
        cause, mend = _why_too_hot(history, spans([(start - _BEFORE_S, end)]))
        text = hotter(worst, limit)
        yield Breach("tub", cause, worst, "degC", text, mend, start, end - start)


def _warmer_than(history: History, level_c: float) -> Spans:
    """When the tub is warmer than a level; its temperature is linear along each piece, which is short."""
    trace = history.trace
    at_s, temps = np.append(trace.tub.start_s, float(trace.span_s)), water_c_at(trace, trace.tub.start_s)
    over_k = np.append(temps, trace.end_water_c) - level_c
    a, b = over_k[:-1], over_k[1:]
    with np.errstate(divide="ignore", invalid="ignore"):
        crosses = at_s[:-1] + np.diff(at_s) * a / (a - b)
    warmer = (a > 0.0) | (b > 0.0)
    begins, ends = np.where(a > 0.0, at_s[:-1], crosses), np.where(b > 0.0, at_s[1:], crosses)
    return spans(np.column_stack((begins[warmer], ends[warmer])))


def _why_too_hot(history: History, spell: Spans) -> tuple[str, str]:
    """What warmed the water while it was too hot and in the hour before, and what would help."""
    trace = history.trace
    fired = [n for n, stream in trace.sources.items() if total_s(meet(while_in(stream, "firing"), spell))]
    if fired:
        own = all(history.plant.sheet.heat_sources[name].switched for name in fired)
        mend = "a shorter fire or a smaller source, or leave the cover open while it is hot"
        if own:
            kept_c = max((level.keep_at_c for level in history.set_points.levels), default=0.0)
            mend = f"a lower set point than {kept_c:g} degC, or a smaller source"
        steered = [name for name in fired if name in history.plant.steered]
        if late := [name for name in steered if stopped_too_late(history.plant, name)]:
            mend = stop_in_time(history.plant, late)
        return f"{listed(fired)} heat{'s' if len(fired) == 1 else ''} it", mend
    run = [n for n, s in trace.pumps.items() if total_s(meet(while_in(s, "on", "low", "high"), spell))]
    if run:
        mend = "filter for a shorter time or at a lower speed, or leave the cover open for a while in summer"
        return f"the heat of {listed(run)} alone, with no source firing", mend
    return "it is as warm as that with nothing running", "open the cover, and look at the zones around it"


def session_too_long(history: History) -> Judged:
    """People stay in the water for longer than the limit; sessions that touch are one."""
    limit = history.plant.scenario.limits.session_at_most_s
    for start, end in history.truth.people.tolist():
        if end - start > limit:
            text = " of ".join(times_apart(end - start, limit))
            mend = f"get out after {exactly(limit)}, and cool down before the next"
            cause = "somebody is in the water all the time"
            yield Breach("bathing", cause, (end - start) / 60.0, "min", text, mend, start, end - start)


def _is_heated_for(schedule: Schedule) -> bool:
    """Whether somebody counts on warm water: at a session, or ready by a time."""
    heating = schedule.heating
    return heating is not None and bool(schedule.bathing or any(step.ready_by for step in heating.plan))


def cold_at_session(history: History) -> Judged:
    """People step into water colder than the set point of that moment, or it was not ready when it should."""
    trace, most_k = history.trace, history.plant.scenario.limits.cold_session_k + HAIR_K
    for at_s, water_c, wanted_c in trace.ready:
        if water_c < wanted_c - most_k:
            cause = "it was to be ready by then, and heating did not manage"
            mend = "a stronger source, or a warmer set-back: keep_at lies too far below"
            cause, mend = _since_away(history, at_s, water_c, wanted_c) or (cause, mend)
            yield _cold("ready by", cause, mend, float(at_s), water_c, wanted_c)
    starts = [start for start in history.truth.people[:, 0].tolist() if start > 0.0]
    if not starts or not len(trace.tub) or history.plant.scenario.schedule.heating is None:
        return
    for at_s, water_c in zip(starts, water_c_at(trace, np.array(starts)).tolist(), strict=True):
        wanted_c = history.set_points.level_c(at_s)
        if water_c < wanted_c - most_k:
            cause, mend = _why_cold(history, at_s, water_c, wanted_c)
            yield _cold("bathing", cause, mend, at_s, water_c, wanted_c)


def cold_at_end(history: History) -> Judged:
    """People step out of water that is far below the set point at which they stepped in."""
    trace, least_k = history.trace, history.plant.scenario.limits.cold_end_k
    stays = [(a, b) for a, b in history.truth.people.tolist() if a > 0.0 and b < trace.span_s]
    if not stays or not len(trace.tub) or history.plant.scenario.schedule.heating is None:
        return
    ends_c = water_c_at(trace, np.array([b for _, b in stays])).tolist()
    begins_c = water_c_at(trace, np.array([a for a, _ in stays])).tolist()
    for (start, end), in_c, out_c in zip(stays, begins_c, ends_c, strict=True):
        wanted_c = history.set_points.level_c(start)
        if out_c < wanted_c - least_k:
            cooled = in_c - out_c > wanted_c - in_c
            cause = "the water cools while they bathe" if cooled else "it was cold when they stepped in"
            mend = "less air, a heat source that goes on while they bathe, or a warmer set point"
            mend = mend if cooled else _why_cold(history, start, in_c, wanted_c)[1]
            yield _cold("bathing", cause, mend, end, out_c, wanted_c)


def _cold(subject: str, cause: str, mend: str, at_s: float, water_c: float, wanted_c: float) -> Breach:
    text = f"{' of '.join(apart(water_c, wanted_c, 1))} degC"
    return Breach(subject, cause, wanted_c - water_c, "K", text, mend, at_s)


def _why_cold(history: History, at_s: float, water_c: float, wanted_c: float) -> tuple[str, str]:
    """What kept the water cold in the day before a session, and what would have it warm by then."""
    trace, day = history.trace, spans([(at_s - 86_400.0, at_s)])
    if total_s(meet(while_in(trace.power, "lost"), day)):
        return "the power failed in the day before", "wait until it is warm again"
    if away := _since_away(history, at_s, water_c, wanted_c):
        return away
    heating = history.plant.scenario.schedule.heating
    fired = join(*(while_in(trace.sources[n], "firing") for n in heating.sources)) if heating else day
    if not covers(fired, np.array([at_s - 1.0]))[0]:
        return "no source fires just before", "see what keeps heating off, or heat for it with ready_by"
    mend, points = "a stronger source", history.set_points
    edges = [level.at_s for level in points.levels if at_s - LONGEST_LEAD_S < level.at_s <= at_s]
    lower = any(points.level_c(edge - 1) < wanted_c for edge in edges if edge > 0)
    if lower and not any(ready.ready_s == at_s for ready in points.ready):
        mend = f"let it begin earlier: plan: [{{ready_by: ...}}], or {mend}"
    elif not lower:
        waits = _next_source(history, at_s)
        mend = f"let {waits} join sooner: next_below, or {mend}" if waits else mend
        mend += f", or a narrower band: it is kept at {wanted_c:g} degC all the time"
    return "heating is still at it", mend


def _next_source(history: History, at_s: float) -> str:
    """The source that would join next, after the last that fires just before; "" where none is left."""
    heating = history.plant.scenario.schedule.heating
    sources = heating.sources if heating else ()
    before = np.array([at_s - 1.0])
    fires = [bool(covers(while_in(history.trace.sources[n], "firing"), before)[0]) for n in sources]
    last = max((k for k, on in enumerate(fires) if on), default=-1)
    return next(iter(sources[last + 1 :]), "")


def _since_away(history: History, at_s: float, water_c: float, wanted_c: float) -> tuple[str, str] | None:
    """Cause and mend where the water has not been warm since days away ended; nothing heats before that.

    It takes at least as long as at the rate of what it had: what is warmer loses more.
    """
    trace, scenario = history.trace, history.plant.scenario
    heating, most_k = scenario.schedule.heating, scenario.limits.cold_session_k + HAIR_K
    assert heating is not None

    def ends_s(last: date) -> int:
        return midnight(last + timedelta(days=1), scenario.place.time_zone, trace.begin_utc)

    ended = [(ends_s(away.to_date), place) for place, away in enumerate(heating.absences)]
    since_s, place = max((one for one in ended if one[0] < at_s), default=(0, 0))
    if since_s <= max(0.0, at_s - LONGEST_LEAD_S):
        return None
    between = (trace.tub.start_s > since_s) & (trace.tub.start_s < at_s)
    began_c = float(water_c_at(trace, np.array([float(since_s)]))[0])
    if water_c <= began_c or np.max(trace.tub.water_c[between], initial=began_c) > wanted_c - most_k:
        return None
    had_s, away = at_s - since_s, heating.absences[place]
    needs_s = had_s * (wanted_c - began_c) / (water_c - began_c)
    by, last = f"{lasting(needs_s)} before somebody bathes", away.to_date - timedelta(days=1)
    drawn = any(entry.drawn for entry in scenario.schedule.bathing)
    while not drawn and last >= away.from_date and (sooner_s := ends_s(last)) >= 0:
        changed = replaced(scenario, last, "schedule", "heating", "absences", place, "to_date")
        bathed = [s.start_s for s in sessions(changed, trace.begin_utc, trace.span_s, 0)]
        if min((s for s in bathed if s > sooner_s), default=at_s) - sooner_s >= needs_s:
            by = f"on {last} (absences: to)"
            break
        last -= timedelta(days=1)
    cause = f"the days away end {lasting(had_s)} before, and nothing heats for it until then"
    return cause, f"let them end {by}: to be warm takes {lasting(needs_s)} or more; or a stronger source"


RULES: tuple[Rule, ...] = (
    Rule(
        "water-too-hot",
        "history",
        "danger",  # heat stroke; whoever sits in it may not notice in time
        sentence="The water is no warmer than people may sit in, but for 0.2 K of the thermostat's swing.",
        source="40 degC: New York State 6-1.25(b), seen; UL 1563 32.1, seen second-hand; the swing: "
        + CHOICE,
        mend="a lower set point, or less heat from pumps",
        judge=water_too_hot,
        changes=stopped_in_time,
    ),
    Rule(
        "outlet-too-hot",
        "history",
        "danger",  # it scalds whoever sits before the jet
        sentence="Water leaves a heat source no warmer than the limit.",
        source=(
            "high-limit cut-outs open at about 50 degC: equipment-standard practice, quoted from memory; "
            "document not checked"
        ),
        mend="more water through it, or a smaller source",
        judge=outlet_too_hot,
        changes=cooler_sun,
        applies=lambda plant, _: bool(plant.sheet.heat_sources),
    ),
    Rule(
        "session-too-long",
        "history",
        "comfort",
        sentence="People stay in warm water no longer at a time than the limit.",
        source=(
            f"{CHOICE}; for pregnant users and young children 10 to 15 min: CPSC and UL 1563, seen "
            "second-hand"
        ),
        mend="shorter sessions",
        judge=session_too_long,
        applies=lambda plant, _: bool(plant.scenario.schedule.bathing),
    ),
    Rule(
        "cold-at-session",
        "history",
        "comfort",
        sentence="When people step in, or the water was to be ready, it is near its set point.",
        source=CHOICE,
        mend="let heating begin earlier",
        judge=cold_at_session,
        changes=joined_sooner,
        applies=lambda plant, _: _is_heated_for(plant.scenario.schedule),
        programmes="no more often",
    ),
    Rule(
        "cold-at-end",
        "history",
        "comfort",
        sentence="When people step out, the water is not far below the set point at which they stepped in.",
        source=CHOICE,
        mend="less air, or more heat while they bathe",
        judge=cold_at_end,
        programmes="no more often",
    ),
)
