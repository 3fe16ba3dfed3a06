"""Hourly weather and zones of a described climate, and moist air by psychrolib."""

from datetime import datetime, timedelta
from math import cos, exp, pi, sin, sqrt
from zoneinfo import ZoneInfo

import numpy as np
import psychrolib

from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.blocks.weather import Climate

HOUR_S, DAY_S, YEAR_S = 3600, 86_400.0, 365.2425 * 86_400.0
SOIL_M2_S, PRESSURE_PA = 0.6e-6, 101_325.0
psychrolib.SetUnitSystem(psychrolib.SI)


class Weather:
    """Means of each hour from an instant on: the air, every zone, the sky."""

    def __init__(self, scenario: Scenario, begin_utc: datetime, hours: int) -> None:
        about = scenario.place.weather
        assert isinstance(about, Climate)
        self.humidity, self.wind_m_s, self.mean_c = about.humidity, about.wind_m_s, about.mean_c
        zone = ZoneInfo(scenario.place.time_zone)
        winter = min(begin_utc.astimezone(zone).replace(month=m, day=1).utcoffset() for m in (1, 7))
        standard = begin_utc.replace(tzinfo=None) + winter
        middles = [standard + timedelta(seconds=HOUR_S * (k + 0.5)) for k in range(hours)]
        self.hours = [standard + timedelta(seconds=HOUR_S * k) for k in range(hours)]

        def wave(period_s: float, peak: datetime, depth_m: float) -> np.ndarray:
            """An hour's mean of a cosine that peaks at *peak*, faded and late at a depth."""
            fade = depth_m / sqrt(SOIL_M2_S * period_s / pi)
            half = pi * HOUR_S / period_s
            share = exp(-fade) * sin(half) / half
            return np.array(
                [share * cos(2 * pi * (m - peak).total_seconds() / period_s - fade) for m in middles]
            )

        month, day = about.coldest_day
        coldest = datetime(2000, month, day, 12)  # noon; the year runs on without a seam
        warmest_hour = datetime(2000, month, day) + timedelta(hours=about.warmest_hour)

        def at(depth_m: float) -> np.ndarray:
            year = -about.seasonal_swing_k * wave(YEAR_S, coldest, depth_m)
            return about.mean_c + year + about.daily_swing_k * wave(DAY_S, warmest_hour, depth_m)

        self.air_c = at(0.0)
        self.zones: dict[str, np.ndarray] = {}
        for name, z in scenario.place.zones.items():
            assert z.loses_w_k is None
            assert not (z.needs_power and scenario.schedule.outages)
            if z.always_c is not None:
                self.zones[name] = np.full(hours, z.always_c)
            elif z.depth_m is not None:
                self.zones[name] = at(z.depth_m)
            else:
                low = -99.0 if z.never_below_c is None else z.never_below_c
                high = 99.0 if z.never_above_c is None else z.never_above_c
                self.zones[name] = np.clip(self.air_c + z.above_by_k, low, high)
        self.sky_c = np.array([sky_c(t, about.humidity, about.cloud) for t in self.air_c])


def sun_w(weather: Weather, summer_w: float, winter_w: float) -> np.ndarray:
    """Hourly means of collectors' sun: half a sine about noon, 16 h long at midsummer, 8 h at midwinter.

    Length and height go from the one to the other by a cosine over the year, day by day; ten seconds a step.
    """
    found = []
    for begin in weather.hours:
        t = (begin - datetime(2000, 6, 21)).total_seconds() + np.arange(5.0, HOUR_S, 10.0)
        summer = 0.5 + 0.5 * np.cos(2 * pi * (t // DAY_S) * DAY_S / YEAR_S)
        lasts_s = HOUR_S * (8.0 + 8.0 * summer)
        since_s = t % DAY_S - (12.0 * HOUR_S - lasts_s / 2)
        height = np.sin(pi * since_s / lasts_s) * (winter_w + (summer_w - winter_w) * summer)
        found.append(np.where((since_s > 0) & (since_s < lasts_s), height, 0.0).mean())
    return np.array(found)


def sky_c(air_c: float, humidity: float, cloud: float) -> float:
    """A black sky's temperature: Berdahl and Martin by dew point; cloud fills 0.784 of what is missing."""
    dew = max(psychrolib.GetTDewPointFromRelHum(air_c, humidity), -38.0) / 100.0
    clear = min(1.0, 0.711 + 0.56 * dew + 0.73 * dew**2)
    return float((clear + (1.0 - clear) * 0.784 * cloud) ** 0.25 * (air_c + 273.15) - 273.15)
