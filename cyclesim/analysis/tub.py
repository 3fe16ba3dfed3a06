"""The tub: temperatures, turnovers, time since filtered, and the balance of its heat."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from cyclesim.analysis.ages import J_PER_KWH, when
from cyclesim.analysis.energy import Meter, local_edges
from cyclesim.analysis.metrics import TubMetrics
from cyclesim.analysis.spans import Floats, Spans, integral, total_s
from cyclesim.analysis.truth import Lasting
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.exchanges import BATHERS, OPEN_WATER
from cyclesim.simulation.trace import Trace

HAIR_K = 0.05
"""Water so little below a limit reads the same in tenths: where a thermostat starts at the foot of its band,
it sinks by less before the heat comes. Project choice."""


class Filtered(NamedTuple):
    """The flow that passes the filters, in stretches that tile the span."""

    start_s: Floats
    end_s: Floats
    flow_m3_s: Floats

    def by_day(self, trace: Trace) -> tuple[list[int], Floats]:
        """The start [s] of each whole calendar day and the volume [m3] that was filtered on it."""
        edges = local_edges(trace, "day")
        return edges[:-1], np.diff(integral(*self, np.array(edges, dtype=float)))


def filtered(duties: Sequence[Lasting]) -> Filtered:
    """The filtered flow over the span."""
    table = np.array([(a, b, duty.filtered_m3_s) for a, b, duty in duties]).reshape(-1, 3)
    return Filtered(table[:, 0], table[:, 1], table[:, 2])


class SinceFiltered(NamedTuple):
    """Time since filtered of a well mixed tub over one span [s]."""

    mean_s: float
    max_s: float
    max_at_s: float


def since_filtered(flows: Filtered, volume_m3: float) -> SinceFiltered | None:
    """Time since filtered, dA/dt = 1 - A Q / V, in closed form over each stretch of constant flow.

    The span is taken to repeat for ever: it begins with the age that it ends with. None if nothing is
    filtered.
    """
    lasts_s, per_s = flows.end_s - flows.start_s, flows.flow_m3_s / volume_m3
    stretches = list(zip(lasts_s.tolist(), per_s.tolist(), strict=True))
    turnovers = sum(dt * k for dt, k in stretches)
    if turnovers <= 0.0:
        return None
    age = 0.0
    for dt, k in stretches:
        age = _aged(age, dt, k)[0]
    age /= -math.expm1(-turnovers)  # what is left of the first age is exp(-turnovers) of it
    mean, oldest, oldest_at, total = 0.0, age, 0.0, 0.0
    for (dt, k), end in zip(stretches, flows.end_s.tolist(), strict=True):
        age, area = _aged(age, dt, k)
        total += area
        if age > oldest:
            oldest, oldest_at = age, end
    mean = total / float(flows.end_s[-1] - flows.start_s[0])
    return SinceFiltered(mean, oldest, oldest_at)


def _aged(age_s: float, dt_s: float, per_s: float) -> tuple[float, float]:
    """Age after a stretch and its integral over it, at *per_s* turnovers a second."""
    turnovers = per_s * dt_s
    if turnovers < 1e-9:
        return age_s + dt_s, (age_s + 0.5 * dt_s) * dt_s
    gone = -math.expm1(-turnovers)
    return age_s + (1.0 / per_s - age_s) * gone, dt_s / per_s + (age_s - 1.0 / per_s) * gone / per_s


def water_c_at(trace: Trace, at_s: Floats) -> Floats:
    """The tub's temperature [degC], linear between the ends of the pieces, which are short."""
    rows = trace.tub
    edges_s, water_c = (
        np.append(rows.start_s, float(trace.span_s)),
        np.append(rows.water_c, trace.end_water_c),
    )
    interpolated_c: Floats = np.interp(at_s, edges_s, water_c)
    return interpolated_c


