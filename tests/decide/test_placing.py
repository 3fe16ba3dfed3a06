"""Placements against every placement there is, in small days, and against what is known by hand."""

import math
import pickle
from collections.abc import Iterator
from dataclasses import replace
from itertools import combinations
from pathlib import Path
from typing import Any

import pytest
import scipy.optimize
from hypothesis import given, settings
from hypothesis import strategies as st

from cyclesim.analysis.amounts import lasting
from cyclesim.decide.tuning import placing
from cyclesim.decide.tuning.obstacles import obstacles
from cyclesim.decide.tuning.placing import (
    Bound,
    Order,
    Runs,
    bound_of,
    fewest_flushes,
    longest_wait_s,
    place,
    solve,
    wait_s,
)
from cyclesim.decide.tuning.space import DAY_S, FILTER, FLUSH, RunKind, Space, space
from cyclesim.decide.tuning.wishes import wished
from cyclesim.scenario.forms.fields import PumpSpeed
from cyclesim.scenario.forms.pumping import Pumping
from cyclesim.scenario.reading.load import load

GARDEN = space(load(Path(__file__).parents[2] / "schedules" / "walled-garden-circulator.yaml"))
H = 3600
MOST_RUNS = 4
"""So many runs at most in the placements that are counted out; no drawn order asks for more."""


def small(kinds: list[RunKind], legs: dict[str, float], slots: int, **more: object) -> Space:
    """A day of few slots with these kinds; its pumps rest for 75 s."""
    told = {
        "kinds": tuple(kinds),
        "legs": legs,
        "step_s": DAY_S // slots,
        "unmoved": (),
        "wanted_m3": 0.0,
        "longer_night": None,
    }
    return replace(GARDEN, **{**told, "most": {FLUSH: None, FILTER: None}, **more})  # type: ignore[arg-type]


def bound(day: Space) -> Bound:
    """The fewest flushes in a day that any placement could have."""
    return bound_of(place(day, fewest_flushes(day)))


def alone(pump: str) -> Pumping:
    """A pump of one speed by itself."""
    return Pumping((PumpSpeed(pump, "on"),))


def flush(
    slots: int, renews: dict[str, float], lasts_s: int = 60, quiet: tuple[int, ...] = (), cost: float = 1.0
) -> RunKind:
    """A flush with the jets; not in the quiet slots."""
    allowed = tuple(slot not in quiet for slot in range(slots))
    return RunKind(FLUSH, alone("jets"), lasts_s, allowed, (cost,) * slots, renews, 0.0, loud=True)


# -- by hand ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("hours", "fewest"), [(24, 1), (12, 2), (8, 3), (6, 4), (30, 1), (math.inf, 1)])
def test_fewest_flushes_are_a_day_over_the_limit(hours: float, fewest: int) -> None:
    """Every 24, 12, 8 h; a flush of 60 s is fresh from 20 to 40 s, so that a little is to spare."""
    day = small([flush(24, {"leg": 20.0})], {"leg": hours * H}, 24)
    assert fewest == bound(day).flushes
    assert bound(day).closed


@pytest.mark.parametrize(
    ("quiet_h", "limit_h", "fewest"), [(9, 9, 3), (9, 10, 2 + 1), (9, 12, 2), (9, 15, 2)]
)
def test_quiet_hours_ask_for_a_flush_on_either_side(quiet_h: int, limit_h: int, fewest: int) -> None:
    """22:00 to 07:00 quiet: the last at 21:00 and the first at 07:00, ten hours apart at least."""
    quiet = tuple(hour % 24 for hour in range(22, 22 + quiet_h))
    day = small([flush(24, {"leg": 20.0}, quiet=quiet)], {"leg": limit_h * H}, 24)
    if limit_h < 10:  # 21:00 to 07:00 alone is longer
        assert bound(day).flushes is None
        assert any("quiet" in one.text for one in obstacles(day))
    else:
        assert fewest == bound(day).flushes


def test_the_night_of_the_clock_change_is_an_hour_longer() -> None:
    """One flush a day keeps 24 h on any other day; with 25 h in that night it takes two, or 25 h of limit."""
    for limit_h, fewest in ((24, 2), (25, 1)):
        day = small([flush(24, {"leg": 20.0})], {"leg": limit_h * H}, 24, longer_night=(2 * H, H))
        assert fewest == bound(day).flushes
    twice = ((day.kinds[0], 0), (day.kinds[0], 12))
    assert 13.0 * H == pytest.approx(wait_s(day, "leg", twice), abs=60.0)  # midnight to noon, over 02:00


