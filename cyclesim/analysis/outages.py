"""Power cuts: how cold each part got, and how long it would have withstood one that did not end.

Where one circuit alone had no power, the rest went on: how cold a part got is what the run has of it, and how
long it would have withstood is told only of what nothing would then have moved, or warmed.

How long until ice: from 0 degC on a part loses what liquid at 0 degC would lose, and the ice is that heat
over the heat of fusion. Ice of its own resists the loss, so a part freezes later than said; how a pipe plugs
or a housing bursts is not modelled.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from cyclesim.analysis.ages import Standing, when
from cyclesim.analysis.metrics import OutageMetrics
from cyclesim.analysis.spans import Floats, while_in
from cyclesim.analysis.tub import water_c_at
from cyclesim.physics.heat import HOUR_S, TwoNode
from cyclesim.physics.stays import Body
from cyclesim.physics.water import FUSION_J_KG, density_kg_m3
from cyclesim.physics.water_age import STILL_M3_S
from cyclesim.scenario.blocks.room_loads import ROOM_HEATER
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.own_water import circuits
from cyclesim.simulation.programme import Programme
from cyclesim.simulation.trace import Rows, Trace, Zones

TUB, LONGEST_H = "tub", 240
_FREEZES_C = 0.0
_ICE_SHARE = 0.1
"""The share of a part's water that is ice when it counts as frozen: a choice, no standard."""
_OWN = "own water of "
"""Before a heat source's name: the water of its circuit, where no glycol is in it."""
_AT_ZERO_J_K = 1e15  # water that freezes stays at 0 degC as if its heat capacity were endless


def measure_outages(plant: Assembly, programme: Programme, trace: Trace) -> tuple[OutageMetrics, ...]:
    """Every power cut of the span and every cut of a circuit alone, in order."""
    zones = trace.zones
    if zones is None or not len(trace.tub):
        return ()
    cuts = [_measure(plant, trace, zones, a, b, b) for a, b in while_in(trace.power, "lost").tolist()]
    for name, stream in trace.circuits.items():
        for a, b in while_in(stream, "lost").tolist():
            cuts.append(_measure_circuit(plant, programme, trace, zones, name, a, b, b))
    return tuple(sorted(cuts, key=lambda cut: cut.from_local))


def had_it_failed(
    plant: Assembly, trace: Trace, between_s: tuple[float, float] | None = None
) -> OutageMetrics | None:
    """A power cut that begins with the coldest hour of the run's zones; None for a run without heat.

    *between_s*: the seconds between which that hour is looked for, the whole run without it. Every table and
    paper that tells how long a part lasts without power goes by this cut, so that all tell the same.
    """
    zones = trace.zones
    if zones is None or not len(trace.tub):
        return None
    start_s, from_local = _coldest_hour(plant, trace, zones, between_s)
    return replace(_measure(plant, trace, zones, start_s, start_s + HOUR_S), from_local=from_local)


@dataclass(frozen=True, slots=True)
class AtZero:
    """What is at 0 degC first without power, and how long after that began [h]."""

    part: str
    after_h: float


def first_at_zero(cut: OutageMetrics | None) -> AtZero | None:
    """The first part that a cut without end brings to 0 degC; None where none is within ten days."""
    freeze = [AtZero(name, h) for name, h in cut.until_zero_h.items() if h is not None] if cut else []
    return min(freeze, key=lambda first: first.after_h, default=None)


def had_it_tripped(plant: Assembly, programme: Programme, trace: Trace, circuit: str) -> OutageMetrics | None:
    """As `had_it_failed`, of one circuit alone: the rest has power, and with it perhaps the room's heater."""
    zones = trace.zones
    if zones is None or not len(trace.tub):
        return None
    start_s, from_local = _coldest_hour(plant, trace, zones, None)
    told = _measure_circuit(plant, programme, trace, zones, circuit, start_s, start_s + HOUR_S)
    return replace(told, from_local=from_local)


