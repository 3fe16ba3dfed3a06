"""What a person notices of a fault: hours and shares worked out by hand, and the table made of them."""

from datetime import date
from math import log
from pathlib import Path

import numpy as np
import pytest

from cyclesim.said.page import Line, Table
from cyclesim.said.papers.collected import HandOver
from cyclesim.said.papers.paper import Sheet
from cyclesim.said.papers.signs import say_signs
from cyclesim.scenario.reading.load import load, load_text
from cyclesim.scenario.reading.starter import starter_text
from cyclesim.simulation.assembly import Assembly
from cyclesim.verification.signs import lasts_from_h, noticed, usual_week

SCHEDULES = Path(__file__).parents[2] / "schedules"
LOW = "a temperature sensor reads low"


@pytest.fixture(scope="module")
def garden():
    """Every fault of the walled garden with its circulator, by its words, with its signs by their kind."""
    week = noticed(load(SCHEDULES / "walled-garden-circulator.yaml"))
    return {one.fault.sentence: {sign.kind: sign for sign in one.signs} for one in week}


def test_a_pump_that_never_stops_is_heard_for_all_hours_but_its_own(garden):
    """The jets flush 45 s twice a day: a welded contactor adds 24 h less 90 s, 23.975 h a day."""
    sign = garden["the contactor of jets welds"]["runs on"]
    assert ("jets", pytest.approx(24.0 - 90.0 / 3600.0)) == (sign.subject, sign.amount)


def test_jets_without_their_pump_give_nothing(garden):
    """No flow at all; 1.5 min a day of silence is too little to be heard."""
    signs = garden["jets does not start, or trips"]
    assert 0.0 == signs["no jets"].amount
    assert "silent" not in signs


def test_without_heat_the_water_cools_as_a_body_does(garden):
    """A switch that says no keeps the element off: the pump runs on for heat that never comes.

    The circulator moves the tub's water through its legs all day, so that they lose heat with the tub: the
    sum of their conductances and the cover's, against some 10 degC of soil and air in early February, gives
    2 K in t = -C/UA ln(1 - 2/(37 - T)); the shell gives back heat at first, so a third off is allowed.
    """
    plant = Assembly(load(SCHEDULES / "walled-garden-circulator.yaml"))
    tub = plant.tub_node
    moved = {
        link.name for link in plant.links if plant.duty(plant.at("circulator", "on")).flow_m3_s(link.name)
    }
    legs = [body for body in plant.bodies if body.name in moved]
    ua = tub.ua_cover_w_k + sum(body.ua_w_k for body in legs)
    capacity = tub.water_j_k + sum(body.capacity_j_k for body in legs)
    by_hand_h = -capacity / ua * log(1.0 - 2.0 / (37.0 - 10.0)) / 3600.0
    signs = garden["the flow switch of element says no whatever the flow"]
    assert by_hand_h == pytest.approx(signs["colder"].amount, rel=0.35)
    assert signs["cheaper"].amount < -0.5


def test_a_sensor_that_is_off_heats_for_ever_or_never(garden):
    """Read low, it calls for heat all week, and the water gets warmer; read high, it gets no heat at all."""
    assert "warmer" in garden[LOW]
    cold = garden["a temperature sensor reads high"]
    assert "colder" in cold
    assert cold["cheaper"].amount < -0.5


def test_a_high_limit_ends_what_a_sensor_that_reads_low_begins():
    """A boiler of 18 kW heats 1.63 m3 by 19 K to its limit of 55 degC: 36 kWh in two hours, then no more.

    So the water is warmer at first and cold later, and the week's bill is no larger by it. A limit on the
    sensor of the thermostat reads low with it and ends nothing.
    """
    text = starter_text("boiler")
    assert "limit_sensor: own" in text
    files = text, text.replace("limit_sensor: own", "limit_sensor: thermostat")
    own, shared = (
        {
            sign.kind: sign
            for one in noticed(load_text(file))
            for sign in one.signs
            if one.fault.sentence == LOW
        }
        for file in files
    )
    assert {"tripped", "warmer", "colder"} <= own.keys()
    assert own["warmer"].amount <= 2.0 < own["colder"].amount
    assert "dearer" not in own
    assert "dearer" in shared
    assert "tripped" not in shared


