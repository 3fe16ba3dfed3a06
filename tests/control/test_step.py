"""The one interpreter of control: order of a pass, ranks, interlocks, timers."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from itertools import groupby, pairwise, product
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cyclesim.control.machines import pump_machine, source_machine, tabulate
from cyclesim.control.step import (
    BlockInterlock,
    Condition,
    ControlLogic,
    Demand,
    KeepInterlock,
    PassOutcome,
    PumpControl,
    SourceControl,
)

TWO = PumpControl("main", ("low", "high"), tabulate(pump_machine("main", ("low", "high"))))
ONE = PumpControl("circulator", ("on",), tabulate(pump_machine("circulator", ("on",))))
PROVEN = SourceControl("element", tabulate(source_machine("element", proves=True, runs_on=True)))
BARE = SourceControl("element", tabulate(source_machine("element", proves=False, runs_on=False)))
BOILER = SourceControl("boiler", tabulate(source_machine("boiler", proves=True, runs_on=False)))

BATHING = Demand("bathing", "bathing", 0, "main", "high")
FLUSH = Demand("flush", "line_flush", 2, "main", "high")
HEATING = Demand("heating", "heating", 3, "main", "low", ("element",))
FILTER = Demand("filter", "filter_run", 4, "main", "low")

NOT_WHILE_HIGH = BlockInterlock("element", None, Condition("main", "high"), "the breaker")
RUN_ON = KeepInterlock("main", "low", "element")

# The plant of the classic case: one two-speed pump, an element that the breaker cannot carry beside high.
CLASSIC = ControlLogic(
    pumps=(TWO,),
    sources=(PROVEN,),
    demands=(BATHING, FLUSH, HEATING, FILTER),
    blocks=(NOT_WHILE_HIGH,),
    keeps=(RUN_ON,),
    dwell_s={
        "main": {"stopped": 75, "low": 10, "high": 10, "changing": 2},
        "element": {"proving": 5, "proving_again": 5, "run_on": 60},
    },
)

# Two pumps and two sources; the jet pump may not run beside the boiler, and shuts the element out.
DOUBLE = ControlLogic(
    pumps=(ONE, TWO),
    sources=(PROVEN, BOILER),
    demands=(
        Demand("bathing", "bathing", 0, "main", "high"),
        Demand("frost", "frost_protection", 1, "circulator", "on"),
        Demand("heating", "heating", 3, "circulator", "on", ("element", "boiler")),
        Demand("jets", "line_flush", 2, "main", "low"),
    ),
    blocks=(
        BlockInterlock("element", None, Condition("main", "running"), "the breaker"),
        BlockInterlock("main", "high", Condition("boiler", "firing"), "the gas meter"),
        BlockInterlock("boiler", None, Condition("circulator", "running", negated=True), "no circulation"),
    ),
    keeps=(KeepInterlock("circulator", "on", "element"),),
    dwell_s={"main": {"stopped": 20, "changing": 2}, "element": {"run_on": 30}, "boiler": {"proving": 5}},
)
UNWIRED = ControlLogic((TWO,), (BARE,), (BATHING, HEATING))
PLANTS = (CLASSIC, DOUBLE, UNWIRED)


def mask(controller: ControlLogic, *names: str) -> int:
    """The facts with just these names true."""
    return sum(controller.bit(name) for name in names)


def timers(controller: ControlLogic) -> int:
    """Every time_up true."""
    return mask(controller, *(name for name in controller.facts if name.endswith(".time_up")))


class Bench:
    """A controller beside a clock that serves its timers: one pass a second; flow where `flows` says."""

    def __init__(self, controller: ControlLogic, flows: Callable[[tuple[str, ...]], bool]) -> None:
        self.controller, self.flows = controller, flows
        self.state, self.now_s = controller.initial, 0
        self.since_s = [-(10**6)] * len(self.state)  # everything has rested long enough
        self.seen: list[tuple[int, tuple[str, ...]]] = []
        self.outcome = controller.step(self.state, 0)

    def run(self, lasts_s: int, *raised: str) -> None:
        """Let it run with these demands raised and these further facts true."""
        c = self.controller
        machines = [machine.name for machine in (*c.pumps, *c.sources)]
        for _ in range(lasts_s):
            names = set(raised)
            if self.flows(c.names(self.state)):
                names |= {f"flow.{source.name}.sensed" for source in c.sources}
            for name, since_s, dwell_s in zip(machines, self.since_s, c.dwells_s(self.state), strict=True):
                if self.now_s - since_s >= dwell_s:
                    names.add(f"{name}.time_up")
            self.outcome = c.step(self.state, mask(c, *names))
            for i, (old, new) in enumerate(zip(self.state, self.outcome.state, strict=True)):
                if old != new:
                    self.since_s[i] = self.now_s
            self.state = self.outcome.state
            self.seen.append((self.now_s, c.names(self.state)))
            self.now_s += 1

    def told(self, machine: int, from_s: int = 0) -> list[tuple[str, int]]:
        """What one machine did: each state it was in and for how many seconds."""
        states = (names[machine] for at_s, names in self.seen if at_s >= from_s)
        return [(state, len(list(group))) for state, group in groupby(states)]


def main_runs(names: tuple[str, ...]) -> bool:
    """Flow passes while the first pump is at a speed."""
    return names[0] in ("low", "high", "on")


def states_of(controller: ControlLogic) -> Iterable[tuple[int, ...]]:
    """Every combination of machine states, reachable or not."""
    machines = (*controller.pumps, *controller.sources)
    return product(*(range(len(machine.table.states)) for machine in machines))


@st.composite
def situations(draw: st.DrawFn) -> tuple[ControlLogic, tuple[int, ...], int]:
    """A plant, any state of it and any facts."""
    controller = draw(st.sampled_from(PLANTS))
    state = draw(st.sampled_from(list(states_of(controller))))
    return controller, state, draw(st.integers(0, (1 << len(controller.facts)) - 1))


# --- the pass -------------------------------------------------------------------------------------


@settings(max_examples=400)
@given(situations())
def test_total(situation: tuple[ControlLogic, tuple[int, ...], int]) -> None:
    """Any state and any facts have an outcome; every machine moves at most once, along its own table."""
    controller, state, facts = situation
    outcome = controller.step(state, facts)
    machines = (*controller.pumps, *controller.sources)
    for machine, old, new in zip(machines, state, outcome.state, strict=True):
        assert new in machine.table.next[old] or new == old
    assert outcome.moved == (outcome.state != state)
    assert len(outcome.deciding) == len(controller.pumps)
    assert len(outcome.reasons) == len(controller.sources)
    assert set(controller.commands(outcome.state)) == {machine.name for machine in machines}


@settings(max_examples=300)
@given(situations())
def test_settles(situation: tuple[ControlLogic, tuple[int, ...], int]) -> None:
    """With constant facts and every time served, a plant without contradictory interlocks comes to rest."""
    controller, state, facts = situation
    facts |= timers(controller)
    for _ in range(8):
        outcome = controller.step(state, facts)
        state = outcome.state
    assert not outcome.moved
    assert controller.step(state, facts) == outcome


@settings(max_examples=300)
@given(situations())
def test_pure(situation: tuple[ControlLogic, tuple[int, ...], int]) -> None:
    """The same question has the same answer, from a controller asked before and from a new one."""
    controller, state, facts = situation
    fresh = ControlLogic(
        controller.pumps,
        controller.sources,
        controller.demands,
        controller.blocks,
        controller.keeps,
        controller.dwell_s,
    )
    assert fresh.step(state, facts) == controller.step(state, facts) == controller.step(state, facts)


def test_cheap_when_asked_again() -> None:
    """An answer that was given before is looked up: the very same object comes back."""
    first = CLASSIC.step(CLASSIC.initial, 0)
    assert CLASSIC.step(CLASSIC.initial, 0) is first


def test_facts_in_bit_order() -> None:
    """The external facts stand in the declared order, and each has its own bit."""
    assert UNWIRED.facts == (
        "bathing.raised",
        "heating.raised",
        "flow.element.sensed",
        "main.time_up",
        "element.time_up",
        "element.trips",
        "element.reset",
        "power.lost",
        "controller.waits",
        "level.low",
    )
    assert [1 << i for i in range(10)] == [UNWIRED.bit(name) for name in UNWIRED.facts]


# --- the case that shows why the settle is a fixed pass -------------------------------------------


def test_bathing_while_element_fires() -> None:
    """One run-on, one change of speed, no chatter; the element never fires while the pump is at high."""
    bench = Bench(CLASSIC, main_runs)
    bench.run(100, "heating.raised")
    assert bench.controller.names(bench.state) == ("low", "firing")
    bench.run(300, "heating.raised", "bathing.raised")
    assert bench.told(0, from_s=100) == [("changing", 2), ("high", 298)]
    assert bench.told(1, from_s=100) == [("run_on", 60), ("off", 240)]
    assert bench.outcome.reasons == ("the breaker",)
    assert not [names for _, names in bench.seen if names == ("high", "firing")]


def test_bathing_over() -> None:
    """When bathing ends, the pump goes back to low once and the element proves flow again before it fires."""
    bench = Bench(CLASSIC, main_runs)
    bench.run(100, "heating.raised")
    bench.run(300, "heating.raised", "bathing.raised")
    bench.run(200, "heating.raised")
    assert bench.told(0, from_s=400) == [("changing", 2), ("low", 198)]
    assert [state for state, _ in bench.told(1, from_s=400)][-3:] == ["off", "proving", "firing"]
    assert ("proving", 5) in bench.told(1, from_s=403)


def test_heating_ends() -> None:
    """When heat is no longer called for, the pump is kept at low for exactly the run-on, then stops."""
    bench = Bench(CLASSIC, main_runs)
    bench.run(100, "heating.raised")
    bench.run(200)
    assert bench.told(1, from_s=100) == [("run_on", 60), ("off", 140)]
    assert bench.told(0, from_s=100) == [("low", 60), ("stopped", 140)]
    bench_keeps = CLASSIC.step((1, CLASSIC.sources[0].table.states.index("run_on")), 0)
    assert bench_keeps.deciding == (-2,)


@pytest.mark.parametrize(("rests_s", "runs_s"), [(0, 84), (1, 60)])
def test_a_call_that_comes_back_and_ends_in_the_proof_leaves_the_run_on_owed(
    rests_s: int, runs_s: int
) -> None:
    """20 s after its fire, heat is called for 4 s, less than the 5 s of proof: the 60 s begin anew after it.

    With a rest it does not leave its run-on for the proof, and the pump runs for just its 60 s.
    """
    element = SourceControl("element", tabulate(source_machine("element", True, True, rests_s > 0)))
    dwell_s = {**CLASSIC.dwell_s, "element": {**CLASSIC.dwell_s["element"], "off": rests_s}}
    bench = Bench(replace(CLASSIC, sources=(element,), dwell_s=dwell_s), main_runs)
    bench.run(100, "heating.raised")
    bench.run(20)
    bench.run(4, "heating.raised")
    bench.run(100)
    assert bench.told(0, from_s=100)[0] == ("low", runs_s)
    assert "firing" not in dict(bench.told(1, from_s=100))


@given(st.lists(st.tuples(st.integers(1, 90), st.sets(st.sampled_from(CLASSIC.facts[:4]))), max_size=12))
def test_interlock_for_any_schedule(history: list[tuple[int, set[str]]]) -> None:
    """Whatever is asked for and when: element and high never together, every declared time is served."""
    bench = Bench(CLASSIC, main_runs)
    for lasts_s, raised in history:
        bench.run(lasts_s, *raised)
    assert ("high", "firing") not in {names for _, names in bench.seen}
    least_s = {"stopped": 75, "low": 10, "high": 10, "changing": 2}
    for state, lasts_s in bench.told(0)[1:-1]:
        assert lasts_s >= least_s[state]
    for (state, lasts_s), (then, _) in pairwise(bench.told(1)):
        assert (state, then) != ("off", "firing")
        assert lasts_s == 5 or (state, then) != ("proving", "firing")
        assert lasts_s == 60 or (state, then) != ("run_on", "off")
        assert lasts_s == 5 or (state, then) != ("proving_again", "firing")
    last_s = max((at_s for at_s, names in bench.seen if names[1] == "firing"), default=bench.now_s)
    assert "stopped" not in {names[0] for at_s, names in bench.seen if last_s <= at_s <= last_s + 60}


# --- arbitration ----------------------------------------------------------------------------------


def decide(demands: Iterable[Demand], *raised: str) -> PassOutcome:
    """One pass of the two-speed pump alone, from rest, all times served."""
    controller = ControlLogic((TWO,), (), tuple(demands))
    return controller.step(controller.initial, timers(controller) | mask(controller, *raised))


@pytest.mark.parametrize(
    ("deciding", "speed", "raised"),
    [
        (-1, 0, []),
        (3, 1, ["filter.raised"]),
        (1, 2, ["filter.raised", "flush.raised", "heating.raised"]),
        (2, 1, ["filter.raised", "heating.raised"]),
        (0, 2, ["filter.raised", "bathing.raised"]),
    ],
)
def test_ranks(deciding: int, speed: int, raised: list[str]) -> None:
    """The raised demand with the highest rank decides its pump's speed."""
    outcome = decide([BATHING, FLUSH, Demand("heating", "heating", 3, "main", "low"), FILTER], *raised)
    assert outcome[:2] == ((speed,), (deciding,))


