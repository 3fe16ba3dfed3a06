"""A second circuit behind plates: planted defects and their twins, over every order and each single fault.

By design each defect takes away what keeps a boiler from firing while its own water stands (common practice,
no source): the block, or the switch that feels the water where something but the controller stops the pump.
"""

from __future__ import annotations

import pytest

from cyclesim.scenario.reading.load import load_text
from cyclesim.verification.by_hand import hand_tests
from cyclesim.verification.verifier import verify
from tests.own_circuit import PLANT

RULE = "own-water-still"
NO_BLOCK = ("  - {block: boiler, while: boiler_pump stopped}\n", "")
SWITCH = ("volume: 12 L", "volume: 12 L\n        flow_switch: true")
BY_HAND = (
    "power: 45 W}",
    "power: 45 W, also_started_by: [{hand_switch: [{from: 2027-01-02 00:00, lasts: 1 day, to: off}]}]}",
)
"""The circulator's hand switch is left in off: the controller still has it on."""
BURNS_ON = ("fuel: 0.1 EUR/kWh", "fuel: 0.1 EUR/kWh\n      minimum_burn: 2 min")
"""A boiler that fires for its least time whether it is still called or not."""
NO_KEEP = ("  - {keep: boiler_pump, after: boiler, lasting: 3 min}\n", "")


def edited(*edits):
    """The plant's file with parts of its text replaced."""
    text = PLANT
    for old, new in edits:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return text


def verdict(*edits, faults=0):
    """What is said of the boiler's own water in the plant, edited."""
    verified = verify(load_text(edited(*edits)), rule=RULE, faults=faults)
    [found] = [v for v in verified.verdicts if v.rule == RULE]
    return found


@pytest.mark.parametrize(
    ("defect", "twin"),
    [
        ((BURNS_ON, NO_BLOCK, NO_KEEP), (BURNS_ON, NO_BLOCK)),
        ((BURNS_ON, NO_BLOCK, NO_KEEP), (BURNS_ON, NO_KEEP)),
        ((BY_HAND,), (BY_HAND, SWITCH)),
    ],
    ids=["circulator without interlock, kept", "circulator without interlock, blocked", "left in off"],
)
def test_a_defect_is_found_and_its_twin_is_not_accused(defect, twin):
    """The story of the defect is run by the engine; the twin has none."""
    broken, sound = verdict(*defect), verdict(*twin)
    assert broken.broken
    assert broken.story.replayed == "by the engine"
    assert not sound.broken
    assert not sound.undecided
    assert sound.states > 10


def test_a_mend_is_told_and_holds():
    """The switch that feels the water is what mends a pump that somebody leaves in off."""
    mends = {mend.said: mend.holds for mend in verdict(BY_HAND).mends}
    assert mends["a flow switch in its own water that holds it off: own_water: flow_switch: true"]


def test_what_the_block_cannot_stop_is_stopped_by_the_switch():
    """With each single fault: a block believes that the circulator turns and that the boiler's contact opens;
    the switch feels the water, and stands behind the contact.
    """

    def broken_by(found):
        return {cell.faults for cell in found.cells if cell.barrier == "nothing"}

    both = {("boiler_pump does not start, or trips",), ("the contactor of boiler welds",)}
    assert both == broken_by(verdict(faults=1))
    assert set() == broken_by(verdict(SWITCH, faults=1))


def test_a_test_by_hand_tells_the_switch():
    """With the circulator isolated and heat called, the boiler stays off; without the switch it comes on, and
    the plant as drawn is told not to hold that.
    """
    with_switch, without = (hand_tests(load_text(edited(*edits))) for edits in ((SWITCH,), ()))
    [test] = [t for t in with_switch.tests if t.done == "boiler_pump"]
    [told] = [told for told in test.tells if told.barrier.kind == "own water switch"]
    assert (test.reads_s, told.breaks) == (None, (RULE,))
    assert [t.done for t in without.unheld] == ["boiler_pump"]


def test_a_breaker_of_the_circulator_alone_is_seen_by_the_switch_alone():
    """On circuits of their own, the circulator's trips and the boiler fires on; the switch holds it off."""
    apart = (
        "circuits: {hot: {breaker: 10 A, feeds: [main, boiler]}, round: {breaker: 6 A, feeds: boiler_pump}}"
    )
    circuits = ("breaker: 16 A", apart)
    trips = ("the breaker of round trips",)

    def broken_by(*edits):
        return {
            cell.faults for cell in verdict(circuits, *edits, faults=1).cells if cell.barrier == "nothing"
        }

    assert trips in broken_by()
    assert trips not in broken_by(SWITCH)


def test_a_high_limit_in_own_water_ends_no_heat_without_the_tub_s_flow():
    """Its water is turned and held at its thermostat, well below the limit, so that nothing trips: a weld
    that has it on while the tub's pump rests is told as broken, not as ended by the limit.
    """
    found = verify(load_text(edited(SWITCH)), rule="heat-without-flow", faults=1)
    [about] = [v for v in found.verdicts if v.subject == "boiler"]
    [cell] = [cell for cell in about.cells if cell.faults == ("the contactor of boiler welds",)]
    assert cell.barrier != "limit"
