"""Hourly weather and zone temperatures of a run, from a described climate, monthly means or a file."""

from __future__ import annotations

from array import array
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, time, timedelta
from functools import lru_cache
from typing import NamedTuple, overload
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from cyclesim.errors import Fault, InputError
from cyclesim.physics import climate, monthly
from cyclesim.physics.evaporation import sky_c
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.blocks.weather import Climate, Monthly, WeatherFile
from cyclesim.scenario.text.csv_file import DAY_S, Series
from cyclesim.simulation.cold_spell import ColdDays, colder_by, worst_hour
from cyclesim.simulation.setpoints import set_points
from cyclesim.simulation.trace import Span, Zones

HOUR_S = 3600
Ints = NDArray[np.int64]
Floats = NDArray[np.float64]


class Weather(NamedTuple):
    """Hourly means outdoors; the first hour begins at *origin_s*. Humidity 0..1, wind at the water."""

    origin_s: int
    air_c: list[float]
    humidity: list[float]
    wind_m_s: list[float]
    sky_c: Sequence[float]


class Sky(Sequence[float]):
    """Hourly temperatures of a black sky [degC], each when it is first asked for: a cover hides most."""

    def __init__(self, air_c: Sequence[float], humidity: Sequence[float], cloud: Sequence[float]) -> None:
        self._air_c, self._humidity, self._cloud = air_c, humidity, cloud
        self._known: dict[int, float] = {}

    def __len__(self) -> int:
        return len(self._air_c)

    @overload
    def __getitem__(self, hour: int) -> float: ...
    @overload
    def __getitem__(self, hour: slice) -> list[float]: ...
    def __getitem__(self, hour: int | slice) -> float | list[float]:
        if isinstance(hour, slice):
            return [self[k] for k in range(*hour.indices(len(self)))]
        known = self._known.get(hour)
        if known is None:
            known = sky_c(self._air_c[hour], self._humidity[hour], self._cloud[hour])
            self._known[hour] = known
        return known


def weather(scenario: Scenario, begin_utc: datetime, before_s: int, span_s: int) -> Weather:
    """The weather from *before_s* before the start to the end of the span and an hour more.

    Raises InputError where a file does not cover the span; before the span its first day serves.
    """
    hours = _Hours(scenario, begin_utc, before_s, span_s, cold_days(scenario))
    about = scenario.place.weather
    air, count = hours.air_c(), hours.count
    columns = about.file.columns if isinstance(about, WeatherFile) else {}

    def column(key: str, otherwise: float) -> list[float]:
        return (
            hours.means(about.file, key)
            if isinstance(about, WeatherFile) and key in columns
            else [otherwise] * count
        )

    humidity, wind = column("humidity", about.humidity), column("wind_m_s", about.wind_m_s)
    if isinstance(about, WeatherFile) and "wind_m_s" in columns:
        wind = [about.wind_at_water * speed for speed in wind]
    if "sky_c" in columns:
        sky: Sequence[float] = column("sky_c", 0.0)
    else:
        sky = Sky(air, humidity, column("cloud", about.cloud))
    return Weather(-before_s, air, humidity, wind, sky)


def fill_c(scenario: Scenario) -> float:
    """How cold the tub is filled [degC]: as the file says, or the year's mean air."""
    given = scenario.plant.tub.fill_water_c
    return mean_air_c(scenario.place.weather) if given is None else given


def mean_air_c(about: Climate | Monthly | WeatherFile) -> float:
    """Mean air temperature of the year that is described, or of all that a file has [degC]."""
    if isinstance(about, Climate):
        return about.mean_c
    values = about.monthly_means_c if isinstance(about, Monthly) else about.file.columns["air_c"]
    return float(np.mean(values))


