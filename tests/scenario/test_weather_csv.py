"""CSV files of weather and prices: what is read, and what is refused with its line and column."""

from datetime import datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cyclesim.errors import InputError
from cyclesim.scenario.reading.defaults import filled_in
from cyclesim.scenario.reading.load import load, load_text
from cyclesim.scenario.reading.starter import starter_text
from cyclesim.scenario.text.csv_file import PRICES, WEATHER, Series, read_series

TEXT = starter_text()
DAY = "\n".join(f"2027-03-01 {hour:02}:00,{hour}" for hour in range(24))


def rows(count, step_min=60, start=datetime(2027, 1, 1), value="5"):
    """Rows of time and value."""
    return "\n".join(
        f"{start + k * timedelta(minutes=step_min):%Y-%m-%d %H:%M},{value}" for k in range(count)
    )


def read(tmp_path, text, known=WEATHER):
    """The series of a text, or its faults as lines."""
    (tmp_path / "x.csv").write_text(text, encoding="utf-8")
    found = read_series(tmp_path / "x.csv", "x.csv", known)
    return found if isinstance(found, Series) else [str(fault) for fault in found]


def test_units_are_those_of_the_header(tmp_path):
    """Each number is turned into SI: 32 degF is the freezing point to the last digit, 3.6 km/h is 1 m/s."""
    head = "Time, Temperature [degF], humidity [%], wind [km/h], cloud[%], sky temperature [°C]"
    body = '2027-01-01T00:00,32,80,3.6,100,-10.5\n2027-01-01T00:30:00, 50 , 7.5e1,"7.2",0,-8'
    series = read(tmp_path, f"# an invented place\n\n{head}\r\n{body}\r\n")
    assert (datetime(2027, 1, 1), 1800) == (series.start, series.step_s)
    assert {
        "air_c": [0.0, 10.0],
        "humidity": [0.8, 0.75],
        "wind_m_s": [1.0, 2.0],
        "cloud": [1.0, 0.0],
        "sky_c": [-10.5, -8.0],
    } == {key: list(values) for key, values in series.columns.items()}


def test_prices_are_per_kilowatt_hour(tmp_path):
    """The market's megawatt-hour is a thousand of them; a price may be negative."""
    series = read(tmp_path, f"time,price [EUR/MWh]\n{rows(1, value='240')}\n2027-01-01 01:00,-12\n", PRICES)
    assert ("EUR", [0.24, -0.012]) == (series.currency, list(series.columns["price"]))


