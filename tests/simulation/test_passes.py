"""One pass with what follows in its second: by hand, for one loop with a two-speed pump and an element."""

from collections.abc import Callable

import pytest

from cyclesim.control.step import POWER_LOST
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


def test_all_follows_the_first_pass_and_nothing_the_same_again(passes) -> None:
    """Nothing moves in either; asked once more, the answer that is known comes back."""
    of, _, usual = passes
    rest = of.at_rest
    first = of.after(rest, rest.facts, usual, 0)
    assert (first.entered, first.settled is None, first.again) == ((), False, False)
    second = of.after(first, first.facts, usual, 0)
    assert (second.settled, second.state, second.effect) == (None, rest.state, rest.effect)
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
