"""Described climate: hours, days and years of air, and soil against theory and numerics."""

import math
from datetime import datetime, timedelta
from functools import partial
from itertools import pairwise

import numpy as np
import pytest
from scipy.linalg import solve_banded

from cyclesim.physics.climate import YEAR_S, follow, soil_c

CLIMATE = {"mean_c": 15.0, "seasonal_swing_k": 7.0, "daily_swing_k": 5.0, "coldest_day": (1, 20)}
START = datetime(2027, 1, 1)
air_c = partial(soil_c, depth_m=0.0)


def test_an_hour_is_the_mean_of_its_minutes() -> None:
    """Each value is the mean of the continuous wave over its hour, also when hours start at half past."""
    start = datetime(2027, 4, 3, 5, 30)
    series = air_c(start, 24, **CLIMATE)
    for i in (0, 7, 15, 23):
        since_s = (start - datetime(2000, 1, 20, 12)).total_seconds() + 3600.0 * i
        seconds = since_s + np.arange(3600) + 0.5
        local_h = 5.5 + i + (np.arange(3600) + 0.5) / 3600.0
        wave = (
            15.0
            - 7.0 * np.cos(2 * np.pi * seconds / YEAR_S)
            + 5.0 * np.cos(2 * np.pi * (local_h - 15.0) / 24)
        )
        assert pytest.approx(wave.mean(), abs=1e-6) == series[i]


def test_coldest_and_warmest_come_when_they_are_said_to() -> None:
    """The coldest day of the year is 20 January give or take one, the warmest hours lie around 15:00."""
    days = np.array(air_c(START, 365 * 24, **CLIMATE)).reshape(365, 24)
    assert abs(int(days.mean(axis=1).argmin()) - 19) <= 1
    assert abs(int(days.mean(axis=1).argmax()) - (19 + 182)) <= 2
    assert set(days.argmax(axis=1).tolist()) <= {14, 15}
    assert set(days.argmin(axis=1).tolist()) <= {2, 3}


def test_swings_are_plus_or_minus() -> None:
    """Four years average the mean; the day swings by 5 K and the year by 7 K to either side."""
    days = np.array(air_c(START, 1461 * 24, **CLIMATE)).reshape(1461, 24)
    assert pytest.approx(15.0, abs=0.01) == days.mean()
    assert pytest.approx(10.0, rel=0.02) == (days.max(axis=1) - days.min(axis=1)).mean()
    assert pytest.approx(14.0, rel=0.001) == np.ptp(days.mean(axis=1))


def test_ten_years_have_no_seam_and_runs_agree() -> None:
    """No hour steps further than the steepest of the waves, and a run begun later sees the same hours."""
    long = air_c(START, 3653 * 24, **CLIMATE)
    assert np.abs(np.diff(long)).max() < 5.0 * 2 * math.pi / 24 + 7.0 * 2 * math.pi / 8766 + 1e-9
    hours = (datetime(2031, 7, 9, 6) - START) // timedelta(hours=1)
    later = air_c(datetime(2031, 7, 9, 6), 48, **CLIMATE)
    assert pytest.approx(long[hours : hours + 48], abs=1e-9) == later


def test_soil_at_its_reference_depth_keeps_a_third_of_the_year_and_lags_a_sixth() -> None:
    """At 1e-6 m2/s the yearly wave has fallen to 1/e at 3.17 m and lags one radian, 58.1 days.

    Source: Kusuda's form as the vignette of a public R package for ground temperature works it (3.17 m).
    """
    days = np.array(soil_c(START, 366 * 24, **CLIMATE, depth_m=3.17, diffusivity_m2_s=1e-6)).reshape(366, 24)
    swing = np.ptp(days.mean(axis=1)) / 2.0
    assert pytest.approx(7.0 / math.e, rel=0.005) == swing
    assert abs(int(days.mean(axis=1).argmin()) - (19 + 58)) <= 1


def test_deep_soil_is_the_mean() -> None:
    """Thirty metres down nothing but the mean is left, and above the ground there is no soil."""
    assert pytest.approx([15.0] * 500, abs=1e-3) == soil_c(START, 500, **CLIMATE, depth_m=30.0)
    with pytest.raises(ValueError, match="no soil"):
        soil_c(START, 24, **CLIMATE, depth_m=-0.1)


@pytest.mark.parametrize(("depth_m", "daily_k"), [(0.1, 5.0), (0.6, 0.0), (1.5, 0.0)])
def test_soil_agrees_with_a_numerical_heat_equation(depth_m: float, daily_k: float) -> None:
    """Crank-Nicolson in a 1-D column under the same surface, after three years, gives the same hours."""
    climate = {**CLIMATE, "daily_swing_k": daily_k}
    years_h = 3 * 8766 if daily_k == 0.0 else 1200
    dz_m, bottom_m = (0.05, 15.0) if daily_k == 0.0 else (0.01, 1.5)
    if daily_k:
        climate["seasonal_swing_k"] = 0.0  # the day alone: a shallow, fine column settles in weeks
    step_h = 6 if daily_k == 0.0 else 1
    surface_c = air_c(START - timedelta(minutes=30), years_h + 1, **climate)[::step_h]
    count = round(bottom_m / dz_m)
    r = 0.6e-6 * 3600.0 * step_h / dz_m**2
    bands = np.zeros((3, count))
    bands[0, 1:], bands[1], bands[2, :-1] = -r / 2.0, 1.0 + r, -r / 2.0
    bands[1, -1] = 1.0 + r / 2.0  # no heat through the bottom
    column = np.full(count, 15.0)
    seen = []
    for before, after in pairwise(surface_c):
        above = np.concatenate(([before], column[:-1]))
        below = np.concatenate((column[1:], [column[-1]]))
        right = column + r / 2.0 * (above - 2.0 * column + below)
        right[0] += r / 2.0 * after
        column = solve_banded((1, 1), bands, right)
        seen.append(column[round(depth_m / dz_m) - 1])
    year = 8766 // step_h if daily_k == 0.0 else 240
    start = START - timedelta(minutes=30)
    expected = seen[-year:]
    ours = soil_c(start, years_h + 1, **climate, depth_m=depth_m)[::step_h][1:][-year:]
    assert pytest.approx(expected, abs=0.05) == ours


def test_a_room_follows_the_air_within_its_limits() -> None:
    """Four kelvin above the air, never under 2 degC nor over 30; contradicting limits keep frost out."""
    assert pytest.approx([2.0, 14.0, 30.0]) == follow([-10.0, 10.0, 29.0], 4.0, 2.0, 30.0)
    assert pytest.approx([-6.0]) == follow([-10.0], 4.0)
    assert pytest.approx([5.0]) == follow([0.0], 0.0, 5.0, 3.0)
