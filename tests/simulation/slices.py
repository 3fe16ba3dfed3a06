"""Any plant's water in slices that move with it, second by second: heat a second time, by plain bookkeeping.

It shares with the package what the file declares (capacities, conductances, flows of each duty, zones) and
nothing of how heat is followed. A second of flow puts one more slice into a pipe and takes as much out at its
other end; a junction mixes what arrives in that second. Each slice nears its zone for as long as it is in it.
The tub is its two nodes, by the matrix's exponential. No water may circle.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import exp

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import expm

from cyclesim.simulation.assembly import Assembly

TUB = "tub"
Floats = NDArray[np.float64]


class Pipe:
    """The slices of one plug, the end at its node `a` first: volumes [m3] and temperatures [degC]."""

    def __init__(self, volume_m3: float, rate_1_s: float, zone_c: float, water_c: float) -> None:
        self.volume_m3, self.rate_1_s, self.zone_c = volume_m3, rate_1_s, zone_c
        self.volumes, self.temps = np.array([volume_m3]), np.array([water_c])
        self.lost = 0.0
        """In kelvins times cubic metres."""

    @property
    def held(self) -> float:
        """Volume times temperature."""
        return float(self.volumes @ self.temps)

    def stay(self, seconds: float, warmer_k_s: float) -> None:
        """All of it stays so long, beside its zone and heated."""
        before = self.held
        kept = exp(-self.rate_1_s * seconds)
        once = (1.0 - kept) / self.rate_1_s if self.rate_1_s else seconds
        self.temps = self.zone_c + (self.temps - self.zone_c) * kept + warmer_k_s * once
        self.lost += before - self.held + warmer_k_s * seconds * self.volume_m3

    def _after(self, temps: Floats | float, seconds: float, warmer_k_s: float) -> Floats | float:
        kept = exp(-self.rate_1_s * seconds)
        return self.zone_c + (temps - self.zone_c) * kept + warmer_k_s * seconds

    def pass_on(self, flow_m3_s: float, inlet_c: float, warmer_k_s: float) -> float:
        """A second of flow: what comes in has one temperature; the mean of what leaves [degC]."""
        before, moved = self.held, abs(flow_m3_s)
        if flow_m3_s < 0.0:
            self._turn()
        edges = np.cumsum(self.volumes[::-1])  # from the end that leaves
        if moved < self.volume_m3:
            whole = int(np.searchsorted(edges, moved))
            part = moved - (edges[whole - 1] if whole else 0.0)
            n = len(self.volumes)
            gone = (
                float(self.volumes[n - whole :] @ self.temps[n - whole :]) + part * self.temps[n - 1 - whole]
            )
            volumes, temps = self.volumes[: n - whole].copy(), self.temps[: n - whole]
            volumes[-1] -= part
            temps = np.concatenate(
                ([self._after(inlet_c, 0.5, warmer_k_s)], self._after(temps, 1.0, warmer_k_s))
            )
            self.volumes, self.temps = np.concatenate(([moved], volumes)), temps
            outlet = self._after(gone / moved, 0.5, warmer_k_s)
        else:
            inside_s = self.volume_m3 / moved
            pushed = self._after(before / self.volume_m3, 0.5 * inside_s, warmer_k_s) * self.volume_m3
            through = self._after(inlet_c, inside_s, warmer_k_s) * (moved - self.volume_m3)
            outlet = (pushed + through) / moved
            self.volumes = np.array([self.volume_m3])
            self.temps = np.array([self._after(inlet_c, 0.5 * inside_s, warmer_k_s)])
        if flow_m3_s < 0.0:
            self._turn()
        self.lost += before - self.held + moved * (inlet_c - float(outlet)) + warmer_k_s * self.volume_m3
        return float(outlet)

    def _turn(self) -> None:
        self.volumes, self.temps = self.volumes[::-1], self.temps[::-1]


class Slices:
    """A plant all at *water_c* at first, beside zones of one temperature each [degC] that does not change."""

    def __init__(self, plant: Assembly, zones_c: Mapping[str, float], water_c: float) -> None:
        self.plant, self.reaches, self.per_m3_k = plant, plant.reaches, plant.per_m3_k
        self.pipes = [
            Pipe(r.capacity_j_k / self.per_m3_k, r.rate_1_s, zones_c.get(r.zone, 0.0), water_c)
            for r in self.reaches
        ]
        node = plant.tub_node
        m = np.zeros((4, 4))  # water, shell, 1, heat per second
        m[0, :] = (
            -(node.g_w_k + node.ua_cover_w_k),
            node.g_w_k,
            node.ua_cover_w_k * zones_c[node.cover_zone],
            1.0,
        )
        m[0] /= node.water_j_k
        m[1, :3] = node.g_w_k, -(node.g_w_k + node.ua_shell_w_k), node.ua_shell_w_k * zones_c[node.shell_zone]
        m[1] /= node.shell_j_k
        self._m, self._known = m, dict[int, Floats]()
        outside = zones_c[node.shell_zone]
        self.water_c = water_c
        self.shell_c = (node.g_w_k * water_c + node.ua_shell_w_k * outside) / (node.g_w_k + node.ua_shell_w_k)
        self._members = [[i for i, b in enumerate(plant.body_of) if b == k] for k in range(len(plant.bodies))]

    def body_c(self, body: int) -> float:
        """Mean temperature of a body."""
        mine = [self.pipes[i] for i in self._members[body]]
        return sum(p.held for p in mine) / sum(p.volume_m3 for p in mine)

    def coldest_c(self, body: int) -> float:
        """Temperature of its coldest slice."""
        return min(float(self.pipes[i].temps.min()) for i in self._members[body])

    def lost_j(self, body: int) -> float:
        """What a body has given to its zone."""
        return self.per_m3_k * sum(self.pipes[i].lost for i in self._members[body])

    def step(self, flows: Sequence[float], heat_w: Mapping[int, float], seconds: int) -> None:
        """On by so many seconds at these flows [m3/s], with heat [W] into plugs."""
        moving = [i for i, q in enumerate(flows) if abs(q) > 1e-9]
        warmer = {
            i: w / self.reaches[i].capacity_j_k for i, w in heat_w.items() if self.reaches[i].capacity_j_k
        }
        order = self._order(flows, moving)
        for i, pipe in enumerate(self.pipes):
            if i not in moving and pipe.volume_m3:
                pipe.stay(seconds, warmer.get(i, 0.0))
        if not moving:
            self._tub(seconds, 0.0)
            return
        for _ in range(seconds):
            arrives: dict[str, list[tuple[float, float]]] = {TUB: []}
            taken_w = 0.0
            for i, before, after in order:
                if before == TUB:
                    inlet_c = self.water_c
                    taken_w += abs(flows[i]) * inlet_c
                else:
                    inlet_c = sum(q * c for q, c in arrives[before]) / sum(q for q, _ in arrives[before])
                pipe = self.pipes[i]
                out_c = pipe.pass_on(flows[i], inlet_c, warmer.get(i, 0.0)) if pipe.volume_m3 else inlet_c
                arrives.setdefault(after, []).append((abs(flows[i]), out_c))
            brought = sum(q * c for q, c in arrives[TUB])
            self._tub(1, self.per_m3_k * (brought - taken_w))

    def _order(self, flows: Sequence[float], moving: Sequence[int]) -> list[tuple[int, str, str]]:
        """Plugs with the nodes they lead from and to, each behind all that feed it."""
        ends = {i: (self.reaches[i].a, self.reaches[i].b)[:: 1 if flows[i] > 0.0 else -1] for i in moving}
        order: list[tuple[int, str, str]] = []
        left = list(moving)
        while left:
            fed = [i for i in left if ends[i][0] == TUB or all(ends[k][1] != ends[i][0] for k in left)]
            assert fed, "water circles"
            order += [(i, *ends[i]) for i in fed]
            left = [i for i in left if i not in fed]
        return order

    def _tub(self, seconds: int, heat_w: float) -> None:
        if seconds not in self._known:
            self._known[seconds] = expm(self._m * seconds)
        state = self._known[seconds] @ np.array([self.water_c, self.shell_c, 1.0, heat_w])
        self.water_c, self.shell_c = float(state[0]), float(state[1])
