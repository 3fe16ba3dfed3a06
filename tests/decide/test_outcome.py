"""Outcomes: read again unchanged, with the numbers of `simulate`, and with what only they tell by hand."""

import json
import math
from datetime import date
from functools import cache
from pathlib import Path

import pytest
from iapws import IAPWS97

from cyclesim.analysis.result import simulate
from cyclesim.decide.sweeps.outcome import Outcome, loud_speeds, read
from cyclesim.decide.sweeps.sweep import job, run
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.reading.load import load
from tests.evidence.small import filtered

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
    assert [(f.rule, f.subject, f.cause, f.times) for f in told.findings] == [
        (f.rule, f.subject, f.cause, f.times) for f in found.findings
    ]
    assert sum(x.running_h for x in told.metrics.pumps.values()) == found.pump_h
    assert sum(x.starts for x in told.metrics.pumps.values()) == found.pump_starts
    ages = [math.inf if x.oldest_water_h is None else x.oldest_water_h for x in told.metrics.legs.values()]
    assert max(ages) == found.oldest_water_h
