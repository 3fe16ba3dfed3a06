"""The run: simpy owns the time; small processes post facts; one arbiter wakes once per instant and steps.

Nothing is stepped through time. Between two instants at which something changes, heat and water are solved in
closed form, and the next instant at which the tub crosses a threshold is computed, not looked for.

What tripped in the warm-up is reset when the span begins, so that the cause shows in the span.

An own high limit trips for good. A source that fires into still water heats what is trapped in it, and trips
if `high_limit` is given; the trapped heat reaches the tub when water moves again.

The starting state is warm: set point, shell in balance, ages 0, then 14 days (30 where a leg has not turned
over) that are not counted.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Generator
from datetime import UTC, date, datetime, time, timedelta
from typing import NamedTuple
from zoneinfo import ZoneInfo

import simpy

from cyclesim.control.step import LEVEL_LOW, NOBODY, POWER_LOST, WAITS, State
from cyclesim.physics.loops import Loops
from cyclesim.physics.tub_heat import Exchanged, TubHeat
from cyclesim.physics.water_age import STILL_M3_S
from cyclesim.scenario.blocks.heat_sources import HeatPump, Solar
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.simulation.assembly import Plant
from cyclesim.simulation.beside import Beside, RunParts, cold
from cyclesim.simulation.clock import At, Priority
from cyclesim.simulation.effects import Effect, Effects, Now
from cyclesim.simulation.exchanges import Exchanges, fires
from cyclesim.simulation.heating_control import HeatingControl, Surroundings
from cyclesim.simulation.hourly_weather import weather, zones
from cyclesim.simulation.programme import FROST, Programme
from cyclesim.simulation.room import SETTLED_K, warmed_rooms, with_rooms
from cyclesim.simulation.sessions import Session, sessions, together
from cyclesim.simulation.trace import Rows, Trace, Zones

DAY_S = 86_400
WARM_UP_S = 14 * DAY_S
LONG_WARM_UP_S = 30 * DAY_S
_HOT_SHARE = 0.05  # of its output: a stove or collector that gives less counts as off
Edge = tuple[int, int, bool]


class Begins(NamedTuple):
    """A run that begins cold: all water at one temperature [degC], from a clock time of its first day on.

    The shell is in balance with that water and its zone; *just_filled*, it is still as its zone is.
    """

    water_c: float
    clock: time = time()
    just_filled: bool = False


def simulate_trace(
    plant: Plant,
    programme: Programme,
    *,
    days: int,
    start: date | None = None,
    seed: int = 0,
    on_day: Callable[[int], None] | None = None,
    begins: Begins | None = None,
) -> Trace:
    """Run the plant under its programme for *days* local days from *start* (1 January of its year).

    *seed* names the streams of what is drawn by chance. *on_day* is called with the number of days done, for
    a progress bar; it changes nothing. *begins*: with water as cold as that and no warm-up before.
    """
    begin = start or date(plant.scenario.place.year, 1, 1)
    rooms: Zones | None = None
    warm_up_s = 0 if begins else WARM_UP_S
    for _ in range(3 if warmed_rooms(plant) else 1):
        run = _Run(plant, programme, begin, days, seed, warm_up_s, on_day, rooms, begins)
        if not run.warm_up() and warm_up_s == WARM_UP_S:
            warm_up_s = LONG_WARM_UP_S  # from now on, so that rooms and weather begin together
            run = _Run(plant, programme, begin, days, seed, warm_up_s, on_day)
            run.warm_up()
        trace = run.finish()
        rooms, change = with_rooms(plant, trace, run.zones, run.unwarmed)
        if change <= SETTLED_K:
            break
    return trace


def _instant(day: date, zone: ZoneInfo, clock: time = time()) -> datetime:
    return datetime.combine(day, clock, tzinfo=zone).astimezone(UTC)


class _Run:
    """One run: the warm-up, then the span that counts."""

    def __init__(
        self,
        plant: Plant,
        programme: Programme,
        begin: date,
        days: int,
        seed: int,
        warm_up_s: int,
        on_day: Callable[[int], None] | None,
        rooms: Zones | None = None,
        begins: Begins | None = None,
    ) -> None:
        scenario = plant.scenario
        self.plant, self.programme, self.controller = plant, programme, programme.controller
        self.on_day, self.days_done, self.start_s = on_day, 0, -warm_up_s
        begin_utc = _instant(begin, programme.zone, begins.clock if begins else time())
        end_utc = _instant(begin + timedelta(days=days), programme.zone)
        self.span_s = round((end_utc - begin_utc).total_seconds())
        self.env = simpy.Environment(initial_time=self.start_s)
        controller, self.sources = self.controller, programme.switched
        unswitched = [n for n in plant.sheet.heat_sources if n not in self.sources]
        self.trace = Trace(
            begin_utc,
            scenario.place.time_zone,
            self.span_s,
            list(plant.pumps),
            [*self.sources, *unswitched],
            [d.name for d in controller.demands],
            list(plant.reported),
            [b.name for b in plant.bodies],
            list(plant.sheet.air),
            list(plant.sheet.treatment),
            [b.starter.name for b in programme.beside],
        )
        trace = self.trace
        switched = (trace.sources[n] for n in self.sources)
        self.streams = [*trace.pumps.values(), *trace.blowers.values(), *switched, *trace.treatments.values()]
        self.pumps, self.first_source = len(trace.pumps), len(trace.pumps) + len(trace.blowers)
        self.demands = [
            (controller.bit(f"{d.name}.raised"), trace.demands[d.name]) for d in controller.demands
        ]
        self.keeps = [f"keep after {keep.after}" for keep in controller.keeps]
        self.state: State = controller.initial
        self.time_up = [controller.bit(f"{stream.name}.time_up") for stream in self.streams]
        self.entered = [0] * len(self.streams)
        self.facts, self.noted_facts = sum(self.time_up), 0
        self.noted: tuple[tuple[int, ...], tuple[str, ...]] = ((), ())
        devices = [stream.name for stream in self.streams[self.first_source :]]
        self.sensed_bits = {n: controller.bit(f"flow.{n}.sensed") for n in devices}
        self.all_sensed = sum(self.sensed_bits.values())
        sheets = {**plant.sheet.heat_sources, **plant.sheet.treatment}
        self.own_switch_s = {n: s for n in devices if (s := sheets[n].own_flow_switch_s) is not None}
        self.risen: set[str] = set()
        bits = (controller.bit(fact) for fact in (POWER_LOST, WAITS, LEVEL_LOW))
        self.lost_bit, self.waits_bit, self.low_bit = bits
        self.wired_bits = controller.wired_facts | (self.low_bit if scenario.schedule.low_water else 0)
        self.scans: set[int] = set()
        self.dry_since: dict[str, int] = {}
        origin = begin_utc - timedelta(seconds=warm_up_s)
        self.unwarmed = zones(scenario, begin_utc, warm_up_s, self.span_s)
        self.zones = rooms or self.unwarmed
        self.always_covered = scenario.plant.tub.cover != "none"
        self.people, self.covered = 0, self.always_covered
        self.exchanges: Exchanges | None = None
        if _has_laws(scenario):
            air = weather(scenario, begin_utc, warm_up_s, self.span_s)
            burning = fires(plant, programme, origin, len(air.air_c))
            self.exchanges = Exchanges(plant, air, self.zones, burning)

        put_stay = [trace.stays[body.name].put for body in plant.bodies]
        put_age = {i: trace.ages[name].put for name, i in plant.reported.items()}
        self.heat = TubHeat(
            plant.tub_node,
            plant.bodies,
            self.zones.series,
            self.zones.origin_s,
            self.start_s,
            begins.water_c if begins else plant.temp_c,
            trace.tub.put,
            lambda stay: put_stay[stay.body](stay),
            self._put_exchange,
        )
        if begins and begins.just_filled:
            self.heat.shell_c = self.zones.series[plant.tub_node.shell_zone][0]
        self.age = Loops(
            plant.plugs,
            list(plant.reported.values()),
            scenario.limits.water_age_s,
            self.start_s,
            lambda plug, row: put_age[plug](row),
        )
        self.effects = Effects(
            plant,
            controller,
            self.sources,
            self.exchanges,
            self.age.patterns,
            self.low_bit,
            self.sensed_bits,
            self.own_switch_s,
        )
        beside = RunParts(
            self.env,
            self.start_s,
            self.span_s,
            plant,
            programme,
            controller,
            self.heat,
            self.zones,
            trace,
            self._post,
            self._request_scan,
        )
        self.beside = Beside(beside, origin, self.own_switch_s)
        self.now = Now(self.state, 0, plant.usually)
        self.effect = self.effects.of(self.now)
        trace.positions.put(self.start_s, ", ".join(plant.usually))

        bathed = sessions(scenario, origin, warm_up_s + self.span_s, seed)
        self.env.process(self._calendar(self._edges(programme, origin, bathed)))
        if bathed:
            self.env.process(self._bathers(together(bathed)))
        if not self.always_covered:  # from the very start: nothing else would tell it
            trace.cover.put(self.start_s, "off")
            self._tell_heat()
        if self.exchanges and self.exchanges.fires:
            self.env.process(self._burning())
        self.heating: HeatingControl | None = None
        if heating := scenario.schedule.heating:
            around = Surroundings(
                self.env,
                self.start_s,
                self.span_s,
                plant,
                controller,
                programme.callers,
                self.heat,
                self.exchanges,
                self.zones,
                trace,
                programme.own_clock(origin, warm_up_s + self.span_s),
                self._set_facts,
                self._request_scan,
            )
            self.heating = HeatingControl(heating, around, origin)
        if frost := scenario.schedule.frost_protection:
            mask = controller.bit(f"{FROST}.raised")
            self.beside.watch(frost, lambda up: self._post(mask, up))
        self._request_scan(self.start_s)

    def warm_up(self) -> bool:
        """Run up to the start of the span. False if some leg that moves has not turned over yet."""
        self.env.run(until=At(self.env, 0, Priority.CUT))
        self.age.close(0)
        self.heat.close()
        self.trace.restart()
        self.trace.heat_content_j = (self.heat.heat_content_j(), 0.0)
        self._reset_tripped()
        self._request_scan(0)
        return all(self.age.oldest_s(i, 0) < -self.start_s - 1 for i in self.age.moved())

    def _reset_tripped(self) -> None:
        """A person resets what tripped in the warm-up, so that whatever trips it shows in the span too."""
        bit = self.controller.bit
        tripped = [n for n in self.sources if self.trace.sources[n].now == "tripped"]
        resets = sum(bit(f"{n}.reset") for n in tripped)
        if resets:
            self.facts = self.facts & ~sum(bit(f"{n}.trips") for n in tripped) | resets
            At(self.env, 1, Priority.POST).then(lambda _: self._post(resets, False))

    def finish(self) -> Trace:
        """Run the span that counts, and close the trace."""
        self.env.run(until=At(self.env, self.span_s, Priority.END))
        self.age.close(self.span_s)
        self.heat.close()
        trace = self.trace
        trace.heat_content_j = (trace.heat_content_j[0], self.heat.heat_content_j())
        trace.end_water_c = self.heat.water_c
        trace.zones = self.zones
        trace.close()
        return trace

    def _edges(self, programme: Programme, origin: datetime, bathed: list[Session]) -> list[Edge]:
        """(second, mask, raised) of every change that is known beforehand, in order."""
        edges: list[Edge] = []
        span_s = self.span_s - self.start_s
        for name, spans in programme.raised(origin, span_s, bathed).items():
            mask = self.controller.bit(f"{name}.raised")
            for start, end in spans:
                edges += [(start + self.start_s, mask, True), (end + self.start_s, mask, False)]
        known = {
            POWER_LOST: programme.outages(origin, span_s),
            WAITS: programme.waits(origin, span_s),
            LEVEL_LOW: programme.low_water(origin, span_s),
        }
        for fact, spans in known.items():
            mask = self.controller.bit(fact)
            for start, end in spans:
                edges += [(start + self.start_s, mask, True), (end + self.start_s, mask, False)]
        if frost := self.plant.scenario.schedule.frost_protection:
            mask = self.controller.bit(f"{FROST}.raised")
            edges += [(at, mask, up) for at, up in cold(frost, self.zones)]
        return sorted((max(t, self.start_s), mask, up) for t, mask, up in edges if t < self.span_s)

    # -- what posts facts ----------------------------------------------------------------------------------

    def _calendar(self, edges: list[Edge]) -> Generator[simpy.Event, None, None]:
        """Demands that the calendar or a zone raises; several edges of one second are one wake."""
        for at, mask, raised in edges:
            if at > self.env.now:
                yield At(self.env, at, Priority.POST)
            self._post(mask, raised)

    def _bathers(self, changes: list[tuple[int, int, bool]]) -> Generator[simpy.Event, None, None]:
        """People come and go, and with them the cover."""
        for since_origin, people, covered in changes:
            at = max(since_origin + self.start_s, self.start_s)
            if at >= self.span_s:
                return
            if at > self.env.now:
                yield At(self.env, at, Priority.POST)
            self.people, self.covered = people, self.always_covered and (covered or not people)
            self.trace.people.put(at, str(people))
            self.trace.cover.put(at, "on" if self.covered else "off")
            self._tell_heat()
            self._request_scan(at)

    def _set_facts(self, clear: int, true: int) -> None:
        self.facts = self.facts & ~clear | true
        self._request_scan(int(self.env.now))

    def _post(self, mask: int, true: bool) -> None:
        self.facts = self.facts | mask if true else self.facts & ~mask
        self._request_scan(int(self.env.now))

    def _start_timer(self, machine: int, dwell_s: int) -> None:
        """The declared time of the state just entered: its fact turns true when it is over."""
        mask = self.time_up[machine]
        self.entered[machine] += 1
        if not dwell_s:
            self.facts |= mask
            return
        self.facts &= ~mask
        entered = self.entered[machine]

        def over(_: simpy.Event) -> None:
            now = int(self.env.now)
            if entered == self.entered[machine]:
                self.facts |= mask
                if self.controller.step(self.state, self.facts).moved:
                    self._request_scan(now)
            if now not in self.scans:  # nobody waits for this time, but heat goes on
                self._heat_on(now)

        At(self.env, int(self.env.now) + dwell_s, Priority.POST).then(over)

    def _request_scan(self, at_s: int) -> None:
        if at_s not in self.scans:
            self.scans.add(at_s)
            At(self.env, at_s, Priority.SCAN).then(self._scan)

    # -- the arbiter ---------------------------------------------------------------------------------------

    def _scan(self, _: simpy.Event) -> None:
        """One pass: all facts of this second are posted, and the tub is where it is now."""
        now = int(self.env.now)
        self.scans.discard(now)
        if self.heat.now_s < now:  # some event has not handed it on: every number from here on would be wrong
            raise RuntimeError(f"heat has come to second {self.heat.now_s} only, at second {now}")
        before, outcome = self.state, self.controller.step(self.state, self.facts)
        self.trace.passes += 1
        wired, positions = self.facts & self.wired_bits, self.beside.positions
        if outcome.moved or wired != self.now.wired or positions != self.now.positions:
            self.state = outcome.state
            self._apply(before, now)
            follows = self.controller.step(self.state, self.facts)  # a valve, too, changes what is sensed
            if follows.moved:  # a pass that would still change something waits one second
                self._request_scan(now + 1)
            self._note(outcome.deciding, follows.reasons, now)
        else:
            self._note(outcome.deciding, outcome.reasons, now)
        self._heat_on(now)
        if self.on_day is not None and now // DAY_S > self.days_done:
            self.days_done = now // DAY_S
            self.on_day(self.days_done)

    def _note(self, deciding: tuple[int, ...], reasons: tuple[str, ...], now: int) -> None:
        trace = self.trace
        if (deciding, reasons) != self.noted:
            self.noted = (deciding, reasons)
            for stream, who in zip(trace.deciding.values(), deciding, strict=False):  # blowers come after
                if who >= 0:
                    stream.put(now, self.controller.demands[who].name)
                else:
                    stream.put(now, "" if who == NOBODY else self.keeps[-2 - who])
            for stream, why in zip(trace.reasons.values(), reasons, strict=False):  # stoves come after
                stream.put(now, why)
        changed = self.facts ^ self.noted_facts
        if changed & self.low_bit:
            trace.level.put(now, "low" if self.facts & self.low_bit else "enough")
        for mask, stream in self.demands:
            if changed & mask:
                stream.put(now, "raised" if self.facts & mask else "")
        if changed & (self.lost_bit | self.waits_bit):
            waits = "waits" if self.facts & self.waits_bit else "on"
            trace.power.put(now, "lost" if self.facts & self.lost_bit else waits)
        self.noted_facts = self.facts

    def _apply(self, before: State, now: int) -> None:
        """The machines, or what is beside them, have moved: timers, trace, water and heat follow."""
        was = self.effect
        effect = self._effect_now()
        for i, (old, new) in enumerate(zip(before, self.state, strict=True)):
            if old != new:
                self._start_timer(i, effect.dwells_s[i])
        if self.own_switch_s and effect.felt != was.felt:
            self.facts &= ~self.beside.feel(effect.felt, now)
            effect = self._effect_now()  # an own switch opens in the very second in which the flow ends
        for stream, old_label, label in zip(self.streams, was.labels, effect.labels, strict=True):
            if old_label != label:
                stream.put(now, label)
        if effect.started != was.started or effect.second != was.second:
            for name, stream in self.trace.starters.items():
                stream.put(now, "closed" if name in effect.started else "")
            for name, stream in self.trace.seconds.items():
                stream.put(now, effect.second.get(name, ""))
        if effect.duty is not was.duty:
            self.trace.duties.put(now, effect.duty.name)
            self.age.change(now, effect.patterns)
        elif effect.firing == was.firing and effect.blowing == was.blowing:
            self.effect = effect
            return
        self.effect = effect
        self.risen = {n for n in self.risen if abs(effect.duty.flow_m3_s(n)) <= STILL_M3_S}
        unseen = sum(self.sensed_bits[n] for n in self.risen)
        self.facts = self.facts & ~self.all_sensed | effect.sensed & ~unseen
        self._tell_heat()
        self._watch_dry(now)
        if self.heating:
            self.heating.water_moves(effect.duty, now)

    def _effect_now(self) -> Effect:
        self.now = Now(self.state, self.facts & self.wired_bits, self.beside.positions)
        return self.effects.of(self.now)

    def _tell_heat(self) -> None:
        """What is done to the water's heat from now on."""
        effect, laws = self.effect, self.effect.laws
        if self.exchanges is not None:
            if not self.covered:
                laws = (*laws, self.exchanges.open_water())
            if self.people:
                laws = (*laws, self.exchanges.bathers(self.people))
        duty, trapped_w, now = effect.duty, effect.trapped_w, int(self.env.now)
        for name, series in self.exchanges.fires.items() if self.exchanges else ():
            sheet, heat_w = self.plant.sheet.heat_sources[name], series[(now - self.start_s) // 3600]
            moves = abs(duty.flow_m3_s(name)) > STILL_M3_S
            hot = heat_w > _HOT_SHARE * sheet.output_w
            if isinstance(sheet, Solar):  # a dry collector stands hot and gives nothing: it is built for that
                hot = hot and moves
            elif not moves:
                trapped_w += heat_w
            if moves and self.exchanges:
                laws = (*laws, self.exchanges.by_itself(name))
            self.trace.sources[name].put(now, "firing" if hot else "off")
        self.heat.change(
            duty.body_flows_m3_s, effect.heat_w, trapped_w, laws, self.covered, duty.body_ahead_m3
        )

    def _burning(self) -> Generator[simpy.Event, None, None]:
        """What burns or shines by itself, hour by hour: its heat, and whether it is hot."""
        assert self.exchanges is not None
        warm = False
        for hour in range((self.span_s - self.start_s) // 3600):
            at = self.start_s + 3600 * hour
            before, warm = warm, any(series[hour] > 0.0 for series in self.exchanges.fires.values())
            if warm or before:
                if at > self.env.now:
                    yield At(self.env, at, Priority.POST)
                self._tell_heat()
                self._request_scan(at)

    def _put_exchange(self, row: Exchanged) -> None:
        assert self.exchanges is not None
        name = self.exchanges.names[row.law]
        rows = self.trace.exchanges.get(name)
        if rows is None:
            rows = self.trace.exchanges[name] = Rows(name, Exchanged)
        rows.put(row)

    def _watch_dry(self, now: int) -> None:
        """A source that fires into still water trips at its own limit, if it has one."""
        for name in self.sources:
            if name not in self.effect.firing or abs(self.effect.duty.flow_m3_s(name)) > STILL_M3_S:
                self.dry_since.pop(name, None)
            elif name not in self.dry_since:
                self.dry_since[name] = now
                if self.plant.sheet.heat_sources[name].proof.by == "temperature_rise":
                    rises_s = max(1, math.ceil(self.plant.seconds_to_rise(name, self.heat.water_c)))
                    At(self.env, now + rises_s, Priority.POST).then(
                        lambda _, name=name: self._see_rise(name, now)  # type: ignore[misc]
                    )
                seconds = self.plant.seconds_to_limit(name, self.heat.water_c)
                if seconds is not None and not isinstance(self.plant.sheet.heat_sources[name], HeatPump):
                    At(self.env, now + max(1, math.ceil(seconds)), Priority.POST).then(
                        lambda _, name=name: self._post_trip(name, now)  # type: ignore[misc]
                    )

    def _see_rise(self, name: str, since: int) -> None:
        """A rise that only still water shows: the means of proof says no from now until water moves."""
        if self.dry_since.get(name) == since:
            self.risen.add(name)
            self._post(self.sensed_bits[name], False)
        self._request_scan(int(self.env.now))

    def _post_trip(self, name: str, since: int) -> None:
        mask = self.controller.bit(f"{name}.trips")
        self._post(mask, self.dry_since.get(name) == since or bool(self.facts & mask))

    def _heat_on(self, now: int) -> None:
        """Nothing changes before the next event, so heat runs on to it, or to the tub's next threshold."""
        horizon = min(int(self.env.peek()), self.span_s)
        watched = self.heating.watched() if self.heating else []
        for watch in self.beside.watches:
            watched = [*watched, *watch.watched()]
        crossed = self.heat.advance(horizon, *watched)
        if crossed is not None:
            at = max(crossed, now + 1)  # acted on at the next look
            self.heat.advance(min(at, horizon))
            At(self.env, at, Priority.POST).then(self._look)

    def _look(self, _: simpy.Event) -> None:
        """Everything that watches the tub's temperature looks at it."""
        if self.heating:
            self.heating.look()
        for watch in self.beside.watches:
            watch.look_at_tub()


def _has_laws(scenario: Scenario) -> bool:
    """Whether any heat depends on the water's temperature and the weather beyond its own."""
    plant = scenario.plant
    pumps = any(isinstance(s, HeatPump) or not s.switched for s in plant.heat_sources.values())
    return bool(scenario.schedule.bathing) or pumps or bool(plant.air) or plant.tub.cover == "none"
