"""A room that what runs in it warms: its temperature follows from a run, and the next run from that.

The room is one heat capacity that loses heat to the air it follows. Two or three runs settle it, because a
pump room changes what runs in it but little. A heater and a fan of its own switch by the room's temperature,
to the second, and have no power where the supply or their circuit has none; all of the heater's power warms
the room, that of the fan's motor is left out.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import exp

import numpy as np
from numpy.typing import NDArray

from cyclesim.scenario.blocks.room_loads import ROOM_FAN, ROOM_HEATER
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.exchanges import AIR_HEAT
from cyclesim.simulation.hourly_weather import in_the_dark
from cyclesim.simulation.room_thermostats import room_thermostats, switched_room_c
from cyclesim.simulation.trace import Span, Stream, Trace, Zones, joined

HOUR_S = 3600
SETTLED_K = 0.1
"""Runs are repeated until no hour of a room changes more than this, or three times."""

Floats = NDArray[np.float64]


def warmed_rooms(plant: Assembly) -> list[str]:
    """Zones that have a heat capacity and so are warmed by what runs in them."""
    return [name for name, zone in plant.scenario.place.zones.items() if zone.loses_w_k is not None]


def with_rooms(plant: Assembly, trace: Trace, zones: Zones, follows: Zones) -> tuple[Zones, float]:
    """*zones* with every warmed room as this run leaves it, and the largest change [K].

    *follows* are the zones as they would be with nothing running in them.
    """
    scenario = plant.scenario
    series, powerless, change = dict(zones.series), dict(zones.powerless), 0.0
    for name in warmed_rooms(plant):
        zone, (heater, fan) = scenario.place.zones[name], scenario.room_loads(name)
        loses, stores = zone.loses_w_k or 1.0, zone.stores_j_k or 1.0
        air = follows.powerless.get(name, follows.series[name]) if heater else follows.series[name]
        waste = _before_and_in(waste_w(plant, trace, name), -zones.origin_s // HOUR_S, len(series[name]))
        if heater or fan:
            loads = room_thermostats(heater, fan, _unpowered(plant, trace, zones))
            new = switched_room_c(air, waste, loses, stores, zones.origin_s, loads)
            for load in loads:
                trace.loads[load.name] = load.stream(trace.span_s)
        else:
            new = room_c(air, waste, loses, stores)
        if heater or not zone.needs_power:  # with no power throughout nothing else warms it, either
            powerless[name] = room_c(air, [0.0] * len(waste), loses, stores)
        low, high = zone.never_below_c, zone.never_above_c
        free = [t if high is None else min(t, high) for t in new]
        new = free if low is None else [max(low, t) for t in free]
        if zone.needs_power:
            powerless[name] = free
            new = in_the_dark(new, free, zones.origin_s, zones.dark)
        change = max(change, float(np.max(np.abs(np.array(new) - np.array(series[name])))))
        series[name] = new
    return zones._replace(series=series, powerless=powerless), change


def room_c(
    follows_c: Sequence[float], heat_w: Sequence[float], loses_w_k: float, stores_j_k: float
) -> list[float]:
    """Mean temperature of each hour [degC]: dT/dt = (loses (T_air - T) + heat) / stores, exact."""
    tau = stores_j_k / loses_w_k
    decay = exp(-HOUR_S / tau)
    share = tau / HOUR_S * (1.0 - decay)
    temp = follows_c[0] + heat_w[0] / loses_w_k
    means = []
    for air, heat in zip(follows_c, heat_w, strict=True):
        aim = air + heat / loses_w_k
        means.append(aim + (temp - aim) * share)
        temp = aim + (temp - aim) * decay
    return means


def _unpowered(plant: Assembly, trace: Trace, zones: Zones) -> dict[str, list[Span]]:
    """When each load of the room has no power: with the whole supply, or with its own circuit alone."""
    return {
        name: joined(
            sorted(
                [
                    *zones.dark,
                    *(span for circuit, stream in trace.circuits.items()
                      if name in plant.scenario.circuits[circuit].feeds for span in stream.spans("lost")),
                ]
            )
        )
        for name in (ROOM_HEATER, ROOM_FAN)
    }  # fmt: skip


def waste_w(plant: Assembly, trace: Trace, zone: str) -> Floats:
    """Heat that a run puts into a zone, mean of each hour [W]: pumps, blowers, pipes, housings."""
    edges = np.arange(0.0, trace.span_s + HOUR_S, HOUR_S)
    energy = np.zeros(len(edges))
    for name, pump in plant.pumps.items():
        if pump.zone == zone:
            lost = {s: (1.0 - pump.heat_to_water) * speed.power_w for s, speed in plant.speeds[name].items()}
            energy += _spent(trace.pumps[name], lost, edges)
    for name, blower in plant.sheet.air.items():
        if blower.zone == zone:
            energy += _spent(trace.blowers[name], {"on": (1.0 - AIR_HEAT) * blower.power_w}, edges)
    for name, source in plant.sheet.heat_sources.items():
        circuit = source.own_water
        if circuit is not None and (circuit.stated_zone or source.zone) == zone:
            power = {"on": plant.sheet.circulators[circuit.circulator].power_w}
            energy += _spent(trace.circulators[circuit.circulator], power, edges)
            own = trace.own_waters[name]
            sums = np.concatenate([[0.0], np.cumsum(own.lost_j)])
            energy += np.interp(edges, np.append(own.start_s, own.end_s[-1]), sums)
    for body in plant.bodies:
        if body.zone == zone and len(trace.stays[body.name]):
            stay = trace.stays[body.name]
            sums = np.concatenate([[0.0], np.cumsum(stay.loss_j)])
            energy += np.interp(edges, np.append(stay.start_s, stay.end_s[-1]), sums)
    return np.diff(energy) / HOUR_S


def _spent(stream: Stream[str], watts: dict[str, float], edges: Floats) -> Floats:
    """Energy [J] that the states of a stream cost up to each of *edges*."""
    starts = np.array([x.start_s for x in stream] + [stream.end_s], dtype=float)
    power = np.array([watts.get(x.state, 0.0) for x in stream])
    sums = np.concatenate([[0.0], np.cumsum(power * np.diff(starts))])
    sums_at: Floats = np.interp(edges, starts, sums)
    return sums_at


def _before_and_in(waste: Floats, before: int, count: int) -> list[float]:
    """Hourly heat with the warm-up, of which nothing is known, at the mean of the first week, and the end."""
    first = float(np.mean(waste[: 7 * 24]))
    hours = np.concatenate(
        [np.full(before, first), waste, np.full(max(0, count - before - len(waste)), waste[-1])]
    )
    temps: list[float] = hours[:count].tolist()
    return temps
