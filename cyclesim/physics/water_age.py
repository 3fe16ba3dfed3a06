"""Water age in a network of plugs: how water moves at one pattern of flows, and what that does to its ages.

Exact for as long as the flows last, but where water circles for long. When a pattern has lasted long enough
to replace everything that it moves, each plug holds its *steady profile*. What comes of one pattern after
another is in `circuit_age.py`.
"""

from __future__ import annotations

import math
from collections.abc import Container, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from cyclesim.physics import parcels
from cyclesim.physics.age_book import Passages
from cyclesim.physics.parcels import Knot, Parcel

STILL_M3_S = 1e-8
"""Below this a plug counts as still [m3/s]: 0.6 mL/min, a drip."""

_ALIKE_S = 1e-5  # births of circling water nearer than this are alike; the clock ticks in whole seconds
_FOLLOWED = 64  # slices for which circling water is followed drop by drop; after them it counts as stirred
_MOST_SLICES = 1000  # the same while tub water has yet to clear what it pushes along in order


@dataclass(frozen=True, slots=True)
class Plug:
    """Something water passes in order: a pipe, a stretch of manifold, a housing. A valve has volume 0."""

    name: str
    a: str
    b: str
    volume_m3: float


@dataclass(slots=True)
class Pattern:
    """One set of flows through the network, with what follows from it alone."""

    index: int
    flows: tuple[float, ...]
    moving: tuple[int, ...]
    nodes: tuple[tuple[tuple[int, ...], tuple[int, ...]], ...]
    """Junctions in the order water reaches them: (links in, links out)."""
    loop: tuple[int, ...]
    """Plugs on a loop that does not pass the tub."""
    reached_s: tuple[float, ...]
    """Per plug, seconds until tub water reaches its far end; infinite on a loop, 0 where still."""
    clear_s: float
    asked: tuple[int, ...] = ()
    """Of what moves those plugs whose ages are asked for."""
    profile: dict[int, list[Parcel]] = field(default_factory=dict)
    steady: dict[int, tuple[float, float]] = field(default_factory=dict)
    """Per moving plug, the oldest and the mean age [s] once the pattern has cleared it."""
    memo: dict[tuple[int, ...], Passages] = field(default_factory=dict)
    """By the patterns that left what the moving plugs hold, the latest first."""


def reached(plugs: Sequence[Plug], flows: Sequence[float]) -> tuple[float, ...]:
    """Seconds of *flows* [m3/s] until tub water is at each plug's end (infinite on a loop, 0 if still)."""
    return pattern_of(plugs, 0, flows).reached_s


def pattern_of(plugs: Sequence[Plug], index: int, flows: Sequence[float]) -> Pattern:
    """How water moves at these *flows* [m3/s], one per plug, as number *index*; positive runs from a to b.

    Raises ValueError where water circles through links that hold none.
    """
    moving = tuple(i for i, q in enumerate(flows) if abs(q) > STILL_M3_S)
    comes_from = {i: plugs[i].a if flows[i] > 0 else plugs[i].b for i in moving}
    goes_to = {i: plugs[i].b if flows[i] > 0 else plugs[i].a for i in moving}
    order, at_s, done, loop = ["tub"], {"tub": 0.0}, [0.0] * len(plugs), set[int]()
    waiting = {n: 0 for n in {*comes_from.values(), *goes_to.values()} if n != "tub"}
    for i in moving:
        if goes_to[i] != "tub":
            waiting[goes_to[i]] += 1
    ready = ["tub"]
    while True:
        while ready:
            node = ready.pop()
            for i in moving:
                if comes_from[i] == node:
                    done[i] = at_s[node] + plugs[i].volume_m3 / abs(flows[i])
                    to = goes_to[i]
                    if to == "tub":
                        continue
                    at_s[to] = max(at_s.get(to, 0.0), done[i])
                    if i not in loop:
                        waiting[to] -= 1
                        if not waiting[to]:
                            order.append(to)
                            ready.append(to)
        left = [n for n, count in waiting.items() if n not in order]
        if not left:
            break
        # What remains waits for itself: open the loops at the plug that water takes longest to pass.
        between = [
            i
            for i in moving
            if comes_from[i] in left and goes_to[i] in left and plugs[i].volume_m3 > 0 and i not in loop
        ]
        if not between:
            raise ValueError(f"water circles without volume at {', '.join(sorted(left))}")
        longest = max(between, key=lambda i: plugs[i].volume_m3 / abs(flows[i]))
        loop.add(longest)
        waiting[goes_to[longest]] -= 1
        at_s.update(dict.fromkeys(left, math.inf))
        ready = [n for n in left if not waiting[n]]
        order += ready
    nodes = tuple(
        (
            tuple(i for i in moving if goes_to[i] == n and n != "tub"),
            tuple(i for i in moving if comes_from[i] == n),
        )
        for n in order
    )
    clear_s = max((done[i] for i in moving), default=0.0)
    return Pattern(index, tuple(flows), moving, nodes, tuple(sorted(loop)), tuple(done), clear_s)


