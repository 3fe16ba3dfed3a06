"""The one line with which a verification begins."""

from dataclasses import replace
from typing import get_args

from cyclesim.said import verify
from cyclesim.said.verify import overall
from cyclesim.verification.answer import Barrier, Cell, Verdict, Verification

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


def test_every_barrier_has_its_words() -> None:
    """The terminal, the page and the papers take them from here."""
    assert set(get_args(Barrier)) == set(verify.HELD)
