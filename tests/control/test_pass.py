"""Single passes whose outcome follows from the written order of a pass, and the words for what waits."""

from __future__ import annotations

from typing import Any

import pytest

from cyclesim.control.machines import pump_machine, source_machine, tabulate
from cyclesim.control.step import (
    BlockInterlock,
    Condition,
    ControlLogic,
    Demand,
    KeepInterlock,
    PumpControl,
    SourceControl,
)

MAIN = PumpControl("main", ("low", "high"), tabulate(pump_machine("main", ("low", "high"))))
FEED = PumpControl("feed", ("on",), tabulate(pump_machine("feed", ("on",))))
STOVE = SourceControl("stove", tabulate(source_machine("stove", proves=False, runs_on=False)))
OVEN = SourceControl("oven", tabulate(source_machine("oven", proves=False, runs_on=False)))
PROVES = SourceControl("stove", tabulate(source_machine("stove", proves=True, runs_on=False)))
AGAIN = SourceControl("stove", tabulate(source_machine("stove", proves=True, runs_on=True)))
RESTS = SourceControl("stove", tabulate(source_machine("stove", proves=False, runs_on=True, rests=True)))

JETS = Demand("jets", "line flush", 0, "main", "high")
HEAT = Demand("heat", "heating", 3, "main", "low", ("stove",))
ALSO = Demand("also", "heating", 3, "main", "low", ("stove", "oven"))
FEEDING = Demand("feeding", "filter run", 4, "feed", "on")
DOSING = Demand("dosing", "treatment", 5, "", "", ("stove",))


def after(controller: ControlLogic, state: tuple[str, ...], *names: str) -> tuple[str, ...]:
    """The names of the states that one pass leads to from named ones, with just these facts true."""
    machines = (*controller.pumps, *controller.sources)
    indices = tuple(m.table.states.index(s) for m, s in zip(machines, state, strict=True))
    return controller.names(controller.step(indices, sum(map(controller.bit, names))).state)


def test_a_state_of_another_plant_is_refused() -> None:
    """A state with fewer machines than the controller has is nobody's; it is not cut to size."""
    controller = ControlLogic((MAIN,), (STOVE,), ())
    asked: list[Any] = [controller.names, controller.dwells_s, controller.commands]
    for ask in asked:
        with pytest.raises(ValueError, match="shorter"):
            ask((0,))
    with pytest.raises(ValueError, match="shorter"):
        controller.wired((0,), 0)


def test_two_demands_may_call_one_source() -> None:
    """Either call fires it, whichever of them stands first."""
    controller = ControlLogic((MAIN,), (STOVE, OVEN), (HEAT, ALSO, DOSING))
    rest = ("stopped", "off", "off")
    assert ("low", "firing", "off") == after(controller, rest, "heat.raised")
    assert ("low", "firing", "firing") == after(controller, rest, "also.raised")
    assert ("stopped", "firing", "off") == after(controller, rest, "dosing.raised")


def test_a_demand_without_a_pump_hides_none_behind_it() -> None:
    """One that asks no pump for anything may stand in front of one that does."""
    controller = ControlLogic((MAIN,), (STOVE,), (DOSING, JETS))
    assert ("high", "off") == after(controller, ("stopped", "off"), "jets.raised")


def test_a_demand_turns_its_circulators_beside_its_pump() -> None:
    """The pump of the circuit behind the source runs at its one speed, with the tub's pump or without any."""
    boiling = Demand("boiling", "heating", 3, "main", "low", ("stove",), ("feed",))
    turning = Demand("turning", "sun", 4, "", "", (), ("feed",))
    controller = ControlLogic((MAIN, FEED), (STOVE,), (boiling, turning))
    rest = ("stopped", "stopped", "off")
    assert ("low", "on", "firing") == after(controller, rest, "boiling.raised")
    assert ("stopped", "on", "off") == after(controller, rest, "turning.raised")


def test_only_a_level_switch_tells_of_low_water() -> None:
    """A controller of which nothing is said has none, and runs on."""
    assert ("low", "firing") == after(
        ControlLogic((MAIN,), (STOVE,), (HEAT,)), ("low", "firing"), "heat.raised", "level.low"
    )