def test_what_starts_in_the_hour_that_comes_twice_has_the_longer_wait_behind_it() -> None:
    """Clocks go back at 02:00: from the first 01:00 to the next day's are 25 h, and so from 03:00."""
    day = small([flush(24, {"leg": 20.0})], {"leg": 24.0 * H}, 24, longer_night=(2 * H, H))
    for hour in (0, 1, 2, 3, 23):
        assert 25.0 * H == pytest.approx(wait_s(day, "leg", ((day.kinds[0], hour),)), abs=60.0)


def test_no_more_runs_than_the_controller_takes() -> None:
    """None at all, where it takes none."""
    day = small([flush(24, {"leg": 20.0})], {"leg": 24.0 * H}, 24, most={FLUSH: 0, FILTER: None})
    assert solve(day, Order.of(day)._replace(flushes=1)).runs is None
    assert bound(day).flushes is None


def test_a_leg_that_filter_runs_renew_asks_for_no_flush() -> None:
    """Two filter runs of two hours are twelve hours apart or less."""
    run = RunKind(
        FILTER,
        alone("circulator"),
        2 * H,
        (True,) * 24,
        (1.0,) * 24,
        {"leg": 60.0},
        5.0,
        False,
    )
    day = small([flush(24, {"leg": 20.0}), run], {"leg": 12 * H}, 24, wanted_m3=10.0)
    assert 0 == bound(day).flushes


def test_flushes_on_a_day_and_night_tariff_go_where_it_is_cheap() -> None:
    """Limit 24 h, one flush: in the one hour that costs less."""
    cheap = replace(flush(24, {"leg": 20.0}), cost=tuple(0.1 if hour == 5 else 0.2 for hour in range(24)))
    found = solve(small([cheap], {"leg": 24.0 * H}, 24), Order((cheap,), {"leg": 24.0 * H}, 0.0))
    assert found.runs == ((cheap, 5),)


@pytest.mark.parametrize(("lasts_s", "apart"), [(825, 1), (826, 2), (900, 2), (1725, 2), (1726, 3)])
@pytest.mark.parametrize("cheap", [(5, 6, 7), (94, 95, 0)], ids=["day", "midnight"])
def test_a_pump_rests_between_two_runs(lasts_s: int, apart: int, cheap: tuple[int, int, int]) -> None:
    """On quarter hours, 75 s after a run: 825 s leave just time for the next quarter, 826 s do not.

    Only three slots in a row are cheap; expected two runs, so that they are as near as they may be.
    """
    cost = tuple(0.1 if slot in cheap else 1.0 for slot in range(96))
    run = RunKind(FILTER, alone("circulator"), lasts_s, (True,) * 96, cost, {}, 5.0, False)
    found = solve(small([run], {}, 96, wanted_m3=10.0), Order((run,), {}, 10.0))
    assert found.runs is not None
    first, second = (slot for _, slot in found.runs)
    assert min((second - first) % 96, (first - second) % 96) >= apart
    dear = 1 if apart > 2 else 0
    assert 0.2 + 0.9 * dear == pytest.approx(sum(run.cost[slot] for _, slot in found.runs))


def test_a_space_is_sent_without_the_plant_that_it_comes_from() -> None:
    """Another process places the same in it, and is sent no plant with all that that has worked out."""
    sent = pickle.loads(pickle.dumps(GARDEN))
    assert not hasattr(sent, "plant")
    order = fewest_flushes(GARDEN)
    assert place(GARDEN, order) == place(sent, order)


def test_the_freshest_two_are_twelve_hours_apart() -> None:
    """Half a day, on a grid of hours."""
    day = small([flush(24, {"leg": 20.0})], {"leg": 24.0 * H}, 24)
    found = place(day, Order.of(day)._replace(flushes=2, least="wait"))
    assert found.runs is not None
    first, second = sorted(slot for _, slot in found.runs)
    assert 12 == second - first


def test_of_placements_alike_in_cost_the_latest_is_taken() -> None:
    """One flush in 24 h at one price at any hour, quiet from 22:00 on: the last that may is at 21:00."""
    day = small([flush(24, {"leg": 20.0}, quiet=(22, 23))], {"leg": 24.0 * H}, 24)
    assert [21] == [slot for _, slot in place(day, Order.of(day)).runs or ()]


@pytest.mark.parametrize("least", ["cost", "any"])
def test_the_answer_is_the_same_however_it_is_searched_for(
    least: placing.Least, monkeypatch: pytest.MonkeyPatch
) -> None:
    """HiGHS with its presolve goes another way, and ended at other programmes of the same cost."""
    order = Order.of(wished(GARDEN))._replace(flushes=2, filter_runs=2, least=least)
    found, search, asked = solve(GARDEN, order), scipy.optimize.milp, []

    def otherwise(*what: Any, options: dict[str, Any], **more: Any) -> Any:
        asked.append(options)
        return search(*what, options={**options, "presolve": not options["presolve"]}, **more)

    monkeypatch.setattr(scipy.optimize, "milp", otherwise)
    assert (found.runs, 1) == (solve(GARDEN, order).runs, len(asked))
    assert found.runs