def test_rank_before_speed() -> None:
    """A slow demand that stands higher wins over a fast one."""
    demands = [Demand("a", "filter_run", 5, "main", "high"), Demand("b", "heating", 1, "main", "low")]
    assert decide(demands, "a.raised", "b.raised")[:2] == ((1,), (1,))


def test_ties() -> None:
    """Of equal ranks the higher speed decides, and of equal speeds the one that stands first in the file."""
    slow, fast = Demand("a", "filter_run", 5, "main", "low"), Demand("b", "filter_run", 5, "main", "high")
    assert decide([slow, fast], "a.raised", "b.raised").deciding == (1,)
    twin = Demand("c", "filter_run", 5, "main", "low")
    assert decide([slow, twin], "a.raised", "c.raised").deciding == (0,)
    assert decide([twin, slow], "a.raised", "c.raised").deciding == (0,)


def test_preempted_demand() -> None:
    """A demand that a higher one displaces decides again while it is raised, and is not remembered longer."""
    bench = Bench(CLASSIC, main_runs)
    bench.run(100, "filter.raised")
    bench.run(30, "filter.raised", "flush.raised")
    assert bench.outcome.deciding == (1,)
    bench.run(100, "filter.raised")
    assert bench.outcome.deciding == (3,)
    bench.run(1)
    assert bench.told(0) == [
        ("low", 100),
        ("changing", 2),
        ("high", 28),
        ("changing", 2),
        ("low", 98),
        ("stopped", 1),
    ]


