"""The engine against an independent reference: a month of winter with people, a heat pump and frost.

The reference has every pipe in stirred cells, which smear a front of warmth, where the engine's water moves
in order; `test_slices.py` has slices that move, and no weather or people.
"""

import numpy as np
import psychrolib
import pytest

from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.engine import simulate_trace
from cyclesim.simulation.hourly_weather import mean_air_c, weather
from cyclesim.simulation.programme import Programme

DAYS, HOUR_S, DAY_S = 30, 3600, 86_400
STAGES = (
    ("suction_left", "suction_right"),
    ("filter",),
    ("heat_pump",),
    ("element",),
    ("left_bench", "right_bench"),
)


def model_of(reference, scenario, days):
    """The engine's trace and the reference that follows its actuators."""
    psychrolib.SetUnitSystem(psychrolib.SI)
    plant = Assembly(scenario)
    trace = simulate_trace(plant, Programme(scenario), days=days)
    air = weather(scenario, trace.begin_utc, -trace.zones.origin_s, trace.span_s)
    about = scenario.place.weather
    return trace, reference.Reference(plant, STAGES, trace, air, about.cloud, mean_air_c(about))


def hourly(trace, days):
    """The engine's tub temperature at every hour [degC]."""
    at = dict(zip(trace.tub.start_s, trace.tub.water_c, strict=True))
    return np.array([*(at[t] for t in range(0, days * DAY_S, HOUR_S)), trace.end_water_c])


def at_moments(trace, moments):
    """The engine's tub temperature at seconds within its pieces, taken as straight lines [degC]."""
    tub, at = trace.tub, np.array(moments)
    i = np.searchsorted(tub.start_s, at, side="right") - 1
    lasts, start_c = (tub.end_s - tub.start_s)[i], tub.water_c[i]
    rises = 2.0 * (tub.water_integral_k_s[i] / lasts - start_c)
    return start_c + rises * (at - tub.start_s[i]) / lasts


@pytest.fixture(scope="module")
def month(winter, reference):
    """Trace and reference of 30 days from 1 January."""
    trace, model = model_of(reference, winter(), DAYS)
    return trace, model, model.run(DAYS)


def test_the_month_has_what_it_is_for(month):
    """People with the cover off, the heat pump, the element, the blower, frost protection and a power cut."""
    trace, _, _ = month
    assert 10 * HOUR_S < trace.cover.seconds("off")
    assert 50 * HOUR_S < trace.sources["heat_pump"].seconds("firing")
    assert HOUR_S < trace.sources["element"].seconds("firing")
    assert HOUR_S < trace.blowers["blower"].seconds("on")
    assert 100 * HOUR_S < trace.demands["frost protection"].seconds("raised")
    assert 8 * HOUR_S == trace.power.seconds("lost")


def test_tub_temperature_at_every_hour(month):
    """Within 0.05 K at each of 721 hours."""
    trace, _, run = month
    apart = hourly(trace, DAYS) - run.hourly_c
    assert 24 * DAYS + 1 == len(apart)
    assert np.ptp(run.hourly_c) > 8.0, "the month sees 30 and 38 degC"
    assert np.abs(apart).max() < 0.05


def test_energy_of_the_month(month):
    """Electricity and heat of the heat pump, evaporation, and all heat lost within 0.2 %; blown air too."""
    trace, _, run = month
    moved = trace.exchanges
    lost = trace.tub.cover_loss_j.sum() + trace.tub.shell_loss_j.sum()
    lost += sum(stay.loss_j.sum() for stay in trace.stays.values())
    assert run.electricity_j == pytest.approx(moved["heat_pump"].input_j.sum(), rel=2e-3)
    assert run.heat_pump_j == pytest.approx(moved["heat_pump"].heat_j.sum(), rel=2e-3)
    assert run.evaporated_kg == pytest.approx(moved["open water"].evaporated_kg.sum(), rel=2e-3)
    assert run.open_water_j == pytest.approx(moved["open water"].heat_j.sum(), rel=2e-3)
    assert run.blown_j == pytest.approx(moved["blower"].heat_j.sum(), rel=2e-3)
    assert sum(run.loss_j.values()) == pytest.approx(lost, rel=2e-3)
    # people: their heat less that of what they carry out, one almost the other, so in parts of the first
    warmth_j = 100.0 * sum(int(x.state) * (x.end_s - x.start_s) for x in trace.people)
    assert run.bathers_j == pytest.approx(moved["bathers"].heat_j.sum(), abs=2e-3 * warmth_j)


