"""A stretch of a run: bars by row and curves by time, in seconds, degC and hours, and what was found then."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple
from zoneinfo import ZoneInfo

import numpy as np

from cyclesim.analysis.ages import age_rows
from cyclesim.analysis.amounts import listed
from cyclesim.analysis.findings import NotJudged, Severity
from cyclesim.analysis.history import History
from cyclesim.analysis.rules import RULES, judge
from cyclesim.control.calendar import localize
from cyclesim.control.machines import PROOFS
from cyclesim.errors import CycleSimError
from cyclesim.physics.water_age import STILL_M3_S
from cyclesim.said.verdict import alike
from cyclesim.simulation.prices import dearer, prices
from cyclesim.simulation.programme import HEATING
from cyclesim.simulation.setpoints import set_points
from cyclesim.simulation.trace import Span as Span
from cyclesim.simulation.trace import Stream, joined

if TYPE_CHECKING:
    from cyclesim.analysis.ages import AgeRows
    from cyclesim.analysis.result import Result

MOST_LEGS = 12
Curve = tuple[list[float], list[float]]
Named = tuple[str, list[float], list[float]]
"""A name, times and values."""


class Lane(NamedTuple):
    """One row of bars."""

    name: str
    kind: str
    full: list[Span] = []  # noqa: RUF012  # never changed
    half: list[Span] = []  # noqa: RUF012
    outline: list[Span] = []  # noqa: RUF012
    hatched: list[Span] = []  # noqa: RUF012
    notes: list[tuple[int, int, str]] = []  # noqa: RUF012


class Noted(NamedTuple):
    """Findings that are told together, with the number that they have in the report."""

    number: int
    severity: Severity
    text: str
    at_s: list[float]
    """Those of their first times that are in the stretch."""
    spells: list[Span] = []  # noqa: RUF012  # never changed
    """When they were broken in it, of what they are about in *of*, where that was asked for."""
    of: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Stretch:
    """What there is to see of some days of a run; seconds are those of the run."""

    title: str
    time_zone: str
    span: Span
    days: tuple[date, date]
    """The first and the last."""
    clock: dict[tuple[date, int], int]
    """Second at which each hour of the wall clock begins."""
    offsets: list[tuple[int, int]]
    """From which second on what is added to give the wall clock's seconds since 1970; one entry a change."""
    asked: list[Lane]
    ran: list[Lane]
    tub: Curve
    kept: tuple[list[float], list[float], list[float]] | None
    rooms: list[Named]
    to_be_ready: Curve
    oldest: list[Named]
    limit_h: float
    noted: list[Noted]


def stretch(
    result: Result, first: date | None = None, days: int | None = None, *, spells: bool = False
) -> Stretch:
    """What there is to see of a run from *first* on; which days without it, see `chosen_span`.

    *spells*: when rules were broken, all of it and not the first times alone; the rules are judged anew.
    """
    span = chosen_span(result, first, days)
    local = result.trace.local
    begins, ends = local(span[0]).date(), local(span[1] - 1).date()
    due = [(second, wanted) for second, _, wanted in result.trace.ready if span[0] <= second < span[1]]
    return Stretch(
        title=result.about.title,
        time_zone=result.about.time_zone,
        span=span,
        days=(begins, ends),
        clock={
            (day, hour): _second(result, day, hour)
            for day in (begins + timedelta(days=k) for k in range((ends - begins).days + 2))
            for hour in range(24)
        },
        offsets=_offsets(result, span),
        asked=asked_lanes(result, span),
        ran=ran_lanes(result, span),
        tub=tub_curve(result, span),
        kept=band(result, span),
        rooms=list(rooms(result, span)),
        to_be_ready=([float(second) for second, _ in due], [wanted for _, wanted in due]),
        oldest=oldest_curves(result, span),
        limit_h=result.scenario.limits.water_age_s / 3600.0,
        noted=list(_in_spells(result, span) if spells else _noted(result, span)),
    )


_EPOCH, _HALF_HOUR_S = datetime(1970, 1, 1), 1800
"""Clocks change at half an hour of UTC, if not at a whole one."""


