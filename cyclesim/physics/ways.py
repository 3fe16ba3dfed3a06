"""What one set of flows does to the water of a circuit: from slugs for a while, or until all has settled.

Where tub water passes everything within SETTLES_S, what a passage from standing water loses and returns is
linear in the temperatures that stood, the tub's, the zones' and the heat put in: it is worked out once for
each of them, and kept.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from cyclesim.physics import warmth
from cyclesim.physics.settled import SettledReaches, Stirred, settle, straight_k
from cyclesim.physics.warmth import Floats, Moved, Reach, Slug, Surroundings
from cyclesim.physics.water_age import Pattern, Plug, pattern_of

Ints = NDArray[np.int64]
SETTLES_S = 600.0
"""What tub water reaches within this follows the tub's temperature; at 1 K/h it is told 0.17 K too warm."""
_TURNS = 8  # rounds within one piece for which circling water is followed slug by slug


@dataclass(frozen=True)
class Way:
    """One set of flows through a circuit: what settles, after how long, and what is followed for ever."""

    pattern: Pattern
    settled: SettledReaches
    settles: tuple[int, ...]
    """Places in `settled.moving`: those of the reaches that follow the tub after *after_s*."""
    members: frozenset[int]
    """The reaches at these places."""
    after_s: int
    lost_w: Floats
    """Factors of the loss of all that settles."""
    held_j: Floats
    stirred: Stirred | None
    turn_s: float
    upstream: tuple[tuple[int, tuple[int, ...]], ...]
    """Each moving reach with those whose water it meets, itself among them."""
    is_fast: bool
    """Whether all of it settles."""
    straight: StraightWay
    passages: Passages


class StraightWay:
    """A way on which all settles, for water that is one slug in each reach: by vector."""

    def __init__(
        self, reaches: Sequence[Reach], pattern: Pattern, settled: SettledReaches, per_m3_k: float
    ) -> None:
        n = len(reaches)
        holds = [k for k, i in enumerate(settled.moving) if reaches[i].capacity_j_k]
        moving = [settled.moving[k] for k in holds]
        capacity = np.array([reaches[i].capacity_j_k for i in moving])
        self.holds: Ints = np.array(holds, dtype=np.int64)
        """Places in `settled.moving` of what holds water."""
        self.places: Ints = np.array(moving, dtype=np.int64)
        both = np.concatenate((self.places, self.places + n))
        self.half_j_k: Floats = np.zeros(2 * n)
        self.half_j_k[both] = 0.5 * np.concatenate((capacity, capacity))
        self.heats: Floats = np.zeros(settled.held_j.shape[1])
        """1 for heat into what moves."""
        self.heats[[len(self.heats) - n + i for i in settled.moving]] = 1.0
        mean = settled.held_j[holds] / capacity[:, None]
        half = 0.5 * (settled.outlet[holds] - settled.inlet[holds])
        flows = np.array([pattern.flows[i] for i in moving])
        half[flows < 0.0] *= -1.0
        self.ends: Floats = np.concatenate((mean + half, mean - half))
        """Factors of the temperatures at front and back, once all has settled."""
        limits = [straight_k(reaches[i], abs(pattern.flows[i]), per_m3_k) for i in moving]
        self._apart = (self.ends[: len(moving)] - self.ends[len(moving) :]) / np.array(limits)[:, None]
        """Factors: how far front and back are apart, 1 if as far as they may be for one slug."""
        self._lost_w: Floats = settled.lost_w[holds]

    def in_order(self, places: Ints, half_j_k: Floats) -> Settled:
        """What is asked when all has settled; *places* of a circuit's reaches, *half_j_k* of their ends."""
        n, columns = len(places), self.ends.shape[1]
        moving = np.array([places.tolist().index(i) for i in self.places.tolist()], dtype=np.int64)
        both, still = np.concatenate((moving, moving + n)), np.ones(2 * n)
        still[both] = 0.0
        ends, lost_w = np.zeros((3 * n, columns)), np.zeros((n, columns))
        ends[both], ends[2 * n + moving], lost_w[moving] = self.ends, self._apart, self._lost_w
        return Settled(half_j_k * still, still, ends, lost_w, moving)


