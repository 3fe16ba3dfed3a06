"""Zones that something keeps warm: a heater on the supply, which a power cut stops, or the house."""

from datetime import UTC, datetime

import pytest

from cyclesim.analysis.result import simulate
from cyclesim.errors import InputError
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.reading.defaults import filled_in
from cyclesim.scenario.reading.load import load_text
from cyclesim.scenario.reading.starter import starter_text
from cyclesim.simulation.hourly_weather import in_the_dark, zones
from cyclesim.simulation.trace import Zones

ROOM = "place.zones.pump_room"
FROSTY = ("place.weather.mean=2 degC", "schedule.outages=[{from: 2027-01-12 01:30, lasts: 6 h}]")


def starter(*sets: str) -> Scenario:
    """The starter, colder, with a power cut from 01:30 to 07:30."""
    return load_text(starter_text(), "starter.yaml", sets=(*FROSTY, *sets))


def test_a_heater_on_the_supply_keeps_nothing_in_a_power_cut() -> None:
    """Hours without power have the air's 4 K more; of the first and last, half has power."""
    begin, dark = datetime(2027, 1, 12, tzinfo=UTC), [(5400, 27_000)]
    around = zones(starter(), begin, 0, 86_400, dark)
    room, air = around.series["pump_room"], around.series["outdoors"]
    assert all(hour + 4.0 < 2.0 for hour in air[1:8])
    assert room[0] == room[8] == 2.0
    assert room[2:7] == [hour + 4.0 for hour in air[2:7]]
    assert pytest.approx(0.5 * (2.0 + air[1] + 4.0)) == room[1]
    assert pytest.approx(0.5 * (2.0 + air[7] + 4.0)) == room[7]
    assert around.without_power.series["pump_room"][:24] == [max(-99.0, hour + 4.0) for hour in air[:24]]
    house = zones(starter(f"{ROOM}.kept_by=house"), begin, 0, 86_400, dark)
    assert min(house.series["pump_room"]) == 2.0
    assert house.without_power.series == house.series


def test_several_cuts_and_their_edges() -> None:
    """A cut of a whole hour, one inside an hour, one that goes on after the series."""
    kept = in_the_dark([2.0] * 4, [-8.0] * 4, -3600, [(-3600, 0), (1800, 2700), (7200, 99_999)])
    assert [-8.0, pytest.approx(-0.5), 2.0, -8.0] == kept


def test_parts_in_a_room_kept_by_the_supply_cool_sooner_without_power() -> None:
    """What stands in the room reaches 0 degC if the cut does not end; kept by the house it never does."""
    hours = {}
    for by in ("supply", "house"):
        scenario = starter(f"{ROOM}.kept_by={by}")
        (cut,) = simulate(scenario, days=3, start=datetime(2027, 1, 11).date()).metrics.outages
        hours[by] = cut.until_zero_h
    for part in ("filter", "element"):
        assert None is hours["house"][part]
        assert hours["supply"][part] is not None
    assert pytest.approx(hours["supply"]["left_bench"], rel=0.01) == hours["house"]["left_bench"], "in soil"


def test_what_keeps_a_room_is_told_as_assumed_where_the_file_does_not_say() -> None:
    """The worse of the two, and only for a zone that something keeps."""
    silent = starter(f"{ROOM}={{follows: weather, never_below: 2 degC}}")
    assert "supply" == next(d.value_text for d in filled_in(silent) if d.path == f"{ROOM}.kept_by")
    assert not any("kept_by" in d.path for d in filled_in(starter(f"{ROOM}={{follows: weather}}")))
    with pytest.raises(InputError, match="kept_by goes with never_below"):
        starter(f"{ROOM}={{follows: weather, kept_by: house}}")


def test_a_room_with_a_heat_capacity_is_let_go_likewise() -> None:
    """While the power is off it is as cold as if no heater had kept it."""
    scenario = starter(f"{ROOM}={{follows: weather, never_below: 2 degC, loses: 15 W/K, stores: 200 kJ/K}}")
    found = simulate(scenario, days=2, start=datetime(2027, 1, 11).date()).trace.zones
    assert isinstance(found, Zones)
    free, kept = found.powerless["pump_room"], found.series["pump_room"]
    at = (86_400 - found.origin_s) // 3600  # midnight before the cut
    assert pytest.approx(kept[at + 2 : at + 7]) == free[at + 2 : at + 7]
    assert min(free[at : at + 24]) < 2.0 <= min(kept[at + 8 : at + 24])
