"""Tuned programmes: against every programme of a small plant, and as they say of themselves."""

import json
from collections.abc import Iterator
from dataclasses import replace
from datetime import time
from itertools import combinations
from pathlib import Path
from typing import Any

import pytest

from cyclesim.analysis.result import simulate
from cyclesim.decide.sweeps import sweep as sweep_module
from cyclesim.decide.sweeps.outcome import Broken, Outcome
from cyclesim.decide.sweeps.sweep import HERE, How, job, run
from cyclesim.decide.tuning import placed, wishes
from cyclesim.decide.tuning import space as space_module
from cyclesim.decide.tuning import tuning as tuning_module
from cyclesim.decide.tuning.judged import refused_for
from cyclesim.decide.tuning.limits import LimitTried
from cyclesim.decide.tuning.placing import Bound, Order
from cyclesim.decide.tuning.programmes import Daily, Entry, own, relengthened, scheduled
from cyclesim.decide.tuning.space import FILTER, FLUSH
from cyclesim.decide.tuning.tuning import Choice, Tuning, _recommended, tune
from cyclesim.said.flush_lengths import none_is_long_enough
from cyclesim.said.strips import strips
from cyclesim.said.tune import reasons, tune_page, tune_values
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.forms.fields import PumpSpeed
from cyclesim.scenario.forms.pumping import Pumping
from cyclesim.scenario.reading.load import load
from cyclesim.shown.as_json import as_text
from cyclesim.shown.terminal import printed
from tests.said.tables import Key, Values, hold_in_order, hold_in_us, tables_of

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


# -- what is told ------------------------------------------------------------------------------------------


def _a_year(choice: Values) -> float:
    out = choice["outcome"]
    return float(out["cost"]) * 365.0 / float(out["days"])


def _pumps_a_day(key: str) -> Key:
    def of(choice: Values) -> float:
        devices = choice["outcome"]["devices"].values()
        amounts = [float(device[key]) for device in devices if device["kind"] == "pump"]
        return sum(amounts) / float(choice["outcome"]["days"])

    return of


def _oldest_h(choice: Values) -> float | None:
    """Unknown, which is never, where water of any leg never moves."""
    ages = [leg["oldest_water_h"] for leg in choice["outcome"]["legs"].values()]
    return None if None in ages else max(ages)


def _in_short(choice: Values) -> str:
    """The lengths of these tests are 30 s, 45 s and whole hours."""

    def of(does: str) -> str:
        entries = [entry for entry in choice["programme"] if entry["does"] == does]
        lasts = [e["lasts_s"] for e in entries]
        texts = [f"{s / 3600:.0f} h" if s >= 3600 else f"{s:.0f} s" for s in lasts]
        return " + ".join(f"{len(e['starts'])} x {t}" for e, t in zip(entries, texts, strict=True)) or "none"

    return f"{of('line flush')}; {of('filter run')}"


CHOICE: dict[str, Key] = {
    "money a year": _a_year,
    "pumps h/day": _pumps_a_day("running_h"),
    "starts /day": _pumps_a_day("starts"),
    "loud min/day": lambda choice: choice["outcome"]["loud_min"] / choice["outcome"]["days"],
    "oldest h": _oldest_h,
}


def _holds(limit: Values) -> bool:
    return limit["choice"] is not None and not limit["choice"]["refused_for"]


def _change(least: float) -> Key:
    def of(limit: Values) -> float | str:
        if not _holds(limit):
            return "no programme"
        change = _a_year(limit["choice"]) - least
        return change if abs(change) > 0.005 else 0.0

    return of


LIMIT: dict[str, Key] = {"now": "now", "tried": "tried"}