def _offsets(result: Result, span: Span) -> list[tuple[int, int]]:
    offsets = list[tuple[int, int]]()
    begun_s = round(result.trace.begin_utc.timestamp())
    first = span[0] + -(begun_s + span[0]) % _HALF_HOUR_S
    for second in (span[0], *range(first, span[1], _HALF_HOUR_S)):
        wall = result.trace.local(second).replace(tzinfo=None) - _EPOCH
        offset = round(wall.total_seconds()) - second
        if not offsets or offsets[-1][1] != offset:
            offsets.append((second, offset))
    return offsets


def check_first(first: date | None, start: date, days: int) -> None:
    """Raise CycleSimError where *first*, if given, is none of the *days* of a run from *start*."""
    last = start + timedelta(days=days - 1)
    if first is not None and not start <= first <= last:
        raise CycleSimError(f"--figure-from {first}: no day of this run, which is from {start} to {last}")


def chosen_span(result: Result, first: date | None = None, days: int | None = None) -> Span:
    """Seconds to draw: *days* (7) from *first*; by itself the week with the worst finding, else the first."""
    start, ran, n = result.trace.local(0).date(), result.about.days, days or 7
    check_first(first, start, ran)
    if first is not None:
        k = (first - start).days
    else:
        earliest = next((f.first[0] for f in result.findings if f.first), None)
        k = 0 if earliest is None else (datetime.fromisoformat(earliest).date() - start).days
        k -= n > 2  # what led to it is seen as well
        k = max(0, min(k, ran - n))
    first, end = start + timedelta(days=k), start + timedelta(days=min(k + n, ran))
    return _second(result, first), _second(result, end)


def _noted(result: Result, span: Span) -> Iterator[Noted]:
    for k, group in enumerate(alike(result.findings), start=1):
        times = sorted({_since(result, second) for finding in group for second in finding.first})
        if here := [second for second in times if span[0] <= second < span[1]]:
            subjects = listed(list(dict.fromkeys(finding.subject for finding in group)))
            text = f"{group[0].severity}: {group[0].rule}, {subjects}: {group[0].cause}"
            yield Noted(k, group[0].severity, text, here)


def _in_spells(result: Result, span: Span) -> Iterator[Noted]:
    """What was broken in the stretch, each time that it was; a finding without a time is not in it."""
    history = History(result.plant, result.programme, result.trace)
    told: dict[tuple[str, str, str], list[Span]] = {}
    for rule in dict.fromkeys(finding.rule for finding in result.findings if finding.first):
        for breach in judge(RULES[rule], history):
            if not isinstance(breach, NotJudged) and breach.at_s is not None:
                spell = int(breach.at_s), int(breach.at_s + (breach.lasts_s or 0.0)) + 1
                told.setdefault((rule, breach.subject, breach.cause), []).append(spell)
    for k, group in enumerate(alike(result.findings), start=1):
        subjects = list(dict.fromkeys(finding.subject for finding in group))
        spells = [s for one in group for s in told.get((one.rule, one.subject, one.cause), [])]
        if here := joined(sorted(_cut(spells, span))):
            text = f"{group[0].severity}: {group[0].rule}, {listed(subjects)}: {group[0].cause}"
            yield Noted(k, group[0].severity, text, [float(a) for a, _ in here], here, tuple(subjects))


def _second(result: Result, day: date, hour: int = 0) -> int:
    """Second of the run at which a local day, or an hour of it, begins."""
    moment, _ = localize(datetime.combine(day, time(hour)), ZoneInfo(result.trace.time_zone))
    return round((moment - result.trace.begin_utc).total_seconds())


def _since(result: Result, iso: str) -> float:
    return (datetime.fromisoformat(iso) - result.trace.begin_utc).total_seconds()


def _cut(spans: Iterable[Span], span: Span) -> list[Span]:
    return [(max(a, span[0]), min(b, span[1])) for a, b in spans if b > span[0] and a < span[1]]


def _while(stream: Stream[str], span: Span, *states: str) -> list[Span]:
    return _cut(stream.spans(*states), span)