def test_a_switch_that_always_says_yes_is_noticed_by_nobody(garden):
    """The sound plant never needs it in that week, so that only a test shows it."""
    assert {} == garden["the flow switch of element says yes whatever the flow"]


def test_a_sound_plant_has_no_signs_of_a_fault_that_it_cannot_have(garden):
    """Two speeds, valves and a blower are not in this plant, so no fault of theirs is in its table."""
    strange = ("jets high", "left shut", "blower")
    assert not [words for words in garden if any(one in words for one in strange)]


def test_the_table_reads_from_the_sign_to_its_causes():
    """Every sign of every fault stands in a row, under what is noticed; the fewest other signs come first."""
    scenario = load(SCHEDULES / "walled-garden-circulator.yaml")
    [paper] = HandOver(scenario, "", (), "2027-03-02", "0.1.0").papers(("owner",)).papers
    table = next(
        block for block in paper.blocks
        if isinstance(block, Table) and block.columns[0].heading.startswith("what you notice")
    )  # fmt: skip
    week = noticed(scenario)
    causes = [row for row in table.rows if row.level]
    assert sum(len({sign.kind for sign in one.signs}) for one in week) == len(causes)
    count = {one.fault.sentence: len(one.signs) for one in week}
    groups, notice = {}, ""
    for row in table.rows:
        if row.level:
            groups[notice].append(count[str(row.cells[0])])
        else:
            notice = str(row.cells[0])
            groups[notice] = []
    assert all(counts == sorted(counts) for counts in groups.values())
    assert "no water comes from the jets" in groups


def test_signs_are_looked_for_in_any_week():
    """In August nothing of the frost is left, and a dead circulator still lets the water cool."""
    scenario = load(SCHEDULES / "walled-garden-circulator.yaml")
    august = {one.fault.sentence: one.signs for one in noticed(scenario, date(2027, 8, 2))}
    assert "colder" in {sign.kind for sign in august["circulator does not start, or trips"]}


def test_a_dip_that_only_comes_at_another_hour_is_no_sign():
    """Five hours are a cold leg that empties into the tub; six count, from the first of them on."""
    hours = np.zeros(168, dtype=bool)
    hours[20:25] = True
    assert lasts_from_h(hours) is None
    hours[60:66] = True
    assert lasts_from_h(hours) == 60


@pytest.mark.parametrize(
    ("away", "begins"),
    [
        ("[]", date(2027, 2, 1)),
        ("[{from: 2027-01-10, to: 2027-02-12, keep_at: 12 degC}]", date(2027, 2, 13)),
        ("[{from: 2027-02-05, to: 2027-02-05, keep_at: 12 degC}]", date(2027, 2, 6)),
        ("[{from: 2027-02-08, to: 2027-02-20, keep_at: 12 degC}]", date(2027, 2, 1)),
        ("[{from: 2027-01-01, to: 2027-12-31, keep_at: 12 degC}]", date(2027, 2, 1)),
    ],
)
def test_signs_are_those_of_a_week_in_which_somebody_is_there(away, begins):
    """Seven whole days outside every absence, the first from 1 February on; by hand on the calendar."""
    sets = [f"schedule.heating.absences={away}"]
    assert begins == usual_week(load(SCHEDULES / "walled-garden-circulator.yaml", sets=sets), 2)


def test_what_frost_hides_is_looked_for_in_summer_and_the_week_is_named():
    """A heat pump that stands below 15 degC stands all February: its switch is missed in August."""
    sets = ["plant.heat_sources.heat_pump.lowest_air=15 degC", "place.weather.mean=14 degC"]
    scenario = load_text(starter_text("heat-pump"), "test.yaml", sets=sets)
    told = {one.fault.sentence: one for one in noticed(scenario)}
    no_flow = told["the flow switch of heat_pump says no whatever the flow"]
    assert no_flow.signs
    assert no_flow.begin == date(2027, 8, 1)
    sheet = Sheet()
    say_signs(sheet, tuple(told.values()))
    lines = " ".join(block.text for block in sheet.blocks if isinstance(block, Line))
    assert "each for 7 days from 1 Feb 2027" in lines
    [table] = [block for block in sheet.blocks if isinstance(block, Table)]
    assert any(str(row.cells[1]).endswith(", in August") for row in table.rows if row.level)
