"""Outcomes: read again unchanged, with the numbers of `simulate`, and with what only they tell by hand."""

import json
import math
from dataclasses import replace
from datetime import date
from functools import cache
from pathlib import Path

import pytest
from iapws import IAPWS97

from cyclesim.analysis.result import simulate
from cyclesim.decide.sweeps.brief import BRIEFS, brief
from cyclesim.decide.sweeps.outcome import Broken, DeviceOutcome, LegOutcome, Outcome, loud_speeds, read
from cyclesim.decide.sweeps.sweep import job, run, traced
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.reading.load import load, load_text
from cyclesim.simulation.assembly import Assembly
from tests.evidence.small import ELEMENT, filtered, heated_text

SCHEDULES = sorted((Path(__file__).parents[2] / "schedules").glob("*.yaml"))


@cache
def shipped(path: Path) -> tuple[Scenario, Outcome]:
    """A shipped plant and three of its days, from a Friday in March, so that people bathe."""
    scenario = load(path)
    return scenario, run(job(scenario, 3, date(2027, 3, 5), seed=7))


def test_work_on_the_water_by_hand() -> None:
    """45 min a day for two days: density of IAPWS-IF97 (library iapws) x 9.80665 m/s2 x flow x head x time.

    The head is that of the parabola which the file states: 8 m at rest, none at 240 L/min.
    """
    scenario = filtered()
    found, told = run(job(scenario, 2)), simulate(scenario, days=2)
    pump = found.devices["pump"]
    flow_m3_s = told.plant.duty(("on",)).flow_m3_s("pump")
    head_m = 8.0 * (1.0 - (flow_m3_s * 60_000.0 / 240.0) ** 2)
    density = IAPWS97(T=told.plant.temp_c + 273.15, P=0.101325).rho
    seconds = 2 * 45 * 60
    assert (1.5, 2, "pump") == (pump.running_h, pump.starts, pump.kind)
    assert pytest.approx(flow_m3_s * seconds) == pump.moved_m3
    assert (
        pytest.approx(density * 9.80665 * flow_m3_s * head_m * seconds / 3.6e6, rel=1e-4)
        == pump.hydraulic_kwh
    )
    assert pytest.approx(0.3 * 1.5) == pump.energy_kwh
    assert pump.hydraulic_kwh < pump.energy_kwh
    assert pytest.approx(pump.moved_m3 / 1.5 / 2) == found.turnovers_per_day


BOOSTED = (
    "plant.pumps.booster={low: {max_head: 2 m, max_flow: 120 L/min, power: 50 W}, "
    "high: {max_head: 5 m, max_flow: 240 L/min, power: 200 W}, zone: room}",
    "plant.network=[[tub, pipe, pump, booster, filter, tub]]",
    'schedule.filter_runs=[{pump: pump, start: "03:00", lasts: 45 min}, '
    '{pump: booster low, start: "03:05", lasts: 20 min}]',
    'schedule.line_flushes=[{pump: booster high, start: "03:10", lasts: 45 s}]',
)
"""A second pump in the way of the first, which runs on low for 20 min, and within them on high for 45 s."""


def test_what_is_pushed_through_a_pump_that_stands_or_changes_its_speed_is_not_its_own() -> None:
    """Of the 45 s at high the first 2 s are the changeover, and 2 s more lead back to low: 1153 s on low.

    On low it gets less head than the other pump pushes through it, so that it takes work from the water.
    """
    scenario = filtered(*BOOSTED)
    found, plant = run(job(scenario, 2)), Assembly(scenario)
    low, high, still = (plant.duty(("on", speed)) for speed in ("low", "high", "stopped"))
    assert still.flow_m3_s("booster") > 0.002
    own = [(low, 1153), (high, 43)]
    moved_m3 = 2 * sum(duty.flow_m3_s("booster") * seconds for duty, seconds in own)
    assert pytest.approx(moved_m3) == found.devices["booster"].moved_m3
    in_all = [*own, (still, 45 * 60 - 1153 - 43)]
    moved_m3 = 2 * sum(duty.flow_m3_s("pump") * seconds for duty, seconds in in_all)
    assert pytest.approx(moved_m3) == found.devices["pump"].moved_m3
    assert found.devices["booster"].hydraulic_kwh is not None
    assert found.devices["booster"].hydraulic_kwh < 0.0


def test_a_pump_that_never_runs_moves_nothing() -> None:
    """Nor does it any work, to the last joule."""
    pump = run(job(filtered("schedule.filter_runs=null"), 1)).devices["pump"]
    assert (0.0, 0, 0.0, 0.0) == (pump.running_h, pump.starts, pump.moved_m3, pump.hydraulic_kwh)


