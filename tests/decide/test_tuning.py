"""Tuned programmes: against every programme of a small plant, and as they say of themselves."""

from collections.abc import Iterator
from itertools import combinations
from pathlib import Path

import pytest

from cyclesim.analysis.result import simulate
from cyclesim.decide.sweeps.outcome import Outcome
from cyclesim.decide.sweeps.sweep import HERE, How, job, run
from cyclesim.decide.tuning import space as space_module
from cyclesim.decide.tuning.judged import refused_for
from cyclesim.decide.tuning.programmes import Daily, Entry, own, scheduled
from cyclesim.decide.tuning.space import FILTER, FLUSH
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
    "schedule.quiet_hours.from=23:00",
    "schedule.quiet_hours.to=03:00",
)


def small(*more: str) -> Scenario:
    """The circulator's plant with four times a day to choose from, and no heating."""
    return load(SCHEDULES / "walled-garden-circulator.yaml", sets=[*SMALL, *more])


@pytest.fixture(scope="module")
def tuned() -> Tuning:
    """Water no older than 16 h."""
    return tuned_at("limits.water_age=16 h")


def tuned_at(*more: str, days: int = DAYS, how: How = HERE) -> Tuning:
    """A tuning on a coarse grid also where the controller's step is lifted."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(space_module, "USUAL_STEP_S", 3 * 3600)
        return tune(small(*more), days=days, how=how)


def every() -> Iterator[Daily]:
    """Every programme of one filter run and one or two flushes that the small controller takes."""
    clocks = ["00:00", "06:00", "12:00", "18:00"]
    for lasts_h in (6, 12):
        for filtering in clocks:
            for count in (1, 2):
                for flushing in combinations(clocks, count):
                    yield Daily(
                        (
                            Entry(FILTER, "circulator", lasts_h * 3600, (filtering,)),
                            Entry(FLUSH, "jets", 45, flushing),
                        )
                    )


def test_the_recommended_is_the_cheapest_of_all_that_hold(tuned: Tuning) -> None:
    """Every programme that can be keyed in is run; those that hold are compared by hand."""
    scenario = small("limits.water_age=16 h")
    before = run(job(scenario, DAYS))
    held = {}
    for programme in every():
        found = run(job(scheduled(scenario, programme), DAYS))
        if not refused_for(found, before, tuned.standing):
            held[programme] = found
    assert held
    assert tuned.recommended is not None
    assert min(out.cost for out in held.values()) == pytest.approx(tuned.recommended.outcome.cost, rel=0.01)
    assert tuned.best[0].outcome.cost == min(out.cost for out in held.values())
    assert tuned.bound.flushes == min(programme.count(FLUSH) for programme in held)


def test_what_is_recommended_runs_as_it_was_told(tuned: Tuning) -> None:
    """The same numbers come from the scenario with the programme in it."""
    chosen = tuned.recommended
    assert chosen is not None
    result = simulate(scheduled(tuned.scenario, chosen.programme), days=DAYS)
    assert result.metrics.energy.cost == chosen.outcome.cost
    assert own(result.scenario) == chosen.programme
    assert not [f for f in result.findings if f.rule in ("stale-water", "quiet-hours", "too-few-turnovers")]


def test_none_of_the_best_is_beaten(tuned: Tuning) -> None:
    """By another of them, in everything that they are compared by."""

    def marks(out: Outcome) -> tuple[float, ...]:
        return out.cost, out.pump_h, out.pump_starts, out.loud_min, out.oldest_water_h

    for one, other in combinations([choice.outcome for choice in tuned.best], 2):
        assert any(a < b for a, b in zip(marks(one), marks(other), strict=True))
        assert any(a > b for a, b in zip(marks(one), marks(other), strict=True))


def test_every_limit_that_is_loosened_costs_nothing_more(tuned: Tuning) -> None:
    """What held still holds, so that the cheapest is no dearer."""
    loosened = [one for one in tuned.limits if one.about.tried in ("any", "none", "32 h")]  # type: ignore[union-attr]
    assert len(loosened) >= 4
    for one in loosened:
        assert one.choice is not None
        assert one.choice.outcome.cost <= tuned.best[0].outcome.cost


def test_two_processes_find_the_same(tuned: Tuning) -> None:
    """In the same order."""
    again = tuned_at("limits.water_age=16 h", how=How(workers=2))
    assert again.best == tuned.best
    assert again.limits == tuned.limits


def test_rules_of_thumb_stand_beside_it(tuned: Tuning) -> None:
    """Those without a flush leave the jets' water where it is."""
    assert len(tuned.thumbs) == 3
    assert any(f.rule in ("never-flushed", "stale-water") for f in tuned.thumbs[-1].refused)


def test_where_quiet_hours_leave_no_placing_that_is_said() -> None:
    """Of the four times of day only noon is loud, and the water may wait for thirteen hours."""
    quiet = ("schedule.quiet_hours.from=17:00", "schedule.quiet_hours.to=07:00")
    found = tuned_at("limits.water_age=13 h", *quiet, days=2)
    assert found.recommended is None
    assert found.best == ()
    assert any("quiet hours" in one.text for one in found.obstacles)
    assert found.nearest is not None
    assert found.nearest.refused


def test_a_plant_of_which_nothing_can_be_tuned_says_so() -> None:
    """A controller whose times fill no day."""
    from cyclesim.errors import CycleSimError

    with pytest.raises(CycleSimError, match="time_step"):
        tune(small("controller.time_step=7 min"), days=1)
    with pytest.raises(ValueError, match="at least one day"):
        tune(small(), days=0)
