"""Machines and their tables, against the transitions library itself."""

from __future__ import annotations

import logging
from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cyclesim.control.machines import (
    TRIGGER,
    Machine,
    Model,
    Transition,
    adopt,
    pump_machine,
    source_machine,
    tabulate,
)

MACHINES = [
    pump_machine("circulator", ("on",)),
    pump_machine("main", ("low", "high")),
    *(source_machine("element", *wiring) for wiring in product((False, True), repeat=3)),
]
TABLES = {machine: tabulate(machine) for machine in MACHINES}


def go(machine: Machine, state: str, *true: str) -> str:
    """The state that the table of a machine gives when just these facts are true."""
    table = TABLES[machine]
    assert set(true) <= set(table.facts)
    facts = {fact: fact in true for fact in table.facts}
    return table.states[table.after(table.states.index(state), facts)]


@given(st.sampled_from(MACHINES), st.lists(st.integers(0, 63), max_size=60))
def test_table_equals_library(machine: Machine, walk: list[int]) -> None:
    """Along any random walk the table says what a transitions machine, fired live, does."""
    table, model = TABLES[machine], Model()
    trigger = adopt(machine, model).events[TRIGGER].trigger
    state = table.initial
    for bits in (number % (1 << len(table.facts)) for number in walk):
        facts = {fact: bool(bits >> i & 1) for i, fact in enumerate(table.facts)}
        for fact, value in facts.items():
            setattr(model, fact, value)
        trigger(model)
        state = table.after(state, facts)
        assert model.state == table.states[state]


@pytest.mark.parametrize("machine", MACHINES, ids=lambda m: f"{m.name}-{len(m.transitions)}")
def test_no_way_round_the_guards(machine: Machine) -> None:
    """No model gets a to_<state>() method, and the one trigger is the only one there is."""
    model = Model()
    engine = adopt(machine, model)
    assert not [name for name in dir(model) if name.startswith("to_")]
    assert list(engine.events) == [TRIGGER]


def test_tabulating_is_silent(caplog: pytest.LogCaptureFixture) -> None:
    """Tabulating says nothing that a person would see in a log."""
    with caplog.at_level(logging.INFO):
        tabulate(MACHINES[-1])
    assert not caplog.records


@pytest.mark.parametrize("machine", MACHINES, ids=lambda m: f"{m.name}-{len(m.transitions)}")
def test_table_is_total(machine: Machine) -> None:
    """Every state has an answer for every assignment of the facts, and every state can be reached."""
    table = TABLES[machine]
    assert len(machine.states) == len(table.next)
    assert {1 << len(table.facts)} == {len(row) for row in table.next}
    reached, found = {table.initial}, 0
    while found != len(reached):
        found = len(reached)
        reached |= {answer for state in reached for answer in table.next[state]}
    assert set(range(len(machine.states))) == reached


def test_first_match_wins() -> None:
    """Of two transitions that match, the one written first is taken."""
    both = (Transition("a", "b", ("x",)), Transition("a", "c", ("x",)))
    both += (Transition("b", "b"), Transition("c", "c"))
    assert tabulate(Machine("m", "pump", ("a", "b", "c"), "a", both)).next == ((0, 1), (1, 1), (2, 2))


def test_facts_in_order_of_first_use() -> None:
    """The facts of a machine are named in the order in which its guards first ask for them."""
    ways = (Transition("a", "b", ("y",), ("x",)), Transition("b", "a", ("x", "z")))
    assert Machine("m", "pump", ("a", "b"), "a", ways).facts == ("y", "x", "z")


MAIN = MACHINES[1]


@pytest.mark.parametrize(
    ("expected", "state", "true"),
    [
        ("stopped", "stopped", ["wants_run", "wants_high"]),
        ("stopped", "stopped", ["wants_run", "forced"]),
        ("low", "stopped", ["wants_run", "time_up"]),
        ("high", "stopped", ["wants_run", "wants_high", "time_up"]),
        ("low", "low", ["wants_run", "wants_high"]),
        ("changing", "low", ["wants_run", "wants_high", "time_up"]),
        ("changing", "high", ["wants_run", "time_up"]),
        ("high", "high", ["wants_run"]),
        ("high", "high", []),
        ("stopped", "high", ["forced"]),
        ("stopped", "low", ["time_up"]),
        ("changing", "changing", ["wants_run", "forced"]),
        ("changing", "changing", ["forced"]),
        ("high", "changing", ["wants_run", "wants_high", "time_up"]),
        ("low", "changing", ["wants_run", "time_up"]),
        ("stopped", "changing", ["time_up"]),
    ],
)
def test_pump(expected: str, state: str, true: list[str]) -> None:
    """A two-speed pump breaks before it makes and serves its times; only a minimum run gives way to force."""
    assert expected == go(MAIN, state, *true)


