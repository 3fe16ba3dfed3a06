"""What a file that is sound becomes: SI floats, pipes, speeds, prices, defaults."""

import math
import re
from datetime import time

import pytest
from dateutil.rrule import rrulestr
from fluids.piping import nearest_pipe

from cyclesim.errors import InputError
from cyclesim.scenario.blocks.place import Price
from cyclesim.scenario.forms.forms import RefusedError
from cyclesim.scenario.forms.pipes import PIPES, read_pipe
from cyclesim.scenario.forms.times import read_rule
from cyclesim.scenario.reading.defaults import filled_in
from cyclesim.scenario.reading.load import load_text
from cyclesim.scenario.reading.starter import starter_text

TEXT = starter_text()


def edited(*edits):
    """The starter with texts replaced."""
    text = TEXT
    for old, new in edits:
        assert old in text
        text = text.replace(old, new, 1)
    return load_text(text)


# ---------------------------------------------------------------- pipes


@pytest.mark.parametrize("size", [0.5, 0.75, 1, 1.25, 1.5, 2, 2.5, 3, 4, 6])
@pytest.mark.parametrize("schedule", ["40", "80"])
def test_inch_pipes_are_those_of_the_standard(size, schedule):
    """ASTM D1785 as the fluids library tabulates it, to its rounding to 0.1 mm of wall."""
    _, inside_m, outside_m, _ = nearest_pipe(NPS=size, schedule=f"{schedule}D1785")
    pipe = PIPES[f"{size:g} in Sch {schedule}"]
    assert math.isclose(outside_m, pipe.outside_m, abs_tol=1e-4)
    assert math.isclose(inside_m, pipe.bore_m, abs_tol=2e-4)


@pytest.mark.parametrize(
    ("name", "bore_mm"), [("50 PN10", 45.2), ("63 PN10", 57.0), ("50 PN16", 42.6), ("63 PN16", 53.6)]
)
def test_metric_pipes_have_the_bores_of_the_standard(name, bore_mm):
    """EN ISO 1452-2: 50 x 2.4, 63 x 3.0, 50 x 3.7, 63 x 4.7 mm (from memory, not opened)."""
    assert math.isclose(bore_mm / 1000, PIPES[name].bore_m, abs_tol=1e-9)


def test_metric_walls_follow_their_series():
    """SDR 21 and 13.6 up to 90 mm, 26 and 17 above; walls rounded to 0.1 mm (from memory, not opened)."""
    for name, pipe in PIPES.items():
        if "PN" in name:
            small = pipe.outside_m <= 0.0901
            ratio = {"PN10": (21, 26), "PN16": (13.6, 17)}[name.split()[1]][0 if small else 1]
            wall_m = (pipe.outside_m - pipe.bore_m) / 2
            assert -1e-9 <= wall_m - max(pipe.outside_m / ratio, 0.0015) + 5e-5 <= 2e-4


@pytest.mark.parametrize(
    "text", ["2 in Sch 40", '2" sch 40', "2 inch schedule 40", "2in Sch. 40", "2 in SCH40", "2 in sch 40"]
)
def test_inch_pipes_are_read_as_drawings_write_them(text):
    """Inches and schedule in their usual spellings."""
    assert PIPES["2 in Sch 40"] == read_pipe(text)


@pytest.mark.parametrize("text", ["1.5 in Sch 80", "1 1/2 in Sch 80", '1-1/2" sch 80'])
def test_fractions_of_an_inch_are_read(text):
    """Nominal sizes are the one place where fractions are usual."""
    assert PIPES["1.5 in Sch 80"] == read_pipe(text)


@pytest.mark.parametrize("text", ["63 PN10", "d63 PN 10", "d 63 pn10", "63PN10"])
def test_metric_pipes_are_read_as_drawings_write_them(text):
    """Outside diameter and pressure class in their usual spellings."""
    assert PIPES["63 PN10"] == read_pipe(text)


@pytest.mark.parametrize("text", ["", "1/0 in Sch 40", "9" * 50 + " PN10", "DN50", "2 Sch 40 x"])
def test_other_pipes_are_refused(text):
    """No size is guessed."""
    with pytest.raises(RefusedError):
        read_pipe(text)


