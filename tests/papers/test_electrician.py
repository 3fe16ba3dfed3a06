"""The electrician's numbers: currents added up by hand, settings as the file has them, what proofs miss."""

from dataclasses import replace
from pathlib import Path

import pytest

from cyclesim.decide.ranges.confidence import confidence
from cyclesim.said.page import Amount, Line, Table
from cyclesim.said.papers.collected import HandOver
from cyclesim.said.papers.electrician import BLIND
from cyclesim.scenario.blocks.heat_sources import Proof
from cyclesim.scenario.reading.load import load, load_text

PATH = Path(__file__).parents[2] / "schedules" / "walled-garden.yaml"
TEXT = PATH.read_text(encoding="utf-8")


def tables(scenario):
    """The tables of the paper, by the heading of their second column."""
    [paper] = HandOver(scenario, "", (), "2027-03-02", "0.1.0").papers(("electrician",)).papers
    return {
        block.columns[1].heading.partition("\n")[0]: block
        for block in paper.blocks
        if isinstance(block, Table)
    }


@pytest.fixture(scope="module")
def garden():
    """The tables of the walled garden."""
    return tables(load(PATH))


def test_currents_are_those_of_the_nameplates_and_their_sum(garden):
    """Element 3000 W / 230 V = 13.04 A, lights 60 / 230 = 0.26 A, main low 1.5 A: 14.80 A at most.

    Main high (7.4 A) is never beside the element, which is blocked then; with the lights it draws less.
    """
    told = garden
    amps = {row.cells[0]: row.cells[3] for row in told["kind"].rows}
    assert (
        pytest.approx({"main low": 1.5, "main high": 7.4, "element": 3000 / 230, "lights": 60 / 230}) == amps
    )
    [row] = told["at most"].rows
    assert row.cells[1] == pytest.approx(1.5 + 3000 / 230 + 60 / 230)
    assert "main low, element and lights" == row.cells[2]
    assert "within the breaker" == row.cells[3]


def test_more_than_the_breaker_is_told_in_so_many_words():
    """At 12 A the same 14.8 A are too much."""
    [row] = tables(load_text(TEXT.replace("breaker: 20 A", "breaker: 12 A")))["at most"].rows
    assert "MORE THAN THE BREAKER" == row.cells[3]


def test_settings_are_keyed_in_from_the_clock_to_the_heat(garden):
    """Each is one that the file has, in the order: clock, what protects, runs, set point."""
    rows = {str(row.cells[1]): row.cells[2] for row in garden["setting"].rows}
    names = list(rows)
    assert "clock" == names[0]
    assert "5 s" == rows["element: water has flowed before it comes on for"]
    assert "60 s" == rows["element: its pump runs on for"]
    assert "07:30 and 19:30 for 45 s" == rows["line flush: main high, every day"]
    assert Amount(37.0, "°C", 1) == rows["heating with element, main low: set point"]
    assert Amount(1.0, "K", 1) == rows["heating: starts below the set point by"]
    order = [next(k for k, name in enumerate(names) if part in name) for part in
             ("water has flowed", "rests", "frost", "filter run", "line flush", "set point")]  # fmt: skip
    assert order == sorted(order)


def test_every_means_of_proof_has_its_blind_side():
    """No word of the file's vocabulary is without one."""
    assert set(Proof.model_fields["by"].annotation.__args__) == set(BLIND)


@pytest.mark.slow
def test_the_client_is_told_how_far_the_cost_may_be_off_where_that_was_asked_for():
    """The range is that of the confidence that was given."""
    scenario = load(PATH)
    two_days = confidence(scenario, days=2, draws=0)
    one = next(e for e in two_days.estimates if e.number == "cost_of_month")
    months = [replace(one, subject=f"2027-{month:02d}", low=0.0, high=1e4) for month in range(1, 13)]
    sure = replace(two_days, estimates=(*two_days.estimates, *months))
    [paper] = HandOver(scenario, "", (), "2027-03-02", "0.1.0", sure=sure).papers(("client",)).papers
    lines = [block.text for block in paper.blocks if isinstance(block, Line)]
    assert any("(likely " in line for line in lines)
    assert not any("not asked for" in line for line in lines)
    (months,) = [b for b in paper.blocks if isinstance(b, Table) and b.rows[0].cells[0] == "a month"]
    as_run, least, most = (row.cells[1:] for row in months.rows)
    assert all(low < cost < high for low, cost, high in zip(least, as_run, most, strict=True))


def test_every_circuit_has_its_row_and_the_search_for_faults_is_named():
    """The moss cellar: 800 + 25 + 350 W at 230 V are 5.11 A on the circuit of its room, each counted once."""
    scenario = load(PATH.with_stem("moss-cellar"))
    rows = {row.cells[0]: row.cells[1] for row in tables(scenario)["at most"].rows}
    assert {"pumps", "heat", "room"} == set(rows)
    assert rows["room"] == pytest.approx((800 + 25 + 350) / 230)
    [paper] = HandOver(scenario, "", (), "2027-03-02", "0.1.0").papers(("electrician",)).papers
    lines = " ".join(block.text for block in paper.blocks if isinstance(block, Line))
    assert "Behind the residual-current device cellar: pumps." in lines
    assert "cyclesim verify FILE --faults 1 searches every one" in lines
