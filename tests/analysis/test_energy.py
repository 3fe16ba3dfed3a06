"""Energy and cost by the wall clock, starts and hours, against answers worked out by hand."""

from collections.abc import Callable
from datetime import date, datetime, time, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cyclesim.analysis.energy import prices
from cyclesim.analysis.history import History
from cyclesim.analysis.result import measure
from cyclesim.control.calendar import WEEKDAYS
from cyclesim.scenario.blocks.place import Tariff

Run = Callable[..., History]
NIGHT = (
    "tariff: 0.20 EUR/kWh",
    'tariff: {otherwise: 0.30 EUR/kWh, windows: [{from: "22:00", to: "08:00", price: 0.10 EUR/kWh}]}',
)


@pytest.mark.parametrize(
    ("day", "hours", "night_h"),
    [
        (date(2027, 3, 1), 24, 10),  # 00-08 and 22-24
        (date(2027, 3, 28), 23, 9),  # the hour from 01 to 02 is left out (last Sunday in March, EU)
        (date(2027, 10, 31), 25, 11),  # and passes twice (last Sunday in October)
    ],
)
def test_a_night_tariff_over_midnight_and_clock_changes(
    run: Run, day: date, hours: int, night_h: int
) -> None:
    """300 W all day: night hours at 0.10, the other 14 at 0.30, as long as the day really is."""
    history = run(NIGHT, hours=hours, first_day=day, pumps={"main": [(0, "low")]})
    energy = measure(history).energy
    assert pytest.approx(0.3 * hours) == energy.energy_kwh
    assert pytest.approx(0.3 * (night_h * 0.10 + 14 * 0.30)) == energy.cost
    assert energy.cost == energy.by_device["main"].cost
    assert "EUR" == energy.currency


def test_months_part_energy_and_cost(run: Run) -> None:
    """From 30 March for four days: 2 x 24 h in March, 2 x 24 h in April, 2300 W each hour."""
    history = run(hours=96, first_day=date(2027, 3, 30), sources={"element": [(0, "firing")]})
    months = measure(history).energy.by_month
    assert [("2027-03", pytest.approx(110.4)), ("2027-04", pytest.approx(110.4))] == [
        (m.month, m.energy_kwh) for m in months
    ]
    assert [pytest.approx(22.08)] * 2 == [m.cost for m in months]


def test_months_part_what_each_device_took(run: Run) -> None:
    """The element (2300 W) fires in two days of March alone, the pump (300 W) runs in two of April."""
    day = 86_400
    history = run(
        hours=96,
        first_day=date(2027, 3, 30),
        sources={"element": [(0, "firing"), (2 * day, "off")]},
        pumps={"main": [(0, "stopped"), (2 * day, "low")]},
    )
    march, april = measure(history).energy.by_month
    assert [pytest.approx(110.4), 0.0] == [m.by_device["element"].energy_kwh for m in (march, april)]
    assert [0.0, pytest.approx(14.4)] == [m.by_device["main"].energy_kwh for m in (march, april)]
    assert pytest.approx(22.08) == march.by_device["element"].cost == pytest.approx(march.cost)


@given(
    st.lists(
        st.tuples(st.integers(0, 47), st.integers(0, 47), st.sets(st.integers(0, 6), min_size=1)).filter(
            lambda w: w[0] != w[1]
        ),
        max_size=4,
    ),
    st.integers(0, 7 * 48 - 1),
)
def test_the_price_at_any_half_hour_is_the_tariffs(
    run: Run, windows: list[tuple[int, int, set[int]]], half_hour: int
) -> None:
    """Spans of constant price agree with the file's own reading of its tariff, whatever windows overlap."""
    tariff = Tariff.model_validate(
        {
            "otherwise": "9 EUR/kWh",
            "windows": [
                {
                    "from": f"{a // 2:02}:{a % 2 * 30:02}",
                    "to": f"{b // 2:02}:{b % 2 * 30:02}",
                    "days": sorted(WEEKDAYS[d] for d in days),
                    "price": f"{k} EUR/kWh",
                }
                for k, (a, b, days) in enumerate(windows)
            ],
        }
    )
    history = run(hours=7 * 24)
    edges, price = prices(tariff, history.trace)
    at = datetime(2027, 3, 1) + timedelta(minutes=30 * half_hour)
    stretch = max(i for i, edge in enumerate(edges[:-1]) if edge <= 1800 * half_hour)
    assert tariff.at(time(at.hour, at.minute), at.weekday()).amount == price[stretch]


