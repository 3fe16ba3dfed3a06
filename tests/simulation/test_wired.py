"""One instant as wired, by hand: what a closed contact moves, what is felt of it, and what follows at once.

The truth tables are reasoned from how such things are wired and have no source outside. One loop: tub, main,
filter, element, valve; main at either speed gives the element far more than the 60 L/min that it needs.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from itertools import product

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from cyclesim.control.step import LEVEL_LOW, POWER_LOST
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.reading.load import load_text
from cyclesim.simulation.assembly import Assembly, BrokenParts
from cyclesim.simulation.programme import Programme
from cyclesim.simulation.wired import Wiring, water_at
from tests.own_circuit import PLANT

Loop = Callable[..., Scenario]
STOPPED, LOW, HIGH, CHANGING = range(4)
OPEN, SHUT = ("open",), ("shut",)
MAY_SHUT = "plant.valves.stop.may_be=shut"
OWN = "plant.heat_sources.element.own_flow_switch=6 s"
OZONE = (
    "plant.treatment={ozone: {kind: ozone, in: filter, needs_flow: 60 L/min, proof: {by: pump_contact}, "
    "power: 40 W, with: main}}"
)


def proof(by: str) -> str:
    """Another means of proof for the element."""
    return f"plant.heat_sources.element.proof={{by: {by}}}"


def wiring(scenario: Scenario, broken: BrokenParts | None = None, extra: Iterable[str] = ()) -> Wiring:
    """The wiring of the whole controller."""
    plant = Assembly(scenario)
    plant.broken = broken or plant.broken
    return Wiring(plant, Programme(scenario).controller, extra)


def state_of(w: Wiring, pump: int, source: str = "off", other: str = "off") -> tuple[int, ...]:
    """The machines' states: main's, the element's and that of what comes after it."""
    names = (source, other)
    places = (s.table.states.index(name) for s, name in zip(w.controller.sources, names, strict=False))
    return (pump, *places)


# --- what is on, and the water that it moves ------------------------------------------------------


@pytest.mark.parametrize(
    ("pump", "contacts", "level", "speed"),
    [
        (STOPPED, (), 0, "stopped"),
        (LOW, (1,), 1, "low"),
        (HIGH, (2,), 2, "high"),
        (CHANGING, (), 0, "stopped"),
    ],
)
def test_a_contact_moves_water(
    loop: Loop, pump: int, contacts: tuple[int, ...], level: int, speed: str
) -> None:
    """A closed contact turns the pump at its speed; without one the water stands in the element."""
    w = wiring(loop())
    now = w.effect(state_of(w, pump), 0, OPEN)
    assert ((contacts,), (level,), (False,), frozenset()) == now[:4]
    assert (speed,) == now.water.duty.speeds
    moves = level > 0
    assert (moves, not moves) == (now.water.enough == 1, now.water.still == 1)
    assert now.water.sensed == (w.sensed[0] if moves else 0)
    assert (now.water.sensed, now.water.enough, now.water.still) == now.water.told


def test_of_two_closed_contacts_the_faster_turns_the_pump(loop: Loop) -> None:
    """Both are closed, and the duty is that of the faster."""
    w = wiring(loop())
    now = w.effect(state_of(w, HIGH), 0, OPEN, frozenset({w.contact("main", "low")}))
    assert (((1, 2),), (2,)) == now[:2]
    assert ("high",) == now.water.duty.speeds


def test_the_machine_and_the_level_of_a_contact(loop: Loop) -> None:
    """A pump's speeds count from 1, slowest first; a source has one level."""
    w = wiring(loop())
    assert [(0, 1), (0, 2), (1, 1)] == [
        w.contact("main", "low"),
        w.contact("main", "high"),
        w.contact("element", "on"),
    ]


def test_a_weld_needs_power_and_nothing_else(loop: Loop) -> None:
    """A welded contact of a pump runs it whatever is commanded, until the power goes."""
    w = wiring(loop())
    weld = frozenset({(0, 1)})
    assert (1,) == w.effect(state_of(w, STOPPED), 0, OPEN, weld).levels
    assert (0,) == w.effect(state_of(w, STOPPED), w.controller.bit(POWER_LOST), OPEN, weld).levels


@pytest.mark.parametrize(("source", "on"), [("off", True), ("firing", True), ("tripped", False)])
def test_a_limit_stands_behind_a_welded_contact(loop: Loop, source: str, on: bool) -> None:
    """A source whose contactor welds is on unless its own limit has tripped it."""
    w = wiring(loop())
    assert (on,) == w.effect(state_of(w, STOPPED, source), 0, OPEN, frozenset({(1, 1)})).on