def test_preempted_heating_still_calls() -> None:
    """Heating calls its source even while a demand of another rank decides the pump."""
    controller = ControlLogic((TWO,), (BARE,), (FLUSH, HEATING))
    both = mask(controller, "flush.raised", "heating.raised") | timers(controller)
    assert controller.commands(controller.step(controller.initial, both).state) == {
        "main": "high",
        "element": True,
    }


# --- times ----------------------------------------------------------------------------------------


def test_minimum_run() -> None:
    """A pump serves its minimum run though nobody wants it any more."""
    bench = Bench(CLASSIC, main_runs)
    bench.run(3, "filter.raised")
    bench.run(20)
    assert bench.told(0) == [("low", 10), ("stopped", 13)]


def test_power_lost() -> None:
    """A loss of power stops everything at once, whatever the minimum run or a keep says."""
    bench = Bench(CLASSIC, main_runs)
    bench.run(20, "heating.raised")
    bench.run(3, "heating.raised", "filter.raised")
    bench.run(1, "heating.raised", "power.lost")
    assert CLASSIC.commands(bench.state) == {"main": "stopped", "element": False}
    assert bench.outcome[1:3] == ((-1,), ("power lost",))
    bench.run(200, "heating.raised")
    assert bench.told(0, from_s=23) == [("stopped", 75), ("low", 126)]  # the rest binds when power is back