@pytest.mark.parametrize(
    ("blocked", "state", "of_main"),
    [
        (True, "stopped", "stopped"),
        (False, "stopped", "low"),
        (False, "stopped", "high"),
        (False, "low", "stopped"),
        (True, "low", "low"),
        (False, "low", "high"),
        (False, "high", "low"),
        (True, "high", "high"),
        (False, "running", "stopped"),
        (True, "running", "low"),
        (True, "running", "high"),
    ],
)
def test_what_a_condition_reads_of_a_pump(blocked: bool, state: str, of_main: str) -> None:
    """Each speed is itself alone, running is either, stopped is neither; `unless` is the opposite.

    Main goes on as it is (it is asked for the speed that it has), so that what is and what comes agree.
    """
    asks = {"stopped": (), "low": ("low.raised",), "high": ("jets.raised",)}[of_main]
    low = Demand("low", "filter run", 4, "main", "low")
    for negated in (False, True):
        block = BlockInterlock("feed", "on", Condition("main", state, negated))
        controller = ControlLogic((MAIN, FEED), (), (JETS, low, FEEDING), (block,))
        expected = "stopped" if blocked != negated else "on"
        assert (of_main, expected) == after(controller, (of_main, "stopped"), "feeding.raised", *asks)


@pytest.mark.parametrize(
    ("feed", "negated", "stove"),
    [("stopped", False, "firing"), ("on", False, "off"), ("on", True, "firing"), ("stopped", True, "off")],
)
def test_what_a_condition_reads_of_a_source(feed: str, negated: bool, stove: str) -> None:
    """A pump kept off while the stove fires, or unless it does."""
    block = BlockInterlock("feed", "on", Condition("stove", "firing", negated))
    controller = ControlLogic((FEED,), (STOVE,), (FEEDING, DOSING), (block,))
    asks = ("dosing.raised",) if stove == "firing" else ()
    assert (feed, stove) == after(controller, ("stopped", stove), "feeding.raised", *asks)


@pytest.mark.parametrize("first", [True, False])
def test_a_block_that_is_not_so_hides_none_behind_it(first: bool) -> None:
    """Of two blocks on one speed either alone is enough."""
    blocks = (
        BlockInterlock("main", "high", Condition("feed", "on")),
        BlockInterlock("main", "high", Condition("stove", "firing")),
    )
    controller = ControlLogic((MAIN, FEED), (STOVE,), (JETS, FEEDING, DOSING), blocks)
    what = ("feeding.raised",) if first else ("dosing.raised",)
    machines = ("on", "off") if first else ("stopped", "firing")
    assert ("low", *machines) == after(controller, ("stopped", *machines), "jets.raised", *what)


def test_a_source_that_has_moved_keeps_none_behind_it_waiting() -> None:
    """The first opens by a trip; the second, called, fires in the same pass."""
    controller = ControlLogic((MAIN,), (STOVE, OVEN), (ALSO,))
    assert ("low", "tripped", "firing") == after(
        controller, ("low", "firing", "off"), "also.raised", "stove.trips"
    )


@pytest.mark.parametrize("device_first", [True, False])
def test_what_a_keep_held_on_opens_before_the_pumps(device_first: bool) -> None:
    """The pass that ends a run-on stops its pump, opens what runs with it, and starts what that blocked."""
    devices = (OVEN, RESTS) if device_first else (RESTS, OVEN)
    with_main = BlockInterlock("oven", None, Condition("main", "running", negated=True))
    controller = ControlLogic(
        (MAIN, FEED),
        devices,
        (FEEDING, Demand("baking", "treatment", 5, "", "", ("oven",))),
        (with_main, BlockInterlock("feed", "on", Condition("oven", "firing"))),
        (KeepInterlock("main", "low", "stove"),),
        {"stove": {"run_on": 60}},
    )
    asks = ("feeding.raised", "baking.raised")
    states = {"oven": "firing", "stove": "run_on"}
    held = ("low", "stopped", *(states[d.name] for d in devices))
    assert held == after(controller, held, *asks)
    assert ("stopped", "on", "off", "off") == after(controller, held, *asks, "stove.time_up")


