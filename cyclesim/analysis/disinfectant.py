"""Water care: where the disinfectant has faded, how long water serves its bathers, what a filter passes.

A refill interval with a last refill is taken as kept up; a last refill alone as the last one.

Time below a residual is read off the age rows: exact while water stands; of a flow the rows keep peak and
integral, so its time is the most that these allow.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import NamedTuple

import numpy as np

from cyclesim.analysis.ages import J_PER_KWH, AgeRows, kind_of, never_moved
from cyclesim.analysis.device_metrics import HeatSourceMetrics
from cyclesim.analysis.history import History
from cyclesim.analysis.metrics import (
    DisinfectantMetrics,
    Fading,
    FilterCare,
    RefillCare,
    TubMetrics,
    WaterCareMetrics,
)
from cyclesim.analysis.spans import Floats, Spans, covers, edges_of, spans, total_s, while_in
from cyclesim.physics.decay import left, seconds_until
from cyclesim.physics.water_age import STILL_M3_S
from cyclesim.scenario.blocks.water_care import Disinfectant, WaterCare
from cyclesim.simulation.hourly_weather import fill_c
from cyclesim.simulation.trace import Trace

US_GALLON_M3 = 3.785411784e-3
GALLONS_PER_BATHER_AND_DAY = 3.0
"""Days between refills are US gallons / 3 / bathers a day: common practice, no source."""
_H_S, _DAY_S, _MG_L = 3600.0, 86_400.0, 1000.0


class Older(NamedTuple):
    """When the oldest water of an element was older than an age: spells, and the oldest [s] in each."""

    spells: Spans
    peak_s: Floats


def older_than(rows: AgeRows, age_s: float) -> Older:
    """When the oldest water was older than *age_s*, as far as the rows tell.

    Exact while water stands: its age rises by a second a second. Of a flow the rows keep the peak and the
    integral: that it was older is certain, for how long is told as the most that the integral allows, which
    lies above by the age of the water that followed. It is put where the flow joins water known to be older,
    else at its start.
    """
    start, end, peak = rows.start_s, rows.end_s, rows.oldest_peak_s
    still = np.abs(rows.flow_m3_s) <= STILL_M3_S
    first = np.where(still, peak - (end - start), -np.inf)  # the age that a stay begins with
    old = peak > age_s
    begins = np.where(still, np.maximum(start, end - (peak - age_s)), start)
    most = np.minimum(end - start, rows.oldest_integral_s2 / age_s)
    ends = np.where(still, end, start + most)
    before = np.append(False, (still & old)[:-1])
    behind = np.append((first > age_s)[1:], False)
    split = old & ~still & behind & (most < end - start)
    late = split & ~before
    begins[late], ends[late] = end[late] - most[late], end[late]
    late_again = split & before  # it was younger in between, or the integral would be larger
    ends[late_again] = start[late_again] + 0.5 * most[late_again]
    pairs = np.column_stack((begins[old], ends[old]))
    again = np.column_stack((end[late_again] - 0.5 * most[late_again], end[late_again]))
    table, peaks = np.concatenate((pairs, again)), np.concatenate((peak[old], peak[late_again]))
    spells = spans(table)
    worst = np.zeros(len(spells))
    if len(spells):
        np.maximum.at(worst, np.searchsorted(spells[:, 0], table[:, 0], side="right") - 1, peaks)
    return Older(spells, worst)


def until_below_s(disinfectant: Disinfectant) -> tuple[float, float]:
    """How old water is [s] when its residual falls below the least wanted, at fast and at slow decay."""
    fast, slow = disinfectant.half_life_s
    start, least = disinfectant.residual_kg_m3, disinfectant.at_least_kg_m3
    return seconds_until(start, least, fast), seconds_until(start, least, slow)


def bathers_per_day(trace: Trace) -> float:
    """How many people step in a day, on the mean of the span; under a closed cover nobody bathes.

    Who sits in the water as the span begins is not counted, nor who takes another's place in the same second.
    """
    people = {label: while_in(trace.people, label) for label in trace.people.labels}
    open_ = while_in(trace.cover, "off")
    instants_s = edges_of(open_, *people.values())
    bathers = sum(
        (float(label or 0) * covers(times, instants_s) for label, times in people.items()),
        start=np.zeros(len(instants_s)),
    ) * covers(open_, instants_s)
    stepped_in = float(np.sum(np.maximum(np.diff(bathers), 0.0)))
    return stepped_in / (trace.span_s / _DAY_S)


def suggested_refill_days(volume_m3: float, bathers: float) -> float | None:
    """Days between refills that so many bathers a day suggest; None where nobody bathes."""
    return volume_m3 / US_GALLON_M3 / GALLONS_PER_BATHER_AND_DAY / bathers if bathers else None


def since_refill_days(care: WaterCare, trace: Trace) -> float | None:
    """Days since the last refill as the span ends; with refill_every it is kept up from last_refill on.

    None where no day is told, or one after the span.
    """
    if care.last_refill is None:
        return None
    days = (trace.local(trace.span_s).date() - care.last_refill).days
    if days < 0:
        return None
    return days % (care.refill_every_s / _DAY_S) if care.refill_every_s else float(days)


def refills(care: WaterCare, trace: Trace) -> int:
    """How many refills fall into the span after its first day, kept up from last_refill or that day on."""
    first, end = trace.local(0).date(), trace.local(trace.span_s).date()
    since = care.last_refill or first
    if care.refill_every_s is None:
        return int(first < since < end)
    every = care.refill_every_s / _DAY_S
    begun, ended = (since - first).days, (end - since).days
    return max(0, math.ceil(ended / every) - max(0, math.floor(-begun / every) + 1))


def measure_water_care(
    history: History, tub: TubMetrics, sources: Mapping[str, HeatSourceMetrics]
) -> WaterCareMetrics | None:
    """What the file's water care comes to, beside tub and sources as measured; None without water care."""
    care = history.plant.scenario.water_care
    if care is None:
        return None
    return WaterCareMetrics(
        disinfectant=_disinfectant(history, care.disinfectant) if care.disinfectant else None,
        refill=_refill(history, care, tub, sources) if care.refill_every_s or care.last_refill else None,
        filter=_filter(history, care.clean_filter_every_s) if care.clean_filter_every_s else None,
    )


