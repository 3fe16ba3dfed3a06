"""A mend that holds its rule and breaks another, or makes one worse, says so, and is not the first."""

import cyclesim
from cyclesim.said.page import Line
from cyclesim.said.verify import verify_page


def test_a_flush_taken_away_leaves_its_leg_stale(build):
    """The seats lie behind a valve that only a flush of the jets moves, and people bathe while it runs."""
    pumps = "  pumps:\n    jets: {max_head: 15 m, max_flow: 550 L/min, power: 1500 W}\n"
    scenario = build(
        ("  pumps:\n", pumps),
        ("    return:", "    seats: {pipe: 63 PN10, length: 8 m, zone: soil}\n    return:"),
        ("stop, return, tub]]", "stop, return, tub], [tub, seats, jets, tub]]"),
        ("pump: main high, start", "pump: jets, start"),
        ("  heating: {with", '  bathing: [{start: "19:15", lasts: 1 h, people: 2}]\n  heating: {with'),
    )
    (verdict,) = cyclesim.verify(scenario, rule="flush-onto-people").verdicts
    (away,) = [mend for mend in verdict.mends if "take it out" in mend.said]
    assert away.holds
    assert away.breaks == ("never-flushed (seats)",)


def test_a_mend_of_the_wiring_that_makes_another_rule_worse_comes_last(build):
    """An element that its own thermostat starts whatever runs: with a flow switch of its own it still draws
    its current beside the pump at high, and has no run-on; without the contact there is nothing of that.
    """
    own = "also_started_by: [{thermostat: {watches: room, starts_below: 18 degC, stops_above: 20 degC}}]"
    scenario = build(("proof: {by: flow_switch}", f"proof: {{by: flow_switch}}, {own}"))
    verification = cyclesim.verify(scenario, rule="heat-without-flow")
    first, *others = [mend for mend in verification.verdicts[0].mends if mend.holds]
    assert first.said == "disconnect the contacts that start element without the controller"
    assert ((), ()) == (first.breaks, first.worsens)
    assert others[0].said == "give element a flow switch of its own: own_flow_switch: 5 s"
    assert {"no-run-on (element)", "supply-overload (supply)"} == {*others[0].breaks, *others[0].worsens}
    told = [block.text for block in verify_page(verification).blocks if isinstance(block, Line)]
    assert any("makes no-run-on (element) and supply-overload (supply) worse" in line for line in told), told
