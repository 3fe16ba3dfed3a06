"""Electricity at prices from a file, against sums worked out by hand."""

from array import array
from collections.abc import Callable
from datetime import date, datetime

import numpy as np
import pytest

from cyclesim.analysis.energy import prices
from cyclesim.analysis.history import History
from cyclesim.analysis.result import measure
from cyclesim.errors import InputError
from cyclesim.scenario.blocks.place import PriceFile
from cyclesim.scenario.text.csv_file import Series

Run = Callable[..., History]


def with_prices(history: History, values: list[float], step_s: int, times: str = "local standard") -> History:
    """The history with prices from 1 January 2027 on in place of its tariff."""
    series = Series("prices.csv", datetime(2027, 1, 1), step_s, {"price": array("d", values)}, "EUR")
    tariff = PriceFile.model_validate({"file": series, "times": times})
    scenario = history.plant.scenario
    supply = scenario.supply.model_copy(update={"tariff": tariff})
    history.plant.scenario = scenario.model_copy(update={"supply": supply})
    return history


def hour_of_day(days: int) -> list[float]:
    """Each hour costs its own number of cents: 0 at midnight, 23 before the next."""
    return [(k % 24) / 100 for k in range(24 * days)]


def test_each_hour_is_paid_at_its_own_price(run: Run) -> None:
    """300 W from 06:30 to 09:00 and again at 23:00 to the end: 0.15 x 6 + 0.3 x (7 + 8 + 23) cents."""
    steps = [(0, "stopped"), (23_400, "low"), (32_400, "stopped"), (82_800, "low")]
    energy = measure(with_prices(run(pumps={"main": steps}), hour_of_day(365), 3600)).energy
    assert pytest.approx((0.15 * 6 + 0.3 * (7 + 8 + 23)) / 100) == energy.cost
    assert ("EUR", energy.cost) == (energy.currency, energy.by_device["main"].cost)


@pytest.mark.parametrize(
    ("times", "day", "hours", "cents"),
    [
        ("local standard", date(2027, 7, 1), 24, 276),
        ("local standard", date(2027, 3, 28), 23, 276 - 23),  # ends an hour early by standard time
        ("utc", date(2027, 10, 31), 25, 23 + 276),  # begins at 23:00 UTC of the day before
    ],
)
def test_the_clock_of_the_file(run: Run, times: str, day: date, hours: int, cents: float) -> None:
    """Lisbon keeps UTC as its standard time: each local day is paid by the file's hours."""
    history = run(hours=hours, first_day=day, pumps={"main": [(0, "low")]})
    energy = measure(with_prices(history, hour_of_day(365), 3600, times)).energy
    assert pytest.approx(0.3 * cents / 100) == energy.cost


def test_quarters_of_an_hour_and_months(run: Run) -> None:
    """2300 W through the turn of a month at 15-minute prices: 0.10 in March, 0.20 from then on."""
    march = (31 + 28 + 31) * 96
    values = [0.10] * march + [0.20] * (365 * 96 - march)
    history = run(hours=96, first_day=date(2027, 3, 30), sources={"element": [(0, "firing")]})
    months = measure(with_prices(history, values, 900)).energy.by_month
    # April's clock is an hour ahead of the file's: its first hour is still March there
    assert [pytest.approx(48 * 0.23), pytest.approx(2.3 * (0.10 + 47 * 0.20))] == [m.cost for m in months]


def test_the_stretches_tile_the_span(run: Run) -> None:
    """Prices of whole days under a span that begins and ends inside of them."""
    history = with_prices(run(hours=30), [0.1 + k / 1000 for k in range(365)], 86_400)
    edges, price = prices(history.plant.scenario.supply.tariff, history.trace)
    assert [0.0, 86_400.0, 108_000.0] == edges.tolist()
    assert np.allclose([0.1 + 59 / 1000, 0.1 + 60 / 1000], price)


def test_prices_that_end_too_early_are_refused_with_the_dates(run: Run) -> None:
    """A file of January does not say what March costs."""
    with pytest.raises(InputError, match=r"prices\.csv: supply\.tariff\.file: .* missing: 2027-03-01 00:00"):
        measure(with_prices(run(), hour_of_day(31), 3600))
