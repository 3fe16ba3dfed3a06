"""The client's paper: what is to be decided, no rule that is broken left out."""

from dataclasses import replace

from cyclesim.analysis.findings import Finding
from cyclesim.analysis.result import simulate
from cyclesim.said.page import Line, Table
from cyclesim.said.papers.client import client
from cyclesim.scenario.reading.load import load_text
from tests.own_circuit import PLANT


def found(rule, subject, cause):
    """A finding made up here."""
    return Finding(
        rule, "comfort", subject, cause, 1, None, None, "", "", (), "mend it", "Sentence.", "source"
    )


def test_of_each_broken_rule_something_is_told():
    """Four causes of three rules: the second cause of the first rule hides none of the others."""
    made = (
        found("cold-at-end", "bathing", "the water cools"),
        found("cold-at-end", "bathing", "it was cold at the start"),
        found("left-without-flush", "bench", "with the stop shut nothing flushes it"),
        found("cold-at-session", "bathing", "heating is still at it"),
    )
    run = simulate(load_text(PLANT), days=7)
    paper = client(replace(run, findings=made))
    lines = [block.text for block in paper.blocks if isinstance(block, Line)]
    ways = [line for line in lines if line.endswith("One way: mend it.")]
    assert [f"{one.subject}: {one.cause}. One way: mend it." for one in (made[0], *made[2:])] == ways
    assert f"Besides: bathing: {made[1].cause}." in lines


def test_what_the_run_says_nothing_of_is_told_to_the_client_too():
    """Water 7 h old and no rule broken are no word of what kills germs in it."""
    care = "\nwater_care: {disinfectant: {residual: 3 mg/L, half_life: [3 h, 20 h], at_least: 1 mg/L}}\n"
    for text, told in ((PLANT, True), (PLANT + care, False)):
        run = simulate(load_text(text), days=1)
        paper = client(replace(run, findings=()))
        table = next(block for block in paper.blocks if isinstance(block, Table))
        assert told == (("Not included", "disinfectant") in [row.cells for row in table.rows])
        lines = [block.text for block in paper.blocks if isinstance(block, Line)]
        assert any(line.endswith("By these rules nothing has to be changed.") for line in lines)
