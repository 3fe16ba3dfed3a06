"""Rules of steered collectors in a run: each broken by hand, and kept by the mended twin."""

from datetime import date

import pytest

from cyclesim.analysis.combinations import asked_for
from cyclesim.analysis.findings import Subject
from cyclesim.analysis.history import History
from cyclesim.analysis.mends import changes
from cyclesim.analysis.result import simulate
from cyclesim.analysis.rules import RULES, check_plant, judge
from cyclesim.analysis.trials import tried
from cyclesim.said.duties import duties
from cyclesim.said.duty import duty_page
from cyclesim.scenario.reading.edit import edited
from cyclesim.scenario.reading.load import load_text
from cyclesim.scenario.reading.starter import starter_text
from cyclesim.shown.terminal import printed
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.engine import simulate_trace
from cyclesim.simulation.programme import Programme
from tests.sunny import AT_NIGHT, BEHIND_PLATES, BY_VALVE, FILTERED, OWN_PUMP

SUMMER = date(2027, 6, 20)
TURNED = (
    "plant.diverters.sun_valve.may_be=[to_sun]",
    "schedule.valves_turned=[{valve: sun_valve, from: 2027-06-20 22:00, lasts: 6 h, to: to_sun}]",
)


def broken(plant, *sets):
    """The findings about the collectors of two days, by rule."""
    found = simulate(load_text(plant, "test.yaml", sets=sets), days=2, start=SUMMER)
    return {f.rule: f for f in found.findings if f.subject == "panels" and f.rule.startswith("sun-")}


def test_a_valve_left_open_by_night_cools_the_water():
    """Six hours of a summer night without sun, from 22:00 on, less a quarter that is let pass."""
    found = broken(BY_VALVE + FILTERED, *TURNED)["sun-cools-water"]
    assert (1, "comfort") == (found.times, found.severity)
    assert found.total_h == pytest.approx(6.0 - 900 / 3600, abs=0.01)
    assert {} == broken(BY_VALVE + FILTERED)


BACKWARDS = (
    "plant.junctions=[tee]",
    "plant.pumps.jets={max_head: 5 m, max_flow: 300 L/min, power: 200 W}",
    "plant.network=[[tub, suction, tee], [tee, main, {parallel: [[by_sun, panels], past_sun]}, return, tub], "
    "[tee, jets, tub]]",
    "schedule.filter_runs.0.pump=jets",
)
"""A second pump that draws through the standing one, which has no check valve."""


@pytest.mark.parametrize(
    ("sets", "flow"), [(BACKWARDS, "back"), (("plant.heat_sources.panels.needs_flow=400 L/min",), "low")]
)
def test_collectors_that_are_hot_with_little_flow_or_backwards_break_nothing_by_it(sets, flow):
    """They are built to stand hot, so a run finds no danger in it where a search asks nothing of them."""
    scenario = load_text(BY_VALVE + FILTERED, "test.yaml", sets=sets)
    plant, programme = Assembly(scenario), Programme(scenario)
    run = History(plant, programme, simulate_trace(plant, programme, days=2))
    truths = [dict(snapshot.sources)["panels"] for snapshot, _ in run.truth.snapshots]
    assert any(truth.hot and truth.past_grace and truth.flow == flow for truth in truths)
    assert [] == list(judge(RULES["heat-without-flow"], run))


def test_what_is_left_in_collectors_behind_plates_cools_nothing():
    """3 kW of sun leave heat in 10 L of glycol and in the plates: by the heat that goes over, told by the
    run, the tub is warmed for as long as it is let in, the last quarter of an hour of each day included.

    Of the last pieces one may give back what is left to the end of it: less than 1 part in 1,000.
    """
    heavy = ("plant.heat_sources.panels.summer_peak=3 kW", "plant.heat_sources.panels.holds=60 kJ/K")
    assert "sun-cools-water" not in broken(BEHIND_PLATES + AT_NIGHT, *heavy)
    scenario = load_text(BEHIND_PLATES + AT_NIGHT, "test.yaml", sets=heavy)
    over = simulate_trace(Assembly(scenario), Programme(scenario), days=2, start=SUMMER).own_waters["panels"]
    assert over.over_j[over.over_j < 0.0].sum() > -1e-3 * over.over_j.sum()
    assert over.over_j.sum() > 0.0


