"""Tests that a person can do on the finished plant, each told apart by the engine.

A test is a few things done by hand (isolate a pump, take a wire off, shut a valve, call for heat) and one
thing to look at with a watch. The engine runs it on the plant as drawn, which must pass, and on the same
plant with each of its barriers missing in turn. A test that reads the same on both says nothing of the
barrier; a barrier that no test tells is told as such.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from cyclesim.analysis.findings import Breach
from cyclesim.analysis.history import History
from cyclesim.analysis.rules import RULES, judge, of_kind
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.engine import PlantRun
from cyclesim.simulation.programme import Programme
from cyclesim.simulation.trace import Span, Trace
from cyclesim.verification.faults import FAULTS, FaultyPlant, PlantFault
from cyclesim.verification.hand_scripts import BEGIN_S, HandTest, Told, scripts
from cyclesim.verification.held_by import PlantBarrier, barriers, without
from cyclesim.verification.replay import drive_by

BY_WATCH_S, DAY_S = 2.0, 86_400
"""Readings that differ by less are the same to a person with a watch: our choice."""


@dataclass(frozen=True)
class HandTests:
    """Every test that tells something, the barriers that none tells, and what the plant as drawn lets on."""

    tests: tuple[HandTest, ...]
    untold: tuple[PlantBarrier, ...]
    unheld: tuple[HandTest, ...] = ()
    """Tests that the plant as drawn does not pass: something comes on that has no water, or no word of it."""


def hand_tests(scenario: Scenario) -> HandTests:
    """The tests of a scenario's plant. Raises nothing of its own: what cannot be tested by hand is told."""
    plant, programme = Assembly(scenario), Programme(scenario)
    every = tuple(barriers(plant, programme))
    lacking = {barrier: (*_parts(other, scenario, plant, programme), added)
               for barrier in every for other, added in [without(scenario, barrier)]}  # fmt: skip
    tests, unheld = [], []
    for script in scripts(plant, programme):
        reads_s, breaks = _run(plant, programme, script)
        if not _passes(script, reads_s, plant, programme):
            if breaks and script.kind in ("stays off", "wire off", "own start"):  # else it has its water
                unheld.append(replace(script, reads_s=reads_s))
            continue
        told = []
        for barrier, (other_plant, other_programme, added) in lacking.items():
            if not _concerns(barrier, script):
                continue
            if script.faults and added and {f.subject for f in added} & _proof_faults(script):
                continue  # the same switch cannot be broken both ways
            reads_other_s, breaks = _run(other_plant, other_programme, script, added)
            if _tells(script, reads_s, reads_other_s, plant, programme):
                told.append(Told(barrier, reads_other_s, breaks))
        if told:
            tests.append(replace(script, reads_s=reads_s, tells=tuple(told)))
    known = {told.barrier for test in tests for told in test.tells}
    untold = tuple(barrier for barrier in every if barrier not in known)
    return HandTests(tuple(tests), untold, tuple(unheld))


def _parts(
    other: Scenario, scenario: Scenario, plant: Assembly, programme: Programme
) -> tuple[Assembly, Programme]:
    """Another scenario's plant and programme; those that are there already where it is the same."""
    return (plant, programme) if other is scenario else (Assembly(other), Programme(other))


_BY_KIND = {
    "keep": "runs on",
    "changeover": "changes over",
    "level switch": "low water",
    "contact": "comes on",
}
"""Barriers that one kind of test alone can tell; the others keep off what they act on."""


def _concerns(barrier: PlantBarrier, test: HandTest) -> bool:
    """Whether a barrier has to do with what is looked at, so that a test may tell it."""
    if barrier.kind in _BY_KIND:
        return test.kind == _BY_KIND[barrier.kind]
    return barrier.subject.partition(" ")[0] == test.subject


def _proof_faults(test: HandTest) -> set[str]:
    return {fault.subject for fault in test.faults if FAULTS[fault.kind].proof is not None}


# -- what is seen --------------------------------------------------------------------------------------------


def _run(
    plant: Assembly, programme: Programme, test: HandTest, added: frozenset[PlantFault] = frozenset()
) -> tuple[float | None, tuple[str, ...]]:
    """What the watch shows [s], and the rules of one instant that are broken meanwhile."""
    faults = test.faults | added
    faulty = FaultyPlant(plant, faults) if faults else plant
    ends = max(end for spans in test.facts.values() for _, end in spans)
    span_s = ends + (test.look_s if test.kind == "runs on" else 0)
    known = programme.controller.facts
    facts = {fact: spans for fact, spans in test.facts.items() if fact in known}
    for fault in (f for f in added if FAULTS[f.kind].proof):
        facts[f"flow.{fault.subject}.sensed"] = ((-DAY_S, span_s),)  # bridged since long before the test
    contacts = [contact for contact in programme.beside if contact.line.contact_of]
    run = PlantRun(faulty, programme.controller, drive_by(faulty, span_s, facts, contacts=contacts))
    run.warm_up()
    trace = run.finish()
    history = History(faulty, programme, trace)
    state = of_kind("state")
    broken = [name for name in state if any(isinstance(b, Breach) for b in judge(RULES[name], history))]
    return _read(test, trace), tuple(broken)


def _read(test: HandTest, trace: Trace) -> float | None:
    on = _on(trace, test.subject)
    acts = BEGIN_S + test.called_s
    match test.kind:
        case "stays off" | "wire off" | "own start" | "comes on":
            return next((float(start - BEGIN_S) for start, _ in on if start >= BEGIN_S), None)
        case "goes off" | "low water":
            ends = [end for start, end in on if start < acts <= end]  # it has to be on before
            again = any(start >= acts for start, _ in on)
            return None if again or not ends or ends[0] >= trace.span_s else float(ends[0] - acts)
        case "runs on":
            stopped = max((end for _, end in _on(trace, test.source)), default=None)
            if stopped is None:
                return None
            return float(max((end for start, end in on if start <= stopped), default=stopped) - stopped)
    speeds = [(x.start_s, x.end_s, x.state) for x in trace.pumps[test.subject] if x.start_s >= BEGIN_S]
    low = next((end for _, end, state in speeds if state == "low"), None)
    high = next((start for start, _, state in speeds if state == "high"), None)
    return None if low is None or high is None else float(high - low)


def _on(trace: Trace, name: str) -> list[Span]:
    if name in trace.sources:
        return trace.sources[name].spans("firing")
    if name in trace.treatments:
        return trace.treatments[name].spans("on")
    for turned in (trace.blowers, trace.circulators):
        if name in turned:
            return turned[name].spans("on")
    return trace.pumps[name].spans("on", "low", "high")


def _tells(
    test: HandTest, drawn_s: float | None, without_s: float | None, plant: Assembly, programme: Programme
) -> bool:
    """Whether a person with a watch sees that the second reading is not as it has to be."""
    alike = None not in (drawn_s, without_s) and abs(drawn_s - without_s) < BY_WATCH_S  # type: ignore[operator]
    return not alike and not _passes(test, without_s, plant, programme)


def _passes(test: HandTest, reads_s: float | None, plant: Assembly, programme: Programme) -> bool:
    """Whether a reading is what the plant as drawn has to show."""
    match test.kind:
        case "stays off" | "wire off" | "own start":
            return reads_s is None
        case "goes off" | "low water" | "comes on":
            return reads_s is not None
        case "runs on":
            return reads_s is not None and reads_s >= programme.run_on_s(test.source) > 0
    return reads_s is not None and reads_s >= plant.pumps[test.subject].changeover_s