def test_an_own_switch_stands_behind_a_welded_contact(loop: Loop) -> None:
    """Where it feels no water the source is off, whatever closes its contacts."""
    w = wiring(loop(OWN))
    weld = frozenset({(1, 1)})
    assert (False,) == w.effect(state_of(w, LOW), 0, OPEN, weld).on
    assert (True,) == w.effect(state_of(w, LOW), w.own[0], OPEN, weld).on


@pytest.mark.parametrize("by", ["flow_switch", "pump_contact", "pressure_switch", "temperature_rise", "none"])
@pytest.mark.parametrize("case", ["at rest", "moving", "shut", "low", "dead"])
def test_what_a_means_of_proof_says(loop: Loop, by: str, case: str) -> None:
    """Each with its own false yes; the controller is told what it says, and the water is what it is."""
    broken = BrokenParts(dead=frozenset({"main"})) if case == "dead" else None
    w = wiring(loop(proof(by), MAY_SHUT), broken)
    facts = w.controller.bit(LEVEL_LOW) if case == "low" else 0
    state = state_of(w, STOPPED if case == "at rest" else LOW)
    water = w.effect(state, facts, SHUT if case == "shut" else OPEN).water
    says = {
        "flow_switch": {"moving"},
        "pressure_switch": {"shut"},  # main's 4 m; the open loop behind it leaves less than the switch's 1 m
        "pump_contact": {"moving", "shut", "low", "dead"},
        "temperature_rise": {"at rest", "moving", "shut", "low", "dead"},
        "none": set(),
    }[by]
    assert (w.sensed[0] if case in says else 0) == water.sensed
    assert (case == "moving", case != "moving") == (bool(water.enough), bool(water.still))


@pytest.mark.parametrize(("pump", "stuck"), list(product([STOPPED, LOW], [True, False])))
def test_a_stuck_proof_says_the_same_whatever_the_flow(loop: Loop, pump: int, stuck: bool) -> None:
    """It is the switch that is stuck; the water is as it was."""
    w = wiring(loop(), BrokenParts(proof={"element": stuck}))
    water = w.effect(state_of(w, pump), 0, OPEN).water
    assert (w.sensed[0] if stuck else 0, pump == LOW) == (water.sensed, bool(water.enough))


def test_devices_by_their_place(loop: Loop) -> None:
    """Sources, then treatment devices, which ask where they treat; what nobody switches comes last."""
    w = wiring(loop(OZONE), extra=["element"])
    assert ("element", "ozone", "element") == w.devices
    moving, rest = (w.effect(state_of(w, pump), 0, OPEN).water for pump in (LOW, STOPPED))
    assert (sum(w.sensed), 0b111, 0) == moving.told
    assert (0, 0, 0b111) == rest.told
    assert 2 == len(w.sensed)


def test_water_at_some_devices(loop: Loop) -> None:
    """Enough and still are two bits of one place each; less than is needed is neither."""
    plant = Assembly(loop("plant.heat_sources.element.needs_flow=5000 L/min", OZONE))
    assert (0b10, 0, 0) == water_at(plant, ["element", "ozone"], plant.duty(("low",)))
    assert (0, 0b11, 0) == water_at(plant, ["element", "ozone"], plant.duty(("stopped",)))
    assert (0b01, 0, 0) == water_at(plant, ["ozone"], plant.duty(("high",)))


def test_dry_is_on_in_still_water(loop: Loop) -> None:
    """Bits of the devices that are on where no water moves."""
    w = wiring(loop(OZONE))
    for pump, element, ozone in product([STOPPED, LOW], ["off", "firing"], ["off", "on"]):
        now = w.effect(state_of(w, pump, element, ozone), 0, OPEN)
        bits = (element == "firing") | (ozone == "on") << 1
        assert (0 if pump else bits) == now.dry


@pytest.mark.parametrize(
    ("sets", "rising", "limited"),
    [
        ([], set(), {0}),
        ([proof("temperature_rise")], {0}, {0}),
        (["plant.heat_sources.element.high_limit=null"], set(), set()),
        ([OZONE], set(), {0}),
    ],
)
def test_who_feels_still_water(loop: Loop, sets: list[str], rising: set[int], limited: set[int]) -> None:
    """By a rise of its own water: as means of proof, or as a high limit."""
    w = wiring(loop(*sets))
    assert (rising, limited) == (w.rising, w.limited)


def test_a_heat_pump_and_a_limit_elsewhere_do_not_trip_dry(winter: Loop) -> None:
    """A heat pump stops without flow; an element with a limit of its own trips."""
    w = wiring(winter())
    assert {"element"} == {w.devices[k] for k in w.limited}


