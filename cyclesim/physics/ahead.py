"""How long heating would take: the tub and all water that some flows move, run ahead in closed form."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from typing import NamedTuple

import numpy as np

from cyclesim.physics.outside import Outside
from cyclesim.physics.tub_node import Node, TubNode, node_of
from cyclesim.physics.warmth import Floats
from cyclesim.physics.ways import Way


class _Whole(NamedTuple):
    """Tub and all water that some flows move, as one node."""

    ways: list[Way]
    node: Node
    held_j: Floats
    """Factors of what the water that moves holds."""


class Ahead:
    """Asked at any time; *zones* are hourly [degC] from *origin_s* on."""

    def __init__(
        self, tub: TubNode, outside: Outside, zones: Mapping[str, Sequence[float]], origin_s: int
    ) -> None:
        self._tub, self._outside, self._zones, self._origin_s = tub, outside, zones, origin_s
        self._wholes: dict[int, _Whole] = {}
        """By flows, which are kept for as long as the run."""

    def seconds_to_reach(
        self,
        now_s: int,
        temps_c: tuple[float, float],
        level_c: float,
        flows_m3_s: Sequence[float],
        heat_w: Callable[[int, float], float],
        within_s: int,
    ) -> int | None:
        """How long heating from *now_s* [s] on would take to *level_c*; None if longer than *within_s*.

        *temps_c*: tub water and shell now [degC]. *flows_m3_s* through the bodies [m3/s]. *heat_w*: what
        heats [W], by hour of the series and water temperature. The cold water of bodies that begin to move
        counts at once; the cover is on.
        """
        (water_c, shell), tub, outside = temps_c, self._tub, self._outside
        whole = self._wholes.get(id(flows_m3_s))
        if whole is None:
            whole = self._wholes[id(flows_m3_s)] = self._whole_of(outside.ways(flows_m3_s))
        node, two = whole.node, whole.node.two
        held_j = tub.water_j_k * water_c + outside.holds_of(whole.ways, now_s, water_c)
        water = (held_j - outside.by_zones(whole.held_j, now_s)) / node.capacity_j_k
        cover_c, shell_c = self._zones[tub.cover_zone], self._zones[tub.shell_zone]
        at, last = now_s, now_s + within_s
        while at < last:
            hour = (at - self._origin_s) // 3600
            if hour >= len(cover_c):
                return None
            end = min(last, self._origin_s + 3600 * (hour + 1))
            f_w = heat_w(hour, water) + node.cover_w_k * cover_c[hour]
            if node.lost_w is not None:
                f_w -= outside.by_zones(node.lost_w, at)
            f_s = tub.ua_shell_w_k * shell_c[hour]
            later = two.advance(water, shell, f_w, f_s, end - at)
            tau = two.first_between((water, shell), later, f_w, f_s, end - at, level_c, True)
            if tau is not None:
                return at + math.ceil(tau) - now_s
            water, shell, at = later[0], later[1], end
        return None

    def _whole_of(self, ways: list[Way]) -> _Whole:
        held = [way.settled.held_j.sum(axis=0) for way in ways]
        lost = [way.settled.lost_w.sum(axis=0) for way in ways]
        node = node_of(self._tub, sum(float(row[0]) for row in held), lost, covered=True)
        return _Whole(ways, node, np.sum(held, axis=0) if held else np.zeros_like(self._outside.forces.now))
