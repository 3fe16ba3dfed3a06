"""What a programme promises, and how far a run kept it: warm on time, quiet, fresh, no frost."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import NamedTuple

import numpy as np

from cyclesim.analysis.ages import when
from cyclesim.analysis.history import History
from cyclesim.analysis.metrics import LegMetrics, PromisesMetrics
from cyclesim.analysis.outages import TUB, first_at_zero, had_it_failed
from cyclesim.analysis.spans import Spans, join, meet, spans, total_s
from cyclesim.analysis.truth import running
from cyclesim.analysis.tub import HAIR_K, water_c_at


def measure_promises(history: History, legs: Mapping[str, LegMetrics]) -> PromisesMetrics:
    """Every promise of a run; *legs* as measured, by name."""
    plant, trace, limits = history.plant, history.trace, history.plant.scenario.limits
    due = _due(history)
    worst = max(due, key=lambda moment: moment.short_k, default=None)
    left = _stepped_out(history)
    last = min(left, key=lambda moment: moment.water_c, default=None)
    oldest = oldest_of(legs)
    coldest = {body: water_c for body, water_c in history.coldest_c.items() if water_c is not None}
    if len(trace.tub):
        coldest[TUB] = float(min(np.min(trace.tub.water_c), trace.end_water_c))
    cold = min(coldest, key=lambda name: (round(coldest[name], 2), _stood_at_c(history, name)), default=None)
    cut = had_it_failed(plant, trace)
    first = first_at_zero(cut)
    return PromisesMetrics(
        times_to_be_warm=len(due),
        warm_on_time=sum(moment.short_k <= limits.cold_session_k + HAIR_K for moment in due),
        most_short_k=worst and worst.short_k,
        most_short_at=worst and when(trace, worst.at_s),
        coldest_at_step_out_c=last and last.water_c,
        coldest_at_step_out_at=last and when(trace, last.at_s),
        loud_in_quiet_hours_h=_loud_h(history),
        oldest_water_h=legs[oldest].oldest_water_h if oldest else None,
        oldest_water_in=oldest,
        water_age_limit_h=limits.water_age_s / 3600.0,
        coldest_water_c=None if cold is None else coldest[cold],
        coldest_water_in=cold,
        first_at_zero=None if first is None else first.part,
        first_at_zero_after_h=None if first is None else first.after_h,
        power_fails_at=cut.from_local if cut else None,
    )


def _stood_at_c(history: History, body: str) -> float:
    """How cold a body was while it stood [degC]: cold water that only passed through came from elsewhere."""
    temps = history.coldest.get(body)
    return math.inf if temps is None or not len(temps.end_c) else float(np.min(temps.end_c))


class _Moment(NamedTuple):
    at_s: float
    water_c: float
    short_k: float


def _due(history: History) -> list[_Moment]:
    """When the water was to be warm, how warm it was, and how far below its set point."""
    trace = history.trace
    due = [_Moment(float(at_s), water_c, wanted_c - water_c) for at_s, water_c, wanted_c in trace.ready]
    if history.plant.scenario.schedule.heating is None or not len(trace.tub):
        return due
    starts = [start for start in history.truth.people[:, 0].tolist() if start > 0.0]
    for at_s, water_c in zip(starts, water_c_at(trace, np.array(starts)).tolist(), strict=True):
        due.append(_Moment(at_s, water_c, history.set_points.level_c(at_s) - water_c))
    return due


def _stepped_out(history: History) -> list[_Moment]:
    """When people left the water, and how warm it was then."""
    trace = history.trace
    if not len(trace.tub):
        return []
    ends = [end for end in history.truth.people[:, 1].tolist() if end < trace.span_s]
    return [_Moment(a, c, 0.0) for a, c in zip(ends, water_c_at(trace, np.array(ends)).tolist(), strict=True)]


def loud(history: History) -> tuple[Spans, Spans] | None:
    """When what the file keeps off in quiet hours ran at all, and when in them; None without such hours."""
    wanted, trace = history.plant.scenario.schedule.quiet_hours, history.trace
    if wanted is None:
        return None
    quiet = spans(history.programme.quiet_spans(trace.begin_utc, trace.span_s))
    ran = join(*(running(trace, history.plant, pump, speed) for pump, speed in wanted.applies_to))
    return ran, meet(ran, quiet)


def _loud_h(history: History) -> float | None:
    """Hours for which what the file keeps off in its quiet hours ran in them; None without such hours [h]."""
    heard = loud(history)
    return None if heard is None else total_s(heard[1]) / 3600.0


def oldest_of(legs: Mapping[str, LegMetrics]) -> str | None:
    """Where the oldest water was; what never moved is older than all. Dead ends are left out."""
    ages = {name: leg.oldest_water_h for name, leg in legs.items() if leg.kind != "dead end"}
    return max(ages, key=lambda n: float("inf") if ages[n] is None else ages[n] or 0.0, default=None)
