"""One pass with what follows in its second: by hand, for one loop with a two-speed pump and an element."""

from collections.abc import Callable

import pytest

from cyclesim.control.step import NOBODY, POWER_LOST
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.effects import Effects
from cyclesim.simulation.passes import Passes
from cyclesim.simulation.programme import Programme
from cyclesim.simulation.wired import NONE, Surroundings, Wiring


@pytest.fixture
def passes(loop: Callable[..., Scenario]) -> tuple[Passes, Callable[[str], int], Surroundings]:
    """The passes of the loop, the bit of a fact, and its surroundings as usual."""
    scenario = loop()
    plant, controller = Assembly(scenario), Programme(scenario).controller
    usual = Surroundings(plant.usually, NONE, frozenset())
    wiring = Wiring(plant, controller)
    return Passes(controller, wiring, Effects(wiring, None, lambda _: ()), usual), controller.bit, usual


def test_before_the_first_pass_nobody_has_asked_for_anything(passes) -> None:
    """What a trace begins with: nothing decides, nothing keeps the element off, no pass is owed."""
    of, _, _ = passes
    assert ((NOBODY,), ("",), (), None, False) == of.at_rest[3:]


def test_all_follows_the_first_pass_and_nothing_the_same_again(passes) -> None:
    """Nothing moves in either; asked once more, the answer that is known comes back."""
    of, _, usual = passes
    rest = of.at_rest
    first = of.after(rest, rest.facts, usual, 0)
    assert (first.entered, first.settled is None, first.again) == ((), False, False)
    second = of.after(first, first.facts, usual, 0)
    assert (second.settled, second.state, second.effect) == (None, rest.state, rest.effect)
    assert ((NOBODY,), ("",), (), None, False) == second[3:]
    assert of.after(second, second.facts, usual, 0) is second


def test_a_pump_that_starts_is_felt_in_the_same_second_and_asks_for_another_pass(passes) -> None:
    """The heating call starts main; its flow lets the element prove a second later."""
    of, bit, usual = passes
    first = of.after(of.at_rest, of.at_rest.facts, usual, 0)
    called = of.after(first, first.facts | bit("heating.raised"), usual, 0)
    machines = [(machine.name, machine.table.states) for machine in of._controller.machines]
    assert [(machines[i][0], machines[i][1][state]) for i, state in called.entered] == [("main", "low")]
    assert called.facts & bit("flow.element.sensed")
    assert called.again
    proves = of.after(called, called.facts, usual, 0)
    assert [(machines[i][0], machines[i][1][state]) for i, state in proves.entered] == [
        ("element", "proving")
    ]
    assert not proves.facts & bit("element.time_up")  # its proof has just begun


def test_who_decides_and_why_the_element_does_not_fire(passes) -> None:
    """Heating has main on; the element's flow is proven for 5 s, then it fires, which lasts as it likes.

    So its time is up from the start of firing: nothing holds it on.
    """
    of, bit, usual = passes
    heating = [demand.name for demand in of._controller.demands].index("heating")
    called = of.after(of.at_rest, of.at_rest.facts | bit("heating.raised"), usual, 0)
    proves = of.after(called, called.facts, usual, 0)
    waits = of.after(proves, proves.facts, usual, 0)
    assert waits.settled is None
    for passed, why in ((called, ""), (proves, "proving flow"), (waits, "proving flow")):
        assert ((heating,), (why,)) == (passed.deciding, passed.reasons)
    assert ((), False) == (waits.entered, waits.again)
    fires = of.after(waits, waits.facts | bit("element.time_up"), usual, 0)
    assert ((heating,), ("",), (True,)) == (fires.deciding, fires.reasons, fires.effect.what.on)
    assert fires.facts & bit("element.time_up")
    cooled = of.after(fires, fires.facts & ~bit("heating.raised"), usual, 0)
    assert ((False,), (1,)) == (cooled.effect.what.on, cooled.effect.what.levels)  # main is kept on for 60 s
    assert not cooled.facts & bit("element.time_up")


def test_a_block_is_told_as_why_the_element_does_not_fire(passes) -> None:
    """A flush has main on high while heating is called: the file says why that keeps the element off."""
    of, bit, usual = passes
    both = of.at_rest.facts | bit("heating.raised") | bit("line flush.raised")
    flushes = of.after(of.at_rest, both, usual, 0)
    assert (("high", "off"), ("the breaker",)) == (flushes.effect.labels, flushes.reasons)


def test_the_same_facts_after_something_else_are_another_pass(passes) -> None:
    """Heating is called, and flow and every time are told: main starts, the element proves, then it fires."""
    of, bit, usual = passes
    facts = of.at_rest.facts | bit("heating.raised") | bit("flow.element.sensed")
    now, states = of.at_rest, []
    for _ in range(3):
        now = of.after(now, facts, usual, 0)
        states.append(now.effect.labels)
    assert [("low", "proving"), ("low", "firing"), ("low", "firing")] == states


def test_a_circuit_that_is_cut_while_its_pump_runs_stops_the_water_at_once(passes) -> None:
    """Main's contact stays commanded and moves nothing, so no flow is sensed; power back, it runs again."""
    of, bit, usual = passes
    runs = of.after(of.at_rest, of.at_rest.facts | bit("filter run.raised"), usual, 0)
    assert runs.facts & bit("flow.element.sensed")
    cut = usual._replace(unfed=frozenset({"main"}))
    dark = of.after(runs, runs.facts, cut, 0)
    assert (runs.state, (0,)) == (dark.state, dark.effect.what.levels)
    assert not dark.facts & bit("flow.element.sensed")
    back = of.after(dark, dark.facts, usual, 0)
    assert (runs.effect, runs.facts) == (back.effect, back.facts)


def test_what_is_around_makes_another_pass_though_no_machine_moves(passes) -> None:
    """No power, and a circuit that is cut, while everything stands still: each is followed by itself."""
    of, bit, usual = passes
    first = of.after(of.at_rest, of.at_rest.facts, usual, 0)
    dark = of.after(first, first.facts | bit(POWER_LOST), usual, 0)
    assert (dark.entered, dark.settled is None) == ((), False)
    cut = usual._replace(unfed=frozenset({"main"}))
    unfed = of.after(first, first.facts, cut, 0)
    assert (unfed.entered, unfed.settled is None) == ((), False)
    assert of.after(first, first.facts, usual, 0).settled is None
