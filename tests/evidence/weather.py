"""Weather: whole years of measured hours, and what they cost, beside degree hours and Carnot."""

from __future__ import annotations

import tempfile
import warnings
from collections.abc import Iterator
from functools import cache, partial
from math import log, pi
from pathlib import Path
from typing import Any

import numpy as np

from cyclesim.analysis.result import Result, simulate
from cyclesim.scenario.reading.load import load
from tests.evidence.plants import SCHEDULES
from tests.evidence.record import ARITHMETIC, PRACTICE, Check, near

YEARS = {"inland": "723170TYA.CSV", "coast": "703165TY.csv"}
"""Two typical years with frost of a US national laboratory, shipped with pvlib: 36 and 55 degrees north."""
KEEP_C, WITHIN_K, PUMP_W = 37.0, 0.2, 10.0

_CONSTANT_UA = """
format: 1
title: a covered tub whose every loss goes to the air outside
place:
  year: 2027
  time_zone: Etc/UTC
  weather: {file: town.csv}
  zones: {outside: {follows: weather}}
supply: {voltage: 230 V, breaker: 20 A, tariff: 0.20 EUR/kWh}
plant:
  tub:
    water: 1500 L
    surface: 3 m2
    cover: {foam: 80 mm, fit: good}
    shell: {wall: 50 mm, of: timber, insulation: 60 mm, area: 7 m2, zone: outside}
  legs:
    there: {pipe: 50 PN10, length: 5 m, insulation: 20 mm, zone: outside}
    back: {pipe: 50 PN10, length: 5 m, insulation: 20 mm, zone: outside}
  pumps: {pump: {max_head: 3 m, max_flow: 150 L/min, power: 30 W, heat_to_water: 33 %}}
  equipment: {filter: {kind: filter, drop: 0.5 m at 140 L/min, volume: 10 L, zone: outside}}
  heat_sources:
    element: {kind: electric, output: 3 kW, drop: 0.1 m at 140 L/min, volume: 2 L, needs_flow: 30 L/min,
              proof: {by: flow_switch}, zone: outside}
  network: [[tub, there, pump, filter, element, back, tub]]
schedule:
  filter_runs: [{pump: pump, start: "00:00", lasts: 24 h}]
  heating: {with: [element], pump: pump, keep_at: 37 degC, within: 0.2 K}
interlocks:
  - {block: element, unless: flow proven, for: 5 s}
  - {keep: pump, after: element, lasting: 30 s}
"""
# Each layer's conductivity and film as the report lists them; the arithmetic is written out apart.
_FOAM, _TIMBER, _PVC, _PIPE_FOAM = 0.036, 0.13, 0.19, 0.038
_OUTSIDE, _UNDER_COVER, _WATER, _PIPE, _HOUSING, _LEAKS = 1 / 25.0, 0.10, 1 / 300.0, 10.0, 8.0, 1.2


def _tub_ua_w_k() -> float:
    cover = 3.0 * _LEAKS / (_UNDER_COVER + 0.080 / _FOAM + _OUTSIDE)
    shell = 7.0 / (_WATER + 0.050 / _TIMBER + 0.060 / _FOAM + _OUTSIDE)
    return cover + shell


def _pipes_ua_w_k() -> float:
    """Ten metres of pipe, and two housings: cylinders twice as high as wide."""
    wall = log(50.0 / 45.2) / _PVC
    foam = log(90.0 / 50.0) / _PIPE_FOAM
    pipe = 10.0 / ((wall + foam) / (2.0 * pi) + 1.0 / (pi * 0.090 * _PIPE))
    widths = [(2.0 * volume / pi) ** (1.0 / 3.0) for volume in (0.010, 0.002)]
    return pipe + sum(_HOUSING * 2.5 * pi * width**2 for width in widths)


@cache
def hours(name: str) -> Any:
    """A year of pvlib's as a frame whose hours are named by their beginning."""
    import pandas as pd

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of other people's making
        import pvlib

        path = Path(pvlib.__file__).parent / "data" / YEARS[name]
        data, _ = pvlib.iotools.read_tmy3(path, coerce_year=1990, map_variables=True)
    frame = pd.DataFrame(
        {
            "temperature [degC]": data.temp_air,
            "humidity [%]": data.relative_humidity,
            "wind [m/s]": data.wind_speed,
            "cloud [%]": data["TotCld (tenths)"].clip(0, 10) * 10,
        }
    )
    frame.index = frame.index.tz_localize(None) - pd.Timedelta(hours=1)
    return frame


@cache
def year(name: str, plant: str, *sets: str) -> Result:
    """A year in that weather: of a shipped plant, or of the one whose losses all go outside."""
    with tempfile.TemporaryDirectory() as folder:
        here = Path(folder)
        text = (SCHEDULES / f"{plant}.yaml").read_text("utf-8") if plant != "constant" else _CONSTANT_UA
        (here / "tub.yaml").write_text(text, "utf-8")
        csv = hours(name).rename_axis("time").to_csv(date_format="%Y-%m-%d %H:%M")
        (here / "town.csv").write_text(csv, "utf-8")
        scenario = load(here / "tub.yaml", sets=("place.weather={file: town.csv}", *sets))
    return simulate(scenario)


