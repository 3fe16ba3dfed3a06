"""Tuned programmes: against every programme of a small plant, and as they say of themselves."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import time
from itertools import combinations
from pathlib import Path

import pytest

from cyclesim.analysis.result import simulate
from cyclesim.decide.sweeps.outcome import Outcome
from cyclesim.decide.sweeps.sweep import HERE, How, job, run
from cyclesim.decide.tuning import space as space_module
from cyclesim.decide.tuning import wishes
from cyclesim.decide.tuning.judged import refused_for
from cyclesim.decide.tuning.programmes import Daily, Entry, own, scheduled
from cyclesim.decide.tuning.space import FILTER, FLUSH
from cyclesim.decide.tuning.tuning import Choice, Tuning, _recommended, tune
from cyclesim.said.page import Table
from cyclesim.said.tune import tune_page, tune_values
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.forms.fields import PumpSpeed
from cyclesim.scenario.reading.load import load
from cyclesim.shown.terminal import printed

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
    clocks = [time(hour) for hour in (0, 6, 12, 18)]
    for lasts_h in (6, 12):
        for filtering in clocks:
            for count in (1, 2):
                for flushing in combinations(clocks, count):
                    yield Daily(
                        (
                            Entry(FILTER, PumpSpeed("circulator", "on"), lasts_h * 3600, (filtering,)),
                            Entry(FLUSH, PumpSpeed("jets", "on"), 45, flushing),
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


def test_of_what_costs_alike_the_one_that_is_heard_least_is_recommended(tuned: Tuning) -> None:
    """Within 1 % of the least cost: by minutes heard, by starts, by age; hours run decide nothing."""
    like = tuned.best[0]
    pump = next(name for name, device in like.outcome.devices.items() if device.kind == "pump")

    def choice(name: str, cost: float, hours: float, starts: int, loud_min: float, age_h: float) -> Choice:
        device = replace(like.outcome.devices[pump], running_h=hours, starts=starts)
        leg = replace(next(iter(like.outcome.legs.values())), oldest_water_h=age_h)
        more = {"devices": {pump: device}, "legs": {"leg": leg}, "loud_min": loud_min, "cost": cost}
        return replace(like, name=name, outcome=replace(like.outcome, **more))

    cheapest = choice("cheapest", 100.0, 4.0, 2, 30.0, 8.0)
    quiet = choice("quiet", 100.9, 9.0, 9, 10.0, 12.0)
    fewer_starts = choice("fewer starts", 100.9, 9.5, 8, 10.0, 13.0)
    fresher = choice("fresher", 100.95, 9.9, 8, 10.0, 11.0)
    silent_but_dear = choice("silent but dear", 101.1, 1.0, 1, 0.0, 1.0)
    offered = [cheapest, silent_but_dear]
    for better in (quiet, fewer_starts, fresher):
        offered.append(better)
        assert better == _recommended(tuple(offered))
    assert cheapest == _recommended((cheapest, silent_but_dear))
    assert _recommended(()) is None


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


# -- margins and minimums ----------------------------------------------------------------------------------

WISHES = "tuning={margin: 20 %, filter_runs_a_day: 2, flushes_a_day: 1, filter_hours: 2 h}"


def test_the_edge_of_a_limit_is_a_trade_off_and_never_first() -> None:
    """Without wishes the cheapest heads the report, with water 18 h old where 19 h are allowed.

    With 20 % of margin water is no older than 0.8 x 19 = 15.2 h; the other is shown beside it.
    """
    edge, found = tuned_at("limits.water_age=19 h"), tuned_at("limits.water_age=19 h", WISHES)
    assert edge.recommended is not None
    assert edge.recommended.outcome.oldest_water_h > 17.0
    assert found.recommended is not None
    assert found.recommended.lacks == ()
    assert found.recommended.outcome.oldest_water_h <= 15.2
    outside = [choice for choice in found.best if choice.lacks]
    assert edge.recommended.programme in [choice.programme for choice in outside]
    old = [choice for choice in outside if choice.outcome.oldest_water_h > 15.2]
    assert old
    assert all("19 h allowed" in choice.lacks[0] for choice in old)
    assert found.best[0].lacks == ()


def test_minimums_are_no_more_than_the_controller_takes() -> None:
    """Two filter runs are wished and one window is there; no flush where it takes none."""
    one = wishes.wished(space_module.space(small(WISHES)))
    assert {FILTER: 1, FLUSH: 1} == one.least
    none = wishes.wished(space_module.space(small(WISHES, "controller.flushes_a_day=0")))
    assert {FILTER: 1, FLUSH: 0} == none.least
    assert one.wanted_m3 == pytest.approx(1.2 * 2.0 * one.plant.volume_m3)


def test_where_no_programme_keeps_the_margins_it_says_what_the_nearest_lacks() -> None:
    """Four times a day and two flushes leave 12 h between; 60 % of 13 h is 7.8 h, which nothing keeps."""
    found = tuned_at("limits.water_age=13 h", "tuning={margin: 40 %, filter_hours: 0 s}")
    assert found.recommended is not None
    assert "13 h allowed" in found.recommended.lacks[0]
    text = printed(tune_page(found))
    assert "No programme keeps what is asked for; the nearest one" in text
    assert "Key this in\n" not in text


def test_the_tables_of_a_tuning_tell_the_numbers_of_the_json(tuned: Tuning) -> None:
    """Trade-offs, and what stands beside them: a year's cost, hours, starts and noise a day, oldest water."""
    values = tune_values(tuned)
    days = values["days"]
    tables = {block.title[:4]: block for block in tune_page(tuned).blocks if isinstance(block, Table)}
    told = {"Best": values["best"], "Besi": [values["own"], *values["rules_of_thumb"]]}
    for title, choices in told.items():
        rows = [row for row in tables[title].rows if not row.level]
        assert len(rows) == min(len(choices), 8)
        for row, choice in zip(rows, choices, strict=len(choices) <= 8):
            out = choice["outcome"]
            assert row.cells[1] == pytest.approx(out["cost"] * 365.0 / days)
            pumps = [device for device in out["devices"].values() if device["kind"] == "pump"]
            assert row.cells[2] == pytest.approx(sum(pump["running_h"] for pump in pumps) / days)
            assert row.cells[3] == pytest.approx(sum(pump["starts"] for pump in pumps) / days)
            assert row.cells[4] == pytest.approx(out["loud_min"] / days)
