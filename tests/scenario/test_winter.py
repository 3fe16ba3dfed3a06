"""Heat sources, bathing, the blower, heating plans, power cuts and circuits as a sound file gives them."""

import math
from datetime import date, datetime, time
from pathlib import Path

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from cyclesim.errors import InputError
from cyclesim.physics.sources import HeatPumpRating, RatedPoint
from cyclesim.scenario.blocks.rated import highest_cop
from cyclesim.scenario.reading.defaults import filled_in
from cyclesim.scenario.reading.load import load_text
from cyclesim.scenario.reading.schema import json_schema
from cyclesim.scenario.text.yaml_file import parse_text

FOLDER = Path(__file__).parent / "broken"
TEXT = (FOLDER / "winter_base.yaml").read_text(encoding="utf-8")
CASES = yaml.safe_load((FOLDER / "winter_cases.yaml").read_text(encoding="utf-8"))
VALIDATOR = Draft202012Validator(json_schema())

# what an editor sees: shapes, keys, words and units, but neither names nor numbers against each other
SEEN = """
an unknown kind of heat source
a heat source of no kind
keys of another kind of heat source
a plan with two beginnings and one without an end
dates that are none
dear without a price
a run both by the clock and after bathing
a session without its start
drawn beside the calendar
drawn bounds that are no pairs
too many people
a blower told by halves
wet pipe told twice
a breaker beside circuits
neither a breaker nor circuits
units of heat per degree
"""


@pytest.fixture
def scenario():
    """The scenario with everything in it."""
    return load_text(TEXT)


def faults_of(text, sets=()):
    """The faults of a text, none if it loads; any other error goes through."""
    try:
        load_text(text, sets=sets)
    except InputError as error:
        return error.faults or ("an error without a fault",)
    return ()


def test_heat_sources_come_by_kind(scenario):
    """Watts, shares and seconds, with what each kind says of itself."""
    sources = scenario.plant.heat_sources
    pump, gas, stove, roof = (sources[name] for name in ("outdoor_unit", "gas", "stove", "roof"))
    assert (7, 35, 8000, 4.2) == tuple(
        getattr(pump.rated[0], key) for key in ("air_c", "water_c", "output_w", "cop")
    )
    assert (5, 0.1, 360, "outdoors") == (
        pump.defrost_below_c,
        pump.defrost_share,
        pump.minimum_run_s,
        pump.outside,
    )
    assert (18_000, 0.9, 0.09, 180) == (
        gas.output_w,
        gas.efficiency,
        gas.fuel_price.amount,
        gas.minimum_run_s,
    )
    assert ((time(17),), 10_800, (5,), 1800) == (
        stove.burns[0].start,
        stove.burns[0].lasts_s,
        stove.burns[0].days,
        stove.dies_down_s,
    )
    assert (4000, 800) == (roof.summer_peak_w, roof.winter_peak_w)


def test_what_nobody_switches_off_has_no_proof_and_no_rest(scenario):
    """Wood and sun answer as every source does, so that nothing needs to ask for their kind."""
    for name, source in scenario.plant.heat_sources.items():
        assert source.switched == (name not in ("stove", "roof"))
        assert source.switched or ("none", 0, 0, 0, None, 0) == (
            source.proof.by,
            source.rest_s,
            source.opens_within_s,
            source.minimum_run_s,
            source.high_limit_c,
            source.power_w,
        )


def test_a_sources_electricity_is_its_nameplates(scenario):
    """An element turns all of it into heat; a heat pump takes at most 5500 W / 2.7; a boiler what is said."""
    sources = scenario.plant.heat_sources
    assert (3000, 80) == (sources["element"].power_w, sources["gas"].power_w)
    assert math.isclose(5500 / 2.7, sources["outdoor_unit"].power_w)


@pytest.mark.parametrize(("air_c", "water_c"), [(-15, 35), (7, 35), (7, 38), (15, 26), (35, 30)])
def test_a_rated_cop_that_loads_is_one_that_the_physics_takes(air_c, water_c):
    """Both draw the same line, below Carnot's T_water / (T_water - T_air) wherever water is the warmer."""
    most = highest_cop(air_c, water_c)
    HeatPumpRating.from_points([RatedPoint(air_c, water_c, 8000, 0.999 * most)], lowest_air_c=-20)
    with pytest.raises(ValueError, match="COP"):
        HeatPumpRating.from_points([RatedPoint(air_c, water_c, 8000, 1.001 * most)], lowest_air_c=-20)
    if water_c > air_c:
        assert most < (water_c + 273.15) / (water_c - air_c)


