"""What is said of a heat pump that may run in colder air than its data sheet tells."""

from datetime import date
from pathlib import Path

import pytest

from cyclesim.analysis.result import simulate
from cyclesim.said.beyond_sheet import say_beyond_sheet
from cyclesim.said.page import Line, Page
from cyclesim.scenario.reading.load import load

SHIPPED = Path(__file__).parents[2] / "schedules"
BEYOND = (
    "heat_pump may run in air down to -15 °C, and its rated lines begin at -7 °C: what it gives below that "
    "is the model's, not the data sheet's."
)


def lines(page: Page) -> list[str]:
    """Its lines."""
    return [block.text for block in page.blocks if isinstance(block, Line)]


@pytest.mark.parametrize(("plant", "told"), [("orchard-wall", [BEYOND]), ("high-valley", [])])
def test_a_sheet_that_is_left_is_told_before_anything_runs(plant: str, told: list[str]) -> None:
    """One sheet begins at -7 degC, the other where its heat pump stands still, at -15 degC."""
    page = Page()
    say_beyond_sheet(page, load(SHIPPED / f"{plant}.yaml"))
    assert told == lines(page)


@pytest.mark.parametrize(
    ("air", "told"), [("-10", [f"{BEYOND} The air was so cold for 24 h of these days."]), ("-5", [])]
)
def test_a_run_tells_for_how_long_a_sheet_was_left(air: str, told: list[str]) -> None:
    """A day of still air at -10 degC, and one at -5 degC, which the sheet has."""
    still = (f"mean={air} degC", "seasonal_swing=0 K", "daily_swing=0 K")
    sets = [f"place.weather.{one}" for one in still]
    result = simulate(load(SHIPPED / "orchard-wall.yaml", sets=sets), days=1, start=date(2027, 1, 10))
    page = Page()
    say_beyond_sheet(page, result.scenario, result.trace)
    assert told == lines(page)
