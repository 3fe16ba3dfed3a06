"""Verdicts on small plants; cones against the whole product; dead ends, times, the report and the calls."""

import pickle
import re
from dataclasses import replace
from pathlib import Path

import pytest

import cyclesim
from cyclesim.analysis.rules import of_kind
from cyclesim.errors import CycleSimError
from cyclesim.said.verify import verification_values, verify_page
from cyclesim.scenario.reading.load import load
from cyclesim.shown.terminal import printed
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.programme import Programme
from cyclesim.verification.answer import Cell, Story, Verdict, Verification
from cyclesim.verification.automaton import Automaton
from cyclesim.verification.calendar_order import Calendar
from cyclesim.verification.cone import cone_of, groups
from cyclesim.verification.dead_ends import dead_ends
from cyclesim.verification.judging import Judging
from cyclesim.verification.search import search
from cyclesim.verification.subjects import checks, judges
from cyclesim.verification.timed import timed
from cyclesim.verification.verifier import verify
from tests.verify.element import NO_LIMIT, NO_PROOF, STARTED, around_the_element
from tests.verify.test_defects import BLOWER

FILES = sorted((Path(__file__).parents[2] / "schedules").glob("*.yaml"))
NO_BLOCK = ("  - {block: element, while: main high, because: the breaker}\n", "")
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


def test_mends_of_every_set_that_overloads_a_circuit_are_tried(build):
    """Two elements of 3 kW draw 26 A of 20 A; blocks between each and the pump at 27 A hold already."""
    element = """high_limit: 60 degC, zone: room}
    second: {kind: electric, output: 3 kW, drop: 0.3 m at 400 L/min, volume: 2 L, needs_flow: 60 L/min,
             proof: {by: flow_switch}, high_limit: 60 degC, zone: room}"""
    blocks = """because: the breaker}
  - {block: second, unless: flow proven, for: 5 s}
  - {block: second, while: main high, because: the breaker}
  - {keep: main low, after: second, lasting: 60 s}"""
    scenario = build(
        ("high_limit: 60 degC, zone: room}", element),
        ("filter, element, stop", "filter, element, second, stop"),
        ("with: [element]", "with: [element, second]"),
        ("within: 1 K}", "within: 1 K, next_below: 1 K}"),
        ("because: the breaker}", blocks),
    )
    (verdict,) = verify(scenario, rule="supply-overload").verdicts
    assert verdict.broken
    assert {mend.said: mend.holds for mend in verdict.mends} == {
        "wire {block: second, while: element firing}": True,
        "wire {block: element, while: second firing}": True,
    }
