"""A data logger at a plant under measured weather, with faults put in: each is found, the rest is read."""

from datetime import date, datetime, timedelta
from pathlib import Path

import numpy as np
import pvlib
import pytest

import cyclesim
from cyclesim.decide.readings.logged import Logged, logged
from cyclesim.decide.readings.measured import measured
from cyclesim.errors import InputError
from cyclesim.said.measured import measured_page
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.blocks.readings import Cooling, Reading, WarmUp
from cyclesim.scenario.reading.readings import load_readings
from cyclesim.shown.terminal import printed
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.engine import simulate_trace
from cyclesim.simulation.hourly_weather import zones
from cyclesim.simulation.programme import Programme

LOOP = Path(__file__).parent / "loop.yaml"
FIRST, DAYS = date(2027, 3, 1), 6
CLIMATE = "{mean: 10 degC, seasonal_swing: 0 K, daily_swing: 0 K, coldest_day: 20 January}"


@pytest.fixture(scope="module")
def tub(tmp_path_factory: pytest.TempPathFactory) -> Scenario:
    """The loop without heating, in the measured weather of a year that pvlib ships."""
    folder = tmp_path_factory.mktemp("tub")
    data = Path(pvlib.__file__).parent / "data" / "723170TYA.CSV"
    table, _ = pvlib.iotools.read_tmy3(data, coerce_year=2027, map_variables=True)
    hours = (
        f"{datetime(2027, 1, 1) + timedelta(hours=k):%Y-%m-%d %H:%M},{c}"
        for k, c in enumerate(table.temp_air)
    )
    (folder / "air.csv").write_text("time,temperature [degC]\n" + "\n".join(hours) + "\n", "utf-8")
    text = LOOP.read_text("utf-8").replace(CLIMATE, "{file: air.csv}")
    text = text.replace("{always: 10 degC}", "{follows: weather}")
    text = text.replace('filter_runs: [{pump: main low, start: "03:00", lasts: 2 h}]', "filter_runs: []")
    text = text.replace("  heating: {with: [element], pump: main low, keep_at: 38 degC, within: 1 K}\n", "")
    (folder / "tub.yaml").write_text(text, "utf-8")
    return cyclesim.load(folder / "tub.yaml")


def rows(tub: Scenario, step_s: int = 600) -> list[list[float]]:
    """Seconds, the tub as the engine has it, and the air, cooling from 38 degC with all off."""
    plant = Assembly(tub)
    trace = simulate_trace(plant, Programme(tub), days=DAYS, start=FIRST)
    seconds = np.arange(0, DAYS * 86_400, step_s)
    at = np.append(trace.tub.start_s, float(trace.span_s))
    water = np.interp(seconds, at, np.append(trace.tub.water_c, trace.end_water_c))
    air = zones(tub, trace.begin_utc, 0, DAYS * 86_400).series["outdoors"]
    outdoors = np.interp(seconds, 3600.0 * (np.arange(len(air)) + 0.5), air)
    return [list(row) for row in zip(seconds, water, outdoors, strict=True)]


def written(folder: Path, lines: list[str], header: str = "time,water [degC],air [degC],power [W]") -> Path:
    """A log and the file of readings that names it."""
    (folder / "log.csv").write_text("\n".join([header, *lines]) + "\n", "utf-8")
    readings = folder / "readings.yaml"
    readings.write_text("measured: 2027-03-07\nlogs: [{file: log.csv}]\n", "utf-8")
    return readings


def line(seconds: float, water: float, air: float, power: float = 0.0) -> str:
    """One row of a log."""
    at = datetime(2027, 3, 1) + timedelta(seconds=float(seconds))
    return f"{at:%Y-%m-%d %H:%M},{water:.3f},{air:.3f},{power}"


def found(tub: Scenario, readings: Path) -> tuple[Logged, list[Reading]]:
    """What the log says."""
    return logged(tub, *load_readings(readings, tub).logs_read[0])


def test_a_clean_log_has_nothing_wrong_and_gives_the_cooling_back(tub: Scenario, tmp_path: Path) -> None:
    """The engine's own cooling, predicted from its two ends by the same plant."""
    said, readings = found(tub, written(tmp_path, [line(*row) for row in rows(tub)]))
    assert ((), 0, 0.0, 0.0) == (said.gaps, said.repeated, said.clock_ahead_h, said.air_off_k)
    assert 600.0 == said.step_s
    cooling = next(reading for reading in readings if isinstance(reading, Cooling))
    assert cooling.took_s == pytest.approx(DAYS * 86_400 - 3 * 600, abs=1.0)
    compared = measured(tub, load_readings(tmp_path / "readings.yaml", tub), days=1).compared
    assert compared[0].predicted == pytest.approx(cooling.to_c, abs=0.3)
    assert compared[0].agrees


