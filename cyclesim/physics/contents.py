"""What water is where outside the tub, as it was when it was touched last: by vector, or in slugs."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from cyclesim.physics import warmth
from cyclesim.physics.forces import Forces
from cyclesim.physics.heat import ZoneFilter, decay
from cyclesim.physics.stays import OnStays, Stays, Straight
from cyclesim.physics.sunlit import Sunlit, balance_c
from cyclesim.physics.warmth import Floats, Moved, Slug
from cyclesim.physics.ways import Ways


class Contents:
    """The water of every reach, all at *water_c* at *start_s*; arguments as for Outside."""

    def __init__(
        self,
        ways: Ways,
        body_of: Sequence[int | None],
        forces: Forces,
        zones: Mapping[str, Sequence[float]],
        origin_s: int,
        start_s: int,
        water_c: float,
        on_stays: OnStays,
        suns_w: Mapping[int, Sequence[float]],
    ) -> None:
        reaches = self.reaches = ways.reaches
        self._ways, self._per_m3_k, n = ways, ways.per_m3_k, len(reaches)
        self.circuits = ways.circuits
        self.circuit_of = {i: g for g, c in enumerate(self.circuits) for i in c}
        self._place = {i: k for held in ways.held for k, i in enumerate(held)}
        kinds: dict[tuple[str, float], ZoneFilter] = {}
        for r in reaches:
            if r.ua_w_k and (key := (r.zone, round(r.rate_1_s, 15))) not in kinds:
                kinds[key] = ZoneFilter(zones[r.zone], 1.0 / r.rate_1_s, origin_s)
        self._filters = [kinds.get((r.zone, round(r.rate_1_s, 15))) for r in reaches]
        self.stays = Stays(reaches, body_of, start_s, water_c, on_stays)
        self._in_sun = list(self._filters)
        for i, sun_w in suns_w.items():
            r = reaches[i]
            self._in_sun[i] = ZoneFilter(balance_c(r, zones[r.zone], sun_w), 1.0 / r.rate_1_s, origin_s)
        self.straight = [
            Straight(
                held, reaches, (self._filters, self._in_sun), self.stays, forces, start_s, water_c,
                Sunlit(held, suns_w, origin_s),
            )
            for held in ways.held
        ]  # fmt: skip
        self._slugs: list[list[Slug]] = [[] for _ in reaches]
        self._since: list[float] = [float(start_s)] * n
        self.flows = [0.0] * n
        self.fixed_w: dict[int, float] = {}
        """Heat into reaches, whether their water stands or not [W]."""

    def of(self, g: int) -> dict[int, list[Slug]]:
        """The slugs of a circuit, as they were when it was touched last."""
        if not self.straight[g].is_straight:
            return {i: self._slugs[i] for i in self.circuits[g]}
        return self._ways.as_slugs(g, self.straight[g].ends_c)

    def open(self, g: int) -> None:
        """The water of a circuit is told slug by slug from now on."""
        straight = self.straight[g]
        if straight.is_straight:
            for i, slugs in self.of(g).items():
                self._slugs[i], self._since[i] = slugs, straight.touched_s
            straight.part()

    def straighten(self, g: int, now: int) -> None:
        """Tell the water of a circuit, which has come to *now*, by vector if it is one slug in each reach."""
        slugs = [self._slugs[i] for i in self.straight[g].held]
        if all(len(x) == 1 for x in slugs):
            self.straight[g].begin([x[0][1] for x in slugs] + [x[0][2] for x in slugs], now)
            self.heat(g)

    def heat(self, g: int) -> None:
        """What stands in a circuit, which has been touched now, gets heat from now on as it is asked for."""
        stands = dict[int, float]()
        for i, heat_w in self.fixed_w.items():
            if self.circuit_of[i] == g and not self.flows[i] and self.reaches[i].capacity_j_k:
                stands[i] = heat_w
        self.straight[g].heat(stands, all_stands=not any(self.flows[i] for i in self.circuits[g]))

    def _stood(self, i: int, since: float, at_s: float) -> tuple[float, float]:
        """The map of water that has stood in reach *i*: factor, and what is added."""
        reach, heat_w = self.reaches[i], self.fixed_w.get(i)
        zoned = (self._in_sun if self.straight[self.circuit_of[i]].is_lit else self._filters)[i]
        kept, gained = zoned.stood(since, at_s) if zoned else (1.0, 0.0)
        if heat_w is not None:
            gained += heat_w / reach.capacity_j_k * decay(reach.rate_1_s, at_s - since)[1]
        return kept, gained

    def standing(self, i: int, at_s: float) -> tuple[float, float]:
        """Heat above 0 degC in reach *i* [J], and the temperature [degC] at its coldest end.

        As it stands on until *at_s*; as it was where it moves.
        """
        straight = self.straight[self.circuit_of[i]]
        if straight.is_straight:
            ends_c, k = straight.ends_c, self._place[i]
            front, back = float(ends_c[k]), float(ends_c[len(ends_c) // 2 + k])
            held, coldest_c = 0.5 * self._ways.plugs[i].volume_m3 * (front + back), min(front, back)
            since = straight.touched_s
        else:
            since, slugs = self._since[i], self._slugs[i]
            held, coldest_c = warmth.warmth(slugs), warmth.ends(slugs)[0]
        kept, gained = (1.0, 0.0) if self.flows[i] else self._stood(i, since, at_s)
        return self._per_m3_k * kept * held + gained * self.reaches[i].capacity_j_k, coldest_c * kept + gained

    def lit(self, i: int, from_s: float, hours: int) -> Floats:
        """Heat above 0 degC [J] in reach *i* at hours after *from_s*, in the sun as all stands."""
        straight, zoned = self.straight[self.circuit_of[i]], self._in_sun[i]
        assert zoned is not None
        since = straight.touched_s if straight.is_straight else self._since[i]
        kept, gained = zoned.by_hour(since, from_s, hours)
        held_j: Floats = kept * self.standing(i, since)[0] + gained * self.reaches[i].capacity_j_k
        return held_j

    def put(self, i: int, slugs: list[Slug]) -> None:
        """Reach *i* holds these, the end that leaves first in front."""
        self._slugs[i] = slugs if self.flows[i] > 0.0 else warmth.turned(slugs)

    def take(self, done: Moved, end: int | None) -> None:
        """What water has done that moved, until *end* if that is now."""
        for i, slugs in done.contents.items():
            self.put(i, slugs)
            if end is not None:
                self._since[i] = end
            self.stays.colder(self.stays.body_of[i], warmth.ends(slugs)[0])
        for i, j in done.lost_j.items():
            self.stays.lost_j[i] += j

    def rest(self, g: int, now: int) -> None:
        """Bring the slugs of a circuit to *now*, and close the stays of its bodies."""
        straight, stays = self.straight[g], self.stays
        if not straight.is_lit:
            self._rest(g, now, {})
            return
        for at, given_w in straight.sun.steady(self._since[self.circuits[g][0]], now):
            for i, sun_w in given_w.items():
                stays.move(i, moves=sun_w > 0.0)
            self._rest(g, at, given_w)

    def _rest(self, g: int, now: int, given_w: Mapping[int, float]) -> None:
        for i in self.circuits[g]:
            self.stand(i, now, given_w.get(i))
        for body in self.straight[g].bodies:
            self.close(body, now)

    def stand(self, i: int, now: int, sun_w: float | None = None) -> None:
        """Bring the slugs of a reach to *now* if they have stood, and book what they have lost.

        *sun_w*: what the sun gave it meanwhile [W], beside all other heat.
        """
        since, slugs = self._since[i], self._slugs[i]
        if not self.flows[i] and now > since and self.reaches[i].capacity_j_k:
            kept, gained = self._stood(i, since, now)
            stood = [(v, a * kept + gained, b * kept + gained) for v, a, b in slugs]
            if (
                i in self.fixed_w or sun_w is not None
            ):  # brought here hourly: what is alike by now is one slug
                stood = warmth.joined(stood)
            self._slugs[i] = stood
            lost_j = self._per_m3_k * (warmth.warmth(slugs) - warmth.warmth(self._slugs[i]))
            self.stays.lost_j[i] += lost_j + (self.fixed_w.get(i, 0.0) + (sun_w or 0.0)) * (now - since)
        self._since[i] = now

    def close(self, body: int, now: int) -> None:
        """Close the stay of a body that is in slugs, and begin the next."""
        held, loss_j, coldest, warmest = 0.0, 0.0, math.inf, -math.inf
        for i in self.stays.members[body]:
            for v, front, back in self._slugs[i]:
                held += 0.5 * v * (front + back)
                coldest, warmest = min(coldest, front, back), max(warmest, front, back)
            loss_j += float(self.stays.lost_j[i])
            self.stays.lost_j[i] = 0.0
        self.stays.close(body, now, loss_j, held * self._per_m3_k, coldest, warmest)
