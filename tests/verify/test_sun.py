"""Steered collectors: planted defects and their twins, over every order and each single fault.

By design each defect takes away what keeps water out of collectors in the dark, or the sun out of water that
is warm enough (common practice, no source).
"""

from datetime import date

import pytest

from cyclesim.scenario.reading.edit import Edit
from cyclesim.scenario.reading.load import load_text
from cyclesim.verification.verifier import verify
from tests.sunny import AT_NIGHT, BEHIND_PLATES, BY_VALVE, FILTERED, OWN_PUMP
from tests.verify.test_reachable import outside

COOLS, NOT_STOPPED, HALF = "sun-cools-water", "sun-not-stopped", "sun-half-let-in"
LEFT = ("usual: past,", "usual: past, may_be: [to_sun],")
NO_STOP = (", high_stop: 40 degC", "")
BY_CLOCK = ("power: 30 W}", 'power: 30 W, also_started_by: [{clock: {start: "22:00", lasts: 2 h}}]}')


def verdict(rule, text, *edits, faults=0):
    """What is said of the collectors by a rule."""
    for old, new in edits:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    [found] = verify(load_text(text), faults=faults, rule=rule).verdicts
    assert found.subject == "panels"
    return found


@pytest.mark.parametrize(
    ("plant", "defect"),
    [(BY_VALVE + FILTERED, LEFT), (OWN_PUMP + AT_NIGHT, BY_CLOCK)],
    ids=["a valve that somebody leaves open", "a clock that runs the pump at night"],
)
def test_water_that_cools_in_collectors_is_found_and_its_twin_is_not_accused(plant, defect):
    """The story of the defect is run by the engine, by night; the twin has none."""
    broken, sound = verdict(COOLS, plant, defect), verdict(COOLS, plant)
    assert broken.broken
    assert broken.story.replayed == "by the engine"
    assert not sound.broken
    assert not sound.undecided
    assert sound.states > 5


def test_a_pump_without_high_stop_is_found_and_its_twin_is_not_accused():
    """It is so by the plant alone, whatever the order of events; the stop is what mends it."""
    broken, sound = (verdict(NOT_STOPPED, OWN_PUMP + AT_NIGHT, *edits) for edits in ((NO_STOP,), ()))
    assert broken.broken
    assert broken.why == "nothing stops the sun: no high_stop"
    assert {True} == {mend.holds for mend in broken.mends}
    at = ("plant", "heat_sources", "panels", "steered", "high_stop")
    assert [(Edit(at, "40 degC"),)] == [mend.edits for mend in broken.mends]
    assert not sound.broken
    assert not sound.undecided


@pytest.mark.parametrize(("leg", "told"), [("return", False), ("sun_back", True), ("", True)])
def test_a_flush_of_collectors_comes_out_at_people_where_it_feeds_a_spout(leg, told):
    """Where the spout is the main pump's alone, sun water comes back as in a filter run.

    In a file that says nothing of jets and spouts it is told all the same.
    """
    bathed = """
schedule:
  line_flushes: [{pump: sun_pump, start: "18:15", lasts: 10 min}]
  bathing: [{start: "18:00", lasts: 1 h}]
"""
    above = (f"plant.legs.{leg}.outlet_above_water=300 mm",) if leg else ()
    found = verify(load_text(OWN_PUMP + bathed, sets=above), rule="flush-onto-people").verdicts
    assert ([("line flush", True)] if told else []) == [(v.subject, v.broken) for v in found]


PLATES = BEHIND_PLATES + AT_NIGHT
ALSO_CLOCK = ("power: 20 W}", 'power: 20 W, also_started_by: [{clock: {start: "22:00", lasts: 2 h}}]}')
LEFT_OFF = (
    "power: 20 W}",
    "power: 20 W, also_started_by: [{hand_switch: [{from: 2027-06-20 09:00, lasts: 2 h, to: off}]}]}",
)
HELD_OFF = "interlocks: [{block: sun_pump, while: main running}]\n"


@pytest.mark.parametrize(
    ("text", "defect"),
    [(PLATES + HELD_OFF, []), (PLATES, [LEFT_OFF])],
    ids=["an interlock of the pump alone", "the circulator left in off"],
)
def test_a_sun_let_in_by_half_is_found_and_its_twin_is_not_accused(text, defect):
    """One side of the plates moves and the other stands; the story is run by the engine."""
    broken, sound = verdict(HALF, text, *defect), verdict(HALF, PLATES)
    assert broken.broken
    assert broken.story.replayed == "by the engine"
    assert any("lasted for 15 min" in step for step in broken.story.steps)
    assert [True] == [mend.holds for mend in broken.mends]
    what = (
        "take out {block: sun_pump"
        if "interlocks" in text
        else "disconnect the contacts that start glycol_pump"
    )
    assert broken.mends[0].said.startswith(what)
    assert not sound.broken
    assert not sound.undecided


def test_glycol_that_stands_keeps_the_night_out():
    """A clock that runs the tub's side alone cools nothing; one that runs both does."""
    assert not verdict(COOLS, PLATES, BY_CLOCK).broken
    both = verdict(COOLS, PLATES, BY_CLOCK, ALSO_CLOCK)
    assert both.broken
    assert both.story.replayed == "by the engine"


def test_own_water_of_collectors_may_stand():
    """It is no burner's: that no source is on while its own water stands is nothing that is asked of them."""
    assert [] == list(verify(load_text(PLATES), rule="own-water-still").verdicts)


