"""The search and the run of one instant after another: the same facts, contacts, water and inertia.

A way through the automaton, chosen at random, is given seconds that fit it and put to the engine. At each of
them both must know the same; what is true of contacts and water is read off the engine's trace, as spans of
time, and must be what the search has by the order of its timers.
"""

import re
from itertools import pairwise
from random import Random

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from cyclesim.analysis.spans import covers
from cyclesim.analysis.truth import timeline
from cyclesim.scenario.reading.load import load_text
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.engine import PlantRun
from cyclesim.simulation.programme import Programme
from cyclesim.verification.automaton import Automaton
from cyclesim.verification.calendar_order import Calendar
from cyclesim.verification.cone import cone_of
from cyclesim.verification.environment import Environment
from cyclesim.verification.faults import FaultyPlant, faults_of
from cyclesim.verification.mapping import of_engine, of_node
from cyclesim.verification.replay import drive_of, fitted
from tests.verify.drawn_wide import Wide

NO_LIMIT = ("high_limit: 60 degC, ", "")
OZONE = (
    "  valves: {stop",
    "  treatment: {ozone: {kind: ozone, in: filter, needs_flow: 60 L/min, proof: {by: pressure_switch, "
    "closes_at: 1 m}, own_flow_switch: 3 s, power: 40 W, with: main}}\n  valves: {stop",
)
PROVEN = ("interlocks:\n", "interlocks:\n  - {block: ozone, unless: flow proven, for: 2 s}\n")
CLOCK = 'also_started_by: [{clock: {start: "06:00", lasts: 3 h}}], '
HAND = "also_started_by: [{hand_switch: [{from: 2027-01-06 12:00, lasts: 9 h, to: 'off'}]}], "
PLANTS = {
    "as it is": [],
    "not wired": [("interlocks:\n", "interlocks: []\n"), *[(line, "") for line in (
        "  - {block: element, unless: flow proven, for: 5 s}\n",
        "  - {block: element, while: main high, because: the breaker}\n",
        "  - {keep: main low, after: element, lasting: 60 s}\n",
    )]],
    "own switch and clock": [
        ("proof: {by: flow_switch}", f"proof: {{by: flow_switch}}, own_flow_switch: 6 s, {CLOCK[:-2]}"),
        ("      changeover: 2 s", "      changeover: 2 s\n      coasts: 4 s\n      opens_within: 2 s"),
    ],
    "pump contact": [
        ("proof: {by: flow_switch}", "proof: {by: pump_contact}, opens_within: 2 s"),
        ("usual: open}}", "usual: open, may_be: shut}}"),
    ],
    "treated": [OZONE, PROVEN, ("proof: {by: flow_switch}", f"proof: {{by: flow_switch}}, {HAND[:-2]}")],
    "low water": [
        ("  heating: {with", "  low_water: [{from: 2027-01-07 03:30, lasts: 9 h}]\n  heating: {with"),
        ("    surface: 3 m2\n", "    surface: 3 m2\n    level_switch: true\n"),
    ],
}  # fmt: skip
UNTOLD = {"restart", "clock", "person", "sensor"}
"""Faults that are no state of the plant."""
EVENTS = {"trips", "rises"}
"""What the search lets come at any time, and the engine at a second that heat decides."""


def automaton_of(scenario, faults=frozenset(), coarse=False):
    """The automaton of all machines, every device watched."""
    plant, programme = Assembly(scenario), Programme(scenario)
    cone = cone_of(plant, programme, (), whole=True)
    env = Environment(plant, programme, Calendar(programme), cone, kind="any order", people=True)
    watched = [s.name for s in programme.controller.sources]
    return Automaton(plant, cone, env, watched, late=True, faults=frozenset(faults), coarse=coarse)


def walked(automaton, path, choices):
    """A way on through the automaton that can be given seconds."""
    path = list(path)
    for choice in choices:
        moves = [(m, n) for m, n in automaton.moves(path[-1][2]) if m.event[0] not in EVENTS]
        for k in range(min(15, len(moves))):
            longer = [*path, (automaton, *moves[(choice + 7 * k) % len(moves)])]
            if in_order(longer):
                path = longer
                break
    return path


