"""What is on as wired: contacts beside the controller, hand switches, own flow switches; what stops it all.

Nothing here has a source outside: the truth tables are reasoned from how such contacts are wired. A contact
beside the controller's is parallel to it (either makes the circuit); a hand switch in off, a trip and a
device's own flow switch are in series with both (each breaks it).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from itertools import product
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cyclesim.control.machines import pump_machine, source_machine, tabulate
from cyclesim.control.step import (
    LEVEL_LOW,
    POWER_LOST,
    WAITS,
    BlockInterlock,
    Condition,
    ControlLogic,
    Demand,
    KeepInterlock,
    PassOutcome,
    PumpControl,
    SourceControl,
    StarterContact,
    Wired,
)

MAIN = PumpControl("main", ("low", "high"), tabulate(pump_machine("main", ("low", "high"))))
AIR = PumpControl("blower", ("on",), tabulate(pump_machine("blower", ("on",))))
STOVE = SourceControl("stove", tabulate(source_machine("stove", proves=False, runs_on=True)))
DOSER_TABLE = tabulate(source_machine("doser", proves=False, runs_on=False, active="on"))
DOSER = SourceControl("doser", DOSER_TABLE, "on", own_switch=True)

FILTER = Demand("filter", "filter run", 4, "main", "low")
JETS = Demand("jets", "line flush", 2, "main", "high")
HEAT = Demand("heat", "heating", 3, "main", "low", ("stove",))
DOSING = Demand("dosing", "treatment", 5, "", "", ("doser",))
DEMANDS = (FILTER, JETS, HEAT, DOSING)

LOW, HIGH = StarterContact("clock", "main", "low"), StarterContact("button", "main", "high")
BLOW, BURN, DOSE = (
    StarterContact("timer", "blower", "on"),
    StarterContact("stat", "stove", None),
    StarterContact("by", "doser", None),
)

# Everything at once: contacts beside each device, hand switches on two, a device that feels flow.
BESIDE = ControlLogic(
    pumps=(MAIN, AIR),
    sources=(STOVE, DOSER),
    demands=DEMANDS,
    keeps=(KeepInterlock("main", "low", "stove"),),
    dwell_s={"main": {"stopped": 30, "low": 600, "high": 600, "changing": 2}, "stove": {"run_on": 60}},
    starters=(LOW, HIGH, BLOW, BURN, DOSE),
    hand_switched=("main", "stove"),
    reads_level=True,
)
ALONE = ControlLogic((MAIN, AIR), (STOVE,), (FILTER, JETS, HEAT))

STOPPED, AT_LOW, AT_HIGH, CHANGING = range(4)
OFF, FIRING, RUN_ON, TRIPPED = range(4)
REST = (STOPPED, 0, OFF, 0)


def mask(controller: ControlLogic, *names: str) -> int:
    """The facts with just these names true."""
    return sum(controller.bit(name) for name in names)


def every_state(controller: ControlLogic) -> list[tuple[int, ...]]:
    """Every combination of machine states, reachable or not."""
    machines = (*controller.pumps, *controller.sources)
    return list(product(*(range(len(machine.table.states)) for machine in machines)))


def any_facts(controller: ControlLogic) -> st.SearchStrategy[int]:
    """Any facts at all."""
    return st.integers(0, (1 << len(controller.facts)) - 1)


def things_on(wired: Wired) -> set[tuple[str, int]]:
    """Every closed circuit of BESIDE: a pump at a level, a device at 1."""
    pumps = {
        (p.name, level) for p, levels in zip(BESIDE.pumps, wired.speeds, strict=True) for level in levels
    }
    return pumps | {(s.name, 1) for s, on in zip(BESIDE.sources, wired.on, strict=True) if on}


def test_the_names_of_the_machines_that_the_tables_below_count_on() -> None:
    """The numbers used below are these states."""
    assert MAIN.table.states == ("stopped", "low", "high", "changing")
    assert STOVE.table.states == ("off", "firing", "run_on", "tripped")
    assert DOSER.table.states == ("off", "on", "tripped")


@pytest.mark.parametrize(
    ("speeds", "started", "state", "names"),
    [
        ((), (), STOPPED, []),
        ((1,), (), AT_LOW, []),
        ((2,), (), AT_HIGH, []),
        ((), (), CHANGING, []),  # neither speed's contact is closed while it changes over
        ((1,), (0,), STOPPED, ["clock.closed"]),
        ((2,), (1,), STOPPED, ["button.closed"]),
        ((1, 2), (0, 1), STOPPED, ["clock.closed", "button.closed"]),  # both windings: a fault of the wiring
        ((1,), (0,), AT_LOW, ["clock.closed"]),  # two contacts of one circuit
        ((1, 2), (1,), AT_LOW, ["button.closed"]),
        ((1, 2), (0,), AT_HIGH, ["clock.closed"]),
        ((1,), (0,), CHANGING, ["clock.closed"]),  # it does not know of the changeover
        ((), (), AT_HIGH, ["main.switched_off"]),
        ((), (), AT_LOW, ["clock.closed", "button.closed", "main.switched_off"]),
        ((1,), (), AT_LOW, ["stove.switched_off"]),  # another device's switch
        ((), (), STOPPED, ["clock.closed", "power.lost"]),
        ((1,), (0,), STOPPED, ["clock.closed", "controller.waits"]),  # it asks the controller for nothing
        ((2,), (1,), STOPPED, ["button.closed", "level.low"]),
    ],
)
def test_a_pump(speeds: tuple[int, ...], started: tuple[int, ...], state: int, names: list[str]) -> None:
    """A contact adds its speed to what is commanded; a hand switch in off takes all of the pump's away."""
    wired = BESIDE.wired((state, 0, OFF, 0), mask(BESIDE, *names))
    assert Wired((speeds, ()), (False, False), started) == wired