def _coldest_hour(
    plant: Assembly, trace: Trace, zones: Zones, between_s: tuple[float, float] | None
) -> tuple[float, str]:
    """A second before the coldest hour of the run's zones [s], and when that hour begins."""
    places = {*(body.zone for body in plant.bodies), plant.tub_node.cover_zone}
    begin_s, end_s = between_s or (0.0, float(trace.span_s))
    first = max(0, math.ceil((begin_s - zones.origin_s) / HOUR_S))
    last = max(first + 1, int((end_s - zones.origin_s) // HOUR_S))
    coldest = np.min([zones.series[zone][first:last] for zone in sorted(places)], axis=0)
    hour_s = zones.origin_s + HOUR_S * (first + int(np.argmin(coldest)))
    start_s = max(0.0, hour_s - 1.0)  # what would start with the hour has no power then
    return start_s, when(trace, max(0.0, hour_s))


def _measure(
    plant: Assembly,
    trace: Trace,
    zones: Zones,
    start_s: float,
    end_s: float,
    dark_until_s: float | None = None,
) -> OutageMetrics:
    coldest = {TUB: float(np.min(_tub_c(trace, start_s, end_s)))}
    for body in _parts(plant):
        start_c = _body_c(trace, zones, body, start_s)
        if start_c is not None:
            during = _hours(zones, start_s, end_s)
            since, from_c = np.full_like(during, start_s), np.full_like(during, start_c)
            coldest[body.name] = float(np.min(Standing(zones, body).temp_at(during, since, from_c)))
    part = min(coldest, key=lambda name: coldest[name])
    lasts_h = (end_s - start_s) / 3600.0
    until_zero, until_frozen = withstands(plant, trace, zones, start_s, dark_until_s)
    return OutageMetrics(when(trace, start_s), lasts_h, part, coldest[part], until_zero, until_frozen)


def _measure_circuit(
    plant: Assembly,
    programme: Programme,
    trace: Trace,
    zones: Zones,
    circuit: str,
    start_s: float,
    end_s: float,
    dark_until_s: float | None = None,
) -> OutageMetrics:
    coldest = {TUB: float(np.min(_tub_c(trace, start_s, end_s)))}
    for body in _parts(plant):
        rows = trace.stays.get(body.name) or _own_rows(trace, body)
        changes = np.concatenate((rows.start_s, rows.end_s - 1e-3))  # a stay is coldest as it ends, or begins
        inside = changes[(changes > start_s) & (changes < end_s)]
        temps = _body_temps_c(trace, zones, body, np.union1d(_hours(zones, start_s, end_s), inside))
        if temps is not None:
            coldest[body.name] = float(np.min(temps))
    part = min(coldest, key=lambda name: coldest[name])
    unfed = plant.scenario.circuits[circuit].feeds
    stands = _left_alone(plant, programme, unfed)
    kept_on = _kept_on(plant, zones, unfed)
    until_zero, until_frozen = (
        {name: h for name, h in hours.items() if name in stands}
        for hours in withstands(plant, trace, kept_on, start_s, dark_until_s)
    )
    lasts_h = (end_s - start_s) / 3600.0
    return OutageMetrics(
        when(trace, start_s), lasts_h, part, coldest[part], until_zero, until_frozen, circuit
    )


def _kept_on(plant: Assembly, zones: Zones, unfed: Collection[str]) -> Zones:
    """The zones as they go on with power but for the room's heater, where that is without."""
    heater = plant.sheet.pump_room.heater if plant.sheet.pump_room else None
    cold = heater.zone if heater and ROOM_HEATER in unfed else None
    return zones._replace(powerless={n: c for n, c in zones.powerless.items() if n == cold}, dark=())


def _left_alone(plant: Assembly, programme: Programme, unfed: Collection[str]) -> set[str]:
    """The parts whose water nothing moves while *unfed* has no power; the tub where no heat comes to it."""
    pumps = {d.pump: plant.speeds[d.pump] for d in programme.controller.demands
             if d.pump in plant.speeds and d.pump not in unfed}  # fmt: skip
    duties = [plant.duty(plant.at(pump, speed)) for pump, speeds in pumps.items() for speed in speeds]
    stands = {
        body.name
        for body in plant.bodies
        if all(abs(duty.plug_flows_m3_s[plant.reach_at[body.name]]) <= STILL_M3_S for duty in duties)
    }
    circuits_ = circuits(plant).items()
    stands |= {_OWN + name for name, circuit in circuits_ if circuit.sheet.circulator in unfed}
    heating = plant.scenario.schedule.heating
    if heating is None or heating.pump.pump in unfed or set(heating.sources) <= set(unfed):
        stands.add(TUB)
    return stands


class Withstands(NamedTuple):
    """Hours that each part withstands without power; None for longer than ten days."""

    until_zero_h: dict[str, float | None]
    until_frozen_h: dict[str, float | None]


def withstands(
    plant: Assembly, trace: Trace, zones: Zones, start_s: float, dark_until_s: float | None = None
) -> Withstands:
    """Had the power failed at *start_s* [s] for good: how long until each part is at 0 degC, and is ice.

    *dark_until_s*: until when it did fail in the run [s], whose rooms are then as they were.
    """
    dark, until_zero = _dark(plant, zones, start_s, dark_until_s), dict[str, float | None]()
    until_zero[TUB], shell_c = _tub_until_zero_h(plant, trace, dark, start_s)
    until_frozen = {TUB: _tub_until_frozen_h(plant, dark, start_s, until_zero[TUB], shell_c)}
    for body in _parts(plant):
        standing, start_c = Standing(dark, body), _body_c(trace, zones, body, start_s)
        if start_c is None:
            continue
        at_s = _hours(zones, start_s, start_s + LONGEST_H * HOUR_S)
        temps = standing.temp_at(at_s, np.full_like(at_s, start_s), np.full_like(at_s, start_c))
        until_zero[body.name] = _until_zero_h(standing, at_s, temps)
        until_frozen[body.name] = _until_frozen_h(standing, body, start_s, until_zero[body.name])
    return Withstands(until_zero, until_frozen)


def _dark(plant: Assembly, zones: Zones, start_s: float, dark_until_s: float | None) -> Zones:
    """The zones with no power from *start_s* [s] on: a room that stores heat cools from what it was.

    Its lead on a room that never had power dies away as exp(-t loses / stores). That what stands
    in it warms it meanwhile counts as far as the run has it, up to *dark_until_s* [s].
    """
    series, hour = dict(zones.without_power.series), int((start_s - zones.origin_s) // HOUR_S)
    seen = hour if dark_until_s is None else max(hour, int((dark_until_s - zones.origin_s) // HOUR_S) - 1)
    for name in zones.powerless:
        zone = plant.scenario.place.zones[name]
        if zone.loses_w_k is None or zone.stores_j_k is None or zone.needs_power:
            continue
        was, tau_s = zones.series[name], zone.stores_j_k / zone.loses_w_k
        cold = np.array(series[name] + [series[name][-1]] * LONGEST_H)  # it cools on after the run's end
        since_s = max(start_s, zones.origin_s + (seen + 0.5) * HOUR_S)  # an hour's mean is that of its middle
        edges = zones.origin_s + HOUR_S * np.arange(seen + 1, len(cold) + 1, dtype=float)
        left = np.exp(-np.maximum(edges - since_s, 0.0) / tau_s)
        means = -np.diff(left) * tau_s / HOUR_S
        lead_k = was[seen] - cold[seen]
        series[name] = [*was[: seen + 1], *(cold[seen + 1 :] + lead_k * means).tolist()]
    return zones._replace(series=series)


def _parts(plant: Assembly) -> list[Body]:
    """Every body, and every circuit of plain water, all of it as one."""
    own = []
    for name, circuit in circuits(plant).items():
        if not circuit.sheet.glycol:
            own.append(replace(circuit.body, name=_OWN + name))
    return [*plant.bodies, *own]


def _own_rows(trace: Trace, body: Body) -> Rows:
    return trace.own_waters[body.name.removeprefix(_OWN)]


def _hours(zones: Zones, start_s: float, end_s: float) -> Floats:
    """The start, every full hour of the zones after it, and the end: between two of them, one relaxation."""
    first = zones.origin_s + HOUR_S * (np.floor((start_s - zones.origin_s) / HOUR_S) + 1.0)
    return np.unique(np.concatenate(([start_s], np.arange(first, end_s, HOUR_S), [end_s])))


def _body_c(trace: Trace, zones: Zones, body: Body, at_s: float) -> float | None:
    """Temperature [degC] of a body: its coldest end's while it stands, or the tub's behind it."""
    temps = _body_temps_c(trace, zones, body, np.array([at_s]))
    return None if temps is None else float(temps[0])


def _body_temps_c(trace: Trace, zones: Zones, body: Body, at_s: Floats) -> Floats | None:
    """As `_body_c`, at several instants; None where the trace knows nothing of one."""
    if body.name not in trace.stays:
        own = _own_rows(trace, body)
        return np.interp(at_s, own.start_s, own.rest_c)
    rows = trace.stays[body.name]
    k = np.searchsorted(rows.start_s, at_s, side="right") - 1
    if k[0] < 0:
        return None
    temps = Standing(zones, body).temp_at(at_s, rows.start_s[k], rows.coldest_c[k])
    moves = rows.joined[k] == 1.0
    temps[moves] = water_c_at(trace, at_s[moves])
    return temps


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


def _until_frozen_h(standing: Standing, body: Body, start_s: float, zero_h: float | None) -> float | None:
    """Hours until a tenth of a body's water is ice, beside a zone that changes by the hour."""
    if zero_h is None:
        return None
    at_s = _from_zero(standing.origin_s, start_s, zero_h)
    lost = -body.ua_w_k * standing.zone_at(at_s[:-1]) * np.diff(at_s)
    return _ice_h(zero_h, body.volume_m3, zip(np.diff(at_s).tolist(), lost.tolist(), strict=True))


def _from_zero(origin_s: float, start_s: float, zero_h: float) -> Floats:
    """From the instant at 0 degC to the tenth day, cut at the full hours of the zones."""
    first_s, end_s = start_s + zero_h * HOUR_S, start_s + LONGEST_H * HOUR_S
    hours = origin_s + HOUR_S * (np.floor((first_s - origin_s) / HOUR_S) + 1.0)
    return np.unique(np.concatenate(([first_s], np.arange(hours, end_s, HOUR_S), [max(first_s, end_s)])))


def _ice_h(zero_h: float, water_m3: float, pieces: Iterable[tuple[float, float]]) -> float | None:
    """Hours to the tenth of ice, by *pieces* of time [s] and heat lost in each [J]; a thaw is taken off."""
    due_j = _ICE_SHARE * water_m3 * density_kg_m3(_FREEZES_C) * FUSION_J_KG
    passed_s, lost_j = 0.0, 0.0
    for dt_s, heat_j in pieces:
        if lost_j + heat_j >= due_j:
            return zero_h + (passed_s + dt_s * (due_j - lost_j) / heat_j) / HOUR_S
        passed_s, lost_j = passed_s + dt_s, max(0.0, lost_j + heat_j)
    return None


def _tub_c(trace: Trace, start_s: float, end_s: float) -> Floats:
    """The tub's temperatures at the ends of a while and at every change within it."""
    inside = trace.tub.start_s[(trace.tub.start_s > start_s) & (trace.tub.start_s < end_s)]
    return water_c_at(trace, np.concatenate(([start_s], inside, [end_s])))


def _tub_until_zero_h(
    plant: Assembly, trace: Trace, zones: Zones, start_s: float
) -> tuple[float | None, float]:
    """As for a body, the tub as two nodes that nothing warms; its shell [degC] then."""
    node, rows = plant.tub_node, trace.tub
    two = TwoNode(node.water_j_k, node.shell_j_k, node.g_w_k, node.ua_cover_w_k, node.ua_shell_w_k)
    water_c = float(water_c_at(trace, np.array([start_s]))[0])
    shell_c = float(np.interp(start_s, rows.start_s, rows.shell_c))
    at_s = _hours(zones, start_s, start_s + LONGEST_H * HOUR_S)
    if water_c <= _FREEZES_C:
        return 0.0, shell_c
    for since, until in zip(at_s.tolist(), at_s[1:].tolist(), strict=False):
        hour = max(0, int((since - zones.origin_s) // HOUR_S))
        cover, shell = (series[min(hour, len(series) - 1)] for series in _two_zones(plant, zones))
        f_w, f_s, dt = node.ua_cover_w_k * cover, node.ua_shell_w_k * shell, until - since
        late_s = two.first_crossing(water_c, shell_c, f_w, f_s, dt, _FREEZES_C, False)
        if late_s is not None:
            shell_c = two.advance(water_c, shell_c, f_w, f_s, late_s)[1]
            return float(since + late_s - start_s) / 3600.0, shell_c
        water_c, shell_c, _, _ = two.advance(water_c, shell_c, f_w, f_s, dt)
    return None, shell_c


def _tub_until_frozen_h(
    plant: Assembly, zones: Zones, start_s: float, zero_h: float | None, shell_c: float
) -> float | None:
    """As for a body: water that stays at 0 degC loses through its cover and into a shell that cools on."""
    if zero_h is None:
        return None
    node, at_s = plant.tub_node, _from_zero(zones.origin_s, start_s, zero_h)
    two = TwoNode(_AT_ZERO_J_K, node.shell_j_k, node.g_w_k, node.ua_cover_w_k, node.ua_shell_w_k)
    pieces = []
    for since, until in zip(at_s.tolist(), at_s[1:].tolist(), strict=False):
        hour = max(0, int((since - zones.origin_s) // HOUR_S))
        cover, shell = (series[min(hour, len(series) - 1)] for series in _two_zones(plant, zones))
        f_w, f_s, dt = node.ua_cover_w_k * cover, node.ua_shell_w_k * shell, until - since
        _, shell_c, _, shell_k_s = two.advance(_FREEZES_C, shell_c, f_w, f_s, dt)
        pieces.append((dt, -f_w * dt - node.g_w_k * shell_k_s))
    return _ice_h(zero_h, plant.volume_m3, pieces)


def _two_zones(plant: Assembly, zones: Zones) -> tuple[list[float], list[float]]:
    node = plant.tub_node
    return zones.series[node.cover_zone], zones.series[node.shell_zone]
