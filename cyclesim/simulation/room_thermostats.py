"""A room whose own heater and fan switch by its temperature, in closed form between two switchings."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from math import ceil, exp, log

from cyclesim.scenario.blocks.room_loads import ROOM_FAN, ROOM_HEATER, RoomFan, RoomHeater
from cyclesim.simulation.trace import Span, Stream

HOUR_S = 3600
STAYS_S = 60
"""How long a thermostat stays as it is at least, or a quick room and a large heater would never end an hour.
Project choice; what a room overshoots in a minute is its error."""


@dataclass
class Load:
    """A heater or a fan behind its thermostat."""

    name: str
    starts_c: float
    stops_c: float
    heats_w: float
    """What it gives to the room while it is on."""
    loses_w_k: float
    """What the room loses through it while it is on."""
    unpowered: Sequence[Span]
    on: bool = False
    _since_s: int = -1_000_000_000
    _spans: list[Span] = field(default_factory=list)

    def __post_init__(self) -> None:
        self._edges = [edge for span in self.unpowered for edge in span]

    @property
    def _warms(self) -> bool:
        return self.stops_c > self.starts_c

    def powered(self, at_s: float) -> bool:
        """Whether it has power."""
        return bisect_right(self._edges, at_s) % 2 == 0

    def next_edge_s(self, at_s: float) -> float:
        """When its power next comes or goes."""
        k = bisect_right(self._edges, at_s)
        return self._edges[k] if k < len(self._edges) else float("inf")

    def _due(self, temp_c: float) -> bool:
        """Whether its thermostat asks for the other state."""
        level, above = self.watched
        return temp_c >= level if above else temp_c <= level

    @property
    def watched(self) -> tuple[float, bool]:
        """The temperature at which it switches next, and whether it does so from there upwards."""
        return (self.stops_c, self._warms) if self.on else (self.starts_c, not self._warms)

    def switch(self, temp_c: float, at_s: int) -> None:
        """Be as thermostat and power have it; times are whole seconds."""
        if not self.powered(at_s):
            self._turn(False, at_s)
        elif self._due(temp_c) and at_s >= self._since_s + STAYS_S:
            self._turn(not self.on, at_s)

    def _turn(self, on: bool, at_s: int) -> None:
        if on and not self.on:
            self._spans.append((at_s, at_s))
        elif self.on and not on:
            self._spans[-1] = (self._spans[-1][0], at_s)
        if on != self.on:
            self.on, self._since_s = on, at_s

    def next_s(self, temp_c: float, aim_c: float, tau_s: float, at_s: int) -> float:
        """When it switches next [s], by a temperature that goes from *temp_c* to *aim_c* with *tau_s*."""
        edge = self.next_edge_s(at_s)
        if not self.powered(at_s):
            return edge
        level, above = self.watched
        if self._due(temp_c):
            crosses = float(at_s)
        elif (aim_c > level) if above else (aim_c < level):
            crosses = at_s + tau_s * log((temp_c - aim_c) / (level - aim_c))
        else:
            return edge
        return min(edge, max(at_s + 1, ceil(crosses), self._since_s + STAYS_S))

    def stream(self, span_s: int) -> Stream[str]:
        """Whether it is on, over the span that counts."""
        stream = Stream(self.name, "off")
        for start, end in [*self._spans[:-1], *((s, span_s if self.on else e) for s, e in self._spans[-1:])]:
            if end > 0 and start < span_s:
                stream.put(max(0, start), "on")
                if end < span_s:
                    stream.put(end, "off")
        stream.end_s = span_s
        return stream


def room_thermostats(
    heater: RoomHeater | None, fan: RoomFan | None, unpowered: Mapping[str, Sequence[Span]]
) -> list[Load]:
    """The loads of a room, off; *unpowered*: by name, when each has no power [s]."""
    loads = []
    if heater:
        levels = heater.starts_below_c, heater.stops_above_c
        loads.append(Load(ROOM_HEATER, *levels, heater.power_w, 0.0, unpowered[ROOM_HEATER]))
    if fan:
        levels = fan.starts_above_c, fan.stops_below_c
        loads.append(Load(ROOM_FAN, *levels, 0.0, fan.loses_w_k, unpowered[ROOM_FAN]))
    return loads


def switched_room_c(
    air_c: Sequence[float],
    heat_w: Sequence[float],
    loses_w_k: float,
    stores_j_k: float,
    origin_s: int,
    loads: Sequence[Load],
    falls_w_k: Sequence[float] | None = None,
) -> list[float]:
    """Mean temperature of each hour [degC] from *origin_s* [s] on: stores dT/dt = G (T_air - T) + heat.

    *air_c* [degC] and *heat_w* [W] of each hour; *loses_w_k* [W/K] and *stores_j_k* [J/K] of the room. Of the
    *loads*, which are moved along, those that are on add their heat and what is lost through them.
    *falls_w_k*: by how much less than *heat_w* it gets per kelvin that it is above the air, in each hour.
    """
    means: list[float] = []
    falling = falls_w_k or [0.0] * len(heat_w)
    temp = air_c[0] + heat_w[0] / (loses_w_k + falling[0])
    at = origin_s
    for air, heat, falls in zip(air_c, heat_w, falling, strict=True):
        end, area = at + HOUR_S, 0.0
        while at < end:
            for load in loads:
                load.switch(temp, at)
            on = [load for load in loads if load.on]
            g_w_k = loses_w_k + falls + sum(load.loses_w_k for load in on)
            aim, tau = air + (heat + sum(load.heats_w for load in on)) / g_w_k, stores_j_k / g_w_k
            until = int(min(end, *(load.next_s(temp, aim, tau, at) for load in loads)))
            decay = exp(-(until - at) / tau)
            area += aim * (until - at) + (temp - aim) * tau * (1.0 - decay)
            temp, at = aim + (temp - aim) * decay, until
        means.append(area / HOUR_S)
    return means
