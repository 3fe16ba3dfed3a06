"""A room that a plant warms: what is told against many runs, each in the room that the run before has made.

The room is stepped forward by the minute here, with heat counted apart from streams and stays.
"""

from datetime import date
from pathlib import Path

import numpy as np
import pytest

from cyclesim.scenario.reading.load import load, load_text
from cyclesim.scenario.reading.starter import starter_text
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.drive import by_calendar
from cyclesim.simulation.engine import WARM_UP_S, PlantRun, simulate_trace
from cyclesim.simulation.programme import Programme
from cyclesim.simulation.room import room_c
from cyclesim.simulation.room_thermostats import Load, switched_room_c

H, DAYS, ROOM = 3600, 8, "pump_room"
BEFORE = WARM_UP_S // H
SETTLED = slice(BEFORE + 48, -1)  # hours that no longer feel what is taken for the warm-up: 48 h are 8 tau
LOSES, STORES, HEATER = 20.0, 400e3, 500.0
SETS = (
    "supply.also_on_it={}",  # where the starter has its room_heater
    f"place.zones.pump_room={{follows: weather, loses: {LOSES} W/K, stores: {STORES / 1e3} kJ/K}}",
    "place.weather={mean: 3 degC, seasonal_swing: 0 K, daily_swing: 6 K, coldest_day: 20 January}",
    "schedule.frost_protection=null",
)
HEATED = "plant.pump_room.heater={zone: pump_room, power: 500 W, starts_below: 9 degC, stops_above: 11 degC}"


def plant(*more):
    """The starter, its pump, element and filter in a room that stores heat."""
    scenario = load_text(starter_text(), "starter.yaml", sets=(*SETS, *more))
    return Assembly(scenario), Programme(scenario)


def given_w(assembly, trace):
    """Heat of each hour [W]: 0.3 of what the pump draws, and what stands or moves in the room loses."""
    joules, pump = np.zeros(24 * DAYS), assembly.pumps["main"]
    assert (ROOM, 0.7) == (pump.zone, pump.heat_to_water)
    shares = [(*span, 0.3 * s.power_w) for k, s in assembly.speeds["main"].items()
              for span in trace.pumps["main"].spans(k)]  # fmt: skip
    for body in assembly.bodies:
        rows = trace.stays[body.name] if body.zone == ROOM else ()
        if len(rows):
            shares += list(
                zip(rows.start_s, rows.end_s, rows.loss_j / (rows.end_s - rows.start_s), strict=True)
            )
    for start, end, watts in shares:
        for hour in range(int(start // H), int(-(-end // H))):
            joules[hour] += watts * (min(end, H * (hour + 1)) - max(start, H * hour))
    return joules / H


def stepped_c(air_c, heat_w, heated=()):
    """Hourly means, by the minute; the heater is on where *heated* has it [s]."""
    heat = [heat_w[:168].mean()] * BEFORE + list(heat_w) + [heat_w[-1]]
    temp, means = air_c[0] + heat[0] / LOSES, []
    for hour, (air, watts) in enumerate(zip(air_c, heat, strict=True)):
        total = 0.0
        for at in range(H * (hour - BEFORE) + 30, H * (hour - BEFORE + 1), 60):
            more_w = HEATER * any(start <= at < end for start, end in heated)
            before, temp = temp, temp + 60.0 / STORES * (LOSES * (air - temp) + watts + more_w)
            total += 0.5 * (before + temp)
        means.append(total / 60)
    return np.array(means)


def test_what_is_told_is_what_many_runs_come_to():
    """The sixth moves nothing any more, and every hour is told within 0.1 K of it."""
    assembly, programme = plant()
    told = np.array(simulate_trace(assembly, programme, days=DAYS).zones.series[ROOM])
    rooms, came_to = None, []
    for _ in range(6):
        drive = by_calendar(assembly, programme, date(2027, 1, 1), DAYS, warm_up_s=WARM_UP_S, rooms=rooms)
        run = PlantRun(assembly, programme.controller, drive)
        assert run.warm_up()
        came_to.append(stepped_c(drive.zones.series["outdoors"], given_w(assembly, run.finish())))
        rooms = drive.zones._replace(series={**drive.zones.series, ROOM: came_to[-1].tolist()})
    off_k = [float(np.max(np.abs(hours - came_to[-1])[SETTLED])) for hours in (*came_to, told)]
    assert off_k[0] > 1.0, "beside air as it is outdoors water loses more"
    assert off_k[-3] < 0.02, "the fifth"
    assert off_k[-1] < 0.1, "what is told"


def test_the_room_that_is_told_is_made_by_the_run_that_is_told():
    """Every hour within 0.1 K by that run's heat, its heater on when it is told to be; two runs do it."""
    assembly, programme = plant(HEATED)
    days: list[int] = []
    told = simulate_trace(assembly, programme, days=DAYS, on_day=days.append)
    heated = told.loads["room_heater"].spans("on")
    assert len(heated) > 5
    made = stepped_c(told.zones.series["outdoors"], given_w(assembly, told), heated)
    assert np.max(np.abs(np.array(told.zones.series[ROOM]) - made)[SETTLED]) < 0.1
    assert 2 == days.count(1)
    ages = told.ages["filter"]
    assert (0.0, DAYS * 86_400.0) == (ages.start_s[0], ages.end_s[-1]), "of which the first follows no ages"


def test_a_room_whose_cold_calls_for_its_pump_does_not_go_to_and_fro():
    """The mean of its hours within 0.2 K of what the told run makes of it.

    A pump that runs in a cold room warms it by some kelvins: in whole steps a run with many calls and one
    with few would take turns, and the told one be off by more than 1 K.
    """
    frost = "watches: pump_room, starts_below: 6 degC, stops_above: 8 degC, pump: main low"
    assembly, programme = plant("place.weather.mean=-2 degC", f"schedule.frost_protection={{{frost}}}")
    told = simulate_trace(assembly, programme, days=DAYS)
    assert told.demands["frost protection"].spans("raised")
    made = stepped_c(told.zones.series["outdoors"], given_w(assembly, told))
    assert abs((np.array(told.zones.series[ROOM]) - made)[SETTLED].mean()) < 0.2


def test_heat_that_falls_as_the_room_warms():
    """300 W less 10 W/K into a room that loses 20 W/K: 10 K above its air, with 300 kJ/K after tau 10,000 s.

    With a heater and a fan that have no cause to run it is the same.
    """
    air, heat, falls = [5.0] * 30, [0.0] + [300.0] * 29, [10.0] * 30
    means = np.array(room_c(air, heat, 20.0, 300e3, falls))
    ends = np.exp(-H * np.arange(30) / 10_000.0)
    assert pytest.approx(15.0 - 10.0 * (ends[:-1] - ends[1:]) * 10_000.0 / H) == means[1:]
    never = [Load("room_heater", 1.0, 2.0, 500.0, 0.0, ()), Load("room_fan", 40.0, 39.0, 0.0, 50.0, ())]
    assert pytest.approx(means) == switched_room_c(air, heat, 20.0, 300e3, 0, never, falls)


def test_a_cellar_of_a_winter_is_settled_by_two_runs():
    """The shipped plant with a heater and a fan, frost protection by its room, and a cut of one circuit."""
    scenario = load(Path(__file__).parents[2] / "schedules" / "moss-cellar.yaml")
    days: list[int] = []
    simulate_trace(Assembly(scenario), Programme(scenario), days=60, on_day=days.append)
    assert 2 == days.count(1)