def test_power_lost_ignores_minimum_run() -> None:
    """A loss of power does not wait for a minimum run, nor for the changeover to have somewhere to go."""
    bench = Bench(CLASSIC, main_runs)
    bench.run(3, "filter.raised")
    bench.run(1, "filter.raised", "power.lost")
    assert bench.told(0) == [("low", 3), ("stopped", 1)]
    changing = (TWO.table.states.index("changing"), 0)
    assert (
        CLASSIC.names(CLASSIC.step(changing, mask(CLASSIC, "power.lost", "main.time_up")).state)[0]
        == "stopped"
    )


def test_block_between_pumps_acts_first() -> None:
    """Of two pumps that exclude each other one starts; they never run together, not even for a pass."""
    blocks = (
        BlockInterlock("main", "high", Condition("circulator", "running"), "the breaker"),
        BlockInterlock("circulator", "on", Condition("main", "high"), "the breaker"),
    )
    demands = (BATHING, Demand("frost", "frost_protection", 1, "circulator", "on"))
    controller = ControlLogic((TWO, ONE), (), demands, blocks, (), {"main": {"changing": 2}})
    for first, then in (("bathing.raised", "frost.raised"), ("frost.raised", "bathing.raised")):
        bench = Bench(controller, main_runs)
        bench.run(5, first)
        bench.run(20, first, then)
        assert ("high", "on") not in {names for _, names in bench.seen}
        assert controller.names(bench.state) == ("low", "on")