def test_a_session_says_people_cover_and_buttons(scenario):
    """The calendar's own, and a drawn one beside it."""
    session, drawn = scenario.schedule.bathing
    assert ("main high", 3000, 3, "off") == (
        str(session.pump),
        session.lasts_s,
        session.people,
        session.cover,
    )
    assert (600, 2, True, 300) == (
        session.jets_at_most_s,
        session.presses,
        session.air,
        session.air_at_most_s,
    )
    assert (None, None, None) == (drawn.pump, drawn.start, drawn.lasts_s)
    assert (3, (time(18), time(0, 30)), (1800, 5400), (1, 4)) == (
        drawn.drawn.per_week,
        drawn.drawn.between,
        drawn.drawn.lasts_s,
        drawn.drawn.people,
    )


def test_people_are_two_unless_said_or_drawn():
    """The default is listed where it counts only."""
    listed = {one.path: one.value_text for one in filled_in(load_text(TEXT.replace("people: 3, ", "")))}
    assert listed["schedule.bathing.0.people"] == "2"
    assert "schedule.bathing.1.people" not in listed


def test_heating_has_a_plan_absences_and_dear_hours(scenario):
    """Set points in degC by clock and date; a fall in K while a kilowatt-hour costs more."""
    heating = scenario.schedule.heating
    friday, night = heating.plan
    assert (("outdoor_unit", "gas", "element"), "price", 2) == (
        heating.sources,
        heating.choose,
        heating.next_below_k,
    )
    assert (time(19), None, time(23), 38) == (
        friday.ready_by,
        friday.from_time,
        friday.until,
        friday.keep_at_c,
    )
    assert (None, time(23, 30), time(6)) == (night.ready_by, night.from_time, night.until)
    away = heating.absences[0]
    assert (date(2027, 2, 1), date(2027, 2, 14), 15) == (away.from_date, away.to_date, away.keep_at_c)
    assert (0.2, 1.5) == (heating.when_dear.above.amount, heating.when_dear.let_fall_by_k)


def test_an_absence_of_the_day_after_another_does_not_overlap():
    """Both days of an absence count."""
    load_text(TEXT.replace("from: 2027-07-01, to: 2027-07-01", "from: 2027-02-15, to: 2027-02-15"))


def test_a_power_cut_may_be_out_of_the_year():
    """It does not happen in this run, and the file serves other years."""
    outage = load_text(TEXT.replace("2027-01-12 03:00", "2029-12-31 23:59")).schedule.outages[0]
    assert (datetime(2029, 12, 31, 23, 59), 259_200) == (outage.from_local, outage.lasts_s)


@pytest.mark.parametrize("watched", ["water", "outdoors", "room", "suction", "element", "roof"])
def test_frost_protection_watches_air_or_water(watched):
    """A zone, the tub's water, or anything with water in it."""
    scenario = load_text(TEXT, sets=[f"schedule.frost_protection.watches={watched}"])
    assert watched == scenario.schedule.frost_protection.watches


def test_wet_air_pipe_has_a_volume(scenario):
    """2 m of 50 PN10, 45.2 mm wide: a cylinder; or as the file says."""
    blower = scenario.plant.air["blower"]
    assert math.isclose(math.pi / 4 * 0.0452**2 * 2, blower.wet_volume_m3)
    assert blower.air_from == "outdoors"
    assert math.isclose(12e3 / 9806.65, blower.curve[1][1])


def test_a_blower_may_be_told_by_what_it_delivers():
    """Without a curve, bore and wet volume as measured."""
    curve = "curve: [[0 L/min, 18 kPa], [600 L/min, 12 kPa], [1100 L/min, 4 kPa]]"
    text = TEXT.replace(curve, "delivers: 21.2 cfm").replace("pipe: 50 PN10", "bore: 1.8 in")
    blower = load_text(text.replace("wet_length: 2 m", "wet_volume: 0.8 gal")).plant.air["blower"]
    assert math.isclose(0.010005, blower.delivers_m3_s, rel_tol=1e-3)
    assert math.isclose(0.04572, blower.bore_m)
    assert math.isclose(0.8 * 231 * 0.0254**3, blower.wet_volume_m3)


def test_fill_water_is_as_cold_as_mains_unless_said():
    """Said in degC; otherwise a listed default."""
    assert load_text(TEXT).plant.tub.fill_water_c == 6
    scenario = load_text(TEXT.replace("    fill_water: 6 degC\n", ""))
    assert scenario.plant.tub.fill_water_c is None
    assert "plant.tub.fill_water" in [one.path for one in filled_in(scenario)]


