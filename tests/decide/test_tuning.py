"""Tuned programmes: against every programme of a small plant, and as they say of themselves."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import time
from itertools import combinations
from pathlib import Path

import pytest

from cyclesim.analysis.result import simulate
from cyclesim.decide.sweeps import sweep as sweep_module
from cyclesim.decide.sweeps.outcome import Broken, Outcome
from cyclesim.decide.sweeps.sweep import How, job, run
from cyclesim.decide.tuning import placed, wishes
from cyclesim.decide.tuning import space as space_module
from cyclesim.decide.tuning.judged import refused_for
from cyclesim.decide.tuning.placing import Bound, Order
from cyclesim.decide.tuning.programmes import Daily, Entry, moved, own, scheduled
from cyclesim.decide.tuning.space import FILTER, FLUSH
from cyclesim.decide.tuning.tuning import Choice, Tuning, _recommended, tune
from cyclesim.said.flush_lengths import none_is_long_enough
from cyclesim.said.not_coming import not_every
from cyclesim.said.tune import reasons, tune_page, tune_values
from cyclesim.scenario.forms.fields import PumpSpeed
from cyclesim.scenario.forms.pumping import Pumping
from cyclesim.scenario.reading.load import load
from cyclesim.shown.terminal import printed
from tests.decide.coarse import DAYS, SCHEDULES, small, tuned_at
from tests.decide.tuning_tables import hold_tuning


@pytest.fixture(scope="module")
def tuned() -> Tuning:
    """Water no older than 16 h."""
    return tuned_at("limits.water_age=16 h")


def alone(pump: str) -> Pumping:
    """A pump of one speed by itself."""
    return Pumping((PumpSpeed(pump, "on"),))


def every() -> Iterator[Daily]:
    """Every programme of one filter run and one or two flushes that the small controller takes."""
    clocks = [time(hour) for hour in (0, 6, 12, 18)]
    for lasts_h in (6, 12):
        for filtering in clocks:
            for count in (1, 2):
                for flushing in combinations(clocks, count):
                    yield Daily(
                        (
                            Entry(
                                FILTER,
                                alone("circulator"),
                                lasts_h * 3600,
                                (filtering,),
                            ),
                            Entry(FLUSH, alone("jets"), 45, flushing),
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


def test_what_was_placed_and_run_is_neither_placed_nor_run_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The second tuning only reads; a placement that is kept in another form is searched for anew."""
    how = How(keep=tmp_path / "runs.jsonl")
    first = tuned_at("limits.water_age=16 h", days=2, how=how)
    searched: list[object] = []
    place = placed._place
    monkeypatch.setattr(placed, "_place", lambda asked: searched.append(asked) or place(asked))
    monkeypatch.setattr(sweep_module, "traced", lambda _: pytest.fail("it is run again"))
    again = tuned_at("limits.water_age=16 h", days=2, how=how)
    assert tune_values(first) == tune_values(again)
    assert searched == []
    monkeypatch.setattr(placed, "_as_values", lambda *_: {"runs": [[99, 0]]})
    other = How(keep=tmp_path / "others.jsonl")
    here = space_module.space(small("limits.water_age=16 h"))
    asked = [(here, Order.of(here))]
    one = placed.all_placed(asked, other)
    assert one == placed.all_placed(asked, other)
    assert 2 == len(searched)


def test_rules_of_thumb_stand_beside_it(tuned: Tuning) -> None:
    """Those without a flush leave the jets' water where it is."""
    assert len(tuned.thumbs) == 3
    assert any(f.rule in ("never-flushed", "stale-water") for f in tuned.thumbs[-1].refused)


def test_no_run_is_moved_into_another() -> None:
    """Of 22:00 and 00:45, an hour each, 23:45 is free and 22:45 is not: both would make 1.75 h of two."""
    free = ("schedule.quiet_hours=null", "limits.water_age=5 days", "controller.filter_windows=2")
    space = space_module.space(small("controller.time_step=15 min", *free))
    filters = Entry(FILTER, alone("circulator"), 3600, (time(0, 45), time(22, 0)))
    flush = Entry(FLUSH, alone("jets"), 45, (time(12),))
    found = {entry.clocks for tried in moved(space, Daily((filters, flush))) for entry in tried.entries}
    assert ("22:00", "23:45") in found
    assert ("22:00", "22:45") not in found
    assert ("00:45", "23:00") in found
    assert ("00:00", "00:45") not in found


@pytest.fixture(scope="module")
def stuck() -> Tuning:
    """Of the four times of day only noon is loud, and the water may wait for thirteen hours."""
    quiet = ("schedule.quiet_hours.from=17:00", "schedule.quiet_hours.to=07:00")
    return tuned_at("limits.water_age=13 h", *quiet, days=2)


def test_where_quiet_hours_leave_no_placing_that_is_said(stuck: Tuning) -> None:
    """What stands in the way, and what the nearest still breaks."""
    assert stuck.recommended is None
    assert stuck.best == ()
    assert any("quiet hours" in one.text for one in stuck.obstacles)
    assert stuck.nearest is not None
    assert stuck.nearest.refused


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
    hold_tuning(found)


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


def test_every_table_tells_the_numbers_of_the_json(tuned: Tuning, stuck: Tuning) -> None:
    """What to key in, trade-offs, what stands beside them and what limits cost; and what would make room."""
    assert ["Key", "Best", "Beside", "What"] == hold_tuning(tuned)
    assert ["Beside", "Which"] == hold_tuning(stuck)