@pytest.mark.parametrize("ahead_h", [-1, 1])
def test_every_fault_that_is_put_in_is_found(tub: Scenario, tmp_path: Path, ahead_h: int) -> None:
    """A gap of three hours, a clock an hour off, a sensor of the air 1.5 K high, two stamps twice."""
    chance = np.random.default_rng(0)
    lines = [
        line(seconds + 3600 * ahead_h, water, air + 1.5 + 0.2 * chance.normal())
        for seconds, water, air in rows(tub)
        if not 200_000 <= seconds < 200_000 + 3 * 3600
    ]
    lines = [*lines[:50], lines[49], *lines[50:90], lines[20], *lines[90:]]
    said, _ = found(tub, written(tmp_path, lines))
    assert 1 == len(said.gaps)
    ends = [datetime.fromisoformat(end) for end in (said.gaps[0].begins, said.gaps[0].ends)]
    assert 3.0 <= (ends[1] - ends[0]).total_seconds() / 3600.0 <= 3.4
    assert 2 == said.repeated
    assert said.clock_ahead_h == pytest.approx(ahead_h)
    assert said.air_off_k == pytest.approx(1.5, abs=0.1)
    page = measured_page(measured(tub, load_readings(tmp_path / "readings.yaml", tub), days=1))
    told = " ".join(printed(page).split())
    assert f"Nothing was logged {said.gaps[0].begins} to {said.gaps[0].ends}" in told
    assert "2 rows repeat a time" in told
    assert f"Its clock is 1 h {'ahead' if ahead_h > 0 else 'behind'}" in told
    assert "Its air reads +1.5 K" in told
    assert f"Read off it: {said.readings[0]}".replace("degC", "°C") in told


def test_energy_of_whole_days_is_the_integral_of_the_power(tub: Scenario, tmp_path: Path) -> None:
    """1.2 kW for a quarter of each of six days are 43.2 kWh."""
    lines = [line(s, w, a, 1200.0 if (s // 3600) % 24 < 6 else 0.0) for s, w, a in rows(tub)]
    _, readings = found(tub, written(tmp_path, lines))
    energy = next(reading for reading in readings if reading.kind == "energy")
    assert 43.2 == pytest.approx(energy.value / 3.6e6)
    assert (date(2027, 3, 1), date(2027, 3, 7)) == energy.between


def test_running_of_a_pump_is_the_sum_of_its_share_of_the_time(tub: Scenario, tmp_path: Path) -> None:
    """Five whole hours and half of one are 5.5 h a day; a day with a gap is left out."""
    on = [100.0, 100.0, 100.0, 100.0, 100.0, 50.0, *[0.0] * 18]
    lines = [line(s, w, a, on[int(s // 3600) % 24]) for s, w, a in rows(tub)]
    del lines[20:26]  # an hour of the first day
    path = written(tmp_path, lines, "time,water [degC],air [degC],main [%]")
    _, readings = found(tub, path)
    (ran,) = [reading for reading in readings if reading.kind == "running"]
    assert ("main", (date(2027, 3, 2), date(2027, 3, 7))) == (ran.of, ran.between)
    assert 5 * 5.5 * 3600.0 == pytest.approx(ran.value)


def warmed(folder: Path, watts: float) -> list[Reading]:
    """Read off a log of the loop: 1 m3 from 20 degC, its element and pump on from 60 to 300 min.

    It warms by 4.6 kW x 4 h over 4.16 MJ/K: 15.9 K without losses. From the 200th minute on *watts* are drawn
    besides.
    """
    tub = cyclesim.load(LOOP)
    lines = []
    for minute in range(0, 420, 10):
        on = 60 <= minute < 300
        water = 20.0 + 15.9 * min(max(minute - 60, 0), 240) / 240.0
        lines.append(line(60 * minute, water, 10.0, 4700.0 * on + watts * (minute >= 200)))
    return found(tub, written(folder, lines))[1]


def test_a_warm_up_is_read_where_the_element_alone_is_on(tmp_path: Path) -> None:
    """By hand: the mean of its first three rows is at 70 min, of its last three at 280 min, 3.5 h apart."""
    (warm_up,) = [reading for reading in warmed(tmp_path, 0.0) if isinstance(reading, WarmUp)]
    assert 210 * 60.0 == pytest.approx(warm_up.took_s)
    assert (20.0 + 15.9 * 10 / 240, 20.0 + 15.9 * 220 / 240) == pytest.approx(
        (warm_up.from_c, warm_up.to_c), abs=0.01
    )
    assert (("element",), (("main", "low"),), 10.0) == (
        warm_up.heat,
        tuple(map(tuple, warm_up.runs)),
        warm_up.air_c,
    )


def test_a_warm_up_ends_where_something_else_joins(tmp_path: Path) -> None:
    """The pump's high speed draws 800 W more from the 200th minute: rows from 60 to 190 min."""
    (warm_up,) = [reading for reading in warmed(tmp_path, 800.0) if isinstance(reading, WarmUp)]
    assert (180 - 70) * 60.0 == pytest.approx(warm_up.took_s)


@pytest.mark.parametrize(
    ("header", "row", "says"),
    [
        ("time,water", "2027-03-01 00:00,38", "no unit"),
        ("time,air [degC]", "2027-03-01 00:00,8", "water"),
        ("time,water [degC],mian [%]", "2027-03-01 00:00,38,0", "did you mean 'main'"),
        ("time,water [degC]", "2027-03-01 00:00,warm", "no number"),
        ("time,water [degC]", "yesterday,38", "no time"),
    ],
)
def test_a_broken_log_is_told_with_its_line(
    tub: Scenario, tmp_path: Path, header: str, row: str, says: str
) -> None:
    """As any file is."""
    with pytest.raises(InputError, match=says):
        load_readings(written(tmp_path, [row, row.replace("00:00", "00:10")], header), tub)


def test_a_log_elsewhere_is_refused(tub: Scenario, tmp_path: Path) -> None:
    """Only what lies beside the readings is read."""
    readings = written(tmp_path, [])
    readings.write_text("measured: 2027-03-07\nlogs: [{file: ../log.csv}]\n", "utf-8")
    with pytest.raises(InputError, match="a path that leads elsewhere"):
        load_readings(readings, tub)