class Settled(NamedTuple):
    """A way on which all has settled, in the order of a circuit's ends: all fronts, then all backs."""

    half_j_k: Floats
    """Of the ends of what stands, 0 for what moves."""
    still: Floats
    """1 for the ends of what stands, 0 for what moves."""
    ends: Floats
    """Factors of the temperatures at the ends of what moves, then of how far apart these are.

    1 is as far as one slug allows.
    """
    lost_w: Floats
    """Factors of what each reach loses, 0 for what stands."""
    moving: Ints
    """Where the reaches of the way that hold water are."""


class Passages:
    """What a passage does, from standing water until all has settled, per kelvin at one place or per watt.

    Columns: fronts, then backs of all reaches; the tub at the start and the end; the forces.
    """

    def __init__(self, rows: int, columns: int, moving: int, tub: int) -> None:
        self.matrix: Floats = np.zeros((rows, columns))
        """Loss of each moving reach [J]; what all have returned [J] after each second."""
        self._lost, self._returned, self._tub = self.matrix[:moving], self.matrix[moving:], tub
        self._back: tuple[float, Floats] | None = None
        self._fed: Floats | None = None
        self.missing: Ints = np.arange(columns)
        """Columns that are not worked out yet."""

    def lost_j(self, causes: Floats) -> Floats:
        """What each moving reach loses [J]."""
        lost: Floats = self._lost @ causes
        return lost

    def forget(self, columns: Sequence[int]) -> None:
        """These columns have been worked out since."""
        self._fed = None
        if self._tub in columns or self._tub + 1 in columns:
            self._back = None

    def fed(self, tub_j_k: float) -> tuple[Floats, Floats]:
        """What makes of all that would be returned [J], second by second, what is; and factors of the latter.

        As cold water comes into a tub of *tub_j_k* [J/K], the tub sends out colder water, which takes less
        with it and comes back colder. What a step of the tub at second j has returned at second t is that of
        a passage at a steady tub, t - j later; within a second the tub is taken as in its middle.
        """
        if self._back is None or self._back[0] != tub_j_k:
            step = self._returned[:, self._tub] + self._returned[:, self._tub + 1]
            middle = np.concatenate(([0.0], 0.5 * (step[:-1] + step[1:]), [0.0]))
            by_k = np.diff(middle)  # by a kelvin of the tub in one second, so many seconds later
            later = np.arange(len(step))[:, None] - np.arange(len(step))
            by_now = np.where(later >= 0, by_k[np.maximum(later, 0)], 0.0)
            by_now[:, 0] = 0.0  # the tub begins as it is
            back = np.linalg.inv(np.eye(len(step)) - by_now / tub_j_k).astype(np.float64)
            self._back, self._fed = (tub_j_k, back), None
        if self._fed is None:
            self._fed = self._back[1] @ self._returned
        return self._back[1], self._fed


