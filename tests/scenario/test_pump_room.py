"""The pump room and the suction side as a file says them."""

import pytest

from cyclesim.scenario.reading.defaults import filled_in
from cyclesim.scenario.reading.load import load_text
from cyclesim.scenario.reading.starter import starter_text

TEXT = starter_text()


def starter(*changes):
    """The starter with each old text replaced by a new one."""
    text = TEXT
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new)
    return load_text(text)


def test_a_file_says_it_in_either_system_of_units():
    """An inch is 25.4 mm, a foot 0.3048 m: exact by definition."""
    scenario = starter(
        ("open_area: 180 cm2", "open_area: 28 in2"),
        ("above_water: -500 mm", "above_water: -2 ft"),
        ("npsh_needed: 3 m", "npsh_needed: 10 ft"),
        ("  year: 2027 ", "  altitude: 1000 ft\n  year: 2027 "),
    )
    pump = scenario.plant.pumps["main"]
    suction = scenario.plant.legs["suction_left"].suction
    assert pytest.approx(28 * 0.0254**2) == suction.open_area_m2
    assert (pytest.approx(-0.6096), pytest.approx(3.048)) == (pump.above_water_m, pump.npsh_needed_m)
    assert pytest.approx(304.8) == scenario.place.altitude_m


def test_defaults_are_listed_only_where_they_matter():
    """Priming of a pump above the water, the sea's height where NPSH is judged; neither elsewhere."""

    def listed(*changes):
        paths = {one.path for one in filled_in(starter(*changes))}
        return paths & {"plant.pumps.main.self_priming", "place.altitude"}

    below = ("above_water: -500 mm", "above_water: 500 mm")
    assert {"place.altitude"} == listed()
    assert {"place.altitude", "plant.pumps.main.self_priming"} == listed(below)
    assert set() == listed(("      npsh_needed: 3 m", "#"))
    assert set() == listed(("  year: 2027 ", "  altitude: 0 m\n  year: 2027 "))
    said = ("above_water: -500 mm", "self_priming: false\n      above_water: 500 mm")
    assert {"place.altitude"} == listed(said)


def test_a_room_of_which_little_is_known_is_taken():
    """Every key may be left out, and so may the room."""
    room = "{below_ground: true, drain: true, weather_tight: true, distance: 5 m, free_space: 700 mm}"
    assert starter((room, "{below_ground: false}")).plant.pump_room.drain is None
    assert starter((f"    {room}", ""), ("pump_room:                    #", "#")).plant.pump_room is None