def test_sun_on_water_past_its_high_stop_is_told():
    """Turned by hand for four hours about noon: 16 kWh warm 1.74 kWh/K of water by 9 K, 1 K to the stop."""
    stop = (
        "plant.heat_sources.panels.steered.high_stop=25 degC",
        "plant.heat_sources.panels.summer_peak=4 kW",
    )
    noon = "schedule.valves_turned=[{valve: sun_valve, from: 2027-06-20 11:00, lasts: 4 h, to: to_sun}]"
    found = broken(BY_VALVE + FILTERED, *stop, TURNED[0], noon)["sun-not-stopped"]
    assert (1, "danger") == (found.times, found.severity)
    assert 4.0 - 0.5 - 900 / 3600 < found.total_h <= 4.0 - 600 / 3600


def test_no_high_stop_is_a_danger_by_the_plant_alone():
    """With one, nothing is said."""
    found = broken(OWN_PUMP + AT_NIGHT, "plant.heat_sources.panels.steered.high_stop=null")
    assert "danger" == found["sun-not-stopped"].severity
    assert "high_stop: 40 degC or less" in found["sun-not-stopped"].mend
    assert {} == broken(OWN_PUMP + AT_NIGHT)


@pytest.mark.parametrize(
    ("limit", "mend"),
    [
        ("null", "let them cool first: steered: not_above"),
        ("70 degC", "not_above: 50 degC or less"),
        ("50 degC", "see which other pump or valve"),
    ],
)
def test_what_scalds_is_mended_by_what_the_file_has_not(limit, mend):
    """A rinse at three in the afternoon pushes out what has stood: 50 degC is the limit of the default."""
    at_three = 'schedule: {line_flushes: [{pump: sun_pump, start: "15:00", lasts: 60 s}]}\n'
    sets = (
        f"plant.heat_sources.panels.steered.not_above={limit}",
        "plant.heat_sources.panels.steered.high_stop=20 degC",
    )
    result = simulate(load_text(OWN_PUMP + at_three, "test.yaml", sets=sets), days=1, start=SUMMER)
    found = next(f for f in result.findings if f.rule == "outlet-too-hot")
    assert mend in found.mend


def test_that_collectors_cool_first_is_tried_on_the_same_days():
    """A pump that starts at three pushes out what has stood at noon; from six to nine they are let in cool.

    At 50 degC, the limit of the default, nothing hotter leaves them. At three alone they are never let in.
    """
    text = BY_VALVE + 'schedule: {filter_runs: [{pump: main, start: ["06:00", "15:00"], lasts: 3 h}]}\n'
    result = simulate(load_text(text, "test.yaml"), days=2, start=SUMMER)
    hot = [f for f in result.findings if f.rule == "outlet-too-hot"]
    assert ["panels"] == [f.subject for f in hot]
    (trial,) = tried(result, hot)
    assert (True, False) == (trial.holds, trial.idle)
    mended = load_text(edited(text, trial.edits), "test.yaml")
    assert 50.0 == mended.plant.heat_sources["panels"].steered.not_above_c
    found = simulate(mended, days=2, start=SUMMER).findings
    assert "outlet-too-hot" not in {f.rule for f in found}
    late = load_text(text.replace('"06:00", ', ""), "test.yaml")
    result = simulate(late, days=2, start=SUMMER)
    (trial,) = tried(result, [f for f in result.findings if f.rule == "outlet-too-hot"])
    assert (False, True) == (trial.holds, trial.idle)


LEG_IN_SUN = BY_VALVE.replace("[by_sun, panels]", "[by_sun, sun_out, panels]").replace(
    "  pumps:", "    sun_out: {bore: 20 mm, length: 4 m, zone: room}\n  pumps:"
)
_OF_WATER = ("never-flushed", "left-without-flush", "stale-water", "warm-stagnation")


def of_water(schedule):
    """What four days say of the water in the leg that only the motor valve lets water into."""
    result = simulate(load_text(LEG_IN_SUN + schedule, "test.yaml"), days=4, start=SUMMER)
    return {f.rule: f for f in result.findings if f.subject == "sun_out" and f.rule in _OF_WATER}


def test_a_leg_behind_a_motor_valve_is_moved_by_the_sun():
    """Water moves through it by day; by night alone it never does, and no hand can turn the valve back."""
    assert {} == of_water(FILTERED)
    found = of_water('schedule: {filter_runs: [{pump: main, start: "01:00", lasts: 3 h}]}\n')
    assert ["stale-water"] == list(found)
    told = found["stale-water"]
    assert "only filter run with sun_valve at to_sun moves it" == told.cause
    assert "while the sun shines" in told.mend


