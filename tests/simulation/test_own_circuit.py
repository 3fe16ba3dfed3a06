"""A source behind a plate exchanger in whole runs: what goes over, who fires when, energy to a joule."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from math import exp, log

import numpy as np
import pytest

from cyclesim.analysis.findings import Breach, Judged
from cyclesim.analysis.outages import had_it_failed
from cyclesim.analysis.own_water import own_water_unwatched, plates_hardly_possible
from cyclesim.analysis.result import Result, simulate
from cyclesim.physics import own_water
from cyclesim.physics.own_water import over_w_k
from cyclesim.scenario.blocks.own_water import MOST_GLYCOL
from cyclesim.scenario.reading.load import load_text
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.own_water import circuits
from cyclesim.simulation.programme import Programme
from cyclesim.simulation.room import waste
from tests.own_circuit import BOILER, ELECTRIC, HEAT_PUMP, PLANT
from tests.sunny import BEHIND_PLATES, FILTERED


def run(text: str = PLANT, days: int = 3) -> Result:
    """The plant for some days in January."""
    return simulate(load_text(text), days=days)


def edited(*edits: tuple[str, str], of: str = PLANT) -> str:
    """The plant's file with parts of its text replaced."""
    for old, new in edits:
        assert old in of, old
        of = of.replace(old, new)
    return of


@pytest.mark.parametrize(
    "text",
    [PLANT, edited((BOILER, HEAT_PUMP)), edited((BOILER, ELECTRIC), ("breaker: 16 A", "breaker: 63 A"))],
    ids=["boiler", "heat pump", "electric"],
)
def test_all_heat_is_somewhere(text: str) -> None:
    """What the source gave is in tub, legs and own water, or lost: within 1e-9 of it."""
    result = run(text, days=7)
    tub, own = result.metrics.tub, result.metrics.own_water["boiler"]
    assert own.given_kwh > 20.0
    assert own.given_kwh == pytest.approx(result.metrics.heat_sources["boiler"].heat_kwh, rel=1e-12)
    assert abs(tub.balance_error_kwh) < 1e-9 * (tub.heat_from_sources_kwh + tub.heat_from_pumps_kwh)


def test_in_the_steady_state_it_is_warmer_by_its_power_over_what_goes_over() -> None:
    """12 kW through G: own water settles 12,000 / G above the tub's, which rises by some 0.1 K a minute; the
    plates' G is that of the text for these flows, 15 and 60 L/min (test_own_water has the formula).
    """
    result = run()
    plant = Assembly(result.scenario)
    circuit, duty = circuits(plant)["boiler"], plant.duty(plant.at("main", "on"))
    over = circuit.over_w_k(duty)
    per_m3 = plant.per_m3_k
    flow_m3_s = abs(duty.flow_m3_s("boiler"))
    least, most = sorted((circuit.per_m3_k * 15.0 / 60_000.0, per_m3 * flow_m3_s))
    gone = exp(-1200.0 / least * (1.0 - least / most))
    assert over == pytest.approx(least * (1.0 - gone) / (1.0 - least / most * gone), rel=1e-9)
    rows = result.trace.own_waters["boiler"]
    tub_c = 38.0
    hottest = result.metrics.own_water["boiler"].hottest_c
    assert hottest == pytest.approx(tub_c + 12_000.0 / over, abs=1.5)
    assert len(rows) == len(rows.start_s) > 100


def test_its_thermostat_cycles_the_heat_where_plates_pass_less() -> None:
    """With 100 W/K of plates, 12 kW is more than goes over: its own water goes up and down between 55 and
    65 degC, and over goes at most 100 x (65 - 37) = 2.8 kW while the source is on.
    """
    result = run(edited(("ua: 1.2 kW/K", "ua: 100 W/K")))
    own, source = result.metrics.own_water["boiler"], result.metrics.heat_sources["boiler"]
    assert 65.0 <= own.hottest_c < 66.0
    assert own.heat_starts > 5 * source.firings
    assert own.heat_on_h < 0.3 * source.firing_h
    assert own.over_kwh < 2.8 * source.firing_h + 0.05 * source.firing_h


