"""What people, blowers, power cuts, heat pumps and boilers came to, from numbers made up here."""

from dataclasses import replace
from types import SimpleNamespace as Made
from typing import Any

from cyclesim.analysis.device_metrics import (
    BlowerMetrics,
    CircuitMetrics,
    DeviceEnergy,
    EnergyMetrics,
    HeatSourceMetrics,
)
from cyclesim.analysis.metrics import OutageMetrics, SessionMetrics
from cyclesim.said.page import Page, Table
from cyclesim.said.run_tables import say_energy
from cyclesim.said.use_tables import (
    say_blowers,
    say_coldest_sessions,
    say_made_from,
    say_people,
    say_power_cuts,
)
from cyclesim.shown.terminal import printed


def said(say: Any, *args: Any) -> str:
    """The text of one part of the report, on one line."""
    page = Page()
    say(page, *args)
    return " ".join(printed(page).split())


def test_people_are_told_with_what_they_used() -> None:
    """Sessions, hours, temperature and water; nothing at all where nobody came."""
    tub = Made(
        sessions=12,
        bathed_h=9.5,
        topped_up_l=83.2,
        mean_at_session_start_c=37.46,
        mean_at_session_end_c=36.31,
    )
    text = said(say_people, tub, ())
    assert "12 sessions, 9.5 h with people in the water; at 37.5 °C on the mean" in text
    assert "stepped in, 36.3 °C when they stepped out." in text
    assert "83.2 L" in text
    assert "coldest" not in text
    assert said(say_people, Made(sessions=0, bathed_h=0.0), ()) == ""


def test_the_three_sessions_with_the_coldest_end_are_told() -> None:
    """The coldest first; one that the span cuts off has no end and is left out."""
    ends = (36.0, 33.5, None, 35.0, 34.0)
    sessions = [
        SessionMetrics(f"2027-01-0{day}T20:00:00+00:00", 0.5, 37.0, 36.9, end, 33.0)
        for day, end in enumerate(ends, start=1)
    ]
    page = Page()
    say_coldest_sessions(page, sessions)
    (table,) = page.blocks
    assert isinstance(table, Table)
    assert ["2027-01-02", "2027-01-05", "2027-01-04"] == [row.about[:10] for row in table.rows]
    assert [33.5, 34.0, 35.0] == [row.cells[5] for row in table.rows]


def test_blower_without_air_says_why() -> None:
    """Its numbers, the reason, and the water in its pipe."""
    dead = BlowerMetrics(1.0, 3, 0.8, 0.24, 0.0, 7.04, "its pressure does not reach the outlets", 1.4)
    text = said(say_blowers, {"blower": dead}, "EUR")
    assert "blower 1.0 3 0 7.0 0.8 0.24" in text
    assert "blower: its pressure does not reach the outlets." in text
    assert "1.4 L stand in its pipe" in text
    assert said(say_blowers, {}, "EUR") == ""


def test_heat_pump_and_boiler_say_what_heat_was_made_of() -> None:
    """Heat, electricity and their ratio; fuel; nothing for an electric element."""
    element = HeatSourceMetrics(2.0, 3, 0.0, 0.0, {}, 0.0, 6.0, 1.8, 6.0)
    pump = replace(element, heat_kwh=320.0, energy_kwh=100.0, seasonal_cop=3.2)
    boiler = replace(element, heat_kwh=90.0, fuel_kwh=104.0)
    text = said(say_made_from, {"pump": pump, "boiler": boiler, "element": element})
    assert "pump made 320 kWh of heat from 100 kWh of electricity, 3.2 to 1" in text
    assert "boiler made 90.0 kWh of heat from 104 kWh of fuel." in text
    assert "element" not in text


def test_power_cut_names_its_coldest_part_and_what_freezes_first() -> None:
    """The parts in the order in which they would freeze; those that would not are left out."""
    cut = OutageMetrics(
        "2027-01-12T03:00:00+01:00",
        8.0,
        "left",
        4.31,
        {"tub": None, "right": 30.0, "left": 12.5},
        {"tub": None, "right": None, "left": 15.5},
    )
    text = said(say_power_cuts, [cut])
    assert "from 12 Jan 2027 03:00 for 8 h: coldest left at 4.3 °C" in text
    assert "at 0 °C: left after 12.5 h, right after 30 h." in text
    assert "With a tenth of their water ice, at the soonest: left after 15.5 h." in text
    assert "no part would have been" in said(say_power_cuts, [replace(cut, until_zero_h={"tub": None})])
    assert said(say_power_cuts, []) == ""
    assert "under Frost" not in text
    room = said(say_power_cuts, [cut], ["cellar"])
    assert "In a cut that was run the water warms cellar as it cools; the hours under Frost leave" in room


def test_fuel_and_circuits_have_their_place_beside_energy() -> None:
    """A column of fuel only where some was burnt; one breaker, or each circuit with its own."""
    plain = EnergyMetrics(
        "EUR",
        {"main": DeviceEnergy(10.0, 3.0)},
        10.0,
        3.0,
        5.0,
        1.5,
        (),
        9.0,
        "2027-01-01T08:00:00+01:00",
        16.0,
    )
    text = said(say_energy, plain)
    assert "fuel" not in text
    assert "the breaker takes 16.0 A" in text
    circuit = CircuitMetrics(20.0, 13.0, "2027-01-01T08:00:00+01:00", 41.0, "2027-01-01T07:00:00+01:00")
    burnt = replace(
        plain,
        by_device={"boiler": DeviceEnergy(10.0, 9.0, 80.0)},
        fuel_kwh=80.0,
        breaker_a=None,
        circuits={"shed": circuit},
    )
    text = said(say_energy, burnt)
    assert "boiler 10.0 80.0 9.00" in text
    assert "a day 5.0 40.0 1.50" in text
    assert "the breaker takes" not in text
    assert "shed: at most 13.0 A, 1 Jan 2027 08:00; its breaker takes 20.0 A; 41.0 A for a moment" in text