OWN_TRIPPED = 2  # of the doser
WELDED = ((0, 2), (2, 1), (3, 1))
"""Stuck closed: the contacts of main high, the stove and the doser."""


@pytest.mark.parametrize(
    ("on", "state", "names"),
    [
        ({("main", 2), ("stove", 1)}, REST, []),
        ({("main", 2), ("stove", 1), ("doser", 1)}, REST, ["flow.doser.own"]),
        ({("main", 1), ("main", 2), ("stove", 1)}, (AT_LOW, 0, OFF, 0), []),
        ({("main", 2), ("blower", 1), ("stove", 1)}, REST, ["timer.closed"]),
        ({("main", 2), ("stove", 1)}, REST, ["main.switched_off", "stove.switched_off"]),
        ({("main", 2)}, (STOPPED, 0, TRIPPED, 0), []),
        ({("main", 2), ("stove", 1)}, (STOPPED, 0, OFF, OWN_TRIPPED), ["flow.doser.own"]),
        (set(), REST, ["power.lost", "flow.doser.own"]),
        (set(), (AT_HIGH, 0, TRIPPED, 0), ["power.lost", "main.switched_off"]),
    ],
)
def test_contacts_that_are_welded(on: set[tuple[str, int]], state: tuple[int, ...], names: list[str]) -> None:
    """They close their circuits behind a hand switch, before a limit and the own flow switch, with power."""
    wired = BESIDE.wired(state, mask(BESIDE, *names), WELDED)
    assert on == things_on(wired)
    assert () == wired.started or "timer.closed" in names


INTERLOCKED = ControlLogic((replace(MAIN, locked=True),), (), (FILTER, JETS), starters=(LOW, HIGH))
"""Of the pump's two contactors either keeps the other open."""