def asked_lanes(result: Result, span: Span) -> list[Lane]:
    """A row for each demand that asked for a pump, and for each keep that decided one."""
    trace, programme = result.trace, result.programme
    lanes, several = [], len(trace.pumps) > 1
    callers = set(programme.callers.values()) - {HEATING}  # they call sources, not the pump
    for pump, deciding in trace.deciding.items():
        asking = [d.name for d in programme.controller.demands if d.pump == pump and d.name not in callers]
        for who in dict.fromkeys([*asking, *filter(None, deciding.labels)]):
            outline = _while(trace.demands[who], span, "raised") if who in trace.demands else []
            full = _while(deciding, span, who)
            if outline or full:
                name = f"{pump}: {who}" if several else who
                lanes.append(Lane(name, "asked", full=full, outline=outline))
    return lanes


def ran_lanes(result: Result, span: Span) -> list[Lane]:
    """A row for each pump, source and blower; people, cover and power where there is something to see."""
    trace = result.trace
    lanes = [
        Lane(name, "pump", full=_while(s, span, "high", "on"), half=_while(s, span, "low"))
        for name, s in trace.pumps.items()
    ]
    lanes += [
        Lane(
            name,
            "heat",
            full=_while(s, span, "firing"),
            hatched=_while(s, span, *PROOFS, "run_on", "tripped", "held_off"),
            notes=[
                (a, b, "tripped") for a, b in _while(s, span, "tripped") if 10 * (b - a) > span[1] - span[0]
            ],
        )
        for name, s in trace.sources.items()
    ]
    lanes += [Lane(name, "pump", full=_while(s, span, "on")) for name, s in trace.circulators.items()]
    lanes += [Lane(name, "air", full=_while(s, span, "on")) for name, s in trace.blowers.items()]
    lanes += [
        Lane(name, "treated", full=_while(s, span, "on"), hatched=_while(s, span, "held_off", "proving"))
        for name, s in trace.treatments.items()
    ]
    turned = [(stay.start_s, stay.end_s) for stay in trace.positions if stay.state != result.plant.usually]
    people = [(stay.start_s, stay.end_s, stay.state) for stay in trace.people if stay.state != "0"]
    inside = [(*_cut([(a, b)], span)[0], n) for a, b, n in people if _cut([(a, b)], span)]
    wide = [pair for pair in inside if pair[1] - pair[0] > 0.012 * (span[1] - span[0])]
    rest = [
        Lane("people in the water", "people", full=[(a, b) for a, b, _ in inside], notes=wide),
        Lane("cover off", "cover", full=_while(trace.cover, span, "off")),
        Lane("power lost", "power", full=_while(trace.power, span, "lost")),
        Lane("water low", "power", full=_while(trace.level, span, "low")),
        Lane("valves turned", "power", full=_cut(turned, span)),
    ]
    return lanes + [lane for lane in rest if lane.full]


def tub_curve(result: Result, span: Span) -> Curve:
    """The tub's water: its temperature where pieces meet."""
    tub = result.trace.tub
    seconds = [*tub.start_s.tolist(), float(result.trace.span_s)]
    temp = [*tub.water_c.tolist(), result.trace.end_water_c]
    inside = [k for k, t in enumerate(seconds) if span[0] <= t <= span[1]]
    if not inside:
        return [], []
    kept = slice(max(0, inside[0] - 1), inside[-1] + 2)
    return seconds[kept], temp[kept]


def band(result: Result, span: Span) -> tuple[list[float], list[float], list[float]] | None:
    """Times, and lower and upper edge of what is kept from then on; None where nothing is kept warm."""
    heating, trace = result.scenario.schedule.heating, result.trace
    if heating is None:
        return None
    dear: list[Span] = []
    if heating.when_dear:
        tariff = result.scenario.supply.tariff
        priced = prices(tariff, trace.begin_utc, trace.time_zone, trace.span_s)
        dear = dearer(*priced, heating.when_dear.above.amount)
    levels = set_points(result.scenario, trace.begin_utc, trace.span_s, dear).levels
    ends = [*(level.at_s for level in levels[1:]), trace.span_s]
    pieces = [(max(a.at_s, span[0]), a.keep_at_c) for a, end in zip(levels, ends, strict=True)
              if end > span[0] and a.at_s < span[1]]  # fmt: skip
    pieces.append((span[1], pieces[-1][1]))
    tops = [level for _, level in pieces]
    return [float(second) for second, _ in pieces], [top - heating.within_k for top in tops], tops


