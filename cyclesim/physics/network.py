"""The duty of a plant: flows and heads in a network of pipes, drops, jets and pumps that ends in the tub.

Solved by the global gradient method (Todini and Pilati 1988).  Every loss grows with its flow, so the answer
is the least point of a convex function: there is exactly one, and a step that overshoots can be cut short.
"""

from collections.abc import Sequence
from math import pi
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from cyclesim.physics.duty_problems import problems
from cyclesim.physics.links import (
    TUB,
    Drop,
    Duty,
    Jet,
    Link,
    Loss,
    PipeLink,
    PumpLink,
    is_shut,
    loss,
    one_way,
    parts,
)
from cyclesim.physics.water import density_kg_m3, viscosity_pa_s

__all__ = ["TUB", "Drop", "Duty", "Jet", "Link", "PipeLink", "PumpLink", "loss", "solve"]

_NOMINAL_M3_S = 1e-3  # the first slopes are taken at a usual flow, so that the first step has a usual size
_LEAK_M_PER_M3_S = 1e8  # a closed check valve while it is being decided: 10 m push 0.006 L/min through it
_LEAST_SLOPE = 0.01  # m per m3/s, in the matrix only: a flat loss must not make it singular
_HEAD_TOLERANCE_M = 1e-10
_STEPS, _TURNS = 100, 80

Floats = NDArray[np.float64]


def solve(links: Sequence[Link], temp_c: float) -> Duty:
    """Flows and heads of the network at a water temperature in degC.

    Parts that meet in the tub alone are solved each by itself, so that what starts in one does not move the
    last digit in another. Never raises for an odd plant: what is odd stands in `problems`, in a tub builder's
    words.
    """
    losses = [loss(link, temp_c) for link in links]
    nodes = dict.fromkeys([TUB, *(end for link in links for end in (link.a, link.b))])
    q, heads, joined = [0.0] * len(links), dict.fromkeys(nodes, 0.0), {TUB}
    wrong, converged = list[str](), True
    for part in _apart(links):
        found = _solve_part([links[i] for i in part], [losses[i] for i in part])
        for i, flow in zip(part, found.flows_m3_s, strict=True):
            q[i] = 0.0 if abs(flow) < 1e-13 else flow  # a dead end's flow is zero but for rounding
        heads |= found.heads_m
        joined |= found.joined
        wrong += found.wrong
        converged = converged and found.converged
    at = {node: heads[node] + 0.0 for node in nodes if node in joined}
    sentences = problems(links, q, at, heads)
    if wrong or not converged:
        why = f" ({', '.join(wrong)} would not come to rest)" if wrong else ""
        sentences.append(f"these flows could not be worked out{why}: take this duty as unknown")
    pipes = {link.name: (link, abs(q[i])) for i, link in enumerate(links) if isinstance(link, PipeLink)}
    speeds = {name: flow / (pi / 4 * pipe.bore_m**2) for name, (pipe, flow) in pipes.items()}
    per_speed = density_kg_m3(temp_c) / viscosity_pa_s(temp_c)
    given = {link.name: -losses[i](q[i])[0] for i, link in enumerate(links) if isinstance(link, PumpLink)}
    return Duty(
        flows_m3_s={link.name: q[i] for i, link in enumerate(links)},
        heads_m=at,
        pump_heads_m={name: head + 0.0 for name, head in given.items()},  # + 0.0 turns -0.0 into 0.0
        velocity_m_s=speeds,
        reynolds={name: speeds[name] * pipe.bore_m * per_speed for name, (pipe, _) in pipes.items()},
        problems=tuple(sentences),
    )


def _apart(links: Sequence[Link]) -> list[list[int]]:
    """The links, by number, of each part that meets the others in the tub alone."""
    first: dict[str, int] = {}
    pairs = [
        (first.setdefault(end, i), i)
        for i, link in enumerate(links)
        for end in (link.a, link.b)
        if end != TUB
    ]
    groups: dict[int, list[int]] = {}
    for i, root in enumerate(parts(len(links), pairs)):
        groups.setdefault(root, []).append(i)
    return list(groups.values())