@pytest.mark.parametrize(
    ("level", "state", "names", "welded"),
    [
        ((), STOPPED, [], ()),
        ((2,), STOPPED, ["button.closed"], ()),
        ((1,), AT_LOW, ["clock.closed"], ()),
        ((1,), AT_LOW, ["button.closed"], ()),  # the controller's is closed already
        ((2,), AT_HIGH, ["clock.closed"], ()),
        ((1,), STOPPED, ["clock.closed", "button.closed"], ()),  # one of two at once
        ((2,), AT_LOW, [], ((0, 2),)),  # what is stuck was there before all
        ((2,), AT_LOW, ["clock.closed"], ((0, 2),)),
        ((1,), AT_HIGH, ["button.closed"], ((0, 1),)),
        ((1,), STOPPED, [], ((0, 1),)),
        ((2,), CHANGING, ["clock.closed"], ((0, 2),)),
    ],
)
def test_contactors_of_which_one_keeps_the_other_open(
    level: tuple[int, ...], state: int, names: list[str], welded: tuple[tuple[int, int], ...]
) -> None:
    """Never both: the one that is welded, else that of the controller; without the lock both."""
    facts = mask(INTERLOCKED, *names)
    assert (level,) == INTERLOCKED.wired((state,), facts, welded).speeds
    free = ControlLogic((MAIN,), (), (FILTER, JETS), starters=(LOW, HIGH))
    assert set(level) <= set(free.wired((state,), facts, welded).speeds[0])


def test_each_machine_is_told_what_it_has() -> None:
    """Its own timer, and only a source of trips and resets; without proving nobody asks for its flow."""
    main, blower, stove, doser = BESIDE.told
    for told, name in ((main, "main"), (blower, "blower")):
        assert (BESIDE.bit(f"{name}.time_up"), 0, 0, 0) == told
    for told, name in ((stove, "stove"), (doser, "doser")):
        assert (mask(BESIDE, f"{name}.time_up"), 0) == told[:2]
        assert (mask(BESIDE, f"{name}.trips"), mask(BESIDE, f"{name}.reset")) == told[2:]


@pytest.mark.parametrize(
    ("on", "started", "state", "names"),
    [
        (False, (), OFF, []),
        (True, (), FIRING, []),
        (False, (), RUN_ON, []),
        (True, (3,), OFF, ["stat.closed"]),
        (True, (3,), FIRING, ["stat.closed"]),
        (True, (3,), RUN_ON, ["stat.closed"]),
        (False, (), TRIPPED, []),
        (False, (), TRIPPED, ["stat.closed"]),  # its own high limit is in series with both
        (False, (), OFF, ["stat.closed", "stove.switched_off"]),
        (False, (), FIRING, ["stove.switched_off"]),
        (True, (), FIRING, ["main.switched_off"]),
        (False, (), OFF, ["stat.closed", "power.lost"]),
    ],
)
def test_a_heat_source(on: bool, started: tuple[int, ...], state: int, names: list[str]) -> None:
    """A contact fires it past the controller's machine; a trip or a hand switch in off keeps it out."""
    wired = BESIDE.wired((STOPPED, 0, state, 0), mask(BESIDE, *names))
    assert Wired(((), ()), (on, False), started) == wired


@pytest.mark.parametrize(
    ("on", "started", "state", "names"),
    [
        (False, (), "off", ["flow.doser.own"]),
        (True, (), "on", ["flow.doser.own"]),
        (False, (), "on", []),
        (True, (4,), "off", ["flow.doser.own", "by.closed"]),
        (False, (), "off", ["by.closed"]),
        (False, (), "tripped", ["flow.doser.own", "by.closed"]),
        (True, (4,), "off", ["flow.doser.own", "by.closed", "main.switched_off", "stove.switched_off"]),
    ],
)
def test_a_device_that_feels_flow(on: bool, started: tuple[int, ...], state: str, names: list[str]) -> None:
    """Without flow at its own switch it is off, whoever starts it; with flow the switch starts nothing."""
    machines = (STOPPED, 0, OFF, DOSER_TABLE.states.index(state))
    assert Wired(((), ()), (False, on), started) == BESIDE.wired(machines, mask(BESIDE, *names))


