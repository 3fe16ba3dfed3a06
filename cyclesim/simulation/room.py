"""A room that what runs in it warms: its temperature follows from a run, and the next run from that.

The room is one heat capacity that loses heat to the air it follows. A heater and a fan of its own switch by
the room's temperature, to the second, and have no power where the supply or their circuit has none; all of
the heater's power warms the room, that of the fan's motor is left out.

The first run finds the room as if all water in it were as warm as the tub is kept, and serves for nothing
but what it gives to the room. Water loses the less the warmer its room is, by so much per kelvin as the run
tells, so that the second run mostly makes of the room what it has found. That is asked of fortnights, and of
nine hours in ten, with heater and fan held to when they ran. Of every hour it cannot be asked: thermostats
act in whole seconds, a second grows within weeks to another hour for the pump, and so which hours it warms
changes from run to run, however many there are. It takes more runs where the water in a room gives it much
for what it loses, or where its cold is what calls for a pump; the last one counts, settled or not.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import timedelta
from math import exp
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from cyclesim.physics.stays import Body
from cyclesim.scenario.blocks.room_loads import ROOM_FAN, ROOM_HEATER
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.drive import Drive, later
from cyclesim.simulation.exchanges import AIR_HEAT
from cyclesim.simulation.hourly_weather import in_the_dark
from cyclesim.simulation.own_water import circuits
from cyclesim.simulation.programme import Programme
from cyclesim.simulation.room_thermostats import Load, room_thermostats, switched_room_c
from cyclesim.simulation.trace import Rows, Stream, Trace

HOUR_S, FORTNIGHT_H = 3600, 336
SETTLED_K = 0.1
"""Runs are repeated until no fortnight of a room changes by more than this, nor do nine hours in ten."""
MOST_RUNS = 6
"""That many at most."""
LEAST_SHARE = 0.2
"""Of a step from what a run has found to what it has given; project choice."""

Floats = NDArray[np.float64]


class Heat(NamedTuple):
    """Heat into a room in each hour: where it is as cold as its air [W], and less per kelvin above that."""

    cold_w: Floats
    falls_w_k: Floats

    def at(self, above_k: Floats) -> Floats:
        """Heat into a room that is so much warmer than its air [K]: W in each hour."""
        heat_w: Floats = self.cold_w - self.falls_w_k * above_k
        return heat_w

    def towards(self, other: Heat, share: float) -> Heat:
        """So much [0 to 1] of the way to another."""
        return Heat(*(share * its + (1.0 - share) * mine for mine, its in zip(self, other, strict=True)))


class Rooms:
    """The zones of a plant with every room that is warmed, from run to run.

    *drive*: of a run in which nothing warms them.
    """

    def __init__(self, plant: Assembly, programme: Programme, drive: Drive) -> None:
        self._plant, self._follows = plant, drive.zones
        self.zones = drive.zones
        """What the next run is to find."""
        self.names = [name for name, zone in plant.scenario.place.zones.items() if zone.loses_w_k is not None]
        """Zones that have a heat capacity and so are warmed by what runs in them."""
        self.asks = bool(self.names)
        """Whether the next run serves for nothing but what it gives to the rooms."""
        self._runs = 0
        self._heats: dict[str, Heat] = {}
        self._steps: dict[str, tuple[float, Floats]] = {}
        """The share of the last step in each room, and by how much more heat it was to get [W]."""
        self._loads: list[Load] = []
        if self.names:
            origin, whole_s = drive.begin_utc + timedelta(seconds=drive.start_s), drive.span_s - drive.start_s
            self._unpowered = {
                load: later(programme.without_power(load, origin, whole_s), drive.start_s)
                for load in (ROOM_HEATER, ROOM_FAN)
            }
            self._warm({name: self._kept_warm(name) for name in self.names})

    def settle(self, trace: Trace) -> bool:
        """Whether these zones are what a run in them has made of them, or there have been enough.

        Otherwise they go towards that. What heater and fan did in them is put into the trace.
        """
        for load in self._loads:
            trace.loads[load.name] = load.stream(trace.span_s)
        heats = {name: self._given(trace, name) for name in self.names}
        more_w = {name: self._more_w(name, heat) for name, heat in heats.items()}
        asked, self.asks, self._runs = self.asks, False, self._runs + 1
        if not asked and (self._runs == MOST_RUNS or self._change_k(more_w) <= SETTLED_K):
            return True
        self._warm({name: self._step(name, heat, more_w[name]) for name, heat in heats.items()})
        return False

    def _step(self, name: str, heat: Heat, more_w: Floats) -> Heat:
        """What to take next, between what the last run found and the *heat* that it has given.

        By Aitken's relaxation (Irons and Tuck 1969, from memory): where a pump runs because the room is cold,
        and warms it, whole steps go to and fro.
        """
        share = 1.0
        if name in self._steps:
            share, before_w = self._steps[name]
            turned_w = more_w - before_w
            if turned_w.any():
                share *= float(-before_w @ turned_w / (turned_w @ turned_w))
            share = min(1.0, max(LEAST_SHARE, share))
        self._steps[name] = share, more_w
        return self._heats[name].towards(heat, share)

    def _warm(self, heats: Mapping[str, Heat]) -> None:
        """From now on the zones are as these heats make them."""
        self._heats, self._loads = dict(heats), []
        series, powerless = dict(self.zones.series), dict(self.zones.powerless)
        for name, heat in heats.items():
            zone, (heater, fan) = (
                self._plant.scenario.place.zones[name],
                self._plant.scenario.room_loads(name),
            )
            air, loses, stores = self._air_c(name), zone.loses_w_k or 1.0, zone.stores_j_k or 1.0
            loads = room_thermostats(heater, fan, self._unpowered)
            self._loads += loads
            cold_w, falls_w_k = heat.cold_w.tolist(), heat.falls_w_k.tolist()
            if loads:
                new = switched_room_c(air, cold_w, loses, stores, self.zones.origin_s, loads, falls_w_k)
            else:
                new = room_c(air, cold_w, loses, stores, falls_w_k)
            if heater or not zone.needs_power:  # with no power throughout nothing else warms it, either
                powerless[name] = room_c(air, [0.0] * len(air), loses, stores)
            low, high = zone.never_below_c, zone.never_above_c
            free = [t if high is None else min(t, high) for t in new]
            new = free if low is None else [max(low, t) for t in free]
            if zone.needs_power:
                powerless[name] = free
                new = in_the_dark(new, free, self.zones.origin_s, self.zones.dark)
            series[name] = new
        self.zones = self.zones._replace(series=series, powerless=powerless)

    def _air_c(self, name: str) -> list[float]:
        """What a room follows [degC]: as it would be with nothing running in it, and unheated."""
        follows, (heater, _) = self._follows, self._plant.scenario.room_loads(name)
        return follows.powerless.get(name, follows.series[name]) if heater else follows.series[name]

    def _above_k(self, name: str) -> Floats:
        """By how much a room is warmer than what it follows [K]."""
        above_k: Floats = np.array(self.zones.series[name]) - self._air_c(name)
        return above_k

    def _kept_warm(self, name: str) -> Heat:
        """What a room would get if all water in it were as warm as the tub is kept."""
        bodies = (*self._plant.bodies, *(circuit.body for circuit in circuits(self._plant).values()))
        falls_w_k = sum(body.ua_w_k for body in bodies if body.zone == name)
        apart_k = self._plant.temp_c - np.array(self._air_c(name))
        return Heat(falls_w_k * apart_k, np.full(len(apart_k), falls_w_k))

    def _given(self, trace: Trace, name: str) -> Heat:
        """What a run has given to a room, and what it would give to one that is warmer."""
        waste_w, falls_w_k = waste(self._plant, trace, name)
        zones, hours = self.zones, len(self.zones.series[name])
        before = -zones.origin_s // HOUR_S
        cold_w = waste_w + falls_w_k * self._above_k(name)[before : before + len(waste_w)]
        return Heat(_before_and_in(cold_w, before, hours), _before_and_in(falls_w_k, before, hours))

    def _more_w(self, name: str, heat: Heat) -> Floats:
        """How much more *heat* it is, as the room is, than the room was made by: W in each hour."""
        above_k = self._above_k(name)
        more_w: Floats = heat.at(above_k) - self._heats[name].at(above_k)
        return more_w

    def _change_k(self, more_w: Mapping[str, Floats]) -> float:
        """By how much more heat changes the rooms: in the mean of a fortnight, and in nine hours of ten.

        With their heaters as they were; a fan that runs leaves less of it.
        """
        change = 0.0
        for name, heat_w in more_w.items():
            zone, still = self._plant.scenario.place.zones[name], [0.0] * len(heat_w)
            warmer_k = room_c(still, heat_w.tolist(), zone.loses_w_k or 1.0, zone.stores_j_k or 1.0)
            over_h, sums = min(FORTNIGHT_H, len(warmer_k)), np.concatenate([[0.0], np.cumsum(warmer_k)])
            longer_k = np.max(np.abs(sums[over_h:] - sums[:-over_h])) / over_h
            change = max(change, float(longer_k), float(np.quantile(np.abs(warmer_k), 0.9)))
        return change


def room_c(
    follows_c: Sequence[float],
    heat_w: Sequence[float],
    loses_w_k: float,
    stores_j_k: float,
    falls_w_k: Sequence[float] | None = None,
) -> list[float]:
    """Mean temperature of each hour [degC]: dT/dt = (loses (T_air - T) + heat) / stores, exact.

    *falls_w_k*: by how much less than *heat_w* it gets per kelvin that it is above the air, in each hour.
    """
    temp, means = None, list[float]()
    for air, heat, falls in zip(follows_c, heat_w, falls_w_k or [0.0] * len(heat_w), strict=True):
        tau = stores_j_k / (loses_w_k + falls)
        decay = exp(-HOUR_S / tau)
        aim = air + heat / (loses_w_k + falls)
        if temp is None:
            temp = aim
        means.append(aim + (temp - aim) * (tau / HOUR_S * (1.0 - decay)))
        temp = aim + (temp - aim) * decay
    return means


def waste(plant: Assembly, trace: Trace, zone: str) -> tuple[Floats, Floats]:
    """Heat that a run puts into a zone, mean of each hour [W]: pumps, blowers, pipes, housings.

    And by how much less that would be per kelvin that the zone is warmer [W/K].
    """
    edges = np.arange(0.0, trace.span_s + HOUR_S, HOUR_S)
    energy, falls = np.zeros(len(edges)), np.zeros(len(edges))
    for name, pump in plant.pumps.items():
        if pump.zone == zone:
            lost = {s: (1.0 - pump.heat_to_water) * speed.power_w for s, speed in plant.speeds[name].items()}
            energy += _spent(trace.pumps[name], lost, edges)
    for name, blower in plant.sheet.air.items():
        if blower.zone == zone:
            energy += _spent(trace.blowers[name], {"on": (1.0 - AIR_HEAT) * blower.power_w}, edges)
    for name, circuit in circuits(plant).items():
        if circuit.zone == zone:
            turns = circuit.sheet.circulator
            energy += _spent(trace.circulators[turns], {"on": circuit.circulator.power_w}, edges)
            own = trace.own_waters[name]
            energy += _by_edge(own, own.lost_j, edges)
            falls += _by_edge(own, _falls_j_k(circuit.body, own), edges)
    for body in plant.bodies:
        stays = trace.stays[body.name]
        if body.zone == zone and len(stays):
            energy += _by_edge(stays, stays.loss_j, edges)
            moved_j_k = body.ua_w_k * (stays.end_s - stays.start_s)  # the tub gives what it loses
            falls_j_k = np.where(stays.joined > 0.0, moved_j_k, _falls_j_k(body, stays))
            falls += _by_edge(stays, falls_j_k, edges)
    return np.diff(energy) / HOUR_S, np.diff(falls) / HOUR_S


def _falls_j_k(body: Body, rows: Rows) -> Floats:
    """How much less a body would lose in each row per kelvin that its zone is warmer [J/K].

    As it stands, it is itself the warmer the longer the row lasts.
    """
    lasts = body.ua_w_k / body.capacity_j_k * (rows.end_s - rows.start_s)
    falls: Floats = -body.capacity_j_k * np.expm1(-lasts)
    return falls


def _by_edge(rows: Rows, values: Floats, edges: Floats) -> Floats:
    """The sum of *values*, each spread over its row, up to each of *edges*."""
    sums = np.concatenate([[0.0], np.cumsum(values)])
    sums_at: Floats = np.interp(edges, np.append(rows.start_s, rows.end_s[-1]), sums)
    return sums_at


def _spent(stream: Stream[str], watts: dict[str, float], edges: Floats) -> Floats:
    """Energy [J] that the states of a stream cost up to each of *edges*."""
    starts = np.array([x.start_s for x in stream] + [stream.end_s], dtype=float)
    power = np.array([watts.get(x.state, 0.0) for x in stream])
    sums = np.concatenate([[0.0], np.cumsum(power * np.diff(starts))])
    sums_at: Floats = np.interp(edges, starts, sums)
    return sums_at


def _before_and_in(values: Floats, before: int, count: int) -> Floats:
    """Those of each hour; the warm-up, of which nothing is known, has the mean of the first week."""
    first = float(np.mean(values[: 7 * 24]))
    return np.concatenate(
        [np.full(before, first), values, np.full(max(0, count - before - len(values)), values[-1])]
    )[:count]
