"""Rules of one instant: judged on snapshots made by hand, and told by the spells of a trace."""

from collections.abc import Callable

import pytest

from cyclesim.analysis import state_rules as rules
from cyclesim.analysis.findings import is_broken
from cyclesim.analysis.history import History
from cyclesim.analysis.rules import check_plant, of_kind
from cyclesim.analysis.supply import Load
from cyclesim.analysis.truth import Snapshot, SourceTruth
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.reading.load import load_text
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.programme import Programme
from tests.analysis.by_hand import told
from tests.analysis.conftest import WINTER
from tests.sunny import AT_NIGHT, OWN_PUMP

Build = Callable[..., Scenario]
Run = Callable[..., History]
COLD = SourceTruth(hot=False, flow="none", past_grace=False, flow_lasted=False)
USUAL = SourceTruth(hot=True, flow="enough", past_grace=False, flow_lasted=True)


def seen(element: SourceTruth, *contacts: str) -> Snapshot:
    """A snapshot of the element and of the pump's closed contacts."""
    state = "firing" if element.hot else "off"
    return Snapshot((("main", "low"), ("element", state)), (("main", contacts),), (("element", element),))


@pytest.mark.parametrize("rule", [r.judge for r in of_kind("state").values()])
def test_usual_heating_breaks_no_rule_of_state(scenario: Build, rule: Callable[..., object]) -> None:
    """The element fires on a lasting flow, one contact is closed, 12.5 A of 20 A are drawn."""
    assert [] == list(rule(seen(USUAL, "low"), Assembly(scenario())))  # type: ignore[call-overload]


@pytest.mark.parametrize(
    ("flow", "cause"), [("none", "it is on with no water flowing"), ("low", "it is on with less water")]
)
def test_heat_without_flow_has_two_causes(scenario: Build, flow: str, cause: str) -> None:
    """No flow at all, or less than the source needs, once the grace is over."""
    plant = Assembly(scenario())
    truth = SourceTruth(hot=True, flow=flow, past_grace=True, flow_lasted=False)
    (breach,) = rules.heat_without_flow(seen(truth), plant)
    assert breach.cause.startswith(cause)
    assert [] == list(rules.heat_without_flow(seen(truth._replace(past_grace=False)), plant))
    assert [] == list(rules.heat_before_proof(seen(truth), plant)), "heat-without-flow speaks already"


def test_heat_before_proof(scenario: Build) -> None:
    """The flow is there, but has not lasted for the proof time."""
    truth = USUAL._replace(flow_lasted=False)
    (breach,) = rules.heat_before_proof(seen(truth), Assembly(scenario()))
    assert "element" == breach.subject
    assert [] == list(rules.heat_before_proof(seen(truth._replace(hot=False)), Assembly(scenario())))


@pytest.mark.parametrize(
    ("changes", "mend"),
    [
        ([("by: flow_switch", "by: none"), ("  - {block: element, unless: flow proven, for: 5 s}\n", "")],
         "give it a flow switch"),
        ([("  - {block: element, unless: flow proven, for: 5 s}\n", "")], "wire its proof"),
        ([("by: flow_switch", "by: pump_contact")], "a pump contact knows nothing of water"),
        ([("for: 5 s", "for: 2 s")], "let the flow be proven for longer"),
    ],
)  # fmt: skip
def test_the_mend_fits_what_is_wired(scenario: Build, changes: list[tuple[str, str]], mend: str) -> None:
    """What would mend heat before proof depends on the means of proof and on the interlock that is there."""
    (breach,) = rules.heat_before_proof(seen(USUAL._replace(flow_lasted=False)), Assembly(scenario(*changes)))
    assert mend in breach.mend


