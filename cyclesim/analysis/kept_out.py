"""When water runs through steered collectors that should be kept out of them: cold, or past the high stop."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Literal

import numpy as np

from cyclesim.analysis.spans import NONE, Spans, after, join, meet, spans, while_in, without
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.exchanges import sun_w
from cyclesim.simulation.own_water import sun_body
from cyclesim.simulation.programme import sun_on
from cyclesim.simulation.trace import Trace

Why = Literal["cold", "stop", "half"]
KeptOut = tuple[str, Why]
"""Collectors, and why no water should run through them: they would cool it, or it is at its high stop; or
that the sun is let in by half, since of the waters on both sides of their plates one moves and one stands."""
LASTS_S = 900.0
"""What lasts no longer, a rinse or a pump's least run, is no matter; project choice, no standard."""
_OVER_K = 0.1
_HOUR_S = 3600.0


def kept_out(
    plant: Assembly, trace: Trace, any_flow: Mapping[str, Spans], own_still: Mapping[str, Spans]
) -> dict[KeptOut, Spans]:
    """When water has run for longer than LASTS_S through collectors that it should be kept out of.

    Behind plates it runs through them while both waters move; *own_still* is when their own stands. So long
    as their sensor lets the sun in, what it has left in their own water warms the tub, though it shines no
    more: only at other times does that cool.
    """
    found: dict[KeptOut, Spans] = {}
    for name, steered in plant.steered.items():
        assert trace.zones is not None
        body, moves = sun_body(plant, name), without(any_flow[name], own_still[name])
        let_in = NONE
        if name in plant.behind_plates:
            both = join(moves, without(own_still[name], any_flow[name]))
            let_in = while_in(trace.demands[sun_on(name)], "raised")
            found[name, "half"] = after(without(let_in, both), LASTS_S)
        hours = math.ceil(trace.span_s / _HOUR_S)
        first = -trace.zones.origin_s // int(_HOUR_S)
        air_c = np.array(trace.zones.series[body.zone])[first : first + hours]
        starts = np.arange(hours) * _HOUR_S
        water_c = np.interp(starts + 0.5 * _HOUR_S, trace.tub.start_s, trace.tub.water_c)
        warms = np.array(sun_w(plant, name, trace.begin_utc, hours)) > body.ua_w_k * (water_c - air_c)
        by_hour = np.column_stack((starts, starts + _HOUR_S))
        cold = without(meet(moves, spans(by_hour[~warms])), let_in)
        found[name, "cold"] = after(cold, LASTS_S)
        if steered.high_stop_c is not None:
            over = trace.tub.water_c >= steered.high_stop_c + _OVER_K
            past = spans(np.column_stack((trace.tub.start_s[over], trace.tub.end_s[over])))
            found[name, "stop"] = after(meet(meet(moves, past), spans(by_hour[warms])), LASTS_S)
    return found
