"""A run in the few numbers by which many runs are set side by side, without judging it.

Read off in a twentieth of the time of an `Outcome`, and equal to it to the last digit.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from cyclesim.analysis.ages import age_rows, never_moved
from cyclesim.analysis.energy import measure_source, meter, running_hours, starts_of
from cyclesim.decide.sweeps.outcome import loud_s
from cyclesim.decide.sweeps.sweep import RunReading
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.programme import Programme
from cyclesim.simulation.trace import Trace


@dataclass(frozen=True, slots=True)
class Brief:
    """What a run used, how long each device ran, how loud it was and how old its water got."""

    days: int
    cost: float
    energy_kwh: float
    fuel_kwh: float
    running_h: dict[str, float]
    """Of each machine."""
    pump_h: float
    pump_starts: int
    loud_min: float
    oldest_water_h: float
    """Infinite where some never moved."""
    sun_unused_kwh: float | None
    """What collectors could have given besides; None without any."""

    @property
    def loud_min_a_day(self) -> float:
        """`loud_min` of a mean day."""
        return self.loud_min / self.days


def brief(plant: Assembly, programme: Programme, trace: Trace, days: int) -> Brief:
    """What a run of so many days came to."""
    metered = meter(plant, programme, trace)
    used = [metered.total(name) for name in metered.energy_kwh]
    sources = [measure_source(plant, programme, trace, name, metered) for name in trace.sources]
    unused = [source.sun_unused_kwh for source in sources if source.sun_unused_kwh is not None]
    running_h = running_hours(trace)
    return Brief(
        days,
        sum(total.cost for total in used),
        sum(total.energy_kwh for total in used),
        sum(total.fuel_kwh for total in used),
        running_h,
        sum(running_h[name] for name in trace.pumps),
        sum(len(starts_of(stream)) for stream in trace.pumps.values()),
        loud_s(plant, trace) / 60.0,
        max((_oldest_h(trace, name) for name in trace.ages), default=0.0),
        sum(unused) if unused else None,
    )


def _oldest_h(trace: Trace, name: str) -> float:
    rows = age_rows(trace, name)
    if not len(rows.start_s) or never_moved(trace, rows):
        return math.inf
    return float(np.max(rows.oldest_peak_s)) / 3600.0


def _read(values: Mapping[str, Any]) -> Brief:
    return Brief(**values)


BRIEFS = RunReading("brief", brief, asdict, _read)
"""How a sweep reads them and keeps them."""