def test_starts_and_changes_of_speed(run: Run) -> None:
    """A change of speed is no start; what ran from the first second was started before."""
    steps = [
        (0, "low"),
        (600, "stopped"),
        (1200, "low"),
        (1800, "changing"),
        (1802, "high"),
        (1900, "stopped"),
    ]
    steps += [(2400, "high"), (2500, "stopped"), (4000, "low"), (9000, "stopped")]
    pump = measure(run(pumps={"main": steps})).pumps["main"]
    assert (3, 1, 3.0) == (pump.starts, pump.speed_changes, pump.starts_per_day)
    assert 3 == pump.most_starts_in_an_hour, "at 1200, 2400 and 4000 s"
    assert (pytest.approx(6200 / 3600), pytest.approx(198 / 3600)) == (pump.low_h, pump.high_h)
    assert pytest.approx((6200 * 300 + 198 * 1500) / 3.6e6) == pump.energy_kwh


def test_an_hour_is_open_at_its_end(run: Run) -> None:
    """Two starts exactly an hour apart never lie in one hour."""
    steps = [(100, "low"), (200, "stopped"), (3700, "low"), (3800, "stopped")]
    assert 1 == measure(run(pumps={"main": steps})).pumps["main"].most_starts_in_an_hour


def test_what_a_source_waited_for(run: Run) -> None:
    """Hours by state, and by the reason for which it was called and did not fire."""
    history = run(sources={"element": [(100, "proving"), (105, "firing"), (3705, "run_on"), (3765, "off")]})
    history.trace.reasons["element"].put(90, "no flow sensed")
    history.trace.reasons["element"].put(100, "proving flow")
    history.trace.reasons["element"].put(105, "")
    source = measure(history).heat_sources["element"]
    assert (1.0, 1) == (source.firing_h, source.firings)
    assert (pytest.approx(60 / 3600), pytest.approx(5 / 3600)) == (source.run_on_h, source.proving_h)
    assert {"no flow sensed": pytest.approx(10 / 3600), "proving flow": pytest.approx(5 / 3600)} == (
        source.called_not_firing_h
    )
    assert pytest.approx(2.3) == source.energy_kwh


def test_a_one_speed_pump_has_no_low_and_high(run: Run) -> None:
    """Its hours are in running_h alone."""
    two = """
      above_water: -300 mm
      npsh_needed: 2.5 m
      low: {max_head: 4 m, max_flow: 300 L/min, power: 300 W, current: 1.5 A}
      high: {max_head: 16 m, max_flow: 600 L/min, power: 1500 W, current: 7 A}
      changeover: 2 s"""
    history = run(
        (two, " {max_head: 4 m, max_flow: 300 L/min, power: 300 W}"),
        ("main low", "main"),
        ("main high", "main"),
        ("while: main,", "while: main running,"),
        pumps={"main": [(0, "on"), (7200, "stopped")]},
    )
    pump = measure(history).pumps["main"]
    assert (2.0, None, None) == (pump.running_h, pump.low_h, pump.high_h)


def test_the_most_current_and_when(run: Run) -> None:
    """Lights 1 A; with the pump on high 8 A from 10:00 on."""
    history = run(pumps={"main": [(36_000, "high"), (36_100, "stopped")]})
    energy = measure(history).energy
    assert (8.0, "2027-03-01T10:00:00+00:00") == (energy.most_current_a, energy.most_current_at)
