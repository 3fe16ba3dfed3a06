"""One circuit without power: what hangs on it stops, the rest goes on, and what follows from that is told."""

import pytest

from cyclesim.analysis.outages import had_it_failed
from cyclesim.analysis.result import simulate
from cyclesim.errors import InputError
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.engine import simulate_trace
from cyclesim.simulation.programme import Programme

HOUR = 3600
TWO = (
    "supply={voltage: 230 V, tariff: 0.20 EUR/kWh, "
    "circuits: {water: {breaker: 10 A, feeds: main}, heat: {breaker: 16 A, feeds: element}}}"
)
COLD = "schedule.heating.keep_at=5 degC"  # never asked for: the tub is warmer than that for days
FILTER = "schedule.filter_runs=[{pump: main low, start: 03:00, lasts: 4 h}]"


def cut(circuit, begin="2027-01-01 04:00", lasts="1 h"):
    """One cut of a circuit."""
    return f"schedule.outages=[{{from: {begin}, lasts: {lasts}, circuit: {circuit}}}]"


@pytest.fixture
def two(loop):
    """The loop on two circuits, with changes."""
    return lambda *sets: loop(TWO, *sets)


def traced(scenario, days=1):
    """Plant and trace."""
    plant = Assembly(scenario)
    return plant, simulate_trace(plant, Programme(scenario), days=days)


def test_what_hangs_on_the_circuit_stops_and_the_rest_goes_on(two):
    """The pump stands from 04:00 to 05:00 and draws nothing; the controller asks for it all the while."""
    scenario = two(COLD, FILTER, "schedule.line_flushes=[]", cut("water"))
    _, trace = traced(scenario)
    assert [(3 * HOUR, 4 * HOUR), (5 * HOUR, 7 * HOUR)] == trace.pumps["main"].spans("low")
    assert [(3 * HOUR, 7 * HOUR)] == trace.deciding["main"].spans("filter run")
    assert [(4 * HOUR, 5 * HOUR)] == trace.circuits["water"].spans("lost")
    assert {"on"} == set(trace.power.labels), "it is no cut of all power"
    result = simulate(scenario, days=1)
    assert pytest.approx(3 * 0.3) == result.metrics.energy.by_device["main"].energy_kwh
    (told,) = (f for f in result.findings if f.rule == "demand-not-served")
    assert ("filter run", "its circuit has no power") == (told.subject, told.cause)


def test_the_circuit_of_the_heat_leaves_the_pump_running(two):
    """A tub that is asked for 36 degC and is at 30 loses its heat, and keeps its water moving."""
    sets = ("schedule.line_flushes=[]", "schedule.filter_runs=[]")
    _, whole = traced(two(*sets))
    first, until = whole.sources["element"].spans("firing")[0]
    hour, minute = divmod(first // 60 + 5, 60)
    _, trace = traced(two(*sets, cut("heat", f"2027-01-01 {hour:02d}:{minute:02d}", "10 min")))
    lost = (3600 * hour + 60 * minute, 3600 * hour + 60 * minute + 600)
    assert until > lost[1], "it would have fired on"
    assert [] == [s for s in trace.sources["element"].spans("firing") if s[0] < lost[1] and s[1] > lost[0]]
    assert any(a < lost[0] and b > lost[1] for a, b in trace.pumps["main"].spans("low"))


def test_a_contact_of_a_dead_pump_says_yes_and_a_flow_switch_does_not(two):
    """The contactor is closed and its motor has no power: proved by that contact, heat has no water."""

    def dry(proof):
        scenario = two(f"plant.heat_sources.element.proof={proof}", cut("water", "2027-01-01 00:10", "23 h"))
        return ("heat-without-flow", "element") in {(f.rule, f.subject) for f in simulate(scenario).findings}

    assert dry("{by: pump_contact}")
    assert not dry("{by: flow_switch}")


def test_a_cut_of_all_power_within_that_of_a_circuit(two):
    """The circuit stays without power when the rest has it again."""
    outages = (
        "schedule.outages=[{from: 2027-01-01 03:30, lasts: 2 h, circuit: water}, "
        "{from: 2027-01-01 04:00, lasts: 1 h}]"
    )
    _, trace = traced(two(COLD, FILTER, "schedule.line_flushes=[]", outages))
    assert [(3 * HOUR, 3 * HOUR + 1800), (5 * HOUR + 1800, 7 * HOUR)] == trace.pumps["main"].spans("low")


def test_hours_until_ice_of_what_then_stands(two):
    """No zone here needs power, so that each part withstands what it does in a cut of all of it.

    With the pump goes all water, and all heat; with the heat alone the pump still moves every part, and only
    the tub is left without.
    """
    deep = ("place.weather.mean=-8 degC", "place.weather.seasonal_swing=1 K")
    at = "2027-01-01 12:00"
    hours = {}
    for circuit in ("water", "heat"):
        (hours[circuit],) = simulate(two(*deep, cut(circuit, at)), days=2).metrics.outages
        assert circuit == hours[circuit].circuit
    scenario = two(*deep, f"schedule.outages=[{{from: {at}, lasts: 1 h}}]")
    (whole,) = simulate(scenario, days=2).metrics.outages
    assert whole.circuit is None
    assert pytest.approx(whole.until_zero_h) == hours["water"].until_zero_h
    assert pytest.approx(whole.until_frozen_h) == hours["water"].until_frozen_h
    assert {"tub"} == set(hours["heat"].until_zero_h)
    plant, trace = traced(scenario, days=2)
    assert set(had_it_failed(plant, trace).until_zero_h) == set(whole.until_zero_h)


def test_how_cold_it_got_is_what_the_run_has(two):
    """The pump moves tub water through every part while the heat is cut: none is colder."""
    sets = ("schedule.filter_runs=[{pump: main low, start: 00:00, lasts: 23 h}]", "schedule.line_flushes=[]")
    (told,) = simulate(two(*sets, cut("heat", "2027-01-01 12:00", "2 h")), days=1).metrics.outages
    assert told.coldest_c > 34.0


@pytest.mark.parametrize(
    ("sets", "said"),
    [
        ([TWO, cut("watr")], "did you mean 'water'?"),
        ([TWO, cut("kitchen")], "known circuits: water, heat"),
        ([cut("water")], "the file has no supply.circuits; a cut without circuit takes all power"),
    ],
)
def test_a_circuit_that_is_none_is_refused(loop, sets, said):
    """At its key, with what is known."""
    with pytest.raises(InputError) as refused:
        loop(*sets)
    (fault,) = refused.value.faults
    assert "schedule.outages.0.circuit" == fault.path
    assert said in str(fault)