def hold_tuning(tuning: Tuning) -> list[str]:
    """Every table of a tuning, cell by cell against the JSON; the first words of their titles."""
    page, values = tune_page(tuning), json.loads(as_text(tune_values(tuning)))
    tables = list(tables_of(page))
    for title, table in tables:
        match title.split()[0]:
            case "Key" | "No" | "Leave":
                programme = values["recommended"]["programme"]
                assert [(e["does"], e["pump"], e["lasts_s"], e["starts"]) for e in programme] == [
                    (*row.cells[:3], [*row.cells[3]])
                    for row in table.rows  # type: ignore[misc]
                ]
            case "Best":
                assert len(values["best"]) <= 8, "more are not shown"
                hold_in_order(table, CHOICE, values["best"])
                rows = [row for row in table.rows if not row.level]
                for row, choice in zip(rows, values["best"], strict=True):
                    mark = " *" if choice == values["recommended"] else ""
                    assert row.cells[0] == f"{_in_short(choice)}{mark}"
            case "Beside":
                choices = [values["own"], *values["rules_of_thumb"]]
                hold_in_order(table, CHOICE, choices)
                rows = [row for row in table.rows if not row.level]
                assert [choice["name"] for choice in choices] == [row.cells[0] for row in rows]
            case "What":
                keys = {
                    **LIMIT,
                    "money a year": _change(_a_year(values["best"][0])),
                    "flushes; filter": lambda limit: _in_short(limit["choice"]) if _holds(limit) else "",
                }
                hold_in_order(table, keys, values["limits"])
            case "Which":
                then: Key = lambda limit: _in_short(limit["choice"]) if _holds(limit) else "no programme"  # noqa: E731
                hold_in_order(table, {**LIMIT, "then holds: flushes; filter": then}, values["limits"])
            case _:
                raise AssertionError(f"no keys for {title}")
        if title.split()[0] in ("What", "Which"):
            assert [limit["limit"] for limit in values["limits"]] == [row.cells[0] for row in table.rows]
    hold_in_us(page)
    return [title.split()[0] for title, _ in tables]


def test_every_table_tells_the_numbers_of_the_json(tuned: Tuning, stuck: Tuning) -> None:
    """What to key in, trade-offs, what stands beside them and what limits cost; and what would make room."""
    assert ["Key", "Best", "Beside", "What"] == hold_tuning(tuned)
    assert ["Beside", "Which"] == hold_tuning(stuck)


# -- the file's own times ------------------------------------------------------------------------------------


def test_the_own_times_are_tried_with_every_flush_length_on_offer() -> None:
    """Only the flush is another; 15 s is on offer, but no two volumes, and a time off the grid is none."""
    offered = "controller.flush_lengths=[15 s, 45 s, 60 s, 90 s]"
    at_times = ("controller.time_step=6 h", "schedule.filter_runs.0.start=[06:00]")
    there = (*at_times, "schedule.filter_runs.0.lasts=6 h", "schedule.line_flushes.0.start=[06:00, 18:00]")
    found = list(relengthened(space_module.space(small(offered, *there))))
    mine = own(small(offered, *there))
    flushes = [[e for e in p.entries if e.does == FLUSH] for p in found]
    assert [60, 90] == [only.lasts_s for (only,) in flushes]
    assert all(only.clocks == ("06:00", "18:00") for (only,) in flushes)
    filters = [e for e in mine.entries if e.does == FILTER]
    assert all([e for e in p.entries if e.does == FILTER] == filters for p in found)
    off_grid = small(offered, *there, "schedule.line_flushes.0.start=[06:05, 18:00]")
    assert [] == list(relengthened(space_module.space(off_grid)))
    loud = small(offered, *there, "schedule.quiet_hours.from=17:00", "schedule.quiet_hours.to=19:00")
    assert [] == list(relengthened(space_module.space(loud)))
    few = small(offered, *there, "controller.flushes_a_day=1")
    assert [] == list(relengthened(space_module.space(few)))