def test_first_minutes_of_flow(month):
    """Cold water of the legs comes when it does: 0.15 K for a minute, 0.05 K otherwise, at every moment."""
    trace, _, run = month
    seconds = np.array([at for at, _ in run.moments if at < trace.span_s])
    apart = np.abs(at_moments(trace, seconds) - [c for at, c in run.moments if at < trace.span_s])
    starts = np.array([x.start_s for x in trace.pumps["main"] if x.state in ("low", "high")])
    since = seconds - starts[np.maximum(np.searchsorted(starts, seconds, side="left") - 1, 0)]
    assert apart[since <= 60].max() < 0.15
    assert apart[since > 60].max() < 0.05


def test_water_behind_a_source(month):
    """The water behind a heat source is warmer than the tub while it fires: up to 0.6 K, 0.1 K otherwise."""
    trace, _, run = month
    tub = hourly(trace, DAYS)[:-1]
    fires = np.zeros(24 * DAYS, dtype=bool)
    for source in trace.sources.values():
        for start, end in source.spans("firing"):
            fires[start // HOUR_S : -(-end // HOUR_S) + 1] = True
    moves = np.zeros(24 * DAYS, dtype=bool)
    for start, end in trace.pumps["main"].spans("low", "high"):
        moves[(start + 600) // HOUR_S + 1 : -(-end // HOUR_S)] = True
    for name in ("left_bench", "right_bench", "element", "suction_left"):
        apart = np.array(run.legs_c[name]) - tub
        assert -0.1 < apart[moves].min()
        assert apart[moves & ~fires].max() < 0.1, name
    assert 0.3 < (np.array(run.legs_c["left_bench"]) - tub)[moves & fires].max() < 0.6


def test_the_reference_against_a_solver(month):
    """The reference's own steps against solve_ivp at tight tolerance over a day with a session: 0.0001 K."""
    trace, model, run = month
    assert trace.people.spans("4")[0][1] < DAY_S
    assert run.hourly_c[:25] == pytest.approx(model.by_solver(1), abs=1e-4)


def test_finer_cells_change_nothing(month, winter, reference):
    """Cells of half the length move the reference by less than 0.001 K."""
    trace, model, run = month
    finer = reference.Reference(
        model.plant, STAGES, trace, model.air, winter().place.weather.cloud, model.makeup_c, cell_m=0.15
    )
    assert run.hourly_c[: 24 * 10 + 1] == pytest.approx(finer.run(10).hourly_c, abs=1e-3)


def test_flushes_that_never_fill_the_loop(winter, reference):
    """Two flushes of 5 s a day and next to no other flow: each moves what stood in the suction legs onwards.

    After 30 days that cool by 18 K the tub is within 0.1 K, and the legs' heat within 0.6 %: the cells mix at
    every flush what moves in order. Against slices that move it is 0.01 K (`test_slices.py`).
    """
    scenario = winter(
        'schedule.line_flushes=[{pump: main high, start: ["07:30", "19:30"], lasts: 5 s}]',
        "schedule.filter_runs=[]",
        'schedule.bathing=[{start: "20:00", lasts: 10 min, air: true}]',
        "schedule.frost_protection.starts_below=-20 degC",
        "schedule.heating.within=10 K",
        "schedule.heating.plan=[]",
        "schedule.outages=[]",
        "plant.pumps.main.volume=0.1 L",  # the reference has no pump to hold water
    )
    trace, model = model_of(reference, scenario, DAYS)
    run = model.run(DAYS)
    apart = hourly(trace, DAYS) - run.hourly_c
    lost = sum(stay.loss_j.sum() for stay in trace.stays.values())
    assert 21.0 > min(run.hourly_c), "it cools"
    assert np.abs(apart).max() < 0.1
    assert run.loss_j["legs"] == pytest.approx(lost, rel=0.006)
