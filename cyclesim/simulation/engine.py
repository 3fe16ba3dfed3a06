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

from collections.abc import Callable, Iterator
from datetime import date
from functools import partial

from cyclesim.control.step import ControlLogic, State
from cyclesim.simulation.assembly import Assembly, Positions
from cyclesim.simulation.beside import Beside
from cyclesim.simulation.board import Board, RunParts, Timers
from cyclesim.simulation.clock import Priority
from cyclesim.simulation.drive import Begins, Drive, by_calendar
from cyclesim.simulation.dry import DryWatch
from cyclesim.simulation.effects import Effects
from cyclesim.simulation.heating_control import HeatingControl
from cyclesim.simulation.passes import Passed, Passes
from cyclesim.simulation.programme import FROST, Programme
from cyclesim.simulation.recorder import Recorder, new_trace
from cyclesim.simulation.room import Rooms
from cyclesim.simulation.trace import Trace, Zones
from cyclesim.simulation.uncollected import uncollected
from cyclesim.simulation.water_and_heat import WaterAndHeat
from cyclesim.simulation.wired import Settled, Wiring

DAY_S = 86_400
WARM_UP_S = 14 * DAY_S
LONG_WARM_UP_S = 30 * DAY_S


@uncollected()
def simulate_trace(
    plant: Assembly,
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

    def drive_of(warm_up_s: int, rooms: Zones | None = None) -> Drive:
        return by_calendar(
            plant, programme, begin, days, seed=seed, warm_up_s=warm_up_s, begins=begins, rooms=rooms
        )

    def trace_of(warm_up_s: int) -> Trace | None:
        """None where some leg that moves does not turn over in the usual warm-up."""
        drive = drive_of(warm_up_s)
        rooms = Rooms(plant, programme, drive)
        while True:
            if rooms.names:
                drive = drive_of(warm_up_s, rooms.zones)
            run = PlantRun(plant, programme.controller, drive, on_day=on_day)
            if not run.warm_up() and warm_up_s == WARM_UP_S:
                return None
            trace = run.finish(ages=not rooms.asks)
            if rooms.settle(trace):
                return trace

    usual_s = 0 if begins else WARM_UP_S
    trace = trace_of(usual_s) or trace_of(LONG_WARM_UP_S)
    assert trace is not None, "only the usual warm-up is too short"
    return trace


class PlantRun:
    """One run of a plant, driven from outside: the warm-up, then the span that counts.

    *on_day* is called with the number of days done. *on_pass* is called after every pass, the warm-up's
    included, with its second, the machines' state, all facts, and the positions of valves.
    """

    def __init__(
        self,
        plant: Assembly,
        controller: ControlLogic,
        drive: Drive,
        *,
        on_day: Callable[[int], None] | None = None,
        on_pass: Callable[[int, State, int, Positions], None] | None = None,
    ) -> None:
        self.drive, self._controller = drive, controller
        self._on_day, self._on_pass, self._days_done, self._packs_at_s = on_day, on_pass, 0, 0
        self._board = Board(drive.start_s, self._scan, self._heat_on)
        self._wiring = Wiring(plant, controller, plant.behind_plates)
        self._trace = new_trace(plant, controller, drive)
        self._water = WaterAndHeat(plant, self._wiring, drive, self._board, self._trace)
        parts = RunParts(self._board, drive, plant, controller, self._water.heat, self._trace)
        self._timers = Timers(self._board, controller)
        self._beside = Beside(parts, self._wiring)
        self._dry = DryWatch(parts, self._wiring)
        effects = Effects(self._wiring, self._water.exchanges, self._water.age.patterns)
        self._passes = Passes(controller, self._wiring, effects, self._beside.around)
        self._passed = rest = self._passes.at_rest
        """What the last pass has come to."""
        self._recorder = Recorder(self._trace, controller, rest)
        self._board.facts |= rest.facts
        self._water.begin(rest.effect)
        self._board.process(self._outside())
        self._heating: HeatingControl | None = None
        if drive.heating:
            self._heating = HeatingControl(drive.heating, parts, self._water.exchanges)
        if drive.frost:
            mask = controller.bit(f"{FROST}.raised")
            self._beside.watch(drive.frost, lambda up: self._board.post(mask, up))
        self._board.wake()

    def warm_up(self) -> bool:
        """Run up to the start of the span. False if some leg that moves has not turned over yet."""
        self._board.run(0, Priority.CUT)
        content_j = self._water.close(0)
        self._recorder.put_down()
        self._trace.restart()
        self._trace.heat_content_j = (content_j, 0.0)
        # so that whatever trips it shows in the span too
        self._reset([s.name for s in self._controller.sources if self._trips(s.name)])
        self._board.wake()
        return self._water.turned_over()

    def finish(self, *, ages: bool = True) -> Trace:
        """Run the span that counts, and close the trace; it need not have *ages* of water."""
        trace, span_s = self._trace, self.drive.span_s
        self._water.follows_age = ages
        self._board.run(span_s, Priority.END)
        trace.heat_content_j = (trace.heat_content_j[0], self._water.close(span_s))
        self._recorder.put_down()
        trace.end_water_c = self._water.heat.water_c
        trace.zones = self.drive.zones
        trace.close()
        return trace

    def _trips(self, name: str) -> bool:
        return name in self._trace.sources and self._trace.sources[name].now == "tripped"

    def _reset(self, names: list[str]) -> None:
        """A person resets what has tripped."""
        board, bit = self._board, self._controller.bit
        resets = sum(bit(f"{name}.reset") for name in names)
        board.set(sum(bit(f"{name}.trips") for name in names), resets)
        if resets:
            board.at(board.now + 1, lambda: board.post(resets, False))

    # -- from outside --------------------------------------------------------------------------------------

    def _outside(self) -> Iterator[int]:
        """What drives the run, in order; all of one second is one wake."""
        for at, do in self._events():
            if at > self._board.now:
                yield at
            do()

    def _events(self) -> list[tuple[int, Callable[[], None]]]:
        """(second, what happens), in order; of one fact what ends comes before what begins."""
        drive, beside = self.drive, self._beside
        edges = sorted(
            (at, name, up) for name, spans in drive.facts.items() for span in spans for at, up in _edges(span)
        )
        events: list[tuple[int, Callable[[], None]]] = []
        events += [(at, beside.teller(name, up)) for at, name, up in edges]
        events += [(at, partial(self._water.bathe, people, covered)) for at, people, covered in drive.people]
        events += [(at, partial(beside.turn, valve, to)) for at, valve, to in drive.turns]
        events += [(at, partial(beside.cut, circuit, lost)) for at, circuit, lost in drive.cuts]
        events += [(at, partial(beside.weld, machine, speed)) for at, machine, speed in drive.welds]
        events += [(at, partial(self._reset, [name])) for at, name in drive.resets]
        within = ((max(at, drive.start_s), do) for at, do in events if at < drive.span_s)
        return sorted(within, key=lambda event: event[0])

    # -- the arbiter ---------------------------------------------------------------------------------------

    def _scan(self, now: int) -> None:
        """One pass: all facts of this second are posted, and the tub is where it is now."""
        board, timers = self._board, self._timers
        timers.take_over()
        passed = self._passes.after(self._passed, board.facts, self._beside.around, self._dry.risen)
        self._passed = passed
        if passed.settled is not None:
            self._apply(passed, passed.settled, now)
        timers.plan(passed)
        self._recorder.note(passed, now)
        self._heat_on(now)
        if now >= self._packs_at_s:
            self._trace.pack()
            self._packs_at_s = now + 30 * DAY_S
        if self._on_day is not None and now // DAY_S > self._days_done:
            self._days_done = now // DAY_S
            self._on_day(self._days_done)
        if self._on_pass is not None:
            self._on_pass(now, passed.state, board.facts, self._beside.around.positions)

    def _apply(self, passed: Passed, settled: Settled, now: int) -> None:
        """Machines, or what is beside them, have moved: timers, switches, water and heat follow."""
        beside, effect = self._beside, passed.effect
        for machine, state in passed.entered:
            self._timers.enter(machine, state)
        self._board.facts = passed.facts
        beside.follow(settled)
        if self._water.follow(effect, now):
            self._dry.follow(effect.what.dry, settled.risen, now)
            beside.water_moves(effect.duty)
            if self._heating:
                self._heating.water_moves(effect.duty, now)
        if passed.again:
            self._board.wake(now + 1)

    def _heat_on(self, now: int) -> None:
        """All of this second has been done: heat runs on to the next in which something happens."""
        heat_s = self._water.heat.now_s
        if heat_s < now:  # some event has not handed it on: every number from here on would be wrong
            raise RuntimeError(f"heat has come to second {heat_s} only, at second {now}")
        levels = self._heating.watched() if self._heating else ()
        for watch in self._beside.watches:
            levels = (*levels, *watch.watched())
        at = self._water.advance(levels, now, self._timers.ends_s)
        if at is not None:
            self._board.at(at, self._look)

    def _look(self) -> None:
        """Everything that watches the tub's temperature looks at it."""
        if self._heating:
            self._heating.look()
        for watch in self._beside.watches:
            watch.look_at_tub()
        self._water.look()


def _edges(span: tuple[int, int]) -> tuple[tuple[int, bool], tuple[int, bool]]:
    return (span[0], True), (span[1], False)