# -- what cannot all be had ----------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def too_short() -> Tuning:
    """Two-speed pump, whose filter runs reach every leg; the only flush on offer is too short for any."""
    sets = ("controller.time_step=2 h", "controller.flush_lengths=[5 s]", "controller.filter_windows=2")
    wish = WISHES.replace("2 h", "4 h")
    scenario = load(SCHEDULES / "walled-garden.yaml", sets=[*sets, "schedule.heating=null", wish])
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(space_module, "USUAL_STEP_S", 3 * 3600)
        return tune(scenario, days=2)


def test_the_nearest_is_what_lacks_least_of_what_is_wished(too_short: Tuning) -> None:
    """Two hours twice a day lack the flush alone; less filtering is cheaper, and lacks that besides."""
    found = too_short.recommended
    assert found is not None
    assert ("no line flushes a day, 1 wished",) == found.lacks
    assert found is too_short.best[0] or found.outcome.cost <= 1.01 * too_short.best[0].outcome.cost
    shorter = [choice for choice in too_short.best if len(choice.lacks) > 1]
    assert shorter
    assert min(choice.outcome.cost for choice in shorter) < found.outcome.cost
    assert "Key it in only if you accept this: no line flushes a day, 1 wished." in printed(
        tune_page(too_short)
    )
    hold_tuning(too_short)


def test_that_every_flush_on_offer_is_too_short_is_told(too_short: Tuning) -> None:
    """5 s at most; how long tub water takes is worked out in test_plant_rules. 60 s are enough."""
    text = " ".join(printed(tune_page(too_short)).split())
    assert "No flush on offer is long enough: at main high tub water takes " in text
    assert "; a flush lasts 2 times that or more, and the controller takes 5 s at most." in text
    longer = load(SCHEDULES / "walled-garden.yaml", sets=["controller.flush_lengths=[5 s, 60 s]"])
    assert [] == list(none_is_long_enough(replace(too_short, scenario=longer)))


def test_the_fewest_flushes_are_what_the_limits_need_not_what_is_wished(too_short: Tuning) -> None:
    """Filter runs reach every leg, so that none is needed, and no programme has fewer than the bound."""
    assert 0 == too_short.bound.flushes
    text = " ".join(printed(tune_page(too_short)).split())
    assert "No flush is needed" in text
    assert "1 flush is asked for a day all the same (tuning: in the file)" in text
    unasked = replace(too_short, scenario=load(SCHEDULES / "walled-garden.yaml"))
    text = " ".join(printed(tune_page(unasked)).split())
    assert "1 flush is asked for a day all the same (usual; tuning: in the file asks for other)" in text
    assert "of filtering (usual; tuning: in the file asks for other)" in text
    assert "gap to the bound is -" not in text
    wishes_words = wishes.in_words(space_module.space(small(WISHES)))
    assert "at least 1 filter run and 1 line flush a day" in wishes_words


def test_what_has_fewer_flushes_than_the_bound_says_why(tuned: Tuning) -> None:
    """The bound keeps the margins; what does not may have fewer."""
    chosen = tuned.recommended
    assert chosen is not None
    more = replace(tuned, bound=Bound(chosen.programme.count(FLUSH) + 1, closed=True), at_bound=None)
    text = " ".join(printed(tune_page(more)).split())
    assert "The programme above has 1 fewer: it goes nearer to the limits than is asked for." in text


def test_a_run_that_something_else_keeps_off_is_told(tuned: Tuning) -> None:
    """Also where the file's own programme fares alike, so that it is no reason to refuse it."""
    chosen = tuned.recommended
    assert chosen is not None
    assert not any("Not every" in reason for reason in reasons(tuned, chosen))
    kept_off = Broken(
        "demand-not-served", "comfort", "line flush", "frost protection stands above it", 155, ""
    )
    with_it = replace(chosen, outcome=replace(chosen.outcome, findings=(kept_off,)))
    own_too = replace(tuned.own, outcome=replace(tuned.own.outcome, findings=(kept_off,)))
    (told,) = (r for r in reasons(replace(tuned, own=own_too), with_it) if "Not every" in r)
    assert (
        "Not every line flush comes, or comes whole: frost protection stands above it, 155 times in 6 days"
        in told
    )
    more = [replace(kept_off, subject=name, times=n) for name, n in (("heating", 3), ("filter run", 3))]
    (both,) = not_every(more, 6)  # one cause is told once
    assert both.startswith("Not all of heating and filter run come, or come whole: frost protection")
    assert both.endswith("3 times each in 6 days")


def test_a_body_that_holds_flushes_up_is_told(tuned: Tuning) -> None:
    """60 L in the way of the flush of a plant with one pump; with 2 L there, nothing holds it up."""
    chosen, file = tuned.recommended, SCHEDULES / "walled-garden.yaml"
    assert chosen is not None
    for litres in (60, 2):
        plant = load(file, sets=[f"plant.heat_sources.element.volume={litres} L"])
        there = replace(tuned, scenario=plant, space=space_module.space(plant))
        told = [r for r in reasons(there, replace(chosen, programme=own(plant))) if "of it in the" in r]
        assert len(told) == (litres == 60)
        assert all(f"of it in the {litres} L of element; a flush lasts 2 times that" in r for r in told)
