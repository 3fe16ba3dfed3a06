"""What one set of flows does to the water of a circuit: from slugs for a while, or until all has settled.

Where tub water passes everything within SETTLES_S, what a passage from standing water loses and returns is
linear in the temperatures that stood, the tub's, the zones' and the heat put in: it is worked out once for
each of them, and kept.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from cyclesim.physics import warmth
from cyclesim.physics.settled import SettledReaches, Stirred, settle
from cyclesim.physics.warmth import Floats, Moved, Reach, Slug, Surroundings
from cyclesim.physics.water_age import Pattern, Plug, pattern_of

SETTLES_S = 300.0
"""What tub water reaches within this follows the tub's temperature; at 1 K/h it is told 0.08 K too warm."""
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
    passages: _Passages

    @property
    def is_fast(self) -> bool:
        """Whether all of it settles."""
        return len(self.settles) == len(self.settled.moving)


class _Passages:
    """What a passage does, from standing water until all has settled, per kelvin at one place or per watt."""

    def __init__(self, rows: int, size: int) -> None:
        self.known = np.zeros(size, dtype=bool)
        self.matrix: Floats = np.zeros((rows, size))
        """Loss of each moving reach [J]; what all have returned [J] after each second."""


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
            _Passages(len(moving) + after_s + 1, 2 * len(self.reaches) + 2 + self.forces),
        )

    def passage(
        self, way: Way, slugs: Sequence[list[Slug]], tub_c: tuple[float, float], forces: Floats
    ) -> tuple[list[float], Floats]:
        """What each reach of a circuit loses, from its slugs of now until all has settled; what all return.

        The latter by the second, the whole at the end.
        """
        if all(len(slugs[i]) == 1 for i in way.members):
            return self._at_once(way, slugs, tub_c, forces)
        contents = {
            i: slugs[i] if way.pattern.flows[i] > 0.0 else warmth.turned(slugs[i]) for i in way.settled.moving
        }
        return self._by_second(way, contents, self._beside(way, forces), tub_c)

    def arriving(
        self, way: Way, slugs: Sequence[list[Slug]], tub_c: float, forces: Floats
    ) -> list[list[Slug]]:
        """What comes into the tub by each reach that leads there, from *slugs* of now on: streams [s].

        Until tub water has passed all that settles, or for SETTLES_S; of water that circles, one round.
        """
        lasts_s = min(float(way.after_s) or SETTLES_S, way.turn_s)
        flows, moving = way.pattern.flows, way.settled.moving
        contents = {i: slugs[i] if flows[i] > 0.0 else warmth.turned(slugs[i]) for i in moving}
        beside, stream = self._beside(way, forces), [(lasts_s, tub_c, tub_c)]
        streams = warmth.move(self.reaches, way.pattern, contents, stream, beside, self.per_m3_k).streams
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
        slugs: Sequence[list[Slug]],
        dt_s: int,
        tub_c: tuple[float, float],
        forces: Floats,
        *,
        settled_too: bool,
    ) -> Moved:
        """A stretch of *dt_s* [s] on which the tub goes from one temperature of *tub_c* [degC] to the other.

        *slugs* of all reaches are led along *way*, with *forces* in the order of `settled.forces`.
        With *settled_too* all is followed, else only what does not settle, behind what has.
        """
        settled = way.settled
        known: dict[int, list[Slug]] = {}
        if not settled_too:
            rests = (settled.outlet @ forces).tolist()
            for k in way.settles:
                factor = float(settled.outlet[k][0])
                before, after = (rests[k] + factor * c for c in tub_c)
                known[settled.moving[k]] = [(dt_s, before, after)]
        contents: Mapping[int, list[Slug]] = {
            i: slugs[i] if way.pattern.flows[i] > 0.0 else warmth.turned(slugs[i])
            for i in settled.moving
            if i not in known and self.reaches[i].capacity_j_k
        }
        if way.stirred is not None and dt_s > _TURNS * way.turn_s:
            at = forces.copy()
            at[0] = 0.5 * sum(tub_c)
            return way.stirred.over(dt_s, contents, at)
        return self._in_rounds(way, contents, self._beside(way, forces), dt_s, tub_c, known)

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
        dt_s: float,
        tub_c: tuple[float, float],
        known: Mapping[int, list[Slug]],
    ) -> Moved:
        """`warmth.move`, in steps in which water that circles does not come round."""
        rounds = max(1, math.ceil(dt_s / way.turn_s)) if way.turn_s < math.inf else 1
        lost: dict[int, float] = {}
        returned = 0.0
        for k in range(rounds):
            a, b = (tub_c[0] + x / rounds * (tub_c[1] - tub_c[0]) for x in (k, k + 1))
            stream = [(dt_s / rounds, a, b)]
            done = warmth.move(self.reaches, way.pattern, contents, stream, beside, self.per_m3_k, known)
            contents, returned = done.contents, returned + done.returned_j
            for i, j in done.lost_j.items():
                lost[i] = lost.get(i, 0.0) + j
        return Moved(dict(contents), lost, returned, {})

    def _at_once(
        self, way: Way, slugs: Sequence[list[Slug]], tub_c: tuple[float, float], forces: Floats
    ) -> tuple[list[float], Floats]:
        """As `passage`, from slugs that fill a reach each: linear in these and in the forces.

        What one kelvin or watt does is worked out once for each of them, and kept. Nobody asks what is in the
        reaches afterwards, since it follows from the tub's temperature.
        """
        n, passages = len(self.reaches), way.passages
        at = np.zeros(2 * n + 2 + len(forces))
        for i in way.members:
            _, at[i], at[n + i] = slugs[i][0]
        at[2 * n : 2 * n + 2] = tub_c
        at[2 * n + 2 :] = forces
        for k in np.flatnonzero((at != 0.0) & ~passages.known).tolist():
            ones = np.zeros(len(at))
            ones[k] = 1.0
            contents = {}
            for i in way.members:
                slug = [(self.plugs[i].volume_m3, float(ones[i]), float(ones[n + i]))]
                contents[i] = slug if way.pattern.flows[i] > 0.0 else warmth.turned(slug)
            ends = float(ones[2 * n]), float(ones[2 * n + 1])
            lost, returned = self._by_second(way, contents, self._beside(way, ones[2 * n + 2 :]), ends)
            passages.matrix[:, k] = [*lost, *returned]
            passages.known[k] = True
        products = passages.matrix @ at
        return products[: len(way.settled.moving)].tolist(), products[len(way.settled.moving) :]
