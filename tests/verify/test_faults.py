"""Single faults on small plants: which barrier holds, what each fault opens, and what is too much then."""

from dataclasses import replace
from itertools import product
from typing import get_args

import pytest

import cyclesim
from cyclesim.analysis.rules import check_plant
from cyclesim.analysis.supply import overloads
from cyclesim.said.verify import verify_page
from cyclesim.scenario.reading.load import load_text
from cyclesim.scenario.reading.starter import starter_text
from cyclesim.shown.terminal import printed
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.programme import Programme
from cyclesim.verification.answer import Barrier, Cell, Verdict
from cyclesim.verification.automaton import Automaton
from cyclesim.verification.barriers import worse
from cyclesim.verification.faults import FaultyPlant, faults_of
from cyclesim.verification.judging import Judging
from cyclesim.verification.search import TooManyStatesError
from cyclesim.verification.verifier import verify
from tests.verify.element import NO_LIMIT, THERMOSTAT, around_the_element, cells


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


@pytest.mark.parametrize("cut", ["stop is left shut", "the contactor of main low welds"])
def test_two_faults_are_not_decided_where_either_order_is_not(build, monkeypatch, cut):
    """Two faults that are held whichever comes first; the search of one order has too many states."""
    two = "stop is left shut", "the contactor of main low welds"
    under = Judging._under

    def only(plant, programme):
        return (fault for fault in faults_of(plant, programme) if fault.sentence in two)

    def cut_short(self, check, before, fault):
        after = under(self, check, before, fault)
        if fault.sentence == cut and before.automaton.faults:
            raise TooManyStatesError("too many states", after)
        return after

    monkeypatch.setattr("cyclesim.verification.judging.faults_of", only)
    level = build(("    water: 1500 L", "    water: 1500 L\n    level_switch: true"))
    for changed, barrier in ((under, "kept"), (cut_short, "undecided")):
        monkeypatch.setattr(Judging, "_under", changed)
        (dry,) = verify(level, faults=2, rule="dry-running").verdicts
        assert [barrier] == [cell.barrier for cell in dry.cells if cell.faults == two]


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


def test_a_fault_that_lets_runs_come_in_any_order_is_told_first():
    """Flushes at 07:30 and 19:30 and bathers at 20:00 meet by a fault alone, not by the calendar.

    So each of the three stories begins with its fault, at second 0, and ends where the rule is broken. A
    mend that is alike for all of them is told once.
    """
    found = verify(load_text(starter_text()), faults=1, rule="flush-onto-people")
    verdict, *_ = found.verdicts
    assert not verdict.broken
    faults = {"the controller restarts in mid-run", "its clock is reset to midnight after a power cut",
              "a person presses anything at any time"}  # fmt: skip
    assert faults == {cell.faults[0] for cell in verdict.unheld}
    for cell in verdict.unheld:
        assert cell.story.steps[0].startswith(cell.faults[0])
        assert "people step into the water" in cell.story.steps[-1]
    text = " ".join(printed(verify_page(found)).split())
    assert "it out of the schedule: then nothing is left that could break it." in text
    assert (1, 2) == (text.count("Tried 1:"), text.count("Tried: the same as above"))