@pytest.mark.parametrize(("step_min", "step_s"), [(1, 60), (15, 900), (1440, 86_400)])
def test_any_step_from_a_minute_to_a_day_is_read(tmp_path, step_min, step_s):
    """A row for every step; a day may be a date alone."""
    series = read(tmp_path, f"time,temperature [degC]\n{rows(10, step_min)}")
    assert (step_s, 10) == (series.step_s, series.steps)
    dates = "time,temperature [degC]\n2027-02-28,1\n2027-03-01,2"
    assert 86_400 == read(tmp_path, dates).step_s


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", ["x.csv:1:1: found nothing; expected a header, e.g. time, temperature [degC]"]),
        (
            "2027-01-01 00:00,5\n2027-01-01 01:00,5",
            ["x.csv:1:1: found no header; expected a header, e.g. time, temperature [degC]"],
        ),
        (
            "time;temperature [degC]\n",
            [
                "x.csv:1:5: found a semicolon; fields are parted by commas; "
                "expected a header, e.g. time, temperature [degC]"
            ],
        ),
        (
            f"time, temperature\n{DAY}",
            [
                "x.csv:1:7: temperature: found no unit; expected degC, degF, °C, °F, C or F; "
                "temperature [degC]",
            ],
        ),
        (
            f"time [UTC], temperature [K], humidty [%]\n{DAY}",
            [
                "x.csv:1:1: time: found the unit 'UTC'; time has no unit; "
                "say times: utc beside file: where it is not local standard time",
                "x.csv:1:13: temperature: found 'K', an unknown unit; "
                "expected degC, degF, °C, °F, C or F; temperature [degC]",
                "x.csv:1:30: found 'humidty', an unknown column; "
                "known: time, temperature, humidity, wind, cloud, sky temperature; did you mean 'humidity'?",
            ],
        ),
        (
            "time, humidity [%], humidity [%]\n",
            [
                "x.csv:1:1: temperature: found nothing; expected a header, e.g. time, temperature [degC]",
                "x.csv:1:21: humidity: found the column 'humidity' again; each stands once",
            ],
        ),
    ],
    ids=["empty", "no header", "semicolons", "no unit", "wrong words", "missing and twice"],
)
def test_a_header_that_cannot_be_used(tmp_path, text, says):
    """One line for each thing that is wrong with it."""
    assert says == read(tmp_path, text)


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        (
            "05:00,5\n",
            "",
            ["7:1: time: found a gap: 2027-03-01 05:00 is missing; every step needs a row; where the clock"],
        ),
        (
            "2027-03-01 05:00,5\n2027-03-01 06:00,6\n2027-03-01 07:00,7\n",
            "",
            ["7:1: time: found a gap: 2027-03-01 05:00 to 2027-03-01 07:00 is missing; every step"],
        ),
        (
            "01:00,1\n",
            "01:00,1\n2027-03-01 01:00,1\n",
            ["4:1: time: found the time 2027-03-01 01:00 again; each stands once; the first is on line 3"],
        ),
        (
            "2027-03-01 05:00,5\n2027-03-01 06:00,6\n",
            "2027-03-01 06:00,6\n2027-03-01 05:00,5\n",
            ["8:1: time: found 2027-03-01 05:00, which is before the time above it; expected times in order"],
        ),
        (
            "05:00,5\n",
            "05:20,5\n",
            ["7:1: time: found a step of 80 min", "8:1: time: found a step of 40 min"],
        ),
        ("05:00,5", "05:00,five", ["7:18: temperature: found 'five', no number; expected a number in degC"]),
        ("05:00,5", "05:00, nan", ["7:19: temperature: found 'nan', no number; expected a number in degC"]),
        ("05:00,5", "05:00,", ["7:18: temperature: found nothing; expected a number in degC; leave no gaps"]),
        (
            "05:00,5",
            "05:00,-9999",
            ["7:18: temperature: found '-9999', temperature out of range; -60 degC to 60 degC is allowed"],
        ),
        ("05:00,5", "05:00,5,5", ["7:1: found 3 fields; expected 2, as in the header; numbers have a point"]),
        ("05:00,5", "05:00", ["7:1: found 1 fields; expected 2, as in the header"]),
        (
            "2027-03-01 05:00",
            "1.3.2027 5:00",
            ["7:1: time: found '1.3.2027 5:00', no time; expected a time, e.g. 2027"],
        ),
        (
            "2027-03-01 05:00",
            "2027-03-01T05:00+02:00",
            ["7:1: time: found '2027-03-01T05:00+02:00', a time with an offset; expected a time, e.g. 2027"],
        ),
        (
            "2027-03-01 05:00",
            "2027-02-30 05:00",
            ["7:1: time: found '2027-02-30 05:00', a time that does not exist; expected a time"],
        ),
        ("2027-03-01 05:00", "9999-12-31 05:00", ["7:1: time: found '9999-12-31 05:00', a time far off"]),
    ],
)
def test_a_row_that_cannot_be_used(tmp_path, old, new, says):
    """The line and column of the row that is wrong, and no other row's."""
    text = f"time,temperature [degC]\n{DAY}\n"
    assert old in text
    if old.startswith("0"):
        old, new = f"2027-03-01 {old}", f"2027-03-01 {new}" if new else ""
    found = read(tmp_path, text.replace(old, new, 1))
    assert len(says) == len(found)
    for expected, line in zip(says, found, strict=True):
        assert line.startswith(f"x.csv:{expected}")


def test_24_00_is_the_next_day(tmp_path):
    """Files that count hours by their end write it; the hint says what to write."""
    (fault,) = read(tmp_path, f"time,temperature [degC]\n{rows(24)}\n2027-01-01 24:00,5\n")
    assert "write 00:00 of the next day" in fault


def test_a_typical_year_of_several_years_is_told_in_one_hint(tmp_path):
    """January of one year before February of an earlier one."""
    text = f"time,temperature [degC]\n{rows(48)}\n{rows(48, start=datetime(2020, 1, 3))}\n"
    found = read(tmp_path, text)
    assert "months from several years are written as one year" in found[0]


@pytest.mark.parametrize("step_min", [7, 2880])
def test_a_step_that_divides_no_day_is_refused(tmp_path, step_min):
    """Seven minutes, and two days."""
    (fault,) = read(tmp_path, f"time,temperature [degC]\n{rows(10, step_min)}")
    assert "expected steps from 1 min to 1 day that divide a day" in fault


