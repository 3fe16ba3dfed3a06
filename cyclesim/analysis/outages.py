"""Power cuts: how cold each part got, and how long it would have withstood one that did not end."""

from __future__ import annotations

import math

import numpy as np

from cyclesim.analysis.ages import Standing, when
from cyclesim.analysis.metrics import OutageMetrics
from cyclesim.analysis.spans import Floats, while_in
from cyclesim.analysis.tub import water_c_at
from cyclesim.physics.heat import HOUR_S, TwoNode
from cyclesim.physics.tub_heat import Body
from cyclesim.simulation.assembly import Plant
from cyclesim.simulation.trace import Trace, Zones

TUB, LONGEST_H = "tub", 240
_FREEZES_C = 0.0


def measure_outages(plant: Plant, trace: Trace) -> tuple[OutageMetrics, ...]:
    """Every power cut of the span, in order."""
    zones = trace.zones
    if zones is None or not len(trace.tub):
        return ()
    return tuple(_measure(plant, trace, zones, a, b) for a, b in while_in(trace.power, "lost").tolist())


def _measure(plant: Plant, trace: Trace, zones: Zones, start_s: float, end_s: float) -> OutageMetrics:
    coldest, until_zero = {TUB: float(np.min(_tub_c(trace, start_s, end_s)))}, dict[str, float | None]()
    until_zero[TUB] = _tub_until_zero_h(plant, trace, zones, start_s)
    for body in plant.bodies:
        standing, start_c = Standing(zones, body), _body_c(trace, zones, body, start_s)
        if start_c is None:
            continue
        at = _hours(zones, start_s, start_s + LONGEST_H * HOUR_S)
        temps = standing.temp_at(at, np.full_like(at, start_s), np.full_like(at, start_c))
        during = _hours(zones, start_s, end_s)
        seen = standing.temp_at(during, np.full_like(during, start_s), np.full_like(during, start_c))
        coldest[body.name] = float(np.min(seen))
        until_zero[body.name] = _until_zero_h(standing, at, temps)
    part = min(coldest, key=lambda name: coldest[name])
    return OutageMetrics(when(trace, start_s), (end_s - start_s) / 3600.0, part, coldest[part], until_zero)


def _hours(zones: Zones, start_s: float, end_s: float) -> Floats:
    """The start, every full hour of the zones after it, and the end: between two of them, one relaxation."""
    first = zones.origin_s + HOUR_S * (np.floor((start_s - zones.origin_s) / HOUR_S) + 1.0)
    return np.unique(np.concatenate(([start_s], np.arange(first, end_s, HOUR_S), [end_s])))


def _body_c(trace: Trace, zones: Zones, body: Body, at_s: float) -> float | None:
    """Temperature [degC] of a body: standing, or the tub's while it is joined to it."""
    rows = trace.stays[body.name]
    k = int(np.searchsorted(rows.start_s, at_s, side="right")) - 1
    if k < 0:
        return None
    if rows.joined[k] == 1.0:
        return float(water_c_at(trace, np.array([at_s]))[0])
    since, start_c = rows.start_s[k : k + 1], rows.start_c[k : k + 1]
    return float(Standing(zones, body).temp_at(np.array([at_s]), since, start_c)[0])


def _until_zero_h(standing: Standing, at_s: Floats, temps_c: Floats) -> float | None:
    """Hours to 0 degC, in closed form within the hour in which it is reached."""
    below = np.flatnonzero(temps_c <= _FREEZES_C)
    if not len(below):
        return None
    k = int(below[0])
    if k == 0:
        return 0.0
    zone_c = float(standing.zone_at(at_s[k - 1 : k])[0])
    late_s = standing.tau_s * math.log((float(temps_c[k - 1]) - zone_c) / (_FREEZES_C - zone_c))
    return (float(at_s[k - 1] - at_s[0]) + late_s) / 3600.0


def _tub_c(trace: Trace, start_s: float, end_s: float) -> Floats:
    """The tub's temperatures at the ends of a while and at every change within it."""
    inside = trace.tub.start_s[(trace.tub.start_s > start_s) & (trace.tub.start_s < end_s)]
    return water_c_at(trace, np.concatenate(([start_s], inside, [end_s])))


def _tub_until_zero_h(plant: Plant, trace: Trace, zones: Zones, start_s: float) -> float | None:
    """As for a body, with the tub's water and shell as two nodes that nothing warms."""
    node, rows = plant.tub_node, trace.tub
    two = TwoNode(node.water_j_k, node.shell_j_k, node.g_w_k, node.ua_cover_w_k, node.ua_shell_w_k)
    water_c = float(water_c_at(trace, np.array([start_s]))[0])
    shell_c = float(np.interp(start_s, rows.start_s, rows.shell_c))
    at = _hours(zones, start_s, start_s + LONGEST_H * HOUR_S)
    if water_c <= _FREEZES_C:
        return 0.0
    for since, until in zip(at.tolist(), at[1:].tolist(), strict=False):
        hour = max(0, int((since - zones.origin_s) // HOUR_S))
        cover, shell = (series[min(hour, len(series) - 1)] for series in _two_zones(plant, zones))
        f_w, f_s, dt = node.ua_cover_w_k * cover, node.ua_shell_w_k * shell, until - since
        late_s = two.first_crossing(water_c, shell_c, f_w, f_s, dt, _FREEZES_C, False)
        if late_s is not None:
            return float(since + late_s - start_s) / 3600.0
        water_c, shell_c, _, _ = two.advance(water_c, shell_c, f_w, f_s, dt)
    return None


def _two_zones(plant: Plant, zones: Zones) -> tuple[list[float], list[float]]:
    node = plant.tub_node
    return zones.series[node.cover_zone], zones.series[node.shell_zone]