# ---------------------------------------------------------------- plant


def test_a_leg_by_bore_has_an_outside_that_is_listed():
    """1.12 times the bore unless said."""
    scenario = edited(("{pipe: 63 PN10, length: 6 m", "{bore: 50 mm, length: 6 m"))
    assert math.isclose(0.056, scenario.plant.legs["suction_left"].outside_m, abs_tol=1e-12)
    listed = {one.path: one.value_text for one in filled_in(scenario)}
    assert listed["plant.legs.suction_left.outside"] == "56 mm (1.12 x bore)"


def test_a_tub_by_dimensions_has_volume_and_surface():
    """A cylinder of 1.7 m and a box, by the formulas of solids."""
    tub = load_text(TEXT).plant.tub
    assert math.isclose(math.pi / 4 * 1.7**2, tub.surface_m2)
    assert math.isclose(math.pi / 4 * 1.7**2 * 0.72, tub.volume_m3)
    box = edited(("{diameter: 1.7 m, depth: 720 mm}", "{length: 2 m, width: 1.5 m, depth: 0.5 m}")).plant.tub
    assert (box.surface_m2, box.volume_m3) == (3.0, 1.5)


def test_jets_need_three_quarters_of_their_rated_flow_unless_said():
    """Common practice, no source; listed as a default."""
    old = "each: 38 L/min at 6 m"
    assert math.isclose(0.75 * 0.038 / 60, load_text(TEXT).plant.legs["left_bench"].manifold.needs_flow_m3_s)
    stated = edited((old, old + ", needs: 30 L/min")).plant.legs["left_bench"].manifold
    assert math.isclose(0.030 / 60, stated.needs_flow_m3_s)
    assert edited((old, "nozzle: 8 mm")).plant.legs["left_bench"].manifold.needs_flow_m3_s is None


def test_flow_and_head_may_be_written_either_way_round():
    """A data sheet has its own order; the units tell which is which, metres of head included."""
    one, other = (edited(("1.0 m at 400 L/min", text)) for text in ("3 ft at 100 gpm", "100 gpm at 3 ft"))
    assert one.plant.equipment["filter"].drop == other.plant.equipment["filter"].drop


def test_a_two_speed_pump_has_low_and_high():
    """Each with the curve, power and current of its own."""
    speeds = load_text(TEXT).plant.pumps["main"].speeds
    assert list(speeds) == ["low", "high"]
    assert (speeds["low"].power_w, speeds["high"].current_a) == (310, 7.4)
    assert speeds["high"].curve[0] == (0, 15)


def test_a_one_speed_pump_runs_at_on():
    """Its curve and power stand at the pump itself."""
    low = TEXT[TEXT.index("      low:") : TEXT.index("      changeover")]
    text = TEXT.replace(low, "      max_head: 12 m\n      max_flow: 300 L/min\n      power: 0.5 hp\n")
    text = text.replace("while: main high", "while: main running")
    scenario = load_text(text.replace("main low", "main").replace("main high", "main"))
    speeds = scenario.plant.pumps["main"].speeds
    assert list(speeds) == ["on"]
    assert (speeds["on"].max_head_m, speeds["on"].max_flow_m3_s) == (12, 0.005)
    assert math.isclose(372.85, speeds["on"].power_w, rel_tol=1e-5)


def test_the_power_of_a_share_of_speed_lies_between_its_cube_and_its_square():
    """The affinity laws give the cube; a motor's own losses fall less. It is listed as a default."""
    low = TEXT[TEXT.index("      low:") : TEXT.index("      high:")]
    scenario = load_text(TEXT.replace(low, "      low: {speed: 50 %}\n"))
    power = scenario.plant.pumps["main"].speeds["low"].power_w
    assert 1600 / 8 < power < 1600 / 4
    assert "plant.pumps.main.low.power" in [one.path for one in filled_in(scenario)]