def test_one_row_is_no_series(tmp_path):
    """Nothing tells how long it rules."""
    (fault,) = read(tmp_path, f"time,temperature [degC]\n{rows(1)}")
    assert "x.csv:2:1: time: found 1 rows; at least two tell what a step is" == fault


def test_all_faults_at_once_but_no_flood(tmp_path):
    """Twenty are told, in the order of the file, and how many more there are."""
    found = read(tmp_path, f"time,temperature [degC]\n{rows(100, value='cold')}")
    assert [f"x.csv:{n}:18" for n in range(2, 22)] == [line.split(": ")[0] for line in found[:20]]
    assert ["x.csv:22:1: found 80 more faults; the first 20 are told"] == found[20:]


@given(st.data())
def test_whatever_happens_to_a_file_it_is_read_or_refused_by_line(tmp_path_factory, data):
    """Characters put in or taken out never end in another error."""
    text = f"time,temperature [degC]\n{DAY}\n"
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(text)))
        new = data.draw(
            st.sampled_from([",", "\n", "\n\n", "-", "9", "[", "]", '"', "#", "é", " ", "e400", ";"])
        )
        text = text[:at] + new + text[at + data.draw(st.integers(0, 20)) :]
    found = read(tmp_path_factory.getbasetemp(), text)
    assert isinstance(found, Series) or all(line.startswith("x.csv:") for line in found)
    if isinstance(found, Series):
        assert all(len(values) == found.steps for values in found.columns.values())


# -- in a scenario -------------------------------------------------------------------------------------------

WEATHER_BLOCK = TEXT[TEXT.index("  weather:") : TEXT.index("  zones:")]
TARIFF_BLOCK = TEXT[TEXT.index("  tariff:") : TEXT.index("\nplant:")]


def scenario(tmp_path, weather="{file: town.csv}", csv=None, tariff=None):
    """The starter with its weather from a file, or what is said against it."""
    text = TEXT.replace(WEATHER_BLOCK, f"  weather: {weather}\n")
    if tariff is not None:
        text = text.replace(TARIFF_BLOCK, f"  tariff: {tariff}\n")
    (tmp_path / "tub.yaml").write_text(text, encoding="utf-8")
    (tmp_path / "town.csv").write_text(csv or f"time,temperature [degC]\n{rows(8760)}\n", encoding="utf-8")
    return load(tmp_path / "tub.yaml")


def told(tmp_path, *args, **kwargs):
    """The lines of an InputError, with the folder left out."""
    with pytest.raises(InputError) as caught:
        scenario(tmp_path, *args, **kwargs)
    return str(caught.value).replace(f"{tmp_path}/", "").split("\n")


def test_a_scenario_takes_its_weather_from_a_file(tmp_path):
    """What the file has no column for is a listed default; what it has is none."""
    found = scenario(tmp_path)
    assert 365 == found.place.weather.file.days
    listed = {one.path: one.value_text for one in filled_in(found) if "weather" in one.path}
    assert {
        "place.weather.humidity": "75 %",
        "place.weather.wind": "1.5 m/s",
        "place.weather.cloud": "60 %",
    } == listed
    csv = "time,temperature [degC],wind [m/s],sky temperature [degC]\n" + rows(8760, value="5,2,-9")
    found = scenario(tmp_path, "{file: town.csv, humidity: 60 %}", csv)
    listed = {one.path: one.value_text for one in filled_in(found) if "weather" in one.path}
    assert {"place.weather.wind_at_water": "30 %"} == listed


def test_what_the_file_says_is_not_said_twice(tmp_path):
    """A value beside a column would contradict it."""
    csv = "time,temperature [degC],humidity [%],sky temperature [degC]\n" + rows(8760, value="5,80,-9")
    line = TEXT[: TEXT.index("  weather:")].count("\n") + 1
    for key, why in (
        ("humidity: 60 %", "the file has a column for it; leave this out"),
        ("cloud: 60 %", "the file has the sky's temperature; leave this out"),
        ("wind_at_water: 60 %", "the file has no wind; leave this out, or say wind: 1.5 m/s"),
    ):
        name = key.split(":")[0]
        (fault,) = told(tmp_path, f"{{file: town.csv, {key}}}", csv)
        assert f"tub.yaml:{line}:{29 + len(name) + 2}: place.weather.{name}: found '60 %'; {why}" == fault


