"""Where water has moved for so long that what stood there is gone: temperatures follow the tub's.

Along a reach dT/ds = (T_zone - T) UA / C + P / C, so that what leaves a reach after a stay of s differs from
its zone by exp(-NTU), NTU = UA s / C, of what came in, and it loses rho c Q (1 - exp(-NTU)) (T_in - T_zone)
(Incropera & DeWitt, internal flow beside a fluid of one temperature, from memory, not opened). All of it is
linear in the tub's temperature, the zones' and the heat put in, so that a network of reaches comes down to
a row of factors per reach, junctions and water that circles included.

The tub's temperature of now is taken for the water's when it left the tub: where the tub warms by r K/s,
water that left it s seconds ago is told r s too warm. At 3 K/h that is 0.1 K after two minutes: a slower way
is to be followed by `warmth.move` instead.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import ceil, expm1, sqrt

import numpy as np
from numpy.typing import NDArray

from cyclesim.physics.heat import mode
from cyclesim.physics.warmth import BEND_K, Reach, Slug
from cyclesim.physics.water_age import Pattern

Factors = NDArray[np.float64]
"""What multiplies the forces, in their order: the tub [degC], each zone [degC], heat into each reach [W]."""


@dataclass(frozen=True)
class Settled:
    """Factors by moving reach: what comes in and leaves [degC], is lost [W], is held above 0 degC [J]."""

    zones: tuple[str, ...]
    reaches: int
    inlet: Mapping[int, Factors]
    outlet: Mapping[int, Factors]
    lost_w: Mapping[int, Factors]
    held_j: Mapping[int, Factors]

    def forces(self, tub_c: float, zone_c: Mapping[str, float], heat_w: Mapping[int, float]) -> Factors:
        """The forces in their order."""
        heats = [heat_w.get(i, 0.0) for i in range(self.reaches)]
        return np.array([tub_c, *(zone_c[z] for z in self.zones), *heats])


def settle(reaches: Sequence[Reach], pattern: Pattern, per_m3_k: float) -> Settled:
    """The factors of every moving reach at *pattern*; *per_m3_k*: rho c of water [J/(m3 K)]."""
    zones = tuple(dict.fromkeys(r.zone for r in reaches if r.ua_w_k > 0.0))
    at_zone = {z: 1 + k for k, z in enumerate(zones)}
    size = 1 + len(zones) + len(reaches)
    unit = np.eye(size)
    moving = [i for _, links_out in pattern.nodes for i in links_out]
    kept: dict[int, float] = {}
    gained: dict[int, Factors] = {}
    held: dict[int, tuple[float, Factors]] = {}
    for i in moving:
        reach, flow = reaches[i], abs(pattern.flows[i])
        heat = unit[1 + len(zones) + i]
        if reach.capacity_j_k == 0.0:
            kept[i], gained[i], held[i] = 1.0, heat / (per_m3_k * flow), (0.0, np.zeros(size))
            continue
        drive = heat / reach.capacity_j_k
        if reach.ua_w_k > 0.0:
            drive = drive + reach.rate_1_s * unit[at_zone[reach.zone]]
        stay_s = reach.capacity_j_k / (per_m3_k * flow)
        kept[i], once, twice = mode(reach.rate_1_s, stay_s)
        gained[i] = once * drive
        held[i] = reach.capacity_j_k * once / stay_s, reach.capacity_j_k * twice / stay_s * drive
    inlet = _inlets(pattern, kept, gained, size)
    outlet = {i: kept[i] * inlet[i] + gained[i] for i in moving}
    lost = {
        i: per_m3_k * abs(pattern.flows[i]) * (inlet[i] - outlet[i]) + unit[1 + len(zones) + i]
        for i in moving
    }
    content = {i: held[i][0] * inlet[i] + held[i][1] for i in moving}
    return Settled(zones, len(reaches), inlet, outlet, lost, content)


def _inlets(
    pattern: Pattern, kept: Mapping[int, float], gained: Mapping[int, Factors], size: int
) -> dict[int, Factors]:
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
    apart_k = abs(inlet_c - outlet_c) / gone if gone > 0.0 else 0.0
    parts = max(1, ceil(ntu * sqrt(apart_k / (8.0 * BEND_K))))
    temps = [inlet_c]
    for k in range(1, parts + 1):
        share = -expm1(-ntu * k / parts) / gone if gone > 0.0 else k / parts
        temps.append(inlet_c + share * (outlet_c - inlet_c))
    slugs = [(volume / parts, temps[k + 1], temps[k]) for k in reversed(range(parts))]
    mean = sum(0.5 * (front + back) for _, front, back in slugs) / parts
    shift = (
        held_j / reach.capacity_j_k - mean
    )  # what the cuts leave out of the exponential, so that heat stays
    return [(v, front + shift, back + shift) for v, front, back in slugs]
