"""The client's paper: what is to be decided, no rule that is broken left out."""

from dataclasses import replace

from cyclesim.analysis.findings import Finding
from cyclesim.analysis.result import simulate
from cyclesim.said.page import Line
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
