"""Weather of a run: described, monthly or from files, against pandas and the files' own numbers."""

import warnings
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest

from cyclesim.errors import InputError
from cyclesim.physics.evaporation import sky_c
from cyclesim.scenario.reading.load import load
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.engine import simulate_trace
from cyclesim.simulation.hourly_weather import Sky, standard_time, weather, zones
from cyclesim.simulation.programme import Programme

SHIPPED = Path(__file__).parents[2] / "schedules" / "walled-garden.yaml"
CLIMATE = "{mean: 15 degC, seasonal_swing: 7 K, daily_swing: 5 K, coldest_day: 20 January}"
DAY_S = 86_400


def utc(zone, *at):
    """An instant of a local clock."""
    return datetime(*at, tzinfo=ZoneInfo(zone)).astimezone(UTC)


def csv_of(frame):
    """A frame indexed by time in the CSV form; its columns are named as in the header."""
    return frame.rename_axis("time").to_csv(date_format="%Y-%m-%d %H:%M")


@pytest.fixture
def place(tmp_path):
    """The shipped walled garden with another weather, year and zone, and its CSV file."""

    def build(about="{file: town.csv}", frame=None, *sets, zone="Europe/Lisbon", soil="{always: 12 degC}"):
        text = SHIPPED.read_text(encoding="utf-8")
        for old, new in ((CLIMATE, about), ("Europe/Lisbon", zone), ("{depth: 600 mm}", soil)):
            assert old in text
            text = text.replace(old, new)
        (tmp_path / "tub.yaml").write_text(text, encoding="utf-8")
        if frame is not None:
            (tmp_path / "town.csv").write_text(csv_of(frame), encoding="utf-8")
        return load(tmp_path / "tub.yaml", sets=sets)

    return build


def counted(start, periods, freq="h", key="temperature [degC]"):
    """A series whose value says which hour since its own start it is, in hundredths (0 to 60)."""
    index = pd.date_range(start, periods=periods, freq=freq)
    return pd.DataFrame({key: np.arange(periods) % 6000 / 100.0}, index=index)


# -- measured years ------------------------------------------------------------------------------------------

# hours, minimum, mean, maximum, hours below 0, hours at or below -5, degC: of the files as pvlib ships them
# (typical meteorological years of a US national laboratory), computed once with pandas from pvlib's reader
YEARS = {
    "723170TYA.CSV": (8760, -16.7, 14.4218, 35.6, 792, 347),
    "703165TY.csv": (8760, -10.6, 4.4207, 19.4, 1640, 531),
}


