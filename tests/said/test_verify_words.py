"""The one line with which a verification begins, and its matrix of faults."""

import json
from dataclasses import replace
from typing import get_args

import pytest

from cyclesim.said import verify
from cyclesim.said.page import Line
from cyclesim.said.verify import answer_of, overall, verification_values, verify_page
from cyclesim.shown.as_json import as_text
from cyclesim.verification.answer import Barrier, Cell, Mend, Verdict, Verification
from tests.said.tables import tables_of

HELD = Verdict("dry-running", "danger", "main", "", "", (), 12, broken=False)
BROKEN = replace(HELD, rule="heat-without-flow", subject="element", broken=True)
BY_FAULT = replace(HELD, rule="supply-overload", cells=(Cell(("a welded contactor",), 3, "nothing"),))
OPEN = replace(HELD, rule="lamp-without-flow", undecided="too many states")


def said(*verdicts: Verdict) -> str:
    """The line for these verdicts."""
    return overall(Verification("tub", 0, any_order=False, verdicts=verdicts))


def test_the_first_line_says_what_is_broken_and_what_is_not_decided() -> None:
    """Each rule stands once, under the worst that is known of it, however many subjects it has."""
    assert said(BROKEN, HELD, replace(HELD, subject="jets"), BY_FAULT, OPEN) == (
        "1 rule is broken: heat-without-flow; 1 rule is broken by a fault: supply-overload; 1 rule is not "
        "decided: lamp-without-flow; no modelled order of events breaks the other rule verified here."
    )
    assert "2 other rules" in said(BROKEN, HELD, replace(HELD, rule="gas-without-flow"))


def test_nothing_broken_is_no_certificate() -> None:
    """It says what was looked at, and no more."""
    assert said(HELD) == "No modelled order of events breaks the rule verified here."
    assert said() == "This plant has nothing to verify."


def test_the_answer_of_a_rule_says_what_its_matrix_says() -> None:
    """No sentence of "no modelled order" stands above a fault that breaks, opens or is ended by a limit."""
    kinds: tuple[Barrier, ...] = ("controller", "time", "limit", "nothing")
    cells = tuple(Cell((f"fault {k}",), 1, barrier) for k, barrier in enumerate(kinds))
    assert answer_of(replace(HELD, cells=cells)) == (
        "Without a fault not broken (12 states). Broken by 1 of 4 single faults: fault 3. Not decided under "
        "1 of 4 single faults: fault 1. Its high limit alone ends it under 1 of 4 single faults: fault 2."
    )
    assert answer_of(replace(HELD, cells=cells[:1])) == "No modelled order of events breaks this (12 states)."


def test_every_barrier_has_its_words() -> None:
    """The terminal, the page and the papers take them from here."""
    assert set(get_args(Barrier)) == set(verify.HELD)


def test_mends_are_offered_until_they_were_tried() -> None:
    """Where one rule was asked for and the catalogue has none, that is said in place of the command."""
    offered, none = "With --rule ID of one of them, mends", "Nothing of the catalogue mends it alone."
    for tried in (False, True):
        found = Verification("tub", 1, any_order=False, verdicts=(BY_FAULT,), mends_faults=tried)
        lines = "\n".join(str(part) for part in verify_page(found).blocks)
        assert (offered in lines, none in lines) == (not tried, tried)


def test_the_marks_say_how_an_order_alone_is_counted() -> None:
    """A story that no run can be given counts as broken; one that a run did not follow is open."""
    under_fault = Verification("tub", 1, any_order=False, verdicts=(BY_FAULT,))
    lines = " ".join(str(part) for part in verify_page(under_fault).blocks)
    assert "BROKEN: nothing holds, in a timed run or, where none can be given what happens" in lines
    assert "open: not decided, for a timed run was tried and did not break it" in lines


MARKS = {
    "controller": "interlock",
    "own switch": "own switch",
    "limit": "limit",
    "kept": "kept",
    "time": "open",
    "nothing": "BROKEN",
    "undecided": "open",
    "not needed": "-",
}
"""What each barrier reads in the matrix, from the sentence that explains its marks."""


def test_the_matrix_tells_the_barriers_of_the_json() -> None:
    """A column for each rule that has cells, a row for each single fault that any of them sees.

    Two faults have a row where they break something. Of four rules with cells the last stands in a table of
    its own; a rule without cells has no column.
    """
    barriers = get_args(Barrier)
    singles = [(f"fault {k}",) for k in range(len(barriers))]
    unseen, harmless, harmful = ("unseen",), ("fault 0", "fault 1"), ("fault 2", "fault 3")

    def cells(shift: int, pair: Barrier) -> tuple[Cell, ...]:
        """Every barrier, each rule's begun elsewhere."""
        of = {fault: barriers[(k + shift) % len(barriers)] for k, fault in enumerate(singles)}
        of |= {unseen: "not needed", harmless: "kept", harmful: pair}
        return tuple(Cell(fault, 1, barrier) for fault, barrier in of.items())

    rules = ("dry-running", "heat-without-flow", "supply-overload", "lamp-without-flow")
    pairs: tuple[Barrier, ...] = ("kept", "nothing", "kept", "controller")
    verdicts = [
        replace(HELD, rule=rule, cells=cells(k, pair))
        for k, (rule, pair) in enumerate(zip(rules, pairs, strict=True))
    ]
    verification = Verification("tub", 2, any_order=False, verdicts=(BROKEN, *verdicts))
    values = json.loads(as_text(verification_values(verification)))
    by_rule = {value["rule"]: value["cells"] for value in values["verdicts"] if value["cells"]}
    barrier = {
        (k, " and ".join(cell["faults"])): cell["barrier"]
        for k, rule_cells in enumerate(by_rule.values(), 1)
        for cell in rule_cells
    }
    seen = []
    for title, table in tables_of(verify_page(verification)):
        assert title == "What holds under each fault"
        seen.append([column.heading for column in table.columns])
        rows = [row.cells[0] for row in table.rows]
        assert rows == [*(name for (name,) in singles), "fault 2 and fault 3"]
        for row in table.rows:
            for column, cell in zip(table.columns[1:], row.cells[1:], strict=True):
                assert cell == MARKS[barrier[int(column.heading), str(row.cells[0])]]
    assert seen == [["fault", "1", "2", "3"], ["fault", "4"]]


@pytest.mark.parametrize(
    ("mend", "due"),
    [
        (Mend("x", True, 5), "then no modelled order of events breaks it (5 states)"),
        (Mend("x", True, 0), "then nothing is left that could break it"),
        (Mend("x", False, 5, never_on=True), "then it never comes on"),
        (Mend("x", False, 5), "not enough"),
        (
            Mend("x", True, 1, breaks=("stale-water (bench)",), worsens=("quiet-hours (flush)",)),
            "then no modelled order of events breaks it (1 state); but a week of January with it breaks "
            "stale-water (bench), and makes quiet-hours (flush) worse",
        ),
    ],
)
def test_a_mend_tells_what_other_rules_it_breaks_wherever_it_is_told(mend: Mend, due: str) -> None:
    """One clause for the report, the JSON and the workbench, which reads it from there."""
    broken = replace(BROKEN, mends=(mend,), cells=(replace(BY_FAULT.cells[0], mends=(mend,)),))
    found = Verification("tub", 0, any_order=False, verdicts=(broken,))
    assert f"x: {due}." in " ".join(line.text for line in verify_page(found).blocks if isinstance(line, Line))
    [told] = verification_values(found)["verdicts"]
    assert due == told["mends"][0]["comes_to"] == told["cells"][0]["mends"][0]["comes_to"]