def test_each_contact_starts_its_own_target() -> None:
    """One closed contact makes just its own circuit."""
    circuits = {"clock": ("main", 1), "button": ("main", 2), "timer": ("blower", 1), "stat": ("stove", 1)}
    for name, circuit in (circuits | {"by": ("doser", 1)}).items():
        wired = BESIDE.wired(REST, mask(BESIDE, f"{name}.closed", "flow.doser.own"))
        assert {circuit} == things_on(wired)
        assert [name] == [BESIDE.starters[k].name for k in wired.started]


@pytest.mark.parametrize("speed", ["low", "high"])
def test_a_hand_switch_of_a_source_behind_two_pumps(speed: str) -> None:
    """Off is off for that device alone: the pumps' and the other device's circuits stay."""
    state = (MAIN.table.states.index(speed), 1, FIRING, 1)
    wired = BESIDE.wired(state, mask(BESIDE, "stove.switched_off", "flow.doser.own"))
    assert Wired((({"low": 1, "high": 2}[speed],), (1,)), (False, True), ()) == wired


@given(st.sampled_from(every_state(ALONE)), any_facts(ALONE))
def test_with_nothing_beside_it_the_commands_are_what_is_on(state: tuple[int, ...], facts: int) -> None:
    """A pump commanded to a speed is at it, at no other, and off while stopped or changing over."""
    wired, commands = ALONE.wired(state, facts), ALONE.commands(state)
    speeds = {"low": (1,), "high": (2,), "on": (1,), "stopped": (), "changing": ()}
    assert tuple(speeds[str(commands[p.name])] for p in ALONE.pumps) == wired.speeds
    assert (commands["stove"],) == wired.on
    assert () == wired.started


@given(st.sampled_from(every_state(BESIDE)), any_facts(BESIDE))
def test_without_power_nothing_is_on(state: tuple[int, ...], facts: int) -> None:
    """After one pass without power no circuit is closed, whatever was on, was asked for or is closed."""
    dark = facts | BESIDE.bit(POWER_LOST)
    wired = BESIDE.wired(BESIDE.step(state, dark).state, dark)
    assert Wired(((), ()), (False, False), ()) == wired


@given(
    st.sampled_from(every_state(BESIDE)),
    any_facts(BESIDE),
    st.sampled_from([f"{s.name}.closed" for s in BESIDE.starters] + ["flow.doser.own"]),
)
def test_closing_a_contact_switches_nothing_off(state: tuple[int, ...], facts: int, contact: str) -> None:
    """All that was on stays on, and at most the contact's own target comes on."""
    closed = facts | BESIDE.bit(contact)
    before, after = (BESIDE.wired(state, f) for f in (facts & ~BESIDE.bit(contact), closed))
    assert things_on(before) <= things_on(after)
    targets = {f"{s.name}.closed": s.target for s in BESIDE.starters} | {"flow.doser.own": "doser"}
    assert {name for name, _ in things_on(after) - things_on(before)} <= {targets[contact]}
    assert set(before.started) <= set(after.started)


@given(
    st.sampled_from(every_state(BESIDE)),
    any_facts(BESIDE),
    st.sampled_from(["main.switched_off", "stove.switched_off", POWER_LOST]),
)
def test_switching_off_switches_nothing_on(state: tuple[int, ...], facts: int, switch: str) -> None:
    """A hand switch in off, or power that goes, only takes away."""
    before, after = (
        BESIDE.wired(state, f) for f in (facts & ~BESIDE.bit(switch), facts | BESIDE.bit(switch))
    )
    assert things_on(after) <= things_on(before)
    assert set(after.started) <= set(before.started)


@given(st.sampled_from(every_state(BESIDE)), any_facts(BESIDE))
def test_only_what_is_closed_starts_and_what_starts_is_on(state: tuple[int, ...], facts: int) -> None:
    """A starter that takes effect is closed, and its target is on."""
    wired = BESIDE.wired(state, facts)
    for k in wired.started:
        starter = BESIDE.starters[k]
        assert facts & BESIDE.bit(f"{starter.name}.closed")
        assert starter.target in {name for name, _ in things_on(wired)}