def test_blocked_speed_opens_no_source() -> None:
    """A source blocked at a speed goes on firing when that speed, though wanted, is itself blocked."""
    no_high = BlockInterlock("main", "high", Condition("circulator", "running"), "the breaker")
    demands = (BATHING, HEATING, Demand("frost", "frost_protection", 1, "circulator", "on"))
    controller = ControlLogic((TWO, ONE), (BARE,), demands, (no_high, NOT_WHILE_HIGH))
    bench = Bench(controller, main_runs)
    bench.run(5, "heating.raised", "frost.raised")
    bench.run(20, "heating.raised", "frost.raised", "bathing.raised")
    assert bench.told(2) == [("firing", 25)]


def test_speed_blocked_while_proving() -> None:
    """A speed that is blocked while a source fires is blocked from the moment that source begins to prove."""
    block = BlockInterlock("main", "high", Condition("element", "firing"), "the breaker")
    controller = ControlLogic(
        (TWO,), (PROVEN,), (BATHING, HEATING), (block,), (), {"element": {"proving": 5}}
    )
    bench = Bench(controller, main_runs)
    bench.run(3, "heating.raised")
    bench.run(20, "heating.raised", "bathing.raised")
    assert bench.told(0) == [("low", 23)]
    assert bench.told(1) == [("off", 1), ("proving", 5), ("firing", 17)]


def test_forced_block_ignores_minimum_run() -> None:
    """A block on a speed takes effect before that speed's minimum run is over, and lowers it one step."""
    block = BlockInterlock("main", "high", Condition("circulator", "running"), "the breaker")
    demands = (BATHING, Demand("frost", "frost_protection", 1, "circulator", "on"))
    controller = ControlLogic((TWO, ONE), (), demands, (block,), (), {"main": {"high": 600, "changing": 2}})
    bench = Bench(controller, main_runs)
    bench.run(10, "bathing.raised")
    bench.run(10, "bathing.raised", "frost.raised")
    assert bench.told(0) == [("high", 10), ("changing", 2), ("low", 8)]
    bench = Bench(controller, main_runs)
    bench.run(10, "bathing.raised")
    bench.run(10, "frost.raised")  # blocked, so the minimum run of a high that nobody wants ends too
    assert bench.told(0) == [("high", 10), ("stopped", 10)]


