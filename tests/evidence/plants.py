"""Shipped plants with changes, assembled and run once however many checks ask for them."""

from __future__ import annotations

from functools import cache, lru_cache
from pathlib import Path

from cyclesim.analysis.result import Result, simulate
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.reading.load import load
from cyclesim.simulation.assembly import Assembly, PlantDuty

SCHEDULES = Path(__file__).parents[2] / "schedules"
SHIPPED = ("walled-garden", "walled-garden-circulator", "high-valley", "long-table", "cedar-yard")
L_MIN = 60_000.0


@cache
def scenario(name: str, *sets: str) -> Scenario:
    """A shipped scenario with each PATH=VALUE put in."""
    return load(SCHEDULES / f"{name}.yaml", sets=sets)


@cache
def plant(name: str, *sets: str) -> Assembly:
    """The plant of a shipped scenario."""
    return Assembly(scenario(name, *sets))


@lru_cache(maxsize=24)
def run(name: str, *sets: str, days: int | None = None) -> Result:
    """A run of a shipped scenario: a year unless told."""
    return simulate(scenario(name, *sets), days=days)


def duty(on: Assembly, **speeds: str) -> PlantDuty:
    """The duty with these pumps at these speeds and all others stopped."""
    return on.duty(tuple(speeds.get(name, "stopped") for name in on.pumps))
