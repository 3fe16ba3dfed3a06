"""Small plants side by side, each number of a comparison counted out by hand."""

import math
from dataclasses import replace
from datetime import date

import pytest

from cyclesim.decide.comparing import comparison as module
from cyclesim.decide.comparing.comparison import (
    MEASURES,
    CannotCompareError,
    Comparison,
    Side,
    Versus,
    compare,
)
from cyclesim.decide.comparing.life_cycle_cost import owning
from cyclesim.decide.sizing.heat_up import Warmer, seasons, warmest_c
from cyclesim.decide.sweeps.outcome import DeviceOutcome
from cyclesim.decide.sweeps.sweep import How, job, run
from cyclesim.said.compare import compare_page, compare_values
from cyclesim.said.page import Table
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.blocks.prices_and_lives import Money
from cyclesim.scenario.reading.load import load_text
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.jets import jet_name
from tests.evidence import small
from tests.evidence.small import BOILER, ELEMENT, filtered, heated


def test_twice_the_tariff_is_exactly_twice_the_cost() -> None:
    """And nothing else is otherwise."""
    once, twice = filtered(), filtered("supply.tariff=0.40 EUR/kWh")
    found = compare([once, twice], days=20)
    a, b = (side.outcome for side in found.sides)
    assert 2.0 * a.cost == b.cost
    assert a.legs == b.legs
    assert {n: d.energy_kwh for n, d in a.devices.items()} == {n: d.energy_kwh for n, d in b.devices.items()}
    assert ("the tariff",) == found.unlike


ORIFICE = """
format: 1
title: a loop of one orifice
place:
  year: 2027
  time_zone: Etc/UTC
  weather: {{mean: 12 degC, seasonal_swing: 0 K, daily_swing: 0 K, coldest_day: 20 January}}
  zones: {{room: {{follows: weather}}}}
supply: {{voltage: 230 V, breaker: 20 A, tariff: 0.20 EUR/kWh}}
plant:
  tub:
    water: 1500 L
    surface: 3 m2
    cover: {{foam: 60 mm, fit: good}}
    shell: {{wall: 120 mm, of: concrete, insulation: 50 mm, area: 7 m2, zone: room}}
  legs: {{pipe: {{bore: 200 mm, outside: 220 mm, length: 100 mm, zone: room}}}}
  pumps:
    pump:
      low: {{speed: 50 %, power: 60 W}}
      high: {{max_head: 14 m, max_flow: 300 L/min, power: 400 W}}
      zone: room
  equipment: {{filter: {{kind: filter, drop: 8 m at 170 L/min, volume: 10 L, zone: room}}}}
  network: [[tub, pipe, pump, filter, tub]]
schedule:
  filter_runs: [{{pump: pump {speed}, start: "03:00", lasts: 2 h}}]
"""


def test_half_the_speed_is_a_quarter_of_the_work_for_each_litre() -> None:
    """Affinity (exact for losses that go with the square of flow): half the flow, a quarter of the head.

    The pipe is so wide and short that the orifice is all there is, but for a part in a million.
    """
    fast, slow = (load_text(ORIFICE.format(speed=speed)) for speed in ("high", "low"))
    found = compare([fast, slow], days=5)
    a, b = (side.outcome.devices["pump"] for side in found.sides)
    assert a.moved_m3 is not None
    assert b.moved_m3 is not None
    assert 0.5 * a.moved_m3 == pytest.approx(b.moved_m3, rel=1e-5)
    assert a.hydraulic_kwh is not None
    assert b.hydraulic_kwh is not None
    assert 0.25 * a.hydraulic_kwh / a.moved_m3 == pytest.approx(b.hydraulic_kwh / b.moved_m3, rel=1e-5)


def test_what_is_told_differently_is_named_with_the_file() -> None:
    """Of three plants, in which; warmer soil, a dearer night and later bathers count as other conditions."""
    other = filtered("supply.tariff=0.40 EUR/kWh")
    warmer = load_text(small._FILTERED.replace("{follows: weather}", "{follows: weather, above_by: 4 K}"))
    found = compare([filtered(), other, warmer], ["a", "b", "c"], days=1)
    assert ("how warm the zones are (in c)", "the tariff (in b)") == found.unlike


# -- how plants differ -------------------------------------------------------------------------------------