def rooms(result: Result, span: Span) -> Iterator[Named]:
    """Air outdoors, and in the rooms that the machines stand in, at the middle of each hour."""
    zones, plant = result.trace.zones, result.scenario.plant
    if zones is None:
        return
    parts = (*plant.equipment.values(), *plant.heat_sources.values(), *plant.pumps.values())
    about = dict.fromkeys(part.zone for part in parts if part.zone)
    for zone in dict.fromkeys(["outdoors", *about]):
        if zone in zones.series:
            series, origin_s = zones.series[zone], zones.origin_s
            hours = [k for k in range(len(series)) if span[0] - 3600 <= origin_s + 3600 * k <= span[1]]
            name = "air outdoors" if zone == "outdoors" else zone
            yield name, [origin_s + 3600.0 * k + 1800.0 for k in hours], [series[k] for k in hours]


def oldest_curves(result: Result, span: Span) -> list[Named]:
    """Per leg and last stretch, times and the age [h] of its oldest water; what gets oldest if they are many.

    A dead end that never moved has no age and is left out.
    """
    curves = []
    for name in result.trace.ages:
        metrics = result.metrics.legs[name]
        if metrics.kind in ("leg", "last jet", "dead end") and metrics.oldest_water_h is not None:
            curves.append((name, *_oldest(age_rows(result.trace, name), span)))
    curves = [curve for curve in curves if curve[1]]
    kept = {curve[0] for curve in sorted(curves, key=lambda curve: -max(curve[2]))[:MOST_LEGS]}
    return [curve for curve in curves if curve[0] in kept]


def below_top(seconds: Sequence[float], ages: Sequence[float], top_h: float) -> Curve:
    """A curve cut off at the top of its scale, just where it crosses that."""
    times, shown = list(seconds[:1]), [min(age, top_h) for age in ages[:1]]
    for (t0, a0), (t1, a1) in pairwise(zip(seconds, ages, strict=True)):
        if (a0 - top_h) * (a1 - top_h) < 0.0:
            times.append(t0 + (top_h - a0) / (a1 - a0) * (t1 - t0))
            shown.append(top_h)
        times.append(t1)
        shown.append(min(a1, top_h))
    return times, shown


def _oldest(rows: AgeRows, span: Span) -> Curve:
    """Oldest age [h] over time: it rises while water stands, and falls when flow has pushed the old out.

    In flow it goes on rising until its peak; what follows is drawn level, so that the integral is kept.
    """
    seconds, age = list[float](), list[float]()
    columns = (rows.start_s, rows.end_s, rows.flow_m3_s, rows.oldest_peak_s, rows.oldest_integral_s2)
    table = list(zip(*(column.tolist() for column in columns), strict=True))
    before = None
    for k, (start, end, flow, peak, integral) in enumerate(table):
        lasts = end - start
        if abs(flow) <= STILL_M3_S:
            points = [(start, peak - lasts), (end, peak)]
        else:
            begins = peak if before is None else min(before, peak)
            rises = min(lasts, peak - begins)
            left = lasts - rises
            level = (integral - 0.5 * (begins + peak) * rises) / left if left > 0 else peak
            following = table[k + 1] if k + 1 < len(table) else None
            if following is not None and abs(following[2]) <= STILL_M3_S:
                level = following[3] - (following[1] - following[0])
            level = min(peak, max(0.0, level))
            points = [(start, begins), (start + rises, peak), (start + rises, level), (end, level)]
        before = points[-1][1]
        if end > span[0] and start < span[1]:
            seconds += [t for t, _ in points]
            age += [a / 3600.0 for _, a in points]
    if not seconds:
        return seconds, age
    edges = [float(np.interp(edge, seconds, age)) for edge in span]
    inside = [(t, a) for t, a in zip(seconds, age, strict=True) if span[0] < t < span[1]]
    cut = [(float(span[0]), edges[0]), *inside, (float(span[1]), edges[1])]
    return [t for t, _ in cut], [a for _, a in cut]
