"""What a programme loses, from numbers made up here."""

from pathlib import Path
from types import SimpleNamespace as Made
from typing import Any

from cyclesim.decide.sweeps.outcome import Broken
from cyclesim.said.given_up import given_up
from cyclesim.scenario.blocks.heat_sources import Solar
from cyclesim.scenario.reading.load import load, load_text
from cyclesim.scenario.reading.starter import starter_text

GARDEN = Path(__file__).parents[2] / "schedules" / "walled-garden.yaml"


def made(sun_kwh: float = 500.0, cost: float = 100.0, cold: int = 0, *broken: str) -> Any:
    """A run of half a year: a roof, a pump of 500 kWh, a boiler whose fuel tells nothing of the tariff."""
    devices = {
        "roof": Made(heat_kwh=sun_kwh, energy_kwh=0.0, cost=0.0, fuel_kwh=0.0),
        "main": Made(heat_kwh=None, energy_kwh=500.0, cost=cost, fuel_kwh=0.0),
        "boiler": Made(heat_kwh=100.0, energy_kwh=1.0, cost=900.0, fuel_kwh=4000.0),
    }
    findings = tuple(Broken(rule, "comfort", "heating", "", 1, "") for rule in broken)
    return Made(days=182.5, currency="EUR", devices=devices, cold_sessions=cold, findings=findings)


def test_a_programme_that_keeps_all_loses_nothing() -> None:
    """As much or more of everything, and a difference that nobody sees."""
    scenario = load(GARDEN)
    assert [] == list(given_up(scenario, made(), made(600.0, 90.0)))
    assert [] == list(given_up(scenario, made(), made(499.0, 100.5)))


def test_dear_hours_cold_water_and_broken_rules_are_told() -> None:
    """100 and 120 EUR for 500 kWh: 0.20 and 0.24 EUR; fuel is no electricity."""
    (tariff, cold, broken) = given_up(load(GARDEN), made(), made(500.0, 120.0, 3, "demand-not-served"))
    assert "buys a kilowatt-hour for 0.240 EUR as a mean, the file's own programme for 0.200" in tariff
    assert "People step into water that is too cold 3 times more." == cold
    assert "It breaks what the file's own programme keeps: demand-not-served (heating)." == broken
    assert [] == list(given_up(load(GARDEN, sets=["supply.tariff=0.2 EUR/kWh"]), made(), made(500.0, 120.0)))


def test_less_of_the_sun_is_told_for_a_year() -> None:
    """500 and 400 kWh in half a year: 200 of 1,000 in a year."""
    scenario = load_text(starter_text("solar"))
    (roof,) = (name for name, sheet in scenario.plant.heat_sources.items() if isinstance(sheet, Solar))
    mine, out = made(), made(400.0)
    for one in (mine, out):
        one.devices[roof] = one.devices.pop("roof")
    (sun,) = given_up(scenario, mine, out)
    assert "It takes 200 kWh a year less from the sun, of 1,000 kWh" in sun