def test_old_water_is_mended_where_it_stood_before():
    """The return is filtered through every night; on Thursday noon alone what stood in the sun comes by."""
    by_night = 'filter_runs: [{pump: main, start: "01:00", lasts: 3 h}]'
    at_noon = 'line_flushes: [{pump: main, start: "12:00", lasts: 60 s, days: [thursday]}]'
    plant = load_text(f"{LEG_IN_SUN}schedule: {{{by_night}, {at_noon}}}\n", "test.yaml")
    found = simulate(plant, days=6, start=SUMMER).findings
    told = next(f for f in found if (f.rule, f.subject) == ("stale-water", "return"))
    assert "the water that comes in is old already" == told.cause
    assert "see what lets water stand in sun_out and panels: it comes from there" == told.mend


@pytest.mark.parametrize(
    ("plant", "sets", "cause"),
    [
        (OWN_PUMP + AT_NIGHT, ["plant.heat_sources.panels.steered.pump=main"], "main moves no water"),
        (BY_VALVE + "schedule: {}\n", [], "with sun_valve at to_sun, no demand"),
    ],
)
def test_what_never_moves_their_water_is_told_by_the_plant_alone(plant, sets, cause):
    """A pump of another loop, and a valve in a loop that nothing runs; as drawn, both are silent."""
    told = found_without_a_run(plant, sets)
    assert told["sun-not-let-in"].cause.startswith(cause)
    for drawn in (OWN_PUMP + AT_NIGHT, BY_VALVE + FILTERED):
        assert "sun-not-let-in" not in found_without_a_run(drawn, [])


@pytest.mark.parametrize(
    ("plant", "cause"),
    [
        (OWN_PUMP + AT_NIGHT, "in the sun its pump stops"),
        (BY_VALVE + FILTERED, "in the sun its valve goes to and fro"),
    ],
)
def test_more_water_than_the_sun_can_warm_is_told_by_the_plant_alone(plant, cause):
    """1 kW into Q L/min: by 14.3 K min/L x 1/Q from end to end (rho c 4.18 MJ/(m3 K)), 7.2 / Q on the mean.

    With off_at just above that it is told, just below it is not.
    """
    drawn = Assembly(load_text(plant, "test.yaml"))
    at = None if drawn.steered["panels"].pump else drawn.turned("sun_valve", "to_sun")
    pump = "sun_pump" if at is None else "main"
    l_min = 60_000.0 * drawn.duty(drawn.at(pump, "on"), at).flow_m3_s("panels")
    mean_k = 7.18 / l_min
    key = "plant.heat_sources.panels.steered.off_at"
    told = found_without_a_run(plant, [f"{key}={1.05 * mean_k:.4f} K"])["sun-to-and-fro"]
    assert ("wear", pytest.approx(mean_k, rel=0.01)) == (told.severity, told.worst)
    assert told.cause.startswith(cause)
    assert "sun-to-and-fro" not in found_without_a_run(plant, [f"{key}={0.95 * mean_k:.4f} K"])


@pytest.mark.parametrize(
    ("plant", "sets", "mend"),
    [
        (BY_VALVE + FILTERED, ["off_at=1.6 K"], "a lower off_at: 0.75 K is kept up by half of that sun"),
        (OWN_PUMP + AT_NIGHT, ["off_at=0.7 K"], "less water through them: at 5.2 L/min half of that sun"),
        (
            OWN_PUMP + AT_NIGHT,
            ["off_at=2 K"],
            "less water through them and a lower off_at: at 7.2 L/min half of that sun keeps up off_at: 0.5",
        ),
        (OWN_PUMP + AT_NIGHT, ["off_at=2 K", "needs_flow=8 L/min"], "more collectors: at the 8 L/min that"),
    ],
)
def test_what_lets_the_sun_in_without_a_break_is_advised_by_the_flow(plant, sets, mend):
    """By hand, 1 kW warms Q L/min by 7.18 / Q on the mean, so half of it by 3.59 / Q.

    4.82 L/min by 1.49 K, which sensors tell: half is 0.74 K. 11.0 L/min by 0.65 K, of which they hardly tell
    half: for 0.7 K 3.59 / 0.7 = 5.1 L/min, for 2 K 1.8, less than the 2 that they need, for 0.5 K 7.2.
    """
    panels = "plant.heat_sources.panels"
    keys = [f"{panels}.{'steered.' if 'off_at' in one else ''}{one}" for one in sets]
    assert found_without_a_run(plant, keys)["sun-to-and-fro"].mend.startswith(mend)