def test_block_of_every_speed_stops() -> None:
    """A pump whose speeds are all blocked stops."""
    seen = Condition("circulator", "on")
    blocks = (BlockInterlock("main", "low", seen), BlockInterlock("main", "high", seen))
    controller = ControlLogic(
        (TWO, ONE), (), (BATHING, Demand("f", "filter_run", 4, "circulator", "on")), blocks
    )
    assert controller.step((2, 1), mask(controller, "bathing.raised", "f.raised")).state == (0, 1)


def test_blocks_of_both_kinds_stop() -> None:
    """A pump whose high is blocked by a source and whose low by another pump stops."""
    blocks = (
        BlockInterlock("main", "high", Condition("element", "firing")),
        BlockInterlock("main", "low", Condition("circulator", "on")),
    )
    demands = (BATHING, Demand("heating", "heating", 3, "circulator", "on", ("element",)))
    controller = ControlLogic((TWO, ONE), (BARE,), demands, blocks)
    bench = Bench(controller, main_runs)
    bench.run(5, "heating.raised")
    bench.run(5, "heating.raised", "bathing.raised")
    assert bench.told(0) == [("stopped", 10)]


def test_rest_binds_everything() -> None:
    """No demand, whatever its rank, starts a pump that rests, and no call starts a source that rests."""
    rests = SourceControl(
        "element", tabulate(source_machine("element", proves=False, runs_on=True, rests=True))
    )
    controller = ControlLogic(
        (TWO,),
        (rests,),
        (BATHING, HEATING),
        (),
        (RUN_ON,),
        {"main": {"stopped": 75}, "element": {"run_on": 10, "off": 120}},
    )
    bench = Bench(controller, main_runs)
    bench.run(50, "heating.raised")
    bench.run(1)
    bench.run(300, "heating.raised")
    assert bench.told(1) == [("firing", 50), ("run_on", 10), ("off", 120), ("firing", 171)]
    bench = Bench(controller, main_runs)
    bench.run(5, "bathing.raised")
    bench.run(5)
    bench.run(100, "bathing.raised")
    assert bench.told(0) == [("high", 5), ("stopped", 75), ("high", 30)]


# --- heat sources ---------------------------------------------------------------------------------


def test_missing_flow_interlock_fires_at_once() -> None:
    """A source without any means of proof fires with its pump still at rest, so that the mistake shows."""
    facts = mask(UNWIRED, "heating.raised")  # the pump still rests
    resting = ControlLogic((TWO,), (BARE,), (BATHING, HEATING), dwell_s={"main": {"stopped": 75}})
    assert resting.commands(resting.step(resting.initial, facts).state) == {
        "main": "stopped",
        "element": True,
    }


def test_flow_lost_while_firing() -> None:
    """A source that proves opens as soon as flow is no longer sensed, and says why it does not fire."""
    firing = (1, PROVEN.table.states.index("firing"))
    outcome = CLASSIC.step(firing, mask(CLASSIC, "heating.raised"))
    assert CLASSIC.names(outcome.state) == ("low", "run_on")
    assert outcome.reasons == ("no flow sensed",)


@pytest.mark.parametrize(
    ("reason", "state", "names"),
    [
        ("", "off", []),
        ("no flow sensed", "off", ["heating.raised"]),
        ("the breaker", "off", ["heating.raised", "bathing.raised", "flow.element.sensed"]),
        ("proving flow", "off", ["heating.raised", "flow.element.sensed"]),
        ("", "proving", ["heating.raised", "flow.element.sensed", "element.time_up"]),
        ("tripped", "firing", ["heating.raised", "flow.element.sensed", "element.trips"]),
        ("power lost", "firing", ["heating.raised", "flow.element.sensed", "power.lost"]),
        ("tripped", "tripped", ["heating.raised", "flow.element.sensed", "element.time_up"]),
    ],
)
def test_reasons(reason: str, state: str, names: list[str]) -> None:
    """A source that is called and does not fire says why, as things stand after the pass."""
    before = (1, PROVEN.table.states.index(state))
    assert CLASSIC.step(before, mask(CLASSIC, *names)).reasons == (reason,)


