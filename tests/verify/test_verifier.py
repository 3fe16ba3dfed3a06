"""Verdicts, faults, mends, replays and times on small plants; cones against the whole product."""

import pickle
import re
from dataclasses import replace
from datetime import date, datetime
from itertools import product
from pathlib import Path
from typing import get_args

import pytest
from dateutil.rrule import rrulestr

import cyclesim
from cyclesim.analysis.rules import check_plant, of_kind
from cyclesim.analysis.supply import overloads
from cyclesim.errors import CycleSimError
from cyclesim.said.verify import verification_values, verify_page
from cyclesim.scenario.reading.load import load
from cyclesim.shown.terminal import printed
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.programme import Programme
from cyclesim.verification.answer import Barrier, Cell, Story, Verdict, Verification
from cyclesim.verification.automaton import Automaton
from cyclesim.verification.barriers import worse
from cyclesim.verification.calendar_order import PEOPLE, Calendar, every_day_of
from cyclesim.verification.cone import cone_of, groups
from cyclesim.verification.dead_ends import dead_ends
from cyclesim.verification.environment import Environment
from cyclesim.verification.faults import FaultyPlant, faults_of
from cyclesim.verification.in_time import ways
from cyclesim.verification.judging import Judging
from cyclesim.verification.replay import fitted
from cyclesim.verification.search import search
from cyclesim.verification.subjects import checks, judges
from cyclesim.verification.timed import timed
from cyclesim.verification.verifier import verify
from tests.verify.test_defects import BLOWER

FILES = sorted((Path(__file__).parents[2] / "schedules").glob("*.yaml"))
NO_PROOF = ("  - {block: element, unless: flow proven, for: 5 s}\n", "")
NO_BLOCK = ("  - {block: element, while: main high, because: the breaker}\n", "")
THERMOSTAT = "also_started_by: [{thermostat: {watches: room, starts_below: 8 degC, stops_above: 10 degC}}]"
STARTED = ("high_limit: 60 degC, zone: room}", f"high_limit: 60 degC, zone: room, {THERMOSTAT}}}")
NO_LIMIT = ("proof: {by: flow_switch}, high_limit: 60 degC", "proof: {by: flow_switch}")
SECOND = (
    ("    return: {pipe: 63 PN10, length: 8 m, zone: soil}\n",
     "    return: {pipe: 63 PN10, length: 8 m, zone: soil}\n"
     "    drain: {pipe: 63 PN10, length: 6 m, zone: soil}\n"
     "    spout: {pipe: 63 PN10, length: 8 m, zone: soil}\n"),
    ("  equipment:",
     "    jets: {max_head: 9 m, max_flow: 300 L/min, power: 600 W, rest: 75 s}\n  equipment:"),
    ("return, tub]]", "return, tub], [tub, drain, jets, spout, tub]]"),
    ("  line_flushes: [", '  line_flushes: [{pump: jets, start: "09:00", lasts: 60 s, name: jets flush}, '),
)  # fmt: skip
"""A second loop, which meets the first in the tub alone."""


@pytest.mark.parametrize("file", FILES, ids=[file.stem for file in FILES])
def test_a_shipped_schedule_is_broken_without_a_fault_as_it_announces(file):
    """Every rule is decided; what a file announces of one instant is broken, and replayed; nothing else."""
    found = verify(load(file))
    announces = re.findall(r"^# announces: ([a-z-]+) \((\w+)\)$", file.read_text("utf-8"), re.MULTILINE)
    judged = of_kind("state")
    expected = sorted((rule, subject) for rule, subject in announces if rule in judged)
    assert expected == sorted((v.rule, v.subject) for v in found.verdicts if v.broken)
    assert expected == sorted((v.rule, v.subject) for v in found.verdicts if v.story or v.undecided)
    assert bool(expected) == found.is_broken
    assert all(v.states for v in found.verdicts)


# -- cones -------------------------------------------------------------------------------------------------


def test_a_loop_that_meets_in_the_tub_is_not_seen(build):
    """The element's cone leaves the jets out; the loops are two."""
    scenario = build(*SECOND)
    plant, programme = Assembly(scenario), Programme(scenario)
    loops = groups(plant)
    assert loops["main"] == loops["element"] != loops["jets"]
    assert ("main", "element") == cone_of(plant, programme, ["element"]).names
    assert ("main", "jets", "element") == cone_of(plant, programme, [], whole=True).names


@pytest.mark.parametrize(
    "changes",
    [[], [NO_PROOF], [NO_BLOCK], [("changeover: 2 s", "changeover: 2 s\n      opens_within: 3 s")]],
    ids=["as it is", "no proof", "no block", "slow contacts"],
)  # fmt: skip
def test_a_cone_has_the_verdict_of_the_whole_product(build, changes):
    """Each check, in its cone and over every machine; the whole has at least as many states."""
    run = Judging(build(*SECOND, *changes), 0, False, None)
    answers = []
    for check in checks(run.plant, run.programme):
        small = run.automaton(check, "commands")
        large = run.automaton(check, "commands", whole=True)
        in_cone, in_whole = search(small, judges(check, small)), search(large, judges(check, large))
        assert set(in_cone.broken) == set(in_whole.broken), check
        assert in_cone.states <= in_whole.states
        answers.append(bool(in_cone.broken))
    assert changes == [] or any(answers)


