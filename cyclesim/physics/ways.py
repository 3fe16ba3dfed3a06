"""What one set of flows does to the water of a circuit: from slugs for a while, or until all has settled.

Where tub water passes everything within SETTLES_S, what a passage from standing water loses and returns is
linear in the temperatures that stood, the tub's, the zones' and the heat put in: it is worked out once for
each of them, and kept.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from cyclesim.physics import warmth
from cyclesim.physics.loops import apart
from cyclesim.physics.settled import SettledReaches, Stirred, settle, straight_k
from cyclesim.physics.warmth import BEND_K, Floats, Moved, Reach, Slug, Surroundings
from cyclesim.physics.water_age import STILL_M3_S, Pattern, Plug, pattern_of

if TYPE_CHECKING:
    from cyclesim.physics.inside import Inside

Ints = NDArray[np.int64]
SETTLES_S = 600.0
"""What tub water reaches within this follows the tub's temperature."""
LONG_S = 300
"""What takes no longer is told to be as warm as if it had left a tub of now, at 1 K/h 0.08 K too warm, and
heat into it is in the tub at once; what does is not: see `Way.is_long`."""
_LONG_K = 0.1
"""So far settled water is there from one slug at most that holds its heat, so that it goes on by vector."""
_JOINED_K = 0.1
"""More than making one slug of two, reach by reach, takes from the coldest water on its way."""
_LARGE_K, _LARGE_W = 30.0, 3000.0
_TURNS = 8  # rounds within one piece for which circling water is followed slug by slug


@dataclass(frozen=True)
class Way:
    """One set of flows through a circuit: what settles, after how long, and what is followed for ever."""

    circuit: int
    pattern: Pattern
    settled: SettledReaches
    settles: tuple[int, ...]
    """Places in `settled.moving`: those of the reaches that follow the tub after *after_s*."""
    members: frozenset[int]
    """The reaches at these places."""
    after_s: int
    is_long: bool
    """Whether settled water is told how fast the tub warms, and followed anew if it is heated otherwise."""
    lost_w: Floats
    """Factors of the loss of all that settles."""
    held_j: Floats
    stirred: Stirred | None
    turn_s: float
    upstream: tuple[tuple[int, tuple[int, ...]], ...]
    """Each moving reach with those whose water it meets, itself among them."""
    is_fast: bool
    """Whether all of it settles."""
    heats: Floats
    """Among the forces, 1 for heat into what moves."""
    drawn_m3_s: float
    """Flow out of the tub."""
    straight: StraightWay
    passages: Passages


class StraightWay:
    """A way on which all settles, for water that is one slug in each reach: by vector.

    In the order of *held*, the reaches of its circuit that hold water: all fronts, then all backs. One slug
    may be off by *within_k*.
    """

    def __init__(
        self,
        reaches: Sequence[Reach],
        held: Sequence[int],
        pattern: Pattern,
        settled: SettledReaches,
        per_m3_k: float,
        within_k: float,
    ) -> None:
        n, columns = len(held), settled.held_j.shape[1]
        holds = [k for k, i in enumerate(settled.moving) if reaches[i].capacity_j_k]
        self.moving = tuple(settled.moving[k] for k in holds)
        """The moving reaches that hold water."""
        moving = [reaches[i] for i in self.moving]
        at: Ints = np.array([held.index(i) for i in self.moving], dtype=np.int64)
        both = np.concatenate((at, at + n))
        capacity = np.array([reach.capacity_j_k for reach in moving])
        self.half_j_k: Floats = np.zeros(2 * n)
        """Of the ends of what moves, 0 for what stands."""
        self.half_j_k[both] = 0.5 * np.concatenate((capacity, capacity))
        self.moves_all = len(holds) == n
        self.still: Floats = np.ones(2 * n)
        """1 for the ends of what stands, 0 for what moves."""
        self.still[both] = 0.0
        mean = settled.held_j[holds] / capacity[:, None]
        half = 0.5 * (settled.outlet[holds] - settled.inlet[holds])
        flows = [pattern.flows[i] for i in self.moving]
        half[np.array(flows) < 0.0] *= -1.0
        limits_k = [straight_k(r, abs(q), per_m3_k, within_k) for r, q in zip(moving, flows, strict=True)]
        self.ends: Floats = np.zeros((3 * n, columns))
        """Factors of the temperatures at the ends of what moves, then of how far apart these are.

        1 is as far as one slug allows.
        """
        self.ends[both] = np.concatenate((mean + half, mean - half))
        self.ends[2 * n + at] = 2.0 * half / np.array(limits_k)[:, None]
        self.lost_w: Floats = np.zeros((n, columns))
        """Factors of what each reach loses, 0 for what stands."""
        self.lost_w[at] = settled.lost_w[holds]