def in_order(path):
    """Whether the steps of a way can come one second after another, or later.

    What ends and what begins in one second are two instants to the search, and none to spans of time.
    """
    times = fitted(path)
    return times is not None and all(a < b for a, b in pairwise(times))


def way_of(scenario, fault, choices):
    """A way from rest; a contact welds in its midst, any other fault is there from the start."""
    first = automaton_of(scenario, [fault] if fault and fault.kind != "welded" else [])
    path = walked(first, [(first, None, next(first.starts()))], choices)
    if fault and fault.kind == "welded":
        after = automaton_of(scenario, [fault])
        path.append((after, *after.onset(path[-1][2], first)))
        if not in_order(path):
            return path[:-1]
        path = walked(after, path, choices[::-1])
    return path


def compare(scenario, path):
    """The engine's run of a way against what the search has of it; how many instants were compared."""
    first = path[0][0]
    plant = FaultyPlant(first.plant, first.faults)
    programme = Programme(scenario)
    times = [t + 600 for t in fitted(path)]
    seen, ends = {}, {}
    drive = drive_of(plant, path, [t - 600 for t in times], 120)
    run = PlantRun(
        plant, programme.controller, drive,
        on_pass=lambda now, *known: (
            seen.__setitem__(now, of_engine(first, programme.controller, *known)),
            ends.__setitem__(now, list(zip(run._timers.ends_s, run._timers._machines, strict=True))),
        ),
    )  # fmt: skip
    run.warm_up()
    spells = timeline(plant, run.finish()).snapshots
    compared = 0
    for k, (automaton, move, node) in enumerate(path[:-1]):
        last = max(now for now in seen if now <= times[k])
        known, mine = seen[last], of_node(automaton, node)
        over = sum(run._timers._up[machine] for end_s, machine in ends[last] if end_s <= times[k])
        assert mine.state == known.state, (k, move)
        assert mine.asked == known.asked, (k, move)
        true = [
            n
            for n in automaton.controller.facts  # an end for which nobody waits has no pass of its own
            if (mine.facts ^ (known.facts | over)) & automaton.controller.bit(n)
        ]
        assert [] == true, (k, move)
        assert mine.positions == known.positions
        at = np.array([times[k] + 0.5])
        (truth,) = (snapshot for snapshot, when in spells if covers(when, at)[0])
        shot = automaton.snapshot(node)
        watched = first.watched  # the sun nobody switches, and it is not followed here
        assert [] == apart(true_of(shot, watched), true_of(truth, watched)), (k, move, node)
        compared += 1
    return compared


def apart(mine, truth):
    """What differs, as (what, in the search, in the trace)."""
    return [(name, mine[name], truth[name]) for name in mine if mine[name] != truth[name]]


def true_of(shot, watched):
    """What both say of an instant but for the names of states: a machine's, or what its thing does."""
    return {
        "contacts": dict(shot.contacts),
        "sources": {name: truth for name, truth in shot.sources if name in watched},
        "treatments": dict(shot.treatments),
        "started": shot.started,
        "low": shot.low,
        "people": shot.people,
    }


@pytest.mark.parametrize("changes", PLANTS.values(), ids=PLANTS)
@settings(max_examples=20, deadline=None, suppress_health_check=list(HealthCheck))
@given(data=st.data())
def test_the_engine_goes_the_way_of_the_search(build, changes, data):
    """State, facts and truth agree in every second of a random way, with or without a fault."""
    scenario = build(NO_LIMIT, *changes)
    plant, programme = Assembly(scenario), Programme(scenario)
    faults = [None, *(f for f in faults_of(plant, programme) if f.kind not in UNTOLD)]
    fault = data.draw(st.sampled_from(faults))
    choices = data.draw(st.lists(st.integers(0, 500), min_size=4, max_size=12))
    compare(scenario, way_of(scenario, fault, choices))


def drawn_without_trips(seed):
    """A drawn plant without what heat alone decides when: limits that trip, and proof by a rise."""
    text = re.sub(r"(, )?high_limit: .. degC(, limit_sensor: \w+)?", "", Wide(seed).text)
    return load_text(text.replace("temperature_rise", "flow_switch"), f"wide-{seed}.yaml")


