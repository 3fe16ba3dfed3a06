"""The tub: dilution, turnovers by the calendar, and the balance of heat."""

from collections.abc import Callable
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from cyclesim.analysis.energy import local_edges
from cyclesim.analysis.history import History
from cyclesim.analysis.result import measure, simulate
from cyclesim.analysis.tub import Filtered, since_filtered
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.simulation.trace import Trace

Run = Callable[..., History]

# Share of a mixed tub's first water that has passed the filter after n turnovers: 1 - e^-n, exact.
PASSED = {1: 0.632121, 2: 0.864665, 3: 0.950213, 5: 0.993262}


def flows(*rows: tuple[float, float]) -> Filtered:
    """Stretches (seconds, m3/s) one after the other."""
    ends = np.cumsum([dt for dt, _ in rows])
    return Filtered(np.concatenate(([0.0], ends[:-1])), ends, np.array([q for _, q in rows]))


@pytest.mark.parametrize("n", PASSED)
def test_one_filter_run_of_n_turnovers_a_day(n: int) -> None:
    """Off for b, then n turnovers in a: the water is oldest at the end of b, with V/Q + b / (1 - e^-n)."""
    run_s, rest_s = 3600.0, 82_800.0
    age = since_filtered(flows((rest_s, 0.0), (run_s, n * 1.5 / run_s)), 1.5)
    assert age is not None
    assert pytest.approx(run_s / n + rest_s / PASSED[n], rel=2e-6) == age.max_s
    assert rest_s == age.max_at_s


def test_a_filter_that_never_stops() -> None:
    """8 m3/h through 1.5 m3 turn it over in 11.25 min, and so long ago was it filtered, at any time."""
    age = since_filtered(flows((86_400.0, 8.0 / 3600.0)), 1.5)
    assert age is not None
    assert (pytest.approx(675.0), pytest.approx(675.0)) == (age.mean_s, age.max_s)


def test_mean_age_is_the_integral_of_the_age() -> None:
    """The mean agrees with dA/dt = 1 - A Q / V integrated in small steps over ten repetitions."""
    told = since_filtered(flows((3600.0, 0.0), (1800.0, 5e-4), (1800.0, 1e-3)), 1.5)
    assert told is not None
    age, total, dt = 0.0, 0.0, 0.5
    for k in range(10 * 14_400):
        t = (k + 0.5) * dt % 7200.0
        q = 0.0 if t < 3600.0 else 5e-4 if t < 5400.0 else 1e-3
        new = age + dt * (1.0 - age * q / 1.5)
        total, age = total + (0.5 * (age + new) * dt if k >= 9 * 14_400 else 0.0), new
    assert pytest.approx(total / 7200.0, rel=1e-3) == told.mean_s


def test_a_tub_that_is_never_filtered_has_no_such_age() -> None:
    """Nobody knows since when: None, not a number that grows with the span."""
    assert None is since_filtered(flows((86_400.0, 0.0)), 1.5)


def test_turnovers_are_counted_by_whole_calendar_days(run: Run) -> None:
    """36 h: the first day filters all day, half of the second is no whole day and is not judged."""
    history = run(hours=36, pumps={"main": [(0, "low"), (86_400, "stopped")]})
    tub = measure(history).tub
    per_s = history.plant.duty(("low",)).filtered_m3_s / 1.5
    assert pytest.approx(per_s * 86_400) == tub.fewest_turnovers_in_a_day
    assert "2027-03-01" == tub.fewest_turnovers_on
    assert pytest.approx(per_s * 86_400 / 1.5) == tub.turnovers_per_day, "over one day and a half"


def test_a_day_of_a_clock_change_is_a_whole_day(run: Run) -> None:
    """23 h from midnight to midnight on 28 March 2027 count as one calendar day."""
    history = run(hours=23, first_day=date(2027, 3, 28), pumps={"main": [(0, "low")]})
    assert "2027-03-28" == measure(history).tub.fewest_turnovers_on


def test_heat_of_a_simulated_plant_balances(scenario: Callable[..., Scenario]) -> None:
    """What came in, less what was lost, is what is stored: to a millionth of what came in."""
    tub = simulate(scenario(), days=5).metrics.tub
    assert tub.heat_from_sources_kwh > 1.0
    through = tub.heat_from_sources_kwh + tub.heat_from_pumps_kwh
    assert abs(tub.balance_error_kwh) < 1e-6 * through
    lost = tub.lost_through_cover_kwh + tub.lost_through_shell_kwh
    lost += tub.lost_from_legs_kwh + tub.lost_from_equipment_kwh
    assert pytest.approx(tub.stored_change_kwh + lost, rel=1e-6) == through
    assert tub.coldest_c is not None
    assert tub.mean_c is not None
    assert 33.0 < tub.coldest_c < tub.mean_c < 36.1


def test_a_day_that_the_calendar_skips_is_not_the_worst_day() -> None:
    """Samoa went from 29 to 31 December 2011: 28 to 31 December are three days of 24 h, and no day of 0 h."""
    begin = datetime(2011, 12, 28, tzinfo=ZoneInfo("Pacific/Apia")).astimezone(UTC)
    trace = Trace(begin, "Pacific/Apia", 3 * 86_400, [], [], [], [], [])
    assert [0, 86_400, 172_800, 259_200] == local_edges(trace, "day")
    assert [259_200] == local_edges(trace, "month")
