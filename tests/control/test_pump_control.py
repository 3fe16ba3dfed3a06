"""Which demand decides a pump's speed, and what its times and blocks make of that."""

from __future__ import annotations

from collections.abc import Iterable

import pytest

from cyclesim.control.machines import source_machine, tabulate
from cyclesim.control.step import (
    BlockInterlock,
    Condition,
    ControlLogic,
    Demand,
    PassOutcome,
    SourceControl,
)
from tests.control.bench import (
    BARE,
    BATHING,
    CLASSIC,
    FILTER,
    FLUSH,
    HEATING,
    NOT_WHILE_HIGH,
    ONE,
    PROVEN,
    RUN_ON,
    TWO,
    Bench,
    main_runs,
    mask,
    timers,
)

# --- arbitration ----------------------------------------------------------------------------------


def decide(demands: Iterable[Demand], *raised: str) -> PassOutcome:
    """One pass of the two-speed pump alone, from rest, all times served."""
    controller = ControlLogic((TWO,), (), tuple(demands))
    return controller.step(controller.initial, timers(controller) | mask(controller, *raised))


@pytest.mark.parametrize(
    ("deciding", "speed", "raised"),
    [
        (-1, 0, []),
        (3, 1, ["filter.raised"]),
        (1, 2, ["filter.raised", "flush.raised", "heating.raised"]),
        (2, 1, ["filter.raised", "heating.raised"]),
        (0, 2, ["filter.raised", "bathing.raised"]),
    ],
)
def test_ranks(deciding: int, speed: int, raised: list[str]) -> None:
    """The raised demand with the highest rank decides its pump's speed."""
    outcome = decide([BATHING, FLUSH, Demand("heating", "heating", 3, "main", "low"), FILTER], *raised)
    assert outcome[:2] == ((speed,), (deciding,))


def test_rank_before_speed() -> None:
    """A slow demand that stands higher wins over a fast one."""
    demands = [Demand("a", "filter_run", 5, "main", "high"), Demand("b", "heating", 1, "main", "low")]
    assert decide(demands, "a.raised", "b.raised")[:2] == ((1,), (1,))


def test_ties() -> None:
    """Of equal ranks the higher speed decides, and of equal speeds the one that stands first in the file."""
    slow, fast = Demand("a", "filter_run", 5, "main", "low"), Demand("b", "filter_run", 5, "main", "high")
    assert decide([slow, fast], "a.raised", "b.raised").deciding == (1,)
    twin = Demand("c", "filter_run", 5, "main", "low")
    assert decide([slow, twin], "a.raised", "c.raised").deciding == (0,)
    assert decide([twin, slow], "a.raised", "c.raised").deciding == (0,)


def test_preempted_demand() -> None:
    """A demand that a higher one displaces decides again while it is raised, and is not remembered longer."""
    bench = Bench(CLASSIC, main_runs)
    bench.run(100, "filter.raised")
    bench.run(30, "filter.raised", "flush.raised")
    assert bench.outcome.deciding == (1,)
    bench.run(100, "filter.raised")
    assert bench.outcome.deciding == (3,)
    bench.run(1)
    assert bench.told(0) == [
        ("low", 100),
        ("changing", 2),
        ("high", 28),
        ("changing", 2),
        ("low", 98),
        ("stopped", 1),
    ]


def test_preempted_heating_still_calls() -> None:
    """Heating calls its source even while a demand of another rank decides the pump."""
    controller = ControlLogic((TWO,), (BARE,), (FLUSH, HEATING))
    both = mask(controller, "flush.raised", "heating.raised") | timers(controller)
    assert controller.commands(controller.step(controller.initial, both).state) == {
        "main": "high",
        "element": True,
    }


# --- times ----------------------------------------------------------------------------------------


def test_minimum_run() -> None:
    """A pump serves its minimum run though nobody wants it any more."""
    bench = Bench(CLASSIC, main_runs)
    bench.run(3, "filter.raised")
    bench.run(20)
    assert bench.told(0) == [("low", 10), ("stopped", 13)]


def test_power_lost() -> None:
    """A loss of power stops everything at once, whatever the minimum run or a keep says."""
    bench = Bench(CLASSIC, main_runs)
    bench.run(20, "heating.raised")
    bench.run(3, "heating.raised", "filter.raised")
    bench.run(1, "heating.raised", "power.lost")
    assert CLASSIC.commands(bench.state) == {"main": "stopped", "element": False}
    assert bench.outcome[1:3] == ((-1,), ("power lost",))
    bench.run(200, "heating.raised")
    assert bench.told(0, from_s=23) == [("stopped", 75), ("low", 126)]  # the rest binds when power is back


def test_power_lost_ignores_minimum_run() -> None:
    """A loss of power does not wait for a minimum run, nor for the changeover to have somewhere to go."""
    bench = Bench(CLASSIC, main_runs)
    bench.run(3, "filter.raised")
    bench.run(1, "filter.raised", "power.lost")
    assert bench.told(0) == [("low", 3), ("stopped", 1)]
    changing = (TWO.table.states.index("changing"), 0)
    assert (
        CLASSIC.names(CLASSIC.step(changing, mask(CLASSIC, "power.lost", "main.time_up")).state)[0]
        == "stopped"
    )


