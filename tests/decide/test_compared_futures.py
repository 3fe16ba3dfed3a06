"""Futures of small plants and assumptions at their ends, each number counted out by hand."""

import math
from datetime import date

import pytest

from cyclesim.decide.comparing import comparison as module
from cyclesim.decide.comparing.comparison import (
    Versus,
    compare,
)
from cyclesim.decide.comparing.futures import (
    AIR,
    POWER,
    PRICE,
    Future,
    as_it_comes,
    future,
    only,
)
from cyclesim.decide.comparing.life_cycle_cost import owning
from cyclesim.decide.sweeps.sweep import How, job, run
from cyclesim.scenario.blocks.model import CHOICE
from cyclesim.scenario.reading.load import load_text
from tests.evidence import small
from tests.evidence.small import BOILER, filtered, heated


def test_measures_of_a_future_by_hand(monkeypatch: pytest.MonkeyPatch) -> None:
    """45 min of filtering a day, in the second plant at low speed beside 15 min at high; prices 1.5 times.

    Ten days stand for 365: cost by energy and price, hours heard by the day, energy by the year.
    """
    as_told = Future({PRICE.name: 1.5}, {}, 0)
    monkeypatch.setattr(module, "future", lambda *_: as_told)
    flushed = 'schedule.line_flushes=[{pump: pump high, start: ["07:30"], lasts: 15 min}]'
    low_high = "{low: {max_head: 4 m, max_flow: 120 L/min, power: 100 W}, "
    low_high += "high: {max_head: 8 m, max_flow: 240 L/min, power: 300 W}}"
    loud = filtered(f"plant.pumps.pump={low_high}", "schedule.filter_runs.0.pump=pump low", flushed)
    [[quiet, heard]] = compare([filtered(), loud], days=10, futures=1, sensitivity=False).futures
    a_day_kwh = 0.3 * 0.75, 0.1 * 0.75 + 0.3 * 0.25
    for measures, kwh in zip((quiet, heard), a_day_kwh, strict=True):
        assert 365 * kwh == pytest.approx(measures["energy_kwh_a_year"])
        assert 365 * kwh * 0.20 * 1.5 == pytest.approx(measures["cost_a_year"])
        assert measures["total"] is None
    assert (0.0, pytest.approx(15.0)) == (quiet["loud_min_a_day"], heard["loud_min_a_day"])
    assert 24.0 == pytest.approx(quiet["oldest_water_h"], abs=1.0)  # one filter run a day


def test_a_years_energy_is_electricity_and_fuel() -> None:
    """A boiler of 6 kW at 80 % burns 7.5 kW while it fires, and its fan draws 50 W, the pump 300 W."""
    [[burning, _]] = compare([heated(boiler=BOILER)] * 2, days=3, futures=1, sensitivity=False).futures
    devices = run(job(as_it_comes(heated(boiler=BOILER), future(0, 0)), 3, seed=future(0, 0).seed)).devices
    power_kw = future(0, 0).ratings[POWER.name]("pump") * 0.3
    kwh = devices["pump"].running_h * power_kw + devices["boiler"].running_h * (7.5 + 0.05)
    assert devices["boiler"].running_h > 0.0
    assert kwh * 365 / 3 == pytest.approx(burning["energy_kwh_a_year"])


DEAD = small._FILTERED.replace(
    "}}\n  pumps", "}, spare: {pipe: 50 PN10, length: 2 m, zone: room, dead_end: true}}\n  pumps"
)


def test_water_that_never_moves_in_one_plant_is_never_in_every_future() -> None:
    """No number lies between never and some hours, whichever plant has the dead end; two are alike."""
    sound, dead = filtered(), load_text(DEAD)
    assert math.isinf(run(job(dead, 2)).oldest_water_h)
    beside = {"days": 2, "futures": 4, "sensitivity": False}
    assert Versus(4, 0, 4, math.inf, math.inf, math.inf) == compare([sound, dead], **beside).versus(
        0, 1, "oldest_water_h"
    )
    assert Versus(0, 0, 4, -math.inf, -math.inf, -math.inf) == compare([dead, sound], **beside).versus(
        0, 1, "oldest_water_h"
    )
    assert Versus(0, 4, 4, 0.0, 0.0, 0.0) == compare([dead, dead], **beside).versus(0, 1, "oldest_water_h")