def _disinfectant(history: History, disinfectant: Disinfectant) -> DisinfectantMetrics:
    fast_s, slow_s = until_below_s(disinfectant)
    legs = {}
    for name, rows in history.ages.items():
        known = len(rows.start_s) and not never_moved(history.trace, rows)
        oldest_s = float(np.max(rows.oldest_peak_s)) if known else None
        fast, slow = (older_than(rows, age_s).spells if known else None for age_s in (fast_s, slow_s))
        least = [
            None if oldest_s is None else _MG_L * left(disinfectant.residual_kg_m3, half_life_s, oldest_s)
            for half_life_s in disinfectant.half_life_s
        ]
        legs[name] = Fading(
            kind=kind_of(history.plant, name),
            least_fast_mg_l=least[0],
            least_slow_mg_l=least[1],
            times_below_fast=None if fast is None else len(fast),
            below_fast_h=None if fast is None else total_s(fast) / _H_S,
            times_below_slow=None if slow is None else len(slow),
            below_slow_h=None if slow is None else total_s(slow) / _H_S,
        )
    return DisinfectantMetrics(
        residual_mg_l=_MG_L * disinfectant.residual_kg_m3,
        at_least_mg_l=_MG_L * disinfectant.at_least_kg_m3,
        half_life_fast_h=disinfectant.half_life_s[0] / _H_S,
        half_life_slow_h=disinfectant.half_life_s[1] / _H_S,
        until_below_fast_h=fast_s / _H_S,
        until_below_slow_h=slow_s / _H_S,
        legs=legs,
    )


def _refill(
    history: History, care: WaterCare, tub: TubMetrics, sources: Mapping[str, HeatSourceMetrics]
) -> RefillCare:
    bathers, count = bathers_per_day(history.trace), refills(care, history.trace)
    heat_kwh = heat_cost = None
    if tub.mean_c is not None:
        warmer_k = max(0.0, tub.mean_c - fill_c(history.plant.scenario))
        heat_kwh = count * history.plant.volume_m3 * history.plant.per_m3_k * warmer_k / J_PER_KWH
        if tub.heat_from_sources_kwh > 0.0:
            spent = sum(source.cost for source in sources.values())
            heat_cost = heat_kwh * spent / tub.heat_from_sources_kwh
    return RefillCare(
        refill_every_days=care.refill_every_s / _DAY_S if care.refill_every_s else None,
        last_refill=care.last_refill.isoformat() if care.last_refill else None,
        since_refill_days=since_refill_days(care, history.trace),
        bathers_per_day=bathers,
        suggested_refill_days=suggested_refill_days(history.plant.volume_m3, bathers),
        refills=count,
        refills_heat_kwh=heat_kwh,
        refills_heat_cost=heat_cost,
    )


def _filter(history: History, every_s: float) -> FilterCare:
    start, end, flow = history.filtered
    between = every_s / history.trace.span_s
    return FilterCare(
        clean_filter_every_days=every_s / _DAY_S,
        flow_between_cleans_h=float(np.sum((end - start)[flow > STILL_M3_S])) * between / _H_S,
        passed_between_cleans_m3=float(np.sum((end - start) * flow)) * between,
    )