@pytest.mark.parametrize(
    ("plant", "off_at", "mended"),
    [
        (BY_VALVE + FILTERED, "1.6 K", "plant.heat_sources.panels.steered.off_at=0.75 K"),
        (OWN_PUMP + AT_NIGHT, "0.7 K", "plant.pumps.sun_pump.max_flow=7 L/min"),
    ],
)
def test_what_is_advised_lets_the_sun_in_without_a_break(plant, off_at, mended):
    """Two summer days run: between 12:00 and 16:00 it goes on some nine times an hour, or stays on."""
    key = f"plant.heat_sources.panels.steered.off_at={off_at}"

    def goes_on(*sets):
        scenario = load_text(plant, "test.yaml", sets=(key, *sets))
        built = Assembly(scenario)
        trace = simulate_trace(built, Programme(scenario), days=2, start=SUMMER)
        at_s = [start for start, _ in trace.pumps["sun_pump"].spans("on")] if "sun_pump" in trace.pumps else [
            stay.start_s for stay in trace.positions if "to_sun" in stay.state
        ]  # fmt: skip
        return sum(12 <= s / 3600 % 24 < 16 for s in at_s)

    assert goes_on() > 50
    assert goes_on(mended) <= 2


HEATED = BY_VALVE.replace(
    "    panels:",
    """    element: {kind: electric, output: 2 kW, drop: 0.3 m at 400 L/min, volume: 2 L, zone: room,
              needs_flow: 30 L/min, proof: {by: flow_switch}}
    panels:""",
).replace("past_sun]}, return", "past_sun]}, element, return") + (
    'schedule: {filter_runs: [{pump: main, start: "00:00", lasts: 24 h}], '
    "heating: {with: [element], pump: main, keep_at: 36 degC, within: 1 K}}\n"
)


@pytest.mark.parametrize(
    ("stop", "set_back", "lets_in"),
    [("34 degC", "", False), ("36 degC", "", True), ("34 degC", "30 degC", True)],
)
def test_a_high_stop_below_what_heating_keeps_lets_no_sun_in(stop, set_back, lets_in):
    """Back 1 K below the stop, at 33 or 35 degC; heating lets 36 degC fall to 35, and to 29 when set back."""
    sets = [f"plant.heat_sources.panels.steered.high_stop={stop}"]
    if set_back:
        step = f'{{from: "08:00", until: "18:00", keep_at: {set_back}}}'
        sets.append(f"schedule.heating.plan=[{step}]")
    told = found_without_a_run(HEATED, sets)
    assert lets_in == ("sun-not-let-in" not in told)
    if not lets_in:
        assert "the sun is back at 33 degC, and heating starts at 35 degC" in told["sun-not-let-in"].mend


def found_without_a_run(plant, sets):
    """Findings about the collectors that need no run, by rule."""
    scenario = load_text(plant, "test.yaml", sets=sets)
    found, _ = check_plant(Assembly(scenario), Programme(scenario))
    return {f.rule: f for f in found if f.subject == "panels"}


def test_a_high_stop_above_what_people_may_bathe_in_is_no_stop():
    """52 degC of 40 degC, the default: a danger by the plant alone, and what mends water too hot."""
    sets = ["plant.heat_sources.panels.steered.high_stop=52 degC"]
    told = found_without_a_run(OWN_PUMP + AT_NIGHT, sets)["sun-not-stopped"]
    assert ("danger", 52.0) == (told.severity, told.worst)
    assert "steered: high_stop: 40 degC or less" in told.mend
    assert {} == found_without_a_run(OWN_PUMP + AT_NIGHT, [])  # which stops at 40 degC
    hot = [*sets, "plant.heat_sources.panels.summer_peak=8 kW"]
    result = simulate(load_text(OWN_PUMP + AT_NIGHT, "test.yaml", sets=hot), days=6, start=SUMMER)
    found = [f for f in result.findings if f.rule in ("water-too-hot", "outlet-too-hot")]
    mends = {f.rule: f.mend for f in found}
    assert {"water-too-hot", "outlet-too-hot"} == set(mends)
    assert all("steered: high_stop: 40 degC or less" in mend for mend in mends.values())
    runs: list[int] = []
    stopped = [t for t in tried(result, found, on_run=runs.append) if "high_stop" in t.said]
    assert {"water-too-hot", "outlet-too-hot"} == {t.rule for t in stopped}  # what was tried stands at both
    assert len({t.number for t in stopped}) == 1