def test_a_valve_takes_its_positions_the_usual_one_first():
    """A valve of which nothing more is said stays as it is."""
    network = TEXT.replace("filter, element,", "filter, valve, element,")
    for may_be, positions in (("", ("shut",)), (", may_be: [open, shut]", ("shut", "open"))):
        valves = f"  valves:\n    valve: {{drop: 0.1 m at 200 L/min, usual: shut{may_be}}}\n  heat_sources:"
        text = network.replace("  heat_sources:", valves)
        assert positions == load_text(text).plant.valves["valve"].positions


# ---------------------------------------------------------------- place and schedule


def test_outdoors_is_always_there():
    """Also where the file names no zone."""
    assert load_text(TEXT).place.zones["outdoors"].follows == "weather"


@pytest.mark.parametrize("written", ["20 January", "20 jan", "January 20", "20. January"])
def test_a_date_is_read_as_people_write_it(written):
    """Month and day come out."""
    assert edited(("20 January", written)).place.weather.coldest_day == (1, 20)


def test_times_are_times_with_or_without_quotes():
    """12:30 is half past twelve, not 750 as in older YAML."""
    for written in ("12:30", '"12:30"', "[12:30]"):
        assert edited(("start: 20:00", f"start: {written}")).schedule.bathing[0].start == (time(12, 30),)


def test_days_count_from_monday():
    """Monday is 0, as in the standard library."""
    assert load_text(TEXT).schedule.bathing[0].days == (4, 5)
    assert edited(("days: [friday, saturday]", "days: Sun")).schedule.bathing[0].days == (6,)


@pytest.mark.parametrize(
    ("clock", "weekday", "amount"),
    [
        (time(21, 59), 0, 0.24),
        (time(22, 0), 0, 0.11),
        (time(7, 59), 1, 0.11),
        (time(8, 0), 1, 0.24),
        (time(7, 59), 0, 0.24),
        (time(22, 0), 1, 0.24),
    ],
)
def test_a_window_over_midnight_belongs_to_the_day_it_opens(clock, weekday, amount):
    """A window of Mondays from 22:00 to 08:00 ends on Tuesday morning."""
    tariff = edited(("to: 08:00, price", "to: 08:00, days: [monday], price")).supply.tariff
    assert Price(amount, "EUR") == tariff.at(clock, weekday)


@pytest.mark.parametrize(
    "rule",
    [
        "FREQ=DAILY;INTERVAL=2",
        "FREQ=WEEKLY;BYDAY=MO,FR",
        "FREQ=MONTHLY;BYDAY=-1SU;BYMONTH=1,12",
        "FREQ=YEARLY;BYMONTHDAY=-1",
        "RRULE:FREQ=DAILY",
    ],
)
def test_rules_that_are_taken_are_rules_of_the_library(rule):
    """dateutil reads what we let through."""
    assert rrulestr(read_rule(rule))


@pytest.mark.parametrize(
    "rule",
    [
        "",
        "DAILY",
        "FREQ=SECONDLY",
        "INTERVAL=2",
        "FREQ=DAILY;INTERVAL=0",
        "FREQ=DAILY;COUNT=3",
        "FREQ=DAILY;FREQ=DAILY",
        "FREQ=WEEKLY;BYDAY=1MO",
        "FREQ=MONTHLY;BYMONTHDAY=32",
        "FREQ=YEARLY;BYMONTH=13",
        "FREQ=DAILY;UNTIL=20270101",
        "FREQ=WEEKLY;BYDAY=FRIDAY",
        "freq=daily",
        "FREQ=DAILY\nFREQ=DAILY",
    ],
)
def test_other_rules_are_refused(rule):
    """Nothing that never ends, stands still or is finer than a day."""
    with pytest.raises(RefusedError):
        read_rule(rule)


# ---------------------------------------------------------------- the whole


def test_a_scenario_does_not_change():
    """Frozen, and equal to another of the same text."""
    scenario = load_text(TEXT)
    with pytest.raises(ValueError, match="frozen"):
        scenario.title = "other"
    assert scenario == load_text(TEXT)


