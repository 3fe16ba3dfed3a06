"""Collectors with a temperature: how they warm, when they are let in and kept out, and what they lose.

What they do while no water moves is integrated anew by scipy, from the hours of sun and air as given. What
they do while it moves is looked at each second, and put beside slices of water (slices.py).
"""

import random
from datetime import date

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from cyclesim.analysis.result import simulate
from cyclesim.analysis.sunshine import sunshine
from cyclesim.physics.sources import SolarCollector
from cyclesim.physics.tub_heat import OverTub, TubHeat
from cyclesim.scenario.reading.load import load_text
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.programme import Programme
from tests.simulation.slices import Slices
from tests.sunny import AT_NIGHT, BY_VALVE, FILTERED, OWN_PUMP

SUMMER = date(2027, 6, 20)
LOSES, HOLDS, LITRES = 9.0, 24e3, 6.0
CAPACITY = (
    HOLDS + LITRES * 4151.0
)  # kg x J/(kg K) of water at 36 degC: 993.7 kg/m3 x 4178 J/(kg K), IAPWS-IF97
H = 3600


def sunny(plant=OWN_PUMP, schedule=AT_NIGHT, *sets):
    """A plant in Lisbon with `--set` style changes."""
    return load_text(plant + schedule, "test.yaml", sets=sets)


def sun_w(hours):
    """The hours of sun from SUMMER on; Lisbon's clock is an hour ahead of its standard time then."""
    from datetime import datetime

    return SolarCollector(1000.0, 300.0, 16.0, 8.0).hourly_w(datetime(2027, 6, 19, 23), hours)


