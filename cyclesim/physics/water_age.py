"""Water age in a network of plugs: which water is where, and how old, through any history of flows.

Exact between changes of flow. Two facts keep a year cheap. Standing water is not touched. And when one flow
pattern has lasted long enough to replace everything that it moves, each plug holds that pattern's *steady
profile*, so the next passage depends on nothing but the pair of patterns and how long the water stood: it is
worked out once per pair and read off ever after, every age in old water being shifted by the standing time.
Plugs that have stood for different times are groups, the freshest first: as long as all water of one group is
older than all of the group before, which is the oldest at each moment does not depend on the times.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Container, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np

from cyclesim.physics import parcels
from cyclesim.physics.age_book import FAR_S, AgeBook, Emitted, Floats, Passage, Passages, group_of
from cyclesim.physics.parcels import Knot, Parcel

STILL_M3_S = 1e-8
"""Below this a plug counts as still [m3/s]: 0.6 mL/min, a drip."""

_BORN_AT_BASE, _EXPLICIT = -1, -2
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
    profile: dict[int, list[Parcel]] = field(default_factory=dict)
    stands: dict[int, tuple[int, ...]] = field(default_factory=dict)
    """What has stood under each other pattern before and moves now."""
    steady: dict[int, tuple[float, float]] = field(default_factory=dict)
    """Per moving plug, the oldest and the mean age [s] once the pattern has cleared it."""
    memo: dict[tuple[tuple[int, ...], tuple[int, ...]], Passages] = field(default_factory=dict)
    """By what each moving plug holds, and of which group it is."""


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


def _run(
    plugs: Sequence[Plug],
    p: Pattern,
    contents: dict[int, list[Parcel]],
    start_s: float,
    dt_s: float,
    asked: Container[int],
) -> tuple[dict[int, list[Parcel]], dict[int, list[Knot]], dict[int, float]]:
    """Any stretch of time at one pattern: new contents; knots of the oldest age, integrals of the mean.

    Of the latter two those of *asked* plugs.
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
    round_s = max((_ages(contents[i], start_s)[0] for i in contents if i in circling), default=0.0)
    alone = [parcel for i in contents.keys() - lasting.keys() for parcel in contents[i]]
    for i, content in contents.items():
        if i not in lasting:
            oldest, mean = _ages(alone, start_s)
            born, usual = start_s - oldest, start_s - mean
            later[i] = [(parcels.total(content), born, born, usual, usual)]
            knots[i], means[i] = [(0.0, oldest), (dt_s, oldest + dt_s)], (mean + 0.5 * dt_s) * dt_s
            continue
        if i in ordered:
            later[i], knots[i] = ordered[i].content, ordered[i].knots
            means[i] = ordered[i].mean_integral_s2
            continue
        oldest, mean = _ages(content, start_s)
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


def _ages(content: Sequence[Parcel], now_s: float) -> tuple[float, float]:
    """Oldest and mean age [s] of standing *content* at *now_s*."""
    return now_s - min(min(p[1], p[2]) for p in content), now_s - _mean_birth_s(content)