def test_faults_of_the_file_and_of_the_scenario_are_told_together(tmp_path):
    """Each with its own file and line."""
    line = TEXT[: TEXT.index("  weather:")].count("\n") + 1
    csv = f"time,temperature [degC]\n{rows(30)}\n2027-01-05 00:00,x\n"
    first, second, third = told(tmp_path, "{file: town.csv, times: UTC}", csv)
    assert first.startswith(
        "town.csv:32:1: time: found a gap: 2027-01-02 06:00 to 2027-01-04 23:00 is missing"
    )
    assert second.startswith("town.csv:32:18: temperature: found 'x', no number")
    assert third.startswith(
        f"tub.yaml:{line}:36: place.weather.times: found 'UTC', an unknown word; "
        "expected local standard or utc"
    )


@pytest.mark.parametrize(
    ("path", "found"),
    [
        ("../town.csv", "a path that leads elsewhere"),
        ("/etc/town.csv", "a path that leads elsewhere"),
        ("link.csv", "a link that leads elsewhere"),
        ("twon.csv", "no file; expected a CSV file, e.g. weather/town.csv; did you mean 'town.csv'?"),
        ("folder.csv", "a folder"),
        ("town.txt", "a text; expected the path of a CSV file, e.g. weather/town.csv"),
    ],
)
def test_a_file_is_looked_for_in_the_scenarios_own_folder(tmp_path, path, found):
    """No way out, and a slip in the name is met with the nearest one; the place is where the path stands."""
    home = tmp_path / "home"
    (home / "folder.csv").mkdir(parents=True)
    (tmp_path / "town.csv").write_text("out there")
    (home / "link.csv").symlink_to(tmp_path / "town.csv")
    line = TEXT[: TEXT.index("  weather:")].count("\n") + 1
    (fault,) = told(home, f"{{file: {path}}}")
    assert fault.startswith(f"tub.yaml:{line}:19: place.weather.file: found '{path}', {found}")


def test_a_climate_in_its_own_file_may_name_a_series(tmp_path):
    """Paths count from the scenario's folder, wherever they stand."""
    (tmp_path / "place.yaml").write_text("{file: town.csv}")
    assert 365 == scenario(tmp_path, "place.yaml").place.weather.file.days


def test_a_set_may_put_in_a_file(tmp_path):
    """The option names the file that replaces the weather of the scenario."""
    scenario(tmp_path)
    (tmp_path / "other.csv").write_text(f"time,temperature [degC]\n{rows(365, 1440)}\n")
    assert (
        86_400 == load(tmp_path / "tub.yaml", sets=["place.weather.file=other.csv"]).place.weather.file.step_s
    )
    (tmp_path / "tub.yaml").write_text(TEXT)
    assert (
        365 == load(tmp_path / "tub.yaml", sets=["place.weather={file: other.csv}"]).place.weather.file.days
    )


def test_a_text_in_no_file_refers_to_no_series():
    """There is no folder to look in."""
    with pytest.raises(InputError, match=r"place.weather.file: .* a text that is in no file cannot refer"):
        load_text(TEXT.replace(WEATHER_BLOCK, "  weather: {file: town.csv}\n"))


def test_soil_needs_a_year(tmp_path):
    """Ninety days do not tell how warm the ground is."""
    (fault,) = told(tmp_path, csv=f"time,temperature [degC]\n{rows(90, 1440)}\n")
    assert "place.zones.soil.depth: found '600 mm'; soil needs a year of weather" in fault


def test_prices_may_come_from_a_file(tmp_path):
    """The currency is the header's; a header without a price is refused in the file."""
    csv = f"time, price [CHF/kWh]\n{rows(8760, value='0.2')}\n"
    (tmp_path / "prices.csv").write_text(csv)
    tariff = scenario(tmp_path, tariff="{file: prices.csv, times: utc}").supply.tariff
    assert ("CHF", "utc") == (tariff.currency, tariff.times)
    (tmp_path / "prices.csv").write_text(csv.replace("CHF/kWh", "Rp/kWh"))
    (fault,) = told(tmp_path, tariff="{file: prices.csv}")
    due = "expected a currency, e.g. price [EUR/kWh]"
    assert f"prices.csv:1:7: price: found 'Rp/kWh', an unknown unit; {due}" == fault