class Passages:
    """What a passage does, from standing water until all has settled, per kelvin at one place or per watt.

    Columns: fronts, then backs of the reaches of the circuit that hold water; the forces, the tub's place for
    one that is as warm all the time.
    """

    def __init__(self, held: int, seconds: int, forces: int) -> None:
        self.tub, columns = 2 * held, 2 * held + forces
        """The column of the tub."""
        self.lost_j: Floats = np.zeros((held, columns))
        """Loss of each reach [J]."""
        self.returned_j: Floats = np.zeros((seconds, columns))
        """What all have returned [J] after each second."""
        self.rising_j: Floats = np.zeros(held)
        """Loss of each reach [J] per kelvin that the tub is warmer at the end than at the start."""
        self.held_j: Floats = np.zeros(columns)
        """What all hold at the end [J], with what they have returned, beside a tub that stays as it is."""
        self.lost_as_tub_rises_j = 0.0
        """What is to be taken from that per kelvin that the tub is warmer at the end than at the start."""
        self.inside: dict[int, Inside] = {}
        """What reaches hold by the second, as far as somebody has asked."""
        self.apart: dict[tuple[int, ...], tuple[float, Floats]] = {}
        """By how much reaches are warmer than a tub of that heat capacity, second by second, likewise."""
        self.known: set[int] = set()
        """Columns that have been worked out."""
        self.asked: frozenset[int] | None = None
        """The heated reaches for which they were, the last time."""
        self._back: tuple[float, Floats] | None = None
        self._fed: Floats | None = None

    def complete(self, way: Way) -> None:
        """More columns have been worked out."""
        gained = np.concatenate((way.straight.half_j_k, way.heats * way.after_s))
        self.held_j, self._fed = gained - self.lost_j.sum(axis=0), None
        self.apart.clear()
        self.lost_as_tub_rises_j = float(self.rising_j.sum())

    def fed(self, tub_j_k: float) -> tuple[Floats, Floats]:
        """What makes of all that would be returned [J], second by second, what is; and factors of the latter.

        As cold water comes into a tub of *tub_j_k* [J/K], the tub sends out colder water, which takes less
        with it and comes back colder. What a step of the tub at second j has returned at second t is that of
        a passage at a steady tub, t - j later; within a second the tub is taken as in its middle.
        """
        if self._back is None or self._back[0] != tub_j_k:
            step = self.returned_j[:, self.tub]
            middle = np.concatenate(([0.0], 0.5 * (step[:-1] + step[1:]), [0.0]))
            by_k = np.diff(middle)  # by a kelvin of the tub in one second, so many seconds later
            answer = _answer(by_k / tub_j_k)
            later = np.arange(len(step))[:, None] - np.arange(len(step))
            back: Floats = np.where(later >= 0, answer[np.maximum(later, 0)], 0.0)
            back[:, 0] = later[:, 0] == 0  # the tub begins as it is
            self._back, self._fed = (tub_j_k, back), None
        if self._fed is None:
            self._fed = self._back[1] @ self.returned_j
        return self._back[1], self._fed