def side(name: str, purchase: float | None = None, energy: float = 0.0) -> Side:
    """A plant that is bought for so much and then costs so much a year, at rates of none."""
    told, ran = filtered(), run(job(filtered(), 1))
    if purchase is None:
        return Side(name, told, ran, None, None, None)
    prices = {"over": "10 years", "discount_rate": "0 %", "purchases": {"all": {"price": f"{purchase} EUR"}}}
    scenario = told.model_copy(update={"money": Money.model_validate(prices)})
    ran = replace(ran, cost=energy / 365.0)
    return Side(name, scenario, ran, owning(scenario.money, ran, 10), None, None)  # type: ignore[arg-type]


def compared(sides: tuple[Side, ...], *values: tuple[float, ...]) -> Comparison:
    """A comparison with futures in which one measure came to these values."""
    futures = tuple(tuple({"oldest_water_h": value} for value in one) for one in values)
    return Comparison(1, 10, "EUR", sides, (), futures, ())


def test_how_two_plants_differ_over_futures_by_hand() -> None:
    """The first has less in two of six; what differs by less than 0.3 % counts for neither.

    Differences in order: -4, 0, 0.02, 1, 2 and 0: sorted -4, 0, 0, 0.02, 1, 2. Percentiles lie between the
    ranks 0 to 5 of the sorted ones: the 5th at 0.25, the median at 2.5, the 95th at 4.75.
    """
    pairs = [(10.0, 6.0), (10.0, 10.0), (10.0, 10.02), (10.0, 11.0), (10.0, 12.0), (0.0, 0.0)]
    found = compared((side("a"), side("b")), *pairs).versus(0, 1, "oldest_water_h")
    assert (2, 3, 6) == (found.less, found.same, found.of)
    told = (-4.0 + 0.25 * 4.0, 0.5 * (0.0 + 0.02), 1.0 + 0.75 * 1.0)
    assert told == pytest.approx((found.low, found.median, found.high))
    turned = compared((side("a"), side("b")), *pairs).versus(1, 0, "oldest_water_h")
    assert (1, 3, -found.high) == (turned.less, turned.same, pytest.approx(turned.low))
    edge = 10.03005  # 0.3005 % more than 10, which is 0.2996 % less than it: the share is of the larger
    for pair in ((edge, 10.0), (10.0, edge)):
        assert 1 == compared((side("a"), side("b")), pair).versus(0, 1, "oldest_water_h").same
    for pair in ((0.0, 0.002), (0.002, 0.0)):
        assert 0 == compared((side("a"), side("b")), pair).versus(0, 1, "oldest_water_h").same
    assert not compared((side("a"), side("b"))).tuned


def test_the_third_plant_is_compared_with_the_first() -> None:
    """By their places; 0.31 % apart is not alike, 0.29 % is, below 0 too; ranks 1, 0.1 and 1.9 of three."""
    sides = (side("a"), side("b"), side("c"))
    found = compared(sides, (10.0, 0.0, 10.029), (10.0, 0.0, 10.031), (-10.0, 0.0, -10.031))
    assert Versus(1, 1, 3, *(pytest.approx(x) for x in (0.029, -0.025, 0.0308))) == found.versus(
        0, 2, "oldest_water_h"
    )


def test_an_infinite_difference_is_never_the_same() -> None:
    """Between never and a number there is nothing to interpolate: one of what came is told."""
    found = compared((side("a"), side("b")), (5.0, math.inf), (5.0, 6.0), (math.inf, math.inf))
    assert Versus(2, 1, 3, 1.0, 0.0, math.inf) == found.versus(0, 1, "oldest_water_h")


def test_years_until_the_dearer_plant_has_paid_by_hand() -> None:
    """300 more to buy and 70 a year less: in the fifth year, whichever is first; 0 less, never."""
    dear, cheap = side("dear", 1000.0, 100.0), side("cheap", 700.0, 170.0)
    assert 5 == compared((dear, cheap)).pays_back() == compared((cheap, dear)).pays_back()
    assert compared((dear, side("as dear to run", 700.0, 100.0))).pays_back() is None
    assert compared((side("no prices"), cheap)).pays_back() is None
    assert compared((cheap, side("no prices"))).pays_back() is None
    assert 5 == compared((dear, cheap, side("a third"))).pays_back()
    assert 4 == compared((side("a", 1000.0, 100.0), side("b", 700.0, 175.0))).pays_back()  # 4 x 75 are 300


