"""How warm the water is for people: when they get in, when they get out, at its coldest, and at the jets.

When jets start, what stood in the pipes comes out first.
"""

from __future__ import annotations

import numpy as np

from cyclesim.analysis.ages import when
from cyclesim.analysis.history import History
from cyclesim.analysis.metrics import SessionMetrics
from cyclesim.analysis.spans import Floats
from cyclesim.analysis.tub import water_c_at


def measure_sessions(history: History) -> tuple[SessionMetrics, ...]:
    """Each session that began in the span, in order; those that touch or overlap are one."""
    trace, heating = history.trace, history.plant.scenario.schedule.heating
    if not len(trace.tub):
        return ()
    found = []
    for start, end in history.truth.people.tolist():
        if start <= 0.0:
            continue
        inside = trace.tub.start_s[(trace.tub.start_s > start) & (trace.tub.start_s < end)]
        water_c = water_c_at(trace, np.concatenate(([start], inside, [end])))
        over = end < trace.span_s
        starts = (trace.at_jets.start_s >= start) & (trace.at_jets.start_s < end)
        found.append(
            SessionMetrics(
                from_local=when(trace, start),
                lasts_h=(end - start) / 3600.0,
                set_point_c=history.set_points.level_c(start) if heating else None,
                in_c=float(water_c[0]),
                out_c=float(water_c[-1]) if over else None,
                coldest_c=float(np.min(water_c)),
                coldest_at_jet_c=_most(-trace.at_jets.coldest_c[starts], -1.0),
                cold_at_jet_s=_most(trace.at_jets.cold_s[starts]),
            )
        )
    return tuple(found)


def _most(values: Floats, sign: float = 1.0) -> float | None:
    return sign * float(np.max(values)) if len(values) else None