def test_trip_needs_a_person() -> None:
    """A trip opens the source and stays until somebody resets it; its keep ends with it."""
    bench = Bench(CLASSIC, main_runs)
    bench.run(50, "heating.raised")
    bench.run(1, "heating.raised", "element.trips")
    bench.run(500, "heating.raised")
    assert bench.told(1, from_s=50) == [("tripped", 501)]
    bench.run(20, "heating.raised", "element.reset")
    assert bench.told(1, from_s=551) == [("off", 1), ("proving", 5), ("firing", 14)]


def test_two_sources_never_both_when_blocked() -> None:
    """Of two sources that exclude each other the first fires and the second waits; never both."""
    block = BlockInterlock("boiler", None, Condition("element", "firing"), "the element is on")
    back = BlockInterlock("element", None, Condition("boiler", "firing"), "the boiler is on")
    demand = Demand("heating", "heating", 3, "main", "low", ("element", "boiler"))
    bare = SourceControl("boiler", tabulate(source_machine("boiler", proves=False, runs_on=False)))
    controller = ControlLogic((TWO,), (BARE, bare), (demand,), (block, back))
    bench = Bench(controller, main_runs)
    bench.run(20, "heating.raised")
    assert bench.told(1) == [("firing", 20)]
    assert bench.told(2) == [("off", 20)]
    assert bench.outcome.reasons == ("", "the element is on")


def test_two_pumps_two_sources() -> None:
    """Each pump has its own arbiter, each source its own blocks; a pump's speed waits for the boiler."""
    bench = Bench(DOUBLE, main_runs)
    bench.run(60, "heating.raised")
    assert DOUBLE.names(bench.state) == ("on", "stopped", "firing", "firing")
    bench.run(60, "heating.raised", "bathing.raised")
    assert DOUBLE.names(bench.state) == ("on", "low", "off", "firing")  # high is blocked by the boiler
    assert bench.outcome.deciding == (2, 0)
    assert bench.outcome.reasons == ("the breaker", "")
    bench.run(60, "bathing.raised")
    assert DOUBLE.names(bench.state) == ("stopped", "high", "off", "off")


def test_rank_settles_mutual_blocks() -> None:
    """Of a speed and a source that exclude each other, a raised demand for the speed wins, in one change."""
    back = BlockInterlock("main", "high", Condition("element", "firing"), "the element is on")
    controller = ControlLogic(
        (TWO,), (BARE,), (BATHING, HEATING), (NOT_WHILE_HIGH, back), (), {"main": {"changing": 2}}
    )
    bench = Bench(controller, main_runs)
    bench.run(20, "heating.raised")
    bench.run(20, "heating.raised", "bathing.raised")
    assert bench.told(0) == [("low", 20), ("changing", 2), ("high", 18)]
    assert bench.told(1) == [("firing", 20), ("off", 20)]


def test_unless_reads_what_is_and_what_comes() -> None:
    """A source blocked unless its pump runs neither fires before the pump does nor outlives its stop."""
    block = BlockInterlock("element", None, Condition("main", "running", negated=True))
    controller = ControlLogic((TWO,), (BARE,), (BATHING, HEATING), (block,), (), {"main": {"stopped": 75}})
    bench = Bench(controller, main_runs)
    bench.run(3, "heating.raised")
    bench.run(3)
    bench.run(100, "heating.raised")
    assert {"low", "stopped"} == {names[0] for _, names in bench.seen}
    assert {"low"} == {names[0] for _, names in bench.seen if names[1] == "firing"}
    waiting = controller.step(controller.initial, mask(controller, "heating.raised"))
    assert waiting.reasons == ("unless main running",)


