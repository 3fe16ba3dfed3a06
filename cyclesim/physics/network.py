"""The duty of a plant: flows and heads in a network of pipes, drops, jets and pumps that ends in the tub.

Solved by the global gradient method (Todini and Pilati 1988).  Every loss grows with its flow, so the answer
is the least point of a convex function: there is exactly one, and a step that overshoots can be cut short.
Heads are metres of the flowing water above the tub's level; flows are positive from `a` to `b` of a link.
"""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from math import pi
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cyclesim.physics.curves import PumpCurve
from cyclesim.physics.friction import LAMINAR_RE, darcy_factor
from cyclesim.physics.water import G, density_kg_m3, viscosity_pa_s

TUB = "tub"
NO_FLOW_M3_S = 1e-6  # 0.06 L/min: less than this counts as no flow in what is told to a person

_NOMINAL_M3_S = 1e-3  # where the first slopes are taken: a usual flow, so that the first step has a usual size
_LEAK_M_PER_M3_S = 1e8  # a closed check valve while it is being decided: 10 m push 0.006 L/min through it
_LEAST_SLOPE = 0.01  # m per m3/s, in the matrix only: a flat loss must not make it singular
_HEAD_TOLERANCE_M = 1e-10
_STEPS, _TURNS = 100, 80


@dataclass(frozen=True, slots=True)
class Pipe:
    """Straight length with the sum of its fittings' K.  `lift_m` above 0: a free outlet so high above the tub.

    Through a free outlet water only leaves, and only at a head above the lift: no siphon is counted on.
    """

    name: str
    a: str
    b: str
    length_m: float
    bore_m: float
    k: float
    roughness_m: float = 1.5e-6
    lift_m: float = 0.0


@dataclass(frozen=True, slots=True)
class Drop:
    """A device with a quadratic loss, `head_m` at `flow_m3_s`; `one_way` for a check valve, `shut` for a valve."""

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
class Pump:
    """A pump on `curve`, or standing (None), when it is a loss of h = H0 (Q/Qlast)2 of its `stopped_curve`.

    That loss is an assumption, no source.  `check_valve`: its own, lossless, shut against water coming back.
    """

    name: str
    a: str
    b: str
    curve: PumpCurve | None
    stopped_curve: PumpCurve
    check_valve: bool


Link = Pipe | Drop | Jet | Pump


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
Floats = NDArray[np.float64]


def loss(link: Link, temp_c: float) -> Loss:
    """The link's loss function: flow, m3/s -> (head lost from a to b, m; its slope, m per m3/s)."""
    if isinstance(link, Pipe):
        return _pipe_loss(link, viscosity_pa_s(temp_c) / density_kg_m3(temp_c))
    if isinstance(link, Pump):
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


def _pipe_loss(pipe: Pipe, viscosity_m2_s: float) -> Loss:
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


def _one_way(link: Link) -> bool:
    return (
        (isinstance(link, Pipe) and link.lift_m > 0)
        or (isinstance(link, Drop) and link.one_way)
        or (isinstance(link, Pump) and link.check_valve)
    )


def _is_shut(link: Link) -> bool:
    return isinstance(link, Drop) and link.shut


def solve(links: Sequence[Link], temp_c: float) -> Duty:
    """Flows and heads of the network at a water temperature in degC.

    Never raises for an odd plant: what is odd stands in `problems`, in a tub builder's words.
    """
    nodes = list(dict.fromkeys([TUB, *(end for link in links for end in (link.a, link.b))]))
    number = {node: i for i, node in enumerate(nodes)}
    ends = [(number[link.a], number[link.b]) for link in links]
    losses = [loss(link, temp_c) for link in links]
    ways = [i for i, link in enumerate(links) if not _is_shut(link)]
    valves = [i for i in ways if _one_way(links[i])]

    # Which check valves are closed: each wrong one is turned, all at once at first, then one by one in their
    # order, which cannot go round in circles for a problem of this kind (Murty 1974).
    closed: set[int] = set()
    settled = False
    for turn in range(_TURNS):
        trial = [_leak(losses[i](0.0)[0]) if i in closed else losses[i] for i in ways]
        found, heads, converged = _balance(trial, [ends[i] for i in ways], np.zeros(len(nodes)))
        flows = dict(zip(ways, found, strict=True))
        wrong = [
            i for i in valves
            if (flows[i] * _LEAK_M_PER_M3_S > 1e-6 if i in closed else flows[i] < -1e-9)
        ]  # fmt: skip
        if not wrong:
            settled = True
            break
        closed ^= set(wrong if turn < 10 else wrong[:1])
    if closed:
        ways = [i for i in ways if i not in closed]
        found, heads, converged = _balance([losses[i] for i in ways], [ends[i] for i in ways], heads)
        flows = dict(zip(ways, found, strict=True))

    # A dead end's flow is zero but for rounding; a thousandth of the least flow that can matter is zero too.
    q = [0.0 if abs(flows.get(i, 0.0)) < 1e-13 else float(flows[i]) for i in range(len(links))]
    joined = _parts(len(nodes), [ends[i] for i in ways])
    tail: tuple[str, ...] = ()
    if not (settled and converged):
        tail = ("these flows could not be worked out to the usual accuracy: take this duty as unknown",)
    pipes = {link.name: (link, abs(q[i])) for i, link in enumerate(links) if isinstance(link, Pipe)}
    speeds = {name: flow / (pi / 4 * pipe.bore_m**2) for name, (pipe, flow) in pipes.items()}
    per_speed = density_kg_m3(temp_c) / viscosity_pa_s(temp_c)
    at = {node: float(heads[i]) for i, node in enumerate(nodes) if joined[i] == joined[0]}
    given = {link.name: -losses[i](q[i])[0] for i, link in enumerate(links) if isinstance(link, Pump)}
    return Duty(
        flows_m3_s={link.name: q[i] for i, link in enumerate(links)},
        heads_m=at,
        pump_heads_m={name: head + 0.0 for name, head in given.items()},  # + 0.0 turns -0.0 into 0.0
        velocity_m_s=speeds,
        reynolds={name: speeds[name] * pipe.bore_m * per_speed for name, (pipe, _) in pipes.items()},
        problems=(*_problems(links, q, at, dict(zip(nodes, heads.tolist(), strict=True))), *tail),
    )