# -- the calendar ------------------------------------------------------------------------------------------


def test_the_calendar_is_one_cycle_of_what_is_raised(build):
    """Two filter runs and two flushes a day that do not meet: nothing, one, nothing, the other."""
    calendar = Calendar(Programme(build()))
    order = calendar.order([name for name in calendar.spans if name != PEOPLE])
    names = {frozenset(n.removesuffix(".raised") for n in vector) for vector in order.vectors}
    assert {frozenset(), frozenset({"filter run"}), frozenset({"line flush"})} == names
    nothing = order.vectors.index(frozenset())
    assert {nothing} == {k for i, after in enumerate(order.follows) for k in after if i != nothing}


def test_both_states_of_the_clock_are_passed(build):
    """03:00 comes at two times of day in UTC: 400 days hold summer and winter."""
    spans = Calendar(Programme(build(("Europe/Lisbon", "Europe/Vienna")))).spans["filter run.raised"]
    begin = Calendar(Programme(build())).begin
    assert begin.hour == 0
    assert 2 <= len({start % 86_400 for start, _ in spans if start % 86_400 < 6 * 3600})


RARE_FLUSH = (
    'start: ["07:30", "19:30"], lasts: 40 s}]',
    'start: "19:30", lasts: 40 s, repeats: "FREQ=MONTHLY;BYMONTHDAY=17"}]',
)


@pytest.mark.parametrize(("start", "broken"), [("19:00", True), ("18:00", False)])
def test_what_is_rare_may_fall_on_any_day(build, start, broken):
    """A flush on the 17th and bathing on Mondays of March meet in 2031, not in 2027: 17 March is a Wednesday.

    By the weekdays of 17 March, from Python's own calendar; an hour earlier they meet in no year.
    """
    assert 2 == date(2027, 3, 17).weekday()
    assert 0 == date(2031, 3, 17).weekday()
    bathes = f'{{start: "{start}", lasts: 1 h, repeats: "FREQ=WEEKLY;BYDAY=MO;BYMONTH=3"}}'
    flush = RARE_FLUSH[0], RARE_FLUSH[1].replace("BYMONTHDAY", "BYMONTH=3;BYMONTHDAY")
    scenario = build(flush, ("  heating: {with", f"  bathing: [{bathes}]\n  heating: {{with"))
    (verdict,) = verify(scenario, rule="flush-onto-people").verdicts
    assert broken == verdict.broken


def test_a_story_of_the_calendar_has_its_date(build):
    """A flush at 19:30 and bathing on Mondays at seven: first on 4 January 2027, a Monday."""
    assert 0 == date(2027, 1, 4).weekday()
    bathes = '{days: [monday], start: "19:00", lasts: 1 h}'
    scenario = build(("  heating: {with", f"  bathing: [{bathes}]\n  heating: {{with"))
    found = verify(scenario, rule="flush-onto-people")
    (verdict,) = found.verdicts
    assert "2027-01-04T19:30+00:00" == verdict.story.first_on
    assert "The calendar first asks for this on 4 Jan 2027 19:30." in printed(verify_page(found))
    (any_day,) = verify(scenario, rule="flush-onto-people", any_order=True).verdicts
    assert "" == any_day.story.first_on


@pytest.mark.parametrize(
    ("rule", "often"),
    [
        ("FREQ=WEEKLY;BYDAY=FR", ""),
        ("FREQ=DAILY;BYMONTH=6,7", ""),
        ("FREQ=WEEKLY;INTERVAL=2;BYDAY=FR", "FREQ=WEEKLY;BYDAY=FR"),
        ("FREQ=DAILY;INTERVAL=3", "FREQ=DAILY"),
        ("FREQ=MONTHLY;BYDAY=1MO,-1FR;BYMONTH=5", "FREQ=WEEKLY;BYDAY=MO,FR;BYMONTH=5"),
        ("FREQ=YEARLY;BYMONTH=2;BYMONTHDAY=29", "FREQ=DAILY;BYMONTH=2"),
        ("FREQ=YEARLY", "FREQ=DAILY;BYMONTH=1"),
    ],
)
def test_the_days_that_a_rare_rule_could_name(rule, often):
    """As RFC 5545 reads: each rare rule's days, over 40 years, are days of the rule that stands for it."""
    assert often == every_day_of(rule)
    if often:
        begin, end = datetime(2027, 1, 1), datetime(2067, 1, 1)
        rare, all_ = (set(rrulestr(r, dtstart=begin).between(begin, end, inc=True)) for r in (rule, often))
        assert rare < all_


def test_any_order_breaks_what_the_calendar_does_not(build):
    """A flush an hour before people come: their order in the day is all that keeps it off them."""
    changes = ("  heating: {with", '  bathing: [{start: "18:00", lasts: 1 h}]\n  heating: {with')
    rule = "flush-onto-people"
    (verdict,) = verify(build(changes), rule=rule).verdicts
    assert (False, True) == (verdict.broken, verdict.only_in_another_order)
    (verdict,) = verify(build(changes), rule=rule, any_order=True).verdicts
    assert verdict.broken