def test_a_flush_without_jets_comes_out_at_nobody(scenario: Build) -> None:
    """The pump that feeds jets or a spout flushes onto people; the collectors' pump beside it does not."""
    spout = ("plant.legs.return.outlet_above_water=300 mm",)
    sunny = Assembly(load_text(OWN_PUMP + AT_NIGHT, sets=spout))
    for plant, pump, onto in (
        (Assembly(scenario()), "main", True),
        (sunny, "main", True),
        (sunny, "sun_pump", False),
    ):
        flushed = seen(COLD)._replace(people=True, flushing=((pump, "line flush"),))
        causes = [f"it runs {pump} while people are in the water"] if onto else []
        assert causes == [b.cause for b in rules.flush_onto_people(flushed, plant)]


def test_both_speeds_at_once(scenario: Build) -> None:
    """Two closed contacts of one pump."""
    (breach,) = rules.both_speeds_at_once(seen(COLD, "low", "high"), Assembly(scenario()))
    assert "main" == breach.subject


def test_supply_overload_names_what_is_on_and_the_block_to_wire(scenario: Build) -> None:
    """High 7 A, element 10 A, lights 1 A: 18 A are too much for 16 A and not for 20 A."""
    snapshot = seen(USUAL, "high")
    assert [] == list(rules.supply_overload(snapshot, Assembly(scenario())))
    (breach,) = rules.supply_overload(snapshot, Assembly(scenario(("breaker: 20 A", "breaker: 16 A"))))
    assert (18.0, "A") == (pytest.approx(breach.worst), breach.unit)
    assert "main high, element and lights at once" == breach.cause
    assert "{block: element, while: main high, because: the breaker}" in breach.mend


def test_of_two_sources_the_less_preferred_waits(scenario: Build) -> None:
    """No pump to shed, 10 A for 10 A and 8 A: the element waits for the unit, which heating prefers."""
    plant = Assembly(scenario(*WINTER))
    loads = [Load("element", "on", 10.0, False), Load("unit", "on", 8.0, False)]
    due = "wire {block: element, while: unit firing, because: the breaker}"
    assert due == rules._overload_mend(loads, 18.0, 10.0, plant)


def test_no_block_on_the_pump_that_heating_itself_asks_for(scenario: Build) -> None:
    """Heating on high: a block while main high would keep the element off for good."""
    changes = [
        ("breaker: 20 A", "breaker: 16 A"),
        ("[element], pump: main low", "[element], pump: main high"),
    ]
    (breach,) = rules.supply_overload(seen(USUAL, "high"), Assembly(scenario(*changes)))
    assert "block" not in breach.mend
    assert "a larger circuit, of at least 18 A, a smaller element or a smaller pump" == breach.mend


def test_a_block_that_would_not_be_enough_is_not_proposed(scenario: Build) -> None:
    """Element and lights alone draw 11 A: on a 10 A breaker no block helps."""
    (breach,) = rules.supply_overload(
        seen(USUAL, "high"), Assembly(scenario(("breaker: 20 A", "breaker: 10 A")))
    )
    assert "block" not in breach.mend


def test_a_current_just_above_the_breaker_reads_above_it(scenario: Build) -> None:
    """18 A on a breaker of 17.99 A: two decimals, and the circuit to lay is rounded up."""
    changes = [("breaker: 20 A", "breaker: 17.99 A"), ("current: 7 A", "current: 17 A")]
    (breach,) = rules.supply_overload(seen(COLD, "high"), Assembly(scenario(*changes)))
    assert "18.00 A of 17.99 A" == breach.text
    assert "at least 18 A" in breach.mend


@pytest.mark.parametrize(
    ("breaker_a", "causes"),
    [
        (11.0, []),
        (10.9, ["element and lights at once"]),
        (7.9, ["element and lights at once", "main high and lights at once"]),
        (0.9, ["lights alone"]),
    ],
)
def test_what_is_too_much_alone_is_known_without_a_run(scenario: Build, breaker_a: float, causes) -> None:
    """The element draws 10 A, high 7 A, low 1.5 A, and lights 1 A at all times."""
    built = scenario(("breaker: 20 A", f"breaker: {breaker_a} A"))
    found, _ = check_plant(Assembly(built), Programme(built))
    assert causes == [finding.cause for finding in found if finding.rule == "supply-overload"]
    assert is_broken(found) == bool(causes)


