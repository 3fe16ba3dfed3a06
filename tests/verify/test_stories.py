"""Stories of small plants: told in sentences, replayed, and fitted into time or refused."""

import cyclesim
from cyclesim.verification.in_time import ways
from cyclesim.verification.judging import Judging
from cyclesim.verification.replay import fitted
from cyclesim.verification.subjects import judges
from cyclesim.verification.verifier import verify
from tests.verify.element import NO_PROOF, STARTED


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