# -- stories and replays -----------------------------------------------------------------------------------


def test_the_story_of_a_thermostat_past_the_controller(build):
    """It is short, in plain sentences, ends in heat without flow, and the engine goes the same way."""
    (verdict,) = verify(build(STARTED), rule="heat-without-flow").verdicts
    assert verdict.broken
    assert "its own thermostat runs it with no water flowing" == verdict.why
    assert "by the engine" == verdict.story.replayed
    said = " / ".join(verdict.story.steps)
    assert "the element, own thermostat closes; element fires" in said
    assert verdict.story.steps[-1].startswith("5 s go by with the heat of element on")
    assert list(verdict.story.at_s) == sorted(verdict.story.at_s)
    scenes = verdict.story.scenes
    assert list(verdict.story.steps) == ["; ".join((*scene.came, *scene.did)) for scene in scenes]
    assert ({"element": "on"}, (), {}) == (scenes[-1].on, scenes[-1].moves, scenes[-1].turned)
    holds = [mend.said for mend in verdict.mends if mend.holds]
    assert any("own_flow_switch" in said for said in holds)
    assert any("disconnect the contacts" in said for said in holds)


def test_a_story_shows_where_water_moves_and_what_was_turned(build):
    """Main runs with the valve open, then somebody shuts it: its water stands, and main still runs."""
    turned = ("stop: {drop: 0.1 m at 300 L/min, usual: open}}",
              "stop: {drop: 0.1 m at 300 L/min, usual: open, may_be: [open, shut]}}")  # fmt: skip
    (verdict,) = verify(build(turned, NO_PROOF), rule="heat-without-flow").verdicts
    scenes = verdict.story.scenes
    runs = [scene for scene in scenes if "main" in scene.on]
    moving = {"suction", "main", "filter", "element", "stop", "return"}
    assert runs
    assert all((set(scene.moves) == moving) != bool(scene.turned) for scene in runs)
    assert {"stop": "shut"} == scenes[-1].turned


def test_times_are_fitted_or_refused(build):
    """The shortest story without proof fits into the pump's rest of 75 s; a grace of 5000 s would not."""
    run = Judging(build(NO_PROOF), 0, False, None)
    check = run.checks()[0]
    found = run._refined("heat-without-flow", check)
    path = found.path(found.broken["heat-without-flow"][0][0])
    automaton, _, last = path[-1]
    assert last.timers[automaton.timers.index("time of main")], "it breaks while the pump rests"
    times = fitted(path)
    assert times is not None
    assert times == sorted(times)
    assert 5 <= times[-1] < 75
    judge = judges(check, automaton)["heat-without-flow"]
    way, _ = next(ways(found, judge))
    assert fitted(way) is not None
    raised = {f"{demand.name}.raised": 1 for demand in automaton.controller.demands}
    assert fitted(path, dict.fromkeys(raised, 100)) == times
    assert fitted(path, raised) is None, "nothing is raised for a second alone"
    automaton.lasts_s[automaton.timers.index("grace of element")] = 5000.0
    assert fitted(path) is None
    assert list(ways(found, judge)) == [], "the pump rests for 75 s, so that no way at all is that long"


def test_what_no_length_of_a_timer_allows_is_held_by_time(build):
    """A proof of 4 s where 5 s are due, behind an own switch of 4 s.

    By hand: flow is sensed in the second in which it comes, proving begins a pass later, 1 s, and lasts 4 s:
    in the second in which the heat comes on the flow has lasted 5 s. With 3 s it has not; a year agrees.
    """
    own = ("high_limit: 60 degC, zone: room}", "high_limit: 60 degC, zone: room, own_flow_switch: 4 s}")
    for proof_s, broken in ((4, False), (3, True)):
        shorter = own[0], own[1].replace("4 s", f"{proof_s} s")
        scenario = build(shorter, ("unless: flow proven, for: 5 s", f"unless: flow proven, for: {proof_s} s"))
        (verdict,) = verify(scenario, rule="heat-before-proof").verdicts
        assert (broken, not broken, False) == (verdict.broken, verdict.held_by_time, verdict.is_open)
        in_run = {finding.rule for finding in cyclesim.simulate(scenario, days=20).findings}
        assert broken == ("heat-before-proof" in in_run)


# -- faults ------------------------------------------------------------------------------------------------


def around_the_element(scenario):
    """The plant, its programme, the element's cone, and what may come from outside."""
    plant, programme = Assembly(scenario), Programme(scenario)
    cone = cone_of(plant, programme, ["element"])
    return plant, programme, cone, Environment(plant, programme, Calendar(programme), cone)


def cells(verdict):
    """The barrier by fault."""
    return {" and ".join(cell.faults): cell.barrier for cell in verdict.cells}


