"""Heat of the whole plant through time: tub water and shell, and the water outside them.

Tub, shell and whatever water follows the tub's temperature are two linear nodes in closed form. Water that is
still on its way (`physics/outside.py`) returns a known heat over each piece, since what comes back within it
was in the pipe before, or follows from the tub's temperature at the piece's ends.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from typing import NamedTuple

from cyclesim.physics.ahead import Ahead
from cyclesim.physics.heat import TwoNode
from cyclesim.physics.laws import Exchange, Law
from cyclesim.physics.outside import Outside, Trial
from cyclesim.physics.own_water import OwnPiece, OwnWater
from cyclesim.physics.pieces import Exchanged, Piece
from cyclesim.physics.stays import OnStays
from cyclesim.physics.tub_node import Node, TubNode, node_of
from cyclesim.physics.warmth import BEND_K, Floats, Slug
from cyclesim.physics.ways import Way, Ways

Placed = tuple[int, Law, int | None]
"""A law with its number and the reach that it acts in; None for the tub."""


class OverTub(NamedTuple):
    """A body that is read as so much warmer than the tub [K], once its water follows that."""

    body: int


Watched = tuple[float, bool, int | OverTub | None]
"""(temperature [degC], rising, body or None for the tub)."""

_LATE_K = 0.01  # how exactly settled water is told how much colder it left a tub that warms
COVERED_PIECE_S, OPEN_PIECE_S = 900, 600
"""Longest pieces [s] over which a law stays linear: under the cover, and while it is off."""


class TubHeat:
    """Temperatures from *start_s* on; *zones* are hourly [degC], their first hour beginning at *origin_s*.

    *ways* knows the reaches that hold the water outside the tub, *body_of* of which body each is. *on_piece*
    is called for each closed piece of the tub, *on_stays* as for `Stays`, *on_exchange* for what each law did
    over a piece. Times are whole seconds. *suns_w*: what the sun gives to reaches, which must lose some heat,
    hourly as the zones [W]; `change` is told of it only while water moves in their circuit.
    """

    def __init__(
        self,
        tub: TubNode,
        ways: Ways,
        body_of: Sequence[int | None],
        zones: Mapping[str, Sequence[float]],
        origin_s: int,
        start_s: int,
        water_c: float,
        on_piece: Callable[[Piece], None],
        on_stays: OnStays,
        on_exchange: Callable[[Exchanged], None] = lambda _: None,
        suns_w: Mapping[int, Sequence[float]] = {},
    ) -> None:
        self._tub, self._origin_s = tub, origin_s
        self._shell_zone_c, self._cover_zone_c = zones[tub.shell_zone], zones[tub.cover_zone]
        self._on_piece, self._on_exchange = on_piece, on_exchange
        self._laws: Sequence[Placed] = ()
        self._own: list[tuple[OwnWater, int]] = []
        self._on_own: Callable[[int, OwnPiece], None]
        self._covered = True
        self._outside = Outside(
            ways, body_of, zones, origin_s, start_s, water_c, tub.water_j_k, on_stays, suns_w
        )
        self._now_s, self.water_c = start_s, water_c
        self._nodes: dict[tuple[int, bool], Node] = {}
        self._ahead = Ahead(tub, self._outside, zones, origin_s)
        self._node = self._node_of(self._outside.settled, covered=True)
        self.shell_c = self._node.two.steady_shell(water_c, tub.ua_shell_w_k * self._shell_zone_c[0])
        self._integral = 0.0
        self._returned_w = 0.0
        """What followed water returned over the piece before [W]."""
        self._watched: tuple[Watched, ...] = ()
        self._in_tub: list[tuple[float, bool]] = []
        """The levels that were watched last, and those of them that are the tub's."""
        self._low_c, self._high_c = -math.inf, math.inf
        """Between these none of the tub's is reached."""
        self._elsewhere = False
        """Whether bodies of water are watched too."""
        self._looked_at = (-1, -1)
        """Hour and version of the forces for which the next was worked out."""
        self._steady_w = 0.0
        """Heat into a tub at 0 degC [W], but through its cover, by laws, and from water that is followed."""
        self._outside.look_out(start_s)

    def _node_of(self, ways: tuple[Way, ...], *, covered: bool) -> Node:
        key = id(ways), covered
        node = self._nodes.get(key)
        if node is None:
            held_j_k = sum(float(way.held_j[0]) for way in ways)
            lost_w, lags_s = [way.lost_w for way in ways], [way.after_s for way in ways if way.is_long]
            node = node_of(self._tub, held_j_k, lost_w, covered=covered, lags_s=max(lags_s, default=0))
            self._nodes[key] = node
        return node

    def take_along(
        self, own: Sequence[OwnWater], reaches: Sequence[int], on_own: Callable[[int, OwnPiece], None]
    ) -> None:
        """Own waters of sources, each with the reach that its plates give heat to; on_own gets each piece."""
        self._own, self._on_own = list(zip(own, reaches, strict=True)), on_own

    def body_c(self, body: int, at_s: float) -> float:
        """Mean temperature [degC] of a body at *at_s*, now or as it stands on."""
        return self._outside.body_c(body, at_s, self.water_c)

    def follows_tub(self, body: int) -> bool:
        """Whether all water of a body follows the tub's by now, so that it may be watched as OverTub."""
        return self._outside.tub_level_under(body, 0.0, self._now_s, self.water_c) is not None

    def is_lit(self, body: int) -> bool:
        """Whether a body stands in a sun of which is known how it goes on."""
        return self._outside.is_lit(body)

    def has_passed(self, body: int) -> bool:
        """Whether nothing is left in a body of what stood in its circuit before water began to move there."""
        return self._outside.has_passed(body, self._now_s)

    def lit_c(self, body: int, hours: int) -> Floats:
        """The mean [degC] of such a body by the end of each of so many hours from now, if it stands on."""
        return self._outside.lit_c(body, self._now_s, hours)

    def warmer_k(self, body: int) -> Floats | None:
        """By how much a body is warmer than the tub [K], by the second from now on, as `Outside` has it."""
        return self._outside.warmer_k(body, self._now_s, self.water_c)

    def own_c(self, place: int, at_s: float) -> float:
        """Temperature [degC] in a source's own water, by its place, at *at_s* if all goes on as it is."""
        hour = (self._now_s - self._origin_s) // 3600
        return self._own[place][0].later_c(hour, self.water_c, at_s - self._now_s)

    def coldest_c(self, body: int, at_s: float) -> float:
        """Temperature [degC] at a body's coldest end, likewise."""
        return self._outside.coldest_c(body, at_s, self.water_c)

    def arriving(self) -> list[list[Slug]]:
        """What comes into the tub by each reach of the circuits that have been changed now: streams [s]."""
        return self._outside.arriving(self._now_s, self.water_c)

    def arrives_above_c(self) -> float:
        """What comes in by `arriving` is nowhere colder than this [degC]; infinite if nothing does."""
        return self._outside.arrives_above_c(self._now_s, self.water_c)

    def heat_content_j(self) -> float:
        """Heat above 0 degC in water, shell, and all that is outside [J]."""
        tub = self._tub
        content = tub.water_j_k * self.water_c + tub.shell_j_k * self.shell_c
        content += sum(own.content_j() for own, _ in self._own)
        return content + self._outside.heat_content_j(self._now_s, self.water_c)

    def change(
        self,
        flows_m3_s: Sequence[float],
        heat_w: Mapping[int, float],
        laws: Sequence[Placed] = (),
        covered: bool = True,
    ) -> None:
        """From now on water moves through the reaches at *flows_m3_s* [m3/s], with *heat_w* [W] into some.

        Heat into water that stands warms it where it is. *laws* are numbered exchanges that depend on the
        tub's temperature, with the reach that they act in (the tub if None); without a cover the surface's is
        one.
        """
        outside = self._outside
        self._laws, self._covered = laws, covered
        self._take_up()
        outside.change(self._now_s, flows_m3_s, heat_w, self.water_c, self._integral)
        self._settle()
        self._take_up()

    def _settle(self) -> None:
        """What tub water has passed follows the tub from now on, and the node is of all that does."""
        outside = self._outside
        node = self._node_of(outside.settled, covered=self._covered)
        if outside.due_s <= self._now_s:
            self.water_c = outside.settle_due(self._now_s, self.water_c, node.capacity_j_k, self._integral)
            node = self._node_of(outside.settled, covered=self._covered)
        self._node, self._looked_at = node, (-1, -1)

    def _take_up(self) -> None:
        """Where zones or heats have changed, settled water takes its warmth from the tub."""
        outside, forces = self._outside, self._outside.forces
        if self._now_s >= forces.next_s:
            outside.look_out(self._now_s)
        if outside.seen != forces.version:
            self.water_c -= outside.takes_up_j() / self._node.capacity_j_k

    def _look_round(self, hour: int) -> None:
        """What heats and cools the tub steadily from now on."""
        self._take_up()
        outside, node = self._outside, self._node
        self._looked_at = (hour, outside.forces.version)
        self._steady_w = outside.into_tub_w()
        if node.lost_w is not None:
            self._steady_w -= outside.by_forces(node.lost_w)

    def _warms(self, hour: int, heats_w: float) -> bool:
        """Whether settled water had to be told anew how fast the tub, which gets *heats_w*, warms."""
        forces, two, water_c = self._outside.forces, self._node.two, self.water_c
        rate_w = heats_w - two.ua_water_w_k * water_c - two.g_w_k * (water_c - self.shell_c)
        warms_k_s = rate_w / two.c_water_j_k
        if abs(warms_k_s - forces.warms_k_s) * self._node.lags_s <= _LATE_K:
            return False
        forces.warm(warms_k_s, self._now_s)
        self._look_round(hour)
        return True

    def close(self) -> None:
        """Close every open stay now, so that what follows can be told apart."""
        self._take_up()
        self._outside.close(self._now_s, self.water_c, self._integral)
        self._take_up()

    def _by_laws(self, hour: int, exchanges: list[tuple[int, Exchange]]) -> tuple[float, float]:
        """What laws add to the forcing of the tub [W], and to its slope [W/K], linearised as it is now.

        What acts in water that is still followed goes there, constant over the piece.
        """
        slope = f_w = 0.0
        for number, law, reach in self._laws:
            x = law(hour, self.water_c)
            if reach is not None:
                self._outside.by_law(reach, x.heat_w, self._now_s)
                if not self._outside.follows_tub(reach):
                    exchanges.append((number, x._replace(slope_w_k=0.0, input_slope_w_k=0.0)))
                    continue
            exchanges.append((number, x))
            f_w += x.heat_w - x.slope_w_k * self.water_c
            slope += x.slope_w_k
        return f_w, slope

    def _by_own(self, hour: int, dt: int, gives: list[tuple[float, float]]) -> tuple[float, float]:
        """The same of own waters through their plates over dt [s]; *gives* gets each's power and slope."""
        slope = f_w = 0.0
        for own, reach in self._own:
            over_w, slope_w_k = own.over(hour, self.water_c, dt)
            if own.g_w_k:
                self._outside.by_law(reach, over_w, self._now_s)
                if not self._outside.follows_tub(reach):
                    gives.append((over_w, 0.0))
                    continue
            gives.append((over_w, slope_w_k))
            f_w += over_w - slope_w_k * self.water_c
            slope += slope_w_k
        return f_w, slope

    def seconds_to_reach(
        self,
        level_c: float,
        flows_m3_s: Sequence[float],
        heat_w: Callable[[int, float], float],
        within_s: int,
    ) -> int | None:
        """How long heating from now on would take to *level_c*, as `Ahead` has it. Nothing is changed."""
        temps_c = self.water_c, self.shell_c
        return self._ahead.seconds_to_reach(self._now_s, temps_c, level_c, flows_m3_s, heat_w, within_s)

    def _crossing(
        self,
        two: TwoNode,
        ends: Sequence[float],
        f_w: float,
        f_s: float,
        dt: float,
        watched: Sequence[tuple[float, bool]],
    ) -> float | None:
        """First crossing [s] in a piece that *ends* so [degC]; looked for only where it can be."""
        first: float | None = None
        begins = self.water_c, self.shell_c
        for level, rising in watched:
            tau = two.first_between(begins, ends, f_w, f_s, dt, level, rising)
            if tau is not None and (first is None or tau < first):
                first = tau
        return first

    @property
    def now_s(self) -> int:
        """The second that the heat has come to."""
        return self._now_s

    @property
    def is_exact(self) -> bool:
        """Whether it comes to the same, but for rounding, into how many pieces it is cut from now on."""
        return not (self._laws or self._own or self._elsewhere or self._outside.asks_tub())

    def advance(self, to_s: int, *watched: Watched) -> int | None:
        """Advance to *to_s*, or to the first whole second at which the water has reached a watched level.

        A level is watched as (temperature [degC], rising: from below or from above, the body that is read or
        None for the tub). Returns that second, or None if no level was reached.
        """
        if watched != self._watched:
            self._watch(watched)
        crossed = None
        while crossed is None and self._now_s < to_s:
            crossed = self._undisturbed(to_s) if self.is_exact else self._piece(to_s)
        return crossed

    def _watch(self, watched: tuple[Watched, ...]) -> None:
        """From now on these levels are watched."""
        self._watched = watched
        self._in_tub = [(level, rising) for level, rising, body in watched if body is None]
        self._elsewhere = len(self._in_tub) < len(watched)
        self._low_c = max((level for level, rising in self._in_tub if not rising), default=-math.inf)
        self._high_c = min((level for level, rising in self._in_tub if rising), default=math.inf)

    def _piece(self, to_s: int) -> int | None:
        """One piece, to *to_s* at most; the second in which it reaches a watched level, and ends."""
        tub, outside, forces = self._tub, self._outside, self._outside.forces
        shell_c, cover_c, now = self._shell_zone_c, self._cover_zone_c, self._now_s
        hour = (now - self._origin_s) // 3600
        end = min(to_s, self._origin_s + 3600 * (hour + 1))
        node = self._node
        two, linear_at_c = node.two, self.water_c
        f_w = slope = own_w = own_slope = 0.0
        exchanges: list[tuple[int, Exchange]] = []
        if self._laws:
            end = min(end, now + (COVERED_PIECE_S if self._covered else OPEN_PIECE_S))
            f_w, slope = self._by_laws(hour, exchanges)
        gives: list[tuple[float, float]] = []
        if self._own:
            for own, _ in self._own:
                end = now + own.piece_s(hour, self.water_c, end - now)
            own_w, own_slope = self._by_own(hour, end - now, gives)
        if slope or own_slope:
            two = two.losing(two.ua_water_w_k - slope - own_slope)
        if self._looked_at != (hour, forces.version):
            self._look_round(hour)
        in_tub, in_pipes = self._in_tub, list[tuple[float, bool, int]]()
        if self._elsewhere:
            in_tub, in_pipes = self._watch_here(self._watched)
        followed_s = outside.piece_s(now, self.water_c, looked_at=bool(in_pipes))
        if followed_s is not None:
            end = min(end, now + followed_s)
        f_w += own_w + node.cover_w_k * cover_c[hour]
        if node.lags_s:
            self._warms(hour, f_w + self._steady_w)
        f_w += self._steady_w
        f_s, crossed, dt = tub.ua_shell_w_k * shell_c[hour], None, end - now
        trial, forced_w, ends = self._try(two, f_w, f_s, dt, followed_s is not None)
        if in_tub:
            first = self._crossing(two, ends, forced_w, f_s, dt, in_tub)
            if first is not None:
                crossed = end = now + math.ceil(first)
                dt = end - now
                if not dt:
                    return crossed
                trial, _, ends = self._try(two, f_w, f_s, dt, followed_s is not None)
        water, shell, water_int, shell_int = ends
        cover_j = node.cover_w_k * (water_int - cover_c[hour] * dt)
        shell_j = tub.ua_shell_w_k * (shell_int - shell_c[hour] * dt)
        row = (now, end, self.water_c, self.shell_c, water_int, cover_j, shell_j)
        self._on_piece(tuple.__new__(Piece, row))  # half the time of Piece(...), and there are many
        for law, x in exchanges:
            warmer_k_s = water_int - linear_at_c * dt
            heat = x.heat_w * dt + x.slope_w_k * warmer_k_s
            drawn = x.input_w * dt + x.input_slope_w_k * warmer_k_s
            gone_kg = x.evaporated_kg_s * dt + x.evaporated_kg_s_k * warmer_k_s
            self._on_exchange(Exchanged(law, now, end, heat, drawn, gone_kg))
        for k, (over_w, slope_w_k) in enumerate(gives):
            over_j = over_w * dt + slope_w_k * (water_int - linear_at_c * dt)
            self._on_own(k, self._own[k][0].advance(hour, now, end, over_j))
        before_c = self.water_c
        self.water_c, self.shell_c, self._now_s = water, shell, end
        self._integral += water_int
        if trial is not None:
            outside.keep(trial, (before_c, water), end)
            if outside.due_s <= end:
                self._settle()
        for own, _ in self._own:
            if own.reached():
                crossed = end
        for level, rising, body in in_pipes:
            temp_c = outside.body_c(body, end, self.water_c)
            if (temp_c >= level) if rising else (temp_c <= level):
                crossed = end
        return crossed

    def _undisturbed(self, to_s: int) -> int | None:
        """Pieces to *to_s*, or until some water settles, where nothing acts but what is known beforehand.

        That is without laws and own water, with only the tub watched.
        """
        outside, node, now, origin_s = self._outside, self._node, self._now_s, self._origin_s
        two, cover_w_k, shell_w_k = node.two, node.cover_w_k, self._tub.ua_shell_w_k
        low_c, high_c, followed = self._low_c, self._high_c, bool(outside.followed)
        crossed: int | None = None
        trial: Trial | None = None
        hour = (now - origin_s) // 3600
        if self._looked_at != (hour, outside.forces.version):
            self._look_round(hour)
        while low_c < self.water_c < high_c:  # also where rounding hid a crossing at the end of a piece
            begins_c, shell_begins_c = self.water_c, self.shell_c
            cover_c, shell_c = self._cover_zone_c[hour], self._shell_zone_c[hour]
            f_w, f_s = self._steady_w + cover_w_k * cover_c, shell_w_k * shell_c
            if node.lags_s and self._warms(hour, f_w):
                continue
            forced_w, end = f_w, origin_s + 3600 * (hour + 1)
            if end > to_s:
                end = to_s
            if followed:
                end = min(end, now + (outside.piece_s(now, begins_c, looked_at=False) or 0))
                trial = outside.follow(end - now, begins_c, begins_c)
                forced_w += trial.returned_w
            dt = end - now
            water, shell, water_int, shell_int = two.advance(begins_c, shell_begins_c, forced_w, f_s, dt)
            rate_w = forced_w - two.ua_water_w_k * begins_c - two.g_w_k * (begins_c - shell_begins_c)
            farthest_c = begins_c + rate_w * dt / two.c_water_j_k  # it is nowhere quicker before it turns
            if not (low_c < water < high_c and low_c < farthest_c < high_c):
                first = self._crossing(two, (water, shell), forced_w, f_s, dt, self._in_tub)
                if first is not None:
                    crossed = end = now + math.ceil(first)
                    dt = end - now
                    if followed:
                        trial = outside.follow(dt, begins_c, begins_c)
                        forced_w = f_w + trial.returned_w
                    ends = two.advance(begins_c, shell_begins_c, forced_w, f_s, dt)
                    water, shell, water_int, shell_int = ends
            cover_j = cover_w_k * (water_int - cover_c * dt)
            shell_j = shell_w_k * (shell_int - shell_c * dt)
            row = (now, end, begins_c, shell_begins_c, water_int, cover_j, shell_j)
            self._on_piece(tuple.__new__(Piece, row))  # half the time of Piece(...), and there are many
            self.water_c, self.shell_c, self._now_s = water, shell, end
            self._integral += water_int
            if trial is not None:
                outside.keep(trial, (begins_c, water), end)
                if outside.due_s <= end:
                    self._settle()
                    return crossed
            if crossed is not None or end >= to_s:
                return crossed
            now, hour = end, (end - origin_s) // 3600
            if (followed or node.lost_w is not None) and self._looked_at[0] != hour:
                self._look_round(hour)
        return now

    def _try(
        self, two: TwoNode, f_w: float, f_s: float, dt: int, followed: bool
    ) -> tuple[Trial | None, float, tuple[float, float, float, float]]:
        """A piece as it would be: followed water, all power into the tub, and where both nodes end."""
        outside, begins_c = self._outside, self.water_c
        if not followed:
            return None, f_w, two.advance(begins_c, self.shell_c, f_w, f_s, dt)
        ends_c = begins_c
        if outside.asks_tub():  # as the piece before returned: water that trickles goes on as it does
            ends_c = two.advance(begins_c, self.shell_c, f_w + self._returned_w, f_s, dt)[0]
        trial = outside.follow(dt, begins_c, ends_c)
        ends = two.advance(begins_c, self.shell_c, f_w + trial.returned_w, f_s, dt)
        if trial.moved and abs(ends[0] - ends_c) > BEND_K:  # once more, with the tub as it then is
            trial = outside.follow(dt, begins_c, ends[0])
            last_c, ends = ends[0], two.advance(begins_c, self.shell_c, f_w + trial.returned_w, f_s, dt)
            if abs(ends[0] - last_c) > BEND_K:  # what returns is a straight line of where the tub ends
                at_c = last_c + (ends[0] - last_c) / (1.0 - (ends[0] - last_c) / (last_c - ends_c))
                trial = outside.follow(dt, begins_c, at_c)
                ends = two.advance(begins_c, self.shell_c, f_w + trial.returned_w, f_s, dt)
        if trial.moved:
            self._returned_w = trial.returned_w
        return trial, f_w + trial.returned_w, ends

    def _watch_here(
        self, watched: Sequence[Watched]
    ) -> tuple[list[tuple[float, bool]], list[tuple[float, bool, int]]]:
        """The tub's levels, also of bodies that follow it; and levels of bodies on their own."""
        in_tub, in_pipes = list[tuple[float, bool]](), list[tuple[float, bool, int]]()
        outside = self._outside
        for level, rising, body in watched:
            if isinstance(body, OverTub):  # what the tub's water passes warms less than the tub does
                at_c = outside.tub_level_under(body.body, level, self._now_s, self.water_c)
                if at_c is not None:
                    in_tub.append((at_c, not rising))
                continue
            at_c = level if body is None else outside.tub_level(body, level)
            if at_c is not None:
                in_tub.append((at_c, rising))
            elif body is not None:
                in_pipes.append((level, rising, body))
        return in_tub, in_pipes
