"""Heat of the whole plant through time: tub water and shell, and bodies of water that join and leave them.

A body (a leg, a filter housing) has one temperature. Standing, it relaxes to its zone. When flow starts, it
goes on as it was until tub water has filled it; then it joins the tub's node with its heat capacity and loss.
If the flow ends before that, the part that tub water has reached changes places with it.

A leg joins the tub's node when it has turned over, not when flow starts; a shorter flush swaps only the share
that moved. Legs of one loop join together with the slowest.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from cyclesim.physics.heat import HOUR_S, TwoNode, ZoneFilter
from cyclesim.physics.laws import Exchange, Law
from cyclesim.physics.water_age import STILL_M3_S

COVERED_PIECE_S, OPEN_PIECE_S = 900, 600
"""Longest pieces [s] over which a law stays linear: under the cover, and while it is off."""

_TOGETHER_S = 600.0  # a body due this long after the first joins with it; a later one joins by itself


@dataclass(frozen=True, slots=True)
class Body:
    """Water outside the tub that has a temperature of its own while it stands."""

    name: str
    volume_m3: float
    capacity_j_k: float
    ua_w_k: float
    zone: str


@dataclass(frozen=True, slots=True)
class TubNode:
    """The tub: heat capacities [J/K], conductances [W/K], and the zones it loses heat to."""

    water_j_k: float
    shell_j_k: float
    g_w_k: float
    ua_cover_w_k: float
    cover_zone: str
    ua_shell_w_k: float
    shell_zone: str


class Piece(NamedTuple):
    """A stretch of constant forcing: temperatures at its start [degC], what it added up to."""

    start_s: int
    end_s: int
    water_c: float
    shell_c: float
    water_integral_k_s: float
    cover_loss_j: float
    shell_loss_j: float


class Stay(NamedTuple):
    """A body of water standing, or joined to the tub, for a while."""

    body: int
    start_s: int
    end_s: int
    joined: bool
    start_c: float
    end_c: float
    loss_j: float


class Exchanged(NamedTuple):
    """What one law did over a piece: heat into the water, energy drawn for it, water that left."""

    law: int
    start_s: int
    end_s: int
    heat_j: float
    input_j: float
    evaporated_kg: float


class _Node(NamedTuple):
    """Tub and joined bodies as one node; without the cover where it is off."""

    two: TwoNode
    capacity_j_k: float
    losses: tuple[tuple[float, Sequence[float]], ...]


class TubHeat:
    """Temperatures from *start_s* on; *zones* are hourly series [degC] whose first hour begins at *origin_s*.

    *on_piece* and *on_stay* are called for each closed piece of the tub and each closed stay of a body,
    *on_exchange* for what each law did over a piece. Times are whole seconds.
    """

    def __init__(
        self,
        tub: TubNode,
        bodies: Sequence[Body],
        zones: Mapping[str, Sequence[float]],
        origin_s: int,
        start_s: int,
        water_c: float,
        on_piece: Callable[[Piece], None],
        on_stay: Callable[[Stay], None],
        on_exchange: Callable[[Exchanged], None] = lambda _: None,
    ) -> None:
        self._tub, self._bodies, self._zones, self._origin_s = tub, tuple(bodies), zones, origin_s
        self._on_piece, self._on_stay, self._on_exchange = on_piece, on_stay, on_exchange
        self._laws: Sequence[tuple[int, Law]] = ()
        self._covered = True
        self._filters = [ZoneFilter(zones[b.zone], b.capacity_j_k / b.ua_w_k, origin_s) for b in bodies]
        self._sums: dict[str, list[float]] = {}
        for name in {b.zone for b in bodies}:
            sums = [0.0]
            for temp in zones[name]:
                sums.append(sums[-1] + temp * HOUR_S)
            self._sums[name] = sums
        self._now_s, self.water_c = start_s, water_c
        self._node = self._node_of(frozenset(), True)
        shell_zone = zones[tub.shell_zone][0]
        self.shell_c = self._node.two.steady_shell(water_c, tub.ua_shell_w_k * shell_zone)
        self._heat_w = 0.0
        self._trapped_w = 0.0
        self.trapped_j = 0.0
        n = len(self._bodies)
        self._flows = [0.0] * n
        self._joined = [False] * n
        self._since = [start_s] * n
        self._start_c = [water_c] * n
        self._integral_at = [0.0] * n
        self._moving_since = [start_s] * n
        self._ahead_m3 = [0.0] * n
        self._integral = 0.0
        self._join_s: float = math.inf
        self._nodes: dict[tuple[frozenset[int], bool], _Node] = {}

    def _node_of(self, joined: frozenset[int], covered: bool) -> _Node:
        tub, bodies = self._tub, [self._bodies[i] for i in sorted(joined)]
        capacity = tub.water_j_k + sum(b.capacity_j_k for b in bodies)
        cover = tub.ua_cover_w_k if covered else 0.0
        ua = cover + sum(b.ua_w_k for b in bodies)
        by_zone: dict[str, float] = {tub.cover_zone: cover}
        for b in bodies:
            by_zone[b.zone] = by_zone.get(b.zone, 0.0) + b.ua_w_k
        return _Node(
            TwoNode(capacity, tub.shell_j_k, tub.g_w_k, ua, tub.ua_shell_w_k),
            capacity,
            tuple((u, self._zones[z]) for z, u in by_zone.items()),
        )

    def body_c(self, body: int, at_s: float) -> float:
        """Temperature [degC] of a body at *at_s*, between the last change and now."""
        if self._joined[body]:
            return self.water_c
        return self._filters[body].temp_at(at_s, self._since[body], self._start_c[body])

    def heat_content_j(self) -> float:
        """Heat above 0 degC in water, shell, bodies and trapped water [J]."""
        tub = self._tub
        content = tub.water_j_k * self.water_c + tub.shell_j_k * self.shell_c + self.trapped_j
        return content + sum(b.capacity_j_k * self.body_c(i, self._now_s) for i, b in enumerate(self._bodies))

    def change(
        self,
        flows_m3_s: Sequence[float],
        heat_w: float,
        trapped_w: float,
        laws: Sequence[tuple[int, Law]] = (),
        covered: bool = True,
        ahead_m3: Sequence[float] | None = None,
    ) -> None:
        """From now on water moves through the bodies at *flows_m3_s* [m3/s], with *heat_w* [W] into it.

        *ahead_m3* is what passes into each from the bodies before it until tub water comes [m3] (else
        nothing). *trapped_w* [W] is heat into water that does not move; it reaches the tub when *trapped_w*
        ends. *laws* are numbered exchanges that depend on the water's temperature; where the tub is not
        *covered* the surface's is one.
        """
        self._laws = laws
        if covered != self._covered:
            self._covered = covered
            self._rejoin()
        stopped = []
        for i, flow in enumerate(flows_m3_s):
            if flow == self._flows[i]:
                continue
            if self._joined[i]:
                if flow <= STILL_M3_S:
                    stopped.append(i)
            elif self._flows[i] > STILL_M3_S:
                self._swap(i)
            elif ahead_m3:
                self._ahead_m3[i] = ahead_m3[i]
            if flow > STILL_M3_S:
                self._moving_since[i] = self._now_s
            self._flows[i] = flow
        if stopped:
            for i in stopped:
                self._close(i)
                self._joined[i] = False
            self._rejoin()
        self._heat_w, self._trapped_w = heat_w, trapped_w
        if not trapped_w and self.trapped_j:
            self.water_c += self.trapped_j / self._node.capacity_j_k
            self.trapped_j = 0.0
        self._plan_join()

    def _plan_join(self) -> None:
        """All legs of a loop join together once the slowest has turned over; a trickle is not waited for."""
        due = [
            self._moving_since[i] + (self._ahead_m3[i] + b.volume_m3) / self._flows[i]
            for i, b in enumerate(self._bodies)
            if self._flows[i] > STILL_M3_S and not self._joined[i]
        ]
        if not due:
            self._join_s = math.inf
            return
        soon = min(due) + _TOGETHER_S
        self._join_s = float(math.ceil(max(t for t in due if t <= soon)))

    def _join(self) -> None:
        """Bodies whose volume has moved mix with the tub's node, and are part of it from now on."""
        capacity = self._node.capacity_j_k
        for i, b in enumerate(self._bodies):
            flow = self._flows[i]
            if flow > STILL_M3_S and not self._joined[i]:
                due_m3 = self._ahead_m3[i] + b.volume_m3
                if (self._now_s - self._moving_since[i]) * flow < due_m3 * (1.0 - 1e-9):
                    continue
                self._close(i)
                self._joined[i] = True
                capacity += b.capacity_j_k
                self.water_c += (self._start_c[i] - self.water_c) * b.capacity_j_k / capacity
        for i, joined in enumerate(self._joined):
            if joined and self._since[i] == self._now_s:
                self._start_c[i] = self.water_c
        self._rejoin()
        self._plan_join()

    def _rejoin(self) -> None:
        joined = frozenset(i for i, yes in enumerate(self._joined) if yes)
        self._node = self._known_node(joined, self._covered)

    def _known_node(self, joined: frozenset[int], covered: bool) -> _Node:
        node = self._nodes.get((joined, covered))
        if node is None:
            node = self._nodes[joined, covered] = self._node_of(joined, covered)
        return node

    def _swap(self, i: int) -> None:
        """The part that tub water has reached since the flow began changes places with it."""
        body = self._bodies[i]
        moved_m3 = (self._now_s - self._moving_since[i]) * self._flows[i]
        self._moving_since[i] = self._now_s
        share = min(1.0, (moved_m3 - self._ahead_m3[i]) / body.volume_m3)
        self._ahead_m3[i] = max(0.0, self._ahead_m3[i] - moved_m3)
        if share <= 0.0:
            return
        self._close(i)
        apart = share * (self.water_c - self._start_c[i])
        self._start_c[i] += apart
        self.water_c -= apart * body.capacity_j_k / self._node.capacity_j_k

    def _close(self, i: int) -> None:
        """Close the stay of body *i* now, and begin the next at the temperature it has."""
        body, t0, t1 = self._bodies[i], self._since[i], self._now_s
        temp_c = self.body_c(i, t1)
        if t1 > t0:
            if self._joined[i]:
                zone = self._zone_integral(body.zone, t1) - self._zone_integral(body.zone, t0)
                loss_j = body.ua_w_k * (self._integral - self._integral_at[i] - zone)
            else:
                loss_j = body.capacity_j_k * (self._start_c[i] - temp_c)
            self._on_stay(Stay(i, t0, t1, self._joined[i], self._start_c[i], temp_c, loss_j))
        self._since[i], self._start_c[i], self._integral_at[i] = t1, temp_c, self._integral

    def _zone_integral(self, zone: str, at_s: float) -> float:
        since = at_s - self._origin_s
        hour = int(since // HOUR_S)
        series = self._zones[zone]
        return self._sums[zone][hour] + (since - hour * HOUR_S) * series[min(hour, len(series) - 1)]

    def close(self) -> None:
        """Close every open stay now, so that what follows can be told apart."""
        for i in range(len(self._bodies)):
            self._close(i)

    def _with_laws(
        self, two: TwoNode, f_w: float, hour: int, exchanges: list[tuple[int, Exchange]]
    ) -> tuple[TwoNode, float]:
        """The node and its forcing with every law linearised at the water's present temperature."""
        slope = 0.0
        for number, law in self._laws:
            x = law(hour, self.water_c)
            exchanges.append((number, x))
            f_w += x.heat_w - x.slope_w_k * self.water_c
            slope += x.slope_w_k
        ua = two.ua_water_w_k - slope
        return TwoNode(two.c_water_j_k, two.c_shell_j_k, two.g_w_k, ua, two.ua_shell_w_k), f_w

    def seconds_to_reach(
        self,
        level_c: float,
        flows_m3_s: Sequence[float],
        heat_w: Callable[[int, float], float],
        within_s: int,
    ) -> int | None:
        """How long heating from now on would take to *level_c*; None if longer than *within_s*.

        *flows_m3_s* through the bodies, *heat_w* of (hour of the series, water temperature). The cold water
        of bodies that begin to move counts at once; the cover is on. Nothing is changed.
        """
        joined = frozenset(i for i, flow in enumerate(flows_m3_s) if flow > STILL_M3_S)
        node = self._known_node(joined, True)
        cold = [
            (self._bodies[i].capacity_j_k, self.body_c(i, self._now_s)) for i in joined if not self._joined[i]
        ]
        known = self._tub.water_j_k + sum(self._bodies[i].capacity_j_k for i in joined if self._joined[i])
        water = (known * self.water_c + sum(c * t for c, t in cold)) / (known + sum(c for c, _ in cold))
        shell, at = self.shell_c, self._now_s
        last = at + within_s
        while at < last:
            hour = (at - self._origin_s) // 3600
            if hour >= len(self._zones[self._tub.cover_zone]):
                return None
            end = min(last, self._origin_s + 3600 * (hour + 1))
            f_w = heat_w(hour, water) + sum(ua * series[hour] for ua, series in node.losses)
            f_s = self._tub.ua_shell_w_k * self._zones[self._tub.shell_zone][hour]
            tau = node.two.first_crossing(water, shell, f_w, f_s, end - at, level_c, True)
            if tau is not None:
                return at + math.ceil(tau) - self._now_s
            water, shell, _, _ = node.two.advance(water, shell, f_w, f_s, end - at)
            at = end
        return None

    def _crossing(
        self,
        two: TwoNode,
        water: float,
        shell: float,
        f_w: float,
        f_s: float,
        dt: float,
        watched: tuple[tuple[float, bool], ...],
    ) -> float | None:
        """First crossing [s] in a piece that ends at *water* and *shell*; looked for only where it can be."""
        first: float | None = None
        begins = self.water_c
        for level, rising in watched:
            if (begins >= level) if rising else (begins <= level):
                return 0.0
            if (water < level) if rising else (water > level):  # only a turn on the way could reach it
                ua, g = two.ua_water_w_k, two.g_w_k
                at_start = f_w - ua * begins - g * (begins - self.shell_c)
                at_end = f_w - ua * water - g * (water - shell)
                if not (at_start > 0.0 > at_end if rising else at_start < 0.0 < at_end):
                    continue
            tau = two.first_crossing(begins, self.shell_c, f_w, f_s, dt, level, rising)
            if tau is not None and (first is None or tau < first):
                first = tau
        return first

    @property
    def now_s(self) -> int:
        """The second that the heat has come to."""
        return self._now_s

    def advance(self, to_s: int, *watched: tuple[float, bool]) -> int | None:
        """Advance to *to_s*, or to the first whole second at which the water has reached a watched level.

        A level is watched as (temperature [degC], rising: from below or from above). Returns that second, or
        None if no level was reached.
        """
        tub, shell_zone = self._tub, self._zones[self._tub.shell_zone]
        cover_zone = self._zones[tub.cover_zone]
        while self._now_s < to_s:
            now = self._now_s
            hour = (now - self._origin_s) // 3600
            end = min(to_s, self._origin_s + 3600 * (hour + 1))
            if self._join_s < end:
                end = max(int(self._join_s), now)
                if end == now:
                    self._join()
                    continue
            two, _, losses = self._node
            f_w = self._heat_w
            for ua, series in losses:
                f_w += ua * series[hour]
            exchanges: list[tuple[int, Exchange]] = []
            if self._laws:
                end = min(end, now + (COVERED_PIECE_S if self._covered else OPEN_PIECE_S))
                two, f_w = self._with_laws(two, f_w, hour, exchanges)
            f_s = tub.ua_shell_w_k * shell_zone[hour]
            crossed, dt = None, end - now
            water, shell, water_int, shell_int = two.advance(self.water_c, self.shell_c, f_w, f_s, dt)
            if watched:
                first = self._crossing(two, water, shell, f_w, f_s, dt, watched)
                if first is not None:
                    crossed = end = now + math.ceil(first)
                    dt = end - now
                    water, shell, water_int, shell_int = two.advance(self.water_c, self.shell_c, f_w, f_s, dt)
            if end > now:
                self._on_piece(
                    Piece(
                        now,
                        end,
                        self.water_c,
                        self.shell_c,
                        water_int,
                        tub.ua_cover_w_k * (water_int - cover_zone[hour] * dt) if self._covered else 0.0,
                        tub.ua_shell_w_k * (shell_int - shell_zone[hour] * dt),
                    )
                )
                for law, x in exchanges:
                    warmer_k_s = water_int - self.water_c * dt
                    heat = x.heat_w * dt + x.slope_w_k * warmer_k_s
                    drawn = x.input_w * dt + x.input_slope_w_k * warmer_k_s
                    gone_kg = x.evaporated_kg_s * dt + x.evaporated_kg_s_k * warmer_k_s
                    self._on_exchange(Exchanged(law, now, end, heat, drawn, gone_kg))
                self.water_c, self.shell_c, self._now_s = water, shell, end
                self._integral += water_int
                self.trapped_j += self._trapped_w * dt
                if end == self._join_s:
                    self._join()
            if crossed is not None:
                return crossed
        return None