def test_which_barrier_holds_under_each_fault(build):
    """Two barriers: the flow switch wired to the controller, and an independent high limit behind it."""
    found = verify(build(), faults=1)
    heat = next(v for v in found.verdicts if v.rule == "heat-without-flow")
    held = cells(heat)
    assert "controller" == held["main does not start, or trips"]
    assert "controller" == held["stop is left shut"]
    assert "controller" == held["the flow switch of element says no whatever the flow"]
    assert "limit" == held["the flow switch of element says yes whatever the flow"]
    assert "limit" == held["the contactor of element welds"]
    assert not heat.rests_on_one
    speeds = next(v for v in found.verdicts if v.rule == "both-speeds-at-once")
    assert "nothing" == cells(speeds)["the contactor of main low welds"]
    assert speeds.rests_on_one
    dry = next(v for v in found.verdicts if v.rule == "dry-running")
    assert "nothing" == cells(dry)["the water falls below the suction fittings"]


def test_without_a_limit_one_false_yes_is_enough(build):
    """Then the rule rests on the flow switch alone, and the story names it."""
    (heat,) = verify(build(NO_LIMIT), faults=1, rule="heat-without-flow").verdicts
    cell = next(c for c in heat.cells if "says yes" in c.faults[0])
    assert "nothing" == cell.barrier
    assert "by the engine" == cell.story.replayed
    assert heat.rests_on_one
    own = next(mend for mend in cell.mends if mend.said.startswith("give element a flow switch of its own"))
    assert own.holds, "a second switch, after the contactor, does not share the fault"


def test_a_level_switch_holds_low_water(build):
    """The controller stops the pump; with the level switch only a weld keeps it on."""
    (dry,) = verify(build(("    water: 1500 L", "    water: 1500 L\n    level_switch: true")), faults=2,
                    rule="dry-running").verdicts  # fmt: skip
    held = cells(dry)
    assert "kept" == held["the water falls below the suction fittings"]
    two = [name for name, barrier in held.items() if barrier == "nothing"]
    assert two
    assert all(" and " in name and "water falls" in name for name in two)
    assert any("main low welds" in name for name in two)


OWN_SWITCH = "high_limit: 60 degC, zone: room, own_flow_switch: 6 s}"


def held_under_each_fault(scenario):
    """What holds heat-without-flow under each single fault."""
    (heat,) = verify(scenario, faults=1, rule="heat-without-flow").verdicts
    return cells(heat)


def test_an_own_switch_holds_what_starts_past_the_controller(build):
    """The thermostat's contact closes in still water, and the device's own switch alone keeps it off.

    Under every fault that leaves water still, but where the switch itself is bridged: then the high limit.
    With a contactor of the pump welded water always moves.
    """
    switch = (
        OWN_SWITCH.replace(", own_flow_switch: 6 s", ""),
        OWN_SWITCH.replace("6 s", f"6 s, {THERMOSTAT}"),
    )
    held = held_under_each_fault(build(switch, ("breaker: 20 A", "breaker: 32 A")))
    assert "limit" == held.pop("the own flow switch of element stays closed")
    assert "not needed" == held.pop("the contactor of main low welds")
    assert "not needed" == held.pop("the contactor of main high welds")
    assert 14 == len(held)
    assert {"own switch"} == set(held.values())


def test_an_own_switch_beside_a_controller_that_proves_the_flow(build):
    """Nothing is past the controller: it holds, unless its proof lies or a weld bridges it."""
    held = held_under_each_fault(build((OWN_SWITCH.replace(", own_flow_switch: 6 s", ""), OWN_SWITCH)))
    assert "own switch" == held.pop("the flow switch of element says yes whatever the flow")
    assert "own switch" == held.pop("the contactor of element welds")
    assert "not needed" == held.pop("the contactor of main low welds")
    assert "not needed" == held.pop("the contactor of main high welds")
    assert 13 == len(held)
    assert {"controller"} == set(held.values())


@pytest.mark.parametrize(
    ("state", "fed", "heats"),
    [("off", True, True), ("off", False, False), ("firing", False, False), ("tripped", True, False)],
)
def test_a_welded_contactor_bypasses_neither_the_limit_nor_the_own_switch(build, state, fed, heats):
    """Both stand after the contactor: with it welded the element heats unless one of them is open."""
    own = ("high_limit: 60 degC, zone: room}", "high_limit: 60 degC, zone: room, own_flow_switch: 6 s}")
    plant, programme, cone, env = around_the_element(build(own))
    (weld,) = (f for f in faults_of(plant, programme) if f.subject == "element/on")
    automaton = Automaton(plant, cone, env, ["element"], faults=frozenset({weld}))
    c = automaton.controller
    machines = (0, c.sources[0].table.states.index(state))
    told = c.bit("flow.element.own") if fed else 0
    start = next(automaton.starts())
    assert (heats,) == automaton.flows.effect(machines, start.env, told).on


def test_a_restart_closes_a_speed_while_the_other_still_opens(build):
    """Contactors that take 1 s to open: a restarted controller serves no changeover."""
    slow = ("changeover: 2 s", "changeover: 2 s\n      opens_within: 1.5 s")
    (speeds,) = verify(build(slow), faults=1, rule="both-speeds-at-once").verdicts
    assert not speeds.broken
    assert "nothing" == cells(speeds)["the controller restarts in mid-run"]