def _pass(
    plugs: Sequence[Plug],
    p: Pattern,
    contents: dict[int, list[Parcel]],
    start_s: float,
    dt_s: float,
    asked: Container[int],
) -> dict[int, parcels.Passage]:
    """One stretch of time at one pattern, loops already short enough; *contents* is not changed.

    *asked*: the plugs whose ages are.
    """
    streams: dict[int, list[Parcel]] = {}
    for i in p.loop:
        flow = abs(p.flows[i])
        streams[i] = parcels.scaled(parcels.cut(contents[i], flow * dt_s)[0], 1.0 / flow)
    end_s = start_s + dt_s
    passages = {}
    for links_in, links_out in p.nodes:
        if links_in:
            stream = parcels.mix([(abs(p.flows[i]), streams[i]) for i in links_in])
        else:
            stream = [(dt_s, start_s, end_s, start_s, end_s)]  # the tub's own water is born as it leaves
        for i in links_out:
            if plugs[i].volume_m3 == 0.0:
                streams[i] = stream
                continue
            flow = abs(p.flows[i])
            inflow = parcels.scaled(stream, flow)
            passages[i] = parcels.push(contents[i], inflow, flow, start_s, ages_asked=i in asked)
            streams.setdefault(i, parcels.scaled(passages[i].out, 1.0 / flow))
    return passages


def run_through(
    plugs: Sequence[Plug],
    p: Pattern,
    contents: dict[int, list[Parcel]],
    start_s: float,
    dt_s: float,
    asked: Container[int],
) -> tuple[dict[int, list[Parcel]], dict[int, list[Knot]], dict[int, float]]:
    """Any stretch of time at one pattern: new contents; knots of the oldest age, integrals of the mean [s2].

    Of the latter two those of *asked* plugs. *plugs* and *p* belong together. *contents* by plug, the end
    that leaves first in front, are as at *start_s* [s]; the stretch lasts *dt_s* [s].
    """
    if not p.loop:
        passages = _pass(plugs, p, contents, start_s, dt_s, asked)
        return (
            {i: x.content for i, x in passages.items()},
            {i: x.knots for i, x in passages.items()},
            {i: x.mean_integral_s2 for i, x in passages.items()},
        )
    longest = min(plugs[i].volume_m3 / abs(p.flows[i]) for i in p.loop)
    cleared = max((t for t in p.reached_s if math.isfinite(t)), default=0.0)
    followed = min(dt_s, max(_FOLLOWED * longest, min(cleared, _MOST_SLICES * longest)))
    if followed < dt_s and not _lasting_ages(plugs, p):
        followed = 0.0
    knots: dict[int, list[Knot]] = {i: [] for i in contents}
    means = dict.fromkeys(contents, 0.0)
    done = 0.0
    while done < followed * (1.0 - 1e-12):
        step = min(longest, followed - done)
        passages = _pass(plugs, p, contents, start_s + done, step, asked)
        contents = {i: parcels.joined(x.content, _ALIKE_S) for i, x in passages.items()}
        for i, x in passages.items():
            knots[i] += [(done + t, age) for t, age in x.knots]
            means[i] += x.mean_integral_s2
        done += step
    rest_s = dt_s - done
    stretches = _FOLLOWED if done < cleared else 1  # while what comes in from elsewhere ages
    for _ in range(stretches if rest_s > 1e-12 * dt_s else 0):
        step = rest_s / stretches
        contents, after, later = _stirred(plugs, p, contents, start_s + done, step)
        for i in contents:
            knots[i] += [(done + t, age) for t, age in after[i]]
            means[i] += later[i]
        done += step
    return contents, knots, means


def _circling(plugs: Sequence[Plug], p: Pattern) -> tuple[set[int], float]:
    """The links that water comes back to without passing the tub, and how it is replaced there.

    The latter is a time constant [s]: the volume that circles over what comes into it.
    """
    ends = {i: (plugs[i].a, plugs[i].b) if p.flows[i] > 0 else (plugs[i].b, plugs[i].a) for i in _links(p)}

    def beyond(node: str) -> set[str]:
        """The junctions that water gets to from *node* without passing the tub."""
        seen = {node} - {"tub"}
        for _ in ends:
            seen |= {to for start, to in ends.values() if start in seen} - {"tub"}
        return seen

    circling = {i for i, (start, to) in ends.items() if start in beyond(to)}
    turns = {node for i in circling for node in ends[i]}
    fresh = sum(abs(p.flows[i]) for i in ends if i not in circling and ends[i][1] in turns)
    return circling, sum(plugs[i].volume_m3 for i in circling) / fresh if fresh else math.inf


