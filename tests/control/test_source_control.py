"""Heat sources and devices: proof of flow, run-on, trips, blocks both ways, keeps."""

from __future__ import annotations

import pytest

from cyclesim.control.machines import source_machine, tabulate
from cyclesim.control.step import (
    BlockInterlock,
    Condition,
    ControlLogic,
    Demand,
    KeepInterlock,
    SourceControl,
)
from tests.control.bench import (
    BARE,
    BATHING,
    CLASSIC,
    DOUBLE,
    HEATING,
    NOT_WHILE_HIGH,
    ONE,
    PROVEN,
    RUN_ON,
    TWO,
    UNWIRED,
    Bench,
    main_runs,
    mask,
)


def test_missing_flow_interlock_fires_at_once() -> None:
    """A source without any means of proof fires with its pump still at rest, so that the mistake shows."""
    facts = mask(UNWIRED, "heating.raised")  # the pump still rests
    resting = ControlLogic((TWO,), (BARE,), (BATHING, HEATING), dwell_s={"main": {"stopped": 75}})
    assert resting.commands(resting.step(resting.initial, facts).state) == {
        "main": "stopped",
        "element": True,
    }


def test_flow_lost_while_firing() -> None:
    """A source that proves opens as soon as flow is no longer sensed, and says why it does not fire."""
    firing = (1, PROVEN.table.states.index("firing"))
    outcome = CLASSIC.step(firing, mask(CLASSIC, "heating.raised"))
    assert CLASSIC.names(outcome.state) == ("low", "run_on")
    assert outcome.reasons == ("no flow sensed",)


@pytest.mark.parametrize(
    ("reason", "state", "names"),
    [
        ("", "off", []),
        ("no flow sensed", "off", ["heating.raised"]),
        ("the breaker", "off", ["heating.raised", "bathing.raised", "flow.element.sensed"]),
        ("proving flow", "off", ["heating.raised", "flow.element.sensed"]),
        ("", "proving", ["heating.raised", "flow.element.sensed", "element.time_up"]),
        ("tripped", "firing", ["heating.raised", "flow.element.sensed", "element.trips"]),
        ("power lost", "firing", ["heating.raised", "flow.element.sensed", "power.lost"]),
        ("tripped", "tripped", ["heating.raised", "flow.element.sensed", "element.time_up"]),
    ],
)
def test_reasons(reason: str, state: str, names: list[str]) -> None:
    """A source that is called and does not fire says why, as things stand after the pass."""
    before = (1, PROVEN.table.states.index(state))
    assert CLASSIC.step(before, mask(CLASSIC, *names)).reasons == (reason,)


def test_trip_needs_a_person() -> None:
    """A trip opens the source and stays until somebody resets it; its keep ends with it."""
    bench = Bench(CLASSIC, main_runs)
    bench.run(50, "heating.raised")
    bench.run(1, "heating.raised", "element.trips")
    bench.run(500, "heating.raised")
    assert bench.told(1, from_s=50) == [("tripped", 501)]
    bench.run(20, "heating.raised", "element.reset")
    assert bench.told(1, from_s=551) == [("off", 1), ("proving", 5), ("firing", 14)]


def test_two_sources_never_both_when_blocked() -> None:
    """Of two sources that exclude each other the first fires and the second waits; never both."""
    block = BlockInterlock("boiler", None, Condition("element", "firing"), "the element is on")
    back = BlockInterlock("element", None, Condition("boiler", "firing"), "the boiler is on")
    demand = Demand("heating", "heating", 3, "main", "low", ("element", "boiler"))
    bare = SourceControl("boiler", tabulate(source_machine("boiler", proves=False, runs_on=False)))
    controller = ControlLogic((TWO,), (BARE, bare), (demand,), (block, back))
    bench = Bench(controller, main_runs)
    bench.run(20, "heating.raised")
    assert bench.told(1) == [("firing", 20)]
    assert bench.told(2) == [("off", 20)]
    assert bench.outcome.reasons == ("", "the element is on")


def test_two_pumps_two_sources() -> None:
    """Each pump has its own arbiter, each source its own blocks; a pump's speed waits for the boiler."""
    bench = Bench(DOUBLE, main_runs)
    bench.run(60, "heating.raised")
    assert DOUBLE.names(bench.state) == ("on", "stopped", "firing", "firing")
    bench.run(60, "heating.raised", "bathing.raised")
    assert DOUBLE.names(bench.state) == ("on", "low", "off", "firing")  # high is blocked by the boiler
    assert bench.outcome.deciding == (2, 0)
    assert bench.outcome.reasons == ("the breaker", "")
    bench.run(60, "bathing.raised")
    assert DOUBLE.names(bench.state) == ("stopped", "high", "off", "off")


