"""The cold spell of a file: how cold each part gets in it, and how long it lasts with power and without."""

from __future__ import annotations

import math
from datetime import UTC, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from cyclesim.analysis.ages import tub_through, when
from cyclesim.analysis.heat_rules import freezing
from cyclesim.analysis.history import History
from cyclesim.analysis.metrics import ColdSpellMetrics
from cyclesim.analysis.outages import TUB, had_it_failed
from cyclesim.analysis.tub import water_c_at
from cyclesim.simulation.hourly_weather import HOUR_S, cold_days, standard_time

FOLLOWS_H = 24
"""What stands in pipes and soil is coldest after the air: so long after the spell it is still judged [h]."""


def measure_cold_spell(history: History) -> ColdSpellMetrics | None:
    """The spell, where it begins in the span; None where the file has none, or it begins outside."""
    trace, spell = history.trace, cold_days(history.plant.scenario)
    if spell is None or trace.zones is None or not len(trace.tub):
        return None
    ahead = standard_time(trace.begin_utc, ZoneInfo(trace.time_zone)) - trace.begin_utc.replace(tzinfo=None)
    begin_local = trace.begin_utc.astimezone(UTC).replace(tzinfo=None) + ahead
    years = {begin_local.year, (begin_local + timedelta(seconds=trace.span_s)).year}
    dates = (
        [spell.begins.replace(year=year) for year in sorted(years)] if spell.every_year else [spell.begins]
    )
    starts = [(day - begin_local).total_seconds() for day in dates]
    start_s = next((s for s in starts if 0.0 <= s < trace.span_s), None)
    if start_s is None:
        return None
    end_s = min(float(trace.span_s), start_s + HOUR_S * spell.hours)
    air = trace.zones.series["outdoors"]
    first, last = (int((at - trace.zones.origin_s) // HOUR_S) for at in (start_s, end_s - 1.0))
    frozen = freezing(history)
    cut = had_it_failed(history.plant, trace, (start_s, end_s))
    assert cut is not None, "a run with heat"
    judged_s = min(float(trace.span_s), end_s + HOUR_S * FOLLOWS_H)
    names = [TUB, *(body.name for body in history.plant.bodies)]
    return ColdSpellMetrics(
        from_local=when(trace, start_s),
        lasts_h=float(spell.hours),
        lowest_c=min(air[first : last + 1]),
        colder_by_k=spell.colder_by_k,
        coldest_c={name: _coldest_c(history, name, start_s, judged_s) for name in names},
        until_zero_h={name: _until_zero_h(frozen[name].tolist(), start_s, judged_s) for name in names},
        until_zero_without_power_h=cut.until_zero_h,
        power_fails_at=cut.from_local,
    )


def _until_zero_h(spans: list[list[float]], start_s: float, end_s: float) -> float | None:
    """Hours from the start until a part is at 0 degC in the run; None where it is not before the end."""
    return next((max(0.0, a - start_s) / HOUR_S for a, b in spans if b > start_s and a < end_s), None)


def _coldest_c(history: History, name: str, start_s: float, end_s: float) -> float | None:
    """The coldest that the tub, or a body at its coldest end, was between two seconds."""
    trace = history.trace
    if name == TUB:
        inside = trace.tub.start_s[(trace.tub.start_s > start_s) & (trace.tub.start_s < end_s)]
        return float(np.min(water_c_at(trace, np.concatenate(([start_s], inside, [end_s])))))
    coldest, rows, temps = math.inf, trace.stays[name], history.coldest[name]
    moves = (rows.joined == 1.0) & (rows.start_s < end_s) & (rows.end_s > start_s)
    if moves.any():  # what is still as cold when such a stay ends; not what had stood cold and is flushed out
        lasting = np.maximum(rows.coldest_c, np.append(rows.coldest_c[1:], rows.end_c[-1:]))
        coldest = float(np.min(lasting[moves]))
        at_s, water_c = tub_through(trace, rows)  # a long stay is as cold as the tub was in the midst of it
        during = (at_s >= start_s) & (at_s < end_s)
        coldest = float(np.min(water_c[during], initial=coldest))
    if temps is not None:
        within = (temps.start_s < end_s) & (temps.end_s > start_s)
        if within.any():
            coldest = min(coldest, float(np.min(temps.end_c[within])))
    return coldest if coldest < math.inf else None
