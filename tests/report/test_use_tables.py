"""What people, blowers, heat pumps and boilers came to, from numbers made up here."""

from types import SimpleNamespace as Made
from typing import Any

from cyclesim.report.layout import Page
from cyclesim.report.use_tables import say_blowers, say_made_from, say_people


def said(say: Any, *args: Any) -> str:
    """The text of one part of the report, on one line."""
    page = Page(80)
    say(page, *args)
    return " ".join(page.text().split())


def test_people_are_told_with_what_they_used() -> None:
    """Sessions, hours and water; nothing at all where nobody came or nothing was measured."""
    text = said(say_people, Made(sessions=12, bathed_h=9.5, topped_up_l=83.2))
    assert "12 sessions, 9.5 h with people in the water" in text
    assert "83.2 L" in text
    assert said(say_people, Made(sessions=0, bathed_h=0.0)) == ""
    assert said(say_people, Made()) == ""


def test_blower_without_air_says_why() -> None:
    """Its numbers are unknown, and the reason stands below."""
    dead = Made(running_h=1.0, starts=3, flow_l_min=None, pressure_kpa=None, energy_kwh=0.8, cost=0.24,
                why_not="its pressure does not reach the outlets")  # fmt: skip
    text = said(say_blowers, {"blower": dead}, "EUR")
    assert "blower 1.0 3 - - 0.8 0.24" in text
    assert "blower blows no air: its pressure does not reach the outlets." in text
    assert said(say_blowers, None, "EUR") == ""


def test_heat_pump_and_boiler_say_what_heat_was_made_of() -> None:
    """Heat, electricity and their ratio; fuel; nothing for an electric element."""
    pump = Made(heat_kwh=320.0, energy_kwh=100.0, seasonal_cop=3.2, fuel_kwh=None)
    boiler = Made(heat_kwh=90.0, energy_kwh=1.0, seasonal_cop=None, fuel_kwh=104.0)
    text = said(say_made_from, {"pump": pump, "boiler": boiler, "element": Made(energy_kwh=5.0)})
    assert "pump made 320 kWh of heat from 100 kWh of electricity, 3.2 to 1" in text
    assert "boiler burnt 104 kWh of fuel." in text
    assert "element" not in text
