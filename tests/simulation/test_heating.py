"""Set points, thermostat, prices and warmed rooms, each by hand."""

from datetime import UTC, date, datetime

import numpy as np
import pytest

from cyclesim.analysis.result import simulate
from cyclesim.scenario.blocks.heating import Heating
from cyclesim.scenario.blocks.place import Tariff
from cyclesim.simulation.prices import dearer, prices
from cyclesim.simulation.room import room_c
from cyclesim.simulation.setpoints import LONGEST_LEAD_S, set_points
from cyclesim.simulation.thermostat import Thermostat
from tests.evidence.small import BOILER, ELEMENT, heated

NEW_YEAR = datetime(2027, 1, 1, tzinfo=UTC)  # a Friday; Lisbon keeps UTC in winter
H, DAY = 3600, 86_400


def heating(**more: object) -> Heating:
    """Keep 30 degC within 1 K with two sources, the second 2 K lower."""
    return Heating.model_validate(
        {
            "with": ["first", "second"],
            "pump": "main low",
            "keep_at": "30 degC",
            "within": "1 K",
            "next_below": "2 K",
            **more,
        }
    )


def test_sources_join_one_after_another_and_stop_together():
    """29 degC calls the first, 27 degC the second, 30 degC ends both; in between nothing changes."""
    thermostat = Thermostat(heating())
    for water, called in [
        (29.5, []),
        (29.0, ["first"]),
        (29.6, ["first"]),
        (27.2, ["first"]),
        (27.0, ["first", "second"]),
        (29.9, ["first", "second"]),
        (30.0, []),
        (29.5, []),
    ]:
        thermostat.look(water)
        assert called == list(thermostat.calls), water


def test_a_source_that_cannot_fire_is_passed_over():
    """With the first out, the second takes its place at its level."""
    thermostat = Thermostat(heating())
    thermostat.usable = ("second",)
    thermostat.look(29.0)
    assert ["second"] == list(thermostat.calls)
    assert [(30.0, True)] == thermostat.watched()
    thermostat.usable = ()
    thermostat.look(20.0)
    assert [] == list(thermostat.calls) == thermostat.watched()


SCHEDULE = """
schedule:
  heating:
    with: [element]
    pump: main low
    keep_at: 30 degC
    within: 1 K
    plan:
      - {from: "20:00", until: "22:00", keep_at: 33 degC}
      - {days: [saturday], ready_by: "19:00", until: "21:00", keep_at: 38 degC}
    absences: [{from: 2027-01-03, to: 2027-01-03, keep_at: 12 degC}]
    when_dear: {above: 0.30 EUR/kWh, let_fall_by: 2 K}
"""


def test_plan_absence_and_dear_hours_lie_over_each_other(loop):
    """The last step that fits counts, dear hours lower it, an absence stands above both."""
    dear = [(9 * H, 10 * H), (DAY + 19 * H + 1800, DAY + 20 * H)]
    points = set_points(loop(schedule=SCHEDULE), NEW_YEAR, 3 * DAY, dear)
    expected = [
        (0, 30.0),
        (9 * H, 28.0),
        (10 * H, 30.0),
        (20 * H, 33.0),
        (22 * H, 30.0),
        (DAY + 19 * H, 38.0),
        (DAY + 19 * H + 1800, 36.0),
        (DAY + 20 * H, 38.0),
        (DAY + 21 * H, 33.0),
        (DAY + 22 * H, 30.0),
        (2 * DAY, 12.0),
    ]
    assert expected == [(level.at_s, level.keep_at_c) for level in points.levels]
    (ready,) = points.ready
    assert (DAY + 19 * H, 38.0) == (ready.ready_s, ready.keep_at_c)
    assert max(0, ready.ready_s - LONGEST_LEAD_S) == ready.from_s


def test_dear_hours_of_a_tariff():
    """Two windows, one over midnight; the first that fits decides; what costs more than 0.30 is dear."""
    tariff = Tariff.model_validate(
        {
            "otherwise": "0.20 EUR/kWh",
            "windows": [
                {"from": "23:00", "to": "01:00", "price": "0.10 EUR/kWh"},
                {"from": "18:00", "to": "00:00", "price": "0.40 EUR/kWh"},
            ],
        }
    )
    edges, price = prices(tariff, NEW_YEAR, "Europe/Lisbon", DAY)
    at = dict(zip((edges / H).tolist(), price.tolist(), strict=False))
    assert {0.0: 0.10, 1.0: 0.20, 18.0: 0.40, 23.0: 0.10} == at
    assert [(18 * H, 23 * H)] == dearer(edges, price, 0.30)
    assert [] == dearer(edges, price, 0.40), "as much is not more"


def test_a_room_in_balance_is_warmer_by_heat_over_loss():
    """200 W into a room that loses 20 W/K: 10 K above the air; a change takes the time constant."""
    steady = room_c([5.0] * 48, [200.0] * 48, 20.0, 600e3)
    assert pytest.approx([15.0] * 48) == steady
    tau = 600e3 / 20.0
    stepped = np.array(room_c([5.0] * 48, [0.0] + [200.0] * 47, 20.0, 600e3))
    middle = np.exp(-(np.arange(47) + 0.5) * 3600 / tau)
    assert pytest.approx(15.0 - 10.0 * middle, abs=0.02) == stepped[1:], (
        "hour means are about mid-hour values"
    )


