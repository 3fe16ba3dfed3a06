"""Plants side by side: what must be exactly the same or exactly twice, and money against a library."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import numpy_financial
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cyclesim.decide.comparing.comparison import Comparison, Versus, compare
from cyclesim.decide.comparing.futures import (
    AIR,
    HEAD,
    LONG,
    OFTEN,
    WIND,
    as_it_comes,
    future,
    only,
)
from cyclesim.decide.comparing.life_cycle_cost import (
    Terms,
    bought_again,
    break_even_years,
    owning,
    present_value_factor,
)
from cyclesim.decide.ranges.stated import SWING
from cyclesim.decide.sweeps.outcome import Outcome
from cyclesim.decide.sweeps.sweep import How, job, run
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.blocks.prices_and_lives import Money
from cyclesim.scenario.blocks.weather import WeatherFile
from cyclesim.scenario.reading.load import load, load_text
from tests.evidence import small
from tests.evidence.small import filtered

SCHEDULES = Path(__file__).parents[2] / "schedules"
DAYS = 3


@pytest.fixture(scope="module")
def pair() -> tuple[Scenario, Scenario]:
    """The two shipped ways to do the same garden."""
    return load(SCHEDULES / "walled-garden.yaml"), load(SCHEDULES / "walled-garden-circulator.yaml")


@pytest.fixture(scope="module")
def compared(pair: tuple[Scenario, Scenario]) -> Comparison:
    """Over a few days and futures."""
    return compare(pair, ["a", "b"], days=DAYS, futures=3, sensitivity=False)


# -- what must be so ---------------------------------------------------------------------------------------


def test_a_plant_beside_itself_differs_in_nothing(pair: tuple[Scenario, Scenario]) -> None:
    """Exactly, as told, in every future and at every end."""
    bathed = load(SCHEDULES / "long-table.yaml")  # with bathers drawn by chance
    for one in (pair[0], bathed):
        same = compare([one, one], days=1, futures=2, sensitivity=one is pair[0])
        assert same.sides[0].outcome == same.sides[1].outcome
        assert all(a == b for a, b in same.futures)
        assert bool(same.swings) is (one is pair[0])
        assert all(0.0 == swing.at_low == swing.at_high for swing in same.swings)
        assert not any(swing.flips for swing in same.swings)
        for measure in ("cost_a_year", "oldest_water_h", "energy_kwh_a_year", "loud_min_a_day"):
            assert Versus(0, 2, 2, 0.0, 0.0, 0.0) == same.versus(0, 1, measure)
        assert same.unlike == ()


def test_two_processes_and_the_other_order_give_the_same(
    pair: tuple[Scenario, Scenario], compared: Comparison
) -> None:
    """No draw depends on who is beside it."""
    again = compare(pair, ["a", "b"], days=DAYS, futures=3, sensitivity=False, how=How(workers=2))
    assert compared == again
    turned = compare(pair[::-1], ["b", "a"], days=DAYS, futures=3, sensitivity=False)
    assert [(b, a) for a, b in compared.futures] == list(turned.futures)
    fewer = compare(pair, ["a", "b"], days=DAYS, futures=2, sensitivity=False)
    assert compared.futures[:2] == fewer.futures


def test_percentiles_are_those_of_the_differences(compared: Comparison) -> None:
    """Beside numpy on the raw numbers."""
    change = [b["cost_a_year"] - a["cost_a_year"] for a, b in compared.futures]
    told = compared.versus(0, 1, "cost_a_year")
    assert np.percentile(change, [5, 50, 95]).tolist() == [told.low, told.median, told.high]
    assert sum(x > 0.0 for x in change) == told.less


# -- futures -----------------------------------------------------------------------------------------------


def test_a_future_is_the_same_for_machines_of_one_name(pair: tuple[Scenario, Scenario]) -> None:
    """The element stands in both; its output is off by the same share, and each pump by its own."""
    to_be = future(7, seed=3)
    a, b = (as_it_comes(one, to_be) for one in pair)
    assert a.plant.heat_sources["element"] == b.plant.heat_sources["element"]
    assert a.plant.heat_sources["element"] != pair[0].plant.heat_sources["element"]
    assert a.place.weather == b.place.weather != pair[0].place.weather
    heads = {of(name) for name in ("main", "jets", "circulator") for of in [to_be.ratings[HEAD.name]]}
    assert 3 == len(heads)


def test_draws_keep_to_their_ranges_and_fill_them() -> None:
    """Of 300 futures some come within a tenth of the range of either end."""
    for stray in (AIR, WIND, OFTEN, LONG):
        drawn, (low, high) = [future(k, 0).values[stray.name] for k in range(300)], stray.ends
        width = high - low
        assert low <= min(drawn) < low + 0.15 * width
        assert high - 0.15 * width < max(drawn) <= high


def test_air_that_swings_further_keeps_its_mean(tmp_path: Path) -> None:
    """Each hour of a file, each month, and the two swings of a climate stray half as far again, no more."""
    climate = filtered("place.weather.seasonal_swing=8 K", "place.weather.daily_swing=4 K")
    wider = SWING.at(climate, 1.5).scenario.place.weather
    assert (12.0, 12.0, 6.0) == (wider.mean_c, wider.seasonal_swing_k, wider.daily_swing_k)
    means = "[2, 2, 2, 2, 2, 2, 10, 10, 10, 10, 10, 10]".replace(",", " degC,").replace("]", " degC]")
    told = "{mean: 12 degC, seasonal_swing: 0 K, daily_swing: 0 K, coldest_day: 20 January}"
    text = small._FILTERED.replace(told, f"{{monthly_means: {means}, daily_swing: 4 K}}")
    months = SWING.at(load_text(text), 1.5).scenario.place.weather
    assert (*[0.0] * 6, *[12.0] * 6) == months.monthly_means_c
    assert 6.0 == months.daily_swing_k
    hours = (f"2027-01-{1 + k // 24:02} {k % 24:02}:00,{(4, 10)[k % 2]}" for k in range(240))
    (tmp_path / "town.csv").write_text("\n".join(["time,temperature [degC]", *hours]), "utf-8")
    (tmp_path / "tub.yaml").write_text(small._FILTERED.replace(told, "{file: town.csv}"), "utf-8")
    measured = SWING.at(load(tmp_path / "tub.yaml"), 1.5).scenario.place.weather
    assert isinstance(measured, WeatherFile)
    assert [2.5, 11.5] * 120 == list(measured.file.columns["air_c"])


def test_bathers_come_more_often_and_longer() -> None:
    """By the share that is asked for; sessions are whole minutes."""
    table = load(SCHEDULES / "long-table.yaml")
    more = as_it_comes(table, only(OFTEN, 1.5, 0)).schedule.bathing[0].drawn
    longer = as_it_comes(table, only(LONG, 1.2, 0)).schedule.bathing[0].drawn
    assert more is not None
    assert longer is not None
    assert 3.75 == more.per_week
    assert (1800.0, 3600.0) == longer.lasts_s


# -- money -------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def ran() -> Outcome:
    """A year's outcome, taken from ten days: a pump that runs 45 min a day, 273.75 h a year."""
    return run(job(filtered(), 10))