def test_what_is_out_of_reach_is_told() -> None:
    """A leg that nothing renews; a controller that takes one flush where two are needed."""
    day = small([flush(24, {"leg": 20.0})], {"leg": 12.0 * H}, 24, unmoved=("spare",))
    assert any("spare" in one.text for one in obstacles(day))
    narrow = replace(day, unmoved=(), most={FLUSH: 1, FILTER: None})
    assert any("takes 1 line flush a day" in one.text for one in obstacles(narrow))


def test_a_body_that_holds_a_flush_up_is_told_where_nothing_gets_to_the_end() -> None:
    """60 L at the flow that the flush draws through both suction legs."""
    file = Path(__file__).parents[2] / "schedules" / "walled-garden.yaml"
    day = space(load(file, sets=["plant.heat_sources.element.volume=60 L"]))
    told = next(obstacles(replace(day, unmoved=("right_bench",)))).text
    duty = day.plant.duty(("high",))
    flow_m3_s = duty.flow_m3_s("suction_left") + duty.flow_m3_s("suction_right")
    assert "; the soonest is main high after " in told
    assert told.endswith(f", {lasting(0.060 / flow_m3_s)} of it in the 60 L of element")


# -- against every placement -------------------------------------------------------------------------------


@st.composite
def days(draw: st.DrawFn) -> Space:
    """Six slots of four hours, one to three kinds of runs, one or two legs."""
    slots = 6
    legs = {
        f"leg {k}": draw(st.sampled_from((8, 12, 13, 20, 24, 25))) * float(H)
        for k in range(draw(st.integers(1, 2)))
    }
    kinds = []
    for k in range(draw(st.integers(1, 2))):
        does = draw(st.sampled_from((FLUSH, FILTER)))
        lasts_s = (
            draw(st.sampled_from((60, 300))) if does == FLUSH else draw(st.sampled_from((H, 4 * H, 6 * H)))
        )
        takes = {leg: draw(st.sampled_from((0.0, 15.0, 30.0))) for leg in legs if draw(st.booleans())}
        kinds.append(
            RunKind(
                does,
                alone(draw(st.sampled_from(("jets", "circulator")))),
                lasts_s + k,  # no two kinds alike
                tuple(draw(st.lists(st.booleans(), min_size=slots, max_size=slots))),
                tuple(float(x) for x in draw(st.lists(st.integers(1, 9), min_size=slots, max_size=slots))),
                takes,
                float(draw(st.integers(0, 4))),
                loud=False,
            )
        )
    return small(kinds, legs, slots, wanted_m3=float(draw(st.integers(0, 6))))


def every(day: Space) -> Iterator[Runs]:
    """Every placement of at most four runs that keeps everything, counted out."""
    columns = [(kind, slot) for kind in day.kinds for slot in range(day.slots) if kind.allowed[slot]]
    for count in range(MOST_RUNS + 1):
        for runs in combinations(columns, count):
            if keeps(day, runs):
                yield runs


def keeps(day: Space, runs: Runs) -> bool:
    """Worked apart from the model, second by second where it is about time."""
    if sum(kind.filtered_m3 for kind, _ in runs if kind.does == FILTER) < day.wanted_m3:
        return False
    for (one, a), (other, b) in combinations(runs, 2):
        ahead_s = (b - a) * day.step_s % DAY_S
        if one.pumping == other.pumping and not one.lasts_s + 75 <= ahead_s <= DAY_S - other.lasts_s - 75:
            return False
    return all(gap_s(day, leg, runs) <= limit for leg, limit in day.legs.items())


def gap_s(day: Space, leg: str, runs: Runs) -> float:
    """The longest from where fresh water ends to where the next begins, walking round the day."""
    fresh = [
        (slot * day.step_s + kind.renews[leg], slot * day.step_s + kind.lasts_s - kind.renews[leg])
        for kind, slot in runs
        if leg in kind.renews
    ]
    if not fresh:
        return math.inf
    longest = 0.0
    for _, end in fresh:
        covered = any(
            (end - start) % DAY_S < (stop - start) and (end - start) % DAY_S >= 0 for start, stop in fresh
        )
        if not covered:
            longest = max(longest, min((start - end) % DAY_S or DAY_S for start, _ in fresh))
    return longest