def test_an_assumption_that_turns_the_answer_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """By hand: B runs twice as long and costs 100 less to buy; A saves 16.425 a year, so over 7 years 115.

    At a price of energy of 0.8 A saves 92 and is no longer cheaper; the break-even is at 0.87.
    """
    prices = "money: {over: 7 years, purchases: {all: {price: %d EUR}}}\n"
    base = small._FILTERED
    a = load_text(base + prices % 300)
    b = load_text(base.replace("lasts: 45 min", "lasts: 90 min") + prices % 200)
    monkeypatch.setattr(module, "assumptions_of", lambda _: iter((AIR,)))
    found = compare([a, b], days=10, sensitivity=True)
    now = found.sides[1].known.total - found.sides[0].known.total  # type: ignore[operator]
    assert 7 * 0.75 * 0.3 * 365 * 0.20 - 100.0 == pytest.approx(now)
    swings = {swing.assumption: swing for swing in found.swings}
    price = swings["price of energy"]
    assert 0.8 * 7 * 16.425 - 100.0 == pytest.approx(price.at_low)
    assert 1.4 * 7 * 16.425 - 100.0 == pytest.approx(price.at_high)
    assert price.flips
    counted = swings["years counted"]  # break-even after 100 / 16.425 = 6.1 years
    assert ("3 years", "11 years") == (counted.low, counted.high)
    assert 3 * 16.425 - 100.0 == pytest.approx(counted.at_low)
    assert 11 * 16.425 - 100.0 == pytest.approx(counted.at_high)
    assert counted.flips
    assert counted.source == CHOICE
    assert 16.425 * sum(1.02**-t for t in range(1, 8)) - 100.0 == pytest.approx(
        swings["discount rate"].at_high
    )
    assert not swings["discount rate"].flips  # 6.3 at its highest, by the line above
    widths = [abs(swing.at_high - swing.at_low) for swing in found.swings]
    assert widths == sorted(widths, reverse=True)
    assert 7 == found.pays_back()


DRAWN = (
    'schedule.bathing=[{drawn: {per_week: 7, between: ["17:30", "20:30"], lasts: [25 min, 50 min], '
    "people: [2, 8]}}]"
)


def test_chance_is_that_of_the_seed() -> None:
    """Who bathes, and when, is drawn as for a run of the same seed, in both plants alike."""
    drawn = filtered(DRAWN)
    runs = {seed: run(job(drawn, 6, seed=seed)) for seed in (0, 7)}
    assert runs[0].coldest_c != runs[7].coldest_c
    for seed, ran in runs.items():
        found = compare([drawn, drawn], days=6, seed=seed)
        assert [ran, ran] == [side.outcome for side in found.sides]


def test_futures_begin_on_the_day_and_count_the_years_that_are_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """A tub that is kept warm loses more in January than in July; a year of energy is bought three times.

    Each future, and each assumption at its ends, is a run of its own: by its own seed, from the same day.
    """
    text = small.heated_text(boiler=BOILER).replace("seasonal_swing: 0 K", "seasonal_swing: 10 K")
    text += "money: {over: 10 years, purchases: {all: {price: 100 EUR}}}\n"
    text = text.replace(
        "  heating:", f"  {DRAWN.removeprefix('schedule.').replace('=', ': ', 1)}\n  heating:"
    )
    plant, july = load_text(text), date(2027, 7, 1)
    beside = {"days": 4, "seed": 7, "years": 3}
    found = compare([plant, plant], futures=1, start=july, sensitivity=False, **beside)  # type: ignore[arg-type]
    to_come = future(0, 7)
    assert to_come.seed != 7
    ran = run(job(as_it_comes(plant, to_come), 4, july, to_come.seed))
    assert ran.cost < run(job(as_it_comes(plant, to_come), 4, None, to_come.seed)).cost
    [[told, _]] = found.futures
    assert ran.cost * 365 / 4 * to_come.terms.energy_price == pytest.approx(told["cost_a_year"])
    assert plant.money is not None
    assert owning(plant.money, ran, 3, to_come.terms).total == pytest.approx(told["total"])
    first = found.sides[0]
    assert 100.0 + 3 * first.cost_a_year == pytest.approx(first.known.total)
    other = load_text(text.replace("fuel: 0.10", "fuel: 0.20"))
    monkeypatch.setattr(module, "assumptions_of", lambda _: iter((AIR,)))
    swings = compare([plant, other], sensitivity=True, **beside).swings  # type: ignore[arg-type]
    air = next(swing for swing in swings if swing.assumption == AIR.name)
    at_low = only(AIR, AIR.ends[0], 7)
    runs = [run(job(as_it_comes(scenario, at_low), 4, None, 7)) for scenario in (plant, other)]
    assert plant.money is not None
    totals = [owning(plant.money, outcome, 3).total for outcome in runs]
    assert totals[1] - totals[0] == pytest.approx(air.at_low)
    beside["years"] = 2  # half of it, and half as long again
    swings = compare([plant, other], sensitivity=True, **beside).swings  # type: ignore[arg-type]
    assert ("1 years", "3 years") in {(swing.low, swing.high) for swing in swings}