class Ways:
    """Ways through the reaches of a plant, as they are met; *per_m3_k*: rho c of water [J/(m3 K)]."""

    def __init__(self, reaches: Sequence[Reach], per_m3_k: float) -> None:
        zones = dict.fromkeys(r.zone for r in reaches if r.ua_w_k)
        self.reaches, self.zones, self.per_m3_k = tuple(reaches), tuple(zones), per_m3_k
        self.plugs = [Plug(r.name, r.a, r.b, r.capacity_j_k / per_m3_k) for r in reaches]
        self.first_heat = 1 + len(self.zones)
        self.forces = self.first_heat + len(self.reaches)
        """How many forces there are: the tub, the zones, heat into each reach."""
        self._known: dict[tuple[float, ...], Way] = {}

    def of(self, flows: Sequence[float]) -> Way | None:
        """The way at these flows [m3/s], one for each reach, 0 in other circuits; None where all stands."""
        if not any(flows):
            return None
        key = tuple(flows)
        way = self._known.get(key)
        if way is None:
            way = self._known[key] = self._lay_out(key)
        return way

    def _lay_out(self, flows: Sequence[float]) -> Way:
        pattern = pattern_of(self.plugs, 0, flows)
        settled = settle(self.reaches, pattern, self.per_m3_k, self.zones)
        moving = settled.moving
        reached = [math.inf if pattern.loop else pattern.reached_s[i] for i in moving]
        settles = tuple(k for k, at_s in enumerate(reached) if at_s <= SETTLES_S)
        after_s = math.ceil(max((reached[k] for k in settles), default=0.0))
        upstream: dict[int, set[int]] = {}
        for links_in, links_out in pattern.nodes:
            for i in links_out:
                upstream[i] = {i}.union(*(upstream.get(k, set()) for k in links_in))
        return Way(
            pattern,
            settled,
            settles,
            frozenset(moving[k] for k in settles),
            after_s,
            settled.lost_w[list(settles)].sum(axis=0),
            settled.held_j[list(settles)].sum(axis=0),
            Stirred(self.reaches, pattern, settled, self.per_m3_k) if pattern.loop else None,
            warmth.turn_s(self.reaches, pattern, self.per_m3_k),
            tuple((i, tuple(sorted(before))) for i, before in upstream.items()),
            len(settles) == len(moving),
            StraightWay(self.reaches, pattern, settled, self.per_m3_k),
            Passages(
                len(moving) + after_s + 1,
                2 * len(self.reaches) + 2 + self.forces,
                len(moving),
                2 * len(self.reaches),
            ),
        )

    def passage(
        self, way: Way, slugs: Mapping[int, list[Slug]], tub_c: tuple[float, float], forces: Floats
    ) -> tuple[list[float], Floats]:
        """What each reach of a circuit loses, from its slugs of now until all has settled; what all return.

        The latter by the second, the whole at the end.
        """
        contents = {
            i: slugs[i] if way.pattern.flows[i] > 0.0 else warmth.turned(slugs[i]) for i in way.settled.moving
        }
        return self._by_second(way, contents, self._beside(way, forces), tub_c)

    def causes(self, way: Way, temps_c: Floats, tub_c: tuple[float, float], forces: Floats) -> Floats:
        """What a passage is linear in, where the water is one slug in each reach: the columns of `Passages`.

        What one kelvin or watt does is worked out once for each of them, and kept.
        """
        n, passages = len(self.reaches), way.passages
        row = np.empty(2 * n + 2 + len(forces))
        row[: 2 * n] = temps_c
        row[2 * n : 2 * n + 2] = tub_c
        row[2 * n + 2 :] = forces
        if np.count_nonzero(row[passages.missing]):
            self._work_out(way, passages, row)
        return row

    def _work_out(self, way: Way, passages: Passages, row: Floats) -> None:
        n, size = len(self.reaches), len(row)
        columns = passages.missing[row[passages.missing] != 0.0].tolist()
        for k in columns:
            if k < 2 * n and k % n not in way.members:
                continue  # it stays as it is
            ones = np.zeros(size)
            ones[k] = 1.0
            contents = {}
            for i in way.members:
                slug = [(self.plugs[i].volume_m3, float(ones[i]), float(ones[n + i]))]
                contents[i] = slug if way.pattern.flows[i] > 0.0 else warmth.turned(slug)
            ends = float(ones[2 * n]), float(ones[2 * n + 1])
            lost, returned = self._by_second(way, contents, self._beside(way, ones[2 * n + 2 :]), ends)
            passages.matrix[:, k] = [*lost, *returned]
        passages.missing = passages.missing[row[passages.missing] == 0.0]
        passages.forget(columns)

    def arriving(
        self, way: Way, slugs: Mapping[int, list[Slug]], tub_c: float, forces: Floats
    ) -> list[list[Slug]]:
        """What comes into the tub by each reach that leads there, from *slugs* of now on: streams [s].

        Until tub water has passed all that settles, or for SETTLES_S; of water that circles, one round.
        """
        lasts_s = min(float(way.after_s) or SETTLES_S, way.turn_s)
        flows, moving = way.pattern.flows, way.settled.moving
        contents = {i: slugs[i] if flows[i] > 0.0 else warmth.turned(slugs[i]) for i in moving}
        beside, stream = self._beside(way, forces), [(lasts_s, tub_c, tub_c)]
        streams = warmth.move(
            self.reaches, way.pattern, contents, stream, beside, self.per_m3_k, only_streams=True
        ).streams
        ends = {i: self.plugs[i].b if flows[i] > 0.0 else self.plugs[i].a for i in moving}
        return [streams[i] for i in moving if ends[i] == "tub"]

    def _by_second(
        self,
        way: Way,
        contents: Mapping[int, list[Slug]],
        beside: Mapping[int, Surroundings],
        tub_c: tuple[float, float],
    ) -> tuple[list[float], Floats]:
        stream, flows = [(float(way.after_s), *tub_c)], way.pattern.flows
        done = warmth.move(self.reaches, way.pattern, contents, stream, beside, self.per_m3_k)
        seconds = np.arange(way.after_s + 1.0)
        returned = np.zeros(way.after_s + 1)
        for i in way.settled.moving:
            plug, flow = self.plugs[i], flows[i]
            if (plug.a if flow > 0.0 else plug.b) == "tub":
                returned -= abs(flow) * warmth.gathered(stream, seconds)
            if (plug.b if flow > 0.0 else plug.a) == "tub":
                returned += abs(flow) * warmth.gathered(done.streams[i], seconds)
        returned *= self.per_m3_k
        returned[-1] = done.returned_j
        return [done.lost_j[i] for i in way.settled.moving], returned

    def follow(
        self,
        way: Way,
        slugs: Mapping[int, list[Slug]],
        tub: list[Slug],
        forces: Floats,
        *,
        settled_too: bool,
    ) -> Moved:
        """What water does for as long as the stream *tub* [s] lasts.

        *slugs* of all reaches are led along *way*, with *forces* in the order of `settled.forces`.
        With *settled_too* all is followed, else only what does not settle, behind what has.
        """
        settled = way.settled
        known: dict[int, list[Slug]] = {}
        if not settled_too:
            rests = (settled.outlet @ forces).tolist()
            for k in way.settles:
                factor = float(settled.outlet[k][0])
                known[settled.moving[k]] = [
                    (t, rests[k] + factor * front, rests[k] + factor * back) for t, front, back in tub
                ]
        contents: Mapping[int, list[Slug]] = {
            i: slugs[i] if way.pattern.flows[i] > 0.0 else warmth.turned(slugs[i])
            for i in settled.moving
            if i not in known and self.reaches[i].capacity_j_k
        }
        dt_s = warmth.total(tub)
        if way.stirred is not None and dt_s > _TURNS * way.turn_s:
            at = forces.copy()
            at[0] = warmth.warmth(tub) / dt_s
            return way.stirred.over(dt_s, contents, at)
        return self._in_rounds(way, contents, self._beside(way, forces), tub, known)

    def _beside(self, way: Way, forces: Floats) -> dict[int, Surroundings]:
        """What acts on each moving reach."""
        acts = forces.tolist()
        at_zone = dict(zip(self.zones, acts[1:], strict=False))
        heats = acts[self.first_heat :]
        return {i: Surroundings(at_zone.get(self.reaches[i].zone, 0.0), heats[i]) for i in way.settled.moving}

    def _in_rounds(
        self,
        way: Way,
        contents: Mapping[int, list[Slug]],
        beside: Mapping[int, Surroundings],
        tub: list[Slug],
        known: Mapping[int, list[Slug]],
    ) -> Moved:
        """`warmth.move`, in steps in which water that circles does not come round."""
        dt_s, stream, rest = warmth.total(tub), tub, tub
        rounds = max(1, math.ceil(dt_s / way.turn_s)) if way.turn_s < math.inf else 1
        lost: dict[int, float] = {}
        returned = 0.0
        for k in range(rounds):
            if k + 1 < rounds:
                stream, rest = warmth.cut(rest, dt_s / rounds)
            else:
                stream = rest
            done = warmth.move(self.reaches, way.pattern, contents, stream, beside, self.per_m3_k, known)
            contents, returned = done.contents, returned + done.returned_j
            for i, j in done.lost_j.items():
                lost[i] = lost.get(i, 0.0) + j
        return Moved(dict(contents), lost, returned, {})