def test_money_decides_where_it_is_known_of_all() -> None:
    """What one file leaves out is compared by none."""
    priced, free = side("priced", 500.0, 50.0), side("free")
    assert compared((priced, priced)).by_total
    assert not compared((priced, free)).by_total
    sunless = [name for name in MEASURES if name != "sun_unused_kwh_a_year"]
    assert sunless == [*compared((priced, priced)).measures]
    assert [name for name in sunless if name != "total"] == [*compared((priced, free)).measures]
    assert 500.0 + 10 * 50.0 == pytest.approx(priced.known.total)


def test_sun_that_goes_unused_is_compared_where_both_have_collectors() -> None:
    """2 kWh in a day are 730 a year; a plant without collectors is compared by other things."""
    ran = side("a").outcome
    roof = DeviceOutcome("heat source", 4.0, 1, 0.0, 0.0, heat_kwh=5.0, sun_unused_kwh=2.0)
    sunny = replace(side("a"), outcome=replace(ran, devices={**ran.devices, "roof": roof}))
    of = compared((sunny, sunny)).measures["sun_unused_kwh_a_year"].of
    assert 730.0 == pytest.approx(of(sunny.known))
    assert "sun not used, kWh a year" == MEASURES["sun_unused_kwh_a_year"].says
    assert "sun_unused_kwh_a_year" not in compared((sunny, side("b"))).measures


# -- what is run -------------------------------------------------------------------------------------------


def test_names_years_and_days_unless_told() -> None:
    """The titles; ten years, or the first file's that has prices; the whole year."""
    titled = filtered("title=another")
    found = compare([filtered(), titled], days=1)
    assert ["a tub that is filtered once a day", "another"] == [side.name for side in found.sides]
    assert (10, 1, "EUR", (), ()) == (found.years, found.days, found.currency, found.futures, found.swings)
    priced = filtered("money={over: 7 years}")
    assert 7 == compare([filtered(), priced], days=1).years
    assert 3 == compare([filtered(), priced], days=1, years=3).years
    assert compare([filtered(), priced], days=1).sides[1].owning is not None
    assert compare([filtered(), priced], days=1).sides[0].owning is None
    assert ["a", "b"] == [side.name for side in compare([filtered(), priced], ["a", "b"], days=1).sides]
    with pytest.raises(ValueError, match="zip"):
        compare([filtered(), priced], ["a"], days=1)
    leap = filtered("place.year=2028")
    year = compare([leap, filtered()])
    assert 366 == year.days == year.sides[0].outcome.days
    part = compare([leap, leap], days=2, start=date(2028, 2, 29))
    assert {"2028-02", "2028-03"} == set(part.sides[0].outcome.cost_by_month)


def test_what_cannot_stand_side_by_side_is_refused() -> None:
    """One plant, two currencies, no day."""
    with pytest.raises(CannotCompareError, match=r"^Expected two plants or more to compare\.$"):
        compare([filtered()])
    dollars = filtered("supply.tariff=0.40 USD/kWh")
    with pytest.raises(CannotCompareError, match=r"^Costs in EUR and USD cannot stand side by side\.$"):
        compare([filtered(), dollars], days=1)
    with pytest.raises(ValueError, match="at least one day, not 0"):
        compare([filtered(), filtered()], days=0)


def test_each_with_the_programme_that_a_tuning_puts_first(monkeypatch: pytest.MonkeyPatch) -> None:
    """Here of 90 min in place of 45: each plant is tuned by itself, by days, seed and way of the call."""
    asked = []

    def tuned(scenario: Scenario, *, days: int, start: date | None, seed: int, how: How) -> Scenario:
        asked.append((scenario.title, days, start, seed, how))
        return filtered("schedule.filter_runs.0.lasts=90 min", f"title={scenario.title}")

    monkeypatch.setattr(module, "with_best_programme", tuned)
    how = How(workers=1)
    plants = [filtered("title=one"), filtered("title=other")]
    found = compare(plants, days=2, start=date(2027, 5, 1), seed=3, tuned=True, how=how)
    assert [(title, 2, date(2027, 5, 1), 3, how) for title in ("one", "other")] == asked
    assert found.tuned
    assert [3.0, 3.0] == pytest.approx([side.outcome.pump_h for side in found.sides])
    runs = [{"does": "filter run", "pump": "pump", "lasts_s": 5400, "starts": ("03:00",)}]
    assert [runs, runs] == [plant["programme"] for plant in compare_values(found)["plants"]]
    keyed = next(table for table in compare_page(found).blocks if isinstance(table, Table))
    assert [(x, "filter run", "pump", 5400, ("03:00",)) for x in "AB"] == [row.cells for row in keyed.rows]
    assert not compare(plants, days=2).tuned
    assert 2 == len(asked)


