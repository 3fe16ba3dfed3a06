"""Plants as they are wired and left: starts past the controller, valves, low water, means of proof."""

from datetime import UTC, datetime
from math import exp, log, pi

import pytest

from cyclesim.analysis.result import simulate
from cyclesim.errors import InputError
from cyclesim.physics import water
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.engine import simulate_trace
from cyclesim.simulation.programme import Programme

HOUR, DAY = 3600, 86_400
EMPTY = (
    "schedule.filter_runs=[]",
    "schedule.line_flushes=[]",
    "schedule.heating.keep_at=5 degC",  # never asked for: the tub is warmer than that for days
)
ELEMENT, MAIN = "plant.heat_sources.element", "plant.pumps.main"


def traced(scenario, days=2):
    """Plant and trace."""
    plant = Assembly(scenario)
    return plant, simulate_trace(plant, Programme(scenario), days=days)


def broken(scenario, days=2):
    """(rule, subject) of every finding."""
    return {(f.rule, f.subject) for f in simulate(scenario, days=days).findings}


def test_a_time_clock_of_its_own_starts_a_pump_past_the_controller(loop):
    """From 09:00 to 10:00 it runs at high though nobody asks the controller for it."""
    _, trace = traced(
        loop(*EMPTY, MAIN + ".also_started_by=[{clock: {start: 09:00, lasts: 1 h}, speed: high}]")
    )
    assert [(9 * HOUR, 10 * HOUR), (DAY + 9 * HOUR, DAY + 10 * HOUR)] == trace.pumps["main"].spans("high")
    assert trace.pumps["main"].spans("high") == trace.starters["main, own time clock"].spans("closed")
    assert {""} == set(trace.deciding["main"].labels)


def test_two_contacts_of_one_pump_close_both_speeds(loop):
    """While the controller filters at low a clock closes high: both contacts are closed, high turns it."""
    wired = MAIN + ".also_started_by=[{clock: {start: 04:00, lasts: 30 min}, speed: high}]"
    _, trace = traced(loop(wired))
    assert (4 * HOUR, 4 * HOUR + 1800) in trace.pumps["main"].spans("high")
    assert (4 * HOUR, 4 * HOUR + 1800) in trace.seconds["main"].spans("low")
    assert ("both-speeds-at-once", "main") in broken(loop(wired))
    assert ("both-speeds-at-once", "main") not in broken(loop())


def test_the_same_speed_twice_is_one_contact(loop):
    """A clock that closes low beside the controller's low changes nothing of what runs then."""
    _, trace = traced(loop(MAIN + ".also_started_by=[{clock: {start: 03:30, lasts: 30 min}, speed: low}]"))
    assert not trace.seconds["main"].spans("low", "high")


def test_a_hand_switch_left_in_hand_or_off(loop):
    """In hand it runs whatever the controller says; in off it does not, and its demand is not served."""
    left = (
        MAIN + ".also_started_by=[{speed: low, hand_switch: ["
        "{to: hand, from: 2027-01-01 08:00, lasts: 3 h}, {to: off, from: 2027-01-01 15:00, lasts: 1 h}]}]"
    )
    _, trace = traced(loop(*EMPTY[1:], left))
    assert (8 * HOUR, 11 * HOUR) in trace.pumps["main"].spans("low")
    assert [] == [s for s in trace.pumps["main"].spans("low") if s[1] > 15 * HOUR and s[0] < 16 * HOUR]
    assert ("demand-not-served", "filter run") in broken(loop(*EMPTY[1:], left))


def test_nothing_starts_past_the_controller_without_power(loop):
    """A power cut stops what its own clock has on; with power it goes on."""
    _, trace = traced(
        loop(
            *EMPTY,
            MAIN + ".also_started_by=[{clock: {start: 09:00, lasts: 2 h}, speed: low}]",
            "schedule.outages=[{from: 2027-01-01 09:30, lasts: 10 min}]",
        )
    )
    half = 9 * HOUR + 1800
    assert [(9 * HOUR, half), (half + 600, 11 * HOUR)] == trace.pumps["main"].spans("low")[:2]


OWN = ELEMENT + ".also_started_by=[{clock: {start: 09:00, lasts: 1 h}}]"