def test_the_facts_that_the_plant_decides(loop: Loop) -> None:
    """Sensed, trips and own switches; resets are a person's."""
    w = wiring(loop(OWN))
    bit = w.controller.bit
    names = ["flow.element.sensed", "element.trips", "flow.element.own"]
    assert sum(bit(name) for name in names) == w.feedback
    assert ([bit(names[0])], [bit(names[1])], {0: bit(names[2])}) == (w.sensed, w.trips, w.own)
    assert [bit("element.reset")] == w.resets
    assert {POWER_LOST, LEVEL_LOW, names[2]} == {n for n in w.controller.facts if w.deciding & bit(n)}


def test_the_same_water(loop: Loop) -> None:
    """Two wirings agree on water as long as no device or sensor can tell them apart."""
    one, shut, dead = (wiring(loop(MAY_SHUT)) for _ in range(3))
    assert shut.same_water(one)  # nothing has been asked
    for w, at in ((one, OPEN), (shut, SHUT)):
        w.effect(state_of(w, LOW), 0, at)
    assert one.same_water(one)
    assert one.same_water(shut)
    dead.plant.broken = BrokenParts(proof={"element": False})
    assert not dead.same_water(one)
    assert dead.same_water(shut)


# --- what follows at once -------------------------------------------------------------------------


def test_a_proof_is_read_when_the_water_changes(loop: Loop) -> None:
    """Water that begins to move is sensed in that instant, and so is its end."""
    w = wiring(loop())
    rest = w.effect(state_of(w, STOPPED), 0, OPEN)
    starts = w.settled(rest, state_of(w, LOW), 0, OPEN)
    assert w.sensed[0] == starts.facts
    stops = w.settled(starts.effect, state_of(w, STOPPED), starts.facts, OPEN)
    assert 0 == stops.facts
    assert (0, 0) == (stops.feels, stops.stops)


def test_a_proof_is_not_read_where_nothing_has_changed(loop: Loop) -> None:
    """What it has said stays; when the source comes on it is read again, though the water is the same."""
    w = wiring(loop(proof("temperature_rise")))
    rest = w.effect(state_of(w, STOPPED), 0, OPEN)
    assert 0 == w.settled(rest, state_of(w, STOPPED), 0, OPEN).facts
    assert w.sensed[0] == w.settled(rest, state_of(w, STOPPED, "firing"), 0, OPEN).facts


def test_other_facts_are_left_as_they_are(loop: Loop) -> None:
    """Only what is sensed and own switches follow the water."""
    w = wiring(loop(OWN))
    others = (1 << len(w.controller.facts)) - 1 & ~(w.sensed[0] | w.own[0] | w.controller.bit(POWER_LOST))
    rest = w.effect(state_of(w, STOPPED), 0, OPEN)
    assert others == w.settled(rest, state_of(w, STOPPED), others, OPEN).facts


def test_a_rise_is_seen_until_water_moves(loop: Loop) -> None:
    """A proof that has seen the rise of still water says no for as long as it stands."""
    w = wiring(loop(proof("temperature_rise")))
    dry = w.effect(state_of(w, STOPPED, "firing"), 0, OPEN)
    off = w.settled(dry, state_of(w, STOPPED), 0, OPEN, risen=1)
    assert (0, 1) == (off.facts, off.risen)
    moves = w.settled(off.effect, state_of(w, LOW), off.facts, OPEN, risen=1)
    assert (w.sensed[0], 0) == (moves.facts, moves.risen)


def test_the_rise_of_one_device_is_its_own(loop: Loop) -> None:
    """A device whose proof has not seen it goes on saying yes."""
    w = wiring(loop(proof("temperature_rise"), OZONE))
    firing = w.effect(state_of(w, STOPPED, "firing"), 0, OPEN)
    weld = frozenset({w.contact("main", "low")})
    shut = wiring(loop(proof("temperature_rise"), OZONE, MAY_SHUT))
    now = shut.settled(firing, state_of(shut, STOPPED), 0, SHUT, 1, weld)
    assert (shut.sensed[1], 1) == (now.facts, now.risen)  # a pump's contact, closed before a shut valve
    other = shut.settled(firing, state_of(shut, STOPPED), 0, SHUT, 0b10, weld)
    assert (shut.sensed[0], 0b10) == (other.facts, other.risen)


