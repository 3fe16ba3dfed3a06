"""Programmes ranked by a few days of each season, against what the whole span makes of them."""

import math
from dataclasses import replace
from datetime import time
from pathlib import Path

import pytest

from cyclesim.decide.sweeps.sweep import HERE, How, job, run, sweep
from cyclesim.decide.tuning import ranked, tuning
from cyclesim.decide.tuning.programmes import Daily, own, scheduled
from cyclesim.decide.tuning.ranked import Marks, beside, marks, ranks, rough, surely_beaten, surely_dearer
from cyclesim.decide.tuning.space import FILTER
from cyclesim.decide.tuning.tuning import tune
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.reading.load import load

SCHEDULES = Path(__file__).parents[2] / "schedules"
DAYS = 90


def filtering_at(scenario: Scenario, *hours: int) -> Scenario:
    """The scenario with its filter runs started at these hours."""
    entries = [
        replace(entry, starts=tuple(map(time, hours))) if entry.does == FILTER else entry
        for entry in own(scenario).entries
    ]
    return scheduled(scenario, Daily(tuple(entries)))


@pytest.fixture(scope="module")
def circulator() -> Scenario:
    """The shipped plant with two pumps."""
    return load(SCHEDULES / "walled-garden-circulator.yaml")


def test_some_days_tell_how_programmes_differ(circulator: Scenario) -> None:
    """Cost, hours and starts of the second from the first's, each within 2 % of its own whole span."""
    plans = [filtering_at(circulator, *hours) for hours in ((3, 15), (5, 22))]
    tasks = [job(plan, DAYS) for plan in plans]
    first, second = (marks(out) for out in sweep(tasks))
    told = beside(first, *rough(tasks, HERE))
    assert told.cost == pytest.approx(second.cost, rel=0.02)
    assert told.pump_h == pytest.approx(second.pump_h, rel=0.02)
    assert told.oldest_water_h == pytest.approx(second.oldest_water_h, abs=1.0)
    assert abs(first.cost - second.cost) > 0.05 * first.cost, "they do differ"


def test_what_runs_alike_is_run_once(circulator: Scenario, monkeypatch: pytest.MonkeyPatch) -> None:
    """Two limits on turnovers are one run; progress counts all that are asked for."""
    made, steps, in_parts = list[object](), list[tuple[int, int]](), ranked._in_parts
    monkeypatch.setattr(ranked, "_in_parts", lambda task: made.append(task) or in_parts(task))
    limits = [circulator.limits.model_copy(update={"turnovers_per_day": n}) for n in (1.0, 2.0)]
    tasks = [job(circulator.model_copy(update={"limits": each}), DAYS) for each in limits]
    tasks.append(job(filtering_at(circulator, 5, 22), DAYS))
    one, other, third = rough(tasks, How(on_run=lambda *step: steps.append(step)))
    assert 2 == len(made)
    assert one == other != third
    assert [(2, 3), (3, 3)] == steps


def test_a_short_span_is_run_whole() -> None:
    """Of eighty days sixteen and a warm-up of four are a quarter."""
    assert not ranks(80)
    assert ranks(81)


def test_a_difference_is_put_upon_what_is_known() -> None:
    """100 - 12, 10 + 0, 20 + 2, 5 - 5; what never moves in both is never, and in one of them too."""
    known, days = Marks(100.0, 10.0, 20.0, 5.0, 12.0), Marks(102.0, 11.0, 20.0, 5.0, 11.0)
    assert beside(known, days, Marks(90.0, 11.0, 22.0, 0.0, math.inf)) == Marks(
        88.0, 10.0, 22.0, 0.0, math.inf
    )
    never = known._replace(oldest_water_h=math.inf)
    assert beside(never, never, never) == never


def test_only_what_is_surely_worse_is_left_out() -> None:
    """Dearer by more than 2 %, and better by less than 1 % in everything else; also where costs are gains."""
    mine = Marks(100.0, 100.0, 100.0, 100.0, 100.0)
    assert surely_beaten(mine, [mine._replace(cost=97.9)])
    assert not surely_beaten(mine, [mine._replace(cost=98.1), mine])
    assert surely_beaten(mine, [Marks(90.0, 100.9, 100.9, 100.9, 100.9)])
    for name in Marks._fields[1:]:
        assert not surely_beaten(mine, [mine._replace(cost=90.0, **{name: 101.1})]), name
    assert surely_dearer(mine._replace(cost=-97.9), mine._replace(cost=-100.0))
    assert not surely_dearer(mine._replace(cost=-98.1), mine._replace(cost=-100.0))
    assert not surely_dearer(mine._replace(cost=0.0), mine._replace(cost=0.0))


@pytest.mark.slow
def test_ranking_leaves_out_nothing_that_a_tuning_would_tell(monkeypatch: pytest.MonkeyPatch) -> None:
    """The same programmes come first, and each limit costs the same, as where every programme runs whole."""
    scenario = load(SCHEDULES / "walled-garden-circulator.yaml", sets=["controller.time_step=1 h"])
    found = tune(scenario, days=DAYS)
    assert found.left_out > 5
    monkeypatch.setattr(tuning, "ranks", lambda _: False)
    whole = tune(scenario, days=DAYS)
    assert whole.left_out == 0
    assert found.tried == whole.tried
    assert found.recommended == whole.recommended
    assert found.best == whole.best
    assert [one.choice for one in found.limits] == [one.choice for one in whole.limits]
    assert run(job(scheduled(scenario, found.best[0].programme), DAYS)) == found.best[0].outcome
