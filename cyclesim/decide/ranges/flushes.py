"""What each flush of the schedule leaves at the last jets, if water does not pass in order."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from cyclesim.analysis.pumped import duties_of, way
from cyclesim.physics.dispersion import (
    FEW_TANKS,
    MEASURED_TANKS,
    lasts_for,
    left_by_tanks,
    left_in_order,
    left_with_stirred,
)
from cyclesim.scenario.blocks.schedule import Run
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.jets import stretch_name
from cyclesim.simulation.programme import Programme


@dataclass(frozen=True, slots=True)
class FlushLine:
    """One flush of one leg: how long it lasts, and what it moves on the way to the last jet."""

    flush: str
    leg: str
    lasts_s: float
    reached_s: float
    """Until tub water is at the last jet, in order; infinite where it never is."""
    filter_s: float
    """Of it inside filters."""


@dataclass(frozen=True, slots=True)
class OldWater:
    """Share of old water in what comes out at the last jet as a flush ends, by four pictures of the flow."""

    flush: str
    leg: str
    lasts_s: float
    tub_water_at_last_jet_s: float | None
    """None where it never gets there."""
    volumes: float
    """How often the flush replaces what lies between tub and last jet."""
    in_order_percent: float
    measured_tanks_percent: float
    stirred_filter_percent: float | None
    """As measured tanks, with the filter's housing stirred; None where the flush passes no filter."""
    few_tanks_percent: float
    lasts_for_5_percent_s: float | None
    """How long it must last for the picture of few tanks to leave 5 %."""


def flush_lines(plant: Assembly, programme: Programme) -> Iterator[FlushLine]:
    """Every line flush of the calendar with each leg of jets that it moves."""
    for timed in programme.entries:
        run = timed.run
        if timed.demand.kind != "line flush" or not isinstance(run, Run):
            continue
        duties = list(duties_of(plant, run.pumping))
        for name, leg in plant.sheet.legs.items():
            if leg.manifold is None:
                continue
            last = stretch_name(name, leg.manifold.jets) if leg.manifold.jets > 1 else name
            moving = [duty for duty in duties if last in duty.reached_s]
            if moving:
                duty = max(moving, key=lambda duty: duty.reached_s[last])
                filters = (e for e in way(plant, duty, last) if _is_filter(plant, e))
                inside = sum(plant.sheet.equipment[e].volume_m3 / abs(duty.flow_m3_s(e)) for e in filters)
                yield FlushLine(timed.entry, name, run.lasts_s, duty.reached_s[last], inside)


def old_water(line: FlushLine) -> OldWater:
    """What one flush leaves, by each picture."""
    t, tau = line.lasts_s, line.reached_s
    if not math.isfinite(tau):
        return OldWater(line.flush, line.leg, t, None, 0.0, 100.0, 100.0, None, 100.0, None)
    stirred = None
    if line.filter_s > 0.0:
        stirred = 100.0 * left_with_stirred(t, line.filter_s, tau - line.filter_s, MEASURED_TANKS)
    return OldWater(
        line.flush,
        line.leg,
        t,
        tau,
        t / tau,
        100.0 * left_in_order(t, tau),
        100.0 * left_by_tanks(t, tau, MEASURED_TANKS),
        stirred,
        100.0 * left_by_tanks(t, tau, FEW_TANKS),
        lasts_for(0.05, tau, FEW_TANKS),
    )


def _is_filter(plant: Assembly, name: str) -> bool:
    return name in plant.sheet.equipment and plant.sheet.equipment[name].kind == "filter"