def test_every_default_that_is_filled_in_is_listed_with_spread_and_source():
    """What the file says is not listed; what it leaves out is."""
    listed = {one.path: one for one in filled_in(load_text(TEXT))}
    assert all(one.value_text and str(one.spread) and one.source for one in listed.values())
    assert "limits.water_age" not in listed
    assert "plant.pumps.main.rest" not in listed
    to_water = listed["plant.pumps.main.heat_to_water"]
    assert (to_water.value_text, str(to_water.spread)) == ("70 %", "50 to 100 %")
    assert listed["limits.growth_band"].value_text == "20 degC to 45 degC"
    assert listed["limits.warm_stagnation"].source.endswith("no standard")


def test_a_default_that_is_said_gives_the_same_scenario():
    """The listed text may be written into the file as it stands."""
    for one in filled_in(load_text(TEXT)):
        if "(" not in one.value_text and " to " not in one.value_text:
            scenario = load_text(TEXT, sets=[f"{one.path}={one.value_text}"])
            assert one.path not in [other.path for other in filled_in(scenario)]
            assert load_text(TEXT) == scenario


def test_a_title_of_its_own_is_needed():
    """A report without a heading helps nobody."""
    with pytest.raises(InputError, match="title: found '', a text"):
        edited(("title: Mill pond tub, one two-speed pump", "title: ''"))


# ---------------------------------------------------------------- water care


def test_water_care_is_kept_in_si():
    """3 ppm and 1 mg/L in kg/m3 (1 mg/L is 1 g/m3), times in seconds, the date as it is."""
    care = load_text(
        TEXT
        + "\nwater_care:\n"
        + "  disinfectant: {residual: 3 ppm, half_life: [90 min, 1 d], at_least: 1 mg/L}\n"
        + "  refill_every: 90 days\n  last_refill: 2027-01-01\n  clean_filter_every: 14 days\n"
    ).water_care
    assert math.isclose(0.003, care.disinfectant.residual_kg_m3)
    assert math.isclose(0.001, care.disinfectant.at_least_kg_m3)
    assert (5400.0, 86_400.0) == care.disinfectant.half_life_s
    assert (90 * 86_400.0, 14 * 86_400.0) == (care.refill_every_s, care.clean_filter_every_s)
    assert "2027-01-01" == care.last_refill.isoformat()
    assert load_text(TEXT).water_care is None


def test_the_starter_shows_water_care_and_controller_keys_that_load():
    """The commented-out lines are sound when their # is taken away."""
    text = re.sub(r"^(  )?# ?(?=(  )?(water_care|disinfectant|refill_every|last_refill|clean_filter_every"
                  r"|flushes_a_day|tells_weekdays):)", r"\1", TEXT, flags=re.MULTILINE)  # fmt: skip
    built = load_text(text)
    assert built.water_care.last_refill is not None
    assert built.water_care.disinfectant is not None
    assert (4, False) == (built.controller.flushes_a_day, built.controller.tells_weekdays)


def test_the_starter_shows_wiring_treatment_and_valves_that_load():
    """Likewise: a thermostat of the element's own, a salt cell, a valve once the network has it."""
    text = TEXT
    for line in ("# also_started_by:", "#   - thermostat:", "# own_flow"):
        assert line in text
        text = text.replace(line, line.removeprefix("# "))
    for line in (
        "  # treatment:",
        "  #   cell:",
        "  #          proof:",
        "  # valves:",
        "  #   stop:",
        "  # after_power_cut:",
    ):
        assert line in text
        text = text.replace(line, line.replace("# ", "  " if line.startswith("  #  ") else "", 1))
    built = load_text(text.replace("main, filter, element,", "main, filter, element, stop,"))
    (starter,) = built.plant.heat_sources["element"].also_started_by
    assert ("thermostat", 10.0) == (starter.way, built.plant.heat_sources["element"].own_flow_switch_s)
    assert ("main", ("open", "shut")) == (
        built.plant.treatment["cell"].with_, built.plant.valves["stop"].positions,
    )  # fmt: skip
    assert "midnight" == built.controller.after_power_cut