class _Found(NamedTuple):
    """What a part comes to: flows of its links, heads by node, and nodes that open ways join to the tub."""

    flows_m3_s: list[float]
    heads_m: dict[str, float]
    joined: set[str]
    wrong: list[str]
    """Check valves that would not come to rest."""
    converged: bool


def _solve_part(links: Sequence[Link], losses: Sequence[Loss]) -> _Found:
    nodes = list(dict.fromkeys([TUB, *(end for link in links for end in (link.a, link.b))]))
    number = {node: i for i, node in enumerate(nodes)}
    ends = [(number[link.a], number[link.b]) for link in links]
    ways = [i for i, link in enumerate(links) if not is_shut(link)]
    valves = [i for i in ways if one_way(links[i])]

    # Which check valves are closed: those that are wrong are turned, all at once at first, then one by one in
    # their order, which for linear losses cannot go round in circles (Murty 1974, from memory, not opened).
    closed: set[int] = set()
    wrong: list[int] = []
    for turn in range(_TURNS):
        trial = [_leak(losses[i](0.0)[0]) if i in closed else losses[i] for i in ways]
        balanced, heads, converged = _balance(trial, [ends[i] for i in ways], np.zeros(len(nodes)))
        flows = dict(zip(ways, balanced.tolist(), strict=True))
        wrong = [
            i for i in valves
            if (flows[i] * _LEAK_M_PER_M3_S > 1e-6 if i in closed else flows[i] < -1e-9)
        ]  # fmt: skip
        if not wrong:
            break
        closed ^= set(wrong if turn < 10 else wrong[:1])
    while closed:  # without their leaks, which may have been all that a last one was open for
        ways = [i for i in ways if i not in closed]
        balanced, heads, converged = _balance([losses[i] for i in ways], [ends[i] for i in ways], heads)
        flows = dict(zip(ways, balanced.tolist(), strict=True))
        back = {i for i in valves if flows.get(i, 0.0) < -1e-9}
        if not back:
            break
        closed |= back

    joined = parts(len(nodes), [ends[i] for i in ways])
    return _Found(
        [flows.get(i, 0.0) for i in range(len(links))],
        dict(zip(nodes, heads.tolist(), strict=True)),
        {node for i, node in enumerate(nodes) if joined[i] == joined[0]},
        [links[i].name for i in wrong],
        converged,
    )


def _leak(threshold_m: float) -> Loss:
    return lambda q: (threshold_m + _LEAK_M_PER_M3_S * q, _LEAK_M_PER_M3_S)


def _balance(
    losses: Sequence[Loss], ends: Sequence[tuple[int, int]], start_m: Floats
) -> tuple[Floats, Floats, bool]:
    """Flows of the links, heads of the nodes, and whether the loss of every link agrees with its heads.

    Node 0 is at head 0.  A part of the network that does not reach it is tied to its first node's `start_m`.
    """
    part = parts(len(start_m), ends)
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
        now, part_of_step = float(step @ (h - drop)), 1.0
        h, slope = lost(q + step)
        if len(ends) == 0 or float(np.max(np.abs(h - drop))) <= _HEAD_TOLERANCE_M:
            # Rounding leaves the nodes some 1e-12 m3/s out of balance: the same matrix spreads that away.
            q = q + step
            return q - ease * (a12 @ np.linalg.solve(weighted @ a12, a12.T @ q)), heads, True
        # Along the step the slope of the convex function rises from below zero; past its root is too far.
        # (The heads cancel out of it, the step keeping every node's balance, but for better rounding.)
        while float(step @ (h - drop)) > 0.5 * abs(now) and part_of_step > 1e-6:
            part_of_step /= 2
            h, slope = lost(q + part_of_step * step)
        q = q + part_of_step * step
    return q, heads, False