def test_the_own_programme_stays_where_nothing_that_was_tried_keeps_what_it_keeps() -> None:
    """All others are refused: then it is advised, and its times are told."""
    kept_off = Broken("cold-at-end", "comfort", "bathing", "the water cools while they bathe", 3, "")
    on_grid = ("schedule.filter_runs.0.start=[06:00]", "schedule.filter_runs.0.lasts=6 h")
    on_grid = (*on_grid, "schedule.line_flushes.0.start=[06:00, 18:00]")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(tuning_module, "limits_tried", lambda _: [])
        patch.setattr(
            tuning_module, "refused_for", lambda out, before, _: () if out is before else (kept_off,)
        )
        found = tuned_at(*on_grid, days=1)
    assert found.recommended is found.own
    assert found.own in found.best
    text = " ".join(printed(tune_page(found)).split())
    assert "Leave it as the file has it: nothing that was tried is better" in text
    assert "line flush jets 45 s 06:00, 18:00" in text
    drawn = strips(found)
    assert [k for k, strip in enumerate(drawn.strips) if strip.is_advised] == [drawn.best]
    hold_tuning(found)


def test_what_holds_under_a_stricter_limit_is_tried_where_nothing_else_holds() -> None:
    """Water older than 13 h is refused, as if it broke a rule of comfort; 19 h are allowed.

    Placed for 19 h it gets 17 h old (see above), for 13.5 h it does not: that is then advised for 19 h.
    """
    old = Broken("cold-at-end", "comfort", "bathing", "the water cools while they bathe", 3, "")
    once = "schedule.line_flushes.0.start=[07:30]"
    stricter = LimitTried("oldest water", "19 h", "13.5 h", small(once, "limits.water_age=13.5 h"))
    with pytest.MonkeyPatch.context() as patch:
        aged: Any = lambda out, *_: (old,) if out.oldest_water_h > 13.0 else ()  # noqa: E731
        patch.setattr(tuning_module, "refused_for", aged)
        patch.setattr(tuning_module, "limits_tried", lambda _: [stricter])
        found = tuned_at(once, "limits.water_age=19 h", days=3)
        patch.setattr(tuning_module, "limits_tried", lambda _: [])
        without = tuned_at(once, "limits.water_age=19 h", days=3)
    assert without.recommended is None
    assert found.recommended is not None
    assert found.recommended.outcome.oldest_water_h <= 13.0


def test_own_filter_lengths_that_the_controller_takes_are_on_offer() -> None:
    """Steps of 15 min offer 180 and 240 min; the file's 225 min are 15 of them, and no number of 60 min.

    Where they are on offer, its own times are tried with another flush.
    """
    for step, offered in (("15 min", True), ("60 min", False)):
        lasts = ("schedule.filter_runs.0.lasts=225 min", "controller.flush_lengths=[45 s, 60 s]")
        scenario = small(f"controller.time_step={step}", *lasts, "schedule.filter_runs.0.start=[06:00]")
        there = space_module.space(scenario)
        assert (225 * 60 in {kind.lasts_s for kind in there.kinds if kind.does == FILTER}) == offered
        assert bool(list(relengthened(there))) == offered


def test_the_own_times_with_a_length_that_is_long_enough_are_run() -> None:
    """The file's 20 s are too short, 45 s are not: its programme with those is among what was run."""
    times = ("schedule.filter_runs.0.start=[06:00]", "schedule.filter_runs.0.lasts=6 h")
    short = ("schedule.line_flushes.0.start=[00:00, 12:00]", "schedule.line_flushes.0.lasts=20 s")
    quiet = ("schedule.quiet_hours.from=14:00", "schedule.quiet_hours.to=15:00")
    scenario = small(*times, *short, *quiet)
    (longer,) = relengthened(space_module.space(scenario))
    ran: list[Daily] = []
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(space_module, "USUAL_STEP_S", 3 * 3600)
        run_all = sweep_module.sweep
        patch.setattr(
            tuning_module,
            "sweep",
            lambda jobs, how: ran.extend(own(one.variant.scenario) for one in jobs) or run_all(jobs, how),
        )
        tune(scenario, days=2)
    assert longer in ran


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
    assert "The file asks for 1 flush a day all the same" in text
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
