"""What the sun could have given and did not, since no water moved; and how hot collectors stood meanwhile.

Collectors that stand follow T' = (S + U (air - T)) / C in each hour, which is solved in closed form. What
they lose by standing hotter than the tub is the heat that moving water would have carried: U times the
integral of what they are warmer than the tub. So heat that is still in them as water begins to move is not
counted.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from cyclesim.analysis.spans import Floats, Spans, covers, integral, spans
from cyclesim.analysis.truth import duties_over_time
from cyclesim.physics.water_age import STILL_M3_S
from cyclesim.scenario.blocks.collectors import BACK_K
from cyclesim.scenario.blocks.heat_sources import Solar
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.exchanges import fires, sun_w
from cyclesim.simulation.programme import Programme
from cyclesim.simulation.trace import Trace

_HOUR_S = 3600.0


class Sunshine(NamedTuple):
    """What one set of collectors did not give, and how hot it stood."""

    unused_j: float
    """Heat that was not used since no water moved [J]."""
    at_stop_j: float | None
    """Of that, while the tub was at their high stop [J]; None where they have none."""
    hot_s: float | None
    """How long it stood so hot that water could have been warmed [s]; None where it has no temperature."""
    hottest_c: float | None
    hottest_at_s: float | None


def trapped_j(plant: Assembly, programme: Programme, trace: Trace, name: str) -> float:
    """Heat [J] of a stove or of collectors while no water moved through it."""
    watts = _hourly_w(plant, programme, trace, name)
    hours_s: Floats = np.arange(len(watts), dtype=float) * _HOUR_S
    sums = integral(hours_s, hours_s + _HOUR_S, watts, _still(plant, trace, name).ravel())
    return float(np.sum(sums[1::2] - sums[::2]))


def _still(plant: Assembly, trace: Trace, name: str) -> Spans:
    """When no water moves through something."""
    duties = duties_over_time(plant, trace, coasting=False)
    return spans([(a, b) for a, b, duty in duties if abs(duty.flow_m3_s(name)) <= STILL_M3_S])


def _hourly_w(plant: Assembly, programme: Programme, trace: Trace, name: str) -> Floats:
    hours = math.ceil(trace.span_s / _HOUR_S)
    return np.array(fires(plant, programme, trace.begin_utc, hours)[name])


def sunshine(plant: Assembly, programme: Programme, trace: Trace, name: str) -> Sunshine:
    """What collectors did not give over a run, and how hot they stood."""
    plate, sheet = plant.plates.get(name), plant.sheet.heat_sources[name]
    if plate is None:
        return Sunshine(trapped_j(plant, programme, trace, name), None, None, None, None)
    assert isinstance(sheet, Solar)
    assert trace.zones is not None
    if name in plant.behind_plates:
        return _behind_plates(plant, trace, name)
    body = next(body for body in plant.bodies if body.name == name)
    ua, tau_s = body.ua_w_k, body.capacity_j_k / body.ua_w_k
    hot_k = sheet.steered.on_at_k if sheet.steered else 0.0
    stop_c = sheet.steered.high_stop_c if sheet.steered else None
    stopped_c = math.inf if stop_c is None else stop_c - BACK_K
    watts = sun_w(plant, name, trace.begin_utc, math.ceil(trace.span_s / _HOUR_S))
    first = trace.zones.origin_s // int(_HOUR_S)
    air_c, (tub_at, tub_c) = trace.zones.series[body.zone], _tub(trace)
    unused, at_stop, hot, hottest = 0.0, 0.0, 0.0, (-math.inf, 0.0)
    rows = trace.stays[name]
    stands = covers(_still(plant, trace, name), rows.start_s)  # a stay ends where the flow changes
    for start, end, temp_c in np.column_stack((rows.start_s, rows.end_s, rows.start_c))[stands].tolist():
        now = start
        while now < end:
            hour = int(now // _HOUR_S)
            until = min(end, _HOUR_S * (hour + 1))
            goal_c = air_c[hour - first] + watts[hour] / ua
            water_c = float(np.interp(0.5 * (now + until), tub_at, tub_c))
            after_c = goal_c + (temp_c - goal_c) * math.exp(-(until - now) / tau_s)
            lost = ua * _above(temp_c - water_c, goal_c - water_c, until - now, tau_s)[1]
            unused += lost
            at_stop += lost if water_c >= stopped_c else 0.0
            hot += _above(temp_c - water_c - hot_k, goal_c - water_c - hot_k, until - now, tau_s)[0]
            hottest = max(hottest, (temp_c, now), (after_c, until))
            now, temp_c = until, after_c
    known = hottest[0] > -math.inf
    stopped = None if stop_c is None else at_stop
    return Sunshine(unused, stopped, hot, *(hottest if known else (None, None)))


def _behind_plates(plant: Assembly, trace: Trace, name: str) -> Sunshine:
    """The same of collectors on water of their own, by its pieces, which are short while the sun shines.

    The sun is unused while nothing goes over, whichever of the two waters stands.
    """
    rows, steered = trace.own_waters[name], plant.steered[name]
    tub_at, tub_c = _tub(trace)
    ends_c = np.append(rows.source_c[1:], rows.source_c[-1:])
    water_c = np.interp(0.5 * (rows.start_s + rows.end_s), tub_at, tub_c)
    above_k = 0.5 * (rows.source_c + ends_c) - water_c
    lasts_s = np.where(rows.over_j == 0.0, rows.end_s - rows.start_s, 0.0)
    unused_j = plant.plates[name].loses_w_k * np.maximum(above_k, 0.0) * lasts_s
    at_stop_j = None
    if steered.high_stop_c is not None:
        at_stop_j = float(np.sum(unused_j[water_c >= steered.high_stop_c - BACK_K]))
    hot_s = float(np.sum(lasts_s[above_k >= steered.on_at_k]))
    k = int(np.argmax(rows.source_c))
    return Sunshine(
        float(np.sum(unused_j)), at_stop_j, hot_s, float(rows.source_c[k]), float(rows.start_s[k])
    )


def sun_j(plant: Assembly, trace: Trace, name: str) -> float:
    """Heat [J] that the sun gave collectors with a temperature of their own, whether water moved or not."""
    hours = math.ceil(trace.span_s / _HOUR_S)
    watts = np.array(sun_w(plant, name, trace.begin_utc, hours))
    ends: Floats = np.array([0.0, float(trace.span_s)])
    starts: Floats = np.arange(hours, dtype=float) * _HOUR_S
    return float(np.diff(integral(starts, starts + _HOUR_S, watts, ends))[0])


def lost_by_plate_j(trace: Trace, name: str) -> float:
    """Heat [J] that collectors lost to the air about them, with water moving and without."""
    return float(np.sum(trace.stays[name].loss_j))


def _tub(trace: Trace) -> tuple[Floats, Floats]:
    """The tub's water [degC] as its pieces begin, and at the end."""
    at = np.append(trace.tub.start_s, float(trace.span_s))
    return at, np.append(trace.tub.water_c, trace.end_water_c)


def _above(begins: float, goal: float, lasts_s: float, tau_s: float) -> tuple[float, float]:
    """For how long [s] and by what integral [K s] a course that nears *goal* is above 0."""
    ends = goal + (begins - goal) * math.exp(-lasts_s / tau_s)
    if begins <= 0.0 and ends <= 0.0:
        return 0.0, 0.0
    from_s, to_s = 0.0, lasts_s
    if begins <= 0.0 or ends <= 0.0:  # it passes 0 once
        passes_s = tau_s * math.log((begins - goal) / -goal)
        from_s, to_s = (passes_s, lasts_s) if begins <= 0.0 else (0.0, passes_s)
    swing = (begins - goal) * tau_s * (math.exp(-from_s / tau_s) - math.exp(-to_s / tau_s))
    return to_s - from_s, goal * (to_s - from_s) + swing