def test_two_sets_without_a_stop_get_both():
    """Water that is too hot: one mend stops both; of each set's own finding the mend names the set."""
    head, _, rest = OWN_PUMP.partition("    panels: ")
    own, _, after = rest.partition("\n  legs:")
    others = own.replace("sun_pump", "other_pump")
    legs, leg = "", "{bore: 20 mm, length: 4 m, zone: room}"
    for name in ("other_out", "other_back"):
        legs += f"\n    {name}: {leg}"
    text = f"{head}    panels: {own}    others: {others}\n  legs:{legs}{after}{AT_NIGHT}"
    pump = "{max_head: 3 m, max_flow: 20 L/min, power: 30 W}\n"
    text = text.replace(f"    sun_pump: {pump}", f"    sun_pump: {pump}    other_pump: {pump}")
    loop = "[tub, other_out, other_pump, others, other_back, tub]]"
    text = text.replace("sun_back, tub]]", f"sun_back, tub], {loop}")
    unstopped = [f"plant.heat_sources.{name}.steered.high_stop=null" for name in ("panels", "others")]
    scenario = load_text(text, "test.yaml", sets=unstopped)
    plant, programme = Assembly(scenario), Programme(scenario)

    def offered(rule, subject):
        found = changes(RULES[rule], plant, programme, Subject(subject, ()))
        return [change for change in found if "high_stop" in change.sentence]

    (both,) = offered("water-too-hot", "tub")
    assert both.sentence == "stop panels and others in time: steered: high_stop: 40 degC or less"
    sources = both.of(scenario).plant.heat_sources
    assert {40.0} == {sources[name].steered.high_stop_c for name in ("panels", "others")}
    assert {("panels", "40 degC"), ("others", "40 degC")} == {(e.path[2], e.text) for e in both.edits}
    for name in ("panels", "others"):
        (one,) = offered("sun-not-stopped", name)
        assert one.sentence == f"stop {name} in time: steered: high_stop: 40 degC or less"
        assert [name] == [edit.path[2] for edit in one.edits]


def test_the_duty_in_which_the_sun_is_let_in_is_told():
    """A filter run goes through the collectors or past them, as the motor has it; a pump turns no valve."""
    scenario = load_text(BY_VALVE + FILTERED, "test.yaml")
    plant = Assembly(scenario)
    asked = asked_for(plant, Programme(scenario))
    past, to_sun = plant.as_steered
    by_name = {duty.name: duty for duty in plant.duties()}
    assert [past, to_sun] == [by_name[name].positions for name in asked]
    assert [["filter run"], ["filter run"]] == list(asked.values())
    told = printed(duty_page(scenario, duties(plant), asked))
    assert "2 of 2 duties that can occur, with valves as usual, or as the sun turns them," in " ".join(
        told.split()
    )
    assert "no water moves through it" in told.split("== main on with")[0]
    own = load_text(OWN_PUMP + AT_NIGHT, "test.yaml")
    assert "as the sun turns" not in printed(duty_page(own, duties(Assembly(own)), {}))


@pytest.mark.parametrize(
    ("sets", "cause"),
    [
        ([], "there is no frost protection"),
        (["pump: main, starts_below: 0.5 degC"], "frost protection at main does not move its water"),
        (["pump: sun_pump, starts_below: -9 degC"], "frost protection does not keep it from freezing"),
        (
            ["pump: sun_pump, starts_below: 0.5 degC", "{from: 2027-01-10 00:00, lasts: 47 h}"],
            "there is no power",
        ),
    ],
)
def test_nobody_is_told_to_insulate_collectors(sets, cause):
    """What would be covered takes the sun: they are drained, or hold glycol.."""
    colder = ["place.weather.mean=6 degC"]
    zone = "watches: outdoors, stops_above: 1 degC"
    colder += [f"schedule.frost_protection={{{zone}, {pumped}}}" for pumped in sets[:1]]
    colder += [f"schedule.outages=[{cut}]" for cut in sets[1:]]
    result = simulate(
        load_text(OWN_PUMP + AT_NIGHT, "test.yaml", sets=colder), days=3, start=date(2027, 1, 10)
    )
    mends = {f.cause: f.mend for f in result.findings if f.rule == "frost-in-plant" and f.subject == "panels"}
    assert cause in mends
    assert "own_water" in mends[cause]
    assert "drain it" in mends[cause]
    assert "insulate" not in mends[cause]


FREEZING = ("place.weather.mean=6 degC",)