def test_circulator_and_source_run_together_and_the_circulator_runs_on() -> None:
    """It starts with the call, the source a second later (its block reads a circulator that runs), and stops
    3 min after it.
    """
    trace = run().trace
    fires, turns = trace.sources["boiler"].spans("firing"), trace.circulators["boiler_pump"].spans("on")
    inside = [(a, b) for a, b in fires if a > 0 and b < trace.span_s]
    assert len(inside) > 2
    for start, end in inside:
        first, last = next((a, b) for a, b in turns if a <= start and end <= b)
        assert start - first >= 1
        assert last - end in range(180, 182)


def test_the_circulator_is_metered_and_on_its_breaker() -> None:
    """45 W for as long as it runs; 0.2 A at 230 V beside pump and boiler."""
    result = run()
    own = result.metrics.own_water["boiler"]
    assert own.circulator_energy_kwh == pytest.approx(0.045 * own.circulator_h)
    assert result.metrics.energy.by_device["boiler_pump"].energy_kwh == own.circulator_energy_kwh
    assert result.metrics.energy.most_current_a == pytest.approx((300.0 + 45.0 + 100.0) / 230.0)
    assert own.given_kwh == pytest.approx(12.0 * own.heat_on_h, rel=1e-9)
    source = result.metrics.heat_sources["boiler"]
    assert source.fuel_kwh == pytest.approx(own.given_kwh / 0.9)
    assert source.energy_kwh == pytest.approx(0.1 * own.heat_on_h)


_OFF = "hand_switch: [{from: 2027-01-02 00:00, lasts: 1 day, to: off}]"
LEFT_OFF = ("power: 45 W}", f"power: 45 W, also_started_by: [{{{_OFF}}}]}}")


def test_a_circulator_left_in_off_makes_the_boiler_trip() -> None:
    """The block reads the controller's word, the hand switch stands behind it: the boiler heats what stands
    in it. 3 L from 30 degC or so to 80 degC by 12 kW take 3 x 4130 x 50 / 12,000 = 52 s.
    """
    result = run(edited(LEFT_OFF))
    [found] = [f for f in result.findings if f.rule == "own-water-still"]
    assert (found.subject, found.severity) == ("boiler", "danger")
    assert "boiler_pump stands" in found.cause
    assert 20.0 < (found.worst or 0.0) < 75.0
    source = result.metrics.heat_sources["boiler"]
    assert source.tripped_h > 20.0
    assert 80.0 <= result.metrics.own_water["boiler"].hottest_c < 81.5


def test_a_flow_switch_in_the_circuit_holds_it_off() -> None:
    """And while the hand switch is in off, nothing fires."""
    result = run(edited(LEFT_OFF, ("volume: 12 L", "volume: 12 L\n        flow_switch: true")))
    assert "own-water-still" not in {f.rule for f in result.findings}
    assert result.metrics.heat_sources["boiler"].tripped_h == 0.0
    assert result.metrics.own_water["boiler"].still_while_on_h == 0.0


def test_without_tub_flow_nothing_goes_over_and_the_boiler_keeps_its_own_water_hot() -> None:
    """A clock starts boiler and circulator at night, with the tub's pump at rest: 12 L stand by between 55
    and 65 degC, nothing goes over, nothing trips, and heat without flow of the tub's water is told as ever.
    """
    clock = "also_started_by: [{clock: {start: 02:00, lasts: 2 h}}]"
    text = edited(
        ("power: 45 W}", f"power: 45 W, {clock}}}"),
        ("high_limit: 80 degC", f"high_limit: 80 degC\n      {clock}"),
    )
    result = run(text)
    trace, own = result.trace, result.metrics.own_water["boiler"]
    rows = trace.own_waters["boiler"]
    night = (rows.start_s >= 3 * 3600) & (rows.end_s <= 4 * 3600)
    assert night.any()
    assert 0.0 == float(rows.over_j[night].sum())
    assert 54.0 < float(rows.source_c[night].min()) <= float(rows.source_c[night].max()) < 66.5
    assert result.metrics.heat_sources["boiler"].tripped_h == 0.0
    assert own.hottest_c < 70.0
    assert "heat-without-flow" in {f.rule for f in result.findings}