def test_an_own_switch_opens_at_once_and_closes_later(loop: Loop) -> None:
    """It feels water from now on; it opens, and the source is off, in the instant in which water stops."""
    w = wiring(loop(OWN))
    rest = w.effect(state_of(w, STOPPED), 0, OPEN)
    starts = w.settled(rest, state_of(w, LOW, "firing"), 0, OPEN)
    assert (1, 0, (False,), w.sensed[0]) == (starts.feels, starts.stops, starts.effect.on, starts.facts)
    told = starts.facts | w.own[0]
    closed = w.settled(starts.effect, state_of(w, LOW, "firing"), told, OPEN)
    assert (0, 0, (True,), told) == (closed.feels, closed.stops, closed.effect.on, closed.facts)
    stops = w.settled(closed.effect, state_of(w, STOPPED, "firing"), told, OPEN)
    assert (0, 1, (False,), 0) == (stops.feels, stops.stops, stops.effect.on, stops.facts)


@pytest.mark.parametrize(("pump", "told"), list(product([STOPPED, LOW], [False, True])))
@pytest.mark.parametrize("stuck", [True, False])
def test_an_own_switch_that_is_stuck(loop: Loop, pump: int, told: bool, stuck: bool) -> None:
    """Closed it closes at once and no time begins; open it feels nothing and holds the source off."""
    w = wiring(loop(OWN), BrokenParts(own_switch={"element": stuck}))
    state = state_of(w, pump, "firing")
    rest = w.effect(state_of(w, STOPPED), 0, OPEN)
    now = w.settled(rest, state, w.own[0] if told else 0, OPEN)
    assert (stuck, 0, not stuck) == (bool(now.facts & w.own[0]), now.feels, bool(now.stops))
    assert (stuck,) == now.effect.on


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.data())
def test_an_instant_settles_once(loop: Loop, data: st.DataObject) -> None:
    """Whatever the states, facts, valves and welds: looked at again, nothing more follows in that instant."""
    broken = BrokenParts(
        frozenset({"main"} if data.draw(st.booleans()) else ()),
        {"element": data.draw(st.booleans())} if data.draw(st.booleans()) else {},
        {"element": data.draw(st.booleans())} if data.draw(st.booleans()) else {},
    )
    w = wiring(
        loop(OWN, MAY_SHUT, OZONE, proof(data.draw(st.sampled_from(["pressure_switch", "flow_switch"])))),
        broken,
    )
    states = [st.integers(0, len(machine.table.states) - 1) for machine in w.controller.machines]
    state, before = data.draw(st.tuples(*states)), data.draw(st.tuples(*states))
    facts = data.draw(st.integers(0, (1 << len(w.controller.facts)) - 1))
    at = data.draw(st.sampled_from([OPEN, SHUT]))
    welds = frozenset(data.draw(st.sets(st.sampled_from([(0, 1), (0, 2), (1, 1)]))))
    once = w.settled(w.effect(before, facts, at, welds), state, facts, at, 0, welds)
    again = w.settled(once.effect, state, once.facts, at, once.risen, welds)
    assert once == again
    assert not once.feels & once.stops


def test_equal_water_is_one_object(loop: Loop) -> None:
    """What is the same is asked of the plant once, whoever asks: a change of water is told by identity."""
    w = wiring(loop(MAY_SHUT))
    waters = [w.effect(state_of(w, LOW, element), 0, OPEN).water for element in ("off", "firing")]
    assert waters[0] is waters[1]
    assert waters[0] is not w.effect(state_of(w, HIGH), 0, OPEN).water
    assert waters[0] is not w.effect(state_of(w, LOW), 0, SHUT).water
    assert 3 == len(w.waters)


def test_what_is_on_in_equal_states_is_one_object(loop: Loop) -> None:
    """By that a pass knows that nothing has moved; facts that decide nothing make no difference."""
    w = wiring(loop(MAY_SHUT))
    once = w.effect(state_of(w, LOW), 0, OPEN)
    assert once is w.effect(state_of(w, LOW), w.controller.bit("heating.raised"), OPEN)
    assert once is not w.effect(state_of(w, LOW), w.controller.bit(LEVEL_LOW), OPEN)
    assert once is not w.effect(state_of(w, LOW), 0, SHUT)


def test_a_circuit_without_power_stops_what_hangs_on_it_and_what_its_water_held(loop: Loop) -> None:
    """The pump is commanded on and its circuit is cut: its water stops, so the own switch opens at once.

    The element hangs on another circuit, and is off only because its own switch has opened.
    """
    w = wiring(loop(OWN))
    state = state_of(w, LOW, "firing")
    runs = w.effect(state, w.own[0], OPEN)
    assert ((1,), (True,)) == (runs.levels, runs.on)
    cut = w.settled(runs, state, w.own[0] | w.sensed[0], OPEN, unfed=frozenset({"main"}))
    assert ((0,), (False,)) == (cut.effect.levels, cut.effect.on)
    assert (0, 0, 1) == (cut.facts, cut.feels, cut.stops)