def stands(trace, begin_s, end_s, begins_c):
    """Collectors that stand from a second and a temperature on, integrated hour by hour; dense over time."""
    watts, air = sun_w(48), trace.zones.series["outdoors"]
    first, parts, temp = trace.zones.origin_s // H, [], begins_c
    for hour in range(int(begin_s // H), int(-(-end_s // H))):
        a, b = max(begin_s, hour * H), min(end_s, (hour + 1) * H)

        def warms(_, t, hour=hour):
            return [(watts[hour] - LOSES * (t[0] - air[hour - first])) / CAPACITY]

        seconds = np.arange(a, b + 1)
        found = solve_ivp(warms, (a, b), [temp], t_eval=seconds, rtol=1e-9, atol=1e-9)
        parts.append(found.y[0][:-1])
        temp = float(found.y[0][-1])
    return np.concatenate(parts)


def stay_at(trace, at_s):
    """How warm the collectors were as the stay began that holds a second."""
    rows = trace.stays["panels"]
    k = int(np.searchsorted(rows.start_s, at_s, side="right")) - 1
    return float(rows.start_s[k]), float(rows.start_c[k])


def test_the_pump_runs_from_the_second_in_which_the_collectors_are_warm_enough(run):
    """6 K above the tub, by integrating what the sun gives and the air takes."""
    _, trace = run(sunny(), 1, start=SUMMER)
    on_s = trace.demands["sun on panels"].spans("raised")[0][0]
    begin_s, begins_c = stay_at(trace, 2 * H)
    course = stands(trace, begin_s, on_s + 60, begins_c)
    tub_c = np.interp(np.arange(begin_s, begin_s + len(course)), trace.tub.start_s, trace.tub.water_c)
    assert begin_s + int(np.argmax(course - tub_c >= 6.0)) == pytest.approx(on_s, abs=3)
    assert trace.pumps["sun_pump"].spans("on")[0][0] == pytest.approx(on_s, abs=1)


def test_it_goes_off_when_they_are_hardly_warmer(run):
    """0.2 K at most, less what cold water from the pipes brings along; and it stays off at night."""
    _, trace = run(sunny(), 2, start=SUMMER)
    spans = trace.demands["sun on panels"].spans("raised")
    assert all(4 * H < start % 86_400 and end % 86_400 < 22 * H for start, end in spans)
    rows = trace.stays["panels"]
    for _, end_s in spans:
        k = int(np.searchsorted(rows.start_s, end_s, side="right")) - 1
        tub_c = float(np.interp(end_s, trace.tub.start_s, trace.tub.water_c))
        assert rows.start_c[k] - tub_c <= 0.21
    assert sum(end - start for start, end in spans) > 2 * 8 * H


def test_a_high_stop_keeps_the_sun_out_until_the_tub_is_a_kelvin_colder(run):
    """The tub passes 33 degC by no more than what is under way; below 32 degC the sun comes in again."""
    scenario = sunny(
        OWN_PUMP,
        AT_NIGHT,
        "plant.heat_sources.panels.steered.high_stop=33 degC",
        "plant.heat_sources.panels.summer_peak=4 kW",
    )
    _, trace = run(scenario, 6, start=SUMMER)
    assert trace.tub.water_c.max() == pytest.approx(33.0, abs=0.05)
    stopped = False
    for stay in trace.demands["sun on panels"]:
        tub_c = float(np.interp(stay.start_s, trace.tub.start_s, trace.tub.water_c))
        if stay.state == "raised" and stopped:
            assert tub_c <= 32.01
        stopped = stay.state != "raised" and tub_c > 32.98
    free = run(sunny(OWN_PUMP, AT_NIGHT, "plant.heat_sources.panels.summer_peak=4 kW"), 6, start=SUMMER)[1]
    assert free.tub.water_c.max() > 36.0


def test_collectors_that_would_scald_are_left_alone(run):
    """6 K above a tub that is warmer than 24 degC: what must be colder than 30 degC to begin never does."""
    spans = {
        limit: run(
            sunny(OWN_PUMP, AT_NIGHT, f"plant.heat_sources.panels.steered.not_above={limit} degC"),
            1,
            start=SUMMER,
        )[1]
        .demands["sun on panels"]
        .spans("raised")
        for limit in (30, 60)
    }
    assert [] == spans[30]
    assert spans[60]


def test_what_has_cooled_to_the_limit_is_let_in(run):
    """Kept out by a high stop, hotter than 50 degC at dusk: let in when integrating has them there."""
    limits = ("not_above=50 degC", "on_at=8 K", "high_stop=36 degC")
    hot = (*(f"steered.{limit}" for limit in limits), "summer_peak=4 kW")
    scenario = sunny(OWN_PUMP, AT_NIGHT, *(f"plant.heat_sources.panels.{one}" for one in hot))
    _, trace = run(scenario, 1, start=SUMMER)
    on_s = trace.demands["sun on panels"].spans("raised")[-1][0]
    begin_s, begins_c = stay_at(trace, 22 * H)
    assert 21 * H <= begin_s < 22 * H < on_s
    course = stands(trace, begin_s, on_s + 60, begins_c)
    assert begin_s + int(np.argmax(course <= 50.0)) == pytest.approx(on_s, abs=1)


class Sunlit:
    """Collectors that water of a small tub passes, all at 30 degC at first; numbers drawn, no weather."""

    def __init__(self, seed, tub="300 L"):
        draw = random.Random(seed)
        self.plant = plant = Assembly(
            sunny(
                OWN_PUMP,
                AT_NIGHT,
                f"plant.tub.water={tub}",
                f"plant.legs.sun_out.length={draw.uniform(3.0, 30.0):.2f} m",
                f"plant.pumps.sun_pump.max_flow={draw.uniform(3.0, 8.0):.2f} L/min",
                "plant.heat_sources.panels.drop=1 m at 3 L/min",
            )
        )
        self.zones = {"outdoors": draw.uniform(-5.0, 20.0), "room": 15.0, "soil": 10.0}
        series = {name: [zone_c] * 10 for name, zone_c in self.zones.items()}
        self.heat = TubHeat(
            plant.tub_node, plant.ways, plant.body_of, series, 0, 0, 30.0,
            lambda _: None, lambda *_: None,
        )  # fmt: skip
        self.panels = [body.name for body in plant.bodies].index("panels")
        self.heats_w = {plant.reach_at["panels"]: draw.uniform(500.0, 1500.0)}
        self.flows = plant.duty(plant.at("sun_pump", "on")).plug_flows_m3_s
        self.heat.change(self.flows, self.heats_w)

    @property
    def warmer_k(self):
        """How much warmer than the tub they are."""
        return self.heat.body_c(self.panels, self.heat.now_s) - self.heat.water_c


@pytest.mark.parametrize("seed", range(4))
def test_collectors_that_are_hardly_warmer_are_seen_in_that_second(seed):
    """The tub warms, or cools, and what they are warmer by moves on; a second before it is not there yet.

    Slices have them as warm within 0.1 K: what follows the tub is told without its delay, which is three
    minutes here, at 2 K/h.
    """
    computed, looked, later = (Sunlit(seed) for _ in range(3))
    for one, at_s in ((computed, 900), (looked, 900), (later, 2700)):
        one.heat.advance(at_s)
    level_k, rising = 0.5 * (looked.warmer_k + later.warmer_k), later.warmer_k > looked.warmer_k
    crossed = computed.heat.advance(3600, (level_k, rising, OverTub(computed.panels)))
    assert 900 < crossed < 2700
    looked.heat.advance(crossed - 1)
    assert (looked.warmer_k < level_k) is rising
    looked.heat.advance(crossed)
    assert (looked.warmer_k >= level_k) is rising
    slices = Slices(computed.plant, computed.zones, 30.0)
    slices.step(computed.flows, computed.heats_w, crossed)
    assert slices.body_c(computed.panels) - slices.water_c == pytest.approx(level_k, abs=0.1)


@pytest.mark.parametrize("seed", [0, 2])
def test_as_the_sun_goes_they_fall_to_a_level_in_the_second_of_slices(seed):
    """4 kW on minutes of pipe: half of it is gone when slices say so, within 3 s, and not at once."""
    sunlit = Sunlit(seed, "2000 L")
    sunlit.heats_w = dict.fromkeys(sunlit.heats_w, 4000.0)
    sunlit.heat.change(sunlit.flows, sunlit.heats_w)
    slices = Slices(sunlit.plant, sunlit.zones, 30.0)
    sunlit.heat.advance(1800)
    slices.step(sunlit.flows, sunlit.heats_w, 1800)
    level_k, dark_w = 0.5 * sunlit.warmer_k, dict.fromkeys(sunlit.heats_w, 0.0)
    sunlit.heat.change(sunlit.flows, dark_w)
    assert sunlit.heat.has_passed(sunlit.panels)
    foreseen_s = 1800 + int(np.argmax(sunlit.heat.warmer_k(sunlit.panels) <= level_k))
    sunlit.heat.advance(int(foreseen_s))
    assert sunlit.warmer_k == pytest.approx(level_k, abs=0.1)
    fell_s = 1800
    while slices.body_c(sunlit.panels) - slices.water_c > level_k:
        slices.step(sunlit.flows, dark_w, 1)
        fell_s += 1
    assert fell_s > 1810
    assert foreseen_s == pytest.approx(fell_s, abs=3)


def test_what_was_not_used_is_what_standing_hot_cost():
    """A pump that never runs: U times the integral of what the collectors are warmer than the tub."""
    scenario = sunny(OWN_PUMP, AT_NIGHT, "plant.heat_sources.panels.steered=null")
    result = simulate(scenario, days=1, start=SUMMER)
    trace = result.trace
    course = stands(trace, 0, 24 * H, float(trace.stays["panels"].start_c[0]))
    tub_c = np.interp(np.arange(24 * H), trace.tub.start_s, trace.tub.water_c)
    warmer_k = np.maximum(course - tub_c, 0.0)
    panels = result.metrics.heat_sources["panels"]
    assert panels.sun_unused_kwh == pytest.approx(LOSES * warmer_k.sum() / 3.6e6, rel=1e-3)
    assert panels.stood_hot_h == pytest.approx(np.count_nonzero(warmer_k) / H, abs=0.02)
    assert panels.hottest_c == pytest.approx(course.max(), abs=0.1)  # as long as water does not boil
    assert panels.hottest_c > 100.0
    assert abs(result.metrics.tub.balance_error_kwh) < 1e-9


def test_of_dry_collectors_all_is_unused_that_shines_on_still_water():
    """Half a sine of 1 kW over 16 h, 10.19 kWh a day, less what the night's filter run takes: none by day."""
    scenario = sunny(
        OWN_PUMP,
        'schedule: {filter_runs: [{pump: sun_pump, start: "13:00", lasts: 30 min}]}\n',
        *(f"plant.heat_sources.panels.{key}=null" for key in ("steered", "loses", "holds")),
    )
    panels = simulate(scenario, days=1, start=SUMMER).metrics.heat_sources["panels"]
    assert panels.heat_kwh == pytest.approx(0.5, rel=0.01)  # half an hour about noon, summer time
    assert panels.heat_kwh + panels.sun_unused_kwh == pytest.approx(10.19, rel=0.005)
    assert panels.hottest_c is None
    assert panels.sun_unused_at_stop_kwh is None


def test_water_through_them_at_night_loses_its_heat():
    """Without sun 9 W/K times what the water is warmer than the air: the tub's own, at that flow."""
    scenario = sunny(
        OWN_PUMP,
        'schedule: {filter_runs: [{pump: sun_pump, start: "00:00", lasts: 24 h}]}\n',
        "plant.heat_sources.panels.steered=null",
        "plant.heat_sources.panels.summer_peak=1 W",
        "plant.heat_sources.panels.winter_peak=0 W",
    )
    result = simulate(scenario, days=2, start=SUMMER)
    trace = result.trace
    air = np.array(trace.zones.series["outdoors"])[-trace.zones.origin_s // H :][:48]
    tub_c = np.interp(H * np.arange(48) + H / 2, trace.tub.start_s, trace.tub.water_c)
    lost_kwh = LOSES * float(np.sum(tub_c - air)) / 1000.0
    assert result.metrics.heat_sources["panels"].heat_kwh == pytest.approx(-lost_kwh, rel=0.03)


def test_a_motor_valve_lets_water_in_as_a_pump_would():
    """It stands past the collectors by night, and through them while the sun warms them and water moves."""
    result = simulate(sunny(BY_VALVE, FILTERED), days=2, start=SUMMER)
    through = [(x.start_s, x.end_s) for x in result.trace.positions if x.state == ("to_sun",)]
    assert through
    assert all(4 * H < start % 86_400 and end % 86_400 < 22 * H for start, end in through)
    assert sum(b - a for a, b in through) > 2 * 8 * H
    assert result.metrics.heat_sources["panels"].valve_moves == 2 * len(through)  # each to and fro
    panels = result.metrics.heat_sources["panels"]  # of 10.19 kWh a day, less what they lose
    assert 0.6 * 2 * 10.19 < panels.heat_kwh < 2 * 10.19
    assert panels.sun_unused_kwh < 0.05 * panels.heat_kwh


def test_a_valve_goes_back_before_what_stands_behind_it_scalds(run):
    """Nothing moves before 15:00: the valve shuts at 50 degC, by integrating; what is hotter stays in."""
    at_three = 'schedule: {filter_runs: [{pump: main, start: "15:00", lasts: 1 h}]}\n'
    limit = "plant.heat_sources.panels.steered.not_above=50 degC"
    _, trace = run(sunny(BY_VALVE, at_three, limit), 1, start=SUMMER)
    to_sun = [(x.start_s, x.end_s) for x in trace.positions if x.state == ("to_sun",)]
    on_s, off_s = to_sun[0]
    begin_s, begins_c = stay_at(trace, 2 * H)
    course = stands(trace, begin_s, off_s + 60, begins_c)
    assert begin_s + int(np.argmax(course > 50.0)) == pytest.approx(off_s, abs=3)
    assert 4 * H < on_s < off_s < 15 * H
    assert not any(start < 15 * H < end for start, end in to_sun)
    assert trace.stays["panels"].end_c.max() > 60.0
    findings = {f.rule for f in simulate(sunny(BY_VALVE, at_three, limit), days=1, start=SUMMER).findings}
    assert "outlet-too-hot" not in findings


def test_a_valve_that_somebody_turned_stays_though_its_motor_would_move_it(run):
    """Turned for a night and a day: it stands through the collectors all the while, and the tub is colder."""
    turned = (
        "plant.diverters.sun_valve.may_be=[to_sun]",
        "schedule.valves_turned=[{valve: sun_valve, from: 2027-06-20 20:30, lasts: 12 h, to: to_sun}]",
    )
    _, trace = run(sunny(BY_VALVE, FILTERED, *turned), 2, start=SUMMER)
    assert any(
        x.start_s <= 20.5 * H and x.end_s >= 32.5 * H for x in trace.positions if x.state == ("to_sun",)
    )
    _, sound = run(sunny(BY_VALVE, FILTERED), 2, start=SUMMER)
    night = 28 * H
    cold, warm = (np.interp(night, t.tub.start_s, t.tub.water_c) for t in (trace, sound))
    assert warm - cold > 0.1


def test_the_sun_ranks_last_unless_the_file_says_otherwise():
    """An order that leaves it out has it behind all others; old files are orders that leave it out."""
    usual = ("bathing", "frost protection", "line flush", "heating", "filter run", "sun")
    assert usual == sunny().schedule.order
    first = "schedule.ranks=[sun, bathing, frost_protection, line_flush, heating, filter_run]"
    assert sunny(OWN_PUMP, AT_NIGHT, first).schedule.order[0] == "sun"
    assert [5] == [d.rank for d in Programme(sunny()).controller.demands if d.kind == "sun"]


def test_what_they_lose_and_hold_follows_from_their_peak():
    """8 W/K and 24 kJ/K for each kW: 3.51 W/(m2 K) and 10.6 kJ/(m2 K) over 0.6 x 733 W/m2."""
    left_out = ("plant.heat_sources.panels.loses=null", "plant.heat_sources.panels.holds=null")
    sheet = sunny(OWN_PUMP, AT_NIGHT, *left_out).plant.heat_sources["panels"]
    assert sheet.plate.loses_w_k == pytest.approx(1000.0 * 3.51 / (0.6 * 733.0), rel=0.01)
    assert sheet.plate.holds_j_k == pytest.approx(1000.0 * 10_620.0 / (0.6 * 733.0), rel=0.01)
    assert ["loses", "holds"] == [row.key for row in sheet.assumed()]


def test_sunshine_of_a_whole_day_without_flow_adds_up():
    """What the sun gave is what was lost to the air and what is still in them."""
    result = simulate(
        sunny(OWN_PUMP, AT_NIGHT, "plant.heat_sources.panels.steered=null"), days=1, start=SUMMER
    )
    plant, trace, rows = result.plant, result.trace, result.trace.stays["panels"]
    stored_j = CAPACITY * (rows.end_c[-1] - rows.start_c[0])
    lost_j = float(rows.loss_j.sum())
    assert lost_j + stored_j == pytest.approx(3600.0 * sum(sun_w(24)), rel=1e-3)
    assert sunshine(plant, result.programme, trace, "panels").unused_j < lost_j


def test_what_the_high_stop_keeps_out_is_told_apart():
    """At 33 degC nearly all that 4 kW leave unused does so at the stop; 1 kW never comes to 60 degC."""
    unused = []
    for peak, stop in (("4 kW", 33), ("1 kW", 60)):
        sets = (f"summer_peak={peak}", f"steered.high_stop={stop} degC")
        sunlit = sunny(OWN_PUMP, AT_NIGHT, *(f"plant.heat_sources.panels.{one}" for one in sets))
        panels = simulate(sunlit, days=6, start=SUMMER).metrics.heat_sources["panels"]
        unused.append((panels.sun_unused_at_stop_kwh, panels.sun_unused_kwh))
    (at_stop, of), (never, _) = unused
    assert at_stop > 0.9 * of > 20.0
    assert never == 0.0


def test_a_tub_that_something_else_has_warmed_to_the_stop_keeps_the_sun_out(run):
    """An element has it at 33.1 degC by night, with the collectors off: no sun above 32 degC."""
    element = """    element: {kind: electric, output: 6 kW, drop: 0.3 m at 200 L/min, volume: 2 L,
              zone: room, needs_flow: 60 L/min, proof: {by: flow_switch}}
  legs:
"""
    plant = OWN_PUMP.replace("high_stop: 40 degC", "high_stop: 33 degC").replace("foam: 60 mm", "foam: 5 mm")
    plant = plant.replace("  legs:\n", element, 1).replace("main, return", "main, element, return")
    schedule = """
schedule:
  heating: {with: [element], pump: main, keep_at: 28 degC, within: 0.5 K,
            plan: [{from: "02:00", until: "04:00", keep_at: 33.1 degC}]}
"""
    _, trace = run(sunny(plant, schedule), 1, start=SUMMER)
    at_s, water_c = trace.tub.start_s, trace.tub.water_c
    assert at_s[water_c >= 33.0].min() < 3 * H
    begins_s = trace.demands["sun on panels"].spans("raised")[0][0]
    assert float(np.interp(begins_s, at_s, water_c)) == pytest.approx(32.0, abs=0.01)
    panels = trace.stays["panels"]
    warm = panels.start_c > np.interp(panels.start_s, at_s, water_c) + 6.0
    assert (warm & (panels.start_s < begins_s)).any(), "they were warm enough before"
