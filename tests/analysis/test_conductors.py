"""What cables carry and lose, by hand, as the run, the rule and the electrician's paper tell it."""

from collections.abc import Callable

import pytest

from cyclesim.analysis.conductors import conducted
from cyclesim.analysis.findings import Breach
from cyclesim.analysis.history import History
from cyclesim.analysis.result import measure
from cyclesim.analysis.rules import RULES, check, judge
from cyclesim.errors import InputError
from cyclesim.said.page import Line, Table
from cyclesim.said.papers.collected import HandOver
from cyclesim.scenario.blocks.cables import gauge_area_m2, read_conductor
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.simulation.assembly import Assembly

Run = Callable[..., History]
Build = Callable[..., Scenario]
ONE = ("breaker: 20 A", "breaker: 20 A, cable: {length: 30 m, area: 4 mm2}")
TO_MAIN = ("tariff:", "cables_to: {main: {length: 10 m, area: 1.5 mm2}}, tariff:")
RHO = 0.0225  # ohm mm2/m, IEC 60364-5-52 annex G, quoted from memory
LOW, LIGHTS, ELEMENT, HIGH = 1.5, 1.0, 10.0, 7.0  # A, off the plates


def lost(amps: float, watts: float, length: float, mm2: float) -> float:
    """2 (rho L/S cos + lambda L sin) I, written out again; cos off the plate."""
    cos = min(1.0, watts / (230.0 * amps))
    return 2 * length * amps * (RHO / mm2 * cos + 0.00008 * (1 - cos**2) ** 0.5)


SHARED_LOW = lost(LOW, 300, 30, 4) + lost(LIGHTS, 230, 30, 4) + lost(ELEMENT, 2300, 30, 4)
"""Main high is never beside the element, so that low with element and lights is the most: 12.5 A."""


def test_what_comes_to_the_end_of_each_cable(scenario: Build) -> None:
    """The circuit's with 12.5 A; main's with its own 7 A after 8 A, or 1.5 A after 12.5 A, the more."""
    circuit, main = conducted(Assembly(scenario(ONE, TO_MAIN)))
    assert ("supply", "main") == (circuit.to, main.to)
    assert pytest.approx((12.5, SHARED_LOW)) == (circuit.carries_a, circuit.drop_v)
    by_low = SHARED_LOW + lost(LOW, 300, 10, 1.5)
    by_high = lost(HIGH, 1500, 30, 4) + lost(LIGHTS, 230, 30, 4) + lost(HIGH, 1500, 10, 1.5)
    assert pytest.approx(max(by_low, by_high)) == main.drop_v
    assert pytest.approx(main.drop_v / 230) == main.share


def test_a_cable_that_loses_too_much_is_told_with_what_would_do(run: Run) -> None:
    """At 60 m it is twice as much, 8.3 V or 3.6 %; with 3 % allowed, 4 mm2 lose too much and 6 mm2 do not."""
    limit = ("tariff:", "drop_at_most: 3 %, tariff:")
    far = (ONE[0], ONE[1].replace("30 m", "60 m"))

    def told(*changes: tuple[str, str]) -> list[Breach]:
        history = run(*changes)
        return [b for b in judge(RULES["voltage-drops"], history) if isinstance(b, Breach)]

    (breach,) = told(far, limit)
    assert ("supply", pytest.approx(2 * SHARED_LOW)) == (breach.subject, breach.worst)
    assert "3.6 % of at most 3 %" in breach.text
    assert "6 mm2 would do: an electrician decides" in breach.mend
    assert [] == told(far)
    assert [] == told(far, (limit[0], limit[1].replace("3 %", "3.7 %")))
    _, checked = check(run())
    assert "voltage-drops" in checked.nothing, "without a cable there is nothing to judge"


def test_the_most_that_a_run_lost(run: Run) -> None:
    """Element and lights from 12:00 on, with main low: 12.5 A; before that no more than 8 A."""
    history = run(
        ONE,
        pumps={"main": [(0, "high"), (11 * 3600, "low")]},
        sources={"element": [(12 * 3600, "firing")]},
    )
    circuit = measure(history).energy.circuits["supply"]
    assert pytest.approx(SHARED_LOW) == circuit.most_drop_v
    assert pytest.approx(100 * SHARED_LOW / 230) == circuit.most_drop_percent
    assert measure(run()).energy.circuits["supply"].most_drop_v is None


def test_what_is_lost_while_a_motor_starts(run: Run) -> None:
    """Main high starts with 30 A beside 1 A of lights: 2 rho L/S = 0.3375 ohm to the circuit's end, 10.5 V.

    10 m of 1.5 mm2 to the pump alone are 0.3 ohm more: 9 V of its 30 A.
    """
    starts = ("current: 7 A", "current: 7 A, starting_current: 30 A")
    high = {"main": [(10 * 3600, "high")]}
    for cables, due_v in (((ONE,), 0.3375 * 31.0), ((ONE, TO_MAIN), 0.3375 * 31.0 + 0.3 * 30.0)):
        history = run(*cables, starts, pumps=high)
        circuit = measure(history).energy.circuits["supply"]
        assert pytest.approx(due_v) == circuit.most_starting_drop_v
        assert pytest.approx(100.0 * due_v / 230.0) == circuit.most_starting_drop_percent
        *_, to_the_end = conducted(history.plant)
        assert pytest.approx(due_v) == to_the_end.starting_v
    assert measure(run(ONE, pumps=high)).energy.circuits["supply"].most_starting_drop_v is None
    (untold,) = conducted(run(ONE).plant)
    assert untold.starting_v is None