TWO_SPEEDS = (
    "plant.pumps.pump={low: {max_head: 4 m, max_flow: 120 L/min, power: 100 W}, "
    "high: {max_head: 8 m, max_flow: 240 L/min, power: 300 W}}",
    "schedule.filter_runs.0.pump=pump low",
    'schedule.line_flushes=[{pump: pump high, start: ["07:30", "19:30"], lasts: 45 s}]',
)
"""A flush of 45 s twice a day beside the filter run of 45 min."""
BATHING = (
    'schedule.bathing=[{start: "19:00", lasts: 50 min, people: 2, pump: pump high, jets_at_most: 20 min}]',
)
"""The second flush lies in the session."""
QUIET = 'schedule.quiet_hours={{from: "22:00", to: "07:00", applies_to: [{}]}}'
BLOWER = (
    "plant.air={blower: {power: 690 W, delivers: 600 L/min, pipe: 50 PN10, length: 6 m, wet_volume: 3 L, "
    "outlets_below_water: 600 mm, check_valve: true, zone: room}}",
    'schedule.air_line_flushes=[{start: "12:00", lasts: 2 min}]',
)


@pytest.mark.parametrize(
    ("sets", "minutes"),
    [
        ((), 0.0),  # one pump of one speed that filters
        (TWO_SPEEDS, 3 * 2 * 0.75),
        ((*TWO_SPEEDS, QUIET.format("pump high")), 3 * 2 * 0.75),
        ((*TWO_SPEEDS, QUIET.format("pump low")), 3 * 45.0),
        ((*TWO_SPEEDS, QUIET.format("pump")), 3 * (45.0 + 2 * 0.75)),
        ((*TWO_SPEEDS, *BATHING), 3 * 0.75),  # who bathes does not mind
        ((*TWO_SPEEDS, *BLOWER), 3 * (2 * 0.75 + 2.0)),
        (BLOWER, 3 * 2.0),
    ],
    ids=["steady", "flushes", "quiet high", "quiet low", "quiet both", "bathing", "both", "blower"],
)
def test_loud_minutes_by_hand(sets: tuple[str, ...], minutes: float) -> None:
    """Three days, counted off the file's own times."""
    found = run(job(filtered(*sets), 3))
    assert pytest.approx(minutes) == found.loud_min
    assert pytest.approx(minutes / 3) == found.loud_min_a_day


def test_loud_speeds_by_the_file() -> None:
    """Of a pump that filters the highest of two; of one that does neither all that it has."""
    assert {} == loud_speeds(filtered())
    assert {"pump": ("high",)} == loud_speeds(filtered(*TWO_SPEEDS))
    never = "schedule.filter_runs=null"
    assert {"pump": ("on",)} == loud_speeds(filtered(never))
    assert {"pump": ("low", "high")} == loud_speeds(filtered(*TWO_SPEEDS, QUIET.format("pump")))
    assert {} == loud_speeds(load_text(heated_text(element=ELEMENT), sets=(never,))), "it heats"
    both = QUIET.format("pump low, pump high")
    assert {"pump": ("low", "high")} == loud_speeds(filtered(*TWO_SPEEDS, both))
    after_a_blower = QUIET.format("blower, pump high")
    assert {"pump": ("high",)} == loud_speeds(filtered(*TWO_SPEEDS, *BLOWER, after_a_blower))


def test_what_heats_blows_and_treats_by_hand() -> None:
    """Two days: 2 min of air and 30 min of lamp a day; of 3 kW of electricity all goes to the water."""
    lamp = (
        "plant.treatment={lamp: {kind: uv, in: filter, needs_flow: 60 L/min, power: 40 W, "
        'proof: {by: none}, runs: [{start: "03:10", lasts: 30 min}]}}'
    )
    scenario = load_text(heated_text(element=ELEMENT), sets=(*BLOWER, lamp))
    found, told = run(job(scenario, 2)).devices, simulate(scenario, days=2)
    blower, treatment, element = found["blower"], found["lamp"], found["element"]
    assert ("blower", 2) == (blower.kind, blower.starts)
    assert pytest.approx((4 / 60, 0.69 * 4 / 60)) == (blower.running_h, blower.energy_kwh)
    assert ("treatment", 2) == (treatment.kind, treatment.starts)
    assert pytest.approx((1.0, 0.04)) == (treatment.running_h, treatment.energy_kwh)
    fired = told.trace.sources["element"].spans("firing")
    assert ("heat source", len(fired)) == (element.kind, element.starts)
    assert pytest.approx(sum(b - a for a, b in fired) / 3600) == element.running_h
    assert pytest.approx(3.0 * element.running_h) == element.heat_kwh
    assert all(each.moved_m3 is None for each in (blower, treatment, element))


@pytest.mark.parametrize("path", SCHEDULES, ids=lambda path: path.stem)
def test_in_brief_a_run_comes_to_the_same(path: Path) -> None:
    """Every number of it is the outcome's, to the last digit, and read again unchanged."""
    scenario, out = shipped(path)
    found = brief(*traced(job(scenario, 3, date(2027, 3, 5), seed=7)), 3)
    assert {name: getattr(found, name) for name in BRIEFS.as_values(found)} == {
        name: getattr(out, name) for name in BRIEFS.as_values(found)
    }
    assert found.loud_min_a_day == out.loud_min_a_day
    assert found == BRIEFS.read(json.loads(json.dumps(BRIEFS.as_values(found))))