def test_two_own_switches_each_by_its_place(loop: Loop) -> None:
    """Both feel water that moves and stop what they hold where it stands; one that is closed stays so."""
    w = wiring(loop(OWN, OZONE.replace("with: main", "own_flow_switch: 3 s, with: main")))
    assert ("element", "ozone") == w.devices
    element, ozone = w.own[0], w.own[1]
    rest = w.effect(state_of(w, STOPPED), 0, OPEN)
    for facts, feels in ((0, 0b11), (element, 0b10), (ozone, 0b01), (element | ozone, 0)):
        moving = w.settled(rest, state_of(w, LOW), facts, OPEN)
        assert (feels, 0) == (moving.feels, moving.stops)
        assert facts == moving.facts & (element | ozone)
    still = w.settled(moving.effect, state_of(w, STOPPED, "firing", "on"), element | ozone, OPEN)
    assert (0, 0b11, (False, False)) == (still.feels, still.stops, still.effect.on)
    assert 0 == still.facts & (element | ozone)


# --- a source with water of its own -----------------------------------------------------------------


def two_sources(*edits: tuple[str, str]) -> Wiring:
    """An element, and after it a boiler behind plates: the boiler is the second by its place."""
    text = PLANT
    for old, new in (
        ("    boiler:\n", "    element: {kind: electric, output: 3 kW, drop: 0.3 m at 100 L/min, "
         "volume: 2 L, needs_flow: 30 L/min, proof: {by: flow_switch}, high_limit: 60 degC, "
         "limit_sensor: own, zone: room}\n    boiler:\n"),
        ("main, boiler,", "main, element, boiler,"),
        ("with: boiler", "with: [element, boiler]"),
        ("breaker: 16 A", "breaker: 25 A"),
        *edits,
    ):  # fmt: skip
        assert old in text
        text = text.replace(old, new, 1)
    return wiring(load_text(text))


HELD = ("        volume: 12 L\n", "        flow_switch: true\n        volume: 12 L\n")
"""A switch in the boiler's own water, in its circuit of power."""


@pytest.mark.parametrize("held", [False, True])
@pytest.mark.parametrize("turned", [False, True])
@pytest.mark.parametrize("moves", [False, True])
@pytest.mark.parametrize("fires", [False, True])
def test_own_water_stands_unless_its_circulator_turns(
    held: bool, turned: bool, moves: bool, fires: bool
) -> None:
    """On though its own water stands unless a switch in that holds it; what trips is what boils.

    The element beside it is on, and trips where the tub's water stands in it; the boiler does where its own
    stands, whatever the tub's does.
    """
    w = two_sources(HELD) if held else two_sources()
    assert ("element", "boiler") == w.devices
    assert {1: 1} == w.turned_by
    element, boiler = (source.table.states.index("firing") for source in w.controller.sources)
    state = (int(moves), int(turned), element, boiler if fires else 0)
    what = w.effect(state, 0, ())
    burns = fires and (turned or not held)
    assert (True, burns) == what.on
    assert (0 if turned else 0b10) == what.own_still
    assert (int(moves), int(turned)) == what.levels
    still_element = 0 if moves else 0b01
    assert still_element | (0b10 if burns and not turned else 0) == w.may_trip(what)


def test_what_nobody_switches_is_asked_for_but_never_on() -> None:
    """A place after the controller's own sources, as collectors behind plates have: it does not trip."""
    w = two_sources()
    plant, controller = w.plant, w.controller
    after = Wiring(plant, controller, ["boiler"])
    assert ("element", "boiler", "boiler") == after.devices
    after.turned_by = {2: 1}
    what = after.effect((1, 0, 0, 0), 0, ())
    assert (False, False) == what.on
    assert 0b100 == what.own_still
    assert 0 == after.may_trip(what)


def test_a_pump_without_power_closes_no_contact_that_counts() -> None:
    """Its circuit is off: whatever its contact says, nothing turns; what hangs elsewhere goes on."""
    w = two_sources()
    state = (1, 1, 0, 0)
    assert ((1,), (1,)) == w.effect(state, 0, ()).contacts
    off = w.effect(state, 0, (), unfed=frozenset({"boiler_pump"}))
    assert (((1,), ()), (1, 0), 0b10) == (off.contacts, off.levels, off.own_still)
    off = w.effect(state, 0, (), unfed=frozenset({"main"}))
    assert (((), (1,)), (0, 1), 0) == (off.contacts, off.levels, off.own_still)
