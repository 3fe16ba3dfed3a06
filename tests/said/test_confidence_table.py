"""The table of ranges: narrow enough, grouped, and plain about what is too close to call."""

import json
from dataclasses import asdict, replace

import pytest

from cyclesim.decide.ranges.confidence import Confidence, Estimate, Influence, Tried
from cyclesim.decide.ranges.flushes import OldWater
from cyclesim.decide.ranges.inputs import NotVaried
from cyclesim.said.confidence_table import say_confidence
from cyclesim.said.page import Page
from cyclesim.shown.as_json import as_text
from cyclesim.shown.cells import shown
from cyclesim.shown.terminal import printed
from tests.said.tables import Key, agrees, bare, hold_in_order, hold_in_us, tables_of

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
              (Influence("bore", 0.0, 1.0),)),
     Estimate("coldest_water_c", "pump_room", 4.26, 3.9, 5.1, None, False, (Influence("bore", 0.0, 1.0),))),
    (FLUSH, replace(FLUSH, leg="a_leg_with_quite_a_long_name_of_forty__ok", tub_water_at_last_jet_s=None,
                    stirred_filter_percent=None, lasts_for_5_percent_s=None)),
    (Tried("pump curve", "-7 %", "+7 %", "x"),),
    (NotVaried("check valve (pumps)", "no range: as built"),
     NotVaried("limits.run_on", "what is judged by, no input")),
)  # fmt: skip


@pytest.fixture(scope="module")
def page() -> Page:
    """The section alone."""
    made = Page()
    say_confidence(made, SURE)
    return made


@pytest.fixture(scope="module")
def text(page: Page) -> str:
    """It on a page of 80 columns."""
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
    assert "oldest water in left_bench (12.0 h)" in " ".join(text.split())
    assert "check valve (pumps)" in text
    assert "run_on" not in text


def test_80_columns(text: str) -> None:
    """No line is wider, whatever a leg is called."""
    assert max(map(len, text.splitlines())) <= 80


FLUSHES: dict[str, Key] = {
    "lasts s": "lasts_s",
    "volumes moved": "volumes",
    "in order": "in_order_percent",
    "22 tanks": "measured_tanks_percent",
    "with filter stirred": "stirred_filter_percent",
    "5 tanks": "few_tanks_percent",
    "5 % at s": "lasts_for_5_percent_s",
}


def test_every_table_tells_the_numbers_of_the_json(page: Page) -> None:
    """Ranges by the number and its subject, those that do not move as such; flushes in their order."""
    values = json.loads(as_text(asdict(SURE)))
    ranges, flushes = (table for _, table in tables_of(page))
    estimates = {estimate["subject"]: estimate for estimate in values["estimates"]}
    rows = [row for row in ranges.rows if not row.level]
    assert ["left_bench", "EUR", "line flush, left_bench", "pump_room"] == [row.about for row in rows]
    for row in rows:
        estimate = estimates[row.about]
        text, how = bare(row.cells[1], ranges.columns[1])
        assert agrees(text, estimate["value"], how)
        assert how.unit in ("EUR", ENDS_OF[estimate["number"]])
        if estimate["low"] == estimate["high"]:
            assert row.cells[2] == "the same"
        else:
            ends = shown(row.cells[2], ranges.columns[2]).split(" to ")
            assert agrees(ends[0], estimate["low"], how)
            assert agrees(ends[1], estimate["high"], how)
    hold_in_order(flushes, FLUSHES, values["flushes"])
    assert [f"{f['flush']}, {f['leg']}" for f in values["flushes"]] == [r.cells[0] for r in flushes.rows]
    assert hold_in_us(page) == 3  # the coldest water and its range


ENDS_OF = {"oldest_water_h": "h", "tub_water_at_last_jet_s": "s", "coldest_water_c": "°C", "cost": "EUR"}