FAST, SLOW = range(8), range(8, 300)


@pytest.mark.parametrize("seed", [*FAST, *(pytest.param(seed, marks=pytest.mark.slow) for seed in SLOW)])
def test_the_engine_goes_the_way_of_the_search_in_drawn_plants(seed):
    """Likewise with own water, collectors, circuits that are cut, blowers: every second walk with a fault."""
    scenario, random = drawn_without_trips(seed), Random(seed)
    faults = [f for f in faults_of(Assembly(scenario), Programme(scenario)) if f.kind not in UNTOLD]
    compared = 0
    for fault in (None, random.choice(faults)):
        choices = [random.randrange(500) for _ in range(16)]
        compared += compare(scenario, way_of(scenario, fault, choices))
    assert compared > 1


def truth_of(automaton, node):
    """What is true of the element: hot, its flow, past the grace, flow that has lasted."""
    return dict(automaton.snapshot(node).sources)["element"]


def came(automaton, node, wish):
    """The first state after a move of which a wish is true."""
    return next(n for _, n in automaton.moves(node) if wish(truth_of(automaton, n)))


def ended(automaton, node, timer):
    """The state after a timer has ended, and nothing else has."""
    return next(n for m, n in automaton.moves(node) if m.ended == (automaton.timers.index(timer),))


def test_flow_that_lasts_and_a_grace_that_is_over_are_two_things(build):
    """By the timers of 5 s of each, one after the other: of water that moves, and of heat in still water.

    Unwired and behind a shut valve the element fires as soon as heat is asked for.
    """
    sound = automaton_of(build())
    flows = came(sound, next(sound.starts()), lambda truth: truth.flow == "enough")
    assert (False, "enough", False, False) == truth_of(sound, flows)[:4]
    assert (False, "enough", False, True) == truth_of(sound, ended(sound, flows, "flow through element"))[:4]

    shut = automaton_of(build(*PLANTS["not wired"], ("usual: open}}", "usual: shut}}"), NO_LIMIT))
    hot = came(shut, next(shut.starts()), lambda truth: truth.hot)
    assert (True, "none", False, False) == truth_of(shut, hot)[:4]
    past = ended(shut, hot, "grace of element")
    assert (True, "none", True, False) == truth_of(shut, past)[:4]
    assert (False, "none", False, False) == truth_of(shut, came(shut, past, lambda truth: not truth.hot))[:4]


def moved(automaton, node, event):
    """The state after something that may come at any time."""
    return next(n for m, n in automaton.moves(node) if m.event[0] == event)


def events(automaton, node):
    """What may come at any time."""
    return {m.event[0] for m, _ in automaton.moves(node)} - {""}


def test_a_limit_that_trips_waits_for_a_person(build):
    """Heat in still water: it trips, stays off, and fires again once a person has reset it."""
    shut = automaton_of(build(*PLANTS["not wired"], ("usual: open}}", "usual: shut}}")))
    hot = came(shut, next(shut.starts()), lambda truth: truth.hot)
    assert {"trips"} == events(shut, hot)
    tripped = moved(shut, hot, "trips")
    assert "tripped" == shut.controller.names(tripped.state)[1]
    assert shut.controller.bit("element.trips") == tripped.feedback
    assert not truth_of(shut, tripped).hot
    assert {"resets"} == events(shut, tripped)
    reset = moved(shut, tripped, "resets")
    assert ("off", 0) == (shut.controller.names(reset.state)[1], reset.feedback)
    assert truth_of(shut, came(shut, reset, lambda truth: truth.hot)).hot


def test_water_that_warms_where_it_stands_proves_no_flow_any_more(build):
    """A proof by a rise of temperature says yes to still water at first, then no; it rises once."""
    rise = ("proof: {by: flow_switch}", "proof: {by: temperature_rise}")
    changes = (rise, *PLANTS["not wired"], ("usual: open}}", "usual: shut}}"), NO_LIMIT)
    shut = automaton_of(build(*changes))
    sensed = shut.controller.bit("flow.element.sensed")
    hot = came(shut, next(shut.starts()), lambda truth: truth.hot)
    assert ({"rises"}, sensed, 0) == (events(shut, hot), hot.feedback, hot.risen)
    warm = moved(shut, hot, "rises")
    assert (set(), 0, 1) == (events(shut, warm), warm.feedback, warm.risen)