def test_faults_change_the_water(build):
    """A valve left shut stops it; a clogged filter slows it; nothing else is touched."""
    scenario = build()
    plant, programme = Assembly(scenario), Programme(scenario)
    usual = plant.duty(("low",)).flow_m3_s("element")
    by_kind = {fault.kind: fault for fault in faults_of(plant, programme)}
    assert 0.0 == FaultyPlant(plant, frozenset({by_kind["valve shut"]})).duty(("low",)).flow_m3_s("element")
    clogged = FaultyPlant(plant, frozenset({by_kind["clogged"]})).duty(("low",)).flow_m3_s("element")
    assert 0.0 < clogged < usual


def test_of_two_searches_of_one_rule_the_worse_is_told():
    """Whichever came first: what is not decided, alone or under a fault, never hides behind what holds."""
    fine = Verdict("supply-overload", "danger", "supply", "", "", ("main",), 5, broken=False)
    undecided, broken = replace(fine, undecided="too many states"), replace(fine, broken=True)
    for one, other, due in (
        (fine, undecided, undecided),
        (undecided, broken, broken),
        (fine, broken, broken),
    ):
        for told in (worse(one, other), worse(other, one)):
            assert (told.broken, told.undecided, told.states) == (due.broken, due.undecided, 10)
    barriers = get_args(Barrier)
    for a, b in product(barriers, barriers):
        cells = [replace(fine, cells=(Cell(("a weld",), 1, barrier),)) for barrier in (a, b)]
        (cell,) = worse(*cells).cells
        assert cell.states == 2
        for grave in ("nothing", "time", "undecided"):
            if grave in (a, b):
                assert cell.barrier in ("nothing", "time", "undecided")
        assert cell.barrier == "nothing" or "nothing" not in (a, b)


def test_sets_that_overload_a_circuit(build):
    """7 A and 3000 W / 230 V = 13.0 A are 20.04 A: too much for 20 A together, and neither alone."""
    assert [("main", "element")] == overloads(Assembly(build()), "supply")
    assert [] == overloads(Assembly(build(("breaker: 20 A", "breaker: 25 A"))), "supply")


SPOUT = [
    (
        "  equipment:",
        "    jets: {max_head: 9 m, max_flow: 300 L/min, power: 600 W, current: 2 A}\n  equipment:",
    ),
    ("    return:", "    spout: {pipe: 63 PN10, length: 8 m, zone: soil}\n    return:"),
    ("stop, return, tub]]", "stop, return, tub], [tub, spout, jets, tub]]"),
]


def test_what_is_too_much_on_low_with_a_third_thing_is_found_where_high_is_never_asked_for(build):
    """1.5 A on low, 13.04 A and 2 A of jets in a loop of their own are 16.54 A of 16; on high two would be
    enough. Only low and jets are asked for: by a search without the jets nothing would be broken."""
    low = ('line_flushes: [{pump: main high, start: ["07:30", "19:30"], lasts: 40 s}]',
           'line_flushes: [{pump: jets, start: ["03:30"], lasts: 40 s}]')  # fmt: skip
    scenario = build(*SPOUT, low, ("breaker: 20 A", "breaker: 16 A"))
    assert [("main", "element"), ("main", "jets", "element")] == overloads(Assembly(scenario), "supply")
    (verdict,) = verify(scenario, rule="supply-overload").verdicts
    assert verdict.broken
    assert verdict.why == "main low, jets and element at once"


def test_a_changeover_of_no_time_breaks_its_rule_wherever_it_is_asked(build):
    """In verify, run and check alike, although a pass of one second lies between the two speeds."""
    scenario = build(("changeover: 2 s", "changeover: 0 s"))
    plant, programme = Assembly(scenario), Programme(scenario)
    (verdict,) = verify(scenario, rule="both-speeds-at-once").verdicts
    assert verdict.broken
    holds = {mend.said for mend in verdict.mends if mend.holds}
    assert {"a changeover of 1 s", "contactors that lock each other: contactors_lock: true"} == holds
    by_plant, _ = check_plant(plant, programme)
    assert ("both-speeds-at-once", "main") in {(f.rule, f.subject) for f in by_plant}
    in_run = cyclesim.simulate(scenario, days=1).findings
    assert ("both-speeds-at-once", "main") in {(f.rule, f.subject) for f in in_run}
    never = build(("changeover: 2 s", "changeover: 0 s"), ("pump: main high, start", "pump: main low, start"))
    (verdict,) = verify(never, rule="both-speeds-at-once").verdicts
    assert (True, None) == (verdict.broken, verdict.story), "nothing asks for both speeds"


def test_the_head_line_says_what_the_faults_say(build):
    """Broken by the low water alone: no rule rests on a barrier that it does not have."""
    found = verify(build(), faults=1, rule="dry-running")
    (dry,) = found.verdicts
    assert (False, False, 1) == (dry.broken, dry.rests_on_one, len(dry.unheld))
    text = " ".join(printed(verify_page(found)).split())
    assert (
        f"Broken by 1 of {len(dry.cells)} single faults: the water falls below the suction fittings" in text
    )
    assert "No modelled order" not in text
    assert "one barrier" not in text


# -- dead ends and times -----------------------------------------------------------------------------------


def ends(scenario):
    """(kind, subject) of each."""
    plant, programme = Assembly(scenario), Programme(scenario)
    return {(end.kind, end.subject) for end in dead_ends(plant, programme, Calendar(programme))}