def test_rank_settles_mutual_blocks() -> None:
    """Of a speed and a source that exclude each other, a raised demand for the speed wins, in one change."""
    back = BlockInterlock("main", "high", Condition("element", "firing"), "the element is on")
    controller = ControlLogic(
        (TWO,), (BARE,), (BATHING, HEATING), (NOT_WHILE_HIGH, back), (), {"main": {"changing": 2}}
    )
    bench = Bench(controller, main_runs)
    bench.run(20, "heating.raised")
    bench.run(20, "heating.raised", "bathing.raised")
    assert bench.told(0) == [("low", 20), ("changing", 2), ("high", 18)]
    assert bench.told(1) == [("firing", 20), ("off", 20)]


def test_unless_reads_what_is_and_what_comes() -> None:
    """A source blocked unless its pump runs neither fires before the pump does nor outlives its stop."""
    block = BlockInterlock("element", None, Condition("main", "running", negated=True))
    controller = ControlLogic((TWO,), (BARE,), (BATHING, HEATING), (block,), (), {"main": {"stopped": 75}})
    bench = Bench(controller, main_runs)
    bench.run(3, "heating.raised")
    bench.run(3)
    bench.run(100, "heating.raised")
    assert {"low", "stopped"} == {names[0] for _, names in bench.seen}
    assert {"low"} == {names[0] for _, names in bench.seen if names[1] == "firing"}
    waiting = controller.step(controller.initial, mask(controller, "heating.raised"))
    assert waiting.reasons == ("unless main running",)


@pytest.mark.parametrize("device_first", [True, False])
@pytest.mark.parametrize("proves", [True, False])
def test_a_device_with_its_pump_stays_on_through_a_keep(device_first: bool, proves: bool) -> None:
    """It stays on while another's run-on holds the pump, and goes off in the pass that stops the pump."""
    cell = SourceControl("cell", tabulate(source_machine("cell", proves, runs_on=False, active="on")), "on")
    sources = (cell, PROVEN) if device_first else (PROVEN, cell)
    controller = ControlLogic(
        (TWO,),
        sources,
        (BATHING, HEATING, Demand("dosing", "treatment", 5, "", "", ("cell",))),
        (NOT_WHILE_HIGH, BlockInterlock("cell", None, Condition("main", "running", negated=True))),
        (RUN_ON,),
        CLASSIC.dwell_s,
    )
    bench = Bench(controller, main_runs)
    bench.run(100, "heating.raised", "dosing.raised")
    bench.run(200, "dosing.raised")
    assert [("low", 60), ("stopped", 140)] == bench.told(0, from_s=100)
    assert [("on", 60), ("off", 140)] == bench.told(1 + sources.index(cell), from_s=100)


def test_two_sources_that_keep_each_others_pump_go_on_while_both_are_called() -> None:
    """Each fires while its pump runs, by the other's keep; when one is no longer called, both go off."""
    sources = [
        SourceControl(name, tabulate(source_machine(name, proves=False, runs_on=True))) for name in ("a", "b")
    ]
    controller = ControlLogic(
        (TWO, ONE),
        tuple(sources),
        (
            Demand("filter", "filter run", 4, "main", "low"),
            Demand("frost", "frost protection", 1, "circulator", "on"),
            Demand("calls a", "heating", 3, "", "", ("a",)),
            Demand("calls b", "heating", 3, "", "", ("b",)),
        ),
        (
            BlockInterlock("a", None, Condition("main", "running", negated=True)),
            BlockInterlock("b", None, Condition("circulator", "running", negated=True)),
        ),
        (KeepInterlock("circulator", "on", "a"), KeepInterlock("main", "low", "b")),
        {"a": {"run_on": 30}, "b": {"run_on": 30}},
    )
    bench = Bench(controller, main_runs)
    called = ("calls a.raised", "calls b.raised")
    bench.run(20, "filter.raised", "frost.raised", *called)
    bench.run(500, *called)
    assert ("low", "on", "firing", "firing") == controller.names(bench.state)
    bench.run(100, "calls a.raised")
    assert ("stopped", "stopped", "off", "off") == controller.names(bench.state)


def test_keep_of_high() -> None:
    """A keep that is about to raise the pump to high first opens a source that is blocked there."""
    boiler = SourceControl("boiler", tabulate(source_machine("boiler", proves=False, runs_on=True)))
    demands = (HEATING, Demand("more", "heating", 3, "main", "low", ("boiler",)))
    controller = ControlLogic(
        (TWO,), (BARE, boiler), demands, (NOT_WHILE_HIGH,), (KeepInterlock("main", "high", "boiler"),)
    )
    bench = Bench(controller, main_runs)
    bench.run(20, "heating.raised")
    bench.run(20, "heating.raised", "more.raised")
    assert controller.names(bench.state) == ("high", "off", "firing")
    assert [("firing", 1), ("off", 19)] == bench.told(1, from_s=20), "open in the pass in which high is kept"
    assert bench.outcome.deciding == (-2,)