CONTACTS = {("contact of main low", 2.0, 0), ("contact of main high", 2.0, 0)}
"""Contacts that open 2 s late; the last is whether a timer ends before, with or after the controller's."""
WATCHED = {("coasting of main", 4.0, 0), ("grace of element", 5.0, 2), ("flow through element", 5.0, 0)}
OWN = ("own switch of element", 6.0, 1)


@pytest.mark.parametrize(
    ("watches", "late", "timers"),
    [
        (False, False, {OWN}),
        (False, True, {OWN} | CONTACTS),
        (True, False, {OWN} | WATCHED),
        (True, True, {OWN} | WATCHED | CONTACTS),
    ],
)
def test_only_what_is_asked_for_is_timed(build, watches, late, timers):
    """Pumps' contacts that open late where that counts, coasting, grace and flow of what is watched."""
    full = automaton_of(build(NO_LIMIT, *PLANTS["own switch and clock"]))
    watched = full.watched if watches else ()
    some = Automaton(full.plant, full.cone, full.env, watched, late=late)
    names = {(f"time of {name}", 0.0, 1) for name in ("main", "element")}
    assert names | timers == set(zip(some.timers, some.lasts_s, some._ranks, strict=True))


def test_a_device_that_opens_late_is_timed(build):
    """Wherever it is watched, or what opens late counts; and for as long as its contactor takes."""
    full = automaton_of(build(NO_LIMIT, *PLANTS["pump contact"]))
    for watched, late, timed in ((full.watched, False, [2.0]), ((), False, []), ((), True, [2.0])):
        some = Automaton(full.plant, full.cone, full.env, watched, late=late)
        named = zip(some.timers, some.lasts_s, strict=True)
        assert timed == [lasts_s for name, lasts_s in named if name == "contact of element"]


def test_how_late_a_timer_that_goes_on_can_see_a_move(build):
    """A pass comes on a whole second: the controller's own timers leave one, others a moment or none.

    Coasting that ends in the second of a pass has ended before it; the grace has not. What is no pass needs
    no second.
    """
    full = automaton_of(build(NO_LIMIT, *PLANTS["own switch and clock"]))
    spare_s = {
        name: [full.spare_s(i, silent) for silent in (False, True)] for i, name in enumerate(full.timers)
    }
    assert [1.0, 1.0] == spare_s["time of main"] == spare_s["own switch of element"]
    assert [0.0, 0.0] == spare_s["grace of element"]
    for name in ("coasting of main", "flow through element", "contact of main low"):
        moment_s, none_s = spare_s[name]
        assert 0.0 == none_s < moment_s < 0.01


@pytest.mark.parametrize("changes", PLANTS.values(), ids=PLANTS)
@settings(max_examples=20, deadline=None, suppress_health_check=list(HealthCheck))
@given(choices=st.lists(st.integers(0, 500), min_size=4, max_size=30))
def test_only_timers_that_run_have_an_order(build, changes, choices):
    """What has ended or was stopped stands before no other and behind none; of two one is first at most."""
    automaton = automaton_of(build(*changes))
    n, node = len(automaton.timers), next(automaton.starts())
    for choice in choices:
        moves, before = list(automaton.moves(node)), node
        move, node = moves[choice % len(moves)]
        for m, state in enumerate(node.state):
            if before.timers[m] and before.state[m] == state and m not in move.ended:
                assert node.timers[m], "a machine's own time goes on while it stays"
            if not automaton.dwells_s[m][state]:
                assert not node.timers[m], "a state of no time has none"
        order = {(i, j) for i in range(n) for j in range(n) if node.order >> (i * n + j) & 1}
        assert all(node.timers[i] and node.timers[j] for i, j in order)
        assert not any((j, i) in order for i, j in order)
        assert node.order < 1 << n * n