def money(**told: object) -> Money:
    """Prices, as a file has them."""
    return Money.model_validate(told)


@given(st.integers(1, 40), st.floats(0.0, 0.15), st.floats(0.0, 0.1))
def test_present_value_is_that_of_a_library(years: int, rate: float, rise: float) -> None:
    """numpy-financial's npv of the payments; besides the closed form UPW* of the US General Services

    Administration's criteria for life-cycle cost (an excerpt read), with real rates d and e:
    UPW* = (1 + e) / (d - e) * (1 - ((1 + e) / (1 + d))**n), fuel costs among what it is for.
    """
    payments = [0.0, *((1.0 + rise) ** year for year in range(1, years + 1))]
    assert numpy_financial.npv(rate, payments) == pytest.approx(present_value_factor(years, rate, rise))
    if abs(rate - rise) > 1e-6:
        upw = (1.0 + rise) / (rate - rise) * (1.0 - ((1.0 + rise) / (1.0 + rate)) ** years)
        assert upw == pytest.approx(present_value_factor(years, rate, rise), rel=1e-6)


def test_money_by_hand(ran: Outcome) -> None:
    """A pump of 500 that lasts 1000 h of 273.75 a year, a cartridge of 60 every 2 years, over 8 years.

    The pump is bought again after 3.653 and 7.306 years, the cartridge after 2, 4 and 6; not at the end.
    """
    told = money(
        over="8 years",
        discount_rate="5 %",
        purchases={
            "pump": {"price": "500 EUR", "lasts": "1000 h"},
            "cartridge": {"price": "60 EUR", "every": "2 years"},
            "pipes": {"price": "900 EUR"},
        },
    )
    found = owning(told, ran)
    at = 1000.0 / 273.75
    again = 500 * (1.05**-at + 1.05 ** (-2 * at)) + 60 * (1.05**-2 + 1.05**-4 + 1.05**-6)
    assert 1460.0 == found.purchase
    assert again == pytest.approx(found.replacements)
    a_year = 0.75 * 0.3 * 365 * 0.20  # 45 min at 300 W and 0.20 a kWh
    assert a_year * (1.0 - 1.05**-8) / 0.05 == pytest.approx(found.energy)
    assert found.purchase + found.replacements + found.energy == found.total