def zones(
    scenario: Scenario, begin_utc: datetime, before_s: int, span_s: int, dark: Sequence[Span] = ()
) -> Zones:
    """Every zone's hourly temperature over the same hours; *dark*: when there is no power [s]."""
    hours = _Hours(scenario, begin_utc, before_s, span_s, cold_days(scenario))
    air = hours.air_c()
    series: dict[str, list[float]] = {}
    powerless: dict[str, list[float]] = {}
    for name, zone in scenario.place.zones.items():
        if zone.always_c is not None:
            series[name] = [zone.always_c] * hours.count
        elif zone.depth_m is not None:
            series[name] = hours.air_c(zone.depth_m)
        else:
            heater, _ = scenario.room_loads(name)
            low_c = heater.starts_below_c if heater else zone.never_below_c  # until a run has warmed the room
            series[name] = climate.follow(air, zone.above_by_k, low_c, zone.never_above_c)
        if scenario.needs_power(name):
            powerless[name] = climate.follow(air, zone.above_by_k, None, zone.never_above_c)
            series[name] = in_the_dark(series[name], powerless[name], -before_s, dark)
    return Zones(-before_s, series, powerless, tuple(dark))


def in_the_dark(
    kept_c: list[float], powerless_c: Sequence[float], origin_s: int, dark: Sequence[Span]
) -> list[float]:
    """Hourly means of a zone that is at once as cold as unheated while there is no power.

    *kept_c* with power and *powerless_c* without [degC], from *origin_s* on; *dark*: when there is none [s].
    """
    mixed = list(kept_c)
    for start, end in dark:
        for hour in range((start - origin_s) // HOUR_S, min(len(mixed), -(-(end - origin_s) // HOUR_S))):
            since = origin_s + HOUR_S * hour
            share = (min(end, since + HOUR_S) - max(start, since)) / HOUR_S
            mixed[hour] += share * (powerless_c[hour] - kept_c[hour])
    return mixed


def cold_days(scenario: Scenario) -> ColdDays | None:
    """The cold spell of a scenario, at its worst date unless the file names one; None without."""
    spell, about = scenario.place.cold_spell, scenario.place.weather
    if spell is None:
        return None
    hours, year = -(-round(spell.lasts_s) // HOUR_S), datetime(scenario.place.year, 1, 1)
    begins, count = year, 365 * 24
    if spell.from_date is not None:
        begins, count = datetime.combine(spell.from_date, time()), hours
    elif isinstance(about, WeatherFile) and about.file.days < 365:  # whole days of it, on any clock
        begins = datetime.combine(about.file.start, time()) + timedelta(days=1)
        count = max(hours, 24 * int(about.file.days - 2))
    ahead = standard_time(year.replace(tzinfo=UTC), ZoneInfo(scenario.place.time_zone)) - year
    begin_utc = (begins - ahead).replace(tzinfo=UTC)
    usual_c = _Hours(scenario, begin_utc, 0, HOUR_S * (count - 1)).air_c()
    worst = 0
    if spell.from_date is None:
        worst = worst_hour(usual_c, _kept_c(scenario, begin_utc, count), hours)
    above_k = min(usual_c[worst : worst + hours]) - spell.lowest_c
    at = begins + timedelta(hours=worst)
    return ColdDays(at, hours, max(0.0, above_k), spell.from_date is None)


def _kept_c(scenario: Scenario, begin_utc: datetime, count: int) -> list[float] | None:
    """What the water is kept at in each hour [degC]; None where nothing heats it."""
    if scenario.schedule.heating is None:
        return None
    levels = set_points(scenario, begin_utc, HOUR_S * count, ()).levels
    at_s, kept_c = (np.array(column) for column in zip(*levels, strict=True))
    hours = np.searchsorted(at_s, HOUR_S * np.arange(count), side="right") - 1
    kept: list[float] = kept_c[np.maximum(0, hours)].tolist()
    return kept


class _Hours:
    """The hours of one run: temperatures and other columns as hourly means."""

    def __init__(
        self,
        scenario: Scenario,
        begin_utc: datetime,
        before_s: int,
        span_s: int,
        spell: ColdDays | None = None,
    ) -> None:
        self.about = scenario.place.weather
        self.begin_utc, self.before_s, self.span_s = begin_utc, before_s, span_s
        self.zone = ZoneInfo(scenario.place.time_zone)
        self._standard = standard_time(begin_utc, self.zone)
        self.count = -(-(before_s + span_s) // HOUR_S) + 1
        self.spell = spell

    def air_c(self, depth_m: float = 0.0) -> list[float]:
        """Hourly air temperature, or that of the soil at a depth under it, cold spell and all."""
        usual = self._usual_c(depth_m)
        if self.spell is None:
            return usual
        first = self._standard - timedelta(seconds=self.before_s)
        colder: list[float] = (usual - colder_by(self.spell, first, self.count, depth_m)).tolist()
        return colder

    def _usual_c(self, depth_m: float) -> list[float]:
        about = self.about
        if isinstance(about, Climate):
            return climate.soil_c(
                self._standard - timedelta(seconds=self.before_s),
                self.count,
                mean_c=about.mean_c,
                seasonal_swing_k=about.seasonal_swing_k,
                daily_swing_k=about.daily_swing_k,
                coldest_day=about.coldest_day,
                depth_m=depth_m,
                warmest_hour=about.warmest_hour,
            )
        series = about.file if isinstance(about, WeatherFile) else _year(about)
        if depth_m > 0.0:
            soil = monthly.soil_under(series.columns["air_c"], series.step_s, depth_m)
            series = replace(series, columns={"air_c": array("d", soil)})
        return self.means(series, "air_c")

    def means(self, series: Series, key: str) -> list[float]:
        """Hourly means of one column."""
        times = self.about.times if isinstance(self.about, WeatherFile) else "local standard"
        begin = on_clock(times, self.begin_utc, self.zone)
        first = begin - timedelta(seconds=self.before_s)
        last = first + timedelta(hours=self.count)
        edges, values = unrolled(
            series, key, first, last, (begin, begin + timedelta(seconds=self.span_s)), "place.weather.file"
        )
        sums = np.concatenate([[0.0], np.cumsum(values * np.diff(edges))])
        at = np.interp(HOUR_S * np.arange(self.count + 1.0), edges, sums)
        means: list[float] = np.round(np.diff(at) / HOUR_S, 8).tolist()  # summing leaves no more than 1e-9
        return means


@lru_cache(maxsize=8)
def _year(about: Monthly) -> Series:
    """A year of hours of monthly means; 2001 is any year of 365 days."""
    hours = monthly.year_from_means(about.monthly_means_c, about.daily_swing_k, about.warmest_hour)
    return Series("", datetime(2001, 1, 1), HOUR_S, {"air_c": array("d", hours)})


# -- clocks --------------------------------------------------------------------------------------------------


def standard_time(at_utc: datetime, zone: ZoneInfo) -> datetime:
    """Naive local time without summer time: the sun knows no clock change.

    The smaller offset of January and July, because some zones call their winter time the special one.
    """
    year = at_utc.astimezone(zone).year
    offsets = [datetime(year, month, 1, tzinfo=zone).utcoffset() or timedelta() for month in (1, 7)]
    return at_utc.astimezone(UTC).replace(tzinfo=None) + min(offsets)


def on_clock(times: str, at_utc: datetime, zone: ZoneInfo) -> datetime:
    """An instant on the clock that a file's times are meant by."""
    return at_utc.astimezone(UTC).replace(tzinfo=None) if times == "utc" else standard_time(at_utc, zone)


# -- the steps of a file laid along a run ------------------------------------------------------------


def unrolled(
    series: Series, key: str, first: datetime, last: datetime, needed: tuple[datetime, datetime], path: str
) -> tuple[Floats, Floats]:
    """Edges [s from *first*] of the steps that cover first to last, and the value of each.

    A time inside the file has the file's value. Otherwise a file of one year (365 or 366 days, perhaps with a
    closing row) serves by the day of the year, 29 February by the 28th. A shorter or longer file serves its
    own dates only, and InputError says which of the *needed* ones it lacks; outside of them its first day
    is repeated.
    """
    step, count = series.step_s, series.steps
    begin = int((first - series.start).total_seconds() // step)
    end = -int(-(last - series.start).total_seconds() // step)
    at = np.arange(begin, end)
    index = np.where((at >= 0) & (at < count), at, -1)
    if 365 * DAY_S <= count * step <= 366 * DAY_S + step:
        table, slots = _by_day_of_year(series, np.arange(count)), _slots(series, at)
        index = np.where(index >= 0, index, table[slots])
    start, stop = ((t - series.start).total_seconds() / step for t in needed)
    missing = index < 0
    lacking = missing & (at + 1 > start) & (at < stop)
    if lacking.any():
        raise InputError(_lacks(series, at[lacking], needed, path))
    index = np.where(missing, at % min(count, DAY_S // step), index)
    offset_s = (series.start - first).total_seconds()
    values = np.frombuffer(series.columns[key])[index]
    return offset_s + step * np.arange(begin, end + 1.0), values


def _slots(series: Series, at: Ints) -> Ints:
    """Which step of a year of 365 days each step of a series is; 29 February is the 28th again."""
    time = np.datetime64(series.start, "s") + (at * series.step_s).astype("m8[s]")
    years = time.astype("M8[Y]")
    day = (time.astype("M8[D]") - years.astype("M8[D]")).astype(int)
    leap = (years + 1).astype("M8[D]") - years.astype("M8[D]") == np.timedelta64(366, "D")
    in_day = (time - time.astype("M8[D]")).astype(int) // series.step_s
    slots: Ints = (day - (leap & (day >= 59))) * (DAY_S // series.step_s) + in_day
    return slots


def _by_day_of_year(series: Series, at: Ints) -> Ints:
    """For each step of a year, the file's step that serves it, or -1; a 29 February serves no other day."""
    time = np.datetime64(series.start, "s") + (at * series.step_s).astype("m8[s]")
    of_month = (time.astype("M8[D]") - time.astype("M8[M]").astype("M8[D]")).astype(int)
    at = at[~((time.astype("M8[M]").astype(int) % 12 == 1) & (of_month == 28))]
    table = np.full(365 * DAY_S // series.step_s, -1)
    table[_slots(series, at[::-1])] = at[::-1]  # where two would serve, the first in the file does
    return table


def _lacks(series: Series, at: Ints, needed: tuple[datetime, datetime], path: str) -> Fault:
    """The fault of a file that does not cover a run, with the dates that are missing."""
    step = timedelta(seconds=series.step_s)
    breaks = np.flatnonzero(np.diff(at) > 1) + 1
    ranges = [
        (series.start + int(r[0]) * step, series.start + int(r[-1] + 1) * step) for r in np.split(at, breaks)
    ]
    gaps = ", ".join(f"{_day(max(a, needed[0]))} to {_day(min(b, needed[1]))}" for a, b in ranges[:3])
    more = f" and {len(ranges) - 3} more" if len(ranges) > 3 else ""
    file, line, column = series.named_at or (series.name, 0, 0)
    covers = f"values from {_day(series.start)} to {_day(series.start + series.steps * step)}"
    return Fault(
        file,
        line,
        column,
        path,
        f"'{series.name}', {covers}",
        f"the run goes from {_day(needed[0])} to {_day(needed[1])}; missing: {gaps}{more}",
        "a file of one whole year serves any year" if series.days < 365 else "run days that it covers",
    )


def _day(time: datetime) -> str:
    return f"{time:%Y-%m-%d %H:%M}"


def below(series: Sequence[float], origin_s: int, starts_c: float, stops_c: float) -> list[Span]:
    """Spans in which an hourly *series* calls: from the hour below *starts_c* to that above *stops_c*."""
    spans: list[Span] = []
    since: int | None = None
    for hour, temp in enumerate(series):
        at = origin_s + HOUR_S * hour
        if since is None and temp < starts_c:
            since = at
        elif since is not None and temp > stops_c:
            spans.append((since, at))
            since = None
    if since is not None:
        spans.append((since, origin_s + HOUR_S * len(series)))
    return spans