def measured(name):
    """A year of pvlib's as our columns; its hours are named by their end, ours by their beginning."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of other people's making
        import pvlib

        path = Path(pvlib.__file__).parent / "data" / name
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


@pytest.mark.parametrize("name", YEARS)
def test_a_measured_year_has_its_own_hours_of_frost(place, name):
    """Exact counts, minimum and maximum, the mean to 0.001 K, in a year that the file is not of."""
    hours, low, mean, high, frost, hard = YEARS[name]
    scenario = place(frame=measured(name))
    air = zones(scenario, utc("Europe/Lisbon", 2027, 1, 1), 14 * DAY_S, 365 * DAY_S).series["outdoors"]
    air = np.array(air[14 * 24 : 14 * 24 + 8760])
    assert (hours, low, high) == (len(air), air.min(), air.max())
    assert pytest.approx(mean, abs=1e-3) == air.mean()
    assert (frost, hard) == ((air < 0).sum(), (air <= -5).sum())


@pytest.mark.parametrize("name", YEARS)
def test_twenty_days_of_the_walled_garden_in_measured_weather(place, name):
    """The run sees the file's own hours: degree hours under 18 degC as pandas has them from the file, and the
    hours for which frost protection asks, by the pump room's edges walked through in plain Python."""
    frame = measured(name)
    scenario = place(frame=frame, soil="{depth: 600 mm}")
    trace = simulate_trace(Assembly(scenario), Programme(scenario), days=20)
    mine = np.array(trace.zones.series["outdoors"])[-trace.zones.origin_s // 3600 :][: 20 * 24]
    theirs = frame["temperature [degC]"].loc["1990-01-01":"1990-01-20"]
    assert pytest.approx((18.0 - theirs).clip(lower=0).sum(), abs=1e-6) == np.maximum(18.0 - mine, 0).sum()
    assert theirs.tolist() == mine.tolist()
    room = np.maximum(np.concatenate([frame.iloc[-14 * 24 :, 0], theirs]) + 4.0, 2.0)
    asked, called = [], False
    for temp in room:
        called = temp <= 6.0 if called else temp < 4.0
        asked.append(called)
    assert 3600 * sum(asked[14 * 24 :]) == trace.demands["frost protection"].seconds("raised")
    assert sum(asked[14 * 24 :]) > 24, "the file's January has frost"


def test_the_other_columns_reach_the_water(place):
    """Humidity as a share, 40 % of the wind, and the sky's temperature from air, humidity and cloud."""
    frame = measured("723170TYA.CSV")
    about = place("{file: town.csv, wind_at_water: 40 %}", frame)
    found = weather(about, utc("Europe/Lisbon", 2027, 3, 1), 0, 10 * DAY_S)
    rows = frame.loc["1990-03-01":"1990-03-10"]
    assert pytest.approx((rows["humidity [%]"] / 100).tolist()) == found.humidity[:240]
    assert pytest.approx((rows["wind [m/s]"] * 0.4).tolist()) == found.wind_m_s[:240]
    for hour in (0, 100, 239):
        air, wet, _, cloud = rows.iloc[hour]
        assert pytest.approx(sky_c(air, wet / 100, cloud / 100)) == found.sky_c[hour]
    assert {241} == {len(series) for series in found[1:]}


def test_a_declared_sky_is_taken_as_it_is(place):
    """A file that has the sky's temperature needs neither cloud nor humidity for it."""
    frame = counted("2027-01-01", 8760)
    frame["sky temperature [degC]"] = -7.5
    found = weather(place(frame=frame), utc("Europe/Lisbon", 2027, 5, 1), 0, DAY_S)
    assert ({-7.5}, {0.75}, {1.5}) == (set(found.sky_c), set(found.humidity), set(found.wind_m_s))


# -- steps, years, clocks ------------------------------------------------------------------------------------


@pytest.mark.parametrize("freq", ["1min", "12min", "15min", "90min", "1D"])
def test_hours_are_means_of_any_step(place, freq):
    """A noisy series of any step, against pandas on the seconds grid of its steps."""
    days = 12 if freq == "1min" else 365
    index = pd.date_range("2027-01-01", pd.Timestamp("2027-01-01") + pd.Timedelta(days=days), freq=freq)[:-1]
    noise = np.random.default_rng(1).normal(8, 6, len(index)).clip(-50, 50).round(2)
    frame = pd.DataFrame({"temperature [degC]": noise}, index=index)
    found = zones(place(frame=frame), utc("Europe/Lisbon", 2027, 1, 3), 0, 9 * DAY_S).series["outdoors"]
    fine = frame.iloc[:, 0].loc[:"2027-01-13"].resample("1min").ffill()
    expected = fine.resample("1h").mean().loc["2027-01-03":"2027-01-11"]
    assert pytest.approx(expected.tolist(), abs=1e-6) == found[: 9 * 24]


def test_a_year_repeats_by_the_day_of_the_year(place):
    """Two runs of other years see the same hours; the run's second year is the first again."""
    scenario = place(frame=counted("2027-01-01", 8760))
    air = zones(scenario, utc("Europe/Lisbon", 2029, 1, 1), 0, 730 * DAY_S).series["outdoors"]
    assert [k % 6000 / 100 for k in range(8760)] * 2 == air[: 2 * 8760]


def test_the_29th_of_february_repeats_the_28th(place):
    """2028 has one, the file of 2027 has none: 1 March is still 1 March."""
    scenario = place(frame=counted("2027-01-01", 8760))
    air = zones(scenario, utc("Europe/Lisbon", 2028, 2, 28), 0, 3 * DAY_S).series["outdoors"]
    hour = 24 * (31 + 27)
    assert [k / 100 for k in [*range(hour, hour + 24)] * 2 + [*range(hour + 24, hour + 48)]] == air[:72]


def test_a_leap_years_own_29th_serves_leap_years_only(place):
    """The file of 2028: its day is passed over in 2027 and repeats the 28th in 2032; its own year has it."""
    scenario = place(frame=counted("2028-01-01", 8784))
    hour = 24 * (31 + 27)
    for year, days in ((2028, (0, 1, 2)), (2027, (0, 2)), (2032, (0, 0, 2))):
        air = zones(scenario, utc("Europe/Lisbon", year, 2, 28), 0, len(days) * DAY_S).series["outdoors"]
        expected = [(hour + 24 * d + h) / 100 for d in days for h in range(24)]
        assert expected == air[: 24 * len(days)]


def test_a_year_from_summer_to_summer_serves_too(place):
    """July 2026 to June 2027, with the closing row that many files have: January comes from 2027."""
    scenario = place(frame=counted("2026-07-01", 8761))
    air = zones(scenario, utc("Europe/Lisbon", 2031, 1, 1), 0, 365 * DAY_S).series["outdoors"]
    january = (datetime(2027, 1, 1) - datetime(2026, 7, 1)) // timedelta(hours=1)
    assert [(january + k) % 8760 % 6000 / 100 for k in range(8760)] == air[:8760]


def test_a_longer_file_is_taken_by_its_own_dates(place):
    """Three years: each run sees the days it names, and a run past the end is refused with the dates."""
    scenario = place(frame=counted("2027-01-01", 3 * 8760))
    for year, hour in ((2027, 0), (2028, 8760)):
        air = zones(scenario, utc("Europe/Lisbon", year, 1, 1), 0, DAY_S).series["outdoors"]
        assert [(hour + k) % 6000 / 100 for k in range(24)] == air[:24]
    with pytest.raises(InputError) as caught:
        zones(scenario, utc("Europe/Lisbon", 2029, 12, 1), 0, 40 * DAY_S)
    says = "missing: 2029-12-31 00:00 to 2030-01-10 00:00; run days that it covers"
    assert str(caught.value).endswith(says)


def test_less_than_a_year_serves_its_own_days_only(place):
    """Ninety days from 1 January: a run inside is taken, the warm-up before it sees the first day again and
    again, one that begins before or ends after is refused, with what is missing by the file's own clock."""
    scenario = place(frame=counted("2027-01-01", 90 * 24))
    air = zones(scenario, utc("Europe/Lisbon", 2027, 1, 1), 14 * DAY_S, 90 * DAY_S).series["outdoors"]
    assert [k / 100 for k in range(24)] * 14 + [k / 100 for k in range(90 * 24)] == air[:-1]
    with pytest.raises(InputError) as caught:
        simulate_trace(Assembly(scenario), Programme(scenario), days=91)
    (fault,) = caught.value.faults  # where the scenario names the file, as `file: town.csv`
    line = Path(fault.file).read_text("utf-8").splitlines()[fault.line - 1]
    assert line[fault.column - 1 :].startswith("town.csv")
    assert str(fault).endswith(
        "town.csv', values from 2027-01-01 00:00 to 2027-04-01 00:00; the run goes "
        "from 2027-01-01 00:00 to 2027-04-01 23:00; missing: 2027-04-01 00:00 to 2027-04-01 23:00; "
        "a file of one whole year serves any year"
    )
    with pytest.raises(InputError, match="missing: 2026-12-31 00:00 to 2027-01-01 00:00;"):
        zones(scenario, utc("Europe/Lisbon", 2026, 12, 31), 0, 10 * DAY_S)
    with pytest.raises(InputError, match="missing: 2028-02-01 00:00 to 2028-02-02 00:00;"):
        zones(scenario, utc("Europe/Lisbon", 2028, 2, 1), 0, DAY_S)


def test_standard_time_runs_through_the_changes_of_the_clock(place):
    """Berlin: each hour of the run, the lost and the doubled one too, is the next row of the file."""
    scenario = place(frame=counted("2027-01-01", 8760), zone="Europe/Berlin")
    for day, hours in (((2027, 3, 28), 23), ((2027, 10, 31), 25)):
        begin = utc("Europe/Berlin", *day)
        hour = (begin.replace(tzinfo=None) + timedelta(hours=1) - datetime(2027, 1, 1)) // timedelta(hours=1)
        air = zones(scenario, begin, 0, hours * 3600).series["outdoors"]
        assert [(hour + k) % 6000 / 100 for k in range(hours)] == air[:hours]


def test_times_in_utc_are_shifted_by_the_zone(place):
    """Local midnight in Kolkata is 18:30 UTC of the day before: hours are means of two halves."""
    scenario = place("{file: town.csv, times: utc}", counted("2027-01-01", 8760), zone="Asia/Kolkata")
    air = zones(scenario, utc("Asia/Kolkata", 2027, 2, 1), 0, DAY_S).series["outdoors"]
    hour = 30 * 24 + 18
    assert pytest.approx([(hour + 0.5 + k) / 100 for k in range(24)]) == air[:24]


@pytest.mark.parametrize(
    ("zone", "winter_h", "summer_h"),
    [("Europe/Lisbon", 0, 0), ("Europe/Dublin", 0, 0), ("Australia/Lord_Howe", 10.5, 10.5)],
)
def test_standard_time_is_the_smaller_offset(zone, winter_h, summer_h):
    """Also where the law calls winter time the special one, and on the southern half of the Earth."""
    for month, offset_h in ((1, winter_h), (7, summer_h)):
        at = datetime(2027, month, 10, tzinfo=UTC)
        assert datetime(2027, month, 10) + timedelta(hours=offset_h) == standard_time(at, ZoneInfo(zone))


# -- described and monthly -----------------------------------------------------------------------------------


def test_monthly_means_are_kept_by_the_runs_months(place):
    """A run of two years, leap day and clock changes included: each month of standard time has its mean."""
    means = [4, 5, 8, 11, 15, 19, 22, 22, 19, 14, 9, 5]
    about = f"{{monthly_means: [{', '.join(f'{m} degC' for m in means)}], daily_swing: 5 K}}"
    scenario = place(about, zone="Europe/Berlin", soil="{depth: 600 mm}")
    begin = utc("Europe/Berlin", 2027, 1, 1)
    found = zones(scenario, begin, 0, 731 * DAY_S).series
    index = pd.date_range("2027-01-01", periods=731 * 24, freq="h")
    air = pd.Series(found["outdoors"][: 731 * 24], index=index)
    by_month = air.groupby(air.index.strftime("%Y-%m")).mean()
    leap = by_month.pop("2028-02")
    assert pytest.approx((means * 2)[:13] + (means * 2)[14:], abs=1e-6) == by_month.tolist()
    assert pytest.approx(5.0, abs=0.1) == leap, "the 28th counts twice"
    soil = pd.Series(found["soil"][: 731 * 24], index=index)
    assert soil.std() < air.std()
    assert pytest.approx(air[:8760].mean(), abs=0.01) == soil[:8760].mean()


def test_a_described_climate_has_all_of_the_weather(place):
    """Humidity, wind and cloud are one value each; the sky lies below the air."""
    scenario = place(f"{CLIMATE[:-1]}, humidity: 80 %, wind: 2 m/s, cloud: 30 %}}")
    begin = utc("Europe/Lisbon", 2027, 6, 1)
    found = weather(scenario, begin, DAY_S, DAY_S)
    assert zones(scenario, begin, DAY_S, DAY_S).series["outdoors"] == found.air_c
    assert (-DAY_S, {0.8}, {2.0}) == (found.origin_s, set(found.humidity), set(found.wind_m_s))
    assert [sky_c(air, 0.8, 0.3) for air in found.air_c] == list(found.sky_c)


def test_a_file_of_a_described_climate_gives_its_air_and_soil(place):
    """The hours of the climate written to a file come back; soil within 0.02 K of the closed form."""
    described = place(CLIMATE, soil="{depth: 600 mm}")
    begin = utc("Europe/Lisbon", 2027, 1, 1)
    expected = zones(described, begin, 0, 365 * DAY_S).series
    frame = counted("2027-01-01", 8760)
    frame["temperature [degC]"] = expected["outdoors"][:8760]
    found = zones(place(frame=frame, soil="{depth: 600 mm}"), begin, 0, 365 * DAY_S).series
    assert pytest.approx(expected["outdoors"][:8760], abs=1e-6) == found["outdoors"][:8760]
    assert pytest.approx(expected["soil"][:8760], abs=0.02) == found["soil"][:8760]


def test_the_sky_is_worked_out_hour_by_hour_as_it_is_asked_for():
    """Each hour as the formula has it (its own numbers are tested in physics); as a list, and in slices."""
    air, humid, cloud = [3.0, 12.0, 25.0], [0.9, 0.6, 0.4], [1.0, 0.5, 0.0]
    sky = Sky(air, humid, cloud)
    each = [sky_c(*hour) for hour in zip(air, humid, cloud, strict=True)]
    assert sky[1] == sky[1] == each[1]
    assert sky[-1] == each[-1]
    assert sky[1:] == each[1:]
    assert list(sky) == each
