"""The water outside the tub through time: where it stands, passes in order, or follows the tub's temperature.

What stands is one affine map from when it was last touched (`physics/heat.py`, ZoneFilter). As long as the
water of each reach of a circuit is one slug, all of them are one vector (`physics/stays.py`, Straight). When
flow starts or changes, the water of a circuit is followed slug by slug (`physics/warmth.py`) until tub water
has passed all that it reaches within `ways.SETTLES_S` (`physics/settling.py`); from then on its temperatures
are factors of the tub's (`physics/settled.py`), so that a run of hours costs nothing. What takes longer stays
followed. Where it takes more than `ways.LONG_S`, it passes anew whenever it is heated otherwise: what the sun
gave is still on its way as it goes. Water that circles without passing the tub counts as stirred. Where the
tub has moved by `circuit.FELL_K` until its water settles, that is followed after all if somebody asks for it,
or flow changes, within as long again.

Heat is booked where it is: what came in less what went out less what the content gained is what a reach lost.
Wherever one description takes over from another, the difference in heat goes to the tub.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np

from cyclesim.physics import warmth
from cyclesim.physics.circuit import Circuit, Waited
from cyclesim.physics.heat import HOUR_S
from cyclesim.physics.passing import Passing
from cyclesim.physics.readings import Readings
from cyclesim.physics.settled import profile
from cyclesim.physics.stays import OnStays
from cyclesim.physics.warmth import Moved
from cyclesim.physics.ways import Way, Ways

_FOLLOWED_S = 900  # longest piece while water is followed: the tub's temperature runs straight on it
_LOOKED_AT_S = 60  # the same while something looks at followed water
_SETTLES_K = 0.1  # the most that the tub moves as water settles
_DRAWN_SHARE = 0.3  # of the tub's water, so much may such water draw from it in a piece
_BENDS_K = 0.02  # and more, where that bends the tub's temperature by no more than this


class Trial(NamedTuple):
    """What moving water would do over a piece."""

    dt_s: int
    returned_w: float
    moved: list[Moved]
    passing: list[tuple[Passing, float]]
    """Circuits that wait until they settle, and what each is then taken to have returned [J]."""


class Outside(Readings):
    """The same as it moves and is heated; arguments as for `Readings`."""

    def __init__(
        self,
        ways: Ways,
        body_of: Sequence[int | None],
        zones: Mapping[str, Sequence[float]],
        origin_s: int,
        start_s: int,
        water_c: float,
        tub_j_k: float,
        on_stays: OnStays,
        suns_w: Mapping[int, Sequence[float]],
    ) -> None:
        super().__init__(ways, body_of, zones, origin_s, start_s, water_c, tub_j_k, on_stays, suns_w)
        self._turn = self._turns.last
        self._by_law: set[int] = set()
        self.seen = -1
        """The version of the forces for which settled water was last asked what it takes up."""
        self.settled: tuple[Way, ...] = ()
        """The ways whose water has settled: for the same of them the same tuple, for as long as the run."""
        self.followed: list[Circuit] = []
        """The circuits in which some water is followed."""
        self._drawn_s = math.inf
        """How long the tub's water would last for what is drawn from it and does not settle."""
        self.due_s = math.inf
        """When the next circuit settles."""

    # -- what acts -----------------------------------------------------------------------------------------

    def look_out(self, now: float) -> None:
        """Zones are as in the hour of *now*."""
        self.forces.look_out(int((now - self._origin_s) // HOUR_S))

    def by_law(self, i: int, heat_w: float, now: int) -> None:
        """A law puts this heat into reach *i*, which water passes, from *now* on for a piece."""
        self.forces.heat({i: self._water.fixed_w.get(i, 0.0) + heat_w}, now)
        self._by_law.add(i)

    def into_tub_w(self) -> float:
        """Heat that the tub gets at once: into settled water, and into what holds none and is not passed."""
        known, key = self._turn.into_tub_w, id(self.settled)
        if key not in known:
            known[key], water = 0.0, self._water
            for i, w in water.fixed_w.items():
                if self.follows_tub(i) or not (water.flows[i] or self.reaches[i].capacity_j_k):
                    known[key] += w
        return known[key]

    def takes_up_j(self) -> float:
        """What the tub owes [J]: settled water takes up more, or less, as zones and heats change."""
        self.seen = self.forces.version
        more, self._owed_j = -self._owed_j, 0.0
        for circuit in self._circuits:
            if circuit.is_settled and circuit.way is not None:
                rest_j = self.by_forces(circuit.way.held_j)
                more += rest_j - circuit.rest_j
                circuit.rest_j = rest_j
        return more

    # -- what is changed -----------------------------------------------------------------------------------

    def change(
        self,
        now: int,
        flows_m3_s: Sequence[float],
        heat_w: Mapping[int, float],
        tub_c: float,
        integral: float,
    ) -> None:
        """From *now* on water moves at *flows_m3_s*, with *heat_w* into some reaches.

        The sequence of flows is kept and must not be changed. *integral*: of the tub's temperature [K s].
        """
        turn = self._turn = self._turns.to(flows_m3_s, heat_w)
        step, water, moves = turn.step, self._water, self._stays.moves
        again = [g for g in step.warmed if self._circuits[g].is_settled]
        for g in (*step.changed, *again):
            self._bring(self._circuits[g], now, tub_c, integral, straighten=g not in step.opened)
        for g, stood in step.others:
            self._stand(self._circuits[g], stood, now, tub_c, integral)
        heats = turn.heats_w
        if self._by_law:
            heats = {**{i: turn.heated.get(i, 0.0) for i in self._by_law}, **heats}
            self._by_law.clear()
        self.forces.heat(heats, now)
        water.fixed_w, water.flows = turn.heated, step.plan.flows
        for g in (*step.changed, *again):
            self._circuits[g].begin(step.plan.ways[g], now, tub_c)
        for g in step.changed:
            water.heat(g)
        for g, _ in step.others:
            water.heat(g)
        if step.changed or again:
            self._sort()
        for g in step.opened:
            water.open(g)
        for body, moving in step.moves:
            moves[body] = moving

    def _stand(self, circuit: Circuit, stood: Sequence[int], now: int, tub_c: float, integral: float) -> None:
        """Bring what stands in some reaches of a circuit to *now*, and close the stays of their bodies.

        Where all of it stands, of all.
        """
        if circuit.way is None:
            self._bring(circuit, now, tub_c, integral)
            return
        self._water.open(circuit.number)
        for i in stood:
            self._water.stand(i, now)
        for body in self._stays.of(stood):
            self._water.close(body, now)

    def _bring(
        self,
        circuit: Circuit,
        now: int,
        tub_c: float,
        integral: float,
        *,
        straighten: bool = True,
        goes_on: bool = False,
    ) -> None:
        """Bring the water of a circuit to *now*, and close the stays of its bodies.

        *goes_on*: what has settled stays settled, and so holds what it is told to.
        """
        if circuit.passing is not None:
            self._catch_up(circuit)
        late = not goes_on and circuit.is_settled and circuit.has_settled_late(now, tub_c, self._tub_j_k)
        if not late and circuit.straight.is_straight and self._bring_at_once(circuit, now, tub_c, integral):
            return
        water, g = self._water, circuit.number
        water.open(g)
        if circuit.is_settled:
            self._as_slugs(circuit, now, tub_c, integral, late=late)
        water.rest(g, now)
        if straighten:
            water.straighten(g, now)

    def _bring_at_once(self, circuit: Circuit, now: int, tub_c: float, integral: float) -> bool:
        """The same by vector. False, and nothing done, where settled water is not straight enough."""
        if circuit.way is None:
            circuit.straight.rest(now)
            return True
        (ends_c, apart), mark, settled = self._at_once(circuit, now, tub_c), circuit.mark, None
        if apart is not None:
            if apart.dot(apart) > 1.0 and (np.abs(apart) > 1.0).any():
                return False
            assert circuit.way is not None
            assert mark is not None
            settled = circuit.way, mark.now, self.forces.acted(mark, now, integral)
        circuit.straight.close(ends_c, now, settled)
        return True

    def _as_slugs(self, circuit: Circuit, now: int, tub_c: float, integral: float, *, late: bool) -> None:
        """What has settled in a circuit as slugs, and what it has lost since it was last asked."""
        way, mark, forces = circuit.way, circuit.mark, self.forces
        assert way is not None
        assert mark is not None
        settled, acted = way.settled, forces.acted(mark, now, integral)
        zones_k_s = forces.zones_k_s([mark.now, now])
        acted[1 : forces.first_heat] = zones_k_s[1] - zones_k_s[0]
        lost_j, at = settled.lost_w @ acted, forces.beside(tub_c)
        ends = (settled.inlet @ at).tolist(), (settled.outlet @ at).tolist(), (settled.held_j @ at).tolist()
        holding = [k for k in way.settles if self.reaches[settled.moving[k]].capacity_j_k]
        for k in holding:
            self._stays.lost_j[settled.moving[k]] += float(lost_j[k])
        if late:  # what it truly holds, in place of what it was told to
            held_j = sum(ends[2][k] for k in way.settles)
            for i, slugs in self._settling.truly(circuit, now, tub_c).items():
                self._water.put(i, slugs)
                held_j -= self._per_m3_k * warmth.warmth(slugs)
            self._owe(held_j)
            return
        for k in holding:
            i = settled.moving[k]
            inlet, outlet, held = (x[k] for x in ends)
            flow = abs(way.pattern.flows[i])
            self._water.put(i, profile(self.reaches[i], flow, inlet, outlet, held, self._per_m3_k))

    def close(self, now: int, tub_c: float, integral: float) -> None:
        """Close every open stay, and begin the next; *integral* as in `settle_due`."""
        for circuit in self._circuits:  # what does not settle whole stays in slugs
            straighten = circuit.number not in self._turn.step.opened
            self._bring(circuit, now, tub_c, integral, straighten=straighten, goes_on=True)
            circuit.straight.tell()
            circuit.mark = self.forces.mark(now, integral)

    # -- how it moves --------------------------------------------------------------------------------------

    def _sort(self) -> None:
        """Which circuits have settled, which are followed, and when the next of these settles."""
        known, key = self._turn.step.plan.sorted, 0
        for circuit in self._circuits:
            key = 2 * key + circuit.is_settled
        if key not in known:
            settled = tuple(c.way for c in self._circuits if c.way is not None and c.is_settled)
            known[key] = settled, [c for c in self._circuits if c.is_followed]
        self.settled, self.followed = known[key]
        self._asks_tub, self.due_s, drawn_m3_s = False, math.inf, 0.0
        for circuit in self.followed:
            way = circuit.way
            assert way is not None
            if not way.is_fast or circuit.asked:
                self._asks_tub = True
            if circuit.is_slow:
                drawn_m3_s += way.drawn_m3_s
            if way.settles and not circuit.is_settled and circuit.due_s < self.due_s:
                self.due_s = float(circuit.due_s)
        self._drawn_s = self._tub_j_k / (drawn_m3_s * self._per_m3_k) if drawn_m3_s else math.inf

    def _straight_s(self, tub_c: float) -> float:
        """The longest piece [s] over which the tub's temperature runs straight on while water is followed.

        Water so much warmer than the tub [K] bends that by an eighth of it where it draws all of the tub's
        water, by the square of the share where it draws less.
        """
        if _DRAWN_SHARE * self._drawn_s >= _FOLLOWED_S:
            return _FOLLOWED_S
        warmer_k = 0.0
        for circuit in self.followed:
            way = circuit.way
            if way is None or not (circuit.is_slow and way.drawn_m3_s):
                continue
            heat_w = abs(float(way.heats.dot(self.forces.now)))
            apart_k, slugs = 0.0, self._water.of(circuit.number)
            for i in way.settled.moving:
                if slugs[i] and not (circuit.is_settled and i in way.members):
                    coldest_c, warmest_c = warmth.ends(slugs[i])
                    apart_k = max(apart_k, tub_c - coldest_c, warmest_c - tub_c)
            warmer_k = max(warmer_k, apart_k + heat_w / (way.drawn_m3_s * self._per_m3_k))
        share = max(_DRAWN_SHARE, math.sqrt(8.0 * _BENDS_K / warmer_k)) if warmer_k else math.inf
        return max(1.0, min(_FOLLOWED_S, share * self._drawn_s))

    def settle_due(self, now: int, tub_c: float, node_j_k: float, integral: float) -> float:
        """Settle every circuit that is passed; the tub's temperature [degC] with the heat that they held.

        *node_j_k*: heat capacity of the tub and all that has settled before [J/K]. *integral*: of the tub's
        temperature since the run began [K s].
        """
        for circuit in self.followed:
            way, passing = circuit.way, circuit.passing
            if way is None or not way.settles or circuit.is_settled or now < circuit.due_s:
                continue
            if passing is None and circuit.falls(tub_c):
                continue
            if passing is None:
                held_j, book = self.holds_j(way.members, now, tub_c), None
            else:
                held_j, book = self._settling.passed(circuit, passing)
            factor, (coldest_c, warmest_c) = float(way.held_j[0]), circuit.sent_c
            moves_k = 0.5 * (warmest_c - coldest_c) * factor / (node_j_k + factor)
            if moves_k <= _SETTLES_K and way.is_long:
                self.forces.warm(circuit.warmed_k_s(now, tub_c), now)
            rest_j = self.by_forces(way.held_j)
            then_c = (node_j_k * tub_c + held_j - rest_j) / (node_j_k + factor)
            if not (passing is None or way.is_long):  # these may be as warm as the tub that goes up and down
                moves_k = abs(then_c - tub_c)
            if moves_k > _SETTLES_K:
                if passing is not None:
                    self._water.open(circuit.number)
                    self._settling.met(circuit, way)
                    self._catch_up(circuit)
                circuit.goes_on(tub_c)
                continue
            if book is not None:
                book()
            tub_c, circuit.rest_j, circuit.passing = then_c, rest_j, None
            node_j_k += factor
            circuit.is_settled, circuit.mark = True, self.forces.mark(now, integral)
            if passing is not None:
                circuit.waited = Waited(now, tub_c, passing)
        self._sort()
        return tub_c

    def asks_tub(self) -> bool:
        """Whether what followed water does over a piece depends on where the tub ends on it."""
        return self._asks_tub

    def piece_s(self, now: int, tub_c: float, *, looked_at: bool) -> int | None:
        """The longest piece [s] from *now* on, with the tub at *tub_c*; None where nothing is followed."""
        if not self.followed:
            return None
        longest, left_s = int(self._straight_s(tub_c)), self.due_s - now
        if looked_at and longest > _LOOKED_AT_S:
            longest = _LOOKED_AT_S
        return int(left_s) if left_s < longest else longest

    def follow(self, dt_s: int, before_c: float, after_c: float) -> Trial:
        """What moving water does over a piece on which the tub goes from *before_c* to *after_c*."""
        moved, passages, returned_j = list[Moved](), list[tuple[Passing, float]](), 0.0
        for circuit in self.followed:
            way, g = circuit.way, circuit.number
            assert way is not None
            if way.is_fast and not circuit.asked:
                passing = circuit.passing
                if passing is None or not (passing.lasted_s or passing.begins(before_c, self.forces.now)):
                    passing = circuit.passing = self._settling.begins(circuit, way, before_c)
                by_then_j = passing.returned_j(passing.lasted_s + dt_s)
                passages.append((passing, by_then_j))
                returned_j += by_then_j - passing.given_j
                continue
            self._water.open(g)
            slugs, tub = self._water.of(g), [(float(dt_s), before_c, after_c)]
            done = self._ways.follow(way, slugs, tub, self.forces.now, settled_too=not circuit.is_settled)
            moved.append(done)
            returned_j += done.returned_j
        return Trial(dt_s, returned_j / dt_s, moved, passages)

    def keep(self, trial: Trial, tub_c: tuple[float, float], end: int) -> None:
        """What was tried has come to pass."""
        for circuit in self.followed:
            coldest_c, warmest_c = circuit.sent_c
            circuit.sent_c = min(coldest_c, tub_c[1]), max(warmest_c, tub_c[1])
        for done in trial.moved:
            self._water.take(done, end)
            if (end - self._origin_s) % HOUR_S == 0:  # by the hour it shows when a trickle is how cold
                for body in self._stays.of(done.contents):
                    if all(i in done.contents for i in self._stays.members[body]):
                        self._water.close(body, end)
        for passing, by_then_j in trial.passing:
            passing.lasts(trial.dt_s, self.forces.now, tub_c[1], by_then_j)
