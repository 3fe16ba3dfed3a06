"""What a network is made of: pipes, drops, jets and pumps, each with its loss as a function of its flow.

Heads are metres of the flowing water above the tub's level; flows are positive from `a` to `b` of a link.
Sizes, rated flows and rated heads are above zero (the scenario refuses others).
"""

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from math import pi

from cyclesim.physics.curves import PumpCurve
from cyclesim.physics.friction import LAMINAR_RE, darcy_factor
from cyclesim.physics.water import G, density_kg_m3, viscosity_pa_s

TUB = "tub"
SMOOTH_M = 1.5e-6
"""Roughness of smooth plastic pipe, the handbooks' value for drawn tube, from memory, not opened."""
ROUGHNESS_M = {"PVC": SMOOTH_M, "PE": SMOOTH_M, "copper": SMOOTH_M, "steel": 4.5e-5}
"""Roughness by material: copper is drawn tube; steel new, Moody's 0.00015 ft, from memory, not opened."""


@dataclass(frozen=True, slots=True)
class PipeLink:
    """Straight length with the sum of its fittings' K and, for a free outlet, its lift above the tub.

    Through a free outlet water only leaves, and only at a head above the lift: no siphon is counted on.
    """

    name: str
    a: str
    b: str
    length_m: float
    bore_m: float
    k: float
    roughness_m: float = SMOOTH_M
    lift_m: float = 0.0


@dataclass(frozen=True, slots=True)
class Drop:
    """A device that loses `head_m` at `flow_m3_s`, quadratic; a check valve is `one_way`."""

    name: str
    a: str
    b: str
    head_m: float
    flow_m3_s: float
    one_way: bool = False
    shut: bool = False


@dataclass(frozen=True, slots=True)
class Jet:
    """An orifice under water: Q = flow_m3_s (h / head_m)^0.5, the same either way."""

    name: str
    a: str
    b: str
    flow_m3_s: float
    head_m: float


@dataclass(frozen=True, slots=True)
class PumpLink:
    """A pump on `curve`, or standing (None), when it is a loss of h = H0 (Q/Qlast)2 of its `stopped_curve`.

    That loss is an assumption, no source.  `check_valve`: its own, lossless, shut against water coming back.
    """

    name: str
    a: str
    b: str
    curve: PumpCurve | None
    stopped_curve: PumpCurve
    check_valve: bool


Link = PipeLink | Drop | Jet | PumpLink


@dataclass(frozen=True, slots=True)
class Duty:
    """One operating point.  Speeds and Reynolds numbers are of the pipes, without sign.

    A node that no open way joins to the tub has no head to speak of and is missing from `heads_m`.
    `pump_heads_m` is the head each pump itself gives at its flow, below 0 for one that stands in the way.
    """

    flows_m3_s: Mapping[str, float]
    heads_m: Mapping[str, float]
    pump_heads_m: Mapping[str, float]
    velocity_m_s: Mapping[str, float]
    reynolds: Mapping[str, float]
    problems: tuple[str, ...]


Loss = Callable[[float], tuple[float, float]]


def loss(link: Link, temp_c: float) -> Loss:
    """The link's loss function: flow [m3/s] -> (head lost from a to b [m], its slope [m per m3/s])."""
    if isinstance(link, PipeLink):
        return _pipe_loss(link, viscosity_pa_s(temp_c) / density_kg_m3(temp_c))
    if isinstance(link, PumpLink):
        running = link.curve
        if running is not None:
            return lambda q: _negated(running.head_and_slope(q))
        return _quadratic_loss(link.stopped_curve.head_m(0.0), link.stopped_curve.last_flow_m3_s)
    return _quadratic_loss(link.head_m, link.flow_m3_s)


def _negated(pair: tuple[float, float]) -> tuple[float, float]:
    return -pair[0], -pair[1]


def _quadratic_loss(head_m: float, flow_m3_s: float) -> Loss:
    factor = head_m / flow_m3_s**2
    return lambda q: (factor * q * abs(q), 2 * factor * abs(q))


def _pipe_loss(pipe: PipeLink, viscosity_m2_s: float) -> Loss:
    """Darcy-Weisbach with the K of the fittings, and the lift of a free outlet."""
    area, ratio, rough = pi / 4 * pipe.bore_m**2, pipe.length_m / pipe.bore_m, pipe.roughness_m / pipe.bore_m
    laminar = 32 * viscosity_m2_s * ratio / (G * pipe.bore_m)  # m of head per m/s, f = 64/Re put in

    def lost(q: float) -> tuple[float, float]:
        speed = q / area
        size = abs(speed)
        head, slope = pipe.k * speed * size / (2 * G), pipe.k * size / (G * area)
        reynolds = size * pipe.bore_m / viscosity_m2_s
        if reynolds <= LAMINAR_RE:
            return pipe.lift_m + head + laminar * speed, slope + laminar / area
        factor, near = darcy_factor(reynolds, rough), darcy_factor(reynolds * (1 + 1e-6), rough)
        head += factor * ratio * speed * size / (2 * G)
        slope += ratio * size / (2 * G * area) * (2 * factor + (near - factor) * 1e6)
        return pipe.lift_m + head, slope

    return lost


def one_way(link: Link) -> bool:
    """Whether water passes from a to b only: a check valve of any kind, or a free outlet."""
    return (
        (isinstance(link, PipeLink) and link.lift_m > 0)
        or (isinstance(link, Drop) and link.one_way)
        or (isinstance(link, PumpLink) and link.check_valve)
    )


def is_shut(link: Link) -> bool:
    """Whether the link is a shut valve."""
    return isinstance(link, Drop) and link.shut


def parts(count: int, ends: Collection[tuple[int, int]]) -> list[int]:
    """For each node the lowest-numbered node that the given links join it to."""
    part = list(range(count))
    for _ in range(count):
        before = part.copy()
        for a, b in ends:
            part[a] = part[b] = min(part[a], part[b])
        if part == before:
            break
    return part