@pytest.mark.parametrize("device_first", [True, False])
@pytest.mark.parametrize("proves", [True, False])
def test_a_device_with_its_pump_stays_on_through_a_keep(device_first: bool, proves: bool) -> None:
    """It stays on while another's run-on holds the pump, and goes off in the pass that stops the pump."""
    cell = SourceControl("cell", tabulate(source_machine("cell", proves, runs_on=False, active="on")), "on")
    sources = (cell, PROVEN) if device_first else (PROVEN, cell)
    controller = ControlLogic(
        (TWO,),
        sources,
        (BATHING, HEATING, Demand("dosing", "treatment", 5, "", "", ("cell",))),
        (NOT_WHILE_HIGH, BlockInterlock("cell", None, Condition("main", "running", negated=True))),
        (RUN_ON,),
        CLASSIC.dwell_s,
    )
    bench = Bench(controller, main_runs)
    bench.run(100, "heating.raised", "dosing.raised")
    bench.run(200, "dosing.raised")
    assert [("low", 60), ("stopped", 140)] == bench.told(0, from_s=100)
    assert [("on", 60), ("off", 140)] == bench.told(1 + sources.index(cell), from_s=100)


def test_two_sources_that_keep_each_others_pump_go_on_while_both_are_called() -> None:
    """Each fires while its pump runs, by the other's keep; when one is no longer called, both go off."""
    sources = [
        SourceControl(name, tabulate(source_machine(name, proves=False, runs_on=True))) for name in ("a", "b")
    ]
    controller = ControlLogic(
        (TWO, ONE),
        tuple(sources),
        (
            Demand("filter", "filter run", 4, "main", "low"),
            Demand("frost", "frost protection", 1, "circulator", "on"),
            Demand("calls a", "heating", 3, "", "", ("a",)),
            Demand("calls b", "heating", 3, "", "", ("b",)),
        ),
        (
            BlockInterlock("a", None, Condition("main", "running", negated=True)),
            BlockInterlock("b", None, Condition("circulator", "running", negated=True)),
        ),
        (KeepInterlock("circulator", "on", "a"), KeepInterlock("main", "low", "b")),
        {"a": {"run_on": 30}, "b": {"run_on": 30}},
    )
    bench = Bench(controller, main_runs)
    called = ("calls a.raised", "calls b.raised")
    bench.run(20, "filter.raised", "frost.raised", *called)
    bench.run(500, *called)
    assert ("low", "on", "firing", "firing") == controller.names(bench.state)
    bench.run(100, "calls a.raised")
    assert ("stopped", "stopped", "off", "off") == controller.names(bench.state)


def test_keep_of_high() -> None:
    """A keep that is about to raise the pump to high first opens a source that is blocked there."""
    boiler = SourceControl("boiler", tabulate(source_machine("boiler", proves=False, runs_on=True)))
    demands = (HEATING, Demand("more", "heating", 3, "main", "low", ("boiler",)))
    controller = ControlLogic(
        (TWO,), (BARE, boiler), demands, (NOT_WHILE_HIGH,), (KeepInterlock("main", "high", "boiler"),)
    )
    bench = Bench(controller, main_runs)
    bench.run(20, "heating.raised")
    bench.run(20, "heating.raised", "more.raised")
    assert controller.names(bench.state) == ("high", "off", "firing")
    assert [("firing", 1), ("off", 19)] == bench.told(1, from_s=20), "open in the pass in which high is kept"
    assert bench.outcome.deciding == (-2,)


@pytest.mark.parametrize(
    ("named", "changed"),
    [
        ("'jets'", {"demands": (Demand("a", "heating", 1, "jets", "low"),)}),
        ("'on'", {"demands": (Demand("a", "heating", 1, "main", "on"),)}),
        ("'oven'", {"demands": (Demand("a", "heating", 1, "main", "low", ("oven",)),)}),
        ("'oven'", {"blocks": (BlockInterlock("oven", None, Condition("main", "low")),)}),
        ("element high", {"blocks": (BlockInterlock("element", None, Condition("element", "high")),)}),
        ("'main'", {"keeps": (KeepInterlock("main", "low", "main"),)}),
    ],
)
def test_unknown_names(named: str, changed: dict[str, Any]) -> None:
    """A name that no pump, speed or source bears is refused when the controller is built."""
    given: dict[str, Any] = {"demands": (), "blocks": (), "keeps": ()} | changed
    with pytest.raises(ValueError, match=named):
        ControlLogic((TWO,), (BARE,), **given)