def test_water_without_glycol_freezes_where_it_stands_cold() -> None:
    """A room at -8 degC: at 0 degC without, not with 30 % (-12.8 degC by Lange's Handbook)."""
    cold = ("room: {always: 10 degC}", "room: {always: 10 degC}\n    shed: {always: -8 degC}")
    lies = ("volume: 12 L", "volume: 12 L\n        zone: shed")
    rare = ("keep_at: 38 degC", "keep_at: 20 degC")
    found = run(edited(cold, lies, rare)).findings
    [frozen] = [f for f in found if f.rule == "own-water-freezes"]
    assert "water without glycol freezes at 0.0 degC" in frozen.cause
    mixed = run(
        edited(cold, ("volume: 12 L", "volume: 12 L\n        zone: shed\n        glycol: 30 %"), rare)
    )
    assert "own-water-freezes" not in {f.rule for f in mixed.findings}


def test_a_curve_meets_the_circuit_s_drop() -> None:
    """H = 4 (1 - (q/30)2) m meets 1 m at 15 L/min: 4 - 4 q2/900 = q2/225, q = 15 sqrt 2 = 21.2 L/min."""
    text = edited(("flow: 15 L/min, ", "max_head: 4 m, max_flow: 30 L/min, "),
                  ("volume: 12 L", "volume: 12 L\n        drop: 1 m at 15 L/min"))  # fmt: skip
    circuit = circuits(Assembly(load_text(text)))["boiler"]
    assert circuit.flow_m3_s * 60_000.0 == pytest.approx(15.0 * 2.0**0.5, rel=1e-4)


def test_plates_by_their_rating() -> None:
    """12 kW from 70 to 38 degC at 15 and 60 L/min pass 12 kW there again."""
    rated = (
        "rated: {output: 12 kW, hot_in: 70 degC, hot_flow: 15 L/min, cold_in: 38 degC, cold_flow: 60 L/min}"
    )
    plant = Assembly(load_text(edited(("ua: 1.2 kW/K", rated))))
    circuit = circuits(plant)["boiler"]
    flows = (plant.per_m3_k * 15.0 / 60_000.0, plant.per_m3_k * 60.0 / 60_000.0)
    assert 12_000.0 == pytest.approx(32.0 * over_w_k(circuit.ua_w_k, *flows), rel=1e-6)


def test_glycol_is_refused_just_where_its_freezing_point_ends() -> None:
    """The file's bound is the table's."""
    assert own_water.MOST_GLYCOL == MOST_GLYCOL


def test_a_ready_by_is_met_by_what_plates_let_over() -> None:
    """From 25 to 38 degC by 08:00 through 200 W/K: its own water is at 60 degC in the mean, over go 200 x
    (60 - 31.5) = 5.7 kW of the boiler's 12, and 1500 L take 1500 x 4.15 x 13 / 3600 / 5.7 = 3.9 h, not 1.9.
    The middle of its swing is taken for its mean, so that it may come out some tenths of a kelvin short.
    """
    plan = "within: 1 K, plan: [{days: [saturday], ready_by: '08:00', until: '20:00', keep_at: 38 degC}]"
    text = edited(
        ("keep_at: 38 degC, within: 1 K", f"keep_at: 25 degC, {plan}"), ("ua: 1.2 kW/K", "ua: 200 W/K")
    )
    result = run(text, days=3)
    [(_, water_c, wanted_c)] = result.trace.ready
    assert water_c >= wanted_c - 0.5
    begun = next(a for a, _ in result.trace.sources["boiler"].spans("firing") if a > 86_400 + 3600 * 2)
    assert 3.9 * 3600 < 86_400 + 8 * 3600 - begun < 6.0 * 3600


def test_what_leaves_the_plates_is_warmer_by_what_went_over() -> None:
    """Past a limit of 39 degC: tub water of 38 degC and 12 kW in the flow that the duty has."""
    result = run(edited(("schedule:\n", "limits: {outlet_temperature: 39 degC}\nschedule:\n")))
    plant = Assembly(result.scenario)
    flow_m3_s = abs(plant.duty(plant.at("main", "on")).flow_m3_s("boiler"))
    [found] = [f for f in result.findings if f.rule == "outlet-too-hot"]
    assert found.worst == pytest.approx(38.0 + 12_000.0 / (flow_m3_s * plant.per_m3_k), abs=0.4)


