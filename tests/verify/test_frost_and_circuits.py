"""Frost protection that comes to nothing, and circuits that trip one at a time."""

import pytest

from cyclesim.analysis.outages import had_it_failed
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.programme import Programme
from cyclesim.verification.calendar_order import Calendar
from cyclesim.verification.dead_ends import dead_ends
from cyclesim.verification.faults import FaultyPlant, faults_of
from cyclesim.verification.frost_ends import KIND
from cyclesim.verification.timed import year_of
from cyclesim.verification.verifier import verify

FROST = (
    "  heating: {with",
    "  frost_protection: {watches: room, starts_below: 4 degC, stops_above: 6 degC, pump: main low}\n"
    "  heating: {with",
)
TWO = (
    "breaker: 20 A",
    "circuits: {water: {breaker: 10 A, feeds: main}, heat: {breaker: 16 A, feeds: element}}",
)
BEHIND_ONE = (TWO[0], TWO[1].replace("10 A,", "10 A, rcd: cellar,").replace("16 A,", "16 A, rcd: cellar,"))
LEG = "    return: {pipe: 63 PN10, length: 8 m, zone: soil}\n"
JETS_BLOCK = [
    (LEG, f"{LEG}    drain: {{pipe: 63 PN10, length: 6 m, zone: soil}}\n"),
    ("  equipment:", "    jets: {max_head: 9 m, max_flow: 300 L/min, power: 600 W}\n  equipment:"),
    ("return, tub]]", "return, tub], [tub, drain, jets, tub]]"),
    ("  filter_runs: [", '  filter_runs: [{pump: jets, start: "09:00", lasts: 5 h}, '),
    (
        "  - {block: element, unless: flow",
        "  - {block: main low, while: jets running}\n  - {block: element, unless: flow",
    ),
]
"""While jets run, nothing but the second speed of main can be had."""
WAITS = ("schedule:\n", "controller: {after_power_cut: wait}\nschedule:\n")


def ends(scenario, year=None):
    """What is said of frost protection that comes to nothing."""
    plant, programme = Assembly(scenario), Programme(scenario)
    found = dead_ends(plant, programme, Calendar(programme), year)
    return [end.said for end in found if end.kind == KIND]


def test_frost_protection_that_works_is_not_accused(build):
    """Neither is a plant that has none."""
    assert [] == ends(build()) == ends(build(FROST))


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ([WAITS], "after a power cut the controller waits for a person"),
        (JETS_BLOCK, "main low is blocked while jets running"),
        ([TWO], "main hangs on the circuit water, which may trip alone"),
        (
            [BEHIND_ONE],
            "main hangs on the circuit water, which may trip alone, or with all that is behind the "
            "residual-current device cellar",
        ),
        (
            [
                ("    surface: 3 m2\n", "    surface: 3 m2\n    level_switch: true\n"),
                ("  line_flushes", "  low_water: [{from: 2027-01-07 03:30, lasts: 9 h}]\n  line_flushes"),
            ],
            "the water is low, and the level switch keeps the pumps off",
        ),
        (
            [("      rest: 75 s", "      rest: 75 s\n      also_started_by: [{speed: low, hand_switch: "
              "[{from: 2027-01-06 12:00, lasts: 9 h, to: 'off'}]}]")],
            "the hand switch of main is off",
        ),
    ],
    ids=["waits", "blocked", "circuit", "circuits behind one device", "low water", "hand switch"],
)  # fmt: skip
def test_frost_protection_that_comes_to_nothing(build, changes, why):
    """Each planted, each told by its cause; without a year no hours are made up."""
    (said,) = ends(build(FROST, *changes))
    assert said == f"{why}; how long the plant then has was not worked out"


def test_the_hours_until_ice_are_those_of_a_power_cut(build):
    """As the report has them: a plant whose water stands cools as one without power does."""
    cold = ("mean: 12 degC", "mean: 2 degC")
    scenario = build(FROST, WAITS, cold)
    year = year_of(Assembly(scenario), Programme(scenario))
    cut = had_it_failed(year.plant, year.trace)
    first, hours = min(((n, h) for n, h in cut.until_zero_h.items() if h is not None), key=lambda one: one[1])
    (said,) = ends(scenario, year)
    assert f"{first} is at 0 degC after {hours:.0f} h" in said


def test_a_circuit_trips_alone(build):
    """Without the pump's circuit no water moves; one circuit for all is a power cut, and no fault."""
    plant, programme = Assembly(build(TWO)), Programme(build(TWO))
    tripped = {f.subject: f for f in faults_of(plant, programme) if f.kind == "circuit"}
    assert {"water", "heat"} == set(tripped)
    assert [] == [f for f in faults_of(Assembly(build()), Programme(build())) if f.kind == "circuit"]
    assert frozenset({"main"}) == FaultyPlant(plant, frozenset({tripped["water"]})).broken.dead
    (heat,) = verify(build(TWO), faults=1, rule="heat-without-flow").verdicts
    held = {cell.faults[0]: cell.barrier for cell in heat.cells}
    assert "controller" == held["the breaker of water trips"], "the flow switch sees that the pump stands"
    unproven = build(TWO, ("proof: {by: flow_switch}, high_limit: 60 degC", "proof: {by: pump_contact}"))
    (heat,) = verify(unproven, faults=1, rule="heat-without-flow").verdicts
    (cell,) = (cell for cell in heat.cells if cell.faults == ("the breaker of water trips",))
    assert ("nothing", "by the engine") == (cell.barrier, cell.story.replayed)


def test_a_circuit_that_the_file_cuts_needs_no_fault(build):
    """On any day: a contactor that stays closed says yes to still water, a flow switch does not."""
    cut = (
        "  heating: {with",
        "  outages: [{from: 2027-01-07 03:30, lasts: 1 h, circuit: water}]\n  heating: {with",
    )
    contact = ("proof: {by: flow_switch}, high_limit: 60 degC", "proof: {by: pump_contact}")
    told = {}
    for name, changes in {"told": [TWO, cut, contact], "twin": [TWO, cut], "uncut": [TWO, contact]}.items():
        (told[name],) = verify(build(*changes), rule="heat-without-flow").verdicts
    assert told["told"].broken
    assert "by the engine" == told["told"].story.replayed
    assert any("the circuit water loses its power" in step for step in told["told"].story.steps)
    assert not told["twin"].broken
    assert not told["uncut"].broken, "there it takes a fault"


def test_circuits_behind_one_device_trip_together(build):
    """The residual-current device takes both, and is told beside each breaker."""
    plant, programme = Assembly(build(BEHIND_ONE)), Programme(build(BEHIND_ONE))
    said = {f.sentence: f for f in faults_of(plant, programme) if f.kind == "circuit"}
    assert len(said) == 3
    both = FaultyPlant(plant, frozenset({said["the residual-current device cellar trips"]}))
    assert frozenset({"main", "element"}) == both.broken.dead
