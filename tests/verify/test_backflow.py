"""Water that runs backwards: through a pump without a check valve, and in a file that writes it so."""

import pytest

from cyclesim.analysis.history import History
from cyclesim.analysis.rules import RULES, check_plant, judge
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.engine import simulate_trace
from cyclesim.simulation.programme import Programme
from cyclesim.simulation.wired import water_at
from cyclesim.verification.faults import FaultyPlant, faults_of
from cyclesim.verification.verifier import verify

LEG = "    return: {pipe: 63 PN10, length: 8 m, zone: soil}\n"
ONE_LOOP = "network: [[tub, suction, main, filter, element, stop, return, tub]]"
JETS = "    jets: {max_head: 9 m, max_flow: 300 L/min, power: 600 W, rest: 75 s}\n"
TEE = (
    "junctions: [tee]\n  network: [[tub, suction, tee], [tee, main, filter, element, stop, return, tub], "
    "[tee, jets, spout, tub]]"
)
ON_A_TEE = [
    (LEG, f"{LEG}    spout: {{pipe: 63 PN10, length: 8 m, zone: soil}}\n"),
    ("  equipment:", f"{JETS}  equipment:"),
    (ONE_LOOP, TEE),
    ("  line_flushes: [", '  line_flushes: [{pump: jets, start: "09:00", lasts: 60 s, name: jets flush}, '),
    ("needs_flow: 60 L/min", "needs_flow: 40 L/min"),
]
VALVE = ("      changeover: 2 s", "      changeover: 2 s\n      check_valve: true")
FROM_ITS_END = (
    "junctions: [mid]\n  network: [[tub, suction, main, filter, mid], [tub, return, stop, element, mid]]"
)
TURNED_ROUND = [(ONE_LOOP, FROM_ITS_END)]


def backwards(scenario):
    """What breaks the rule, with the flow that is told."""
    found, _ = check_plant(Assembly(scenario), Programme(scenario))
    return {f.subject: f.worst for f in found if f.rule == "flow-backwards"}


def test_water_that_comes_back_through_a_pump_is_told(build):
    """Jets draw through the still main, against its filter and element; a check valve in main ends it.

    By hand: one way joins main, filter and element, so that all three carry the same.
    """
    found = backwards(build(*ON_A_TEE))
    assert {"filter", "element"} == set(found)
    assert found["filter"] == pytest.approx(found["element"])
    assert {} == backwards(build(*ON_A_TEE, VALVE))
    assert {} == backwards(build())


def test_a_flow_switch_says_no_to_water_that_runs_backwards(build):
    """59 L/min backwards are more than the 40 that it asks for, and still no flow."""
    plant = Assembly(build(*ON_A_TEE))
    back = plant.duty(("stopped", "on"))
    assert back.flow_m3_s("element") * 60_000 < -40.0
    assert not plant.has_flow("element", back)
    assert not plant.sensed("element", back)
    assert not plant.is_still("element", back)
    assert plant.sensed("element", plant.duty(("low", "stopped")))


def test_where_water_runs_backwards_by_place(build):
    """One bit a place: the element's water comes back, wherever it stands in the list; not in a run."""
    plant = Assembly(build(*ON_A_TEE))
    back, run = plant.duty(("stopped", "on")), plant.duty(("low", "stopped"))
    assert (0, 0, 0b11) == water_at(plant, ["element", "element"], back)
    assert (0b11, 0, 0) == water_at(plant, ["element", "element"], run)


def test_heat_with_water_that_runs_backwards_says_so(build):
    """A thermostat of its own runs the element while the jets draw through it."""
    own = "also_started_by: [{thermostat: {watches: room, starts_below: 30 degC, stops_above: 31 degC}}], "
    proof = ("proof: {by: flow_switch}, high_limit: 60 degC", f"{own}proof: {{by: flow_switch}}")
    scenario = build(*ON_A_TEE, proof)
    plant, programme = Assembly(scenario), Programme(scenario)
    history = History(plant, programme, simulate_trace(plant, programme, days=1))
    causes = {breach.cause for breach in judge(RULES["heat-without-flow"], history)}
    assert "its own thermostat runs it with water running backwards through it" in causes
    assert "its own thermostat runs it with no water flowing" in causes


def test_duty_says_it_before_all_else(build):
    """Ahead of the pump that stands still."""
    problems = Assembly(build(*ON_A_TEE)).duty(("stopped", "on")).duty.problems
    assert problems[0].startswith("water runs backwards in filter, element, stop and return")


def test_a_check_valve_that_leaks_is_a_way_back(build):
    """The fault brings the flow of the plant without the valve, and nothing is turned round by it."""
    plant, programme = Assembly(build(*ON_A_TEE, VALVE)), Programme(build(*ON_A_TEE, VALVE))
    (leak,) = (fault for fault in faults_of(plant, programme) if fault.kind == "check valve")
    leaking, without = FaultyPlant(plant, frozenset({leak})), Assembly(build(*ON_A_TEE))
    flows = [one.duty(("stopped", "on")).flow_m3_s("element") for one in (leaking, without)]
    assert flows[0] == pytest.approx(flows[1])
    assert not leaking.has_flow("element", leaking.duty(("stopped", "on")))


def test_a_loop_that_is_written_from_its_end_is_not_accused(build):
    """The water's own way counts, not the order in which the file has it: the element fires as before."""
    plant = Assembly(build(*TURNED_ROUND))
    assert frozenset({"element", "return"}) == plant.written_against
    low = plant.duty(("low",))
    assert low.flow_m3_s("element") < 0.0
    assert plant.forward_m3_s("element", low) == pytest.approx(low.flow_m3_s("filter"))
    assert plant.has_flow("element", low)
    assert {} == backwards(build(*TURNED_ROUND))
    assert not verify(build(*TURNED_ROUND), rule="heat-without-flow").is_broken