class WaterAge:
    """Follows the water of every plug from *start_s*, when all of it is the tub's own (age 0).

    *emit* and *limit_s* as for `AgeBook`, once for each closed interval of each plug in *recorded*; a plug's
    intervals tile the time.
    """

    def __init__(
        self,
        plugs: Sequence[Plug],
        recorded: Sequence[int],
        limit_s: float,
        start_s: float,
        emit: Callable[[int, Floats], None],
    ) -> None:
        self.plugs = tuple(plugs)
        self._asked = frozenset(recorded)
        self._book = AgeBook(recorded, limit_s, emit)
        n = len(plugs)
        self._contents: list[list[Parcel]] = [[] for _ in plugs]
        self._tokens = [_BORN_AT_BASE] * n
        self._bases = [start_s] * n
        self._forward = [True] * n
        self._since = [start_s] * n
        self._patterns: list[Pattern] = []
        self.still = self.pattern([0.0] * n)
        self._now = self.still
        self._from_s = start_s

    def pattern(self, flows: Sequence[float]) -> Pattern:
        """The pattern of these *flows* [m3/s], one per plug in order; positive runs from a to b."""
        p = pattern_of(self.plugs, len(self._patterns), flows)
        self._patterns.append(p)
        p.moving = tuple(i for i in p.moving if self.plugs[i].volume_m3 > 0.0)
        if p.moving and math.isfinite(p.clear_s):
            contents = {i: [(self.plugs[i].volume_m3, 0.0, 0.0, 0.0, 0.0)] for i in p.moving}
            end_s = 1.01 * p.clear_s
            p.profile = {
                i: parcels.shifted(c, -end_s)
                for i, c in _run(self.plugs, p, contents, 0.0, end_s, ())[0].items()
            }
            p.steady = {i: _ages(c, 0.0) for i, c in p.profile.items()}
        return p

    def change(self, at_s: float, to: Pattern) -> None:
        """From *at_s* on the flows are those of *to*."""
        stands = to.stands.get(self._now.index)
        if stands is None:
            stands = tuple(i for i in to.moving if i not in self._now.moving)
            to.stands[self._now.index] = stands
        self._close(at_s, stands)
        self._now = to

    def close(self, at_s: float) -> None:
        """Close every open interval at *at_s*, and tell of all that have been closed."""
        self._close(at_s, range(len(self.plugs)))
        self._book.tell()

    def _close(self, at_s: float, standing: Iterable[int] = ()) -> None:
        """Close the open intervals at *at_s*: of all that moves, and of *standing* plugs."""
        if at_s > self._from_s:
            if self._now.moving:
                self._advance(self._now, self._from_s, at_s)
            self._from_s = at_s
        for i in standing:
            since = self._since[i]
            if i in self._asked and at_s > since:
                token = self._tokens[i]
                if token >= 0:  # nearly always
                    base, (oldest, mean) = self._bases[i], self._patterns[token].steady[i]
                    self._book.stood(i, since, at_s, base - oldest, base - mean)
                else:
                    self._book.stood(i, since, at_s, *self._standing_births(i))
            self._since[i] = at_s

    def ages(self, plug: int, at_s: float) -> tuple[float, float]:
        """Oldest and mean age [s] in *plug* at *at_s*, not before the last change."""
        self._close(at_s)
        return _ages(self._content(plug, forward=True), at_s)

    def contents(self, plug: int) -> list[Parcel]:
        """Parcels in *plug* at the last change, from end b to end a."""
        return self._content(plug, forward=True)

    def _content(self, i: int, *, forward: bool) -> list[Parcel]:
        """Content of plug *i* with the end that leaves first in front."""
        token, base = self._tokens[i], self._bases[i]
        if token == _EXPLICIT:
            content = self._contents[i]
        elif token == _BORN_AT_BASE:
            return [(self.plugs[i].volume_m3, base, base, base, base)]
        else:
            content = parcels.shifted(self._patterns[token].profile[i], base)
        return content if self._forward[i] == forward else parcels.turned(content)

    def _standing_births(self, i: int) -> tuple[float, float]:
        """Earliest and mean birth [s] in plug *i*, which holds no steady profile."""
        token, base = self._tokens[i], self._bases[i]
        if token == _BORN_AT_BASE:
            return base, base
        oldest, mean = _ages(self._contents[i], 0.0)
        return -oldest, -mean

    def _advance(self, p: Pattern, t0: float, t1: float) -> None:
        dt = t1 - t0
        if not p.profile or dt < p.clear_s:
            self._advance_exact(p, t0, dt, 0.0)
            return
        since = [self._bases[i] for i in p.moving]
        tokens = tuple([self._tokens[i] for i in p.moving])
        together = since.count(since[0]) == len(since)
        bases = since[:1] if together else sorted(set(since), reverse=True)
        if p.clear_s < 0.5 * FAR_S and self._are_apart(p, bases, tokens):
            groups = (0,) * len(since) if together else tuple([bases.index(base) for base in since])
            passages = p.memo.get((tokens, groups))
            if passages is None:
                passages = p.memo[tokens, groups] = self._work_out(p, groups)
            self._book.passed(passages, t0, t1, bases)
        else:
            self._advance_exact(p, t0, p.clear_s, dt - p.clear_s)
        for i in p.moving:
            self._tokens[i], self._bases[i] = p.index, t1
            self._forward[i] = p.flows[i] > 0.0
            self._since[i] = t1

    def _advance_exact(self, p: Pattern, t0: float, dt: float, steady_s: float) -> None:
        """Work through *dt* parcel by parcel; then *steady_s* more at the steady profile."""
        contents = {i: self._content(i, forward=p.flows[i] > 0.0) for i in p.moving}
        contents, knots, means = _run(self.plugs, p, contents, t0, dt, self._asked)
        t1 = t0 + dt + steady_s
        for i in p.moving:
            self._contents[i], self._tokens[i], self._bases[i] = contents[i], _EXPLICIT, t1
            self._forward[i] = p.flows[i] > 0.0
            self._since[i] = t1
            if i not in self._asked:
                continue
            peak, oldest, mean = parcels.peak_s(knots[i]), parcels.integral_s2(knots[i]), means[i]
            steady_oldest, steady_mean = p.steady[i] if steady_s else (0.0, 0.0)
            peak, oldest = max(peak, steady_oldest), oldest + steady_oldest * steady_s
            row = Emitted(i, t0, t1, p.flows[i], peak, oldest, mean + steady_mean * steady_s, 0.0)
            self._book.flowed(row, knots[i], steady_s, steady_oldest)

    def _are_apart(self, p: Pattern, bases: Sequence[float], tokens: Sequence[int]) -> bool:
        """Whether what has stood since an earlier base is older than all that has stood since a later one."""
        if len(bases) == 1:
            return _EXPLICIT not in tokens
        longest = dict.fromkeys(bases, 0.0)
        for i in p.moving:
            token, base = self._tokens[i], self._bases[i]
            if token == _EXPLICIT:
                return False
            if token != _BORN_AT_BASE:
                longest[base] = max(longest[base], 1.01 * self._patterns[token].clear_s)
        return max(longest.values()) + p.clear_s < 0.5 * FAR_S and all(
            later - longest[later] > earlier for later, earlier in pairwise(bases)
        )

    def _work_out(self, p: Pattern, groups: Sequence[int]) -> Passages:
        """The passage of *p* through what stands there now, for standing times that are far apart."""
        stand = [
            parcels.shifted(self._content(i, forward=p.flows[i] > 0.0), -self._bases[i]) for i in p.moving
        ]
        count = 1 + max(groups)
        oldest, means = list[dict[int, float]](), list[dict[int, float]]()
        for farther in (*range(count, 0, -1), 0):  # groups from this one on have stood FAR_S longer
            contents = {
                i: parcels.shifted(c, -FAR_S * (group + (group >= farther))) if group or not farther else c
                for i, c, group in zip(p.moving, stand, groups, strict=True)
            }
            _, knots, mean = _run(self.plugs, p, contents, 0.0, p.clear_s, self._asked)
            oldest.append({i: parcels.integral_s2(knots[i]) for i in p.moving if i in self._asked})
            means.append(mean)
        passages = {}
        for i in oldest[0]:
            slopes = [
                tuple((more[i] - less[i]) / FAR_S for less, more in pairwise(integrals))[::-1]
                for integrals in (oldest, means)
            ]
            peaks = [0.0] + [-math.inf] * count
            for _, age in knots[i]:
                group = group_of(age)
                peaks[group] = max(peaks[group], age - FAR_S * group)
            passages[i] = Passage(knots[i], oldest[0][i], slopes[0], means[0][i], slopes[1], tuple(peaks))
        return Passages(passages, p.flows, p.steady, p.clear_s)