class Ways:
    """Ways through the reaches of a plant, as they are met; *per_m3_k*: rho c of water [J/(m3 K)]."""

    def __init__(self, reaches: Sequence[Reach], per_m3_k: float) -> None:
        zones = dict.fromkeys(r.zone for r in reaches if r.ua_w_k)
        self.reaches, self.zones, self.per_m3_k = tuple(reaches), tuple(zones), per_m3_k
        self.plugs = [Plug(r.name, r.a, r.b, r.capacity_j_k / per_m3_k) for r in reaches]
        self.circuits = [tuple(circuit) for circuit in apart(self.plugs)]
        """Reaches that share junctions other than the tub."""
        self.held = [tuple(i for i in circuit if reaches[i].capacity_j_k) for circuit in self.circuits]
        """Those of each circuit that hold water."""
        self.first_heat = 1 + len(self.zones)
        self.forces = self.first_heat + len(self.reaches) + 1
        """How many forces there are: the tub, the zones, heat into each reach, how fast the tub warms."""
        self._known: dict[tuple[float, ...], Way] = {}

    def stands(self, i: int, flows_m3_s: Sequence[float]) -> bool:
        """Whether at these flows no water moves in the circuit of reach *i*."""
        circuit = next(circuit for circuit in self.circuits if i in circuit)
        return all(abs(flows_m3_s[k]) <= STILL_M3_S for k in circuit)

    def of(self, g: int, flows_m3_s: Sequence[float]) -> Way | None:
        """The way through circuit *g* at these flows, one for each reach of all; None where it stands."""
        flows = [0.0] * len(self.reaches)
        for i in self.circuits[g]:
            flows[i] = flows_m3_s[i] if abs(flows_m3_s[i]) > STILL_M3_S else 0.0
        if not any(flows):
            return None
        key = tuple(flows)
        way = self._known.get(key)
        if way is None:
            way = self._known[key] = self._lay_out(g, flows)
        return way

    def _lay_out(self, g: int, flows: Sequence[float]) -> Way:
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
        is_long = after_s > LONG_S
        heats = np.zeros(self.forces)
        heats[[self.first_heat + i for i in moving]] = 1.0
        return Way(
            g,
            pattern,
            settled,
            settles,
            frozenset(moving[k] for k in settles),
            after_s,
            is_long,
            settled.lost_w[list(settles)].sum(axis=0),
            settled.held_j[list(settles)].sum(axis=0),
            Stirred(self.reaches, pattern, settled, self.per_m3_k) if pattern.loop else None,
            warmth.turn_s(self.reaches, pattern, self.per_m3_k),
            tuple((i, tuple(sorted(before))) for i, before in upstream.items()),
            len(settles) == len(moving),
            heats,
            sum(
                abs(q)
                for p, q in zip(self.plugs, flows, strict=True)
                if q and (p.a if q > 0.0 else p.b) == "tub"
            ),
            StraightWay(
                self.reaches, self.held[g], pattern, settled, self.per_m3_k, _LONG_K if is_long else BEND_K
            ),
            Passages(len(self.held[g]), after_s + 1, self.forces),
        )

    def lead(
        self,
        way: Way,
        slugs: Mapping[int, list[Slug]],
        stream: list[Slug],
        forces: Floats,
        only: Collection[int] | None,
        *,
        asked: Collection[int] | None = None,
    ) -> Moved:
        """The *slugs* of now led along *way* behind the tub's *stream* [s]; *asked* as for `warmth.move`.

        *forces* in the order of `settled.forces`.
        All but *only* these hand on what the tub does, and are left out.
        """
        moving, flows = way.settled.moving, way.pattern.flows
        followed = moving if only is None else [i for i in moving if i in only]
        known = {i: stream for i in moving if i not in followed}
        contents = {i: slugs[i] if flows[i] > 0.0 else warmth.turned(slugs[i]) for i in followed}
        beside = self.beside(way, forces)
        return warmth.move(
            self.reaches, way.pattern, contents, stream, beside, self.per_m3_k, known, asked=asked
        )

    def passage(
        self,
        way: Way,
        slugs: Mapping[int, list[Slug]],
        tub_c: tuple[float, float],
        forces: Floats,
        only: Collection[int] | None = None,
        *,
        only_returned: bool = False,
    ) -> tuple[dict[int, float], Floats]:
        """What each reach loses, from its *slugs* of now until all has settled on *way*; and what all return.

        The latter by the second, the whole at the end. *tub_c*: the tub at both ends [degC]; *forces* in the
        order of `settled.forces`. All but *only* these stay at 0 degC, as does the tub
        then, and are left out. *only_returned*: the former is not worked out.
        """
        flows, stream = way.pattern.flows, [(float(way.after_s), *tub_c)]
        done = self.lead(way, slugs, stream, forces, only, asked=() if only_returned else None)
        seconds = np.arange(way.after_s + 1.0)
        returned = np.zeros(way.after_s + 1)
        for i in way.settled.moving if only is None else only:
            plug, flow = self.plugs[i], flows[i]
            if only is None and (plug.a if flow > 0.0 else plug.b) == "tub":
                returned -= abs(flow) * warmth.gathered(stream, seconds)
            if (plug.b if flow > 0.0 else plug.a) == "tub":
                returned += abs(flow) * warmth.gathered(done.streams[i], seconds)
        returned *= self.per_m3_k
        return done.lost_j, returned

    def passages(self, way: Way, heated: frozenset[int] | None) -> Passages:
        """What passages on a way do where these reaches are heated; None: what the tub's warmth alone does.

        What one kelvin or watt does is worked out when it is first asked for, and kept.
        """
        passages = way.passages
        if heated is None:
            self._work_out(way, (passages.tub,))
        elif passages.asked is not heated:
            heats = passages.tub + self.first_heat
            self._work_out(way, (*range(heats), *(heats + i for i in heated)))
            passages.asked = heated
        return passages

    def _work_out(self, way: Way, columns: Iterable[int]) -> None:
        passages, held = way.passages, self.held[way.circuit]
        n, tub = len(held), passages.tub
        missing = [k for k in columns if k not in passages.known]
        if not missing:
            return
        for column in missing:
            passages.known.add(column)
            if column < tub and held[column % n] not in way.members:
                continue  # it stays as it is
            size, causes = self.cause(way, column)
            slugs, only = self.as_slugs(way.circuit, causes[:tub]), self.warmed(way, column)
            for tub_c in ((size, 0.0), (0.0, size)) if column == tub else ((0.0, 0.0),):
                lost_j, returned_j = self.passage(way, slugs, tub_c, causes[tub:], only)
                lost = np.array([lost_j.get(i, 0.0) for i in held]) / size
                passages.lost_j[:, column] += lost
                passages.returned_j[:, column] += returned_j / size
                if column == tub:
                    passages.rising_j[:] = lost  # the later of both
        passages.complete(way)

    def cause(self, way: Way, column: int) -> tuple[float, Floats]:
        """One cause as large as it may be in a plant [K] or [W], and all of them with none beside it.

        A small one would be followed roughly: slugs are joined by temperatures, whatever these are of.
        """
        tub, causes = way.passages.tub, np.zeros(way.passages.tub + self.forces)
        causes[column] = _LARGE_W if column >= tub + self.first_heat else _LARGE_K
        return float(causes[column]), causes

    def warmed(self, way: Way, column: int) -> set[int] | None:
        """The reaches that are warmed by what a column stands for, or by water from such; None: all."""
        force, held = column - way.passages.tub, self.held[way.circuit]
        if force == 0 or way.pattern.loop:
            return None
        if force < 0:
            first = {held[column % len(held)]}
        elif force < self.first_heat:
            first = {i for i in way.settled.moving if self.reaches[i].zone == self.zones[force - 1]}
        else:
            first = {force - self.first_heat}
        return {i for i, before in way.upstream if not first.isdisjoint(before)}

    def as_slugs(self, g: int, ends_c: Floats) -> dict[int, list[Slug]]:
        """The slugs of a circuit of which each reach holds one, with these temperatures at the ends."""
        held, temps = self.held[g], ends_c.tolist()
        slugs: dict[int, list[Slug]] = {i: [] for i in self.circuits[g]}
        for i, front, back in zip(held, temps, temps[len(held) :], strict=False):
            slugs[i] = [(self.plugs[i].volume_m3, front, back)]
        return slugs

    def arriving(
        self, way: Way, slugs: Mapping[int, list[Slug]], tub_c: float, forces: Floats
    ) -> list[list[Slug]]:
        """What comes into the tub by each reach that leads there, from *slugs* of now on: streams [s].

        Until tub water has passed all that settles, or for SETTLES_S; of water that circles, one round.
        """
        flows, moving, lasts_s = way.pattern.flows, way.settled.moving, _arrives_for_s(way)
        contents = {i: slugs[i] if flows[i] > 0.0 else warmth.turned(slugs[i]) for i in moving}
        beside, stream = self.beside(way, forces), [(lasts_s, tub_c, tub_c)]
        streams = warmth.move(
            self.reaches, way.pattern, contents, stream, beside, self.per_m3_k, asked=()
        ).streams
        ends = {i: self.plugs[i].b if flows[i] > 0.0 else self.plugs[i].a for i in moving}
        return [streams[i] for i in moving if ends[i] == "tub"]

    def arrives_above_c(self, way: Way, coldest_c: float, tub_c: float, forces: Floats) -> float:
        """What comes in by `arriving`, of water of *coldest_c* or warmer, is nowhere colder than this [degC].

        For as long as that lasts it all falls as fast as it first would in the reach that cools most.
        """
        beside, begins_c = self.beside(way, forces), min(coldest_c, tub_c)
        falls_k_s = 0.0
        for i, (zone_c, heat_w) in beside.items():
            if heat_w < 0.0:
                return -math.inf
            falls_k_s = max(falls_k_s, self.reaches[i].rate_1_s * (begins_c - zone_c))
        return begins_c - falls_k_s * _arrives_for_s(way) - _JOINED_K

    def follow(
        self,
        way: Way,
        slugs: Mapping[int, list[Slug]],
        tub: list[Slug],
        forces: Floats,
        *,
        settled_too: bool,
        asked: int | None = None,
    ) -> Moved:
        """What water does for as long as the stream *tub* [s] lasts.

        *slugs* of all reaches are led along *way*, with *forces* in the order of `settled.forces`.
        With *settled_too* all is followed, else only what does not settle, behind what has. *asked*: nothing
        but what this reach holds at the end is worked out.
        """
        settled = way.settled
        known: dict[int, list[Slug]] = {}
        if asked is not None:
            feeds = dict(way.upstream)[asked]
            known = {i: [] for i in settled.moving if i not in feeds}
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
        return self._in_rounds(way, contents, self.beside(way, forces), tub, known, asked)

    def beside(self, way: Way, forces: Floats) -> dict[int, Surroundings]:
        """What acts on each moving reach."""
        acts = forces.tolist()
        at_zone = dict(zip(self.zones, acts[1:], strict=False))
        heats = acts[self.first_heat :]
        of_each = ((i, (at_zone.get(self.reaches[i].zone, 0.0), heats[i])) for i in way.settled.moving)
        return {i: tuple.__new__(Surroundings, acts_on) for i, acts_on in of_each}  # half the time

    def _in_rounds(
        self,
        way: Way,
        contents: Mapping[int, list[Slug]],
        beside: Mapping[int, Surroundings],
        tub: list[Slug],
        known: Mapping[int, list[Slug]],
        asked: int | None,
    ) -> Moved:
        """`warmth.move`, in steps in which water that circles does not come round."""
        dt_s, stream, rest = warmth.total(tub), tub, tub
        rounds = max(1, math.ceil(dt_s / way.turn_s)) if way.turn_s < math.inf else 1
        if rounds == 1:
            of = None if asked is None else (asked,)
            return warmth.move(
                self.reaches, way.pattern, contents, stream, beside, self.per_m3_k, known, asked=of
            )
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


def _arrives_for_s(way: Way) -> float:
    """For how long [s] what comes into the tub first is followed, as `Ways.arriving` has it."""
    return min(float(way.after_s) or SETTLES_S, way.turn_s)


def _answer(by: Floats) -> Floats:
    """What comes of one by the step, where each step gets *by* of the one so many steps before, its own too.

    The first column of the inverse of I less the lower triangle with *by* along its diagonals.
    """
    answer = np.zeros(len(by))
    answer[0] = 1.0 / (1.0 - by[0])
    for k in range(1, len(by)):
        answer[k] = answer[0] * (by[1 : k + 1] @ answer[k - 1 :: -1])
    return answer
