"""What a data logger's file says: what is wrong with it, and the readings that can be taken from it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from cyclesim.decide.readings.doubts import Floats
from cyclesim.scenario.blocks.heat_sources import Electric
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.blocks.readings import Cooling, Energy, LogFile, Reading, Running, WarmUp
from cyclesim.scenario.blocks.weather import WeatherFile
from cyclesim.scenario.text.log_file import Log
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.hourly_weather import standard_time, weather

_H, _DAY_S = 3600.0, 86_400
_GAP = 1.5
"""Steps without a row that count as a gap."""
_COOLS_S, _WARMS_S, _CHANGES_K, _MEAN_OF = 3.0 * _H, 1.0 * _H, 0.5, 3
"""A cooling or warm-up worth reading: so long, by so much; its ends are means of so many rows."""
_ALONE = 0.1
"""In so large a share of the rows with a source on, at least, nothing else is taken to be on."""
_SHIFTS_H = np.arange(-3.0, 3.01, 0.25)
_BETTER, _OFFSET_K = 0.7, 0.5
"""A clock is off where the air fits the weather so much better otherwise; an offset is told from this on."""
_STRETCHES, _DAYS = 3, 7
"""So many coolings and warm-ups, and days of energy and running, are read off a log."""


@dataclass(frozen=True, slots=True)
class Gap:
    """Time without a row: from the last row before it to the first after it, as the log writes times."""

    begins: str
    ends: str


@dataclass(frozen=True, slots=True)
class Logged:
    """A log: its rows, what is wrong with it, and what was read off it.

    *repeated* counts rows whose time another row has. *clock_ahead_h* is by how much its clock is ahead, and
    *air_off_k* by how much its air reads warmer than the weather; both are known only beside a weather file,
    None where it is not.
    """

    file: str
    rows: int
    begins: str
    ends: str
    step_s: float
    gaps: tuple[Gap, ...]
    repeated: int
    clock_ahead_h: float | None
    air_off_k: float | None
    readings: tuple[str, ...]


def logged(scenario: Scenario, about: LogFile, log: Log) -> tuple[Logged, list[Reading]]:
    """What a log says, and the readings taken from it: coolings with all off, warm-ups by one
    electric source, and of whole days energy and how long pumps ran.

    Raises InputError where the scenario's weather file does not cover the log.
    """
    order = np.argsort(np.array(log.times, dtype="datetime64[s]"), kind="stable")
    times = np.array(log.times, dtype="datetime64[s]")[order]
    fresh = np.concatenate([[True], np.diff(times) > np.timedelta64(0, "s")])
    repeated, at = int(np.count_nonzero(~fresh)), times[fresh]
    columns = {key: np.asarray(values)[order][fresh] for key, values in log.columns.items()}
    seconds = (at - at[0]) / np.timedelta64(1, "s")
    steps = np.diff(seconds)
    step = float(np.median(steps)) if len(steps) else 0.0
    wide = np.flatnonzero(steps > _GAP * step)
    gaps = tuple(Gap(_said(at[k]), _said(at[k + 1])) for k in wide)
    ahead, offset = _beside_weather(scenario, about, at[0].astype(datetime), seconds, columns)
    if offset is not None and "air_c" in columns:
        columns["air_c"] = columns["air_c"] - offset
    readings = list[Reading](_warmths(scenario, seconds, columns, step))
    readings += _between_days(scenario, about, at, columns, step)
    names = tuple(reading.words for reading in readings)
    ends = _said(at[0]), _said(at[-1])
    return Logged(about.file, len(log.times), *ends, step, gaps, repeated, ahead, offset, names), readings


def _said(moment: np.datetime64) -> str:
    return str(moment.astype("datetime64[m]")).replace("T", " ")


def _utc(scenario: Scenario, about: LogFile, naive: datetime) -> datetime:
    """An instant of the log by the clock that it is meant by."""
    as_utc = naive.replace(tzinfo=UTC)
    if about.times == "utc":
        return as_utc
    standard = standard_time(as_utc, ZoneInfo(scenario.place.time_zone))
    return as_utc - (standard - naive)


def _beside_weather(
    scenario: Scenario, about: LogFile, first: datetime, seconds: Floats, columns: dict[str, Floats]
) -> tuple[float | None, float | None]:
    """How far the clock is ahead [h], and the air's sensor above the weather's [K]."""
    air = columns.get("air_c")
    if air is None or not isinstance(scenario.place.weather, WeatherFile) or seconds[-1] < _DAY_S:
        return None, None
    margin = int(_H * (_SHIFTS_H[-1] + 1.0))
    begin = _utc(scenario, about, first) - timedelta(seconds=margin)
    hourly = weather(scenario, begin, 0, int(seconds[-1]) + 2 * margin).air_c
    middles = _H * (np.arange(len(hourly)) + 0.5) - margin
    there = np.isfinite(air)
    apart = [air[there] - np.interp(seconds[there] - shift * _H, middles, hourly) for shift in _SHIFTS_H]
    spread = np.array([float(np.std(a)) for a in apart])
    best, as_is = int(np.argmin(spread)), int(np.argmin(np.abs(_SHIFTS_H)))
    chosen = best if spread[best] < _BETTER * spread[as_is] else as_is
    off = float(np.mean(apart[chosen]))
    return float(_SHIFTS_H[chosen]), off if abs(off) > _OFFSET_K else 0.0


def _warmths(
    scenario: Scenario, seconds: Floats, columns: dict[str, Floats], step: float
) -> Iterator[Cooling | WarmUp]:
    """The longest stretches in which nothing runs and the water cools, or in which one source warms it."""
    if len(seconds) < 2:
        return
    off = _all_off(scenario, columns)
    if off is not None:
        for of in _changes(off, seconds, columns, step, _COOLS_S, rises=False):
            yield Cooling.model_validate({"kind": "cooling", **of})
    on = _heated(scenario, columns)
    if on is not None and (heating := scenario.schedule.heating) is not None:
        by = {"kind": "warm_up", "heat": heating.sources[0], "with": [str(heating.pump)]}
        for of in _changes(on, seconds, columns, step, _WARMS_S, rises=True):
            yield WarmUp.model_validate({**by, **of})


def _changes(
    usable: NDArray[np.bool_],
    seconds: Floats,
    columns: dict[str, Floats],
    step: float,
    least_s: float,
    *,
    rises: bool,
) -> Iterator[dict[str, str]]:
    """What a reading says of the longest stretches of usable rows over which the water changes enough."""
    water = columns["water_c"]
    usable = usable & np.isfinite(water)
    parts = np.flatnonzero(~usable[1:] | ~usable[:-1] | (np.diff(seconds) > _GAP * step)) + 1
    stretches = [part for part in np.split(np.arange(len(seconds)), parts) if len(part) > 2 * _MEAN_OF]
    stretches.sort(key=lambda part: seconds[part[0]] - seconds[part[-1]])
    for part in stretches[:_STRETCHES]:
        head, tail = part[:_MEAN_OF], part[-_MEAN_OF:]
        took_s = float(np.mean(seconds[tail]) - np.mean(seconds[head]))
        began, ended = float(np.mean(water[head])), float(np.mean(water[tail]))
        if took_s < least_s or (ended - began if rises else began - ended) < _CHANGES_K:
            continue
        of = {"from": f"{began:.2f} degC", "to": f"{ended:.2f} degC", "took": f"{took_s:.0f} s"}
        air = columns.get("air_c", np.full(len(water), np.nan))[part]
        if np.isfinite(air).all():
            of["air"] = f"{float(np.mean(air)):.2f} degC"
        yield of


def _heated(scenario: Scenario, columns: dict[str, Floats]) -> NDArray[np.bool_] | None:
    """The rows in which the heating's one electric source is on with its pump and nothing else, by the power.

    None where no power is logged, the heating has another source, or the power of all else together could be
    taken for the source's half.
    """
    heating, plant = scenario.schedule.heating, Assembly(scenario)
    if heating is None or len(heating.sources) != 1 or "power_w" not in columns:
        return None
    source = plant.sheet.heat_sources[heating.sources[0]]
    if not isinstance(source, Electric):
        return None
    speeds = {name: [speed.power_w for speed in of.values()] for name, of in plant.speeds.items()}
    pump_w = plant.speeds[heating.pump.pump][heating.pump.speed].power_w
    others = [w for name, of in speeds.items() if name != heating.pump.pump for w in of]
    others += [blower.power_w for blower in plant.sheet.air.values()]
    others += [w - pump_w for w in speeds[heating.pump.pump] if w > pump_w]
    half_w = pump_w + 0.5 * source.output_w
    if pump_w + sum(others) > half_w:
        return None
    power = columns["power_w"]
    on = np.asarray(power > half_w)
    if others and on.any():
        on &= power < float(np.quantile(power[on], _ALONE)) + 0.5 * min(others)
    for name in plant.pumps:
        if name in columns and name != heating.pump.pump:
            on &= columns[name] <= 0.0
    return on


def _all_off(scenario: Scenario, columns: dict[str, Floats]) -> NDArray[np.bool_] | None:
    """The rows in which nothing runs, by the power or else by every pump; None where neither is logged."""
    plant = Assembly(scenario)
    if "power_w" in columns:
        least_w = min(speed.power_w for speeds in plant.speeds.values() for speed in speeds.values())
        return np.asarray(columns["power_w"] < 0.5 * least_w)
    if set(plant.pumps) <= columns.keys():
        return np.asarray(np.all([columns[pump] <= 0.0 for pump in plant.pumps], axis=0))
    return None


def _between_days(
    scenario: Scenario, about: LogFile, at: NDArray[np.datetime64], columns: dict[str, Floats], step: float
) -> Iterator[Energy | Running]:
    """The plant's energy, and how long each pump ran, in whole local days."""
    if not 0.0 < step <= _H:
        return
    for name in ("power_w", *(name for name in columns if name in scenario.plant.pumps)):
        if name not in columns:
            continue
        whole = _whole_days(scenario, about, at, columns[name], step)
        summed = sum(integral for _, integral in whole)
        if summed <= 0.0:
            continue
        between = [whole[0][0].isoformat(), (whole[-1][0] + timedelta(days=1)).isoformat()]
        if name == "power_w":
            of = {"kind": "energy", "reads": f"{summed / 3.6e6:.3f} kWh", "between": between}
            yield Energy.model_validate(of)
        else:
            of = {"kind": "running", "reads": f"{summed:.0f} s", "of": name, "between": between}
            yield Running.model_validate(of)


def _whole_days(
    scenario: Scenario, about: LogFile, at: NDArray[np.datetime64], column: Floats, step: float
) -> list[tuple[date, float]]:
    """The longest run of whole local days without a gap, seven at most: each with the column's integral."""
    zone = ZoneInfo(scenario.place.time_zone)
    shift = _utc(scenario, about, at[0].astype(datetime)) - at[0].astype(datetime).replace(tzinfo=UTC)
    unix = at.astype("datetime64[s]").astype(np.int64) + shift.total_seconds()
    first, last = (datetime.fromtimestamp(float(unix[k]), zone).date() for k in (0, -1))
    whole = list[tuple[date, float]]()
    best = whole
    for k in range((last - first).days + 1):
        day = first + timedelta(days=k)
        begins, ends = (
            datetime(d.year, d.month, d.day, tzinfo=zone).timestamp() for d in (day, day + timedelta(days=1))
        )
        rows = (unix >= begins) & (unix < ends) & np.isfinite(column)
        full = np.count_nonzero(rows) * step > ends - begins - 1.5 * step
        mean = float(np.mean(column[rows])) if full else 0.0
        whole = [*whole, (day, mean * (ends - begins))] if full else []
        best = whole if len(whole) > len(best) else best
    return best[:_DAYS]
