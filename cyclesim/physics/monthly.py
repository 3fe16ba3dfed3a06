"""Twelve monthly means as a year of hours, and soil under a series that no formula describes."""

from collections.abc import Sequence
from math import pi

import numpy as np

from cyclesim.physics.climate import DAY_S, HOUR_S, SOIL_M2_S

_DAYS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)


def year_from_means(
    means_c: Sequence[float], daily_swing_k: float, warmest_hour: float = 15.0
) -> list[float]:
    """Mean air temperature (degC) of each of the 8760 hours of a year of 365 days that repeats for ever.

    The sum of degree days is a periodic cubic spline through its values at the ends of the months, so that
    each month keeps its mean exactly and days pass smoothly from one to the next, the turn of the year too.
    The day is one cosine of plus or minus daily_swing_k, at its warmest at *warmest_hour* [h]. Raises
    ValueError unless there are twelve means.
    """
    from scipy.interpolate import CubicSpline

    if len(means_c) != 12:
        raise ValueError(f"a year has twelve means, not {len(means_c)}")
    mean = float(np.average(means_c, weights=_DAYS))
    edges = np.concatenate([[0.0], np.cumsum(_DAYS)])
    above = np.concatenate([[0.0], np.cumsum((np.array(means_c) - mean) * _DAYS)])
    above[-1] = 0.0  # rounding apart it is: the mean was taken out
    spline = CubicSpline(edges, above, bc_type="periodic")
    season = np.diff(spline(np.arange(8761) / 24.0)) * 24.0
    half = pi * HOUR_S / DAY_S  # the mean of a cosine over an hour is its middle times sin(x)/x
    day = np.cos(2.0 * pi * (np.arange(8760) + 0.5 - warmest_hour) / 24.0) * (np.sin(half) / half)
    series: list[float] = (mean + season + daily_swing_k * day).tolist()
    return series


def soil_under(surface_c: Sequence[float], step_s: float, depth_m: float) -> list[float]:
    """Soil temperature (degC) at depth_m under a surface of these even steps, which repeat for ever.

    Each wave of the series fades and lags as in climate.soil_c; the sum over all of them is exact for a
    series that is one period. Raises ValueError for a negative depth.
    """
    if depth_m < 0.0:
        raise ValueError(f"no soil at a depth of {depth_m} m")
    waves = np.fft.rfft(np.asarray(surface_c, dtype=float))
    omega = 2.0 * pi * np.fft.rfftfreq(len(surface_c), step_s)
    fade = depth_m * np.sqrt(omega / (2.0 * SOIL_M2_S))
    soil: list[float] = np.fft.irfft(waves * np.exp(-(1.0 + 1.0j) * fade), len(surface_c)).tolist()
    return soil
