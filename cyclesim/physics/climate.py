"""A described climate as hourly series: air, soil at a depth, and zones that follow the air.

Year and day are one cosine each. The phases are fixed to a calendar day of the year 2000 and run on without a
seam, so any two runs agree about the same hour and ten years join. Times are local standard time (no summer
time), because the sun knows no other.
"""

from collections.abc import Sequence
from datetime import datetime
from math import exp, pi, sin, sqrt

import numpy as np
from numpy.typing import NDArray

YEAR_S = 365.2425 * 86400.0
DAY_S = 86400.0
HOUR_S = 3600.0
SOIL_M2_S = 0.6e-6  # moist loam; 0.2e-6 dry sand to 1e-6 wet clay or rock; common practice, no source


def soil_c(
    start_local_standard: datetime,
    hours: int,
    *,
    mean_c: float,
    seasonal_swing_k: float,
    daily_swing_k: float,
    coldest_day: tuple[int, int],
    depth_m: float,
    warmest_hour: float = 15.0,
    diffusivity_m2_s: float = SOIL_M2_S,
) -> list[float]:
    """Mean soil temperature [degC] of each hour at depth_m under a surface that has the air's temperature.

    start_local_standard: a naive local standard time, full hour or not, at which the first of so many hours
    begins. mean_c: the year's mean air [degC]; seasonal_swing_k and daily_swing_k: plus or minus so much [K];
    coldest_day: (month, day); warmest_hour: of the day [h], the coldest is 12 h from it. depth_m [m]: at 0 it
    is the air itself. diffusivity_m2_s: of the soil [m2/s].

    Each wave fades by exp(-z/d) and lags by z/d radians, d = sqrt(diffusivity period / pi): the semi-infinite
    solid of Carslaw & Jaeger, as Kusuda & Achenbach (1965) use it for the ground; both from memory, not
    opened. No ground water, snow, frost or sun on the ground.
    Raises ValueError for a negative depth, and for a day that is in no year.
    """
    if not (depth_m >= 0.0 and diffusivity_m2_s > 0.0):
        raise ValueError(f"no soil at a depth of {depth_m} m with a diffusivity of {diffusivity_m2_s} m2/s")
    month, day = coldest_day
    since_s = (start_local_standard - datetime(2000, month, day)).total_seconds()
    middle_s = since_s + HOUR_S * (np.arange(hours) + 0.5)

    def wave(period_s: float, peak_s: float) -> NDArray[np.float64]:
        fade = depth_m / sqrt(diffusivity_m2_s * period_s / pi)
        half = pi * HOUR_S / period_s  # the mean of a cosine over an hour is its middle times sin(x)/x
        unit: NDArray[np.float64] = np.cos(2.0 * pi * (middle_s - peak_s) / period_s - fade)
        return unit * (exp(-fade) * sin(half) / half)

    # the coldest day is coldest at its noon, half a year from the peak
    year = wave(YEAR_S, DAY_S / 2.0 + YEAR_S / 2.0)
    of_day = wave(DAY_S, warmest_hour * HOUR_S)
    series: list[float] = (mean_c + seasonal_swing_k * year + daily_swing_k * of_day).tolist()
    return series


def follow(
    air_c: Sequence[float],
    above_by_k: float = 0.0,
    never_below_c: float | None = None,
    never_above_c: float | None = None,
) -> list[float]:
    """Hourly temperature (degC) of a room warmer than the air by above_by_k, kept within two limits.

    Where the limits contradict each other, never_below_c wins: it stands for a heater.
    """
    low = float("-inf") if never_below_c is None else never_below_c
    high = float("inf") if never_above_c is None else never_above_c
    series: list[float] = np.maximum(low, np.minimum(high, np.array(air_c) + above_by_k)).tolist()
    return series