@pytest.mark.parametrize(
    ("change", "what"),
    [
        (("mean: 12 degC", "mean: 13 degC"), "the weather"),
        (("year: 2027", "year: 2028"), "the year"),
        (("time_zone: Etc/UTC", "time_zone: Europe/Lisbon"), "the time zone"),
        (("{follows: weather}", "{follows: weather, above_by: 4 K}"), "how warm the zones are"),
        (("0.20 EUR/kWh", "0.25 EUR/kWh"), "the tariff"),
        (("fuel: 0.10", "fuel: 0.11"), "the price of fuel"),
        (("people: 2", "people: 3"), "bathing"),
        (("water: 1500 L", "water: 1600 L"), "the tub"),
        (("keep_at: 36 degC", "keep_at: 37 degC"), "the set points"),
        (("turnovers_per_day: 2", "turnovers_per_day: 3"), "what the rules judge by"),
        (("over: 10 years", "over: 12 years"), "how money is counted"),
        (("discount_rate: 3 %", "discount_rate: 2 %"), "how money is counted"),
        (("energy_price_rise: 1 %", "energy_price_rise: 2 %"), "how money is counted"),
        (("name: evening", "name: night"), None),
        (("lasts: 45 min", "lasts: 90 min"), None),
    ],
    ids=lambda told: told if isinstance(told, str) else None,
)
def test_each_condition_that_is_told_otherwise_is_named(change: tuple[str, str], what: str | None) -> None:
    """And nothing is that belongs to the plant or its programme."""
    text = small.heated_text(boiler=BOILER) + "limits: {turnovers_per_day: 2}\n"
    text += "money: {over: 10 years, discount_rate: 3 %, energy_price_rise: 1 %}\n"
    bathing = "  bathing: [{start: '19:00', lasts: 1 h, people: 2, name: evening}]\n"
    text = text.replace("  heating:", f"{bathing}  heating:")
    assert 1 == text.count(change[0])
    one, other = load_text(text), load_text(text.replace(*change))
    assert ((what,) if what else ()) == tuple(module._unlike([one, other], ["a", "b"]))
    three = tuple(module._unlike([one, other, one], ["a", "b", "c"]))
    assert ((f"{what} (in b)",) if what else ()) == three


def test_what_only_one_file_has_is_no_condition_but_the_set_points_are() -> None:
    """A zone, a fuel; heating and money are told by one alone."""
    text = small.heated_text(boiler=BOILER)
    barn = text.replace("zones: {", "zones: {barn: {follows: weather}, ")
    assert () == tuple(module._unlike([load_text(text), load_text(barn)], ["a", "b"]))
    electric = text.replace(BOILER, ELEMENT)
    assert () == tuple(module._unlike([load_text(text), load_text(electric)], ["a", "b"]))
    cold = text[: text.index("  heating:")]
    assert ("the set points",) == tuple(module._unlike([load_text(text), load_text(cold)], ["a", "b"]))
    priced = load_text(text + "money: {over: 10 years}\n")
    assert ("how money is counted",) == tuple(module._unlike([load_text(text), priced], ["a", "b"]))


def test_which_pumps_bathing_uses_is_the_plants_own() -> None:
    """One pump, several, how long apart, and what the entry is called; who comes, and when, is not."""
    plant = load_text(small.heated_text(boiler=BOILER).replace(
        "  heating:", "  bathing: [{start: '19:00', lasts: 1 h, people: 2}]\n  heating:"
    ))  # fmt: skip
    [entry] = plant.schedule.bathing

    def with_entry(**update: object) -> Scenario:
        schedule = plant.schedule.model_copy(update={"bathing": (entry.model_copy(update=update),)})
        return plant.model_copy(update={"schedule": schedule})

    for own in ({"pumps": ("one", "other")}, {"stagger_s": 5.0}, {"pump": "one"}, {"name": "evening"}):
        assert () == tuple(module._unlike([plant, with_entry(**own)], ["a", "b"]))
    assert ("bathing",) == tuple(module._unlike([plant, with_entry(people=3)], ["a", "b"]))


