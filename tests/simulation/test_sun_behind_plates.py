"""Collectors on glycol of their own: what goes over their plates, when it turns, and how hot it stands.

The course of the glycol is integrated anew by scipy from its heat balance; the effectiveness of the plates in
counterflow is the textbook's, (1 - e) / (1 - r e) with e = exp(-NTU (1 - r)).
"""

from datetime import date, datetime
from itertools import pairwise
from math import exp

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from cyclesim.analysis.result import simulate
from cyclesim.analysis.trials import tried
from cyclesim.physics.sources import SolarCollector
from cyclesim.physics.walls import housing_ua
from cyclesim.scenario.reading.edit import Edit
from cyclesim.scenario.reading.load import load_text
from tests.sunny import AT_NIGHT, BEHIND_PLATES

SUMMER, WINTER, H = date(2027, 6, 20), date(2027, 1, 16), 3600
PER_L = 988.0 * 4180.6e-3 * (1 - 0.2 * 0.4)
"""J/(L K) of water at 50 degC, IAPWS-IF97, less 0.2 of it per share of glycol, 40 %."""
LOSES, IN_THEM, IN_PIPES = 9.0, 24e3 + 6 * PER_L, 4 * PER_L
KEPT_WARM = housing_ua(0.004)


def tells(*sets, days=2, start=SUMMER, text=BEHIND_PLATES + AT_NIGHT):
    """What comes of a run."""
    return simulate(load_text(text, "test.yaml", sets=sets), days=days, start=start)


@pytest.fixture(scope="module")
def result():
    """Two days in June."""
    return tells()


def sun_w():
    """The hours of sun; Lisbon's clock is an hour ahead of its standard time in June."""
    return SolarCollector(1000.0, 300.0, 16.0, 8.0).hourly_w(datetime(2027, 6, 19, 23), 48)


def over_w_k(result):
    """Heat that goes over per degree, from both flows and 200 W/K."""
    plant = result.plant
    duty = next(d for d in plant.duties() if abs(d.flow_m3_s("panels")) > 1e-6)
    flows = 2 / 60 * PER_L, abs(duty.flow_m3_s("panels")) * plant.per_m3_k
    least, most = sorted(flows)
    r, ntu = least / most, 200.0 / least
    e = exp(-ntu * (1 - r))
    return least * (1 - e) / (1 - r * e)


def test_both_pumps_run_while_the_sun_is_let_in_and_at_no_other_time(result):
    """By day; at night the glycol stands, so that nothing goes over."""
    trace = result.trace
    asked = trace.demands["sun on panels"].spans("raised")
    assert len(asked) == 2
    assert asked == trace.pumps["sun_pump"].spans("on") == trace.circulators["glycol_pump"].spans("on")
    rows = trace.own_waters["panels"]
    let_in = np.any([(rows.start_s >= a) & (rows.start_s < b) for a, b in asked], axis=0)
    assert not rows.over_j[~let_in].any()
    assert rows.over_j[let_in].sum() > 1e6
    assert rows.over_j.min() > -1e4