def test_what_nothing_asks_for_is_not_too_much(scenario: Build) -> None:
    """Flushes on low: the plate says what high would draw, and nobody ever has it on."""
    on_low = "{pump: main high, start", "{pump: main low, start"
    built = scenario(("breaker: 20 A", "breaker: 7.9 A"), on_low)
    found, _ = check_plant(Assembly(built), Programme(built))
    assert ["element and lights at once"] == [f.cause for f in found if f.rule == "supply-overload"]


def test_a_run_that_never_fires_the_element_tells_its_circuit_too(run: Run) -> None:
    """As check does, and once."""
    history = run(("breaker: 20 A", "breaker: 10.9 A"), pumps={"main": [(100, "low")]})
    (breach,) = told(history, "supply-overload")
    assert ("element and lights at once", None) == (breach.cause, breach.at_s)


def test_the_breaker_may_be_loaded_to_its_rating(scenario: Build) -> None:
    """Exactly 18 A on an 18 A breaker is no overload."""
    assert [] == list(
        rules.supply_overload(seen(USUAL, "high"), Assembly(scenario(("breaker: 20 A", "breaker: 18 A"))))
    )


def test_heat_without_flow_counts_once_the_grace_is_over(run: Run) -> None:
    """The pump stops at 1000 s and coasts for 1 s; heat goes on to 1060 s: 54 s beyond the grace of 5 s."""
    history = run(
        pumps={"main": [(100, "low"), (1000, "stopped")]},
        sources={"element": [(200, "firing"), (1060, "off")]},
    )
    (breach,) = told(history, "heat-without-flow")
    assert (1006.0, 54.0, "54 s") == (breach.at_s, breach.lasts_s, breach.text)


def test_a_gap_within_the_grace_is_no_heat_without_flow(run: Run) -> None:
    """Heat that ends 5 s after the water did is within the grace."""
    history = run(
        pumps={"main": [(100, "low"), (1000, "stopped")]},
        sources={"element": [(200, "firing"), (1006, "off")]},
    )
    assert [] == told(history, "heat-without-flow")


def test_heat_together_with_the_pump_is_before_proof(run: Run) -> None:
    """A source that fires in the second in which its pump starts: 5 s on a flow that has not lasted."""
    history = run(pumps={"main": [(100, "low")]}, sources={"element": [(100, "firing"), (900, "off")]})
    (breach,) = told(history, "heat-before-proof")
    assert (100.0, 5.0) == (breach.at_s, breach.lasts_s)
    later = run(pumps={"main": [(100, "low")]}, sources={"element": [(105, "firing"), (900, "off")]})
    assert [] == told(later, "heat-before-proof")


def test_slow_contactors_close_both_speeds(run: Run) -> None:
    """Contactors that take 3 s to open, and a changeover of 2 s: both are closed for 1 s, at each change."""
    steps = [
        (100, "low"),
        (200, "changing"),
        (202, "high"),
        (300, "changing"),
        (302, "low"),
        (400, "stopped"),
    ]
    slow = ("changeover: 2 s", "changeover: 2 s\n      opens_within: 3 s")
    assert [(202.0, 1.0), (302.0, 1.0)] == [
        (b.at_s, b.lasts_s) for b in told(run(slow, pumps={"main": steps}), "both-speeds-at-once")
    ]
    assert [] == told(run(pumps={"main": steps}), "both-speeds-at-once")


def test_overload_is_one_spell_though_states_change_in_it(run: Run) -> None:
    """Two snapshots with the same loads, the water first unproven, make one spell."""
    history = run(
        ("breaker: 20 A", "breaker: 16 A"),
        pumps={"main": [(100, "high"), (500, "stopped")]},
        sources={"element": [(100, "firing"), (400, "off")]},
    )
    (breach,) = told(history, "supply-overload")
    assert (100.0, 300.0, pytest.approx(18.0)) == (breach.at_s, breach.lasts_s, breach.worst)