def test_one_breaker_feeds_everything_electric():
    """What a fire or the sun warms is on no circuit; several circuits are as the file says."""
    assert list(load_text(TEXT).circuits) == ["house", "shed"]
    block = TEXT[TEXT.index("  circuits:") : TEXT.index("  also_on_it")]
    (circuit,) = load_text(TEXT.replace(block, "  breaker: 40 A\n")).circuits.values()
    assert circuit.breaker_a == 40
    assert {"main", "circulator", "element", "outdoor_unit", "gas", "blower", "stove_room_light"} == set(
        circuit.feeds
    )


def test_a_boiler_of_which_no_power_is_said_needs_no_circuit():
    """Some have a pilot flame and nothing else."""
    load_text(TEXT.replace("      power: 80 W\n", "").replace(", gas]}", "]}"))


def test_a_room_loses_and_stores(scenario):
    """Watts and joules per kelvin."""
    room = scenario.place.zones["room"]
    assert (15, 200_000) == (room.loses_w_k, room.stores_j_k)


def test_limits_of_bathing_are_defaults_with_a_source():
    """The file's own are taken; those that are left out are listed."""
    assert load_text(TEXT).limits.session_at_most_s == 2700
    listed = {one.path: one for one in filled_in(load_text(TEXT[: TEXT.index("limits:")]))}
    assert (40, "40 degC") == (
        load_text(TEXT[: TEXT.index("limits:")]).limits.bathing_temperature_c,
        listed["limits.bathing_temperature"].value_text,
    )
    for key in ("outlet_temperature", "session_at_most", "cold_session", "starts_per_hour"):
        assert listed[f"limits.{key}"].source


# ---------------------------------------------------------------- editors and mutations


def test_the_schema_takes_what_loads():
    """With every key of the winter in it."""
    assert [error.message for error in VALIDATOR.iter_errors(parse_text(TEXT, "x.yaml").value)] == []


@pytest.mark.parametrize("name", SEEN.strip().split("\n"))
def test_what_an_editor_can_see_is_refused(name):
    """Each of these broken files is marked while one types."""
    case = next(case for case in CASES if case["name"] == name)
    text = TEXT
    for old, new in case["edits"]:
        text = text.replace(old, new, 1)
    assert not VALIDATOR.is_valid(parse_text(text, "x.yaml").value)


PATHS = [
    "place.zones.room",
    "supply.circuits",
    "supply.circuits.house",
    "supply.circuits.house.feeds",
    "supply.also_on_it",
    "plant.heat_sources",
    "plant.heat_sources.outdoor_unit",
    "plant.heat_sources.outdoor_unit.kind",
    "plant.heat_sources.outdoor_unit.rated",
    "plant.heat_sources.outdoor_unit.rated.0",
    "plant.heat_sources.stove.burns.0.start",
    "plant.heat_sources.gas.fuel",
    "plant.air",
    "plant.air.blower",
    "plant.air.blower.curve",
    "plant.air.blower.curve.1",
    "schedule.filter_runs.1",
    "schedule.filter_runs.1.after",
    "schedule.bathing",
    "schedule.bathing.0.air",
    "schedule.bathing.1.drawn",
    "schedule.bathing.1.drawn.between",
    "schedule.heating.with",
    "schedule.heating.plan",
    "schedule.heating.plan.0",
    "schedule.heating.absences.0.from",
    "schedule.heating.when_dear",
    "schedule.frost_protection.watches",
    "schedule.outages",
    "schedule.outages.0.from",
    "schedule.air_line_flushes",
]
WORDS = "5|'main low'|1e999|true|30 s|soil|''|-3|heat_pump|bathing|2027-13-01|[18:00, 19:00]|[[]]|[5]|{a: b}"
VALUES = st.sampled_from(
    [*WORDS.split("|"), "{kind: wood}", "{kind: [a]}", "{parallel: [a, b]}", "[{from: 1}]"]
)


@settings(max_examples=200, deadline=None)
@given(st.lists(st.tuples(st.sampled_from(PATHS), VALUES), min_size=1, max_size=3))
def test_any_value_anywhere_is_taken_or_refused_with_faults(values):
    """Any new part of the file replaced by another shape never ends in another error or a library's words."""
    for fault in faults_of(TEXT, [f"{path}={value}" for path, value in values]):
        assert "[type=" not in str(fault)
        assert "something else" not in str(fault)