def test_dead_ends_and_contradictions(build):
    """Each is planted, and the plant as it is has none."""
    assert set() == ends(build())
    quiet = (
        "  heating: {with",
        '  quiet_hours: {from: "22:00", to: "08:00", applies_to: [main high]}\n  heating: {with',
    )
    assert {("inside quiet hours", "line flush")} == ends(build(quiet))
    two = (
        'start: ["03:00", "15:00"], lasts: 2 h}',
        'start: "03:00", lasts: 2 h}, {pump: main high, start: "04:00", lasts: 2 h}',
    )
    assert ("contradict each other", "filter run 1 and filter run 2") in ends(build(two))
    vain = ("while: main high, because: the breaker", "while: main running")
    assert ("asked for in vain", "element") in ends(build(vain))
    starved = ('start: ["03:00", "15:00"], lasts: 2 h}',
               'start: "19:30", lasts: 30 s}')  # fmt: skip
    assert ("always starved", "filter run") in ends(build(starved))
    fits = ("schedule:\n", "controller: {filter_windows: 1}\nschedule:\n")
    assert any(kind == "does not fit the controller" for kind, _ in ends(build(fits)))
    waits = ("schedule:\n", "controller: {after_power_cut: wait}\nschedule:\n")
    assert ("left only by a person", "controller") in ends(build(waits))
    assert ("left only by a person", "element") in ends(build(STARTED))


def test_quiet_hours_that_no_programme_can_meet(build):
    """A night without the only pump, and water that may be 12 h old: told with both numbers.

    By hand: from 18:00 to 10:00 are 16 h, and 17 h in the night in which clocks go back.
    Of 10 h nothing is said, nor where low may run.
    """

    def said(from_, to, pump):
        hours = f'  quiet_hours: {{from: "{from_}", to: "{to}", applies_to: [{pump}]}}\n  heating: {{with'
        limit = ("interlocks:\n", "limits: {water_age: 12 h}\ninterlocks:\n")
        scenario = build(("  heating: {with", hours), limit)
        found = dead_ends(Assembly(scenario), Programme(scenario), Calendar(Programme(scenario)))
        return {end.subject: end.said for end in found if end.kind == "cannot be met"}

    told = "the quiet hours keep off all that moves it for 17.0 h, and its water may be 12.0 h old"
    assert {"suction": told, "return": told} == said("18:00", "10:00", "main")
    assert {} == said("18:00", "04:00", "main") == said("18:00", "10:00", "main high")


def test_a_blower_may_be_kept_quiet(build):
    """Blown by the clock at night, it breaks the quiet hours; in the afternoon it does not."""
    for start, loud in (("23:00", True), ("15:00", False)):
        scenario = build(
            BLOWER,
            (
                "  heating: {with",
                '  quiet_hours: {from: "22:00", to: "07:00", applies_to: [blower]}\n'
                f'  air_line_flushes: [{{start: "{start}", lasts: 60 s}}]\n  heating: {{with',
            ),
        )
        found = cyclesim.simulate(scenario, days=3).findings
        assert [("blower", 3)] * loud == [(f.subject, f.times) for f in found if f.rule == "quiet-hours"]


BY_CLOCK = (
    "  valves: {stop",
    "  treatment: {ozone: {kind: ozone, in: filter, needs_flow: 60 L/min, power: 40 W, proof: {by: none}, "
    'runs: [{start: "10:00", lasts: 6 h}]}}\n  valves: {stop',
)
WIRES = (
    "  - {block: element, unless: flow proven, for: 5 s}\n"
    "  - {block: element, while: main high, because: the breaker}\n"
    "  - {keep: main low, after: element, lasting: 60 s}\n"
)
UNPROVEN = ("proof: {by: flow_switch}, high_limit", "proof: {by: none}, high_limit")
FOR_OZONE, FOR_LOW = "  - {block: ozone, while: main low}\n", "  - {block: main low, while: element firing}\n"


def test_what_never_comes_to_rest_is_told_as_it_would_be_seen(build):
    """Which thing switches every second and under which circumstances, not the inner states of a cone.

    Heating asks for main low, which the element keeps off while it fires. The ozone opens on what is asked
    for, and comes on again in the next pass on what is left of that. With one of the two blocks all rests.
    """

    def restless(wires):
        scenario = build(UNPROVEN, BY_CLOCK, (WIRES, wires))
        plant, programme = Assembly(scenario), Programme(scenario)
        found = dead_ends(plant, programme, Calendar(programme))
        return [(end.subject, end.said) for end in found if end.kind == "never comes to rest"]

    so = "heating is asked for, ozone is asked for and element fires"
    assert [("ozone", f"it switches on and off every second while {so}")] == restless(FOR_OZONE + FOR_LOW)
    assert [] == restless(FOR_OZONE) == restless(FOR_LOW)