def test_a_session_in_cold_water_counts_once() -> None:
    """Of 300 W the water is neither ready by six nor warm at seven: three sessions, all of them cold."""
    sets = (
        'schedule.bathing=[{start: "19:00", lasts: 50 min, people: 2}]',
        'schedule.heating.plan=[{ready_by: "18:00", keep_at: 38 degC, until: "20:00"}]',
    )
    weak = ELEMENT.replace("3 kW", "300 W")
    found = run(job(load_text(heated_text(element=weak), sets=sets), 3))
    assert (3, 3) == (found.sessions, found.cold_sessions)
    assert {"ready by", "bathing"} == {f.subject for f in found.findings if f.rule == "cold-at-session"}


def _leg(oldest_h: float | None) -> LegOutcome:
    return LegOutcome("leg", 1.0, 2.0, oldest_h, 3.0, 4.0)


def test_the_oldest_water_and_its_leg() -> None:
    """What never moves is older than any; where nothing holds water nothing is old."""
    like = run(job(filtered(), 1))
    ages = {"a": _leg(7.0), "b": _leg(9.0), "c": _leg(8.0)}
    aged = replace(like, legs=ages)
    assert (9.0, "b") == (aged.oldest_water_h, aged.oldest_leg)
    still = replace(like, legs={**ages, "d": _leg(None), "e": _leg(99.0)})
    assert (math.inf, "d") == (still.oldest_water_h, still.oldest_leg)
    assert 0.0 == replace(like, legs={}).oldest_water_h


def test_findings_by_their_severity() -> None:
    """Those of any that is asked for, in their order."""
    first, second, third = (
        Broken(rule, severity, "pump", "why", 1, "")
        for rule, severity in (("a", "danger"), ("b", "wear"), ("c", "hygiene"))
    )
    found = replace(run(job(filtered(), 1)), findings=(first, second, third))
    assert (first, third) == found.broken("danger", "hygiene")
    assert (second,) == found.broken("wear")
    assert () == found.broken()


def test_what_a_device_is_not_known_to_do() -> None:
    """Without a word of it no fuel is burnt, and water and heat are unknown."""
    device = DeviceOutcome("blower", 1.0, 2, 0.69, 0.14)
    assert (0.0, None, None, None) == (
        device.fuel_kwh,
        device.moved_m3,
        device.hydraulic_kwh,
        device.heat_kwh,
    )


@pytest.mark.parametrize("path", SCHEDULES, ids=lambda path: path.stem)
def test_what_is_kept_is_read_again(path: Path) -> None:
    """Through JSON, to the last digit of every float."""
    _, found = shipped(path)
    again = read(json.loads(json.dumps(found.as_values())))
    assert found == again
    assert repr(found) == repr(again)


@pytest.mark.parametrize("path", SCHEDULES, ids=lambda path: path.stem)
def test_numbers_are_those_of_simulate(path: Path) -> None:
    """An outcome measures nothing again that a run's metrics know; and it has the same findings."""
    scenario, found = shipped(path)
    told = simulate(scenario, days=3, start=date(2027, 3, 5), seed=7)
    tub, energy = told.metrics.tub, told.metrics.energy
    for name, leg in told.metrics.legs.items():
        mine = found.legs[name]
        for key in mine.__slots__:
            assert getattr(leg, key) == getattr(mine, key), (name, key)
    for name in ("turnovers_per_day", "fewest_turnovers_in_a_day", "sessions", "coldest_c"):
        assert getattr(tub, name) == getattr(found, name), name
    for name in ("energy_kwh", "fuel_kwh", "cost", "currency", "most_current_a"):
        assert getattr(energy, name) == getattr(found, name), name
    assert pytest.approx(found.cost) == sum(found.cost_by_month.values())
    assert {name: (x.energy_kwh, x.cost, x.fuel_kwh) for name, x in energy.by_device.items()} == {
        name: (x.energy_kwh, x.cost, x.fuel_kwh) for name, x in found.devices.items()
    }
    for name, pump in told.metrics.pumps.items():
        assert (pump.running_h, pump.starts) == (found.devices[name].running_h, found.devices[name].starts)
    assert [(f.rule, f.severity, f.subject, f.cause, f.times, f.worst_text) for f in told.findings] == [
        (f.rule, f.severity, f.subject, f.cause, f.times, f.worst_text) for f in found.findings
    ]
    assert sum(x.running_h for x in told.metrics.pumps.values()) == found.pump_h
    assert sum(x.starts for x in told.metrics.pumps.values()) == found.pump_starts
    ages = [math.inf if x.oldest_water_h is None else x.oldest_water_h for x in told.metrics.legs.values()]
    assert max(ages) == found.oldest_water_h