def test_collectors_may_stand_hot():
    """They are built for it: that no heat source is on without flow is nothing that is asked of them."""
    assert [] == list(verify(load_text(OWN_PUMP + AT_NIGHT), rule="heat-without-flow").verdicts)


def test_a_flush_may_rinse_them_by_night():
    """Water that is moved to be fresh is no mistake; the same by a filter run is one."""
    flush = 'schedule: {line_flushes: [{pump: sun_pump, start: "22:00", lasts: 2 min}]}\n'
    filtered = 'schedule: {filter_runs: [{pump: sun_pump, start: "22:00", lasts: 2 h}]}\n'
    assert not verdict(COOLS, OWN_PUMP + flush).broken
    assert verdict(COOLS, OWN_PUMP + filtered).broken


@pytest.mark.parametrize(
    ("plant", "fault"),
    [
        (BY_VALVE + FILTERED, "sun_valve sticks at to_sun, whatever its motor is told"),
        (OWN_PUMP + AT_NIGHT, "the contactor of sun_pump welds"),
    ],
    ids=["valve", "pump"],
)
def test_what_sticks_or_welds_breaks_both_rules(plant, fault):
    """With each single fault."""
    for rule in (COOLS, NOT_STOPPED):
        cells = verdict(rule, plant, faults=1).cells
        assert (fault,) in {cell.faults for cell in cells if cell.barrier == "nothing"}, rule


SENSOR_FAULTS = {f"a temperature sensor {so}" for so in ("reads high", "reads low", "is open")}


@pytest.mark.parametrize("plant", [BY_VALVE + FILTERED, OWN_PUMP + AT_NIGHT], ids=["valve", "pump"])
def test_a_sensor_that_is_wrong_lets_the_sun_in(plant):
    """By hand: they are let in while they read warmer than the tub, and the tub below its high stop.

    Cold, they are let in by any of their sensors; past the high stop not by one that reads high.
    """
    for rule, lets_in in (
        (COOLS, SENSOR_FAULTS),
        (NOT_STOPPED, SENSOR_FAULTS - {"a temperature sensor reads high"}),
    ):
        found = {c.faults[0]: c for c in verdict(rule, plant, faults=1).cells if c.faults[0] in SENSOR_FAULTS}
        assert set(found) == SENSOR_FAULTS
        assert lets_in == {fault for fault, cell in found.items() if cell.barrier == "nothing"}
        for fault in lets_in:
            assert any(step.count(f"but {fault}") for step in found[fault].story.steps)


@pytest.mark.parametrize(("lasts", "barrier"), [("6 min", "time"), ("20 min", "nothing")])
def test_a_rinse_lasts_no_longer_in_a_story_than_by_the_calendar(lasts, barrier):
    """A restart amid a rinse, after which the pump goes on for its least run: 15 min of water in one stretch.

    A rinse of 20 min gives it time for that, one of 6 min does not, whatever the order of events.
    """
    rinsed = f'schedule: {{line_flushes: [{{pump: sun_pump, start: "22:00", lasts: {lasts}}}]}}\n'
    least = ("power: 30 W}", "power: 30 W, coasts: 5 s, minimum_run: 10 min, rest: 5 min}")
    [restarted] = [
        cell
        for cell in verdict(COOLS, OWN_PUMP + rinsed, least, faults=1).cells
        if cell.faults == ("the controller restarts in mid-run",)
    ]
    assert barrier == restarted.barrier
    steps, at_s = restarted.story.steps, restarted.story.at_s
    [stops] = [k for k, step in enumerate(steps) if "sun_pump stops" in step]
    runs = next(k for k, step in enumerate(steps) if k > stops and "sun_pump runs" in step)
    [lasted] = [k for k, step in enumerate(steps) if "water has run through panels for 15 min" in step]
    if barrier == "time":  # it tells of an order only
        assert () == at_s
        assert stops < lasted < runs
        assert steps[lasted].endswith(", and coasts")
        return
    began = next(k for k, step in enumerate(steps) if "line flush begins; sun_pump runs" in step)
    ends = next(k for k, step in enumerate(steps) if "line flush ends" in step)
    assert 900 == at_s[lasted] - at_s[began]
    assert at_s[ends] - at_s[began] <= 1200
    assert at_s[runs] - at_s[stops] <= 5, "it coasts for so long"


BUSY = """schedule:
  filter_runs: [{pump: main, start: ["10:00", "22:00"], lasts: 4 h}]
  line_flushes: [{pump: %s, start: "12:30", lasts: 3 min}]
  outages: [{from: 2027-06-22 13:00, lasts: 30 min}]
"""


@pytest.mark.parametrize("kind", ["commands", "calendar"])
@pytest.mark.parametrize(
    "plant",
    [BY_VALVE + BUSY % "main", OWN_PUMP + BUSY % "sun_pump", BEHIND_PLATES + BUSY % "sun_pump"],
    ids=["valve", "pump", "plates"],
)
def test_the_engine_stays_in_the_reachable_set(plant, kind):
    """Five days in June, on which the sun is let in and kept out, with a power cut at noon."""
    assert [] == outside(load_text(plant), 5, kind, start=date(2027, 6, 20))


def test_what_the_plant_alone_breaks_is_told_though_there_are_too_many_states(monkeypatch):
    """No order of events has to be looked at for a pump without a high stop: it is not left undecided."""
    monkeypatch.setattr("cyclesim.verification.search.MOST_STATES", 3)
    broken = verdict(NOT_STOPPED, OWN_PUMP + AT_NIGHT, NO_STOP)
    assert (True, "") == (broken.broken, broken.undecided)
    assert broken.why == "nothing stops the sun: no high_stop"