def frost_tried(plant, *sets):
    """What is tried against frost in the collectors in three days of January."""
    text = load_text(plant + AT_NIGHT, "test.yaml", sets=(*FREEZING, *sets))
    result = simulate(text, days=3, start=date(2027, 1, 10))
    return tried(result, [f for f in result.findings if (f.rule, f.subject) == ("frost-in-plant", "panels")])


@pytest.mark.parametrize(
    ("sets", "starts"),
    [((), "4"), (("{watches: panels, starts_below: -5 degC, stops_above: 1 degC, pump: sun_pump}",), "4")],
)
def test_frost_protection_of_collectors_is_tried(sets, starts):
    """Their own pump, by their own water, which is warmed least so; read back from the file it holds them."""
    trial, *_ = frost_tried(OWN_PUMP, *(f"schedule.frost_protection={one}" for one in sets))
    assert f"frost_protection: {{watches: panels, starts_below: {starts} degC" in trial.said
    assert trial.said.endswith("pump: sun_pump}")
    assert (True, False) == (trial.holds, trial.idle)
    mended = load_text(edited(OWN_PUMP + AT_NIGHT, trial.edits), "test.yaml", sets=FREEZING)
    found = simulate(mended, days=3, start=date(2027, 1, 10)).findings
    assert "panels" not in {f.subject for f in found if f.rule == "frost-in-plant"}


def test_no_frost_protection_is_tried_where_it_moves_nothing():
    """A motor valve that keeps water out without sun, and a power cut of all three days."""
    assert () == frost_tried(BY_VALVE)
    cut = "schedule.outages=[{from: 2027-01-10 00:00, lasts: 72 h}]"
    sound = "schedule.frost_protection={watches: panels, starts_below: 4 degC, stops_above: 6 degC, "
    assert () == frost_tried(OWN_PUMP, cut, f"{sound}pump: sun_pump}}")


def test_a_motor_valve_keeps_water_out_of_what_freezes():
    """A pump would move the collectors' water if the valve let it; by night it is at past."""
    sets = ["place.weather.mean=6 degC"]
    result = simulate(load_text(BY_VALVE + AT_NIGHT, "test.yaml", sets=sets), days=2, start=date(2027, 1, 10))
    (found,) = [f for f in result.findings if f.rule == "frost-in-plant" and f.subject == "panels"]
    assert "outdoors freezes it, and without sun sun_valve keeps water out of it" == found.cause
    assert "drain it for the winter, or put glycol behind plates into it" in found.mend


def test_a_power_cut_at_noon_tells_why_the_sun_is_soon_asked_for_no_more():
    """From 11:00 to 17:00 what stands in the sun is soon above 50 degC: a sum of minutes alone would mislead.

    A cut that ends while they are still cool enough is told as it is.
    """
    texts = {}
    for lasts in ("6 h", "7 min"):
        sets = (f"schedule.outages=[{{from: 2027-07-03 11:00, lasts: {lasts}}}]", "place.year=2027")
        found = simulate(
            load_text(starter_text("solar"), "solar.yaml", sets=sets), days=2, start=date(2027, 7, 2)
        )
        texts[lasts] = [f.worst_text for f in found.findings if f.subject == "sun on collectors"]
    [long] = texts["6 h"]
    assert long.endswith(" min without power, then too hot to be let in or no longer warmer")
    assert all("then" not in text for text in texts["7 min"])
    assert texts["7 min"]


def test_a_motor_valve_that_sticks_at_the_sun_starves_its_loop():
    """A pump of 4 m drives 8 L/min x (4 m / 1 m)^0.5 = 16 L/min at most through the collectors, if all goes
    there; what stood for 16 h is then no older. As drawn, most of the water still goes past them."""
    drawn, all_of_it = "to_sun: [by_sun, past_sun]", "to_sun: [by_sun]"
    text = BY_VALVE.replace(drawn, all_of_it) + AT_NIGHT
    suction = simulate(load_text(text, "test.yaml"), days=2, start=SUMMER, left=True).left["suction"]
    assert "sun_valve at to_sun" == suction.worst_left
    assert suction.most_flow_left_l_min <= 16.0 < 0.5 * suction.most_flow_usual_l_min
    assert suction.oldest_left_h == pytest.approx(suction.oldest_usual_h, rel=0.01)
    past = simulate(load_text(BY_VALVE + AT_NIGHT, "test.yaml"), days=2, start=SUMMER, left=True)
    assert "" == past.left["suction"].worst_left
