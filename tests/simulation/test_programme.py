"""From the schedule to a controller and its calendar."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from cyclesim.simulation.hourly_weather import below, zones
from cyclesim.simulation.programme import Programme

SCHEDULE = """
schedule:
  filter_runs:
    - {pump: main low, start: ["03:00", "15:00"], lasts: 2 h}
    - {pump: main low, start: "20:00", lasts: 30 min, days: [saturday], name: after the week}
  line_flushes: [{pump: main high, start: "07:30", lasts: 40 s, repeats: "FREQ=DAILY;INTERVAL=2"}]
  heating: {with: [element], pump: main low, keep_at: 36 degC, within: 1 K}
  quiet_hours: {from: "22:00", to: "07:00", applies_to: [main high]}
  ranks: [heating, bathing, frost_protection, line_flush, filter_run]
interlocks:
  - {block: element, unless: flow proven, for: 7 s}
  - {block: main high, while: element firing}
  - {keep: main low, after: element, lasting: 60 s}
"""
NEW_YEAR = datetime(2027, 1, 1, tzinfo=UTC)


@pytest.fixture
def programme(loop):
    """A programme with every kind of entry."""
    return Programme(loop(schedule=SCHEDULE))


def test_demands_have_names_ranks_and_pumps(programme):
    """A lone entry is named by its kind, several are numbered, a given name wins; ranks follow the file."""
    by_name = {d.name: d for d in programme.controller.demands}
    assert ["line flush", "filter run 1", "after the week", "heating"] == list(by_name)
    assert 0 == by_name["heating"].rank < by_name["line flush"].rank < by_name["filter run 1"].rank
    assert ("main", "high") == (by_name["line flush"].pump, by_name["line flush"].speed)
    assert ("element",) == by_name["heating"].calls


def test_interlocks_become_states_blocks_and_keeps(programme):
    """A proof of flow is a state with its time; a keep is the run-on; a block reads a machine."""
    controller = programme.controller
    assert 7 == controller.dwell_s["element"]["proving"]
    assert 60 == controller.dwell_s["element"]["run_on"]
    assert {"proving", "run_on"} <= set(programme.machines["element"].states)
    (block,) = controller.blocks
    assert ("main", "high", "element", "firing") == (
        block.target,
        block.speed,
        block.condition.subject,
        block.condition.state,
    )


def test_without_interlocks_nothing_is_proven_and_nothing_runs_on(loop):
    """What is not declared is not there, so that a missing interlock shows."""
    schedule = SCHEDULE.split("interlocks:")[0]
    programme = Programme(loop(schedule=schedule))
    assert not {"proving", "run_on"} & set(programme.machines["element"].states)


def test_the_calendar_counts_from_the_first_of_january(programme):
    """Every second day from 1 January, whenever the run begins: on 10 January it is the odd days."""
    origin = datetime(2027, 1, 10, tzinfo=UTC)  # Lisbon keeps UTC in winter
    flush = programme.raised(origin, 4 * 86_400)["line flush"]
    assert [(86_400 + 27_000, 86_400 + 27_040), (3 * 86_400 + 27_000, 3 * 86_400 + 27_040)] == flush
    saturday = programme.raised(NEW_YEAR, 7 * 86_400)["after the week"]
    assert [(86_400 + 72_000, 86_400 + 73_800)] == saturday  # 2 January 2027 is a Saturday


def test_quiet_hours_are_clipped_to_the_span(programme):
    """From midnight to 07:00, and from 22:00 to the end."""
    assert [(0, 7 * 3600), (22 * 3600, 86_400)] == programme.quiet_spans(NEW_YEAR, 86_400)


def test_frost_protection_has_two_edges():
    """It starts below one value and stops above the other, hour by hour."""
    series = [6.0, 4.5, 3.9, 5.0, 6.0, 6.1, 3.0]
    assert [(7200, 18_000), (21_600, 25_200)] == below(series, 0, 4.0, 6.0)


def test_the_sun_knows_no_summer_time(loop):
    """The warmest hour is around 15:00 standard time in winter and in summer, 16:00 on a summer clock."""
    scenario = loop(zone="Europe/Berlin")
    for month, clock in ((1, 15), (7, 16)):
        begin = datetime(2027, month, 10, tzinfo=ZoneInfo("Europe/Berlin")).astimezone(UTC)
        day = zones(scenario, begin, 0, 86_400).series["outdoors"][:24]
        warmest = max(range(24), key=day.__getitem__)
        assert warmest in (clock - 1, clock)