def test_a_room_is_warmed_by_its_circuits() -> None:
    """By all of a circulator's power and by what the circuit's water loses, beside legs and housings."""
    result = run()
    plant, trace, own = Assembly(result.scenario), result.trace, result.metrics.own_water["boiler"]
    others_j = sum(float(stays.loss_j.sum()) for stays in trace.stays.values())
    warmed_j = 3600.0 * float(waste(plant, trace, "room")[0].sum())
    by_circuit_kwh = own.lost_kwh + 0.045 * own.circulator_h
    assert warmed_j - others_j == pytest.approx(3.6e6 * by_circuit_kwh, rel=1e-6)


def test_without_power_plain_water_stands_and_cools_to_ice() -> None:
    """12 L of 4.13 kJ/(L K) lose 8 W/(m2 K) from cylinders twice as high as wide, of 3 and 9 L: 0.121 and
    0.252 m2, 2.98 W/K, so 4.62 h to 1/e. From T in a shed of -8 degC: 4.62 ln((T + 8) / 8). None with glycol.
    """
    cold = ("room: {always: 10 degC}", "room: {always: 10 degC}\n    shed: {always: -8 degC}")
    plain, mixed = ("volume: 12 L\n        zone: shed" + more for more in ("", "\n        glycol: 30 %"))
    result = run(edited(cold, ("volume: 12 L", plain)))
    cut = had_it_failed(Assembly(result.scenario), result.trace)
    rows = result.trace.own_waters["boiler"]
    since_s = (datetime.fromisoformat(cut.from_local) - result.trace.begin_utc).total_seconds()
    begins_c = float(np.interp(since_s, rows.start_s, rows.rest_c))
    expected_h = 12.0 * 4.13e3 / 2.98 / 3600.0 * log((begins_c + 8.0) / 8.0)
    assert cut.until_zero_h["own water of boiler"] == pytest.approx(expected_h, rel=0.02)
    assert cut.until_frozen_h["own water of boiler"] > expected_h
    other = run(edited(cold, ("volume: 12 L", mixed)))
    assert "own water of boiler" not in had_it_failed(Assembly(other.scenario), other.trace).until_zero_h


def test_nothing_that_watches_the_circulator_is_told_without_a_run() -> None:
    """Neither its contact nor a switch in the water: either of them will do."""

    no_block = ("  - {block: boiler, while: boiler_pump stopped}\n", "")
    assert ["boiler"] == told(own_water_unwatched, edited(no_block))
    assert [] == told(own_water_unwatched, PLANT)
    switch = ("volume: 12 L", "volume: 12 L\n        flow_switch: true")
    assert [] == told(own_water_unwatched, edited(no_block, switch))
    assert [] == told(own_water_unwatched, BEHIND_PLATES + FILTERED), "nobody switches the sun"


def told(rule: Callable[[Assembly, Programme], Judged], text: str) -> list[str]:
    """What a rule that needs no run accuses in a plant's file."""
    plant = Assembly(load_text(text))
    return [b.subject for b in rule(plant, Programme(plant.scenario)) if isinstance(b, Breach)]


@pytest.mark.parametrize(("output", "found"), [("22.8 kW", ["boiler"]), ("22.0 kW", [])])
def test_plates_rated_at_nearly_all_that_is_possible_are_told(output: str, found: list[str]) -> None:
    """18 L/min at 4.146 MJ/(m3 K), 19 K apart, can give 23.6 kW: 22.8 are 96.5 % of it, 22.0 are 93.1."""
    rated = (
        f"rated: {{output: {output}, hot_in: 57 degC, hot_flow: 18 L/min, cold_in: 38 degC, "
        "cold_flow: 60 L/min}"
    )
    assert found == told(plates_hardly_possible, edited(("ua: 1.2 kW/K", rated)))
    assert [] == told(plates_hardly_possible, PLANT)
