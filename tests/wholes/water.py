"""Water age by looking back: the water at a pipe's end now went in when the pipe's volume had yet to pass.

Nothing is pushed along. What has passed a piece up to a second is one rising curve; read backwards it tells
when the water at the far end came in, and what was born when at the junction it came from. Sampled at every
whole second at which a loop moves. Where waters meet, the oldest counts.
"""

from dataclasses import dataclass

import numpy as np

from tests.wholes.hydraulics import Hydraulics
from tests.wholes.plant import TUB, Layout, Piece

STILL_M3_S = 1e-8
JUMP_S = 10.0
"""Two neighbouring samples of birth further apart than this are two waters, not one that ages."""

Duties = list[tuple[int, int, tuple[str, ...]]]
"""(from, until, speeds of all pumps and positions of all diverters), without gaps."""


@dataclass(frozen=True)
class Age:
    """One piece: the seconds at which it moves or comes to rest, and the earliest birth in it then."""

    at_s: np.ndarray
    birth_s: np.ndarray
    first_birth_s: float

    def peak_s(self, start_s: float, end_s: float) -> float:
        """The oldest that its water gets from one second to another."""
        i, j = np.searchsorted(self.at_s, [start_s, end_s], side="right")
        seen = [end_s - self._birth(end_s)]
        if i > 0 or start_s >= 0:
            seen.append(start_s - self._birth(start_s))
        if j > i:
            seen.append(float(np.max(self.at_s[i:j] - self.birth_s[i:j])))
        return max(seen)

    def _birth(self, at_s: float) -> float:
        i = int(np.searchsorted(self.at_s, at_s, side="right"))
        return float(self.birth_s[i - 1]) if i else self.first_birth_s

    def over(self, seconds: np.ndarray) -> np.ndarray:
        """Oldest age [s] at each of these seconds."""
        i = np.searchsorted(self.at_s, seconds, side="right")
        births = np.concatenate([[self.first_birth_s], self.birth_s])
        return np.asarray(seconds - births[i])


def ages(layout: Layout, hydraulics: Hydraulics, duties: Duties, first_birth_s: float) -> dict[str, Age]:
    """Every piece that holds water; *first_birth_s* is the birth of what is in it at the beginning."""
    found: dict[str, Age] = {}
    for loop in layout.loops:
        found |= _loop(loop, hydraulics, duties, first_birth_s)
    return found


def _loop(loop: list[Piece], hydraulics: Hydraulics, duties: Duties, first: float) -> dict[str, Age]:
    moving = [
        (a, b, flows)
        for a, b, flows in ((a, b, hydraulics.flows(s)) for a, b, s in duties)
        if any(flows[p.name] > STILL_M3_S for p in loop)
    ]
    if not moving:
        return {p.name: Age(np.zeros(0), np.zeros(0), first) for p in loop if p.volume_m3}
    t = np.concatenate([np.arange(a, b + 1.0) for a, b, _ in moving])  # in order; some end as others begin
    t = t[np.append(True, np.diff(t) > 0)]
    flow: dict[str, np.ndarray] = {}  # over the second that begins at each sample
    for p in loop:
        rate = np.zeros(len(t))
        for a, b, flows in moving:
            rate[np.searchsorted(t, a) : np.searchsorted(t, b)] = flows[p.name]
        flow[p.name] = rate
    at_node: dict[str, np.ndarray] = {TUB: t}  # what leaves the tub is born then
    left = list(loop)
    out: dict[str, np.ndarray] = {}
    found: dict[str, Age] = {}
    while left:
        ready = [p for p in left if p.a in at_node]
        assert ready, "water circles"
        for p in ready:
            left.remove(p)
            out[p.name], age = _through(p, t, flow[p.name], at_node[p.a], first)
            if age is not None:
                found[p.name] = age
        for node in {p.b for p in ready} - {TUB}:
            coming = [p for p in loop if p.b == node]
            if all(p.name in out for p in coming):
                at_node[node] = np.minimum.reduce([out[p.name] for p in coming])
    return found


def _through(
    p: Piece, t: np.ndarray, rate: np.ndarray, enters: np.ndarray, first: float
) -> tuple[np.ndarray, Age | None]:
    """Births at the far end at every sample (inf where nothing comes out), and the oldest inside."""
    moves = rate > STILL_M3_S
    moves[1:] |= rate[:-1] > STILL_M3_S  # the sample at which it stops counts too
    born = np.full(len(t), np.inf)
    if not p.volume_m3:
        born[moves] = enters[moves]
        return born, None
    at = np.flatnonzero(moves)
    if not len(at):
        return born, Age(np.zeros(0), np.zeros(0), first)
    passed = np.concatenate([[0.0], np.cumsum(rate[:-1] * np.diff(t))])[at]
    passed -= passed[0]
    came = enters[at]
    k = np.interp(passed - p.volume_m3, passed, np.arange(len(at)))  # when the water at the end came in
    lower = np.floor(k).astype(int)
    upper = np.minimum(lower + 1, len(at) - 1)
    one_water = np.abs(came[upper] - came[lower]) < JUMP_S
    between = came[lower] + (k - lower) * (came[upper] - came[lower])
    nearer = np.where(k - lower < 0.5, came[lower], came[upper])  # a front between two samples: within 0.5 s
    here = np.where(one_water, between, nearer)
    here[passed < p.volume_m3] = first
    born[at] = here
    inside = np.minimum(here, _least(came, np.ceil(k - 0.5).astype(int), np.arange(len(at))))
    return born, Age(t[at], inside, first)


def _least(values: np.ndarray, start: np.ndarray, end: np.ndarray) -> np.ndarray:
    """The least of values[start..end] for each pair: a sparse table, doubling."""
    length = end - start + 1
    power = np.floor(np.log2(length)).astype(int)
    found = np.empty(len(start))
    table, size = values, 1
    for level in range(int(power.max()) + 1):
        mine = power == level
        found[mine] = np.minimum(table[start[mine]], table[end[mine] - size + 1])
        table, size = np.minimum(table[: -size or None], table[size:]), 2 * size
    return found
