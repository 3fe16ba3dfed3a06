"""What a drawing of a stretch of a run shows: bars by row and curves by time, in seconds, degC and hours."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from cyclesim.analysis.ages import age_rows
from cyclesim.physics.water_age import STILL_M3_S
from cyclesim.simulation.prices import dearer, prices
from cyclesim.simulation.programme import HEATING
from cyclesim.simulation.setpoints import set_points
from cyclesim.simulation.trace import Span, Stream

if TYPE_CHECKING:
    from cyclesim.analysis.ages import AgeRows
    from cyclesim.analysis.result import Result

MOST_LEGS = 12
Curve = tuple[list[float], list[float]]


class Lane(NamedTuple):
    """One row of bars."""

    name: str
    kind: str
    full: list[Span] = []  # noqa: RUF012  # never changed
    half: list[Span] = []  # noqa: RUF012
    outline: list[Span] = []  # noqa: RUF012
    hatched: list[Span] = []  # noqa: RUF012
    notes: list[tuple[int, int, str]] = []  # noqa: RUF012


def _cut(spans: Iterable[Span], span: Span) -> list[Span]:
    return [(max(a, span[0]), min(b, span[1])) for a, b in spans if b > span[0] and a < span[1]]


def _while(stream: Stream, span: Span, *states: str) -> list[Span]:
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
            hatched=_while(s, span, "proving", "run_on", "tripped", "held_off"),
            notes=[
                (a, b, "tripped") for a, b in _while(s, span, "tripped") if 10 * (b - a) > span[1] - span[0]
            ],
        )
        for name, s in trace.sources.items()
    ]
    lanes += [Lane(name, "air", full=_while(s, span, "on")) for name, s in trace.blowers.items()]
    lanes += [
        Lane(name, "treated", full=_while(s, span, "on"), hatched=_while(s, span, "held_off", "proving"))
        for name, s in trace.treatments.items()
    ]
    turned = [(x.start_s, x.end_s) for x in trace.positions if x.state != ", ".join(result.plant.usually)]
    people = [(x.start_s, x.end_s, x.state) for x in trace.people if x.state != "0"]
    inside = [(*_cut([(a, b)], span)[0], n) for a, b, n in people if _cut([(a, b)], span)]
    wide = [one for one in inside if one[1] - one[0] > 0.012 * (span[1] - span[0])]
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
    at = [*tub.start_s.tolist(), float(result.trace.span_s)]
    temp = [*tub.water_c.tolist(), result.trace.end_water_c]
    inside = [k for k, t in enumerate(at) if span[0] <= t <= span[1]]
    if not inside:
        return [], []
    kept = slice(max(0, inside[0] - 1), inside[-1] + 2)
    return at[kept], temp[kept]


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
    return [float(at) for at, _ in pieces], [top - heating.within_k for top in tops], tops


def room_series(result: Result) -> Iterator[tuple[str, list[float]]]:
    """Hourly air outdoors, and in the rooms that the machines stand in."""
    zones, plant = result.trace.zones, result.scenario.plant
    if zones is None:
        return
    parts = (*plant.equipment.values(), *plant.heat_sources.values(), *plant.pumps.values())
    rooms = dict.fromkeys(part.zone for part in parts if part.zone)
    for zone in dict.fromkeys(["outdoors", *rooms]):
        if zone in zones.series:
            yield ("air outdoors" if zone == "outdoors" else zone), zones.series[zone]


def oldest_curves(result: Result, span: Span) -> list[tuple[str, list[float], list[float]]]:
    """Per leg and last stretch, times and the age [h] of its oldest water; what gets oldest if they are many.

    A dead end that never moved has no age and is left out.
    """
    found = []
    for name in result.trace.ages:
        metrics = result.metrics.legs[name]
        if metrics.kind in ("leg", "last jet", "dead end") and metrics.oldest_water_h is not None:
            found.append((name, *_oldest(age_rows(result.trace, name), span)))
    found = [one for one in found if one[1]]
    kept = {one[0] for one in sorted(found, key=lambda one: -max(one[2]))[:MOST_LEGS]}
    return [one for one in found if one[0] in kept]


def below_top(at: Sequence[float], ages: Sequence[float], top_h: float) -> Curve:
    """A curve cut off at the top of its scale, just where it crosses that."""
    times, shown = list(at[:1]), [min(age, top_h) for age in ages[:1]]
    for (t0, a0), (t1, a1) in pairwise(zip(at, ages, strict=True)):
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
    at, age = list[float](), list[float]()
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
            at += [t for t, _ in points]
            age += [a / 3600.0 for _, a in points]
    if not at:
        return at, age
    edges = [float(np.interp(edge, at, age)) for edge in span]
    inside = [(t, a) for t, a in zip(at, age, strict=True) if span[0] < t < span[1]]
    cut = [(float(span[0]), edges[0]), *inside, (float(span[1]), edges[1])]
    return [t for t, _ in cut], [a for _, a in cut]