def _air(name: str) -> Any:
    """The hours that a run saw outside, from its first day on."""
    trace = year(name, "constant").trace
    assert trace.zones is not None
    first = -trace.zones.origin_s // 3600
    return np.array(trace.zones.series["outdoors"])[first : first + 8760]


def _kwh_in(name: str, *sets: str) -> float:
    tub = year(name, "constant", *sets).metrics.tub
    return tub.heat_from_sources_kwh + tub.heat_from_pumps_kwh - tub.stored_change_kwh


def _degree_hours_kwh(name: str, ua_w_k: float) -> float:
    """UA times the file's own degree hours below the middle of the thermostat's band."""
    middle = KEEP_C - WITHIN_K / 2.0
    return float(ua_w_k * (middle - hours(name)["temperature [degC]"]).clip(lower=0.0).sum() / 1000.0)


def _cop_over_carnot(name: str) -> float:
    """The largest share of Carnot's COP in any piece of the year in which the heat pump ran."""
    result = year(name, "high-valley")
    rows, zones = result.trace.exchanges["heat_pump"], result.trace.zones
    assert zones is not None
    ran = rows.input_j > 0.0
    start, cop = rows.start_s[ran], rows.heat_j[ran] / rows.input_j[ran]
    air = np.array(zones.series["outdoors"])[((start - zones.origin_s) // 3600).astype(int)]
    water = np.interp(start, result.trace.tub.start_s, result.trace.tub.water_c)
    ideal = (water + 273.15) / np.maximum(water - air, 1e-9)
    return float(np.max(cop / ideal))


def _seasonal(name: str) -> float:
    cop = year(name, "high-valley").metrics.heat_sources["heat_pump"].seasonal_cop
    assert cop is not None
    return cop


def checks() -> Iterator[Check]:
    """Two measured years."""
    facts = {"inland": (-16.7, 14.4218, 35.6, 792, 347), "coast": (-10.6, 4.4207, 19.4, 1640, 531)}
    for name, file in YEARS.items():
        told = dict(
            zip(("coldest", "mean", "warmest", "below 0", "at or below -5"), facts[name], strict=True)
        )
        ours = {
            "coldest": lambda n=name: _air(n).min(),
            "mean": lambda n=name: _air(n).mean(),
            "warmest": lambda n=name: _air(n).max(),
            "below 0": lambda n=name: (_air(n) < 0.0).sum(),
            "at or below -5": lambda n=name: (_air(n) <= -5.0).sum(),
        }
        for what, says in told.items():
            frost = isinstance(says, int)
            yield near(
                f"{name}-{what.replace(' ', '-')}",
                "weather",
                f"hours {what} degC" if frost else f"{what} hour",
                file,
                "h" if frost else "degC",
                str(says),
                ours[what],
                0.0 if frost else 1e-3,
                "typical year of a US national laboratory, counted with pandas",
                "computed with pvlib 0.16.1 and pandas 3.1.1",
                relative=False,
            )
        every = _tub_ua_w_k() + _pipes_ua_w_k()
        yield near(
            f"{name}-degree-hours",
            "weather",
            "heat in a year, water always moving",
            f"{file}; UA {every:.2f} W/K, 36.9 degC",
            "kWh",
            partial(_degree_hours_kwh, name, every),
            partial(_kwh_in, name),
            0.001,
            "UA x degree hours of the file",
            ARITHMETIC,
        )
        rarely = ("schedule.filter_runs.0.lasts=15 min",)
        for how, ua in (("at least", _tub_ua_w_k()), ("at most", every)):
            what = "tub alone" if how == "at least" else "tub and pipes"
            yield near(
                f"{name}-standing-{how.replace(' ', '-')}",
                "weather",
                f"the same, water seldom moving, {how}",
                f"{file}; {what}, {ua:.2f} W/K",
                "kWh",
                partial(_degree_hours_kwh, name, ua),
                partial(_kwh_in, name, *rarely),
                0.005,
                "UA x degree hours: pipes between always and never warm",
                ARITHMETIC,
                how=how,  # type: ignore[arg-type]
            )
        yield near(
            f"{name}-carnot",
            "weather",
            "largest share of Carnot in any hour",
            f"{file}; high-valley",
            "",
            "1",
            partial(_cop_over_carnot, name),
            0.0,
            "second law, water and air of each hour",
            ARITHMETIC,
            how="at most",
            slow=True,
        )
        for how, says in (("at least", "2.0"), ("at most", "5.0")):
            yield near(
                f"{name}-seasonal-{how.replace(' ', '-')}",
                "weather",
                f"COP over the year, {how}",
                f"{file}; high-valley",
                "",
                says,
                partial(_seasonal, name),
                0.0,
                "air-to-water heat pumps for 38 degC",
                PRACTICE,
                how=how,  # type: ignore[arg-type]
                slow=True,
            )
