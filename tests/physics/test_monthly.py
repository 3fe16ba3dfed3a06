"""Monthly means as hours, and soil under measured air."""

from datetime import datetime
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.linalg import solve_banded

from cyclesim.physics.climate import soil_c
from cyclesim.physics.monthly import soil_under, year_from_means

MEANS = (-4.0, -3.0, 2.0, 8.0, 14.0, 18.0, 20.0, 19.0, 14.0, 8.0, 2.0, -2.0)
ENDS = np.cumsum([0, 31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31]) * 24


@settings(deadline=None)  # the first example imports scipy
@given(st.lists(st.floats(-40, 40), min_size=12, max_size=12), st.floats(0, 20))
def test_every_month_keeps_its_mean(means: list[float], swing_k: float) -> None:
    """Whatever the twelve values are, the hours of each month average to them, the day's swing included."""
    hours = year_from_means(means, swing_k)
    assert 8760 == len(hours)
    assert pytest.approx(means, abs=1e-9) == [np.mean(hours[a:b]) for a, b in pairwise(ENDS)]


def test_days_pass_smoothly_through_the_ends_of_months_and_of_the_year() -> None:
    """No day's mean steps further from the last than 0.5 K, where months lie 7 K apart, nor at New Year."""
    days = np.array(year_from_means(MEANS, 5.0)).reshape(365, 24).mean(axis=1)
    steps = np.abs(np.diff(np.append(days, days[0])))
    assert steps.max() < 0.5
    assert np.abs(np.diff(steps)).max() < 0.1, "the slope has no step either"


def test_the_day_swings_by_what_is_said() -> None:
    """Flat months of 10 degC: 5 K up around 15:00, 5 K down around 03:00."""
    day = np.array(year_from_means([10.0] * 12, 5.0)).reshape(365, 24)[100]
    assert {14, 15} >= {int(day.argmax())}
    assert {2, 3} >= {int(day.argmin())}
    assert pytest.approx((5.0, 15.0), abs=0.1) == (day.min(), day.max())


def test_a_sine_through_its_monthly_means_comes_back() -> None:
    """The means of a described climate give that climate again within 0.15 K."""
    climate = {"mean_c": 10.0, "seasonal_swing_k": 12.0, "daily_swing_k": 4.0, "coldest_day": (1, 20)}
    sine = soil_c(datetime(2027, 1, 1), 8760, **climate, depth_m=0.0)
    means = [float(np.mean(sine[a:b])) for a, b in pairwise(ENDS)]
    assert pytest.approx(sine, abs=0.15) == year_from_means(means, 4.0)


def test_other_than_twelve_means_are_refused() -> None:
    """Eleven months are no year."""
    with pytest.raises(ValueError, match="twelve"):
        year_from_means(MEANS[:11], 5.0)


def test_soil_under_two_waves_is_the_described_climates() -> None:
    """The closed form of climate.soil_c; its year is 365.2425 days, ours 365, hence 0.02 K."""
    about = {"mean_c": 12.0, "seasonal_swing_k": 9.0, "daily_swing_k": 5.0, "coldest_day": (1, 20)}
    air = soil_c(datetime(2027, 1, 1), 8760, **about, depth_m=0.0)
    for depth_m in (0.1, 0.6, 2.0):
        expected = soil_c(datetime(2027, 1, 1), 8760, **about, depth_m=depth_m)
        assert pytest.approx(expected, abs=0.02) == soil_under(air, 3600.0, depth_m)


@pytest.mark.parametrize("depth_m", [0.2, 0.6])
def test_soil_under_weather_agrees_with_a_numerical_heat_equation(depth_m: float) -> None:
    """Crank-Nicolson in a 1-D column under a year of wild days, third time round, within 0.05 K."""
    days = np.random.default_rng(4).normal(8.0, 6.0, 365) + 10.0 * np.sin(np.arange(365) / 58.1)
    air = np.interp(np.arange(8760) / 24.0, np.arange(366), np.append(days, days[0]))
    dz_m, count, steps = 0.02, 500, 3
    r = 0.6e-6 * 3600.0 / dz_m**2
    bands = np.zeros((3, count))
    bands[0, 1:], bands[1], bands[2, :-1] = -r / 2.0, 1.0 + r, -r / 2.0
    bands[1, -1] = 1.0 + r / 2.0  # no heat through the bottom
    column, seen = np.full(count, air.mean()), []
    for surface in np.tile(air, steps):
        above = np.concatenate(([surface], column[:-1]))
        below = np.concatenate((column[1:], [column[-1]]))
        right = column + r / 2.0 * (above - 2.0 * column + below)
        right[0] += r / 2.0 * surface
        column = solve_banded((1, 1), bands, right)
        seen.append(column[round(depth_m / dz_m) - 1])
    expected = np.array(seen[-8760:])  # at the end of each hour; the mean of two ends is that of the hour
    expected = (expected + np.roll(expected, 1)) / 2.0
    assert np.abs(expected - soil_under(air.tolist(), 3600.0, depth_m))[24:].max() < 0.05


def test_no_depth_is_the_surface_and_a_negative_one_is_refused() -> None:
    """The series itself, and an error."""
    air = [3.0, 5.0, -1.0, 2.0]
    assert pytest.approx(air) == soil_under(air, 3600.0, 0.0)
    with pytest.raises(ValueError, match="no soil"):
        soil_under(air, 3600.0, -1.0)