def test_heat_past_the_controller_without_flow_and_what_holds_it(loop):
    """No interlock of the controller stops it; its own flow switch does, and it then never fires."""
    sound = broken(loop(*EMPTY))
    wired = broken(loop(*EMPTY, OWN, ELEMENT + ".high_limit=100 degC"))
    assert {("heat-without-flow", "element"), ("no-run-on", "element")} == wired - sound
    held = loop(*EMPTY, OWN, ELEMENT + ".own_flow_switch=10 s")
    assert 0 == traced(held)[1].sources["element"].seconds("firing")
    assert sound == broken(held)


def test_its_own_high_limit_stops_it_and_a_shared_sensor_does_not(loop):
    """Dry, an element heats what is trapped in it, and trips when its own water is at its own limit.

    That begins as cold as it has stood; its housing, twice as high as wide, loses 8 W/(m2 K) on the way:
    tau ln((T_end - T) / (T_end - 60)), with T_end where it would lose all that it gets.
    """
    wired = loop(*EMPTY, OWN)
    plant, trace = traced(wired)
    ((start, end),) = trace.sources["element"].spans("firing")[:1]
    rows = trace.stays["element"]
    water_c = float(rows.end_c[rows.end_s == start][0])
    assert water_c < float(trace.tub.water_c[trace.tub.start_s <= start][-1]) - 1.0, "it has stood"
    per_m3 = water.density_kg_m3(5.0) * water.heat_capacity_j_kg_k(5.0)  # water is weighed at the set point
    ua_w_k = 8.0 * 2.5 * pi * (2.0 * 0.002 / pi) ** (2.0 / 3.0)
    zone_c = trace.zones.series["room"][(start - trace.zones.origin_s) // HOUR]
    end_c = zone_c + 3000.0 / ua_w_k
    due_s = per_m3 * 0.002 / ua_w_k * log((end_c - water_c) / (end_c - 60.0))
    assert end - start == pytest.approx(due_s, abs=1.0)
    assert "tripped" == trace.sources["element"].now
    _, shared = traced(loop(*EMPTY, OWN, ELEMENT + ".limit_sensor=thermostat"))
    assert (
        HOUR
        == shared.sources["element"].spans("firing")[0][1] - shared.sources["element"].spans("firing")[0][0]
    )
    del plant


def test_an_own_flow_switch_closes_after_its_time_and_opens_at_once(loop):
    """Filtering from 03:00 to 05:00; the switch has felt water for 20 s at 03:00:20."""
    always = ELEMENT + ".also_started_by=[{clock: {start: 01:00, lasts: 6 h}}]"
    _, trace = traced(loop(*EMPTY[1:], always, ELEMENT + ".own_flow_switch=20 s"))
    assert (3 * HOUR + 20, 5 * HOUR) == trace.sources["element"].spans("firing")[0]


def test_a_device_kept_off_by_its_own_switch_is_told_apart(loop):
    """The controller fires it without asking for flow; its own switch holds it for the first 20 s."""
    _, trace = traced(
        loop("schedule.heating.keep_at=39 degC", "interlocks=[]", ELEMENT + ".own_flow_switch=20 s")
    )
    held = trace.sources["element"].spans("held_off")
    begins = {a for a, _ in trace.pumps["main"].spans("low", "high")}
    assert held
    assert all(end - 20 in begins for _, end in held)


THERMOSTAT = ELEMENT + ".also_started_by=[{thermostat: {watches: %s, starts_below: %s, stops_above: %s}}]"
CONTACT = MAIN + ".also_started_by=[{contact_of: element, speed: low%s}]"


def test_a_contact_follows_its_source_and_outlasts_it(loop):
    """The pump starts with the thermostat's call and stays 2 min longer."""
    _, trace = traced(
        loop(*EMPTY, THERMOSTAT % ("water", "35.8 degC", "36.5 degC"), CONTACT % ", lasting: 2 min"), 4
    )
    calls = trace.starters["element, own thermostat"].spans("closed")
    runs = trace.pumps["main"].spans("low")
    assert calls
    assert [(a, b + 120) for a, b in calls if b < trace.span_s] == [s for s in runs if s[1] < trace.span_s][
        : len(calls)
    ]


def test_an_intermittent_contact_looks_at_the_water(loop):
    """Every two hours for three minutes, while nothing calls."""
    _, trace = traced(loop(*EMPTY, CONTACT % ", every: 2 h, for: 3 min"), 1)
    assert [(at, at + 180) for at in range(0, DAY, 2 * HOUR)] == trace.pumps["main"].spans("low")


def test_a_thermostat_on_a_zone_follows_the_zone(loop):
    """It is closed where the room is colder than its level: no hour in which it is closed is warm."""
    _, trace = traced(
        loop(*EMPTY, THERMOSTAT % ("room", "6 degC", "7 degC"), ELEMENT + ".own_flow_switch=5 s")
    )
    room = trace.zones.series["room"][-trace.zones.origin_s // HOUR :]
    closed = trace.starters["element, own thermostat"]
    assert {""} == set(closed.labels) or all(
        min(room[a // HOUR], room[min(len(room) - 1, b // HOUR)]) < 7.0 for a, b in closed.spans("closed")
    )


# -- means of proof -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("by", "fires"), [("flow_switch", False), ("pressure_switch", True), ("pump_contact", True)]
)
def test_what_each_means_of_proof_says_of_a_shut_valve(loop, by, fires):
    """The valve behind the element is shut: only a flow switch notices."""
    scenario = loop(
        "schedule.heating.keep_at=39 degC", "plant.valves.stop.usual=shut", f"{ELEMENT}.proof.by={by}"
    )
    plant, trace = traced(scenario)
    duty = plant.duty(("low",))
    assert fires == plant.sensed("element", duty)
    assert pytest.approx(0.0, abs=1e-9) == duty.flow_m3_s("element")
    assert fires == bool(trace.sources["element"].seconds("firing"))
    assert fires == (("heat-without-flow", "element") in broken(scenario))


def test_a_pressure_switch_needs_its_pressure(loop):
    """Low gives less than 4 m at no flow: a switch that closes at 5 m never does."""
    scenario = loop("plant.valves.stop.usual=shut", ELEMENT + ".proof={by: pressure_switch, closes_at: 5 m}")
    assert not Assembly(scenario).sensed("element", Assembly(scenario).duty(("low",)))
    open_valve = loop(ELEMENT + ".proof={by: pressure_switch, closes_at: 0.2 m}")
    assert Assembly(open_valve).sensed("element", Assembly(open_valve).duty(("low",)))
    assert not Assembly(open_valve).sensed("element", Assembly(open_valve).duty(("stopped",)))


def test_a_rise_of_temperature_is_seen_only_once_heat_is_on(loop):
    """It fires into still water for 5 K of rise: m c dT / P = 2 L x 4.15 kJ/(L K) x 5 K / 3 kW, 14 s."""
    scenario = loop(
        "schedule.heating.keep_at=39 degC",
        "schedule.heating.within=0.1 K",
        "plant.valves.stop.may_be=[shut]",
        "schedule.valves_turned=[{valve: stop, to: shut, from: 2027-01-01 00:30, lasts: 20 h}]",
        ELEMENT + ".proof={by: temperature_rise, rise: 5 K}",
    )
    _, trace = traced(scenario)
    fires = trace.sources["element"].spans("firing")
    assert [1814] == [b for a, b in fires if a < 20.5 * HOUR]  # then it says no, until water moves again
    assert [] != [a for a, _ in fires if a > 20.5 * HOUR]


# -- valves and the level -----------------------------------------------------------------------------------


def test_a_valve_turned_for_a_while_stops_the_water_for_that_while(loop):
    """The valve is shut from 04:00 for half an hour of a filter run, which moves nothing then."""
    plant, trace = traced(
        loop(
            "plant.valves.stop.may_be=[shut]",
            "schedule.valves_turned=[{valve: stop, to: shut, from: 2027-01-01 04:00, lasts: 30 min}]",
        )
    )
    rows = trace.ages["suction"]
    still = {
        (a, b) for a, b, q in zip(rows.start_s, rows.end_s, rows.flow_m3_s, strict=True) if abs(q) < 1e-8
    }
    assert (4 * HOUR, 4 * HOUR + 1800) in still
    assert "main low with stop shut" in trace.duties.labels
    assert ("shut",) in {x.state for x in trace.positions}
    del plant


def test_a_throttled_valve_lets_less_through(loop):
    """Half open by name, with its own loss: less flow than open, more than shut."""
    halved = loop(
        "plant.valves.stop.throttled={half: 3 m at 200 L/min}", "plant.valves.stop.may_be=[half, shut]"
    )
    plant = Assembly(halved)
    flows = [plant.duty(("high",), (at,)).flow_m3_s("suction") for at in ("open", "half", "shut")]
    assert flows[0] > flows[1] > flows[2] == 0.0


LOW = "schedule.low_water=[{from: 2027-01-01 03:30, lasts: 1 h}]"


def test_low_water_runs_a_pump_dry_unless_a_level_switch_stops_it(loop):
    """No water moves while it is low; with the switch the pump stands still, above every demand."""
    idle = EMPTY[1:]
    _, trace = traced(loop(*idle, LOW))
    assert (3 * HOUR, 5 * HOUR) in trace.pumps["main"].spans("low")
    assert "main low without water" in trace.duties.labels
    assert ("dry-running", "main") in broken(loop(*idle, LOW))
    _, stopped = traced(loop(*idle, LOW, "plant.tub.level_switch=true"))
    assert not [s for s in stopped.pumps["main"].spans("low") if s[1] > 3.5 * HOUR + 1 and s[0] < 4.5 * HOUR]
    assert ("dry-running", "main") not in broken(loop(*idle, LOW, "plant.tub.level_switch=true"))


# -- the controller's clock ---------------------------------------------------------------------------------

CUT = "schedule.outages=[{from: 2027-01-01 05:30, lasts: 30 min}]"


@pytest.mark.parametrize(
    ("after", "runs"),
    [
        # filter runs at 03:00 and 15:00 for 2 h; power is back at 06:00
        ("resume", [(3, 5), (15, 17)]),
        # the clock shows 00:00 at 06:00: 03:00 comes at 09:00, 15:00 at 21:00, until it is set at 23:00
        ("midnight", [(3, 5), (9, 11), (21, 23)]),
        # nothing until somebody comes at 23:00
        ("wait", [(3, 5)]),
    ],
)
def test_what_the_controller_does_after_a_power_cut(loop, after, runs):
    """The programme goes on, begins again at midnight, or waits."""
    _, trace = traced(
        loop(
            *EMPTY[1:], CUT, f"controller.after_power_cut={after}", "controller.person_within=17 h",
        ),
        1,
    )  # fmt: skip
    assert [(a * HOUR, b * HOUR) for a, b in runs] == trace.pumps["main"].spans("low")


def test_a_controller_waits_for_nobody_on_days_away(loop):
    """Power is back at 06:00 on the 2nd; 18 h of 24 are at home, the other 6 come after the 5th."""
    programme = Programme(loop(
        "schedule.outages=[{from: 2027-01-02 05:30, lasts: 30 min}]", "controller.after_power_cut=wait",
        "schedule.heating.absences=[{from: 2027-01-03, to: 2027-01-05, keep_at: 12 degC}]",
    ))  # fmt: skip
    begin = datetime(2027, 1, 1, tzinfo=UTC)
    assert [(30 * HOUR, 5 * 24 * HOUR + 6 * HOUR)] == programme.waits(begin, 10 * 24 * HOUR)


def test_rules_name_a_controller_that_waits(loop):
    """Whatever the power cut and the waiting keep off is told as that, with a mend that mends it."""
    waiting = (
        "schedule.outages=[{from: 2027-01-02 05:30, lasts: 30 min}]",
        "controller.after_power_cut=wait",
        "controller.person_within=3 days",
    )
    broken = {(f.rule, f.subject): f for f in simulate(loop(*waiting), days=6).findings}
    waits = "the controller waits for a person after a power cut"
    assert {key: f.cause for key, f in broken.items() if key[1] != "suction" or key[0] == "stale-water"} == {
        ("stale-water", "suction"): waits,
        ("stale-water", "return"): waits,
        ("too-few-turnovers", "tub"): waits,
        ("demand-not-served", "filter run"): waits,
        ("demand-not-served", "line flush"): waits,
        ("demand-not-served", "heating"): waits,
        ("heating-in-vain", "heating"): "it waits for a person",
    }
    # from 06:00 on the 2nd to 06:00 on the 5th: two dark days, and six runs of each kind
    assert 2 == broken["too-few-turnovers", "tub"].times
    assert (
        6
        == broken["demand-not-served", "filter run"].times
        == broken["demand-not-served", "line flush"].times
    )
    assert all("person_within" in f.mend for f in broken.values() if f.rule != "suction-too-fast")
    sooner = (waiting[0], waiting[1], "controller.person_within=10 min")
    left = {f.rule for f in simulate(loop(*sooner), days=6).findings}
    assert {"suction-too-fast"} == left  # 10 min after 06:00 nothing was asked for, nor in the cut


def test_what_is_dated_outside_the_days_is_told(loop):
    """A cut of another year has no effect, and the programme says so."""
    programme = Programme(loop("schedule.outages=[{from: 2029-01-02 05:30, lasts: 30 min}]"))
    _, trace = traced(loop(), 1)
    assert ["outages from 2029-01-02 05:30"] == programme.outside(trace.begin_utc, trace.span_s)
    assert [] == Programme(loop()).outside(trace.begin_utc, trace.span_s)


def test_a_clock_that_gains_starts_early(loop):
    """120 s a day, set right 14 days before the first: 28 min early on 1 January, 30 on 2 January."""
    _, trace = traced(loop(*EMPTY[1:], "controller.clock_gains=120 s"))
    first, second = (a for a, _ in trace.pumps["main"].spans("low") if a % DAY < 6 * HOUR)
    assert pytest.approx(3 * HOUR - 14 * 120, abs=20) == first
    assert pytest.approx(DAY + 3 * HOUR - 15 * 120, abs=20) == second


# -- a sensor in a pipe -------------------------------------------------------------------------------------

IN_PIPE = "schedule.heating.sensor={in: element, every: 1 h, for: %s}"


def test_a_sensor_in_a_pipe_is_read_after_the_pump_has_run(loop):
    """The pump runs once an hour for 3 min; the water is kept warm, a little later than else."""
    heated = ("schedule.filter_runs=[]", "schedule.line_flushes=[]", "schedule.heating.keep_at=38 degC")
    _, trace = traced(loop(*heated, IN_PIPE % "3 min"), 6)
    starts = {a % HOUR for a, _ in trace.demands["sampling"].spans("raised")}
    assert {0} == starts
    assert trace.sources["element"].seconds("firing") > 0
    assert 36.5 < float(trace.tub.water_c.min())
    assert float(trace.tub.water_c.max()) < 38.1


def test_a_sample_that_is_too_short_reads_the_room(loop):
    """5 s bring no tub water to the element: what is read is what has cooled there, and it is told."""
    short = loop("schedule.filter_runs=[]", "schedule.line_flushes=[]", IN_PIPE % "5 s")
    assert ("sample-too-short", "sensor") in broken(short, 4)
    assert ("sample-too-short", "sensor") not in broken(loop(IN_PIPE % "3 min"), 1)


# -- heat goes on whatever looks at it ----------------------------------------------------------------------


@pytest.mark.parametrize("watches", ["water", "element", "filter", "suction", "room"])
@pytest.mark.parametrize("more", [(), (IN_PIPE % "3 min",), (ELEMENT + ".own_flow_switch=10 s",)])
def test_heat_balances_whatever_a_thermostat_watches(loop, watches, more):
    """What came in is what went out and is stored, and the tub stays near what is asked for."""
    thermostat = THERMOSTAT % (watches, "30 degC", "33 degC")
    result = simulate(
        loop(thermostat, *more, "schedule.low_water=[{from: 2027-01-02 10:10, lasts: 7 min}]"), days=4
    )
    tub = result.metrics.tub
    assert pytest.approx(0.0, abs=1e-6) == tub.balance_error_kwh
    assert "2027" == tub.coldest_at[:4]
    assert 15.0 < tub.mean_c < 37.5  # where an element has tripped dry, the tub cools
    lost = tub.lost_through_cover_kwh + tub.lost_through_shell_kwh + tub.lost_from_legs_kwh
    lost += tub.lost_from_equipment_kwh
    assert (
        pytest.approx(tub.heat_from_sources_kwh + tub.heat_from_pumps_kwh - tub.stored_change_kwh, 0.002)
        == lost
    )


def test_heat_in_standing_water_goes_on_as_the_span_begins(loop):
    """A clock fires the element from 23:00 to 02:00; its water stands until another starts the pump at 01:00.

    By hand: in that hour 40 L near exp(-t / tau) to the zone and 3 kW over what they lose per kelvin.
    """
    fires = ELEMENT + ".also_started_by=[{clock: {start: 23:00, lasts: 3 h}}]"
    pumps = MAIN + ".also_started_by=[{clock: {start: 01:00, lasts: 30 min}, speed: low}]"
    scenario = loop(*EMPTY, fires, pumps, ELEMENT + ".volume=40 L", ELEMENT + ".high_limit=null")
    result = simulate(scenario, days=1)
    tub, stays = result.metrics.tub, result.trace.stays["element"]
    assert pytest.approx(9.0) == tub.heat_from_sources_kwh
    assert pytest.approx(0.0, abs=1e-6) == tub.balance_error_kwh
    body = next(b for b in Assembly(scenario).bodies if b.name == "element")
    zones = result.trace.zones
    nears_c = zones.series[body.zone][-zones.origin_s // HOUR] + 3000.0 / body.ua_w_k
    left = exp(-HOUR * body.ua_w_k / body.capacity_j_k)
    assert pytest.approx(nears_c + left * (stays.start_c[0] - nears_c)) == stays.end_c[0]


def test_a_time_clock_that_stands_in_a_power_cut_is_late_from_then_on(loop):
    """Cut from 04:00 to 05:30: what it starts at 09:00 comes at 10:30; one with a reserve keeps its time."""
    clock = "clock: {start: 09:00, lasts: 1 h}, speed: high"
    cut = "schedule.outages=[{from: 2027-01-01 04:00, lasts: 90 min}]"
    ran = {}
    for stops in ("true", "false"):
        started = f"{MAIN}.also_started_by=[{{{clock}, clock_stops: {stops}}}]"
        ran[stops] = traced(loop(*EMPTY, started, cut))[1].pumps["main"].spans("high")[0]
    late = 9 * HOUR + 5400
    assert {"true": (late, late + HOUR), "false": (9 * HOUR, 10 * HOUR)} == ran


def test_a_clock_that_gains_is_ahead_by_the_days_since_it_was_right(loop):
    """A minute a day, right when the warm-up began, 14 days before: 14 min and 22 s ahead at 09:00."""
    started = (
        f"{MAIN}.also_started_by=[{{clock: {{start: 09:00, lasts: 1 h}}, speed: high, clock_gains: 60 s}}]"
    )
    start, _ = traced(loop(*EMPTY, started))[1].pumps["main"].spans("high")[0]
    assert 9 * HOUR - (14 + 9 / 24) * 60 == pytest.approx(start, abs=2)


def test_a_flow_switch_that_closes_too_soon_says_yes_to_too_little(loop):
    """Low sends less through the element than it needs; a switch that feels 20 L/min lets it fire."""
    plant = Assembly(loop())
    little = 60_000 * plant.duty(("low",)).flow_m3_s("element")
    needs = f"{ELEMENT}.needs_flow={little + 20:.0f} L/min"
    told = "proof={by: flow_switch, feels: 20 L/min}"
    for sets, fires in (((needs,), False), ((needs, f"{ELEMENT}.{told}"), True)):
        hours = traced(loop(*EMPTY[:2], "schedule.heating.keep_at=38 degC", *sets))[1].sources["element"]
        assert fires == (hours.seconds("firing") > 0)
    assert ("heat-without-flow", "element") in broken(
        loop("schedule.heating.keep_at=38 degC", needs, f"{ELEMENT}.{told}")
    )


@pytest.mark.parametrize(
    ("sets", "said"),
    [
        ([f"{MAIN}.also_started_by=[{{hand_switch: [], speed: low, clock_gains: 4 s}}]"], "goes with clock"),
        ([f"{MAIN}.also_started_by=[{{hand_switch: [], speed: low, clock_stops: true}}]"], "goes with clock"),
        ([f"{ELEMENT}.proof={{by: pump_contact, feels: 20 L/min}}"], "feels goes with by: flow_switch"),
        ([f"{ELEMENT}.proof={{by: flow_switch, feels: 2 m}}"], "expected a flow"),
    ],
)
def test_flaws_of_clocks_and_switches_that_cannot_be(loop, sets, said):
    """At their key, with what they go with."""
    with pytest.raises(InputError, match=said):
        loop(*sets)