def test_heat_left_in_a_room_warms_it(loop, run):
    """The room's mean lies above the air by the mean waste heat over its loss.

    Within 5 %: runs are repeated until the room moves by 0.1 K at most, 2 % of 6 K.
    """
    scenario = loop(
        "place.zones.room={follows: weather, loses: 15 W/K, stores: 500 kJ/K}", "plant.pumps.main.zone=room"
    )
    _, trace = run(scenario, 20)
    before = -trace.zones.origin_s // H
    room = np.array(trace.zones.series["room"])[before : before + 480]
    air = np.array(trace.zones.series["outdoors"])[before : before + 480]
    low = trace.pumps["main"].seconds("low") * 0.3 * 300 + trace.pumps["main"].seconds("high") * 0.3 * 1500
    bodies = sum(trace.stays[n].loss_j.sum() for n in ("filter", "element", "main"))
    assert pytest.approx((low + bodies) / (20 * DAY) / 15.0, rel=0.05) == (room - air).mean()


def test_frost_protection_may_watch_a_leg(loop, run):
    """The pump starts when the leg's water reaches the level, and stops when it is warm."""
    schedule = """
schedule:
  frost_protection: {watches: return, starts_below: 5 degC, stops_above: 8 degC, pump: main low}
  heating: {with: [element], pump: main low, keep_at: 30 degC, within: 1 K}
"""
    scenario = loop("plant.legs.return.zone=outdoors", "place.weather.mean=2 degC", schedule=schedule)
    _, trace = run(scenario, 10)
    spans = [s for s in trace.demands["frost protection"].spans("raised") if s[0] > 0]
    stays = trace.stays["return"]
    assert len(spans) > 5
    started = dict(zip(stays.end_s, stays.end_c, strict=True))
    cold = [started[min(t for t in started if t >= start)] for start, _ in spans]
    assert all(t < 5.1 for t in cold)
    assert stays.end_c.min() > 4.5


def test_a_stove_burns_whether_water_moves_or_not(loop, run):
    """Two hours at 6 kW and what dies down after: its heat waits while the pump stands, and is all booked.

    By hand: 6 kW x 2 h, and after that 6 kW x 0.5 h of time constant: 15 kWh a fire, every day at 12:00.
    """
    scenario = loop(
        "plant.heat_sources.stove={kind: wood, output: 6 kW, burns: [{start: '12:00', lasts: 2 h}], "
        "drop: 0.3 m at 400 L/min, volume: 10 L, needs_flow: 60 L/min, zone: room}",
        "plant.network=[[tub, suction, main, filter, element, stove, stop, return, tub]]",
        schedule='schedule: {filter_runs: [{pump: main low, start: "13:00", lasts: 8 h}]}\n',
    )
    _, trace = run(scenario, 10)
    assert [(12 * H, 16 * H)] == [s for s in trace.sources["stove"].spans("firing") if s[0] < DAY]
    booked = trace.exchanges["stove"].heat_j.sum() / 3.6e6
    trapped = 10 * 6.0  # the hour from 12:00 to 13:00, before the pump runs
    assert pytest.approx(10 * 15.0 - trapped, rel=0.01) == booked
    pumped = trace.pumps["main"].seconds("low") * 0.7 * 300 / 3.6e6
    lost = trace.tub.cover_loss_j.sum() + trace.tub.shell_loss_j.sum()
    lost += sum(stay.loss_j.sum() for stay in trace.stays.values())
    start, end = trace.heat_content_j
    assert pytest.approx(booked + trapped + pumped, rel=1e-3) == (lost + end - start) / 3.6e6


def test_collectors_shine_in_summer_and_by_day(loop, run):
    """Half a sine over 16 h of 3 kW at midsummer: 3 kW x 16 h x 2/pi = 30.6 kWh a day."""
    scenario = loop(
        "plant.heat_sources.panels={kind: solar, summer_peak: 3 kW, winter_peak: 600 W, "
        "drop: 0.3 m at 400 L/min, volume: 5 L, needs_flow: 60 L/min, zone: outdoors}",
        "plant.network=[[tub, suction, main, filter, element, panels, stop, return, tub]]",
        schedule='schedule: {filter_runs: [{pump: main low, start: "00:00", lasts: 24 h}]}\n',
    )
    _, trace = run(scenario, 4, start=date(2027, 6, 20))
    assert pytest.approx(4 * 30.56, rel=0.005) == trace.exchanges["panels"].heat_j.sum() / 3.6e6


def test_a_warmed_room_and_a_long_warm_up_begin_together(build, run, tub_block):
    """A leg that turns over slowly asks for the long warm-up; the room's hours start with it."""
    plant_block = f"""
plant:{tub_block}
  legs: {{only: {{bore: 100 mm, length: 60 m, zone: soil}}}}
  pumps: {{main: {{max_head: 3 m, max_flow: 100 L/min, power: 100 W, zone: room}}}}
  network: [[tub, only, main, tub]]
"""
    schedule = """
schedule:
  line_flushes: [{pump: main, start: "12:00", lasts: 15 s}]
  bathing: [{start: "20:00", lasts: 30 min}]
"""
    scenario = build(
        plant_block, schedule, sets=("place.zones.room={follows: weather, loses: 9 W/K, stores: 90 kJ/K}",)
    )
    _, trace = run(scenario, 3)
    assert -30 * DAY == trace.zones.origin_s
    hours = 30 * 24 + 3 * 24 + 1
    assert {hours} == {len(series) for series in trace.zones.series.values()}


@pytest.mark.parametrize(("price", "fires"), [("0.12 EUR/kWh", "element"), ("0.13 EUR/kWh", "boiler")])
def test_fuel_costs_its_price_over_the_efficiency(price: str, fires: str) -> None:
    """At 0.10 a kilowatt-hour and 80 %, a boiler's heat is 0.125: dearer than 0.12, cheaper than 0.13."""
    found = simulate(heated(price, element=ELEMENT, boiler=BOILER), days=2)
    assert {fires} == {name for name, source in found.metrics.heat_sources.items() if source.firings}
