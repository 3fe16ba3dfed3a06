"""A plant with few times a day to choose from, tuned in seconds."""

from pathlib import Path

import pytest

from cyclesim.decide.sweeps.sweep import HERE, How
from cyclesim.decide.tuning import space as space_module
from cyclesim.decide.tuning.tuning import Tuning, tune
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.reading.load import load

SCHEDULES = Path(__file__).parents[2] / "schedules"
DAYS = 6
SMALL = (
    "schedule.heating=null",  # so that the cost is that of the pumps, which can be counted out
    "controller.time_step=6 h",
    "controller.flush_lengths=[45 s]",
    "controller.filter_windows=1",
    "controller.flushes_a_day=2",
    "limits.warm_stagnation=5 days",
    "tuning={margin: 0 %, filter_runs_a_day: 0, flushes_a_day: 0, filter_hours: 0 s}",
    "schedule.quiet_hours.from=23:00",
    "schedule.quiet_hours.to=03:00",
)


def small(*more: str) -> Scenario:
    """The circulator's plant with four times a day to choose from, and no heating."""
    return load(SCHEDULES / "walled-garden-circulator.yaml", sets=[*SMALL, *more])


def tuned_at(*more: str, days: int = DAYS, how: How = HERE) -> Tuning:
    """A tuning on a coarse grid also where the controller's step is lifted."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(space_module, "USUAL_STEP_S", 3 * 3600)
        return tune(small(*more), days=days, how=how)