def test_block_between_pumps_acts_first() -> None:
    """Of two pumps that exclude each other one starts; they never run together, not even for a pass."""
    blocks = (
        BlockInterlock("main", "high", Condition("circulator", "running"), "the breaker"),
        BlockInterlock("circulator", "on", Condition("main", "high"), "the breaker"),
    )
    demands = (BATHING, Demand("frost", "frost_protection", 1, "circulator", "on"))
    controller = ControlLogic((TWO, ONE), (), demands, blocks, (), {"main": {"changing": 2}})
    for first, then in (("bathing.raised", "frost.raised"), ("frost.raised", "bathing.raised")):
        bench = Bench(controller, main_runs)
        bench.run(5, first)
        bench.run(20, first, then)
        assert ("high", "on") not in {names for _, names in bench.seen}
        assert controller.names(bench.state) == ("low", "on")


def test_blocked_speed_opens_no_source() -> None:
    """A source blocked at a speed goes on firing when that speed, though wanted, is itself blocked."""
    no_high = BlockInterlock("main", "high", Condition("circulator", "running"), "the breaker")
    demands = (BATHING, HEATING, Demand("frost", "frost_protection", 1, "circulator", "on"))
    controller = ControlLogic((TWO, ONE), (BARE,), demands, (no_high, NOT_WHILE_HIGH))
    bench = Bench(controller, main_runs)
    bench.run(5, "heating.raised", "frost.raised")
    bench.run(20, "heating.raised", "frost.raised", "bathing.raised")
    assert bench.told(2) == [("firing", 25)]


def test_speed_blocked_while_proving() -> None:
    """A speed that is blocked while a source fires is blocked from the moment that source begins to prove."""
    block = BlockInterlock("main", "high", Condition("element", "firing"), "the breaker")
    controller = ControlLogic(
        (TWO,), (PROVEN,), (BATHING, HEATING), (block,), (), {"element": {"proving": 5}}
    )
    bench = Bench(controller, main_runs)
    bench.run(3, "heating.raised")
    bench.run(20, "heating.raised", "bathing.raised")
    assert bench.told(0) == [("low", 23)]
    assert bench.told(1) == [("off", 1), ("proving", 5), ("firing", 17)]


def test_forced_block_ignores_minimum_run() -> None:
    """A block on a speed takes effect before that speed's minimum run is over, and lowers it one step."""
    block = BlockInterlock("main", "high", Condition("circulator", "running"), "the breaker")
    demands = (BATHING, Demand("frost", "frost_protection", 1, "circulator", "on"))
    controller = ControlLogic((TWO, ONE), (), demands, (block,), (), {"main": {"high": 600, "changing": 2}})
    bench = Bench(controller, main_runs)
    bench.run(10, "bathing.raised")
    bench.run(10, "bathing.raised", "frost.raised")
    assert bench.told(0) == [("high", 10), ("changing", 2), ("low", 8)]
    bench = Bench(controller, main_runs)
    bench.run(10, "bathing.raised")
    bench.run(10, "frost.raised")  # blocked, so the minimum run of a high that nobody wants ends too
    assert bench.told(0) == [("high", 10), ("stopped", 10)]


def test_block_of_every_speed_stops() -> None:
    """A pump whose speeds are all blocked stops."""
    seen = Condition("circulator", "on")
    blocks = (BlockInterlock("main", "low", seen), BlockInterlock("main", "high", seen))
    controller = ControlLogic(
        (TWO, ONE), (), (BATHING, Demand("f", "filter_run", 4, "circulator", "on")), blocks
    )
    assert controller.step((2, 1), mask(controller, "bathing.raised", "f.raised")).state == (0, 1)


def test_blocks_of_both_kinds_stop() -> None:
    """A pump whose high is blocked by a source and whose low by another pump stops."""
    blocks = (
        BlockInterlock("main", "high", Condition("element", "firing")),
        BlockInterlock("main", "low", Condition("circulator", "on")),
    )
    demands = (BATHING, Demand("heating", "heating", 3, "circulator", "on", ("element",)))
    controller = ControlLogic((TWO, ONE), (BARE,), demands, blocks)
    bench = Bench(controller, main_runs)
    bench.run(5, "heating.raised")
    bench.run(5, "heating.raised", "bathing.raised")
    assert bench.told(0) == [("stopped", 10)]


def test_rest_binds_everything() -> None:
    """No demand, whatever its rank, starts a pump that rests, and no call starts a source that rests."""
    rests = SourceControl(
        "element", tabulate(source_machine("element", proves=False, runs_on=True, rests=True))
    )
    controller = ControlLogic(
        (TWO,),
        (rests,),
        (BATHING, HEATING),
        (),
        (RUN_ON,),
        {"main": {"stopped": 75}, "element": {"run_on": 10, "off": 120}},
    )
    bench = Bench(controller, main_runs)
    bench.run(50, "heating.raised")
    bench.run(1)
    bench.run(300, "heating.raised")
    assert bench.told(1) == [("firing", 50), ("run_on", 10), ("off", 120), ("firing", 171)]
    bench = Bench(controller, main_runs)
    bench.run(5, "bathing.raised")
    bench.run(5)
    bench.run(100, "bathing.raised")
    assert bench.told(0) == [("high", 5), ("stopped", 75), ("high", 30)]