def test_futures_run_the_way_that_is_told_and_nothing_runs_for_none(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every run is told of as it is done: two as told, then two in each future; no count of none."""
    told: list[tuple[int, int]] = []
    how = How(on_run=lambda done, of: told.append((done, of)))
    compare([filtered(), filtered("title=other")], days=1, how=how)
    assert told
    assert 2 == max(of for _, of in told)
    assert (0, 0) not in told
    told.clear()
    compare([filtered(), filtered("title=other")], days=1, futures=3, sensitivity=False, how=how)
    assert (6, 6) in told
    told.clear()
    monkeypatch.setattr(module, "assumptions_of", lambda _: iter((AIR,)))
    three = [filtered(f"supply.tariff=0.{name} EUR/kWh") for name in ("20", "30", "40")]
    compare(three, days=1, sensitivity=True, how=how)
    assert 4 == max(of for _, of in told)  # air at both ends, of the first two


def test_assumptions_are_put_to_their_ends_where_asked() -> None:
    """With futures unless told, without them only if told; by a year's cost without prices in both files."""
    both, few = [filtered(), filtered("supply.tariff=0.40 EUR/kWh")], {"days": 1, "seed": 3}
    assert () == compare(both, **few).swings  # type: ignore[arg-type]
    assert () == compare(both, futures=1, sensitivity=False, **few).swings  # type: ignore[arg-type]
    asked = compare(both, sensitivity=True, **few)  # type: ignore[arg-type]
    assert () == asked.futures
    with_futures = compare(both, futures=2, **few)  # type: ignore[arg-type]
    assert asked.swings == with_futures.swings
    by_one = compare(
        [both[0], filtered("supply.tariff=0.40 EUR/kWh", "money={over: 7 years}")], sensitivity=True, **few
    )  # type: ignore[arg-type]
    assert asked.swings == by_one.swings
    assert 2 == len(with_futures.futures)
    assert with_futures.futures[0] != with_futures.futures[1]
    told = {swing.assumption: swing for swing in asked.swings}
    names = {"mean air temperature", "swing of the air's warmth", "wind", "head of pumps", "power of pumps"}
    assert {*names, "price of energy"} == set(told)
    a_year = 365 * 0.3 * 0.75 * 0.20  # what 0.20 a kWh more costs a year
    price, power = told["price of energy"], told["power of pumps"]
    assert ("-20 %", "+40 %") == (price.low, price.high)
    assert (0.8 * a_year, 1.4 * a_year) == pytest.approx((price.at_low, price.at_high))
    assert ("-10 %", "+10 %", "common practice, no source") == (power.low, power.high, power.source)
    assert (0.9 * a_year, 1.1 * a_year) == pytest.approx((power.at_low, power.at_high))
    assert not any(swing.flips for swing in asked.swings)
    assert ["price of energy", "power of pumps"] == [swing.assumption for swing in asked.swings[:2]]
    rest = [swing.assumption for swing in asked.swings[2:]]
    assert sorted(rest) == rest  # of the same width, by name


def test_an_assumption_flips_only_where_the_sign_turns() -> None:
    """To nothing and back is no turn."""
    for ends, flips in (((1.0, 3.0), False), ((-1.0, 3.0), True), ((1.0, -3.0), True), ((0.0, 3.0), False)):
        assert flips is module._swing(AIR, 2.0, *ends).flips
        assert flips is module._swing(AIR, -2.0, *(-end for end in ends)).flips
    assert module._swing(AIR, -1.0, 1.0, 2.0).flips
    assert module._swing(AIR, 1.0, -1.0, -2.0).flips
    assert not module._swing(AIR, 0.0, 0.0, 2.0).flips


def test_only_the_first_two_are_put_to_ends_and_all_are_drawn() -> None:
    """The third takes no part in what moves the answer, whatever it costs."""
    one, other = filtered(), filtered("supply.tariff=0.40 EUR/kWh")
    third = filtered("supply.tariff=4.00 EUR/kWh")
    found = compare([one, other, third], days=1, futures=1)
    assert found.swings == compare([one, other], days=1, futures=1).swings
    assert 3 == len(found.futures[0]) == len(found.sides)