def test_a_search_is_cut_short_by_its_size_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    """With no node allowed nothing is found, and nothing is claimed.

    By hand two flushes are the least: one a day leaves water 24 h old, and a fifth less is allowed.
    """
    assert (2, True) == (bound(wished(GARDEN)).flushes, bound(wished(GARDEN)).closed)
    monkeypatch.setattr(placing, "_MOST_NODES", 0)
    cut = bound(wished(GARDEN))
    assert not cut.closed
    assert cut.flushes is not None
    assert cut.flushes <= 2
    assert not solve(GARDEN, Order.of(GARDEN)).closed


@settings(max_examples=60)
@given(days())
def test_the_cheapest_is_as_cheap_as_any(day: Space) -> None:
    """Beside all placements of four runs or fewer; the model's own may have more, and is then no dearer."""
    found, others = solve(day, Order.of(day)), list(every(day))
    if found.runs is None:
        assert not others
        return
    assert found.closed
    assert keeps(day, found.runs)
    cost = sum(kind.cost[slot] for kind, slot in found.runs)
    if others:
        least = min(sum(kind.cost[slot] for kind, slot in runs) for runs in others)
        assert cost == pytest.approx(least) if len(found.runs) <= MOST_RUNS else cost <= least + 1e-9


@settings(max_examples=60)
@given(days())
def test_no_placement_has_fewer_flushes_than_the_bound(day: Space) -> None:
    """And where the model needs no more runs than are counted out, some placement has as few."""
    least = bound(day)
    counts = [sum(kind.does == FLUSH for kind, _ in runs) for runs in every(day)]
    if least.flushes is None:
        assert not counts
    elif counts:
        assert least.flushes <= min(counts)
        found = solve(day, Order.of(day)._replace(least="flushes"))
        if found.runs is not None and len(found.runs) <= MOST_RUNS:
            assert least.flushes == min(counts)


@settings(max_examples=40)
@given(days())
def test_waits_are_those_walked_round_the_day(day: Space) -> None:
    """For every leg and placement."""
    for runs in list(every(day))[:20]:
        for leg in day.legs:
            assert gap_s(day, leg, runs) == pytest.approx(wait_s(day, leg, runs))


@st.composite
def roomy_days(draw: st.DrawFn) -> Space:
    """Eight slots of three hours, one flush and filter runs of two lengths, wide limits."""
    legs = {"near": 25.0 * H, "far": 40.0 * H}
    slots, costs = st.lists(st.booleans(), min_size=8, max_size=8), st.integers(1, 9)
    lengths = [(FLUSH, "jets", draw(st.sampled_from((60, 1800))))]
    lengths += [(FILTER, "circulator", draw(st.sampled_from((H, 2 * H)))), (FILTER, "circulator", 6 * H + 1)]
    kinds = []
    for does, pump, lasts_s in lengths:
        takes = {leg: draw(st.sampled_from((0.0, 15.0, 25.0))) for leg in legs if draw(st.integers(0, 3))}
        allowed, cost = tuple(draw(slots)), (float(draw(costs)),) * 8
        kinds.append(RunKind(does, alone(pump), lasts_s, allowed, cost, takes, 5.0, loud=False))
    return small(kinds, legs, 8)


@settings(max_examples=60)
@given(roomy_days(), st.integers(1, 2))
def test_the_freshest_waits_no_longer_than_any(day: Space, flushes: int) -> None:
    """And of those that wait as short it is the cheapest, beside all placements counted out."""
    order = Order.of(day)._replace(flushes=flushes, filter_runs=1, least="wait")
    found = place(day, order)
    asked = sorted([FILTER, *[FLUSH] * flushes])
    others = [runs for runs in every(day) if sorted(kind.does for kind, _ in runs) == asked]
    assert (found.runs is None) == (not others)
    if found.runs is not None:
        waits = [(longest_wait_s(day, order, runs), runs) for runs in others]
        least = min(wait for wait, _ in waits)
        assert found.closed
        assert longest_wait_s(day, order, found.runs) == pytest.approx(least, abs=1e-5)
        assert sum(kind.cost[slot] for kind, slot in found.runs) == pytest.approx(
            min(sum(kind.cost[slot] for kind, slot in runs) for wait, runs in waits if wait < least + 1e-5)
        )


def test_the_freshest_takes_the_longer_runs_at_any_cost() -> None:
    """Two runs a day: of an hour each 11 h apart, of six hours 6 h, though these cost ten times as much."""
    runs = [
        RunKind(FILTER, alone("circulator"), lasts * H, (True,) * 24, (cost,) * 24, {"leg": 0.0}, 5.0, False)
        for lasts, cost in ((1, 1.0), (6, 10.0))
    ]
    day = small(runs, {"leg": 24.0 * H}, 24)
    order = Order.of(day)._replace(filter_runs=2, least="wait")
    found = place(day, order)
    assert found.runs is not None
    assert 6.0 * H == longest_wait_s(day, order, found.runs)
