"""The run: simpy owns the time; small processes post facts; one arbiter wakes once per instant and steps.

Nothing is stepped through time. Between two instants at which something changes, heat and water are solved in
closed form, and the next instant at which the tub crosses a threshold is computed, not looked for.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Generator
from datetime import UTC, date, datetime, timedelta
from enum import IntEnum
from typing import NamedTuple
from zoneinfo import ZoneInfo

import simpy

from cyclesim.control.step import NOBODY, State
from cyclesim.physics.loops import Loops, Patterns
from cyclesim.physics.tub_heat import TubHeat
from cyclesim.physics.water_age import STILL_M3_S
from cyclesim.simulation.assembly import Plant, PlantDuty
from cyclesim.simulation.programme import FROST, HEATING, Programme
from cyclesim.simulation.trace import Trace
from cyclesim.simulation.weather import below, zones

DAY_S = 86_400
WARM_UP_S = 14 * DAY_S
LONG_WARM_UP_S = 30 * DAY_S


class Priority(IntEnum):
    """Order within one second; 0 and 1 belong to simpy."""

    CUT = 2
    POST = 3
    SCAN = 5
    END = 9


class At(simpy.Event):
    """Fires at an absolute whole second, before or after others of that second by its priority."""

    def __init__(self, env: simpy.Environment, at_s: int, priority: Priority) -> None:
        if not isinstance(at_s, int) or at_s < env.now:
            raise ValueError(f"an event needs a whole second that is not past (got {at_s!r} at {env.now!r})")
        super().__init__(env)
        self._ok, self._value = True, None
        env.schedule(self, priority, at_s - env.now)  # type: ignore[arg-type]  # any int is a priority

    def then(self, do: Callable[[simpy.Event], None]) -> None:
        """Call *do* when it fires."""
        self.callbacks.append(do)


def simulate_trace(
    plant: Plant,
    programme: Programme,
    *,
    days: int,
    start: date | None = None,
    on_day: Callable[[int], None] | None = None,
) -> Trace:
    """Run the plant under its programme for *days* local days from *start* (1 January of its year).

    *on_day* is called with the number of days done, for a progress bar; it changes nothing.
    """
    begin = start or date(plant.scenario.place.year, 1, 1)
    run = _Run(plant, programme, begin, days, WARM_UP_S, on_day)
    if not run.warm_up():
        run = _Run(plant, programme, begin, days, LONG_WARM_UP_S, on_day)
        run.warm_up()
    return run.finish()


def _midnight(day: date, zone: ZoneInfo) -> datetime:
    return datetime(day.year, day.month, day.day, tzinfo=zone).astimezone(UTC)


class _Effect(NamedTuple):
    """What one controller state does to the plant."""

    names: tuple[str, ...]
    dwells_s: tuple[int, ...]
    duty: PlantDuty
    patterns: Patterns
    firing: tuple[str, ...]
    heat_w: float
    trapped_w: float
    sensed: int


class _Run:
    """One run: the warm-up, then the span that counts."""

    def __init__(
        self,
        plant: Plant,
        programme: Programme,
        begin: date,
        days: int,
        warm_up_s: int,
        on_day: Callable[[int], None] | None,
    ) -> None:
        scenario = plant.scenario
        self.plant, self.controller, self.heating = plant, programme.controller, scenario.schedule.heating
        self.on_day, self.days_done, self.start_s = on_day, 0, -warm_up_s
        begin_utc = _midnight(begin, programme.zone)
        self.span_s = round(
            (_midnight(begin + timedelta(days=days), programme.zone) - begin_utc).total_seconds()
        )
        self.env = simpy.Environment(initial_time=self.start_s)
        controller, self.pumps, self.sources = (
            self.controller,
            len(plant.pumps),
            list(plant.sheet.heat_sources),
        )
        self.trace = Trace(
            begin_utc,
            scenario.place.time_zone,
            self.span_s,
            list(plant.pumps),
            self.sources,
            [d.name for d in controller.demands],
            list(plant.reported),
            [b.name for b in plant.bodies],
        )
        self.streams = [*self.trace.pumps.values(), *self.trace.sources.values()]
        self.demands = [
            (controller.bit(f"{d.name}.raised"), self.trace.demands[d.name]) for d in controller.demands
        ]
        self.keeps = [f"keep after {keep.after}" for keep in controller.keeps]
        self.state: State = controller.initial
        self.time_up = [controller.bit(f"{stream.name}.time_up") for stream in self.streams]
        self.entered = [0] * len(self.streams)
        self.facts, self.noted_facts = sum(self.time_up), 0
        self.noted: tuple[tuple[int, ...], tuple[str, ...]] = ((), ())
        self.all_sensed = sum(controller.bit(f"flow.{n}.sensed") for n in self.sources)
        self.heating_bit = controller.bit(f"{HEATING}.raised") if self.heating else 0
        self.scans: set[int] = set()
        self.dry_since: dict[str, int] = {}

        self.zones = zones(scenario, begin_utc, warm_up_s, self.span_s)
        put_stay = [self.trace.stays[body.name].put for body in plant.bodies]
        put_age = {i: self.trace.ages[name].put for name, i in plant.reported.items()}
        self.heat = TubHeat(
            plant.tub_node,
            plant.bodies,
            self.zones.series,
            self.zones.origin_s,
            self.start_s,
            plant.temp_c,
            self.trace.tub.put,
            lambda stay: put_stay[stay.body](stay),
        )
        self.age = Loops(
            plant.plugs,
            list(plant.reported.values()),
            scenario.limits.water_age_s,
            self.start_s,
            lambda plug, row: put_age[plug](row),
        )
        self.effects: dict[State, _Effect] = {}
        self.effect = self.effects[self.state] = self._effect_of(self.state)
        self.env.process(self._calendar(self._edges(programme, begin_utc, warm_up_s)))
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
        tripped = [
            n
            for n in self.sources
            if self.trace.sources[n].labels[self.trace.sources[n].codes[-1]] == "tripped"
        ]
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

    def _edges(
        self, programme: Programme, begin_utc: datetime, warm_up_s: int
    ) -> list[tuple[int, int, bool]]:
        """(second, mask, raised) of every change that is known beforehand, in order."""
        edges: list[tuple[int, int, bool]] = []
        origin = begin_utc - timedelta(seconds=warm_up_s)
        for name, spans in programme.raised(origin, warm_up_s + self.span_s).items():
            mask = self.controller.bit(f"{name}.raised")
            for start, end in spans:
                edges += [(start - warm_up_s, mask, True), (end - warm_up_s, mask, False)]
        if frost := self.plant.scenario.schedule.frost_protection:
            mask = self.controller.bit(f"{FROST}.raised")
            series = self.zones.series[frost.watches]
            for start, end in below(series, self.zones.origin_s, frost.starts_below_c, frost.stops_above_c):
                edges += [(start, mask, True), (end, mask, False)]
        return sorted((max(t, self.start_s), mask, up) for t, mask, up in edges if t < self.span_s)

    # -- what posts facts ----------------------------------------------------------------------------------

    def _calendar(self, edges: list[tuple[int, int, bool]]) -> Generator[simpy.Event, None, None]:
        """Demands that the calendar or a zone raises; several edges of one second are one wake."""
        for at, mask, raised in edges:
            if at > self.env.now:
                yield At(self.env, at, Priority.POST)
            self._post(mask, raised)

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
        before, outcome = self.state, self.controller.step(self.state, self.facts)
        self.trace.passes += 1
        if outcome.moved:
            self.state = outcome.state
            self._apply(before, now)
            follows = self.controller.step(self.state, self.facts)
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
            for stream, who in zip(trace.deciding.values(), deciding, strict=True):
                if who >= 0:
                    stream.put(now, self.controller.demands[who].name)
                else:
                    stream.put(now, "" if who == NOBODY else self.keeps[-2 - who])
            for stream, why in zip(trace.reasons.values(), reasons, strict=True):
                stream.put(now, why)
        changed = self.facts ^ self.noted_facts
        for mask, stream in self.demands:
            if changed & mask:
                stream.put(now, "raised" if self.facts & mask else "")
        self.noted_facts = self.facts

    def _apply(self, before: State, now: int) -> None:
        """The machines have moved: timers, trace, water and heat follow."""
        effect = self.effects.get(self.state)
        if effect is None:
            effect = self.effects[self.state] = self._effect_of(self.state)
        for i, (old, new) in enumerate(zip(before, self.state, strict=True)):
            if old != new:
                self.streams[i].put(now, effect.names[i])
                self._start_timer(i, effect.dwells_s[i])
        if effect.duty is not self.effect.duty:
            self.trace.duties.put(now, effect.duty.name)
            self.age.change(now, effect.patterns)
        elif effect.firing == self.effect.firing:
            return
        self.effect = effect
        self.facts = self.facts & ~self.all_sensed | effect.sensed
        self.heat.change(effect.duty.body_flows_m3_s, effect.heat_w, effect.trapped_w)
        self._watch_dry(now)

    def _effect_of(self, state: State) -> _Effect:
        """What the machines' states do to water and heat, and what the means of proof say of it."""
        names = self.controller.names(state)
        speeds = tuple("stopped" if name == "changing" else name for name in names[: self.pumps])
        duty = self.plant.duty(speeds)
        patterns = self.age.patterns(duty.plug_flows_m3_s)
        firing = tuple(n for n, s in zip(self.sources, names[self.pumps :], strict=True) if s == "firing")
        heat_w, trapped_w = duty.pump_heat_w, 0.0
        for name in firing:
            if abs(duty.flow_m3_s(name)) > STILL_M3_S:
                heat_w += self.plant.sheet.heat_sources[name].output_w
            else:
                trapped_w += self.plant.sheet.heat_sources[name].output_w
        sensed = sum(
            self.controller.bit(f"flow.{n}.sensed") for n in self.sources if self.plant.sensed(n, duty)
        )
        dwells_s = self.controller.dwells_s(state)
        return _Effect(names, dwells_s, duty, patterns, firing, heat_w, trapped_w, sensed)

    def _watch_dry(self, now: int) -> None:
        """A source that fires into still water trips at its own limit, if it has one."""
        for name in self.sources:
            if name not in self.effect.firing or abs(self.effect.duty.flow_m3_s(name)) > STILL_M3_S:
                self.dry_since.pop(name, None)
            elif name not in self.dry_since:
                self.dry_since[name] = now
                seconds = self.plant.seconds_to_limit(name, self.heat.water_c)
                if seconds is not None:
                    At(self.env, now + max(1, math.ceil(seconds)), Priority.POST).then(
                        lambda _, name=name: self._post_trip(name, now)  # type: ignore[misc]
                    )

    def _post_trip(self, name: str, since: int) -> None:
        mask = self.controller.bit(f"{name}.trips")
        self._post(mask, self.dry_since.get(name) == since or bool(self.facts & mask))

    def _heat_on(self, now: int) -> None:
        """Nothing changes before the next event, so heat runs on to it, or to the tub's next threshold."""
        horizon = min(int(self.env.peek()), self.span_s)
        if self.heating is None:
            self.heat.advance(horizon)
            return
        raised = bool(self.facts & self.heating_bit)
        level = self.heating.keep_at_c - (0.0 if raised else self.heating.within_k)
        crossed = self.heat.advance(horizon, (level, raised))
        if crossed is not None:
            at = max(crossed, now + 1)  # acted on at the next look
            self.heat.advance(min(at, horizon))
            At(self.env, at, Priority.POST).then(lambda _: self._post(self.heating_bit, not raised))