def measure_tub(
    plant: Assembly,
    trace: Trace,
    duties: Sequence[Lasting],
    flows: Filtered,
    people: Spans,
    metered: Meter,
) -> TubMetrics:
    """The tub's numbers in a *plant* over the span of a *trace*.

    *duties*: what moved the water, without coasting; *flows*: what passes the filters [m3/s]; *people*: when
    somebody is in the water; *metered*: the heat [J] and energy [kWh] of each device.
    """
    rows, span_s = trace.tub, float(trace.span_s)
    volume = plant.volume_m3
    mean_c = coldest_c = warmest_c = coldest_at = warmest_at = None
    if len(rows):
        temps = np.append(rows.water_c, trace.end_water_c)
        at_s = np.append(rows.start_s, span_s)
        mean_c = float(np.sum(rows.water_integral_k_s)) / span_s
        cold, warm = int(np.argmin(temps)), int(np.argmax(temps))
        coldest_c, warmest_c = float(temps[cold]), float(temps[warm])
        coldest_at, warmest_at = when(trace, float(at_s[cold])), when(trace, float(at_s[warm]))
    days, by_day = flows.by_day(trace)
    fewest = fewest_on = None
    if len(by_day):
        k = int(np.argmin(by_day))
        fewest, fewest_on = float(by_day[k]) / volume, trace.local(days[k]).date().isoformat()
    age = since_filtered(flows, volume)
    pumps_j = sum(d.pump_heat_w * (b - a) for a, b, d in duties)
    sources_j = sum(metered.heat_j.values())
    open_j, bathers_j = _heat_j(trace, OPEN_WATER), _heat_j(trace, BATHERS)
    air_j = sum(_heat_j(trace, n) for n in plant.sheet.air)
    gone_kg = (rows.evaporated_kg for rows in trace.exchanges.values())
    topped_up_kg = sum(float(np.sum(kg[kg > 0.0])) for kg in gone_kg)  # what condenses is let go
    stepped_in = people[:, 0][people[:, 0] > 0.0]
    stepped_out = people[:, 1][(people[:, 0] > 0.0) & (people[:, 1] < span_s)]
    in_sun = plant.plates.keys() - set(plant.behind_plates)
    losses = {  # what collectors lose is taken off what they gave
        n: float(np.sum(stays.loss_j)) for n, stays in trace.stays.items() if n not in in_sun
    }
    legs_j = sum(j for n, j in losses.items() if n in plant.sheet.legs)
    equipment_j = sum(j for n, j in losses.items() if n not in plant.sheet.legs)
    own = (rows for name, rows in trace.own_waters.items() if name not in plant.behind_plates)
    equipment_j += sum(float(np.sum(rows.lost_j)) for rows in own)
    cover_j, shell_j = float(np.sum(rows.cover_loss_j)), float(np.sum(rows.shell_loss_j))
    lost_j = cover_j + shell_j + legs_j + equipment_j
    turnovers = float(np.sum((flows.end_s - flows.start_s) * flows.flow_m3_s)) / volume
    stored_j = trace.heat_content_j[1] - trace.heat_content_j[0]
    return TubMetrics(
        volume_l=volume * 1000.0,
        mean_c=mean_c,
        coldest_c=coldest_c,
        coldest_at=coldest_at,
        warmest_c=warmest_c,
        warmest_at=warmest_at,
        turnovers_per_day=turnovers / (span_s / 86_400.0),
        fewest_turnovers_in_a_day=fewest,
        fewest_turnovers_on=fewest_on,
        since_filtered_mean_h=age.mean_s / 3600.0 if age else None,
        since_filtered_max_h=age.max_s / 3600.0 if age else None,
        since_filtered_max_at=when(trace, age.max_at_s) if age else None,
        lost_through_cover_kwh=cover_j / J_PER_KWH,
        lost_through_shell_kwh=shell_j / J_PER_KWH,
        lost_from_legs_kwh=legs_j / J_PER_KWH,
        lost_from_equipment_kwh=equipment_j / J_PER_KWH,
        heat_from_pumps_kwh=pumps_j / J_PER_KWH,
        heat_from_sources_kwh=sources_j / J_PER_KWH,
        stored_change_kwh=stored_j / J_PER_KWH,
        balance_error_kwh=(pumps_j + sources_j + open_j + bathers_j + air_j - lost_j - stored_j) / J_PER_KWH,
        lost_from_open_water_kwh=(0.0 - open_j) / J_PER_KWH,
        heat_from_bathers_kwh=bathers_j / J_PER_KWH,
        taken_by_air_kwh=(0.0 - air_j) / J_PER_KWH,
        topped_up_l=topped_up_kg,
        sessions=len(stepped_in),
        bathed_h=total_s(people) / 3600.0,
        mean_at_session_start_c=_mean_c_at(trace, stepped_in),
        mean_at_session_end_c=_mean_c_at(trace, stepped_out),
    )


def _mean_c_at(trace: Trace, at_s: Floats) -> float | None:
    return float(np.mean(water_c_at(trace, at_s))) if len(at_s) and len(trace.tub) else None


def _heat_j(trace: Trace, name: str) -> float:
    """Heat [J] that one law brought to the water over the span."""
    rows = trace.exchanges.get(name)
    return 0.0 if rows is None else float(np.sum(rows.heat_j))
