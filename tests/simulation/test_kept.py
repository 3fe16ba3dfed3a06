"""What a plant keeps from run to run, and that no run can tell."""

from datetime import date
from pathlib import Path

import pytest

from cyclesim.scenario.reading.load import load
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.engine import simulate_trace
from cyclesim.simulation.programme import Programme

SCHEDULES = Path(__file__).parents[2] / "schedules"


@pytest.mark.parametrize("name", ["cedar-yard", "south-slope"])
def test_a_plant_that_has_run_before_gives_the_very_ages_of_a_new_one(name: str) -> None:
    """After a run of another month, which met the patterns of flow at other times, each row is the same."""
    scenario = load(SCHEDULES / f"{name}.yaml")
    old, new, programme = Assembly(scenario), Assembly(scenario), Programme(scenario)
    simulate_trace(old, programme, days=2, start=date(scenario.place.year, 7, 3))
    assert any(known for known in old.met_flows)
    assert not new.met_flows
    again, first = (simulate_trace(plant, programme, days=3) for plant in (old, new))
    for leg, rows in first.ages.items():
        for column in rows.record._fields:
            assert (getattr(rows, column) == getattr(again.ages[leg], column)).all(), (leg, column)