def _leak(threshold_m: float) -> Loss:
    return lambda q: (threshold_m + _LEAK_M_PER_M3_S * q, _LEAK_M_PER_M3_S)


def _parts(count: int, ends: Collection[tuple[int, int]]) -> list[int]:
    """For each node the lowest-numbered node that the given links join it to."""
    part = list(range(count))
    for _ in range(count):
        before = part.copy()
        for a, b in ends:
            part[a] = part[b] = min(part[a], part[b])
        if part == before:
            break
    return part


def _balance(losses: Sequence[Loss], ends: Sequence[tuple[int, int]], start_m: Floats) -> tuple[Floats, Floats, bool]:
    """Flows of the links, heads of the nodes, and whether the loss of every link agrees with its heads.

    Node 0 is at head 0.  A part of the network that does not reach it is tied to its first node's `start_m`.
    """
    part = _parts(len(start_m), ends)
    free = [i for i, root in enumerate(part) if root != i]
    heads = np.where([root == i for i, root in enumerate(part)], start_m, 0.0)
    incidence: Any = np.zeros((len(ends), len(start_m)))
    for row, (a, b) in enumerate(ends):
        incidence[row, a] += 1.0
        incidence[row, b] -= 1.0
    a12, fixed = incidence[:, free], incidence @ heads

    def lost(at: Floats) -> tuple[Floats, Floats]:
        pairs = [f(flow) for f, flow in zip(losses, at.tolist(), strict=True)]
        return np.array([h for h, _ in pairs]), np.array([d for _, d in pairs])

    q = np.zeros(len(ends))
    h, _ = lost(q)
    _, slope = lost(np.full(len(ends), _NOMINAL_M3_S))
    for _ in range(_STEPS):
        ease = 1.0 / np.maximum(slope, _LEAST_SLOPE)
        weighted = a12.T * ease
        heads[free] = np.linalg.solve(weighted @ a12, weighted @ (h - fixed) - a12.T @ q)
        drop = a12 @ heads[free] + fixed
        step = ease * (drop - h)
        now, part_of_step = float(step @ (h - fixed)), 1.0
        h, slope = lost(q + step)
        if len(ends) == 0 or float(np.max(np.abs(h - drop))) <= _HEAD_TOLERANCE_M:
            return q + step, heads, True
        # Along the step the slope of the convex function rises from below zero; past its root is too far.
        while float(step @ (h - fixed)) > 0.5 * abs(now) and part_of_step > 1e-6:
            part_of_step /= 2
            h, slope = lost(q + part_of_step * step)
        q = q + part_of_step * step
    return q, heads, False


def _l_min(flow_m3_s: float) -> str:
    return f"{abs(flow_m3_s) * 60000:.0f} L/min"


def _names(items: Sequence[str]) -> str:
    return items[0] if len(items) == 1 else f"{', '.join(items[:-1])} and {items[-1]}"


def _chains(links: Sequence[Link]) -> list[list[int]]:
    """Links in unbranched series, by number: what one of them carries all of them carry."""
    at: dict[str, list[int]] = {}
    for i, link in enumerate(links):
        for end in (link.a, link.b):
            at.setdefault(end, []).append(i)
    pairs = [(pair[0], pair[1]) for node, pair in at.items() if node != TUB and len(pair) == 2]
    groups: dict[int, list[int]] = {}
    for i, root in enumerate(_parts(len(links), pairs)):
        groups.setdefault(root, []).append(i)
    return list(groups.values())


