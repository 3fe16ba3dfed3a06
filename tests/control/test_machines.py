"""Machines and their tables, against the transitions library itself."""

from __future__ import annotations

import logging
from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st
from transitions.core import Event

from cyclesim.control.machines import (
    TRIGGER,
    Machine,
    MachineModel,
    MachineTable,
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
    table, model = TABLES[machine], MachineModel()
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
    model = MachineModel()
    engine = adopt(machine, model)
    assert not [name for name in dir(model) if name.startswith("to_")]
    assert list(engine.events) == [TRIGGER]


def _there_and_back(here: str, there: str) -> Machine:
    """A machine that nobody has tabulated yet: a table is worked out once for machines of one form."""
    ways = (Transition(here, there, ("x",)), Transition(there, here, ("y",)))
    return Machine("m", "pump", (here, there), here, ways)


def test_pumps_that_differ_by_name_share_one_table() -> None:
    """A table is worked out once for all machines of one form."""
    assert TABLES[MACHINES[0]] is tabulate(pump_machine("another", ("on",)))


def test_the_library_is_asked_about_what_a_state_reads_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two states, each with one fact in its way out: two answers each, where both facts would make four."""
    fired, really = [], Event.trigger

    def trigger(event: Event, model: MachineModel) -> bool:
        fired.append(event.name)
        return bool(really(event, model))

    monkeypatch.setattr(Event, "trigger", trigger)
    tabulate(_there_and_back("left", "right"))
    assert 4 * [TRIGGER] == fired


def test_tabulating_is_silent(caplog: pytest.LogCaptureFixture) -> None:
    """Tabulating says nothing that a person would see in a log."""
    with caplog.at_level(logging.INFO):
        assert ((0, 1, 0, 1), (1, 1, 0, 0)) == tabulate(_there_and_back("here", "there")).next
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
        ("proving_again", FULL, "run_on", ["called", "flow_ok"]),
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


def pump_by_words(state: str, run: bool, high: bool, over: bool, forced: bool) -> str:
    """What a two-speed pump's description says, as plain branches."""
    wanted = ("high" if high else "low") if run else "stopped"
    if state in ("stopped", "changing"):
        return wanted if over else state
    if wanted == state or not (over or forced):
        return state
    return "changing" if run else "stopped"


@pytest.mark.parametrize("state", ["stopped", "low", "high", "changing"])
def test_two_speeds_by_their_description(state: str) -> None:
    """A rest and a changeover are served; a speed is left for another through changing, over or forced."""
    names = ("wants_run", "wants_high", "time_up", "forced")
    assert set(names) == set(TABLES[MAIN].facts)
    for values in product((False, True), repeat=4):
        true = [name for name, value in zip(names, values, strict=True) if value]
        assert pump_by_words(state, *values) == go(MAIN, state, *true), true


@pytest.mark.parametrize(
    ("expected", "state", "true"),
    [
        ("stopped", "stopped", []),
        ("stopped", "stopped", ["wants_run"]),
        ("stopped", "stopped", ["time_up"]),
        ("stopped", "stopped", ["wants_run", "forced"]),
        ("on", "stopped", ["wants_run", "time_up"]),
        ("on", "stopped", ["wants_run", "time_up", "forced"]),
        ("on", "on", []),  # its minimum run
        ("on", "on", ["wants_run"]),
        ("on", "on", ["wants_run", "time_up", "forced"]),
        ("stopped", "on", ["time_up"]),
        ("stopped", "on", ["forced"]),
    ],
)
def test_one_speed(expected: str, state: str, true: list[str]) -> None:
    """A pump with one speed rests, runs its minimum, and stops before that only when forced."""
    assert expected == go(MACHINES[0], state, *true)


@pytest.mark.parametrize("active", ["firing", "on"])
@pytest.mark.parametrize("least", [False, True])
@pytest.mark.parametrize(("proves", "runs_on", "rests"), list(product((False, True), repeat=3)))
def test_sources_by_their_description(
    proves: bool, runs_on: bool, rests: bool, least: bool, active: str
) -> None:
    """Every wiring of a source or device, every state and all facts: what the description says."""
    machine = source_machine("any", proves, runs_on, rests, least, active)
    table = tabulate(machine)
    twice = proves and runs_on and not rests
    owes = (["run_on"] if runs_on else []) + (["proving_again"] if twice else [])
    states = ("off", *(["proving"] if proves else []), active, *owes, "tripped")
    assert (states, "off") == (machine.states, machine.initial)
    first, after = "proving" if proves else active, "run_on" if runs_on else "off"
    names = ("called", "blocked", "flow_ok", "time_up", "trips", "reset")
    assert set(names) >= set(table.facts)

    def by_words(state: str) -> str:
        asked = called and (flow_ok or not proves)
        if state == "tripped":
            return "off" if reset and not trips else "tripped"
        if trips:
            return "tripped"
        if state == "off":
            return first if asked and over and not blocked else "off"
        if state == "proving":
            return "off" if blocked or not asked else active if over else "proving"
        if state == "run_on":
            again = "proving_again" if proves else active
            return again if asked and not blocked and not rests else "off" if over else "run_on"
        if state == "proving_again":
            return "run_on" if blocked or not asked else active if over else "proving_again"
        wanted = called or (least and not over)
        return active if wanted and not blocked and (flow_ok or not proves) else after

    for values in product((False, True), repeat=6):
        called, blocked, flow_ok, over, trips, reset = values
        for index, state in enumerate(states):
            answer = table.after(index, dict(zip(names, values, strict=True)))
            assert by_words(state) == states[answer], (state, values)


def test_a_machine_is_named_and_of_a_kind() -> None:
    """Name and kind are those of the thing it moves."""
    assert ("main", "pump") == (MAIN.name, MAIN.kind)
    assert ("circulator", "pump") == (MACHINES[0].name, MACHINES[0].kind)
    assert ("element", "heat source") == (FULL.name, FULL.kind)
    doser = source_machine("doser", False, False, active="on")
    assert ("doser", "treatment") == (doser.name, doser.kind)


def test_it_begins_where_the_machine_begins() -> None:
    """The table's initial state is the machine's, wherever that stands; so is the library's."""
    machine = Machine("m", "pump", ("a", "b"), "b", (Transition("a", "b", ("x",)), Transition("b", "a")))
    assert 1 == tabulate(machine).initial
    assert "b" == adopt(machine, model := MachineModel()).get_model_state(model).name
    assert 0 == MachineTable((), ("a", "b"), ((1,), (0,))).initial  # the first, unless said


def test_the_library_is_hushed_and_may_talk_again(caplog: pytest.LogCaptureFixture) -> None:
    """Though somebody listens to its logger, tabulating is silent; the level found is given back."""
    with caplog.at_level(logging.DEBUG, logger="transitions"):
        tabulate(_there_and_back("near", "far"))
        assert logging.DEBUG == logging.getLogger("transitions").level
    assert not [record for record in caplog.records if record.levelno < logging.WARNING]