def test_times_are_declared_and_seen(build):
    """5 s of proof for 5 s; 2 s of changeover; a rest of 75 s allows 48 starts an hour, 8 expected."""
    scenario = build()
    found = list(timed(Assembly(scenario), Programme(scenario)))
    facts = {(t.subject, t.what): (t.declared, t.holds, t.held_in_year) for t in found}
    assert facts["element", "proof of flow"] == (5.0, True, True)
    assert facts["element", "run-on"] == (60.0, True, True)
    assert facts["main", "changeover"] == (2.0, True, True)
    assert facts["main", "starts in an hour"] == (48.0, False, True)
    starts = next(t.said for t in found if t.what == "starts in an hour")
    assert starts.startswith(
        "nothing limits it to 8 starts an hour (its rest and least run allow 48); the sim"
    )


# -- the report and the calls ------------------------------------------------------------------------------


def test_the_report_says_what_it_verifies(build):
    """80 columns; never more than was looked at; the assumptions stand under the answer."""
    page = verify_page(verify(build(STARTED, NO_LIMIT), faults=1))
    text = printed(page)
    assert max(map(len, text.splitlines())) <= 80
    assert "Without a fault not broken" in text
    assert "BROKEN: its own thermostat runs it" in text
    assert "not the plant as built" in " ".join(text.split())
    assert "independent high limit" in " ".join(text.split())
    for word in ("safe ", "proved", "proven safe"):
        assert word not in text
    values = verification_values(verify(build()))
    assert values["states"] == sum(v["states"] for v in values["verdicts"])
    assert values["broken"] is False


def test_a_verification_can_be_watched_and_interrupted():
    """Progress tells the rule, the states and the frontier; what it raises ends the search."""
    told = []

    def tell(what, states, left):
        told.append((what, states, left))
        if len(told) == 2:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        verify(load(FILES[0].parent / "cedar-yard.yaml"), on_progress=tell)
    assert told[0][0].startswith("heat-without-flow (boiler)")
    assert told[0][1] < told[1][1]


def test_what_is_asked_for_is_checked(build):
    """An unknown rule has the nearest named; faults are 0, 1 or 2; the public name is the same function."""
    assert cyclesim.verify is verify
    with pytest.raises(CycleSimError, match=r"did you mean .heat-without-flow"):
        verify(build(), rule="heat-without-flw")
    with pytest.raises(ValueError, match="0, 1 or 2"):
        verify(build(), faults=3)


@pytest.mark.parametrize("rule", [None, "heat-without-flow"])
def test_whoever_shares_the_parts_the_answer_is_the_same(build, rule):
    """Parts that come in backwards, each through its pickled form, as from another process."""
    told = []

    def backwards(do, parts):
        for place in reversed(range(len(parts))):
            yield place, pickle.loads(pickle.dumps(do(pickle.loads(pickle.dumps(parts[place])))))

    scenario = build(NO_PROOF, ("breaker: 20 A", "breaker: 16 A"))
    whole = verify(scenario, rule=rule)
    again = verify(scenario, rule=rule, share=backwards, on_progress=lambda *parts: told.append(parts))
    assert whole == again
    assert told[-1][0] == f"{len(told)} of {len(told)} searches done"


def test_too_many_states_are_not_decided(build, monkeypatch):
    """Nothing is said of a rule whose search was cut short."""
    monkeypatch.setattr("cyclesim.verification.search.MOST_STATES", 20)
    (verdict,) = verify(build(), rule="heat-without-flow").verdicts
    assert "more than 20 states; every order was looked at 1 moves deep" in verdict.undecided
    assert not verdict.broken


def test_what_is_broken_before_the_search_is_cut_short_is_told(build, monkeypatch):
    """Two moves away the element fires unproven: that is known, however many states are beyond it."""
    monkeypatch.setattr("cyclesim.verification.search.MOST_STATES", 20)
    scenario = build(("  - {block: element, unless: flow proven, for: 5 s}\n", ""))
    (verdict,) = verify(scenario, rule="heat-before-proof").verdicts
    assert verdict.broken
    assert verdict.cut_short
    assert verdict.story.replayed == "by the engine"


def test_a_fault_that_breaks_before_the_search_is_cut_short_is_told(build, monkeypatch):
    """The sound plant is searched whole; with a weld there are more states, and it is broken all the same."""
    scenario = build(("high_limit: 60 degC, ", ""))
    (whole,) = verify(scenario, rule="heat-without-flow", faults=1).verdicts
    monkeypatch.setattr("cyclesim.verification.search.MOST_STATES", whole.states + 1)
    (cut,) = verify(scenario, rule="heat-without-flow", faults=1).verdicts
    assert {cell.faults for cell in whole.unheld} >= {cell.faults for cell in cut.unheld} > set()
    assert "undecided" in {cell.barrier for cell in cut.cells}


def test_a_timer_has_left_what_is_declared(build):
    """One more than its seconds in the second that starts it; later 1, for any time, or 0 when it is over."""
    plant, _, cone, env = around_the_element(build())
    automaton = Automaton(plant, cone, env, ["element"])
    states = search(automaton, {}).came_from
    left = {name: {node.timers[i] for node in states} for i, name in enumerate(automaton.timers)}
    assert left == {
        "time of main": {0, 1, 3},  # 2 s of changeover
        "time of element": {0, 1, 6},  # 5 s of proof
        "coasting of main": {0, 1, 2},
        "grace of element": {0},  # its flow is proven, so none begins
        "flow through element": {0, 1, 6},
    }


