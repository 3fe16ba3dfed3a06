"""What would save most: which changes a file has room for, and what each does, run from the edited file."""

from __future__ import annotations

from pathlib import Path

import pytest

from cyclesim.analysis.result import simulate
from cyclesim.decide.sizing.savings import Savings, Tried, changes, savings
from cyclesim.said.page import Line, Page, Table
from cyclesim.said.savings_table import say_savings
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.reading.load import load

SCHEDULES = Path(__file__).resolve().parents[2] / "schedules"
GARDEN = SCHEDULES / "walled-garden-circulator.yaml"
DAYS = 3
SETS = {
    "insulate every pipe with 30 mm": tuple(
        f"plant.legs.{leg}.insulation=30 mm"
        for leg in ("drain", "return", "suction_left", "suction_right", "left_bench", "right_bench")
    ),
    "a cover of 100 mm of foam that fits well": ("plant.tub.cover.foam=100 mm",),
    "insulate the shell with 100 mm": ("plant.tub.shell.insulation=100 mm",),
    "keep the water 1 K cooler": ("schedule.heating.keep_at=36 degC",),
}
"""By hand: what somebody would write into the file, which has 9 mm, 60 mm, 50 mm and 37 degC."""


def garden(*sets: str) -> Scenario:
    """A shipped plant."""
    return load(GARDEN, sets=sets)


def test_each_change_saves_what_the_edited_file_saves() -> None:
    """Through the loader, a way of its own: as much less cost and energy; what saves most comes first."""
    found = savings(garden(), days=DAYS)
    told = simulate(garden(), days=DAYS).metrics.energy
    assert set(SETS) == {tried.change for tried in found.tried}
    for tried in found.tried:
        edited = simulate(garden(*SETS[tried.change]), days=DAYS).metrics.energy
        assert pytest.approx(told.cost - edited.cost, abs=1e-9) == tried.cost_less
        assert pytest.approx(told.energy_kwh - edited.energy_kwh, abs=1e-9) == tried.energy_kwh_less
    saved = [tried.cost_less for tried in found.tried]
    assert sorted(saved, reverse=True) == saved
    assert pytest.approx(told.cost) == found.cost


def test_nothing_is_tried_that_the_file_has_already() -> None:
    """All four sizes reached: the colder set point alone is left, in the plan's steps too."""
    sets = [one for some in list(SETS.values())[:3] for one in some]
    plan = "schedule.heating.plan=[{days: [friday], from: '18:00', until: '22:00', keep_at: 39 degC}]"
    (left,) = changes(garden(*sets, plan))
    heating = left.scenario.schedule.heating
    assert heating is not None
    assert ("keep the water 1 K cooler", 36.0, [38.0]) == (
        left.sentence,
        heating.keep_at_c,
        [step.keep_at_c for step in heating.plan],
    )


def test_a_tub_without_a_cover_is_offered_one() -> None:
    """And a spare that is capped is left as it is: nothing flows in it."""
    spare = "plant.legs.spare={pipe: 63 PN10, length: 2 m, zone: soil, dead_end: true}"
    offered = {change.sentence: change.scenario for change in changes(garden("plant.tub.cover=none", spare))}
    cover = offered["a cover of 100 mm of foam that fits well"].plant.tub.cover
    assert cover != "none"
    assert (0.1, "good") == (cover.foam_m, cover.fit)
    legs = offered["insulate every pipe with 30 mm"].plant.legs
    assert (0.0, 0.03) == (legs["spare"].insulation_m, legs["drain"].insulation_m)


def test_what_a_change_would_break_is_said() -> None:
    """A row for each, the sum it is of, and a caution."""
    page = Page()
    tried = (Tried("a lid", 12.4, 80.0, ("stale-water",)), Tried("a rug", -0.6, -3.0, ()))
    say_savings(page, Savings(365, "EUR", 900.0, tried))
    (table,) = [block for block in page.blocks if isinstance(block, Table)]
    assert [("a lid", 12.4, 80.0), ("a rug", -0.6, -3.0)] == [row.cells for row in table.rows]
    assert "What each change saves in these 365 days, of 900 EUR" == table.title
    assert ["a lid would break stale-water."] == [b.text for b in page.blocks if isinstance(b, Line)]