@given(st.sampled_from(every_state(BESIDE)), any_facts(BESIDE))
def test_the_facts_that_decide(state: tuple[int, ...], facts: int) -> None:
    """What is on depends on the wired facts alone; what the controller does next on none but lost power."""
    assert BESIDE.wired(state, facts & BESIDE.wired_facts) == BESIDE.wired(state, facts)
    beside = BESIDE.wired_facts & ~BESIDE.bit(POWER_LOST)
    assert BESIDE.step(state, facts & ~beside) is BESIDE.step(state, facts | beside)


def test_the_wired_facts_by_name() -> None:
    """Contacts, hand switches, own flow switches, and power; none where nothing is wired."""
    names = ("clock", "button", "timer", "stat", "by")
    facts = [f"{name}.closed" for name in names] + [
        "main.switched_off",
        "stove.switched_off",
        "flow.doser.own",
    ]
    assert mask(BESIDE, *facts, "power.lost") == BESIDE.wired_facts
    assert 0 == ALONE.wired_facts
    assert BESIDE.facts[-8:] == tuple(facts)  # behind all that a pass reads
    assert BESIDE.facts[-11:-8] == ("power.lost", "controller.waits", "level.low")


# --- what stops everything ------------------------------------------------------------------------


def stopped_by(*names: str, state: tuple[int, ...] = (AT_LOW, 1, FIRING, 1), **changed: Any) -> PassOutcome:
    """One pass with everything asked for and no time served, so that minimum runs and a keep would hold."""
    controller = (
        BESIDE
        if not changed
        else ControlLogic(BESIDE.pumps, BESIDE.sources, DEMANDS, (), BESIDE.keeps, BESIDE.dwell_s, **changed)
    )
    return controller.step(state, mask(controller, "filter.raised", "heat.raised", "dosing.raised", *names))


@pytest.mark.parametrize(
    ("because", "names"),
    [
        ("power lost", [POWER_LOST]),
        ("it waits for a person", [WAITS]),
        ("the water is too low", [LEVEL_LOW]),
        ("power lost", [POWER_LOST, WAITS, LEVEL_LOW]),
        ("it waits for a person", [WAITS, LEVEL_LOW]),
    ],
)
def test_it_stops_above_keeps_and_minimum_runs(because: str, names: list[str]) -> None:
    """Low is not run for its minimum, the stove's run-on is not kept, nobody decides; the reason is named."""
    outcome = stopped_by(*names)
    assert ("stopped", "stopped", "run_on", "off") == BESIDE.names(outcome.state)
    assert ((-1, -1), (because, because), True) == outcome[1:]
    again = stopped_by(*names, state=outcome.state)
    assert ("stopped", "stopped", "run_on", "off") == BESIDE.names(again.state)  # its run-on time passes
    assert ((-1, -1), (because, because), False) == again[1:]


def test_without_them_the_same_moment_goes_on() -> None:
    """The filter run keeps low, the stove fires, the doser doses; the blower, wanted by nobody, stops."""
    outcome = stopped_by()
    assert ("low", "stopped", "firing", "on") == BESIDE.names(outcome.state)
    assert (2, -1) == outcome.deciding  # heating stands above the filter run
    assert ("", "") == outcome.reasons


def test_a_controller_without_a_level_switch_knows_of_no_low_water() -> None:
    """Low water stops it only where a level switch tells it."""
    assert stopped_by(reads_level=False) == stopped_by(LEVEL_LOW, reads_level=False)
    assert stopped_by(reads_level=True) != stopped_by(LEVEL_LOW, reads_level=True)


@pytest.mark.parametrize("what", [POWER_LOST, WAITS, LEVEL_LOW])
def test_it_stops_from_high_and_from_changing(what: str) -> None:
    """High stops without its minimum run; a changeover moves nothing and is served all the same."""
    assert STOPPED == stopped_by(what, state=(AT_HIGH, 0, OFF, 0)).state[0]
    assert CHANGING == stopped_by(what, state=(CHANGING, 0, OFF, 0)).state[0]
    assert STOPPED == stopped_by(what, "main.time_up", state=(CHANGING, 0, OFF, 0)).state[0]