def test_the_electrician_reads_figures_to_check(scenario: Build) -> None:
    """Each cable with its length, size, current and loss; and that no residual-current device is named."""

    def paper(*changes: tuple[str, str]) -> tuple[list[Table], str]:
        [told] = HandOver(scenario(*changes), "", (), "2027-03-02", "0.1.0").papers(("electrician",)).papers
        tables = [b for b in told.blocks if isinstance(b, Table) and b.columns[0].heading == "cable to"]
        return tables, " ".join(b.text for b in told.blocks if isinstance(b, Line))

    (table,), lines = paper(ONE)
    (row,) = table.rows
    share = 100 * SHARED_LOW / 230
    due = ("supply", 30.0, "4 mm2 copper", 12.5, SHARED_LOW, share)
    assert due == tuple(pytest.approx(cell) if isinstance(cell, float) else cell for cell in row.cells[:6])
    assert "within 5 %" == row.cells[6]
    assert "a figure for an electrician to check, and no design" in lines
    assert "No residual-current device is named for supply" in lines
    tables, lines = paper()
    assert [] == tables
    assert "a figure for an electrician" not in lines


@pytest.mark.parametrize(("gauge", "mm2"), [(12, 3.31), (10, 5.26), (8, 8.37), (0, 53.5), (-3, 107.2)])
def test_gauges_by_their_table(gauge: int, mm2: float) -> None:
    """ASTM B258's rounded areas, quoted from memory; 4/0 is 0.46 in thick, which gives 107.2 mm2 by hand."""
    assert gauge_area_m2(gauge) * 1e6 == pytest.approx(mm2, rel=1.5e-3)


def test_sizes_as_they_are_printed() -> None:
    """Millimetres squared and gauges."""
    assert ("2.5 mm2", pytest.approx(2.5e-6)) == read_conductor("2.5 mm²")
    assert "12 AWG" == read_conductor("AWG 12").name
    assert read_conductor("4/0 AWG").area_m2 == pytest.approx(107.2e-6, rel=1e-3)


@pytest.mark.parametrize(
    ("change", "path", "said"),
    [
        ((ONE[0], ONE[1].replace("4 mm2", "4")), "supply.cable.area", "e.g. 2.5 mm2 or 12 AWG"),
        ((ONE[0], ONE[1].replace("4 mm2", "4000 mm2")), "supply.cable.area", "from 0.5 to 300 mm2"),
        ((ONE[0], ONE[1].replace("4 mm2", "24 AWG")), "supply.cable.area", "from 20 AWG to 4/0 AWG"),
        ((ONE[0], ONE[1].replace("4 mm2", "4 mm2, of: coper")), "supply.cable.of", "did you mean 'copper'?"),
        ((TO_MAIN[0], TO_MAIN[1].replace("main", "mian")), "supply.cables_to.mian", "did you mean 'main'?"),
        (
            (
                "breaker: 20 A",
                "cable: {length: 3 m, area: 4 mm2}, "
                "circuits: {a: {breaker: 20 A, feeds: [main, element, lights]}}",
            ),
            "supply.cable",
            "each circuit has its cable",
        ),
        ((ONE[0], ONE[1].replace("30 m,", "0 m,")), "supply.cable.length", "more than 0"),
        (("tariff:", "drop_at_most: 30 %, tariff:"), "supply.drop_at_most", "at most 20 %"),
    ],
)
def test_cables_that_are_none(scenario: Build, change: tuple[str, str], path: str, said: str) -> None:
    """Each at its key, with what is expected."""
    with pytest.raises(InputError) as refused:
        scenario(change)
    (fault,) = refused.value.faults
    assert path == fault.path
    assert said in str(fault)


def test_a_circuit_of_which_all_is_always_on(scenario: Build) -> None:
    """Lights of 230 W and a pump of the sump of 460 W: 1 + 2 A, each counted once, with 10 m more to one."""
    apart = (
        "breaker: 20 A,",
        "circuits: {water: {breaker: 20 A, feeds: [main, element]}, room: {breaker: 6 A, "
        "feeds: [lights, sump_pump], cable: {length: 30 m, area: 4 mm2}}}, "
        "cables_to: {sump_pump: {length: 10 m, area: 1.5 mm2}},",
    )
    sump = ("drain: true,", "drain: true, sump_pump: {power: 460 W, float: true, backed_up: true},")
    room, pump = conducted(Assembly(scenario(apart, sump)))
    shared = lost(1.0, 230, 30, 4) + lost(2.0, 460, 30, 4)
    assert ("room", pytest.approx((3.0, shared))) == (room.to, (room.carries_a, room.drop_v))
    assert ("sump_pump", pytest.approx(2.0)) == (pump.to, pump.carries_a)
    assert pytest.approx(shared + lost(2.0, 460, 10, 1.5)) == pump.drop_v