@given(st.sets(st.sampled_from(TABLES[MAIN].facts)))
def test_never_from_speed_to_speed(true: set[str]) -> None:
    """No facts take a pump from one speed to the other without changing in between."""
    assert go(MAIN, "low", *true) != "high"
    assert go(MAIN, "high", *true) != "low"


FULL = source_machine("element", True, True)
BARE = source_machine("element", False, False)


@pytest.mark.parametrize(
    ("expected", "machine", "state", "true"),
    [
        ("proving", FULL, "off", ["called", "flow_ok", "time_up"]),
        ("off", FULL, "off", ["called", "flow_ok"]),
        ("off", FULL, "off", ["called", "flow_ok", "time_up", "blocked"]),
        ("off", FULL, "off", ["called", "time_up"]),
        ("proving", FULL, "proving", ["called", "flow_ok"]),
        ("firing", FULL, "proving", ["called", "flow_ok", "time_up"]),
        ("off", FULL, "proving", ["called", "time_up"]),
        ("off", FULL, "proving", ["flow_ok", "time_up"]),
        ("off", FULL, "proving", ["called", "flow_ok", "time_up", "blocked"]),
        ("firing", FULL, "firing", ["called", "flow_ok"]),
        ("run_on", FULL, "firing", ["called", "flow_ok", "blocked"]),
        ("run_on", FULL, "firing", ["called"]),
        ("run_on", FULL, "firing", ["flow_ok"]),
        ("run_on", FULL, "run_on", []),
        ("off", FULL, "run_on", ["time_up"]),
        ("proving", FULL, "run_on", ["called", "flow_ok"]),
        ("tripped", FULL, "firing", ["called", "flow_ok", "trips"]),
        ("tripped", FULL, "tripped", ["called", "flow_ok", "time_up"]),
        ("tripped", FULL, "tripped", ["reset", "trips"]),
        ("off", FULL, "tripped", ["reset"]),
        ("firing", BARE, "off", ["called", "time_up"]),
        ("off", BARE, "firing", ["called", "blocked"]),
        ("run_on", source_machine("element", True, True, True), "run_on", ["called", "flow_ok"]),
    ],
)
def test_source(expected: str, machine: Machine, state: str, true: list[str]) -> None:
    """A heat source waits, fires, runs on and trips as its wiring says; a trip needs a person."""
    assert expected == go(machine, state, *true)


def test_no_proof_no_flow() -> None:
    """A source without a means of proof does not ask for flow at all."""
    assert "flow_ok" not in BARE.facts
    assert "flow_ok" in FULL.facts


def test_unknown_speeds() -> None:
    """A pump with speeds that have no machine is refused by name."""
    with pytest.raises(ValueError, match=r"'jets'.*slow"):
        pump_machine("jets", ("slow",))


def test_a_source_with_a_minimum_run_fires_it_out_unless_blocked():
    """Nobody calls any more: it fires on until its time is up; a block or lost flow opens it at once."""
    table = tabulate(source_machine("pump", proves=True, runs_on=True, runs_at_least=True))
    firing, run_on = table.states.index("firing"), table.states.index("run_on")
    calm = {
        "called": False,
        "blocked": False,
        "flow_ok": True,
        "time_up": False,
        "trips": False,
        "reset": False,
    }
    assert firing == table.after(firing, calm)
    assert run_on == table.after(firing, {**calm, "time_up": True})
    assert run_on == table.after(firing, {**calm, "blocked": True})
    assert run_on == table.after(firing, {**calm, "flow_ok": False})
    assert firing == table.after(firing, {**calm, "called": True, "time_up": True})
