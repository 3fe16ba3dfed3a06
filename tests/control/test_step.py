"""The one interpreter of control: order of a pass, ranks, interlocks, timers."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from itertools import pairwise, product
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cyclesim.control.machines import source_machine, tabulate
from cyclesim.control.step import (
    BlockInterlock,
    Condition,
    ControlLogic,
    Demand,
    KeepInterlock,
    SourceControl,
)
from tests.control.bench import BARE, CLASSIC, PLANTS, TWO, UNWIRED, Bench, main_runs, timers


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
