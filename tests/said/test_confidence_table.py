"""The table of ranges: narrow enough, grouped, and plain about what is too close to call."""

from dataclasses import replace

import pytest

from cyclesim.decide.ranges.confidence import Confidence, Estimate, Influence, Tried
from cyclesim.decide.ranges.flushes import OldWater
from cyclesim.decide.ranges.inputs import NotVaried
from cyclesim.said.confidence_table import say_confidence
from cyclesim.said.page import Page
from cyclesim.shown.terminal import printed

BENCH = Estimate(
    "oldest_water_h", "left_bench", 11.94, 10.8, 13.5, 12.0, True,
    tuple(Influence(name, -1.0, 1.0) for name in ("losses of fittings", "pump curve", "bore", "a fourth")),
)  # fmt: skip
NEVER = float("inf")
FLUSH = OldWater("line flush", "left_bench", 45.0, 16.6, 2.7, 0.0, 0.004, 0.06, 0.24, 30.3)
SURE = Confidence(
    7, 9, 3, "EUR",
    (BENCH, replace(BENCH, subject="right_bench"),
     Estimate("cost", "EUR", 100.0, 100.0, 100.0, None, False, ()),
     Estimate("tub_water_at_last_jet_s", "line flush, left_bench", NEVER, 20.0, NEVER, None, False,
              (Influence("bore", 0.0, 1.0),))),
    (FLUSH, replace(FLUSH, leg="a_leg_with_quite_a_long_name_of_forty__ok", tub_water_at_last_jet_s=None,
                    stirred_filter_percent=None, lasts_for_5_percent_s=None)),
    (Tried("pump curve", "-7 %", "+7 %", "x"),),
    (NotVaried("check valve (pumps)", "no range: as built"),
     NotVaried("limits.run_on", "what is judged by, no input")),
)  # fmt: skip


@pytest.fixture(scope="module")
def text() -> str:
    """The section on a page of 80 columns."""
    page = Page()
    say_confidence(page, SURE)
    return printed(page)


def test_a_number_with_its_range_and_three_inputs(text: str) -> None:
    """Subjects that read the same are one row, and three inputs are named below it."""
    [row] = [line for line in text.splitlines() if "oldest water" in line and "11.9" in line]
    assert [
        "oldest",
        "water",
        "in",
        "left_bench",
        "and",
        "1",
        "more",
        "11.9",
        "h",
        "10.8",
        "to",
        "13.5",
    ] == row.split()
    assert "most sensitive to: losses of fittings, pump curve" in text
    assert "a fourth" not in text


def test_what_does_not_move_and_what_never_comes(text: str) -> None:
    """A number that nothing moves is the same; one that has no upper end says never."""
    assert "100 EUR" in text
    assert "the same" in text
    assert "20.0 to never" in text


def test_too_close_to_call_is_said(text: str) -> None:
    """A limit inside the range is named with the number; limits that are judged by are no inputs left out."""
    assert "Too close to call" in text
    assert "oldest water in left_bench (12.0)" in " ".join(text.split())
    assert "check valve (pumps)" in text
    assert "run_on" not in text


def test_80_columns(text: str) -> None:
    """No line is wider, whatever a leg is called."""
    assert max(map(len, text.splitlines())) <= 80