def _region(links: Sequence[Link], start: str, without: Link, *, forward: bool) -> set[str]:
    """Nodes that water can go on to from `start` (or come from, backwards); the tub is not passed through."""
    seen, todo = {start}, [start]
    while todo:
        node = todo.pop()
        for link in links:
            if node == TUB or link is without or _is_shut(link):
                continue
            steps = [(link.a, link.b)] if _one_way(link) else [(link.a, link.b), (link.b, link.a)]
            for tail, head in steps:
                here, there = (tail, head) if forward else (head, tail)
                if here == node and there not in seen:
                    seen.add(there)
                    todo.append(there)
    return seen


def _no_flow_cause(
    pump: Pump, mates: Sequence[Pump], links: Sequence[Link], flows: Sequence[float], heads: Mapping[str, float]
) -> str:
    """Why a running pump moves no water; `mates` are the running pumps in series with it, itself among them."""
    shutoff = sum(mate.curve.head_m(0.0) for mate in mates if mate.curve is not None)
    who = _names([mate.name for mate in mates])
    against = heads[pump.b] - heads[pump.a]
    others = [
        link.name for link, q in zip(links, flows, strict=True)
        if isinstance(link, Pump) and link.curve is not None and q > NO_FLOW_M3_S
    ]  # fmt: skip
    if others and against > shutoff + 1e-6:
        return f"{who} cannot push against {_names(others)}: {shutoff:.1f} m at no flow against {against:.1f} m"
    onward = _region(links, pump.b, pump, forward=True)
    behind = _region(links, pump.a, pump, forward=False)
    lifts = [link.lift_m for link in links if isinstance(link, Pipe) and link.lift_m > 0 and link.a in onward]
    if TUB in onward and TUB in behind and lifts:
        return f"{who} cannot lift the water: {shutoff:.1f} m at no flow against {min(lifts):.1f} m"
    for region, verb in ((onward, "pumps against"), (behind, "draws from")):
        shut = [link.name for link in links if _is_shut(link) and {link.a, link.b} & (region - {TUB})]
        if TUB not in region and shut:
            return f"{who} {verb} {_names(shut)}, which is shut"
        end = "b" if verb == "pumps against" else "a"
        stops = [x.name for x in links if _one_way(x) and x is not pump and getattr(x, end) in region - {TUB}]
        if TUB not in region and stops:
            return f"{who} {verb} {_names(stops)}, which lets water pass only the other way"
        if TUB not in region:
            return f"{who} has no way {'to' if verb == 'pumps against' else 'from'} the tub"
    return f"{who} moves no water"


def _problems(
    links: Sequence[Link], flows: Sequence[float], at: Mapping[str, float], heads: Mapping[str, float]
) -> list[str]:
    """What a builder should know of this duty; `at` has the heads of nodes joined to the tub, `heads` all."""
    told: list[str] = []
    chains = _chains(links)
    runs = [isinstance(link, Pump) and link.curve is not None for link in links]
    for chain in chains:
        pumps = [link for i in chain if runs[i] and isinstance(link := links[i], Pump)]
        if pumps and abs(flows[chain[0]]) < NO_FLOW_M3_S:
            rest = [links[i].name for i in chain if not isinstance(links[i], Pump) and not _is_shut(links[i])]
            cause = _no_flow_cause(pumps[0], pumps, links, flows, heads)
            told.append(cause + (f"; no water moves in {_names(rest)}" if rest else ""))
    for link, q in zip(links, flows, strict=True):
        if not isinstance(link, Pump):
            continue
        if link.curve is None:
            if q < -NO_FLOW_M3_S:
                told.append(f"{link.name} stands still without a check valve: {_l_min(q)} run back through it")
            continue
        last, shutoff = link.curve.last_flow_m3_s, link.curve.head_m(0.0)
        if q > last * (1 + 1e-9):
            told.append(
                f"{link.name} runs at {_l_min(q)}, past the last point of its curve ({_l_min(last)})"
            )
        if q < -NO_FLOW_M3_S:
            told.append(
                f"{link.name} is pushed backwards, {_l_min(q)}: it makes {shutoff:.1f} m at no flow against "
                f"{heads[link.b] - heads[link.a]:.1f} m, and has no check valve"
            )
        if q > NO_FLOW_M3_S and link.a not in at:
            told.append(f"{link.name} sends water round without reaching the tub")
    moving = any(run and q > NO_FLOW_M3_S for run, q in zip(runs, flows, strict=True))
    for chain in chains:
        back = [links[i].name for i in chain if flows[i] < -NO_FLOW_M3_S and not isinstance(links[i], Pump)]
        if back:
            through = [links[i].name for i in chain if isinstance(links[i], Pump) and flows[i] < 0]
            told.append(
                f"water runs backwards in {_names(back)}, {_l_min(flows[chain[0]])}"
                + (f": it comes back through {_names(through)}" if through else "")
            )
        for i in chain:
            link = links[i]
            if isinstance(link, Pipe) and link.lift_m > 0 and flows[i] == 0 and moving:
                told += [
                    f"{link.name} gets no water: its outlet needs {link.lift_m:.1f} m and {at[link.a]:.1f} m are there"
                ] if at.get(link.a, 0.0) > 0.05 else []  # fmt: skip
    return told