def _stirred(
    plugs: Sequence[Plug], p: Pattern, contents: dict[int, list[Parcel]], start_s: float, dt_s: float
) -> tuple[dict[int, list[Parcel]], dict[int, list[Knot]], dict[int, float]]:
    """The rest of a long stretch with water that circles: mean ages on their way to the lasting ones, as if
    stirred.

    Followed drop by drop, every turn of a loop would add parcels. The lasting mean ages are exact, and so is
    the oldest age: some of what circles never leaves, and comes by everywhere. What the tub's water pushes
    along in order is followed on in one piece. What no tub water comes to is stirred at once, and grows old.
    """
    end_s, ordered = start_s + dt_s, _pass(plugs, _in_order(p), contents, start_s, dt_s, contents)
    middle_s = start_s + 0.5 * dt_s
    lasting = _lasting_ages(plugs, p, {i: middle_s - _mean_birth_s(x.out) for i, x in ordered.items()})
    circling, fading = _circling(plugs, p)
    share = math.exp(-dt_s / fading)
    later: dict[int, list[Parcel]] = {}
    knots: dict[int, list[Knot]] = {}
    means: dict[int, float] = {}
    round_s = max((ages_of(contents[i], start_s)[0] for i in contents if i in circling), default=0.0)
    alone = [parcel for i in contents.keys() - lasting.keys() for parcel in contents[i]]
    for i, content in contents.items():
        if i not in lasting:
            oldest, mean = ages_of(alone, start_s)
            born, usual = start_s - oldest, start_s - mean
            later[i] = [(parcels.total(content), born, born, usual, usual)]
            knots[i], means[i] = [(0.0, oldest), (dt_s, oldest + dt_s)], (mean + 0.5 * dt_s) * dt_s
            continue
        if i in ordered:
            later[i], knots[i] = ordered[i].content, ordered[i].knots
            means[i] = ordered[i].mean_integral_s2
            continue
        oldest, mean = ages_of(content, start_s)
        inlet, outlet = lasting[i]
        oldest = max(oldest, round_s)
        lasts = min(0.5 * (inlet + outlet), oldest + 0.5 * dt_s)
        apart = share * (mean - lasts)
        earliest = start_s - oldest
        front, back = end_s - outlet - apart, end_s - inlet - apart
        front, back = max(earliest, front), max(earliest, back)  # nothing is older than the oldest
        later[i] = [(parcels.total(content), earliest, earliest, front, back)]
        knots[i] = [(0.0, oldest), (dt_s, oldest + dt_s)]
        means[i] = lasts * dt_s + (mean - lasts) * fading * (1.0 - share)
    return later, knots, means


def _in_order(p: Pattern) -> Pattern:
    """The part of a pattern that no circling water comes to."""

    def is_reached(i: int) -> bool:
        return math.isfinite(p.reached_s[i])

    nodes = [
        (links_in, tuple(i for i in links_out if is_reached(i)))
        for links_in, links_out in p.nodes
        if all(is_reached(i) for i in links_in)
    ]
    return replace(p, nodes=tuple(nodes), loop=())


def _lasting_ages(
    plugs: Sequence[Plug], p: Pattern, leaves: Mapping[int, float] | None = None
) -> dict[int, tuple[float, float]]:
    """Mean ages [s] at both ends of each plug that tub water comes to, inlet first, after running for ever.

    At a junction the ages that arrive are weighted by flow; along a plug they grow by its transit time.
    *leaves*: at the outlets where they are known [s], which then stay as they are.
    """
    known = leaves or {}
    ways = {i: (plugs[i].a, plugs[i].b) if p.flows[i] > 0 else (plugs[i].b, plugs[i].a) for i in _links(p)}
    ends = dict[int, tuple[str, str]]()
    while more := {i: way for i, way in ways.items() if way[0] in {"tub", *(b for _, b in ends.values())}}:
        ends |= more
        ways = {i: way for i, way in ways.items() if i not in more}
    nodes = sorted({n for pair in ends.values() for n in pair} - {"tub"})
    at = {n: k for k, n in enumerate(nodes)}
    matrix, transit = np.eye(len(nodes)), np.zeros(len(nodes))
    for n, k in at.items():
        arriving = [i for i in ends if ends[i][1] == n]
        whole = sum(abs(p.flows[i]) for i in arriving)
        for i in arriving:
            if i in known:
                transit[k] += abs(p.flows[i]) / whole * known[i]
                continue
            if ends[i][0] != "tub":
                matrix[k, at[ends[i][0]]] -= abs(p.flows[i]) / whole
            transit[k] += plugs[i].volume_m3 / whole
    ages = np.linalg.solve(matrix, transit)
    ages_at = {}
    for i, (start, _) in ends.items():
        inlet = 0.0 if start == "tub" else float(ages[at[start]])
        ages_at[i] = (inlet, inlet + plugs[i].volume_m3 / abs(p.flows[i]))
    return ages_at


def _links(p: Pattern) -> list[int]:
    """Every link that water moves through, valves too."""
    return [i for i, q in enumerate(p.flows) if abs(q) > STILL_M3_S]


def _mean_birth_s(stream: Sequence[Parcel]) -> float:
    """Mean birth [s] of all that a stream holds."""
    return sum(v * 0.5 * (mf + mb) for v, _, _, mf, mb in stream) / parcels.total(stream)


def ages_of(content: Sequence[Parcel], now_s: float) -> tuple[float, float]:
    """Oldest and mean age [s] of standing *content* at *now_s*."""
    return now_s - min(min(p[1], p[2]) for p in content), now_s - _mean_birth_s(content)
