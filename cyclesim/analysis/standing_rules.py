"""Rules of a whole run on its water: how old it grew, how long it stood warm, how much of it was filtered."""

from __future__ import annotations

import math

import numpy as np

from cyclesim.analysis import programme_mends as mends
from cyclesim.analysis.ages import body_of, kind_of
from cyclesim.analysis.amounts import apart, at_least, exactly, lasting, listed, times_apart
from cyclesim.analysis.combinations import as_written
from cyclesim.analysis.findings import CHOICE, PRACTICE, Breach, Judged, NotJudged, Rule
from cyclesim.analysis.history import (
    FLUSH_VOLUMES,
    History,
    movers,
    only_in_sun,
    shut_off,
    stood_before,
    why_halted,
)
from cyclesim.analysis.spans import meet, spans, while_in
from cyclesim.control.demands import Demand
from cyclesim.physics.water_age import STILL_M3_S

_H_S = 3600.0
_ROUNDING = 1e-9  # a share: sums of many runs come out as near as that


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
            dark = why_halted(history, when - peak, when, limit, pumps)
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
    during, by = spans([(start_s, end_s)]), [history.plant.asked(demand) for demand in moved_by]
    for turned, when in shut_off(history, name, by).items():
        if len(meet(when, during)):
            return f"with {turned}, nothing moves its water", "turn it back, or fit a stop to it"
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
            dark = why_halted(history, start, end, limit, {demand.pump for demand in moved_by})
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
        cause = f"{listed(list(entries))} filter{'s' if len(entries) == 1 else ''} too little"
        pumps = listed([as_written(*pump) for pump in ((best.pump, best.speed), *best.beside)])
        mend = f"filter for at least {hours:g} h a day at {pumps}"
    for day, filtered_m3 in zip(days, by_day.tolist(), strict=True):
        turnovers = filtered_m3 / volume
        if turnovers < limit * (1.0 - _ROUNDING):
            text = f"{' of '.join(apart(turnovers, limit, 1))} turnovers"
            dark = why_halted(history, day, day + 86_400.0, 86_400.0, {demand.pump for demand in filters})
            day_cause, day_mend = dark or (cause, mend)
            yield Breach(
                "tub", day_cause, turnovers, "turnovers", text, day_mend, float(day), less_is_worse=True
            )


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
)