def test_prices_and_lives_that_are_otherwise(ran: Outcome) -> None:
    """Energy half as dear again, machines that last twice as long."""
    told = money(over="8 years", purchases={"pump": {"price": "500 EUR", "lasts": "1000 h"}})
    as_told, other = owning(told, ran), owning(told, ran, terms=Terms(energy_price=1.5, life=2.0))
    assert 1.5 * as_told.energy == pytest.approx(other.energy)
    assert (1000.0, 500.0) == (as_told.replacements, other.replacements)


def test_a_life_in_years_goes_by_the_calendar(ran: Outcome) -> None:
    """Of a machine, too, whether it runs or not; hours count as running by either word.

    12 years in 30: bought again after 12 and 24. 1000 h of 273.75 a year: after 3.653 and 7.306 of 8 years.
    """
    still = replace(ran, devices={"pump": replace(ran.devices["pump"], running_h=0.0)})
    for word in ("lasts", "every"):
        yearly = money(purchases={"pump": {"price": "5 EUR", word: "12 years"}}).purchases["pump"]
        assert [12.0, 24.0] == list(bought_again("pump", yearly, ran, 30))
        assert [12.0, 24.0] == list(bought_again("pump", yearly, still, 30))
        assert [12.0] == list(bought_again("pump", yearly, ran, 24))
        hourly = money(purchases={"pump": {"price": "5 EUR", word: "1000 h"}}).purchases["pump"]
        at = 1000.0 / 273.75
        assert [at, 2 * at] == pytest.approx(list(bought_again("pump", hourly, ran, 8)))


def test_what_does_not_run_is_not_bought_again(ran: Outcome) -> None:
    """Nor anything at the very end."""
    still = replace(ran, devices={"pump": replace(ran.devices["pump"], running_h=0.0)})
    pump = money(purchases={"pump": {"price": "5 EUR", "lasts": "9 h"}}).purchases["pump"]
    assert [] == list(bought_again("pump", pump, still, 10))
    thing = money(purchases={"x": {"price": "5 EUR", "every": "5 years"}}).purchases["x"]
    assert [5.0] == list(bought_again("x", thing, ran, 10))


def test_break_even_is_found() -> None:
    """100 more to buy and 30 less a year: in the fourth year; never where nothing is saved."""
    assert 4 == break_even_years(lambda years: 100.0 - 30.0 * years)
    assert break_even_years(lambda _: 1.0) is None