def test_a_coarse_order_reaches_no_less(build):
    """Every state of the exact order of timers is one of the coarse search, but for that order."""
    plant, _, cone, env = around_the_element(build(NO_PROOF))
    exact, coarse = (Automaton(plant, cone, env, ["element"], coarse=x) for x in (False, True))
    known = {node._replace(order=0) for node in search(coarse, {}).came_from}
    assert {node._replace(order=0) for node in search(exact, {}).came_from} <= known


@pytest.mark.parametrize("coarse", [True, False])
def test_twins_reach_what_each_state_reaches_by_itself(build, coarse):
    """A search that leaves out what a twin has done finds what following every move of every state finds."""
    shut = ("usual: open}}", "usual: open, may_be: shut}}")
    plant, _, cone, env = around_the_element(build(STARTED, shut))
    automaton = Automaton(plant, cone, env, ["element"], coarse=coarse)
    reached = waiting = set(automaton.starts())
    while waiting:
        waiting = {after for node in waiting for _, after in automaton.moves(node)} - reached
        reached = reached | waiting
    fresh = Automaton(plant, cone, env, ["element"], coarse=coarse)
    assert set(search(fresh, {}).came_from) == reached


def test_two_faults_are_tried_where_each_alone_is_held(build):
    """A pair never holds a fault that breaks the rule by itself; what two break, they break together."""
    own = (NO_LIMIT[0], f"{NO_LIMIT[1]}, own_flow_switch: 6 s")
    (heat,) = verify(build(own), faults=2, rule="heat-without-flow").verdicts
    held = {cell.faults: cell for cell in heat.cells}
    alone = {faults[0] for faults, cell in held.items() if len(faults) == 1 and cell.barrier == "nothing"}
    pairs = [faults for faults in held if len(faults) == 2]
    assert pairs
    assert not alone & {one for pair in pairs for one in pair}
    both = {
        "the own flow switch of element stays closed",
        "the flow switch of element says yes whatever the flow",
    }
    (cell,) = [cell for faults, cell in held.items() if set(faults) == both]
    assert "nothing" == cell.barrier


def test_a_stove_is_possible_in_order_and_no_more(build):
    """Nobody switches it, and the engine lights it by its own hours: the story is told, not called broken."""
    stove = (
        "  valves: {stop",
        "    stove: {kind: wood, output: 9 kW, drop: 0.3 m at 400 L/min, volume: 6 L, needs_flow: 60 L/min,\n"
        "            zone: room,\n"
        '            burns: [{start: "17:00", lasts: 3 h}]}\n  valves: {stop',
    )
    placed = ("filter, element, stop", "filter, element, stove, stop")
    found = {v.subject: v for v in verify(build(stove, placed), rule="heat-without-flow").verdicts}
    assert not found["stove"].broken
    assert "order only" == found["stove"].story.replayed
    assert (True, False) == (found["stove"].is_open, found["element"].is_open)
    assert any("stove is hot" in step for step in found["stove"].story.steps)
    assert found["element"].story is None


def test_an_own_switch_and_a_contact_that_outlasts_count_as_proof_and_run_on():
    """What the mended orchard wall declares beside the controller: 10 s of flow before, 2 min of it after."""
    scenario = load(next(file for file in FILES if file.stem == "orchard-wall-mended"))
    found = timed(Assembly(scenario), Programme(scenario))
    facts = {(t.subject, t.what): (t.declared, t.holds) for t in found}
    assert facts["heat_pump", "proof of flow"] == (10.0, True)
    assert facts["heat_pump", "run-on"] == (120.0, True)


def test_a_limit_that_the_file_leaves_open_is_told_as_assumed(build):
    """A fault that the high limit ends rests on its sensor: where the file does not say, that is assumed."""
    said = "The high limit of element has a sensor of its own: the file does not say (limit_sensor)."
    own = ("high_limit: 60 degC", "high_limit: 60 degC, limit_sensor: own")
    assert said in verify(build()).assumed
    assert said not in verify(build(own)).assumed
    assert said not in verify(build(NO_LIMIT)).assumed


def test_an_order_that_no_timed_run_reproduced_is_not_decided():
    """It reads as such, alone and under a fault, and counts as open: no plant may lean on it."""
    story = Story(("the water falls", "main starts"), "in order, not in time")
    verdict = Verdict(
        "dry-running", "danger", "main", "", "", ("main",), 9, broken=False, why="main runs dry", story=story
    )
    fine = replace(verdict, why="", story=None)
    late = replace(fine, cells=(Cell(("it leaks",), 9, "time", "main runs dry", story),))
    many = replace(fine, undecided="too many states")
    for one, is_open in ((verdict, True), (fine, False), (late, True), (many, True)):
        answer = Verification("a plant", 1, any_order=False, verdicts=(one,))
        assert (False, is_open) == (answer.is_broken, answer.is_open)
        assert (one in (verdict, many)) == ("Not decided: " in printed(verify_page(answer)))
    comfort = replace(verdict, severity="comfort")
    assert not Verification("a plant", 1, any_order=False, verdicts=(comfort,)).is_open