def test_at_its_hottest_what_goes_over_is_the_sun_less_what_is_lost(result):
    """There the glycol keeps its temperature: G (T - tub) = S - U (T - air), by hand."""
    trace, g = result.trace, over_w_k(result)
    rows, air = trace.own_waters["panels"], trace.zones.series["outdoors"]
    k = int(np.argmax(rows.source_c))
    at_s, hottest_c = rows.start_s[k], rows.source_c[k]
    hour = int(at_s - 1) // H  # it peaks as the sun of an hour ends
    tub_c = np.interp(at_s, trace.tub.start_s, trace.tub.water_c)
    air_c = air[hour - trace.zones.origin_s // H]
    s, u = sun_w()[hour], LOSES + KEPT_WARM
    assert hottest_c == pytest.approx((s + u * air_c + g * tub_c) / (u + g), abs=0.15)
    assert rows.over_j[k - 1] / (at_s - rows.start_s[k - 1]) == pytest.approx(
        s - u * (hottest_c - air_c), rel=0.03
    )


def test_the_glycol_goes_as_its_heat_balance_integrated_anew(result):
    """Standing, apart in collectors and pipes; moving, stirred; every piece of two days within 0.05 K."""
    trace, g, watts = result.trace, over_w_k(result), sun_w()
    rows, air = trace.own_waters["panels"], trace.zones.series["outdoors"]
    asked = trace.circulators["glycol_pump"].spans("on")
    edges = sorted({*range(0, 48 * H + 1, H), *(t for span in asked for t in span)})
    inside, pipes = float(rows.source_c[0]), float(rows.rest_c[0])
    turned, worst = False, 0.0
    for a, b in pairwise(edges):
        hour, turns = a // H, any(on <= a < off for on, off in asked)
        air_c, s = air[hour - trace.zones.origin_s // H], watts[hour]
        if turns and not turned:
            inside = pipes = (IN_THEM * inside + IN_PIPES * pipes) / (IN_THEM + IN_PIPES)
        turned = turns

        def course(t, y, turns=turns, s=s, air_c=air_c):
            if not turns:
                return [
                    (s - LOSES * (y[0] - air_c)) / IN_THEM,
                    -KEPT_WARM * (y[1] - air_c) / IN_PIPES,
                ]
            tub_c = np.interp(t, trace.tub.start_s, trace.tub.water_c)
            gone = (LOSES + KEPT_WARM) * (y[0] - air_c) + g * (y[0] - tub_c)
            return [(s - gone) / (IN_THEM + IN_PIPES)] * 2

        mine = (rows.start_s >= a) & (rows.start_s < b)
        at = np.append(rows.start_s[mine], b)
        found = solve_ivp(course, (a, b), [inside, pipes], t_eval=at, rtol=1e-8, atol=1e-8).y
        worst = max(worst, float(np.abs(found[0][:-1] - rows.source_c[mine])[1:].max(initial=0.0)))
        inside, pipes = found[0][-1], found[1][-1]
    assert worst < 0.05


def test_the_energy_of_all_closes(result):
    """Of the plant with its tub to 1e-9 kWh; of the glycol, sun less losses less what went over, likewise."""
    assert abs(result.metrics.tub.balance_error_kwh) < 1e-9
    rows = result.trace.own_waters["panels"]
    gone = rows.given_j.sum() - rows.lost_j.sum() - rows.over_j.sum()
    ends = IN_THEM * rows.source_c + IN_PIPES * rows.rest_c
    last = rows.given_j[-1] - rows.lost_j[-1] - rows.over_j[-1]
    assert gone - last == pytest.approx(ends[-1] - ends[0], abs=2e3)


def test_at_the_high_stop_it_stands_and_gets_hot():
    """The tub stays at 33 degC while the glycol boils away; what it loses by that is told as unused."""
    told = tells(
        "plant.heat_sources.panels.steered.high_stop=33 degC",
        "plant.heat_sources.panels.summer_peak=4 kW",
        days=4,
    )
    panels = told.metrics.heat_sources["panels"]
    assert told.trace.tub.water_c.max() == pytest.approx(33.0, abs=0.1)
    assert panels.hottest_c > 150.0
    assert panels.stood_hot_h > 4.0
    rows, tub = told.trace.own_waters["panels"], told.trace.tub
    warmer_k = rows.source_c - np.interp(rows.start_s, tub.start_s, tub.water_c)
    stands = rows.over_j == 0.0
    lost = np.maximum(warmer_k, 0.0)[stands] @ (rows.end_s - rows.start_s)[stands]
    assert panels.sun_unused_kwh == pytest.approx(LOSES * lost / 3.6e6, rel=0.02)
    assert abs(told.metrics.tub.balance_error_kwh) < 1e-9


@pytest.mark.parametrize(("glycol", "freezes"), [("0 %", True), ("40 %", False)])
def test_in_a_frost_it_freezes_unless_glycol_keeps_it(glycol, freezes):
    """A January about 0 degC, 10 K colder than Lisbon's: 40 % holds to -20.6 degC (Lange's Handbook)."""
    told = tells(
        f"plant.heat_sources.panels.own_water.glycol={glycol}", "place.weather.mean=6 degC", start=WINTER
    )
    assert freezes == any(f.rule == "own-water-freezes" for f in told.findings)


def test_a_sun_let_in_by_half_in_low_water_is_no_matter_of_the_pumps():
    """The tub's side stands from 10:00 on as its pump sucks air; both pumps run together."""
    low = f"schedule.low_water=[{{from: {SUMMER:%Y-%m-%d} 10:00, lasts: 6 h}}]"
    [half] = [f for f in tells(low, days=1).findings if f.rule == "sun-half-let-in"]
    assert half.cause == "the water is below the suction fittings"
    assert half.mend == "fill the tub up, and find where the water went"


HELD = "interlocks: [{block: sun_pump, while: main running}]\n"
BY_DAY = BEHIND_PLATES + AT_NIGHT.replace("22:00", "10:00")


@pytest.mark.parametrize("text", [BY_DAY, BY_DAY + HELD], ids=["together", "one of them held off"])
def test_a_sun_let_in_by_half_is_told(text):
    """The tub's side is held off for the eight hours of a filter run, less a quarter of an hour each day."""
    told = tells(text=text)
    found = [f for f in told.findings if f.rule == "sun-half-let-in"]
    assert (text != BY_DAY) == bool(found)
    if found:
        assert (2, "panels") == (found[0].times, found[0].subject)
        assert found[0].total_h == pytest.approx(2 * (8 - 0.25), abs=0.01)
        [trial] = tried(told, found)
        assert (trial.said, trial.holds) == ("take out {block: sun_pump, while: main running}", True)
        assert (Edit(("interlocks",), None),) == trial.edits
