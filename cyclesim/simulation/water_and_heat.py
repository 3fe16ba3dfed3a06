"""The water's age and the heat of a run: what is done to them from now on, and how far they have come."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Sequence
from typing import NamedTuple

from cyclesim.physics.loops import Loops
from cyclesim.physics.pieces import Exchanged
from cyclesim.physics.tub_heat import Placed, TubHeat, Watched
from cyclesim.physics.warmth import below_s, ends
from cyclesim.scenario.blocks.heat_sources import Solar
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.board import Board
from cyclesim.simulation.drive import Drive
from cyclesim.simulation.effects import Effect
from cyclesim.simulation.exchanges import Exchanges, Numbered
from cyclesim.simulation.own_water import OwnWaters
from cyclesim.simulation.trace import COLD_JET_K, AtJets, Rows, Stream, Trace
from cyclesim.simulation.wired import Wiring

HOUR_S = 3600
HOT_SHARE = 0.05  # of its output: a stove or collector that gives less counts as off


class _Fire(NamedTuple):
    """A stove or collectors: what they give in each hour [W], and above how much they count as hot."""

    series: Sequence[float]
    hot_w: float
    reach: int | None
    """Into which that goes as it is; None where it goes by a law, or nowhere, or while all stands."""
    shown: Stream[str]
    is_hourly: bool
    """Whether it is to be told anew when that changes."""


class _Done(NamedTuple):
    """Heat into reaches [W], laws, and what burns or shines by itself."""

    heats_w: dict[int, float]
    laws: list[Placed]
    fires: list[_Fire]


class WaterAndHeat:
    """Books of water and heat. They are told what is on, who bathes and what burns by itself."""

    def __init__(self, plant: Assembly, wiring: Wiring, drive: Drive, board: Board, trace: Trace) -> None:
        self._plant, self._drive, self._board, self._trace = plant, drive, board, trace
        self._always_covered = plant.sheet.tub.cover != "none"
        self._people, self._covered = 0, self._always_covered
        self._met_c = math.inf
        """The coldest that has come out of jets since people got in [degC]."""
        self._told: dict[tuple[int, bool, int], _Done] = {}
        self.exchanges: Exchanges | None = None
        if drive.weather:
            self.exchanges = Exchanges(plant, drive.weather, drive.zones, drive.fires)
        put_stay = [trace.stays[body.name].put_all for body in plant.bodies]
        put_age = {i: trace.ages[name].put_all for name, i in plant.reported.items()}
        begins, series, at = drive.begins, drive.zones.series, plant.reach_at
        warmed = [n for n in plant.plates if n in drive.fires and n not in plant.behind_plates]
        suns_w = {at[n]: drive.fires[n] for n in warmed}
        self._suns_w = {i: sun_w for i, sun_w in suns_w.items() if plant.reaches[i].ua_w_k}
        """What the sun gives to reaches of collectors while all of their circuit stands."""
        self._burns_s = _changes_s(drive)
        """When what burns or shines by itself gives another heat, but for the start."""
        self.heat = TubHeat(
            plant.tub_node,
            plant.ways,
            plant.body_of,
            series,
            drive.zones.origin_s,
            drive.start_s,
            begins.water_c if begins else plant.temp_c,
            trace.tub.put,
            lambda body, rows: put_stay[body](rows),
            self._put_exchange,
            self._suns_w,
        )
        if begins and begins.just_filled:
            self.heat.shell_c = series[plant.tub_node.shell_zone][0]
        self.own = OwnWaters(plant, wiring, drive, board, trace)
        self.heat.take_along(list(self.own.waters.values()), self.own.reaches, self.own.put)
        self.age = Loops(
            plant.plugs,
            list(plant.reported.values()),
            plant.scenario.limits.water_age_s,
            drive.start_s,
            lambda plug, rows: put_age[plug](rows),
            plant.met_flows,
        )
        self.follows_age = True

    def begin(self, effect: Effect) -> None:
        """From the very start: nothing else would tell of a tub without a cover."""
        self._effect = effect
        if not self._always_covered:
            self._trace.cover.put(self._drive.start_s, "off")
            self._tell(self._drive.start_s)
        if self.exchanges and self.exchanges.fires:
            self._burn()

    def follow(self, effect: Effect, now: int) -> bool:
        """Something else is on; whether that makes any difference to water and heat."""
        was, self._effect = self._effect, effect
        if effect is was:
            return False
        if effect.duty is not was.duty:
            if self.follows_age:
                self.age.change(now, effect.patterns)
        elif (effect.firing, effect.blowing) == (was.firing, was.blowing) and (
            effect.what.own_still == was.what.own_still
        ):
            return False
        self._tell(now)
        if self._people and effect.duty is not was.duty:
            self._feel(now)
        return True

    def _feel(self, now: int) -> None:
        """What comes into the tub first, where people sit, if it is cold or may be the coldest so far."""
        water_c, above_c = self.heat.water_c, self.heat.arrives_above_c()
        if above_c >= max(self._met_c, water_c - COLD_JET_K):
            return
        streams = self.heat.arriving()
        if streams:
            coldest = min(ends(stream)[0] for stream in streams)
            cold_s = max(below_s(stream, water_c - COLD_JET_K) for stream in streams)
            self._met_c = min(self._met_c, coldest)
            self._trace.at_jets.put(AtJets(now, coldest, cold_s))

    def bathe(self, people: int, covered: bool) -> None:
        """People come and go, and with them the cover; *covered*: it stays on all the same."""
        now = self._board.now
        if not self._people:
            self._met_c = math.inf
        self._people, self._covered = people, self._always_covered and (covered or not people)
        self._trace.people.put(now, str(people))
        self._trace.cover.put(now, "on" if self._covered else "off")
        self._tell(now)

    def advance(self, levels: Sequence[Watched], now: int, ends_s: Sequence[int]) -> int | None:
        """Nothing changes before the next event, so heat runs on to it, or to the tub's next level.

        Gives the second in which that level is to be looked at; None where the next event comes before.
        *ends_s*: when times end for which nobody waits. A law is linear over a piece, and begins anew there,
        so that what it comes to does not depend on who waits.
        """
        horizon, crossed = min(self._board.fix_next(), self._drive.span_s), None
        for end_s in ends_s:
            if now < end_s < horizon and crossed is None and not self.heat.is_exact:
                crossed = self.heat.advance(end_s, *levels)
        if crossed is None:
            crossed = self.heat.advance(horizon, *levels)
        if crossed is None:
            return None
        if crossed > now:
            return crossed
        self.heat.advance(min(now + 1, horizon))  # acted on at the next look
        return now + 1

    def look(self) -> None:
        """Thermostats of sources with water of their own, and high limits, look at it."""
        if self.own.waters and self.own.look():
            self._tell(self._board.now)

    def close(self, at_s: int) -> float:
        """Close what is open, and give the heat in all the plant [J]."""
        if self.follows_age:
            self.age.close(at_s)
        self.heat.close()
        return self.heat.heat_content_j()

    def turned_over(self) -> bool:
        """Whether by the start of the span every leg that moves has turned over."""
        start_s = self._drive.start_s
        return all(self.age.oldest_s(i, 0) < -start_s - 1 for i in self.age.moved())

    def _tell(self, now: int) -> None:
        """What is done to the water's heat from now on."""
        exchanges, effect = self.exchanges, self._effect
        key = id(effect), self._covered, self._people  # effects are kept for as long as the run
        told = self._told.get(key)
        if told is None:
            told = self._told[key] = self._done()
        heats_w = told.heats_w
        if told.fires:
            hour, heats_w = (now - self._drive.start_s) // HOUR_S, heats_w.copy()
            for fire in told.fires:
                heat_w = fire.series[hour]
                if fire.reach is not None:
                    heats_w[fire.reach] = heat_w
                fire.shown.put(now, "firing" if heat_w > fire.hot_w else "off")
            self._plan(told, now)
        if self.own.waters:
            self.own.follow(effect.what, exchanges, now)
        self.heat.change(effect.duty.plug_flows_m3_s, heats_w, told.laws, self._covered)

    def _done(self) -> _Done:
        """What the present effect, an open cover and people do."""
        effect, at, exchanges = self._effect, self._plant.reach_at, self.exchanges
        laws = list(effect.laws)
        if exchanges is not None:
            if not self._covered:
                laws.append(exchanges.open_water())
            if self._people:
                laws.append(exchanges.bathers(self._people))
        fires = [self._fire(name, laws) for name in exchanges.fires] if exchanges else []
        names = exchanges.names if exchanges else ()
        heats_w = {at[name]: heat_w for name, heat_w in effect.heats_w.items()}
        return _Done(heats_w, [(k, law, at.get(names[k])) for k, law in laws], fires)

    def _fire(self, name: str, laws: list[Numbered]) -> _Fire:
        """What burns or shines by itself; where a law tells its heat, that is put to the others."""
        exchanges, plant, duty = self.exchanges, self._plant, self._effect.duty
        assert exchanges is not None
        sheet, at = plant.sheet.heat_sources[name], plant.reach_at[name]
        moves = not plant.is_still(name, duty)
        hot_w, reach, is_hourly = HOT_SHARE * sheet.output_w, None, True
        if isinstance(sheet, Solar) and not moves:  # they stand hot and give nothing: they are built for that
            hot_w = math.inf
        if name in self.own.waters:
            if self.own.stands(name, self._effect.what):
                hot_w = math.inf
        elif at in self._suns_w and plant.ways.stands(at, duty.plug_flows_m3_s):
            is_hourly = False
        elif name in plant.plates or (not moves and not isinstance(sheet, Solar)):
            reach = at
        elif moves:
            laws.append(exchanges.by_itself(name))
        else:
            is_hourly = False
        return _Fire(exchanges.fires[name], hot_w, reach, self._trace.sources[name], is_hourly)

    def _plan(self, told: _Done, now: int) -> None:
        """What burns or shines by itself is told when its heat changes next, if it is to be."""
        k = bisect_right(self._burns_s, now)
        is_told = k < len(self._burns_s) and any(fire.is_hourly for fire in told.fires)
        self._board.plan(self, self._burns_s[k] if is_told else None, self._burn)

    def _burn(self) -> None:
        self._tell(self._board.now)

    def _put_exchange(self, row: Exchanged) -> None:
        assert self.exchanges is not None
        name = self.exchanges.names[row.law]
        rows = self._trace.exchanges.get(name)
        if rows is None:
            rows = self._trace.exchanges[name] = Rows(name, Exchanged)
        rows.put(row)


def _changes_s(drive: Drive) -> list[int]:
    """When what burns or shines by itself gives another heat: hours with some, and those after such."""
    warm = [any(hour) for hour in zip(*drive.fires.values(), strict=True)]
    hours = (drive.span_s - drive.start_s) // HOUR_S
    return [drive.start_s + HOUR_S * k for k in range(1, min(hours, len(warm))) if warm[k] or warm[k - 1]]
