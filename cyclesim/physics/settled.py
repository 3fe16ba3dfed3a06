"""Where water has moved for so long that what stood there is gone: temperatures follow the tub's.

Along a reach dT/ds = (T_zone - T) UA / C + P / C, so that what leaves a reach after a stay of s differs from
its zone by exp(-NTU), NTU = UA s / C, of what came in, and it loses rho c Q (1 - exp(-NTU)) (T_in - T_zone)
(Incropera & DeWitt, internal flow beside a fluid of one temperature, from memory, not opened). All of it is
linear in the tub's temperature, the zones' and the heat put in, so that a network of reaches comes down to
a row of factors per reach, junctions and water that circles included.

Where the tub warms by r K/s, water that left it s seconds ago is r s colder than what leaves it now: that is
one force more, and exact for as long as r stays the same.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import ceil, expm1, inf, sqrt

import numpy as np

from cyclesim.physics.heat import mode
from cyclesim.physics.warmth import BEND_K, Floats, Moved, Reach, Slug, warmth
from cyclesim.physics.water_age import Pattern


@dataclass(frozen=True)
class SettledReaches:
    """Floats of each moving reach: what comes in and leaves [degC], is lost [W], is held above 0 degC [J].

    They multiply the forces: the tub [degC], each of *zones* [degC], heat into each reach [W], and how fast
    the tub warms [K/s], in this order.
    """

    moving: tuple[int, ...]
    zones: tuple[str, ...]
    inlet: Floats
    outlet: Floats
    lost_w: Floats
    held_j: Floats


def forces(
    zones: Sequence[str],
    reaches: int,
    tub_c: float,
    zone_c: Mapping[str, float],
    heat_w: Mapping[int, float],
    warms_k_s: float = 0.0,
) -> Floats:
    """The forces in their order, of *zones* and so many *reaches*.

    *tub_c*, and *zone_c* of each zone [degC], *heat_w* into a reach [W], *warms_k_s* of the tub [K/s].
    """
    heats = [heat_w.get(i, 0.0) for i in range(reaches)]
    return np.array([tub_c, *(zone_c[z] for z in zones), *heats, warms_k_s])


def settle(
    reaches: Sequence[Reach], pattern: Pattern, per_m3_k: float, zones: Sequence[str]
) -> SettledReaches:
    """The factors of every moving reach at *pattern*; *per_m3_k*: rho c of water [J/(m3 K)]."""
    at_zone = {z: 1 + k for k, z in enumerate(zones)}
    size = 2 + len(zones) + len(reaches)
    unit = np.eye(size)
    moving = tuple(i for _, links_out in pattern.nodes for i in links_out)
    kept: dict[int, float] = {}
    gained: dict[int, Floats] = {}
    held: dict[int, tuple[float, Floats]] = {}
    late: dict[int, tuple[float, float]] = {}
    for i in moving:
        reach, flow = reaches[i], abs(pattern.flows[i])
        heat = unit[1 + len(zones) + i]
        if reach.capacity_j_k == 0.0:
            kept[i], gained[i], held[i] = 1.0, heat / (per_m3_k * flow), (0.0, np.zeros(size))
            late[i] = 0.0, 0.0
            continue
        drive = heat / reach.capacity_j_k
        if reach.ua_w_k > 0.0:
            drive = drive + reach.rate_1_s * unit[at_zone[reach.zone]]
        stay_s = reach.capacity_j_k / (per_m3_k * flow)
        kept[i], once, twice = mode(reach.rate_1_s, stay_s)
        gained[i] = once * drive
        held[i] = reach.capacity_j_k * once / stay_s, reach.capacity_j_k * twice / stay_s * drive
        late[i] = kept[i] * stay_s, reach.capacity_j_k * (once - twice / stay_s)
    inlet = _inlets(pattern, kept, gained, size)
    for i in moving:  # water that left a colder tub, by how long each reach keeps it
        factor = inlet[i][0]
        gained[i] = gained[i] - late[i][0] * factor * unit[-1]
        held[i] = held[i][0], held[i][1] - late[i][1] * factor * unit[-1]
    inlet = _inlets(pattern, kept, gained, size)
    outlet = {i: kept[i] * inlet[i] + gained[i] for i in moving}
    lost = {
        i: per_m3_k * abs(pattern.flows[i]) * (inlet[i] - outlet[i]) + unit[1 + len(zones) + i]
        for i in moving
    }
    content = {i: held[i][0] * inlet[i] + held[i][1] for i in moving}
    for i in moving:
        lost[i] = lost[i] - content[i][0] * unit[-1]  # what comes in warms the reach itself
    rows = (np.array([rows[i] for i in moving]) for rows in (inlet, outlet, lost, content))
    return SettledReaches(moving, tuple(zones), *rows)


def _inlets(
    pattern: Pattern, kept: Mapping[int, float], gained: Mapping[int, Floats], size: int
) -> dict[int, Floats]:
    """What comes into each reach: at every junction what arrives, weighted by flow."""
    comes_from = {i: k for k, (_, links_out) in enumerate(pattern.nodes) for i in links_out}
    matrix, known = np.eye(len(pattern.nodes)), np.zeros((len(pattern.nodes), size))
    for k, (links_in, _) in enumerate(pattern.nodes):
        if not links_in:
            known[k, 0] = 1.0  # the tub
        whole = sum(abs(pattern.flows[i]) for i in links_in)
        for i in links_in:
            share = abs(pattern.flows[i]) / whole
            matrix[k, comes_from[i]] -= share * kept[i]
            known[k] += share * gained[i]
    nodes = np.linalg.solve(matrix, known)
    return {i: nodes[k] for i, k in comes_from.items()}


class Stirred:
    """Water that circles without passing the tub, for stretches in which it comes round many times.

    It nears its settled state at one rate: what comes in from the tub over what moves, and what is lost.
    """

    def __init__(
        self, reaches: Sequence[Reach], pattern: Pattern, settled: SettledReaches, per_m3_k: float
    ) -> None:
        self._reaches, self._settled, self._per_m3_k = reaches, settled, per_m3_k
        self._kept = [k for k, i in enumerate(settled.moving) if reaches[i].capacity_j_k]
        self._moving = [settled.moving[k] for k in self._kept]
        fresh = sum(abs(pattern.flows[i]) for ins, outs in pattern.nodes if not ins for i in outs)
        self._capacity = sum(reaches[i].capacity_j_k for i in self._moving)
        self._rate_1_s = (per_m3_k * fresh + sum(reaches[i].ua_w_k for i in self._moving)) / self._capacity

    def over(self, dt_s: float, contents: Mapping[int, Sequence[Slug]], at: Floats) -> Moved:
        """As `warmth.move` for all that moves, over any time [s] at the forces *at*."""
        settled, first = self._settled, 1 + len(self._settled.zones)
        kept, once, _ = mode(self._rate_1_s, dt_s)
        rows = (settled.inlet, settled.outlet, settled.held_j, settled.lost_w)
        inlets, outlets, lasting_j, lost_w = ((row[self._kept] @ at).tolist() for row in rows)
        held_j = [self._per_m3_k * warmth(contents[i]) for i in self._moving]
        apart_k = (sum(held_j) - sum(lasting_j)) / self._capacity
        now: dict[int, list[Slug]] = {}
        lost: dict[int, float] = {}
        gained = 0.0
        for k, i in enumerate(self._moving):
            reach = self._reaches[i]
            mean = lasting_j[k] / reach.capacity_j_k + apart_k * kept
            half = 0.5 * (outlets[k] - inlets[k])
            now[i] = [(reach.capacity_j_k / self._per_m3_k, mean + half, mean - half)]
            lost[i] = lost_w[k] * dt_s + reach.ua_w_k * apart_k * once
            gained += mean * reach.capacity_j_k - held_j[k]
        given = sum(float(at[first + i]) for i in settled.moving) * dt_s
        return Moved(now, lost, given - sum(lost.values()) - gained, {})


def straight_k(reach: Reach, flow_m3_s: float, per_m3_k: float, within_k: float = BEND_K) -> float:
    """How far apart [K] the ends of a settled reach may be for one slug to be straight within *within_k*.

    At a flow of *flow_m3_s* [m3/s] above 0; *per_m3_k*: rho c of water [J/(m3 K)].
    """
    ntu = reach.ua_w_k / (per_m3_k * flow_m3_s)
    return 8.0 * within_k * -expm1(-ntu) / (ntu * ntu) if ntu * ntu > 0.0 else inf


def profile(
    reach: Reach, flow_m3_s: float, inlet_c: float, outlet_c: float, held_j: float, per_m3_k: float
) -> list[Slug]:
    """The slugs of a settled reach that holds *held_j* [J] above 0 degC, the end that leaves first in front.

    An exponential between *inlet_c* and *outlet_c* [degC] at a flow of *flow_m3_s* [m3/s] above 0, cut where
    it bends by more than BEND_K; *per_m3_k*: rho c of water [J/(m3 K)].
    """
    volume = reach.capacity_j_k / per_m3_k
    stay_s = volume / flow_m3_s
    ntu = reach.rate_1_s * stay_s
    gone = -expm1(-ntu)
    mean_c = held_j / reach.capacity_j_k
    if abs(inlet_c - outlet_c) <= straight_k(reach, flow_m3_s, per_m3_k):  # nearly all
        half_k = 0.5 * (outlet_c - inlet_c)
        return [(volume, mean_c + half_k, mean_c - half_k)]
    apart_k = abs(inlet_c - outlet_c) / gone if gone > 0.0 else 0.0
    parts = max(1, ceil(ntu * sqrt(apart_k / (8.0 * BEND_K))))
    temps = [inlet_c]
    for k in range(1, parts + 1):
        share = -expm1(-ntu * k / parts) / gone if gone > 0.0 else k / parts
        temps.append(inlet_c + share * (outlet_c - inlet_c))
    slugs = [(volume / parts, temps[k + 1], temps[k]) for k in reversed(range(parts))]
    mean = sum(0.5 * (front + back) for _, front, back in slugs) / parts
    shift = mean_c - mean  # what the cuts leave out of the exponential, so that heat stays
    return [(v, front + shift, back + shift) for v, front, back in slugs]