def test_while_it_waits_a_trip_is_still_a_trip() -> None:
    """The high limit is the source's own: it trips, and stays tripped, in the dark as well."""
    outcome = stopped_by(WAITS, "stove.trips")
    assert "tripped" == BESIDE.names(outcome.state)[2]
    assert ("tripped", "it waits for a person") == outcome.reasons


# --- treatment devices ----------------------------------------------------------------------------


def with_doser(*blocks: BlockInterlock, keeps: Iterable[KeepInterlock] = ()) -> ControlLogic:
    """A two-speed pump, a blower and a dosing device that is on in a state called on."""
    return ControlLogic((MAIN, AIR), (DOSER,), (FILTER, JETS, DOSING), blocks, tuple(keeps))


def test_a_treatment_device_is_commanded_on() -> None:
    """Its demand asks no pump for anything; on is its active state, and commands say so."""
    controller = with_doser()
    outcome = controller.step(controller.initial, mask(controller, "dosing.raised"))
    assert {"main": "stopped", "blower": "stopped", "doser": True} == controller.commands(outcome.state)
    assert (-1, -1) == outcome.deciding
    idle = controller.step(outcome.state, 0)
    assert {"main": "stopped", "blower": "stopped", "doser": False} == controller.commands(idle.state)


def test_a_treatment_device_in_series_with_its_pump() -> None:
    """Blocked unless main runs, it comes on in the very pass that starts main, and goes off with it."""
    controller = with_doser(
        BlockInterlock("doser", None, Condition("main", "running", negated=True), "its contact")
    )
    asked = mask(controller, "dosing.raised")
    waiting = controller.step(controller.initial, asked)
    assert ("its contact",) == waiting.reasons
    assert ("stopped", "stopped", "off") == controller.names(waiting.state)
    both = asked | mask(controller, "filter.raised")
    started = controller.step(controller.initial, both)
    assert ("low", "stopped", "on") == controller.names(started.state)
    assert ("stopped", "stopped", "off") == controller.names(controller.step((AT_LOW, 0, 1), asked).state)


def test_a_speed_blocked_while_a_treatment_device_is_on() -> None:
    """An interlock reads a treatment device by the name of its own active state."""
    controller = with_doser(BlockInterlock("main", "high", Condition("doser", "on")))
    facts = mask(controller, "jets.raised", "dosing.raised")
    assert ("low", "stopped", "on") == controller.names(controller.step((STOPPED, 0, 1), facts).state)
    free = mask(controller, "jets.raised")
    assert ("high", "stopped", "off") == controller.names(controller.step((STOPPED, 0, 0), free).state)
    with pytest.raises(ValueError, match="doser firing"):
        with_doser(BlockInterlock("main", "high", Condition("doser", "firing")))


def test_a_keep_after_a_treatment_device() -> None:
    """A keep holds its pump while the device is on, and the keep is named as what decides."""
    controller = with_doser(
        keeps=[KeepInterlock("blower", "on", "doser"), KeepInterlock("main", "low", "doser")]
    )
    outcome = controller.step((AT_LOW, 0, 1), mask(controller, "dosing.raised"))
    assert ("low", "on", "on") == controller.names(outcome.state)
    assert (-3, -2) == outcome.deciding


# --- names that do not exist ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("message", "starter"),
    [
        ("no heat source 'oven'", StarterContact("x", "oven", None)),
        ("no heat source 'main'", StarterContact("x", "main", None)),
        ("no pump 'main' with a speed 'on'", StarterContact("x", "main", "on")),
        ("no pump 'stove' with a speed 'on'", StarterContact("x", "stove", "on")),
    ],
)
def test_a_contact_of_something_that_is_not_there(message: str, starter: StarterContact) -> None:
    """A starter is refused when the controller is built, by the name that nothing bears."""
    with pytest.raises(ValueError, match=f"^{message}$"):
        ControlLogic((MAIN,), (STOVE,), (), starters=(starter,))