def test_how_soon_the_tub_is_warm_by_hand() -> None:
    """1500 L from 12 to 36 degC by 6 kW: water alone takes 24 K x 1500 kg x 4.18 kJ/(kg K) / 6 kW = 7 h.

    7200 kJ/K of concrete is 0.12 m x 7 m2 x 2300 kg/m3 x 1000 J/(kg K) = 1.9 MJ/K beside 6.3 MJ/K of water,
    some of which warms too; losses of some 30 W/K take a tenth at most. The thermostat stops within 1 K.
    """
    boiled = heated(boiler=BOILER)
    [first, second] = compare([boiled, filtered()], days=1).sides
    assert second.warming is None
    assert first.warming is not None
    assert 7.0 * 23 / 24 < first.warming.filled_h < 7.0 * (1.0 + 1.9 / 6.3) * 1.1
    low_c = first.warming.set_back_c
    share = (36.0 - low_c) / 24.0
    assert 0.8 * share * 7.0 < first.warming.set_back_h < 1.5 * share * 7.0
    took = Warmer(boiled, warmest_c(boiled.schedule.heating)).after_a_fill(seasons(boiled).coldest_week)  # type: ignore[arg-type]
    assert took.seconds == pytest.approx(3600.0 * first.warming.filled_h)
    feeble = heated(element=ELEMENT.replace("3 kW", "100 W"))
    [never, _] = compare([feeble, filtered()], days=1).sides
    assert never.warming is not None
    assert (math.inf, math.inf) == never.warming[:2]
    swings = small.heated_text(boiler=BOILER).replace("seasonal_swing: 0 K", "seasonal_swing: 10 K")
    north = load_text(swings)
    south = load_text(swings.replace("coldest_day: 20 January", "coldest_day: 21 July"))
    first, second = (side.warming for side in compare([north, south], days=1).sides)
    assert first is not None
    assert first == pytest.approx(second, rel=1e-3)  # each on its own coldest day


JETS = (
    "plant.legs.jets={pipe: 50 PN10, length: 1 m, zone: room, manifold: {jets: 2, spacing: 300 mm, "
    "each: 40 L/min at 6 m, needs: 30 L/min}}"
)


def test_the_weakest_jet_by_the_flow_that_feeds_it() -> None:
    """The least of two in a row, at the higher of two speeds: its flow over the 30 L/min that it needs."""
    low_high = "{low: {max_head: 4 m, max_flow: 120 L/min, power: 100 W}, "
    low_high += "high: {max_head: 14 m, max_flow: 240 L/min, power: 300 W}}"
    network = "plant.network=[[tub, pipe, pump, filter, jets, tub]]"
    pump = f"plant.pumps.pump={low_high}"
    runs = "schedule.filter_runs.0.pump=pump low"
    jetted = filtered(JETS, pump, network, runs)
    plant = Assembly(jetted)
    duty = plant.duty(plant.at("pump", "high"))
    flows = [duty.flow_m3_s(jet_name("jets", k)) for k in (1, 2)]
    [told, none] = (side.weakest_jet_share for side in compare([jetted, filtered()], days=1).sides)
    assert none is None
    assert min(flows) * 60_000.0 / 30.0 == pytest.approx(told)
    beside = "plant.pumps.weak={max_head: 8 m, max_flow: 200 L/min, power: 200 W}"
    both = "plant.network=[[tub, pipe, {parallel: [pump, weak]}, filter, jets, tub]]"
    shared = filtered(JETS, pump, beside, both, runs)
    plumbed = Assembly(shared)
    alone = [plumbed.duty(plumbed.at(*at)) for at in (("pump", "high"), ("weak", "on"))]
    fed = [min(duty.flow_m3_s(jet_name("jets", k)) for k in (1, 2)) * 60_000.0 / 30.0 for duty in alone]
    thirsty = filtered(JETS.replace("needs: 30", "needs: 300"), pump, network, runs)  # less than it needs
    assert told / 10.0 == pytest.approx(compare([thirsty, filtered()], days=1).sides[0].weakest_jet_share)
    assert fed[0] > fed[1] > 0.0  # a leg of two pumps goes by the stronger
    assert fed[0] == pytest.approx(compare([shared, filtered()], days=1).sides[0].weakest_jet_share)
    assert min(flows) > plant.duty(plant.at("pump", "low")).flow_m3_s(jet_name("jets", 2))