def test_what_begins_to_prove_comes_after_the_pumps() -> None:
    """A higher rank gets its speed in the pass in which both are asked for; the block acts in the next."""
    block = BlockInterlock("main", "high", Condition("stove", "firing"))
    controller = ControlLogic((MAIN,), (PROVES,), (JETS, HEAT), (block,), (), {"stove": {"proving": 5}})
    asks = ("jets.raised", "heat.raised", "flow.stove.sensed")
    assert ("high", "proving") == after(controller, ("stopped", "off"), *asks)
    assert ("changing", "proving") == after(controller, ("high", "proving"), *asks)


@pytest.mark.parametrize(
    ("reason", "state", "names"),
    [
        ("", "firing", []),
        ("run-on", "run_on", []),
        ("rest", "run_on", ["stove.time_up"]),  # it arrives in off, where its rest begins
        ("rest", "off", []),
        ("", "off", ["stove.time_up"]),  # it fires
        ("tripped", "tripped", []),
        ("rest", "tripped", ["stove.reset"]),
    ],
)
def test_why_a_source_that_rests_does_not_fire(reason: str, state: str, names: list[str]) -> None:
    """Called all the time: it runs on, then rests, then fires."""
    dwell_s = {"stove": {"run_on": 60, "off": 240}}
    controller = ControlLogic((MAIN,), (RESTS,), (HEAT,), dwell_s=dwell_s)
    before = (1, RESTS.table.states.index(state))
    facts = sum(map(controller.bit, ["heat.raised", *names]))
    assert (reason,) == controller.step(before, facts).reasons


def test_what_was_just_reset_waits_for_nothing() -> None:
    """Without a rest it is off for the one pass that resets it, for no reason but that."""
    controller = ControlLogic((MAIN,), (STOVE,), (HEAT,))
    outcome = controller.step(
        (1, STOVE.table.states.index("tripped")), sum(map(controller.bit, ["heat.raised", "stove.reset"]))
    )
    assert (("low", "off"), ("",)) == (controller.names(outcome.state), outcome.reasons)


def test_a_source_is_not_held_on_by_its_own_keep() -> None:
    """Called still, but nobody asks for the pump that it waits for: it opens, and its run-on follows."""
    controller = ControlLogic(
        (MAIN,),
        (RESTS,),
        (Demand("warming", "heating", 5, "", "", ("stove",)),),
        (BlockInterlock("stove", None, Condition("main", "running", negated=True)),),
        (KeepInterlock("main", "low", "stove"),),
        {"stove": {"run_on": 60}},
    )
    assert ("low", "run_on") == after(controller, ("low", "firing"), "warming.raised")


@pytest.mark.parametrize(("proof", "main"), [("proving", "stopped"), ("proving_again", "low")])
def test_a_proof_within_a_run_on_is_one_that_still_owes_it(proof: str, main: str) -> None:
    """Called by what asks no pump for anything: only what is owed keeps the pump, and both say what they do.

    The speed that fire blocks is blocked in either: asked for, it is not changed to.
    """
    controller = ControlLogic(
        (MAIN,),
        (AGAIN,),
        (JETS, DOSING),
        (BlockInterlock("main", "high", Condition("stove", "firing")),),
        (KeepInterlock("main", "low", "stove"),),
        {"stove": {"proving": 5, "proving_again": 5, "run_on": 60}},
    )
    asks = ("dosing.raised", "flow.stove.sensed")
    before = (1, AGAIN.table.states.index(proof))
    outcome = controller.step(before, sum(map(controller.bit, asks)))
    assert ((main, proof), ("proving flow",)) == (controller.names(outcome.state), outcome.reasons)
    assert ("low", proof) == after(controller, ("low", proof), *asks, "jets.raised")


def test_a_proof_within_a_run_on_begins_after_the_pumps() -> None:
    """In the pass in which the call comes back a speed is still free; the next takes it away."""
    block = BlockInterlock("main", "high", Condition("stove", "firing"))
    keep = KeepInterlock("main", "low", "stove")
    dwell_s = {"stove": {"proving_again": 5, "run_on": 60}}
    controller = ControlLogic((MAIN,), (AGAIN,), (JETS, DOSING), (block,), (keep,), dwell_s)
    asks = ("jets.raised", "dosing.raised", "flow.stove.sensed")
    assert ("high", "proving_again") == after(controller, ("high", "run_on"), *asks)
    assert ("changing", "proving_again") == after(controller, ("high", "proving_again"), *asks)
