"""What may be keyed in: against clocks and volumes worked by hand."""

import math
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cyclesim.decide.tuning.space import (
    DAY_S,
    FILTER,
    FLUSH,
    RunKind,
    Space,
    UnevenStepError,
    _mean_price,
    _overlap,
    grid_s,
    space,
)
from cyclesim.scenario.reading.load import load

SCHEDULES = Path(__file__).parents[2] / "schedules"
GARDEN, CIRCULATOR = SCHEDULES / "walled-garden.yaml", SCHEDULES / "walled-garden-circulator.yaml"


@pytest.fixture(scope="module")
def garden() -> Space:
    """The two-speed plant's."""
    return space(load(GARDEN))


@pytest.mark.parametrize(
    ("step", "grid"), [("15 min", 900), ("1 min", 300), ("20 min", 1200), ("1 h", 3600), ("45 min", 2700)]
)
def test_grid_is_a_multiple_of_the_controllers_step_that_fills_the_day(step: str, grid: int) -> None:
    """The smallest of five minutes or more."""
    found = grid_s(load(GARDEN, sets=[f"controller.time_step={step}"]))
    assert grid == found
    assert 0 == DAY_S % found


def test_without_a_step_the_grid_is_a_quarter_of_an_hour() -> None:
    """Nothing on the wall says otherwise."""
    assert 900 == grid_s(load(GARDEN, sets=["controller.time_step=null"]))


def test_a_step_of_which_no_multiple_fills_a_day_is_refused() -> None:
    """1440 minutes have no factor of 7."""
    with pytest.raises(UnevenStepError, match="time_step"):
        grid_s(load(GARDEN, sets=["controller.time_step=7 min"]))


@given(st.integers(0, 95), st.integers(1, 20_000), st.integers(0, DAY_S - 1), st.integers(0, DAY_S - 1))
def test_overlap_is_that_of_some_second(slot: int, lasts_s: int, opens: int, closes: int) -> None:
    """Beside a count of seconds: those of the run, on the clock, that the window holds."""
    start = slot * 900
    if opens == closes:
        return
    run = {second % DAY_S for second in range(start, start + lasts_s, 1)}
    inside = (lambda s: opens <= s < closes) if opens < closes else (lambda s: s >= opens or s < closes)
    assert any(map(inside, run)) == _overlap(start, start + lasts_s, opens, closes)


def test_loud_runs_stay_out_of_the_quiet_hours(garden: Space) -> None:
    """22:00 to 07:00 is quiet: a flush of 45 s may start from 07:00 to 21:45, 60 slots of a quarter hour."""
    loud = [kind for kind in garden.kinds if kind.does == FLUSH and kind.loud]
    assert loud
    for kind in loud:
        assert 60 == sum(kind.allowed)
        assert kind.allowed[28]  # 07:00
        assert not kind.allowed[27]
        assert kind.allowed[87]  # 21:45
        assert not kind.allowed[88]
    assert all(all(kind.allowed) for kind in garden.kinds if not kind.loud)


def test_no_flush_starts_or_ends_in_bathing() -> None:
    """high-valley: Friday and Saturday 21:00 for 50 min, Sunday 17:00 for 45 min; a filter run may."""
    valley = space(load(SCHEDULES / "high-valley.yaml"))
    flush = next(kind for kind in valley.kinds if kind.does == FLUSH and not kind.loud)
    closed = [slot for slot, free in enumerate(flush.allowed) if not free]
    assert [68, 69, 70, 84, 85, 86, 87] == closed  # 17:00 to 17:45 and 21:00 to 21:50
    assert all(all(kind.allowed) for kind in valley.kinds if kind.does == FILTER)


def test_mean_price_is_that_of_the_tariffs_clock() -> None:
    """0.11 from 22:00 to 08:00, else 0.24, on the wall clock whatever the season."""
    price = _mean_price(load(GARDEN), 3600)
    assert price == pytest.approx([0.11] * 8 + [0.24] * 14 + [0.11] * 2, abs=1e-12)


def test_a_run_costs_its_energy_at_its_own_hours(garden: Space) -> None:
    """310 W for 2 h: 0.62 kWh at 0.11 by night, at 0.24 by day, half and half from 07:00."""
    kind = _one(garden, FILTER, 7200)
    assert (0.62 * 0.11, 0.62 * 0.24, 0.62 * 0.175) == pytest.approx(
        (kind.cost[0], kind.cost[48], kind.cost[28])
    )


def test_flush_lengths_move_two_volumes_or_more(garden: Space) -> None:
    """Of 15, 30, 45 and 60 s those that are twice the time to the farthest end or more."""
    flushes = [kind for kind in garden.kinds if kind.does == FLUSH]
    assert flushes
    for kind in flushes:
        if kind.does == FLUSH:
            duty = garden.plant.duty(garden.plant.at_once(kind.pumping.pumps))
            farthest_s = max(after for after in duty.reached_s.values() if math.isfinite(after))
            assert kind.lasts_s in [s for s in (15, 30, 45, 60) if s >= 2.0 * farthest_s]


def test_flushes_too_short_at_any_speed_are_offered_to_be_refused() -> None:
    """10 s move nothing twice."""
    plant = space(load(GARDEN, sets=["controller.flush_lengths=[5 s, 10 s]"]))
    assert {10} == {kind.lasts_s for kind in plant.kinds if kind.does == FLUSH}


def test_a_circulators_runs_renew_its_own_loop_alone() -> None:
    """Two loops that meet in the tub."""
    plant = space(load(CIRCULATOR))
    filtering = [set(kind.renews) for kind in plant.kinds if kind.does == FILTER]
    assert all(legs == {"drain", "return", "filter", "element"} for legs in filtering)
    flushing = [set(kind.renews) for kind in plant.kinds if kind.does == FLUSH]
    assert all("left_bench, last jet" in legs and "drain" not in legs for legs in flushing)


def test_wanted_water_is_the_turnovers_of_the_tub(garden: Space) -> None:
    """2 a day of 1600 L."""
    assert 3.2 == pytest.approx(garden.wanted_m3)


def test_clocks_go_back_at_two_in_lisbon_and_never_in_utc(garden: Space) -> None:
    """2027: from 02:00 to 01:00 on 31 October; tz database."""
    assert (7200, 3600) == garden.longer_night
    assert space(load(GARDEN, sets=["place.time_zone=Etc/UTC"])).longer_night is None


def test_the_residual_shortens_what_a_leg_may_wait() -> None:
    """3 mg/L falls to 1.5 in one slow half-life of 10 h, sooner than the 24 h of the limit."""
    half = ["water_care.disinfectant.half_life=[3 h, 10 h]", "water_care.disinfectant.at_least=1.5 mg/L"]
    assert {36_000.0} == set(space(load(GARDEN, sets=half)).legs.values())


def _one(garden: Space, does: str, lasts_s: int) -> RunKind:
    return next(kind for kind in garden.kinds if kind.does == does and kind.lasts_s == lasts_s)
